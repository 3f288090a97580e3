//! `cargo xtask bench`: one page of prices, docs/cost.md. Every figure is measured in this run, and
//! what is compared is compared within it.

mod foreign;
pub mod instance;
pub mod references;

use crate::Failure;
use std::fmt::Write;
use testkit::cost::{Row, alone, asked, general, instances, meters, stages};

/// Runs everything; some minutes on an otherwise idle machine.
pub fn run() -> Result<(), Failure> {
    nice_plug_xtask::chdir_workspace_root().map_err(|err| format!("{err:#}"))?;
    let mut page = String::from(
        "# What it costs\n\nMeasured by `cargo xtask bench` on an otherwise idle machine, in one run. ns are \
         nanoseconds a frame of stereo on one core, the least of several passes; compare the ratios, not \
         the nanoseconds, which are this machine's.\n",
    );
    writeln!(page, "\nMachine: {}.\n", machine())?;

    eprintln!("the stages …");
    page += "## The audio thread, stage by stage\n\n";
    for rate in [44_100.0, 48_000.0, 96_000.0, 192_000.0] {
        for block in [64, 512] {
            writeln!(page, "{rate} Hz, blocks of {block}:\n")?;
            let mut rows = stages::table(rate, block);
            let whole = rows.iter().find(|row| row.what == stages::WHOLE).map_or(f64::NAN, |row| row.ns);
            let others = general::prices(rate, block);
            for (what, ns) in [
                "general crates: five sections a channel and a plain limiter",
                "general crates, measured before and after",
            ]
            .into_iter()
            .zip(others)
            {
                rows.push(Row { what: what.to_owned(), ns, ratio: ns / whole, most_ns: None });
            }
            table(&mut page, &rows, stages::WHOLE)?;
        }
    }
    for (moving, with) in [(false, ""), (true, " and controls moving")] {
        let (median, worst) = stages::blocks(48_000.0, 20_000, moving);
        writeln!(
            page,
            "One block of 64 frames at 48 kHz with every stage on{with}: median {median:.0} ns, worst of 20 000 \
             {:.2} times the median ({}).\n",
            worst / median,
            asked(worst / median, 3.0, "")
        )?;
    }
    for sentence in instances::sentences() {
        writeln!(page, "{sentence}\n")?;
    }
    page += "## Each stage by itself, 48 kHz\n\n";
    page += "Blocks of 64, of 32 where a control moves. Every row holds the path alone.\n\n";
    table(&mut page, &alone::table(48_000.0), alone::EMPTY)?;

    eprintln!("the meters …");
    page += "## Measuring, 48 kHz\n\n";
    table(&mut page, &meters::table(), meters::WHOLE)?;

    eprintln!("in a foreign host …");
    page += "## The bundle in a foreign host\n\n";
    page += &foreign::section(&crate::bundle::build()?)?;

    page += "\n## An instance\n\n";
    let figures = instance::run(std::path::Path::new("target/bundled"))?;
    writeln!(
        page,
        "Scan of the library (load, list, unload): {:.0} ms ({}).",
        figures.scan_ms,
        asked(figures.scan_ms, 50.0, "")
    )?;
    if let Some(mb) = figures.memory_mb {
        writeln!(page, "Memory of an instance that has run: {mb:.1} MB ({}).", asked(mb, 8.0, ""))?;
    }
    for (name, mb) in &figures.bundles {
        writeln!(page, "{name}: {mb:.1} MB.")?;
    }

    eprintln!("references …");
    page += "\n";
    page += &references::section()?;

    let path = std::path::Path::new("docs/cost.md");
    lintel::finish::write_whole(path, page.as_bytes(), lintel::finish::Overwrite::Allow)?;
    print!("{page}");
    Ok(())
}

/// Rows as a table.
fn table(page: &mut String, rows: &[Row], whole: &str) -> std::fmt::Result {
    writeln!(page, "| what | ns a frame | as a share of “{whole}” |\n| --- | ---: | ---: |")?;
    for row in rows {
        writeln!(page, "| {} | {:.1} | {:.2} |", row.label(), row.ns, row.ratio)?;
    }
    writeln!(page)
}

/// What it ran on, as far as the system says it.
fn machine() -> String {
    let cpu = std::fs::read_to_string("/proc/cpuinfo").unwrap_or_default();
    let name = cpu
        .lines()
        .find_map(|line| line.strip_prefix("model name"))
        .map_or("a processor", |rest| rest.trim_start_matches([' ', '\t', ':']));
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    format!("{cores} cores, {name}, {}", std::env::consts::ARCH)
}
