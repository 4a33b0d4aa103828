//! What the programs of this workspace have in common: the log, one sentence
//! for what went wrong, the exit code.

use std::io::Write;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;
use std::process::ExitCode;

use anyhow::Context;

use super::logging;
use super::usage::UsageError;
use super::words::fault;
use crate::config::{ConfigError, PlaceError};

/// It could not be done.
pub const FAILURE: u8 = 1;
/// What was given has to be changed: a word, or a settings file it names.
pub const USAGE: u8 = 2;

/// Runs a program: keeps its log, in `log_folder` as well where one is given,
/// says in one sentence what went wrong, and gives the exit code.
pub fn run(
    verbose: bool,
    log_folder: Option<&Path>,
    work: impl FnOnce() -> anyhow::Result<ExitCode>,
) -> ExitCode {
    say_one_sentence_on_panic();
    let log = logging::start(verbose, log_folder);
    let code = match catch_unwind(AssertUnwindSafe(work)) {
        Ok(Ok(code)) => code,
        Ok(Err(error)) => {
            complain(&fault(&error));
            ExitCode::from(code_of(&error))
        }
        // The hook has said it.
        Err(_) => ExitCode::from(FAILURE),
    };
    drop(log);
    code
}

/// What the user gave is exit code 2, everything else 1.
fn code_of(error: &anyhow::Error) -> u8 {
    let given = error.chain().any(|cause| {
        cause.is::<ConfigError>() || cause.is::<UsageError>() || cause.is::<PlaceError>()
    });
    if given { USAGE } else { FAILURE }
}

/// Prints a result.
///
/// # Errors
/// It cannot be printed. Standard output may be closed by its reader
/// (`| head`); that is no fault.
pub fn print(text: &str) -> anyhow::Result<()> {
    let mut out = std::io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(e) if e.kind() != std::io::ErrorKind::BrokenPipe => {
            Err(e).context("the result could not be printed")
        }
        _ => Ok(()),
    }
}

/// One line on the error output, also when nobody listens there.
pub fn complain(sentence: &str) {
    let one_line = sentence.split_whitespace().collect::<Vec<_>>().join(" ");
    let _ = writeln!(std::io::stderr(), "kickplate: {one_line}");
}

/// A fault of this program is one sentence for the user and a line in the
/// log, in whatever thread it happens.
fn say_one_sentence_on_panic() {
    std::panic::set_hook(Box::new(|info| {
        let what = info
            .payload_as_str()
            .unwrap_or("no further words")
            .to_owned();
        let place = info
            .location()
            .map_or_else(|| "an unknown place".to_owned(), ToString::to_string);
        let thread = std::thread::current().name().unwrap_or("?").to_owned();
        tracing::error!(target: logging::PANIC_TARGET, %what, %place, %thread, "panic");
        complain(&format!(
            "a fault of the program itself at {place} ({what}); please report this line"
        ));
    }));
}
