//! The HTML report on a release: its songs in, one page with an overview and a section for each song out.

use maud::html;

use super::html::song_section;
use super::page::page;
use crate::finish::release_result::{Balance, Release, file_stem};
use crate::numbers::{clock_tenths, number};

/// The page of a release.
pub fn release_page(release: &Release) -> String {
    let length = release.running_order().map(|(_, length, _)| length).sum::<f64>();
    let balance = match release.balance {
        Balance::Keep => "the songs keep their balance, the loudest is matched to",
        Balance::Level => "every song is matched to",
    };
    let target = match release.matched {
        true => format!("{balance} {} LUFS", number(release.target, 1)),
        false => "mastered with one drive, matched to no loudness".to_owned(),
    };
    let count = release.songs.len();
    let songs = if count == 1 { "song" } else { "songs" };
    let lead = format!("{count} {songs}, {}; {target}.", clock_tenths(length));
    let body = html! {
        p class="lead" { (lead) }
        @for remark in release.remarks() { p { (remark) } }
        table class="figures" {
            thead {
                tr {
                    th { "song" } th { "start" } th { "length" } th { "in, LUFS" } th { "out, LUFS" }
                    th { "true peak, dBTP" } th { "drive, dB" }
                }
            }
            tbody {
                @for (i, (start, length, song)) in release.running_order().enumerate() {
                    tr {
                        th { a href={ "#song-" (i + 1) } { (i + 1) " " (file_stem(&song.input)) } }
                        td { (clock_tenths(start)) }
                        td { (clock_tenths(length)) }
                        @for cell in Release::figures_of(song) { td { (cell) } }
                    }
                }
            }
        }
        @for (i, song) in release.songs.iter().enumerate() {
            article id={ "song-" (i + 1) } {
                h1 { (i + 1) " " (file_stem(&song.input)) }
                (song_section(song))
            }
        }
    };
    let artist = release.songs.first().and_then(|song| song.spec.tags.artist.as_deref());
    page("release", "release", artist, &body)
}
