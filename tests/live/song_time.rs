//! Times in the findings are those of the song, as in the chart, not of the measurement.

use lintel::dsp::CHUNK;
use lintel::meter::Analysis;
use lintel::tap_ring::{TapChunk, Transport};

/// Plays chunks from a position in the song on; in the last one the peaks are cut flat.
fn play(analysis: &mut Analysis, index: &mut u64, from: i64, chunks: usize) {
    for n in 0..chunks {
        let mut chunk = TapChunk { index: *index, ..TapChunk::EMPTY };
        *index += 1;
        let position = Some(from + (n * CHUNK) as i64);
        chunk.transport = Transport { playing: true, position };
        for i in 0..CHUNK {
            let x = 0.5 * (((n * CHUNK + i) as f32) * 0.03).sin();
            let x = if n + 40 >= chunks { (4.0 * x).clamp(-0.99, 0.99) } else { x };
            chunk.before.iter_mut().for_each(|lane| lane[i] = x);
        }
        analysis.feed_chunk(&chunk);
    }
}

#[test]
fn flat_tops_are_found_at_their_place_in_the_song() {
    let mut analysis = Analysis::new(48_000, 2);
    let mut index = 0;
    // The measurement begins in the middle of the song, and the song is left for another place of it.
    play(&mut analysis, &mut index, 30 * 48_000, 3_000);
    let first = analysis.snapshot().source.flat_top_at[0];
    let cut = 30.0 + (3_000 - 40) as f64 * CHUNK as f64 / 48_000.0;
    assert!((first - cut).abs() < 0.02, "{first} s, cut from {cut} s on");
    analysis.restart();
    play(&mut analysis, &mut index, 90 * 48_000, 3_000);
    let first = analysis.snapshot().source.flat_top_at[0];
    assert!((first - cut - 60.0).abs() < 0.02, "{first} s");
}
