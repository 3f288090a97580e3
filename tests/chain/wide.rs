//! The way for files is the way of the plugin, short of the rounding at its edges.

use crate::signal::{busy, run, transients};
use lintel::chain::Chain;
use lintel::settings::Settings;

#[test]
fn rounded_to_f32_the_samples_are_the_same() {
    for settings in [Settings::default(), busy()] {
        let input =
            transients(44_100, 44_100.0, 5).map(|ch| ch.iter().map(|x| x * 1.7).collect::<Vec<f32>>());
        let plain = run(44_100.0, &input, 64, &settings);
        let mut chain = Chain::new(44_100.0);
        chain.set(&settings);
        chain.reset();
        let [mut left, mut right] = input.map(|ch| ch.iter().map(|x| f64::from(*x)).collect::<Vec<f64>>());
        let mut tapped = 0;
        for (left, right) in left.chunks_mut(1000).zip(right.chunks_mut(1000)) {
            chain.process_wide([left, right], |tap| tapped += tap.after[0].len());
        }
        assert_eq!(tapped, 44_100);
        for (wide, plain) in [left, right].iter().zip(&plain) {
            assert!(wide.iter().zip(plain).all(|(a, b)| *a as f32 == *b));
        }
    }
}
