//! `kickplate-lab bench`: how fast this machine is, stage by stage.
//!
//! Each clip is read twice: as fast as it goes, as `review` does, and at its
//! own speed through the feed and the loop of the live station. Between the
//! two nothing differs behind the decoder. The sounds of the cues are played
//! at level 0 where there is a sound device. Not in it: the camera's own delay,
//! JPEG decoding, the disk, the window and the buffer of the sound device.

use std::fmt::Write;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

use anyhow::Context;

use clap::ValueEnum;
use kickplate::station::commands::review::{source_record, usage_or_failure};
use kickplate::station::live::runtime::{LiveSource, Parts, Runtime, SourceName};
use kickplate::station::presenter::Outputs;
use kickplate::station::settings::snapshot::{LiveSettings, SharedSettings};
use kickplate::station::usage::is_there;
use kickplate::station::vision::tracking::Vision;
use kickplate::station::{
    Analyser, EngineChoice, FinishedPass, Judging, ModelChoice, UsageError, age_groups_file,
    sound_after,
};

use crate::stages::{Durations, Stages};
use kickplate::capture::{
    self, CaptureError, Feed, Frame, Pace, Source, SourceInfo, SourceSpec, read_ahead,
};
use kickplate::config::{self, Lane};
use kickplate::display::{Screen, ScreenGeometry, ScreenModel, render_still};
use kickplate::feedback::{Cue, FeedbackSettings};
use kickplate::pose::{EngineKind, Estimator, StageTimes};
use kickplate::rules::{AgeGroup, AgeGroups, Thresholds};
use kickplate::sound::{SoundId, SoundSettings, SoundState, Speaker};
use kickplate::track::TrackSettings;

mod table;

use table::{cpu_s, resident_mb, table};

/// How long the end of a clip waits for its last pass.
const ENDING: Duration = Duration::from_secs(5);
/// Pictures drawn for the draw row, and their size.
const DRAWN: usize = 12;
const DRAWN_PX: (u32, u32) = (1920, 1080);
/// Sounds played for the sound row, and longer than any of them lasts.
const PLAYED: usize = 8;
const SOUND_LASTS: Duration = Duration::from_secs(1);

/// `kickplate-lab bench`: how fast this machine is.
#[derive(Debug, Clone, PartialEq, clap::Args)]
pub struct BenchOptions {
    /// Clips; those of the demo where none is named.
    pub clips: Vec<PathBuf>,
    /// Lane file for every clip, instead of the one beside each (CLIP.toml).
    #[arg(long, value_name = "LANE.toml")]
    pub lane: Option<PathBuf>,
    /// Pose model.
    #[arg(long, default_value = "full")]
    pub model: ModelChoice,
    /// Inference engine.
    #[arg(long, default_value = "auto")]
    pub engine: EngineChoice,
    /// One way of reading the clips only: as fast as it goes, or at their own speed.
    #[arg(long, value_name = "PATH")]
    pub only: Option<BenchPath>,
}

/// How a clip is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum BenchPath {
    /// As fast as it goes.
    Review,
    /// At its own speed, as from a camera.
    Live,
}

impl BenchPath {
    /// The head of its columns.
    pub fn title(self) -> &'static str {
        match self {
            BenchPath::Review => "review",
            BenchPath::Live => "live path",
        }
    }
}

