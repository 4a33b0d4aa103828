//! The feed's thread: fetches frames at the right pace and deals with faults.

use std::ffi::OsString;
use std::time::{Duration, Instant};

use super::{FeedState, Pace, Shared};
use crate::capture::camera::{
    Event, FIRST_PICTURE, PictureReader, SILENCE, Session, find_camera, nodes_now,
};
use crate::capture::{CameraRequest, CaptureError, Source, SourceSpec, open};

/// Pauses between attempts: doubled each time between these bounds.
const PAUSE_MIN: Duration = Duration::from_millis(500);
const PAUSE_MAX: Duration = Duration::from_secs(5);

/// A camera that ran this long was well again: pauses start short.
const WELL_AGAIN: Duration = Duration::from_secs(5);

/// How often the driver of a camera looks after its silence.
const TICK: Duration = Duration::from_millis(50);

/// How often it is looked whether something was plugged in.
const LOOK_EVERY: Duration = Duration::from_millis(200);

/// A camera is shown as stalled after this many frame periods, but not
/// before [`STALLED_MIN`].
const STALLED_PERIODS: f64 = 5.0;
const STALLED_MIN: Duration = Duration::from_millis(500);

/// A file that is this late has no hope to catch up; its clock is moved.
const TOO_LATE: Duration = Duration::from_millis(500);

pub(super) fn run(shared: &Shared, spec: &SourceSpec, pace: Pace) {
    match spec {
        SourceSpec::Camera(request) => run_camera(shared, request),
        SourceSpec::File { .. } | SourceSpec::Folder { .. } => run_file(shared, spec, pace),
    }
}

/// The pause before the next attempt, longer each time.
struct BackOff(Duration);

impl BackOff {
    fn new() -> Self {
        Self(PAUSE_MIN)
    }

    fn next(&mut self) -> Duration {
        let pause = self.0;
        self.0 = (pause * 2).min(PAUSE_MAX);
        pause
    }
}

/// What goes on over re-openings: time and numbers rise through all of them.
struct Timeline {
    origin: Option<Instant>,
    last_time_s: f64,
    next_seq: u64,
}

fn run_camera(shared: &Shared, request: &CameraRequest) {
    let mut back_off = BackOff::new();
    let mut timeline = Timeline {
        origin: None,
        last_time_s: 0.0,
        next_seq: 0,
    };
    let mut opened_before = false;
    while !shared.stopping() {
        // While a fault is shown it stays on view: its sentence has the
        // remedy, and looking again takes but a moment.
        let since = Instant::now();
        let nodes = nodes_now();
        let fault = match find_camera(request) {
            Ok(camera) => {
                shared.board.named(&camera.name);
                shared.show(
                    FeedState::Opening,
                    format!("opening camera '{}'", camera.name),
                );
                if opened_before {
                    shared.board.add_reopened();
                }
                opened_before = true;
                let session = Session::start(&camera, request);
                run_session(shared, &session, &camera.name, &mut timeline)
            }
            Err(fault) => Some(fault),
        };
        let Some(fault) = fault else { return };
        if since.elapsed() > WELL_AGAIN {
            back_off = BackOff::new();
        }
        shared.show_fault(FeedState::Lost, fault);
        match wait_for_a_camera(shared, back_off.next(), &nodes) {
            Waited::Stopped => return,
            Waited::Changed => back_off = BackOff::new(),
            Waited::Over => {}
        }
    }
}

enum Waited {
    Stopped,
    Changed,
    Over,
}

/// Waits, but no longer than until other cameras are plugged in than `before`.
fn wait_for_a_camera(shared: &Shared, at_most: Duration, before: &[OsString]) -> Waited {
    let since = Instant::now();
    loop {
        let left = at_most.saturating_sub(since.elapsed());
        if left.is_zero() {
            return Waited::Over;
        }
        if !shared.sleep(left.min(LOOK_EVERY)) {
            return Waited::Stopped;
        }
        if nodes_now() != before {
            return Waited::Changed;
        }
    }
}

