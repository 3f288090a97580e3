//! The parameters as the screen moves them, whoever holds them: values in their units by index in
//! [`params::all`], gestures with a beginning and an end, and every gesture one step of undo.

use crate::params;
use crate::settings::Settings;

/// Who holds the parameters: a host, or plain memory.
pub trait Controls {
    /// The value of the parameter at `index`, in its unit.
    fn get(&self, index: usize) -> f32;
    /// A gesture on this parameter begins (a host records automation from here on).
    fn begin(&mut self, index: usize);
    /// A new value within the gesture.
    fn set(&mut self, index: usize, value: f32);
    /// The gesture is over.
    fn end(&mut self, index: usize);
}

/// Parameters in plain memory: for tests, pictures and a window without a host.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct MemoryControls {
    pub settings: Settings,
    /// Gestures begun and not ended, by index; empty whenever nothing is being moved.
    pub open: Vec<usize>,
    /// Gestures ended since the start.
    pub ended: usize,
}

impl Controls for MemoryControls {
    fn get(&self, index: usize) -> f32 {
        params::all()[index].get(&self.settings)
    }
    fn begin(&mut self, index: usize) {
        self.open.push(index);
    }
    fn set(&mut self, index: usize, value: f32) {
        params::all()[index].set(&mut self.settings, value);
    }
    fn end(&mut self, index: usize) {
        self.open.retain(|open| *open != index);
        self.ended += 1;
    }
}

/// Index in the table of the parameter called `id`. Ids in the screen's own code exist: a test
/// draws every part of it.
pub fn index(id: &str) -> usize {
    params::all().iter().position(|param| param.id == id).unwrap_or_else(|| panic!("no parameter {id}"))
}

/// Monitoring and the host's own switch: never part of a slot or a preset.
const LISTENING: [&str; 3] = ["bypass", "compare", "removed_only"];

/// One parameter's move within a step.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Move {
    index: usize,
    before: f32,
    after: f32,
}

/// What can be taken back: steps of one or more moves.
#[derive(Debug, Default)]
pub struct Undo {
    done: Vec<Vec<Move>>,
    undone: Vec<Vec<Move>>,
    /// The step that is being made.
    making: Vec<Move>,
    /// Parameters with an open gesture.
    held: Vec<usize>,
    /// Above 0 while several gestures are to be one step.
    group: usize,
    /// A wheel's or arrow keys' gesture, and when it moved last, s.
    soft: Option<(usize, f64)>,
}

/// Steps kept.
const STEPS: usize = 200;

/// Seconds without a move after which a wheel's or arrow keys' gesture is over.
pub const SOFT: f64 = 0.5;

/// The controls with their undo, for the length of one frame.
pub struct ParamEditor<'a> {
    controls: &'a mut dyn Controls,
    undo: &'a mut Undo,
    /// Time of the frame, s.
    now: f64,
}

impl<'a> ParamEditor<'a> {
    /// `now` in seconds on any steady clock.
    pub fn new(controls: &'a mut dyn Controls, undo: &'a mut Undo, now: f64) -> Self {
        let mut editor = Self { controls, undo, now };
        if editor.undo.soft.is_some_and(|(_, last)| now - last > SOFT) {
            editor.settle();
        }
        editor
    }

    pub fn get(&self, index: usize) -> f32 {
        self.controls.get(index)
    }

    /// The value of the parameter called `id`.
    pub fn value(&self, id: &str) -> f32 {
        self.get(index(id))
    }

    /// Whether the switch called `id` is on.
    pub fn is_on(&self, id: &str) -> bool {
        self.value(id) >= 0.5
    }

    pub fn begin(&mut self, index: usize) {
        if self.undo.held.contains(&index) {
            return;
        }
        self.settle();
        let before = self.get(index);
        if !self.undo.making.iter().any(|m| m.index == index) {
            self.undo.making.push(Move { index, before, after: before });
        }
        self.undo.held.push(index);
        self.controls.begin(index);
    }

