//! A scene to draw.
use lintel::editor::live::*;

pub struct Paper { pub seconds: f64 }
fn noise(n: i64) -> f64 { let x = (n.wrapping_mul(6364136223846793005)).wrapping_add(1442695040888963407); let x = (x ^ (x >> 29)).wrapping_mul(-4658895280553007687); (((x >> 33) & 0xffff) as f64) / 65535.0 }
impl Recording for Paper {
    fn seconds(&self) -> f64 { self.seconds }
    fn read(&self, first: i64, step: f64, columns: &mut [Column]) {
        for (i, c) in columns.iter_mut().enumerate() {
            let t = (first + i as i64) as f64 * step;
            if t < 0.0 || t > self.seconds { *c = Column::NONE; continue; }
            let stroke = |rate: f64, decay: f64| { let p = (t * rate).fract() / rate; (-p / decay).exp() };
            let env = (stroke(2.1, 0.22) * (0.6 + 0.4 * noise((t * 2.1) as i64))).max(0.6 * stroke(3.17, 0.1)).max(0.25);
            let slow = 0.75 + 0.25 * (t * 0.21).sin();
            let j = 0.82 + 0.18 * noise((t / 0.02) as i64);
            let before = (20.0 * (env * slow * j).log10()) as f32 - 0.2;
            let glue = ((before + 9.0).max(0.0) * 0.22) * slow as f32;
            let driven = before + 4.5 - glue;
            let ceiling = (driven + 1.0).max(0.0);
            *c = Column { before, after: driven - ceiling, after_low: driven - ceiling - 7.0 * j as f32, glue, ceiling, short_term: (-13.8 + 1.6 * (t * 0.23).sin() + 0.7 * (t * 0.9).sin()) as f32, over: false, jump: (t - 12.3).abs() < step, there: true };
        }
    }
}
pub fn live() -> Live {
    let spectrum: Vec<f32> = (0..121).map(|i| (i, lintel::meter::spectrum::frequency(i))).map(|(i, f)| (-30.0 - 4.5 * (f / 1000.0).log2() - 8.0 * ((f / 60.0).log2().min(0.0)).powi(2) + 4.0 * noise(i as i64) + 3.0 * (f.ln() * 3.0).sin()) as f32).collect();
    Live {
        before: Figures { true_peak: -0.1, true_peak_max: 0.2, integrated: -18.6, crest: 13.1, correlation: 0.62, short_term: -17.9, momentary: -17.0, range: 6.3, peak_to_loudness: 18.8 },
        after: Figures { true_peak: -1.0, true_peak_max: -1.0, integrated: -14.1, crest: 9.8, correlation: 0.6, short_term: -13.4, momentary: -12.9, range: 5.2, peak_to_loudness: 13.1 },
        glue: Reduction { now: 1.2, most: 2.3, share: 0.8 }, ceiling: Reduction { now: 2.6, most: 4.1, share: 0.31 }, swing: 0.9, louder_by: 4.6,
        spectrum_after: spectrum.iter().map(|s| s + 4.0).collect(), spectrum_before: spectrum,
        glue_point: (-11.0, 1.2), makeup: 1.4, measured: 64.0,
        targets: vec![Target { name: "streaming".into(), loudness: -14.0, true_peak: -1.0 }, Target { name: "quiet streaming".into(), loudness: -16.0, true_peak: -1.0 }],
        findings: vec![Finding { text: "bounced at full scale: 3 flat tops in 42 s".into(), trim: Some(-6.0) }],
        notes: vec![Note { serious: false, text: "the ceiling is at work for 31 % of the passage and the swing is small: no pumping to be expected".into(), remedy: "leave the drive where it is".into() }, Note { serious: true, text: "x".into(), remedy: "y".into() }],
        ..Live::default()
    }
}
