//! Geometry and filters held against other people's numbers. Where they come
//! from, under which licence, and how to make them anew:
//! `tools/outside/README.md`.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use std::path::{Path, PathBuf};

use kickplate::config::{Lane, Subject, Travel, View};
use kickplate::geometry::{
    Camera, butterworth_zero_phase, fit_parabola, huber_mean, included_deg, two_pass_cutoff_hz,
};
use serde::Deserialize;
use serde_json::Value;

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn golden<T: for<'a> Deserialize<'a>>(name: &str) -> T {
    let path = root().join("tests/golden/outside").join(name);
    let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{name}: {e}"));
    serde_json::from_str(&text).unwrap_or_else(|e| panic!("{name}: {e}"))
}

/// A golden file that holds cases of one kind.
#[derive(Deserialize)]
struct Cases<T> {
    cases: Vec<T>,
}

/// Motion clips `humanoid3d_walk` and `_run` of PyPI `pybullet` 3.2.7 (zlib):
/// hip, knee and ankle by forward kinematics; the knee there has one degree
/// of freedom, which states the angle.
#[test]
fn included_angles_are_the_knees_of_recorded_walking_and_running() {
    let clips: std::collections::BTreeMap<String, Vec<[f64; 10]>> = golden("knees.json");
    let (mut least, mut most, mut knees) = (f64::MAX, f64::MIN, 0);
    for (clip, rows) in &clips {
        for row in rows {
            let point = |i: usize| [row[i], row[i + 1], row[i + 2]];
            let seen = included_deg(point(0), point(3), point(6)).unwrap();
            let stated = row[9];
            assert!((seen - stated).abs() < 1e-6, "{clip}: {seen} for {stated}");
            (least, most) = (least.min(stated), most.max(stated));
            knees += 1;
        }
    }
    // from a deep bend to a straight leg, both sides
    assert!(knees > 100 && least < 80.0 && most > 175.0);
}

#[derive(Deserialize)]
struct ParabolaCase {
    points: Vec<(f64, f64)>,
    curvature: f64,
    off: f64,
}

/// NumPy 1.26.4: `polyfit` of the second degree.
#[test]
fn a_parabola_lies_where_numpy_puts_it() {
    let golden: Cases<ParabolaCase> = golden("parabola.json");
    assert!(golden.cases.len() > 4);
    for case in golden.cases {
        let found = fit_parabola(&case.points).unwrap();
        let near = |a: f64, b: f64| (a - b).abs() < 1e-6 * (1.0 + b.abs());
        assert!(
            near(found.curvature, case.curvature) && near(found.off, case.off),
            "{found:?} for {} and {}",
            case.curvature,
            case.off
        );
    }
}

#[derive(Deserialize)]
struct SteadyMeanCase {
    astray: f64,
    values: Vec<f64>,
    weights: Vec<f64>,
    mean: f64,
}

/// SciPy 1.17.1: the least weighted sum of `special.huber`.
#[test]
fn readings_astray_pull_the_mean_as_little_as_scipy_says() {
    let golden: Cases<SteadyMeanCase> = golden("huber_mean.json");
    assert!(golden.cases.len() > 4);
    for case in golden.cases {
        let readings: Vec<(f64, f64)> = case.values.into_iter().zip(case.weights).collect();
        let mean = huber_mean(&readings, case.astray).unwrap();
        assert!(
            (mean - case.mean).abs() < 0.001 * case.astray,
            "{mean} for {}",
            case.mean
        );
    }
    assert_eq!(huber_mean(&[], 5.0), None);
}

#[derive(Deserialize)]
struct FilterCase {
    rate_hz: f64,
    wanted_hz: f64,
    design_hz: f64,
    x: Vec<f64>,
    y: Vec<f64>,
}

/// SciPy 1.17.1: `butter(2, design)` and `filtfilt` with odd edges.
#[test]
fn a_noisy_curve_is_smoothed_as_scipy_smooths_it() {
    let filters: Cases<FilterCase> = golden("filters.json");
    assert!(filters.cases.len() >= 5);
    for case in &filters.cases {
        let design_hz = two_pass_cutoff_hz(case.wanted_hz, case.rate_hz);
        assert!((design_hz - case.design_hz).abs() < 1e-9);
        let y = butterworth_zero_phase(&case.x, case.wanted_hz, case.rate_hz);
        assert_eq!(y.len(), case.y.len());
        for (i, (a, b)) in y.iter().zip(&case.y).enumerate() {
            assert!(
                (a - b).abs() < 1e-8,
                "{} of {} Hz, sample {i}: {a} for {b}",
                case.wanted_hz,
                case.rate_hz
            );
        }
    }
}

