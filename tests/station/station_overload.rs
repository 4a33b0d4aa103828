//! A station with more to do than it can: it drops frames, says so, and goes
//! over to the lighter pose model.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]


use std::ffi::OsString;

use kickplate::station::health::Mood;
use kickplate::store::Store;
use crate::station_common::{Place, Station, alone, until};

/// The full model on the embedded engine is too slow for most machines. On
/// one that manages it there is nothing to see here; `src/station/load.rs`
/// tests when the change comes, on any machine.
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
    let manages = || {
        place.health().is_some_and(|h| {
            h.pose.frames > 400 && h.pose.frame_to_result_ms_half.is_some_and(|ms| ms < 60.0)
        })
    };
    until("the lighter model, or a machine that manages", || {
        lighter() || manages()
    });
    if !lighter() {
        println!("skipped: this machine manages the full model on the embedded engine");
        return;
    }
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
    until("a recording by the lighter model", || {
        let sessions = place.stored(&place.recordings());
        sessions.len() >= 2
    });
    assert!(station.end().success());
    let store = Store::open(&place.recordings()).unwrap();
    let models: Vec<String> = store
        .sessions()
        .unwrap()
        .iter()
        .map(|s| store.load_session(s.id.number()).unwrap().info.engine.model)
        .collect();
    assert!(models.contains(&"full".to_owned()) && models.contains(&"lite".to_owned()));
}
