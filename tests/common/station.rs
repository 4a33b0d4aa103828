//! The built program as a station, with a clip as its camera.

#![allow(dead_code, reason = "each test file uses a part")]
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use std::ffi::OsString;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use kickplate::station::health::{self, Health};
use kickplate::store::{SESSIONS_FILE, SessionSummary, Store};
use kickplate_testing::{Signal, send};

/// Longer than anything here takes on a slow machine without the native
/// engine; a test that waits this long has failed.
pub const PATIENCE: Duration = Duration::from_secs(120);

pub fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Stations run one after the other: two at once have too little of a small
/// machine to judge passes.
pub fn alone() -> MutexGuard<'static, ()> {
    static ONE: Mutex<()> = Mutex::new(());
    ONE.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Waits for what is to come true.
pub fn until(what: &str, mut holds: impl FnMut() -> bool) {
    let since = Instant::now();
    while !holds() {
        assert!(since.elapsed() < PATIENCE, "waited in vain: {what}");
        std::thread::sleep(Duration::from_millis(20));
    }
}

/// The folders a station writes to.
pub struct Place {
    dir: tempfile::TempDir,
}

impl Place {
    pub fn new() -> Self {
        let dir = tempfile::tempdir().unwrap();
        std::fs::create_dir(dir.path().join("run")).unwrap();
        std::fs::create_dir(dir.path().join("data")).unwrap();
        Place { dir }
    }

    pub fn path(&self) -> &Path {
        self.dir.path()
    }

    /// Where its recordings are.
    pub fn recordings(&self) -> PathBuf {
        self.path().join("data/kickplate")
    }

    /// Its health page, once there is one.
    pub fn health(&self) -> Option<Health> {
        health::read(&self.path().join("run/kickplate/health.json")).ok()
    }

    /// The words that start the station on a clip with four passes in 240
    /// frames, none of which is missed.
    pub fn words() -> Vec<OsString> {
        let demo = |name| root().join("demo").join(name).into_os_string();
        vec![
            env!("CARGO_BIN_EXE_kickplate").into(),
            "--source".into(),
            demo("side-good.mp4"),
            "--lane".into(),
            demo("side-good.toml"),
            "--model".into(),
            "lite".into(),
            "--every-frame".into(),
        ]
    }

    /// `words` in the station's surroundings: no display, no sound card.
    pub fn command(&self, words: &[OsString]) -> Command {
        let mut command = Command::new(&words[0]);
        command
            .args(&words[1..])
            .env("KICKPLATE_HOME", root())
            .env("XDG_DATA_HOME", self.path().join("data"))
            .env("XDG_RUNTIME_DIR", self.path().join("run"))
            .env("ALSA_CONFIG_PATH", root().join("tests/alsa/no-card.conf"))
            .env_remove("DISPLAY")
            .env_remove("WAYLAND_DISPLAY")
            .env_remove("NOTIFY_SOCKET")
            .stdin(Stdio::null());
        command
    }

    /// A station, started.
    pub fn station(&self) -> Station {
        Station::start(self.command(&Self::words()))
    }

    /// What is in the sessions file at `folder` now, without touching it: a
    /// copy is opened.
    pub fn stored(&self, folder: &Path) -> Vec<(SessionSummary, Vec<u32>)> {
        let copy = tempfile::tempdir().unwrap();
        for ending in ["", "-wal"] {
            let name = format!("{SESSIONS_FILE}{ending}");
            match std::fs::copy(folder.join(&name), copy.path().join(&name)) {
                Err(e) if e.kind() == std::io::ErrorKind::NotFound => {}
                copied => {
                    copied.unwrap();
                }
            }
        }
        let store = Store::open(copy.path()).unwrap();
        assert_eq!(store.set_aside(), None, "the sessions file is damaged");
        let sessions = store.sessions().unwrap();
        sessions
            .into_iter()
            .map(|session| {
                let loaded = store.load_session(session.id.number()).unwrap();
                let numbers = loaded.passes.iter().map(|p| p.cue.pass_number).collect();
                (session, numbers)
            })
            .collect()
    }
}

/// A running program whose output is collected.
pub struct Station {
    pub child: Child,
    pub started: Instant,
    out: Lines,
    err: Lines,
}

#[derive(Clone, Default)]
struct Lines(Arc<Mutex<Vec<(Instant, String)>>>);

impl Lines {
    fn of(stream: impl std::io::Read + Send + 'static) -> (Self, std::thread::JoinHandle<()>) {
        let lines = Lines::default();
        let into = lines.clone();
        let thread = std::thread::spawn(move || {
            for line in BufReader::new(stream).lines() {
                let Ok(line) = line else { break };
                into.0.lock().unwrap().push((Instant::now(), line));
            }
        });
        (lines, thread)
    }

    fn all(&self) -> Vec<(Instant, String)> {
        self.0.lock().unwrap().clone()
    }
}

impl Station {
    pub fn start(mut command: Command) -> Self {
        let mut child = command
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let (out, _) = Lines::of(child.stdout.take().unwrap());
        let (err, _) = Lines::of(child.stderr.take().unwrap());
        Station {
            child,
            started: Instant::now(),
            out,
            err,
        }
    }

    pub fn out(&self) -> String {
        let lines: Vec<String> = self.out.all().into_iter().map(|(_, l)| l).collect();
        lines.join("\n")
    }

    pub fn err(&self) -> String {
        let lines: Vec<String> = self.err.all().into_iter().map(|(_, l)| l).collect();
        lines.join("\n")
    }

    /// Seconds from the start to the first line on the error output with
    /// these words.
    pub fn seconds_to(&self, words: &str) -> Option<f64> {
        let (at, _) = self
            .err
            .all()
            .into_iter()
            .find(|(_, l)| l.contains(words))?;
        Some((at - self.started).as_secs_f64())
    }

    /// Numbers of the passes that were announced, without those of which the
    /// station said that they are not on the disk yet.
    pub fn announced(&self) -> Vec<u32> {
        let late = self.passes_before(" is not on the disk yet");
        let mut announced = self.judged();
        announced.retain(|n| !late.contains(n));
        announced
    }

    /// Numbers of all passes it printed, on the disk or not.
    pub fn judged(&self) -> Vec<u32> {
        self.passes_before(": ")
    }

    /// The numbers in lines 'Pass N' that go on with these words.
    fn passes_before(&self, words: &str) -> Vec<u32> {
        let number = |line: &str| -> Option<u32> {
            let (number, _) = line.strip_prefix("Pass ")?.split_once(words)?;
            number.parse().ok()
        };
        self.out().lines().filter_map(number).collect()
    }

    /// Waits for so many announced passes.
    pub fn wait_for_passes(&mut self, count: usize) {
        until("passes", || {
            assert!(
                self.child.try_wait().unwrap().is_none() || self.announced().len() >= count,
                "the station ended: {}\n{}",
                self.out(),
                self.err()
            );
            self.announced().len() >= count
        });
    }

    /// As a power cut is to a program.
    pub fn kill(&mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
        self.collect();
    }

    /// Asks it to end and waits.
    pub fn end(&mut self) -> ExitStatus {
        send(self.child.id(), Signal::INT);
        self.wait()
    }

    /// Waits for its end.
    pub fn wait(&mut self) -> ExitStatus {
        let mut status = None;
        until("the end of the station", || {
            status = self.child.try_wait().unwrap();
            status.is_some()
        });
        self.collect();
        status.unwrap()
    }

    /// Gives the readers a moment for what is still in the pipes.
    fn collect(&self) {
        std::thread::sleep(Duration::from_millis(50));
    }
}

impl Drop for Station {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
