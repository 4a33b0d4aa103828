//! Pictures of flagged pushes on their way to the disk: made into JPEGs on a
//! thread of their own, so that the judging waits for none of it.

use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread;
use std::time::{Duration, Instant};

use crossbeam_channel::{Sender, TrySendError, bounded};
use image::ExtendedColorType;
use image::codecs::jpeg::JpegEncoder;

use super::replay_buffer::Packed;
use crate::rules::RuleId;
use crate::store::{PictureStrip, Shot, StripDoor};

/// Passes whose pictures may wait to be made.
const WAITING: usize = 8;
/// Quality of the JPEGs, 1 to 100: skates and knees stay sharp.
const QUALITY: u8 = 82;

/// A picture that is not written yet.
#[derive(Debug, Clone)]
pub struct RawShot {
    /// Capture time, seconds on the source's clock.
    pub captured_at_s: f64,
    /// The picture.
    pub picture: Arc<Packed>,
    /// Where faces are still to be made unreadable: centre and radius, pixels
    /// of the picture.
    pub faces: Vec<([f32; 2], f32)>,
}

/// Pictures of one flagged push that are not written yet.
#[derive(Debug, Clone)]
pub struct RawStrip {
    /// Place of the push in its pass, from 0.
    pub push: u32,
    /// The rule.
    pub rule: RuleId,
    /// The flagged instant, seconds on the source's clock.
    pub flagged_at_s: f64,
    /// Size of the camera's frames, pixels.
    pub frame_px: [u32; 2],
    /// Whether every face found is unreadable once `faces` are done.
    pub faces_blurred: bool,
    /// The pictures, in order of time.
    pub shots: Vec<RawShot>,
}

struct Job {
    number: u32,
    strips: Vec<RawStrip>,
    door: StripDoor,
}

/// The way to the thread that makes the JPEGs. Clones lead to the same.
#[derive(Clone)]
pub struct PictureMaker {
    jobs: Sender<Job>,
    unfinished: Arc<AtomicUsize>,
}

impl PictureMaker {
    /// Starts the thread. `None` where the system gives none: then no
    /// pictures are kept, and the log says so.
    pub fn start() -> Option<Self> {
        let (jobs, incoming) = bounded::<Job>(WAITING);
        let unfinished = Arc::new(AtomicUsize::new(0));
        let counter = Arc::clone(&unfinished);
        let spawned = thread::Builder::new()
            .name("pictures".into())
            .spawn(move || {
                for job in incoming {
                    let strips: Vec<PictureStrip> =
                        job.strips.iter().filter_map(strip_of).collect();
                    if !strips.is_empty() {
                        // The writer counts what it cannot keep.
                        drop(job.door.submit(job.number, strips));
                    }
                    counter.fetch_sub(1, Ordering::AcqRel);
                }
            });
        match spawned {
            Ok(_) => Some(PictureMaker { jobs, unfinished }),
            Err(error) => {
                tracing::error!(%error, "no pictures are kept: their thread did not start");
                None
            }
        }
    }

    /// Hands over the pictures of a pass. Never waits: where too many passes
    /// wait already, these pictures are let go and the log says so.
    pub fn keep(&self, number: u32, strips: Vec<RawStrip>, door: StripDoor) {
        self.unfinished.fetch_add(1, Ordering::AcqRel);
        let job = Job {
            number,
            strips,
            door,
        };
        if let Err(TrySendError::Full(_) | TrySendError::Disconnected(_)) = self.jobs.try_send(job)
        {
            self.unfinished.fetch_sub(1, Ordering::AcqRel);
            tracing::warn!(number, "pictures of a pass are let go: too many wait");
        }
    }

    /// Waits until everything handed over is with the writer, at most
    /// `patience`.
    pub fn finish(&self, patience: Duration) {
        let since = Instant::now();
        while self.unfinished.load(Ordering::Acquire) > 0 && since.elapsed() < patience {
            thread::sleep(Duration::from_millis(5));
        }
    }
}

