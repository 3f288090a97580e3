//! The guide (docs/guide.md) inside the window: the paragraph that belongs to a note, and the whole of it.

use crate::meter::RuleId;

/// The document.
pub const TEXT: &str = include_str!("../../docs/guide.md");

/// Heading of a rule's paragraph.
pub fn heading(rule: RuleId) -> &'static str {
    match rule {
        RuleId::EndCutOff => "End cut off",
        RuleId::PeakAboveDelivery => "Peak above delivery",
        RuleId::ChannelSilent => "Channel silent",
        RuleId::OutOfPhase => "Out of phase",
        RuleId::FlatTops => "Flat tops",
        RuleId::FullScale => "Full scale",
        RuleId::TooDense => "Too dense",
        RuleId::Pumping => "Pumping",
        RuleId::LimiterDeep => "Limiter deep",
        RuleId::LimiterConstant => "Limiter constant",
        RuleId::SoftClipDeep => "Soft clip deep",
        RuleId::CompressorDeep => "Compressor deep",
        RuleId::OverTarget => "Over the target",
        RuleId::UnderTarget => "Under the target",
        RuleId::EqMoveTooLarge => "EQ move too large",
        RuleId::EqMoveLarge => "EQ move large",
        RuleId::DcOffset => "DC offset",
        RuleId::LeadInLong => "Lead-in long",
        RuleId::LeadInShort => "Lead-in short",
        RuleId::LittleHeadroom => "Little headroom",
        RuleId::LeadInNoisy => "Lead-in noisy",
        RuleId::ChannelsIdentical => "Channels identical",
    }
}

/// The text under a heading of the third level, as plain text.
pub fn paragraph(heading: &str) -> Option<String> {
    let mut lines = TEXT.lines().skip_while(|line| line.strip_prefix("### ") != Some(heading));
    lines.next()?;
    let text: Vec<&str> = lines.take_while(|line| !line.starts_with('#')).map(str::trim).collect();
    let text = text.join("\n").replace(['*', '`'], "");
    Some(text.trim().to_owned()).filter(|text| !text.is_empty())
}

/// The whole guide as plain text: paragraphs, and whether each is a heading; pictures are left out.
pub fn lines() -> impl Iterator<Item = (bool, String)> {
    let lines = TEXT.lines().map(str::trim).filter(|line| !line.is_empty() && !line.starts_with("!["));
    lines.map(|line| {
        let text = line.trim_start_matches('#');
        (text.len() < line.len(), text.trim().replace(['*', '`'], ""))
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::meter::RULES;
    use std::collections::BTreeSet;

    #[test]
    fn every_note_has_its_own_paragraph() {
        let headings: BTreeSet<&str> = RULES.iter().map(|rule| heading(rule.id)).collect();
        assert_eq!(headings.len(), RULES.len(), "a heading each");
        for rule in &RULES {
            let text =
                paragraph(heading(rule.id)).unwrap_or_else(|| panic!("no paragraph for {:?}", rule.id));
            assert!(text.len() > 80 && !text.contains('`'), "{:?}: {text}", rule.id);
        }
        let (_, notes) = TEXT.split_once("\n## Notes\n").expect("a chapter of notes");
        let described: BTreeSet<&str> = notes.lines().filter_map(|line| line.strip_prefix("### ")).collect();
        assert_eq!(described, headings, "no paragraph without a note");
        assert_eq!(paragraph("Loud"), None);
    }

    #[test]
    fn every_picture_of_the_guide_exists() {
        let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("docs");
        let pictures: Vec<&str> = TEXT
            .split("](")
            .skip(1)
            .filter_map(|rest| rest.split(')').next())
            .filter(|at| at.ends_with(".png"))
            .collect();
        assert!(pictures.len() >= 6, "{pictures:?}");
        for picture in pictures {
            assert!(folder.join(picture).is_file(), "{picture}: run cargo xtask shots");
        }
    }
}
