//! The window system goes away and comes back.
//!
//! X11's library ends the process when its connection breaks: it calls a
//! handler that must not return, and exits where none is set. Ours hands the
//! window's thread over to the caller instead, so that the threads that judge
//! and record go on.

use std::convert::Infallible;
use std::ffi::{OsStr, OsString, c_int};
use std::os::linux::net::SocketAddrExt;
use std::os::unix::ffi::OsStrExt;
use std::os::unix::net::{SocketAddr, UnixStream};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
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

/// Whether something takes connections where this user's window system
/// should be. Only looks on this machine.
pub fn window_system_is_there() -> bool {
    let variable = |name| std::env::var_os(name).filter(|v: &OsString| !v.is_empty());
    let wayland = variable("WAYLAND_DISPLAY")
        .and_then(|name| wayland_socket(&name, variable("XDG_RUNTIME_DIR").as_deref()))
        .is_some_and(|path| UnixStream::connect(path).is_ok());
    wayland || variable("DISPLAY").is_some_and(|name| x_server_is_there(&name))
}

fn wayland_socket(name: &OsStr, folder: Option<&OsStr>) -> Option<PathBuf> {
    let name = Path::new(name);
    if name.is_absolute() {
        return Some(name.to_owned());
    }
    Some(Path::new(folder?).join(name))
}

fn x_server_is_there(display: &OsStr) -> bool {
    let Some(number) = x_number(display) else {
        return false;
    };
    let path = format!("/tmp/.X11-unix/X{number}");
    UnixStream::connect(&path).is_ok()
        || SocketAddr::from_abstract_name(path)
            .and_then(|address| UnixStream::connect_addr(&address))
            .is_ok()
}

/// The number in a name as in X(7): `:1`, `unix:1.0`. `None` for a display
/// of another machine.
fn x_number(display: &OsStr) -> Option<u32> {
    let name = std::str::from_utf8(display.as_bytes()).ok()?;
    let (host, rest) = name.rsplit_once(':')?;
    if !(host.is_empty() || host == "unix") {
        return None;
    }
    rest.split('.').next()?.parse().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_of_displays() {
        let number = |name: &str| x_number(OsStr::new(name));
        assert_eq!(number(":0"), Some(0));
        assert_eq!(number(":12.1"), Some(12));
        assert_eq!(number("unix:3"), Some(3));
        for elsewhere in ["rink:0", "127.0.0.1:0", "", ":", ":x", "0"] {
            assert_eq!(number(elsewhere), None, "{elsewhere}");
        }
        let socket = |name: &str| wayland_socket(OsStr::new(name), Some(OsStr::new("/run/x")));
        assert_eq!(socket("wayland-0"), Some("/run/x/wayland-0".into()));
        assert_eq!(socket("/a/b"), Some("/a/b".into()));
        assert_eq!(wayland_socket(OsStr::new("wayland-0"), None), None);
    }

    #[test]
    fn an_x_server_that_nobody_started_is_not_there() {
        assert!(!x_server_is_there(OsStr::new(":4000123")));
    }
}
