fn main() {
    use lintel::finish::*;
    let path = std::path::PathBuf::from(std::env::args().nth(1).unwrap());
    let mut s = lintel::settings::Settings::default();
    s.ceiling.drive = std::env::args().nth(2).unwrap().parse().unwrap();
    s.glue.on = true;
    let r = Reader::open(&path).unwrap();
    let t = std::time::Instant::now();
    let mut r2 = Reader::open(&path).unwrap();
    let e = Ends::find(&mut r2).unwrap();
    println!("ends {e:?} {:?}", t.elapsed());
    let cut = Cut::plan(&e, &Wishes::default());
    for k in 0..3 {
        s.glue.on = k != 1;
        s.ceiling.on = k != 2;
        let t = std::time::Instant::now();
        let n = render::render(
            render::Job { input: &path, cut: &cut, rate: r.format().rate, settings: &s },
            &render::Quiet::default(),
            |_| Ok(()),
        )
        .unwrap();
        let d = t.elapsed().as_secs_f64();
        println!("{} frames {d} s, {}x", n, n as f64 / f64::from(r.format().rate) / d);
    }
}
