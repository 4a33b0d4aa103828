//! `kickplate ruler` as a coach meets it. The person is one picture of a rendered skater,
//! shown for two seconds: nobody stands stiller, and the true angle is known.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use kickplate::capture::{SourceSpec, open};

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// A rink: recordings of its own, a lane of people, and a person who stands there.
struct Rink {
    folder: tempfile::TempDir,
    lane: PathBuf,
    person: PathBuf,
}

/// The knee of the leg on the camera's side in this picture (`tests/truth/demo/side-good.json`:
/// its deepest, at 2.72 s).
const FRAME: usize = 82;
const KNEE_DEG: f64 = 105.0;

impl Rink {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let lane = folder.path().join("lane.toml");
        let text = std::fs::read_to_string(root().join("demo/side-good.toml")).unwrap();
        std::fs::write(&lane, text.replace("\"rendered\"", "\"people\"")).unwrap();
        let person = folder.path().join("person");
        std::fs::create_dir(&person).unwrap();
        let clip = root().join("demo/side-good.mp4");
        let mut source = open(&SourceSpec::parse(clip.to_str().unwrap()).unwrap()).unwrap();
        let frame = (0..=FRAME)
            .map(|_| source.next_frame().unwrap().unwrap())
            .last()
            .unwrap();
        let first = person.join("000.png");
        let (width, height) = (frame.width, frame.height);
        let picture = image::RgbImage::from_raw(width, height, frame.rgb.to_vec()).unwrap();
        picture.save(&first).unwrap();
        for i in 1..66 {
            std::fs::hard_link(&first, person.join(format!("{i:03}.png"))).unwrap();
        }
        Rink {
            folder,
            lane,
            person,
        }
    }

    fn run(&self, words: &[&str]) -> Output {
        Command::new(env!("CARGO_BIN_EXE_kickplate"))
            .args(words)
            .env("KICKPLATE_HOME", root())
            .env("XDG_DATA_HOME", self.folder.path())
            .output()
            .expect("the program runs")
    }

    /// One of the ruler's commands on this lane, before this recording.
    fn ruler(&self, words: &[&str]) -> (i32, String) {
        let person = self.person.to_str().unwrap();
        self.ruler_before(person, words)
    }

    fn ruler_before(&self, clip: &str, words: &[&str]) -> (i32, String) {
        let place = ["--clip", clip, "--lane", self.lane.to_str().unwrap()];
        let output = self.run(&[&["ruler"], words, &place[..]].concat());
        let said = [output.stdout, output.stderr].concat();
        let said = String::from_utf8_lossy(&said).into_owned();
        (output.status.code().unwrap(), said)
    }

    fn checks(&self) -> Vec<PathBuf> {
        let folder = self.folder.path().join("kickplate/ruler");
        let files = std::fs::read_dir(folder).into_iter().flatten();
        files.map(|e| e.unwrap().path()).collect()
    }
}

#[test]
fn a_hold_is_read_kept_followed_and_taken_back() {
    let rink = Rink::new();
    let degrees = KNEE_DEG.to_string();
    let hold = |person: &str| {
        let words = ["hold", "--quantity", "knee", "--degrees", &degrees];
        rink.ruler(&[&words[..], &["--person", person, "--gear", "none"]].concat())
    };
    let (code, said) = hold("AB");
    assert_eq!(code, 0, "{said}");
    // Knees that lie on each other are read deeper, rendered ones straighter.
    let off: f64 = said
        .lines()
        .next()
        .unwrap()
        .trim_end_matches('.')
        .rsplit(": ")
        .next()
        .unwrap()
        .parse()
        .unwrap();
    assert!((-12.0..12.0).contains(&off), "{said}");
    assert!(said.contains("by 1 person"), "{said}");
    let (code, said) = hold("CD");
    assert_eq!(code, 0, "{said}");
    assert_eq!(rink.checks().len(), 1);
    let text = std::fs::read_to_string(&rink.checks()[0]).unwrap();
    assert!(text.len() < 4000 && text.contains("\"AB\""), "{text}");
    let (_, said) = rink.ruler(&["show"]);
    assert!(said.contains("with 2 persons: AB, CD"), "{said}");
    assert!(said.contains("without the check"), "{said}");

    let csv = rink.folder.path().join("holds.csv");
    let (code, said) = rink.ruler(&["csv", csv.to_str().unwrap()]);
    assert_eq!(code, 0, "{said}");
    assert_eq!(std::fs::read_to_string(&csv).unwrap().lines().count(), 3);
    assert_eq!(
        rink.ruler(&["csv", csv.to_str().unwrap()]).0,
        2,
        "it is there"
    );

    // A review of a recording of that size on that lane rests on it, and says so.
    let out = rink.folder.path().join("review");
    let words = [
        "review",
        rink.person.to_str().unwrap(),
        "--age-group",
        "adult",
    ];
    let place = [
        "--lane",
        rink.lane.to_str().unwrap(),
        "--out",
        out.to_str().unwrap(),
    ];
    let reviewed = rink.run(&[&words[..], &place].concat());
    let said = String::from_utf8_lossy(&reviewed.stdout).into_owned();
    assert!(
        said.contains("Values: checked at this rink on 20"),
        "{said}"
    );
    let session = std::fs::read_to_string(out.join("session.json")).unwrap();
    assert!(session.contains("\"basis\": \"checked_here\""), "{session}");
    assert!(
        !session.contains("AB"),
        "initials stay in the check: {session}"
    );

    for left in [1, 0] {
        let (code, said) = rink.ruler(&["undo"]);
        assert_eq!(
            (code, said.contains("Taken back")),
            (0, true),
            "{left} {said}"
        );
    }
    assert_eq!(rink.ruler(&["undo"]).0, 2);
    assert_eq!(rink.ruler(&["forget"]).0, 0);
    assert_eq!(rink.ruler(&["forget"]).0, 2);
    assert!(rink.checks().is_empty());
}

