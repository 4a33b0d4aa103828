//! Reading a recording ahead: decoding on a thread of its own.
//!
//! Decoding takes a fifth to a quarter of the time a recording needs. On a
//! second core it takes none of it.

use std::path::PathBuf;
use std::thread;
use std::time::Duration;

use crossbeam_channel::{Receiver, RecvTimeoutError, Sender, bounded};

use super::{CaptureError, Frame, Source, SourceInfo, SourceSpec, open};

/// Frames decoded before they are asked for; each is some megabytes. So many
/// last while the other core has more to do than decoding.
const AHEAD: usize = 6;
/// How much the decoder's thread stands back behind those that wait for nothing
/// but a core, as in nice(1): frames are ready long before they are needed.
const STANDS_BACK: i32 = 10;

/// A source that is silent for this long has a disk that does not answer;
/// longer than any bound of the sources themselves.
const SILENCE: Duration = Duration::from_secs(60);

/// Opens a source as [`open`] does; a recording is then decoded on a thread of
/// its own. The frames and their order are the same.
///
/// # Errors
/// As [`open`].
pub fn open_ahead(spec: &SourceSpec) -> Result<Box<dyn Source>, CaptureError> {
    let source = open(spec)?;
    let path = match spec {
        // Its pictures come from a thread already.
        SourceSpec::Camera(_) => return Ok(source),
        SourceSpec::File { path } | SourceSpec::Folder { path, .. } => path.clone(),
    };
    read_ahead(source, path)
}

/// Decodes an open recording on a thread of its own. `path` is for messages.
///
/// # Errors
/// When the system gives no thread.
pub fn read_ahead(source: Box<dyn Source>, path: PathBuf) -> Result<Box<dyn Source>, CaptureError> {
    Ok(Box::new(ReadAhead::start(source, path)?))
}

/// What one call of the source gave, and how many pictures it left out so far.
struct Step {
    next: Result<Option<Frame>, CaptureError>,
    skipped: u64,
    frame_count: Option<u64>,
}

struct ReadAhead {
    path: PathBuf,
    info: SourceInfo,
    steps: Receiver<Step>,
    used: Sender<Vec<u8>>,
    delivered: u64,
    ended: bool,
}

impl ReadAhead {
    fn start(source: Box<dyn Source>, path: PathBuf) -> Result<Self, CaptureError> {
        let info = source.info().clone();
        let (step_out, steps) = bounded(AHEAD);
        let (used, used_in) = bounded(AHEAD + 2);
        thread::Builder::new()
            .name("decode".into())
            .spawn(move || {
                // Of Linux this is the thread alone, not the process.
                if let Err(error) = rustix::process::setpriority_process(None, STANDS_BACK) {
                    tracing::debug!("the decoder does not stand back: {error}");
                }
                read(source, &step_out, &used_in);
            })
            .map_err(|error| CaptureError::Decoder {
                detail: format!("the system gives no thread: {error}"),
            })?;
        Ok(Self {
            path,
            info,
            steps,
            used,
            delivered: 0,
            ended: false,
        })
    }

    fn damaged(&self, detail: &str) -> CaptureError {
        CaptureError::Damaged {
            path: self.path.clone(),
            delivered: self.delivered,
            detail: detail.to_owned(),
        }
    }
}

/// Until the source ends or nobody listens any more.
fn read(mut source: Box<dyn Source>, steps: &Sender<Step>, used: &Receiver<Vec<u8>>) {
    loop {
        used.try_iter().for_each(|buffer| source.reuse(buffer));
        let next = source.next_frame();
        let last = !matches!(next, Ok(Some(_)));
        let step = Step {
            next,
            skipped: source.info().skipped,
            frame_count: source.info().frame_count,
        };
        if steps.send(step).is_err() || last {
            return;
        }
    }
}

impl Source for ReadAhead {
    fn info(&self) -> &SourceInfo {
        &self.info
    }

    fn next_frame(&mut self) -> Result<Option<Frame>, CaptureError> {
        if self.ended {
            return Ok(None);
        }
        let next = match self.steps.recv_timeout(SILENCE) {
            Ok(step) => {
                self.info.skipped = step.skipped;
                self.info.frame_count = step.frame_count;
                step.next
            }
            Err(RecvTimeoutError::Timeout) => Err(self.damaged("reading it does not go on")),
            // The thread never leaves without a last word unless it fell.
            Err(RecvTimeoutError::Disconnected) => Err(self.damaged("its decoder failed")),
        };
        self.ended = !matches!(next, Ok(Some(_)));
        self.delivered += u64::from(!self.ended);
        next
    }

    fn reuse(&mut self, buffer: Vec<u8>) {
        // Full: it is not needed.
        let _ = self.used.try_send(buffer);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::SourceKind;

    /// Gives `frames`, then a fault, then nothing; or falls.
    struct Counting {
        info: SourceInfo,
        given: u64,
        frames: u64,
        falls: bool,
        back: Sender<Vec<u8>>,
    }

    impl Source for Counting {
        fn info(&self) -> &SourceInfo {
            &self.info
        }

        fn next_frame(&mut self) -> Result<Option<Frame>, CaptureError> {
            if self.given == self.frames {
                assert!(!self.falls, "on purpose");
                return Err(CaptureError::NoCamera);
            }
            self.given += 1;
            self.info.skipped = self.given;
            Ok(Some(Frame {
                seq: self.given,
                captured_at_s: self.given as f64,
                width: 1,
                height: 1,
                rgb: vec![self.given as u8; 3],
            }))
        }

        fn reuse(&mut self, buffer: Vec<u8>) {
            let _ = self.back.send(buffer);
        }
    }

    fn ahead(frames: u64, falls: bool) -> (ReadAhead, Receiver<Vec<u8>>) {
        let (back, buffers) = bounded(64);
        let source = Counting {
            info: SourceInfo {
                name: "count".into(),
                kind: SourceKind::Video,
                width: 1,
                height: 1,
                nominal_fps: None,
                frame_count: None,
                skipped: 0,
            },
            given: 0,
            frames,
            falls,
            back,
        };
        let ahead = ReadAhead::start(Box::new(source), PathBuf::from("count.mp4"));
        (ahead.expect("a thread"), buffers)
    }

    #[test]
    fn frames_come_in_order_and_the_fault_once() {
        let (mut source, buffers) = ahead(20, false);
        for n in 1..=20 {
            let frame = source.next_frame().expect("no fault").expect("a frame");
            assert_eq!(
                (frame.seq, frame.rgb[0], source.info().skipped),
                (n, n as u8, n)
            );
            source.reuse(frame.rgb);
        }
        assert!(matches!(source.next_frame(), Err(CaptureError::NoCamera)));
        assert!(matches!(source.next_frame(), Ok(None)));
        drop(source);
        assert!(buffers.iter().count() >= 10, "buffers go back");
    }

    #[test]
    fn a_decoder_that_falls_is_a_fault_and_no_silence() {
        let (mut source, _buffers) = ahead(1, true);
        assert!(matches!(source.next_frame(), Ok(Some(_))));
        let fault = source.next_frame().expect_err("it fell").to_string();
        assert!(
            fault.contains("count.mp4") && fault.contains("1 frames"),
            "{fault}"
        );
        assert!(matches!(source.next_frame(), Ok(None)));
    }

    #[test]
    fn nobody_listening_ends_the_thread() {
        let (source, buffers) = ahead(u64::MAX, false);
        drop(source);
        // The source, and with it this channel, lives in the thread.
        assert_eq!(buffers.iter().count(), 0);
    }
}