/// Runs one opening of a camera. `None` when stopped from outside.
fn run_session(
    shared: &Shared,
    session: &Session,
    name: &str,
    timeline: &mut Timeline,
) -> Option<CaptureError> {
    let mut reader = PictureReader::default();
    let mut last_arrival = Instant::now();
    let mut live = false;
    let mut period = Duration::from_millis(33);
    let mut overwritten = 0;
    let first_seq = timeline.next_seq;
    while !shared.stopping() {
        let event = session.recv(TICK);
        let now_overwritten = session.overwritten();
        shared.board.add_dropped(now_overwritten - overwritten);
        overwritten = now_overwritten;
        match event {
            Event::Picture(picture) => {
                last_arrival = Instant::now();
                timeline.next_seq = first_seq + picture.seq + 1;
                while let Some(buffer) = shared.slot.used() {
                    reader.reuse(buffer);
                }
                match reader.read(&picture.data) {
                    Ok(pixels) => {
                        if !live {
                            live = true;
                            shared.board.set_shutter(session.shutter_s());
                            let mode = session.mode();
                            if let Some(fps) = mode.as_ref().map(|m| m.fps).filter(|fps| *fps > 0) {
                                period = Duration::from_secs(1) / fps;
                            }
                        }
                        let origin = *timeline.origin.get_or_insert_with(|| {
                            shared.board.set_origin(picture.captured_at);
                            // So that the first frame is at 0 exactly.
                            timeline.last_time_s = -1.0;
                            picture.captured_at
                        });
                        let time_s = picture
                            .captured_at
                            .saturating_duration_since(origin)
                            .as_secs_f64();
                        let time_s = time_s.max(timeline.last_time_s + 1e-6);
                        timeline.last_time_s = time_s;
                        shared.show_live(|| format!("camera '{name}' is running"));
                        shared.publish(pixels.into_frame(first_seq + picture.seq, time_s));
                    }
                    Err(detail) => {
                        tracing::debug!("camera '{name}': a picture was left out: {detail}");
                        shared.board.add_corrupt(1);
                    }
                }
            }
            Event::Failed(fault) => return Some(fault),
            Event::Nothing => {
                let silent = last_arrival.elapsed();
                let stalled = (period.mul_f64(STALLED_PERIODS)).max(STALLED_MIN);
                if silent > if live { SILENCE } else { FIRST_PICTURE } {
                    return Some(CaptureError::CameraStalled {
                        name: name.to_owned(),
                        silent_s: silent.as_secs_f64(),
                    });
                }
                if live && silent > stalled {
                    shared.show(
                        FeedState::Stalled,
                        format!("camera '{name}' sends no pictures just now: check its cable"),
                    );
                }
            }
        }
    }
    None
}

fn run_file(shared: &Shared, spec: &SourceSpec, pace: Pace) {
    let mut back_off = BackOff::new();
    let mut player = Player {
        pace,
        origin: None,
        offset_s: 0.0,
        last_time_s: -1.0,
        period_s: 1.0 / 30.0,
        next_seq: 0,
    };
    let mut faulty = false;
    while !shared.stopping() {
        if !faulty {
            shared.show(
                FeedState::Opening,
                format!("opening '{}'", spec.display_name()),
            );
        }
        let mut source = match open(spec) {
            Ok(source) => source,
            Err(fault) => {
                // A disk may not be plugged in yet.
                faulty = true;
                shared.show_fault(FeedState::Lost, fault);
                if !shared.sleep(back_off.next()) {
                    return;
                }
                continue;
            }
        };
        if faulty {
            shared.board.add_reopened();
        }
        shared.board.named(&source.info().name);
        back_off = BackOff::new();
        let fault = match player.play(shared, source.as_mut()) {
            Played::Stopped => return,
            Played::ToTheEnd => None,
            Played::Broken(fault) => Some(fault),
        };
        faulty = fault.is_some();
        let message = match fault {
            Some(fault) => fault.to_string(),
            None => format!("'{}' is at its end", source.info().name),
        };
        if !pace.repeats() {
            shared.show(FeedState::Ended, message);
            return;
        }
        if faulty {
            // What can be read of it is played again, at a bounded rate.
            shared.show(FeedState::Lost, message);
            if !shared.sleep(back_off.next()) {
                return;
            }
        }
        player.start_over(shared);
    }
}

enum Played {
    ToTheEnd,
    Broken(CaptureError),
    Stopped,
}

/// Plays a file once or again and again on one time line.
struct Player {
    pace: Pace,
    origin: Option<Instant>,
    /// Added to the file's own times.
    offset_s: f64,
    last_time_s: f64,
    /// Time from one frame to the next, on average.
    period_s: f64,
    next_seq: u64,
}

