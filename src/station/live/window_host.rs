//! The work of a program beside its window: whichever ends first ends the
//! other, and a window system that goes away ends neither.

use std::convert::Infallible;
use std::os::unix::process::CommandExt;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::PathBuf;
use std::process::Command;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::{Duration, Instant};

use anyhow::Context;
use crossbeam_channel::{Receiver, RecvTimeoutError};

use crate::display::{
    DisplayError, ScreenHandle, WindowOptions, run_big_screen, window_system_is_there,
};
use crate::station::live::ENDING;
use crate::station::live::ending;
use crate::station::live::run::Stop;
use crate::station::output::complain;
use crate::station::session::control::Control;

/// How often it is looked for a window system that is missing.
const LOOK_FOR_WINDOWS_EVERY: Duration = Duration::from_millis(250);
/// A window system that is there and does not answer, as one that only begins, is
/// tried again after this, then after twice as long, and so on.
const TRY_AGAIN: Duration = Duration::from_secs(2);
/// So often at most: each time is a new session.
const TRIES: u32 = 5;
/// Tells the program begun anew how often that was.
const TRIED: &str = "KICKPLATE_WINDOW_TRIED";
/// The lane has been free this long when the program begins anew for it.
const FREE_FOR: Duration = Duration::from_secs(1);
/// Where the lane is never free, it begins anew after this.
const FREE_AT_LATEST: Duration = Duration::from_secs(30);

/// How the station begins anew in the same process when the window system is
/// there again: a window cannot be opened twice, the program can.
#[derive(Clone)]
pub struct Anew {
    pub(in crate::station) control: Arc<Control>,
    /// Set before the end of the work that is the beginning of the next.
    pub(in crate::station) begun: Arc<AtomicBool>,
    pub(in crate::station) stop: Stop,
}

/// Runs `work` on a thread of its own while the main thread has the window.
/// The window's end stops the work, the work's end closes the window; one that
/// hangs is left behind with the program. Without a display the work goes on
/// alone; with `anew` the program begins anew once there is one.
pub fn with_window(
    window: &WindowOptions,
    screen: &ScreenHandle,
    stop: &Stop,
    anew: Option<Anew>,
    work: impl FnOnce() -> anyhow::Result<()> + Send + 'static,
) -> anyhow::Result<()> {
    let (done, ended) = crossbeam_channel::bounded(1);
    let closer = screen.clone();
    ending::watch(stop, &ended)?;
    thread::Builder::new().name("judge".into()).spawn(move || {
        // A fault of the program ends it, so that the service manager starts
        // it anew; a window without anybody judging would help nobody.
        let result = catch_unwind(AssertUnwindSafe(work)).unwrap_or_else(|_| {
            Err(anyhow::anyhow!(
                "the judging ended by a fault of the program; start it again"
            ))
        });
        closer.close();
        let _ = done.send(result);
    })?;
    let window_gone = Arc::clone(stop);
    let opened = run_big_screen(
        window,
        screen,
        move || window_gone.store(true, Ordering::Relaxed),
        {
            let (screen, ended, anew) = (screen.clone(), ended.clone(), anew.clone());
            move || -> Infallible {
                screen.lost();
                complain("The window system has gone away. Going on without the big screen.");
                leave(ending::code_of(without_window(
                    &ended,
                    anew.as_ref(),
                    true,
                    None,
                )))
            }
        },
    );
    match opened {
        Ok(()) => {
            stop.store(true, Ordering::Relaxed);
            match ended.recv_timeout(ENDING) {
                Ok(result) => result,
                Err(_) => {
                    tracing::warn!("the judging did not end in time and was left behind");
                    Ok(())
                }
            }
        }
        Err(error) => {
            screen.lost();
            complain(&format!("{error}. Going on without it."));
            let tried = tried();
            let again = (matches!(error, DisplayError::NoWindowSystem) && tried < TRIES)
                .then(|| Instant::now() + TRY_AGAIN * (1 << tried));
            without_window(&ended, anew.as_ref(), !window_system_is_there(), again)
        }
    }
}

/// Ends the program from within X11's library, which cannot be returned from.
/// The session is closed by then.
#[allow(
    clippy::disallowed_methods,
    reason = "there is no way back to main from here"
)]
fn leave(code: i32) -> Infallible {
    std::process::exit(code)
}

/// Waits for the work to end. Where the window system was away and is there
/// (again), begins the program anew, between two passes. `away` is whether it
/// is away now; one that is there and cannot be used is tried at `again` only.
fn without_window(
    ended: &Receiver<anyhow::Result<()>>,
    anew: Option<&Anew>,
    mut away: bool,
    again: Option<Instant>,
) -> anyhow::Result<()> {
    loop {
        match ended.recv_timeout(LOOK_FOR_WINDOWS_EVERY) {
            Ok(result) => return result,
            Err(RecvTimeoutError::Disconnected) => return Ok(()),
            Err(RecvTimeoutError::Timeout) => {}
        }
        if !window_system_is_there() {
            away = true;
            continue;
        }
        let due = again.is_some_and(|at| Instant::now() >= at);
        if let Some(anew) = anew.filter(|_| away || due) {
            let tried = if away { 0 } else { tried() + 1 };
            return anew.begin(ended, tried);
        }
    }
}

/// How often the program began anew for a window system that did not answer.
fn tried() -> u32 {
    std::env::var(TRIED)
        .ok()
        .and_then(|times| times.parse().ok())
        .unwrap_or(0)
}

impl Anew {
    /// Ends the work and the program, and starts the program in its place.
    /// Returns only where that is not to be or fails.
    fn begin(&self, ended: &Receiver<anyhow::Result<()>>, tried: u32) -> anyhow::Result<()> {
        complain("The window system is there: beginning anew with the big screen.");
        let (since, mut free_since) = (Instant::now(), Instant::now());
        while free_since.elapsed() < FREE_FOR && since.elapsed() < FREE_AT_LATEST {
            if let Ok(result) = ended.recv_timeout(Duration::from_millis(50)) {
                return result;
            }
            if self.control.seen().somebody_passing {
                free_since = Instant::now();
            }
        }
        self.begun.store(true, Ordering::Release);
        // Somebody may have ended the station in this moment: then it ends.
        if self.stop.swap(true, Ordering::AcqRel) {
            return ended.recv_timeout(ENDING).unwrap_or(Ok(()));
        }
        if ended.recv_timeout(ENDING).is_err() {
            tracing::warn!("the judging did not end in time and was left behind");
        }
        let mut words = std::env::args_os();
        let mut next = Command::new(own_program());
        if let Some(name) = words.next() {
            next.arg0(name);
        }
        let error = next.args(words).env(TRIED, tried.to_string()).exec();
        Err(error).context("the program could not be started anew; start it again")
    }
}

/// The file of this program; where it was replaced or removed, what runs.
fn own_program() -> PathBuf {
    std::env::current_exe()
        .ok()
        .filter(|path| path.is_file())
        .unwrap_or_else(|| PathBuf::from("/proc/self/exe"))
}
