//! The parts that all RIFF files share: an id and a body in, a chunk with its size and pad byte out
//! (Multimedia Programming Interface and Data Specifications 1.0).

/// The largest size that fits into a RIFF header, bytes; all ones mean "see the ds64 chunk".
pub(super) const RIFF_LIMIT_BYTES: u64 = u32::MAX as u64 - 1;

/// Appends a chunk with its id, size and pad byte.
pub(super) fn chunk(out: &mut Vec<u8>, id: &[u8; 4], body: &[u8]) {
    out.extend(id);
    out.extend((body.len() as u32).to_le_bytes());
    out.extend(body);
    if body.len() % 2 == 1 {
        out.push(0);
    }
}
