//! The log: warnings on the error output, more in a file that cannot grow
//! without bound.

use std::fs::OpenOptions;
use std::io;
use std::os::unix::fs::OpenOptionsExt;
use std::path::Path;

use file_rotate::compression::Compression;
use file_rotate::suffix::AppendCount;
use file_rotate::{ContentLimit, FileRotate};
use tracing_appender::non_blocking::{NonBlockingBuilder, WorkerGuard};
use tracing_subscriber::filter::LevelFilter;
use tracing_subscriber::prelude::*;

use crate::config::private_folder;

/// Name of the newest log file; older ones end with `.1`, `.2`...
const FILE_NAME: &str = "kickplate.log";
/// A file that has grown beyond this is put away and a new one begun.
const LARGEST_BYTES: usize = 4 << 20;
/// Files kept beside the newest one.
const OLD_FILES: usize = 4;
/// Lines waiting for a slow disk; more are dropped and counted, because the
/// station must never wait for its log.
const LINES_WAITING: usize = 4096;

/// Target of the line about a fault of the program itself. It goes to the file
/// only: the user is told in a sentence of its own.
pub const PANIC_TARGET: &str = "kickplate::panic";

/// Keeps the log file going; dropping it writes what is waiting.
pub struct LogGuard {
    _worker: Option<WorkerGuard>,
}

/// Starts the log. `verbose` shows more on the error output. `folder`, where
/// given, gets a log file; one that cannot be made is a warning and no more.
/// Call once, at the start of the program.
pub fn start(verbose: bool, folder: Option<&Path>) -> LogGuard {
    let level = if verbose {
        LevelFilter::DEBUG
    } else {
        LevelFilter::WARN
    };
    // Of the libraries below only what breaks something is of use to a coach.
    let mostly_ours = |ours: LevelFilter, others: LevelFilter| {
        tracing_subscriber::filter::Targets::new()
            .with_target("kickplate", ours)
            .with_default(others)
    };
    let to_screen = tracing_subscriber::fmt::layer()
        .with_writer(io::stderr)
        .with_ansi(false)
        .with_target(false)
        .without_time()
        .with_filter(
            mostly_ours(level, LevelFilter::ERROR).with_target(PANIC_TARGET, LevelFilter::OFF),
        );
    let opened = folder.map(|f| (f, log_file(f, LARGEST_BYTES, OLD_FILES)));
    let (to_file, worker, problem) = match opened {
        Some((_, Ok(file))) => {
            let (writer, worker) = NonBlockingBuilder::default()
                .buffered_lines_limit(LINES_WAITING)
                .lossy(true)
                .thread_name("log")
                .finish(file);
            let layer = tracing_subscriber::fmt::layer()
                .with_writer(writer)
                .with_ansi(false)
                .with_filter(mostly_ours(LevelFilter::DEBUG, LevelFilter::WARN));
            (Some(layer), Some(worker), None)
        }
        Some((folder, Err(e))) => (None, None, Some((folder, e))),
        None => (None, None, None),
    };
    // A second start, as in tests, keeps the first log.
    let _ = tracing_subscriber::registry()
        .with(to_screen)
        .with(to_file)
        .try_init();
    if let Some((folder, error)) = problem {
        tracing::warn!(
            "no log file is written because {} cannot be used ({error}); make it writable",
            folder.display()
        );
    }
    LogGuard { _worker: worker }
}

/// A log file that is put away when it is full; the oldest is deleted.
fn log_file(
    folder: &Path,
    largest_bytes: usize,
    old_files: usize,
) -> io::Result<FileRotate<AppendCount>> {
    private_folder(folder)?;
    let path = folder.join(FILE_NAME);
    let mut how = OpenOptions::new();
    how.create(true).read(true).append(true).mode(0o600);
    // The library would keep to itself that it cannot be opened.
    how.open(&path)?;
    Ok(FileRotate::new(
        path,
        AppendCount::new(old_files),
        ContentLimit::BytesSurpassed(largest_bytes),
        Compression::None,
        Some(how),
    ))
}

#[cfg(test)]
mod tests {
    use std::io::Write;

    use super::*;

    #[test]
    fn the_log_never_takes_more_than_its_share() {
        let dir = tempfile::tempdir().unwrap();
        let mut log = log_file(dir.path(), 100, 2).unwrap();
        for i in 0..100 {
            writeln!(log, "line number {i:03}").unwrap();
        }
        let mut sizes: Vec<(String, u64)> = std::fs::read_dir(dir.path())
            .unwrap()
            .map(|e| e.unwrap())
            .map(|e| {
                (
                    e.file_name().into_string().unwrap(),
                    e.metadata().unwrap().len(),
                )
            })
            .collect();
        sizes.sort();
        let names: Vec<&str> = sizes.iter().map(|(n, _)| n.as_str()).collect();
        assert_eq!(
            names,
            ["kickplate.log", "kickplate.log.1", "kickplate.log.2"]
        );
        // A line is never cut: the last one may stand beyond.
        let most = 100 + "line number 000\n".len() as u64;
        assert!(sizes.iter().all(|(_, bytes)| *bytes <= most), "{sizes:?}");
        let newest = std::fs::read_to_string(dir.path().join(FILE_NAME)).unwrap();
        assert!(newest.ends_with("line number 099\n"), "{newest}");
    }

    #[test]
    fn a_restart_goes_on_in_the_same_file() {
        let dir = tempfile::tempdir().unwrap();
        writeln!(log_file(dir.path(), 100, 2).unwrap(), "one").unwrap();
        writeln!(log_file(dir.path(), 100, 2).unwrap(), "two").unwrap();
        let text = std::fs::read_to_string(dir.path().join(FILE_NAME)).unwrap();
        assert_eq!(text, "one\ntwo\n");
    }
}
