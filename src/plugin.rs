//! The plugin: channel layouts, activation, latency, processing. The sound is processed in
//! [`crate::chain`].

use crate::chain::Chain;
use crate::host_params::{self, HostParams};
use crate::params::without_monitoring;
use crate::settings::Settings;
use crate::tap_ring::Transport;
use nice_plug::prelude::*;
use std::sync::Arc;

/// Level below which a block counts as silent: −100 dBFS.
const SILENCE_LEVEL: f32 = 1e-5;

/// One instance in a host.
pub struct Lintel {
    params: Arc<HostParams>,
    /// Created at activation for its sample rate.
    chain: Option<Chain>,
    /// The settings as the host has them.
    settings: Settings,
    /// The chain is to get them again, whether or not they have changed.
    apply_again: bool,
    /// Shared with the window.
    #[cfg(feature = "editor")]
    shared: Arc<crate::editor::SharedInstance>,
    /// To the analysis and the window.
    #[cfg(feature = "editor")]
    sender: Option<crate::editor::InstanceSender>,
    /// References for the chain.
    #[cfg(feature = "editor")]
    reference: Option<crate::player::ReferenceReceiver>,
    /// The host renders offline: monitoring is ignored.
    offline: bool,
}

impl Default for Lintel {
    fn default() -> Self {
        #[cfg(feature = "editor")]
        let shared = Arc::new(crate::editor::SharedInstance::default());
        let params = Arc::new(HostParams::new());
        #[cfg(feature = "editor")]
        params.on_recall({
            let shared = shared.clone();
            move |window| shared.recall(window)
        });
        Self {
            params,
            chain: None,
            settings: Settings::default(),
            apply_again: true,
            #[cfg(feature = "editor")]
            sender: None,
            #[cfg(feature = "editor")]
            reference: shared.take_receiver(),
            #[cfg(feature = "editor")]
            shared,
            offline: false,
        }
    }
}

/// The same number of channels in and out.
const fn layout(channels: u32) -> AudioIOLayout {
    AudioIOLayout {
        main_input_channels: NonZeroU32::new(channels),
        main_output_channels: NonZeroU32::new(channels),
        ..AudioIOLayout::const_default()
    }
}

/// The settings that the chain runs. While a host renders offline monitoring is left out; bypass stays,
/// because it is the host's own switch and part of its session.
fn heard(settings: &Settings, offline: bool) -> Settings {
    if offline { Settings { bypass: settings.bypass, ..without_monitoring(settings) } } else { *settings }
}

impl Plugin for Lintel {
    const NAME: &'static str = "Lintel";
    const VENDOR: &'static str = "the Lintel developers";
    const URL: &'static str = "";
    const EMAIL: &'static str = "";
    const VERSION: &'static str = env!("CARGO_PKG_VERSION");
    const AUDIO_IO_LAYOUTS: &'static [AudioIOLayout] = &[layout(2), layout(1)];
    const SAMPLE_ACCURATE_AUTOMATION: bool = true;

    #[cfg(feature = "editor")]
    type Editor = crate::editor::LintelEditor;
    #[cfg(not(feature = "editor"))]
    type Editor = ();
    type SysExMessage = ();
    type BackgroundTask = ();

    fn params(&self) -> Arc<dyn Params> {
        self.params.clone()
    }

    fn filter_state(state: &mut PluginState) {
        host_params::complete(state);
    }

    #[cfg(feature = "editor")]
    fn editor(&mut self, _executor: AsyncExecutor<Self>) -> Option<Self::Editor> {
        crate::editor::create(self.params.clone(), self.shared.clone())
    }

    fn activate(
        &mut self,
        layout: &AudioIOLayout,
        config: &BufferConfig,
        context: &mut impl ActivateContext<Self>,
    ) -> bool {
        let rate = f64::from(config.sample_rate);
        if !Chain::SAMPLE_RATES_HZ.contains(&rate) {
            return false;
        }
        if self.chain.as_ref().is_none_or(|chain| chain.sample_rate() != rate) {
            self.chain = Some(Chain::new(rate));
            self.apply_again = true;
            #[cfg(feature = "editor")]
            self.shared.reference.chain_created(rate.round() as u32);
        }
        if let Some(chain) = &self.chain {
            context.set_latency_samples(chain.latency() as u32);
        }
        let offline = config.process_mode == ProcessMode::Offline;
        if self.offline != offline {
            self.offline = offline;
            // The settings that the chain runs differ: apply them again.
            self.apply_again = true;
        }
        #[cfg(feature = "editor")]
        {
            // Through VST3 the framework reports the mode of the activation before this one. But
            // every change of the mode comes with an activation, so solo ends here.
            self.shared.end_solo();
            let channels = layout.main_input_channels.map_or(2, NonZeroU32::get) as usize;
            // After a short stop of the host the recording continues.
            if self.sender.as_ref().is_none_or(|sender| !sender.fits(rate, channels)) {
                self.sender = self.shared.start(rate, channels);
            }
            self.shared.set_offline(offline);
            self.shared.recall(&self.params.window_state());
        }
        #[cfg(not(feature = "editor"))]
        let _ = layout;
        true
    }

