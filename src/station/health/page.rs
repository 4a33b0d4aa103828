//! The health of a running station as a file, for whoever looks from another
//! process.

use std::path::{Path, PathBuf};

use super::Health;
use crate::config;

/// Name of the file in its folder.
pub(super) const FILE: &str = "health.json";
/// Largest file that is read back.
const LARGEST_BYTES: u64 = 1 << 16;

/// Where a running station keeps its health: the user's run-time folder,
/// which is in memory, else beside the recordings. `None` where neither is.
pub fn file() -> Option<PathBuf> {
    let runtime = std::env::var_os("XDG_RUNTIME_DIR")
        .map(PathBuf::from)
        .filter(|p| p.is_absolute() && p.is_dir())
        .map(|p| p.join("kickplate"));
    Some(runtime.or_else(|| config::data_folder().ok())?.join(FILE))
}

/// In one step, so that a reader sees a whole file; without waiting for the
/// disk, because it is worth nothing after a power cut.
pub(super) fn write(file: &Path, health: &Health) -> std::io::Result<()> {
    use std::io::Write;
    use std::os::unix::fs::OpenOptionsExt;
    let folder = file.parent().unwrap_or(Path::new("."));
    config::private_folder(folder)?;
    let temporary = folder.join(format!(".{FILE}.tmp"));
    let mut open = std::fs::OpenOptions::new();
    open.write(true).create(true).truncate(true).mode(0o600);
    let mut out = open.open(&temporary)?;
    let text = serde_json::to_string_pretty(health)?;
    out.write_all(text.as_bytes())?;
    out.write_all(b"\n")?;
    drop(out);
    std::fs::rename(temporary, file)
}

/// What a file holds.
///
/// # Errors
/// It cannot be read, or is none of this program.
pub fn read(file: &Path) -> std::io::Result<Health> {
    use std::io::Read;
    let mut text = String::new();
    std::fs::File::open(file)?
        .take(LARGEST_BYTES)
        .read_to_string(&mut text)?;
    Ok(serde_json::from_str(&text)?)
}
