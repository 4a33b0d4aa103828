//! A feed over files: pace, end, repetition, faults. (Cameras:
//! `capture_camera.rs`.)

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

use kickplate::capture::{Feed, FeedState, Frame, Pace, SourceSpec, Taken};

/// Longer than anything here takes; a test that waits this long has failed.
const PATIENCE: Duration = Duration::from_secs(30);

fn clip() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/media/no-b-frames.mp4")
}

fn spec(path: &Path) -> SourceSpec {
    SourceSpec::File {
        path: path.to_owned(),
    }
}

fn next(feed: &Feed) -> Option<Arc<Frame>> {
    match feed.take(PATIENCE) {
        Taken::Frame(frame) => Some(frame),
        Taken::Ended => None,
        Taken::Nothing => panic!("nothing for {PATIENCE:?}: {:?}", feed.status()),
    }
}

#[test]
fn as_fast_misses_nothing_and_ends() {
    let wakes = Arc::new(AtomicU64::new(0));
    let waker = {
        let wakes = Arc::clone(&wakes);
        Arc::new(move || {
            wakes.fetch_add(1, Ordering::Relaxed);
        })
    };
    let feed = Feed::start(spec(&clip()), Pace::AsFast, Some(waker));
    let mut seqs = Vec::new();
    while let Some(frame) = next(&feed) {
        seqs.push(frame.seq);
    }
    assert_eq!(seqs, (0..45).collect::<Vec<_>>());
    let status = feed.status();
    assert_eq!((status.frames, status.dropped, status.corrupt), (45, 0, 0));
    assert_eq!(status.state, FeedState::Ended, "{}", status.message);
    assert_eq!(status.source, "no-b-frames.mp4");
    assert_eq!(
        feed.latest().map(|f| f.seq),
        Some(44),
        "the last picture stays for the preview"
    );
    assert!(
        feed.clock().age_s(0.0).is_none(),
        "no clock where nothing keeps time"
    );
    assert!(wakes.load(Ordering::Relaxed) >= 45);
}

#[test]
fn live_plays_at_its_own_speed_and_counts_what_nobody_took() {
    let started = Instant::now();
    let feed = Feed::start(spec(&clip()), Pace::Live { repeat: false }, None);
    // The first, unless this thread was held up.
    let first = next(&feed).map(|f| f.seq).expect("there are 45");
    // Nobody takes any more: every frame but the last is overwritten.
    while feed.status().state != FeedState::Ended {
        assert!(started.elapsed() < PATIENCE, "{:?}", feed.status());
        std::thread::sleep(Duration::from_millis(10));
    }
    // 45 frames at 30 a second last 1.5 s: never less.
    assert!(
        started.elapsed() >= Duration::from_millis(1490),
        "{:?}",
        started.elapsed()
    );
    let status = feed.status();
    assert_eq!(status.frames, 45);
    assert!(
        (43 - first..=43).contains(&status.dropped),
        "{first} {status:?}"
    );
    assert_eq!(next(&feed).map(|f| f.seq), Some(44));
    assert!(next(&feed).is_none());
}

#[test]
fn only_who_may_lose_frames_is_ever_behind() {
    let behind = |pace: Pace, patience: Duration| {
        let feed = Feed::start(spec(&clip()), pace, None);
        next(&feed).expect("there are 45");
        let since = Instant::now();
        while !feed.is_behind() && since.elapsed() < patience {
            std::thread::sleep(Duration::from_millis(5));
        }
        feed.is_behind()
    };
    assert!(behind(Pace::Live { repeat: true }, PATIENCE));
    let a_moment = Duration::from_millis(200);
    assert!(!behind(Pace::Patient, a_moment));
    assert!(!behind(Pace::AsFast, a_moment));
}

