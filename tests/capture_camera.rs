//! A live camera through the real V4L2 path, with `vcam/vcam.c` as the
//! camera.
//!
//! Each test builds the library with gcc and runs a part of this file again
//! in a process that has it loaded. The parts are the ignored tests.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::time::{Duration, Instant};

use image::{ExtendedColorType, ImageEncoder, codecs::jpeg::JpegEncoder};
use kickplate::capture::{
    CameraFormat, CameraRequest, CaptureError, Feed, FeedState, FeedStatus, Frame, Pace,
    SourceKind, SourceSpec, Taken, list_cameras, open,
};

const WIDTH: u32 = 320;
const HEIGHT: u32 = 180;
const PICTURES: u8 = 30;
/// Distance in red between one picture and the next.
const STEP: u8 = 8;

/// Longer than anything here takes; a test that waits this long has failed.
const PATIENCE: Duration = Duration::from_secs(30);

/// Runs one of the ignored tests below with the virtual camera.
fn with_camera(part: &str, environment: &[(&str, &str)]) {
    let dir = tempfile::tempdir().expect("temp dir");
    let library = dir.path().join("libvcam.so");
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/vcam/vcam.c");
    let gcc = Command::new("gcc")
        .args(["-shared", "-fPIC", "-O2", "-o"])
        .args([&library, &source])
        .args(["-ldl", "-lpthread"])
        .output();
    let gcc = match gcc {
        Ok(gcc) => gcc,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
            eprintln!("skipped: gcc is not installed");
            return;
        }
        Err(error) => panic!("gcc: {error}"),
    };
    assert!(
        gcc.status.success(),
        "{}",
        String::from_utf8_lossy(&gcc.stderr)
    );

    let mjpg = dir.path().join("pictures.mjpg");
    let yuyv = dir.path().join("pictures.yuyv");
    write_jpegs(&mjpg);
    write_yuyv(&yuyv);
    let output = Command::new(std::env::current_exe().expect("this program"))
        .args([
            "--exact",
            part,
            "--ignored",
            "--nocapture",
            "--test-threads=1",
        ])
        .env("LD_PRELOAD", &library)
        .env("VCAM_MJPG", &mjpg)
        .env("VCAM_YUYV", &yuyv)
        .env("VCAM_W", WIDTH.to_string())
        .env("VCAM_H", HEIGHT.to_string())
        .env("VCAM_NAME", "Virtual Rink Cam")
        .env("VCAM_GONE", dir.path().join("gone"))
        .envs(environment.iter().copied())
        .stdin(Stdio::null())
        .output()
        .expect("runs");
    let text = format!(
        "{}\n{}",
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr)
    );
    assert!(
        output.status.success() && text.contains("1 passed"),
        "{part}: {}\n{text}",
        output.status
    );
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
    with_camera("part_lists_and_streams", &[]);
}

#[test]
fn plain_pictures() {
    with_camera("part_plain_pictures", &[]);
}

#[test]
fn unplugged_and_plugged_in_again() {
    with_camera("part_unplugged_and_plugged_in_again", &[]);
}

#[test]
fn absent_at_the_start() {
    with_camera("part_absent_at_the_start", &[]);
}

#[test]
fn silent_but_still_there() {
    with_camera("part_silent_but_still_there", &[("VCAM_STALL_AFTER", "25")]);
}

#[test]
fn silent_from_the_first_moment() {
    with_camera(
        "part_silent_from_the_first_moment",
        &[("VCAM_STALL_AFTER", "0")],
    );
}

#[test]
fn damaged_pictures() {
    with_camera("part_damaged_pictures", &[("VCAM_CORRUPT_EVERY", "5")]);
}

fn any_camera() -> SourceSpec {
    SourceSpec::Camera(CameraRequest {
        width: WIDTH,
        height: HEIGHT,
        ..Default::default()
    })
}

fn gone() -> PathBuf {
    std::env::var_os("VCAM_GONE")
        .expect("runs with the virtual camera only")
        .into()
}

/// Which picture a frame shows.
fn number(frame: &Frame) -> u8 {
    let middle = ((frame.height / 2 * frame.width + frame.width / 2) * 3) as usize;
    (frame.rgb[middle] + STEP / 2) / STEP
}

