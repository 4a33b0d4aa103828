//! Video files.
//!
//! MP4 with 8-bit progressive H.264 is decoded in this process. Everything
//! else goes through an `ffmpeg` process when one is installed.

mod boxes;
mod ffmpeg;
mod mp4;
mod parts;
mod pixel_shape;
mod rotate;
mod sps;

use std::fs::File;
use std::io::{ErrorKind, Read};
use std::path::Path;

use super::folder::{FolderSource, has_picture_name};
use super::{CaptureError, Source};

pub use parts::Parts;

/// Bytes looked at to tell what a file is.
const SNIFF_BYTES: usize = 4096;

/// Opens a video file, or a single picture as a video of one frame.
pub(super) fn open(path: &Path) -> Result<Box<dyn Source>, CaptureError> {
    Ok(open_in_parts(path)?.0)
}

/// The same, and what it takes to read it in parts, where it has several.
pub(super) fn open_in_parts(path: &Path) -> Result<(Box<dyn Source>, Option<Parts>), CaptureError> {
    let head = read_head(path)?;
    let source: Box<dyn Source> = match sniff(&head) {
        Content::Picture => Box::new(FolderSource::open_single(path)?),
        _ if has_picture_name(path) => {
            return Err(CaptureError::NotAPicture {
                path: path.to_owned(),
                detail: "its content is something else".into(),
            });
        }
        Content::Text => {
            return Err(CaptureError::NotAVideo {
                path: path.to_owned(),
                detail: "its content is text".into(),
            });
        }
        Content::IsoMedia => match mp4::Mp4Source::open(path)? {
            mp4::Opened::Here(source) => {
                let parts = Parts::of(&source);
                return Ok((source, parts));
            }
            mp4::Opened::Foreign { codec } => Box::new(ffmpeg::FfmpegSource::open(path, &codec)?),
        },
        Content::Other(what) => Box::new(ffmpeg::FfmpegSource::open(path, what)?),
    };
    Ok((source, None))
}

/// What the first bytes of a file say it is.
#[derive(Debug, PartialEq)]
enum Content {
    Picture,
    Text,
    IsoMedia,
    Other(&'static str),
}

fn sniff(head: &[u8]) -> Content {
    if head.starts_with(&[0xff, 0xd8, 0xff]) || head.starts_with(b"\x89PNG\r\n\x1a\n") {
        Content::Picture
    } else if head.get(4..8) == Some(b"ftyp") {
        Content::IsoMedia
    } else if head.starts_with(&[0x1a, 0x45, 0xdf, 0xa3]) {
        Content::Other("a Matroska or WebM video")
    } else if head.starts_with(b"RIFF") && head.get(8..12) == Some(b"AVI ") {
        Content::Other("an AVI video")
    } else if head.iter().all(|b| *b >= 0x20 || b"\t\r\n\x0c".contains(b)) {
        Content::Text
    } else {
        Content::Other("a format this program does not know")
    }
}

fn read_head(path: &Path) -> Result<Vec<u8>, CaptureError> {
    let unreadable = |source: std::io::Error| match source.kind() {
        ErrorKind::NotFound | ErrorKind::NotADirectory => CaptureError::Missing {
            path: path.to_owned(),
        },
        _ => CaptureError::Unreadable {
            path: path.to_owned(),
            source,
        },
    };
    // Asked before opening: opening a named pipe would wait for a writer.
    let kind = std::fs::metadata(path).map_err(unreadable)?;
    if !kind.is_file() {
        return Err(CaptureError::WrongKind {
            path: path.to_owned(),
            found: if kind.is_dir() {
                "a folder"
            } else {
                "a device or a pipe"
            },
            remedy: "give a video file",
        });
    }
    let mut head = Vec::with_capacity(SNIFF_BYTES);
    File::open(path)
        .and_then(|file| file.take(SNIFF_BYTES as u64).read_to_end(&mut head))
        .map_err(unreadable)?;
    if head.is_empty() {
        return Err(CaptureError::Empty {
            path: path.to_owned(),
        });
    }
    Ok(head)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn content_is_told_by_its_first_bytes() {
        assert_eq!(sniff(b"\0\0\0\x20ftypisom"), Content::IsoMedia);
        assert_eq!(sniff(b"\xff\xd8\xff\xe0"), Content::Picture);
        assert_eq!(sniff("Grüße\n".as_bytes()), Content::Text);
        assert_eq!(
            sniff(b"RIFF\x01\x02\0\0AVI LIST"),
            Content::Other("an AVI video")
        );
        assert!(matches!(sniff(&[0, 1, 2, 3]), Content::Other(_)));
    }
}
