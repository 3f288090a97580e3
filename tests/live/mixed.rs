//! A measurement that spans a change of the sound says so until it is reset.

use lintel::meter::Analysis;
use lintel::settings::{Compare, Settings};
use lintel::tap_ring::TapChunk;

#[test]
fn a_measurement_over_two_settings_is_mixed_until_the_reset() {
    let mut analysis = Analysis::new(48_000, 2);
    let mut settings = Settings::default();
    settings.limiter.drive = 3.0;
    let feed = |analysis: &mut Analysis| (0..100).for_each(|_| analysis.feed_chunk(&TapChunk::EMPTY));
    // A window that opens later tells the settings for the first time.
    feed(&mut analysis);
    analysis.set_settings(&settings);
    assert!(!analysis.snapshot().mixed_settings);
    // Monitoring is no change of the sound.
    settings.compare = Compare::Before;
    analysis.set_settings(&settings);
    assert!(!analysis.snapshot().mixed_settings);
    settings.limiter.drive = 4.0;
    analysis.set_settings(&settings);
    assert!(analysis.snapshot().mixed_settings);
    analysis.restart();
    assert!(!analysis.snapshot().mixed_settings);
    // Nothing has been measured with the earlier ones.
    settings.limiter.drive = 5.0;
    analysis.set_settings(&settings);
    feed(&mut analysis);
    assert!(!analysis.snapshot().mixed_settings);
}