/// Measures, and gives the table.
///
/// # Errors
/// A clip, a lane or a model that cannot be used.
pub fn bench(options: &BenchOptions) -> anyhow::Result<String> {
    let started = Instant::now();
    let home = config::home()?;
    let clips = clips(options, &home)?;
    let groups = AgeGroups::load(&age_groups_file(&home))?;
    let thresholds = groups.thresholds(AgeGroup::Adult);
    let lanes = clips
        .iter()
        .map(|clip| Lane::load(&lane_of(clip, options.lane.as_deref())))
        .collect::<Result<Vec<_>, _>>()?;
    let first = lanes.first().context("no clip was named")?;
    let mut out = String::new();
    let mut loaded_s = 0.0;
    let mut first_frame_s = None;
    let mut columns = Vec::new();
    let mut cues = Vec::new();
    for path in [BenchPath::Review, BenchPath::Live] {
        if options.only.is_some_and(|only| only != path) {
            continue;
        }
        let mut column = Column::default();
        let mut chain = Chain::load(path, &home, options, judging(first, &thresholds))?;
        if out.is_empty() {
            out = head(options, chain.estimator());
            loaded_s = started.elapsed().as_secs_f64();
        }
        for (clip, lane) in clips.iter().zip(&lanes) {
            let (wall, cpu) = (Instant::now(), cpu_s());
            match &mut chain {
                Chain::Review(analyser) => {
                    analyser.change(judging(lane, &thresholds));
                    column.review(clip, analyser, &mut cues, || {
                        first_frame_s.get_or_insert_with(|| started.elapsed().as_secs_f64());
                    })?;
                }
                Chain::Live(vision) => {
                    let settings =
                        LiveSettings::of_clip(lane.clone(), AgeGroup::Adult, groups.clone());
                    column.live(clip, vision, options.model, settings, &mut cues)?;
                }
            }
            column.wall_s += wall.elapsed().as_secs_f64();
            column.cpu_s = match (column.cpu_s, cpu, cpu_s()) {
                (Some(sum), Some(before), Some(after)) => Some(sum + after - before),
                _ => None,
            };
        }
        columns.push((path, column));
    }
    let draw = drawn(&cues);
    let (sound, no_sound) = sounded(&home, &cues);
    let names: Vec<String> = clips
        .iter()
        .map(|c| {
            c.file_name()
                .unwrap_or_default()
                .to_string_lossy()
                .into_owned()
        })
        .collect();
    let _ = writeln!(out, "clips: {}\n", names.join(", "));
    out.push_str(&table(&columns, &draw, &sound));
    if let Some(why) = no_sound {
        let _ = writeln!(out, "sound was not measured: {why}");
    }
    let _ = write!(
        out,
        "\nsettings and models loaded after {:.0} ms",
        1e3 * loaded_s
    );
    if let Some(s) = first_frame_s {
        let _ = write!(out, ", first frame judged after {:.0} ms", 1e3 * s);
    }
    if let Some([now, most]) = resident_mb() {
        let _ = write!(out, "; memory in use {now:.0} MB, at most {most:.0} MB");
    }
    out.push('\n');
    Ok(out)
}

/// What the frames go through.
enum Chain {
    Review(Box<Analyser>),
    Live(Box<Vision>),
}

impl Chain {
    fn load(
        path: BenchPath,
        home: &Path,
        options: &BenchOptions,
        judging: Judging,
    ) -> anyhow::Result<Self> {
        let (model, engine) = (options.model, options.engine);
        Ok(match path {
            BenchPath::Review => {
                Chain::Review(Box::new(Analyser::new(home, model, engine, judging)?))
            }
            BenchPath::Live => {
                let (lane, track) = (&judging.lane, judging.track);
                Chain::Live(Box::new(Vision::new(home, model, engine, lane, track)?))
            }
        })
    }

    fn estimator(&self) -> &Estimator {
        match self {
            Chain::Review(analyser) => analyser.estimator(),
            Chain::Live(vision) => vision.estimator(),
        }
    }
}

/// What is measured with what.
fn head(options: &BenchOptions, estimator: &Estimator) -> String {
    let engine = estimator.engine();
    format!(
        "Kickplate {}, model {} on {} {}, {} processors\n",
        env!("CARGO_PKG_VERSION"),
        options.model.name(),
        match engine.kind {
            EngineKind::Native => "ONNX Runtime",
            EngineKind::Embedded => "the embedded engine, tract",
        },
        engine.version,
        std::thread::available_parallelism().map_or(1, |n| n.get()),
    )
}

