//! Cameras, lanes, the scale, and a look at the picture.

use std::path::PathBuf;
use std::sync::{Arc, LazyLock};
use std::time::Duration;

use crossbeam_channel::bounded;

use super::picture_check::picture_check;
use super::{Done, Service, said};
use crate::capture::{CameraRequest, FeedState, FeedStatus, list_cameras};
use crate::config::{self, Edit, Lane, LaneErrors, Subject, Written, write_atomically};
use crate::display::ScreenPlace;
use crate::geometry::{CameraPoseError, solve_camera_pose};
use crate::panel::{CheckEnded, LaneDraft, LaneEntry, Message, Number, ScaleResult};
use crate::station::ruler::CheckState;
use crate::station::settings::second_camera::SecondCamera;

/// Why there is no scale yet, as what to do next.
fn no_scale(error: &CameraPoseError) -> Message {
    match error {
        CameraPoseError::TooFew { .. } => Message::ScaleTooFew {},
        CameraPoseError::NoLane => Message::ScaleNoLine {},
        CameraPoseError::Undetermined => Message::ScaleApart {},
        CameraPoseError::Open {
            angle_known: false, ..
        } => Message::ScaleOpenNoAngle {},
        CameraPoseError::Open { .. } => Message::ScaleOpen {},
        CameraPoseError::Contradiction { .. } => Message::ScaleContradiction {},
    }
}

/// How well a mark is placed by hand on a screen, pixels.
const MARK_ERROR_PX: f64 = 1.5;
/// How long a frame is waited for.
const FRAME_PATIENCE: Duration = Duration::from_secs(2);
/// Names that are other files of the settings folder.
const RESERVED: [&str; 3] = ["station", "age-groups", "marks-example"];
const LONGEST_NAME: usize = 60;

impl Service {
    /// Cameras are asked on a thread of their own: one that hangs in its
    /// driver holds up nothing.
    pub(super) fn find_cameras(&mut self) -> Done {
        if self.looking_for_cameras.is_some() {
            return Ok(Message::CamerasAlready {});
        }
        let (found, answer) = bounded(1);
        std::thread::Builder::new()
            .name("cameras".into())
            .spawn(move || {
                // Nobody may be waiting any more.
                let _ = found.send(list_cameras());
            })
            .map_err(|e| said(Message::NoCameras { why: e.to_string() }))?;
        self.looking_for_cameras = Some(answer);
        Ok(Message::CamerasLooked {})
    }

    /// Takes what the search for cameras found, once it has.
    pub(super) fn take_cameras(&mut self) {
        let Some(answer) = &self.looking_for_cameras else {
            return;
        };
        match answer.try_recv() {
            Ok(found) => {
                self.looking_for_cameras = None;
                self.camera_entries(found);
            }
            Err(crossbeam_channel::TryRecvError::Disconnected) => self.looking_for_cameras = None,
            Err(crossbeam_channel::TryRecvError::Empty) => {}
        }
    }

    pub(super) fn use_camera(&mut self, id: String, (width, height, fps): (u32, u32, u32)) -> Done {
        let number = |key, v: u32| Edit::new(&[key], Written::Number(f64::from(v)));
        self.write_station(&[
            Edit::new(&["camera"], Written::Text(id.clone())),
            number("width", width),
            number("height", height),
            number("fps", fps),
        ])?;
        let in_use = self.view.cameras.iter().find(|c| c.in_use);
        let camera = self.settings.load().source.camera.clone();
        let first = in_use.map(|c| c.id.clone()).or(camera.id.clone());
        if first.as_ref().is_some_and(|first| *first != id) {
            let request = CameraRequest {
                id: first,
                ..camera.clone()
            };
            self.first_camera = Some((request, self.lane_file.clone()));
        }
        let camera = CameraRequest {
            id: Some(id),
            width,
            height,
            fps,
            ..camera
        };
        self.settings
            .change_source(|source| source.camera = camera.clone());
        self.mark_camera_in_use();
        // A check holds for its own camera alone.
        self.list_lanes();
        Ok(Message::CameraOpened { width, height, fps })
    }

    pub(super) fn check_picture(&mut self) -> Done {
        let seen = self.session.view();
        let fps = seen
            .feed
            .as_ref()
            .map(|f| f.fps_measured)
            .filter(|fps| *fps > 0.0);
        let frame = self
            .session
            .next_frame(FRAME_PATIENCE)
            .ok_or_else(|| said(Message::NoPictureCame {}))?;
        let shutter_s = seen.feed.as_ref().and_then(|f| f.shutter_s);
        let (check, mut advice) = picture_check(&frame, fps, shutter_s, &self.words);
        self.view.picture_check = Some(check);
        Ok(match advice.is_empty() {
            false => advice.swap_remove(0),
            true => Message::PictureGood {},
        })
    }

