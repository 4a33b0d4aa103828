//! `kickplate`: the station with its camera.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::{Duration, Instant};

use anyhow::Context;

use crate::station::coach_service::panel::side_window;
use crate::station::coach_service::{DeskHandle, DeskSetup};
use crate::station::commands::export;
use crate::station::health::notify::Watchdog;
use crate::station::health::{self, HealthKeeper};
use crate::station::live::run::{Lateness, Stop, run};
use crate::station::live::window_host::{Anew, with_window};
use crate::station::output::{complain, say};
use crate::station::presenter::stage::{Reopen, Stage};
use crate::station::session::analyser::{Analyser, Judging};
use crate::station::session::camera_pairing::Second;
use crate::station::session::control::Control;
use crate::station::settings::CameraChoice;
use crate::station::settings::Setup;
use crate::station::settings::choices::{EngineChoice, ModelChoice};
use crate::station::usage::{age_group, is_there};
use crate::station::vision::camera_pipeline::{EyeSettings, EyeStatus, FurtherEye};
use crate::station::words;

mod demo;
mod ending;
pub mod run;
mod window_host;
#[cfg(test)]
mod wiring_tests;

pub use demo::{DemoOptions, demo};

use crate::capture::{CameraRequest, Feed, Pace, SourceSpec};
use crate::config;
use crate::display::{Fault, Screen, ScreenGeometry, ScreenHandle, ScreenModel, WindowOptions};
use crate::rules::AgeGroup;
use crate::sound::{SoundSettings, Speaker};
use crate::store::{self, SessionInfo, StoreWriter, WriterPolicy, Written};
use crate::track::TrackSettings;

/// Pause before the model is loaded again after a fault.
pub(in crate::station) const LOAD_AGAIN: Duration = Duration::from_secs(5);
/// How long the end of the program waits for the loop and the disk.
pub(in crate::station) const ENDING: Duration = Duration::from_secs(5);

/// `kickplate`: the live station. What is `None` comes from the settings.
#[derive(Debug, Clone, PartialEq, Default, clap::Args)]
pub struct LiveOptions {
    /// Camera, by the id that 'kickplate cameras' prints.
    #[arg(long, value_name = "ID")]
    pub camera: Option<String>,
    /// Lane file instead of the one in the settings.
    #[arg(long, value_name = "LANE.toml")]
    pub lane: Option<PathBuf>,
    /// Age group instead of the one in the settings.
    #[arg(long, value_name = "GROUP", value_parser = age_group)]
    pub age_group: Option<AgeGroup>,
    /// Pose model instead of the one in the settings.
    #[arg(long)]
    pub model: Option<ModelChoice>,
    /// Inference engine instead of the one in the settings.
    #[arg(long)]
    pub engine: Option<EngineChoice>,
    /// A video instead of the camera, over and over: for trying out. It is
    /// recorded like a camera.
    #[arg(long, value_name = "CLIP", conflicts_with = "camera")]
    pub source: Option<PathBuf>,
    /// No frame of the video is missed, however slow the machine: for tests.
    #[arg(long, requires = "source", hide = true)]
    pub every_frame: bool,
    /// In a window instead of the full screen.
    #[arg(long)]
    pub windowed: bool,
}

/// Runs the station until it is closed.
///
/// # Errors
/// Only settings that cannot be used; devices that are missing are shown and
/// looked for again.
pub fn live(options: &LiveOptions) -> anyhow::Result<()> {
    let home = config::home()?;
    if let Some(clip) = &options.source {
        is_there(clip)?;
    }
    let mut setup = Setup::load(&home, options.lane.as_deref())?;
    if setup.people_before_cameras(options.source.is_none()) {
        complain(
            "a lane file says subject = \"rendered\", but a camera films people: their values are not shifted by what was learned on rendered bodies; write subject = \"people\"",
        );
    }
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
            exporter: Some(export::for_the_desk(setup.station.screen.language)),
        },
        Arc::clone(&control),
    );
    window.side = side_window(&setup, &folder, &desk)?;
    let watcher = Watcher {
        control,
        begins_anew: Arc::new(AtomicBool::new(false)),
        model: options.model.unwrap_or(setup.station.model),
        engine: options.engine.unwrap_or(setup.station.engine),
        age_group,
        camera,
        source: options.source.clone(),
        pace: if options.every_frame {
            Pace::Patient
        } else {
            Pace::Live { repeat: true }
        },
        home,
        setup,
        folder,
        geometry,
    };
    let anew = Anew {
        control: Arc::clone(&watcher.control),
        begun: Arc::clone(&watcher.begins_anew),
        stop: Arc::clone(&stop),
    };
    with_window(&window, &screen, &stop, Some(anew), {
        let (screen, stop) = (screen.clone(), Arc::clone(&stop));
        move || watcher.watch(&screen, &stop)
    })
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

