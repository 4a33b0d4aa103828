//! The settings files as they are shipped, and what is said about bad ones.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use std::path::{Path, PathBuf};

use kickplate::config::{Lane, Problem, Subject, Travel, View};
use kickplate::rules::{AgeGroup, AgeGroups, RULES, settings};
use kickplate::station::{self, Setup, StationSettings, reference};

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn shipped(name: &str) -> String {
    std::fs::read_to_string(root().join("config").join(name)).unwrap()
}

const LANE: &str = "\
view = \"side\"
camera_height_m = 1.6
tilt_deg = 5
hfov_deg = 70
lane_distance_m = 6
travel = \"left_to_right\"
skater_height_m = 1.60
";

fn fault(text: &str) -> String {
    Lane::from_toml(text, "lane.toml").unwrap_err().to_string()
}

#[test]
fn the_age_groups_file_resolves_to_exactly_the_defaults() {
    let path = root().join("config/age-groups.toml");
    assert_eq!(AgeGroups::load(&path).unwrap(), AgeGroups::defaults());
}

#[test]
fn the_generated_files_are_current() {
    let remedy = "run: cargo run -- config";
    assert_eq!(
        shipped("age-groups.toml"),
        settings::default_file(),
        "{remedy} print-defaults age-groups > config/age-groups.toml"
    );
    assert_eq!(
        shipped("station.toml"),
        station::default_station_file(),
        "{remedy} print-defaults station > config/station.toml"
    );
    assert_eq!(
        shipped("REFERENCE.md"),
        reference::text(),
        "{remedy} reference > config/REFERENCE.md"
    );
}

/// The file names every rule in every group, so that nothing is hidden.
#[test]
fn the_age_groups_file_names_everything() {
    let text = shipped("age-groups.toml");
    for group in AgeGroup::ALL {
        for rule in RULES {
            let header = format!("\n[{}.{}]\n", group.name(), rule.id);
            assert!(text.contains(&header), "{header}");
        }
    }
}

#[test]
fn the_shipped_lanes_and_station_are_good() {
    let config = root().join("config");
    let side = Lane::load(&config.join("lane-side.toml")).unwrap();
    assert_eq!((side.view, side.travel), (View::Side, Travel::LeftToRight));
    let front = Lane::load(&config.join("lane-front.toml")).unwrap();
    assert_eq!((front.view, front.travel), (View::Front, Travel::Toward));
    let setup = Setup::load(root(), None).unwrap();
    assert_eq!(setup.lane, side);
    let setup = Setup::load(root(), Some(&config.join("lane-front.toml"))).unwrap();
    assert_eq!(setup.lane, front);
}

#[test]
fn a_lane_is_read_with_its_values_and_the_defaults() {
    assert_eq!(
        Lane::from_toml(LANE, "lane.toml").unwrap(),
        Lane {
            view: View::Side,
            camera_height_m: 1.6,
            tilt_deg: 5.0,
            hfov_deg: 70.0,
            roll_deg: 0.0,
            lane_distance_m: 6.0,
            travel: Travel::LeftToRight,
            skater_height_m: 1.6,
            subject: Subject::People,
            errors: kickplate::config::LaneErrors::by_hand(),
            checked: None,
        }
    );
}

#[test]
fn an_unknown_key_is_named_with_the_one_that_was_meant() {
    assert_eq!(
        fault(&LANE.replace("camera_height_m", "camera_hieght_m")),
        "lane.toml, line 2: unknown key 'camera_hieght_m'; did you mean 'camera_height_m'?"
    );
    assert_eq!(
        fault(&format!("{LANE}colour = 3\n")),
        "lane.toml, line 8: unknown key 'colour'; it must be one of: view, camera_height_m, \
         tilt_deg, hfov_deg, roll_deg, lane_distance_m, travel, skater_height_m, subject, \
         camera_height_sd_m, tilt_sd_deg, hfov_sd_deg, roll_sd_deg, lane_distance_sd_m, \
         skater_height_sd_m, error_correlations"
    );
    // Of two, the first in the file.
    assert!(fault("zzz = 1\naaa = 2\n").starts_with("lane.toml, line 1: unknown key 'zzz'"));
}

