//! The adversarial set and a programme-like mix; everything from fixed seeds.

use super::limiter_rig::{Stereo, peak};
use realfft::RealFftPlanner;
use std::f64::consts::PI;

/// Uniform in −1 to 1 (Knuth's linear congruential generator).
pub struct Noise(pub u64);

impl Noise {
    pub fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
        (self.0 >> 11) as f64 / (1u64 << 52) as f64 - 1.0
    }
}

/// Convolution of a whole signal with many filters by FFT: the signal is transformed once.
pub struct Convolver {
    spectrum: Vec<realfft::num_complex::Complex<f64>>,
    len: usize,
    size: usize,
    planner: RealFftPlanner<f64>,
}

impl Convolver {
    /// `taps`: longest filter.
    pub fn new(x: &[f64], taps: usize) -> Self {
        let size = (x.len() + taps).next_power_of_two();
        let mut planner = RealFftPlanner::new();
        let mut spectrum = Vec::new();
        Self::forward(&mut planner, x, size, &mut spectrum);
        Self { spectrum, len: x.len(), size, planner }
    }

    fn forward(
        planner: &mut RealFftPlanner<f64>,
        x: &[f64],
        size: usize,
        out: &mut Vec<realfft::num_complex::Complex<f64>>,
    ) {
        let fft = planner.plan_fft_forward(size);
        let mut time = vec![0.0; size];
        time[..x.len()].copy_from_slice(x);
        *out = fft.make_output_vec();
        fft.process(&mut time, out).expect("sizes fit");
    }

    /// Full convolution (length x + taps − 1).
    pub fn with(&mut self, taps: &[f64]) -> Vec<f64> {
        let mut product = Vec::new();
        Self::forward(&mut self.planner, taps, self.size, &mut product);
        product.iter_mut().zip(&self.spectrum).for_each(|(p, s)| *p *= s / self.size as f64);
        // The two ends of a real signal's spectrum are real but for rounding.
        product[0].im = 0.0;
        product.last_mut().expect("not empty").im = 0.0;
        let mut out = vec![0.0; self.size];
        self.planner.plan_fft_inverse(self.size).process(&mut product, &mut out).expect("sizes fit");
        out.truncate(self.len + taps.len() - 1);
        out
    }
}

/// I0 by its power series.
pub fn bessel_i0(x: f64) -> f64 {
    let (mut sum, mut term) = (1.0, 1.0);
    for k in 1..80 {
        term *= (x / (2.0 * f64::from(k))).powi(2);
        sum += term;
    }
    sum
}

/// Low-pass at 20 kHz: windowed sinc, 1023 taps, Kaiser β = 10 (100 dB), centred so that the
/// stop band begins at 20.0 kHz (passes 19.4 kHz at 44.1 kHz).
pub fn band_limited(x: &Stereo, rate: f64) -> Stereo {
    const TAPS: usize = 1023;
    let width = (100.0 - 7.95) / (2.285 * (TAPS - 1) as f64) / (2.0 * PI);
    let cut = 20_000.0 / rate - width / 2.0;
    let middle = (TAPS / 2) as f64;
    let taps: Vec<f64> = (0..TAPS)
        .map(|k| {
            let t = k as f64 - middle;
            let sinc = if t == 0.0 { 2.0 * cut } else { (2.0 * PI * cut * t).sin() / (PI * t) };
            sinc * bessel_i0(10.0 * (1.0 - (t / middle).powi(2)).max(0.0).sqrt()) / bessel_i0(10.0)
        })
        .collect();
    x.each_ref().map(|x| Convolver::new(x, TAPS).with(&taps)[TAPS / 2..TAPS / 2 + x.len()].to_vec())
}

/// Full-scale tone of `freq`, right channel a quarter turn later.
pub fn tone(freq: f64, turns: f64, rate: f64, seconds: f64) -> Stereo {
    let frames = (rate * seconds) as usize;
    [0.0, 0.25].map(|right| {
        (0..frames).map(|n| (2.0 * PI * (freq / rate * n as f64 + turns + right)).sin()).collect()
    })
}

