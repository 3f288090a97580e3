//! One test per rule of advice: a signal or a setting that must make it speak, one that must not.

use lintel::meter::{AdviceNote, Analysis, FileFacts, RuleId, Snapshot, Target};
use lintel::settings::Settings;
use lintel::tap_ring::{Tap, Transport};
use std::f64::consts::TAU;

const RATE: f64 = 48_000.0;

/// What is played: per frame the input, the output, and the reductions of compressor, limiter and soft
/// clip in dB.
type Frame = ([f64; 2], [f64; 2], [f64; 3]);

fn run(seconds: f64, prepare: impl Fn(&mut Analysis), mut frame: impl FnMut(f64) -> Frame) -> Analysis {
    let mut analysis = Analysis::new(RATE as u32, 2);
    prepare(&mut analysis);
    let mut planes: [[f32; 480]; 7] = [[0.0; 480]; 7];
    for block in 0..(seconds * 100.0) as usize {
        for i in 0..480 {
            let (before, after, [compressor, limiter, clip]) = frame((block * 480 + i) as f64 / RATE);
            let values = [before[0], before[1], after[0], after[1], compressor, limiter, clip];
            planes.iter_mut().zip(values).for_each(|(plane, value)| plane[i] = value as f32);
        }
        let [b0, b1, a0, a1, compressor, limiter, clip] = &planes;
        let tap = Tap {
            before: [b0, b1],
            after: [a0, a1],
            compressor_db: compressor,
            limiter_db: limiter,
            clip_db: clip,
        };
        analysis.feed(&tap, Transport { playing: true, position: None });
    }
    analysis
}

/// Two notes that beat slowly: a quiet passage of music with a crest of about 15 dB.
fn music(t: f64) -> [f64; 2] {
    let pluck = |t: f64, every: f64| (-(t - every * (t / every).floor()) / 0.05).exp();
    let note = |f: f64, every: f64| pluck(t, every) * (TAU * f * t).sin();
    [0.3 * note(220.0, 0.5) + 0.2 * note(447.0, 0.37), 0.25 * note(331.0, 0.5) + 0.2 * note(447.0, 0.37)]
}

/// The input passes through.
fn pass(x: [f64; 2]) -> Frame {
    (x, x, [0.0; 3])
}

/// Reductions beside the music.
fn reduced(t: f64, compressor: f64, limiter: f64) -> Frame {
    (music(t), music(t), [compressor, limiter, 0.0])
}

fn note(analysis: &mut Analysis, rule: RuleId) -> Option<AdviceNote> {
    // Asked both ways: what is shown live, and the verdict on the whole.
    let shown = analysis.snapshot().notes.into_iter().find(|note| note.rule == rule);
    let verdict = analysis.verdict().into_iter().find(|note| note.rule == rule);
    if let Some(shown) = &shown {
        assert!(verdict.is_some() && !shown.says.contains(['{', '}']), "{shown:?}");
    }
    verdict
}

#[track_caller]
fn speaks(analysis: &mut Analysis, rule: RuleId, words: &str) {
    let note = note(analysis, rule).unwrap_or_else(|| panic!("silent: {:?}", analysis.verdict()));
    assert!(note.says.contains(words) || note.advises.contains(words), "no {words:?} in {note:?}");
    // A minus before a figure is no hyphen.
    let figures = [&note.says, &note.advises].map(|text| text.replace("lead-in", "").replace("Lead-in", ""));
    assert!(!figures.concat().contains('-'), "{note:?}");
}

#[track_caller]
fn silent(analysis: &mut Analysis, rule: RuleId) {
    assert_eq!(note(analysis, rule), None);
}

fn nothing(_: &mut Analysis) {}

fn snapshot(frame: impl FnMut(f64) -> Frame) -> Snapshot {
    run(12.0, nothing, frame).snapshot()
}

#[test]
fn good_music_is_left_in_peace() {
    let prepare = |a: &mut Analysis| a.set_target(Target::own(-22.0, -1.0));
    let mut analysis = run(15.0, prepare, |t| reduced(t, 1.2, if t % 0.5 < 0.05 { 1.5 } else { 0.0 }));
    let after = analysis.snapshot().after;
    assert!((after.integrated + 22.0).abs() < 3.0, "{after:?}");
    let prepare = |a: &mut Analysis| a.set_target(Target::own(after.integrated, -1.0));
    let mut analysis = run(15.0, prepare, |t| reduced(t, 1.2, if t % 0.5 < 0.05 { 1.5 } else { 0.0 }));
    assert_eq!(analysis.verdict(), []);
}

#[test]
fn end_cut_off() {
    let file = |end_level| {
        run(
            1.0,
            move |a| a.set_file_facts(FileFacts { end_level: Some(end_level), ..FileFacts::default() }),
            |t| pass(music(t)),
        )
    };
    speaks(&mut file(-20.0), RuleId::EndCutOff, "−20 dBFS");
    silent(&mut file(-90.0), RuleId::EndCutOff);
    silent(&mut file(f64::NEG_INFINITY), RuleId::EndCutOff);
}

