//! Vision and judging in one thread: for recordings, which nobody waits for.

use std::path::Path;

use super::pass_judge::{FinishedPass, Judging, PassJudge};
use crate::capture::Frame;
use crate::pose::{Estimator, PoseError, PoseFrame};
use crate::standing::Standing;
use crate::station::settings::choices::{EngineChoice, ModelChoice};
use crate::station::vision::cores_up_to;
use crate::station::vision::tracking::{PassEvent, Vision};
use crate::store;
use crate::track::Tally;

/// Pose model, tracker, stride engine, rules and feedback, wired together.
pub struct Analyser {
    vision: Vision,
    judge: PassJudge,
}

impl Analyser {
    /// Loads the model: it may use further cores, which nothing else needs.
    ///
    /// # Errors
    /// As [`Estimator::new`].
    pub fn new(
        home: &Path,
        model: ModelChoice,
        engine: EngineChoice,
        judging: Judging,
    ) -> Result<Self, PoseError> {
        let cores = cores_up_to(3);
        let (lane, track) = (&judging.lane, judging.track);
        Ok(Analyser {
            vision: Vision::for_recordings(home, model, engine, lane, track, cores)?,
            judge: PassJudge::new(judging),
        })
    }

    /// Another lane or another source: everybody seen so far is forgotten,
    /// the count of passes goes on.
    pub fn change(&mut self, judging: Judging) {
        self.vision.change(&judging.lane, judging.track);
        self.judge.change(judging);
    }

    /// From now on it is watched whether the camera stands where it stood in the first
    /// seconds; what is skated once it was moved is not judged.
    pub fn watch_standing(&mut self) {
        let lane = self.judge.judging().lane.clone();
        self.vision.watch_standing(&lane, None);
    }

    /// Whether the camera was moved, by what was seen so far.
    pub fn camera_moved(&mut self) -> bool {
        let standing = self.vision.standing();
        standing.is_some_and(|watch| watch.standing() == Standing::Moved)
    }

    /// What the passes are judged with.
    pub fn judging(&self) -> &Judging {
        self.judge.judging()
    }

    /// Takes in one frame; gives the passes that ended with it.
    ///
    /// # Errors
    /// When the inference engine fails on a frame; the next may work again.
    pub fn push(&mut self, frame: &Frame) -> Result<(PoseFrame, Vec<FinishedPass>), PoseError> {
        let (poses, events) = self.vision.push(frame)?;
        Ok((poses, self.judged(events)))
    }

    /// The source has ended: judges what is still open.
    pub fn finish(&mut self) -> Vec<FinishedPass> {
        let events = self.vision.finish();
        self.judged(events)
    }

    fn judged(&mut self, events: Vec<PassEvent>) -> Vec<FinishedPass> {
        events
            .into_iter()
            .filter_map(|event| match event {
                PassEvent::Started { .. } => None,
                PassEvent::Ended {
                    pass,
                    read_by,
                    camera_moved,
                } => {
                    let measured = self.judge.measure(*pass, read_by, None);
                    let measured = measured.of_moved_camera(camera_moved);
                    Some(self.judge.finish(measured))
                }
            })
            .collect()
    }

    /// What was seen so far, passes and others.
    pub fn tally(&self) -> Tally {
        self.vision.tally()
    }

    /// The estimator's counters and times.
    pub fn estimator(&self) -> &Estimator {
        self.vision.estimator()
    }

    /// What does the measuring, as a session stores it.
    pub fn engine_record(&self, model: ModelChoice) -> store::EngineInfo {
        self.vision.engine_record(model)
    }
}
