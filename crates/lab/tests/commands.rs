//! The command line of the developers' program.

use std::path::Path;
use std::process::Command;

/// Runs it in the root of the project; gives exit code and error output.
fn run(words: &[&str]) -> (Option<i32>, String) {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
    let run = Command::new(env!("CARGO_BIN_EXE_kickplate-lab"))
        .args(words)
        .current_dir(root)
        .output()
        .expect("the program starts");
    let said = String::from_utf8_lossy(&run.stderr).into_owned();
    (run.status.code(), said)
}

/// What the user named and has to change is exit code 2, in one sentence.
#[test]
fn what_is_not_there_is_named_and_ends_with_2() {
    for (words, named) in [
        (["score", "no/such/folder"], "no/such/folder"),
        (["score", "config"], "config"),
        (["bench", "nope.mp4"], "no file 'nope.mp4'"),
        (["knock", "nope.mp4"], "no file 'nope.mp4'"),
        (["soak", "nope.mp4"], "no file 'nope.mp4'"),
    ] {
        let (code, said) = run(&words);
        assert_eq!(code, Some(2), "{words:?}: {said}");
        assert!(
            said.contains(named) && said.trim().lines().count() == 1,
            "{words:?}: {said}"
        );
    }
}
