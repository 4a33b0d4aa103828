//! Lanes whose numbers are wrong, on stick skaters that the right lane's camera projects. The rule
//! that is held: JCGM 100:2008 (GUM), 5.1.2, against drawing the errors (Monte Carlo).

use super::*;
use crate::calibration::{Checked, Found, Gauged};
use crate::config::{Lane, LaneErrors, Subject, UNSURE, View};
use crate::geometry::Camera;
use crate::rules::{AgeGroup, Evidence, JudgedPass, Leg, RuleMap, Thresholds, judge};
use crate::stride::cut;
use crate::stride::synthetic::{self, Skater};
use crate::track::{Footing, Pass, lane_position};

const VIEWS: [View; 3] = [View::Side, View::Front, View::Rear];
/// Lanes that are drawn for each skater.
const DRAWS: usize = 120;

/// Numbers of a normal distribution, the same in each run (splitmix64 and Box-Muller).
struct Normal(u64);

impl Normal {
    fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }

    fn draw(&mut self) -> f64 {
        let (a, b) = (self.uniform(), self.uniform());
        (-2.0 * (1.0 - a).ln()).sqrt() * (std::f64::consts::TAU * b).cos()
    }
}

fn skaters() -> [Skater; 4] {
    let usual = Skater::default();
    [
        usual,
        Skater {
            knee_deg: 120.0,
            lean_deg: 30.0,
            cross_m: 0.12,
            ..usual
        },
        Skater {
            extension_deg: 155.0,
            recovery_aside_m: 0.09,
            toe_out_deg: 20.0,
            ..usual
        },
        Skater {
            knee_deg: 95.0,
            lean_deg: 52.0,
            recovery_aside_m: 0.12,
            cross_m: 0.16,
            ..usual
        },
    ]
}

/// The lane as it stands, before people.
fn right(view: View, skater: &Skater, errors: LaneErrors) -> Lane {
    Lane {
        subject: Subject::People,
        errors,
        ..synthetic::lane(view, skater)
    }
}

/// So many times what is usual.
fn by_hand(times: [f64; UNSURE]) -> LaneErrors {
    let usual = LaneErrors::by_hand();
    let by = |sd: Option<f64>, i: usize| sd.map(|sd| sd * times[i]);
    LaneErrors {
        camera_height_sd_m: by(usual.camera_height_sd_m, 0),
        tilt_sd_deg: by(usual.tilt_sd_deg, 1),
        hfov_sd_deg: by(usual.hfov_sd_deg, 2),
        roll_sd_deg: by(usual.roll_sd_deg, 3),
        lane_distance_sd_m: by(usual.lane_distance_sd_m, 4),
        skater_height_sd_m: by(usual.skater_height_sd_m, 5),
        error_correlations: None,
    }
}

/// The pass as it is tracked and judged on a lane whose numbers may be wrong.
fn judged_on(lane: &Lane, pass: &Pass) -> JudgedPass {
    let [width_px, height_px] = pass.frame_px;
    let camera = Camera::of_lane(lane, width_px, height_px);
    let mut tracked = pass.clone();
    for sample in &mut tracked.samples {
        sample.lane_m = lane_position(lane, &camera, &Footing::of(&sample.points));
    }
    judge(&cut(&tracked, lane), &Thresholds::defaults(AgeGroup::Adult))
}

/// A value on a wrong lane beside the same on the right one.
struct Value {
    rule: RuleId,
    /// What the lane's errors do to it.
    off: f64,
    is: Measure,
}

fn beside(wrong: &JudgedPass, right: &JudgedPass) -> Vec<Value> {
    let mut values = Vec::new();
    for push in &wrong.pushes {
        let same = right
            .pushes
            .iter()
            .find(|p| p.leg == push.leg && (p.toe_off_s - push.toe_off_s).abs() < 0.1);
        let Some(same) = same else { continue };
        for &rule in RuleId::ALL {
            let (is, was) = (&push.measures[rule], &same.measures[rule]);
            if let (Some(value), Some(truth)) = (is.judged_value(), was.judged_value()) {
                values.push(Value {
                    rule,
                    off: value - truth,
                    is: is.clone(),
                });
            }
        }
    }
    values
}

