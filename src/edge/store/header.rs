//! The first hundred bytes of the file, read without the database library, which might already
//! change a file that must be refused. Offsets: <https://www.sqlite.org/fileformat2.html>, 1.3.

use std::{
    fs::File,
    io::{ErrorKind, Read},
    path::Path,
};

use super::StoreError;

const LENGTH: usize = 100;
const MAGIC: &[u8; 16] = b"SQLite format 3\0";
const USER_VERSION: usize = 60;
const APPLICATION_ID: usize = 68;

/// What the header says of the file's maker.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Header {
    pub(super) application_id: u32,
    pub(super) version: u32,
}

/// Reads the header; `None` when there is no file.
pub(super) fn read(path: &Path) -> Result<Option<Header>, StoreError> {
    let mut bytes = Vec::with_capacity(LENGTH);
    let length = match File::open(path) {
        Ok(file) => file.take(LENGTH as u64).read_to_end(&mut bytes),
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(None),
        Err(error) => Err(error),
    }
    .map_err(|error| StoreError::files("read", path, error))?;
    let refusal = |found: String| StoreError::NotADatabase {
        path: path.to_owned(),
        found,
    };
    if length == 0 {
        return Err(refusal("an empty file".to_owned()));
    }
    if !bytes.starts_with(MAGIC) {
        let begin = &bytes[..length.min(MAGIC.len())];
        return Err(refusal(format!(
            "a file that begins with \"{}\"",
            begin.escape_ascii()
        )));
    }
    match (number(&bytes, APPLICATION_ID), number(&bytes, USER_VERSION)) {
        (Some(application_id), Some(version)) => Ok(Some(Header {
            application_id,
            version,
        })),
        _ => Err(refusal(format!(
            "only {length} of the header's {LENGTH} bytes"
        ))),
    }
}

fn number(bytes: &[u8], offset: usize) -> Option<u32> {
    let field = bytes.get(offset..offset + 4)?;
    // A header cut off after these fields is still cut off.
    bytes.get(LENGTH - 1)?;
    field.try_into().ok().map(u32::from_be_bytes)
}
