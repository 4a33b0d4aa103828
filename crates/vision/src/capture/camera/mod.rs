//! Live cameras (V4L2, through nokhwa).
//!
//! A [`Session`](session::Session) is one opening of one camera in a thread
//! of its own; [`CameraSource`] pulls frames from one session, and the feed
//! opens one session after the other for as long as the station runs.

mod interrupt;
mod list;
mod picture;
mod session;
mod shutter;

use std::time::{Duration, Instant};

pub use list::{CameraInfo, CameraMode, list_cameras};
pub(super) use list::{find_camera, nodes_now};
pub(super) use picture::PictureReader;
pub use picture::read_camera_jpeg;
pub(super) use session::{Event, Session};

use super::{CameraRequest, CaptureError, Frame, Source, SourceInfo, SourceKind};

/// A camera may take this long from opening to its first picture.
pub(super) const FIRST_PICTURE: Duration = Duration::from_secs(5);

/// A running camera that is silent for this long is given up.
pub(super) const SILENCE: Duration = Duration::from_millis(1200);

/// One camera, pulled frame by frame. It does not re-open by itself: the
/// station uses a [`Feed`](super::Feed) for that.
pub(super) struct CameraSource {
    info: SourceInfo,
    session: Session,
    reader: PictureReader,
    origin: Option<Instant>,
    last_time_s: f64,
    first: Option<Frame>,
    ended: bool,
}

impl CameraSource {
    /// Opens the camera and waits for its first readable picture.
    pub(super) fn open(request: &CameraRequest) -> Result<Self, CaptureError> {
        let camera = find_camera(request)?;
        let mut source = Self {
            info: SourceInfo {
                name: camera.name.clone(),
                kind: SourceKind::Camera,
                width: 0,
                height: 0,
                nominal_fps: None,
                frame_count: None,
                skipped: 0,
            },
            session: Session::start(&camera, request),
            reader: PictureReader::default(),
            origin: None,
            last_time_s: 0.0,
            first: None,
            ended: false,
        };
        let first = source.wait(FIRST_PICTURE)?;
        (source.info.width, source.info.height) = (first.width, first.height);
        source.info.nominal_fps = source.session.mode().map(|mode| f64::from(mode.fps));
        source.first = Some(first);
        Ok(source)
    }

    fn wait(&mut self, patience: Duration) -> Result<Frame, CaptureError> {
        let since = Instant::now();
        loop {
            match self.session.recv(patience.saturating_sub(since.elapsed())) {
                Event::Picture(picture) => match self.reader.read(&picture.data) {
                    Ok(pixels) => {
                        let origin = *self.origin.get_or_insert(picture.captured_at);
                        let time_s = picture
                            .captured_at
                            .saturating_duration_since(origin)
                            .as_secs_f64();
                        let time_s = if self.info.width == 0 {
                            0.0
                        } else {
                            time_s.max(self.last_time_s + 1e-6)
                        };
                        self.last_time_s = time_s;
                        return Ok(pixels.into_frame(picture.seq, time_s));
                    }
                    Err(detail) => {
                        tracing::debug!(
                            "camera '{}': a picture was left out: {detail}",
                            self.info.name
                        );
                        self.info.skipped += 1;
                    }
                },
                Event::Failed(error) => return Err(error),
                Event::Nothing => {}
            }
            if since.elapsed() >= patience {
                return Err(CaptureError::CameraStalled {
                    name: self.info.name.clone(),
                    silent_s: since.elapsed().as_secs_f64(),
                });
            }
        }
    }
}

impl Source for CameraSource {
    fn info(&self) -> &SourceInfo {
        &self.info
    }

    fn next_frame(&mut self) -> Result<Option<Frame>, CaptureError> {
        if let Some(first) = self.first.take() {
            return Ok(Some(first));
        }
        if self.ended {
            return Ok(None);
        }
        let next = self.wait(SILENCE).map(Some);
        self.ended = next.is_err();
        next
    }
}
