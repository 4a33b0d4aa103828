//! Pictures as files: a folder of them, or a single one.

use std::cmp::Ordering;
use std::fs;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use super::source::file_name;
use super::{CaptureError, Frame, Source, SourceInfo, SourceKind};

/// A sorted list of pictures, decoded one at a time.
///
/// A picture that cannot be decoded is named in the log, left out and
/// counted; its place in time stays empty. A picture of another size is an
/// error: the bodies in it could not be compared with those before.
pub(super) struct FolderSource {
    info: SourceInfo,
    pictures: Vec<PathBuf>,
    fps: f64,
    next: usize,
    /// The first picture, decoded while opening.
    first: Option<Frame>,
    ended: bool,
}

impl FolderSource {
    /// Lists the folder and decodes its first readable picture.
    pub(super) fn open(path: &Path, fps: f64) -> Result<Self, CaptureError> {
        let entries = match fs::read_dir(path) {
            Ok(entries) => entries,
            Err(error) if error.kind() == ErrorKind::NotFound => {
                return Err(CaptureError::Missing {
                    path: path.to_owned(),
                });
            }
            Err(error) if error.kind() == ErrorKind::NotADirectory => {
                return Err(CaptureError::WrongKind {
                    path: path.to_owned(),
                    found: "not a folder",
                    remedy: "give the folder that holds the pictures",
                });
            }
            Err(source) => {
                return Err(CaptureError::Unreadable {
                    path: path.to_owned(),
                    source,
                });
            }
        };
        let mut pictures = Vec::new();
        for entry in entries {
            let entry = entry.map_err(|source| CaptureError::Unreadable {
                path: path.to_owned(),
                source,
            })?;
            let picture = entry.path();
            // Hidden files are left-overs of other systems (`._IMG_1.jpg`).
            let hidden = entry.file_name().to_string_lossy().starts_with('.');
            if !hidden && has_picture_name(&picture) && picture.is_file() {
                pictures.push(picture);
            }
        }
        pictures.sort_by(|a, b| natural_order(&file_name(a), &file_name(b)));
        let mut source = Self::over(path, pictures, fps);
        match source.advance()? {
            Some(frame) => source.first = Some(frame),
            None => {
                return Err(CaptureError::NoPictures {
                    path: path.to_owned(),
                    broken: source.info.skipped,
                });
            }
        }
        Ok(source)
    }

    /// A single picture.
    pub(super) fn open_single(path: &Path) -> Result<Self, CaptureError> {
        let mut source = Self::over(path, vec![path.to_owned()], super::source::FOLDER_FPS);
        let frame = decode(path, 0, 0.0)?;
        (source.info.width, source.info.height) = (frame.width, frame.height);
        source.info.nominal_fps = None;
        source.next = 1;
        source.first = Some(frame);
        Ok(source)
    }

    fn over(path: &Path, pictures: Vec<PathBuf>, fps: f64) -> Self {
        // A rate that is no rate would make every capture time infinite.
        let fps = if fps.is_finite() && fps > 0.0 {
            fps
        } else {
            super::source::FOLDER_FPS
        };
        Self {
            info: SourceInfo {
                name: file_name(path),
                kind: SourceKind::Pictures,
                width: 0,
                height: 0,
                nominal_fps: Some(fps),
                frame_count: Some(pictures.len() as u64),
                skipped: 0,
            },
            pictures,
            fps,
            next: 0,
            first: None,
            ended: false,
        }
    }

