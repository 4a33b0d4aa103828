//! The sessions file: what goes in comes out, also after a kill.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use std::os::unix::fs::PermissionsExt;
use std::time::{Duration, Instant};

use crate::store_common::{cue, pass, session};
use kickplate::rules::{JudgedPass, QuantityId, RuleId};
use kickplate::store::{
    SESSIONS_FILE, SessionState, Store, StoreError, StoreWriter, StoredPass, WriterPolicy,
    WriterState, Written,
};

const PATIENCE: Duration = Duration::from_secs(30);

#[test]
fn a_session_comes_back_as_it_was_written() {
    let dir = tempfile::tempdir().unwrap();
    let id = {
        let mut store = Store::open(dir.path()).unwrap();
        let id = store.begin_session(&session()).unwrap();
        for n in 1..=4 {
            store.write_pass(&id, &(pass(n), cue(n)).into()).unwrap();
        }
        store.end_session(&id).unwrap();
        id
    };
    let store = Store::open(dir.path()).unwrap();
    assert!(store.recovered().is_empty());
    let back = store.load_session(id.number()).unwrap();
    assert_eq!(back.info, session());
    assert_eq!(back.summary.state, SessionState::Closed);
    assert_eq!((back.summary.passes, back.summary.passes_lost), (4, 0));
    let expected: Vec<StoredPass> = (1..=4).map(|n| StoredPass::bare(pass(n), cue(n))).collect();
    assert_eq!(back.passes, expected);
    assert_eq!(store.sessions().unwrap(), [back.summary]);
}

#[test]
fn numbers_that_are_none_are_stored_as_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let mut store = Store::open(dir.path()).unwrap();
    let id = store.begin_session(&session()).unwrap();
    let mut bad = pass(1);
    bad.speed_mps = f64::INFINITY;
    bad.pushes[0].toe_off_s = f64::NAN;
    bad.pushes[0].measures[RuleId::KneeBend].value = Some(f64::NAN);
    bad.pushes[0].flags[0].value = f64::NEG_INFINITY;
    bad.quantities[QuantityId::StrideRate].value = Some(f64::NAN);
    store
        .write_pass(&id, &(bad.clone(), cue(1)).into())
        .unwrap();
    let back = store.load_session(id.number()).unwrap();
    let back = &back.passes[0].pass;
    assert!(back.speed_mps.is_nan());
    assert!(back.pushes[0].toe_off_s.is_nan());
    assert!(back.pushes[0].flags[0].value.is_nan());
    let measure = &back.pushes[0].measures[RuleId::KneeBend];
    assert_eq!((measure.value, measure.is_judged()), (None, false));
    let quantity = &back.quantities[QuantityId::StrideRate];
    assert_eq!((quantity.value, quantity.is_judged()), (None, false));
    let others = |p: &JudgedPass| p.quantities.values().skip(1).cloned().collect::<Vec<_>>();
    assert_eq!(others(back), others(&bad));
    assert_eq!(
        back.pushes[1], bad.pushes[1],
        "the other pushes are untouched"
    );
}

#[test]
fn the_same_pass_twice_is_one_and_another_of_its_number_is_refused() {
    let dir = tempfile::tempdir().unwrap();
    let mut store = Store::open(dir.path()).unwrap();
    let id = store.begin_session(&session()).unwrap();
    store.write_pass(&id, &(pass(1), cue(1)).into()).unwrap();
    store.write_pass(&id, &(pass(1), cue(1)).into()).unwrap();
    let other = store.write_pass(&id, &(pass(2), cue(1)).into());
    assert!(matches!(
        other,
        Err(StoreError::DuplicatePass { number: 1 })
    ));
    assert_eq!(store.load_session(id.number()).unwrap().passes.len(), 1);
}

#[test]
fn several_passes_are_written_all_or_none() {
    let dir = tempfile::tempdir().unwrap();
    let mut store = Store::open(dir.path()).unwrap();
    let id = store.begin_session(&session()).unwrap();
    let new = |n| (pass(n), cue(n)).into();
    let (first, second, third) = (new(1), new(2), new(3));
    store.write_passes(&id, &[&first, &second]).unwrap();
    let stored = |store: &Store| store.load_session(id.number()).unwrap().passes.len();
    assert_eq!(stored(&store), 2);
    // Another pass of number 1.
    let other = (pass(4), cue(1)).into();
    let refused = store.write_passes(&id, &[&third, &other]);
    assert!(matches!(
        refused,
        Err(StoreError::DuplicatePass { number: 1 })
    ));
    assert_eq!(stored(&store), 2);
    store.write_passes(&id, &[&second, &third]).unwrap();
    assert_eq!(stored(&store), 3);
}

#[test]
fn only_the_owner_can_read_the_recordings() {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("new/folder");
    let mut store = Store::open(&folder).unwrap();
    let id = store.begin_session(&session()).unwrap();
    store.write_pass(&id, &(pass(1), cue(1)).into()).unwrap();
    let mode = |path: &std::path::Path| path.metadata().unwrap().permissions().mode() & 0o777;
    assert_eq!(mode(&folder), 0o700);
    let mut seen = 0;
    for entry in std::fs::read_dir(&folder).unwrap() {
        let path = entry.unwrap().path();
        assert_eq!(mode(&path), 0o600, "{}", path.display());
        seen += 1;
    }
    // The file, its write-ahead log and index, and the lock.
    assert_eq!(seen, 4);
}

#[test]
fn a_second_program_is_told_that_the_folder_is_in_use() {
    let dir = tempfile::tempdir().unwrap();
    let first = Store::open(dir.path()).unwrap();
    let said = Store::open(dir.path()).err().unwrap().to_string();
    assert!(
        said.starts_with("another Kickplate is recording to"),
        "{said}"
    );
    drop(first);
    assert!(Store::open(dir.path()).is_ok());
}

