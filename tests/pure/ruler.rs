//! The ruler's model against statsmodels and SciPy (`tools/outside/make_ruler.py`), and what
//! it promises.

use kickplate::body::ModelKind;
use kickplate::calibration::{Basis, Calibration, Checked, Gauged, Prior};
use kickplate::config::{Lane, LaneErrors, Subject, View};
use kickplate::ruler::{
    Difference, Hold, Pair, PairFault, Record, RecordFault, Setting, fitted, mixed, posterior,
    stand::Standing, stander::Stander,
};
use kickplate::rules::{AgeGroup, RuleId, Thresholds, judge};
use kickplate::stride::synthetic::{self, Skater};
use serde::Deserialize;

#[derive(Deserialize)]
struct Golden {
    cases: Vec<Case>,
    together: Vec<Together>,
}

#[derive(Deserialize)]
struct Case {
    /// Person, reference, reading less reference.
    rows: Vec<(usize, f64, f64)>,
    sloped: bool,
    centre: f64,
    offset: f64,
    slope: f64,
    offset_se: f64,
    slope_se: f64,
    between: f64,
    within: f64,
}

#[derive(Deserialize)]
struct Together {
    before: [f64; 2],
    measured: [f64; 2],
    mean: f64,
    sd: f64,
}

fn golden() -> Golden {
    serde_json::from_str(include_str!("../golden/outside/ruler.json")).unwrap()
}

fn pairs(rows: &[(usize, f64, f64)]) -> Vec<Pair> {
    let pair = |&(person, reference, off): &(usize, f64, f64)| Pair {
        person,
        reference,
        reading: reference + off,
    };
    rows.iter().map(pair).collect()
}

const ANGLES: [f64; 4] = [178.0, 150.0, 120.0, 100.0];

/// `persons` who hold four angles each, read `offset` too straight, one hold as another.
fn exact(persons: usize, offset: f64) -> Vec<Pair> {
    let wobble = [0.6, -0.4, 0.3, -0.5];
    let rows: Vec<(usize, f64, f64)> = (0..persons)
        .flat_map(|p| {
            let held = ANGLES.into_iter().zip(wobble);
            held.map(move |(reference, w)| (p, reference, offset + w))
        })
        .collect();
    pairs(&rows)
}

fn prior() -> Prior {
    Calibration::of(Subject::People, ModelKind::Full).prior(Gauged::Knee, View::Side)
}

fn knee(pairs: &[Pair]) -> kickplate::ruler::Fitted {
    fitted(Gauged::Knee, pairs, &prior()).unwrap().unwrap()
}

#[test]
fn the_model_finds_what_statsmodels_finds() {
    let golden = golden();
    assert!(golden.cases.len() >= 6);
    for (i, case) in golden.cases.iter().enumerate() {
        let found = mixed(&pairs(&case.rows), case.sloped).unwrap();
        for (name, ours, theirs, near) in [
            ("centre", found.centre, case.centre, 1e-9),
            ("offset", found.offset, case.offset, 0.01),
            ("slope", found.slope, case.slope, 0.001),
            ("its error", found.offset_error, case.offset_se, 0.02),
            ("the slope's error", found.slope_error, case.slope_se, 0.001),
            ("between", found.between, case.between, 0.15),
            ("within", found.within, case.within, 0.02),
        ] {
            assert!(
                (ours - theirs).abs() <= near,
                "case {i}, {name}: {ours} for {theirs}"
            );
        }
    }
}

#[test]
fn prior_and_measurement_come_together_as_scipy_has_it() {
    let golden = golden();
    assert!(golden.together.len() >= 6);
    for case in &golden.together {
        let [mean, sd] = posterior(case.before, case.measured);
        assert!(
            (mean - case.mean).abs() < 1e-3 * case.sd,
            "{mean} {}",
            case.mean
        );
        assert!((sd / case.sd - 1.0).abs() < 2e-3, "{sd} {}", case.sd);
    }
}

