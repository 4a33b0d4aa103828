//! Small C libraries that are loaded before the others, built when needed.

use std::path::{Path, PathBuf};
use std::process::Command;

/// Builds `source` (from the project's folder) into `folder`. `None`, and a
/// word about it, where there is no gcc.
pub fn library(source: &str, folder: &Path) -> Option<PathBuf> {
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join(source);
    let library = folder.join(source.with_extension("so").file_name()?);
    let gcc = Command::new("gcc")
        .args(["-shared", "-fPIC", "-O2", "-o"])
        .args([&library, &source])
        .args(["-ldl", "-lpthread"])
        .output();
    match gcc {
        Ok(gcc) => {
            let words = String::from_utf8_lossy(&gcc.stderr);
            assert!(gcc.status.success(), "{words}");
            Some(library)
        }
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
            eprintln!("skipped: gcc is not installed");
            None
        }
        Err(error) => panic!("gcc: {error}"),
    }
}