#[test]
fn lead_in_too_long_and_too_short() {
    let file = |lead_in| {
        run(
            1.0,
            move |a| a.set_file_facts(FileFacts { lead_in: Some(lead_in), ..FileFacts::default() }),
            |t| pass(music(t)),
        )
    };
    speaks(&mut file(2.4), RuleId::LeadInLong, "2.4 s");
    speaks(&mut file(0.004), RuleId::LeadInShort, "0.004 s");
    for rule in [RuleId::LeadInLong, RuleId::LeadInShort] {
        // What the advice asks for, and what a trim leaves.
        silent(&mut file(0.8), rule);
    }
}

#[test]
fn true_peak_above_the_delivery() {
    let with = |gain: f64| run(4.0, nothing, move |t| pass([gain * (TAU * 997.0 * t).sin(); 2]));
    speaks(&mut with(1.0), RuleId::PeakAboveDelivery, "0.0 dBTP, 1.0 dB above the −1.0 dBTP");
    // −1.0 dBTP exactly, and the reading's own tolerance above it.
    silent(&mut with(0.8913), RuleId::PeakAboveDelivery);
    silent(&mut with(0.899), RuleId::PeakAboveDelivery);
}

#[test]
fn a_silent_channel() {
    speaks(&mut run(5.0, nothing, |t| pass([music(t)[0], 0.0])), RuleId::ChannelSilent, "right channel");
    silent(&mut run(5.0, nothing, |t| pass(music(t))), RuleId::ChannelSilent);
}

#[test]
fn out_of_phase() {
    let mut turned = run(5.0, nothing, |t| pass([music(t)[0], 0.3 * music(t)[1] - music(t)[0]]));
    speaks(&mut turned, RuleId::OutOfPhase, "correlation −0.");
    silent(&mut run(5.0, nothing, |t| pass(music(t))), RuleId::OutOfPhase);
}

#[test]
fn identical_channels() {
    speaks(&mut run(5.0, nothing, |t| pass([music(t)[0]; 2])), RuleId::ChannelsIdentical, "mono");
    silent(&mut run(5.0, nothing, |t| pass(music(t))), RuleId::ChannelsIdentical);
}

#[test]
fn flat_tops_with_their_places() {
    let mut cut = run(6.0, nothing, |t| pass(music(t).map(|x| (4.0 * x).clamp(-1.0, 1.0))));
    speaks(&mut cut, RuleId::FlatTops, "the first at 0:00.0");
    let places = note(&mut cut, RuleId::FlatTops).unwrap().at;
    assert!(places.len() == 8 && places.is_sorted() && places[7] < 6.0);
    // Cut, then turned down by 4 dB and rounded to 24 bits.
    let mut turned_down = run(6.0, nothing, |t| {
        pass(music(t).map(|x| (0.631 * (4.0 * x).clamp(-1.0, 1.0) * 8_388_608.0).round() / 8_388_608.0))
    });
    speaks(&mut turned_down, RuleId::FlatTops, "Flat tops");
    silent(&mut run(6.0, nothing, |t| pass(music(t).map(|x| 1.9 * x))), RuleId::FlatTops);
}

#[test]
fn bounced_at_full_scale_until_the_trim_is_set() {
    let loud = |t: f64| pass([0.9999 * (TAU * 997.0 * t).sin() * (TAU * 0.3 * t).sin(), music(t)[1]]);
    let compressed = |a: &mut Analysis| {
        let mut settings = Settings::default();
        settings.compressor.on = true;
        a.set_settings(&settings);
    };
    speaks(&mut run(5.0, compressed, loud), RuleId::FullScale, "Set trim to −6.0 dB");
    // Without the compressor the trim would change nothing.
    speaks(&mut run(5.0, nothing, loud), RuleId::FullScale, "leave 6 dB in the next export");
    let trimmed = |a: &mut Analysis| {
        let mut settings = Settings::default();
        settings.compressor.on = true;
        settings.input.trim = -6.0;
        a.set_settings(&settings);
    };
    silent(&mut run(5.0, trimmed, loud), RuleId::FullScale);
    silent(&mut run(5.0, nothing, |t| pass(music(t))), RuleId::FullScale);
}

#[test]
fn little_headroom() {
    let with = |gain: f64, compressor: bool| {
        let prepare = move |a: &mut Analysis| {
            let mut settings = Settings::default();
            settings.compressor.on = compressor;
            a.set_settings(&settings);
        };
        run(5.0, prepare, move |t| pass([gain * (TAU * 997.0 * t).sin(), music(t)[1]]))
    };
    speaks(&mut with(0.93, true), RuleId::LittleHeadroom, "0.6 dB of headroom");
    silent(&mut with(0.5, true), RuleId::LittleHeadroom);
    silent(&mut with(0.93, false), RuleId::LittleHeadroom);
}

