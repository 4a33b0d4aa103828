//! `kickplate-lab people`: a real person with skin markers.
//!
//! Takes: the videos and the truth of `tests/people`.
//! Gives: what the station's own pipeline reads of them ([`Read`]), and the tables of
//! `docs/accuracy.md`.
//! Fails: files that are not there or cannot be read, an engine that fails.

mod tables;

pub use tables::tables;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use anyhow::Context;
use kickplate::body::{Body, ModelKind, PoseFrame};
use kickplate::calibration::Calibration;
use kickplate::config::{Lane, Subject, Travel, View};
use kickplate::geometry::included_deg;
use kickplate::pose::{Estimator, PoseSettings};
use kickplate::rules::Leg;
use kickplate::stride::{cut, leg_points};
use kickplate::track::{Pass, Sample};
use serde::Deserialize;

use crate::score::read_poses;

/// The four cameras.
pub const CAMERAS: [&str; 4] = ["cam01", "cam02", "cam03", "cam04"];
/// Points the model itself believes hidden say nothing of a leg that is seen.
const VISIBLE: f32 = 0.5;
/// Legs nearer to each other in the picture than this share of the thigh cannot be told
/// to be exchanged.
const APART: f64 = 0.5;

#[derive(Deserialize)]
struct Truth {
    cameras: BTreeMap<String, CameraTruth>,
    frames: Vec<FrameTruth>,
}

#[derive(Deserialize)]
struct CameraTruth {
    #[serde(rename = "K")]
    k: [[f64; 3]; 3],
    #[serde(rename = "R_world_to_cam")]
    r: [[f64; 3]; 3],
    centre_m: [f64; 3],
}

#[derive(Deserialize)]
struct Joints {
    hip: [f64; 3],
    knee: [f64; 3],
    ankle: [f64; 3],
}

#[derive(Deserialize)]
struct FrameTruth {
    joint_centres: BTreeMap<String, Joints>,
    knee_included_deg: BTreeMap<String, f64>,
    /// By side, joint (`h`, `k`, `a`) and camera; pixels of the video.
    joint_px: BTreeMap<String, BTreeMap<String, BTreeMap<String, [f64; 2]>>>,
}

/// One leg in one frame of one camera.
pub struct Reading {
    /// Place in [`CAMERAS`].
    pub camera: usize,
    /// Number of the frame.
    pub frame: usize,
    /// The person's own left or right.
    pub leg: Leg,
    /// True included knee angle in space, degrees.
    pub true_deg: f64,
    /// The true joints' angle in this picture, degrees.
    pub seen_deg: f64,
    /// What the first reader's points make in this picture, degrees.
    pub read_deg: f64,
    /// The second reader's, where it was asked.
    pub second_deg: Option<f64>,
    /// Between the line of sight and square to the leg's plane, degrees.
    pub off_square_deg: f64,
    /// The model's points less the true joints, hip, knee, ankle: centimetres along the
    /// walk as the picture shows it, and up.
    pub offset_cm: [[f64; 2]; 3],
    /// The model believes hip, knee and ankle to be seen.
    pub visible: bool,
    /// The model has the two legs exchanged.
    pub exchanged: bool,
}

/// `kickplate-lab people`: what to do with the tables.
#[derive(Debug, Clone, PartialEq, clap::Args)]
pub struct PeopleOptions {
    /// Document the tables are written into, between its two marker lines.
    #[arg(long)]
    pub write: Option<PathBuf>,
}

/// Reads the person with the full and the heavy model, prints the tables, writes them
/// where asked.
///
/// # Errors
/// As the module says, and a document without the marker lines.
pub fn people(options: &PeopleOptions) -> anyhow::Result<()> {
    let home = kickplate::config::home()?;
    let mut all = Vec::new();
    for model in [ModelKind::Full, ModelKind::Heavy] {
        all.push(read(&home, model)?);
    }
    let text = tables(&all);
    println!("{text}");
    match &options.write {
        Some(path) => tables::write_into(path, &text),
        None => Ok(()),
    }
}

/// What one model reads in all cameras.
pub struct Read {
    /// Which one.
    pub model: ModelKind,
    /// Both legs of every frame of every camera in which somebody was found.
    pub readings: Vec<Reading>,
    /// By camera: frames with somebody found.
    pub found: [usize; 4],
    /// By camera: frames in which the legs are far enough apart to tell, with the
    /// legs exchanged by the model, and the same after the program's mending.
    pub exchanged: [[usize; 3]; 4],
}

fn letter(leg: Leg) -> &'static str {
    match leg {
        Leg::Left => "L",
        Leg::Right => "R",
    }
}

fn minus<const N: usize>(a: [f64; N], b: [f64; N]) -> [f64; N] {
    std::array::from_fn(|i| a[i] - b[i])
}

