//! As many blocks as asked, a session of some thousand after the other.

use testkit::Random;
use testkit::session::Session;

/// Steps of one session; each is a block or two.
const STEPS: usize = 5_000;

/// Says where it was when it ends in a panic.
struct Place {
    seed: u64,
    step: usize,
}

impl Drop for Place {
    fn drop(&mut self) {
        if std::thread::panicking() {
            eprintln!(
                "seed {} failed in step {}; again with LINTEL_SEED={}",
                self.seed, self.step, self.seed
            );
        }
    }
}

fn session(seed: u64) {
    let mut place = Place { seed, step: 0 };
    // Every fourth has a twin: twice the price.
    let mut session = Session::new(Random::new(seed), seed.is_multiple_of(4));
    for step in 0..STEPS {
        place.step = step;
        session.step();
    }
    assert!(!session.over());
    if seed.is_multiple_of(3) {
        session.check_level_match();
    }
}

fn number(name: &str) -> Option<u64> {
    std::env::var(name).ok().map(|text| text.parse().unwrap_or_else(|_| panic!("{name}: {text}")))
}

#[test]
fn the_chain_survives_a_million_blocks_of_anything() {
    if let Some(seed) = number("LINTEL_SEED") {
        return session(seed);
    }
    let blocks = number("LINTEL_BLOCKS").unwrap_or(1_000_000) as usize;
    let start = std::time::Instant::now();
    let sessions = blocks.div_ceil(STEPS) as u64;
    for seed in 0..sessions {
        session(seed);
        if seed % 200 == 199 {
            println!("{} blocks in {:.0} s", (seed as usize + 1) * STEPS, start.elapsed().as_secs_f64());
        }
    }
    println!(
        "{} blocks, {sessions} sessions, {:.0} s",
        sessions as usize * STEPS,
        start.elapsed().as_secs_f64()
    );
}
