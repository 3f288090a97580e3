#![allow(dead_code)]
mod figures;
mod quartet;

fn main() {
    let t = std::time::Instant::now();
    let s: f64 = std::env::args().nth(1).and_then(|a| a.parse().ok()).unwrap_or(54.0);
    let [l, r] = quartet::mix(s);
    eprintln!("{:?}", t.elapsed());
    let spec = hound::WavSpec {
        channels: 2,
        sample_rate: 44100,
        bits_per_sample: 24,
        sample_format: hound::SampleFormat::Int,
    };
    let mut w = hound::WavWriter::create("/tmp/q.wav", spec).unwrap();
    for (a, b) in l.iter().zip(&r) {
        w.write_sample((a * 8388608.0) as i32).unwrap();
        w.write_sample((b * 8388608.0) as i32).unwrap();
    }
    w.finalize().unwrap();
}
