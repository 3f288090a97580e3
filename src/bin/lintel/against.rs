//! `lintel check MIX --against REFERENCE…`: a mix beside references.

use std::path::Path;

use lintel::finish::{Overwrite, check_outputs, write_whole};
use lintel::meter::MonoAs;
use lintel::numbers::NONE;
use lintel::params::to_toml;
use lintel::reference::{Comparison, DEFAULT_SHARE, Profile, reference_page};

use crate::args::{AgainstArgs, CheckArgs};
use crate::outcome::Failure;
use crate::output;
use crate::progress::Progress;
use crate::value_args::overwrite;

/// The references of a command, measured once for all mixes.
pub struct References<'a> {
    args: &'a AgainstArgs,
    profiles: Vec<Profile>,
    mono_as: MonoAs,
}

impl<'a> References<'a> {
    /// Measures the references; none without `--against`.
    pub fn measure(args: &'a CheckArgs, progress: &Progress) -> Result<Option<Self>, Failure> {
        let against = &args.against;
        if against.against.is_empty() {
            return Ok(None);
        }
        let outputs: Vec<&Path> =
            [&against.fit, &against.report].into_iter().flatten().map(|p| p.as_path()).collect();
        if args.files.len() > 1 && !outputs.is_empty() {
            return Err(Failure::Usage(
                "--fit and --report are for one mix; name one file before --against".into(),
            ));
        }
        let inputs: Vec<&Path> = args.files.iter().chain(&against.against).map(|p| p.as_path()).collect();
        check_outputs(&outputs, &inputs, overwrite(against.overwrite))?;
        let mono_as = args.mono.mono_as();
        let profiles = against.against.iter().map(|path| Profile::measure(path, mono_as, progress));
        let profiles: Result<Vec<Profile>, _> = profiles.collect();
        progress.end();
        Ok(Some(Self { args: against, profiles: profiles?, mono_as }))
    }

    /// A mix beside them.
    pub fn compare(&self, mix: &Path, progress: &Progress) -> lintel::finish::Result<Comparison> {
        let mix = Profile::measure(mix, self.mono_as, progress);
        progress.end();
        Ok(Comparison::new(
            mix?,
            self.profiles.clone(),
            self.args.share.map_or(DEFAULT_SHARE, |percent| percent / 100.0),
        ))
    }

    /// Writes what `--fit` and `--report` ask for: lines about the files, and whether there was a move to write.
    pub fn write(&self, beside: &Comparison) -> lintel::finish::Result<(String, bool)> {
        let (mut text, allowed): (String, Overwrite) = (String::new(), overwrite(self.args.overwrite));
        if let Some(path) = &self.args.report {
            write_whole(path, reference_page(beside).as_bytes(), allowed)?;
            text += &format!("report   {}\n", path.display());
        }
        let Some(path) = &self.args.fit else { return Ok((text, true)) };
        let Some(settings) = beside.settings() else {
            return Ok((text + "no settings were written: no move is proposed\n", false));
        };
        let head = format!("# Proposed EQ of {} beside {}\n", beside.mix.name(), beside.references.name());
        let plain = head.replace(|c: char| c.is_control() && c != '\n', " ");
        write_whole(path, (plain + &to_toml(&settings)).as_bytes(), allowed)?;
        text += &format!("settings {}\n", path.display());
        Ok((text, true))
    }
}

/// The comparison for the terminal.
pub fn text(beside: &Comparison) -> String {
    let mut text = format!("beside {}\n", beside.references.name());
    for profile in &beside.references.profiles {
        let format = &profile.format;
        text += &format!("  {}: {}, {} Hz\n", profile.path.display(), format.name, format.rate);
    }
    let head = |heads: Vec<String>| std::iter::once(String::new()).chain(heads).collect::<Vec<_>>();
    let mut rows = vec![head(beside.heads())];
    for row in beside.rows() {
        rows.push(std::iter::once(row.name.clone()).chain(row.cells(beside.is_several())).collect());
    }
    let columns = rows[0].len();
    text += &output::plain_table(rows, 1..columns - 1);
    text += "long-term spectrum by third octave at equal loudness, dB\n";
    let mut rows = vec![beside.spectrum_heads().to_vec()];
    rows.extend(beside.spectrum_rows().into_iter().filter(|row| row[1] != NONE || row[2] != NONE));
    text += &output::plain_table(rows, 0..6);
    text += &format!("{}\n", beside.tone.advice.sentence());
    for line in beside.band_lines() {
        text += &format!("• {line}\n");
    }
    match beside.move_sentence() {
        sentence if sentence.is_empty() => text,
        sentence => text + &sentence + "\n",
    }
}
