//! `kickplate`: the station with its camera.

mod demo;
pub mod runtime;
pub mod shutdown;
mod window_host;

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::thread;
use std::time::{Duration, Instant};

use crate::capture::{self, CameraRequest, Feed, Pace, SourceSpec};
use crate::config;
use crate::display::{ScreenGeometry, ScreenHandle, ScreenModel, ScreenPlace, WindowOptions};
use crate::rules::AgeGroup;
use crate::sound::{Microphone, Speaker, VOICES_FOLDER};
use crate::store::{SourceKind, Written};
use crate::track::TrackSettings;

use super::backgrounds::Backgrounds;
use super::coach_service::panel::side_window;
use super::coach_service::{CoachService, CoachSetup};
use super::commands::export;
use super::commands::review::usage_or_failure;
use super::health::notify::Watchdog;
use super::health::{self, HealthKeeper};
use super::output::{complain, say};
use super::presenter::{Outputs, PictureMaker};
use super::ruler::Checks;
use super::session::{SecondStart, SessionInbox, SessionLink};
use super::settings::choices::{EngineChoice, ModelChoice};
use super::settings::snapshot::{LiveSettings, SharedSettings, SourceSettings};
use super::settings::{CameraChoice, Setup};
use super::usage::{age_group, is_there};
use super::vision::LOAD_AGAIN;
use super::vision::tracking::Vision;
use super::words;
pub use demo::{DemoOptions, demo};
use runtime::{LiveSource, Parts, Runtime, SourceName, file_name};
use shutdown::{Stop, stop_on_signals};
use window_host::with_window;

/// How long the end of a source, and of the session, is waited for.
const ENDING: Duration = Duration::from_secs(5);

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
        // Later it would look like a camera that never comes.
        let path = clip.clone();
        capture::open(&SourceSpec::File { path }).map_err(usage_or_failure)?;
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
    let screen = ScreenHandle::new(ScreenModel {
        look: setup.look.clone(),
        ..ScreenModel::waiting(geometry)
    });
    let mut window = WindowOptions {
        fullscreen: !options.windowed,
        monitor: setup.station.screen.monitor.clone(),
        show_me: setup.station.screen.show_me_key,
        ..WindowOptions::default()
    };
    let mut settings = settings_of(
        &setup,
        options.age_group.unwrap_or(setup.station.age_group),
        camera_request(&setup, options.camera.as_deref()),
    );
    if options.source.is_none() {
        let model = options.model.unwrap_or(setup.station.model);
        let engine = options.engine.unwrap_or(setup.station.engine);
        // An engine that is not there is told when the model is loaded.
        settings.source.checks = Checks::new(&home, &folder, model, engine).ok();
        settings.source.look_for_checks();
        settings.source.backgrounds = Some(Backgrounds::new(&folder));
        if let Some(why) = settings.source.check_state().ended() {
            complain(&format!("values are not those of a check: {why}"));
        }
    }
    let settings = SharedSettings::new(settings);
    let (link, inbox) = SessionLink::new();
    // It ends when the last handle is dropped.
    let service = CoachService::start(
        CoachSetup {
            home: home.clone(),
            folder: folder.clone(),
            setup: setup.clone(),
            lane_file: options.lane.clone(),
            microphone: Microphone::system(),
            exporter: Some(export::for_the_panel(setup.station.screen.language)),
        },
        settings.clone(),
        link,
    );
    window.side = side_window(&setup, &folder, &service)?;
    let station = Station {
        model: options.model.unwrap_or(setup.station.model),
        engine: options.engine.unwrap_or(setup.station.engine),
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
        settings,
    };
    with_window(&window, &screen, &stop, {
        let (screen, stop) = (screen.clone(), Arc::clone(&stop));
        move || station.run(screen, inbox, &stop)
    })
}

