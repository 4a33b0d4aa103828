//! Takes a word from a microphone, on a thread of its own: opening a device can block, and
//! nobody else waits for it.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use rodio::cpal;
use rodio::cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use rodio::cpal::{ErrorKind, FromSample, SampleFormat, SizedSample};

use super::library_says::to_log;
use super::word::{LONGEST_WORD_S, most_samples};

/// A microphone that hands over nothing for so long counts as dead. Far above any device's
/// buffer; opening one takes some tenths of a second.
const DEAD_AFTER: Duration = Duration::from_secs(3);
/// How often the thread of the device looks whether it is still wanted.
const LOOK_EVERY: Duration = Duration::from_millis(10);
/// The meter shows the loudest of the last so many seconds.
const METER_S: f64 = 0.1;

/// Why a microphone cannot be used.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum MicFault {
    /// There is none.
    #[error("there is no microphone")]
    Missing,
    /// The system does not let this program use it.
    #[error("the microphone may not be used")]
    NotAllowed,
    /// It hands nothing over.
    #[error("the microphone does not answer")]
    Dead,
    /// Anything else. The system's words.
    #[error("the microphone cannot be used ({0})")]
    Refused(String),
}

/// What a microphone hands its samples to.
#[derive(Debug, Clone, Default)]
pub struct Ear {
    heard: Arc<Mutex<Heard>>,
    ended: Arc<AtomicBool>,
}

#[derive(Debug)]
struct Heard {
    samples: Vec<f32>,
    rate_hz: u32,
    fault: Option<MicFault>,
    last_at: Instant,
}

impl Default for Heard {
    fn default() -> Self {
        Heard {
            samples: Vec::new(),
            rate_hz: 0,
            fault: None,
            last_at: Instant::now(),
        }
    }
}

impl Ear {
    fn with<T>(&self, act: impl FnOnce(&mut Heard) -> T) -> T {
        act(&mut self.heard.lock().unwrap_or_else(PoisonError::into_inner))
    }

    /// Takes the next samples, one channel behind the other; their mean is what is kept.
    pub fn take(&self, samples: impl ExactSizeIterator<Item = f32>, channels: u16, rate_hz: u32) {
        if !self.is_wanted() {
            return;
        }
        let channels = usize::from(channels.max(1));
        self.with(|heard| {
            heard.rate_hz = rate_hz;
            heard.last_at = Instant::now();
            let (mut sum, mut count) = (0.0, 0);
            for sample in samples {
                (sum, count) = (sum + sample, count + 1);
                if count == channels {
                    if heard.samples.len() >= most_samples(rate_hz) {
                        // Nothing is taken beyond the end of a word.
                        self.ended.store(true, Ordering::Release);
                        return;
                    }
                    heard.samples.push(sum / channels as f32);
                    (sum, count) = (0.0, 0);
                }
            }
        });
    }

    /// Whether more is wanted. A microphone closes as soon as it is not.
    pub fn is_wanted(&self) -> bool {
        !self.ended.load(Ordering::Acquire)
    }

    fn fail(&self, fault: MicFault) {
        self.with(|heard| {
            heard.fault.get_or_insert(fault);
        });
    }
}

type Listen = dyn Fn(&Ear) -> Result<(), MicFault> + Send + Sync;

/// Where a voice comes from: something that fills an [`Ear`] until it is not wanted.
#[derive(Clone)]
pub struct Microphone(Arc<Listen>);

impl Microphone {
    /// The default microphone of the system. It is opened when a word is recorded and
    /// closed behind it.
    pub fn system() -> Self {
        Microphone(Arc::new(listen))
    }

    /// Another source, for tests.
    pub fn made_of(listen: impl Fn(&Ear) -> Result<(), MicFault> + Send + Sync + 'static) -> Self {
        Microphone(Arc::new(listen))
    }
}

/// A word that is being recorded. Dropping it closes the microphone and forgets what was heard.
#[derive(Debug)]
pub struct Recording {
    ear: Ear,
    thread: std::thread::JoinHandle<()>,
}

impl Recording {
    /// Begins at once, on a thread of its own.
    ///
    /// # Errors
    /// The system gives no thread.
    pub fn start(microphone: &Microphone) -> Result<Recording, MicFault> {
        let ear = Ear::default();
        let thread = std::thread::Builder::new()
            .name("microphone".to_owned())
            .spawn({
                let (ear, listen) = (ear.clone(), Arc::clone(&microphone.0));
                move || {
                    if let Err(fault) = listen(&ear) {
                        ear.fail(fault);
                    }
                }
            })
            .map_err(|error| MicFault::Refused(error.to_string()))?;
        Ok(Recording { ear, thread })
    }