    fn reset(&mut self) {
        if let Some(chain) = &mut self.chain {
            self.params.update(&mut self.settings);
            self.apply_again = false;
            chain.set(&heard(&self.settings, self.offline));
            chain.reset();
        }
    }

    fn process(
        &mut self,
        buffer: &mut Buffer,
        _aux: &mut AuxiliaryBuffers,
        context: &mut impl ProcessContext<Self>,
    ) -> ProcessStatus {
        let Some(chain) = &mut self.chain else {
            return ProcessStatus::Error("processing before activation");
        };
        if self.params.update(&mut self.settings) | std::mem::take(&mut self.apply_again) {
            chain.set(&heard(&self.settings, self.offline));
        }
        let host = context.transport();
        let mut transport = Transport { playing: host.playing, position: host.pos_samples() };
        let mut has_signal = transport.playing;
        #[cfg(feature = "editor")]
        chain.solo(if self.offline { None } else { self.shared.solo() });
        #[cfg(feature = "editor")]
        if let Some(reference) = &mut self.reference {
            reference.exchange(chain);
        }
        chain.process(buffer.as_slice(), |tap| {
            #[cfg(feature = "editor")]
            if let Some(sender) = &mut self.sender {
                sender.feed(tap, transport);
            }
            transport = transport.advanced(tap.len());
            has_signal |=
                tap.before.iter().chain(&tap.after).any(|ch| ch.iter().any(|x| x.abs() > SILENCE_LEVEL));
        });
        #[cfg(feature = "editor")]
        if let Some(sender) = &mut self.sender {
            sender.readout(|| chain.readout());
            // While there is no signal and nothing plays, nothing needs to be drawn.
            self.shared.repaint.request_repaint_with(has_signal);
        }
        #[cfg(not(feature = "editor"))]
        let _ = has_signal;
        ProcessStatus::Tail(chain.tail_now() as u32)
    }
}

impl ClapPlugin for Lintel {
    const CLAP_ID: &'static str = "org.lintel-audio.lintel";
    const CLAP_DESCRIPTION: Option<&'static str> =
        Some("Final stage of mastering: five-band EQ, compressor and true-peak limiter, shown over time");
    const CLAP_MANUAL_URL: Option<&'static str> = None;
    const CLAP_SUPPORT_URL: Option<&'static str> = None;
    const CLAP_FEATURES: &'static [ClapFeature] = &[
        ClapFeature::AudioEffect,
        ClapFeature::Mastering,
        ClapFeature::Limiter,
        ClapFeature::Compressor,
        ClapFeature::Equalizer,
        ClapFeature::Stereo,
        ClapFeature::Mono,
    ];
}

impl Vst3Plugin for Lintel {
    const VST3_CLASS_ID: [u8; 16] = *b"LintelMasterBeam";
    const VST3_SUBCATEGORIES: &'static [Vst3SubCategory] = &[
        Vst3SubCategory::Fx,
        Vst3SubCategory::Mastering,
        Vst3SubCategory::Dynamics,
        Vst3SubCategory::Eq,
        Vst3SubCategory::Stereo,
        Vst3SubCategory::Mono,
    ];
}

// Unit tests link this library a second time, through testkit: an exported symbol may stand in one only.
#[cfg(not(test))]
nice_plug::nice_export_clap!(Lintel);
#[cfg(not(test))]
nice_plug::nice_export_vst3!(Lintel);

#[cfg(test)]
mod tests {
    use super::*;
    use crate::params;
    use crate::settings::Compare;

    #[test]
    fn a_render_of_the_host_carries_no_monitoring() {
        let host = HostParams::new();
        let set = |id: &str, position: f32| {
            let index = params::all().iter().position(|param| param.id == id).expect("a parameter");
            // SAFETY: the pointer comes from `host`, which is alive.
            unsafe { host.handle(index)._internal_set_normalized_value(position) };
        };
        for id in ["removed_only", "compare", "drive", "bypass"] {
            set(id, 1.0);
        }
        let live = heard(&host.settings(), false);
        assert!(live.limiter.removed_only && live.compare == Compare::Reference);
        let rendered = heard(&host.settings(), true);
        assert!(!rendered.limiter.removed_only && rendered.compare == Compare::Off);
        assert!(rendered.bypass && rendered.limiter.drive == 24.0);
    }
}