    pub(super) fn find_scale(&mut self, draft: &LaneDraft) -> Done {
        // Whatever lane the draft began from: an angle that is given now is a data sheet's, and
        // people skate there.
        let asked = Lane {
            subject: Subject::People,
            errors: LaneErrors::default(),
            ..draft.lane.clone()
        };
        let found = solve_camera_pose(
            &asked,
            draft.frame_px,
            &draft.marks,
            &draft.line_px,
            draft.hfov_known,
            MARK_ERROR_PX,
        );
        let stand = match found {
            Ok(stand) => stand,
            Err(error) => {
                tracing::info!("no scale: {error}");
                let why = no_scale(&error);
                self.view.scale = Some(Err(why.say(&self.words)));
                return Err(said(why));
            }
        };
        let lane = stand.on(&draft.lane);
        let found = Message::ScaleFound {
            percent: Number(100.0 * stand.scale_error, 1),
        };
        self.view.scale = Some(Ok(ScaleResult {
            lane,
            camera_height_m: stand.camera_height_m,
            tilt_deg: stand.tilt_deg,
            roll_deg: stand.roll_deg,
            lane_distance_m: stand.lane_distance_m,
            length_error: stand.scale_error,
            misfit_px: stand.misfit_px,
        }));
        Ok(found)
    }

    pub(super) fn save_lane(
        &mut self,
        name: &str,
        lane: &Lane,
        screen: Option<ScreenPlace>,
    ) -> Done {
        let (file, lane) = self.write_lane(name, lane)?;
        let mut edits = vec![Edit::new(&["lane"], lane_named(name))];
        if let Some(screen) = screen {
            let number = |key, metres| Edit::new(&[key], Written::Number(metres));
            edits.push(number("reading_distance_m", screen.reading_distance_m));
            edits.push(number("screen_height_m", screen.height_m));
        }
        self.write_station(&edits)?;
        // However the camera stood before, it stands right now.
        self.forget_background(&lane)?;
        self.take_lane(lane, file);
        self.session.stands_right();
        if let Some(screen) = screen {
            self.settings.change(|now| now.screen = screen);
        }
        Ok(Message::LaneSavedInUse {
            name: name.to_owned(),
        })
    }

    /// However it stood before: the camera stands right now.
    pub(super) fn camera_stands_right(&mut self) -> Done {
        let seen = self.session.view();
        let live = |f: &FeedStatus| f.state == FeedState::Live;
        if !seen.feed.as_ref().is_some_and(live) {
            return Err(said(Message::NotLive {}));
        }
        self.forget_background(&self.settings.load().source.lane)?;
        self.session.stands_right();
        Ok(Message::StandsRight {})
    }

    /// What the camera in use saw with this lane counts no more.
    fn forget_background(&self, lane: &Lane) -> Result<(), super::ServiceError> {
        let source = self.settings.load().source.clone();
        let Some(backgrounds) = &source.backgrounds else {
            return Ok(());
        };
        let forgotten = backgrounds.forget(source.camera.id.as_deref(), lane);
        forgotten.map_err(|e| {
            said(Message::NotWritten {
                file: e.file,
                why: e.why,
            })
        })
    }

    fn write_lane(&self, name: &str, lane: &Lane) -> Result<(PathBuf, Lane), super::ServiceError> {
        let file = self.lane_path(name)?;
        let text = lane.to_toml("A camera set-up, saved from the coach's panel.");
        // What is written is what the station would read.
        let lane = Lane::from_toml(&text, &file.display().to_string())?;
        write_atomically(&file, text.as_bytes(), 0o644).map_err(|e| {
            said(Message::NotWritten {
                file: file.clone(),
                why: e.to_string(),
            })
        })?;
        Ok((file, lane))
    }

    /// The camera in use becomes the second one; the one before it comes back
    /// with its lane.
    pub(super) fn use_as_second(&mut self, name: &str, lane: &Lane) -> Done {
        let nobody = || said(Message::NoFirstCamera {});
        let (first, first_lane) = self.first_camera.clone().ok_or_else(nobody)?;
        let camera = self.settings.load().source.camera.clone();
        let id = camera.id.clone().ok_or_else(nobody)?;
        let first_id = first.id.clone().ok_or_else(nobody)?;
        if same_file(&self.lane_path(name)?, &first_lane) {
            return Err(said(Message::LaneNameTaken {
                name: name.to_owned(),
            }));
        }
        let back = Lane::load(&first_lane)?;
        let (file, lane) = self.write_lane(name, lane)?;
        // As it was written: a name in the folder of the settings.
        let first_lane_text = first_lane
            .strip_prefix(config::settings_folder(&self.home))
            .unwrap_or(&first_lane)
            .display()
            .to_string();
        let number = |path: &[&str], v: u32| Edit::new(path, Written::Number(f64::from(v)));
        let text = |path: &[&str], v: &str| Edit::new(path, Written::Text(v.to_owned()));
        let second = ["camera", "lane", "width", "height", "fps"].map(|k| ["second_camera", k]);
        self.write_station(&[
            text(&["camera"], &first_id),
            number(&["width"], first.width),
            number(&["height"], first.height),
            number(&["fps"], first.fps),
            text(&["lane"], &first_lane_text),
            text(&second[0], &id),
            text(&second[1], &format!("{name}.toml")),
            number(&second[2], camera.width),
            number(&second[3], camera.height),
            number(&second[4], camera.fps),
        ])?;
        let entry = SecondCamera {
            id: id.clone(),
            lane: file,
            width: camera.width,
            height: camera.height,
            fps: camera.fps,
        };
        let called = self.view.cameras.iter().find(|c| c.id == id);
        let called = called.map_or_else(|| id.clone(), |c| c.name.clone());
        self.first_camera = None;
        self.lane_file = first_lane;
        self.settings.change_source(|source| {
            source.camera = first.clone();
            source.lane = back.clone();
            source.second = Some((entry.clone(), lane.clone()));
        });
        self.mark_camera_in_use();
        self.list_lanes();
        Ok(Message::SecondInUse { name: called })
    }

