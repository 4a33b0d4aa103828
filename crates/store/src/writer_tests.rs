//! The writer against a disk that fails on command.

use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

use super::worker::LOOK_EVERY;
use super::*;
use crate::StoreError;
use crate::backend::Opened;
use crate::samples::pass;

#[derive(Clone, Default)]
struct Broken {
    full: Arc<AtomicBool>,
    hangs: Arc<AtomicBool>,
    opened: Arc<AtomicUsize>,
    written: Arc<Mutex<Vec<u32>>>,
    /// Steps in which something was written.
    steps: Arc<AtomicUsize>,
    noted: Arc<AtomicUsize>,
    ended: Arc<AtomicBool>,
}

impl Broken {
    fn fault(&self) -> Result<(), StoreError> {
        while self.hangs.load(Ordering::SeqCst) {
            thread::sleep(Duration::from_millis(1));
        }
        if self.full.load(Ordering::SeqCst) {
            return Err(StoreError::Full {
                file: "sessions.sqlite3".into(),
            });
        }
        Ok(())
    }
}

impl Sink for Broken {
    fn open(&mut self) -> Result<Opened, StoreError> {
        self.fault()?;
        self.opened.fetch_add(1, Ordering::SeqCst);
        Ok(Opened {
            recovered: Vec::new(),
            set_aside: None,
        })
    }
    fn write(&mut self, news: &[&NewPass]) -> Result<(), StoreError> {
        self.fault()?;
        let mut written = lock(&self.written);
        let mut whole = written.clone();
        for number in news.iter().map(|new| new.cue.pass_number) {
            if whole.contains(&number) {
                return Err(StoreError::DuplicatePass { number });
            }
            whole.push(number);
        }
        *written = whole;
        self.steps.fetch_add(1, Ordering::SeqCst);
        Ok(())
    }
    fn place(&self) -> Option<Place> {
        None
    }
    fn end_session(&mut self) -> Result<(), StoreError> {
        self.fault()
    }
    fn write_strips(&mut self, _: u32, _: &[PictureStrip]) -> Result<(), StoreError> {
        self.fault()
    }
    fn note_lost(&mut self, passes: u64) -> Result<(), StoreError> {
        self.noted.store(passes as usize, Ordering::SeqCst);
        Ok(())
    }
    fn end(&mut self) -> Result<(), StoreError> {
        self.fault()?;
        self.ended.store(true, Ordering::SeqCst);
        Ok(())
    }
    fn close(&mut self) {}
}

fn policy(keep: usize) -> WriterPolicy {
    WriterPolicy {
        first_retry: Duration::from_millis(5),
        longest_retry: Duration::from_millis(20),
        keep_in_memory: keep,
        silent_after: Duration::from_millis(30),
    }
}

fn submit(writer: &StoreWriter, number: u32) -> Receipt {
    writer.submit(pass(number).into())
}

/// Long enough for any machine; a test that gets there has failed.
const PATIENCE: Duration = Duration::from_secs(20);

fn until(what: &str, mut holds: impl FnMut() -> bool) {
    let start = Instant::now();
    while !holds() {
        assert!(start.elapsed() < PATIENCE, "never happened: {what}");
        thread::sleep(Duration::from_millis(2));
    }
}

#[test]
fn a_full_disk_stops_the_writing_visibly_and_everything_is_written_later() {
    let disk = Broken::default();
    let writer = StoreWriter::with_sink(disk.clone(), policy(100));
    assert_eq!(submit(&writer, 1).wait(PATIENCE), Written::OnDisk);
    disk.full.store(true, Ordering::SeqCst);
    let late: Vec<Receipt> = (2..=5).map(|n| submit(&writer, n)).collect();
    until(
        "the state says it",
        || matches!(writer.status().state, WriterState::Stopped(m) if m.contains("is full")),
    );
    until("four are waiting", || writer.status().waiting == 4);
    assert_eq!(late[0].wait(Duration::ZERO), Written::Waiting);
    assert_eq!(writer.status().written, 1);

    disk.full.store(false, Ordering::SeqCst);
    for receipt in &late {
        assert_eq!(receipt.wait(PATIENCE), Written::OnDisk);
    }
    let last = writer.finish(PATIENCE);
    assert_eq!(last.state, WriterState::Ended);
    assert_eq!((last.written, last.waiting, last.lost), (5, 0, 0));
    assert_eq!(*lock(&disk.written), [1, 2, 3, 4, 5]);
    assert!(disk.ended.load(Ordering::SeqCst));
}

#[test]
fn beyond_the_bound_passes_are_counted_as_lost_and_the_session_says_so() {
    let disk = Broken::default();
    disk.full.store(true, Ordering::SeqCst);
    let writer = StoreWriter::with_sink(disk.clone(), policy(3));
    let receipts: Vec<Receipt> = (1..=3).map(|n| submit(&writer, n)).collect();
    until("three are in the backlog", || {
        writer.status().waiting == 3 && writer.jobs.is_empty()
    });
    let fourth = submit(&writer, 4);
    assert!(matches!(fourth.wait(PATIENCE), Written::Lost(why) if why.contains("memory")));
    assert_eq!(writer.status().lost, 1);
    disk.full.store(false, Ordering::SeqCst);
    for receipt in &receipts {
        assert_eq!(receipt.wait(PATIENCE), Written::OnDisk);
    }
    let last = writer.finish(PATIENCE);
    assert_eq!((last.written, last.lost), (3, 1));
    assert_eq!(disk.noted.load(Ordering::SeqCst), 1);
}