/// The clips named, else those of the demo.
fn clips(options: &BenchOptions, home: &Path) -> anyhow::Result<Vec<PathBuf>> {
    if !options.clips.is_empty() {
        for clip in &options.clips {
            is_there(clip)?;
        }
        return Ok(options.clips.clone());
    }
    let folder = home.join("demo");
    let mut clips: Vec<PathBuf> = std::fs::read_dir(&folder)
        .map(|entries| {
            entries
                .filter_map(|entry| Some(entry.ok()?.path()))
                .filter(|path| path.extension().is_some_and(|e| e == "mp4"))
                .collect()
        })
        .unwrap_or_default();
    clips.sort();
    if clips.is_empty() {
        return Err(UsageError(format!(
            "there are no clips in '{}'; name a clip",
            folder.display()
        ))
        .into());
    }
    Ok(clips)
}

/// The lane given, else the file of the clip's name beside it.
fn lane_of(clip: &Path, given: Option<&Path>) -> PathBuf {
    given.map_or_else(|| clip.with_extension("toml"), Path::to_owned)
}

fn judging(lane: &Lane, thresholds: &Thresholds) -> Judging {
    Judging {
        lane: lane.clone(),
        thresholds: thresholds.clone(),
        track: TrackSettings::default(),
        feedback: FeedbackSettings::default(),
    }
}

/// What one way of reading the clips gave.
struct Column {
    decode: Durations,
    stages: Stages,
    frame_age: Durations,
    pass_end_to_cue: Durations,
    frames: u64,
    dropped: Option<u64>,
    wall_s: f64,
    cpu_s: Option<f64>,
}

impl Default for Column {
    fn default() -> Self {
        Column {
            decode: Durations::default(),
            stages: Stages::default(),
            frame_age: Durations::default(),
            pass_end_to_cue: Durations::default(),
            frames: 0,
            dropped: None,
            wall_s: 0.0,
            cpu_s: Some(0.0),
        }
    }
}

impl Column {
    /// One clip as fast as it goes, as `review` reads it.
    fn review(
        &mut self,
        clip: &Path,
        analyser: &mut Analyser,
        cues: &mut Vec<Cue>,
        mut after_frame: impl FnMut(),
    ) -> anyhow::Result<()> {
        let spec = SourceSpec::parse(&clip.to_string_lossy()).map_err(usage_or_failure)?;
        let decode = Arc::new(Mutex::new(std::mem::take(&mut self.decode)));
        let timed = Timed {
            source: capture::open(&spec).map_err(usage_or_failure)?,
            times: Arc::clone(&decode),
        };
        let mut source = read_ahead(Box::new(timed), clip.to_owned()).map_err(usage_or_failure)?;
        while let Some(frame) = source.next_frame().map_err(usage_or_failure)? {
            let since = Instant::now();
            let (_, passes) = analyser.push(&frame)?;
            let whole = since.elapsed();
            take_cues(&passes, cues);
            let pose = analyser.estimator().stage_times();
            self.stages.frame(whole, &pose, !passes.is_empty());
            passes.iter().for_each(|pass| self.stages.pass(&pass.times));
            self.frames += 1;
            source.reuse(frame.rgb);
            after_frame();
        }
        take_cues(&analyser.finish(), cues);
        self.decode = std::mem::take(&mut decode.lock().unwrap_or_else(PoisonError::into_inner));
        Ok(())
    }

