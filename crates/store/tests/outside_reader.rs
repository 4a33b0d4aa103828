//! Another program opens, reads and closes the sessions file while a station
//! records, and the station is killed: everything announced is stored.
//!
//! The station is this test program, started once more; the other program is
//! the test itself, with SQLite's own library, as any viewer has it.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use std::fs::File;
use std::io::{BufRead, BufReader, Write};
use std::os::unix::process::ExitStatusExt;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

use kickplate_store::{
    Archive, EngineInfo, SESSIONS_FILE, SessionInfo, SourceInfo, SourceKind, Store,
};
use rusqlite::Connection;
use rustix::fs::FlockOperation;

#[path = "../src/samples.rs"]
mod samples;
use samples::{pass, session};

const FOLDER: &str = "KICKPLATE_TEST_RECORDS_TO";

/// Not a test of its own: the station that is killed. It has the file open a
/// second time, as the panel does.
#[test]
fn a_station_that_records() {
    let Some(folder) = std::env::var_os(FOLDER) else {
        return;
    };
    let folder = Path::new(&folder);
    let mut store = Store::open(folder).unwrap();
    let id = store.begin_session(&session()).unwrap();
    let mut out = std::io::stdout().lock();
    let archive = Archive::open(folder).unwrap();
    for number in 1.. {
        assert_eq!(archive.sessions().unwrap()[0].passes, number - 1);
        store.write_pass(&id, &pass(number).into()).unwrap();
        writeln!(out, "\nannounced {number}").unwrap();
        out.flush().unwrap();
    }
}

/// What the outside program does: opens, reads, closes. The first to close
/// with nobody else's lock on the file takes itself for the last one, and
/// SQLite before 3.51 then deletes the log; the one in this test looks more
/// closely, so that is done here by hand.
fn look_from_outside(file: &Path) {
    let outside = Connection::open(file).unwrap();
    outside.busy_timeout(Duration::from_secs(5)).unwrap();
    let _: i64 = outside
        .query_row("SELECT count(*) FROM passes", [], |r| r.get(0))
        .unwrap();
    drop(outside);
    let alone = File::options().read(true).write(true).open(file).unwrap();
    if rustix::fs::fcntl_lock(&alone, FlockOperation::NonBlockingLockExclusive).is_ok() {
        delete_log(file);
    }
}

/// The log and its index, from under whoever uses them.
fn delete_log(file: &Path) {
    for ending in ["-wal", "-shm"] {
        let mut name = file.as_os_str().to_owned();
        name.push(ending);
        let _ = std::fs::remove_file(name);
    }
}

/// Gives how many passes were announced and how many are stored after the
/// kill.
fn killed_after(passes: u32, outside: impl Fn(&Path)) -> (u32, u32) {
    let dir = tempfile::tempdir().unwrap();
    let mut station = Command::new(std::env::current_exe().unwrap())
        .args(["a_station_that_records", "--exact", "--nocapture"])
        .env(FOLDER, dir.path())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let lines = BufReader::new(station.stdout.take().unwrap()).lines();
    let mut announced = 0;
    let mut killed = false;
    for line in lines {
        let Ok(line) = line else { break };
        let Some(number) = line.strip_prefix("announced ") else {
            continue;
        };
        announced = number.trim().parse().unwrap();
        if killed {
            continue;
        }
        outside(&dir.path().join(SESSIONS_FILE));
        if announced >= passes {
            station.kill().unwrap();
            killed = true;
        }
    }
    let ended = station.wait().unwrap();
    assert_eq!(ended.signal(), Some(9), "it ended before it was killed");
    let store = Store::open(dir.path()).unwrap();
    assert_eq!(store.set_aside(), None);
    (announced, store.sessions().unwrap()[0].passes)
}

#[test]
fn what_was_announced_is_stored_though_others_read_the_file() {
    // KICKPLATE_KILLS=200 for a long run.
    let kills = std::env::var("KICKPLATE_KILLS").map_or(6, |n| n.parse().unwrap());
    for round in 0..kills {
        let (announced, stored) = killed_after(5 + 7 * (round % 5), look_from_outside);
        assert!(announced >= 5, "nothing was recorded");
        // A pass may be on the disk and not yet announced.
        assert!(
            (announced..=announced + 1).contains(&stored),
            "round {round}: {announced} announced, {stored} stored"
        );
    }
}

/// Somebody tidies up the folder: what is announced from then on goes into
/// the sessions file itself.
#[test]
fn what_was_announced_is_stored_though_the_log_was_deleted() {
    let (announced, stored) = killed_after(9, delete_log);
    assert!(announced >= 9, "nothing was recorded");
    assert!(
        (announced..=announced + 1).contains(&stored),
        "{announced} announced, {stored} stored"
    );
}
