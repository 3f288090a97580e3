//! Price of the signal path: ns per frame by stage, and each as a ratio to the whole, measured in
//! one run; and the same job made of general crates beside it.
//! `cargo bench --no-default-features --bench chain`

use testkit::cost::{alone, general, instances, stages};

fn main() {
    println!("{:>8} {:>6} {:<42} {:>9} {:>8}", "rate", "block", "what runs", "ns/frame", "of all");
    for rate in [44_100.0, 48_000.0, 96_000.0, 192_000.0] {
        for block in [64, 512] {
            let rows = stages::table(rate, block);
            for row in &rows {
                println!("{rate:>8} {block:>6} {:<42} {:>9.1} {:>8.2}", row.what, row.ns, row.ratio);
            }
            let whole = rows.iter().find(|row| row.what == stages::WHOLE).map_or(f64::NAN, |row| row.ns);
            for (what, ns) in ["general crates, bands and limiter", "the same, measured before and after"]
                .into_iter()
                .zip(general::prices(rate, block))
            {
                println!("{rate:>8} {block:>6} {what:<42} {ns:>9.1} {:>8.2}", ns / whole);
            }
        }
    }
    for row in alone::table(48_000.0) {
        println!("{:<75} {:>6.1} ns {:>6.2}", row.label(), row.ns, row.ratio);
    }
    for moving in [false, true] {
        let (median, worst) = stages::blocks(48_000.0, 20_000, moving);
        println!(
            "one block of 64 frames at 48 kHz, every stage{}: median {median:.0} ns, worst {:.2} times that",
            if moving { ", controls moving" } else { "" },
            worst / median
        );
    }
    for sentence in instances::sentences() {
        println!("{sentence}");
    }
}