/// The settings of the running station, as the files have them.
pub fn settings_of(setup: &Setup, age_group: AgeGroup, camera: CameraRequest) -> LiveSettings {
    let station = &setup.station;
    LiveSettings {
        source: SourceSettings {
            number: 0,
            camera,
            lane: setup.lane.clone(),
            second: station.second_camera.clone().zip(setup.second_lane.clone()),
            checks: None,
            backgrounds: None,
        },
        track: TrackSettings {
            min_pass_speed_mps: station.min_pass_speed_mps,
            ..TrackSettings::default()
        },
        age_group,
        groups: Arc::new(setup.age_groups.clone()),
        feedback: station.feedback.clone(),
        privacy: station.privacy,
        screen: ScreenPlace {
            reading_distance_m: station.reading_distance_m,
            height_m: station.screen_height_m,
        },
        roster: Arc::default(),
        outputs: None,
    }
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

/// The live station but for its window.
struct Station {
    home: PathBuf,
    setup: Setup,
    folder: PathBuf,
    source: Option<PathBuf>,
    /// How a clip in the place of the camera plays.
    pace: Pace,
    model: ModelChoice,
    engine: EngineChoice,
    geometry: ScreenGeometry,
    settings: SharedSettings,
}

impl Station {
    /// The work of the vision thread, to the end of the station.
    fn run(self, screen: ScreenHandle, inbox: SessionInbox, stop: &Stop) -> anyhow::Result<()> {
        // The camera opens while the models load.
        let mut source = self.source();
        let mut runtime = Runtime::start(self.parts(screen, inbox))?;
        if let Some(mut vision) = self.load(&runtime, stop) {
            vision.allow_lighter(&self.home, self.model, self.engine);
            let stopped = || stop.load(Ordering::Relaxed);
            loop {
                runtime.play(&mut vision, &source, &stopped, ENDING, None);
                if stopped() {
                    break;
                }
                // Another camera or another lane: everybody seen so far is
                // forgotten and a session begins that says how it was measured.
                source = self.source();
                source.model = vision.model_at_work(self.model);
            }
        }
        say(&runtime.end(ENDING).sentence());
        Ok(())
    }

    fn parts(&self, screen: ScreenHandle, inbox: SessionInbox) -> Parts {
        let station = &self.setup.station;
        let speaker = Speaker::start(&self.home.join("sounds"), station.sound())
            .with_voices(self.folder.join(VOICES_FOLDER));
        let outputs = Outputs {
            screen: Some(screen),
            speaker: Some(Arc::new(speaker)),
            pictures: PictureMaker::start(),
            geometry: self.geometry,
            look: self.setup.look.clone(),
            blur_faces: station.screen.blur_faces,
        };
        Parts {
            with_pictures: true,
            recordings: Some(self.folder.clone()),
            second: Some(SecondStart {
                home: self.home.clone(),
                model: self.model,
                engine: self.engine,
            }),
            health: Some(HealthKeeper::start(health::file(), self.folder.clone())),
            watchdog: Watchdog::from_environment(),
            inbox: Some(inbox),
            on_pass: Box::new(|finished, written| {
                say(&words::pass_table(&finished.pass, &finished.cue));
                if let Some(Written::Waiting | Written::Lost(_)) = written {
                    let number = finished.cue.pass_number;
                    say(&format!("Pass {number} is not on the disk yet."));
                }
            }),
            ..Parts::bare(self.settings.clone(), outputs)
        }
    }

    /// Opens the camera, or the clip that stands for it.
    fn source(&self) -> LiveSource {
        let settings = self.settings.load();
        let camera = &settings.source.camera;
        let (spec, pace, name) = match &self.source {
            Some(clip) => (
                SourceSpec::File { path: clip.clone() },
                self.pace,
                SourceName {
                    kind: SourceKind::Video,
                    name: file_name(clip),
                    frames_per_second: None,
                },
            ),
            None => (
                SourceSpec::Camera(camera.clone()),
                Pace::Live { repeat: false },
                SourceName {
                    kind: SourceKind::Camera,
                    name: camera.id.clone().unwrap_or_else(|| "camera".to_owned()),
                    frames_per_second: Some(f64::from(camera.fps)),
                },
            ),
        };
        LiveSource {
            feed: Feed::start(spec, pace, None),
            model: self.model,
            settings,
            name,
        }
    }

    /// Loads the model; a fault is shown and tried again. `None` when the
    /// program is to end.
    fn load(&self, runtime: &Runtime, stop: &Stop) -> Option<Vision> {
        loop {
            let settings = self.settings.load();
            let lane = &settings.source.lane;
            match Vision::new(&self.home, self.model, self.engine, lane, settings.track) {
                Ok(vision) => return Some(vision),
                Err(error) => runtime.no_model(error.to_string()),
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
