//! Verification of a written file: what was rendered, written and read again in, a fault out if they
//! differ. No file is touched here.

use super::error::Fault;
use super::format::OutputSpec;
use super::reread::Reread;
use super::song_meters::SongMeasurement;
use super::writer::Written;

/// Largest difference of integrated loudness between two independent meters, LU (own goal; EBU Tech 3341
/// allows a meter ±0.1 LU).
pub const METER_TOLERANCE_LU: f64 = 0.1;
/// Largest difference of true peak between two independent meters, dB (own goal). Where the second
/// meter reads lower, `under_read_db` is added.
pub const METER_TOLERANCE_DB: f64 = 0.3;
/// Largest difference between the figures of the render and those of the file, by the same meter, LU
/// and dB (own goal).
const FILE_TOLERANCE_DB: f64 = 0.02;
/// Below this loudness dither changes the figure: at 16 bit by 0.05 LU at −76 LUFS.
const MIN_LOUDNESS_LUFS: f64 = -60.0;
/// Below this true peak dither changes the figure.
const MIN_PEAK_DBTP: f64 = -40.0;

/// Compares a file that was read again with what was rendered and written.
///
/// # Errors
/// [`Fault::VerificationFailed`] or [`Fault::MetersDisagree`], with both figures.
pub fn verify(
    spec: &OutputSpec,
    measured: &SongMeasurement,
    written: &Written,
    reread: &Reread,
) -> Result<(), Fault> {
    let fail = |what: String| Err(Fault::VerificationFailed(what));
    let (frames, clipped) = (written.frames, written.clipped);
    if reread.frames != frames || frames != measured.frames {
        return fail(format!("{} frames instead of {}", reread.frames, measured.frames));
    }
    if reread.digest != written.digest {
        return fail("its samples differ from those that were written".into());
    }
    if reread.sample_peak > spec.ceiling {
        return fail(format!("a sample of {} above the ceiling of {}", reread.sample_peak, spec.ceiling));
    }
    // The limiter, or without it the clip at full scale, leaves nothing to clip.
    if clipped > 0 {
        return fail(format!("{clipped} samples had to be clipped at the ceiling"));
    }
    let rendered = &measured.output;
    if let Some(expected) = rendered.integrated.filter(|x| *x > MIN_LOUDNESS_LUFS)
        && (reread.own.integrated - expected).abs() > FILE_TOLERANCE_DB
    {
        return fail(format!("{:.2} LUFS instead of {expected:.2}", reread.own.integrated));
    }
    if let Some(expected) = rendered.true_peak.filter(|x| *x > MIN_PEAK_DBTP)
        && (reread.own.true_peak - expected).abs() > FILE_TOLERANCE_DB
    {
        return fail(format!("{:.2} dBTP instead of {expected:.2}", reread.own.true_peak));
    }
    compare_meters(reread, spec.rate)
}

/// The most that the crate ebur128 may read below the true peak, dB: it oversamples 4-fold below 96 kHz,
/// 2-fold below 192 kHz and not at all from there on. A tone at half the rate oversampled n-fold is read
/// too low by at most −20 log10 cos(π / 2n) (ITU-R BS.1770-5, attachment 1 to Annex 2).
fn under_read_db(sample_rate: u32) -> f64 {
    let factor = match sample_rate {
        ..96_000 => 4.0,
        96_000..192_000 => 2.0,
        192_000.. => return f64::INFINITY,
    };
    -20.0 * (std::f64::consts::FRAC_PI_2 / factor).cos().log10()
}

