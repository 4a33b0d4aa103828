//! The end of the program does not wait for ever.
//!
//! What it waits for is bounded one by one: threads, the disk, the sound. The
//! window is not: a window system or graphics driver that hangs never gives
//! the main thread back.

use std::sync::atomic::Ordering;
use std::thread;
use std::time::{Duration, Instant};

use crossbeam_channel::Receiver;

use crate::station::live::run::Stop;
use crate::station::output::complain;
use crate::station::words;

/// Once all is judged and stored, the window has this long to close.
const WINDOW_CLOSES_WITHIN: Duration = Duration::from_secs(3);
/// From being told to end to the end, at most. A service manager that waits 15
/// seconds (`tools/kiosk`) then need not kill it.
const ENDS_WITHIN: Duration = Duration::from_secs(12);
const LOOK_EVERY: Duration = Duration::from_millis(100);
/// The log's thread writes its last lines in this time.
const LOG_WRITES: Duration = Duration::from_millis(200);

/// Watches over the end of a program with a window from a thread of its own.
/// `ended` is how the work ends; the main thread takes it once the window is
/// closed. Where it does not, nothing that could be waited for is left.
///
/// # Errors
/// The system gives no thread.
pub(in crate::station) fn watch(
    stop: &Stop,
    ended: &Receiver<anyhow::Result<()>>,
) -> std::io::Result<()> {
    let (stop, ended) = (stop.clone(), ended.clone());
    thread::Builder::new()
        .name("ending".into())
        .spawn(move || {
            let (mut told, mut worked) = (None, None);
            loop {
                thread::sleep(LOOK_EVERY);
                let told = since(&mut told, stop.load(Ordering::Relaxed));
                if since(&mut worked, !ended.is_empty()) > WINDOW_CLOSES_WITHIN
                    && let Ok(result) = ended.try_recv()
                {
                    leave("the window does not close and is left behind", result);
                } else if told > ENDS_WITHIN {
                    let fault = anyhow::anyhow!("the station did not end in time and was ended");
                    leave("the end takes too long", Err(fault));
                }
            }
        })?;
    Ok(())
}

/// For how long something has been so.
fn since(moment: &mut Option<Instant>, holds: bool) -> Duration {
    if !holds {
        *moment = None;
        return Duration::ZERO;
    }
    moment.get_or_insert_with(Instant::now).elapsed()
}

/// Ends the process without what libraries do at an exit: they may be what
/// hangs.
fn leave(why: &str, result: anyhow::Result<()>) {
    tracing::error!("{why}");
    let code = code_of(result);
    thread::sleep(LOG_WRITES);
    signal_hook::low_level::exit(code)
}

/// The exit code where there is no way back to main; says what went wrong.
pub(in crate::station) fn code_of(result: anyhow::Result<()>) -> i32 {
    match result {
        Ok(()) => 0,
        Err(error) => {
            complain(&words::fault(&error));
            1
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_counts_from_the_last_time_it_began() {
        let mut moment = None;
        assert_eq!(since(&mut moment, false), Duration::ZERO);
        since(&mut moment, true);
        let begun = moment;
        since(&mut moment, true);
        assert_eq!(moment, begun);
        assert_eq!(since(&mut moment, false), Duration::ZERO);
        assert_eq!(moment, None);
    }
}
