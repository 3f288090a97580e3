//! The spectra before and after as one picture: band levels in (dB re a full-scale sine), SVG out.

use crate::meter::spectrum::{BANDS, SpectrumBands, frequency};

const WIDTH: f64 = 720.0;
const HEIGHT: f64 = 330.0;
/// Left, top, right, bottom.
const MARGIN: [f64; 4] = [44.0, 14.0, 16.0, 34.0];
/// Height of the picture in dB.
const SPAN: f64 = 72.0;

/// Draws both means.
pub fn svg(before: &SpectrumBands, after: &SpectrumBands) -> String {
    let loudest = before.mean.iter().chain(&after.mean).copied().fold(f32::MIN, f32::max);
    // The top line: the next 12 dB above the loudest band.
    let top = if loudest.is_finite() { (f64::from(loudest) / 12.0).ceil() * 12.0 } else { 0.0 };
    let x = |hz: f64| {
        let (low, high) = (frequency(0).log2(), frequency(BANDS - 1).log2());
        MARGIN[0] + (hz.log2() - low) / (high - low) * (WIDTH - MARGIN[0] - MARGIN[2])
    };
    let y = |level: f64| {
        let down = ((top - level) / SPAN).clamp(0.0, 1.0);
        MARGIN[1] + down * (HEIGHT - MARGIN[1] - MARGIN[3])
    };
    let (right, bottom) = (WIDTH - MARGIN[2], HEIGHT - MARGIN[3]);
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {HEIGHT}\" role=\"img\" \
         aria-label=\"spectrum before and after\" font-family=\"system-ui, sans-serif\" font-size=\"12\">\n\
         <rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"#fcf9f1\"/>\n",
        MARGIN[0],
        MARGIN[1],
        right - MARGIN[0],
        bottom - MARGIN[1]
    );
    let text = |svg: &mut String, x: f64, y: f64, anchor: &str, words: &str| {
        *svg += &format!(
            "<text x=\"{x:.1}\" y=\"{y:.1}\" text-anchor=\"{anchor}\" fill=\"#685f50\">{words}</text>\n"
        );
    };
    let line = |svg: &mut String, from: (f64, f64), to: (f64, f64)| {
        *svg += &format!(
            "<line x1=\"{:.1}\" y1=\"{:.1}\" x2=\"{:.1}\" y2=\"{:.1}\" stroke=\"#e4dccc\"/>\n",
            from.0, from.1, to.0, to.1
        );
    };
    for (hz, words) in [
        (20.0, "20"),
        (50.0, "50"),
        (100.0, "100"),
        (200.0, "200"),
        (500.0, "500"),
        (1e3, "1k"),
        (2e3, "2k"),
        (5e3, "5k"),
        (1e4, "10k"),
        (2e4, "20k"),
    ] {
        line(&mut svg, (x(hz), MARGIN[1]), (x(hz), bottom));
        text(&mut svg, x(hz), bottom + 15.0, "middle", words);
    }
    text(&mut svg, right, bottom + 30.0, "end", "Hz");
    for step in 0..=(SPAN / 12.0) as u32 {
        let level = top - f64::from(step) * 12.0;
        line(&mut svg, (MARGIN[0], y(level)), (right, y(level)));
        text(&mut svg, MARGIN[0] - 6.0, y(level) + 4.0, "end", &super::number(level, 0));
    }
    let points = |bands: &SpectrumBands| -> String {
        let at =
            |(band, level): (usize, &f32)| format!("{:.1},{:.1}", x(frequency(band)), y(f64::from(*level)));
        bands.mean.iter().enumerate().map(at).collect::<Vec<_>>().join(" ")
    };
    svg += &format!(
        "<polygon points=\"{},{bottom} {} {right},{bottom}\" fill=\"#dad1bf\"/>\n\
         <polyline points=\"{}\" fill=\"none\" stroke=\"#20242a\" stroke-width=\"1.6\"/>\n",
        MARGIN[0],
        points(before),
        points(after)
    );
    svg += &format!(
        "<rect x=\"{0:.1}\" y=\"{1:.1}\" width=\"14\" height=\"9\" fill=\"#dad1bf\"/>\n\
         <line x1=\"{2:.1}\" y1=\"{3:.1}\" x2=\"{4:.1}\" y2=\"{3:.1}\" stroke=\"#20242a\" stroke-width=\"1.6\"/>\n",
        right - 150.0,
        MARGIN[1] + 10.0,
        right - 78.0,
        MARGIN[1] + 15.0,
        right - 64.0
    );
    text(&mut svg, right - 132.0, MARGIN[1] + 19.0, "start", "before");
    text(&mut svg, right - 60.0, MARGIN[1] + 19.0, "start", "after");
    svg + "</svg>"
}