    pub fn set(&mut self, index: usize, value: f32) {
        if let Some(m) = self.undo.making.iter_mut().find(|m| m.index == index) {
            m.after = value;
        }
        self.controls.set(index, value);
    }

    pub fn end(&mut self, index: usize) {
        if !self.undo.held.contains(&index) {
            return;
        }
        self.undo.held.retain(|held| *held != index);
        self.controls.end(index);
        self.close();
    }

    /// A whole gesture in one go: a click, a typed value.
    pub fn once(&mut self, index: usize, value: f32) {
        if self.get(index) == value {
            return;
        }
        self.begin(index);
        self.set(index, value);
        self.end(index);
    }

    /// Turns a switch over.
    pub fn toggle(&mut self, id: &str) {
        let index = index(id);
        self.once(index, if self.get(index) >= 0.5 { 0.0 } else { 1.0 });
    }

    /// A move of a wheel or an arrow key: moves that follow closely are one gesture.
    pub fn nudge(&mut self, index: usize, value: f32) {
        if self.undo.soft.is_none_or(|(soft, _)| soft != index) {
            self.begin(index);
        }
        self.undo.soft = Some((index, self.now));
        self.set(index, value);
    }

    /// Ends a wheel's or arrow keys' gesture.
    pub fn settle(&mut self) {
        if let Some((index, _)) = self.undo.soft.take() {
            self.end(index);
        }
    }

    /// True while a wheel's gesture waits for its end.
    pub fn waits(&self) -> bool {
        self.undo.soft.is_some()
    }

    /// Several gestures as one step.
    pub fn group(&mut self, moves: impl FnOnce(&mut Self)) {
        self.settle();
        self.undo.group += 1;
        moves(self);
        self.undo.group -= 1;
        self.close();
    }

    /// All values as settings.
    pub fn settings(&self) -> Settings {
        let mut settings = Settings::default();
        for (index, param) in params::all().iter().enumerate() {
            param.set(&mut settings, self.get(index));
        }
        settings
    }

    /// Moves every parameter to `settings` but those that only concern listening; one step.
    pub fn load(&mut self, settings: &Settings) {
        self.group(|editor| {
            for (index, param) in params::all().iter().enumerate() {
                if !LISTENING.contains(&param.id) {
                    editor.once(index, param.get(settings));
                }
            }
        });
    }

    /// Every parameter of `group` back to its default, one step; `group` as in the table, "EQ"
    /// with its five bands.
    pub fn reset(&mut self, group: &str) {
        self.group(|editor| {
            for (index, param) in params::all().iter().enumerate() {
                let part = param.group == group || param.group.strip_prefix(group).is_some();
                let stays = param.id == "order" || LISTENING.contains(&param.id);
                if part && !stays && !param.id.ends_with("_on") {
                    editor.once(index, param.default());
                }
            }
        });
    }

    fn close(&mut self) {
        if !self.undo.held.is_empty() || self.undo.group > 0 {
            return;
        }
        let mut step = std::mem::take(&mut self.undo.making);
        step.retain(|m| m.before != m.after);
        if !step.is_empty() {
            self.undo.undone.clear();
            self.undo.done.push(step);
            if self.undo.done.len() > STEPS {
                self.undo.done.remove(0);
            }
        }
    }

    /// Takes the last step back.
    pub fn undo(&mut self) {
        self.settle();
        if let Some(step) = self.undo.done.pop() {
            step.iter().rev().for_each(|m| self.play(m.index, m.before));
            self.undo.undone.push(step);
        }
    }

    /// Does the step taken back last again.
    pub fn redo(&mut self) {
        self.settle();
        if let Some(step) = self.undo.undone.pop() {
            step.iter().for_each(|m| self.play(m.index, m.after));
            self.undo.done.push(step);
        }
    }

    fn play(&mut self, index: usize, value: f32) {
        self.controls.begin(index);
        self.controls.set(index, value);
        self.controls.end(index);
    }