fn wait_for(feed: &Feed, what: &str, done: impl Fn(&FeedStatus) -> bool) -> FeedStatus {
    let since = Instant::now();
    loop {
        let status = feed.status();
        if done(&status) {
            return status;
        }
        assert!(since.elapsed() < PATIENCE, "no {what}: {status:?}");
        std::thread::sleep(Duration::from_millis(5));
    }
}

fn next(feed: &Feed) -> Arc<Frame> {
    match feed.take(PATIENCE) {
        Taken::Frame(frame) => frame,
        other => panic!("{other:?}: {:?}", feed.status()),
    }
}

#[test]
#[ignore = "run by `lists_and_streams` with the virtual camera"]
fn part_lists_and_streams() {
    let cameras = list_cameras();
    assert_eq!(cameras.len(), 1, "{cameras:?}");
    let camera = &cameras[0];
    assert_eq!(
        (camera.name.as_str(), camera.node.to_str()),
        ("Virtual Rink Cam", Some("/dev/video0"))
    );
    assert_eq!(
        camera.stable_id, "Virtual Rink Cam#0",
        "no link under /dev/v4l leads to it"
    );
    let modes: Vec<_> = camera
        .modes
        .iter()
        .map(|m| (m.fourcc.as_str(), m.width, m.height, m.fps))
        .collect();
    assert_eq!(
        modes,
        [("MJPG", WIDTH, HEIGHT, 30), ("YUYV", WIDTH, HEIGHT, 30)]
    );

    let other = SourceSpec::Camera(CameraRequest {
        id: Some("Attic".into()),
        ..Default::default()
    });
    let error = open(&other).err().expect("there is none");
    assert!(
        matches!(error, CaptureError::CameraNotFound { .. }),
        "{error}"
    );

    let id = Some(camera.stable_id.clone());
    let spec = SourceSpec::Camera(CameraRequest {
        id,
        width: WIDTH,
        height: HEIGHT,
        ..Default::default()
    });
    let mut source = open(&spec).expect("opens");
    assert_eq!(source.info().kind, SourceKind::Camera);
    assert_eq!((source.info().width, source.info().height), (WIDTH, HEIGHT));
    assert_eq!(source.info().nominal_fps, Some(30.0));
    let mut frames = Vec::new();
    for n in 0..30 {
        frames.push(source.next_frame().expect("no fault").expect("no end"));
        if n == 10 {
            assert_eq!(
                list_cameras(),
                cameras,
                "listing does not disturb and sees the same"
            );
        }
    }
    assert_eq!(frames[0].captured_at_s, 0.0);
    for pair in frames.windows(2) {
        // The camera stamps picture n at n / 30 s exactly; what was missed
        // shows in the number and in the picture alike.
        let step = pair[1].seq - pair[0].seq;
        let dt = pair[1].captured_at_s - pair[0].captured_at_s;
        assert!(step >= 1 && dt > 0.0);
        let periods = (dt * 30.0).round();
        assert!((dt * 30.0 - periods).abs() < 0.1, "{dt}");
        let pictures = (number(&pair[1]) + PICTURES - number(&pair[0])) % PICTURES;
        assert_eq!(pictures, (periods as u64 % u64::from(PICTURES)) as u8);
    }
}

#[test]
#[ignore = "run by `plain_pictures` with the virtual camera"]
fn part_plain_pictures() {
    let request = CameraRequest {
        width: WIDTH,
        height: HEIGHT,
        format: CameraFormat::Yuyv,
        ..Default::default()
    };
    let mut source = open(&SourceSpec::Camera(request)).expect("opens");
    for _ in 0..5 {
        let frame = source.next_frame().expect("no fault").expect("no end");
        assert_eq!(frame.rgb.len(), (WIDTH * HEIGHT * 3) as usize);
        assert!(
            frame
                .rgb
                .chunks_exact(3)
                .all(|p| p[0] >= 253 && p[1] <= 2 && p[2] <= 2),
            "{:?}",
            &frame.rgb[..3]
        );
    }
}

