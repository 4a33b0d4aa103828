use super::*;
use crate::config::View;
use crate::rules::{AgeGroup, Flag, JudgedPush, Leg, NotJudged, QuantityMap, RuleId};

const KNEE: RuleId = RuleId::KneeBend;

fn pass(knees_deg: &[f64]) -> JudgedPass {
    let pushes = knees_deg.iter().zip(1u32..).map(|(knee, n)| {
        let mut measures = RuleMap::from_fn(|_| Measure::not_judged(NotJudged::NotFromSide));
        measures[KNEE] = Measure::judged(*knee, 2.0, "mean");
        JudgedPush {
            quality: None,
            leg: if n % 2 == 0 { Leg::Left } else { Leg::Right },
            near_leg: Some(true),
            push_start_s: f64::from(n),
            toe_off_s: f64::from(n) + 0.3,
            measures,
            flags: Vec::new(),
        }
    });
    let bare = JudgedPass {
        track_id: 1,
        started_at_s: 0.0,
        ended_at_s: 5.0,
        speed_mps: 5.0,
        view: View::Side,
        thresholds: Thresholds::defaults(AgeGroup::Adult),
        pushes: pushes.collect(),
        quantities: QuantityMap::from_fn(|_| Measure::not_judged(NotJudged::NoPush)),
    };
    let limits = bare.thresholds.clone();
    with_thresholds(bare, &limits)
}

#[test]
fn nothing_becomes_surer_than_it_was_but_what_is_new_in_the_program() {
    let mut old = pass(&[170.0, 170.0, 170.0]);
    old.pushes[0].measures[KNEE] = Measure::not_judged(NotJudged::TooSoft);
    old.pushes[0].flags.clear();
    old.pushes[1].measures[KNEE] = Measure::not_judged(NotJudged::NotInRecording);
    old.pushes[2].measures[KNEE].uncertainty = Some(3.5);
    let again = as_it_was_seen(&old, pass(&[170.0, 170.0, 170.0]), SetUp::Held).unwrap();
    assert_eq!(
        again.pushes[0].measures[KNEE].not_judged,
        Some(NotJudged::TooSoft)
    );
    assert_eq!(again.pushes[0].flags, []);
    assert_eq!(again.pushes[2].measures[KNEE].uncertainty, Some(3.5));
    let flags = &again.pushes[1].flags;
    assert!(
        matches!(
            flags[..],
            [Flag {
                rule: KNEE,
                value: 170.0,
                ..
            }]
        ),
        "{flags:?}"
    );
}

/// What was read in a poor picture stays as unsure as it was; the lane's errors come to it once,
/// whether the stored doubt held them or not.
#[test]
fn the_errors_of_the_lane_count_once_beside_a_poor_picture() {
    let (read, set_up, random): (f64, f64, f64) = (2.0, 1.5, 1.2);
    let mut new = pass(&[170.0]);
    let knee = &mut new.pushes[0].measures[KNEE];
    knee.uncertainty = Some(read.hypot(set_up));
    (knee.random, knee.set_up) = (Some(random), Some(set_up));
    for (held, then) in [
        (SetUp::Held, (1.7 * read).hypot(set_up)),
        (SetUp::NotHeld, 1.7 * read),
    ] {
        let mut old = pass(&[170.0]);
        old.pushes[0].measures[KNEE].uncertainty = Some(then);
        let mut again = new.pushes[0].measures.clone();
        no_surer(&old.pushes[0].measures, &mut again, held);
        let knee = &again[KNEE];
        let close = |is: Option<f64>, wanted: f64| (is.unwrap() - wanted).abs() < 1e-12;
        assert!(
            close(knee.uncertainty, (1.7 * read).hypot(set_up)),
            "{knee:?}"
        );
        assert!(close(knee.random, 1.7 * random), "{knee:?}");
    }
}

#[test]
fn a_pass_that_would_be_cut_otherwise_is_not_measured_again() {
    let old = pass(&[100.0, 100.0]);
    assert!(as_it_was_seen(&old, old.clone(), SetUp::Held).is_some());
    assert_eq!(as_it_was_seen(&old, pass(&[100.0]), SetUp::Held), None);
    let mut later = old.clone();
    later.pushes[1].toe_off_s += 0.25;
    assert_eq!(as_it_was_seen(&old, later, SetUp::Held), None);
    let mut other_leg = old.clone();
    other_leg.pushes[1].leg = other_leg.pushes[0].leg;
    assert_eq!(as_it_was_seen(&old, other_leg, SetUp::Held), None);
}

#[test]
fn what_changes_is_counted_rule_by_rule() {
    let mut told = Told::default();
    let summary = |text: &str| text.lines().last().unwrap().to_owned();
    assert_eq!(summary(&told.text(false)), "Nothing changes.");
    told.changed = 2;
    told.rules[KNEE] = OfRule {
        flagged_before: 5,
        come: 3,
        gone: 1,
        moved: 4,
        judged_otherwise: 0,
    };
    let text = told.text(false);
    let line = text.lines().find(|l| l.starts_with("knee_bend")).unwrap();
    let numbers: Vec<&str> = line.split_whitespace().skip(1).collect();
    assert_eq!(numbers, ["5", "7", "3", "1", "4", "0"]);
    assert!(summary(&text).starts_with("2 passes would change; nothing was written."));
    assert!(summary(&told.text(true)).starts_with("2 passes changed."));
}
