//! Reports on finished masters: a [`Master`](super::Master) in; HTML, JSON, a chart or sentences out.

mod chart;
mod encoded;
pub(super) mod html;
mod json;
mod page;
mod record;
pub(super) mod release_html;
pub(super) mod sentences;

pub use chart::song_chart;
pub use encoded::{encoded_json, encoded_sentences, encoded_table};
pub use html::song_page;
pub use json::{notes_json, song_json};
pub(crate) use page::{inline, page_with_footer};
pub use sentences::{
    GRADE_LIMITS, clipped_sentence, grade_sentence, mono_sentence, reduction_sentence, search_sentence,
};
