//! The thread that writes passes while the station goes on.
//!
//! A disk that is full, read-only or gone stops the writing, not the station:
//! the state says so, passes are kept in memory up to a bound and written when
//! it works again. What cannot be kept is counted, never dropped in silence.

mod worker;

use std::collections::VecDeque;
use std::path::PathBuf;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread;
use std::time::{Duration, Instant};

use crossbeam_channel::{Receiver, RecvTimeoutError, Sender, TrySendError, bounded};

use super::backend::{DiskSink, Place, Sink};
use super::{NewPass, PassKey, PictureStrip, SessionId, SessionInfo, SessionSummary};
use worker::Worker;

/// How the writer behaves when the disk does not.
#[derive(Debug, Clone, Copy)]
pub struct WriterPolicy {
    /// Wait before the first new try after a fault; doubled at each further
    /// one.
    pub first_retry: Duration,
    /// Longest wait between tries.
    pub longest_retry: Duration,
    /// Passes kept in memory while nothing can be written.
    pub keep_in_memory: usize,
    /// A disk silent for longer than this is reported as stopped.
    pub silent_after: Duration,
}

impl Default for WriterPolicy {
    /// A pass every few seconds: 1000 passes are more than an hour of ice,
    /// and with their body points (some 70 kB each) less than 100 megabytes.
    fn default() -> Self {
        WriterPolicy {
            first_retry: Duration::from_secs(2),
            longest_retry: Duration::from_secs(20),
            keep_in_memory: 1000,
            silent_after: Duration::from_secs(5),
        }
    }
}

/// Whether passes reach the disk.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum WriterState {
    /// The sessions file is being opened.
    Starting,
    /// Passes are written as they end.
    Writing,
    /// Nothing is written at the moment; the sentence says why and what to
    /// do. The writer keeps trying.
    Stopped(String),
    /// The session was ended; everything that could be written is.
    Ended,
}

/// What the writer shows of itself.
#[derive(Debug, Clone, PartialEq)]
pub struct WriterStatus {
    /// Whether passes reach the disk.
    pub state: WriterState,
    /// Passes on the disk.
    pub written: u64,
    /// Passes kept in memory until they can be written.
    pub waiting: usize,
    /// Passes that could not be kept.
    pub lost: u64,
    /// Why the last of them was lost.
    pub last_loss: Option<String>,
    /// Sets of pictures on the disk: they are written after their pass.
    pub pictures_written: u64,
    /// Passes whose pictures could not be kept.
    pub pictures_lost: u64,
    /// Tries to get going again since the last success.
    pub retries: u32,
    /// The session of the last pass; `None` before the first one.
    pub session: Option<SessionId>,
    /// Added to the number a pass was announced by, gives its number in the
    /// session.
    pub number_shift: i64,
    /// Sessions of earlier runs that had no proper end.
    pub recovered: Vec<SessionSummary>,
    /// Where a damaged sessions file was moved to.
    pub set_aside: Option<PathBuf>,
}

impl WriterStatus {
    /// The name of a pass of this run that is in the session of now.
    pub fn key_of(&self, announced: u32) -> Option<PassKey> {
        let place = Place {
            id: self.session.clone()?,
            shift: self.number_shift,
        };
        Some(PassKey {
            session: place.id.number(),
            number: place.number_of(announced),
        })
    }

    /// The number that a pass of the session of now was announced by in this
    /// run; `None` where it is of another session or an earlier run.
    pub fn announced_as(&self, pass: PassKey) -> Option<u32> {
        let announced = i64::from(pass.number) - self.number_shift;
        let here = self.session.as_ref()?.number() == pass.session && announced > 0;
        here.then(|| u32::try_from(announced).ok()).flatten()
    }
}

/// What became of one pass.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Written {
    /// It outlives a kill or a power cut.
    OnDisk,
    /// It is in memory and will be tried again.
    Waiting,
    /// It is not kept; the sentence says why.
    Lost(String),
}

/// The answer to one submitted pass.
pub struct Receipt {
    answer: Receiver<Written>,
}

impl Receipt {
    /// Waits for the disk, at most `patience`.
    pub fn wait(&self, patience: Duration) -> Written {
        match self.answer.recv_timeout(patience) {
            Ok(written) => written,
            Err(RecvTimeoutError::Timeout) => Written::Waiting,
            Err(RecvTimeoutError::Disconnected) => {
                Written::Lost("the recording ended before this pass could be written".to_owned())
            }
        }
    }
}

/// Writes the passes of one session from a thread of its own.
pub struct StoreWriter {
    jobs: Sender<Job>,
    shared: Arc<Shared>,
    done: Receiver<()>,
    silent_after: Duration,
}

struct Job {
    what: What,
    answer: Sender<Written>,
}

enum What {
    Pass(Box<NewPass>),
    /// Pictures of a pass handed over earlier: they take longer to make.
    Strips {
        number: u32,
        strips: Vec<PictureStrip>,
    },
    /// The training is over.
    EndSession,
}

impl What {
    fn pass(&self) -> Option<&NewPass> {
        match self {
            What::Pass(new) => Some(new),
            What::Strips { .. } | What::EndSession => None,
        }
    }

    fn number(&self) -> u32 {
        match self {
            What::Pass(new) => new.cue.pass_number,
            What::Strips { number, .. } => *number,
            What::EndSession => 0,
        }
    }
}

/// Sets of pictures that may wait: each is up to a few megabytes.
const STRIPS_WAITING: usize = 16;

struct Shared {
    status: Mutex<WriterStatus>,
    /// Since when the thread is waiting for the disk.
    busy_since: Mutex<Option<Instant>>,
    /// Asked to end the session. Not a job, so that it needs no room in the
    /// queue.
    ending: std::sync::atomic::AtomicBool,
}