/// Compares our own meters with the crate ebur128 on the same file of `sample_rate` Hz.
///
/// # Errors
/// [`Fault::MetersDisagree`] with both figures.
pub fn compare_meters(reread: &Reread, sample_rate: u32) -> Result<(), Fault> {
    let (own, reference) = (reread.own, reread.reference);
    let differ =
        |quantity, unit, own, reference| Err(Fault::MetersDisagree { quantity, unit, own, reference });
    let (a, b) = (own.integrated, reference.integrated);
    if a.max(b) > MIN_LOUDNESS_LUFS && (a - b).abs() > METER_TOLERANCE_LU {
        return differ("integrated loudness", "LUFS", a, b);
    }
    let (a, b) = (own.true_peak, reference.true_peak);
    let (lowest, highest) = (a - METER_TOLERANCE_DB - under_read_db(sample_rate), a + METER_TOLERANCE_DB);
    if a.max(b) > MIN_PEAK_DBTP && !(lowest..=highest).contains(&b) {
        return differ("true peak", "dBTP", a, b);
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dsp::db;
    use crate::finish::check::check;
    use crate::finish::format::{Encoding, Layout, Overwrite};
    use crate::finish::progress::NoProgress;
    use crate::finish::reread::reread;
    use crate::finish::writer::Writer;
    use crate::meter::MonoAs;

    fn spec() -> OutputSpec {
        OutputSpec {
            ceiling: db::to_gain(-1.0),
            ..OutputSpec::new(Layout::Wav, Encoding::Int(24), 48_000, 2)
        }
    }

    /// Writes a tone of `amplitude` and reads it again.
    fn tone(name: &str, amplitude: f64) -> (Written, Reread, SongMeasurement) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(name);
        let plane: Vec<f64> = (0..48_000).map(|n| amplitude * (f64::from(n) * 0.05).sin()).collect();
        let mut writer = Writer::create(&path, spec(), Overwrite::Refuse, &[]).unwrap();
        writer.write(&plane, &plane).unwrap();
        let written = writer.finish(None).unwrap();
        let quiet = NoProgress::default();
        let measured = check(&path, None, MonoAs::Stereo, &quiet).unwrap().measured;
        (written, reread(&path, MonoAs::Stereo, &quiet).unwrap(), measured)
    }

    #[test]
    fn a_file_that_differs_from_the_render_is_refused() {
        let (written, reread, measured) = tone("x.wav", 0.3);
        verify(&spec(), &measured, &written, &reread).unwrap();
        let wrong = |change: &dyn Fn(&mut Written, &mut Reread)| {
            let (mut written, mut reread) = (written.clone(), reread);
            change(&mut written, &mut reread);
            verify(&spec(), &measured, &written, &reread).unwrap_err().to_string()
        };
        assert!(wrong(&|_, r| r.frames -= 1).contains("47999 frames instead of 48000"));
        assert!(wrong(&|_, r| r.digest.add(1, [0.5].into_iter())).contains("samples differ"));
        assert!(wrong(&|_, r| r.sample_peak = 0.9).contains("above the ceiling"));
        assert!(wrong(&|w, _| w.clipped = 3).contains("3 samples had to be clipped"));
        assert!(wrong(&|_, r| r.own.integrated += 0.1).contains("LUFS instead of"));
        assert!(wrong(&|_, r| r.own.true_peak += 0.1).contains("dBTP instead of"));
    }

    /// A file with another level stands for a meter that is off: the second meter measures it instead.
    #[test]
    fn meters_that_disagree_are_an_error_with_both_figures() {
        let (written, reread, measured) = tone("x.wav", 0.3);
        let (_, louder, _) = tone("louder.wav", 0.3 * db::to_gain(0.12));
        let altered = Reread { reference: louder.reference, ..reread };
        let said = verify(&spec(), &measured, &written, &altered).unwrap_err().to_string();
        let figures = [altered.own.integrated, altered.reference.integrated].map(|x| format!("{x:.2} LUFS"));
        assert!(figures.iter().all(|figure| said.contains(figure)), "{said}");
        assert!(said.contains("integrated loudness"), "{said}");

        // Higher by more than the tolerance, lower by more than 4-fold oversampling explains (0.69 dB).
        let mut peak = reread;
        for difference in [0.31, -1.0] {
            peak.reference.true_peak = peak.own.true_peak + difference;
            assert!(matches!(
                compare_meters(&peak, 48_000).unwrap_err(),
                Fault::MetersDisagree { quantity: "true peak", unit: "dBTP", .. }
            ));
        }
        // Within the tolerance, and where both meters read silence.
        for difference in [0.29, -0.98] {
            peak.reference.true_peak = peak.own.true_peak + difference;
            peak.reference.integrated = peak.own.integrated + 0.09;
            compare_meters(&peak, 48_000).unwrap();
        }
        peak.own.integrated = f64::NEG_INFINITY;
        peak.reference.integrated = f64::NEG_INFINITY;
        compare_meters(&peak, 48_000).unwrap();
    }
}
