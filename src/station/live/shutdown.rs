//! One way to end, from everywhere: the stop flag is set, the work ends in
//! order, the window closes, `main` returns. And a watchdog over it, because a
//! window system or a driver that hangs never gives a thread back.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::{Duration, Instant};

use crossbeam_channel::Receiver;

use crate::station::output::complain;
use crate::station::words::fault;

/// Ends every loop of the station. Shared with the window and the signals.
pub type Stop = Arc<AtomicBool>;

/// Once the work has ended, the window has this long to close.
const WINDOW_CLOSES_WITHIN: Duration = Duration::from_secs(3);
/// From being told to end to the end, at most. A service manager that waits 15
/// seconds (`tools/kiosk`) then need not kill it.
pub(super) const ENDS_WITHIN: Duration = Duration::from_secs(12);
const LOOK_EVERY: Duration = Duration::from_millis(100);
/// The log's thread writes its last lines in this time.
const LOG_WRITES: Duration = Duration::from_millis(200);

/// A flag that interrupt and termination signals set. A second signal ends
/// the program at once.
///
/// # Errors
/// The system takes no signal handler.
pub fn stop_on_signals() -> anyhow::Result<Stop> {
    use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};
    let stop = Arc::new(AtomicBool::new(false));
    // A closed terminal ends it in order too, unless it is to go on (nohup).
    let hangup = (!is_ignored(SIGHUP)).then_some(SIGHUP);
    for signal in [SIGINT, SIGTERM].into_iter().chain(hangup) {
        signal_hook::flag::register_conditional_shutdown(signal, 1, Arc::clone(&stop))?;
        signal_hook::flag::register(signal, Arc::clone(&stop))?;
    }
    Ok(stop)
}

/// Whether the system keeps a signal from this process (proc(5), SigIgn).
fn is_ignored(signal: i32) -> bool {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    status
        .lines()
        .find_map(|line| line.strip_prefix("SigIgn:"))
        .and_then(|mask| u64::from_str_radix(mask.trim(), 16).ok())
        .is_some_and(|mask| mask & (1 << (signal - 1)) != 0)
}

/// Watches over the end from a thread of its own. `ended` is how the work
/// ends; the main thread takes it once the window is closed.
///
/// # Errors
/// The system gives no thread.
pub(super) fn watch(stop: &Stop, ended: &Receiver<anyhow::Result<()>>) -> std::io::Result<()> {
    let (stop, ended) = (Arc::clone(stop), ended.clone());
    let work = move || {
        let (mut told, mut worked) = (None, None);
        loop {
            thread::sleep(LOOK_EVERY);
            let now = Instant::now();
            if !stop.load(Ordering::Relaxed) && ended.is_empty() {
                continue;
            }
            let told = now - *told.get_or_insert(now);
            if !ended.is_empty()
                && now - *worked.get_or_insert(now) > WINDOW_CLOSES_WITHIN
                && let Ok(result) = ended.try_recv()
            {
                leave("the window does not close and is left behind", result);
            } else if told > ENDS_WITHIN {
                let fault = anyhow::anyhow!("the station did not end in time and was ended");
                leave("the end takes too long", Err(fault));
            }
        }
    };
    thread::Builder::new().name("shutdown".into()).spawn(work)?;
    Ok(())
}

/// Ends the process where there is no way back to `main`, without what
/// libraries do at an exit: they may be what hangs.
pub(super) fn leave(why: &str, result: anyhow::Result<()>) -> ! {
    tracing::error!("{why}");
    let code = match result {
        Ok(()) => 0,
        Err(error) => {
            complain(&fault(&error));
            1
        }
    };
    thread::sleep(LOG_WRITES);
    signal_hook::low_level::exit(code)
}
