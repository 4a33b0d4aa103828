//! `kickplate review FOLDER`: every video of a folder, several at a time, and one table
//! in the end.
//!
//! Each recording is judged as if it were the only one, on its share of the cores, into
//! a folder of its own below the one for the results: which of them are judged beside it
//! changes nothing. `reviewed.json` notes what is done, so that the same command goes on
//! after Ctrl-C or a power cut.

use std::collections::BTreeMap;
use std::ffi::OsStr;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use anyhow::Context;
use sha2::{Digest, Sha256};

use super::nothing_judged::Nothing;
use super::review::{Desk, Recording, ReviewOptions, judging_of, make_folder, name_of};
use super::review_recording::review_one;
use crate::config::write_atomically;
use crate::rules::{RuleId, RuleMap};
use crate::station::program::{complain, print};
use crate::station::ruler::CheckState;
use crate::station::usage::UsageError;
use crate::station::words::{fault, passes};
use crate::station::{lock, output};
use crate::store::SessionFile;

/// Endings of videos that are looked for.
const VIDEOS: [&str; 6] = ["mp4", "m4v", "mov", "mkv", "webm", "avi"];
const DONE: &str = "reviewed.json";

/// The videos of a folder by name; none where it is no folder, or one of pictures.
pub(super) fn recordings(folder: &Path) -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> = std::fs::read_dir(folder)
        .into_iter()
        .flatten()
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| {
            let ending = path.extension().and_then(OsStr::to_str);
            let hidden = path
                .file_name()
                .is_some_and(|n| n.as_encoded_bytes()[0] == b'.');
            let video = ending.is_some_and(|e| VIDEOS.contains(&e.to_lowercase().as_str()));
            video && !hidden && path.is_file()
        })
        .collect();
    files.sort();
    files
}

/// Judges them all.
///
/// # Errors
/// That some could not be judged, after all the others were; that it was stopped.
pub(super) fn review_all(
    options: &ReviewOptions,
    desk: &Desk,
    files: Vec<PathBuf>,
) -> anyhow::Result<()> {
    make_folder(&options.out)?;
    let recordings = places(options, files)?;
    let cores = options.cores();
    let workers = cores.min(recordings.len());
    let each = (cores / workers).max(1);
    let done = Mutex::new(read_done(&options.out));
    let rows: Mutex<BTreeMap<usize, Row>> = Mutex::default();
    let next = AtomicUsize::new(0);
    let work = || {
        while !desk.stop.load(Ordering::Relaxed) {
            let i = next.fetch_add(1, Ordering::Relaxed);
            let Some(recording) = recordings.get(i) else {
                break;
            };
            let Some(row) = judged(options, desk, recording, each, &done) else {
                break;
            };
            let mut rows = lock(&rows);
            let line = format!(
                "{} of {}: {}",
                rows.len() + 1,
                recordings.len(),
                row.short()
            );
            rows.insert(i, row);
            drop(rows);
            output::complain(&line);
        }
    };
    std::thread::scope(|scope| {
        (0..workers).for_each(|_| {
            scope.spawn(work);
        });
    });
    let rows: Vec<Row> = lock(&rows).values().cloned().collect();
    print(&table(&rows))?;
    let failed = rows.iter().filter(|row| row.failed).count();
    if rows.len() < recordings.len() {
        anyhow::bail!(
            "the review was stopped after {} of {} recordings; what is done is kept in '{}', and the same command goes on from there",
            rows.len(),
            recordings.len(),
            options.out.display()
        );
    }
    anyhow::ensure!(
        failed == 0,
        "{failed} of {} recordings could not be judged whole; the table says why",
        recordings.len()
    );
    Ok(())
}

