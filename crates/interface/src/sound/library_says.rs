//! What the system's sound library says of its own accord.

/// Does something with sound devices. What ALSA's library would write to the terminal
/// meanwhile, twenty lines for a machine without a card, goes to the log: what it means for the
/// user is in the result.
pub(super) fn to_log<T>(work: impl FnOnce() -> T) -> T {
    #[cfg(target_os = "linux")]
    let heard = alsa::Output::local_error_handler();
    let done = work();
    #[cfg(target_os = "linux")]
    if let Ok(heard) = heard {
        let said = heard.borrow().to_string();
        for line in said.lines().filter(|line| !line.is_empty()) {
            tracing::debug!("{line}");
        }
    }
    done
}