    /// The next readable picture.
    fn advance(&mut self) -> Result<Option<Frame>, CaptureError> {
        while let Some(path) = self.pictures.get(self.next) {
            let index = self.next as u64;
            self.next += 1;
            let frame = match decode(path, index, index as f64 / self.fps) {
                Ok(frame) => frame,
                Err(error) => {
                    tracing::warn!("left out: {error}");
                    self.info.skipped += 1;
                    self.info.frame_count = self.info.frame_count.map(|n| n.saturating_sub(1));
                    continue;
                }
            };
            if self.info.width == 0 {
                (self.info.width, self.info.height) = (frame.width, frame.height);
            } else if (frame.width, frame.height) != (self.info.width, self.info.height) {
                return Err(CaptureError::SizeChanged {
                    path: path.clone(),
                    width: frame.width,
                    height: frame.height,
                    first_width: self.info.width,
                    first_height: self.info.height,
                });
            }
            return Ok(Some(frame));
        }
        Ok(None)
    }
}

impl Source for FolderSource {
    fn info(&self) -> &SourceInfo {
        &self.info
    }

    fn next_frame(&mut self) -> Result<Option<Frame>, CaptureError> {
        if let Some(frame) = self.first.take() {
            return Ok(Some(frame));
        }
        if self.ended {
            return Ok(None);
        }
        let next = self.advance();
        self.ended = !matches!(next, Ok(Some(_)));
        next
    }
}

/// Whether the file's name is that of a picture this program reads.
pub(super) fn has_picture_name(path: &Path) -> bool {
    path.extension().and_then(|e| e.to_str()).is_some_and(|e| {
        ["jpg", "jpeg", "png"]
            .iter()
            .any(|known| e.eq_ignore_ascii_case(known))
    })
}

fn decode(path: &Path, seq: u64, captured_at_s: f64) -> Result<Frame, CaptureError> {
    let bytes = fs::read(path).map_err(|source| CaptureError::Unreadable {
        path: path.to_owned(),
        source,
    })?;
    if bytes.is_empty() {
        return Err(CaptureError::Empty {
            path: path.to_owned(),
        });
    }
    // The content decides, not the name: cameras and phones mislabel files.
    let picture = image::load_from_memory(&bytes)
        .map_err(|error| CaptureError::NotAPicture {
            path: path.to_owned(),
            detail: error.to_string(),
        })?
        .into_rgb8();
    Ok(Frame {
        seq,
        captured_at_s,
        width: picture.width(),
        height: picture.height(),
        rgb: picture.into_raw(),
    })
}

/// Compares names so that `2` comes before `10`; letters by their code.
fn natural_order(a: &str, b: &str) -> Ordering {
    let (mut rest_a, mut rest_b) = (a, b);
    while !rest_a.is_empty() && !rest_b.is_empty() {
        let (part_a, part_b) = (leading_part(rest_a), leading_part(rest_b));
        rest_a = &rest_a[part_a.len()..];
        rest_b = &rest_b[part_b.len()..];
        let digits = |s: &str| s.starts_with(|c: char| c.is_ascii_digit());
        let order = if digits(part_a) && digits(part_b) {
            let (a, b) = (
                part_a.trim_start_matches('0'),
                part_b.trim_start_matches('0'),
            );
            a.len().cmp(&b.len()).then_with(|| a.cmp(b))
        } else {
            part_a.cmp(part_b)
        };
        if order.is_ne() {
            return order;
        }
    }
    // `01` and `1` are equal so far: the plain order decides, so that the
    // result does not depend on how the system lists the folder.
    rest_a.len().cmp(&rest_b.len()).then_with(|| a.cmp(b))
}

/// The leading run of digits, or of anything else.
fn leading_part(text: &str) -> &str {
    let digit = text.starts_with(|c: char| c.is_ascii_digit());
    let end = text
        .find(|c: char| c.is_ascii_digit() != digit)
        .unwrap_or(text.len());
    &text[..end]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_in_names_count_as_numbers() {
        let mut names = vec![
            "b1", "a10.png", "a2.png", "a02.png", "a1.png", "a", "a1b3", "a1b20",
        ];
        names.sort_by(|a, b| natural_order(a, b));
        assert_eq!(
            names,
            [
                "a", "a1.png", "a1b3", "a1b20", "a02.png", "a2.png", "a10.png", "b1"
            ]
        );
    }
}
