//! Where frames come from, and how a source is named.

use std::path::PathBuf;

use super::{CaptureError, Frame, camera, folder, video};

/// Frame rate of a folder of pictures when none is given.
pub const FOLDER_FPS: f64 = 30.0;

/// What kind of thing a source is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SourceKind {
    /// A live camera.
    Camera,
    /// A video file.
    Video,
    /// Pictures as files.
    Pictures,
}

/// What is known of an open source.
#[derive(Debug, Clone, PartialEq)]
pub struct SourceInfo {
    /// A name to show: the camera's, or the file's without its folder.
    pub name: String,
    /// What kind of thing it is.
    pub kind: SourceKind,
    /// Width of its frames as delivered (a turned video is turned upright),
    /// pixels.
    pub width: u32,
    /// Height of its frames as delivered, pixels.
    pub height: u32,
    /// Frames per second: what the camera promises, or the average over a
    /// file. `None` when the container does not say.
    pub nominal_fps: Option<f64>,
    /// Frames the source will deliver, when that is known beforehand.
    pub frame_count: Option<u64>,
    /// Pictures left out so far because they could not be decoded.
    pub skipped: u64,
}

/// A thing that gives frames, one by one and in order.
pub trait Source: Send {
    /// What is known of the source. Only `skipped` changes over time.
    fn info(&self) -> &SourceInfo;

    /// The next frame, `None` at the end. Capture times rise strictly.
    ///
    /// Blocks as long as decoding takes; a camera also until its next frame
    /// is there, bounded by a few seconds.
    ///
    /// # Errors
    /// What is damaged or lost, once; after it the source is at its end.
    fn next_frame(&mut self) -> Result<Option<Frame>, CaptureError>;

    /// Takes back the buffer of a frame that nobody needs any more, for a
    /// frame to come. Sources that cannot use it let it go.
    fn reuse(&mut self, _buffer: Vec<u8>) {}
}

/// Which picture format to ask a camera for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum CameraFormat {
    /// Whichever comes closest to the size and the frame rate asked for,
    /// MJPEG when both do.
    #[default]
    Auto,
    /// JPEG pictures: full frame rate over USB 2, costs decoding.
    Mjpeg,
    /// Plain 4:2:2 pictures: no JPEG artefacts, slow over USB 2.
    Yuyv,
}

/// A camera and what to ask of it.
#[derive(Debug, Clone, PartialEq)]
pub struct CameraRequest {
    /// Stable id, name or device node of the camera; `None` = the first one.
    pub id: Option<String>,
    /// Width to ask for, pixels.
    pub width: u32,
    /// Height to ask for, pixels.
    pub height: u32,
    /// Frames per second to ask for.
    pub fps: u32,
    /// Format to ask for.
    pub format: CameraFormat,
}

impl Default for CameraRequest {
    fn default() -> Self {
        Self {
            id: None,
            width: 1280,
            height: 720,
            fps: 30,
            format: CameraFormat::Auto,
        }
    }
}

/// A source by name, before it is opened.
#[derive(Debug, Clone, PartialEq)]
pub enum SourceSpec {
    /// A live camera.
    Camera(CameraRequest),
    /// A video file, or one picture.
    File {
        /// Path of the file.
        path: PathBuf,
    },
    /// A folder of JPEG and PNG pictures, in natural order of their names.
    Folder {
        /// Path of the folder.
        path: PathBuf,
        /// Frames per second they were taken with.
        fps: f64,
    },
}

impl SourceSpec {
    /// Reads `camera`, `camera:ID`, or the path of a file or folder.
    ///
    /// A path that leads nowhere is taken for a file, so that opening it
    /// gives the message about it.
    ///
    /// # Errors
    /// [`CaptureError::BadSpec`] when nothing is named.
    pub fn parse(text: &str) -> Result<Self, CaptureError> {
        let text = text.trim();
        let bad = || CaptureError::BadSpec {
            text: text.to_owned(),
        };
        if text.is_empty() {
            return Err(bad());
        }
        if text == "camera" || text == "camera:auto" {
            return Ok(Self::Camera(CameraRequest::default()));
        }
        if let Some(id) = text.strip_prefix("camera:") {
            let id = id.trim();
            if id.is_empty() {
                return Err(bad());
            }
            return Ok(Self::Camera(CameraRequest {
                id: Some(id.to_owned()),
                ..Default::default()
            }));
        }
        let path = PathBuf::from(text);
        Ok(if path.is_dir() {
            Self::Folder {
                path,
                fps: FOLDER_FPS,
            }
        } else {
            Self::File { path }
        })
    }

    /// A name to show before the source is open.
    pub fn display_name(&self) -> String {
        match self {
            Self::Camera(request) => request.id.clone().unwrap_or_else(|| "camera".to_owned()),
            Self::File { path } | Self::Folder { path, .. } => file_name(path),
        }
    }
}

/// The last part of a path, for people to read.
pub(super) fn file_name(path: &std::path::Path) -> String {
    path.file_name().map_or_else(
        || path.display().to_string(),
        |name| name.to_string_lossy().into_owned(),
    )
}

/// Opens a source that is pulled as fast as it gives.
///
/// The first frame of a file is decoded here, so that a file that cannot be
/// read is known at once.
///
/// # Errors
/// A sentence that names the thing and the remedy.
pub fn open(spec: &SourceSpec) -> Result<Box<dyn Source>, CaptureError> {
    match spec {
        SourceSpec::Camera(request) => Ok(Box::new(camera::CameraSource::open(request)?)),
        SourceSpec::File { path } => video::open(path),
        SourceSpec::Folder { path, fps } => Ok(Box::new(folder::FolderSource::open(path, *fps)?)),
    }
}

/// The same, and what it takes to read it in parts, where it has several.
///
/// # Errors
/// As [`open`].
pub fn open_in_parts(
    spec: &SourceSpec,
) -> Result<(Box<dyn Source>, Option<video::Parts>), CaptureError> {
    match spec {
        SourceSpec::File { path } => video::open_in_parts(path),
        SourceSpec::Camera(_) | SourceSpec::Folder { .. } => Ok((open(spec)?, None)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spec_from_text() {
        assert_eq!(
            SourceSpec::parse("camera").expect("ok"),
            SourceSpec::Camera(CameraRequest::default())
        );
        match SourceSpec::parse(" camera:usb-A:B-video-index0 ").expect("ok") {
            SourceSpec::Camera(request) => {
                assert_eq!(request.id.as_deref(), Some("usb-A:B-video-index0"))
            }
            other => panic!("{other:?}"),
        }
        let dir = tempfile::tempdir().expect("temp dir");
        let text = dir.path().to_str().expect("utf-8");
        assert!(
            matches!(SourceSpec::parse(text).expect("ok"), SourceSpec::Folder { fps, .. } if fps == FOLDER_FPS)
        );
        assert!(matches!(
            SourceSpec::parse("nowhere/clip.mp4").expect("ok"),
            SourceSpec::File { .. }
        ));
        for text in ["", "  ", "camera:", "camera: "] {
            assert!(
                SourceSpec::parse(text).expect_err("no source").is_usage(),
                "{text:?}"
            );
        }
    }
}
