//! The framework's editor, handing out windows that wait for their threads when they close.

use super::closing::WindowThread;
use nice_plug::context::gui::GuiContext;
use nice_plug::editor::dpi::NativeSize;
use nice_plug::editor::{
    Editor, EditorHandle, HostMethods, Modifiers, ParentWindowHandle, ResizeHint, SpawnedEditor,
    VirtualKeyCode,
};
use nice_plug::plugin::TrackInfo;
use nice_plug_egui::{EguiEditor, EguiEditorHandle, NiceEguiApp, baseview};
use std::error::Error;
use std::sync::{Arc, Mutex, PoisonError};

/// Where a window's thread notes itself when it builds the window, and the editor finds it.
pub type NotedThread = Arc<Mutex<Option<WindowThread>>>;

/// The framework's editor, with windows that wait for their threads.
pub struct WaitingEditor<A: NiceEguiApp> {
    inner: EguiEditor<A>,
    thread: NotedThread,
}

impl<A: NiceEguiApp> WaitingEditor<A> {
    /// `inner`, whose application notes the thread that builds its window in `thread`.
    pub fn new(inner: EguiEditor<A>, thread: NotedThread) -> Self {
        Self { inner, thread }
    }
}

/// An open window. Fields are dropped in this order: the window, then the wait for its thread.
pub struct OpenWindow {
    window: baseview::Window,
    _thread: Option<WindowThread>,
}

/// The framework's handle, for `OpenWindow`.
pub struct Handle(EguiEditorHandle);

impl<A: NiceEguiApp> Editor for WaitingEditor<A> {
    type Handle = Handle;

    fn spawn(
        &self,
        parent: Option<ParentWindowHandle>,
        wait_for_parent: bool,
        fallback_scale_factor: Option<f64>,
        gui_context: GuiContext,
        host: Option<HostMethods>,
    ) -> Result<SpawnedEditor<Handle>, Box<dyn Error>> {
        let spawned = self.inner.spawn(parent, wait_for_parent, fallback_scale_factor, gui_context, host);
        // If the window could not be made, the thread that tried is waited for here.
        let thread = self.thread.lock().unwrap_or_else(PoisonError::into_inner).take();
        let SpawnedEditor { handle, window } = spawned?;
        Ok(SpawnedEditor { handle: Handle(handle), window: OpenWindow { window, _thread: thread } })
    }

    fn size(&self) -> NativeSize<u32> {
        self.inner.size()
    }

    fn resize_hint(&self) -> ResizeHint {
        self.inner.resize_hint()
    }

    fn track_info_updated(&self, info: TrackInfo) {
        self.inner.track_info_updated(info);
    }
}

impl EditorHandle for Handle {
    type Window = OpenWindow;
    type Error = baseview::Error;

    fn run_until_closed(window: OpenWindow) -> Result<(), Self::Error> {
        EguiEditorHandle::run_until_closed(window.window)
    }

    fn set_parent(&self, parent: ParentWindowHandle, window: &OpenWindow) -> Result<(), Self::Error> {
        self.0.set_parent(parent, &window.window)
    }

    fn show(&self, window: &OpenWindow) -> Result<(), Self::Error> {
        self.0.show(&window.window)
    }

    fn hide(&self, window: &OpenWindow) -> Result<(), Self::Error> {
        self.0.hide(&window.window)
    }

    fn set_size(&self, size: NativeSize<u32>, window: &OpenWindow) -> Result<(), Self::Error> {
        self.0.set_size(size, &window.window)
    }

    fn host_main_thread_callback(&self, window: &OpenWindow) {
        self.0.host_main_thread_callback(&window.window);
    }

    fn adjust_size(&self, size: NativeSize<u32>, window: &OpenWindow) -> Option<NativeSize<u32>> {
        self.0.adjust_size(size, &window.window)
    }

    fn set_fallback_scale_factor(&self, scale: f64, window: &OpenWindow) -> Result<(), Self::Error> {
        self.0.set_fallback_scale_factor(scale, &window.window)
    }

    fn on_virtual_key_from_host(&self, key: VirtualKeyCode, down: bool, modifiers: Modifiers) -> bool {
        self.0.on_virtual_key_from_host(key, down, modifiers)
    }

    fn state_changed(&self) {
        self.0.state_changed();
    }

    fn param_value_changed(&self, id: &str, normalized_value: f32) {
        self.0.param_value_changed(id, normalized_value);
    }

    fn param_modulation_changed(&self, id: &str, modulation_offset: f32) {
        self.0.param_modulation_changed(id, modulation_offset);
    }
}