#[test]
fn what_is_no_hold_gets_one_sentence_and_changes_nothing() {
    let rink = Rink::new();
    let person = rink.person.to_str().unwrap().to_owned();
    let skates = root().join("demo/side-good.mp4");
    let skates = skates.to_str().unwrap();
    let empty = rink.folder.path().join("empty");
    std::fs::create_dir(&empty).unwrap();
    image::RgbImage::new(1280, 720)
        .save(empty.join("000.png"))
        .unwrap();
    for i in 1..66 {
        std::fs::hard_link(empty.join("000.png"), empty.join(format!("{i:03}.png"))).unwrap();
    }
    let empty = empty.to_str().unwrap();
    let knee = |degrees| ["hold", "--quantity", "knee", "--degrees", degrees];
    for (clip, words, code, why) in [
        (&person[..], &knee("400")[..], 2, "400 degrees cannot be"),
        (
            &person,
            &["hold", "--quantity", "knee", "--cm", "3"],
            2,
            "--degrees",
        ),
        (
            &person,
            &["hold", "--quantity", "heel-gap", "--puck", "flat"],
            2,
            "front or rear",
        ),
        (
            &person,
            &[&knee("120")[..], &["--person", "Somebody"]].concat(),
            2,
            "initials",
        ),
        (skates, &knee("120"), 1, "moves"),
        (empty, &knee("120"), 1, "nobody stands"),
        ("/no/such.mp4", &knee("120"), 2, "/no/such.mp4"),
    ] {
        let (got, said) = rink.ruler_before(clip, words);
        assert_eq!(got, code, "{words:?}: {said}");
        assert!(said.contains(why), "{words:?}: {said}");
        assert_eq!(
            said.lines().filter(|l| !l.trim().is_empty()).count(),
            1,
            "{said}"
        );
        assert!(rink.checks().is_empty(), "{words:?}");
    }
    // Rendered material has no check.
    let lane = std::fs::read_to_string(&rink.lane).unwrap();
    std::fs::write(&rink.lane, lane.replace("\"people\"", "\"rendered\"")).unwrap();
    let (code, said) = rink.ruler(&knee("105"));
    assert_eq!((code, said.contains("for people")), (2, true), "{said}");
}

#[test]
fn the_sheet_is_written_for_both_papers() {
    let rink = Rink::new();
    for paper in ["a4", "letter"] {
        let out = rink.folder.path().join(paper).with_extension("svg");
        let words = [
            "ruler",
            "sheet",
            "--paper",
            paper,
            "--out",
            out.to_str().unwrap(),
        ];
        let output = rink.run(&words);
        assert_eq!(output.status.code(), Some(0), "{output:?}");
        let text = std::fs::read_to_string(&out).unwrap();
        assert!(
            text.starts_with("<svg") && text.contains("Hancock"),
            "{text}"
        );
        assert_eq!(
            rink.run(&words).status.code(),
            Some(2),
            "it is there already"
        );
    }
}
