//! `kickplate demo`: rendered skaters play as if they were the camera.
//!
//! Everything behind the camera is the live station's own path.

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use anyhow::Context;
use crossbeam_channel::{Receiver, Sender, bounded};

use super::runtime::{LiveSource, Parts, Runtime, SourceName};
use super::shutdown::{Stop, stop_on_signals};
use super::window_host::with_window;
use crate::capture::{Feed, Pace, SourceSpec};
use crate::config::{self, Lane};
use crate::display::{
    Appearance, Screen, ScreenGeometry, ScreenHandle, ScreenModel, StatusStrip, WindowOptions,
    render_png,
};
use crate::rules::{AgeGroup, AgeGroups};
use crate::sound::{SoundSettings, Speaker};
use crate::station::commands::review::source_record;
use crate::station::lock;
use crate::station::presenter::{Outputs, sound_note};
use crate::station::session::OnPass;
use crate::station::settings::choices::{EngineChoice, ModelChoice};
use crate::station::settings::snapshot::{LiveSettings, SharedSettings};
use crate::station::settings::{StationSettings, age_groups_file, station_file};
use crate::station::vision::tracking::Vision;
use crate::station::words;
use crate::store::SessionFile;

/// The demo's clips, each with its lane file beside it, and the age group its
/// skater is judged as.
const CLIPS: [(&str, AgeGroup); 4] = [
    ("side-good", AgeGroup::Adult),
    ("side-faulty", AgeGroup::Adult),
    ("front-good", AgeGroup::Adult),
    ("front-child", AgeGroup::U13),
];
/// Size of the pictures the demo leaves.
const PICTURE_SIZE: (u32, u32) = (1920, 1080);
/// How long the last cue stays before the window closes.
const LAST_CUE: Duration = Duration::from_secs(4);
/// Waiting for the pictures and the disk at the end.
const ENDING: Duration = Duration::from_secs(30);

/// `kickplate demo`: rendered skaters instead of a camera.
#[derive(Debug, Clone, PartialEq, clap::Args)]
pub struct DemoOptions {
    /// Without window and sound; writes its results to --out.
    #[arg(long)]
    pub headless: bool,
    /// Folder for the results of the headless demo.
    #[arg(long, value_name = "DIR", default_value = "demo-out")]
    pub out: PathBuf,
    /// In a window instead of the full screen.
    #[arg(long)]
    pub windowed: bool,
}

/// Plays the demo: in a window where there is a display, else without.
///
/// # Errors
/// A clip, a lane or a model that cannot be used; a folder that cannot be
/// written.
pub fn demo(options: &DemoOptions) -> anyhow::Result<()> {
    let home = config::home()?;
    std::fs::create_dir_all(&options.out).with_context(|| {
        format!(
            "the folder '{}' cannot be made; choose another with --out",
            options.out.display()
        )
    })?;
    let stop = stop_on_signals()?;
    let geometry = ScreenGeometry::default();
    // Words and colours are those of the station; the rest of its settings
    // belongs to its camera.
    let settings = StationSettings::load(&station_file(&home))?.screen;
    let look = settings.look(&home, None)?;
    let screen = ScreenHandle::new(ScreenModel {
        look: look.clone(),
        ..ScreenModel::waiting(geometry)
    });
    let window = WindowOptions {
        fullscreen: !options.windowed,
        monitor: settings.monitor.clone(),
        show_me: settings.show_me_key,
        ..WindowOptions::default()
    };
    let player = Player {
        look,
        blur_faces: settings.blur_faces,
        home,
        out: options.out.clone(),
        geometry,
        screen: (!options.headless).then(|| screen.clone()),
    };
    if options.headless {
        return player.play(&stop);
    }
    with_window(&window, &screen, &stop, {
        let stop = Arc::clone(&stop);
        move || player.play(&stop)
    })
}

struct Player {
    look: Appearance,
    blur_faces: bool,
    home: PathBuf,
    out: PathBuf,
    geometry: ScreenGeometry,
    screen: Option<ScreenHandle>,
}

