//! What is typed into the export form: texts in; tags, fades and deliveries, or one line that says what is
//! wrong, out.

use crate::finish::delivery::parse_list;
use crate::finish::plan_tables::SongTable;
use crate::finish::{Delivery, TagField, Tags, isrc};
use std::path::PathBuf;

/// Longest fade, s.
const LONGEST_FADE_S: f64 = 120.0;

/// The files that would be replaced, by their names.
pub fn existing_text(files: &[PathBuf]) -> String {
    let names = files.iter().map(|path| path.file_name().unwrap_or_default().to_string_lossy());
    let verb = if files.len() == 1 { "exists" } else { "exist" };
    format!("{} {verb} already", names.collect::<Vec<_>>().join(", "))
}

/// The texts as they stand in the form.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ExportTexts {
    pub title: String,
    pub artist: String,
    pub isrc: String,
    pub fade_in: String,
    pub fade_out: String,
    pub deliver: String,
}

/// What they mean.
#[derive(Clone, Debug, PartialEq)]
pub struct ExportFields {
    pub tags: Tags,
    /// At the start and at the end, s.
    pub fades_s: [Option<f64>; 2],
    pub deliveries: Vec<Delivery>,
}

impl ExportTexts {
    /// What a plan says of a song, as it would be typed.
    pub fn of(song: &SongTable) -> Self {
        let text = |text: &Option<String>| text.clone().unwrap_or_default();
        let seconds = |seconds: Option<f64>| seconds.map_or_else(String::new, |seconds| seconds.to_string());
        Self {
            title: text(&song.title),
            artist: text(&song.artist),
            isrc: text(&song.isrc),
            fade_in: seconds(song.fade_in),
            fade_out: seconds(song.fade_out),
            deliver: String::new(),
        }
    }

    /// Makes the texts what a plan says of a song.
    ///
    /// # Errors
    /// One line that names the field and the fault; the song is left alone then.
    pub fn write_into(&self, song: &mut SongTable) -> Result<(), String> {
        if *self == (Self { deliver: self.deliver.clone(), ..Self::of(song) }) {
            // Also what a plan says in another form stays as it is.
            return Ok(());
        }
        let ExportFields { tags, fades_s, .. } = Self { deliver: String::new(), ..self.clone() }.read()?;
        let text = |field| tags.get(field).map(str::to_owned);
        (song.title, song.artist) = (text(TagField::Title), text(TagField::Artist));
        song.isrc = text(TagField::Isrc);
        [song.fade_in, song.fade_out] = fades_s;
        Ok(())
    }

    /// Reads the texts; an empty one asks for nothing.
    ///
    /// # Errors
    /// One line that names the field and the fault.
    pub fn read(&self) -> Result<ExportFields, String> {
        let text = |text: &str| Some(text.trim().to_owned()).filter(|text| !text.is_empty());
        let code = text(&self.isrc).map(|code| isrc(&code)).transpose()?;
        let tags = Tags::default()
            .with(TagField::Title, text(&self.title))
            .with(TagField::Artist, text(&self.artist))
            .with(TagField::Isrc, code);
        let fades_s = [fade("fade in", &self.fade_in)?, fade("fade out", &self.fade_out)?];
        let deliveries = match text(&self.deliver) {
            Some(list) => parse_list(&list).map_err(|why| format!("deliveries: {why}"))?,
            None => Vec::new(),
        };
        Ok(ExportFields { tags, fades_s, deliveries })
    }
}

fn fade(name: &str, text: &str) -> Result<Option<f64>, String> {
    let plain = text.trim().trim_end_matches('s').trim().replace(',', ".");
    if plain.is_empty() && text.trim().is_empty() {
        return Ok(None);
    }
    match plain.parse::<f64>() {
        Ok(seconds) if (0.0..=LONGEST_FADE_S).contains(&seconds) => Ok(Some(seconds)),
        _ => {
            Err(format!("{name} \"{}\": write seconds from 0 to {LONGEST_FADE_S:.0}, as in 2.5", text.trim()))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_are_read_as_people_type_them_and_faults_are_one_line() {
        let empty = ExportTexts::default().read().unwrap();
        assert_eq!((empty.tags, empty.fades_s, empty.deliveries.len()), (Tags::default(), [None; 2], 0));
        let texts = ExportTexts {
            title: " Slow water ".into(),
            isrc: "aa-6q7-20-00047".into(),
            fade_in: "0,5".into(),
            fade_out: "2 s".into(),
            deliver: "wav24, flac16".into(),
            ..ExportTexts::default()
        };
        let fields = texts.read().unwrap();
        assert_eq!(fields.tags.get(TagField::Title), Some("Slow water"));
        assert_eq!(fields.tags.get(TagField::Isrc), Some("AA6Q72000047"));
        assert_eq!((fields.fades_s, fields.deliveries.len()), ([Some(0.5), Some(2.0)], 2));
        let mut song = SongTable::of("oars.wav".into());
        texts.write_into(&mut song).unwrap();
        assert_eq!((song.title.as_deref(), song.fade_out), (Some("Slow water"), Some(2.0)));
        let mut again = ExportTexts::of(&song);
        assert_eq!((again.isrc.as_str(), again.fade_in.as_str()), ("AA6Q72000047", "0.5"));
        again.fade_in = "soon".into();
        assert!(again.write_into(&mut song).unwrap_err().contains("fade in"));
        assert_eq!(song.fade_in, Some(0.5));
        type Field = fn(&mut ExportTexts) -> &mut String;
        let faulty: [(Field, &str, &str); 5] = [
            (|t| &mut t.isrc, "AA6", "is not an ISRC"),
            (|t| &mut t.fade_in, "-1", "fade in"),
            (|t| &mut t.fade_out, "soon", "fade out"),
            (|t| &mut t.fade_out, "s", "write seconds"),
            (|t| &mut t.deliver, "mp3", "deliveries: \"mp3\""),
        ];
        for (field, text, word) in faulty {
            let mut texts = ExportTexts::default();
            *field(&mut texts) = text.to_owned();
            let said = texts.read().unwrap_err();
            assert!(said.contains(word) && !said.contains('\n'), "{text}: {said}");
        }
    }
}
