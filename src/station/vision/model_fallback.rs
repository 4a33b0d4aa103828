//! Changes the pose model while the station runs, when [`LoadMonitor`] says so.
//!
//! The other model is loaded in a thread of its own; it takes over between
//! two passes, so that no pass is measured by both.

use std::path::{Path, PathBuf};
use std::time::Instant;

use crossbeam_channel::{Receiver, TryRecvError, bounded};

use crate::pose::{Estimator, PoseError, PoseFrame, Replacement};
use crate::station::settings::choices::{EngineChoice, ModelChoice};
use crate::station::vision::load_monitor::{Advice, FrameCost, LoadMonitor};
use crate::station::vision::pose_settings;

/// Watches the cost of frames and has the other model loaded.
pub struct ModelFallback {
    home: PathBuf,
    engine: EngineChoice,
    load: LoadMonitor,
    /// Number and capture time of the frame before.
    last: Option<(u64, f64)>,
    loading: Option<(ModelChoice, Receiver<Result<Replacement, PoseError>>)>,
    /// After a model that could not be loaded nothing more is tried.
    given_up: bool,
}

impl ModelFallback {
    /// For an estimator that runs the model that was asked for.
    pub fn new(home: &Path, asked: ModelChoice, engine: EngineChoice) -> Self {
        ModelFallback {
            home: home.to_owned(),
            engine,
            load: LoadMonitor::new(asked),
            last: None,
            loading: None,
            given_up: false,
        }
    }

    /// Takes in what a frame cost. Gives the model that has just taken over.
    pub fn after_frame(
        &mut self,
        frame: &PoseFrame,
        began: Instant,
        lane_free: bool,
        estimator: &mut Estimator,
    ) -> Option<ModelChoice> {
        let took_s = began.elapsed().as_secs_f64();
        let before = self.last.replace((frame.seq, frame.captured_at_s));
        if let Some((seq, at_s)) = before
            && frame.seq > seq
            && self.loading.is_none()
            && !self.given_up
        {
            // Numbers count the pictures of the camera, also those nobody took.
            let cost = FrameCost {
                period_s: (frame.captured_at_s - at_s) / (frame.seq - seq) as f64,
                took_s,
                bodies: frame.bodies.len(),
            };
            if let Advice::Change(to) = self.load.frame(cost) {
                self.begin_loading(to);
            }
        }
        if !lane_free {
            return None;
        }
        let (to, answer) = self.loading.as_ref()?;
        let to = *to;
        match answer.try_recv() {
            Err(TryRecvError::Empty) => None,
            Ok(Ok(replacement)) => {
                self.loading = None;
                estimator.replace(replacement);
                self.load.changed(to);
                tracing::warn!("{}", sentence(to, self.load.asked()));
                Some(to)
            }
            Ok(Err(error)) => {
                self.give_up(&error.to_string());
                None
            }
            Err(TryRecvError::Disconnected) => {
                self.give_up("the loading ended by a fault of the program");
                None
            }
        }
    }

    /// The model at work.
    pub fn model(&self) -> ModelChoice {
        self.load.model()
    }

    /// What is worth saying for as long as it is so: that the model at work is
    /// not the one that was asked for.
    pub fn note(&self) -> Option<String> {
        let (now, asked) = (self.load.model(), self.load.asked());
        (now != asked).then(|| sentence(now, asked))
    }

    fn begin_loading(&mut self, to: ModelChoice) {
        let (answer, receiver) = bounded(1);
        let home = self.home.clone();
        let settings = pose_settings(to, self.engine);
        let spawned = std::thread::Builder::new()
            .name("model".into())
            .spawn(move || {
                // Nobody listens any more when the station has ended.
                let _ = answer.send(Replacement::load(&home, settings));
            });
        match spawned {
            Ok(_) => self.loading = Some((to, receiver)),
            Err(error) => self.give_up(&error.to_string()),
        }
    }

    fn give_up(&mut self, why: &str) {
        tracing::error!("the pose model stays the same, another could not be loaded: {why}");
        self.loading = None;
        self.given_up = true;
    }
}

/// What a change means, for the log and the health page.
fn sentence(to: ModelChoice, asked: ModelChoice) -> String {
    let (to, name) = (to.name(), asked.name());
    if to == name {
        format!("the {name} pose model is used again")
    } else {
        format!(
            "this computer is too slow for the {name} pose model just now: the {to} one is used, passes are measured less exactly"
        )
    }
}
