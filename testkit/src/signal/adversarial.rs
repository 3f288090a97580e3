//! The adversarial set and a programme-like mix; everything from fixed seeds.

use super::Stereo;
use crate::Random;
use crate::meter::peak;
use std::f64::consts::PI;

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
    let mut noise = Random::new(11);
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
        .map(|i| (60.0 * (0.42 * rate / 60.0).powf(f64::from(i) / 10.0), noise.signed(), noise.signed()))
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
    set.push(("noise", by_frame(&mut |_| [noise.signed(), noise.signed()])));
    let burst = (0.013 * rate) as usize;
    set.push((
        "noise bursts",
        by_frame(&mut |n| {
            if (n / burst).is_multiple_of(3) { [noise.signed(), noise.signed()] } else { [0.0; 2] }
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
    let mut noise = Random::new(23);
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
        let mut pick = || scale[((noise.signed() + 1.0) * 3.4) as usize];
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
        let white = noise.signed();
        let bright = white - hiss;
        hiss = white;
        *left += shake * bright * 0.7;
        *right += shake * bright;
    }
    let top = peak(&x[0]).max(peak(&x[1]));
    x.map(|x| x.into_iter().map(|v| v / top).collect())
}
