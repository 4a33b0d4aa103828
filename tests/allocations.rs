//! What a frame asks of the memory once everything runs: nothing large.
//!
//! A counting allocator sees what Rust code asks for. What the C and C++
//! libraries (ONNX Runtime, OpenH264, the camera's driver) take for themselves
//! is not seen here.

#![allow(clippy::unwrap_used, reason = "a failed unwrap is a failed test")]

use std::alloc::{GlobalAlloc, Layout, System};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use kickplate::capture::{Feed, Pace, Source, SourceSpec, Taken, open, open_ahead};
use kickplate::config::Lane;
use kickplate::pose::{EngineChoice, Estimator, PoseSettings};
use kickplate::track::{TrackSettings, Tracker};

/// From this size on a request counts as large: a model's input is 786 kB, a
/// frame 2.8 MB; everything of a body or a pass stays below.
const LARGE: usize = 64 << 10;

static ALL: AtomicU64 = AtomicU64::new(0);
static LARGE_ONES: AtomicU64 = AtomicU64::new(0);

struct Counting;

fn count(size: usize) {
    ALL.fetch_add(1, Ordering::Relaxed);
    if size >= LARGE {
        LARGE_ONES.fetch_add(1, Ordering::Relaxed);
    }
}

// SAFETY: every call goes to the system's allocator with the arguments it came
// with; counting touches no memory but two atomics.
#[allow(unsafe_code, reason = "the only way to see allocations")]
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        count(layout.size());
        unsafe { System.alloc(layout) }
    }
    unsafe fn alloc_zeroed(&self, layout: Layout) -> *mut u8 {
        count(layout.size());
        unsafe { System.alloc_zeroed(layout) }
    }
    unsafe fn realloc(&self, at: *mut u8, layout: Layout, size: usize) -> *mut u8 {
        count(size);
        unsafe { System.realloc(at, layout, size) }
    }
    unsafe fn dealloc(&self, at: *mut u8, layout: Layout) {
        unsafe { System.dealloc(at, layout) }
    }
}

#[global_allocator]
static ALLOCATOR: Counting = Counting;

/// The counters belong to the whole program: one test at a time.
fn alone() -> MutexGuard<'static, ()> {
    static ALONE: Mutex<()> = Mutex::new(());
    ALONE.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Requests so far: all, and the large ones.
fn counted() -> [u64; 2] {
    [
        ALL.load(Ordering::Relaxed),
        LARGE_ONES.load(Ordering::Relaxed),
    ]
}

fn since(before: [u64; 2]) -> [u64; 2] {
    let now = counted();
    [now[0] - before[0], now[1] - before[1]]
}

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn clip() -> PathBuf {
    root().join("demo/side-good.mp4")
}

/// The counter itself: a test that could not see an allocation would hold for
/// ever.
#[test]
fn the_counter_counts() {
    let _alone = alone();
    let before = counted();
    drop(std::hint::black_box(vec![1u8; LARGE]));
    let seen = since(before);
    assert!(seen[0] >= 1 && seen[1] >= 1, "{seen:?}");
}

#[test]
fn decoding_writes_into_buffers_that_came_back() {
    let _alone = alone();
    for ahead in [false, true] {
        let spec = SourceSpec::File { path: clip() };
        let mut source: Box<dyn Source> = if ahead {
            open_ahead(&spec).unwrap()
        } else {
            open(&spec).unwrap()
        };
        let mut before = counted();
        let mut frames = 0;
        while let Some(frame) = source.next_frame().unwrap() {
            source.reuse(frame.rgb);
            frames += 1;
            if frames == 20 {
                before = counted();
            }
        }
        let [_, large] = since(before);
        assert!(frames > 100, "{frames}");
        // Room for a coded picture larger than any before, which grows twice.
        assert!(
            large <= 4,
            "ahead {ahead}: {large} in {} frames",
            frames - 20
        );
    }
}

#[test]
fn a_feed_hands_its_buffers_back() {
    let _alone = alone();
    let feed = Feed::start(SourceSpec::File { path: clip() }, Pace::AsFast, None);
    let mut before = counted();
    let mut frames = 0;
    loop {
        match feed.take(Duration::from_secs(60)) {
            Taken::Frame(frame) => feed.give_back(frame),
            Taken::Nothing => panic!("a file goes on"),
            Taken::Ended => break,
        }
        frames += 1;
        if frames == 20 {
            before = counted();
        }
    }
    let [all, large] = since(before);
    assert!(frames > 100, "{frames}");
    assert!(large <= 4, "{large} in {} frames", frames - 20);
    // An `Arc` around each frame, and little else.
    let each = all as f64 / f64::from(frames - 20);
    assert!(each < 8.0, "{each} a frame");
}

/// Nobody in view, then one skater: the pose model's side of a frame, with the
/// engine that is there. tract, compiled in, keeps what lies between two
/// layers in memory of its own that is counted here; ONNX Runtime does the
/// same out of sight.
#[test]
fn following_a_skater_asks_for_nothing_large() {
    let _alone = alone();
    let settings = PoseSettings {
        engine: EngineChoice::Auto,
        ..PoseSettings::default()
    };
    let mut estimator = Estimator::new(root(), settings).unwrap();
    let native = estimator.engine().library.is_some();
    let lane = Lane::load(&clip().with_extension("toml")).unwrap();
    let mut tracker = Tracker::new(lane, TrackSettings::default());
    let mut source = open(&SourceSpec::File { path: clip() }).unwrap();
    let (mut empty, mut following) = (Vec::new(), Vec::new());
    // A picture that stands still: nobody moves in it.
    let mut still = source.next_frame().unwrap().unwrap();
    for k in 0..20 {
        // Before the clip's own times.
        still.captured_at_s = f64::from(k) * 0.03 - 1.0;
        let before = counted();
        tracker.push(&estimator.process(&still).unwrap());
        empty.push(since(before));
    }
    assert_eq!(estimator.counters().landmark_runs, 0, "nobody moves");
    estimator.reset();
    while let Some(frame) = source.next_frame().unwrap() {
        let (runs, before) = (estimator.counters(), counted());
        let poses = estimator.process(&frame).unwrap();
        tracker.push(&poses);
        drop(poses);
        let seen = since(before);
        let now = estimator.counters();
        let ran = [
            now.detector_runs - runs.detector_runs,
            now.landmark_runs - runs.landmark_runs,
        ];
        if ran == [0, 1] {
            following.push(seen);
        }
        source.reuse(frame.rgb);
        if following.len() == 40 {
            break;
        }
    }
    assert_eq!(following.len(), 40);
    let usual = |of: &mut Vec<[u64; 2]>| {
        of.sort_unstable();
        of[of.len() / 2]
    };
    let [all, large] = usual(&mut empty);
    assert!(all <= 8 && large == 0, "nobody in view: {all}, {large}");
    let [all, large] = usual(&mut following);
    let (most, most_large) = if native { (40, 0) } else { (2000, 200) };
    assert!(
        all <= most && large <= most_large,
        "one skater, native {native}: {all}, {large}"
    );
}