/// Names and signals of the adversarial set, full scale, about `seconds` long each.
pub fn adversarial(rate: f64, seconds: f64) -> Vec<(&'static str, Stereo)> {
    let frames = (rate * seconds) as usize;
    let by_frame = |f: &mut dyn FnMut(usize) -> [f64; 2]| {
        let mut x: Stereo = [Vec::with_capacity(frames), Vec::with_capacity(frames)];
        for n in 0..frames {
            let [l, r] = f(n);
            x[0].push(l);
            x[1].push(r);
        }
        x
    };
    let mut noise = Noise(11);
    let mut set = vec![
        ("fs/3", tone(rate / 3.0, 0.0, rate, seconds)),
        ("fs/4 45°", tone(rate / 4.0, 0.125, rate, seconds)),
        ("fs/6", tone(rate / 6.0, 1.0 / 12.0, rate, seconds)),
        ("fs/8", tone(rate / 8.0, 1.0 / 16.0, rate, seconds)),
        ("fs/12", tone(rate / 12.0, 1.0 / 24.0, rate, seconds)),
        ("0.41 fs", tone(0.41 * rate, 0.0, rate, seconds)),
    ];
    // Eleven tones between 60 Hz and 0.42 fs with random phases, clipped at a third of their sum.
    let tones: Vec<(f64, f64, f64)> = (0..11)
        .map(|i| (60.0 * (0.42 * rate / 60.0).powf(f64::from(i) / 10.0), noise.next(), noise.next()))
        .collect();
    set.push((
        "clipped sines",
        by_frame(&mut |n| {
            [0, 1].map(|ch| {
                let sum: f64 = tones
                    .iter()
                    .map(|&(f, a, b)| (2.0 * PI * (f / rate * n as f64 + [a, b][ch])).sin())
                    .sum();
                (sum * 3.0 / 11.0).clamp(-1.0, 1.0)
            })
        }),
    ));
    set.push(("noise", by_frame(&mut |_| [noise.next(), noise.next()])));
    let burst = (0.013 * rate) as usize;
    set.push((
        "noise bursts",
        by_frame(&mut |n| {
            if (n / burst).is_multiple_of(3) { [noise.next(), noise.next()] } else { [0.0; 2] }
        }),
    ));
    let apart = (0.037 * rate) as usize;
    set.push((
        "impulses",
        by_frame(&mut |n| {
            let single = f64::from(u8::from(n % apart == 100));
            // Two of opposite sign, next to each other, then one sample further apart each time.
            let gap = 1 + n / apart % 9;
            let double = single - f64::from(u8::from(n % apart == 100 + gap));
            [single, double]
        }),
    ));
    set.push((
        "steps",
        by_frame(&mut |n| {
            let high = (n / (apart / 2)).is_multiple_of(2);
            [if high { 1.0 } else { -1.0 }, if high { 1.0 } else { 0.0 }]
        }),
    ));
    set.push((
        "gated fs/2",
        by_frame(&mut |n| {
            let on = f64::from(u8::from((n / burst).is_multiple_of(2)));
            [on * if n.is_multiple_of(2) { 1.0 } else { -1.0 }, on * if n % 4 < 2 { 1.0 } else { -1.0 }]
        }),
    ));
    set
}

/// A mix like a small acoustic band: struck bars with fast decays, a plucked bass, a shaker, a
/// drum; a quiet and a loud half of each 8 s. Normalised to full scale.
pub fn programme(rate: f64, seconds: f64) -> Stereo {
    let frames = (rate * seconds) as usize;
    let mut noise = Noise(23);
    let mut x: Stereo = [vec![0.0; frames], vec![0.0; frames]];
    // One note: start (s), frequency, decay (s), amplitude, share of the fourth partial, pan.
    let mut note = |start: f64, freq: f64, decay: f64, amp: f64, upper: f64, pan: f64| {
        let first = frames.min((start * rate) as usize);
        let last = frames.min(first + (6.0 * decay * rate) as usize);
        let [left, right] = &mut x;
        for (n, (left, right)) in left[first..last].iter_mut().zip(&mut right[first..last]).enumerate() {
            let t = n as f64 / rate;
            let rise = 1.0 - (-t / 0.002).exp();
            let body = (2.0 * PI * freq * t).sin() * (-t / decay).exp();
            let ring = (2.0 * PI * 3.93 * freq * t).sin() * (-t / (0.25 * decay)).exp();
            let v = amp * rise * (body + upper * ring);
            *left += v * (1.0 - pan);
            *right += v * pan;
        }
    };
    let scale = [0.0, 3.0, 5.0, 7.0, 10.0, 12.0, 15.0];
    let beat = 60.0 / 104.0;
    let mut step = 0;
    while f64::from(step) * beat / 2.0 < seconds {
        let t = f64::from(step) * beat / 2.0;
        let loud = if t % 8.0 < 4.0 { 0.5 } else { 1.0 };
        let mut pick = || scale[((noise.next() + 1.0) * 3.4) as usize];
        note(t, 220.0 * 2f64.powf(pick() / 12.0), 0.35, 0.30 * loud, 0.35, 0.35);
        if step % 2 == 0 {
            note(t + 0.01, 330.0 * 2f64.powf(pick() / 12.0), 0.30, 0.24 * loud, 0.35, 0.70);
            note(t, 55.0 * 2f64.powf(pick() / 12.0), 0.45, 0.45 * loud, 0.12, 0.5);
        }
        if step % 4 == 2 {
            note(t, 92.0, 0.09, 0.85 * loud, 0.5, 0.45);
        }
        step += 1;
    }
    let mut hiss = 0.0;
    let [left, right] = &mut x;
    for (n, (left, right)) in left.iter_mut().zip(right).enumerate() {
        let t = n as f64 / rate;
        let shake = (-(t % (beat / 2.0)) / 0.03).exp() * if t % 8.0 < 4.0 { 0.05 } else { 0.10 };
        let white = noise.next();
        let bright = white - hiss;
        hiss = white;
        *left += shake * bright * 0.7;
        *right += shake * bright;
    }
    let top = peak(&x[0]).max(peak(&x[1]));
    x.map(|x| x.into_iter().map(|v| v / top).collect())
}