impl Player {
    fn play(&self, stop: &Stop) -> anyhow::Result<()> {
        let settings = SharedSettings::new(self.settings(CLIPS[0])?);
        let (model, now) = (ModelChoice::Full, settings.load());
        let mut vision = Vision::new(
            &self.home,
            model,
            EngineChoice::Auto,
            &now.source.lane,
            now.track,
        )?;
        let engine = vision.engine_record(model);
        println!(
            "Pose model: {} on the {} engine. {}",
            engine.model,
            engine.backend,
            vision.estimator().engine().why
        );
        let speaker = Arc::new(Speaker::start(
            &self.home.join("sounds"),
            SoundSettings::default(),
        ));
        let (pictures, painter) = paint_pictures(&self.out)?;
        let session: Arc<Mutex<Option<(String, SessionFile)>>> = Arc::default();
        let mut runtime = Runtime::start(Parts {
            with_pictures: self.screen.is_some() && !self.look.symbols_only,
            recordings: Some(self.out.clone()),
            on_pass: self.on_pass(&session, pictures, &engine.backend, &speaker),
            ..Parts::bare(
                settings.clone(),
                Outputs {
                    screen: self.screen.clone(),
                    speaker: Some(speaker),
                    pictures: None,
                    geometry: self.geometry,
                    look: self.look.clone(),
                    blur_faces: self.blur_faces,
                },
            )
        })?;
        let mut sessions = Vec::new();
        for (name, group) in CLIPS {
            if stop.load(Ordering::Relaxed) {
                break;
            }
            println!("\nClip {name}, judged as {}", group.name());
            let next = self.settings((name, group))?;
            settings.play_clip(&next);
            let path = self.home.join("demo").join(format!("{name}.mp4"));
            let spec = SourceSpec::File { path };
            let record = source_record(crate::capture::open(&spec)?.info());
            let file = SessionFile::new(
                record.clone(),
                next.source.lane.clone(),
                engine.clone(),
                &next.thresholds(),
                None,
            );
            *lock(&session) = Some((name.to_owned(), file));
            let source = LiveSource {
                feed: Feed::start(spec, Pace::Live { repeat: false }, None),
                settings: settings.load(),
                model,
                name: SourceName {
                    kind: record.kind,
                    name: record.name,
                    frames_per_second: record.frames_per_second,
                },
            };
            runtime.play(
                &mut vision,
                &source,
                &|| stop.load(Ordering::Relaxed),
                ENDING,
                None,
            );
            sessions.extend(lock(&session).take().map(|(_, file)| file));
        }
        let path = self.out.join("session.json");
        let mut sessions = sessions.into_iter();
        if let Some(first) = sessions.next() {
            first.join(sessions.collect()).write(&path)?;
        }
        self.hold_last_cue(&runtime, stop);
        // The session's end lets the pictures' thread go.
        let lateness = runtime.end(ENDING);
        if painter.join().is_err() {
            eprintln!("a picture of the big screen could not be drawn");
        }
        println!("\n{}", lateness.sentence());
        println!(
            "Written: {} and a picture of the big screen for each pass",
            path.display()
        );
        Ok(())
    }

    /// What is done with each pass: a table, a place in the session's file, a
    /// picture of the screen.
    fn on_pass(
        &self,
        session: &Arc<Mutex<Option<(String, SessionFile)>>>,
        pictures: Sender<Picture>,
        engine: &str,
        speaker: &Arc<Speaker>,
    ) -> OnPass {
        let (session, speaker) = (Arc::clone(session), Arc::clone(speaker));
        let (geometry, look, engine) = (self.geometry, self.look.clone(), engine.to_owned());
        let number = AtomicU32::new(0);
        Box::new(move |finished, _| {
            let (pass, cue) = (&finished.pass, &finished.cue);
            println!("{}", words::pass_table(pass, cue));
            let number = number.fetch_add(1, Ordering::Relaxed) + 1;
            let mut session = lock(&session);
            let Some((name, file)) = session.as_mut() else {
                return;
            };
            if let Err(error) = file.add_pass(pass, cue, &words::cue_sentence(cue)) {
                eprintln!("{error}");
            }
            let model = ScreenModel {
                screen: Screen::of_cue(cue),
                status: StatusStrip {
                    engine: Some(engine.clone()),
                    sound: sound_note(Some(&speaker)),
                    ..StatusStrip::default()
                },
                geometry,
                look: look.clone(),
                ..ScreenModel::waiting(geometry)
            };
            let picture = format!("pass-{number:02}-{name}.png");
            if pictures.send((picture, model)).is_err() {
                tracing::warn!("the pictures are not written any more");
            }
        })
    }

    /// What a clip is judged with.
    fn settings(&self, (name, group): (&str, AgeGroup)) -> anyhow::Result<LiveSettings> {
        let groups = AgeGroups::load(&age_groups_file(&self.home))?;
        let lane = Lane::load(&self.home.join("demo").join(format!("{name}.toml")))?;
        Ok(LiveSettings::of_clip(lane, group, groups))
    }

    /// The last answer can be read, and its replay asked for and watched.
    fn hold_last_cue(&self, runtime: &Runtime, stop: &Stop) {
        let since = Instant::now();
        while self.screen.is_some()
            && (since.elapsed() < LAST_CUE || runtime.is_replaying())
            && !stop.load(Ordering::Relaxed)
        {
            std::thread::sleep(Duration::from_millis(30));
        }
    }
}

type Picture = (String, ScreenModel);

/// A thread that draws the big screen of each pass into a file, so that the
/// live path does not wait for it. The queue is longer than the demo.
fn paint_pictures(out: &Path) -> anyhow::Result<(Sender<Picture>, JoinHandle<()>)> {
    let (sender, inbox): (Sender<Picture>, Receiver<Picture>) = bounded(256);
    let out = out.to_owned();
    let painter = std::thread::Builder::new()
        .name("pictures".into())
        .spawn(move || {
            for (file, model) in inbox {
                let (width, height) = PICTURE_SIZE;
                let path = out.join(file);
                if let Err(error) = render_png(&model, None, width, height).save(&path) {
                    eprintln!("{} cannot be written: {error}", path.display());
                }
            }
        })?;
    Ok((sender, painter))
}