/// The row of a recording that was judged before, or is judged now on so many cores;
/// `None` where the review was stopped.
fn judged(
    options: &ReviewOptions,
    desk: &Desk,
    recording: &Recording,
    cores: usize,
    done: &Mutex<Done>,
) -> Option<Row> {
    let known = before(options, desk, recording, &lock(done));
    if known.is_some() {
        return known;
    }
    let reviewed = match review_one(options, desk, recording, cores, None) {
        Err(_) if desk.stop.load(Ordering::Relaxed) => return None,
        Err(error) => return Some(Row::failed(recording, &error)),
        Ok(reviewed) => reviewed,
    };
    let row = Row::of(recording, &reviewed.session, reviewed.frames);
    let moved = reviewed.moved();
    let (failed, said) = match (reviewed.damage, reviewed.nothing) {
        (Some(error), _) => (true, Some(fault(&error))),
        (None, nothing) => {
            // Judged anew where that cannot be noted.
            if let Err(error) = note(options, recording, &reviewed.of, &mut lock(done)) {
                complain(&fault(&error));
            }
            let why = nothing.map(|(Nothing::Skated(why) | Nothing::Empty(why))| why);
            (false, why)
        }
    };
    Some(Row {
        failed,
        note: notes(said.into_iter().chain(moved), &reviewed.check),
        ..row
    })
}

/// What there is to say of a recording, and of a check that counts no more for it.
fn notes(said: impl IntoIterator<Item = String>, check: &CheckState) -> String {
    let all: Vec<String> = said.into_iter().chain(check.ended()).collect();
    all.join("; ")
}

/// Where the result of each recording goes, and the lane file that is its own.
fn places(options: &ReviewOptions, files: Vec<PathBuf>) -> anyhow::Result<Vec<Recording>> {
    let mut taken: BTreeMap<PathBuf, PathBuf> = BTreeMap::new();
    files
        .into_iter()
        .map(|file| {
            let out = options.out.join(file.file_stem().unwrap_or_default());
            if let Some(other) = taken.insert(out.clone(), file.clone()) {
                let names = [&other, &file].map(|f| f.display().to_string());
                return Err(UsageError(format!(
                    "the results of '{}' and '{}' would go into one folder; rename one of them",
                    names[0], names[1]
                ))
                .into());
            }
            let own = file.with_extension("toml");
            let lane = if own.is_file() {
                own
            } else {
                options.lane.clone()
            };
            Ok(Recording { file, lane, out })
        })
        .collect()
}

/// What a result depends on: `of` has the video and the settings ([`name_of`]).
fn print_of(options: &ReviewOptions, of: &str) -> String {
    let of = format!(
        "{} {of} {:?} {:?}",
        env!("CARGO_PKG_VERSION"),
        options.model,
        options.engine
    );
    let mut text = String::new();
    for byte in Sha256::digest(of) {
        // Writing into a String cannot fail.
        let _ = write!(text, "{byte:02x}");
    }
    text
}

type Done = BTreeMap<String, String>;

fn key_of(recording: &Recording) -> String {
    let name = recording.file.file_name().unwrap_or_default();
    name.to_string_lossy().into_owned()
}

fn read_done(out: &Path) -> Done {
    let text = std::fs::read(out.join(DONE)).unwrap_or_default();
    // What cannot be read is judged once more.
    serde_json::from_slice(&text).unwrap_or_default()
}

/// The row of a recording that an earlier start has finished with the same settings.
fn before(options: &ReviewOptions, desk: &Desk, recording: &Recording, done: &Done) -> Option<Row> {
    let noted = done.get(&key_of(recording))?;
    let session = SessionFile::read(&recording.out.join("session.json")).ok()?;
    let size_px = [session.source.width, session.source.height];
    let (judging, check) = judging_of(options, desk, recording, size_px).ok()?;
    let now = print_of(options, &name_of(&recording.file, &judging));
    let frames = session.source.frames.unwrap_or(0);
    (*noted == now).then(|| Row {
        note: notes(Some("was judged before".to_owned()), &check),
        ..Row::of(recording, &session, frames)
    })
}

fn note(
    options: &ReviewOptions,
    recording: &Recording,
    of: &str,
    done: &mut Done,
) -> anyhow::Result<()> {
    done.insert(key_of(recording), print_of(options, of));
    let path = options.out.join(DONE);
    write_atomically(&path, &serde_json::to_vec_pretty(done)?, 0o600)
        .with_context(|| format!("'{}' cannot be written", path.display()))
}

/// A recording in the table.
#[derive(Debug, Clone, Default, PartialEq)]
struct Row {
    name: String,
    frames: u64,
    passes: usize,
    pushes: usize,
    flagged_pushes: usize,
    /// The rule that is flagged most often, and in how many pushes.
    most: Option<(RuleId, usize)>,
    failed: bool,
    note: String,
}

