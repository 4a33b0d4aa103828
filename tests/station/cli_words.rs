//! The built program: exit codes, and one sentence for what went wrong.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// A resources folder with the shipped settings, to spoil.
struct Home {
    dir: tempfile::TempDir,
}

impl Home {
    fn new() -> Self {
        let dir = tempfile::tempdir().unwrap();
        for room in ["models", "sounds", "config"] {
            std::fs::create_dir(dir.path().join(room)).unwrap();
        }
        for name in [
            "age-groups.toml",
            "station.toml",
            "lane-side.toml",
            "lane-front.toml",
        ] {
            let from = root().join("config").join(name);
            std::fs::copy(from, dir.path().join("config").join(name)).unwrap();
        }
        Home { dir }
    }

    fn config(&self, name: &str) -> PathBuf {
        self.dir.path().join("config").join(name)
    }

    fn write(&self, name: &str, text: &str) {
        std::fs::write(self.config(name), text).unwrap();
    }

    fn run(&self, words: &[&str]) -> Output {
        self.command(words).output().unwrap()
    }

    fn command(&self, words: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_kickplate"));
        command
            .args(words)
            .env("KICKPLATE_HOME", self.dir.path())
            .env("XDG_DATA_HOME", self.dir.path().join("data"))
            .env_remove("DISPLAY")
            .env_remove("WAYLAND_DISPLAY")
            .current_dir(self.dir.path());
        command
    }
}

fn err(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}

fn out(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).unwrap()
}

/// One sentence of the program, and nothing of a crash.
fn one_sentence(output: &Output) -> String {
    let said = err(output);
    assert_eq!(said.lines().count(), 1, "{said}");
    assert!(said.starts_with("kickplate: "), "{said}");
    for word in [
        "panicked",
        "backtrace",
        "RUST_BACKTRACE",
        "fault of the program",
    ] {
        assert!(!said.contains(word), "{said}");
    }
    said
}

