//! Runs one part that a test needs in a process of its own.

use std::process::ExitCode;

fn main() -> ExitCode {
    let name = std::env::args().nth(1).unwrap_or_default();
    let Some(part) = kickplate_rig::part(&name) else {
        eprintln!("rig: there is no part '{name}'; the tests in crates/rig/tests name them");
        return ExitCode::from(2);
    };
    part();
    // A part that ended some other way did not get here.
    println!("rig: {name} is done");
    ExitCode::SUCCESS
}
