//! The window system goes away.
//!
//! X11's library ends the process when its connection breaks: it calls a
//! handler that must not return, and exits where none is set. Ours hands the
//! window's thread over to the caller instead, so that the threads that judge
//! and record end in order.

use std::convert::Infallible;
use std::ffi::c_int;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::OnceLock;

use x11_dl::xlib::{Display, Xlib};

type Then = Box<dyn Fn() -> Infallible + Send + Sync>;

static THEN: OnceLock<Then> = OnceLock::new();

/// Calls `then` in the window's thread once the X server is gone. It never
/// returns: nothing of the window can be used after it. Does nothing where
/// X11's library is not there. Only the first call counts, as there is only
/// one window.
pub(super) fn when_lost(then: impl Fn() -> Infallible + Send + Sync + 'static) {
    if THEN.set(Box::new(then)).is_err() {
        return;
    }
    let xlib = match Xlib::open() {
        Ok(xlib) => xlib,
        Err(error) => {
            tracing::debug!("no X11 library: {error}");
            return;
        }
    };
    // SAFETY: the function takes a pointer to a function of this type and
    // stores it; it may be called at any time, before a connection exists as
    // well. `lost` lives as long as the program and does not unwind. The
    // library stays loaded: `Xlib` is never unloaded once it was opened.
    #[allow(unsafe_code, reason = "X11's library knows no other way")]
    unsafe {
        (xlib.XSetIOErrorHandler)(Some(lost));
    }
}

extern "C" fn lost(_: *mut Display) -> c_int {
    let _ = catch_unwind(AssertUnwindSafe(|| {
        if let Some(then) = THEN.get() {
            then();
        }
    }));
    // Only after a fault of the program: X11's library then ends it.
    1
}
