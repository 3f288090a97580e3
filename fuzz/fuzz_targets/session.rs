#![no_main]

use testkit::session::{Dice, Session};

/// The fuzzer's bytes, two a choice.
struct Bytes(Vec<u8>, usize);

impl Dice for Bytes {
    fn below(&mut self, sides: usize) -> usize {
        let pair = self.0.get(self.1..self.1 + 2).map_or(0, |pair| u16::from_le_bytes([pair[0], pair[1]]));
        self.1 += 2;
        if sides > 1 << 16 { usize::from(pair) * (sides >> 16) } else { usize::from(pair) % sides }
    }

    fn over(&self) -> bool {
        self.1 >= self.0.len()
    }
}

libfuzzer_sys::fuzz_target!(|bytes: &[u8]| {
    let mut session = Session::new(Bytes(bytes.to_vec(), 0), true);
    for _ in 0..200 {
        if session.over() {
            break;
        }
        session.step();
    }
});
