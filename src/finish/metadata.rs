//! Reads what a sound file says about itself: a path and its container in; its [`Tags`], and what of it
//! cannot be carried into a master, out.
//!
//! Tags of WAV and AIFF are read by the crate lofty, those of FLAC by flac-codec. The chunks `bext` (EBU
//! Tech 3285), `cue ` and `LIST adtl` (RIFF 1.0) are read here. Damaged metadata is no reason to refuse a
//! file whose samples are sound: it counts as lost, and its loss is said.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{BufReader, Cursor, Read, Seek, SeekFrom};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;

use aifc::AifcReader;
use flac_codec::metadata::{self as flac, BlockList};
use lofty::config::ParseOptions;
use lofty::file::AudioFile;
use lofty::iff::aiff::AiffFile;
use lofty::iff::wav::WavFile;
use lofty::tag::{ItemKey, Tag};

use super::error::{Result, reading};
use super::format::Container;
use super::riff::chunk;
use super::tags::{Marker, TagField, Tags, isrc};

/// Most bytes of a chunk that is read: markers and texts are small, a tag may hold a picture.
const MAX_CHUNK_BYTES: u64 = 1 << 24;
/// Most chunks that are looked at.
const MAX_CHUNKS: usize = 10_000;

/// What was found.
#[derive(Clone, Debug, Default)]
pub struct Metadata {
    /// What can be carried into a master.
    pub tags: Tags,
    /// What cannot, as nouns.
    pub lost: Vec<String>,
}

/// Reads the metadata of a sound file.
///
/// # Errors
/// If the file cannot be opened.
pub fn read_metadata(path: &Path, container: Container) -> Result<Metadata> {
    let file = File::open(path).map_err(|err| reading(path, err))?;
    let mut found = Metadata::default();
    // A parser that panics on damaged bytes has found nothing.
    let read = catch_unwind(AssertUnwindSafe(|| match container {
        Container::Wav | Container::Rf64 => wav(file),
        Container::Aiff => aiff(file),
        Container::Flac => flac(file),
    }));
    match read {
        Ok(Some(read)) => found = read,
        Ok(None) | Err(_) => found.lost.push("tags that cannot be read".into()),
    }
    found.tags.markers.sort_by_key(|marker| marker.frame);
    Ok(found)
}

fn options() -> ParseOptions {
    ParseOptions::new().read_properties(false)
}

fn wav(file: File) -> Option<Metadata> {
    let mut found = Metadata::default();
    let mut file = BufReader::new(file);
    let chunks = chunks(&mut file)?;
    // The parser of the tags gets their chunks alone: it does not know RF64, and need not skip the samples.
    let tagged = |id: &[u8; 4]| matches!(id, b"LIST" | b"id3 " | b"ID3 ");
    let mut alone = b"WAVE".to_vec();
    chunks.iter().filter(|(id, _)| tagged(id)).for_each(|(id, body)| chunk(&mut alone, id, body));
    let alone = [b"RIFF", &(alone.len() as u32).to_le_bytes()[..], &alone].concat();
    match WavFile::read_from(&mut Cursor::new(alone), options()) {
        Ok(wav) => {
            if let Some(tag) = wav.id3v2() {
                let ids = tag.into_iter().map(|frame| frame.id_str().to_owned()).collect();
                take(&mut found, tag.clone().into(), ids, |kept| {
                    let kept: lofty::id3::v2::Id3v2Tag = kept.into();
                    kept.into_iter().map(|frame| frame.id_str().to_owned()).collect()
                });
            }
            if let Some(tag) = wav.riff_info() {
                let ids = |tag: &lofty::iff::wav::RiffInfoList| {
                    tag.into_iter().map(|(id, _)| id.clone()).filter(|id| id != "ISFT").collect()
                };
                take(&mut found, tag.clone().into(), ids(tag), |kept| ids(&kept.into()));
            }
        }
        Err(_) if chunks.iter().any(|(id, _)| tagged(id)) => {
            found.lost.push("tags that cannot be read".into());
        }
        Err(_) => {}
    }
    let of = |id: [u8; 4]| chunks.iter().filter(move |chunk| chunk.0 == id).map(|chunk| &chunk.1[..]);
    if let Some(bext) = of(*b"bext").next() {
        read_bext(bext, &mut found.tags);
    }
    let names: BTreeMap<u32, String> =
        of(*b"LIST").filter_map(|body| body.strip_prefix(b"adtl")).flat_map(labels).collect();
    if let Some(cue) = of(*b"cue ").next() {
        for point in cue.get(4..).unwrap_or_default().chunks_exact(24) {
            let (id, frame) = (u32_at(point, 0), u32_at(point, 20));
            let name = names.get(&id).cloned().unwrap_or_default();
            found.tags.markers.push(Marker { frame: u64::from(frame), name });
        }
    }
    for (id, what) in [(*b"iXML", "an iXML chunk"), (*b"_PMX", "an XMP chunk"), (*b"smpl", "sampler loops")] {
        if chunks.iter().any(|chunk| chunk.0 == id) {
            found.lost.push(what.into());
        }
    }
    Some(found)
}

