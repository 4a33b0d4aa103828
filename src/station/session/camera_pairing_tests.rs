//! Two cameras, one stick skater: what is said, of whom, and when. Only the
//! cameras are made up.

use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use super::*;
use crate::config::View;
use crate::feedback::{CueKind, FeedbackSettings};
use crate::pose::ModelKind;
use crate::rules::{AgeGroup, AgeGroups, RuleId};
use crate::station::session::pass_judge::{FinishedPass, Judging, PassJudge};
use crate::stride::synthetic::{self, Skater as Stick};

#[derive(Default)]
struct Made {
    passes: Vec<SeenPass>,
    watch: Watch,
}

struct MadeCamera(Arc<Mutex<Made>>);

impl SecondSource for MadeCamera {
    fn take(&self) -> Vec<SeenPass> {
        std::mem::take(&mut self.0.lock().unwrap().passes)
    }

    fn watch(&self) -> Watch {
        self.0.lock().unwrap().watch
    }

    fn status(&self) -> Option<FeedStatus> {
        None
    }
}

/// Knee bent as it should be, boots far apart as they come back: only the
/// front camera sees the fault.
fn stick() -> Stick {
    Stick {
        recovery_aside_m: 0.35,
        ..Stick::default()
    }
}

struct Rig {
    judge: PassJudge,
    pairing: CameraPairing,
    made: Arc<Mutex<Made>>,
    epoch: Instant,
}

impl Rig {
    /// The station began 100 s ago, its camera 60 s ago.
    fn new() -> Self {
        let judging = Judging {
            lane: synthetic::lane(View::Side, &stick()),
            thresholds: AgeGroups::defaults().thresholds(AgeGroup::Adult),
            track: TrackSettings::default(),
            feedback: FeedbackSettings::default(),
        };
        let made = Arc::new(Mutex::new(Made::default()));
        let epoch = Instant::now() - Duration::from_secs(100);
        let front = synthetic::lane(View::Front, &stick());
        let eye = Box::new(MadeCamera(Arc::clone(&made)));
        let camera = SecondCamera {
            id: "second".into(),
            lane: "front.toml".into(),
            width: 1280,
            height: 720,
            fps: 30,
        };
        Rig {
            judge: PassJudge::new(judging),
            pairing: CameraPairing::new(eye, (camera, front), epoch),
            made,
            epoch,
        }
    }

    fn origin(&self) -> Option<Instant> {
        Some(self.epoch + Duration::from_secs(40))
    }

    fn see_from_the_side(&mut self) -> f64 {
        let mut pass = stick().pass(&synthetic::lane(View::Side, &stick()), 30.0);
        let ended_at_s = pass.ended_at_s();
        // It ended a moment ago on the camera's clock.
        for sample in &mut pass.samples {
            sample.t_s += 59.5 - ended_at_s;
        }
        let measured = self.judge.measure(pass, ModelKind::Full, None);
        self.pairing.hold(measured);
        59.5 - ended_at_s
    }

    /// The same skater at the same moments from the front, on a clock that
    /// began when the station did; `first_s` is when the stride began there.
    fn see_from_the_front(&mut self, first_s: f64) {
        let mut pass = stick().pass(&synthetic::lane(View::Front, &stick()), 30.0);
        for sample in &mut pass.samples {
            sample.t_s += first_s;
        }
        self.made.lock().unwrap().passes.push(SeenPass {
            pass: Box::new(pass),
            to_station_s: 0.0,
            read_by: ModelKind::Full,
        });
    }

    fn watch(&mut self, passing_since_s: Option<f64>) {
        self.made.lock().unwrap().watch = Watch {
            passing_since_s,
            live: true,
        };
    }

    fn due(&mut self, last: bool) -> Vec<FinishedPass> {
        let origin = self.origin();
        let complete = if last {
            self.pairing.finish(origin)
        } else {
            self.pairing.due(origin, true, &[])
        };
        let lane = self.pairing.lane().clone();
        complete
            .into_iter()
            .map(|complete| {
                let measured = self.judge.complete(&lane, complete, |_| None);
                self.judge.finish(measured)
            })
            .collect()
    }
}

fn judged(judged: &FinishedPass, rule: RuleId) -> usize {
    let of = judged.pass.pushes.iter().map(|p| &p.measures[rule]);
    of.filter(|m| m.is_judged()).count()
}

#[test]
fn one_skater_before_two_cameras_gets_one_cue_about_what_either_saw() {
    let mut rig = Rig::new();
    // Passing before the front camera since second 95 of the station.
    rig.watch(Some(95.0));
    let stride_began_s = rig.see_from_the_side();
    assert!(rig.due(false).is_empty(), "the front camera is not done");
    // 40 s lie between the two clocks.
    rig.see_from_the_front(stride_began_s + 40.0);
    rig.watch(None);
    let all = rig.due(false);
    assert_eq!(all.len(), 1);
    let one = &all[0];
    assert!(judged(one, RuleId::KneeBend) > 0);
    assert!(judged(one, RuleId::RecoveryGap) > 0);
    assert!(
        matches!(
            one.cue.kind,
            CueKind::Do {
                rule: RuleId::RecoveryGap,
                ..
            }
        ),
        "{:?}",
        one.cue
    );
    assert!(one.own_pictures);
    // Times are the first camera's: the stride began there at this second.
    let first_toe_off_s = one.pass.pushes[0].toe_off_s;
    assert!(
        (stride_began_s..59.6).contains(&first_toe_off_s),
        "{first_toe_off_s}"
    );
    assert!(rig.due(true).is_empty());
}

#[test]
fn what_only_the_second_camera_saw_is_judged_with_its_own_view_and_has_no_pictures() {
    let mut rig = Rig::new();
    rig.see_from_the_front(90.0);
    rig.watch(None);
    let all = rig.due(false);
    assert_eq!(all.len(), 1);
    assert_eq!(all[0].pass.view, View::Front);
    assert_eq!(all[0].lane.as_ref().map(|l| l.view), Some(View::Front));
    assert!(!all[0].own_pictures);
    assert!(all[0].pass.track_id > SECOND_TRACKS);
    assert_eq!(judged(&all[0], RuleId::KneeBend), 0);
    assert!(judged(&all[0], RuleId::RecoveryGap) > 0);
    // 40 s lie between the clocks: second 90 there is second 50 here.
    assert!((all[0].pass.started_at_s - 50.0).abs() < 1e-6);
}

#[test]
fn a_second_camera_that_gives_no_picture_holds_nothing_up() {
    let mut rig = Rig::new();
    rig.see_from_the_side();
    let all = rig.due(false);
    assert_eq!(all.len(), 1);
    assert!(judged(&all[0], RuleId::KneeBend) > 0);
    assert_eq!(judged(&all[0], RuleId::RecoveryGap), 0);
}

#[test]
fn the_end_speaks_about_what_still_waits() {
    let mut rig = Rig::new();
    rig.watch(Some(95.0));
    rig.see_from_the_side();
    assert!(rig.due(false).is_empty());
    assert_eq!(rig.due(true).len(), 1);
}
