//! Silence that meets a chain at rest: what is left of the sound before has left every stage, so that zeros in
//! are zeros out and change nothing. Control values go on moving, and the measurements that count silence go on
//! counting it.

use super::Chain;
use super::edge::EdgeSample;
use crate::dsp::{CHANNELS, CHUNK};

impl Chain {
    /// Passes `len` frames from frame `done` on if they are silent and every delay has held nothing else for as
    /// long as it is; otherwise finds out whether the chain is at rest. `false`: they are to be processed.
    pub(super) fn pass_silence<S: EdgeSample>(
        &mut self,
        io: &mut [&mut [S]],
        done: usize,
        len: usize,
    ) -> bool {
        if !io.iter().all(|ch| S::is_silence(&ch[done..done + len])) {
            self.silent_chunks = 0;
            return false;
        }
        if self.silent_chunks <= self.chunks_on_their_way() {
            // Asked at the first frame of a chunk; a sound later in it begins the count anew.
            if self.at == 0 {
                self.silent_chunks = if self.is_at_rest() { self.silent_chunks + 1 } else { 0 };
                if self.silent_chunks > self.chunks_on_their_way() {
                    self.clear_taps();
                }
            }
            return false;
        }
        self.ordered.pass_silence();
        if S::IS_MONITORED {
            self.listening.pass_silence(len);
        }
        true
    }

    /// Chunks until what went in before them has come out.
    fn chunks_on_their_way(&self) -> usize {
        self.latency() / CHUNK + 2
    }

    /// The taps hold silence, whatever their length.
    fn clear_taps(&mut self) {
        let buffers = &mut self.buffers;
        buffers.before = [[0.0; CHUNK]; CHANNELS];
        buffers.after = [[0.0; CHUNK]; CHANNELS];
        buffers.compressor_db = [0.0; CHUNK];
        self.limiter.clear_readings();
    }

    /// Nothing of the past is left in any stage, and none makes sound by itself.
    fn is_at_rest(&self) -> bool {
        self.ordered.rests()
            && self.limiter.passes_silence()
            && self.word_rounding.is_off()
            && self.listening.rests()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::Settings;

    /// What came out: samples, taps, measurements.
    fn run(chain: &mut Chain, input: &[f32], block: usize, may_pass: bool, out: &mut Vec<u64>) -> usize {
        let mut passed = 0;
        for part in input.chunks(block) {
            if !may_pass {
                chain.silent_chunks = 0;
            }
            let (mut left, mut right) =
                (part.to_vec(), part.iter().map(|x| -0.5 * x + 0.0).collect::<Vec<_>>());
            chain.process(&mut [&mut left, &mut right], |tap| {
                for series in [tap.before[0], tap.after[1], tap.compressor_db, tap.limiter_db, tap.clip_db] {
                    out.extend(series.iter().map(|x| u64::from(x.to_bits())));
                }
            });
            passed += usize::from(chain.silent_chunks > chain.chunks_on_their_way());
            out.extend(left.iter().chain(&right).map(|x| u64::from(x.to_bits())));
            out.extend([chain.makeup_db(), chain.louder_by_db()].map(f64::to_bits));
        }
        passed
    }

    /// Sound, pauses of all lengths and moved controls in them, in blocks of many sizes, with the short way and
    /// without it.
    #[test]
    fn the_short_way_changes_no_bit() {
        let rate = 8_000.0;
        let mut random = testkit::Random::new(9);
        let (mut short, mut long) = (Chain::new(rate), Chain::new(rate));
        let mut settings = Settings::default();
        settings.eq.bands[1].gain = 3.0;
        settings.compressor.on = true;
        settings.compressor.threshold = -40.0;
        settings.compressor.auto_release = false;
        settings.compressor.release = 20.0;
        settings.compressor.auto_makeup = true;
        settings.limiter.drive = 9.0;
        let mut passed = 0;
        for part in 0..12 {
            settings.eq.bands[2].gain = (part % 5) as f32;
            settings.limiter.drive = 6.0 + (part % 3) as f32;
            let sound: Vec<f32> = (0..3_000).map(|_| random.signed() as f32).collect();
            // (Long enough for every release: the compressor's density falls for seconds.)
            let silence = vec![0.0; [700, 400_000, 30_000][part % 3]];
            let [mut with, mut without] = [(); 2].map(|()| Vec::new());
            for input in [&sound[..], &silence[..], &silence[..silence.len() / 2]] {
                let block = [1, 7, 33, 512][(part + input.len()) % 4];
                passed += run(&mut short, input, block, true, &mut with);
                run(&mut long, input, block, false, &mut without);
                // A control that moves in the pause.
                for chain in [&mut short, &mut long] {
                    chain.set(&settings);
                }
            }
            assert!(with == without, "part {part}");
        }
        assert!(passed > 1000, "{passed}");
    }

    /// What dithers is never at rest.
    #[test]
    fn dither_goes_on_in_silence() {
        let mut chain = Chain::new(8_000.0);
        let mut settings = Settings::default();
        settings.output.word_length = crate::settings::WordLength::Bits16;
        chain.set(&settings);
        let mut block = [vec![0.0; 512], vec![0.0; 512]];
        for _ in 0..1000 {
            let [left, right] = &mut block;
            left.fill(0.0);
            right.fill(0.0);
            chain.process(&mut [left, right], |_| ());
        }
        assert!(block[0].iter().any(|x| *x != 0.0));
    }
}
