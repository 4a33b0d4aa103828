//! Files and pictures that were damaged or made up: good ones are changed at
//! random, thousands of times, and read. Nothing may panic, hang, or take
//! memory without measure, and what is accepted has to make sense.
//!
//! This is mutation without feedback from the code that runs. The targets in
//! `fuzz/` do the same guided by coverage, where nightly Rust is at hand.
//!
//! The suite takes a small, fixed number of inputs a target;
//! `KICKPLATE_MUTATION_SECONDS=120` goes on for so long with each.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use image::{ExtendedColorType, ImageEncoder, codecs::jpeg::JpegEncoder};
use kickplate::capture::{self, SourceSpec};
use kickplate::config::Lane;
use kickplate::rules::{AgeGroup, AgeGroups};
use kickplate::station::{StationSettings, scale_of};
use kickplate::store::SessionFile;

/// Far more than any of these needs, far less than what would hurt.
const LARGEST_MB: u64 = 700;

fn file(path: &str) -> Vec<u8> {
    std::fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join(path)).unwrap()
}

/// Marsaglia's xorshift, 2003.
struct Dice(u64);

impl Dice {
    fn next(&mut self) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0
    }

    fn below(&mut self, n: usize) -> usize {
        (self.next() % n.max(1) as u64) as usize
    }

    /// Small mostly, large sometimes.
    fn length(&mut self, most: usize) -> usize {
        let scale = [4, 16, 64, 1024][self.below(4)];
        1 + self.below(most.clamp(1, scale))
    }
}

const NUMBERS: [&str; 16] = [
    "0",
    "-1",
    "1e308",
    "-1e308",
    "1e-320",
    "nan",
    "inf",
    "-inf",
    "99999999999999999999",
    "1e400",
    "0x7f",
    "\"\"",
    "[]",
    "{}",
    "true",
    "-0.0",
];
const WORDS: [u32; 10] = [
    0,
    1,
    7,
    8,
    0x7f,
    0x7fff_ffff,
    0x8000_0000,
    0xffff_ffff,
    0xffff,
    0x0100_0000,
];

/// One to eight changes of `bytes`; pieces may come from `other`.
fn mutated(bytes: &[u8], other: &[u8], text: bool, dice: &mut Dice) -> Vec<u8> {
    let mut out = bytes.to_vec();
    for _ in 0..1 + dice.below(8) {
        let at = dice.below(out.len());
        let n = dice.length(out.len().saturating_sub(at));
        let end = (at + n).min(out.len());
        match dice.below(if text { 9 } else { 8 }) {
            0 if at < out.len() => out[at] ^= 1 << dice.below(8),
            1 if at < out.len() => out[at] = dice.next() as u8,
            2 => drop(out.drain(at..end)),
            3 => {
                let piece = out[at..end].to_vec();
                let to = dice.below(out.len());
                out.splice(to..to, piece);
            }
            4 => {
                let from = dice.below(other.len());
                let piece = &other[from..(from + n).min(other.len())];
                out.splice(at..end, piece.iter().copied());
            }
            5 if dice.below(4) == 0 => out.truncate(at),
            6 => {
                let word = WORDS[dice.below(WORDS.len())].to_be_bytes();
                let end = (at + 4).min(out.len());
                out.splice(at..end, word);
            }
            7 => {
                let (a, b) = (dice.below(out.len()), dice.below(out.len()));
                if !out.is_empty() {
                    out.swap(a, b);
                }
            }
            8 => {
                // A number in the place of a number.
                let digit = out.iter().skip(at).position(u8::is_ascii_digit);
                let Some(start) = digit.map(|d| at + d) else {
                    continue;
                };
                let stays = |b: &u8| b.is_ascii_digit() || b".-+eE".contains(b);
                let length = out[start..].iter().take_while(|b| stays(b)).count();
                let number = NUMBERS[dice.below(NUMBERS.len())];
                out.splice(start..start + length, number.bytes());
            }
            _ => {}
        }
    }
    out
}