    /// Ends it before its time; what was heard is kept.
    pub fn stop(&self) {
        self.ear.ended.store(true, Ordering::Release);
    }

    /// Whether the microphone is closed again.
    pub fn is_closed(&self) -> bool {
        self.thread.is_finished()
    }

    /// How loud it is now, 0 to 1 of full scale, and how much of a word was heard, seconds.
    pub fn meter(&self) -> (f32, f64) {
        self.ear.with(|heard| {
            let newest = (METER_S * f64::from(heard.rate_hz)) as usize;
            let from = heard.samples.len().saturating_sub(newest);
            let loudest = heard.samples[from..]
                .iter()
                .fold(0.0_f32, |most, s| most.max(s.abs()));
            let seconds = heard.samples.len() as f64 / f64::from(heard.rate_hz.max(1));
            (loudest.min(1.0), seconds.min(LONGEST_WORD_S))
        })
    }

    /// Samples, mono, and their rate, once it has ended; or why there are none. `None` while
    /// it goes on. Never waits: a driver that hangs is left behind.
    pub fn ended(&self) -> Option<Result<(Vec<f32>, u32), MicFault>> {
        let over = !self.ear.is_wanted();
        let ran_out = self.thread.is_finished();
        self.ear.with(|heard| {
            if over {
                return Some(Ok((std::mem::take(&mut heard.samples), heard.rate_hz)));
            }
            if let Some(fault) = &heard.fault {
                return Some(Err(fault.clone()));
            }
            (ran_out || heard.last_at.elapsed() > DEAD_AFTER).then_some(Err(MicFault::Dead))
        })
    }
}

impl Drop for Recording {
    fn drop(&mut self) {
        self.stop();
    }
}

fn fault_of(error: &cpal::Error) -> MicFault {
    match error.kind() {
        ErrorKind::DeviceNotAvailable | ErrorKind::HostUnavailable => MicFault::Missing,
        ErrorKind::PermissionDenied => MicFault::NotAllowed,
        _ => MicFault::Refused(error.to_string()),
    }
}

/// Listens to the system's default microphone.
fn listen(ear: &Ear) -> Result<(), MicFault> {
    let stream = to_log(|| open_default(ear))?;
    stream.play().map_err(|e| fault_of(&e))?;
    while ear.is_wanted() {
        std::thread::sleep(LOOK_EVERY);
    }
    Ok(())
}

fn open_default(ear: &Ear) -> Result<cpal::Stream, MicFault> {
    let device = cpal::default_host()
        .default_input_device()
        .ok_or(MicFault::Missing)?;
    let config = device.default_input_config().map_err(|e| fault_of(&e))?;
    let format = config.sample_format();
    let config = config.config();
    match format {
        SampleFormat::F32 => open::<f32>(&device, config, ear),
        SampleFormat::F64 => open::<f64>(&device, config, ear),
        SampleFormat::I8 => open::<i8>(&device, config, ear),
        SampleFormat::I16 => open::<i16>(&device, config, ear),
        SampleFormat::I32 => open::<i32>(&device, config, ear),
        SampleFormat::U8 => open::<u8>(&device, config, ear),
        SampleFormat::U16 => open::<u16>(&device, config, ear),
        other => return Err(MicFault::Refused(format!("its samples are {other}"))),
    }
    .map_err(|e| fault_of(&e))
}

fn open<T>(
    device: &cpal::Device,
    config: cpal::StreamConfig,
    ear: &Ear,
) -> Result<cpal::Stream, cpal::Error>
where
    T: SizedSample,
    f32: FromSample<T>,
{
    let (channels, rate_hz) = (config.channels, config.sample_rate);
    let (taking, failing) = (ear.clone(), ear.clone());
    device.build_input_stream(
        config,
        move |samples: &[T], _| {
            let samples = samples.iter().map(|s| s.to_sample::<f32>());
            taking.take(samples, channels, rate_hz);
        },
        move |error| match error.kind() {
            // The stream goes on after these.
            ErrorKind::Xrun | ErrorKind::DeviceChanged | ErrorKind::RealtimeDenied => {}
            _ => failing.fail(fault_of(&error)),
        },
        Some(DEAD_AFTER),
    )
}