    /// What the next undo and redo would move: names of parameters.
    pub fn next_steps(&self) -> (Option<String>, Option<String>) {
        let name = |step: &Vec<Move>| match step.as_slice() {
            [one] => params::all()[one.index].name.to_owned(),
            [one, two] => format!("{}, {}", params::all()[one.index].name, params::all()[two.index].name),
            many => format!("{} settings", many.len()),
        };
        (self.undo.done.last().map(name), self.undo.undone.last().map(name))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn with(memory: &mut MemoryControls, undo: &mut Undo, now: f64, act: impl FnOnce(&mut ParamEditor)) {
        act(&mut ParamEditor::new(memory, undo, now));
    }

    #[test]
    fn a_drag_is_one_step_however_many_values_it_passes() {
        let (mut memory, mut undo) = (MemoryControls::default(), Undo::default());
        let drive = index("drive");
        with(&mut memory, &mut undo, 0.0, |editor| {
            editor.begin(drive);
            (1..=40).for_each(|v| editor.set(drive, v as f32 * 0.1));
            editor.end(drive);
            assert_eq!(editor.next_steps(), (Some("drive".to_owned()), None));
            editor.undo();
        });
        assert_eq!((memory.settings, memory.open.len()), (Settings::default(), 0));
        with(&mut memory, &mut undo, 0.0, |editor| editor.redo());
        assert_eq!(memory.settings.limiter.drive, 4.0);
    }

    #[test]
    fn wheel_clicks_that_follow_closely_are_one_gesture_and_end_by_themselves() {
        let (mut memory, mut undo) = (MemoryControls::default(), Undo::default());
        let drive = index("drive");
        for n in 1..=5 {
            with(&mut memory, &mut undo, f64::from(n) * 0.1, |editor| editor.nudge(drive, n as f32));
        }
        assert_eq!(memory.open, [drive]);
        with(&mut memory, &mut undo, 0.5 + SOFT + 0.01, |_| {});
        assert_eq!((memory.open.len(), memory.ended), (0, 1));
        with(&mut memory, &mut undo, 2.0, |editor| editor.undo());
        assert_eq!(memory.settings, Settings::default());
    }

    #[test]
    fn loading_settings_is_one_step_and_leaves_listening_alone() {
        let (mut memory, mut undo) = (MemoryControls::default(), Undo::default());
        memory.settings.bypass = true;
        let mut wanted = Settings::default();
        wanted.compressor.on = true;
        wanted.limiter.drive = 5.0;
        wanted.limiter.removed_only = true;
        with(&mut memory, &mut undo, 0.0, |editor| editor.load(&wanted));
        assert!(
            memory.settings.bypass && memory.settings.compressor.on && !memory.settings.limiter.removed_only
        );
        with(&mut memory, &mut undo, 0.0, |editor| editor.undo());
        assert_eq!(memory.settings, Settings { bypass: true, ..Settings::default() });
    }

    #[test]
    fn a_new_move_forgets_what_was_undone_and_no_move_is_no_step() {
        let (mut memory, mut undo) = (MemoryControls::default(), Undo::default());
        with(&mut memory, &mut undo, 0.0, |editor| {
            editor.once(index("trim"), -6.0);
            editor.undo();
            editor.once(index("drive"), 3.0);
            editor.redo();
            assert_eq!((editor.value("trim"), editor.value("drive")), (0.0, 3.0));
            editor.begin(index("trim"));
            editor.end(index("trim"));
            assert_eq!(editor.next_steps().0.as_deref(), Some("drive"));
        });
    }

    #[test]
    fn resetting_tone_resets_its_bands_but_not_its_switch() {
        let (mut memory, mut undo) = (MemoryControls::default(), Undo::default());
        memory.settings.eq.on = false;
        memory.settings.eq.bands[2].gain = 3.0;
        memory.settings.compressor.ratio = 4.0;
        with(&mut memory, &mut undo, 0.0, |editor| editor.reset("EQ"));
        assert_eq!(memory.settings.eq.bands[2].gain, 0.0);
        assert!(!memory.settings.eq.on && memory.settings.compressor.ratio == 4.0);
    }
}
