//! What the live station does to its surroundings: sockets, files, the
//! service manager, a display that goes away, a wall clock that jumps.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use std::ffi::OsString;
use std::io::{BufRead, BufReader};
use std::os::unix::fs::PermissionsExt;
use std::os::unix::net::{UnixDatagram, UnixListener};
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

use kickplate::store::SessionState;
use kickplate_testing::{Signal, cannot_run, has_program, preload_library, send};

use crate::station_common::{Place, Station, alone, root, until};

/// A display of its own, gone when dropped.
struct Display {
    server: std::process::Child,
    name: String,
}

impl Display {
    fn open() -> Option<Self> {
        if !has_program(
            "Xvfb",
            "which gives the test a display; apt-get install xvfb",
        ) {
            return None;
        }
        Some(Self::start(None))
    }

    /// One under this name, else under any.
    fn start(name: Option<&str>) -> Self {
        let mut server = Command::new("Xvfb")
            .args(name)
            .args([
                "-displayfd",
                "1",
                "-screen",
                "0",
                "800x600x24",
                "-nolisten",
                "tcp",
            ])
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut number = String::new();
        let out = server.stdout.take().unwrap();
        BufReader::new(out).read_line(&mut number).unwrap();
        Display {
            server,
            name: format!(":{}", number.trim()),
        }
    }

    /// A station, started with these words, with its window here.
    fn station(&self, place: &Place, mut words: Vec<OsString>) -> Station {
        words.extend(["--windowed", "--verbose"].map(OsString::from));
        let mut command = place.command(&words);
        command.env("DISPLAY", &self.name);
        Station::start(command)
    }

    fn close(&mut self) {
        let _ = self.server.kill();
        let _ = self.server.wait();
    }
}

impl Drop for Display {
    fn drop(&mut self) {
        self.close();
    }
}

/// So many sessions, all ended in order, have every pass that was announced.
fn all_is_stored(place: &Place, station: &Station, sessions: usize) {
    let stored = place.stored(&place.recordings());
    assert_eq!(stored.len(), sessions);
    for (session, _) in &stored {
        assert_eq!(session.state, SessionState::Closed);
    }
    let passes: usize = stored.iter().map(|(_, numbers)| numbers.len()).sum();
    let announced = station.announced().len();
    assert!(
        passes >= announced,
        "{announced} announced, {passes} stored"
    );
}

/// Everything the station asks the system for that has to do with sockets, as
/// strace(1) sees it, with a window open and a service manager listening.
/// Unix sockets go to programs on this machine only.
#[test]
fn it_opens_no_socket_to_anywhere_else_and_tells_the_service_manager_that_it_lives() {
    let _alone = alone();
    if !has_program(
        "strace",
        "which shows the system calls; apt-get install strace",
    ) {
        return;
    }
    let place = Place::new();
    let display = Display::open();
    let trace = place.path().join("trace");
    let notify = place.path().join("notify");
    let manager = UnixDatagram::bind(&notify).unwrap();
    manager
        .set_read_timeout(Some(Duration::from_millis(10)))
        .unwrap();
    let mut words: Vec<OsString> = ["strace", "-f", "-qq", "-o"].map(OsString::from).to_vec();
    words.push(trace.clone().into());
    words.extend(["-e", "trace=%network,io_uring_setup", "--"].map(OsString::from));
    words.extend(Place::words());
    words.push("--windowed".into());
    let mut command = place.command(&words);
    command
        .env("NOTIFY_SOCKET", &notify)
        .env("WATCHDOG_USEC", "400000");
    if let Some(display) = &display {
        command.env("DISPLAY", &display.name);
    }
    let mut station = Station::start(command);
    let mut told = Vec::new();
    let mut buffer = [0; 1024];
    until("a pass and signs of life", || {
        while let Ok(n) = manager.recv(&mut buffer) {
            told.push(String::from_utf8_lossy(&buffer[..n]).into_owned());
        }
        let text = std::fs::read_to_string(&trace).unwrap_or_default();
        if text.contains("PTRACE") || station.err().contains("PTRACE") {
            return true;
        }
        let signs = told.iter().filter(|t| *t == "WATCHDOG=1").count();
        let status = told.iter().any(|t| t.starts_with("STATUS="));
        signs >= 5 && status && !station.announced().is_empty()
    });
    if station.err().contains("PTRACE") {
        return cannot_run(&format!("this user may not trace ({})", station.err()));
    }
    // strace hands the signal on only to itself: the station is its child.
    let children = format!("/proc/{0}/task/{0}/children", station.child.id());
    let child = std::fs::read_to_string(children).unwrap();
    send(child.trim().parse().unwrap(), Signal::INT);
    station.wait();
    while let Ok(n) = manager.recv(&mut buffer) {
        told.push(String::from_utf8_lossy(&buffer[..n]).into_owned());
    }
    assert_eq!(told.first().map(String::as_str), Some("READY=1"));
    assert!(told.iter().any(|t| t.starts_with("STATUS=up ")), "{told:?}");
    assert!(told.contains(&"STOPPING=1".to_owned()), "{told:?}");

    let trace = std::fs::read_to_string(&trace).unwrap();
    let sockets: Vec<&str> = trace.lines().filter(|l| l.contains("socket(")).collect();
    // That the trace sees anything: the messages above went through one.
    assert!(
        sockets
            .iter()
            .any(|l| l.contains("socket(AF_UNIX, SOCK_DGRAM")),
        "{trace}"
    );
    let elsewhere: Vec<_> = sockets
        .iter()
        .filter(|l| !l.contains("socket(AF_UNIX"))
        .collect();
    assert!(elsewhere.is_empty(), "{elsewhere:#?}");
    // Nobody can call in either, and no way around these calls is used.
    for call in ["bind(", "listen(", "accept(", "accept4(", "io_uring_setup("] {
        assert!(!trace.contains(call), "{call} in\n{trace}");
    }
    println!(
        "{} sockets, all to this machine; window: {}",
        sockets.len(),
        display.is_some()
    );
}

