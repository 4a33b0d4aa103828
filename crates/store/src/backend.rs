//! Where the writer thread writes to.

use std::path::PathBuf;

use super::{NewPass, PictureStrip, SessionId, SessionInfo, SessionSummary, Store, StoreError};

/// What was found on opening.
pub(super) struct Opened {
    /// The session passes go to.
    pub session: SessionId,
    /// Sessions of earlier runs that had no proper end.
    pub recovered: Vec<SessionSummary>,
    /// Where a damaged file was moved to.
    pub set_aside: Option<PathBuf>,
}

/// A place passes are written to; the tests put a failing one here.
pub(super) trait Sink: Send {
    /// Opens what is not open, and begins or takes up the session.
    fn open(&mut self) -> Result<Opened, StoreError>;
    /// Writes passes, all or none; they are safe when this returns.
    fn write(&mut self, passes: &[&NewPass]) -> Result<(), StoreError>;
    /// Writes pictures of a pass that was written.
    fn write_strips(&mut self, number: u32, strips: &[PictureStrip]) -> Result<(), StoreError>;
    /// Notes how many passes could not be kept.
    fn note_lost(&mut self, passes: u64) -> Result<(), StoreError>;
    /// Ends the session.
    fn end(&mut self) -> Result<(), StoreError>;
    /// Lets go of everything after a fault; the next `open` starts anew.
    fn close(&mut self);
}

/// The sessions file of one folder.
pub(super) struct DiskSink {
    folder: PathBuf,
    info: SessionInfo,
    store: Option<Store>,
    session: Option<SessionId>,
    lost_noted: u64,
}

impl DiskSink {
    pub(super) fn new(folder: PathBuf, info: SessionInfo) -> Self {
        DiskSink {
            folder,
            info,
            store: None,
            session: None,
            lost_noted: 0,
        }
    }

    fn ready(&mut self) -> Result<(&mut Store, &SessionId), StoreError> {
        match (&mut self.store, &self.session) {
            (Some(store), Some(session)) => Ok((store, session)),
            _ => Err(StoreError::Gone {
                file: self.folder.join(super::SESSIONS_FILE),
            }),
        }
    }
}

impl Sink for DiskSink {
    fn open(&mut self) -> Result<Opened, StoreError> {
        if self.store.is_none() {
            let mut store = Store::open(&self.folder)?;
            let known = match &self.session {
                Some(session) => store.resume_session(session)?,
                None => false,
            };
            if !known {
                self.session = Some(store.begin_session(&self.info)?);
                self.lost_noted = 0;
            }
            self.store = Some(store);
        }
        let (store, session) = self.ready()?;
        Ok(Opened {
            session: session.clone(),
            recovered: store.recovered().to_vec(),
            set_aside: store.set_aside().map(PathBuf::from),
        })
    }

    fn write(&mut self, passes: &[&NewPass]) -> Result<(), StoreError> {
        let (store, session) = self.ready()?;
        store.write_passes(session, passes)
    }

    fn write_strips(&mut self, number: u32, strips: &[PictureStrip]) -> Result<(), StoreError> {
        let (store, session) = self.ready()?;
        store.write_strips(session, number, strips)
    }

    fn note_lost(&mut self, passes: u64) -> Result<(), StoreError> {
        if passes == self.lost_noted {
            return Ok(());
        }
        let (store, session) = self.ready()?;
        store.note_lost(session, passes)?;
        self.lost_noted = passes;
        Ok(())
    }

    fn end(&mut self) -> Result<(), StoreError> {
        let (store, session) = self.ready()?;
        store.end_session(session)
    }

    fn close(&mut self) {
        self.store = None;
    }
}