    pub(super) fn drop_second(&mut self) -> Done {
        self.write_station(&[Edit::new(&["second_camera", "camera"], Written::Absent)])?;
        self.settings.change_source(|source| source.second = None);
        Ok(Message::SecondDropped {})
    }

    fn mark_camera_in_use(&mut self) {
        let camera_in_use = self.settings.load().source.camera.id.clone();
        let mut cameras = (*self.view.cameras).clone();
        for camera in &mut cameras {
            camera.in_use = Some(&camera.id) == camera_in_use.as_ref();
        }
        self.view.cameras = Arc::new(cameras);
    }

    pub(super) fn use_lane(&mut self, name: &str) -> Done {
        let file = self.lane_path(name)?;
        let lane = Lane::load(&file)?;
        self.write_station(&[Edit::new(&["lane"], lane_named(name))])?;
        self.take_lane(lane, file);
        Ok(Message::LaneInUse {
            name: name.to_owned(),
        })
    }

    fn take_lane(&mut self, lane: Lane, file: PathBuf) {
        self.lane_file = file;
        self.settings
            .change_source(|source| source.lane = lane.clone());
        self.list_lanes();
    }

    /// Where a lane of this name lies: a plain file of the settings folder.
    fn lane_path(&self, name: &str) -> Result<PathBuf, super::ServiceError> {
        let fits = |c: char| c.is_alphanumeric() || matches!(c, ' ' | '-' | '_');
        let good = !name.trim().is_empty()
            && name.trim() == name
            && name.chars().count() <= LONGEST_NAME
            && name.chars().all(fits);
        if !good {
            return Err(said(Message::LaneName { n: LONGEST_NAME }));
        }
        if RESERVED.contains(&name.to_lowercase().as_str()) {
            return Err(said(Message::LaneNameTaken {
                name: name.to_owned(),
            }));
        }
        Ok(config::settings_folder(&self.home).join(format!("{name}.toml")))
    }

    /// Lists the lane files of the settings folder.
    pub(super) fn list_lanes(&mut self) {
        self.list_holds();
        let source = self.settings.load().source.clone();
        self.view.check_ended = match source.check_state() {
            CheckState::Never | CheckState::Holds(_) => None,
            CheckState::Ended(date, with) => Some(CheckEnded::MadeWithAnother(date, with)),
            CheckState::Unusable(_) => Some(CheckEnded::FileUnusable),
        };
        let folder = config::settings_folder(&self.home);
        let mut lanes: Vec<LaneEntry> = std::fs::read_dir(&folder)
            .into_iter()
            .flatten()
            .filter_map(Result::ok)
            .map(|e| e.path())
            .filter(|p| p.extension().is_some_and(|e| e == "toml"))
            .filter_map(|file| {
                let name = file.file_stem()?.to_str()?.to_owned();
                let other = RESERVED.contains(&name.to_lowercase().as_str())
                    || name.starts_with("marks")
                    || name.starts_with('.');
                (!other).then(|| {
                    let mut lane = Lane::load(&file).map_err(|e| e.to_string());
                    let example = lane.as_ref().is_ok_and(is_example);
                    let in_use = same_file(&file, &self.lane_file);
                    if let Ok(lane) = &mut lane
                        && in_use
                    {
                        lane.checked = source.lane.checked;
                    }
                    LaneEntry {
                        in_use,
                        example,
                        lane,
                        name,
                        file,
                    }
                })
            })
            .collect();
        lanes.sort_by(|a, b| a.name.cmp(&b.name));
        self.view.lanes = Arc::new(lanes);
    }
}

/// A lane as the settings name it.
fn lane_named(name: &str) -> Written {
    Written::Text(format!("{name}.toml"))
}

/// Whether a lane is one of those Kickplate comes with.
pub(super) fn is_example(lane: &Lane) -> bool {
    static EXAMPLES: LazyLock<Vec<Lane>> = LazyLock::new(|| {
        [
            include_str!("../../../config/lane-side.toml"),
            include_str!("../../../config/lane-front.toml"),
        ]
        .iter()
        .filter_map(|text| Lane::from_toml(text, "an example").ok())
        .collect()
    });
    EXAMPLES.contains(lane)
}

fn same_file(a: &std::path::Path, b: &std::path::Path) -> bool {
    match (a.canonicalize(), b.canonicalize()) {
        (Ok(a), Ok(b)) => a == b,
        _ => a == b,
    }
}
