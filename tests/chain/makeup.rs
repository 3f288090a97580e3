//! Auto make-up in the whole chain: right half a second after the compressor is switched in.

use lintel::settings::{Settings, StageOrder};
use testkit::rig::chain::{MeasuredChain, compressing, half_seconds_db, noise, strikes};

/// Four seconds.
const FRAMES: usize = 4 * 48_000;

/// Own goal: 0.3 LU from half a second after the compressor is switched in or changes its place,
/// against a chain that has had it on all the time.
#[test]
fn auto_makeup_is_right_half_a_second_after_switching_and_swapping() {
    const GOAL_LU: f64 = 0.3;
    let on = compressing(true, true);
    let swapped = Settings { order: StageOrder::CompressorFirst, ..on };
    let moves = [
        ("off", compressing(false, true)),
        ("first switched in", on),
        ("off again", compressing(false, true)),
        ("switched in again", on),
        ("order swapped", swapped),
        ("swapped back", on),
        ("off with its make-up", compressing(false, false)),
        ("on with its make-up", on),
    ];
    for (name, input) in [("noise", noise(FRAMES)), ("strikes", strikes(FRAMES))] {
        let [mut chain, mut always] = [(); 2].map(|()| MeasuredChain::new(&compressing(false, true)));
        for (what, settings) in &moves {
            chain.chain.set(settings);
            always.chain.set(&Settings { compressor: on.compressor, ..*settings });
            let steps = half_seconds_db(&mut chain, &input);
            let asked = half_seconds_db(&mut always, &input);
            if settings.compressor.on {
                let off = |(step, asked): (&f64, &f64)| (step - asked).abs() > GOAL_LU;
                assert!(
                    !steps.iter().zip(&asked).skip(1).any(off),
                    "{name}, {what}: {steps:.2?}, always on {asked:.2?} LU"
                );
            }
        }
        // Without auto make-up it would be clearly quieter.
        chain.chain.set(&compressing(true, false));
        assert!(half_seconds_db(&mut chain, &input)[7] < -2.0);
    }
}

/// Where nothing has been learnt, own goal: noise within 0.3 LU of the input from half a second on. Music
/// cannot be known before it has been heard: each bar within 1 LU from the second one on, 0.5 LU from
/// the third.
#[test]
fn auto_makeup_learns_within_half_a_second_of_noise_and_two_bars_of_music() {
    let learn = |input: &[f32]| {
        let mut chain = MeasuredChain::new(&compressing(false, false));
        half_seconds_db(&mut chain, input);
        chain.chain.set(&compressing(true, true));
        half_seconds_db(&mut chain, input)
    };
    let steps = learn(&noise(FRAMES));
    assert!(steps[1..].iter().all(|step| step.abs() <= 0.3), "{steps:.2?} LU");
    let steps = learn(&strikes(FRAMES));
    let bars: Vec<f64> = steps.chunks(2).map(|halves| 0.5 * (halves[0] + halves[1])).collect();
    assert!(bars[1].abs() <= 1.0 && bars[2..].iter().all(|bar| bar.abs() <= 0.5), "{bars:.2?} LU");
}
