//! `kickplate scale` as a coach meets it.

use std::path::Path;
use std::process::{Command, Output};

use kickplate::config::{Lane, LaneErrors, View};

fn scale(words: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_kickplate"))
        .arg("scale")
        .args(words)
        .env("KICKPLATE_HOME", env!("CARGO_MANIFEST_DIR"))
        .output()
        .expect("the program runs")
}

fn example() -> String {
    format!("{}/config/marks-example.toml", env!("CARGO_MANIFEST_DIR"))
}

#[test]
fn the_example_gives_a_lane_the_station_reads() {
    let dir = tempfile::tempdir().unwrap();
    let out = dir.path().join("lane.toml");
    let output = scale(&[&example(), "--out", out.to_str().unwrap()]);
    let page = String::from_utf8_lossy(&output.stdout).into_owned();
    assert_eq!(output.status.code(), Some(0), "{page}");
    assert!(page.contains("lengths on the lane: +-"), "{page}");
    let lane = Lane::load(&out).unwrap();
    assert_eq!(lane.view, View::Side);
    // The pixels of the example were made from a lens 1.2 m up, 6 m from the
    // lane, and then put up to three pixels off.
    assert!((lane.camera_height_m - 1.2).abs() < 0.1, "{lane:?}");
    assert!((lane.lane_distance_m - 6.0).abs() < 0.2, "{lane:?}");
    // Its errors are those of the marks and of the data sheet's angle, and not those by hand.
    let (found, by_hand) = (lane.errors, LaneErrors::by_hand());
    assert_eq!(found.hfov_sd_deg, by_hand.hfov_sd_deg);
    assert_eq!(found.skater_height_sd_m, by_hand.skater_height_sd_m);
    assert_ne!(found.tilt_sd_deg, by_hand.tilt_sd_deg);
    assert!(
        found.lane_distance_sd_m > by_hand.lane_distance_sd_m,
        "{found:?}"
    );
    let together = found.error_correlations.expect("what was found together");
    assert!(together.iter().any(|r| r.abs() > 0.3), "{together:?}");
}

#[test]
fn marks_that_do_not_do_are_refused_with_what_to_do() {
    let dir = tempfile::tempdir().unwrap();
    let text = std::fs::read_to_string(example()).unwrap();
    let cases = [
        (text.replace("height_m = 1.07", "hight_m = 1.07"), "hight_m"),
        (text.replace("width_px = 1280", "width_px = 3"), "width_px"),
        (
            text[..text.find("[upright").unwrap()].to_owned(),
            "add one more upright thing",
        ),
        (
            text.replacen("height_m = 1.07", "height_m = 4.0", 1),
            "pixels off",
        ),
    ];
    for (i, (text, expected)) in cases.iter().enumerate() {
        let file = dir.path().join(format!("marks-{i}.toml"));
        std::fs::write(&file, text).unwrap();
        let output = scale(&[file.to_str().unwrap()]);
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert_eq!(output.status.code(), Some(2), "{said}");
        assert!(said.contains(expected), "{expected}: {said}");
        assert!(!said.contains("panicked"));
    }
    let missing = scale(&[Path::new("no-such.toml").to_str().unwrap()]);
    assert_eq!(missing.status.code(), Some(2));
}