fn files_below(folder: &Path) -> Vec<std::path::PathBuf> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder).unwrap().flatten() {
        found.push(entry.path());
        if entry.file_type().unwrap().is_dir() {
            found.extend(files_below(&entry.path()));
        }
    }
    found
}

/// The compiler refuses `unsafe` (`Cargo.toml`) but where it is allowed by
/// name, which is where a C function has to be called.
#[test]
fn unsafe_code_is_allowed_in_three_places() {
    let mut allowed: Vec<_> = ["crates", "src"]
        .iter()
        .flat_map(|folder| files_below(&root().join(folder)))
        .filter(|path| path.extension().is_some_and(|e| e == "rs"))
        .filter(|path| {
            std::fs::read_to_string(path)
                .unwrap()
                .contains("allow(unsafe_code")
        })
        .collect();
    allowed.sort();
    let known = [
        "crates/interface/src/display/lost.rs",
        "crates/vision/src/capture/camera/interrupt.rs",
        "crates/vision/src/pose/engine/arena.rs",
    ];
    assert_eq!(allowed, known.map(|path| root().join(path)));
}

/// Also for a user whose own default lets everybody read (umask 0).
#[test]
fn only_the_owner_can_read_what_it_writes() {
    let _alone = alone();
    let place = Place::new();
    let mut words = ["sh", "-c", "umask 0; exec \"$@\"", "sh"]
        .map(OsString::from)
        .to_vec();
    words.extend(Place::words());
    let mut station = Station::start(place.command(&words));
    station.wait_for_passes(1);
    until("the health page", || place.health().is_some());
    // While it runs: side files of the database are there now.
    let data = files_below(&place.path().join("data"));
    let run = files_below(&place.path().join("run"));
    assert!(data.iter().any(|p| p.ends_with("sessions.sqlite3-wal")));
    assert!(data.iter().any(|p| p.ends_with("kickplate.log")));
    for path in data.iter().chain(&run) {
        let meta = path.metadata().unwrap();
        let wanted = if meta.is_dir() { 0o700 } else { 0o600 };
        let mode = meta.permissions().mode() & 0o777;
        assert_eq!(mode, wanted, "{} has {mode:o}", path.display());
    }
    assert!(station.end().success());
    assert!(
        place.health().is_none(),
        "a proper end takes its page along"
    );
}

/// The display server is killed: the station ends in order, as a failure that
/// a service manager answers with a new start. Nothing that was announced is
/// lost, and the new start has its window.
#[test]
fn a_display_that_goes_away_ends_the_station_in_order_and_costs_no_announced_pass() {
    let _alone = alone();
    let Some(mut display) = Display::open() else {
        return;
    };
    let place = Place::new();
    let mut station = display.station(&place, Place::words());
    until("a window", || {
        station.err().contains("the big screen is open")
    });
    station.wait_for_passes(2);
    display.close();
    let status = station.wait();
    assert_eq!(status.code(), Some(1), "{}", station.err());
    assert!(
        station.err().contains("The window system has gone away"),
        "{}",
        station.err()
    );
    all_is_stored(&place, &station, 1);

    let display = Display::start(Some(&display.name));
    let mut again = display.station(&place, Place::words());
    until("a window again", || {
        again.err().contains("the big screen is open")
    });
    again.wait_for_passes(1);
    assert!(again.end().success(), "{}", again.err());
    // The second run goes on with the session of the first.
    all_is_stored(&place, &again, 1);
}