#[derive(Deserialize)]
struct Projection {
    cases: Vec<ProjectionCase>,
}

#[derive(Deserialize)]
struct ProjectionCase {
    camera_height_m: f64,
    tilt_deg: f64,
    roll_deg: f64,
    hfov_deg: f64,
    size_px: [u32; 2],
    points_m: Vec<[f64; 3]>,
    pixels: Vec<[f64; 2]>,
    found_axes: [[f64; 3]; 3],
    found_eye_m: [f64; 3],
}

/// OpenCV 4.10: `projectPoints` for a camera over the ice, and the pose that
/// `solvePnP` finds from those pixels alone.
#[test]
fn the_camera_projects_as_opencv_does() {
    let projection: Projection = golden("projection.json");
    assert!(projection.cases.len() >= 4);
    for case in &projection.cases {
        let lane = Lane {
            view: View::Side,
            camera_height_m: case.camera_height_m,
            tilt_deg: case.tilt_deg,
            hfov_deg: case.hfov_deg,
            roll_deg: case.roll_deg,
            lane_distance_m: 6.0,
            travel: Travel::LeftToRight,
            skater_height_m: 1.7,
            subject: Subject::People,
            errors: Default::default(),
            checked: None,
        };
        let camera = Camera::of_lane(&lane, case.size_px[0], case.size_px[1]);
        for (p, px) in case.points_m.iter().zip(&case.pixels) {
            let [x, y] = camera.project(*p).unwrap();
            assert!((x - px[0]).hypot(y - px[1]) < 1e-6, "{x} {y} for {px:?}");
        }
        for (own, found) in camera.axes().iter().zip(&case.found_axes) {
            for (a, b) in own.iter().zip(found) {
                assert!((a - b).abs() < 1e-6);
            }
        }
        let eye = [0.0, 0.0, camera.height_m];
        for (a, b) in eye.iter().zip(&case.found_eye_m) {
            assert!((a - b).abs() < 1e-6);
        }
    }
}

/// Subjects of every committed truth file.
fn subjects() -> Vec<Value> {
    let truth = root().join("tests/truth");
    let files = |folder: &Path| -> Vec<PathBuf> {
        let entries = std::fs::read_dir(folder).unwrap();
        entries.map(|e| e.unwrap().path()).collect()
    };
    let mut all = files(&truth.join("demo"));
    all.extend(
        files(&truth.join("clips"))
            .iter()
            .map(|f| f.join("truth.json")),
    );
    let mut subjects = Vec::new();
    for file in all {
        let truth: Value = serde_json::from_str(&std::fs::read_to_string(file).unwrap()).unwrap();
        subjects.push(truth["subject"].clone());
        let others = truth["others"].as_array().cloned().unwrap_or_default();
        subjects.extend(others.iter().map(|o| o["subject"].clone()));
    }
    subjects
}

/// Drillis and Contini 1966 (in Winter, Biomechanics and Motor Control of
/// Human Movement): thigh .245 and shank .246 of stature. The rendered hip is
/// the centre of the joint and the fractions are means of adults, so .015
/// either way (6 % of a segment) is let pass.
#[test]
fn rendered_adults_have_the_legs_of_adults() {
    let adults: Vec<Value> = subjects()
        .into_iter()
        .filter(|s| s["age"].as_f64().unwrap() >= 18.0)
        .collect();
    assert!(adults.len() >= 4);
    for s in adults {
        let share = |key: &str| s[key].as_f64().unwrap() / s["height_m"].as_f64().unwrap();
        assert!((share("thigh_m") - 0.245).abs() < 0.015, "{s}");
        assert!((share("shin_m") - 0.246).abs() < 0.015, "{s}");
    }
}

#[derive(Deserialize)]
struct Stature {
    age: Vec<f64>,
    male: Vec<f64>,
    female: Vec<f64>,
}

/// CDC 2000 growth charts, medians (the table as PyPI `rcpchgrowth` 4.6.5
/// carries it; the data are in the public domain). A rendered child is within
/// 5 cm of the median of his or her age.
#[test]
fn rendered_children_have_the_height_of_their_age() {
    let table: Stature = golden("stature.json");
    let mut children = 0;
    for s in subjects() {
        let age = s["age"].as_f64().unwrap();
        if age >= 18.0 {
            continue;
        }
        let median = if s["gender"].as_f64().unwrap() < 0.5 {
            &table.female
        } else {
            &table.male
        };
        let at = table.age.iter().position(|a| *a == age.floor()).unwrap();
        let off_cm = 100.0 * s["height_m"].as_f64().unwrap() - median[at];
        assert!(off_cm.abs() <= 5.0, "{off_cm:+.1} cm: {s}");
        children += 1;
    }
    assert!(children >= 5);
}