#[test]
fn too_dense_to_master() {
    // A squared-off tone: PLR of a few dB.
    let mut dense = run(12.0, nothing, |t| pass([(3.0 * (TAU * 300.0 * t).sin()).tanh() * 0.5, music(t)[1]]));
    speaks(&mut dense, RuleId::TooDense, "dense");
    silent(&mut run(12.0, nothing, |t| pass(music(t))), RuleId::TooDense);
}

#[test]
fn dc_offset() {
    speaks(
        &mut run(6.0, nothing, |t| pass(music(t).map(|x| x + 0.004))),
        RuleId::DcOffset,
        "DC offset of 0.4",
    );
    silent(&mut run(6.0, nothing, |t| pass(music(t))), RuleId::DcOffset);
}

#[test]
fn noise_before_the_music() {
    let with = |noise: f64| {
        run(6.0, nothing, move |t| {
            let hiss = noise * (TAU * 5000.0 * t).sin();
            pass(if t < 1.0 { [hiss; 2] } else { music(t).map(|x| x + hiss) })
        })
    };
    speaks(&mut with(0.002), RuleId::LeadInNoisy, "−57 dBFS");
    silent(&mut with(0.0002), RuleId::LeadInNoisy);
    silent(&mut with(0.0), RuleId::LeadInNoisy);
}

#[test]
fn large_eq_moves() {
    let with = |gain: f32| {
        let prepare = move |a: &mut Analysis| {
            let mut settings = Settings::default();
            settings.eq.bands[3].gain = gain;
            a.set_settings(&settings);
        };
        run(2.0, prepare, |t| pass(music(t)))
    };
    silent(&mut with(3.0), RuleId::EqMoveLarge);
    speaks(&mut with(-4.0), RuleId::EqMoveLarge, "EQ band 4, −4.0 dB at 3.2 kHz");
    silent(&mut with(-4.0), RuleId::EqMoveTooLarge);
    speaks(&mut with(6.0), RuleId::EqMoveTooLarge, "EQ band 4, +6.0 dB at 3.2 kHz");
    silent(&mut with(6.0), RuleId::EqMoveLarge);
}

#[test]
fn limiter_deep() {
    let with =
        |depth: f64| run(12.0, nothing, move |t| reduced(t, 0.0, if t % 0.5 < 0.1 { depth } else { 0.0 }));
    speaks(&mut with(6.0), RuleId::LimiterDeep, "reduces by 6.0 dB");
    silent(&mut with(2.5), RuleId::LimiterDeep);
}

#[test]
fn soft_clip_deep() {
    let with = |depth: f64, every_s: f64| {
        run(12.0, nothing, move |t| {
            (music(t), music(t), [0.0, 0.0, if t % every_s < 0.1 { depth } else { 0.0 }])
        })
    };
    speaks(&mut with(5.0, 0.5), RuleId::SoftClipDeep, "The curve takes 5.0 dB in ");
    silent(&mut with(2.5, 0.5), RuleId::SoftClipDeep);
    silent(&mut with(5.0, 8.0), RuleId::SoftClipDeep);
    silent(&mut with(5.0, 0.5), RuleId::LimiterDeep);
}

#[test]
fn limiter_constant() {
    let with = |share: f64| {
        run(12.0, nothing, move |t| reduced(t, 0.0, if t % 4.0 < 4.0 * share { 1.5 } else { 0.0 }))
    };
    speaks(&mut with(0.8), RuleId::LimiterConstant, "% of the time");
    silent(&mut with(0.3), RuleId::LimiterConstant);
}

#[test]
fn compressor_deep() {
    speaks(&mut run(12.0, nothing, |t| reduced(t, 5.0, 0.0)), RuleId::CompressorDeep, "reduces by 5.0 dB");
    silent(&mut run(12.0, nothing, |t| reduced(t, 2.0, 0.0)), RuleId::CompressorDeep);
}

#[test]
fn over_the_target() {
    let with = |target: f64| {
        run(
            12.0,
            move |a| a.set_target(Target::own(target, -1.0)),
            |t| pass([0.25 * (TAU * 997.0 * t).sin(); 2]),
        )
    };
    // −12.04 LUFS against −14: a player turns it down by 2 dB.
    speaks(&mut with(-14.0), RuleId::OverTarget, "turns this down by 2.0 dB");
    silent(&mut with(-12.0), RuleId::OverTarget);
    silent(&mut with(-9.0), RuleId::OverTarget);
}