fn dot<const N: usize>(a: [f64; N], b: [f64; N]) -> f64 {
    a.iter().zip(b).map(|(x, y)| x * y).sum()
}

fn length<const N: usize>(a: [f64; N]) -> f64 {
    dot(a, a).sqrt()
}

impl FrameTruth {
    fn px(&self, leg: Leg, camera: &str) -> Option<[[f64; 2]; 3]> {
        let of_leg = self.joint_px.get(letter(leg))?;
        let mut out = [[0.0; 2]; 3];
        for (joint, name) in out.iter_mut().zip(["h", "k", "a"]) {
            *joint = *of_leg.get(name)?.get(camera)?;
        }
        Some(out)
    }
}

impl CameraTruth {
    /// World direction in the camera's axes.
    fn turned(&self, v: [f64; 3]) -> [f64; 3] {
        std::array::from_fn(|i| dot(self.r[i], v))
    }

    /// Angle between the line of sight to the knee and square to the leg's plane.
    fn off_square_deg(&self, j: &Joints) -> f64 {
        let (a, b) = (minus(j.hip, j.knee), minus(j.ankle, j.knee));
        let normal = [
            a[1] * b[2] - a[2] * b[1],
            a[2] * b[0] - a[0] * b[2],
            a[0] * b[1] - a[1] * b[0],
        ];
        let sight = minus(j.knee, self.centre_m);
        let cosine = dot(normal, sight).abs() / (length(normal) * length(sight)).max(1e-9);
        cosine.min(1.0).acos().to_degrees()
    }
}

/// Whether legs in the picture are the true ones exchanged; `None` where they are too
/// near to each other to tell.
fn is_exchanged(points: &[[f64; 2]], truth: &FrameTruth, camera: &str) -> Option<bool> {
    let [left, right] = [truth.px(Leg::Left, camera)?, truth.px(Leg::Right, camera)?];
    let of = |leg: Leg| {
        let p = leg_points(leg);
        [points[p.knee], points[p.ankle]]
    };
    let (l, r) = (of(Leg::Left), of(Leg::Right));
    let apart = |a: &[[f64; 2]], b: &[[f64; 2]]| -> f64 {
        a.iter().zip(b).map(|(p, q)| length(minus(*p, *q))).sum()
    };
    let thigh_px = length(minus(left[0], left[1])).max(length(minus(right[0], right[1])));
    if apart(&left[1..], &right[1..]) / 2.0 < APART * thigh_px {
        return None;
    }
    let straight = apart(&l, &left[1..]) + apart(&r, &right[1..]);
    let crossed = apart(&l, &right[1..]) + apart(&r, &left[1..]);
    Some(crossed < straight)
}

fn biggest(frame: &PoseFrame) -> Option<&Body> {
    frame
        .bodies
        .iter()
        .max_by(|a, b| a.roi.size_px.total_cmp(&b.roi.size_px))
}

fn points_px(body: &Body) -> Vec<[f64; 2]> {
    body.points
        .iter()
        .map(|p| [f64::from(p.x_px), f64::from(p.y_px)])
        .collect()
}

fn reading(
    body: &Body,
    truth: &FrameTruth,
    cam: &CameraTruth,
    [camera, frame]: [usize; 2],
    leg: Leg,
) -> Option<Reading> {
    let name = CAMERAS[camera];
    let joints = truth.joint_centres.get(letter(leg))?;
    let true_px = truth.px(leg, name)?;
    let p = leg_points(leg);
    let indices = [p.hip, p.knee, p.ankle];
    let points = points_px(body);
    let read_px = indices.map(|i| points[i]);
    let walk = cam.turned([1.0, 0.0, 0.0]);
    let forward = if walk[0] < 0.0 { -1.0 } else { 1.0 };
    let mut offset_cm = [[0.0; 2]; 3];
    for (k, joint) in [joints.hip, joints.knee, joints.ankle]
        .into_iter()
        .enumerate()
    {
        let depth_m = cam.turned(minus(joint, cam.centre_m))[2];
        let cm_per_px = 100.0 * depth_m / cam.k[0][0];
        let off = minus(read_px[k], true_px[k]);
        offset_cm[k] = [forward * off[0] * cm_per_px, -off[1] * cm_per_px];
    }
    let second = body.legs.map(|legs| legs.leg(leg == Leg::Right));
    Some(Reading {
        camera,
        frame,
        leg,
        true_deg: *truth.knee_included_deg.get(letter(leg))?,
        seen_deg: included_deg(true_px[0], true_px[1], true_px[2])?,
        read_deg: included_deg(read_px[0], read_px[1], read_px[2])?,
        second_deg: second
            .filter(|joints| joints.iter().all(|j| j.belief >= 0.4))
            .and_then(|[hip, knee, ankle]| included_deg(hip.xy(), knee.xy(), ankle.xy())),
        off_square_deg: cam.off_square_deg(joints),
        offset_cm,
        visible: indices
            .iter()
            .all(|&i| body.points[i].visibility >= VISIBLE),
        exchanged: is_exchanged(&points, truth, name) == Some(true),
    })
}