#[test]
fn with_nobody_the_published_numbers_hold_and_with_six_mostly_the_measurement() {
    assert_eq!(fitted(Gauged::Knee, &[], &prior()), Ok(None));
    let before = prior().offset;
    let offset = |persons| knee(&exact(persons, 9.0)).found;
    let (one, three, six) = (offset(1), offset(3), offset(6));
    assert!(before < one.offset && one.offset < three.offset && three.offset < six.offset);
    assert!(six.offset < 9.0, "{six:?}");
    let share = (six.offset - before) / (9.0 - before);
    assert!(share > 0.7, "{share}");
    // The more persons, the surer.
    assert!(three.offset_error < one.offset_error && six.offset_error < three.offset_error);
    // Six who agree leave less doubt between persons than is published.
    assert!(six.between < three.between && three.between < prior().spread.between);
    // And an examiner's goniometer stays what it is, however many hold it.
    let many = offset(40);
    assert!(
        many.offset_error > 0.7 * prior().spread.of_reference,
        "{many:?}"
    );
}

/// The doubt that is told without a check is made of the parts of the prior.
#[test]
fn the_parts_of_the_prior_are_the_published_doubt() {
    for model in [ModelKind::Full, ModelKind::Heavy] {
        let c = Calibration::of(Subject::People, model);
        for (of, view, doubt) in [
            (
                Gauged::Knee,
                View::Side,
                c.glide_knee(View::Side, 120.0).doubt,
            ),
            (
                Gauged::Knee,
                View::Oblique,
                c.glide_knee(View::Oblique, 120.0).doubt,
            ),
            (Gauged::Extension, View::Side, c.extension(160.0).doubt),
            (Gauged::Trunk, View::Side, c.trunk(45.0).doubt),
            (
                Gauged::HeelGap,
                View::Front,
                c.heel_gap(View::Front, 0.1).doubt,
            ),
            (
                Gauged::HeelGap,
                View::Rear,
                c.heel_gap(View::Rear, 0.1).doubt,
            ),
        ] {
            let p = c.prior(of, view);
            let parts = p.of_rink.hypot(p.spread.between).hypot(p.spread.moving);
            // What a lane's scale is off belongs to the lane, and a check meets it: 5 % of a stance.
            let by_scale = if of == Gauged::HeelGap { 0.0132 } else { 0.0 };
            let stated = doubt.shared.hypot(by_scale);
            assert!((parts - stated).abs() < 1e-9, "{of:?} {view:?}");
            assert!(
                p.of_rink > p.spread.of_reference,
                "{of:?}: a check could not help"
            );
        }
    }
}

#[test]
fn three_levels_make_a_slope_and_two_do_not() {
    let sloped: Vec<(usize, f64, f64)> = (0..4)
        .flat_map(|p| {
            ANGLES.map(|r| {
                (
                    p,
                    r,
                    6.0 - 0.1 * (r - 137.0) + if r > 160.0 { 0.2 } else { -0.1 },
                )
            })
        })
        .collect();
    let found = knee(&pairs(&sloped)).found;
    assert!((found.slope + 0.1).abs() < 0.01, "{}", found.slope);
    assert!(found.slope_error > 0.0);
    let two: Vec<(usize, f64, f64)> = (0..3)
        .flat_map(|p| {
            [
                (p, 170.0, 1.0),
                (p, 171.0, 1.4),
                (p, 120.0, 5.0),
                (p, 119.0, 5.3),
            ]
        })
        .collect();
    assert_eq!(knee(&pairs(&two)).found.slope, 0.0);
}

#[test]
fn a_wild_hold_is_said_and_takes_part() {
    let mut all = exact(3, 2.0);
    let before = knee(&all);
    assert!(before.outliers.is_empty());
    all[6].reading += 25.0;
    let after = knee(&all);
    assert_eq!(after.outliers, [6]);
    assert!(after.found.offset > before.found.offset);
}

#[test]
fn what_cannot_be_held_is_refused_in_one_sentence() {
    let mut all = exact(2, 2.0);
    all[1].reference = 400.0;
    let fault = fitted(Gauged::Knee, &all, &prior()).unwrap_err();
    assert_eq!(
        fault.to_string(),
        "a reference of 400 degrees cannot be: 60 to 180 degrees can be held; enter what the instrument shows"
    );
    all[1].reference = f64::NAN;
    assert_eq!(
        fitted(Gauged::Knee, &all, &prior()),
        Err(PairFault::NoNumber)
    );
    let puck = Gauged::HeelGap.holdable(7.62).unwrap_err().to_string();
    assert!(
        puck.contains("762 cm") && puck.contains("0 to 50 cm"),
        "{puck}"
    );
}

