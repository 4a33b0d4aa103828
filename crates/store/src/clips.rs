//! The pictures of flagged pushes as files: one per strip, its JPEGs one
//! after the other.

use std::io;
use std::path::{Path, PathBuf};

use super::{PictureStrip, Shot, StoreError};
use crate::config::{private_folder, write_atomically};

/// Folder of the pictures, beside the sessions file.
pub const PICTURES_FOLDER: &str = "pictures";

/// Nothing this program writes comes near it.
const LARGEST_BYTES: u64 = 256 << 20;

/// A strip that lies in its file and is not in the tables yet.
pub(super) struct Laid<'s> {
    pub strip: &'s PictureStrip,
    pub name: String,
    pub bytes: u64,
    /// JSON: time and bytes of each picture.
    pub shots: String,
}

/// Writes the pictures of a strip; they are on the disk when this returns.
pub(super) fn lay<'s>(
    folder: &Path,
    session: i64,
    number: u32,
    strip: &'s PictureStrip,
) -> Result<Laid<'s>, StoreError> {
    let pictures = folder.join(PICTURES_FOLDER);
    private_folder(&pictures).map_err(|e| StoreError::io(&pictures.join("."), &e))?;
    let name = format!("s{session}-p{number}-{}-{}.mjpeg", strip.push, strip.rule);
    let bytes: Vec<u8> = strip
        .shots
        .iter()
        .flat_map(|s| s.jpeg.iter().copied())
        .collect();
    // Times as text: a JSON number may come back one step beside itself.
    let shots: Vec<(String, u64)> = strip
        .shots
        .iter()
        .map(|s| (s.captured_at_s.to_string(), s.jpeg.len() as u64))
        .collect();
    let shots = serde_json::to_string(&shots).map_err(|e| StoreError::Encoding(e.to_string()))?;
    let path = pictures.join(&name);
    write_atomically(&path, &bytes, 0o600).map_err(|e| StoreError::io(&path, &e))?;
    Ok(Laid {
        strip,
        name,
        bytes: bytes.len() as u64,
        shots,
    })
}

/// The pictures of a file, cut by the sizes the table has.
pub(super) fn read(path: &Path, shots: &str) -> Result<Vec<Shot>, StoreError> {
    let unreadable = |why: String| StoreError::NoPictures {
        file: path.to_owned(),
        why,
    };
    let sizes: Vec<(String, u64)> =
        serde_json::from_str(shots).map_err(|e| unreadable(e.to_string()))?;
    let length = std::fs::metadata(path)
        .map_err(|e| unreadable(e.to_string()))?
        .len();
    if length > LARGEST_BYTES || length != sizes.iter().map(|s| s.1).sum::<u64>() {
        return Err(unreadable(
            "it has another size than was written".to_owned(),
        ));
    }
    let bytes = std::fs::read(path).map_err(|e| unreadable(e.to_string()))?;
    let mut rest = bytes.as_slice();
    let mut cut = Vec::with_capacity(sizes.len());
    for (time, size) in sizes {
        let Some((jpeg, after)) = rest.split_at_checked(size as usize) else {
            return Err(unreadable("it is shorter than it should be".to_owned()));
        };
        cut.push(Shot {
            captured_at_s: time.parse().unwrap_or(f64::NAN),
            jpeg: jpeg.to_vec(),
        });
        rest = after;
    }
    Ok(cut)
}

/// Where a strip lies. `None` for a name that would lead out of the folder.
pub(super) fn path_of(folder: &Path, name: &str) -> Option<PathBuf> {
    let plain = !name.is_empty() && !name.contains(['/', '\\']) && name != "." && name != "..";
    plain.then(|| folder.join(PICTURES_FOLDER).join(name))
}

/// Deletes a strip's file; one that is gone already is as good.
pub(super) fn remove(folder: &Path, name: &str) -> Result<(), StoreError> {
    let Some(path) = path_of(folder, name) else {
        return Ok(());
    };
    match std::fs::remove_file(&path) {
        Err(e) if e.kind() != io::ErrorKind::NotFound => Err(StoreError::NotDeleted {
            file: path,
            why: e.to_string(),
        }),
        _ => Ok(()),
    }
}
