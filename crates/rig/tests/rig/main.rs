//! The camera's and the loudspeaker's way through the real system libraries, and a
//! program that is killed while it stores.

#![allow(missing_docs, reason = "a test")]
#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

#[path = "../../../../tests/common/sound_analysis.rs"]
mod sound_analysis;
#[path = "../../../../tests/common/store.rs"]
mod store_common;

mod camera;
mod killed_writer;
mod sound_card;

use std::process::{Command, Output};

/// The program that runs one part.
fn rig(part: &str) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_rig"));
    command.arg(part);
    command
}

/// What a part that ended well said.
fn ended_well(part: &str, output: &Output) -> String {
    let text = format!(
        "{}\n{}",
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr)
    );
    assert!(
        output.status.success() && text.contains(&format!("rig: {part} is done")),
        "{part}: {}\n{text}",
        output.status
    );
    text
}