/// Reads mutations of the seeds with `read`, which says whether it took one.
fn reads_anything(
    name: &str,
    seeds: &[Vec<u8>],
    text: bool,
    cases: u32,
    read: impl Fn(&[u8]) -> bool,
) {
    for (n, seed) in seeds.iter().enumerate() {
        assert!(read(seed), "{name}: seed {n} is not taken unchanged");
    }
    let seconds: Option<u64> = std::env::var("KICKPLATE_MUTATION_SECONDS")
        .ok()
        .and_then(|s| s.parse().ok());
    let (since, mut done, mut taken) = (Instant::now(), 0, 0u32);
    let mut slowest = (Duration::ZERO, 0);
    let mut dice = Dice(match seconds {
        // Other inputs in each long run; the number is in what it prints.
        Some(_) => u64::from(std::process::id()) << 20 | 1,
        None => 0x5eed_0002,
    });
    let began = dice.0;
    while seconds.map_or(done < cases, |s| since.elapsed().as_secs() < s) {
        let seed = &seeds[dice.below(seeds.len())];
        let other = &seeds[dice.below(seeds.len())];
        let input = mutated(seed, other, text, &mut dice);
        let one = Instant::now();
        match catch_unwind(AssertUnwindSafe(|| read(&input))) {
            Ok(good) => taken += u32::from(good),
            Err(_) => {
                let kept = std::env::temp_dir().join(format!("kickplate-{name}-{done}"));
                std::fs::write(&kept, &input).unwrap();
                panic!(
                    "{name}: input {done} of {began:#x} broke it, kept as {}",
                    kept.display()
                );
            }
        }
        slowest = slowest.max((one.elapsed(), done));
        done += 1;
    }
    println!(
        "{name}: {done} inputs from {began:#x}, {taken} taken, slowest {:.0} ms, most memory {} MB",
        1000.0 * slowest.0.as_secs_f64(),
        most_memory_mb()
    );
    assert!(
        taken > 0 || text,
        "{name}: the changes leave nothing readable"
    );
    assert!(
        most_memory_mb() < LARGEST_MB,
        "{name}: {} MB",
        most_memory_mb()
    );
}

/// The most this process ever held, proc(5).
fn most_memory_mb() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find_map(|l| l.strip_prefix("VmHWM:"));
    let kb: u64 = line
        .unwrap()
        .trim()
        .trim_end_matches(" kB")
        .parse()
        .unwrap();
    kb / 1000
}

fn as_text(read: impl Fn(&str) -> bool) -> impl Fn(&[u8]) -> bool {
    move |bytes| read(&String::from_utf8_lossy(bytes))
}

/// In memory where the system has such a folder, so that no disk is worn.
fn folder() -> tempfile::TempDir {
    let memory = Path::new("/dev/shm");
    match tempfile::tempdir_in(memory) {
        Ok(dir) => dir,
        Err(_) => tempfile::tempdir().unwrap(),
    }
}

#[test]
fn settings_of_the_station() {
    let seeds = [file("config/station.toml")];
    reads_anything(
        "station",
        &seeds,
        true,
        1500,
        as_text(|text| StationSettings::from_toml(text, "station.toml", "/".as_ref()).is_ok()),
    );
}

#[test]
fn limits_of_the_age_groups() {
    let seeds = [file("config/age-groups.toml")];
    reads_anything(
        "age-groups",
        &seeds,
        true,
        600,
        as_text(|text| {
            let Ok(groups) = AgeGroups::from_toml(text, "age-groups.toml") else {
                return false;
            };
            for group in AgeGroup::ALL {
                for limits in groups.thresholds(group).limits.values() {
                    assert!(limits.at_least.is_none_or(f64::is_finite));
                    assert!(limits.at_most.is_none_or(f64::is_finite));
                }
            }
            true
        }),
    );
}

#[test]
fn lanes() {
    let seeds = [
        file("config/lane-side.toml"),
        file("config/lane-front.toml"),
    ];
    reads_anything(
        "lane",
        &seeds,
        true,
        3000,
        as_text(|text| {
            let Ok(lane) = Lane::from_toml(text, "lane.toml") else {
                return false;
            };
            assert!(lane.hfov_deg.is_finite() && lane.lane_distance_m.is_finite());
            let _ = kickplate::geometry::Camera::of_lane(&lane, 1280, 720);
            true
        }),
    );
}