impl StoreWriter {
    /// Starts the thread; it opens the sessions file in `folder`. The first
    /// pass begins the session, or goes on with that of the hour before:
    /// whatever measures it, one training is one session. Never waits for the disk: faults show in the status.
    pub fn start(folder: PathBuf, info: SessionInfo, policy: WriterPolicy) -> Self {
        Self::with_sink(DiskSink::new(folder, info), policy)
    }

    fn with_sink(sink: impl Sink + 'static, policy: WriterPolicy) -> Self {
        let (jobs, incoming) = bounded(policy.keep_in_memory.max(1));
        let (finished, done) = bounded(1);
        let shared = Arc::new(Shared {
            status: Mutex::new(WriterStatus {
                state: WriterState::Starting,
                written: 0,
                waiting: 0,
                lost: 0,
                last_loss: None,
                pictures_written: 0,
                pictures_lost: 0,
                retries: 0,
                session: None,
                number_shift: 0,
                recovered: Vec::new(),
                set_aside: None,
            }),
            busy_since: Mutex::new(None),
            ending: false.into(),
        });
        let worker = Worker {
            sink,
            policy,
            incoming,
            shared: Arc::clone(&shared),
            backlog: VecDeque::new(),
            retry_at: Some(Instant::now()),
            pause: policy.first_retry,
        };
        let spawned = thread::Builder::new()
            .name("store".to_owned())
            .spawn(move || {
                worker.run();
                // Nobody listening is fine: the station may be gone.
                let _ = finished.send(());
            });
        if let Err(e) = spawned {
            shared.status().state = WriterState::Stopped(format!(
                "nothing is recorded because the recording could not be started ({e}); restart Kickplate"
            ));
        }
        StoreWriter {
            jobs,
            shared,
            done,
            silent_after: policy.silent_after,
        }
    }

    /// Hands over one pass that just ended. Returns at once; the receipt
    /// tells when it is on the disk.
    pub fn submit(&self, new: NewPass) -> Receipt {
        self.hand_over(What::Pass(Box::new(new)))
    }

    /// Ends the session once all that was submitted before is written: the
    /// next pass begins a new one. Returns at once.
    pub fn end_session(&self) -> Receipt {
        self.hand_over(What::EndSession)
    }

    /// A door for pictures of passes that were submitted before, for another
    /// thread. It does not keep the recording open.
    pub fn strip_door(&self) -> StripDoor {
        StripDoor {
            jobs: self.jobs.clone(),
            shared: Arc::clone(&self.shared),
        }
    }

    fn hand_over(&self, what: What) -> Receipt {
        hand_over(&self.jobs, &self.shared, what)
    }

    /// What the writer shows of itself right now.
    pub fn status(&self) -> WriterStatus {
        let mut status = self.shared.status().clone();
        status.waiting += self.jobs.len();
        let busy = *lock(&self.shared.busy_since);
        if let Some(since) = busy
            && since.elapsed() > self.silent_after
        {
            status.state = WriterState::Stopped(format!(
                "the disk has not answered for {} s; check it, or set sessions_folder in config/station.toml to another folder",
                since.elapsed().as_secs()
            ));
        }
        status
    }

    /// Writes what is waiting, ends the session, and gives the last status.
    /// Waits at most `patience`; a disk that does not answer is left behind
    /// and the status then still counts the passes as waiting.
    pub fn finish(self, patience: Duration) -> WriterStatus {
        self.ask_to_end();
        let _ = self.done.recv_timeout(patience);
        self.status()
    }

    fn ask_to_end(&self) {
        self.shared
            .ending
            .store(true, std::sync::atomic::Ordering::Release);
    }
}

fn hand_over(jobs: &Sender<Job>, shared: &Shared, what: What) -> Receipt {
    let (answer, receipt) = bounded(1);
    let why = match jobs.try_send(Job { what, answer }) {
        Ok(()) => return Receipt { answer: receipt },
        Err(TrySendError::Full(job)) => (
            job,
            "the disk does not answer and the memory for waiting passes is full",
        ),
        Err(TrySendError::Disconnected(job)) => (job, "the recording has ended"),
    };
    shared.lose(why.0, why.1.to_owned());
    Receipt { answer: receipt }
}

/// Takes pictures of passes that were submitted before.
#[derive(Clone)]
pub struct StripDoor {
    jobs: Sender<Job>,
    shared: Arc<Shared>,
}

impl StripDoor {
    /// Hands over pictures of a pass. Returns at once. While the disk does
    /// not take them only few are kept; the others are counted as lost.
    pub fn submit(&self, number: u32, strips: Vec<PictureStrip>) -> Receipt {
        hand_over(&self.jobs, &self.shared, What::Strips { number, strips })
    }
}

impl Drop for StoreWriter {
    fn drop(&mut self) {
        self.ask_to_end();
    }
}

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    // Plain values are whole at every moment, also after a panic elsewhere.
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Shared {
    fn status(&self) -> MutexGuard<'_, WriterStatus> {
        lock(&self.status)
    }

    fn lose(&self, job: Job, why: String) {
        let pass = job.what.number();
        match job.what {
            What::Pass(_) => {
                tracing::error!(pass, %why, "a pass is not stored");
                let mut status = self.status();
                status.lost += 1;
                status.last_loss = Some(why.clone());
            }
            What::Strips { .. } => {
                tracing::warn!(pass, %why, "pictures of a pass are not stored");
                self.status().pictures_lost += 1;
            }
            What::EndSession => tracing::warn!(%why, "a session could not be ended"),
        }
        // The caller may not want the answer.
        let _ = job.answer.send(Written::Lost(why));
    }
}

#[cfg(test)]
#[path = "writer_tests.rs"]
mod tests;