#[test]
fn a_repeated_file_goes_on_in_time() {
    let feed = Feed::start(spec(&clip()), Pace::Live { repeat: true }, None);
    let mut frames = Vec::new();
    while frames.last().is_none_or(|f: &Arc<Frame>| f.seq < 60) {
        frames.push(next(&feed).expect("never ends"));
    }
    assert!(
        frames
            .windows(2)
            .all(|w| w[0].captured_at_s < w[1].captured_at_s && w[0].seq < w[1].seq)
    );
    // Frame n of a 30 a second clip is at n / 30 s, through the seam.
    for frame in &frames {
        assert!(
            (frame.captured_at_s - frame.seq as f64 / 30.0).abs() < 0.002,
            "{} {}",
            frame.seq,
            frame.captured_at_s
        );
    }
    // A frame is never handed out before it is due.
    let newest = feed.latest().expect("a frame");
    assert!(
        feed.clock()
            .age_s(newest.captured_at_s)
            .expect("keeps time")
            >= 0.0
    );
    feed.stop();
    assert_eq!(feed.status().state, FeedState::Stopped);
    while let Taken::Frame(_) = feed.take(Duration::ZERO) {}
    assert_eq!(feed.take(PATIENCE), Taken::Ended);
}

/// An endurance run leaves out the time in which the lane is empty: the clock
/// jumps, nobody waits, and a frame is as fresh as without.
#[test]
fn time_with_an_empty_lane_is_left_out() {
    let pace = Pace::Faster {
        times: 4,
        empty_s: 1000,
    };
    let since = Instant::now();
    let feed = Feed::start(spec(&clip()), pace, None);
    let mut last = (0, 0.0);
    let mut jumps = Vec::new();
    while last.0 < 100 {
        let frame = next(&feed).expect("never ends");
        let gone_s = frame.captured_at_s - last.1;
        if gone_s > 100.0 {
            jumps.push(gone_s);
            let age_s = feed.clock().age_s(frame.captured_at_s).expect("keeps time");
            assert!(age_s < 100.0, "{age_s}");
        }
        last = (frame.seq, frame.captured_at_s);
    }
    // 45 frames a round: frame 100 is in the third.
    assert_eq!(jumps.len(), 2, "{jumps:?}");
    assert!(
        jumps.iter().all(|s| (1000.0..1002.0).contains(s)),
        "{jumps:?}"
    );
    assert!(since.elapsed() < Duration::from_secs(200), "it waited");
}

#[test]
fn a_file_that_appears_later_is_found() {
    let dir = tempfile::tempdir().expect("temp dir");
    let path = dir.path().join("later.mp4");
    let feed = Feed::start(spec(&path), Pace::AsFast, None);
    let started = Instant::now();
    while feed.status().state != FeedState::Lost {
        assert!(started.elapsed() < PATIENCE, "{:?}", feed.status());
        std::thread::sleep(Duration::from_millis(5));
    }
    assert!(
        feed.status().message.contains("later.mp4"),
        "{}",
        feed.status().message
    );
    assert_eq!(
        feed.take(Duration::ZERO),
        Taken::Nothing,
        "a fault is not the end"
    );
    fs::copy(clip(), dir.path().join("part")).expect("copied");
    fs::rename(dir.path().join("part"), &path).expect("renamed");
    assert_eq!(next(&feed).map(|f| f.seq), Some(0));
    assert_eq!(feed.status().reopened, 1);
}

#[test]
fn a_damaged_file_ends_with_its_sentence() {
    let dir = tempfile::tempdir().expect("temp dir");
    for n in 0..3u8 {
        let name = dir.path().join(format!("{n}.png"));
        image::RgbImage::from_pixel(8 + u32::from(n / 2), 8, image::Rgb([n, 0, 0]))
            .save(name)
            .expect("saved");
    }
    let feed = Feed::start(
        SourceSpec::Folder {
            path: dir.path().to_owned(),
            fps: 100.0,
        },
        Pace::AsFast,
        None,
    );
    let mut count = 0;
    while next(&feed).is_some() {
        count += 1;
    }
    assert_eq!(count, 2);
    assert!(
        feed.status().message.contains("2.png"),
        "{}",
        feed.status().message
    );
}
