//! The HTML report on a release: its songs in; one page with the record as a whole, the transitions and a section
//! for each song out.

use maud::{Markup, html};

use super::html::song_section;
use super::page::{inline, page};
use super::record::{Transition, record_songs, transitions};
use crate::finish::chart::{record_svg, transition_svg};
use crate::finish::master::Master;
use crate::finish::release_result::{Balance, Release, ReleaseSet};
use crate::finish::tags::TagField;
use crate::finish::trial::Outcome;
use crate::numbers::{NONE, clock_tenths, number, signed};

/// The page of a release.
pub fn release_page(release: &Release) -> String {
    let first = &release.sets[0];
    let balance = match release.balance {
        Balance::Keep => "the songs keep their balance, the loudest is matched to",
        Balance::Level => "every song is matched to",
    };
    let target = match first.matched {
        true => format!("{balance} {} LUFS", number(first.target, 1)),
        false => "mastered with one drive, matched to no loudness".to_owned(),
    };
    let count = first.songs.len();
    let songs = if count == 1 { "song" } else { "songs" };
    let lead = format!("{count} {songs}, {}; {target}.", clock_tenths(first.seconds()));
    let body = html! {
        p class="lead" { (lead) }
        @for remark in release.remarks() { p { (remark) } }
        @match record_svg(&record_songs(first), first.matched.then_some(first.target)) {
            Ok(svg) => figure class="song" { (inline(&svg)) },
            Err(err) => p { (err) },
        }
        p class="tag" {
            "Short-term loudness of every song (area), its integrated loudness (line)"
            @if first.matched { " and the target of the loudest song (dashes)" }
            "."
            @if let Some(album) = first.album {
                " All songs together: " (number(album.integrated, 1)) " LUFS, highest sample "
                (number(album.sample_peak, 1)) " dBFS."
            }
        }
        (songs_table(first))
        @if count > 1 {
            h2 { "transitions" }
            (transitions_table(&transitions(first)))
        }
        h2 { "record" }
        @for (field, text) in release.tags.fields() { p class="tag" { (field.name()) ": " (text) } }
        (sets_table(release))
        @for (i, song) in first.songs.iter().enumerate() {
            article id={ "song-" (i + 1) } {
                h1 { (i + 1) " " (song.title()) }
                (song_section(&same_song(release, i)))
            }
        }
    };
    let artist = release.tags.get(TagField::AlbumArtist);
    let artist = artist.or_else(|| first.songs.first().and_then(|song| song.spec.tags.get(TagField::Artist)));
    page(release.title(), release.title(), artist, &body)
}

/// The masters of one song in all sets.
fn same_song(release: &Release, i: usize) -> Vec<&Master> {
    release.sets.iter().map(|set| &set.songs[i]).collect()
}

/// A row for each song.
fn songs_table(set: &ReleaseSet) -> Markup {
    html! {
        figure {
            table class="figures" {
                thead {
                    tr {
                        th { "song" } th { "start" } th { "length" } th { "in, LUFS" } th { "out, LUFS" }
                        th { "true peak, dBTP" } th { "drive, dB" } th { "limiter, deepest / active" }
                        th class="words" { "what limits it" }
                    }
                }
                tbody {
                    @for (i, (start, length, song)) in set.running_order().enumerate() {
                        tr {
                            th { a href={ "#song-" (i + 1) } { (i + 1) " " (song.title()) } }
                            td { (clock_tenths(start)) }
                            td { (clock_tenths(length)) }
                            @for cell in Release::figures_of(song) { td { (cell) } }
                            td {
                                (number(-song.measured.limiter.most, 1)) " dB · "
                                (number(100.0 * song.measured.limiter.share, 0)) " %"
                            }
                            td class="words" { (limit(song)) }
                        }
                    }
                }
            }
        }
    }
}

/// Why a song is not louder.
fn limit(song: &Master) -> &str {
    match song.search.as_ref().map(|search| &search.outcome) {
        Some(Outcome::Reached) => "its loudness target",
        Some(Outcome::OverDriven { reason, .. }) => reason,
        Some(Outcome::OutOfRange) => "the range of the drive",
        Some(Outcome::Silent) => "too quiet for a loudness meter",
        None if song.settings.limiter.on => "the drive of its settings",
        None => "left as it is",
    }
}

fn transitions_table(transitions: &[Transition]) -> Markup {
    let text = |level: Option<f64>| level.map_or(NONE.to_owned(), |level| number(level, 1));
    html! {
        figure {
            table class="figures" {
                thead {
                    tr {
                        th { "songs" } th class="words" { "last 10 s and first 10 s of the music, level" }
                        th { "end, LUFS" } th { "start, LUFS" } th { "jump, LU" } th { "gap, s" }
                    }
                }
                tbody {
                    @for transition in transitions {
                        tr {
                            th { (transition.number) " \u{2192} " (transition.number + 1) }
                            td class="words" {
                                @match transition_svg(&transition.end_levels, &transition.start_levels) {
                                    Ok(svg) => div class="transition" { (inline(&svg)) },
                                    Err(err) => (err),
                                }
                            }
                            td { (text(transition.end)) }
                            td { (text(transition.start)) }
                            td { (transition.jump().map_or(NONE.to_owned(), |jump| signed(jump, 1))) }
                            td { (number(transition.gap, 3)) }
                        }
                    }
                }
            }
        }
        p class="tag" {
            "Loudness: mean of the short-term loudness over the last and the first 10 s of the music. The gap reaches \
             from ring-out to attack."
        }
    }
}

/// A row for each set of files.
fn sets_table(release: &Release) -> Markup {
    html! {
        figure {
            table class="figures" {
                thead {
                    tr {
                        th { "files" } th { "songs" } th { "length" } th { "container" } th { "word length" }
                        th { "rate, Hz" } th { "album, LUFS" } th class="words" { "beside the masters" }
                    }
                }
                tbody {
                    @for set in &release.sets {
                        @let spec = &set.songs[0].spec;
                        tr {
                            th { (set.label) }
                            td { (set.songs.len()) }
                            td { (clock_tenths(set.seconds())) }
                            td { (set.songs[0].container()) }
                            td { (spec.encoding) }
                            td { (spec.rate) }
                            td { (set.album.map_or(NONE.to_owned(), |album| number(album.integrated, 1))) }
                            td class="words" {
                                @for path in &set.extras { (path.file_name().unwrap_or_default().to_string_lossy()) br; }
                            }
                        }
                    }
                }
            }
        }
    }
}
