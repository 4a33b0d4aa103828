//! What the tests of every crate share: a test that cannot run says so, random
//! cases are the same in each run, signals are sent without outside programs.
//!
//! Takes nothing from the program. A fault here is a failed test.

use std::ffi::OsString;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::Command;

use proptest::test_runner::{Config, FileFailurePersistence, RngSeed};
pub use rustix::process::Signal;

/// Set to 1, a test that cannot run here has failed. `.ci/run` sets it.
pub const REQUIRE_ALL: &str = "KICKPLATE_REQUIRE_ALL";

/// The file to which tests that could not run are added, a line each; read out
/// by `./station test` in the end.
pub const SKIPPED: &str = "KICKPLATE_SKIPPED";

/// How many random cases a property test tries, from a seed of the moment.
/// Not set, it tries the same few in each run.
pub const RANDOM_CASES: &str = "KICKPLATE_RANDOM_CASES";

/// The project's folder.
pub fn root() -> PathBuf {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    here.ancestors().nth(2).unwrap_or(here).to_owned()
}

/// Says that this test cannot run on this machine, and why, with the remedy.
/// The caller returns after it.
///
/// # Panics
/// Where [`REQUIRE_ALL`] is set: then every test has to run.
#[track_caller]
pub fn cannot_run(why: &str) {
    let all = std::env::var_os(REQUIRE_ALL).is_some_and(|v| !v.is_empty() && v != "0");
    assert!(!all, "this test cannot run here: {why}");
    let name = std::thread::current().name().map(str::to_owned);
    let line = format!("NOT RUN {}: {why}\n", name.as_deref().unwrap_or("a test"));
    // Not `eprintln!`: the test runner hides what that says in a test that ends well.
    let _ = std::io::stderr().write_all(line.as_bytes());
    if let Some(file) = std::env::var_os(SKIPPED) {
        let file = std::fs::OpenOptions::new()
            .append(true)
            .create(true)
            .open(file);
        let _ = file.and_then(|mut f| f.write_all(line.as_bytes()));
    }
}

/// Whether a program is installed; else the test cannot run, which is said.
#[track_caller]
pub fn has_program(program: &str, why: &str) -> bool {
    let there = std::env::var_os("PATH").is_some_and(|path| {
        std::env::split_paths(&path).any(|folder| folder.join(program).is_file())
    });
    if !there {
        cannot_run(&format!("`{program}` is not installed, {why}"));
    }
    there
}

/// Sends a signal to the process with this number.
///
/// # Panics
/// Where it is not there or belongs to somebody else.
#[track_caller]
pub fn send(pid: u32, signal: Signal) {
    let process = i32::try_from(pid)
        .ok()
        .and_then(rustix::process::Pid::from_raw);
    let sent = process.map(|process| rustix::process::kill_process(process, signal));
    assert!(
        matches!(sent, Some(Ok(()))),
        "{signal:?} to {pid}: {sent:?}"
    );
}

/// Settings of a property test with so many cases: the same ones in each run,
/// or as many as [`RANDOM_CASES`] says from a seed of the moment. What a
/// random run finds is written to `proptest-regressions`, to be committed; it is
/// tried first from then on.
///
/// Give `file!()` as `source` where the test runner is made by hand.
pub fn cases(cases: u32, source: Option<&'static str>) -> Config {
    let random = std::env::var(RANDOM_CASES)
        .ok()
        .and_then(|n| n.parse().ok());
    let kept = FileFailurePersistence::SourceParallel("proptest-regressions");
    Config {
        cases: random.unwrap_or(cases),
        rng_seed: match random {
            Some(_) => RngSeed::Random,
            None => RngSeed::Fixed(0x1CE),
        },
        source_file: source,
        failure_persistence: Some(Box::new(kept)),
        ..Config::default()
    }
}

/// Builds a small C library, to be loaded before the others, from `source` (a path
/// in the project) into `folder`. `None` where there is no gcc, which is said.
///
/// # Panics
/// Where gcc finds fault with it.
#[track_caller]
pub fn preload_library(source: &str, folder: &Path) -> Option<PathBuf> {
    if !has_program("gcc", "which builds a library the test loads") {
        return None;
    }
    let source = root().join(source);
    let library = folder.join(source.with_extension("so").file_name()?);
    let mut words: Vec<OsString> = ["-shared", "-fPIC", "-O2", "-o"].map(Into::into).to_vec();
    words.extend([library.clone().into(), source.into()]);
    words.extend(["-ldl", "-lpthread"].map(OsString::from));
    let gcc = match Command::new("gcc").args(words).output() {
        Ok(gcc) => gcc,
        Err(error) => panic!("gcc: {error}"),
    };
    assert!(
        gcc.status.success(),
        "{}",
        String::from_utf8_lossy(&gcc.stderr)
    );
    Some(library)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use proptest::test_runner::TestRunner;

    /// Two runs of a property test see the same numbers.
    #[test]
    fn without_a_word_about_it_the_cases_are_the_same_in_each_run() {
        let seen = || {
            let seen = std::cell::RefCell::new(Vec::new());
            let config = super::cases(20, Some(file!()));
            let ran = TestRunner::new(config).run(&any::<u64>(), |n| {
                seen.borrow_mut().push(n);
                Ok(())
            });
            assert!(ran.is_ok());
            seen.into_inner()
        };
        if std::env::var_os(super::RANDOM_CASES).is_none() {
            assert_eq!(seen(), seen());
        } else {
            assert_ne!(seen(), seen());
        }
    }

    /// kill(2): signal 9 ends a process, and its parent is told which it was.
    #[test]
    fn a_signal_arrives() {
        use std::os::unix::process::ExitStatusExt;
        let child = std::process::Command::new("sleep").arg("60").spawn();
        let mut child = child.expect("sleep(1)");
        super::send(child.id(), super::Signal::KILL);
        assert_eq!(child.wait().expect("its end").signal(), Some(9));
    }
}
