//! What a review says while it runs: the passes on standard output, how far it is on
//! the error output.

use std::io::Write;
use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressStyle};

use crate::station::words;

/// Standard output. Whoever reads it may have had enough (`| head`), which is
/// no fault; the result is a file.
#[derive(Default)]
pub(super) struct Output {
    closed: bool,
    pub(super) fault: Option<std::io::Error>,
}

impl Output {
    pub(super) fn print(&mut self, text: &str) {
        if self.closed {
            return;
        }
        let mut out = std::io::stdout().lock();
        if let Err(error) = out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
            self.closed = true;
            self.fault = Some(error).filter(|e| e.kind() != std::io::ErrorKind::BrokenPipe);
        }
    }
}

/// How far the review is: a bar with the time left on a terminal, a line now
/// and then elsewhere.
pub(super) struct Bar {
    bar: ProgressBar,
    total: Option<u64>,
    shown: u64,
    said_at: Instant,
}

/// Without a terminal a line is written at each tenth, or as often as this
/// where the length is not known.
const LINE_EVERY: Duration = Duration::from_secs(10);

impl Bar {
    pub(super) fn new(total: Option<u64>) -> Self {
        let total = total.filter(|t| *t > 0);
        let bar = match total {
            Some(total) => ProgressBar::new(total),
            None => ProgressBar::no_length(),
        };
        let form = match total {
            Some(_) => "{wide_bar} {percent} %, {msg}, {eta} left",
            None => "{spinner} {pos} frames, {msg}",
        };
        if let Ok(style) = ProgressStyle::with_template(form) {
            bar.set_style(style);
        }
        Bar {
            bar,
            total,
            shown: 0,
            said_at: Instant::now(),
        }
    }

    pub(super) fn show(&mut self, frames: u64, passes: usize) {
        if !self.bar.is_hidden() {
            self.bar.set_message(words::passes(passes));
            self.bar.set_position(frames);
            return;
        }
        let passes = words::passes(passes);
        match self.total {
            Some(total) => {
                let tenths = (10 * frames / total).min(10);
                if tenths > self.shown {
                    self.shown = tenths;
                    self.say(&format!("{} % of {total} frames, {passes}", 10 * tenths));
                }
            }
            None if self.said_at.elapsed() >= LINE_EVERY => {
                self.said_at = Instant::now();
                self.say(&format!("{frames} frames, {passes}"));
            }
            None => {}
        }
    }

    pub(super) fn say(&self, text: &str) {
        // Nobody may be listening; that is no fault.
        self.bar.suspend(|| {
            let _ = writeln!(std::io::stderr(), "{text}");
        });
    }

    /// Does something that writes to the terminal too.
    pub(super) fn beside(&self, write: impl FnOnce()) {
        self.bar.suspend(write);
    }

    pub(super) fn end(&self) {
        self.bar.finish_and_clear();
    }
}