#[test]
fn good_settings_are_good() {
    let home = Home::new();
    let extra = home.config("lane-front.toml");
    let output = home.run(&["config", "check", extra.to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(0), "{}", err(&output));
    assert_eq!(out(&output).matches("good: ").count(), 4);
}

#[test]
fn an_unknown_key_ends_with_2_and_names_file_line_and_key() {
    let home = Home::new();
    home.write("lane-side.toml", "view = \"side\"\ncamera_hieght_m = 1\n");
    let output = home.run(&["config", "check"]);
    assert_eq!(output.status.code(), Some(2));
    let said = one_sentence(&output);
    assert!(
        said.ends_with("lane-side.toml, line 2: unknown key 'camera_hieght_m'; did you mean 'camera_height_m'?\n"),
        "{said}"
    );
}

#[test]
fn every_bad_file_is_named_in_one_run() {
    let home = Home::new();
    home.write("age-groups.toml", "\n[U15.knee_bend]\nat_most_deg = 300\n");
    home.write("lane-side.toml", "view = 3\n");
    let output = home.run(&["config", "check", "gone.toml"]);
    assert_eq!(output.status.code(), Some(2));
    let said = err(&output);
    assert!(
        said.contains("age-groups.toml, line 3: U15.knee_bend.at_most_deg = 300 is out of range; it must be between 80 and 170"),
        "{said}"
    );
    assert!(
        said.contains("lane-side.toml, line 1: view = 3 is not text"),
        "{said}"
    );
    assert!(said.contains("gone.toml: there is no such file"), "{said}");
    assert_eq!(said.lines().count(), 3, "{said}");
}

#[test]
fn a_missing_settings_file_is_named() {
    let home = Home::new();
    std::fs::remove_file(home.config("age-groups.toml")).unwrap();
    let output = home.run(&["config", "check"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(one_sentence(&output).contains("age-groups.toml: there is no such file"));
}

#[test]
fn words_nobody_knows_end_with_2() {
    let home = Home::new();
    for words in [
        &["sing"][..],
        &["--loud"],
        &["review"],
        &[
            "review",
            "a.mp4",
            "--lane",
            "l.toml",
            "--age-group",
            "U14",
            "--out",
            "o",
        ],
        &[
            "review",
            "a.mp4",
            "--lane",
            "l.toml",
            "--age-group",
            "U15",
            "--out",
            "o",
            "--view",
            "top",
        ],
        &[
            "review",
            "a.mp4",
            "--lane",
            "l.toml",
            "--age-group",
            "U15",
            "--out",
            "o",
            "--model",
            "enormous",
        ],
        &["config", "print-defaults", "everything"],
    ] {
        let output = home.run(words);
        assert_eq!(output.status.code(), Some(2), "{words:?}");
        let said = err(&output);
        assert!(said.starts_with("error: "), "{words:?}: {said}");
        assert!(!said.contains("panicked"), "{words:?}: {said}");
    }
}

/// A recording is judged with the settings of the station: with a lower
/// bound of 8 m/s nobody is fast enough, so nothing is a pass.
#[test]
fn a_recording_is_judged_with_the_settings_of_the_station() {
    let home = Home::new();
    for room in ["models", "sounds"] {
        std::fs::remove_dir(home.dir.path().join(room)).unwrap();
        std::os::unix::fs::symlink(root().join(room), home.dir.path().join(room)).unwrap();
    }
    let clip = root().join("demo/side-good.mp4");
    let lane = root().join("demo/side-good.toml");
    let passes = |home: &Home| {
        let output = home.run(&[
            "review",
            clip.to_str().unwrap(),
            "--lane",
            lane.to_str().unwrap(),
            "--age-group",
            "U13",
            "--out",
            "results",
            "--model",
            "lite",
        ]);
        let text = std::fs::read_to_string(home.dir.path().join("results/session.json")).unwrap();
        let session: serde_json::Value = serde_json::from_str(&text).unwrap();
        let passes = session["passes"].as_array().unwrap().len();
        // Somebody skated and nothing was judged: that is not 'done'.
        let wanted = i32::from(passes == 0);
        assert_eq!(output.status.code(), Some(wanted), "{}", err(&output));
        assert_eq!(
            err(&output).contains("from 8.0 on it is a pass"),
            passes == 0
        );
        passes
    };
    assert!(passes(&home) > 0);
    home.write("station.toml", "min_pass_speed_mps = 8\n");
    assert_eq!(passes(&home), 0);
}

#[test]
fn a_named_file_that_is_not_there_is_named_and_ends_with_2() {
    let home = Home::new();
    for words in [
        &["--source", "nope.mp4"][..],
        &["roster", "import", "nope.mp4"],
        &["restore", "nope.mp4"],
    ] {
        let output = home.run(words);
        assert_eq!(output.status.code(), Some(2), "{words:?}");
        let said = one_sentence(&output);
        assert!(said.contains("no file 'nope.mp4'"), "{words:?}: {said}");
    }
}

#[test]
fn a_source_that_is_no_video_ends_the_station_at_once() {
    let home = Home::new();
    home.write("notes.toml", "a = 1\n");
    let notes = home.dir.path().join("config/notes.toml");
    let output = home.run(&["--source", notes.to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(2), "{}", err(&output));
    assert!(one_sentence(&output).contains("is not a video"));
}

#[test]
fn the_lane_of_the_second_camera_is_checked_too() {
    let home = Home::new();
    home.write(
        "station.toml",
        "[second_camera]\ncamera = \"x\"\nlane = \"lane-of-nobody.toml\"\n",
    );
    let output = home.run(&["config", "check"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(one_sentence(&output).contains("lane-of-nobody.toml"));
}

/// The smallest dataset there is: one pass of nobody.
fn smallest_dataset(folder: &std::path::Path) {
    use kickplate_table::{Cell, Column, Kind, Table, to_parquet_noting};
    let column = |name: &str, kind| Column {
        name: name.to_owned(),
        kind,
    };
    let table = Table {
        columns: vec![
            column("pass", Kind::Whole),
            column("skater_key", Kind::Text),
            column("age_group", Kind::Text),
            column("subject", Kind::Text),
        ],
        rows: vec![vec![
            Cell::Whole(1),
            Cell::Empty,
            "U11".into(),
            "people".into(),
        ]],
    };
    let notes = [("kickplate.dataset_version".to_owned(), "1".to_owned())];
    let part = folder.join("passes/season=2026-2027/station=rink-a/date=2026-11-30");
    std::fs::create_dir_all(&part).unwrap();
    let bytes = to_parquet_noting(&table, &notes).unwrap();
    std::fs::write(part.join("session-1.parquet"), bytes).unwrap();
    let about = r#"{"kickplate_dataset_version": 1, "id": "1", "names": false}"#;
    std::fs::write(folder.join("dataset.json"), about).unwrap();
}

#[test]
fn a_club_report_is_written_and_not_replaced_unasked() {
    use std::os::unix::fs::PermissionsExt;
    let home = Home::new();
    let place = |name: &str| home.dir.path().join(name).to_str().unwrap().to_owned();
    let (dataset, page) = (place("dataset"), place("club.html"));
    let none = home.run(&["club-report", &dataset, "--out", &page]);
    assert_eq!(none.status.code(), Some(2));
    assert!(one_sentence(&none).contains("there is no dataset in"));

    smallest_dataset(std::path::Path::new(&dataset));
    let folder = home.run(&["club-report", &dataset, "--out", &dataset]);
    assert_eq!(folder.status.code(), Some(2));
    assert!(one_sentence(&folder).contains("names no file"));
    let written = home.run(&["club-report", &dataset, "--out", &page]);
    assert_eq!(written.status.code(), Some(0), "{}", err(&written));
    assert!(out(&written).contains("1 session, 1 pass, 0 pushes"));
    let meta = std::fs::metadata(&page).unwrap();
    assert_eq!(meta.permissions().mode() & 0o777, 0o600);

    let again = home.run(&["club-report", &dataset, "--out", &page]);
    assert_eq!(again.status.code(), Some(2));
    assert!(one_sentence(&again).contains("--replace"));
    let french = ["--language", "fr", "--replace"];
    let words = [&["club-report", &dataset, "--out", &page][..], &french].concat();
    assert_eq!(home.run(&words).status.code(), Some(0));
    let text = std::fs::read_to_string(&page).unwrap();
    assert!(text.contains("Rapport du club"), "{text}");
}

#[test]
fn help_and_version_end_with_0() {
    let home = Home::new();
    let help = home.run(&["--help"]);
    assert_eq!(help.status.code(), Some(0));
    for word in ["demo", "review", "check", "cameras", "config", "Exit codes"] {
        assert!(out(&help).contains(word), "{word}");
    }
    let version = home.run(&["--version"]);
    assert_eq!(version.status.code(), Some(0));
    assert!(out(&version).starts_with("kickplate "));
}

#[test]
fn a_wrong_home_is_named_with_the_remedy() {
    let home = Home::new();
    let output = Command::new(env!("CARGO_BIN_EXE_kickplate"))
        .args(["config", "check"])
        .env("KICKPLATE_HOME", home.dir.path().join("config"))
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(2));
    let said = one_sentence(&output);
    assert!(said.contains("KICKPLATE_HOME is set to"), "{said}");
    assert!(said.contains("has no folder 'models'"), "{said}");
}

#[test]
fn the_printed_files_are_the_shipped_ones() {
    let home = Home::new();
    for (words, name) in [
        (&["config", "print-defaults"][..], "age-groups.toml"),
        (&["config", "print-defaults", "station"], "station.toml"),
        (&["config", "reference"], "REFERENCE.md"),
    ] {
        let output = home.run(words);
        assert_eq!(output.status.code(), Some(0));
        let shipped = std::fs::read_to_string(root().join("config").join(name)).unwrap();
        assert_eq!(out(&output), shipped);
    }
}

#[test]
fn the_check_page_names_recordings_that_cannot_be_written() {
    let home = Home::new();
    home.write("blocked", "");
    home.write("station.toml", "sessions_folder = \"blocked/sessions\"\n");
    let output = home.run(&["check"]);
    assert_eq!(output.status.code(), Some(1));
    let page = out(&output)
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ");
    assert!(page.contains("MISSING recordings"), "{page}");
    assert!(
        page.contains("is not a folder -> make it writable"),
        "{page}"
    );
    assert!(page.contains("ok settings"), "{page}");
    assert!(page.contains("warning screen"), "{page}");
    // Devices that are not there may be warned of; nothing worse.
    let errors = err(&output);
    assert!(
        !errors.contains("panicked") && !errors.contains("ERROR"),
        "{errors}"
    );
}

/// ALSA's library tells the terminal what it thinks of a card that is not there.
#[test]
fn what_the_sound_library_says_is_not_for_the_terminal() {
    let home = Home::new();
    let rules = "pcm.!default { type hw card 77 }\n";
    home.write("asound.conf", rules);
    let mut command = home.command(&["check"]);
    command.env("ALSA_CONFIG_PATH", home.config("asound.conf"));
    // Where the sounds are.
    command.env("KICKPLATE_HOME", env!("CARGO_MANIFEST_DIR"));
    let output = command.output().unwrap();
    let (page, errors) = (out(&output), err(&output));
    assert!(page.contains("no device"), "{page}");
    assert!(!errors.contains("ALSA lib"), "{errors}");
}

#[test]
fn a_reader_that_closes_early_is_no_fault() {
    let home = Home::new();
    // Closed before the program starts, so that its first word finds nobody.
    let (reader, writer) = std::io::pipe().unwrap();
    drop(reader);
    let output = Command::new(env!("CARGO_BIN_EXE_kickplate"))
        .args(["config", "reference"])
        .env("KICKPLATE_HOME", home.dir.path())
        .stdout(writer)
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(0), "{}", err(&output));
    assert_eq!(err(&output), "");
}
