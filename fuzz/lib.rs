//! What the fuzz targets share.

use std::fs::File;
use std::io::Write;
use std::os::fd::AsRawFd;
use std::path::PathBuf;

/// A file that lives in memory, so that fuzzing does not wear a disk.
pub struct MemoryFile {
    /// Where it can be opened while this value lives.
    pub path: PathBuf,
    _file: File,
}

/// A panic inside this library is no finding: the program catches it. The hook
/// of libFuzzer would end the run at it.
pub fn lets_panics_of(library: &'static str) {
    static ONCE: std::sync::Once = std::sync::Once::new();
    ONCE.call_once(|| {
        let of_fuzzer = std::panic::take_hook();
        std::panic::set_hook(Box::new(move |info| {
            if !info.location().is_some_and(|l| l.file().contains(library)) {
                of_fuzzer(info);
            }
        }));
    });
}

/// A file in memory with this content.
pub fn memory_file(content: &[u8]) -> MemoryFile {
    let fd = rustix::fs::memfd_create("fuzz", rustix::fs::MemfdFlags::CLOEXEC)
        .expect("the system gives a file in memory");
    let mut file = File::from(fd);
    file.write_all(content).expect("there is memory for it");
    let path = PathBuf::from(format!("/proc/self/fd/{}", file.as_raw_fd()));
    MemoryFile { path, _file: file }
}