/// The chunks of a RIFF file; of samples and of large chunks the id alone.
fn chunks(file: &mut BufReader<File>) -> Option<Vec<([u8; 4], Vec<u8>)>> {
    let length = file.seek(SeekFrom::End(0)).ok()?;
    let (mut all, mut at, mut data_64) = (Vec::new(), 12, None);
    while at + 8 <= length && all.len() < MAX_CHUNKS {
        let mut head = [0; 8];
        file.seek(SeekFrom::Start(at)).and_then(|_| file.read_exact(&mut head)).ok()?;
        let id: [u8; 4] = head[..4].try_into().ok()?;
        let mut size = u64::from(u32_at(&head, 4));
        let mut body = Vec::new();
        if id == *b"data" {
            size = data_64.filter(|_| size == u64::from(u32::MAX)).unwrap_or(size);
        } else if size <= MAX_CHUNK_BYTES {
            file.take(size).read_to_end(&mut body).ok()?;
        }
        if id == *b"ds64" && body.len() >= 16 {
            data_64 = body[8..16].try_into().ok().map(u64::from_le_bytes);
        }
        all.push((id, body));
        at = at.saturating_add(8).saturating_add(size).saturating_add(size & 1);
    }
    file.rewind().ok()?;
    Some(all)
}

/// The names of cue points in a `LIST adtl`.
fn labels(body: &[u8]) -> Vec<(u32, String)> {
    let (mut all, mut rest) = (Vec::new(), body);
    while rest.len() >= 8 {
        let size = u32_at(rest, 4) as usize;
        let Some(chunk) = rest.get(8..8usize.saturating_add(size)) else { break };
        if rest.starts_with(b"labl") && chunk.len() >= 4 {
            all.push((u32_at(chunk, 0), text(&chunk[4..])));
        }
        rest = rest.get(8 + size + (size & 1)..).unwrap_or_default();
    }
    all
}

/// Description, reference and time of a `bext` chunk (EBU Tech 3285: 256, 32, 32, 10 and 8 bytes of text, then
/// the time reference as 64 bits).
fn read_bext(body: &[u8], tags: &mut Tags) {
    const REFERENCE: std::ops::Range<usize> = 288..320;
    const TIME: std::ops::Range<usize> = 338..346;
    let Some(time) = body.get(TIME) else { return };
    tags.description = Some(text(&body[..256])).filter(|text| !text.is_empty());
    tags.time_reference = time.try_into().ok().map(u64::from_le_bytes).filter(|frames| *frames > 0);
    if tags.get(TagField::Isrc).is_none()
        && let Ok(code) = isrc(&text(&body[REFERENCE]))
    {
        tags.set(TagField::Isrc, code);
    }
}

fn aiff(file: File) -> Option<Metadata> {
    let mut found = Metadata::default();
    let mut file = BufReader::new(file);
    match AiffFile::read_from(&mut file, options()) {
        Ok(aiff) => {
            if let Some(tag) = aiff.id3v2() {
                let ids = tag.into_iter().map(|frame| frame.id_str().to_owned()).collect();
                take(&mut found, tag.clone().into(), ids, |kept| {
                    let kept: lofty::id3::v2::Id3v2Tag = kept.into();
                    kept.into_iter().map(|frame| frame.id_str().to_owned()).collect()
                });
            }
            if let Some(tag) = aiff.text_chunks() {
                take(&mut found, tag.clone().into(), Vec::new(), |_| Vec::new());
            }
        }
        Err(_) => found.lost.push("tags that cannot be read".into()),
    }
    file.rewind().ok()?;
    match aiff_markers(file) {
        Ok(markers) => found.tags.markers = markers,
        Err(_) => found.lost.push("markers that cannot be read".into()),
    }
    Some(found)
}

