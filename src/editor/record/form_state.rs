//! What is typed into the form of a record: the record in, its texts out, and back; one line that says what is wrong.

use crate::finish::delivery::{DeliveryTable, parse_list};
use crate::finish::plan_tables::NumberOrWord;
use crate::player::Record;
use std::path::PathBuf;

/// The word that takes the deliveries out of a plan.
const NO_DELIVERY: &str = "none";

/// The state that the form keeps between frames.
#[derive(Debug, Default)]
pub struct RecordFormState {
    pub(super) title: String,
    pub(super) artist: String,
    pub(super) upc: String,
    pub(super) year: String,
    pub(super) target: String,
    pub(super) gap: String,
    /// The song whose gap is typed, and the gap.
    pub(super) gap_after: (Option<u64>, String),
    pub(super) deliver: String,
    /// Where the plan is to be written, and the masters; empty for the usual places.
    pub(super) plan: String,
    pub(super) folder: String,
    /// The plan that was found to exist: only this may be replaced.
    pub plan_exists: Option<PathBuf>,
    /// The folder that was asked for last; if masters exist there, the form opens again.
    pub(super) asked: Option<PathBuf>,
    pub(super) is_requested: bool,
    /// What is typed where songs are added.
    pub typed: String,
}

impl RecordFormState {
    /// The form of a record.
    pub fn of(record: &Record) -> Self {
        let release = &record.release;
        let text = |text: &Option<String>| text.clone().unwrap_or_default();
        let word = |word: &Option<NumberOrWord>| word.as_ref().map_or_else(String::new, NumberOrWord::text);
        Self {
            title: text(&release.title),
            artist: text(&release.artist),
            upc: word(&release.upc),
            year: word(&release.year),
            target: word(&release.target),
            gap: release.gap.map_or_else(String::new, |gap| gap.to_string()),
            ..Self::default()
        }
    }

    /// Makes what is typed what the record says.
    ///
    /// # Errors
    /// One line that names the field and the fault.
    pub fn write_into(&self, record: &mut Record) -> Result<(), String> {
        let text = |text: &str| Some(text.trim().to_owned()).filter(|text| !text.is_empty());
        let release = &mut record.release;
        (release.title, release.artist) = (text(&self.title), text(&self.artist));
        for (typed, field) in [
            (&self.upc, &mut release.upc),
            (&self.year, &mut release.year),
            (&self.target, &mut release.target),
        ] {
            // A true minus sign is typed, too.
            let typed = text(typed).map(|typed| typed.replace('\u{2212}', "-"));
            if typed != field.as_ref().map(NumberOrWord::text) {
                *field = typed.as_deref().map(NumberOrWord::typed);
            }
        }
        release.gap = seconds("gap", &self.gap)?;
        let song = record.song_mut();
        if self.gap_after.0 == Some(song.id) {
            song.table.gap_after = seconds("gap after this song", &self.gap_after.1)?;
        }
        match self.deliver.trim() {
            "" => {}
            NO_DELIVERY => record.deliveries.clear(),
            list => {
                let deliveries = parse_list(list).map_err(|why| format!("deliveries: {why}"))?;
                record.deliveries = deliveries.iter().map(DeliveryTable::from).collect();
            }
        }
        Ok(())
    }

    /// The plan is to be written there.
    pub fn write_plan_to(&mut self, path: PathBuf) {
        self.plan = path.with_extension("toml").to_string_lossy().into_owned();
    }

    /// Where the plan is to be written.
    pub(super) fn plan_path(&self, record: &Record) -> PathBuf {
        match self.plan.trim() {
            "" => record.default_path(),
            path => PathBuf::from(path),
        }
    }

    /// Where the masters are to be written.
    pub(super) fn folder_path(&self, record: &Record) -> PathBuf {
        match self.folder.trim() {
            "" => record.default_folder(),
            path => PathBuf::from(path),
        }
    }
}

fn seconds(what: &str, text: &str) -> Result<Option<f64>, String> {
    let text = text.trim();
    if text.is_empty() {
        return Ok(None);
    }
    match text.trim_end_matches('s').trim().replace(',', ".").parse::<f64>() {
        Ok(seconds) if seconds.is_finite() => Ok(Some(seconds)),
        _ => Err(format!("{what} \"{text}\": write seconds, as in 1.5")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::Settings;

    #[test]
    fn what_is_typed_becomes_the_plans_and_faults_are_one_line() {
        let folder = tempfile::tempdir().unwrap();
        let song = folder.path().join("oars.wav");
        std::fs::write(&song, "").unwrap();
        let plan = folder.path().join("release.toml");
        std::fs::write(
            &plan,
            "[[song]]\nfile = \"oars.wav\"\n[[delivery]]\ncontainer = \"wav\"\nbits = 16\n",
        )
        .unwrap();
        let mut record = Record::open(&plan).unwrap();
        let before = record.plan().unwrap();
        let mut form = RecordFormState::of(&record);
        form.write_into(&mut record).unwrap();
        assert_eq!(record.plan().unwrap(), before, "an unused form changes nothing");
        form.title = " Boathouse ".into();
        form.target = "\u{2212}16".into();
        form.upc = "036000291452".into();
        form.gap = "1,5 s".into();
        form.gap_after = (Some(record.song().id), "0".into());
        form.deliver = "wav24, flac16@44100".into();
        form.write_into(&mut record).unwrap();
        let release = &record.release;
        assert_eq!((release.title.as_deref(), release.gap), (Some("Boathouse"), Some(1.5)));
        assert_eq!(release.target, Some(NumberOrWord::Integer(-16)));
        assert_eq!(release.upc, Some(NumberOrWord::Word("036000291452".into())));
        assert_eq!((record.song().table.gap_after, record.deliveries.len()), (Some(0.0), 2));
        form.deliver = NO_DELIVERY.into();
        form.write_into(&mut record).unwrap();
        assert!(record.deliveries.is_empty());
        form.gap = "soon".into();
        let said = form.write_into(&mut record).unwrap_err();
        assert!(said.contains("gap \"soon\"") && !said.contains('\n'), "{said}");
        assert_eq!(Settings::default(), record.song().settings);
    }
}