#[test]
fn marks() {
    let seeds = [file("config/marks-example.toml")];
    reads_anything(
        "marks",
        &seeds,
        true,
        600,
        as_text(|text| {
            let Ok(scale) = scale_of(text, "marks.toml") else {
                return false;
            };
            assert!(!scale.lane_file.contains("NaN"), "{}", scale.lane_file);
            assert!(!scale.lane_file.contains("inf"), "{}", scale.lane_file);
            true
        }),
    );
}

#[test]
fn session_files() {
    let seeds = [session_file()];
    let dir = folder();
    let path = dir.path().join("session.json");
    reads_anything("session-json", &seeds, true, 800, |bytes| {
        std::fs::write(&path, bytes).unwrap();
        let Ok(session) = SessionFile::read(&path) else {
            return false;
        };
        // What was read can be written and read again, unchanged.
        let text = session.to_text().unwrap();
        std::fs::write(&path, &text).unwrap();
        assert_eq!(SessionFile::read(&path).unwrap().to_text().unwrap(), text);
        true
    });
}

/// As a review writes one.
fn session_file() -> Vec<u8> {
    let mut file = SessionFile::new(
        crate::store_common::source(),
        crate::store_common::lane(),
        crate::store_common::engine(),
        &kickplate::rules::Thresholds::defaults(AgeGroup::U15),
        None,
    );
    for n in 1..3 {
        file.add_pass(
            &crate::store_common::pass(n),
            &crate::store_common::cue(n),
            "words",
        )
        .unwrap();
    }
    file.to_text().unwrap().into_bytes()
}

#[test]
fn pictures_of_a_camera() {
    let picture = |quality: u8, size: u32| {
        let rgb: Vec<u8> = (0..size * size * 3).map(|i| (i * i / 7) as u8).collect();
        let mut jpeg = Vec::new();
        JpegEncoder::new_with_quality(&mut jpeg, quality)
            .write_image(&rgb, size, size, ExtendedColorType::Rgb8)
            .unwrap();
        jpeg
    };
    let seeds = [picture(90, 48), picture(30, 33), picture(75, 64)];
    reads_anything("jpeg", &seeds, false, 3000, |bytes| {
        let Ok(frame) = capture::read_camera_jpeg(bytes) else {
            return false;
        };
        let pixels = frame.width as usize * frame.height as usize;
        assert_eq!(frame.rgb.len(), 3 * pixels);
        true
    });
    // A header that asks for 60 000 x 60 000 pixels, 10.8 gigabytes.
    let mut huge = picture(75, 64);
    let start_of_frame = huge.windows(2).position(|w| w == [0xff, 0xc0]).unwrap();
    huge[start_of_frame + 5..start_of_frame + 9].copy_from_slice(&[0xea, 0x60, 0xea, 0x60]);
    assert!(capture::read_camera_jpeg(&huge).is_err());
}

#[test]
fn recordings() {
    let seeds = ["no-b-frames.mp4", "b-frames.mp4", "rotated.mp4"]
        .map(|name| file(&format!("tests/media/{name}")));
    let dir = folder();
    let path: PathBuf = dir.path().join("clip.mp4");
    reads_anything("mp4", &seeds, false, 60, |bytes| {
        // Anything else would go to another program.
        if bytes.get(4..8) != Some(b"ftyp") {
            return false;
        }
        std::fs::write(&path, bytes).unwrap();
        let Ok(mut source) = capture::open(&SourceSpec::File { path: path.clone() }) else {
            return false;
        };
        let mut last_s = f64::NEG_INFINITY;
        for _ in 0..20 {
            let Ok(Some(frame)) = source.next_frame() else {
                break;
            };
            assert!(frame.captured_at_s.is_finite() && frame.captured_at_s >= last_s);
            let pixels = frame.width as usize * frame.height as usize;
            assert_eq!(frame.rgb.len(), 3 * pixels);
            last_s = frame.captured_at_s;
        }
        true
    });
}
