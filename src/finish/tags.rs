//! The tags of a song: title, artist and recording code in, checked and normalised values out.

/// Tags written into the file. All fields are optional.
#[derive(Clone, Debug, Default, PartialEq, Eq, serde::Serialize)]
pub struct Tags {
    /// Title of the song.
    pub title: Option<String>,
    /// Artist of the song.
    pub artist: Option<String>,
    /// International Standard Recording Code, 12 characters, without hyphens.
    pub isrc: Option<String>,
}

/// Checks and normalises an ISRC (ISO 3901): two letters, three letters or digits, seven digits;
/// hyphens and spaces are dropped.
///
/// # Errors
/// A sentence that names the text and the rule, if it is not an ISRC.
pub fn isrc(text: &str) -> Result<String, String> {
    let code: String =
        text.chars().filter(|c| !matches!(c, '-' | ' ')).map(|c| c.to_ascii_uppercase()).collect();
    let fits = code.len() == 12
        && code.chars().enumerate().all(|(i, c)| match i {
            0..2 => c.is_ascii_uppercase(),
            2..5 => c.is_ascii_uppercase() || c.is_ascii_digit(),
            _ => c.is_ascii_digit(),
        });
    if fits {
        Ok(code)
    } else {
        Err(format!("{text:?} is not an ISRC: two letters, three letters or digits, seven digits"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_isrc_is_checked_and_its_hyphens_are_dropped() {
        assert_eq!(isrc("aa-6q7-20-00047").as_deref(), Ok("AA6Q72000047"));
        assert!(isrc("AA6Q7200004").is_err());
        assert!(isrc("1A6Q72000047").is_err());
    }
}
