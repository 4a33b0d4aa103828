//! Recordings: every pass as it ends, on this machine only.
//!
//! Takes: judged passes, their cues, body points and pictures; the roster.
//! Gives: one SQLite file per folder ([`Store`]), written from a thread
//! ([`StoreWriter`]) so that a slow disk never holds up the ice; a second way
//! into it for everything else ([`Archive`]); `session.json` for other
//! programs ([`SessionFile`]).
//! Fails: with a [`StoreError`] in one sentence. The running writer never ends
//! because of a fault: it says so in its status, keeps the passes in memory up
//! to a bound, and tries again.
//!
//! A pass that is reported as on the disk outlives a kill and a power cut.
//! Only this module knows rusqlite.

// What this crate knows of the others; nothing else can be reached from it.
use kickplate_measure::{body, calibration, config, feedback, quality, roster, rules, track};

mod archive;
mod backend;
mod clips;
mod codec;
mod connection;
mod database;
mod datasets;
mod days;
mod error;
mod insert;
mod lineup;
mod mentions;
mod notes;
mod points;
mod queries;
mod read;
mod records;
mod rejudge;
mod retention;
mod retention_age;
#[cfg(test)]
mod samples;
mod schema;
mod session_json;
mod skaters;
mod whole;
mod writer;

pub use archive::Archive;
pub use clips::PICTURES_FOLDER;
pub use codec::limits_to_json;
use connection::create_private;
pub use database::{Held, SESSIONS_FILE, Store, hold};
pub use datasets::DatasetNote;
pub use days::{Day, days};
pub use error::StoreError;
pub use lineup::KeptQueue;
pub use mentions::{Mention, MentionsGo, WouldErase};
pub use notes::{Agreement, ExportNote};
pub use queries::ValueOf;
pub use records::{
    EngineInfo, NewPass, PassKey, PictureStrip, PushKey, PushNote, SessionId, SessionInfo,
    SessionState, SessionSummary, Shot, SourceInfo, SourceKind, StoredPass, StoredSession,
    StripInfo, Verdict,
};
pub use rejudge::{Basis, EarlierJudgement};
pub use retention::{Pruned, Retention, Usage};
pub use retention_age::Aged;
pub use session_json::{
    FORMAT_VERSION, FlagRecord, MeasureRecord, PassRecord, PushRecord, SessionFile,
};
pub use skaters::{BEFORE_RESTORE, Erased};
pub use writer::{
    Receipt, StoreWriter, StripDoor, WriterPolicy, WriterState, WriterStatus, Written,
};