#[test]
fn a_value_out_of_range_is_named_with_its_bounds() {
    assert_eq!(
        fault(&LANE.replace("tilt_deg = 5", "tilt_deg = 120")),
        "lane.toml, line 3: tilt_deg = 120 is out of range; it must be between -30 and 60"
    );
    for (from, to) in [
        ("camera_height_m = 1.6", "camera_height_m = 0.29"),
        ("camera_height_m = 1.6", "camera_height_m = 6.01"),
        ("hfov_deg = 70", "hfov_deg = 9.9"),
        ("hfov_deg = 70", "hfov_deg = 151"),
        ("lane_distance_m = 6", "lane_distance_m = -0.1"),
        ("lane_distance_m = 6", "lane_distance_m = 40.1"),
        ("skater_height_m = 1.60", "skater_height_m = 0.79"),
        ("skater_height_m = 1.60", "skater_height_m = 160"),
        ("skater_height_m = 1.60", "skater_height_m = nan"),
        ("skater_height_m = 1.60", "skater_height_m = inf"),
        ("tilt_deg = 5", "tilt_deg = 5\nroll_deg = -21"),
    ] {
        let said = fault(&LANE.replace(from, to));
        assert!(said.contains("is out of range"), "{to}: {said}");
    }
}

#[test]
fn the_bounds_themselves_are_good() {
    for (from, to) in [
        ("camera_height_m = 1.6", "camera_height_m = 0.3"),
        ("camera_height_m = 1.6", "camera_height_m = 6"),
        ("tilt_deg = 5", "tilt_deg = -30"),
        ("tilt_deg = 5", "tilt_deg = 60"),
        ("hfov_deg = 70", "hfov_deg = 1.5e2"),
        ("lane_distance_m = 6", "lane_distance_m = 0"),
        ("skater_height_m = 1.60", "skater_height_m = 2.2"),
    ] {
        assert!(LANE.contains(from));
        let lane = Lane::from_toml(&LANE.replace(from, to), "lane.toml");
        assert!(lane.is_ok(), "{to}: {lane:?}");
    }
}

#[test]
fn a_wrong_type_is_named_with_an_example() {
    assert_eq!(
        fault(&LANE.replace("tilt_deg = 5", "tilt_deg = \"steep\"")),
        "lane.toml, line 3: tilt_deg = \"steep\" is not a number; write for example 'tilt_deg = 5'"
    );
    assert_eq!(
        fault(&LANE.replace("view = \"side\"", "view = 3")),
        "lane.toml, line 1: view = 3 is not text in quotes; write for example 'view = \"side\"'"
    );
    assert_eq!(
        fault(&LANE.replace("\"side\"", "\"above\"")),
        "lane.toml, line 1: view = \"above\" is not known; it must be one of: side, front, rear, oblique"
    );
    let table = format!(
        "{}\n[tilt_deg]\na = 1\n",
        LANE.replace("tilt_deg = 5\n", "")
    );
    let said = fault(&table);
    assert!(said.contains("line 8: tilt_deg = "), "{said}");
    assert!(said.contains("is not a number"), "{said}");
}

#[test]
fn a_missing_key_is_named_with_the_line_to_add() {
    assert_eq!(
        fault(&LANE.replace("hfov_deg = 70\n", "")),
        "lane.toml: the key 'hfov_deg' is missing; add a line such as 'hfov_deg = 70'"
    );
    assert!(fault("").contains("the key 'view' is missing"));
}

#[test]
fn text_that_is_no_toml_is_named_with_its_line() {
    let said = fault(&LANE.replace("hfov_deg = 70", "hfov_deg 70"));
    assert!(
        said.starts_with("lane.toml, line 4: this is not valid TOML"),
        "{said}"
    );
    let said = fault(&LANE.replace("\"side\"", "side"));
    assert!(
        said.starts_with("lane.toml, line 1: this is not valid TOML"),
        "{said}"
    );
    // The same key twice is an error of the format (toml.io, v1.0.0, Keys).
    let said = fault(&format!("{LANE}tilt_deg = 6\n"));
    assert!(
        said.starts_with("lane.toml, line 8: this is not valid TOML"),
        "{said}"
    );
    assert!(!said.contains('\n'), "{said}");
}