fn side_lane() -> Lane {
    Lane {
        subject: Subject::People,
        ..synthetic::lane(View::Side, &Skater::default())
    }
}

fn setting() -> Setting {
    Setting {
        camera: "usb-1".to_owned(),
        lane: side_lane(),
        model: ModelKind::Full,
        engine: "native".to_owned(),
    }
}

/// A person whose points are read `bias` degrees too straight holds the four angles.
fn hold(record: &mut Record, person: &str, bias_deg: f64) {
    let lane = record.setting.lane.clone();
    for reference in [170.0, 150.0, 120.0, 100.0] {
        let who = Stander {
            knee_deg: reference + bias_deg,
            ..Stander::default()
        };
        let standing = Standing::find(&who.frames(&lane, 2.2), &lane, ModelKind::Full).unwrap();
        for of in [Gauged::Knee, Gauged::Extension] {
            if of == Gauged::Extension && reference < 140.0 {
                continue;
            }
            let hold = Hold {
                of,
                reference,
                reading: standing.read(of).unwrap(),
                person: person.to_owned(),
                date: jiff::civil::date(2026, 11, 30),
                stature_m: 1.75,
                gear: "shin pads".to_owned(),
                undone: false,
            };
            record.add(hold).unwrap();
        }
    }
}

/// Knee values of a pass, and what is told of their doubt.
fn values(checked: Option<Checked>, bias_deg: f64, read_by: ModelKind) -> (f64, f64, Basis) {
    let skater = Skater {
        knee_deg: 118.0 + bias_deg,
        ..Skater::default()
    };
    let lane = Lane {
        checked,
        ..side_lane()
    };
    let mut motion = kickplate::stride::cut(&skater.pass(&lane, 30.0), &lane);
    motion.read_by = read_by;
    let pass = judge(&motion, &Thresholds::defaults(AgeGroup::Adult));
    let knees: Vec<(f64, f64)> = pass
        .pushes
        .iter()
        .map(|p| &p.measures[RuleId::KneeBend])
        .filter_map(|m| Some((m.judged_value()?, m.uncertainty?)))
        .collect();
    assert!(!knees.is_empty());
    let n = knees.len() as f64;
    let mean = knees.iter().map(|k| k.0).sum::<f64>() / n;
    (mean, knees[0].1, motion.calibration().basis())
}

/// The whole way: persons of whom the model errs by 9 degrees hold references; the next
/// skater, of whom it errs as much, is shown by so much nearer as the model says.
#[test]
fn a_check_takes_the_bias_off_the_next_skaters_values() {
    let bias_deg = 9.0;
    let mut record = Record::new(setting());
    assert_eq!(record.checked(), None);
    let true_deg = values(None, 0.0, ModelKind::Full).0 + prior().offset;
    let mut before = values(None, bias_deg, ModelKind::Full);
    assert_eq!(before.2, Basis::PeoplePublished);
    let mut off = before.0 - true_deg;
    assert!((off - (bias_deg - prior().offset)).abs() < 1.5, "{off}");
    for (n, person) in ["AB", "CD", "EF", "4", "5", "6"].into_iter().enumerate() {
        hold(&mut record, person, bias_deg + [0.8, -0.7, 0.2][n % 3]);
        let checked = record.checked().unwrap();
        let now = values(Some(checked), bias_deg, ModelKind::Full);
        let found = checked.knee.unwrap();
        assert!(
            now.0 - true_deg < off + 0.2,
            "{n}: {} after {off}",
            now.0 - true_deg
        );
        // One person who differs much from what is published may leave a little more doubt.
        let more = if n == 0 { 1.01 } else { 1.0 };
        assert!(
            now.1 <= more * before.1,
            "{n}: {} after {}",
            now.1,
            before.1
        );
        // As the model says.
        let left = bias_deg - found.offset;
        assert!(
            (now.0 - true_deg - left).abs() < 1.5,
            "{n}: {} for {left}",
            now.0 - true_deg
        );
        assert_eq!(now.2, Basis::CheckedHere);
        assert_eq!(checked.persons, n as u32 + 1);
        (off, before) = (now.0 - true_deg, now);
    }
    assert!(off < 0.35 * bias_deg, "{off}");
    // Another model's values are what they were, and so are rendered bodies'.
    let checked = record.checked();
    for model in [ModelKind::Heavy, ModelKind::Full] {
        let with = values(checked, 0.0, model);
        assert_eq!(with == values(None, 0.0, model), model == ModelKind::Heavy);
    }
    let lane = Lane {
        subject: Subject::Rendered,
        checked,
        ..side_lane()
    };
    let rendered = Calibration::of_lane(&lane, ModelKind::Full);
    assert_eq!(
        rendered,
        Calibration::of(Subject::Rendered, ModelKind::Full)
    );
    assert_eq!(Basis::of(&lane), Basis::Rendered);
}

