//! `kickplate`: the station with its camera.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::{Duration, Instant};

use super::analyser::{Analyser, Judging};
use super::control::Control;
use super::desk::{DeskHandle, DeskSetup};
use super::panel::side_window;
use super::run::{Lateness, Stop, run};
use super::stage::Stage;
use super::{CameraChoice, EngineChoice, LiveOptions, ModelChoice, Setup, words};
use crate::capture::{CameraRequest, Feed, Pace, SourceSpec};
use crate::config;
use crate::display::{
    Fault, Screen, ScreenGeometry, ScreenHandle, ScreenModel, WindowOptions, run_big_screen,
};
use crate::rules::AgeGroup;
use crate::sound::{SoundSettings, Speaker};
use crate::store::{self, SessionInfo, StoreWriter, WriterPolicy};
use crate::track::TrackSettings;

/// Pause before the model is loaded again after a fault.
const LOAD_AGAIN: Duration = Duration::from_secs(5);
/// How long the end of the program waits for the loop and the disk.
const ENDING: Duration = Duration::from_secs(5);

/// Runs the station until it is closed.
///
/// # Errors
/// Only settings that cannot be used; devices that are missing are shown and
/// looked for again.
pub fn live(options: &LiveOptions) -> anyhow::Result<()> {
    let home = config::home()?;
    let setup = Setup::load(&home, options.lane.as_deref())?;
    let folder = setup.station.recordings_folder()?;
    let stop = stop_on_signals()?;
    let geometry = ScreenGeometry {
        screen_height_m: setup.station.screen_height_m as f32,
        reading_distance_m: setup.station.reading_distance_m as f32,
    };
    let first = ScreenModel {
        look: setup.look.clone(),
        ..ScreenModel::waiting(geometry)
    };
    let screen = ScreenHandle::new(first);
    let mut window = WindowOptions {
        fullscreen: !options.windowed,
        monitor: setup.station.screen.monitor.clone(),
        show_me: setup.station.screen.show_me_key,
        ..WindowOptions::default()
    };
    let age_group = options.age_group.unwrap_or(setup.station.age_group);
    let camera = camera_request(&setup, options.camera.as_deref());
    let control = Arc::new(Control::new(Arc::clone(&stop), setup.station.privacy));
    // It ends when the last handle is dropped.
    let desk = DeskHandle::start(
        DeskSetup {
            home: home.clone(),
            folder: folder.clone(),
            setup: setup.clone(),
            lane_file: options.lane.clone(),
            judging: judging_of(&setup, age_group),
            camera: camera.clone(),
            exporter: None,
        },
        Arc::clone(&control),
    );
    window.side = side_window(&setup, &folder, &desk)?;
    let watcher = Watcher {
        control,
        model: options.model.unwrap_or(setup.station.model),
        engine: options.engine.unwrap_or(setup.station.engine),
        age_group,
        camera,
        home,
        setup,
        folder,
        geometry,
    };
    with_window(&window, &screen, &stop, {
        let (screen, stop) = (screen.clone(), Arc::clone(&stop));
        move || watcher.watch(&screen, &stop)
    })
}

/// Runs `work` on a thread of its own while the main thread has the window.
/// The window's end stops the work, the work's end closes the window. Without
/// a display the work goes on alone.
pub fn with_window(
    window: &WindowOptions,
    screen: &ScreenHandle,
    stop: &Stop,
    work: impl FnOnce() -> anyhow::Result<()> + Send + 'static,
) -> anyhow::Result<()> {
    let (done, ended) = crossbeam_channel::bounded(1);
    let closer = screen.clone();
    thread::Builder::new().name("judge".into()).spawn(move || {
        let result = work();
        closer.close();
        let _ = done.send(result);
    })?;
    let window_gone = Arc::clone(stop);
    let opened = run_big_screen(window, screen, move || {
        window_gone.store(true, Ordering::Relaxed);
    });
    match opened {
        Ok(()) => {
            stop.store(true, Ordering::Relaxed);
            match ended.recv_timeout(ENDING) {
                Ok(result) => result,
                Err(_) => {
                    tracing::warn!("the judging did not end in time and was left behind");
                    Ok(())
                }
            }
        }
        Err(error) => {
            eprintln!("{error}. Going on without it.");
            ended.recv().unwrap_or(Ok(()))
        }
    }
}

/// A flag that interrupt and termination signals set. A second signal ends
/// the program at once.
pub fn stop_on_signals() -> anyhow::Result<Stop> {
    let stop = Arc::new(AtomicBool::new(false));
    for signal in [signal_hook::consts::SIGINT, signal_hook::consts::SIGTERM] {
        signal_hook::flag::register_conditional_shutdown(signal, 1, Arc::clone(&stop))?;
        signal_hook::flag::register(signal, Arc::clone(&stop))?;
    }
    Ok(stop)
}

