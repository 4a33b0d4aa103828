//! `kickplate review` of a recording that is cut where nobody skates: any number of workers
//! gives the same file to the last byte, also over damage and over Ctrl-C.

use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::sync::LazyLock;

use image::RgbImage;
use kickplate::capture::{SourceSpec, open, open_in_parts};
use kickplate::export::Mp4;
use kickplate::store::SessionFile;
use kickplate_testing::{Signal, send};

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// The first skater of a demo clip from edge to edge, and the lane with nobody in it.
struct Pictures {
    pass: Vec<RgbImage>,
    empty: RgbImage,
}

static PICTURES: LazyLock<Pictures> = LazyLock::new(|| {
    let path = root().join("demo/side-good.mp4");
    let mut source = open(&SourceSpec::File { path }).unwrap();
    let mut all = Vec::new();
    while let Some(frame) = source.next_frame().unwrap() {
        if all.len() == 132 {
            break;
        }
        all.push(RgbImage::from_raw(frame.width, frame.height, frame.rgb).unwrap());
    }
    // In each place most of these pictures show the lane: the skaters are elsewhere.
    let some: Vec<&RgbImage> = all.iter().step_by(12).collect();
    let mut empty = all[0].clone();
    for (i, value) in empty.iter_mut().enumerate() {
        let mut seen: Vec<u8> = some.iter().map(|p| p.as_raw()[i]).collect();
        seen.sort_unstable();
        *value = seen[seen.len() / 2];
    }
    all.truncate(46);
    Pictures { pass: all, empty }
});

const STEP_S: f64 = 1.0 / 30.0;

/// A recording of passes that begin at these seconds, 46 pictures each. Between them the
/// camera gave one picture now and then. `keys` are the pictures of a pass before which it may
/// be cut; 0 is the first of those with nobody in them that lead to it.
struct Film {
    passes: &'static [f64],
    keys: &'static [&'static [usize]],
}

impl Film {
    fn write(&self, path: &Path) {
        let Pictures { pass, empty } = &*PICTURES;
        let mut film = Mp4::new(empty.width(), empty.height()).unwrap();
        let mut now_s = 0.0;
        for (at_s, keys) in self.passes.iter().zip(self.keys) {
            // The last picture of before lasts until then.
            film.push(empty, at_s - now_s).unwrap();
            let lead = std::iter::repeat_n(empty, 4);
            let rest = std::iter::repeat_n(empty, 10);
            for (k, picture) in lead.chain(pass).chain(rest).enumerate() {
                if keys.contains(&k) {
                    film.begin_part();
                }
                film.push(picture, STEP_S).unwrap();
            }
            now_s = at_s + 60.0 * STEP_S;
        }
        std::fs::write(path, film.into_bytes().unwrap()).unwrap();
    }
}

/// Four passes. From second 60 on it could be cut in the middle of the third, or where nobody
/// is seen any more who has passed a moment ago: it is cut at neither.
const FILM: Film = Film {
    passes: &[1.0, 31.0, 59.2, 91.0],
    keys: &[&[], &[0], &[30, 50], &[0]],
};
/// The same without a place to cut it at.
const WITHOUT_KEYS: Film = Film {
    passes: &[1.0, 32.0, 63.0],
    keys: &[&[], &[], &[]],
};

/// A film in a folder, and what one worker makes of it.
struct Judged {
    _dir: tempfile::TempDir,
    path: PathBuf,
    bytes: Vec<u8>,
    said: [String; 2],
}

impl Judged {
    fn of(film: &Film) -> Judged {
        let dir = tempfile::tempdir().unwrap();
        let path = dir.path().join("film.mp4");
        film.write(&path);
        let (bytes, said) = reviewed(&path, 1, 0);
        Judged {
            _dir: dir,
            path,
            bytes,
            said,
        }
    }
}

static ONE: LazyLock<Judged> = LazyLock::new(|| Judged::of(&FILM));
static ONE_WITHOUT_KEYS: LazyLock<Judged> = LazyLock::new(|| Judged::of(&WITHOUT_KEYS));

fn review(film: &Path, out: &Path, cores: u32) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_kickplate"));
    command
        .arg("review")
        .arg(film)
        .arg("--lane")
        .arg(root().join("demo/side-good.toml"))
        .arg("--out")
        .arg(out)
        .args(["-v", "--age-group", "adult", "--model", "lite"])
        .arg("--cores")
        .arg(cores.to_string())
        .env("KICKPLATE_HOME", root());
    command
}

fn said(output: &Output) -> [String; 2] {
    [&output.stdout, &output.stderr].map(|b| String::from_utf8_lossy(b).into_owned())
}

/// Its bytes and what it printed.
fn reviewed(film: &Path, cores: u32, code: i32) -> (Vec<u8>, [String; 2]) {
    let dir = tempfile::tempdir().unwrap();
    let output = review(film, dir.path(), cores).output().unwrap();
    let said = said(&output);
    assert_eq!(output.status.code(), Some(code), "{cores} cores: {said:?}");
    let bytes = std::fs::read(dir.path().join("session.json")).unwrap();
    assert!(!dir.path().join("session.part").exists());
    (bytes, said)
}

fn session(bytes: &[u8]) -> SessionFile {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("session.json");
    std::fs::write(&path, bytes).unwrap();
    SessionFile::read(&path).unwrap()
}

fn starts(session: &SessionFile) -> Vec<u32> {
    let starts = session.passes.iter().map(|pass| pass.started_at_s);
    starts.map(|s| s.unwrap().floor() as u32).collect()
}