/// What the program's own mending leaves of a clip: its points frame by frame.
fn mended(frames: &[PoseFrame]) -> Vec<Vec<[f64; 2]>> {
    let samples: Vec<Sample> = frames
        .iter()
        .filter_map(|frame| {
            biggest(frame).map(|body| Sample {
                t_s: frame.captured_at_s,
                points: body.points,
                legs: None,
                clarity: None,
                lane_m: None,
            })
        })
        .collect();
    let pass = Pass {
        track_id: 1,
        samples,
        frame_px: frames.first().map_or([1, 1], |f| [f.width, f.height]),
        speed_mps: 1.0,
        heading: [1.0, 0.0],
    };
    // Only the order of the legs is asked for; how the camera stands plays no part.
    let lane = Lane {
        view: View::Side,
        camera_height_m: 1.8,
        tilt_deg: 20.0,
        hfov_deg: 36.0,
        roll_deg: 0.0,
        lane_distance_m: 3.0,
        travel: Travel::LeftToRight,
        skater_height_m: 1.7,
        subject: Subject::People,
        errors: Default::default(),
        checked: None,
    };
    let curves = cut(&pass, &lane).curves;
    frames
        .iter()
        .map(|f| {
            curves
                .points
                .get(curves.index_at(f.captured_at_s))
                .map_or_else(Vec::new, |row| row.to_vec())
        })
        .collect()
}

/// Reads all four cameras with a model.
///
/// # Errors
/// Files that are not there or cannot be read, an engine that fails.
pub fn read(home: &Path, model: ModelKind) -> anyhow::Result<Read> {
    let folder = home.join("tests/people");
    let text = std::fs::read_to_string(folder.join("truth.json"))
        .context("tests/people/truth.json cannot be read")?;
    let truth: Truth = serde_json::from_str(&text).context("tests/people/truth.json")?;
    let settings = PoseSettings {
        model,
        ..PoseSettings::default()
    };
    let mut estimator = Estimator::new(home, settings)?;
    let (mut readings, mut found, mut exchanged) = (Vec::new(), [0; 4], [[0; 3]; 4]);
    for (camera, name) in CAMERAS.into_iter().enumerate() {
        let cam = truth.cameras.get(name).context("a camera is not there")?;
        let video = folder.join(name).with_extension("mp4");
        // From the side, so that the second reader is asked as well.
        let frames = read_poses(&video, View::Side, &mut estimator)?;
        let mended = mended(&frames);
        for (frame, (seen, truth)) in frames.iter().zip(&truth.frames).enumerate() {
            let Some(body) = biggest(seen) else { continue };
            found[camera] += 1;
            if let Some(swapped) = is_exchanged(&points_px(body), truth, name) {
                exchanged[camera][0] += 1;
                exchanged[camera][1] += usize::from(swapped);
                let left = mended.get(frame).filter(|row| !row.is_empty());
                let left = left.and_then(|row| is_exchanged(row, truth, name));
                exchanged[camera][2] += usize::from(left == Some(true));
            }
            for leg in Leg::BOTH {
                readings.extend(reading(body, truth, cam, [camera, frame], leg));
            }
        }
    }
    Ok(Read {
        model,
        readings,
        found,
        exchanged,
    })
}

impl Read {
    /// Every leg once a frame, in the camera that sees it most squarely, of those in
    /// which it is seen and not exchanged: as the station speaks of the near leg alone.
    pub fn best(&self) -> Vec<&Reading> {
        let mut best: BTreeMap<(usize, bool), &Reading> = BTreeMap::new();
        for r in self.readings.iter().filter(|r| r.visible && !r.exchanged) {
            let key = (r.frame, r.leg == Leg::Left);
            match best.get(&key) {
                Some(other) if other.off_square_deg <= r.off_square_deg => {}
                _ => {
                    best.insert(key, r);
                }
            }
        }
        best.into_values().collect()
    }

    /// What the station adds to a glide knee of this model on people, degrees.
    pub fn shift_deg(&self) -> f64 {
        Calibration::of(Subject::People, self.model)
            .glide_knee(View::Side, 130.0)
            .add
    }
}

/// Number, mean and standard deviation of values.
pub fn spread(values: impl Iterator<Item = f64>) -> (usize, f64, f64) {
    let values: Vec<f64> = values.collect();
    let n = values.len();
    let mean = values.iter().sum::<f64>() / n.max(1) as f64;
    let square = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>();
    (n, mean, (square / n.max(1) as f64).sqrt())
}
