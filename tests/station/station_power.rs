//! The live station is killed, or its disk fails. A clip plays as its camera.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Duration;

use kickplate::station::health::Mood;
use kickplate_testing::{Signal, cannot_run, has_program, preload_library, send};

use crate::station_common::{Place, Station, alone, until};

const RECOVERED: &str = "was recovered";

/// Pseudo-random, the same in each run (Marsaglia's xorshift, 2003).
struct Dice(u64);

impl Dice {
    fn below(&mut self, n: u64) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0 % n
    }
}

/// Killed with SIGKILL at any moment, every time on the same sessions file.
/// That is what a power cut is to the program; what it is to the disk rests
/// on SQLite's `synchronous = FULL` and cannot be had here.
///
/// The full run is 200 times: `KICKPLATE_KILLS=200`.
#[test]
fn killed_at_any_moment_every_announced_pass_is_stored() {
    let _alone = alone();
    let times: u32 = std::env::var("KICKPLATE_KILLS")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(8);
    let place = Place::new();
    let mut dice = Dice(0x5eed_0001);
    let (mut announced, mut to_recovery_s, mut open_before) = (0, Vec::new(), false);
    let mut stored_before = 0;
    for round in 0..times {
        let mut station = place.station();
        // Every other time in the middle of judging, else at any moment of
        // the first seconds, the start included.
        let waited_for = if round % 2 == 0 {
            1 + dice.below(3) as usize
        } else {
            0
        };
        if waited_for > 0 {
            station.wait_for_passes(waited_for);
            std::thread::sleep(Duration::from_millis(dice.below(1800)));
        } else {
            std::thread::sleep(Duration::from_millis(dice.below(4000)));
        }
        station.kill();
        if let Some(seconds) = station.seconds_to(RECOVERED) {
            to_recovery_s.push(seconds);
        }
        if round % 2 == 0 && open_before {
            assert!(
                station.err().contains(RECOVERED),
                "the start does not say what it recovered: {}",
                station.err()
            );
        }
        let printed = station.announced();
        assert!(printed.len() >= waited_for, "{printed:?}");
        announced += printed.len();
        if !place.recordings().join("sessions.sqlite3").exists() {
            assert!(printed.is_empty());
            continue;
        }
        // Every run goes on with the session of the one before.
        let stored = place.stored(&place.recordings());
        let passes: usize = stored.iter().map(|(_, numbers)| numbers.len()).sum();
        assert!(
            passes >= stored_before + printed.len(),
            "round {round}: {printed:?} announced, {stored_before} stored before, {passes} after"
        );
        stored_before = passes;
        for (_, numbers) in &stored {
            // None is left out and none is there twice.
            let in_order: Vec<u32> = (1..).take(numbers.len()).collect();
            assert_eq!(numbers, &in_order, "round {round}");
        }
        open_before = !stored.is_empty() && !printed.is_empty();
    }
    to_recovery_s.sort_by(f64::total_cmp);
    println!(
        "{times} kills, {announced} passes announced and stored; from the start to the recovered session {:.2} s (half), {:.2} s (longest)",
        to_recovery_s.get(to_recovery_s.len() / 2).unwrap_or(&0.0),
        to_recovery_s.last().unwrap_or(&0.0),
    );
    // The settings were read by all of them and are whole.
    let check = place
        .command(&[
            env!("CARGO_BIN_EXE_kickplate").into(),
            "config".into(),
            "check".into(),
        ])
        .output()
        .unwrap();
    assert!(check.status.success());
    // A proper run in the end closes its session.
    let mut station = place.station();
    station.wait_for_passes(1);
    assert!(station.end().success());
    let last = place.stored(&place.recordings());
    let (session, _) = last.iter().max_by_key(|(s, _)| s.id.number()).unwrap();
    assert_eq!(session.state, kickplate::store::SessionState::Closed);
}

/// A station whose recordings folder is a small file system (64 MB: passes are kept with their points), in
/// name spaces of its own. `None` where this user may not have one.
fn on_a_small_disk(place: &Place, options: &str) -> Option<Station> {
    if !has_program(
        "unshare",
        "which gives the test a disk of its own; apt-get install util-linux mount",
    ) {
        return None;
    }
    let may = Command::new("unshare")
        .args(["-rm", "sh", "-c"])
        .arg(format!(
            "mount -t tmpfs -o size=1m tmpfs '{}'",
            place.path().join("data").display()
        ))
        .output()
        .unwrap();
    if !may.status.success() {
        cannot_run(&format!(
            "this user may not mount a small disk ({})",
            String::from_utf8_lossy(&may.stderr).trim()
        ));
        return None;
    }
    let folder = place.recordings();
    std::fs::create_dir_all(&folder).unwrap();
    let control = place.path().join("writable");
    // The second shell makes the disk writable when asked to, and ends with
    // the station.
    let script = format!(
        "mount -t tmpfs -o size=64m,mode=700,{options} tmpfs '{folder}' || exit 99
         (while kill -0 $$ 2>/dev/null; do
            if [ -e '{control}' ]; then mount -o remount,rw '{folder}'; exit; fi
            sleep 0.1
          done) >/dev/null 2>&1 &
         exec \"$@\"",
        folder = folder.display(),
        control = control.display(),
    );
    let mut words = ["unshare", "-rm", "sh", "-c", &script, "sh"]
        .map(std::ffi::OsString::from)
        .to_vec();
    words.extend(Place::words());
    Some(Station::start(place.command(&words)))
}

