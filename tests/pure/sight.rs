//! Nothing is praised that was not seen well enough to be flagged, and a value is the less sure
//! the worse it was seen.

use kickplate::config::View;
use kickplate::feedback::{CueKind, CueSelector, FeedbackSettings};
use kickplate::quality::Quality;
use kickplate::rules::{
    AgeGroup, JudgedPass, JudgedPush, Leg, Limits, Measure, NotJudged, QuantityMap, RULES, RuleId,
    RuleMap, Thresholds,
};

const GOOD: Quality = Quality {
    pictures_per_s: Some(30.0),
    sharpness: Some(0.55),
    contrast: Some(140.0),
    noise: Some(1.0),
    belief: Some(0.95),
    stature_px: 300.0,
    unsteady_share: Some(0.006),
    sure_share: Some(1.0),
};

/// Just above each bound.
fn nearly_too_bad() -> [(Quality, NotJudged); 6] {
    let needs = RuleId::KneeBend.rule().needs;
    [
        (
            Quality {
                pictures_per_s: Some(needs.pictures_per_s + 0.1),
                ..GOOD
            },
            NotJudged::TooFewPictures,
        ),
        (
            Quality {
                sharpness: Some(needs.sharpness + 0.001),
                ..GOOD
            },
            NotJudged::TooSoft,
        ),
        (
            Quality {
                contrast: Some(needs.contrast + 0.1),
                ..GOOD
            },
            NotJudged::TooLittleContrast,
        ),
        (
            Quality {
                noise: Some(139.9 * needs.noise_share),
                ..GOOD
            },
            NotJudged::TooNoisy,
        ),
        (
            Quality {
                unsteady_share: Some(needs.unsteady_share - 0.0001),
                ..GOOD
            },
            NotJudged::PointsUnsteady,
        ),
        (
            Quality {
                sure_share: Some(needs.sure_share + 0.0005),
                ..GOOD
            },
            NotJudged::PointsUnsure,
        ),
    ]
}

fn inside(limits: &Limits) -> f64 {
    match (limits.at_least, limits.at_most) {
        (Some(low), Some(high)) => (low + high) / 2.0,
        (Some(low), None) => low,
        (None, Some(high)) => high,
        (None, None) => 0.0,
    }
}

/// A pass in which everything is in its band, with a push for each of these.
fn pass(seen: &[Option<Quality>]) -> JudgedPass {
    let thresholds = Thresholds::defaults(AgeGroup::U13);
    let push = |quality: &Option<Quality>| JudgedPush {
        quality: *quality,
        leg: Leg::Left,
        near_leg: Some(true),
        push_start_s: 0.0,
        toe_off_s: 0.3,
        measures: RuleMap::from_fn(|rule: RuleId| {
            Measure::judged(inside(&thresholds.limits[rule]), 1.0, "")
        }),
        flags: Vec::new(),
    };
    JudgedPass {
        track_id: 1,
        started_at_s: 0.0,
        ended_at_s: 2.0,
        speed_mps: 5.0,
        view: View::Side,
        pushes: seen.iter().map(push).collect(),
        quantities: QuantityMap::from_fn(|_| Measure::not_judged(NotJudged::Other)),
        thresholds,
    }
}

fn said(pass: &JudgedPass) -> CueKind {
    CueSelector::new(FeedbackSettings::default())
        .after_pass(pass)
        .kind
}

#[test]
fn praise_is_for_what_was_seen_well() {
    assert_eq!(said(&pass(&[Some(GOOD); 3])), CueKind::Praise);
    // Older recordings do not know it.
    assert_eq!(said(&pass(&[None; 3])), CueKind::Praise);
    for (bad, reason) in all_bad() {
        assert_eq!(said(&pass(&[Some(bad); 3])), CueKind::NotJudged { reason });
        // Once well is enough.
        assert_eq!(said(&pass(&[Some(bad), Some(GOOD)])), CueKind::Praise);
    }
}

/// Two things at once that each would still do.
fn all_bad() -> Vec<(Quality, NotJudged)> {
    let mut bad = nearly_too_bad().to_vec();
    for (quality, reason) in &mut bad {
        if *reason == NotJudged::TooFewPictures {
            quality.sharpness = Some(RuleId::KneeBend.rule().needs.sharpness + 0.06);
        } else {
            quality.pictures_per_s = Some(20.0);
        }
    }
    bad
}

/// One rule that was hidden in each push is enough to leave praise out, whatever the others
/// show.
#[test]
fn a_rule_that_the_picture_hid_is_not_praised() {
    let mut hidden = pass(&[Some(GOOD); 3]);
    for push in &mut hidden.pushes {
        push.measures[RuleId::KneeBend] = Measure::not_judged(NotJudged::TooSoft);
    }
    let reason = NotJudged::TooSoft;
    assert_eq!(said(&hidden), CueKind::NotJudged { reason });
    hidden.thresholds.limits[RuleId::KneeBend].flagged = false;
    assert_eq!(said(&hidden), CueKind::Praise);
}