#[test]
fn a_pass_that_can_never_be_written_does_not_hold_up_the_others() {
    let disk = Broken::default();
    let writer = StoreWriter::with_sink(disk.clone(), policy(10));
    assert_eq!(submit(&writer, 1).wait(PATIENCE), Written::OnDisk);
    let twice = submit(&writer, 1);
    let next = submit(&writer, 2);
    assert!(matches!(twice.wait(PATIENCE), Written::Lost(_)));
    assert_eq!(next.wait(PATIENCE), Written::OnDisk);
    let last = writer.finish(PATIENCE);
    assert_eq!((last.written, last.lost), (2, 1));
    assert!(last.last_loss.is_some());
}

#[test]
fn passes_that_wait_are_written_in_one_step_but_for_one_that_never_can() {
    let disk = Broken::default();
    let writer = StoreWriter::with_sink(disk.clone(), policy(100));
    assert_eq!(submit(&writer, 1).wait(PATIENCE), Written::OnDisk);
    let steps = || disk.steps.load(Ordering::SeqCst);
    assert_eq!(steps(), 1);

    disk.full.store(true, Ordering::SeqCst);
    let late: Vec<Receipt> = (2..=9).map(|n| submit(&writer, n)).collect();
    until("they wait", || {
        writer.status().waiting == 8 && writer.jobs.is_empty()
    });
    disk.full.store(false, Ordering::SeqCst);
    for receipt in &late {
        assert_eq!(receipt.wait(PATIENCE), Written::OnDisk);
    }
    assert_eq!(steps(), 2);

    disk.full.store(true, Ordering::SeqCst);
    let numbers = [10, 11, 4, 12];
    let late = numbers.map(|n| submit(&writer, n));
    until("they wait", || {
        writer.status().waiting == 4 && writer.jobs.is_empty()
    });
    disk.full.store(false, Ordering::SeqCst);
    let written = late.map(|receipt| receipt.wait(PATIENCE) == Written::OnDisk);
    assert_eq!(written, [true, true, false, true]);
    let last = writer.finish(PATIENCE);
    assert_eq!((last.written, last.waiting, last.lost), (12, 0, 1));
    assert_eq!(*lock(&disk.written), (1..=12).collect::<Vec<_>>());
}

#[test]
fn a_disk_that_hangs_shows_and_does_not_hold_up_the_caller() {
    let disk = Broken::default();
    disk.hangs.store(true, Ordering::SeqCst);
    let writer = StoreWriter::with_sink(disk.clone(), policy(10));
    let receipt = submit(&writer, 1);
    until(
        "the silence shows",
        || matches!(writer.status().state, WriterState::Stopped(m) if m.contains("not answered")),
    );
    assert_eq!(writer.status().waiting, 1);
    assert_eq!(receipt.wait(Duration::ZERO), Written::Waiting);
    disk.hangs.store(false, Ordering::SeqCst);
    assert_eq!(receipt.wait(PATIENCE), Written::OnDisk);
    until("the state is good again", || {
        writer.status().state == WriterState::Writing
    });
}

#[test]
fn ending_on_a_full_disk_loses_with_a_count_and_a_reason() {
    let disk = Broken::default();
    disk.full.store(true, Ordering::SeqCst);
    let writer = StoreWriter::with_sink(disk, policy(10));
    let receipt = submit(&writer, 1);
    let last = writer.finish(PATIENCE);
    assert!(matches!(last.state, WriterState::Stopped(_)));
    assert_eq!((last.written, last.waiting, last.lost), (0, 0, 1));
    assert!(matches!(receipt.wait(PATIENCE), Written::Lost(_)));
}

#[test]
fn an_idle_writer_leaves_the_disk_alone() {
    let disk = Broken::default();
    let writer = StoreWriter::with_sink(disk.clone(), policy(10));
    until("opened", || writer.status().state == WriterState::Writing);
    let opened = disk.opened.load(Ordering::SeqCst);
    thread::sleep(LOOK_EVERY * 4);
    assert_eq!(disk.opened.load(Ordering::SeqCst), opened);
}

#[test]
fn few_pictures_wait_for_a_full_disk_and_no_pass_is_lost_for_them() {
    let disk = Broken::default();
    disk.full.store(true, Ordering::SeqCst);
    let writer = StoreWriter::with_sink(disk.clone(), policy(1000));
    for n in 1..=40 {
        submit(&writer, n);
        writer.strip_door().submit(n, Vec::new());
    }
    until("everything was looked at", || writer.jobs.is_empty());
    until("the rest is let go", || {
        writer.status().pictures_lost == 40 - STRIPS_WAITING as u64
    });
    disk.full.store(false, Ordering::SeqCst);
    let last = writer.finish(PATIENCE);
    assert_eq!((last.written, last.lost, last.waiting), (40, 0, 0));
    assert_eq!(last.pictures_written, STRIPS_WAITING as u64);
}