/// The recordings folder as the station sees it.
fn seen_by(station: &Station, place: &Place) -> PathBuf {
    let root = format!("/proc/{}/root", station.child.id());
    let folder = place.recordings();
    Path::new(&root).join(folder.strip_prefix("/").unwrap())
}

fn store_mood(place: &Place) -> Option<(Mood, String)> {
    place.health().map(|h| (h.store.mood, h.store.message))
}

fn passes_judged(place: &Place) -> u64 {
    place.health().map_or(0, |h| h.pose.passes)
}

/// Judging goes on, and the health page says that nothing is stored.
fn goes_on_without_storing(place: &Place, word: &str) {
    until("the fault shows", || {
        store_mood(place).is_some_and(|(mood, why)| mood == Mood::Out && why.contains(word))
    });
    let before = passes_judged(place);
    until("judging goes on", || passes_judged(place) >= before + 2);
    assert_eq!(store_mood(place).unwrap().0, Mood::Out);
}

/// Everything announced so far comes to the disk.
fn stores_again(station: &Station, place: &Place) {
    until("storing goes on by itself", || {
        place
            .health()
            .is_some_and(|h| h.store.mood == Mood::Good && h.store.waiting == 0)
    });
    let judged = passes_judged(place);
    let stored = place.stored(&seen_by(station, place));
    let numbers: Vec<u32> = stored.iter().flat_map(|(_, n)| n.clone()).collect();
    for number in 1..=judged as u32 {
        assert!(
            numbers.contains(&number),
            "{number} of {judged}: {numbers:?}"
        );
    }
}

#[test]
fn a_full_disk_stops_the_storing_and_nothing_else() {
    let _alone = alone();
    let place = Place::new();
    let Some(mut station) = on_a_small_disk(&place, "rw") else {
        return;
    };
    station.wait_for_passes(1);
    let filler = seen_by(&station, &place).join("filler");
    let mut file = std::fs::File::create(&filler).unwrap();
    while file.write_all(&[0; 4096]).is_ok() {}
    drop(file);
    goes_on_without_storing(&place, "full");
    std::fs::remove_file(&filler).unwrap();
    stores_again(&station, &place);
    assert!(station.end().success(), "{}", station.err());
}

#[test]
fn a_disk_that_is_read_only_at_the_start_is_used_when_it_can_be() {
    let _alone = alone();
    let place = Place::new();
    let Some(mut station) = on_a_small_disk(&place, "ro") else {
        return;
    };
    goes_on_without_storing(&place, "cannot be written");
    std::fs::write(place.path().join("writable"), "").unwrap();
    stores_again(&station, &place);
    assert!(station.end().success(), "{}", station.err());
}

/// A disk that answers every question 0.8 s late: judging goes on before its
/// answers, and in the end everything is on it, also when the station is ended
/// in the middle of that.
#[test]
fn a_slow_disk_holds_up_nothing_and_gets_everything() {
    let _alone = alone();
    let place = Place::new();
    let Some(slow) = preload_library("tests/disk/slow.c", place.path()) else {
        return;
    };
    let well = place.path().join("well");
    let mut command = place.command(&Place::words());
    command
        .env("LD_PRELOAD", &slow)
        .env("DISK_SLOW_MS", "800")
        .env("DISK_WELL", &well);
    let mut station = Station::start(command);
    until("passes are judged before the disk has them", || {
        station.out().matches("is not on the disk yet").count() >= 4
    });
    std::fs::write(&well, "").unwrap();
    stores_again(&station, &place);
    std::fs::remove_file(&well).unwrap();
    let before = passes_judged(&place);
    until("two more", || passes_judged(&place) >= before + 2);
    assert!(station.end().success(), "{}", station.err());
    assert!(!station.err().contains("another Kickplate"));

    let judged = station.judged();
    let stored = place.stored(&place.recordings());
    let (_, numbers) = &stored[0];
    assert_eq!((stored.len(), numbers), (1, &judged));
}

#[test]
fn an_output_that_takes_nothing_does_not_end_the_station() {
    let _alone = alone();
    let place = Place::new();
    let full = std::fs::OpenOptions::new().write(true).open("/dev/full");
    let mut child = place
        .command(&Place::words())
        .stdout(full.unwrap())
        .stderr(std::process::Stdio::null())
        .spawn()
        .unwrap();
    until("two passes", || passes_judged(&place) >= 2);
    assert!(child.try_wait().unwrap().is_none(), "it ended");
    send(child.id(), Signal::INT);
    assert!(child.wait().unwrap().success());
}
