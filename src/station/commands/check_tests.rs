//! The page of `kickplate check`.

use super::*;

#[test]
fn the_page_says_what_was_found_and_what_to_do() {
    let report = CheckReport {
        lines: vec![
            CheckLine::ok("camera", "Rink cam (1280x720, 30 a second)"),
            CheckLine::warn("sound", "no output device", "plug in a loudspeaker"),
            CheckLine::missing("model", "pose.onnx cannot be read", "copy it again"),
        ],
    };
    assert_eq!(
        report.to_text(),
        "ok       camera  Rink cam (1280x720, 30 a second)\n\
         warning  sound   no output device\n\
         \x20                -> plug in a loudspeaker\n\
         MISSING  model   pose.onnx cannot be read\n\
         \x20                -> copy it again\n\
         \n\
         The station cannot run yet; missing: 1, warnings: 1.\n"
    );
    assert!(!report.can_run());
}

#[test]
fn long_findings_are_wrapped() {
    let report = CheckReport {
        lines: vec![CheckLine::warn("x", "word ".repeat(60), "do ".repeat(60))],
    };
    let page = report.to_text();
    assert!(page.lines().all(|l| l.chars().count() <= 78), "{page}");
    assert!(page.lines().count() > 5);
}

#[test]
fn a_probe_that_hangs_or_panics_is_a_line_and_the_others_answer() {
    let (release, held) = bounded::<()>(0);
    let report = CheckReport::gather_within(
        vec![
            Probe::new("camera", move || {
                let _ = held.recv();
                Vec::new()
            }),
            Probe::new("engine", || panic!("on purpose")),
            Probe::new("sound", || vec![CheckLine::ok("sound", "there")]),
        ],
        Duration::from_secs(3),
    );
    drop(release);
    let found: Vec<(&str, CheckState)> = report.lines.iter().map(|l| (l.what, l.state)).collect();
    assert_eq!(
        found,
        [
            ("camera", CheckState::Missing),
            ("engine", CheckState::Missing),
            ("sound", CheckState::Ok)
        ]
    );
    assert!(report.lines[0].found.contains("no answer"));
    assert!(report.lines[1].found.contains("fault of the program"));
}

#[test]
fn models_are_told_apart_by_content() {
    // SHA-256 of "abc": FIPS 180-2, appendix B.1.
    const ABC: &str = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
    let dir = tempfile::tempdir().unwrap();
    std::fs::write(dir.path().join("good"), "abc").unwrap();
    std::fs::write(dir.path().join("bad"), "abd").unwrap();
    let file = |name| ModelFile { name, sha256: ABC };
    let lines = model_lines(dir.path(), &[file("good"), file("bad"), file("gone")]);
    let states: Vec<CheckState> = lines.iter().map(|l| l.state).collect();
    assert_eq!(
        states,
        [CheckState::Ok, CheckState::Missing, CheckState::Missing]
    );
    assert!(lines[1].found.contains("altered"));
    assert!(lines[2].found.contains("cannot be read"));
}

#[test]
fn recordings_need_a_folder_that_can_be_written() {
    let dir = tempfile::tempdir().unwrap();
    let good = recordings_line(&dir.path().join("not/yet/there"));
    assert_ne!(good.state, CheckState::Missing, "{good:?}");
    assert!(good.found.contains("GB free"));
    assert!(!dir.path().join("not").exists(), "the check makes nothing");
    let file = dir.path().join("file");
    std::fs::write(&file, "").unwrap();
    let bad = recordings_line(&file.join("below"));
    assert_eq!(bad.state, CheckState::Missing);
    assert!(bad.found.contains("is not a folder"));
}

#[test]
fn a_screen_needs_one_of_the_two_variables() {
    assert_eq!(screen_line(Some("wayland-0"), None).state, CheckState::Ok);
    assert_eq!(screen_line(None, Some(":0")).state, CheckState::Ok);
    assert_eq!(screen_line(Some(""), Some("")).state, CheckState::Warn);
}
