//! What the system tells about this computer and this program, from `/proc`
//! and `/sys` (proc(5), and the kernel's sysfs interfaces for `thermal` and
//! `hwmon`, both in thousandths of a degree Celsius).

use std::fs;
use std::path::{Path, PathBuf};

use super::HostHealth;

/// A reading outside of this is a sensor that is not there, degrees Celsius.
const BELIEVABLE_C: std::ops::Range<f64> = 1.0..130.0;

/// As it is now. `recordings` need not exist: its nearest existing parent is
/// asked for its free room.
pub fn now(recordings: &Path) -> HostHealth {
    HostHealth {
        free_disk_gb: free_bytes(recordings).map(|b| b as f64 / 1e9),
        resident_mb: resident_bytes().map(|b| b as f64 / 1e6),
        threads: status_number("Threads:").and_then(|n| u32::try_from(n).ok()),
        descriptors: descriptors(),
        temperature_c: temperature_c(Path::new("/sys")),
    }
}

/// Free room for a user's files, bytes.
pub fn free_bytes(folder: &Path) -> Option<u64> {
    let existing = folder.ancestors().find(|p| p.exists())?;
    let fs = rustix::fs::statvfs(existing).ok()?;
    Some(fs.f_bavail.saturating_mul(fs.f_frsize))
}

/// Memory of this program that is in use, bytes.
pub fn resident_bytes() -> Option<u64> {
    status_number("VmRSS:").map(|kilobytes| 1024 * kilobytes)
}

/// Open files and devices of this program.
pub fn descriptors() -> Option<u32> {
    // The folder itself is one while it is read.
    let open = fs::read_dir("/proc/self/fd").ok()?.count();
    u32::try_from(open.saturating_sub(1)).ok()
}

/// Threads of this program.
pub fn threads() -> Option<u32> {
    status_number("Threads:").and_then(|n| u32::try_from(n).ok())
}

fn status_number(key: &str) -> Option<u64> {
    let status = fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find_map(|line| line.strip_prefix(key))?;
    line.split_whitespace().next()?.parse().ok()
}

/// Whether a process of this program has this number and has not ended. One
/// that nobody has collected yet (state Z) has.
pub fn is_running(pid: u32) -> bool {
    let Ok(stat) = fs::read_to_string(format!("/proc/{pid}/stat")) else {
        return false;
    };
    // proc(5): number, (name), state.
    let state = stat
        .strip_prefix(&format!("{pid} (kickplate) "))
        .and_then(|rest| rest.chars().next());
    state.is_some_and(|s| !"ZX".contains(s))
}

/// The hottest believable reading under `sys`.
pub fn temperature_c(sys: &Path) -> Option<f64> {
    let zones = files(sys.join("class/thermal"), "thermal_zone", |name| {
        name == "temp"
    });
    let chips = files(sys.join("class/hwmon"), "hwmon", |name| {
        name.starts_with("temp") && name.ends_with("_input")
    });
    zones
        .chain(chips)
        .filter_map(|path| fs::read_to_string(path).ok()?.trim().parse::<f64>().ok())
        .map(|thousandths| thousandths / 1000.0)
        .filter(|c| BELIEVABLE_C.contains(c))
        .max_by(f64::total_cmp)
}

/// Files with a fitting name in the folders of `class` that begin so.
fn files(
    class: PathBuf,
    begin: &'static str,
    fits: impl Fn(&str) -> bool + Copy,
) -> impl Iterator<Item = PathBuf> {
    let named = |entry: &fs::DirEntry, fits: &dyn Fn(&str) -> bool| {
        entry.file_name().to_str().is_some_and(fits)
    };
    fs::read_dir(class)
        .into_iter()
        .flatten()
        .flatten()
        .filter(move |e| named(e, &|name| name.starts_with(begin)))
        .flat_map(|e| fs::read_dir(e.path()).into_iter().flatten().flatten())
        .filter(move |e| named(e, &fits))
        .map(|e| e.path())
}
