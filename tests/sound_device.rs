//! The speaker against a sound card made of software, and without one.
//!
//! ALSA reads its configuration once per process and the software card
//! writes into the current folder, so each case runs in a child process:
//! this same test program, asked for one ignored test.

#![allow(clippy::unwrap_used, reason = "a test may end at once")]

mod sound_analysis;

use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::{Duration, Instant};

use kickplate::sound::{SoundId, SoundSettings, SoundState, Speaker};
use sound_analysis::{dominant_hz, notes, pcm16, read_wav};

/// Far above anything seen; only there so that a hang ends.
const PATIENCE: Duration = Duration::from_secs(30);

fn project(path: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join(path)
}

fn pv_is_there() -> bool {
    let there = Command::new("pv").arg("--version").output().is_ok();
    if !there {
        println!("skipped: `pv` is not installed, which paces the software sound card");
    }
    there
}

/// Runs one of the ignored tests below in its own process.
fn run_child(test: &str, alsa_config: &Path, folder: &Path) {
    let output = Command::new(std::env::current_exe().unwrap())
        .args(["--exact", test, "--ignored", "--nocapture"])
        .env("ALSA_CONFIG_PATH", alsa_config)
        .current_dir(folder)
        .output()
        .unwrap();
    assert!(
        output.status.success(),
        "{}\n{}",
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr)
    );
}

fn wait_for(what: &str, mut condition: impl FnMut() -> bool) {
    let since = Instant::now();
    while !condition() {
        assert!(since.elapsed() < PATIENCE, "waited in vain: {what}");
        std::thread::sleep(Duration::from_millis(20));
    }
}

fn speaker() -> Speaker {
    Speaker::start(&project("sounds"), SoundSettings::default())
}

