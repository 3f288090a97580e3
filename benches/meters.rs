//! Cost of measuring, in nanoseconds a frame of stereo before and after.
//! Run with `cargo bench --no-default-features --bench meters`.

fn main() {
    for row in testkit::cost::meters::table() {
        println!("{:<75} {:>6.2} ns {:>6.2}", row.label(), row.ns, row.ratio);
    }
}
