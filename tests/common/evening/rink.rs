//! The station of an evening: the real session, coach service and store over an empty folder.
//! What vision would tell is told here, from a clip that the pose model read once.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::{Duration, Instant};

use crossbeam_channel::{Receiver, bounded};
use kickplate::capture::{self, CameraRequest, Feed, FeedState, Frame, Pace, SourceSpec};
use kickplate::config::Lane;
use kickplate::panel::{PanelSetup, PanelView, PanelWords};
use kickplate::pose::ModelKind;
use kickplate::sound::{MicFault, Microphone};
use kickplate::station::coach_service::{CoachService, CoachSetup};
use kickplate::station::live::runtime::{Parts, Runtime};
use kickplate::station::live::settings_of;
use kickplate::station::presenter::{LanePicture, Outputs, PictureMaker, lane_picture};
use kickplate::station::session::SessionLink;
use kickplate::station::settings::snapshot::SharedSettings;
use kickplate::station::vision::tracking::{PassEvent, Vision};
use kickplate::station::vision::watch::{ModelAtWork, SourceBegins, VisionEvent, VisionStatus};
use kickplate::station::{EngineChoice, FinishedPass, ModelChoice, Setup, panel_exporter};
use kickplate::store::{EngineInfo, SourceKind};
use kickplate::track::{Pass, TrackSettings};

const PATIENCE: Duration = Duration::from_secs(60);
/// Between two passes, seconds of the lane's clock.
const BETWEEN_S: f64 = 20.0;

/// A pass of a rendered skater as the pose model read it, with its pictures.
pub struct Clip {
    pub lane: Lane,
    frame: Arc<Frame>,
    pictures: Vec<LanePicture>,
    pass: Pass,
    engine: EngineInfo,
}

impl Clip {
    /// Reads the clip of the demo whose skater has faults.
    pub fn read() -> Self {
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let path = root.join("demo/side-faulty.mp4");
        let lane = Lane::load(&root.join("demo/side-faulty.toml")).unwrap();
        let (model, engine) = (ModelChoice::Full, EngineChoice::Auto);
        let mut vision = Vision::new(root, model, engine, &lane, TrackSettings::default()).unwrap();
        let mut source = capture::open(&SourceSpec::File { path }).unwrap();
        let (mut pictures, mut events, mut middle) = (vec![], vec![], None);
        while let Some(frame) = source.next_frame().unwrap() {
            let (poses, more) = vision.push(&frame).unwrap();
            events.extend(more);
            pictures.extend(lane_picture(&frame, &poses, true));
            if !poses.bodies.is_empty() {
                middle = Some(frame);
            }
        }
        events.extend(vision.finish());
        let pass = events.into_iter().find_map(|event| match event {
            PassEvent::Ended { pass, .. } => Some(*pass),
            PassEvent::Started { .. } => None,
        });
        Clip {
            lane,
            frame: Arc::new(middle.unwrap()),
            pictures,
            pass: pass.unwrap(),
            engine: vision.engine_record(model),
        }
    }
}

pub struct Rink {
    dir: tempfile::TempDir,
    pub settings: SharedSettings,
    pub desk: CoachService,
    pub panel: PanelSetup,
    runtime: Runtime,
    judged: Receiver<FinishedPass>,
    clip: Arc<Clip>,
    /// For its clock alone.
    feed: Feed,
    source_number: u64,
    passes: u32,
}

/// Copies the files of a folder.
pub fn copy_folder(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).unwrap();
    for entry in std::fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        std::fs::copy(entry.path(), to.join(entry.file_name())).unwrap();
    }
}