impl Player {
    fn play(&mut self, shared: &Shared, source: &mut dyn Source) -> Played {
        let mut skipped = 0;
        let first_seq = self.next_seq;
        self.period_s = 1.0 / source.info().nominal_fps.unwrap_or(30.0);
        loop {
            while let Some(buffer) = shared.slot.used() {
                source.reuse(buffer);
            }
            let mut frame = match source.next_frame() {
                Ok(Some(frame)) => frame,
                Ok(None) => break,
                Err(fault) => return Played::Broken(fault),
            };
            let now_skipped = source.info().skipped;
            shared.board.add_corrupt(now_skipped - skipped);
            skipped = now_skipped;
            // Strictly rising also where one round passes into the next.
            frame.captured_at_s =
                (self.offset_s + frame.captured_at_s).max(self.last_time_s + 1e-6);
            frame.seq += first_seq;
            self.last_time_s = frame.captured_at_s;
            self.next_seq = frame.seq + 1;
            let going_on = match self.pace {
                Pace::Live { .. } | Pace::Faster { .. } => {
                    self.wait_until_due(shared, frame.captured_at_s)
                }
                Pace::Patient | Pace::AsFast => wait_until_taken(shared),
            };
            if !going_on {
                return Played::Stopped;
            }
            shared.show_live(|| format!("playing '{}'", source.info().name));
            shared.publish(frame);
        }
        let skipped_at_end = source.info().skipped;
        shared.board.add_corrupt(skipped_at_end - skipped);
        // The last frame is shown for as long as the others.
        let ends = match self.pace {
            Pace::Live { .. } | Pace::Faster { .. } => {
                self.wait_until_due(shared, self.last_time_s + self.period_s)
            }
            Pace::Patient | Pace::AsFast => true,
        };
        if ends {
            Played::ToTheEnd
        } else {
            Played::Stopped
        }
    }

    /// Lets the next round follow one frame period after the last frame, and
    /// after the time that is left out.
    fn start_over(&mut self, shared: &Shared) {
        self.offset_s = self.last_time_s + self.period_s;
        let empty_s = self.pace.empty_s();
        let on_the_wall = Duration::try_from_secs_f64(empty_s / self.pace.times());
        if let (Some(origin), Ok(left_out)) = (self.origin, on_the_wall)
            && let Some(earlier) = origin.checked_sub(left_out)
        {
            self.offset_s += empty_s;
            self.origin = Some(earlier);
            shared.board.set_origin(earlier);
        }
    }

    /// Waits until a frame of this time is due. A frame that is late goes
    /// out at once; one that is hopelessly late moves the clock.
    fn wait_until_due(&mut self, shared: &Shared, time_s: f64) -> bool {
        let now = Instant::now();
        let after = Duration::try_from_secs_f64(time_s / self.pace.times()).unwrap_or_default();
        let origin = *self.origin.get_or_insert_with(|| {
            let origin = now.checked_sub(after).unwrap_or(now);
            shared.board.set_origin(origin);
            origin
        });
        let due = origin + after;
        let late = now.saturating_duration_since(due);
        if late > TOO_LATE {
            let origin = origin + late;
            self.origin = Some(origin);
            shared.board.set_origin(origin);
            tracing::debug!(
                "playing is {:.2} s late; the clock was moved",
                late.as_secs_f64()
            );
        }
        shared.sleep(due.saturating_duration_since(now))
    }
}

/// Waits until the frame before was taken.
fn wait_until_taken(shared: &Shared) -> bool {
    while !shared.stopping() {
        if shared.slot.wait_taken(TICK) {
            return true;
        }
    }
    false
}

#[cfg(test)]
mod tests {
    use super::*;

    /// From the last picture: silence, letting go (the thread is interrupted
    /// after 0.1 s), the first pause.
    #[test]
    fn a_stalled_camera_is_seen_within_one_second_and_opened_anew_within_two() {
        assert!(STALLED_MIN + TICK < Duration::from_secs(1));
        let letting_go = Duration::from_millis(110);
        assert!(SILENCE + TICK + letting_go + PAUSE_MIN < Duration::from_secs(2));
    }

    #[test]
    fn pauses_grow_to_a_bound() {
        let mut back_off = BackOff::new();
        let pauses: Vec<u128> = (0..6).map(|_| back_off.next().as_millis()).collect();
        assert_eq!(pauses, [500, 1000, 2000, 4000, 5000, 5000]);
    }
}
