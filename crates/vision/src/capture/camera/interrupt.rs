//! Freeing a thread that is stuck waiting for a camera.
//!
//! nokhwa waits for the next picture with `poll` and no time limit, so a
//! camera that stays silent would hold its thread, and with it the device,
//! for ever. A signal sent to just that thread makes `poll` return
//! (signal(7): it is never restarted after a handler), the thread lets go of
//! the device, and the camera can be opened again.

use std::io;
use std::os::unix::thread::JoinHandleExt;
use std::sync::atomic::AtomicBool;
use std::sync::{Arc, OnceLock};
use std::thread::JoinHandle;

/// Ignored by default and used by nothing else here, so that a stray one
/// does no harm.
const SIGNAL: libc::c_int = libc::SIGURG;

/// Installs the handler, once. Without it the signal would be ignored and
/// `poll` would not notice.
pub(super) fn prepare() {
    static INSTALLED: OnceLock<()> = OnceLock::new();
    INSTALLED.get_or_init(|| {
        let flag = Arc::new(AtomicBool::new(false));
        if let Err(error) = signal_hook::flag::register(SIGNAL, flag) {
            tracing::warn!("a camera that hangs cannot be freed: {error}");
        }
    });
}

/// Makes a system call in which the thread waits return with an error.
pub(super) fn interrupt(thread: &JoinHandle<()>) -> io::Result<()> {
    let id = thread.as_pthread_t();
    // SAFETY: the id is valid as long as the thread is neither joined nor
    // detached, and the borrowed handle shows that it is not. The signal has
    // a handler (`prepare`) that only sets a flag, or is ignored.
    #[allow(unsafe_code, reason = "std has no way to signal one thread")]
    let code = unsafe { libc::pthread_kill(id, SIGNAL) };
    if code == 0 {
        Ok(())
    } else {
        Err(io::Error::from_raw_os_error(code))
    }
}