impl Rink {
    /// A station nobody has used yet; its panel speaks this language ('en', 'fr').
    pub fn start(clip: Arc<Clip>, language: &str) -> Self {
        kickplate::station::began();
        let dir = tempfile::tempdir().unwrap();
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let home = dir.path().join("home");
        for folder in ["config", "lang"] {
            copy_folder(&root.join(folder), &home.join(folder));
        }
        let file = home.join("config/station.toml");
        let text = std::fs::read_to_string(&file).unwrap();
        let usual = "# language = \"en\"";
        assert!(text.contains(usual), "{text}");
        let spoken = format!("language = \"{language}\"");
        std::fs::write(&file, text.replace(usual, &spoken)).unwrap();

        let folder = dir.path().join("recordings");
        let setup = Setup::load(&home, None).unwrap();
        let screen = &setup.station.screen;
        let panel = PanelSetup {
            words: Arc::new(PanelWords::load(&home, screen.language).unwrap()),
            screen_words: Arc::clone(&setup.look.words),
            units: screen.units,
            settings: setup.station.panel,
            folder: dir.path().join("taken"),
        };
        let age_group = setup.station.age_group;
        let settings =
            SharedSettings::new(settings_of(&setup, age_group, CameraRequest::default()));
        let (link, inbox) = SessionLink::new();
        let (told, judged) = bounded(64);
        let outputs = Outputs {
            pictures: PictureMaker::start(),
            ..Outputs::none()
        };
        let runtime = Runtime::start(Parts {
            with_pictures: true,
            recordings: Some(folder.clone()),
            inbox: Some(inbox),
            on_pass: Box::new(move |finished, _| told.send(finished.clone()).unwrap()),
            ..Parts::bare(settings.clone(), outputs)
        })
        .unwrap();
        // Who asks for a whole frame gets the one of the clip.
        let asked = runtime.outlet().frame_requests.clone().unwrap();
        let frame = Arc::clone(&clip.frame);
        std::thread::spawn(move || {
            for reply in asked {
                let _ = reply.try_send(Arc::clone(&frame));
            }
        });
        let exporter = panel_exporter(screen.language);
        let desk = CoachService::start(
            CoachSetup {
                home,
                folder,
                setup,
                lane_file: None,
                exporter: Some(exporter),
                microphone: Microphone::made_of(|_| Err(MicFault::Missing)),
            },
            settings.clone(),
            link,
        );
        let path = root.join("demo/side-faulty.mp4");
        let feed = Feed::start(SourceSpec::File { path }, Pace::Patient, None);
        let mut rink = Rink {
            dir,
            settings,
            desk,
            panel,
            runtime,
            judged,
            clip,
            feed,
            source_number: 0,
            passes: 0,
        };
        rink.begin_source();
        rink
    }

    /// Where passes are stored.
    pub fn recordings(&self) -> PathBuf {
        self.dir.path().join("recordings")
    }

    /// Where exports go that are not told otherwise.
    pub fn taken(&self) -> PathBuf {
        self.dir.path().join("taken")
    }

    fn begin_source(&mut self) {
        let settings = self.settings.load();
        self.source_number = settings.source.number;
        let outlet = self.runtime.outlet();
        outlet.tell(VisionEvent::SourceBegins(Box::new(SourceBegins {
            kind: SourceKind::Camera,
            name: "camera".to_owned(),
            frames_per_second: Some(30.0),
            settings: settings.source.clone(),
            track: settings.track,
            model: ModelAtWork {
                model: ModelChoice::Full,
                record: self.clip.engine.clone(),
                note: None,
            },
        })));
        let frame = &self.clip.frame;
        outlet.tell(VisionEvent::FirstFrame([frame.width, frame.height]));
        self.status(&[]);
        self.until("the camera's picture", |v| {
            v.live.preview.is_some() && v.live.frame_px.is_some() && v.station.camera_live
        });
    }

    /// Begins another source where the settings ask for one, as vision does.
    pub fn follow_settings(&mut self) {
        if self.settings.load().source.number == self.source_number {
            return;
        }
        let (done, stored) = bounded(1);
        self.runtime.outlet().tell(VisionEvent::SourceEnds(done));
        stored.recv_timeout(PATIENCE).unwrap();
        self.begin_source();
    }

