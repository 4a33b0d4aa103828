//! `kickplate demo`: rendered skaters play as if they were the camera.
//!
//! Everything behind the camera is the live station's own path.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use anyhow::Context;
use crossbeam_channel::{Receiver, Sender, bounded};

use crate::capture::{Feed, FeedStatus, Pace, SourceSpec};
use crate::config::{self, Lane};
use crate::display::{
    Appearance, Screen, ScreenGeometry, ScreenHandle, ScreenModel, WindowOptions, render_png,
};
use crate::feedback::FeedbackSettings;
use crate::rules::{AgeGroup, AgeGroups};
use crate::sound::{SoundSettings, Speaker};
use crate::station::live::run::{Lateness, Stop, run};
use crate::station::live::window_host::with_window;
use crate::station::live::{open_store, stop_on_signals};
use crate::station::presenter::stage::Stage;
use crate::station::session::analyser::{Analyser, Judging};
use crate::station::settings::choices::{EngineChoice, ModelChoice};
use crate::station::settings::{StationSettings, age_groups_file, station_file};
use crate::station::words;
use crate::store::{self, SessionFile};
use crate::track::TrackSettings;

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
    with_window(&window, &screen, &stop, None, {
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
        let groups = AgeGroups::load(&age_groups_file(&self.home))?;
        let clips = CLIPS
            .iter()
            .map(|(name, group)| self.judging(name, groups.thresholds(*group)))
            .collect::<anyhow::Result<Vec<_>>>()?;
        let first = clips.first().context("the demo has no clips")?;
        let model = ModelChoice::Full;
        let mut analyser = Analyser::new(&self.home, model, EngineChoice::Auto, first.1.clone())?;
        let engine = analyser.engine_record(model);
        println!(
            "Pose model: {} on the {} engine. {}",
            engine.model,
            engine.backend,
            analyser.estimator().engine().why
        );
        let mut stage = Stage::new(self.geometry, engine.backend.clone());
        stage.screen = self.screen.clone();
        stage.look = self.look.clone();
        stage.blur_faces = self.blur_faces;
        stage.speaker = Some(Arc::new(Speaker::start(
            &self.home.join("sounds"),
            SoundSettings::default(),
        )));
        let (pictures, painter) = paint_pictures(&self.out)?;
        let mut lateness = Lateness::default();
        let mut last_status = None;
        let mut number = 0;
        let mut sessions = Vec::new();
        for (path, judging) in clips {
            if stop.load(Ordering::Relaxed) {
                break;
            }
            let name = path
                .file_stem()
                .unwrap_or_default()
                .to_string_lossy()
                .into_owned();
            println!(
                "\nClip {name}, judged as {}",
                judging.thresholds.age_group.name()
            );
            analyser.change(judging);
            let source = crate::capture::open(&SourceSpec::File { path: path.clone() })?;
            let record = crate::station::commands::review::source_record(source.info());
            drop(source);
            let mut session = SessionFile::new(
                record.clone(),
                analyser.judging().lane.clone(),
                engine.clone(),
                &analyser.judging().thresholds,
                None,
            );
            stage.open_store = Some(open_store(
                &self.out,
                record.name.clone(),
                store::SourceKind::Video,
                record.frames_per_second,
                &analyser,
                engine.clone(),
            ));
            let feed = Feed::start(
                SourceSpec::File { path },
                Pace::Live { repeat: false },
                None,
            );
            run(
                &feed,
                &mut analyser,
                &mut stage,
                stop,
                &mut lateness,
                |stage, pass, cue| {
                    println!("{}", words::pass_table(pass, cue));
                    number += 1;
                    if let Err(error) = session.add_pass(pass, cue, &words::cue_sentence(cue)) {
                        eprintln!("{error}");
                    }
                    let model = stage.model(Screen::of_cue(cue), &feed.status());
                    let file = format!("pass-{number:02}-{name}.png");
                    if pictures.send((file, model)).is_err() {
                        tracing::warn!("the pictures are not written any more");
                    }
                },
            );
            last_status = Some(feed.status());
            if let Some(trouble) = stage.recording_trouble() {
                eprintln!("{trouble}");
            }
            stage.end_recording(ENDING);
            sessions.push(session);
        }
        drop(pictures);
        let path = self.out.join("session.json");
        let mut sessions = sessions.into_iter();
        if let Some(first) = sessions.next() {
            first.join(sessions.collect()).write(&path)?;
        }
        if painter.join().is_err() {
            eprintln!("a picture of the big screen could not be drawn");
        }
        println!("\n{}", lateness.sentence());
        println!(
            "Written: {} and a picture of the big screen for each pass",
            path.display()
        );
        if let Some(status) = last_status {
            self.hold_last_cue(&mut stage, &status, stop);
        }
        Ok(())
    }

    /// The clip and what it is judged with.
    fn judging(
        &self,
        name: &str,
        thresholds: crate::rules::Thresholds,
    ) -> anyhow::Result<(PathBuf, Judging)> {
        let folder = self.home.join("demo");
        let lane = Lane::load(&folder.join(format!("{name}.toml")))?;
        Ok((
            folder.join(format!("{name}.mp4")),
            Judging {
                lane,
                thresholds,
                track: TrackSettings::default(),
                feedback: FeedbackSettings::default(),
            },
        ))
    }

    /// The last answer can be read, and its replay asked for and watched.
    fn hold_last_cue(&self, stage: &mut Stage, status: &FeedStatus, stop: &Stop) {
        let since = Instant::now();
        while self.screen.is_some()
            && (since.elapsed() < LAST_CUE || stage.is_replaying())
            && !stop.load(Ordering::Relaxed)
        {
            stage.show(status, false);
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