fn file_name(path: &Path) -> String {
    path.file_name()
        .unwrap_or_default()
        .to_string_lossy()
        .into_owned()
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
    source: Option<PathBuf>,
    /// How a clip in the place of the camera plays.
    pace: Pace,
    model: ModelChoice,
    engine: EngineChoice,
    age_group: AgeGroup,
    geometry: ScreenGeometry,
    control: Arc<Control>,
    /// Set where the end of the work is the beginning of the next.
    begins_anew: Arc<AtomicBool>,
}

impl Watcher {
    fn watch(mut self, screen: &ScreenHandle, stop: &Stop) -> anyhow::Result<()> {
        // The camera opens while the models load.
        let mut feed = self.feed();
        let Some(mut analyser) = self.load(screen, stop) else {
            return Ok(());
        };
        analyser.follow(Arc::clone(&self.control));
        let station = &self.setup.station;
        let engine = analyser.engine_record(self.model);
        let mut stage = Stage::new(self.geometry, engine.backend.clone());
        stage.screen = Some(screen.clone());
        stage.model = Some(self.model);
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
        if let Some((second, status)) = self.second_camera()? {
            stage.second = Some(status);
            analyser.look_with(second);
        }
        stage.health = Some(HealthKeeper::start(health::file(), self.folder.clone()));
        stage.watchdog = Watchdog::from_environment();
        analyser.allow_lighter(&self.home, self.model, self.engine);
        let mut lateness = Lateness::default();
        loop {
            let (kind, name, fps) = match &self.source {
                Some(clip) => (store::SourceKind::Video, file_name(clip), None),
                None => (
                    store::SourceKind::Camera,
                    self.camera
                        .id
                        .clone()
                        .unwrap_or_else(|| "camera".to_owned()),
                    Some(f64::from(self.camera.fps)),
                ),
            };
            let folder = self.folder.clone();
            let reopen: Reopen = Box::new(move |analyser, model| {
                let engine = analyser.engine_record(model);
                open_store(&folder, name.clone(), kind, fps, analyser, engine)
            });
            let measured_by = stage.model.unwrap_or(self.model);
            stage.open_store = Some(reopen(&analyser, measured_by));
            stage.reopen = Some(reopen);
            run(
                &feed,
                &mut analyser,
                &mut stage,
                self.control.end_run(),
                &mut lateness,
                |stage, pass, cue| {
                    say(&words::pass_table(pass, cue));
                    if let Some(Written::Waiting | Written::Lost(_)) = &stage.last_written {
                        say(&format!("Pass {} is not on the disk yet.", cue.pass_number));
                    }
                },
            );
            feed.stop();
            if let Some(trouble) = stage.recording_trouble() {
                complain(&trouble);
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
            if let Some(second) = switch.second {
                (self.setup.station.second_camera, self.setup.second_lane) = second.unzip();
                // The old one lets its camera go before a new one opens it.
                analyser.look_alone();
                stage.second = None;
                if let Some((second, status)) = self.second_camera()? {
                    stage.second = Some(status);
                    analyser.look_with(second);
                }
            }
            feed = self.feed();
        }
        // To the service manager it is one and the same run.
        if !self.begins_anew.load(Ordering::Acquire) {
            stage.watchdog.stopping();
        }
        say(&lateness.sentence());
        Ok(())
    }

    /// Opens the camera, or the clip that stands for it.
    fn feed(&self) -> Feed {
        match &self.source {
            Some(path) => Feed::start(SourceSpec::File { path: path.clone() }, self.pace, None),
            None => Feed::start(
                SourceSpec::Camera(self.camera.clone()),
                Pace::Live { repeat: false },
                None,
            ),
        }
    }

    /// Starts the second camera of the settings, where there is one.
    fn second_camera(&self) -> anyhow::Result<Option<(Second, EyeStatus)>> {
        let (Some(camera), Some(lane)) =
            (&self.setup.station.second_camera, &self.setup.second_lane)
        else {
            return Ok(None);
        };
        let epoch = Instant::now();
        let eye = FurtherEye::start(EyeSettings {
            home: self.home.clone(),
            model: self.model,
            engine: self.engine,
            source: SourceSpec::Camera(CameraRequest {
                id: Some(camera.id.clone()),
                width: camera.width,
                height: camera.height,
                fps: camera.fps,
                ..CameraRequest::default()
            }),
            pace: Pace::Live { repeat: false },
            lane: lane.clone(),
            track: judging_of(&self.setup, self.age_group).track,
            epoch,
        })
        .context("the system gives no thread for the second camera; restart the computer")?;
        let status = eye.status();
        Ok(Some((
            Second::new(Box::new(eye), lane.clone(), epoch),
            status,
        )))
    }

    /// Loads the model; a fault is shown and tried again. `None` when the
    /// program is to end.
    fn load(&self, screen: &ScreenHandle, stop: &Stop) -> Option<Analyser> {
        let judging = judging_of(&self.setup, self.age_group);
        loop {
            match Analyser::new(&self.home, self.model, self.engine, judging.clone()) {
                Ok(analyser) => return Some(analyser),
                Err(error) => {
                    complain(&error.to_string());
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
) -> crate::station::presenter::stage::OpenStore {
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