    fn status(&self, passing: &[u32]) {
        let mut feed = self.feed.status();
        feed.state = FeedState::Live;
        feed.fps_measured = 30.0;
        feed.source = "camera".to_owned();
        let pictures = &self.clip.pictures;
        let status = VisionStatus {
            feed,
            clock: self.feed.clock(),
            passing: passing.to_vec(),
            engine_fault: None,
            sight: None,
            place_unknown: false,
            preview: pictures
                .get(pictures.len() / 2)
                .map(|p| Arc::clone(&p.picture)),
            body: Default::default(),
            ages_s: vec![],
            frames: 100,
        };
        self.runtime
            .outlet()
            .tell(VisionEvent::Status(Box::new(status)));
    }

    /// Somebody skates into the lane.
    pub fn somebody_comes(&mut self) {
        self.passes += 1;
        let track_id = self.passes;
        self.pass_event(PassEvent::Started {
            track_id,
            passing: vec![track_id],
        });
        self.status(&[track_id]);
    }

    /// And out of it again; gives what was judged.
    pub fn somebody_leaves(&mut self) -> FinishedPass {
        let later_s = f64::from(self.passes) * BETWEEN_S;
        let film = self.runtime.outlet().film.clone().unwrap();
        for picture in &self.clip.pictures {
            let mut picture = picture.clone();
            picture.captured_at_s += later_s;
            film.send(picture).unwrap();
        }
        let mut pass = self.clip.pass.clone();
        pass.track_id = self.passes;
        for sample in &mut pass.samples {
            sample.t_s += later_s;
        }
        self.pass_event(PassEvent::Ended {
            pass: Box::new(pass),
            read_by: ModelKind::Full,
            camera_moved: false,
        });
        self.status(&[]);
        let judged = self.judged.recv_timeout(PATIENCE).unwrap();
        // At a rink the next skater comes seconds later. Here the presenter's answer says that
        // it has cut the pictures of this pass before those of the next one come.
        self.runtime.is_replaying();
        judged
    }

    /// A whole pass.
    pub fn pass(&mut self) -> FinishedPass {
        self.somebody_comes();
        self.somebody_leaves()
    }

    /// Waits until the panel shows the passes that were skated.
    pub fn all_listed(&self) {
        let n = self.passes;
        self.until("the pass is listed", |v| {
            let last = v.live.last.as_ref().map(|(key, _)| *key);
            let listed = v.passes.first().map(|p| p.key);
            last == listed && listed.is_some_and(|k| k.number == n) && !v.live.somebody_passing
        });
    }

    fn pass_event(&self, event: PassEvent) {
        self.runtime.outlet().tell(VisionEvent::Pass(event, None));
    }

    pub fn until(&self, what: &str, holds: impl Fn(&PanelView) -> bool) -> Arc<PanelView> {
        let start = Instant::now();
        loop {
            let view = self.desk.view();
            if holds(&view) {
                return view;
            }
            assert!(start.elapsed() < PATIENCE, "never happened: {what}");
            std::thread::sleep(Duration::from_millis(2));
        }
    }

    /// Every byte of the station's own folders: settings and recordings.
    pub fn bytes(&self) -> Vec<(PathBuf, Vec<u8>)> {
        let mut folders = vec![self.recordings(), self.dir.path().join("home/config")];
        let mut all = vec![];
        while let Some(folder) = folders.pop() {
            for entry in std::fs::read_dir(folder).unwrap() {
                let path = entry.unwrap().path();
                if path.is_dir() {
                    folders.push(path);
                } else {
                    let bytes = std::fs::read(&path).unwrap();
                    all.push((path, bytes));
                }
            }
        }
        all
    }

    /// Ends everything.
    pub fn end(self) {
        let Rink {
            runtime, desk, dir, ..
        } = self;
        drop(desk);
        runtime.end(PATIENCE);
        drop(dir);
    }
}
