//! A live camera through the real V4L2 path, with `tests/vcam/vcam.c` as the
//! camera.
//!
//! Each test builds the library with gcc and runs a part of `rig` with it loaded.

use std::fs;
use std::io::Write;
use std::path::Path;
use std::process::Stdio;

use image::{ExtendedColorType, ImageEncoder, codecs::jpeg::JpegEncoder};
use kickplate_rig::{HEIGHT, PICTURES, STEP, WIDTH};
use kickplate_testing::preload_library;

use crate::{ended_well, rig};

/// Runs a part with the virtual camera.
fn with_camera(part: &str, environment: &[(&str, &str)]) {
    let dir = tempfile::tempdir().expect("temp dir");
    let built = ["tests/vcam/vcam.c", "tests/clock/step.c"]
        .map(|source| preload_library(source, dir.path()));
    let [Some(camera), Some(clock)] = built else {
        return;
    };

    let mjpg = dir.path().join("pictures.mjpg");
    let yuyv = dir.path().join("pictures.yuyv");
    write_jpegs(&mjpg);
    write_yuyv(&yuyv);
    let output = rig(part)
        .env(
            "LD_PRELOAD",
            format!("{}:{}", camera.display(), clock.display()),
        )
        .env("VCAM_MJPG", &mjpg)
        .env("VCAM_YUYV", &yuyv)
        .env("VCAM_W", WIDTH.to_string())
        .env("VCAM_H", HEIGHT.to_string())
        .env("VCAM_NAME", "Virtual Rink Cam")
        .env("VCAM_GONE", dir.path().join("gone"))
        .env("VCAM2_GONE", dir.path().join("gone2"))
        .env("VCAM_INDEX_FILE", dir.path().join("index"))
        .env("VCAM_PLAIN_ONLY", dir.path().join("plain-only"))
        .env("CLOCK_BACK", dir.path().join("clock-back"))
        .envs(environment.iter().copied())
        .stdin(Stdio::null())
        .output()
        .expect("runs");
    let text = ended_well(part, &output);
    // What was measured is seen with `--nocapture`.
    for line in text.lines().filter(|l| l.contains("unplugs")) {
        println!("{line}");
    }
}

/// Flat pictures; the red of number n is n * STEP.
fn write_jpegs(path: &Path) {
    let mut file = fs::File::create(path).expect("created");
    for n in 0..PICTURES {
        let rgb = [n * STEP, 100, 60].repeat((WIDTH * HEIGHT) as usize);
        let mut jpeg = Vec::new();
        JpegEncoder::new_with_quality(&mut jpeg, 95)
            .write_image(&rgb, WIDTH, HEIGHT, ExtendedColorType::Rgb8)
            .expect("encoded");
        file.write_all(&jpeg).expect("written");
    }
}

/// One picture: Y 81, U 90, V 240, which is pure red in BT.601 (the 75 %-free
/// colour bar of BT.601/SMPTE EG 1; value from memory, checked by formula in
/// the conversion's own test).
fn write_yuyv(path: &Path) {
    fs::write(
        path,
        [81u8, 90, 81, 240].repeat((WIDTH * HEIGHT / 2) as usize),
    )
    .expect("written");
}

#[test]
fn lists_and_streams() {
    with_camera("lists_and_streams", &[]);
}

#[test]
fn plain_pictures() {
    with_camera("plain_pictures", &[]);
}

/// V4L2 "Camera Control Reference" (Linux kernel): the exposure time comes in
/// steps of 100 microseconds; 1 is set by hand, 3 is chosen by the camera,
/// whose time is then not to be believed.
#[test]
fn the_shutter_is_told_where_it_is_set_by_hand() {
    let by_hand = ("VCAM_EXPOSURE", "20");
    with_camera("shutter_by_hand", &[by_hand]);
    with_camera("shutter_unknown", &[by_hand, ("VCAM_EXPOSURE_AUTO", "3")]);
    with_camera("shutter_unknown", &[]);
}

#[test]
fn unplugged_and_plugged_in_again() {
    with_camera("unplugged_and_plugged_in_again", &[]);
}

#[test]
fn absent_at_the_start() {
    with_camera("absent_at_the_start", &[]);
}

#[test]
fn silent_but_still_there() {
    with_camera("silent_but_still_there", &[("VCAM_STALL_AFTER", "25")]);
}

#[test]
fn silent_from_the_first_moment() {
    with_camera("silent_from_the_first_moment", &[("VCAM_STALL_AFTER", "0")]);
}

#[test]
fn damaged_pictures() {
    with_camera("damaged_pictures", &[("VCAM_CORRUPT_EVERY", "5")]);
}

/// The full run is 100 times: `KICKPLATE_UNPLUGS=100`.
#[test]
fn unplugged_many_times() {
    with_camera("unplugged_many_times", &[]);
}

#[test]
fn another_number_and_another_format_after_an_unplug() {
    with_camera("another_number_and_format", &[]);
}

#[test]
fn two_cameras_of_one_model() {
    with_camera("two_cameras_of_one_model", &[("VCAM2_INDEX", "2")]);
}

#[test]
fn the_wall_clock_is_set_back() {
    with_camera("the_wall_clock_is_set_back", &[]);
}
