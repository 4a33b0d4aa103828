//! The recording: opened with the first frame of a source, closed with its
//! end.

use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use super::pass_judge::FinishedPass;
use crate::config::Lane;
use crate::rules::AgeGroup;
use crate::station::presenter::{KeepPictures, PictureMaker};
use crate::store::{
    EngineInfo, NewPass, SessionInfo, SourceInfo, SourceKind, StoreWriter, WriterPolicy,
    WriterState, WriterStatus, Written,
};

/// How long an announcement waits for the disk. Nobody but the skater's screen
/// waits with it.
const DISK_PATIENCE: Duration = Duration::from_millis(100);
/// How long the end of a recording waits for pictures being made.
const PICTURES_PATIENCE: Duration = Duration::from_secs(3);

/// What a recording says of itself.
#[derive(Debug, Clone)]
pub(super) struct RecordingInfo {
    pub(super) kind: SourceKind,
    pub(super) name: String,
    pub(super) frames_per_second: Option<f64>,
    pub(super) lane: Lane,
    pub(super) engine: EngineInfo,
    pub(super) age_group: AgeGroup,
}

/// The recordings of a run, one at a time.
pub(super) struct Recording {
    /// Where they go; none are made where it is missing.
    folder: Option<PathBuf>,
    pictures: Option<PictureMaker>,
    store: Option<StoreWriter>,
    info: Option<RecordingInfo>,
    /// Whether each source has a session of its own, whenever it is.
    own_sessions: bool,
}

impl Recording {
    pub(super) fn new(
        folder: Option<PathBuf>,
        pictures: Option<PictureMaker>,
        own_sessions: bool,
    ) -> Self {
        Recording {
            folder,
            pictures,
            store: None,
            info: None,
            own_sessions,
        }
    }

    /// A source begins; its recording opens with the first frame.
    pub(super) fn begin(&mut self, info: RecordingInfo) {
        self.info = Some(info);
    }

    /// The size of the frames is known, pixels.
    pub(super) fn open(&mut self, [width, height]: [u32; 2]) {
        let (Some(folder), Some(info), None) = (&self.folder, &self.info, &self.store) else {
            return;
        };
        let info = SessionInfo {
            source: SourceInfo {
                kind: info.kind,
                name: info.name.clone(),
                width,
                height,
                frames_per_second: info.frames_per_second,
                frames: None,
            },
            lane: info.lane.clone(),
            engine: info.engine.clone(),
            age_group: info.age_group,
            started: jiff::Zoned::now(),
        };
        self.store = Some(StoreWriter::start(
            folder.clone(),
            info,
            WriterPolicy::default(),
        ));
    }

    /// Another model measures from now on: a recording of its own, because a
    /// session says which model measured it.
    pub(super) fn reopen(&mut self, engine: EngineInfo, frame_px: Option<[u32; 2]>) {
        if let Some(info) = &mut self.info {
            info.engine = engine;
        }
        if self.store.is_none() {
            return;
        }
        // Nobody is in the lane: a moment is of no account.
        self.end(Duration::from_millis(500));
        if let Some(size) = frame_px {
            self.open(size);
        }
    }

    /// Brings a pass to the disk. What the disk cannot take now it takes
    /// later. `None` where nothing is recorded.
    pub(super) fn store(&self, finished: &FinishedPass) -> Option<Written> {
        let store = self.store.as_ref()?;
        let new = NewPass {
            skater: finished.skater,
            points: Some(Arc::clone(&finished.points)),
            lane: finished.lane.clone(),
            ..(finished.pass.clone(), finished.cue.clone()).into()
        };
        Some(store.submit(new).wait(DISK_PATIENCE))
    }

    /// The way of pictures to the disk.
    pub(super) fn keep_pictures(&self, blur_faces: bool) -> Option<KeepPictures> {
        let door = self.store.as_ref()?.strip_door();
        Some(KeepPictures { door, blur_faces })
    }

    /// How it is; `None` where there is none.
    pub(super) fn status(&self) -> Option<WriterStatus> {
        self.store.as_ref().map(StoreWriter::status)
    }

    /// Whether passes reach the disk; the sentence says why not.
    pub(super) fn trouble(&self) -> Option<String> {
        match self.status()?.state {
            WriterState::Stopped(why) => Some(why),
            WriterState::Starting | WriterState::Writing | WriterState::Ended => None,
        }
    }

    /// Ends the session behind the passes that wait; nobody waits for it here.
    pub(super) fn end_session(&self) {
        if let Some(store) = &self.store {
            drop(store.end_session());
        }
    }

    /// Ends it. `None` where there was none.
    pub(super) fn end(&mut self, patience: Duration) -> Option<WriterStatus> {
        if let Some(maker) = &self.pictures {
            maker.finish(PICTURES_PATIENCE);
        }
        let store = self.store.take()?;
        if self.own_sessions {
            store.end_session();
        }
        Some(store.finish(patience))
    }
}
