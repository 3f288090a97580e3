//! Pieces to listen to: the generator's, or those of a folder. Each in full scale ±1, stereo, its loudest
//! stretch, scaled so that its true peak stands at the ceiling.

use super::designs::CEILING_DB;
use super::stem;
use crate::Failure;
use lewton::inside_ogg::OggStreamReader;
use lintel::finish::Reader;
use std::path::Path;
use testkit::meter::true_peak_32;
use testkit::quartet;
use testkit::rig::amplitude;
use testkit::signal::Stereo;

/// Length of what is measured, s.
pub const SECONDS: f64 = 20.0;

/// A piece as it goes into the limiters.
pub struct Piece {
    pub name: String,
    pub lanes: Stereo,
    pub rate: f64,
}

/// The demo's mix and the further kinds.
pub fn generated() -> Vec<Piece> {
    let wide = |lanes: [Vec<f32>; 2]| lanes.map(|lane| lane.into_iter().map(f64::from).collect());
    let mut pieces = vec![prepared("quartet".to_owned(), wide(quartet::mix(54.0)), quartet::RATE)];
    for kind in quartet::pieces::KINDS {
        pieces.push(prepared(kind.name().to_owned(), wide(kind.mix()), quartet::RATE));
    }
    pieces
}

/// The WAV, FLAC and Ogg Vorbis files that lie in `folder`, by name.
pub fn folder(folder: &Path) -> Result<Vec<Piece>, Failure> {
    let fail = |err: std::io::Error| format!("{}: {err}", folder.display());
    let mut paths = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(fail)? {
        paths.push(entry.map_err(fail)?.path());
    }
    paths.sort();
    let mut pieces = Vec::new();
    for path in paths {
        let ending = path.extension().unwrap_or_default().to_string_lossy().to_lowercase();
        let (lanes, rate) = match ending.as_str() {
            "wav" | "flac" => read(&path)?,
            "ogg" => read_ogg(&path).map_err(|err| format!("{}: {err}", path.display()))?,
            _ => continue,
        };
        if (lanes[0].len() as f64) < 2.0 * rate || lanes.iter().flatten().all(|&x| x == 0.0) {
            return Err(
                format!("{}: silent or shorter than 2 s; take it out of the folder", path.display()).into()
            );
        }
        pieces.push(prepared(stem(&path), lanes, rate));
    }
    if pieces.is_empty() {
        return Err(
            format!("{}: no WAV, FLAC or Ogg file in it; name a folder with some", folder.display()).into()
        );
    }
    Ok(pieces)
}

fn read(path: &Path) -> Result<(Stereo, f64), Failure> {
    let mut reader = Reader::open(path)?;
    let format = *reader.format();
    let frames = format.frames as usize;
    let [mut left, mut right] = [vec![0.0; frames], vec![0.0; frames]];
    let mut at = 0;
    while at < frames {
        let given = reader.read(&mut left[at..], &mut right[at..])?;
        if given == 0 {
            break;
        }
        at += given;
    }
    Ok(([left, right], f64::from(format.rate)))
}

fn read_ogg(path: &Path) -> Result<(Stereo, f64), Failure> {
    let file = std::io::BufReader::new(std::fs::File::open(path)?);
    let mut reader = OggStreamReader::new(file)?;
    let mut lanes: Stereo = [Vec::new(), Vec::new()];
    while let Some(packet) = reader.read_dec_packet_generic::<Vec<Vec<f32>>>()? {
        let Some(first) = packet.first() else { continue };
        for (lane, channel) in lanes.iter_mut().zip([first, packet.get(1).unwrap_or(first)]) {
            lane.extend(channel.iter().map(|&x| f64::from(x)));
        }
    }
    Ok((lanes, f64::from(reader.ident_hdr.audio_sample_rate)))
}

/// The loudest stretch by energy, at the ceiling.
fn prepared(name: String, lanes: Stereo, rate: f64) -> Piece {
    let lanes = loudest(&lanes, (SECONDS * rate) as usize);
    let gain = amplitude(CEILING_DB) / true_peak_32(&lanes);
    Piece { name, lanes: lanes.map(|lane| lane.into_iter().map(|x| x * gain).collect()), rate }
}

/// The `frames` frames in a row that carry most energy; all of a shorter signal.
fn loudest(lanes: &Stereo, frames: usize) -> Stereo {
    let total = lanes[0].len();
    if total <= frames {
        return lanes.clone();
    }
    let energy = |i: usize| lanes[0][i].powi(2) + lanes[1][i].powi(2);
    let mut sum: f64 = (0..frames).map(energy).sum();
    let (mut most, mut start) = (sum, 0);
    for i in frames..total {
        sum += energy(i) - energy(i - frames);
        if sum > most {
            (most, start) = (sum, i + 1 - frames);
        }
    }
    lanes.each_ref().map(|lane| lane[start..start + frames].to_vec())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_loudest_stretch_is_found_and_a_short_signal_is_kept() {
        let lane: Vec<f64> = (0..100).map(|n| if (40..60).contains(&n) { 1.0 } else { 0.1 }).collect();
        let found = loudest(&[lane.clone(), lane.clone()], 20);
        assert!(found.iter().all(|lane| lane.len() == 20 && lane.iter().all(|&x| x == 1.0)));
        assert_eq!(loudest(&[lane.clone(), lane.clone()], 200), [lane.clone(), lane]);
    }

    #[test]
    fn a_folder_without_music_is_refused() {
        let folder = tempfile::tempdir().unwrap();
        let text = super::folder(folder.path()).err().unwrap().to_string();
        assert!(text.contains("no WAV, FLAC or Ogg file"), "{text}");
        std::fs::write(folder.path().join("a.ogg"), b"no sound").unwrap();
        let text = super::folder(folder.path()).err().unwrap().to_string();
        assert!(text.contains("a.ogg"), "{text}");
    }
}
