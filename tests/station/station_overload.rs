//! A station with more to do than it can: it drops frames, says so, and goes
//! over to the lighter pose model.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use std::ffi::OsString;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;
use std::time::Duration;

use kickplate::station::health::Mood;
use kickplate::store::Store;
use kickplate_testing::{Signal, send};

use crate::station_common::{Place, Station, alone, until};

/// A slower and slower computer, until dropped: the process is halted for a
/// growing part of every 50 ms.
struct SlowerAndSlower {
    stop: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl SlowerAndSlower {
    fn begin(pid: u32) -> Self {
        let stop = Arc::new(AtomicBool::new(false));
        let ended = Arc::clone(&stop);
        let thread = std::thread::spawn(move || {
            // A tenth of the processor is taken away every four seconds; the last
            // tenth is left.
            let mut turns = 0u64;
            while !ended.load(Ordering::Relaxed) {
                let halted = Duration::from_millis((turns / 80 * 5).min(45));
                send(pid, Signal::STOP);
                std::thread::sleep(halted);
                send(pid, Signal::CONT);
                std::thread::sleep(Duration::from_millis(50) - halted);
                turns += 1;
            }
        });
        SlowerAndSlower {
            stop,
            thread: Some(thread),
        }
    }
}

impl Drop for SlowerAndSlower {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

/// The full model on the embedded engine is too slow for most machines, and for
/// every one that is slowed down enough.
#[test]
fn too_slow_for_the_full_model_it_takes_the_lighter_one_and_says_so() {
    let _alone = alone();
    let place = Place::new();
    let mut words = Place::words();
    let model = words.iter().position(|w| w == "lite").unwrap();
    words[model] = "full".into();
    // As a camera: who is too slow misses frames.
    words.retain(|w| w != "--every-frame");
    words.extend(["--engine", "embedded"].map(OsString::from));
    let mut station = Station::start(place.command(&words));
    let lighter = || {
        place.health().is_some_and(|h| {
            h.pose.mood == Mood::Less && h.pose.message.contains("the lite one is used")
        })
    };
    until("the first pictures", || {
        place.health().is_some_and(|h| h.pose.frames > 30)
    });
    let slower = SlowerAndSlower::begin(station.child.id());
    until("the lighter model", lighter);
    drop(slower);
    let health = place.health().unwrap();
    assert!(health.camera.dropped > 0, "frames are dropped first");
    assert!(
        health.pose.model.starts_with("lite"),
        "{}",
        health.pose.model
    );
    assert!(
        station.err().contains("the lite one is used"),
        "{}",
        station.err()
    );
    // What is measured from now on is recorded as measured by that model.
    // In one session: it is one training.
    let passes = station.announced().len();
    station.wait_for_passes(passes + 1);
    assert!(station.end().success());
    let store = Store::open(&place.recordings()).unwrap();
    let sessions = store.sessions().unwrap();
    assert_eq!(sessions.len(), 1);
    let session = store.load_session(sessions[0].id.number()).unwrap();
    let last = session.passes.last().unwrap();
    assert_eq!(session.engine_of(last).model, "lite");
}
