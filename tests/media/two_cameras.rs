//! One skater before two cameras at once, rendered with exact truth
//! (`tools/skater/render_set.py pair`): the joint pass has what each camera
//! sees, and speaks of the faults that are there and of no others.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use std::path::{Path, PathBuf};

use kickplate::multi_camera::{Matcher, Span, Watch, merge};
use kickplate::pose::{Estimator, PoseSettings};
use kickplate::rules::{JudgedPass, RuleId, Thresholds, judge};
use kickplate::stride::cut;
use kickplate::track::{TrackEvent, TrackSettings, Tracker};
use kickplate_lab::score::{Truth, read_poses};

fn folder(name: &str, view: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/truth/pair")
        .join(format!("{name}_{view}"))
}

fn passes(name: &str, view: &str, estimator: &mut Estimator) -> (Vec<JudgedPass>, Truth) {
    let folder = folder(name, view);
    let truth = Truth::load(&folder.join("truth.json")).unwrap();
    let lane = truth.lane();
    let frames = read_poses(&folder.join("clip.mp4"), lane.view, estimator).unwrap();
    let mut tracker = Tracker::new(lane.clone(), TrackSettings::default());
    let mut events: Vec<TrackEvent> = frames.iter().flat_map(|f| tracker.push(f)).collect();
    events.extend(tracker.finish());
    let thresholds = Thresholds::defaults(truth.age_group());
    let passes = events
        .into_iter()
        .filter_map(|event| match event {
            TrackEvent::PassEnded(pass) => Some(judge(&cut(&pass, &lane), &thresholds)),
            TrackEvent::PassStarted { .. } => None,
        })
        .collect();
    (passes, truth)
}

#[test]
fn the_joint_pass_has_what_each_camera_sees_best() {
    let home = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut estimator = Estimator::new(home, PoseSettings::default()).unwrap();
    for (name, wanted) in [
        ("good", &[][..]),
        ("both", &[RuleId::KneeBend, RuleId::RecoveryGap]),
        ("gap", &[RuleId::RecoveryGap]),
    ] {
        let (side, truth) = passes(name, "side", &mut estimator);
        let (front, _) = passes(name, "front", &mut estimator);
        // The clips end in a second pass, which begins before each camera at
        // another moment: only the first is one skater.
        assert!(!side.is_empty() && !front.is_empty(), "{name}");
        // One skater, one moment: the matcher has to see it from the times.
        let mut matcher = Matcher::new();
        for (camera, pass) in [(0, &side[0]), (1, &front[0])] {
            matcher.push(Span {
                camera,
                key: camera as u64,
                started_at_s: pass.started_at_s,
                ended_at_s: pass.ended_at_s,
            });
        }
        let groups = matcher.due(3.0, [Watch::default(); 2]);
        assert_eq!(groups.len(), 1, "{name}");
        assert_eq!(groups[0].len(), 2, "{name}");

        let joint = merge(side[0].clone(), &front[0]);
        let of = |rule: RuleId| -> Vec<f64> {
            let judged = joint.pushes.iter().map(|p| &p.measures[rule]);
            judged
                .filter(|m| m.is_judged())
                .filter_map(|m| m.value)
                .collect()
        };
        println!(
            "{name}: knee {:?} gap {:?}",
            of(RuleId::KneeBend),
            of(RuleId::RecoveryGap)
        );
        assert!(
            !of(RuleId::KneeBend).is_empty(),
            "{name}: no knee from the side"
        );
        assert!(
            !of(RuleId::RecoveryGap).is_empty(),
            "{name}: no gap from the front"
        );
        let mut flagged: Vec<RuleId> = joint
            .pushes
            .iter()
            .flat_map(|p| p.flags.iter().map(|f| f.rule))
            .collect();
        flagged.sort_unstable();
        flagged.dedup();
        assert_eq!(flagged, wanted, "{name}");

        // A push both cameras saw is one push: no more of them than there
        // are toe-offs in truth while the skater was in view.
        let toe_offs: usize = kickplate::rules::Leg::BOTH
            .into_iter()
            .map(|leg| {
                let times = truth.skaters().next().unwrap().toe_offs_s(leg, 30.0);
                let seen = joint.started_at_s - 0.1..=joint.ended_at_s + 0.1;
                times.into_iter().filter(|t| seen.contains(t)).count()
            })
            .sum();
        assert!(
            joint.pushes.len() <= toe_offs,
            "{name}: {} pushes, {toe_offs} toe-offs",
            joint.pushes.len()
        );
    }
}