/// The markers of an AIFF file.
fn aiff_markers(file: BufReader<File>) -> aifc::AifcResult<Vec<Marker>> {
    let mut aiff = AifcReader::new(file)?;
    let size = aiff.chunks()?.filter_map(std::result::Result::ok).find(|chunk| chunk.id == *b"MARK");
    let size = size.map_or(0, |chunk| u64::from(chunk.size).min(MAX_CHUNK_BYTES) as usize);
    let mut bytes = vec![0; size];
    let Some(size) = aiff.read_chunk_markers(&mut bytes)? else { return Ok(Vec::new()) };
    let marker = |marker: aifc::Marker| Marker { frame: u64::from(marker.position), name: text(marker.name) };
    aifc::Markers::new(&bytes[..size.min(bytes.len())])?.map(|found| found.map(marker)).collect()
}

fn flac(file: File) -> Option<Metadata> {
    let mut found = Metadata::default();
    let blocks = BlockList::read(BufReader::new(file)).ok()?;
    if let Some(comment) = blocks.get::<flac::VorbisComment>() {
        for line in &comment.fields {
            let Some((name, value)) = line.split_once('=') else { continue };
            let field = TagField::ALL.into_iter().find(|field| field.vorbis().eq_ignore_ascii_case(name));
            match field {
                Some(field) if field.is_measured() => {}
                Some(field) if found.tags.get(field).is_none() => found.tags.set(field, plain(value)),
                _ => found.lost.push(format!("the field {}", plain(name))),
            }
        }
    }
    let others = [
        (blocks.has::<flac::Picture>(), "a picture"),
        (blocks.has::<flac::Cuesheet>(), "a cue sheet"),
        (blocks.has::<flac::Application>(), "data of a program"),
    ];
    found.lost.extend(others.into_iter().filter(|(has, _)| *has).map(|(_, what)| what.to_owned()));
    Some(found)
}

/// Takes over the fields of a tag that are known and not yet there, and notes the others: those of the `ids`
/// that a tag of the known fields alone, made by `ids_of`, does not have.
fn take(found: &mut Metadata, tag: Tag, ids: Vec<String>, ids_of: impl Fn(Tag) -> Vec<String>) {
    let mut kept = Tag::new(tag.tag_type());
    for field in TagField::ALL {
        let Some(value) = tag.get_string(field.key()) else { continue };
        kept.insert_text(field.key(), value.to_owned());
        if found.tags.get(field).is_none() && !field.is_measured() {
            found.tags.set(field, plain(value));
        }
    }
    if tag.picture_count() > 0 {
        found.lost.push("a picture".into());
    }
    // The program that wrote the file is not the one that writes the master.
    kept.insert_text(ItemKey::EncoderSoftware, "-".to_owned());
    let kept = ids_of(kept);
    let mut lost: Vec<String> = ids.into_iter().filter(|id| !kept.contains(id) && id != "APIC").collect();
    lost.dedup();
    found.lost.extend(lost.into_iter().map(|id| format!("the field {}", plain(&id))));
}

/// Text up to the first zero byte.
fn text(bytes: &[u8]) -> String {
    let bytes = bytes.split(|byte| *byte == 0).next().unwrap_or_default();
    plain(&String::from_utf8_lossy(bytes))
}

/// Text in one line.
fn plain(text: &str) -> String {
    text.split(char::is_control).map(str::trim).filter(|part| !part.is_empty()).collect::<Vec<_>>().join(" ")
}

fn u32_at(bytes: &[u8], at: usize) -> u32 {
    bytes.get(at..at + 4).and_then(|bytes| bytes.try_into().ok()).map_or(0, u32::from_le_bytes)
}

impl Metadata {
    /// The metadata of a result that keeps the frames `from..to` of the file behind `before` frames of silence:
    /// time and markers are moved, and markers in what is cut off are lost. `convert` converts frames to the
    /// rate of the result.
    #[must_use]
    pub fn after_cut(&self, before: u64, from: u64, to: u64, convert: impl Fn(u64) -> u64) -> Self {
        let mut cut = self.clone();
        let tags = &mut cut.tags;
        tags.time_reference = tags.time_reference.map(|at| convert((at + from).saturating_sub(before)));
        let all = tags.markers.len();
        tags.markers.retain(|marker| (from..to).contains(&marker.frame));
        for marker in &mut tags.markers {
            marker.frame = convert(marker.frame - from + before);
        }
        match all - tags.markers.len() {
            0 => {}
            1 => cut.lost.push("a marker in what is cut off".into()),
            n => cut.lost.push(format!("{n} markers in what is cut off")),
        }
        cut
    }
}
