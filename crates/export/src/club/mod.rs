//! One page on a club's season, from a dataset of many sessions (`docs/club.md`).
//!
//! Takes: the folder that `kickplate export --dataset` wrote.
//! Gives: [`ClubFigures`], and the same as one page that needs nothing beside it. Nobody
//! is named or ranked; figures of fewer than [`FEWEST_SKATERS`] skaters are not shown.
//! Fails: with a [`ClubError`] in one sentence; a file among the parts that is none of
//! them ends it, since figures without it would say something else.
//!
//! One session is read at a time, and of it only the columns that are needed.

mod chart;
mod error;
mod figures;
mod page;
mod season;

use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};

pub use error::ClubError;
pub use figures::{
    ClubFigures, Day, FEWEST_FOR_PERCENT, FEWEST_SKATERS, Measured, Month, RuleCounts, Seen,
};
pub use page::club_page;

/// The figures of every session in a dataset. Where `cancel` becomes true it stops
/// between two sessions.
///
/// # Errors
/// As [`ClubError`] lists.
pub fn club_figures(folder: &Path, cancel: &AtomicBool) -> Result<ClubFigures, ClubError> {
    let mut gathering = figures::Gathering::default();
    for session in season::sessions(folder)? {
        if cancel.load(Ordering::Relaxed) {
            return Err(ClubError::Cancelled);
        }
        let (passes, pushes) = session.read()?;
        gathering.session(&session.station, session.date, &passes, &pushes);
    }
    Ok(gathering.finish())
}
