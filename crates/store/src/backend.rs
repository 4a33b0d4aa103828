//! Where the writer thread writes to, and which session a pass belongs to.

use std::collections::VecDeque;
use std::path::PathBuf;

use jiff::Zoned;

use super::{
    EngineInfo, NewPass, PictureStrip, SessionId, SessionInfo, SessionSummary, SourceInfo, Store,
    StoreError,
};
use crate::config::Lane;

/// What was found on opening.
pub(super) struct Opened {
    /// Sessions of earlier runs that had no proper end.
    pub recovered: Vec<SessionSummary>,
    /// Where a damaged file was moved to.
    pub set_aside: Option<PathBuf>,
}

/// The session that passes go to, and how they are numbered in it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Place {
    pub id: SessionId,
    /// Added to the number a pass was announced by: a session that goes on
    /// after a restart goes on counting.
    pub shift: i64,
}

impl Place {
    pub(super) fn number_of(&self, announced: u32) -> u32 {
        u32::try_from(i64::from(announced) + self.shift).unwrap_or(announced)
    }
}

/// A place passes are written to; the tests put a failing one here.
pub(super) trait Sink: Send {
    /// Opens what is not open.
    fn open(&mut self) -> Result<Opened, StoreError>;
    /// Writes passes, all or none; they are safe when this returns. The first
    /// one begins a session where none goes on.
    fn write(&mut self, passes: &[&NewPass]) -> Result<(), StoreError>;
    /// Writes pictures of a pass that was written.
    fn write_strips(&mut self, number: u32, strips: &[PictureStrip]) -> Result<(), StoreError>;
    /// The session the last pass went to.
    fn place(&self) -> Option<Place>;
    /// Notes how many passes could not be kept.
    fn note_lost(&mut self, passes: u64) -> Result<(), StoreError>;
    /// The training is over: the next pass begins a new session.
    fn end_session(&mut self) -> Result<(), StoreError>;
    /// The program ends; the session may go on after a restart.
    fn end(&mut self) -> Result<(), StoreError>;
    /// Lets go of everything after a fault; the next `open` starts anew.
    fn close(&mut self);
}

/// Pictures come this many passes after theirs, at most.
const PASSES_BACK: usize = 256;

/// The sessions file of one folder.
pub(super) struct DiskSink {
    folder: PathBuf,
    info: SessionInfo,
    clock: fn() -> Zoned,
    store: Option<Store>,
    current: Option<Current>,
    /// By announced number: where the last passes are.
    written: VecDeque<(u32, Place)>,
    lost_noted: u64,
}

struct Current {
    place: Place,
    last_pass: Zoned,
    /// As the session was begun: what differs from it is written with a pass.
    head: Head,
}

struct Head {
    lane: Lane,
    engine: EngineInfo,
    source: SourceInfo,
}

impl DiskSink {
    pub(super) fn new(folder: PathBuf, info: SessionInfo) -> Self {
        DiskSink {
            folder,
            info,
            clock: Zoned::now,
            store: None,
            current: None,
            written: VecDeque::new(),
            lost_noted: 0,
        }
    }

    fn store(&mut self) -> Result<&mut Store, StoreError> {
        self.store.as_mut().ok_or_else(|| StoreError::Gone {
            file: self.folder.join(super::SESSIONS_FILE),
        })
    }

    /// The session for a pass announced as `announced`: the one that goes on,
    /// or a new one.
    fn take_place(&mut self, announced: u32) -> Result<(), StoreError> {
        let now = (self.clock)();
        let over = |current: &Current| !goes_on(&current.last_pass, &now);
        if let Some(current) = self.current.take_if(|c| over(c)) {
            self.store()?.end_session_for_good(&current.place.id)?;
        }
        if self.current.is_some() {
            return Ok(());
        }
        let mut info = self.info.clone();
        let store = self.store()?;
        let (id, last_number) = match store.session_that_goes_on(info.source.kind, &now)? {
            Some((id, last_number)) => {
                info = store.session_info(&id)?;
                (id, last_number)
            }
            None => {
                info.started = now.clone();
                (store.begin_session(&info)?, 0)
            }
        };
        self.current = Some(Current {
            place: Place {
                id,
                shift: i64::from(last_number) + 1 - i64::from(announced),
            },
            last_pass: now,
            head: Head {
                lane: info.lane,
                engine: info.engine,
                source: info.source,
            },
        });
        Ok(())
    }