/// A display that is there before it answers, as one that only begins: a
/// station of a service manager ends, so that it is started again; one that
/// somebody started by hand goes on without.
#[test]
fn a_display_that_does_not_answer_is_left_to_the_service_manager() {
    let _alone = alone();
    let Some(mut display) = Display::open() else {
        return;
    };
    // Its number and its place are free now; somebody takes calls there and
    // hangs up.
    display.close();
    let path = format!("/tmp/.X11-unix/X{}", &display.name[1..]);
    let _ = std::fs::remove_file(&path);
    let silent = UnixListener::bind(&path).unwrap();
    silent.set_nonblocking(true).unwrap();

    let place = Place::new();
    let notify = place.path().join("notify");
    let _manager = UnixDatagram::bind(&notify).unwrap();
    // Without a camera: nobody passes, so nothing has to be waited for.
    let words = [env!("CARGO_BIN_EXE_kickplate"), "--windowed"].map(OsString::from);
    let mut command = place.command(&words);
    command
        .env("DISPLAY", &display.name)
        .env("NOTIFY_SOCKET", &notify);
    let mut managed = Station::start(command);
    until("it ends", || {
        while silent.accept().is_ok() {}
        managed.child.try_wait().unwrap().is_some()
    });
    assert_eq!(managed.wait().code(), Some(1));
    assert!(
        managed.err().contains("does not answer"),
        "{}",
        managed.err()
    );

    let mut station = display.station(&place, Place::words());
    until("it goes on without", || {
        while silent.accept().is_ok() {}
        station.err().contains("Going on without it")
    });
    station.wait_for_passes(1);
    let _ = std::fs::remove_file(&path);
    assert!(station.end().success(), "{}", station.err());
}

/// A display that hangs, as a graphics driver may, holds up neither the judging
/// nor the end: what the window's thread waits for never comes.
#[test]
fn a_display_that_hangs_holds_up_neither_the_judging_nor_the_end() {
    let _alone = alone();
    let Some(display) = Display::open() else {
        return;
    };
    let place = Place::new();
    let mut station = display.station(&place, Place::words());
    station.wait_for_passes(1);
    send(display.server.id(), Signal::STOP);
    let hung_at = station.announced().len();
    station.wait_for_passes(hung_at + 2);
    assert!(station.end().success(), "{}", station.err());
    let err = station.err();
    assert!(err.contains("the window does not close"), "{err}");
    all_is_stored(&place, &station, 1);
}

/// The same recording judged while every second question to the wall clock is
/// answered two hours too early: nothing measured differs.
#[test]
fn a_wall_clock_that_jumps_changes_nothing_that_is_measured() {
    let _alone = alone();
    let place = Place::new();
    let Some(clock) = preload_library("tests/clock/step.c", place.path()) else {
        return;
    };
    let review = |jumping: bool| {
        let out = place.path().join(format!("out-{jumping}"));
        let demo = |name| root().join("demo").join(name).into_os_string();
        let mut words: Vec<OsString> = vec![
            env!("CARGO_BIN_EXE_kickplate").into(),
            "review".into(),
            demo("side-good.mp4"),
            "--lane".into(),
            demo("side-good.toml"),
        ];
        words.extend(["--age-group", "adult", "--model", "lite", "--out"].map(OsString::from));
        words.push(out.clone().into());
        let mut command = place.command(&words);
        if jumping {
            command.env("LD_PRELOAD", &clock).env("CLOCK_JUMPS", "1");
        }
        let output = command.output().unwrap();
        assert!(
            output.status.success(),
            "{}",
            String::from_utf8_lossy(&output.stderr)
        );
        let text = std::fs::read_to_string(out.join("session.json")).unwrap();
        let value: serde_json::Value = serde_json::from_str(&text).unwrap();
        value["passes"].clone()
    };
    let steady = review(false);
    assert!(steady.as_array().is_some_and(|p| p.len() >= 3), "{steady}");
    assert_eq!(steady, review(true));

    // That the clock does jump: `date` with it.
    let date = |n: u32| {
        let output = Command::new("date")
            .arg("+%s")
            .env("LD_PRELOAD", &clock)
            .env("CLOCK_BACK", if n == 0 { "/nowhere" } else { "/" })
            .output()
            .unwrap();
        String::from_utf8_lossy(&output.stdout)
            .trim()
            .parse::<i64>()
            .unwrap()
    };
    assert!(date(0) - date(1) > 7000);
}
