//! The verbs of the command line beside the live station.

pub mod backup;
pub mod check;
pub(in crate::station) mod club_report;
mod dataset;
pub(in crate::station) mod devices;
pub(in crate::station) mod export;
mod nothing_judged;
pub(in crate::station) mod rejudge;
pub mod review;
mod review_folder;
mod review_out;
mod review_part;
mod review_recording;
pub(in crate::station) mod roster_cli;
pub(in crate::station) mod ruler;
pub(in crate::station) mod scale;
mod stretches;
