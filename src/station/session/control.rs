//! What the desk and the judging tell each other while the station runs.
//!
//! Settings go one way as whole snapshots, taken between two frames; what is
//! seen goes the other way. Nobody waits for the other.

use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use arc_swap::{ArcSwap, ArcSwapOption};
use crossbeam_channel::{Receiver, Sender, bounded};

use crate::capture::{CameraRequest, FeedStatus, Frame};
use crate::config::Lane;
use crate::display::PreviewImage;
use crate::feedback::Cue;
use crate::sound::SoundState;
use crate::station::live::run::Stop;
use crate::station::session::analyser::Judging;
use crate::station::session::skater_queue::Lineup;
use crate::station::settings::choices::ModelChoice;
use crate::station::settings::privacy::PrivacySettings;
use crate::station::settings::second_camera::SecondCamera;
use crate::store::WriterStatus;

/// What the judging side shows of itself.
#[derive(Debug, Clone, Default)]
pub struct Seen {
    /// How the camera is.
    pub feed: Option<FeedStatus>,
    /// How the second camera is, where there is one.
    pub second: Option<FeedStatus>,
    /// Whether somebody is passing through the lane.
    pub somebody_passing: bool,
    /// A small picture of the lane, with faces blurred where that is set.
    pub preview: Option<Arc<PreviewImage>>,
    /// Size of the camera's frames, pixels.
    pub frame_px: Option<[u32; 2]>,
    /// The cue of the last pass.
    pub last: Option<Cue>,
    /// The pose model at work, where it is known.
    pub model: Option<ModelChoice>,
    /// The inference engine.
    pub engine: String,
    /// State of the sound; none where none is wanted.
    pub sound: Option<SoundState>,
    /// State of the recording; `None` where there is none yet.
    pub recording: Option<WriterStatus>,
}

/// Another camera or another lane: the feed and the session begin anew.
#[derive(Debug, Clone, Default)]
pub struct Switch {
    /// The camera from now on, where it changes.
    pub camera: Option<CameraRequest>,
    /// The lane from now on, where it changes.
    pub lane: Option<Lane>,
    /// The second camera from now on, where that changes; none inside.
    pub second: Option<Option<(SecondCamera, Lane)>>,
}

/// The meeting place of desk and judging.
pub struct Control {
    /// Whose pass it is.
    pub lineup: Lineup,
    judging: Mutex<Option<Judging>>,
    privacy: ArcSwap<PrivacySettings>,
    switch: Mutex<Option<Switch>>,
    show_me: AtomicBool,
    /// From how far the big screen is read, metres, as the bits of an f64;
    /// no bits where it was not set since the start.
    reading_distance: AtomicU64,
    seen: ArcSwap<Seen>,
    wanted: AtomicBool,
    frames: (Sender<Arc<Frame>>, Receiver<Arc<Frame>>),
    stop: Stop,
    end_run: Stop,
    trouble: ArcSwapOption<String>,
}

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    // Plain values are whole at every moment, also after a panic elsewhere.
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Control {
    /// `stop` ends the whole station.
    pub fn new(stop: Stop, privacy: PrivacySettings) -> Self {
        Control {
            lineup: Lineup::default(),
            judging: Mutex::new(None),
            privacy: ArcSwap::from_pointee(privacy),
            switch: Mutex::new(None),
            show_me: AtomicBool::new(false),
            reading_distance: AtomicU64::new(0),
            seen: ArcSwap::from_pointee(Seen::default()),
            wanted: AtomicBool::new(false),
            frames: bounded(1),
            stop,
            end_run: Arc::new(AtomicBool::new(false)),
            trouble: ArcSwapOption::empty(),
        }
    }

    /// What the next pass is judged with; the newest wins.
    pub fn set_judging(&self, judging: Judging) {
        *lock(&self.judging) = Some(judging);
    }

    /// New settings since the last call.
    pub fn take_judging(&self) -> Option<Judging> {
        lock(&self.judging).take()
    }

    /// What is kept of pictures from now on.
    pub fn set_privacy(&self, privacy: PrivacySettings) {
        self.privacy.store(Arc::new(privacy));
    }

    /// What is kept of pictures.
    pub fn privacy(&self) -> PrivacySettings {
        **self.privacy.load()
    }

    /// Asks for another camera or lane; two orders before the first is taken
    /// are one.
    pub fn switch(&self, switch: Switch) {
        let mut waiting = lock(&self.switch);
        let before = waiting.take().unwrap_or_default();
        *waiting = Some(Switch {
            camera: switch.camera.or(before.camera),
            lane: switch.lane.or(before.lane),
            second: switch.second.or(before.second),
        });
    }

    /// The order to switch, once the run has ended for it.
    pub fn take_switch(&self) -> Option<Switch> {
        let switch = lock(&self.switch).take();
        self.end_run.store(false, Ordering::Release);
        switch
    }

    /// The flag that ends a run of the live loop: for a switch as well as for
    /// good.
    pub fn end_run(&self) -> &Stop {
        &self.end_run
    }

    /// Called between two frames: ends the run where that is due.
    pub fn look(&self) {
        if self.stop.load(Ordering::Relaxed) || lock(&self.switch).is_some() {
            self.end_run.store(true, Ordering::Release);
        }
    }

    /// Asks for the replay of the last flagged push.
    pub fn show_me(&self) {
        self.show_me.store(true, Ordering::Release);
    }

    /// Whether a replay was asked for since the last call.
    pub fn take_show_me(&self) -> bool {
        self.show_me.swap(false, Ordering::AcqRel)
    }

    /// From how far the big screen is read from now on, metres.
    pub fn set_reading_distance(&self, distance_m: f64) {
        self.reading_distance
            .store(distance_m.to_bits(), Ordering::Release);
    }

    /// From how far the big screen is read, metres, where that was set since
    /// the start.
    pub fn reading_distance_m(&self) -> Option<f64> {
        match self.reading_distance.load(Ordering::Acquire) {
            0 => None,
            bits => Some(f64::from_bits(bits)),
        }
    }

    /// Publishes what the judging side sees.
    pub fn publish(&self, seen: Seen) {
        self.seen.store(Arc::new(seen));
    }

    /// What the judging side saw last.
    pub fn seen(&self) -> Arc<Seen> {
        self.seen.load_full()
    }

    /// Something the desk has to say of the recordings; `None` when it is over.
    pub fn set_trouble(&self, sentence: Option<String>) {
        self.trouble.store(sentence.map(Arc::new));
    }

    /// What the desk has to say of the recordings.
    pub fn trouble(&self) -> Option<Arc<String>> {
        self.trouble.load_full()
    }

    /// Hands a frame over where one was asked for.
    pub fn offer_frame(&self, frame: &Frame) {
        if self.wanted.swap(false, Ordering::AcqRel) {
            // A second frame nobody took is let go.
            let _ = self.frames.0.try_send(Arc::new(frame.clone()));
        }
    }

    /// Waits for the next frame of the camera, at most `patience`.
    pub fn next_frame(&self, patience: Duration) -> Option<Arc<Frame>> {
        while self.frames.1.try_recv().is_ok() {}
        self.wanted.store(true, Ordering::Release);
        let frame = self.frames.1.recv_timeout(patience).ok();
        self.wanted.store(false, Ordering::Release);
        frame
    }
}