/// A camera that was moved says nothing, whatever was measured, and whoever's limits hold;
/// also where no push was seen.
#[test]
fn a_pass_of_a_moved_camera_is_neither_praised_nor_put_right() {
    let reason = NotJudged::CameraMoved;
    let good = pass(&[Some(GOOD); 3]);
    let mut bad = good.clone();
    for push in &mut bad.pushes {
        push.measures[RuleId::KneeBend] = Measure::judged(170.0, 1.0, "");
    }
    kickplate::rules::flag_all(&mut bad.pushes, &bad.thresholds);
    assert!(matches!(said(&bad), CueKind::Do { .. }));
    let empty = JudgedPass {
        pushes: Vec::new(),
        ..good.clone()
    };
    for pass in [good, bad, empty] {
        let moved = pass.not_judged(reason);
        assert_eq!(said(&moved), CueKind::NotJudged { reason });
        let others = Thresholds::defaults(AgeGroup::U9);
        let anew = kickplate::multi_camera::with_thresholds(moved, &others);
        assert_eq!(said(&anew), CueKind::NotJudged { reason });
    }
}

/// Better than before is praise, too.
#[test]
fn improvement_that_was_seen_badly_is_not_praised() {
    let after = |quality: Quality| {
        let mut coach = CueSelector::new(FeedbackSettings::default());
        let mut cue = None;
        for k in 0..6 {
            let mut pass = pass(&[Some(if k < 5 { GOOD } else { quality })]);
            let limit = pass.thresholds.limits[RuleId::KneeBend]
                .at_most
                .expect("a limit");
            let value = limit + if k < 5 { 40.0 } else { 15.0 };
            pass.pushes[0].measures[RuleId::KneeBend] = Measure::judged(value, 1.0, "");
            kickplate::rules::flag_all(&mut pass.pushes, &pass.thresholds);
            cue = Some(coach.after_pass(&pass).kind);
        }
        cue.expect("passes")
    };
    let rule = Some(RuleId::KneeBend);
    let improved = |cue: &CueKind| matches!(cue, CueKind::Improved { .. });
    let well = after(GOOD);
    assert!(improved(&well) && well.rule() == rule, "{well:?}");
    for (bad, _) in all_bad() {
        let badly = after(bad);
        assert!(!improved(&badly) && badly.rule() == rule, "{badly:?}");
    }
}

/// From good to the bound the uncertainty grows without a step and never shrinks; beyond
/// the bound nothing is judged. What was not measured adds nothing.
#[test]
fn uncertainty_grows_smoothly_down_to_the_bound() {
    for rule in RULES {
        let needs = &rule.needs;
        assert_eq!(needs.widening(&Quality::default()), 1.0);
        assert_eq!(needs.widening(&GOOD), 1.0);
        type Set = fn(f64) -> Quality;
        let ways: [(Set, f64, f64); 6] = [
            (
                |v| Quality {
                    pictures_per_s: Some(v),
                    ..GOOD
                },
                30.0,
                needs.pictures_per_s,
            ),
            (
                |v| Quality {
                    sharpness: Some(v),
                    ..GOOD
                },
                0.55,
                needs.sharpness,
            ),
            (
                |v| Quality {
                    contrast: Some(v),
                    noise: None,
                    ..GOOD
                },
                140.0,
                needs.contrast,
            ),
            (
                |v| Quality {
                    noise: Some(140.0 * v),
                    ..GOOD
                },
                0.005,
                needs.noise_share,
            ),
            (
                |v| Quality {
                    unsteady_share: Some(v),
                    ..GOOD
                },
                0.006,
                needs.unsteady_share,
            ),
            (
                |v| Quality {
                    sure_share: Some(v),
                    ..GOOD
                },
                1.0,
                needs.sure_share,
            ),
        ];
        for (k, (seen, good, bound)) in ways.into_iter().enumerate() {
            const STEPS: u32 = 400;
            let mut before = 1.0;
            for step in 0..=STEPS {
                let share = f64::from(step) / f64::from(STEPS);
                let now = needs.widening(&seen(good + share * (bound - good)));
                assert!(
                    (0.0..0.02).contains(&(now - before)),
                    "{} {k}: {before} {now}",
                    rule.short
                );
                before = now;
            }
            assert!(before > 1.15, "{} {k}: {before} at the bound", rule.short);
            assert_eq!(needs.unmet(&seen(bound + 0.001 * (good - bound))), None);
            assert!(needs.unmet(&seen(bound - 0.001 * (good - bound))).is_some());
        }
    }
}

/// Good skaters in bad pictures, as the full model read them (`tools/disturb/disturb.py`,
/// `tools/skater/pack_traces.py`): blurred, behind JPEG blocks and fog, at 15 and 12 pictures a
/// second. With the bounds of before the first two and the one at 15 a second were told to do
/// what they did, and so was the one in the fog where a single push decided.
#[test]
fn good_skaters_in_bad_pictures_are_told_nothing_to_do() {
    #[derive(serde::Deserialize)]
    struct Case {
        age_group: AgeGroup,
        lane: kickplate::config::Lane,
        frames: Vec<kickplate::pose::TraceFrame>,
    }
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/truth/sight");
    let (mut cases, mut passes, mut hidden) = (0, 0, 0);
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let case: Case = serde_json::from_str(&std::fs::read_to_string(&path).unwrap()).unwrap();
        let thresholds = Thresholds::defaults(case.age_group);
        let frames = case.frames.iter().map(|frame| frame.to_frame());
        let model = kickplate::pose::ModelKind::Full;
        for pass in kickplate_lab::score::judge_poses(frames, model, &case.lane, &thresholds) {
            let cue = said(&pass);
            assert!(
                !matches!(cue, CueKind::Do { .. } | CueKind::Improved { .. }),
                "{}: {cue:?}",
                path.display()
            );
            passes += 1;
            hidden += usize::from(matches!(cue, CueKind::NotJudged { .. }));
        }
        cases += 1;
    }
    assert!(
        cases >= 5 && passes >= 12 && hidden >= 3,
        "{cases} {passes} {hidden}"
    );
}