#[test]
fn a_record_is_read_back_undone_and_told_as_a_table() {
    let mut record = Record::new(setting());
    hold(&mut record, "AB", 3.0);
    hold(&mut record, "CD", 2.0);
    assert_eq!(record.persons(), ["AB", "CD"]);
    let text = record.to_text().unwrap();
    assert_eq!(Record::parse(&text, &setting()), Ok(record.clone()));
    let csv = record.to_csv();
    assert_eq!(csv.lines().count(), 1 + record.holds.len());
    assert!(csv.contains("2026-11-30,AB,knee,degrees,120,"), "{csv}");
    // The last press was one knee; the one of 150 degrees was a knee and a leg.
    assert_eq!(record.undo().len(), 1);
    assert_eq!(record.undo().len(), 1);
    assert_eq!(record.undo().len(), 2);
    assert_eq!(record.holds.len(), 12);
    assert_eq!(record.counting(Gauged::Knee).count(), 5);
    assert!(record.to_csv().contains(",true\n"));
    while !record.undo().is_empty() {}
    assert_eq!(record.checked(), None);
}

#[test]
fn a_file_of_something_else_is_refused_in_one_sentence() {
    let mut record = Record::new(setting());
    hold(&mut record, "AB", 3.0);
    let text = record.to_text().unwrap();
    let refused = |change: fn(&mut Setting)| {
        let mut wanted = setting();
        change(&mut wanted);
        Record::parse(&text, &wanted).unwrap_err()
    };
    assert_eq!(
        refused(|s| s.camera = "usb-2".into()),
        RecordFault::Another(Difference::Camera)
    );
    assert_eq!(
        refused(|s| s.lane.tilt_deg += 0.5),
        RecordFault::Another(Difference::Lane)
    );
    assert_eq!(
        refused(|s| s.model = ModelKind::Heavy),
        RecordFault::Another(Difference::Model)
    );
    assert_eq!(
        refused(|s| s.engine = "embedded".into()),
        RecordFault::Another(Difference::Engine)
    );
    // Who stands there may be taller.
    let mut taller = setting();
    taller.lane.skater_height_m = 1.4;
    assert!(Record::parse(&text, &taller).is_ok());
    // How sure the lane's numbers are may be known better by then: it ends no check, and is
    // not in its file, which earlier programs read.
    for errors in [LaneErrors::by_hand(), LaneErrors::none()] {
        let mut told = setting();
        told.lane.errors = errors;
        assert!(Record::parse(&text, &told).is_ok());
        let new = Record::new(told).to_text().unwrap();
        assert!(!new.contains("errors") && !new.contains("_sd_"), "{new}");
    }
    for (old, new) in [
        ("\"format\": 1", "\"format\": 2"),
        ("\"format\": 1,", ""),
        ("\"AB\"", "\"A name of somebody\""),
        ("\"reference\": 120.0", "\"reference\": 400.0"),
        (
            "\"reference\": 120.0",
            "\"reference\": 120.0, \"picture\": \"x\"",
        ),
        ("2026-11-30", "yesterday"),
        ("{", ""),
    ] {
        assert!(text.contains(old), "{old}");
        let fault = Record::read(&text.replacen(old, new, 1))
            .unwrap_err()
            .to_string();
        assert!(!fault.contains('\n') && fault.len() < 200, "{fault}");
    }
}
