//! Which session a pass belongs to.

use super::*;
use crate::{SourceKind, StoredSession, samples};

fn info(model: &str) -> SessionInfo {
    let mut info = samples::session();
    info.engine.model = model.to_owned();
    info
}

fn pass(number: u32) -> NewPass {
    samples::pass(number).into()
}

/// A run of the program from its start to its proper end: passes announced
/// as 1, 2, ...
fn run(folder: &std::path::Path, info: SessionInfo, passes: u32) -> Option<Place> {
    let mut sink = DiskSink::new(folder.to_owned(), info);
    sink.open().unwrap();
    for number in 1..=passes {
        sink.write(&[&pass(number)]).unwrap();
    }
    sink.end().unwrap();
    sink.place()
}

fn sessions(folder: &std::path::Path) -> Vec<StoredSession> {
    let store = Store::open(folder).unwrap();
    let all = store.sessions().unwrap();
    all.iter()
        .map(|s| store.load_session(s.id.number()).unwrap())
        .collect()
}

#[test]
fn a_restart_another_model_and_another_lane_go_on_with_the_session() {
    let dir = tempfile::tempdir().unwrap();
    run(dir.path(), info("full"), 2);
    run(dir.path(), info("lite"), 2);
    let mut moved = info("full");
    moved.lane.lane_distance_m += 1.0;
    moved.source.name = "the other camera".to_owned();
    let last = run(dir.path(), moved.clone(), 1).unwrap();
    assert_eq!(last.number_of(1), 5);
    let all = sessions(dir.path());
    assert_eq!(all.len(), 1);
    let numbers: Vec<u32> = all[0].passes.iter().map(|p| p.number).collect();
    assert_eq!(numbers, [1, 2, 3, 4, 5]);
    let models: Vec<&str> = all[0]
        .passes
        .iter()
        .map(|p| all[0].engine_of(p).model.as_str())
        .collect();
    assert_eq!(models, ["full", "full", "lite", "lite", "full"]);
    assert_eq!(all[0].lane_of(&all[0].passes[3]), &info("full").lane);
    assert_eq!(all[0].lane_of(&all[0].passes[4]), &moved.lane);
    assert_eq!(all[0].source_of(&all[0].passes[4]), &moved.source);
}

#[test]
fn a_run_without_a_pass_leaves_no_session() {
    let dir = tempfile::tempdir().unwrap();
    assert_eq!(run(dir.path(), info("full"), 0), None);
    assert_eq!(sessions(dir.path()), []);
}

#[test]
fn an_ended_session_is_not_gone_on_with_also_after_a_restart() {
    let dir = tempfile::tempdir().unwrap();
    let mut sink = DiskSink::new(dir.path().to_owned(), info("full"));
    sink.open().unwrap();
    sink.write(&[&pass(1)]).unwrap();
    sink.end_session().unwrap();
    sink.write(&[&pass(2)]).unwrap();
    let second = sink.place().unwrap();
    assert_eq!(second.number_of(2), 1, "each session counts from 1");
    drop(sink);
    // Ended after a restart, before any further pass.
    let mut sink = DiskSink::new(dir.path().to_owned(), info("full"));
    sink.open().unwrap();
    sink.end_session().unwrap();
    drop(sink);
    run(dir.path(), info("full"), 1);
    let passes: Vec<usize> = sessions(dir.path())
        .iter()
        .map(|s| s.passes.len())
        .collect();
    assert_eq!(passes, [1, 1, 1]);
}

#[test]
fn a_video_does_not_go_into_the_session_of_a_camera() {
    let dir = tempfile::tempdir().unwrap();
    run(dir.path(), info("full"), 1);
    let mut video = info("full");
    video.source.kind = SourceKind::Video;
    run(dir.path(), video, 1);
    assert_eq!(sessions(dir.path()).len(), 2);
}

#[test]
fn an_hour_or_a_midnight_ends_a_session() {
    let at = |text: &str| {
        format!("2026-11-30T{text}+01:00[Europe/Zurich]")
            .parse::<Zoned>()
            .unwrap()
    };
    assert!(goes_on(&at("18:00:00"), &at("18:59:59")));
    assert!(!goes_on(&at("18:00:00"), &at("19:00:00")));
    // A clock that was set back.
    assert!(goes_on(&at("18:00:00"), &at("17:55:00")));
    let after = "2026-12-01T00:00:10+01:00[Europe/Zurich]"
        .parse::<Zoned>()
        .unwrap();
    assert!(!goes_on(&at("23:59:50"), &after));
    // The same moment, written down in another zone.
    let elsewhere = "2026-11-30T17:30:00+00:00[UTC]".parse::<Zoned>().unwrap();
    assert!(goes_on(&elsewhere, &at("18:40:00")));

    let dir = tempfile::tempdir().unwrap();
    let mut sink = DiskSink::new(dir.path().to_owned(), info("full"));
    sink.open().unwrap();
    sink.write(&[&pass(1)]).unwrap();
    sink.clock = || Zoned::now() + jiff::Span::new().hours(2);
    sink.write(&[&pass(2)]).unwrap();
    drop(sink);
    let passes: Vec<usize> = sessions(dir.path())
        .iter()
        .map(|s| s.passes.len())
        .collect();
    assert_eq!(passes, [1, 1]);
}