#[test]
#[ignore = "run by `unplugged_and_plugged_in_again` with the virtual camera"]
fn part_unplugged_and_plugged_in_again() {
    let feed = Feed::start(any_camera(), Pace::AsFast, None);
    let mut last = next(&feed);
    assert_eq!(last.captured_at_s, 0.0);
    for round in 1..=2 {
        wait_for(&feed, "picture", |s| s.state == FeedState::Live);
        fs::write(gone(), b"").expect("written");
        let status = wait_for(&feed, "loss", |s| s.state == FeedState::Lost);
        assert!(status.message.contains("camera"), "{}", status.message);
        while let Taken::Frame(frame) = feed.take(Duration::ZERO) {
            last = frame;
        }
        let away = Instant::now();
        std::thread::sleep(Duration::from_millis(700));
        let away_s = away.elapsed().as_secs_f64();
        fs::remove_file(gone()).expect("removed");
        let frame = next(&feed);
        assert!(
            frame.captured_at_s - last.captured_at_s >= away_s,
            "time went on meanwhile"
        );
        assert!(frame.seq > last.seq);
        last = frame;
        assert_eq!(feed.status().reopened, round);
        // The clock relates the frame to now, through the re-opening.
        let age_s = feed.clock().age_s(last.captured_at_s).expect("known");
        assert!((0.0..PATIENCE.as_secs_f64()).contains(&age_s), "{age_s}");
    }
    feed.stop();
    assert_eq!(feed.status().state, FeedState::Stopped);
    assert_eq!(list_cameras().len(), 1);
}

#[test]
#[ignore = "run by `absent_at_the_start` with the virtual camera"]
fn part_absent_at_the_start() {
    fs::write(gone(), b"").expect("written");
    assert!(list_cameras().is_empty());
    assert!(matches!(
        open(&any_camera()).err(),
        Some(CaptureError::NoCamera)
    ));
    let feed = Feed::start(any_camera(), Pace::Live { repeat: false }, None);
    let status = wait_for(&feed, "word about it", |s| s.state == FeedState::Lost);
    assert!(status.message.contains("plug one in"), "{}", status.message);
    assert_eq!(status.last_frame_age_s, None);
    assert_eq!(feed.take(Duration::ZERO), Taken::Nothing);
    fs::remove_file(gone()).expect("removed");
    assert_eq!(next(&feed).captured_at_s, 0.0);
}

#[test]
#[ignore = "run by `silent_but_still_there` with the virtual camera"]
fn part_silent_but_still_there() {
    let feed = Feed::start(any_camera(), Pace::AsFast, None);
    wait_for(&feed, "stall", |s| s.state == FeedState::Stalled);
    assert!(feed.latest().is_some(), "the last good picture stays");
    // Each opening gives 25 pictures: more than that needs the next one, so
    // the thread in the silent `frame()` was freed and the device opened.
    let status = wait_for(&feed, "third opening", |s| s.reopened >= 2 && s.frames > 50);
    assert!(status.frames > 50);
}

#[test]
#[ignore = "run by `silent_from_the_first_moment` with the virtual camera"]
fn part_silent_from_the_first_moment() {
    let feed = Feed::start(any_camera(), Pace::AsFast, None);
    wait_for(&feed, "opening", |s| s.state == FeedState::Opening);
    let status = wait_for(&feed, "word about it", |s| s.state == FeedState::Lost);
    assert!(status.message.contains("no picture"), "{}", status.message);
    assert_eq!(status.frames, 0);
    feed.stop();
    // The device was let go: nothing is left that holds it.
    let cameras = list_cameras();
    assert_eq!(
        cameras.first().map(|c| c.modes.len()),
        Some(2),
        "{cameras:?}"
    );
}

#[test]
#[ignore = "run by `damaged_pictures` with the virtual camera"]
fn part_damaged_pictures() {
    let feed = Feed::start(any_camera(), Pace::AsFast, None);
    let mut seen = Vec::new();
    while seen.len() < 20 || feed.status().corrupt < 3 {
        let frame = next(&feed);
        let flat = frame
            .rgb
            .chunks_exact(3)
            .all(|p| p[0].abs_diff(frame.rgb[0]) <= 2);
        assert!(flat, "a damaged picture came through");
        seen.push(frame.seq);
        assert!(seen.len() < 500, "{:?}", feed.status());
    }
    // Damaged ones leave gaps: every fifth is one.
    assert!(seen.iter().all(|seq| seq % 5 != 4), "{seen:?}");
}