    /// The pass as it goes into the session.
    fn as_stored(&self, current: &Current, new: &NewPass) -> NewPass {
        let (head, info) = (&current.head, &self.info);
        let mut new = new.clone();
        new.cue.pass_number = current.place.number_of(new.cue.pass_number);
        new.lane = new
            .lane
            .or_else(|| Some(info.lane.clone()))
            .filter(|lane| *lane != head.lane);
        new.engine = Some(info.engine.clone()).filter(|engine| *engine != head.engine);
        new.source = Some(info.source.clone()).filter(|source| *source != head.source);
        new
    }
}

/// Whether a session whose last pass was written then goes on now: within an
/// hour, on the same day.
pub(super) fn goes_on(last_pass: &Zoned, now: &Zoned) -> bool {
    // A clock that was set back a little is no new training.
    let apart_s = (now.timestamp().as_second() - last_pass.timestamp().as_second()).abs();
    apart_s < 3600 && last_pass.with_time_zone(now.time_zone().clone()).date() == now.date()
}

impl Sink for DiskSink {
    fn open(&mut self) -> Result<Opened, StoreError> {
        if self.store.is_none() {
            let store = Store::open(&self.folder)?;
            if let Some(current) = &self.current
                && !store.resume_session(&current.place.id)?
            {
                // Another file: the one before was deleted or set aside.
                self.current = None;
                self.written.clear();
            }
            self.store = Some(store);
        }
        let own = self.place().map(|place| place.id);
        let store = self.store()?;
        Ok(Opened {
            // A session of this run was not lost by an earlier one.
            recovered: store
                .recovered()
                .iter()
                .filter(|s| Some(&s.id) != own.as_ref())
                .cloned()
                .collect(),
            set_aside: store.set_aside().map(PathBuf::from),
        })
    }

    fn write(&mut self, passes: &[&NewPass]) -> Result<(), StoreError> {
        let Some(first) = passes.first() else {
            return Ok(());
        };
        self.take_place(first.cue.pass_number)?;
        let Some(current) = &self.current else {
            return Ok(());
        };
        let stored: Vec<NewPass> = passes.iter().map(|n| self.as_stored(current, n)).collect();
        let place = current.place.clone();
        self.store()?
            .write_passes(&place.id, &stored.iter().collect::<Vec<_>>())?;
        let now = (self.clock)();
        if let Some(current) = &mut self.current {
            current.last_pass = now;
        }
        for new in passes {
            self.written.push_back((new.cue.pass_number, place.clone()));
        }
        let too_many = self.written.len().saturating_sub(PASSES_BACK);
        self.written.drain(..too_many);
        Ok(())
    }

    fn write_strips(&mut self, number: u32, strips: &[PictureStrip]) -> Result<(), StoreError> {
        let place = self
            .written
            .iter()
            .rfind(|(announced, _)| *announced == number)
            .map(|(_, place)| place.clone())
            .or_else(|| self.place());
        match place {
            Some(place) => self
                .store()?
                .write_strips(&place.id, place.number_of(number), strips),
            // Pictures of a pass that is not stored are let go.
            None => Ok(()),
        }
    }

    fn place(&self) -> Option<Place> {
        self.current.as_ref().map(|current| current.place.clone())
    }

    fn note_lost(&mut self, passes: u64) -> Result<(), StoreError> {
        let Some(place) = self.place().filter(|_| passes != self.lost_noted) else {
            return Ok(());
        };
        let more = passes.saturating_sub(self.lost_noted);
        self.store()?.note_lost(&place.id, more)?;
        self.lost_noted = passes;
        Ok(())
    }

    fn end_session(&mut self) -> Result<(), StoreError> {
        let now = (self.clock)();
        let kind = self.info.source.kind;
        let current = self.current.take().map(|current| current.place.id);
        let store = self.store()?;
        // After a restart the session that would go on is the one meant.
        let id = match current {
            Some(id) => Some(id),
            None => store.session_that_goes_on(kind, &now)?.map(|(id, _)| id),
        };
        id.map_or(Ok(()), |id| store.end_session_for_good(&id))
    }

    fn end(&mut self) -> Result<(), StoreError> {
        match self.place() {
            Some(place) => self.store()?.end_session(&place.id),
            None => Ok(()),
        }
    }

    fn close(&mut self) {
        self.store = None;
    }
}

#[cfg(test)]
#[path = "backend_tests.rs"]
mod tests;
