//! The row of the song in the standalone window: waveform with start, end and loop; play, loudest
//! ten seconds, export. A [`SongView`] in, [`SessionRequest`](crate::player::SessionRequest)s out.

mod encoded_menu;
mod export_form;
mod export_texts;
mod open_menu;
mod panel;
mod title_row;
mod view;
mod waveform;

pub use export_form::{ExportFormState, FORMATS, NAME_PT, RATES, named};
pub use export_texts::existing_text;
pub use panel::{HEIGHT_PT, SongState, other_loop, place, show};
pub use title_row::progress_text;
pub use view::SongView;