impl Row {
    fn of(recording: &Recording, session: &SessionFile, frames: u64) -> Self {
        let pushes = || session.passes.iter().flat_map(|pass| &pass.pushes);
        let mut flags: RuleMap<usize> = RuleMap::default();
        for flag in pushes().flat_map(|push| &push.flags) {
            if let Some(rule) = RuleId::from_code(&flag.rule) {
                flags[rule] += 1;
            }
        }
        let most = flags.iter().map(|(rule, n)| (rule, *n));
        // Of two that are as frequent, the first of the table.
        let most = most.reduce(|best, next| if next.1 > best.1 { next } else { best });
        Row {
            name: key_of(recording),
            frames,
            passes: session.passes.len(),
            pushes: pushes().count(),
            flagged_pushes: pushes().filter(|push| !push.flags.is_empty()).count(),
            most: most.filter(|(_, n)| *n > 0),
            failed: false,
            note: String::new(),
        }
    }

    fn failed(recording: &Recording, error: &anyhow::Error) -> Self {
        Row {
            name: key_of(recording),
            failed: true,
            note: fault(error),
            ..Row::default()
        }
    }

    fn short(&self) -> String {
        match self.failed {
            true => format!("'{}': {}", self.name, self.note),
            false => format!("'{}': {}", self.name, passes(self.passes)),
        }
    }
}

fn table(rows: &[Row]) -> String {
    let named = rows.iter().map(|row| row.name.chars().count());
    let width = named.max().unwrap_or(0).max("recording".len());
    let mut text = format!(
        "{:<width$}{:>9}{:>8}{:>8}{:>9}  most often flagged\n",
        "recording", "frames", "passes", "pushes", "flagged"
    );
    for row in rows {
        let most = row
            .most
            .map(|(rule, n)| format!("{} ({n})", rule.code()))
            .unwrap_or_default();
        let line = format!(
            "{:<width$}{:>9}{:>8}{:>8}{:>9}  {most}",
            row.name, row.frames, row.passes, row.pushes, row.flagged_pushes
        );
        text += line.trim_end();
        text += "\n";
        if !row.note.is_empty() {
            // Writing into a String cannot fail.
            let _ = writeln!(text, "    {}", row.note);
        }
    }
    let sum = |of: fn(&Row) -> usize| rows.iter().map(of).sum::<usize>();
    let _ = writeln!(
        text,
        "{:<width$}{:>9}{:>8}{:>8}{:>9}",
        "all",
        rows.iter().map(|row| row.frames).sum::<u64>(),
        sum(|row| row.passes),
        sum(|row| row.pushes),
        sum(|row| row.flagged_pushes)
    );
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_videos_of_a_folder_are_taken_by_name_and_nothing_else() {
        let dir = tempfile::tempdir().unwrap();
        for name in [
            "b.MP4",
            "a.mov",
            ".hidden.mp4",
            "lane.toml",
            "notes.txt",
            "c",
        ] {
            std::fs::write(dir.path().join(name), "").unwrap();
        }
        std::fs::create_dir(dir.path().join("folder.mp4")).unwrap();
        let names: Vec<_> = recordings(dir.path())
            .into_iter()
            .map(|p| p.file_name().unwrap().to_str().unwrap().to_owned())
            .collect();
        assert_eq!(names, ["a.mov", "b.MP4"]);
        assert!(recordings(&dir.path().join("a.mov")).is_empty());
    }

    #[test]
    fn the_table_has_a_row_for_each_and_a_sum() {
        let row = |name: &str, n: usize| Row {
            name: name.to_owned(),
            frames: 100 * n as u64,
            passes: n,
            pushes: 3 * n,
            flagged_pushes: n,
            most: Some((RuleId::KneeBend, n)),
            ..Row::default()
        };
        let failed = Row {
            name: "c.mp4".to_owned(),
            failed: true,
            note: "no video".to_owned(),
            ..Row::default()
        };
        let text = table(&[row("a.mp4", 1), row("b.mp4", 2), failed]);
        let words: Vec<Vec<&str>> = text
            .lines()
            .map(|line| line.split_whitespace().collect())
            .collect();
        assert_eq!(
            words[2],
            ["b.mp4", "200", "2", "6", "2", "knee_bend", "(2)"]
        );
        assert_eq!(words[4], ["no", "video"]);
        assert_eq!(words[5], ["all", "300", "3", "9", "3"]);
    }
}
