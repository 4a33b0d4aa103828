//! The roster: who skates, who is next, and the list as a file.
//!
//! Takes: skaters as the coach wrote them down, and what the coach does with
//! the queue.
//! Gives: [`Skater`]s with the limits that hold for each, the [`Queue`] that
//! says whose pass the next one is, and the roster as CSV ([`import_csv`],
//! [`export_csv`]).
//! Fails: a file that is not wholly good is refused with an [`ImportReport`];
//! nothing is half-imported. The queue never fails.
//!
//! Pure: no I/O, no clock, no threads.

mod csv_file;
mod csv_text;
mod queue;
mod skater;

pub use csv_file::{ImportPlan, ImportReport, LineFault, export_csv, import_csv};
pub use csv_text::Encoding;
pub use queue::{Places, Queue};
pub use skater::{BandColour, Consent, HEIGHT_M, Skater, SkaterId};
