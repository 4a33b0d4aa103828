//! `kickplate check`: one page of what was found and what is missing.
//!
//! Devices are asked through [`Probe`]s, each from a thread of its own with a
//! time limit: a camera or sound driver that hangs is a line on the page and
//! does not hold up the others.

use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use crossbeam_channel::{Receiver, bounded};
use sha2::{Digest, Sha256};

use crate::config::{ConfigError, Lane};
use crate::rules::AgeGroups;

use crate::station::health;
use crate::station::settings::{StationSettings, age_groups_file, station_file};

/// A health page older than this is not of a station that is well, seconds.
const STALE_S: f64 = 30.0;

/// A probe that has not answered by then is reported as hanging.
const PROBE_PATIENCE: Duration = Duration::from_secs(8);
/// Below this the recordings of a season may not fit.
const LITTLE_FREE_BYTES: u64 = 1 << 30;
/// Width of the page, characters.
const PAGE_WIDTH: usize = 78;

/// How one thing was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CheckState {
    /// As it should be.
    Ok,
    /// The station runs, with less.
    Warn,
    /// The station cannot run like this.
    Missing,
}

/// One thing that was looked at.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CheckLine {
    /// The thing: 'camera'.
    pub what: &'static str,
    /// How it was found.
    pub state: CheckState,
    /// What was found, in a few words.
    pub found: String,
    /// What to do about it; `None` where nothing has to be done.
    pub remedy: Option<String>,
}

impl CheckLine {
    /// A thing as it should be.
    pub fn ok(what: &'static str, found: impl Into<String>) -> Self {
        CheckLine {
            what,
            state: CheckState::Ok,
            found: found.into(),
            remedy: None,
        }
    }

    /// A thing the station can do without.
    pub fn warn(what: &'static str, found: impl Into<String>, remedy: impl Into<String>) -> Self {
        CheckLine {
            what,
            state: CheckState::Warn,
            found: found.into(),
            remedy: Some(remedy.into()),
        }
    }

    /// A thing the station cannot run without.
    pub fn missing(
        what: &'static str,
        found: impl Into<String>,
        remedy: impl Into<String>,
    ) -> Self {
        CheckLine {
            what,
            state: CheckState::Missing,
            found: found.into(),
            remedy: Some(remedy.into()),
        }
    }
}

/// One question to something that may hang.
pub struct Probe {
    /// The thing asked about, as it stands in [`CheckLine::what`].
    pub what: &'static str,
    /// The question; runs in a thread of its own.
    pub ask: Box<dyn FnOnce() -> Vec<CheckLine> + Send>,
}

impl Probe {
    /// A question about `what`.
    pub fn new(what: &'static str, ask: impl FnOnce() -> Vec<CheckLine> + Send + 'static) -> Self {
        Probe {
            what,
            ask: Box::new(ask),
        }
    }
}

/// The page.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct CheckReport {
    /// Its lines, in the order they are shown.
    pub lines: Vec<CheckLine>,
}

impl CheckReport {
    /// Asks every probe at the same time and gives their lines in the order
    /// of the probes. Takes at most as long as the time limit of one.
    pub fn gather(probes: Vec<Probe>) -> Self {
        Self::gather_within(probes, PROBE_PATIENCE)
    }