/// Permission bits do not stop root: a folder below a file and one below
/// /proc stop everybody.
#[test]
fn a_folder_that_cannot_be_written_is_one_clear_sentence() {
    let dir = tempfile::tempdir().unwrap();
    let file = dir.path().join("file");
    std::fs::write(&file, "").unwrap();
    for folder in [file.join("sessions"), "/proc/kickplate".into()] {
        let error = Store::open(&folder).err().unwrap();
        assert!(matches!(error, StoreError::Folder { .. }), "{error:?}");
        let said = error.to_string();
        assert!(
            said.starts_with("recordings cannot be written to"),
            "{said}"
        );
        assert!(said.contains(&folder.display().to_string()), "{said}");
        assert!(said.contains("sessions_folder"), "{said}");
        assert!(!said.contains('\n'), "{said}");
    }
}

#[test]
fn a_damaged_file_is_set_aside_and_kept() {
    let dir = tempfile::tempdir().unwrap();
    let rubbish = b"this was a database once, before the power went".repeat(200);
    std::fs::write(dir.path().join(SESSIONS_FILE), &rubbish).unwrap();
    let mut store = Store::open(dir.path()).unwrap();
    let aside = store.set_aside().unwrap().to_owned();
    assert_eq!(std::fs::read(&aside).unwrap(), rubbish);
    let id = store.begin_session(&session()).unwrap();
    store.write_pass(&id, &(pass(1), cue(1)).into()).unwrap();
}

#[test]
fn a_page_damaged_in_the_middle_is_found_at_the_start() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join(SESSIONS_FILE);
    {
        let mut store = Store::open(dir.path()).unwrap();
        let id = store.begin_session(&session()).unwrap();
        for n in 1..=40 {
            store.write_pass(&id, &(pass(n), cue(n)).into()).unwrap();
        }
    }
    let mut bytes = std::fs::read(&path).unwrap();
    assert!(bytes.len() > 40_000, "{}", bytes.len());
    // Every page but the first two, which hold the table of contents.
    for byte in &mut bytes[8192..] {
        *byte = 0xA5;
    }
    std::fs::write(&path, bytes).unwrap();
    let store = Store::open(dir.path()).unwrap();
    assert!(store.set_aside().is_some());
}

#[test]
fn a_file_deleted_under_the_program_is_noticed() {
    let dir = tempfile::tempdir().unwrap();
    let mut store = Store::open(dir.path()).unwrap();
    let id = store.begin_session(&session()).unwrap();
    std::fs::remove_file(dir.path().join(SESSIONS_FILE)).unwrap();
    let said = store.write_pass(&id, &(pass(1), cue(1)).into());
    assert!(matches!(said, Err(StoreError::Gone { .. })), "{said:?}");
}

#[test]
fn the_writer_goes_on_in_a_new_file_when_the_old_one_is_deleted() {
    let dir = tempfile::tempdir().unwrap();
    let writer = StoreWriter::start(dir.path().to_owned(), session(), quick());
    assert_eq!(
        writer.submit((pass(1), cue(1)).into()).wait(PATIENCE),
        Written::OnDisk
    );
    for name in [
        SESSIONS_FILE,
        "sessions.sqlite3-wal",
        "sessions.sqlite3-shm",
    ] {
        let _ = std::fs::remove_file(dir.path().join(name));
    }
    assert_eq!(
        writer.submit((pass(2), cue(2)).into()).wait(PATIENCE),
        Written::OnDisk
    );
    let last = writer.finish(PATIENCE);
    assert_eq!((last.state, last.written), (WriterState::Ended, 2));
    let store = Store::open(dir.path()).unwrap();
    let id = last.session.unwrap();
    let back = store.load_session(id.number()).unwrap();
    assert_eq!(back.passes.len(), 1);
    assert_eq!(back.passes[0].pass, pass(2));
}

#[test]
fn the_writer_waits_for_a_folder_that_can_be_written() {
    let dir = tempfile::tempdir().unwrap();
    let place = dir.path().join("place");
    std::fs::write(&place, "a file where the folder should be").unwrap();
    let writer = StoreWriter::start(place.join("sessions"), session(), quick());
    let receipts: Vec<_> = (1..=3)
        .map(|n| writer.submit((pass(n), cue(n)).into()))
        .collect();
    let start = Instant::now();
    loop {
        match writer.status().state {
            WriterState::Stopped(why) => {
                assert!(why.starts_with("recordings cannot be written to"), "{why}");
                break;
            }
            _ => assert!(start.elapsed() < PATIENCE),
        }
        std::thread::sleep(Duration::from_millis(2));
    }
    std::fs::remove_file(&place).unwrap();
    for receipt in &receipts {
        assert_eq!(receipt.wait(PATIENCE), Written::OnDisk);
    }
    let last = writer.finish(PATIENCE);
    assert_eq!((last.state, last.lost), (WriterState::Ended, 0));
    let store = Store::open(&place.join("sessions")).unwrap();
    assert!(store.recovered().is_empty(), "it was ended properly");
    let back = store.load_session(last.session.unwrap().number()).unwrap();
    let numbers: Vec<u32> = back.passes.iter().map(|p| p.cue.pass_number).collect();
    assert_eq!(numbers, [1, 2, 3]);
}

fn quick() -> WriterPolicy {
    WriterPolicy {
        first_retry: Duration::from_millis(5),
        longest_retry: Duration::from_millis(50),
        ..WriterPolicy::default()
    }
}
