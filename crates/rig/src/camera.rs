//! What runs with the virtual camera `tests/vcam/vcam.c` loaded, which gives
//! pictures as `tests/rig/camera.rs` wrote them.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant, SystemTime};

use kickplate::capture::{
    CameraFormat, CameraRequest, CaptureError, Feed, FeedState, FeedStatus, Frame, Pace,
    SourceKind, SourceSpec, Taken, list_cameras, open,
};

use crate::{HEIGHT, PICTURES, STEP, WIDTH};

/// Longer than anything here takes; a test that waits this long has failed.
const PATIENCE: Duration = Duration::from_secs(30);

fn any_camera() -> SourceSpec {
    SourceSpec::Camera(CameraRequest {
        width: WIDTH,
        height: HEIGHT,
        ..Default::default()
    })
}

fn file_of(variable: &str) -> PathBuf {
    std::env::var_os(variable)
        .expect("runs with the virtual camera only")
        .into()
}

fn gone() -> PathBuf {
    file_of("VCAM_GONE")
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

pub fn lists_and_streams() {
    let cameras = list_cameras();
    assert_eq!(cameras.len(), 1, "{cameras:?}");
    let camera = &cameras[0];
    assert_eq!(
        (camera.name.as_str(), camera.node.to_str()),
        ("Virtual Rink Cam", Some("/dev/video0"))
    );
    assert_eq!(
        camera.stable_id, "Virtual Rink Cam at usb-vcam-1",
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
        assert!((dt * 30.0 - periods).abs() < 0.3, "{dt}");
        let pictures = (number(&pair[1]) + PICTURES - number(&pair[0])) % PICTURES;
        assert_eq!(pictures, (periods as u64 % u64::from(PICTURES)) as u8);
    }
}

fn shutter_s() -> Option<f64> {
    let feed = Feed::start(any_camera(), Pace::AsFast, None);
    wait_for(&feed, "pictures", |s| s.state == FeedState::Live).shutter_s
}

pub fn shutter_by_hand() {
    let open_s = shutter_s().expect("told");
    assert!((open_s - 1.0 / 500.0).abs() < 1e-9, "{open_s}");
}

pub fn shutter_unknown() {
    assert_eq!(shutter_s(), None);
}

pub fn plain_pictures() {
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

pub fn unplugged_and_plugged_in_again() {
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

pub fn absent_at_the_start() {
    fs::write(gone(), b"").expect("written");
    assert!(list_cameras().is_empty());
    assert!(matches!(
        open(&any_camera()).err(),
        Some(CaptureError::NoCamera)
    ));
    let feed = Feed::start(any_camera(), Pace::Live { repeat: false }, None);
    let status = wait_for(&feed, "word about it", |s| s.state == FeedState::Lost);
    assert!(status.message.contains("plug one in"), "{}", status.message);
    let fault = status.fault.as_deref();
    assert!(matches!(fault, Some(CaptureError::NoCamera)), "{fault:?}");
    assert_eq!(status.last_frame_age_s, None);
    assert_eq!(feed.take(Duration::ZERO), Taken::Nothing);
    fs::remove_file(gone()).expect("removed");
    assert_eq!(next(&feed).captured_at_s, 0.0);
    assert!(feed.status().fault.is_none(), "it is over");
}

pub fn silent_but_still_there() {
    let feed = Feed::start(any_camera(), Pace::AsFast, None);
    wait_for(&feed, "stall", |s| s.state == FeedState::Stalled);
    assert!(feed.latest().is_some(), "the last good picture stays");
    // Each opening gives 25 pictures: more than that needs the next one, so
    // the thread in the silent `frame()` was freed and the device opened.
    let status = wait_for(&feed, "third opening", |s| s.reopened >= 2 && s.frames > 50);
    assert!(status.frames > 50);
}

pub fn silent_from_the_first_moment() {
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

pub fn damaged_pictures() {
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

/// Threads, descriptors and kilobytes of this process.
fn holds() -> (usize, usize, u64) {
    let status = fs::read_to_string("/proc/self/status").expect("proc");
    let kb = status
        .lines()
        .find_map(|l| l.strip_prefix("VmRSS:")?.trim().strip_suffix(" kB"))
        .and_then(|n| n.trim().parse().ok())
        .expect("proc(5): VmRSS in kB");
    let count = |folder| fs::read_dir(folder).expect("proc").count();
    (count("/proc/self/task"), count("/proc/self/fd"), kb)
}

pub fn unplugged_many_times() {
    let times: u64 = std::env::var("KICKPLATE_UNPLUGS")
        .ok()
        .and_then(|n| n.parse().ok())
        .unwrap_or(5);
    let feed = Feed::start(any_camera(), Pace::AsFast, None);
    wait_for(&feed, "picture", |s| s.state == FeedState::Live);
    let mut settled = None;
    for round in 1..=times + 2 {
        fs::write(gone(), b"").expect("written");
        wait_for(&feed, "loss", |s| s.state == FeedState::Lost);
        // A hand, or the bus after a reset, is not quicker.
        std::thread::sleep(Duration::from_millis(300));
        fs::remove_file(gone()).expect("removed");
        let frames = feed.status().frames;
        wait_for(&feed, "return", |s| {
            s.state == FeedState::Live && s.frames > frames + 5
        });
        assert_eq!(feed.status().reopened, round);
        // Two rounds to warm up.
        if round == 2 {
            settled = Some(holds());
        }
    }
    let (threads, descriptors, kb) = settled.expect("two rounds");
    let (threads_now, descriptors_now, kb_now) = holds();
    println!(
        "{times} unplugs: {threads} to {threads_now} threads, {descriptors} to {descriptors_now} descriptors, {kb} to {kb_now} kB"
    );
    assert_eq!((threads_now, descriptors_now), (threads, descriptors));
    // One picture is 57 kB plain; a buffer kept per round would show.
    assert!(kb_now < kb + 4096 + 20 * times, "{kb} kB to {kb_now} kB");
}

pub fn another_number_and_format() {
    let cameras = list_cameras();
    let id = cameras[0].stable_id.clone();
    let spec = SourceSpec::Camera(CameraRequest {
        id: Some(id.clone()),
        width: WIDTH,
        height: HEIGHT,
        ..Default::default()
    });
    let feed = Feed::start(spec, Pace::AsFast, None);
    let before = next(&feed);
    fs::write(gone(), b"").expect("written");
    wait_for(&feed, "loss", |s| s.state == FeedState::Lost);
    fs::write(file_of("VCAM_INDEX_FILE"), "3").expect("written");
    fs::write(file_of("VCAM_PLAIN_ONLY"), b"").expect("written");
    while let Taken::Frame(_) = feed.take(Duration::ZERO) {}
    fs::remove_file(gone()).expect("removed");
    let after = next(&feed);
    assert!(after.captured_at_s > before.captured_at_s);
    assert!(
        after.rgb[0] >= 253 && after.rgb[1] <= 2,
        "the plain pictures are red"
    );
    let cameras = list_cameras();
    assert_eq!(cameras.len(), 1, "{cameras:?}");
    assert_eq!(cameras[0].node, Path::new("/dev/video3"));
    assert_eq!(cameras[0].stable_id, id);
}

pub fn two_cameras_of_one_model() {
    let cameras = list_cameras();
    let ids: Vec<&str> = cameras.iter().map(|c| c.stable_id.as_str()).collect();
    assert_eq!(
        ids,
        [
            "Virtual Rink Cam at usb-vcam-1",
            "Virtual Rink Cam at usb-vcam-2"
        ]
    );
    let second = CameraRequest {
        id: Some(ids[1].to_owned()),
        width: WIDTH,
        height: HEIGHT,
        ..Default::default()
    };
    let feed = Feed::start(SourceSpec::Camera(second), Pace::AsFast, None);
    next(&feed);
    // The other one stays free for another program.
    assert_eq!(list_cameras(), cameras);
    fs::write(file_of("VCAM2_GONE"), b"").expect("written");
    let status = wait_for(&feed, "loss", |s| s.message.contains("usb-vcam-2"));
    assert_eq!(status.state, FeedState::Lost, "{}", status.message);
    // Its twin is there and is not taken in its place.
    let frames = feed.status().frames;
    std::thread::sleep(Duration::from_millis(1500));
    assert_eq!(feed.status().frames, frames);
    assert_eq!(list_cameras().len(), 1);
    fs::remove_file(file_of("VCAM2_GONE")).expect("removed");
    wait_for(&feed, "return", |s| s.frames > frames);
}

pub fn the_wall_clock_is_set_back() {
    let feed = Feed::start(any_camera(), Pace::AsFast, None);
    let mut frames = vec![next(&feed)];
    let wall = SystemTime::now();
    while frames.len() < 60 {
        if frames.len() == 30 {
            fs::write(file_of("CLOCK_BACK"), b"").expect("written");
            assert!(SystemTime::now() < wall, "the clock was not set back");
        }
        frames.push(next(&feed));
        let newest = frames.last().expect("just pushed");
        let age_s = feed.clock().age_s(newest.captured_at_s).expect("known");
        assert!((0.0..5.0).contains(&age_s), "{age_s}");
    }
    for pair in frames.windows(2) {
        let periods = (pair[1].captured_at_s - pair[0].captured_at_s) * 30.0;
        assert!(periods > 0.5 && periods < 30.0, "{periods}");
        assert!((periods - periods.round()).abs() < 0.3, "{periods}");
        // The picture shows how many periods really passed.
        let pictures = (number(&pair[1]) + PICTURES - number(&pair[0])) % PICTURES;
        assert_eq!(pictures, periods.round() as u8 % PICTURES);
    }
    assert_eq!(feed.status().reopened, 0);
}