/// The errors that have nothing to do with the lane, drawn as they are stated: what all pushes
/// share once, what differs from push to push for each. Gives how many values lie within two
/// standard deviations, with the set-up's part and with those of before it, and how many there are.
#[derive(Debug, Clone, Copy, Default)]
struct Share {
    within: f64,
    without: f64,
    all: f64,
}

fn count(values: &[Value], shares: &mut RuleMap<Share>, normal: &mut Normal) {
    let shared_draw = RuleMap::<f64>::from_fn(|_| normal.draw());
    for Value { rule, off, is } in values {
        let (stated, part) = (is.uncertainty.unwrap(), is.set_up.unwrap_or(0.0));
        let random = is.random.unwrap();
        let other2 = stated * stated - part * part;
        let shared = (other2 - random * random).max(0.0).sqrt();
        let error = off + shared * shared_draw[*rule] + random * normal.draw();
        let share = &mut shares[*rule];
        share.all += 1.0;
        share.within += f64::from(u8::from(error.abs() <= 2.0 * stated));
        share.without += f64::from(u8::from(error.abs() <= 2.0 * other2.sqrt()));
    }
}

fn of_all(shares: &RuleMap<Share>) -> impl Iterator<Item = (RuleId, f64, f64)> {
    let seen = shares.iter().filter(|(_, share)| share.all > 0.0);
    seen.map(|(rule, s)| (rule, 100.0 * s.within / s.all, 100.0 * s.without / s.all))
}

/// All numbers wrong together, drawn from normal distributions as stated.
fn drawn(view: View, errors: LaneErrors, normal: &mut Normal) -> RuleMap<Share> {
    let mut shares = RuleMap::default();
    for skater in skaters() {
        let right = right(view, &skater, errors);
        let pass = skater.pass(&right, 30.0);
        let truth = judged_on(&right, &pass);
        for _ in 0..DRAWS {
            let wrong = right
                .errors
                .moves()
                .iter()
                .fold(right.clone(), |lane, by| lane.moved(by, normal.draw()));
            count(
                &beside(&judged_on(&wrong, &pass), &truth),
                &mut shares,
                normal,
            );
        }
    }
    shares
}

#[test]
fn lanes_set_up_by_hand_keep_95_of_100_values_within_two_deviations() {
    let mut normal = Normal(1);
    let mut told = 0;
    for view in VIEWS {
        for (rule, within, _) in of_all(&drawn(view, by_hand([1.0; UNSURE]), &mut normal)) {
            assert!(
                (92.0..=98.0).contains(&within),
                "{view:?} {rule} {within:.1}"
            );
            told += 1;
        }
    }
    assert_eq!(told, 9, "three quantities in each view");
}

/// A camera that was set up badly, and says so: from the side its roll turns the trunk, from
/// the front its tilt makes everything larger or smaller. Without the part of the set-up the stated
/// doubt would be far too small.
#[test]
fn badly_set_up_lanes_keep_it_too_and_without_their_part_would_not() {
    let mut normal = Normal(2);
    let mut fell = Vec::new();
    for view in VIEWS {
        let times = match view {
            View::Side => [1.0, 1.0, 1.0, 10.0, 1.0, 1.0],
            _ => [1.0, 1.5, 1.0, 1.0, 1.0, 1.0],
        };
        for (rule, within, without) in of_all(&drawn(view, by_hand(times), &mut normal)) {
            assert!(
                (92.0..=98.0).contains(&within),
                "{view:?} {rule} {within:.1}"
            );
            if without < 85.0 {
                fell.push((view, rule));
            }
        }
    }
    let expected = [
        (View::Side, RuleId::TrunkLean),
        (View::Front, RuleId::RecoveryGap),
        (View::Rear, RuleId::RecoveryGap),
    ];
    assert_eq!(fell, expected);
}

/// One number after the other off by one standard deviation, up and down, the others right.
#[test]
fn one_number_that_is_off_keeps_it_as_well() {
    let mut normal = Normal(3);
    for view in VIEWS {
        for number in 0..UNSURE {
            let mut times = [0.0; UNSURE];
            times[number] = 1.0;
            let mut shares = RuleMap::<Share>::default();
            for skater in skaters() {
                let right = right(view, &skater, by_hand(times));
                let pass = skater.pass(&right, 30.0);
                let truth = judged_on(&right, &pass);
                let [by] = right.errors.moves()[..] else {
                    panic!("one move");
                };
                for side in [1.0, -1.0] {
                    let values = beside(&judged_on(&right.moved(&by, side), &pass), &truth);
                    for _ in 0..DRAWS {
                        count(&values, &mut shares, &mut normal);
                    }
                }
            }
            for (rule, within, _) in of_all(&shares) {
                assert!(
                    (92.0..=98.0).contains(&within),
                    "{view:?} {number} {rule} {within:.1}"
                );
            }
        }
    }
}