#[test]
fn one_two_and_three_workers_give_the_same_file() {
    let one = &*ONE;
    let read = session(&one.bytes);
    assert_eq!(starts(&read), [1, 31, 59, 91], "{:?}", one.said);
    // The one that stands across a place to cut at is whole.
    let across = &read.passes[2];
    assert!(across.started_at_s < Some(59.9) && across.ended_at_s > Some(60.4));
    let numbers: Vec<u32> = read.passes.iter().map(|pass| pass.track_id).collect();
    assert!(numbers.is_sorted_by(|a, b| a < b), "{numbers:?}");
    for cores in [2, 3] {
        let (more, [passes, log]) = reviewed(&one.path, cores, 0);
        let at_a_time = format!("is seen by {cores} at a time");
        assert!(log.contains(&at_a_time), "{log}");
        assert!(more == one.bytes, "{cores} workers give another file");
        assert_eq!(passes.lines().next(), one.said[0].lines().next());
    }
}

/// Of two pictures it could begin with, a part begins with the one with nobody in it; and it
/// gives the pictures that the whole recording has there.
#[test]
fn a_part_begins_where_nobody_stands_and_gives_what_the_whole_gives() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("film.mp4");
    Film {
        passes: &[1.0, 31.0],
        keys: &[&[20, 56], &[25, 57]],
    }
    .write(&path);
    let (mut whole, parts) = open_in_parts(&SourceSpec::File { path }).unwrap();
    let parts = parts.unwrap();
    let times: Vec<f64> = parts
        .begin_at_s()
        .map(|s| (10.0 * s).round() / 10.0)
        .collect();
    assert_eq!(times, [1.7, 2.9, 31.8, 32.9]);
    assert_eq!(parts.calmest(30.0, 50.0), Some(119));
    assert_eq!(parts.calmest(30.0, 32.0), None);
    assert_eq!(parts.calmest(40.0, 50.0), None);
    let mut part = parts.open(87..122).unwrap();
    for k in 0..122 {
        let frame = whole.next_frame().unwrap().unwrap();
        if k >= 87 {
            let same = part.next_frame().unwrap().unwrap();
            assert_eq!(same.captured_at_s, frame.captured_at_s);
            assert!(same.rgb == frame.rgb, "picture {k}");
        }
    }
    assert!(part.next_frame().unwrap().is_none());
}

#[test]
fn what_is_good_before_and_after_damage_is_judged_and_the_damage_has_its_time() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("film.mp4");
    // The second pass, from a little behind the picture it begins with.
    let mut bytes = std::fs::read(&ONE.path).unwrap();
    let begins = bytes.windows(4).position(|w| w == b"mdat").unwrap();
    let share = (bytes.len() - begins) / 4;
    let torn = begins + share * 5 / 4..begins + share * 3 / 2;
    bytes[torn].fill(0xa5);
    std::fs::write(&path, bytes).unwrap();
    let (one, [_, wrong]) = reviewed(&path, 1, 1);
    let sentence = |told: &str| told.lines().last().map(str::to_owned);
    let named = sentence(&wrong).unwrap();
    assert!(named.contains("is damaged after"), "{named}");
    assert!(
        named.contains("(at 31.") || named.contains("(at 32."),
        "{named}"
    );
    let (whole, read) = (session(&ONE.bytes), session(&one));
    assert_eq!(read.passes[0], whole.passes[0]);
    let seen = |session: &SessionFile| -> Vec<_> {
        let later = session
            .passes
            .iter()
            .filter(|pass| pass.started_at_s > Some(70.0));
        later
            .map(|pass| (pass.started_at_s, pass.ended_at_s, pass.pushes.clone()))
            .collect()
    };
    assert_eq!(seen(&whole).len(), 1);
    assert_eq!(seen(&read), seen(&whole));
    let (two, [_, told]) = reviewed(&path, 2, 1);
    assert!(two == one, "two workers give another file");
    assert_eq!(sentence(&told), Some(named));
}

/// Stopped right after the second pass is told, whatever the workers are at.
#[test]
fn a_review_that_is_stopped_goes_on_to_the_same_file() {
    let path = &ONE_WITHOUT_KEYS.path;
    let spec = SourceSpec::File { path: path.clone() };
    assert!(open_in_parts(&spec).unwrap().1.is_none());
    let read = session(&ONE_WITHOUT_KEYS.bytes);
    assert_eq!(starts(&read), [1, 32, 63]);
    let mut stopped = 0;
    for straight in [&*ONE, &*ONE_WITHOUT_KEYS] {
        let dir = tempfile::tempdir().unwrap();
        let out = dir.path().join("out");
        let mut child = review(&straight.path, &out, 2)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
        let seen = lines.any(|line| line.unwrap().starts_with("Pass 2:"));
        assert!(seen, "no second pass was told");
        send(child.id(), Signal::INT);
        lines.for_each(drop);
        let first = child.wait_with_output().unwrap();
        if !first.status.success() {
            stopped += 1;
            let [_, why] = said(&first);
            assert!(why.contains("the same command goes on from there"), "{why}");
            let again = review(&straight.path, &out, 2).output().unwrap();
            assert!(again.status.success(), "{:?}", said(&again));
            let [_, on] = said(&again);
            assert!(on.contains("goes on after"), "{on}");
        }
        let bytes = std::fs::read(out.join("session.json")).unwrap();
        assert!(bytes == straight.bytes, "it goes on to another file");
    }
    assert!(stopped > 0, "none was stopped in time");
}
