//! One opening of one camera, in a thread of its own.
//!
//! The thread does nothing but fetch pictures and put each into a place for
//! one, so that the driver's queue never fills up with old ones; whoever
//! receives decodes. nokhwa's `Camera` is not `Send`, hence everything about
//! it happens in that thread.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

use nokhwa::utils::{
    CameraFormat, CameraIndex, FrameFormat, RequestedFormat, RequestedFormatType, Resolution,
};
use nokhwa::{Buffer, Camera};

use super::super::{CameraRequest, CaptureError};
use super::list::{InUse, answer, closest_mode, opening_guard};
use super::{CameraInfo, CameraMode, interrupt, shutter};

/// Waiting for the thread to let go of the camera.
const LETTING_GO: Duration = Duration::from_secs(1);

/// Threads that never let go may not pile up beyond this.
const MAX_STUCK: usize = 3;

/// A buffer time stamp further back than this is no capture time.
const MAX_AGE: Duration = Duration::from_secs(1);

/// Threads that did not let go in time.
static STUCK: Mutex<Vec<JoinHandle<()>>> = Mutex::new(Vec::new());

/// A picture as the camera sent it.
pub(in crate::capture) struct Picture {
    /// Number within this session, counted where the driver hands it over.
    pub seq: u64,
    /// When it was taken, by the driver's stamp where that is believable,
    /// else when it was handed over.
    pub captured_at: Instant,
    /// The picture itself.
    pub data: Buffer,
}

/// What a session has to tell.
pub(in crate::capture) enum Event {
    /// The newest picture.
    Picture(Picture),
    /// Nothing within the time given.
    Nothing,
    /// The session is over.
    Failed(CaptureError),
}

/// A camera being opened or open. Dropping it lets the camera go.
pub(in crate::capture) struct Session {
    name: String,
    shared: Arc<Shared>,
    thread: Option<JoinHandle<()>>,
}

#[derive(Default)]
struct Shared {
    state: Mutex<State>,
    changed: Condvar,
    stop: AtomicBool,
}

#[derive(Default)]
struct State {
    newest: Option<Picture>,
    overwritten: u64,
    mode: Option<CameraMode>,
    shutter_s: Option<f64>,
    failure: Option<CaptureError>,
    over: bool,
}

impl Shared {
    fn lock(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn stopping(&self) -> bool {
        self.stop.load(Ordering::Relaxed)
    }
}

impl Session {
    /// Starts to open the camera. Faults come out of [`Session::recv`].
    pub(in crate::capture) fn start(camera: &CameraInfo, request: &CameraRequest) -> Self {
        interrupt::prepare();
        let shared = Arc::new(Shared::default());
        let mut session = Self {
            name: camera.name.clone(),
            shared: Arc::clone(&shared),
            thread: None,
        };
        let fail = |error| {
            let mut state = session.shared.lock();
            (state.failure, state.over) = (Some(error), true);
        };
        if stuck_threads() >= MAX_STUCK {
            fail(CaptureError::CameraStuck {
                name: camera.name.clone(),
            });
            return session;
        }
        let (camera, request) = (camera.clone(), request.clone());
        let spawned = thread::Builder::new().name("camera".into()).spawn(move || {
            // v4l panics when the driver refuses to stop a stream; that must
            // cost this session only.
            let run = catch_unwind(AssertUnwindSafe(|| run(&shared, &camera, &request)));
            let result = run.unwrap_or_else(|_| {
                Err(CaptureError::CameraLost {
                    name: camera.name.clone(),
                    detail: "its driver failed in an unexpected way".into(),
                })
            });
            let mut state = shared.lock();
            state.failure = result.err();
            state.over = true;
            drop(state);
            shared.changed.notify_all();
        });
        match spawned {
            Ok(thread) => session.thread = Some(thread),
            Err(error) => fail(CaptureError::CameraOpen {
                name: session.name.clone(),
                detail: error.to_string(),
            }),
        }
        session
    }

