//! The station file: what is good, what is refused and how.

use super::*;

fn read(text: &str) -> Result<StationSettings, ConfigError> {
    StationSettings::from_toml(text, "station.toml", Path::new("/s/config"))
}

#[test]
fn the_words_of_the_keys_are_the_names_of_the_types() {
    assert_eq!(GROUPS, AgeGroup::ALL.map(AgeGroup::name));
    let words = |key: &Key| match key.kind {
        Kind::Choice(words) => words.to_vec(),
        _ => panic!("{} is no choice", key.name),
    };
    assert_eq!(words(&MODEL), ModelChoice::ALL.map(ModelChoice::name));
    assert_eq!(words(&ENGINE), EngineChoice::ALL.map(EngineChoice::name));
}

#[test]
fn the_generated_file_is_the_defaults_also_with_its_marks_taken_off() {
    let defaults = read("").unwrap();
    assert_eq!(read(&default_file()), Ok(defaults.clone()));
    let mut open = String::new();
    for key in STATION_KEYS {
        if let Absent::Default(value) = key.absent {
            open += &format!("{} = {value}\n", key.name);
        }
    }
    for (name, _, keys) in STATION_TABLES {
        open += &format!("[{name}]\n");
        for key in keys {
            if let Absent::Default(value) = key.absent {
                open += &format!("{} = {value}\n", key.name);
            }
        }
    }
    assert_eq!(read(&open), Ok(defaults.clone()));
    assert_eq!(defaults.camera, CameraChoice::Auto);
    assert_eq!(defaults.lane, Path::new("/s/config/lane-side.toml"));
    assert_eq!(defaults.min_pass_speed_mps, 2.0);
    assert_eq!(defaults.focus_rule, None);
}

/// `corrections` was a key once; the lane file's `subject` is in its place.
#[test]
fn a_file_of_before_the_subject_is_read_without_its_corrections() {
    for old in ["corrections = false\n", "fps = 25\ncorrections = true\n"] {
        assert!(read(old).is_ok(), "{old}");
    }
    assert_eq!(read("fps = 25\ncorrections = true\n").unwrap().fps, 25);
    // In a file of now it is a key like any other that is not known.
    assert!(read("format = 2\ncorrections = true\n").is_err());
}

#[test]
fn who_stands_before_a_camera_is_a_person() {
    let home = Path::new(env!("CARGO_MANIFEST_DIR"));
    let demo = home.join("demo/side-good.toml");
    let load = || Setup::load(home, Some(&demo)).unwrap();
    let mut clip = load();
    assert!(!clip.people_before_cameras(false));
    assert_eq!(clip.lane.subject, Subject::Rendered);
    let mut camera = load();
    camera.second_lane = Some(camera.lane.clone());
    assert!(camera.people_before_cameras(true));
    assert_eq!(camera.lane.subject, Subject::People);
    // Nor are its numbers exact then.
    assert!(clip.lane.errors.is_empty());
    assert_eq!(camera.lane.errors, crate::config::LaneErrors::by_hand());
    assert_eq!(camera.second_lane.map(|l| l.subject), Some(Subject::People));
}

/// Every example of the comments is a value that is taken.
#[test]
fn every_example_is_valid() {
    for key in STATION_KEYS {
        let text = format!("{} = {}\n", key.name, key.example);
        assert!(read(&text).is_ok(), "{text}");
    }
    for (name, _, keys) in STATION_TABLES {
        for key in keys {
            let text = format!("[{name}]\n{} = {}\n", key.name, key.example);
            assert!(read(&text).is_ok(), "{text}");
        }
    }
}

#[test]
fn faults_name_line_key_and_remedy() {
    let fault = |text: &str| read(text).unwrap_err().to_string();
    assert_eq!(
        fault("\nage_group = \"U14\"\n"),
        "station.toml, line 2: age_group = \"U14\" is not known; it must be one of: U7, U9, U11, U13, U15, U18, adult"
    );
    assert_eq!(
        fault("fps = 30.5\n"),
        "station.toml, line 1: fps = 30.5 is not a whole number; write for example 'fps = 30'"
    );
    assert_eq!(
        fault("sound_muted = \"no\"\n"),
        "station.toml, line 1: sound_muted = \"no\" is not true or false; write for example 'sound_muted = true'"
    );
    assert_eq!(
        fault("[feedback]\n\nfade_percent_child = 10\n"),
        "station.toml, line 3: feedback.fade_percent_child = 10 is out of range; it must be between 25 and 100"
    );
    assert_eq!(
        fault("focus_rule = \"posture\"\n"),
        format!(
            "station.toml, line 1: focus_rule = \"posture\" is not known; it must be one of: {}",
            RULE_IDS.join(", ")
        )
    );
}