    /// One clip at its own speed through the live station's threads.
    fn live(
        &mut self,
        clip: &Path,
        vision: &mut Vision,
        model: ModelChoice,
        settings: LiveSettings,
        cues: &mut Vec<Cue>,
    ) -> anyhow::Result<()> {
        let spec = SourceSpec::parse(&clip.to_string_lossy()).map_err(usage_or_failure)?;
        // A feed would look for a missing file again and again.
        let record = source_record(capture::open(&spec).map_err(usage_or_failure)?.info());
        let seen: Arc<Mutex<Vec<FinishedPass>>> = Arc::default();
        let noted = Arc::clone(&seen);
        let settings = SharedSettings::new(settings);
        let mut runtime = Runtime::start(Parts {
            on_pass: Box::new(move |finished, _| {
                let mut noted = noted.lock().unwrap_or_else(PoisonError::into_inner);
                noted.push(finished.clone());
            }),
            ..Parts::bare(settings.clone(), Outputs::none())
        })?;
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
        let stages = &mut self.stages;
        let mut observer = |whole, pose: &StageTimes| stages.frame(whole, pose, false);
        runtime.play(vision, &source, &|| false, ENDING, Some(&mut observer));
        let lateness = runtime.end(ENDING);
        let passes = std::mem::take(&mut *seen.lock().unwrap_or_else(PoisonError::into_inner));
        for pass in &passes {
            self.stages.judged(&pass.times);
        }
        take_cues(&passes, cues);
        lateness
            .frame_age_s
            .iter()
            .for_each(|&s| self.frame_age.note(s));
        let ends = &lateness.pass_end_to_cue_s;
        ends.iter().for_each(|&s| self.pass_end_to_cue.note(s));
        self.frames += lateness.frames;
        *self.dropped.get_or_insert(0) += lateness.dropped;
        Ok(())
    }
}

/// Keeps the cues.
fn take_cues(passes: &[FinishedPass], cues: &mut Vec<Cue>) {
    cues.extend(passes.iter().map(|pass| pass.cue.clone()));
}

/// Draws the cues as the screen shows them.
fn drawn(cues: &[Cue]) -> Durations {
    let mut draw = Durations::default();
    for cue in cues.iter().take(DRAWN) {
        let model = ScreenModel {
            screen: Screen::of_cue(cue),
            ..ScreenModel::waiting(ScreenGeometry::default())
        };
        let since = Instant::now();
        render_still(&model, None, DRAWN_PX.0, DRAWN_PX.1);
        draw.note(since.elapsed().as_secs_f64());
    }
    draw
}

/// Plays the sounds of the cues at level 0: from asking for one to the moment
/// in which the device takes its first sample. Else why there is nothing.
fn sounded(home: &Path, cues: &[Cue]) -> (Durations, Option<String>) {
    let mut sound = Durations::default();
    let settings = SoundSettings {
        level: 0.0,
        ..SoundSettings::default()
    };
    let speaker = Speaker::start(&home.join("sounds"), settings);
    match sound_after(&speaker) {
        SoundState::Ready => {}
        SoundState::NoDevice(why) | SoundState::NoSounds(why) => return (sound, Some(why)),
        SoundState::Off => return (sound, Some("it is off".to_owned())),
    }
    let ids = cues.iter().filter_map(|cue| SoundId::of_cue(&cue.kind));
    for id in ids.take(PLAYED) {
        let asked = Instant::now();
        if !speaker.play(id) {
            continue;
        }
        while asked.elapsed() < SOUND_LASTS {
            let started = speaker.last_started();
            if let Some((_, at)) = started.filter(|(_, at)| *at >= asked) {
                sound.note((at - asked).as_secs_f64());
                break;
            }
            std::thread::sleep(Duration::from_millis(1));
        }
        // Over before the next, as in the rink.
        std::thread::sleep(SOUND_LASTS.saturating_sub(asked.elapsed()));
    }
    (sound, None)
}

/// A source whose frames are timed.
struct Timed {
    source: Box<dyn Source>,
    times: Arc<Mutex<Durations>>,
}

impl Source for Timed {
    fn info(&self) -> &SourceInfo {
        self.source.info()
    }

    fn next_frame(&mut self) -> Result<Option<Frame>, CaptureError> {
        let since = Instant::now();
        let next = self.source.next_frame();
        if matches!(next, Ok(Some(_))) {
            self.times
                .lock()
                .unwrap_or_else(PoisonError::into_inner)
                .note(since.elapsed().as_secs_f64());
        }
        next
    }

    fn reuse(&mut self, buffer: Vec<u8>) {
        self.source.reuse(buffer);
    }
}