    /// Waits for the newest picture, or for the end.
    pub(in crate::capture) fn recv(&self, timeout: Duration) -> Event {
        let state = self.shared.lock();
        let (mut state, _) = self
            .shared
            .changed
            .wait_timeout_while(state, timeout, |state| {
                state.newest.is_none() && !state.over
            })
            .unwrap_or_else(PoisonError::into_inner);
        if let Some(picture) = state.newest.take() {
            Event::Picture(picture)
        } else if state.over {
            Event::Failed(
                state
                    .failure
                    .take()
                    .unwrap_or_else(|| CaptureError::CameraLost {
                        name: self.name.clone(),
                        detail: "it was closed".into(),
                    }),
            )
        } else {
            Event::Nothing
        }
    }

    /// The mode the camera runs in, once it is open.
    pub(in crate::capture) fn mode(&self) -> Option<CameraMode> {
        self.shared.lock().mode.clone()
    }

    /// How long the shutter is open, seconds, where it was set by hand when the
    /// camera was opened.
    pub(in crate::capture) fn shutter_s(&self) -> Option<f64> {
        self.shared.lock().shutter_s
    }

    /// Pictures overwritten before they were received.
    pub(in crate::capture) fn overwritten(&self) -> u64 {
        self.shared.lock().overwritten
    }
}

impl Drop for Session {
    fn drop(&mut self) {
        self.shared.stop.store(true, Ordering::Relaxed);
        let Some(thread) = self.thread.take() else {
            return;
        };
        let since = Instant::now();
        // First let it end by itself: a running camera's next picture is
        // only a few milliseconds away.
        while !thread.is_finished() && since.elapsed() < LETTING_GO {
            thread::sleep(Duration::from_millis(10));
            if since.elapsed() > Duration::from_millis(100)
                && let Err(error) = interrupt::interrupt(&thread)
            {
                tracing::debug!(
                    "camera '{}': the thread cannot be interrupted: {error}",
                    self.name
                );
            }
        }
        if thread.is_finished() {
            // A panic inside was caught and reported as the session's end.
            let _ = thread.join();
        } else {
            tracing::error!(
                "camera '{}': its driver does not let go; a thread is left behind",
                self.name
            );
            STUCK
                .lock()
                .unwrap_or_else(PoisonError::into_inner)
                .push(thread);
        }
    }
}

/// Threads left behind that still have not ended.
fn stuck_threads() -> usize {
    let mut stuck = STUCK.lock().unwrap_or_else(PoisonError::into_inner);
    stuck.retain(|thread| !thread.is_finished());
    stuck.len()
}

/// Opens the camera and fetches pictures until told to stop.
fn run(shared: &Shared, info: &CameraInfo, request: &CameraRequest) -> Result<(), CaptureError> {
    let open_error = |detail: String| CaptureError::CameraOpen {
        name: info.name.clone(),
        detail,
    };
    let guard = opening_guard()
        .ok_or_else(|| open_error("another camera's driver does not answer".into()))?;
    let shutter_s = shutter::open_s(&info.node);
    let readable = [FrameFormat::MJPEG, FrameFormat::YUYV];
    let any = RequestedFormat::with_formats(RequestedFormatType::None, &readable);
    let mut camera = match Camera::new(CameraIndex::Index(info.index), any) {
        Ok(camera) => camera,
        Err(nokhwa::NokhwaError::GetPropertyError { property, .. })
            if property == "CameraFormat" =>
        {
            return Err(CaptureError::CameraFormat {
                name: info.name.clone(),
            });
        }
        Err(error) => return Err(open_error(error.to_string())),
    };
    let said = answer(&mut camera);
    let mode =
        closest_mode(&said.modes, request)
            .cloned()
            .ok_or_else(|| CaptureError::CameraFormat {
                name: info.name.clone(),
            })?;
    let format = if mode.fourcc == "YUYV" {
        FrameFormat::YUYV
    } else {
        FrameFormat::MJPEG
    };
    let wanted = CameraFormat::new(Resolution::new(mode.width, mode.height), format, mode.fps);
    if camera.camera_format() != wanted {
        let exact = RequestedFormat::with_formats(RequestedFormatType::Exact(wanted), &readable);
        camera
            .set_camera_requset(exact)
            .map_err(|error| open_error(error.to_string()))?;
    }
    camera
        .open_stream()
        .map_err(|error| open_error(error.to_string()))?;
    let _in_use = InUse::mark(info.index, said);
    drop(guard);
    tracing::info!(
        "camera '{}' opened: {} {} x {} at {} frames/s",
        info.name,
        mode.fourcc,
        mode.width,
        mode.height,
        mode.fps
    );
    {
        let mut state = shared.lock();
        (state.mode, state.shutter_s) = (Some(mode), shutter_s);
    }

    let mut stamps = Stamps::default();
    let mut seq = 0;
    while !shared.stopping() {
        let data = match camera.frame() {
            Ok(data) => data,
            // Interrupted on purpose, to end here.
            Err(_) if shared.stopping() => break,
            Err(error) => {
                return Err(CaptureError::CameraLost {
                    name: info.name.clone(),
                    detail: error.to_string(),
                });
            }
        };
        let captured_at =
            stamps.captured_at(data.capture_timestamp(), Instant::now(), SystemTime::now());
        let mut state = shared.lock();
        if state
            .newest
            .replace(Picture {
                seq,
                captured_at,
                data,
            })
            .is_some()
        {
            state.overwritten += 1;
        }
        drop(state);
        shared.changed.notify_all();
        seq += 1;
    }
    Ok(())
}

/// Turns the driver's stamps into instants.
///
/// nokhwa gives the buffer's monotonic stamp converted to wall-clock time;
/// taken back against both clocks right away, a step of the wall clock
/// cannot come in between. Some drivers stamp with another clock or not at
/// all; then the time of receipt is used for the whole session, since mixing
/// the two would make time jump by the length of the pipeline.
#[derive(Debug, Default)]
struct Stamps {
    believable: Option<bool>,
}

impl Stamps {
    fn captured_at(
        &mut self,
        stamp: Option<Duration>,
        now: Instant,
        wall_now: SystemTime,
    ) -> Instant {
        let captured_at = stamp
            .and_then(|stamp| wall_now.duration_since(UNIX_EPOCH).ok()?.checked_sub(stamp))
            .filter(|age| *age < MAX_AGE)
            .and_then(|age| now.checked_sub(age));
        let believable = *self.believable.get_or_insert(captured_at.is_some());
        if believable {
            captured_at.unwrap_or(now)
        } else {
            now
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stamps_are_used_when_they_can_be_believed() {
        let (now, wall) = (Instant::now(), SystemTime::now());
        let since_epoch = wall.duration_since(UNIX_EPOCH).expect("after 1970");
        let ago = |ms| Some(since_epoch - Duration::from_millis(ms));

        let mut stamps = Stamps::default();
        assert_eq!(
            now - stamps.captured_at(ago(30), now, wall),
            Duration::from_millis(30)
        );
        assert_eq!(
            stamps.captured_at(ago(60_000), now, wall),
            now,
            "one bad stamp: receipt"
        );
        assert_eq!(
            now - stamps.captured_at(ago(20), now, wall),
            Duration::from_millis(20)
        );

        let mut stamps = Stamps::default();
        assert_eq!(stamps.captured_at(None, now, wall), now);
        assert_eq!(stamps.captured_at(ago(30), now, wall), now, "never mixed");
        let future = Some(since_epoch + Duration::from_secs(5));
        assert_eq!(Stamps::default().captured_at(future, now, wall), now);
    }
}
