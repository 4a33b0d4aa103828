//! The work of a program beside its window: whichever ends first ends the
//! other, in order.

use std::convert::Infallible;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::thread;

use crossbeam_channel::Receiver;

use super::shutdown::{self, ENDS_WITHIN, Stop};
use crate::display::{DisplayError, ScreenHandle, WindowOptions, run_big_screen};
use crate::station::output::complain;

/// Runs `work` on a thread of its own, the vision thread, while the main
/// thread has the window. Without a display the work goes on alone.
///
/// A window system that goes away ends the station in order, with a failure:
/// its library cannot be left, and a service manager starts the station anew in
/// a moment. For the same reason one that is there and does not answer ends a
/// station that a service manager started.
///
/// # Errors
/// How the work ended; no thread; a window system that does not answer yet.
pub(super) fn with_window(
    window: &WindowOptions,
    screen: &ScreenHandle,
    stop: &Stop,
    work: impl FnOnce() -> anyhow::Result<()> + Send + 'static,
) -> anyhow::Result<()> {
    let (done, ended) = crossbeam_channel::bounded(1);
    shutdown::watch(stop, &ended)?;
    let closer = screen.clone();
    thread::Builder::new()
        .name("vision".into())
        .spawn(move || {
            // A fault of the program ends it, so that the service manager
            // starts it anew; a window without anybody judging would help
            // nobody.
            let result = catch_unwind(AssertUnwindSafe(work)).unwrap_or_else(|_| {
                Err(anyhow::anyhow!(
                    "the judging ended by a fault of the program; start it again"
                ))
            });
            closer.close();
            let _ = done.send(result);
        })?;
    let closed = Arc::clone(stop);
    let lost = {
        let (screen, stop, ended) = (screen.clone(), Arc::clone(stop), ended.clone());
        move || -> Infallible {
            screen.lost();
            complain("The window system has gone away. The station ends in order.");
            stop.store(true, Ordering::Relaxed);
            let result = end_of(&ended).and(Err(anyhow::anyhow!(
                "the window system has gone away; start the station again when it is back"
            )));
            shutdown::leave("the window system has gone away", result)
        }
    };
    let opened = run_big_screen(
        window,
        screen,
        move || closed.store(true, Ordering::Relaxed),
        lost,
    );
    match opened {
        Ok(()) => stop.store(true, Ordering::Relaxed),
        Err(error) => {
            screen.lost();
            let comes_back = std::env::var_os("NOTIFY_SOCKET").is_some();
            if comes_back && matches!(error, DisplayError::NoWindowSystem) {
                stop.store(true, Ordering::Relaxed);
                return end_of(&ended).and(Err(error.into()));
            }
            complain(&format!("{error}. Going on without it."));
            return ended.recv().unwrap_or(Ok(()));
        }
    }
    end_of(&ended)
}

/// How the work ended, once it was told to.
fn end_of(ended: &Receiver<anyhow::Result<()>>) -> anyhow::Result<()> {
    ended.recv_timeout(ENDS_WITHIN).unwrap_or_else(|_| {
        tracing::warn!("the judging did not end in time and was left behind");
        Ok(())
    })
}