#[test]
fn under_the_target_as_far_as_true_peaks_permit() {
    let with = |target: f64, limit: f64| {
        run(
            12.0,
            move |a| a.set_target(Target::own(target, limit)),
            |t| pass([0.25 * (TAU * 997.0 * t).sin(); 2]),
        )
    };
    speaks(&mut with(-8.0, -1.0), RuleId::UnderTarget, "4.0 LU below −8 LUFS; true peaks permit 4.0 dB");
    speaks(&mut with(-8.0, -10.0), RuleId::UnderTarget, "true peaks permit 2.0 dB");
    silent(&mut with(-12.0, -1.0), RuleId::UnderTarget);
}

/// A beat over a held chord into a limiter of the simplest kind (instant attack, one pole of 80 ms
/// for the release), then turned to the same loudness.
fn beat(drive_db: f64, gain_db: f64) -> Analysis {
    let release = (-1.0 / (0.08 * RATE)).exp();
    let mut reduction = 0.0;
    let (drive, gain) = (10f64.powf(drive_db / 20.0), 10f64.powf(gain_db / 20.0));
    run(20.0, nothing, move |t| {
        let age = t - 0.5 * (t / 0.5).floor();
        let kick = 0.5 * (-age / 0.06).exp() * (TAU * 55.0 * age).sin();
        let chord = 0.05 * ((TAU * 220.0 * t).sin() + (TAU * 277.2 * t).sin() + (TAU * 329.6 * t).sin());
        let x = [kick + chord, kick + 0.9 * chord];
        let driven = x.map(|x| drive * x);
        let peak = driven[0].abs().max(driven[1].abs());
        let wanted = (20.0 * (peak / 0.5).max(1e-9).log10()).max(0.0);
        reduction = if wanted > reduction { wanted } else { reduction * release };
        (x, driven.map(|x| gain * x * 10f64.powf(-reduction / 20.0)), [0.0, reduction, 0.0])
    })
}

#[test]
fn pumping_fires_on_a_hard_driven_beat_and_not_on_a_moderate_one() {
    let mut hard = beat(8.0, 0.0);
    let gain = hard.snapshot().after.integrated - beat(2.5, 0.0).snapshot().after.integrated;
    let mut moderate = beat(2.5, gain);
    let (a, b) = (hard.snapshot(), moderate.snapshot());
    assert!((a.limiter.most - 8.0).abs() < 1.5, "{}", a.limiter.most);
    assert!((a.after.integrated - b.after.integrated).abs() < 0.05);
    speaks(&mut hard, RuleId::Pumping, "Pumping: the reduction moves by");
    silent(&mut moderate, RuleId::Pumping);
}

#[test]
fn a_steady_deep_reduction_does_not_pump() {
    silent(&mut run(15.0, nothing, |t| reduced(t, 0.0, 8.0)), RuleId::Pumping);
    silent(&mut run(15.0, nothing, |t| reduced(t, 4.0 + 3.0 * (TAU * 0.05 * t).sin(), 0.0)), RuleId::Pumping);
}

#[test]
fn at_most_three_notes_and_the_most_important_first() {
    let everything = |t: f64| {
        let cut = music(t).map(|x| (8.0 * x).clamp(-1.0, 1.0));
        (cut, cut, [6.0, 8.0 * (0.5 + 0.5 * (TAU * 2.0 * t).sin()), 0.0])
    };
    let notes = snapshot(everything).notes;
    let rules: Vec<RuleId> = notes.iter().map(|note| note.rule).collect();
    assert_eq!(rules, [RuleId::PeakAboveDelivery, RuleId::FlatTops, RuleId::FullScale]);
}

#[test]
fn notes_do_not_flicker_on_music_near_a_threshold() {
    let mut analysis = Analysis::new(48_000, 2);
    let (mut shown, mut changes) = (false, 0);
    let mut block = [[0.0f32; 4800]; 3];
    for n in 0..600 {
        // The depth wanders around the threshold of 4 dB.
        let depth = 4.0 + 0.6 * (TAU * f64::from(n) / 37.0).sin();
        let [l, r, ceiling] = &mut block;
        for (i, ((l, r), ceiling)) in l.iter_mut().zip(r).zip(ceiling).enumerate() {
            [*l, *r] = music((n as usize * 4800 + i) as f64 / RATE).map(|x| x as f32);
            *ceiling = if i < 2400 { depth as f32 } else { 0.0 };
        }
        let zeros = [0.0f32; 4800];
        let [l, r, ceiling] = &block;
        analysis.feed(
            &Tap {
                before: [l, r],
                after: [l, r],
                compressor_db: &zeros,
                limiter_db: ceiling,
                clip_db: &zeros,
            },
            Transport::default(),
        );
        let now = analysis.snapshot().notes.iter().any(|note| note.rule == RuleId::LimiterDeep);
        changes += u32::from(now != shown);
        shown = now;
    }
    assert!(changes <= 1, "{changes} changes in a minute");
}
