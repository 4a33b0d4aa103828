use super::*;
use crate::config::View;
use crate::rules::{
    AgeGroup, JudgedPass, JudgedPush, Leg, Measure, NotJudged, QuantityMap, RuleId, RuleMap,
    Thresholds,
};

fn push(leg: Leg, toe_off_s: f64) -> JudgedPush {
    JudgedPush {
        quality: None,
        leg,
        near_leg: None,
        push_start_s: toe_off_s - 0.3,
        toe_off_s,
        measures: RuleMap::from_fn(|_| Measure::not_judged(NotJudged::Other)),
        flags: Vec::new(),
    }
}

fn pass(view: View, span_s: [f64; 2], pushes: Vec<JudgedPush>) -> JudgedPass {
    JudgedPass {
        track_id: 7,
        started_at_s: span_s[0],
        ended_at_s: span_s[1],
        speed_mps: 5.0,
        view,
        thresholds: Thresholds::defaults(AgeGroup::U13),
        pushes,
        quantities: QuantityMap::from_fn(|_| Measure::not_judged(NotJudged::Other)),
    }
}

fn span(camera: usize, span_s: [f64; 2]) -> Span {
    Span {
        camera,
        key: 0,
        started_at_s: span_s[0],
        ended_at_s: span_s[1],
    }
}

const IDLE: Watch = Watch {
    passing_since_s: None,
    live: true,
};

fn busy(since_s: f64) -> Watch {
    Watch {
        passing_since_s: Some(since_s),
        live: true,
    }
}

#[test]
fn a_pass_waits_for_the_other_cameras_and_they_come_out_together() {
    let mut matcher = Matcher::new();
    matcher.push(span(0, [10.0, 12.0]));
    assert!(matcher.due(12.3, [IDLE, busy(6.0)]).is_empty());
    matcher.push(span(1, [6.0, 15.0]));
    let out = matcher.due(15.3, [IDLE, IDLE]);
    assert_eq!(out.len(), 1);
    assert_eq!(out[0].iter().map(|s| s.camera).collect::<Vec<_>>(), [0, 1]);
    assert_eq!(matcher.waiting(), 0);
}

#[test]
fn nobody_waits_for_a_camera_that_sees_nobody_or_gives_no_picture() {
    let mut matcher = Matcher::new();
    matcher.push(span(0, [10.0, 12.0]));
    assert!(matcher.due(12.5, [IDLE, IDLE]).is_empty(), "it may be late");
    assert_eq!(matcher.due(12.8, [IDLE, IDLE]).len(), 1);
    matcher.push(span(0, [20.0, 22.0]));
    assert_eq!(matcher.due(22.0, [IDLE, Watch::default()]).len(), 1);
}

#[test]
fn somebody_who_came_later_is_not_waited_for_and_nobody_for_ever() {
    let mut matcher = Matcher::new();
    matcher.push(span(0, [10.0, 12.0]));
    assert_eq!(matcher.due(13.0, [IDLE, busy(12.9)]).len(), 1);
    matcher.push(span(0, [30.0, 32.0]));
    assert!(matcher.due(39.9, [IDLE, busy(31.0)]).is_empty());
    assert_eq!(matcher.due(40.1, [IDLE, busy(31.0)]).len(), 1);
}

/// The side camera sees each for 2 s, the front camera both for 9 s, three
/// seconds apart: both of the long passes share time with both short ones.
#[test]
fn two_skaters_one_behind_the_other_keep_their_order() {
    let mut matcher = Matcher::new();
    matcher.push(span(0, [10.0, 12.0]));
    matcher.push(span(0, [13.0, 15.0]));
    matcher.push(span(1, [5.0, 14.0]));
    matcher.push(span(1, [8.0, 17.0]));
    let out = matcher.due(17.0, [IDLE, IDLE]);
    let starts: Vec<Vec<f64>> = out
        .iter()
        .map(|pair| pair.iter().map(|s| s.started_at_s).collect())
        .collect();
    assert_eq!(starts, [[10.0, 5.0], [13.0, 8.0]]);
}