#[test]
fn travel_that_contradicts_the_view_is_named_with_the_remedy() {
    assert_eq!(
        fault(&LANE.replace("\"side\"", "\"front\"")),
        "lane.toml, line 6: view = \"front\" and travel = \"left_to_right\" contradict each other; \
         a front view needs travel = \"toward\""
    );
    assert!(fault(&LANE.replace("\"side\"", "\"rear\"")).contains("needs travel = \"away\""));
    assert!(
        fault(&LANE.replace("left_to_right", "away"))
            .contains("needs travel = \"left_to_right\" or travel = \"right_to_left\"")
    );
    let oblique = LANE.replace("\"side\"", "\"oblique\"");
    assert!(Lane::from_toml(&oblique, "lane.toml").is_ok());
    let lane = Lane::from_toml(LANE, "lane.toml").unwrap();
    assert!(lane.clone().seen_as(View::Oblique, "lane.toml").is_ok());
    let said = lane.seen_as(View::Front, "lane.toml").unwrap_err();
    assert!(said.to_string().starts_with("lane.toml: view = \"front\""));
}

#[test]
fn files_that_cannot_be_text_are_named() {
    let dir = tempfile::tempdir().unwrap();
    let fault = |path: &Path| Lane::load(path).unwrap_err();
    let problem = |path: &Path| *fault(path).problem;
    assert_eq!(problem(&dir.path().join("gone.toml")), Problem::NotFound);
    let below_a_file = dir.path().join("file");
    std::fs::write(&below_a_file, "").unwrap();
    assert_eq!(problem(&below_a_file.join("lane.toml")), Problem::NotFound);
    assert_eq!(problem(dir.path()), Problem::NotAFile);
    assert_eq!(problem(Path::new("/dev/zero")), Problem::NotAFile);

    let latin: PathBuf = dir.path().join("latin.toml");
    std::fs::write(&latin, b"view = \"side\"\n# caf\xe9\n").unwrap();
    let said = fault(&latin);
    assert_eq!((said.line, *said.problem), (Some(2), Problem::NotUtf8));

    let huge = dir.path().join("huge.toml");
    std::fs::write(&huge, vec![b'#'; (1 << 20) + 1]).unwrap();
    assert!(matches!(problem(&huge), Problem::TooLarge(_)));
}

#[test]
fn windows_line_ends_and_a_byte_order_mark_do_no_harm() {
    let text = format!("\u{feff}{}", LANE.replace('\n', "\r\n"));
    assert_eq!(
        Lane::from_toml(&text, "lane.toml").unwrap(),
        Lane::from_toml(LANE, "lane.toml").unwrap()
    );
    let said = fault(&text.replace("tilt_deg = 5", "tilt_deg = 500"));
    assert!(said.starts_with("lane.toml, line 3:"), "{said}");
}

#[test]
fn a_station_file_that_is_not_there_is_all_defaults_but_a_bad_one_is_not() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("station.toml");
    let absent = StationSettings::load(&path).unwrap();
    std::fs::write(&path, "").unwrap();
    assert_eq!(StationSettings::load(&path).unwrap(), absent);
    std::fs::write(
        &path,
        "min_pass_speed_mps = 2.5\nsessions_folder = \"rec\"\n",
    )
    .unwrap();
    let changed = StationSettings::load(&path).unwrap();
    assert_eq!(changed.min_pass_speed_mps, 2.5);
    assert_eq!(changed.recordings_folder().unwrap(), dir.path().join("rec"));
    std::fs::write(&path, "fps = 0\n").unwrap();
    let said = StationSettings::load(&path).unwrap_err().to_string();
    assert!(said.contains("line 1: fps = 0 is out of range; it must be between 5 and 120"));
}