fn truth_doubt(pass: &JudgedPass, rule: RuleId) -> f64 {
    let measures = pass.pushes.iter().map(|p| &p.measures[rule]);
    measures
        .filter_map(|m| m.uncertainty)
        .fold(f64::MAX, f64::min)
}

/// The part that is stated on the right lane is how far values scatter on lanes that are drawn.
#[test]
fn the_part_is_what_drawing_the_errors_gives() {
    let mut normal = Normal(4);
    let together = LaneErrors {
        error_correlations: Some([0.0, 0.0, 0.0, 0.7, 0.0, 0.0, -0.6, 0.0, 0.0, 0.0]),
        ..by_hand([2.0, 0.7, 1.0, 1.0, 3.0, 1.0])
    };
    for view in VIEWS {
        let skater = skaters()[1];
        let right = right(view, &skater, together);
        let pass = skater.pass(&right, 30.0);
        let truth = judged_on(&right, &pass);
        let (mut sums, mut parts) = (
            RuleMap::<[f64; 3]>::default(),
            RuleMap::<[f64; 2]>::default(),
        );
        for value in beside(&truth, &truth) {
            let part = value.is.set_up.unwrap();
            parts[value.rule][0] += part * part;
            parts[value.rule][1] += 1.0;
        }
        for _ in 0..3 * DRAWS {
            let wrong = right
                .errors
                .moves()
                .iter()
                .fold(right.clone(), |lane, by| lane.moved(by, normal.draw()));
            for value in beside(&judged_on(&wrong, &pass), &truth) {
                let sum = &mut sums[value.rule];
                sum[0] += 1.0;
                sum[1] += value.off;
                sum[2] += value.off * value.off;
            }
        }
        let mut told = 0;
        for (rule, [n, first, second]) in sums.iter().filter(|(_, s)| s[0] > 0.0) {
            let scatter = (second / n - (first / n).powi(2)).sqrt();
            let [square, pushes] = parts[rule];
            let stated = (square / pushes).sqrt();
            // When a push is found moves a little with the lane, and is not carried: a hundredth of
            // the whole doubt.
            let aside = 0.01 * truth_doubt(&truth, rule);
            let off = (stated - scatter).abs();
            assert!(
                off < 0.12 * scatter + aside,
                "{view:?} {rule} {stated} {scatter}"
            );
            told += 1;
        }
        assert_eq!(told, 3, "{view:?}");
    }
}

/// Values, and what is judged, stay as they are; an exact lane says nothing of errors.
#[test]
fn only_the_doubt_grows_and_on_an_exact_lane_nothing_does() {
    for view in VIEWS {
        for skater in skaters() {
            let unsure = right(view, &skater, LaneErrors::by_hand());
            let pass = skater.pass(&unsure, 30.0);
            let exact = Lane {
                errors: LaneErrors::none(),
                ..unsure.clone()
            };
            let rendered = synthetic::lane(view, &skater);
            assert!(rendered.errors.is_empty());
            let set_up = |pass: &JudgedPass| -> Vec<Option<f64>> {
                let of_pushes = pass.pushes.iter().flat_map(|p| p.measures.values());
                of_pushes
                    .chain(pass.quantities.values())
                    .map(|m| m.set_up)
                    .collect()
            };
            let [with, without] = [&unsure, &exact].map(|lane| judged_on(lane, &pass));
            for lane in [&exact, &rendered] {
                let parts = set_up(&judged_on(lane, &pass));
                assert!(parts.iter().all(Option::is_none));
            }
            let all = |pass: &JudgedPass| -> Vec<Measure> {
                let of_pushes = pass.pushes.iter().flat_map(|p| p.measures.values());
                of_pushes.chain(pass.quantities.values()).cloned().collect()
            };
            let mut grown = 0;
            for (with, without) in all(&with).iter().zip(all(&without)) {
                assert_eq!(
                    (with.value, with.not_judged),
                    (without.value, without.not_judged)
                );
                assert_eq!(
                    (with.random, with.praise_not),
                    (without.random, without.praise_not)
                );
                let (Some(is), Some(was)) = (with.uncertainty, without.uncertainty) else {
                    continue;
                };
                assert!(is >= was);
                let part = with.set_up.unwrap_or(0.0);
                assert!((was.hypot(part) - is).abs() < 1e-12);
                grown += usize::from(is > was);
            }
            assert!(grown >= 3, "{view:?} {grown}");
        }
    }
}

