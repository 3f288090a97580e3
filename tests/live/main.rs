//! The live path: the ring loses nothing, the feeding side allocates nothing, live and offline give
//! the same digits, and the advice says the right thing on signals made for it.

mod advice;
mod hour;
mod mixed;
mod moves;
mod same_digits;
mod soak;
mod song_time;
mod thread;
