//! Lintel, a final-stage mastering processor: the signal chain, its meters and its advice, and the
//! file side, without a host. The plugin, the command line and the tests run the very same chain.
//!
//! | module | what it is | start with |
//! | --- | --- | --- |
//! | [`settings`] | everything a user can set, as plain values | [`settings::Settings`] |
//! | [`params`] | the table of parameters: id, range, unit, default, text in and out | [`params::find`] |
//! | [`presets`] | presets of the program and of the user | [`presets::PresetStore`] |
//! | [`dsp`] | parts that stages share: smoothing, delays, filters, decibels | |
//! | [`stage`] | EQ, compressor, limiter | |
//! | [`chain`] | the signal path in order | [`chain::Chain`] |
//! | [`tap_ring`] | what the chain hands to other threads | [`tap_ring::Tap`] |
//! | [`grade`] | how audible a difference is, after ITU-R BS.1387 | [`grade::grade`] |
//! | [`meter`] | loudness, peaks, history, spectrum, source check, advice | [`meter::Analysis`] |
//! | [`finish`] | files: read, trim, reach a target, render, dither, write, report | [`finish::MasterJob`] |
//! | [`mod@reference`] | a mix beside references, and the EQ move between them | [`reference::Comparison`] |
//! | [`live`] | what a window shows of a running chain | [`live::LiveReadout`] |
//! | [`player`] | a song in memory, played through the chain | [`player::PlayerSession`] |
//! | `editor` | the screen (feature `screen`) | |
//! | `plugin` | the CLAP and VST3 side (feature `plugin`) | |
//!
//! Modules import downwards only; tests/texts checks it and DEVELOPERS.md draws the layers.
//!
//! # Run a block through the chain
//!
//! ```
//! use lintel::chain::Chain;
//! use lintel::settings::Settings;
//!
//! let mut settings = Settings::default();
//! settings.limiter.drive = 6.0; // dB
//! let mut chain = Chain::new(48_000.0); // Hz
//! chain.set(&settings);
//! chain.reset();
//! let (mut left, mut right) = ([0.9_f32; 512], [-0.9_f32; 512]);
//! chain.process(&mut [&mut left, &mut right], |tap| assert_eq!(tap.before[0].len(), tap.after[0].len()));
//! assert!(left.iter().all(|x| x.abs() <= 0.8913), "−1 dBTP");
//! ```
//!
//! # Measure what went in and came out
//!
//! ```
//! use lintel::chain::Chain;
//! use lintel::meter::Analysis;
//! use lintel::tap_ring::Transport;
//!
//! let (mut chain, mut analysis) = (Chain::new(48_000.0), Analysis::new(48_000, 2));
//! // 997 Hz at −23 dBFS in both channels reads −23 LUFS (EBU Tech 3341, test 1).
//! let tone = |n: usize| 0.0708 * (n as f32 * 997.0 / 48_000.0 * std::f32::consts::TAU).sin();
//! let mut left: Vec<f32> = (0..5 * 48_000).map(tone).collect();
//! let mut right = left.clone();
//! chain.process(&mut [&mut left, &mut right], |tap| analysis.feed(tap, Transport::default()));
//! assert!((analysis.snapshot().before.integrated + 23.0).abs() < 0.1);
//! ```
//!
//! # Read and write settings
//!
//! ```
//! use lintel::params;
//!
//! let settings = params::from_toml("drive = \"+4.5 dB\"\nlimit_release = \"80 ms\"")?;
//! assert_eq!(settings.limiter.drive, 4.5);
//! let drive = params::find("drive").expect("a parameter");
//! assert_eq!(drive.text(drive.get(&settings)), "+4.5 dB");
//! # Ok::<(), params::SettingsFileError>(())
//! ```

#![warn(missing_docs)]

pub mod chain;
pub mod dsp;
#[cfg(feature = "screen")]
pub mod editor;
pub mod finish;
pub mod grade;
#[cfg(feature = "plugin")]
mod host_params;
pub mod live;
pub mod meter;
pub mod numbers;
pub mod palette;
pub mod params;
pub mod player;
#[cfg(feature = "plugin")]
pub mod plugin;
pub mod presets;
pub mod reference;
pub mod settings;
pub mod stage;
#[cfg(not(loom))]
mod sync;
#[cfg(loom)]
pub mod sync;
pub mod tap_ring;

/// README.md: its example is compiled and run with the documentation's tests.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
struct Readme;