/// A pass may show steps and no whole push.
#[test]
fn quantities_of_a_pass_without_whole_pushes_have_their_part() {
    let skater = Skater::default();
    let lane = right(View::Front, &skater, LaneErrors::by_hand());
    let mut motion = cut(&skater.pass(&lane, 30.0), &lane);
    motion.pushes.clear();
    let pass = judge(&motion, &Thresholds::defaults(AgeGroup::Adult));
    let length = &pass.quantities[QuantityId::StepLength];
    assert!(
        length.is_judged() && length.set_up > Some(0.1),
        "{length:?}"
    );
}

/// It is the same error in every push: their mean has all of it.
#[test]
fn more_pushes_do_not_make_it_smaller() {
    let skater = Skater::default();
    let lane = right(View::Front, &skater, LaneErrors::by_hand());
    let pass = judged_on(&lane, &skater.pass(&lane, 30.0));
    for leg in Leg::BOTH {
        let gap = RuleId::RecoveryGap;
        let evidence = Evidence::of(&pass.pushes, gap, leg).unwrap();
        let of_leg = pass.pushes.iter().filter(|p| p.leg == leg);
        let parts: Vec<f64> = of_leg.filter_map(|p| p.measures[gap].set_up).collect();
        let mean = parts.iter().sum::<f64>() / parts.len() as f64;
        assert!(evidence.pushes >= 2 && mean > 0.01);
        assert!(evidence.deviation > mean, "{evidence:?} {mean}");
    }
}

/// A check takes off of an angle what the lane's errors do to it: it is not told twice. Of
/// a length it takes off what they do at one place.
#[test]
fn what_a_check_took_off_is_not_added_again_but_for_lengths() {
    let found = Found {
        offset: 0.0,
        offset_error: 1.0,
        slope: 0.0,
        slope_error: 0.0,
        centre: 40.0,
        low: 20.0,
        high: 60.0,
        between: 1.0,
        persons: 3,
    };
    let skater = Skater::default();
    for (view, held) in [(View::Side, Gauged::Trunk), (View::Front, Gauged::HeelGap)] {
        let mut lane = right(view, &skater, LaneErrors::by_hand());
        lane.checked = Some(Checked {
            date: None,
            persons: 3,
            model: crate::body::ModelKind::default(),
            knee: None,
            extension: None,
            heel_gap: (held == Gauged::HeelGap).then_some(found),
            trunk: (held == Gauged::Trunk).then_some(found),
        });
        let pass = judged_on(&lane, &skater.pass(&lane, 30.0));
        for measures in pass.pushes.iter().map(|p| &p.measures) {
            for (rule, measure) in measures.iter().filter(|(_, m)| m.is_judged()) {
                let part = measure.set_up.unwrap();
                assert_eq!(part == 0.0, rule == RuleId::TrunkLean, "{rule} {part}");
            }
        }
    }
}

#[test]
fn a_value_that_is_lost_on_a_moved_lane_still_has_its_part() {
    let close = |found: Option<f64>, wanted: f64| (found.unwrap() - wanted).abs() < 1e-12;
    assert!(close(
        part(100.0, [Some(102.0), Some(97.0)], [None; 2]),
        2.5
    ));
    assert!(close(part(100.0, [None, Some(97.0)], [None; 2]), -3.0));
    assert!(close(part(100.0, [Some(102.0), None], [None; 2]), 2.0));
    let near = [Some(100.2), Some(99.8)];
    assert!(close(part(100.0, [None; 2], near), 2.0));
    assert_eq!(part(100.0, [None; 2], [None; 2]), None);
}