    fn gather_within(probes: Vec<Probe>, patience: Duration) -> Self {
        let asked: Vec<(&'static str, Option<Receiver<Vec<CheckLine>>>)> = probes
            .into_iter()
            .map(|probe| (probe.what, ask(probe)))
            .collect();
        let until = Instant::now() + patience;
        let mut lines = Vec::new();
        for (what, answer) in asked {
            match answer.map(|a| a.recv_deadline(until)) {
                Some(Ok(found)) => lines.extend(found),
                Some(Err(crossbeam_channel::RecvTimeoutError::Timeout)) => {
                    lines.push(CheckLine::missing(
                        what,
                        format!("no answer within {} s", patience.as_secs()),
                        "unplug the device, plug it in again, and repeat the check",
                    ));
                }
                Some(Err(crossbeam_channel::RecvTimeoutError::Disconnected)) | None => {
                    lines.push(CheckLine::missing(
                        what,
                        "the question failed by a fault of the program",
                        "repeat with -v and report what it prints",
                    ));
                }
            }
        }
        CheckReport { lines }
    }

    /// Whether the station can run.
    pub fn can_run(&self) -> bool {
        self.lines.iter().all(|l| l.state != CheckState::Missing)
    }

    /// The page as text, at most 78 characters wide where words allow.
    pub fn to_text(&self) -> String {
        let column = self
            .lines
            .iter()
            .map(|l| l.what.chars().count())
            .max()
            .unwrap_or(0);
        let indent = 9 + column + 2;
        let mut page = String::new();
        for line in &self.lines {
            let mark = match line.state {
                CheckState::Ok => "ok",
                CheckState::Warn => "warning",
                CheckState::Missing => "MISSING",
            };
            // Writing into a String cannot fail.
            let _ = write!(page, "{mark:<9}{:<column$}  ", line.what);
            page += &wrapped(&line.found, indent);
            if let Some(remedy) = &line.remedy {
                let _ = write!(page, "{:indent$}", "");
                page += &wrapped(&format!("-> {remedy}"), indent);
            }
        }
        let (missing, warnings) = self.lines.iter().fold((0, 0), |(m, w), l| match l.state {
            CheckState::Ok => (m, w),
            CheckState::Warn => (m, w + 1),
            CheckState::Missing => (m + 1, w),
        });
        page += &match (missing, warnings) {
            (0, 0) => "\nEverything was found.\n".to_owned(),
            (0, w) => format!("\nThe station can run; warnings: {w}.\n"),
            (m, w) => format!("\nThe station cannot run yet; missing: {m}, warnings: {w}.\n"),
        };
        page
    }
}

fn ask(probe: Probe) -> Option<Receiver<Vec<CheckLine>>> {
    let (answer, receiver) = bounded(1);
    std::thread::Builder::new()
        .name(format!("check {}", probe.what))
        .spawn(move || {
            // Too late an answer has no taker.
            let _ = answer.send((probe.ask)());
        })
        .ok()
        .map(|_| receiver)
}

fn wrapped(text: &str, indent: usize) -> String {
    let mut out = String::new();
    let mut at = indent;
    for word in text.split_whitespace() {
        let length = word.chars().count();
        if at > indent && at + 1 + length > PAGE_WIDTH {
            out.push('\n');
            out.extend(std::iter::repeat_n(' ', indent));
            at = indent;
        } else if at > indent {
            out.push(' ');
            at += 1;
        }
        out += word;
        at += length;
    }
    out.push('\n');
    out
}

/// The settings files of a resources folder, one line each.
pub fn settings_lines(home: &Path) -> Vec<CheckLine> {
    let mut lines = Vec::new();
    let mut file = |path: &Path, result: Result<(), ConfigError>| {
        lines.push(match result {
            Ok(()) => CheckLine::ok("settings", path.display().to_string()),
            Err(e) => CheckLine::missing(
                "settings",
                e.to_string(),
                "change the line; config/REFERENCE.md lists every key",
            ),
        });
    };
    let path = station_file(home);
    let station = StationSettings::load(&path);
    let lanes = station.as_ref().map(StationSettings::lanes);
    let lanes = lanes.unwrap_or_default();
    file(&path, station.map(|_| ()));
    let path = age_groups_file(home);
    file(&path, AgeGroups::load(&path).map(|_| ()));
    for path in lanes {
        file(&path, Lane::load(&path).map(|_| ()));
    }
    lines
}

/// A model file the program needs.
#[derive(Debug, Clone, Copy)]
pub struct ModelFile {
    /// Its name in `models/`.
    pub name: &'static str,
    /// Its SHA-256, hexadecimal.
    pub sha256: &'static str,
}

/// The model files in `folder`, one line each, with what they hash to.
pub fn model_lines(folder: &Path, models: &[ModelFile]) -> Vec<CheckLine> {
    const REMEDY: &str = "take models/ from a fresh copy of this project";
    models
        .iter()
        .map(|model| match sha256_of(&folder.join(model.name)) {
            Ok(hash) if hash == model.sha256 => CheckLine::ok(
                "model",
                format!("{} (sha256 {}...)", model.name, &hash[..12]),
            ),
            Ok(hash) => CheckLine::missing(
                "model",
                format!("{} is altered (sha256 {}...)", model.name, &hash[..12]),
                REMEDY,
            ),
            Err(e) => CheckLine::missing(
                "model",
                format!("{} cannot be read ({e})", model.name),
                REMEDY,
            ),
        })
        .collect()
}

fn sha256_of(path: &Path) -> std::io::Result<String> {
    let mut hasher = Sha256::new();
    std::io::copy(&mut std::fs::File::open(path)?, &mut hasher)?;
    let mut text = String::with_capacity(64);
    for byte in hasher.finalize() {
        // Writing into a String cannot fail.
        let _ = write!(text, "{byte:02x}");
    }
    Ok(text)
}

/// Whether recordings can be written to `folder`, and the room left there.
/// The folder is not made: its nearest existing parent is asked.
pub fn recordings_line(folder: &Path) -> CheckLine {
    const WHAT: &str = "recordings";
    let elsewhere =
        "make it writable or set sessions_folder in config/station.toml to another folder";
    let existing: PathBuf = folder
        .ancestors()
        .find(|p| p.exists())
        .unwrap_or(Path::new("/"))
        .to_owned();
    let shown = folder.display();
    if !existing.is_dir() {
        return CheckLine::missing(
            WHAT,
            format!("{shown}: {} is not a folder", existing.display()),
            elsewhere,
        );
    }
    if let Err(e) = rustix::fs::access(&existing, rustix::fs::Access::WRITE_OK) {
        return CheckLine::missing(
            WHAT,
            format!("{shown} cannot be written to ({e})"),
            elsewhere,
        );
    }
    match rustix::fs::statvfs(&existing) {
        Err(e) => CheckLine::warn(
            WHAT,
            format!("{shown}: the free space is not known ({e})"),
            elsewhere,
        ),
        Ok(fs) => {
            let free = fs.f_bavail.saturating_mul(fs.f_frsize);
            let found = format!("{shown}, {:.1} GB free", free as f64 / 1e9);
            if free < LITTLE_FREE_BYTES {
                CheckLine::warn(WHAT, found, "free some space on this disk")
            } else {
                CheckLine::ok(WHAT, found)
            }
        }
    }
}

/// Whether there is a screen to open a window on.
pub fn screen_line(wayland: Option<&str>, x11: Option<&str>) -> CheckLine {
    match (wayland, x11) {
        (Some(name), _) if !name.is_empty() => {
            CheckLine::ok("screen", format!("Wayland display {name}"))
        }
        (_, Some(name)) if !name.is_empty() => CheckLine::ok("screen", format!("X display {name}")),
        _ => CheckLine::warn(
            "screen",
            "none: neither WAYLAND_DISPLAY nor DISPLAY is set",
            "start Kickplate from the desktop; without a screen it judges, sounds and records, and shows nothing",
        ),
    }
}

/// The running station as a line of `kickplate check`.
pub fn running_line(file: Option<&Path>) -> CheckLine {
    const WHAT: &str = "station";
    let none = || CheckLine::ok(WHAT, "none is running now");
    let Some(file) = file else { return none() };
    let health = match health::read(file) {
        Ok(health) => health,
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => return none(),
        Err(e) => {
            return CheckLine::warn(
                WHAT,
                format!("{} cannot be read ({e})", file.display()),
                "delete this file",
            );
        }
    };
    let written = std::fs::metadata(file).and_then(|m| m.modified()).ok();
    let age_s = written
        .and_then(|at| at.elapsed().ok())
        .map(|d| d.as_secs_f64());
    if !health::host::is_running(health.pid) {
        return CheckLine::warn(
            WHAT,
            format!(
                "the last run stopped without a proper end, last seen {}",
                health.at
            ),
            "Start it again: what it stored is kept, and the start says what was recovered.",
        );
    }
    if age_s.is_some_and(|s| s > STALE_S) {
        return CheckLine::warn(
            WHAT,
            format!("the running one has said nothing since {}", health.at),
            "restart it",
        );
    }
    match health.troubles() {
        troubles if troubles.is_empty() => {
            CheckLine::ok(WHAT, format!("running, {}", health.line()))
        }
        troubles => CheckLine::warn(
            WHAT,
            format!("running, {}", health.line()),
            troubles.join("; "),
        ),
    }
}

#[cfg(test)]
#[path = "check_tests.rs"]
mod tests;
