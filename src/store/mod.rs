//! Recordings: every pass as it ends, on this machine only.
//!
//! Takes: judged passes and their cues.
//! Gives: one SQLite file per folder ([`Store`]), written from a thread
//! ([`StoreWriter`]) so that a slow disk never holds up the ice; `session.json`
//! for other programs ([`SessionFile`]).
//! Fails: with a [`StoreError`] in one sentence. The running writer never ends
//! because of a fault: it says so in its status, keeps the passes in memory up
//! to a bound, and tries again.
//!
//! A pass that is reported as on the disk outlives a kill and a power cut.
//! Only this module knows rusqlite.

mod codec;
mod database;
mod error;
mod read;
mod records;
mod schema;
mod session_json;
mod sink;
mod writer;

use database::create_private;
pub use database::{SESSIONS_FILE, Store};
pub use error::StoreError;
pub use records::{
    EngineInfo, SessionId, SessionInfo, SessionState, SessionSummary, SourceInfo, SourceKind,
    StoredPass, StoredSession,
};
pub use session_json::{
    FORMAT_VERSION, FlagRecord, MeasureRecord, PassRecord, PushRecord, SessionFile,
};
pub use writer::{Receipt, StoreWriter, WriterPolicy, WriterState, WriterStatus, Written};
