//! SHA-256 of a file: a path in, 64 hexadecimal digits out.

use std::fs::File;
use std::io::Read;
use std::path::Path;

use sha2::{Digest, Sha256};

use super::error::{Result, reading};

/// Bytes read at once.
const BLOCK_BYTES: usize = 1 << 18;

/// Hashes a file.
///
/// # Errors
/// If it cannot be read.
pub fn sha256_hex(path: &Path) -> Result<String> {
    let mut hasher = Sha256::new();
    let mut file = File::open(path).map_err(|err| reading(path, err))?;
    let mut bytes = vec![0; BLOCK_BYTES];
    loop {
        match file.read(&mut bytes).map_err(|err| reading(path, err))? {
            0 => break,
            n => hasher.update(&bytes[..n]),
        }
    }
    Ok(hasher.finalize().iter().map(|byte| format!("{byte:02x}")).collect())
}
