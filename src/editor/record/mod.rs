//! Several songs as one record in the window without a host: the strip of songs above the row of the song, and the
//! form of the record. Songs and plan are a [`Record`](crate::player::Record); what each song has on the screen is
//! kept here while another one is shown.

mod form;
mod form_state;
mod request;
mod state;
mod strip;

pub use form_state::RecordFormState;
pub use request::RecordRequest;
pub use state::{KeptSong, Question, RecordState, message};
pub use strip::{HEIGHT_PT, show};