#[test]
fn pictures_find_their_pass_after_the_session_has_changed() {
    let dir = tempfile::tempdir().unwrap();
    let mut sink = DiskSink::new(dir.path().to_owned(), info("full"));
    sink.open().unwrap();
    sink.write(&[&pass(1)]).unwrap();
    let first = sink.place().unwrap();
    sink.end_session().unwrap();
    sink.write(&[&pass(2)]).unwrap();
    let found = sink.written.iter().find(|(n, _)| *n == 1).unwrap();
    assert_eq!(found.1, first);
    assert_ne!(sink.place().unwrap().id, first.id);
    // And those of a pass nobody knows are let go.
    sink.write_strips(9, &[]).unwrap();
}

/// Passes written at these moments, one after the other; how many each session has.
fn passes_at(clocks: &[fn() -> Zoned]) -> Vec<usize> {
    let dir = tempfile::tempdir().unwrap();
    let mut sink = DiskSink::new(dir.path().to_owned(), info("full"));
    sink.open().unwrap();
    for (number, clock) in (1..).zip(clocks) {
        sink.clock = *clock;
        sink.write(&[&pass(number)]).unwrap();
    }
    drop(sink);
    sessions(dir.path())
        .iter()
        .map(|s| s.passes.len())
        .collect()
}

macro_rules! at {
    ($($moment:literal),+) => {
        &[$((|| concat!($moment, "[Europe/Zurich]").parse().unwrap()) as fn() -> Zoned),+]
    };
}

#[test]
fn who_skates_past_midnight_begins_the_next_days_session() {
    // Who is in the lane at midnight: a pass counts when it has ended.
    let moments = at!(
        "2026-11-30T23:40:00+01:00",
        "2026-11-30T23:59:50+01:00",
        "2026-12-01T00:00:01+01:00",
        "2026-12-01T00:30:00+01:00"
    );
    assert_eq!(passes_at(moments), [2, 2]);
}

#[test]
fn a_clock_that_jumps_ends_a_session_only_by_an_hour_or_a_day() {
    // An empty clock battery: the time comes late, from the network.
    let late = at!("1970-01-01T01:10:00+01:00", "2026-11-30T18:00:00+01:00");
    assert_eq!(passes_at(late), [1, 1]);
    let back_a_day = at!("2026-11-30T18:00:00+01:00", "2026-11-29T18:05:00+01:00");
    assert_eq!(passes_at(back_a_day), [1, 1]);
    let back_a_little = at!("2026-11-30T18:00:00+01:00", "2026-11-30T17:20:00+01:00");
    assert_eq!(passes_at(back_a_little), [2]);
    // Summer time begins and ends: ten and twenty minutes went by.
    let spring = at!("2026-03-29T01:55:00+01:00", "2026-03-29T03:05:00+02:00");
    assert_eq!(passes_at(spring), [2]);
    let autumn = at!("2026-10-25T02:50:00+02:00", "2026-10-25T02:10:00+01:00");
    assert_eq!(passes_at(autumn), [2]);
}

#[test]
fn a_restart_over_midnight_begins_the_next_days_session() {
    for (last_pass, sessions_then) in [
        ("2026-11-30T23:50:00+01:00[Europe/Zurich]", 2),
        ("2026-12-01T00:05:00+01:00[Europe/Zurich]", 1),
    ] {
        let dir = tempfile::tempdir().unwrap();
        run(dir.path(), info("full"), 1);
        let mut sink = DiskSink::new(dir.path().to_owned(), info("full"));
        sink.open().unwrap();
        let store = sink.store.as_ref().unwrap();
        let set = "UPDATE passes SET written_at = ?1";
        store.book.connection.execute(set, [last_pass]).unwrap();
        sink.clock = || "2026-12-01T00:10:00+01:00[Europe/Zurich]".parse().unwrap();
        sink.write(&[&pass(1)]).unwrap();
        drop(sink);
        assert_eq!(sessions(dir.path()).len(), sessions_then, "{last_pass}");
    }
}