#[test]
fn the_end_gives_out_what_waits() {
    let mut matcher = Matcher::new();
    matcher.push(span(0, [10.0, 12.0]));
    assert_eq!(matcher.finish().len(), 1);
    assert!(matcher.finish().is_empty());
}

/// Values are taken from the camera that is surer, and what the second alone
/// saw is there.
#[test]
fn each_quantity_comes_from_the_camera_that_sees_it_best() {
    let (knee, gap) = (RuleId::KneeBend, RuleId::RecoveryGap);
    let mut side_push = push(Leg::Left, 10.0);
    side_push.measures[knee] = Measure::judged(112.0, 6.0, "mean");
    let mut front_push = push(Leg::Left, 10.05);
    front_push.measures[knee] = Measure::judged(150.0, 20.0, "mean");
    front_push.measures[gap] = Measure::judged(0.30, 0.02, "smallest");
    let only_front = push(Leg::Right, 10.6);
    let joint = merge(
        pass(View::Side, [9.0, 11.0], vec![side_push]),
        &pass(View::Front, [5.0, 12.0], vec![front_push, only_front]),
    );
    assert_eq!(joint.pushes.len(), 2);
    let left = &joint.pushes[0];
    assert_eq!(left.measures[knee].value, Some(112.0));
    assert_eq!(left.measures[gap].value, Some(0.30));
    assert_eq!(left.measures[gap].how, "front camera: smallest");
    assert!(left.flags.iter().any(|f| f.rule == RuleId::RecoveryGap));
    assert_eq!(joint.pushes[1].toe_off_s, 10.6);
    assert_eq!((joint.started_at_s, joint.ended_at_s), (5.0, 12.0));
    assert_eq!((joint.view, joint.track_id), (View::Side, 7));
}

#[test]
fn cameras_that_see_different_legs_are_not_mixed() {
    let gap = RuleId::RecoveryGap;
    let mut front_push = push(Leg::Right, 10.02);
    front_push.measures[gap] = Measure::judged(0.30, 0.02, "smallest");
    let joint = merge(
        pass(View::Side, [9.0, 11.0], vec![push(Leg::Left, 10.0)]),
        &pass(View::Front, [5.0, 12.0], vec![front_push]),
    );
    assert_eq!(joint.pushes.len(), 1);
    let measure = &joint.pushes[0].measures[gap];
    assert_eq!(measure.not_judged, Some(NotJudged::CamerasContradict));
    assert!(joint.pushes[0].flags.is_empty());
}

#[test]
fn other_thresholds_give_other_flags_and_the_same_measures() {
    let knee = RuleId::KneeBend;
    let mut deep = push(Leg::Left, 10.0);
    deep.measures[knee] = Measure::judged(150.0, 6.0, "mean");
    let before = pass(View::Side, [9.0, 11.0], vec![deep]);
    let judged = with_thresholds(before.clone(), &Thresholds::defaults(AgeGroup::Adult));
    assert_eq!(judged.pushes[0].flags[0].rule, RuleId::KneeBend);
    let mut lenient = Thresholds::defaults(AgeGroup::Adult);
    lenient.limits[knee].at_most = Some(160.0);
    let judged = with_thresholds(judged, &lenient);
    assert!(judged.pushes[0].flags.is_empty());
    assert_eq!(judged.pushes[0].measures, before.pushes[0].measures);
    assert_eq!(judged.thresholds, lenient);
}

#[test]
fn who_has_been_passing_longest_counts_until_gone() {
    let mut presence = Presence::default();
    assert_eq!(presence.since(&[], 1.0), None);
    assert_eq!(presence.since(&[4], 2.0), Some(2.0));
    assert_eq!(presence.since(&[4, 5], 3.0), Some(2.0));
    assert_eq!(presence.since(&[5], 4.0), Some(3.0));
    assert_eq!(presence.since(&[4], 5.0), Some(5.0));
}