#[test]
fn every_sound_comes_out_in_order_and_at_its_pitch() {
    if !pv_is_there() {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    run_child(
        "child_plays_everything",
        &project("tests/alsa/paced-raw.conf"),
        folder.path(),
    );

    let raw = pcm16(&std::fs::read(folder.path().join("played.raw")).unwrap());
    let left: Vec<f64> = raw.iter().step_by(2).copied().collect();
    let right: Vec<f64> = raw.iter().skip(1).step_by(2).copied().collect();
    assert_eq!(left, right, "a mono sound comes out of both sides");

    // One stretch of notes per sound: they are half a second apart at least.
    let mut heard: Vec<Vec<(f64, f64)>> = vec![];
    let mut end_s = f64::NEG_INFINITY;
    for note in notes(&left, 48_000.0) {
        if note.start_s > end_s + 0.4 {
            heard.push(vec![]);
        }
        end_s = note.start_s + note.length_s;
        heard.last_mut().unwrap().push((note.start_s, note.hz));
    }
    let wanted: Vec<SoundId> = SoundId::all().collect();
    assert_eq!(heard.len(), wanted.len(), "{heard:?}");
    for (heard, id) in heard.iter().zip(wanted) {
        let wav = read_wav(&project("sounds").join(format!("{}.wav", id.name())));
        let in_file = notes(&wav.samples, 48_000.0);
        assert_eq!(heard.len(), in_file.len(), "{}: {heard:?}", id.name());
        for ((_, hz), note) in heard.iter().zip(&in_file) {
            assert!(
                (hz / note.hz - 1.0).abs() < 0.02,
                "{}: {hz} for {note:?}",
                id.name()
            );
        }
        let start = (heard[0].0 * 48_000.0) as usize;
        let stretch = &left[start..(start + wav.samples.len()).min(left.len())];
        let (hz, in_file) = (
            dominant_hz(stretch, 48_000.0),
            dominant_hz(&wav.samples, 48_000.0),
        );
        assert!(
            (hz / in_file - 1.0).abs() < 0.02,
            "{}: {hz} for {in_file}",
            id.name()
        );
        println!(
            "{}: {hz:.0} Hz read back, {in_file:.0} Hz in the file",
            id.name()
        );
    }
}

#[test]
#[ignore = "run by every_sound_comes_out_in_order_and_at_its_pitch in a child process"]
fn child_plays_everything() {
    let speaker = speaker();
    wait_for("device open", || speaker.state() == SoundState::Ready);
    assert_eq!(speaker.last_started(), None);
    for id in SoundId::all() {
        let asked = Instant::now();
        assert!(speaker.play(id));
        wait_for("sound started", || {
            speaker.last_started().is_some_and(|(s, _)| s == id)
        });
        let (_, at) = speaker.last_started().unwrap();
        assert!(at >= asked - Duration::from_micros(2) && at <= Instant::now());
        std::thread::sleep(Duration::from_millis(1500));
    }
    // Muted: not taken, and nothing starts.
    let before = speaker.last_started();
    speaker.set(SoundSettings {
        muted: true,
        level: 1.0,
    });
    assert_eq!(speaker.state(), SoundState::Off);
    assert!(!speaker.play(SoundId::PRAISE));
    std::thread::sleep(Duration::from_millis(300));
    assert_eq!(speaker.last_started(), before);
}

#[test]
fn without_a_card_it_says_so_and_finds_one_that_comes_later() {
    if !pv_is_there() {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let config = folder.path().join("alsa.conf");
    std::fs::copy(project("tests/alsa/no-card.conf"), &config).unwrap();
    run_child("child_waits_for_a_card", &config, folder.path());
}

#[test]
#[ignore = "run by without_a_card_it_says_so_and_finds_one_that_comes_later in a child process"]
fn child_waits_for_a_card() {
    let speaker = speaker();
    let not_opened_yet = speaker.state();
    wait_for("the fault is seen", || speaker.state() != not_opened_yet);
    let SoundState::NoDevice(why) = speaker.state() else {
        panic!("{:?}", speaker.state())
    };
    assert!(!why.is_empty());
    println!("without a card: {why}");
    // Asked for while there is nothing: taken, and dropped when it is stale.
    assert!(speaker.play(SoundId::PRAISE));
    std::thread::sleep(Duration::from_millis(1200));

    let config = std::env::var("ALSA_CONFIG_PATH").unwrap();
    std::fs::copy(project("tests/alsa/paced-raw.conf"), config).unwrap();
    wait_for("the new card is found", || {
        speaker.state() == SoundState::Ready
    });
    assert_eq!(speaker.last_started(), None, "a stale sound was played");
    assert!(speaker.play(SoundId::PRAISE));
    wait_for("sound started", || speaker.last_started().is_some());
}

#[test]
fn a_card_that_stalls_is_noticed_and_opened_again() {
    if !pv_is_there() {
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    run_child(
        "child_has_a_stalling_card",
        &project("tests/alsa/paced-raw.conf"),
        folder.path(),
    );
}

#[test]
#[ignore = "run by a_card_that_stalls_is_noticed_and_opened_again in a child process"]
fn child_has_a_stalling_card() {
    let speaker = speaker();
    wait_for("device open", || speaker.state() == SoundState::Ready);
    // A card that takes no more samples and reports no error: its `pv` is
    // halted. Only the ones below this very process are touched.
    // The shell that starts `pv` may take a while on a busy machine.
    let mut pids = vec![];
    wait_for("pv below this process", || {
        pids = pv_below(std::process::id());
        !pids.is_empty()
    });
    let signal = |name: &str| {
        for pid in &pids {
            let sent = Command::new("kill").args([name, &pid.to_string()]).status();
            assert!(sent.unwrap().success());
        }
    };
    signal("-STOP");
    wait_for("the stall is seen", || {
        matches!(speaker.state(), SoundState::NoDevice(_))
    });
    println!("stalled: {:?}", speaker.state());
    // The caller is not held up by a driver that hangs while it is closed:
    // this would wait for the signal that comes only after it.
    speaker.play(SoundId::PRAISE);
    signal("-CONT");
    wait_for("opened again", || speaker.state() == SoundState::Ready);
    assert!(speaker.play(SoundId::PRAISE));
    wait_for("sound started", || speaker.last_started().is_some());
}

/// Processes named `pv` among the descendants of `root`, read from `/proc`.
fn pv_below(root: u32) -> Vec<u32> {
    let mut found = vec![];
    let mut below = vec![root];
    let all: Vec<(u32, u32, String)> = std::fs::read_dir("/proc")
        .unwrap()
        .filter_map(|e| e.ok()?.file_name().to_str()?.parse::<u32>().ok())
        .filter_map(|pid| {
            let stat = std::fs::read_to_string(format!("/proc/{pid}/stat")).ok()?;
            let (head, tail) = stat.rsplit_once(')')?;
            let name = head.split_once('(')?.1.to_owned();
            let parent = tail.split_whitespace().nth(1)?.parse().ok()?;
            Some((pid, parent, name))
        })
        .collect();
    while let Some(parent) = below.pop() {
        for (pid, of, name) in &all {
            if *of == parent {
                below.push(*pid);
                if name == "pv" {
                    found.push(*pid);
                }
            }
        }
    }
    found
}

#[test]
fn missing_sounds_are_named_and_nothing_is_taken() {
    let folder = tempfile::tempdir().unwrap();
    let speaker = Speaker::start(folder.path(), SoundSettings::default());
    wait_for("the fault is seen", || {
        matches!(speaker.state(), SoundState::NoSounds(_))
    });
    let SoundState::NoSounds(why) = speaker.state() else {
        panic!("{:?}", speaker.state())
    };
    assert!(why.contains("knee_bend.wav"), "{why}");
    wait_for("no sound is taken", || !speaker.play(SoundId::PRAISE));
}
