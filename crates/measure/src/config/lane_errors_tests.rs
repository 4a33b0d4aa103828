use super::*;
use crate::config::View;

const PEOPLE: &str = "view = \"rear\"\ncamera_height_m = 1.2\ntilt_deg = 2\nhfov_deg = 62\nlane_distance_m = 0\ntravel = \"away\"\nskater_height_m = 1.5\n";

fn read(more: &str) -> Result<Lane, String> {
    Lane::from_toml(&format!("{PEOPLE}{more}"), "x").map_err(|e| e.to_string())
}

/// What is said where a key is left out is what then holds.
#[test]
fn what_is_left_out_is_by_hand_for_people_and_exact_for_rendered_bodies() {
    let people = read("").unwrap();
    assert_eq!(people.errors, LaneErrors::by_hand());
    let shown = people.errors.written();
    assert_eq!(shown.len(), UNSURE);
    for (key, value) in shown {
        let told = format!("{value} where people skate, 0 where bodies are rendered");
        assert_eq!(key.when_absent(), told);
        assert_eq!(key.example, value);
    }
    let rendered = read("subject = \"rendered\"\n").unwrap();
    assert!(rendered.errors.is_empty() && rendered.all_errors().moves().is_empty());
    // A lane of the demo before a camera: the errors are those of people.
    let before_camera = Lane {
        subject: Subject::People,
        ..rendered
    };
    assert_eq!(before_camera.all_errors(), LaneErrors::by_hand());
    // What is given holds, for both.
    let given = read("subject = \"rendered\"\ntilt_sd_deg = 0.4\n").unwrap();
    assert_eq!(given.all_errors().moves(), [[0.0, 0.4, 0.0, 0.0, 0.0, 0.0]]);
    let given = read("tilt_sd_deg = 0.4\n").unwrap();
    assert_eq!(given.errors.tilt_sd_deg, Some(0.4));
    assert_eq!(given.errors.roll_sd_deg, LaneErrors::by_hand().roll_sd_deg);
}

#[test]
fn a_record_of_before_is_read_and_a_new_one_holds_what_was_used() {
    let lane = read("error_correlations = [-0.9, 0, 0, 0.5, 0, 0, -0.6, 0, 0, 0]\n").unwrap();
    assert_eq!(Lane::from_toml(&lane.to_toml("x"), "x"), Ok(lane.clone()));
    let record = serde_json::to_value(&lane).unwrap();
    assert_eq!(record["errors"]["tilt_sd_deg"], 0.7);
    assert_eq!(
        serde_json::from_value::<Lane>(record.clone()).unwrap(),
        lane
    );
    let mut old = record;
    old.as_object_mut().unwrap().remove("errors");
    let old: Lane = serde_json::from_value(old).unwrap();
    assert!(old.errors.is_empty());
    assert_eq!(old.all_errors(), LaneErrors::by_hand());
    let exact = Lane {
        subject: Subject::Rendered,
        errors: LaneErrors::default(),
        ..lane
    };
    assert!(
        serde_json::to_value(&exact)
            .unwrap()
            .get("errors")
            .is_none()
    );
}

#[test]
fn what_cannot_be_is_refused_with_line_and_key() {
    for (more, expected) in [
        (
            "tilt_sd_deg = -1\n",
            "line 8: tilt_sd_deg = -1 is out of range",
        ),
        ("tilt_sd_deg = nan\n", "out of range"),
        (
            "tilt_sd_deg = \"small\"\n",
            "is not a number; write for example 'tilt_sd_deg = 0.7'",
        ),
        (
            "tilt_sd = 1\n",
            "unknown key 'tilt_sd'; did you mean 'tilt_sd_deg'?",
        ),
        (
            "error_correlations = [0.1]\n",
            "is not a list of as many numbers",
        ),
        (
            "error_correlations = 3\n",
            "is not a list of as many numbers",
        ),
        (
            "error_correlations = [2, 0, 0, 0, 0, 0, 0, 0, 0, 0]\n",
            "is out of range",
        ),
        // The first goes with the second and the third, and these against each other.
        (
            "error_correlations = [0.9, 0.9, 0, 0, -0.9, 0, 0, 0, 0, 0]\n",
            "line 8: error_correlations contradict each other",
        ),
    ] {
        let said = read(more).unwrap_err();
        assert!(said.contains(expected), "{more}: {said}");
    }
}

/// The moves are the errors: their products add up to the variances and covariances.
#[test]
fn moves_together_make_what_is_stated() {
    let lane = read("error_correlations = [-0.9, 0, 0, 0.5, 0.1, 0, -0.6, 0, 0.2, 0]\n").unwrap();
    let moves = lane.errors.moves();
    let sd = lane.errors.deviations();
    let of = |i: usize, k: usize| moves.iter().map(|m| m[i] * m[k]).sum::<f64>();
    for (i, sd) in sd.iter().enumerate() {
        assert!((of(i, i) - sd * sd).abs() < 1e-12, "{i}");
    }
    assert!((of(0, 1) - -0.9 * sd[0] * sd[1]).abs() < 1e-12);
    assert!((of(1, 4) - -0.6 * sd[1] * sd[4]).abs() < 1e-12);
    assert!(of(0, 5).abs() < 1e-12);
    assert_eq!(LaneErrors::by_hand().moves().len(), UNSURE);
    let moved = lane.moved(&[0.1, 0.2, 0.3, 0.4, 0.5, 0.6], -2.0);
    assert_eq!(moved.view, View::Rear);
    assert!((moved.camera_height_m - 1.0).abs() < 1e-12);
    assert!((moved.skater_height_m - 0.3).abs() < 1e-12);
}

/// A record is read unchecked: whatever stands there, no lane is moved to where nobody stands.
#[test]
fn a_record_of_nonsense_moves_nothing_far() {
    let mut lane = read("").unwrap();
    lane.errors.skater_height_sd_m = Some(1e9);
    lane.errors.tilt_sd_deg = Some(f64::NAN);
    lane.errors.hfov_sd_deg = Some(-3.0);
    lane.errors.error_correlations = Some([7.0; PAIRS]);
    let moves = lane.errors.moves();
    assert!(moves.iter().flatten().all(|v| v.abs() <= 20.0), "{moves:?}");
    assert!(moves.iter().all(|by| by[1] == 0.0 && by[2] == 0.0));
    assert!(
        moves
            .iter()
            .all(|by| lane.moved(by, -1.0).skater_height_m > 1.0)
    );
}

/// One skater's own stature is surer than a lane's; a rendered body's is exact.
#[test]
fn a_skater_of_the_roster_brings_the_own_stature() {
    let lane = read("").unwrap();
    let own = lane.of_skater(1.42);
    assert_eq!(own.skater_height_m, 1.42);
    assert_eq!(own.errors.skater_height_sd_m, Some(set_up::OWN_HEIGHT_SD_M));
    let rendered = read("subject = \"rendered\"\n").unwrap().of_skater(1.42);
    assert!(rendered.errors.is_empty());
}
