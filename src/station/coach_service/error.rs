//! Why a command could not be done, in the coach's words.

use super::pin::PinError;
use crate::config::ConfigError;
use crate::panel::{Message, PanelWords};
use crate::station::session::NoAnswer;
use crate::store::StoreError;

/// Why a command could not be done, in one sentence; in English where nobody
/// says in which language.
#[derive(Debug, thiserror::Error)]
#[error("{}", .0.say(&PanelWords::english()))]
pub(crate) struct ServiceError(pub(super) Message);

impl From<StoreError> for ServiceError {
    fn from(error: StoreError) -> Self {
        ServiceError(match error {
            StoreError::Full { file } => Message::DiskFull { file },
            StoreError::Folder { folder, why } => Message::FolderUnusable { folder, why },
            other => Message::Recordings {
                why: other.to_string(),
            },
        })
    }
}

impl From<NoAnswer> for ServiceError {
    fn from(_: NoAnswer) -> Self {
        ServiceError(Message::ProgramFault {})
    }
}

impl From<ConfigError> for ServiceError {
    fn from(error: ConfigError) -> Self {
        ServiceError(Message::Settings {
            why: error.to_string(),
        })
    }
}

impl From<PinError> for ServiceError {
    fn from(error: PinError) -> Self {
        ServiceError(match error {
            PinError::Length => Message::PinLength {},
            PinError::Wrong => Message::PinWrong {},
            PinError::Wait(n) => Message::PinWait { n },
            PinError::File { file, why } => Message::PinFile { file, why },
        })
    }
}

/// What a command came to: its answer.
pub(super) type Done = Result<Message, ServiceError>;

pub(super) fn said(why: Message) -> ServiceError {
    ServiceError(why)
}