fn camera_request(setup: &Setup, chosen: Option<&str>) -> CameraRequest {
    let station = &setup.station;
    let id = match (chosen, &station.camera) {
        (Some(id), _) => Some(id.to_owned()),
        (None, CameraChoice::Id(id)) => Some(id.clone()),
        (None, CameraChoice::Auto) => None,
    };
    CameraRequest {
        id,
        width: station.width,
        height: station.height,
        fps: station.fps,
        ..CameraRequest::default()
    }
}

/// The judging side of the live station.
struct Watcher {
    home: PathBuf,
    setup: Setup,
    folder: PathBuf,
    camera: CameraRequest,
    model: ModelChoice,
    engine: EngineChoice,
    age_group: AgeGroup,
    geometry: ScreenGeometry,
    control: Arc<Control>,
}

impl Watcher {
    fn watch(mut self, screen: &ScreenHandle, stop: &Stop) -> anyhow::Result<()> {
        let Some(mut analyser) = self.load(screen, stop) else {
            return Ok(());
        };
        analyser.follow(Arc::clone(&self.control));
        let station = &self.setup.station;
        let engine = analyser.engine_record(self.model);
        let mut stage = Stage::new(self.geometry, engine.backend.clone());
        stage.screen = Some(screen.clone());
        stage.look = self.setup.look.clone();
        stage.blur_faces = station.screen.blur_faces;
        stage.speaker = Some(Arc::new(Speaker::start(
            &self.home.join("sounds"),
            SoundSettings {
                muted: station.sound_muted,
                level: station.sound_level as f32,
            },
        )));
        stage.follow(Arc::clone(&self.control));
        let mut lateness = Lateness::default();
        loop {
            let source_name = self.camera.id.clone();
            stage.open_store = Some(open_store(
                &self.folder,
                source_name.unwrap_or_else(|| "camera".to_owned()),
                store::SourceKind::Camera,
                Some(f64::from(self.camera.fps)),
                &analyser,
                engine.clone(),
            ));
            let feed = Feed::start(
                SourceSpec::Camera(self.camera.clone()),
                Pace::Live { repeat: false },
                None,
            );
            run(
                &feed,
                &mut analyser,
                &mut stage,
                self.control.end_run(),
                &mut lateness,
                |_, pass, cue| {
                    println!("{}", words::pass_table(pass, cue));
                },
            );
            feed.stop();
            if let Some(trouble) = stage.recording_trouble() {
                eprintln!("{trouble}");
            }
            stage.end_recording(ENDING);
            let switch = self.control.take_switch();
            let Some(switch) = switch.filter(|_| !stop.load(Ordering::Relaxed)) else {
                break;
            };
            // Another camera or another lane: everybody seen so far is
            // forgotten and a session begins that says how it was measured.
            if let Some(camera) = switch.camera {
                self.camera = camera;
            }
            let mut judging = analyser.judging().clone();
            if let Some(lane) = switch.lane {
                judging.lane = lane;
            }
            analyser.change(judging);
        }
        println!("{}", lateness.sentence());
        Ok(())
    }

    /// Loads the model; a fault is shown and tried again. `None` when the
    /// program is to end.
    fn load(&self, screen: &ScreenHandle, stop: &Stop) -> Option<Analyser> {
        let judging = judging_of(&self.setup, self.age_group);
        loop {
            match Analyser::new(&self.home, self.model, self.engine, judging.clone()) {
                Ok(analyser) => return Some(analyser),
                Err(error) => {
                    eprintln!("{error}");
                    screen.show(
                        ScreenModel {
                            screen: Screen::Fault(Fault::EngineStopped),
                            look: self.setup.look.clone(),
                            ..ScreenModel::waiting(self.geometry)
                        },
                        None,
                    );
                }
            }
            let since = Instant::now();
            while since.elapsed() < LOAD_AGAIN {
                if stop.load(Ordering::Relaxed) {
                    return None;
                }
                thread::sleep(Duration::from_millis(50));
            }
        }
    }
}

/// What passes are judged with, from the settings.
fn judging_of(setup: &Setup, age_group: AgeGroup) -> Judging {
    Judging {
        lane: setup.lane.clone(),
        thresholds: setup.age_groups.thresholds(age_group),
        track: TrackSettings {
            min_pass_speed_mps: setup.station.min_pass_speed_mps,
            ..TrackSettings::default()
        },
        corrections: setup.station.corrections,
        feedback: setup.station.feedback.clone(),
    }
}

/// A recording that opens with the first frame.
pub fn open_store(
    folder: &Path,
    source_name: String,
    kind: store::SourceKind,
    frames_per_second: Option<f64>,
    analyser: &Analyser,
    engine: store::EngineInfo,
) -> super::stage::OpenStore {
    let folder = folder.to_owned();
    let judging = analyser.judging();
    let (lane, age_group) = (judging.lane.clone(), judging.thresholds.age_group);
    Box::new(move |frame| {
        let info = SessionInfo {
            source: store::SourceInfo {
                kind,
                name: source_name,
                width: frame.width,
                height: frame.height,
                frames_per_second,
                frames: None,
            },
            lane,
            engine,
            age_group,
            started: jiff::Zoned::now(),
        };
        StoreWriter::start(folder, info, WriterPolicy::default())
    })
}