fn strip_of(raw: &RawStrip) -> Option<PictureStrip> {
    let mut size_px = [0, 0];
    let mut shots = Vec::with_capacity(raw.shots.len());
    for shot in &raw.shots {
        let mut picture = shot.picture.unpack()?;
        for (centre, radius) in &shot.faces {
            picture.blur_disc(*centre, *radius);
        }
        let (width, height) = picture.size();
        size_px = [width, height];
        let mut jpeg = Vec::new();
        JpegEncoder::new_with_quality(&mut jpeg, QUALITY)
            .encode(picture.rgb(), width, height, ExtendedColorType::Rgb8)
            .inspect_err(|error| tracing::warn!(%error, "a picture could not be made"))
            .ok()?;
        shots.push(Shot {
            captured_at_s: shot.captured_at_s,
            jpeg,
        });
    }
    (!shots.is_empty()).then_some(PictureStrip {
        push: raw.push,
        rule: raw.rule,
        flagged_at_s: raw.flagged_at_s,
        size_px,
        frame_px: raw.frame_px,
        faces_blurred: raw.faces_blurred,
        shots,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::View;
    use crate::display::PreviewImage;
    use crate::feedback::{Cue, CueKind};
    use crate::roster::{Consent, Skater};
    use crate::rules::{AgeGroup, JudgedPass, Measure, NotJudged, QuantityMap, Thresholds};
    use crate::store::{
        Archive, EngineInfo, NewPass, SessionInfo, SourceInfo, SourceKind, StoreWriter,
        WriterPolicy, Written,
    };

    const PATIENCE: Duration = Duration::from_secs(30);

    /// Black and white columns, four pixels wide.
    fn picture() -> PreviewImage {
        let row: Vec<u8> = (0..320u32)
            .flat_map(|x| [if x / 4 % 2 == 0 { 0 } else { 255 }; 3])
            .collect();
        PreviewImage::from_rgb(320, 180, &row.repeat(180), 320).unwrap()
    }

    fn writer(folder: &std::path::Path) -> StoreWriter {
        let lane = include_str!("../../../config/lane-side.toml");
        let info = SessionInfo {
            source: SourceInfo {
                kind: SourceKind::Camera,
                name: "rink".into(),
                width: 640,
                height: 360,
                frames_per_second: None,
                frames: None,
            },
            lane: crate::config::Lane::from_toml(lane, "x").unwrap(),
            engine: EngineInfo {
                program_version: "0".into(),
                backend: "embedded".into(),
                model: "full".into(),
                model_sha256: None,
            },
            age_group: AgeGroup::U13,
            started: jiff::Zoned::now(),
        };
        StoreWriter::start(folder.to_owned(), info, WriterPolicy::default())
    }

    /// From raw pictures through the thread, the writer and the disk, and
    /// back as pictures in which the face cannot be read.
    #[test]
    fn pictures_come_back_from_the_disk_with_the_face_unreadable() {
        let dir = tempfile::tempdir().unwrap();
        let archive = Archive::open(dir.path()).unwrap();
        let skater = Skater {
            consent: Some(Consent {
                given_on: "2026-09-01".parse().unwrap(),
                given_by: "Kim".into(),
            }),
            ..Skater::new("Robin", AgeGroup::U13)
        };
        let id = archive.add_skater(&skater).unwrap();
        let writer = writer(dir.path());
        let pass = JudgedPass {
            track_id: 1,
            started_at_s: 0.0,
            ended_at_s: 2.0,
            speed_mps: 5.0,
            view: View::Side,
            thresholds: Thresholds::defaults(AgeGroup::U13),
            pushes: Vec::new(),
            quantities: QuantityMap::from_fn(|_| Measure::not_judged(NotJudged::Other)),
        };
        let cue = Cue {
            pass_number: 1,
            track_id: 1,
            kind: CueKind::Praise,
        };
        let new = NewPass {
            skater: Some(id),
            ..(pass, cue).into()
        };
        assert_eq!(writer.submit(new).wait(PATIENCE), Written::OnDisk);
        let packed = Arc::new(Packed::of(&picture(), None, &[], 0));
        let raw = RawStrip {
            push: 0,
            rule: RuleId::KneeBend,
            flagged_at_s: 1.0,
            frame_px: [640, 360],
            faces_blurred: true,
            shots: (0..3)
                .map(|i| RawShot {
                    captured_at_s: 0.9 + 0.1 * f64::from(i),
                    picture: Arc::clone(&packed),
                    faces: vec![([160.0, 90.0], 40.0)],
                })
                .collect(),
        };
        let maker = PictureMaker::start().unwrap();
        maker.keep(1, vec![raw], writer.strip_door());
        maker.finish(PATIENCE);
        let last = writer.finish(PATIENCE);
        assert_eq!((last.pictures_lost, last.lost), (0, 0));

        let session = archive
            .load_session(last.session.unwrap().number())
            .unwrap();
        let info = &session.passes[0].strips[0];
        assert!(info.faces_blurred);
        let strip = archive.strip(info.id).unwrap();
        assert_eq!((strip.size_px, strip.frame_px), ([320, 180], [640, 360]));
        assert_eq!(strip.shots.len(), 3);
        for shot in &strip.shots {
            let picture = image::load_from_memory(&shot.jpeg).unwrap().into_rgb8();
            assert_eq!(picture.dimensions(), (320, 180));
            let contrast = |x: u32| {
                let near = (x - 6..x + 6).map(|x| picture.get_pixel(x, 90)[0]);
                near.clone().max().unwrap() - near.min().unwrap()
            };
            assert!(contrast(20) > 200, "{}", contrast(20));
            assert!(contrast(160) < 90, "{}", contrast(160));
        }
    }

    #[test]
    fn pictures_after_the_end_of_the_recording_are_let_go() {
        let dir = tempfile::tempdir().unwrap();
        let writer = writer(dir.path());
        let door = writer.strip_door();
        writer.finish(PATIENCE);
        let lost = door.submit(1, Vec::new()).wait(PATIENCE);
        assert!(matches!(lost, Written::Lost(_)), "{lost:?}");
    }
}
