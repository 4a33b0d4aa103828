//! What the pose model says of one person in one frame: the plain types that
//! lie between `vision`, which fills them, and everything that measures.
//!
//! Takes and fails: nothing; these are values.

use serde::{Deserialize, Serialize};

/// Number of body points the model gives.
pub const POINTS: usize = 33;

/// The body points this program uses, by their index in the model's output.
/// Left and right are the skater's own.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
#[repr(usize)]
#[allow(missing_docs, reason = "the names are the documentation")]
pub enum BodyPoint {
    Nose = 0,
    LeftEye = 2,
    RightEye = 5,
    LeftEar = 7,
    RightEar = 8,
    LeftShoulder = 11,
    RightShoulder = 12,
    LeftElbow = 13,
    RightElbow = 14,
    LeftWrist = 15,
    RightWrist = 16,
    LeftPinky = 17,
    RightPinky = 18,
    LeftIndex = 19,
    RightIndex = 20,
    LeftThumb = 21,
    RightThumb = 22,
    LeftHip = 23,
    RightHip = 24,
    LeftKnee = 25,
    RightKnee = 26,
    LeftAnkle = 27,
    RightAnkle = 28,
    LeftHeel = 29,
    RightHeel = 30,
    LeftToe = 31,
    RightToe = 32,
}

/// One body point in the picture.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Landmark {
    /// Pixels from the left edge of the frame (may lie outside of it).
    pub x_px: f32,
    /// Pixels from the top edge of the frame (may lie outside of it).
    pub y_px: f32,
    /// Depth relative to the hips in pixels, smaller = nearer. A hint only.
    pub z_px: f32,
    /// The model's belief that the point is not hidden, 0 to 1. No gate by
    /// itself: the model reports high values on invented points.
    pub visibility: f32,
}

/// A rotated square region of the frame that holds one person.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Roi {
    /// Centre, pixels from the left.
    pub cx_px: f32,
    /// Centre, pixels from the top.
    pub cy_px: f32,
    /// Side of the square, pixels.
    pub size_px: f32,
    /// Rotation, radians, 0 = person upright in the picture.
    pub rotation_rad: f32,
}

/// Number of points in a [`LegReading`].
pub const LEG_JOINTS: usize = 6;

/// A hip, knee or ankle as the second model reads it.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct LegPoint {
    /// Pixels from the left edge of the frame.
    pub x_px: f32,
    /// Pixels from the top edge of the frame.
    pub y_px: f32,
    /// The model's belief in the point, 0 to 1.
    pub belief: f32,
}

impl LegPoint {
    /// Its place in the picture, pixels.
    pub fn xy(&self) -> [f64; 2] {
        [f64::from(self.x_px), f64::from(self.y_px)]
    }
}

/// The legs as the second model reads them. Left and right are the skater's own.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct LegReading {
    /// Left and right hip, left and right knee, left and right ankle.
    pub points: [LegPoint; LEG_JOINTS],
}

impl LegReading {
    /// Hip, knee and ankle of the right or the left leg.
    pub fn leg(&self, right: bool) -> [LegPoint; 3] {
        [0, 2, 4].map(|left| self.points[left + usize::from(right)])
    }
}

/// How well one person's picture shows them, measured on the square that the pose
/// model reads: on the skater's own edges.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Clarity {
    /// How steep the strongest edges are, across or down, whichever is softer: what they
    /// rise over two pixels of the square as a share of what they rise over eight. Near 1
    /// for the sharpest, 0.25 for a ramp.
    pub sharpness: f32,
    /// How high the strong edges are, grey levels of 255.
    pub contrast: f32,
    /// Noise between neighbouring pixels, standard deviation in grey levels.
    pub noise: f32,
    /// The model's own belief in where shoulders, hips and legs are, mean, 0 to 1.
    pub belief: f32,
}

/// One person in one frame.
#[derive(Debug, Clone, PartialEq)]
pub struct Body {
    /// Number of the unbroken region-of-interest chain this body was found
    /// with: equal numbers in consecutive frames mean the model followed the
    /// same region. Never reused within a run.
    pub chain: u32,
    /// The 33 points in the picture, unsmoothed.
    pub points: [Landmark; POINTS],
    /// The same points in metres about the mid hip (x right, y down, z away
    /// from the camera), as the model guesses them. A hint only.
    pub world_m: [[f32; 3]; POINTS],
    /// The legs once more, as another model reads them: only around the end of
    /// the near leg's pushes.
    pub legs: Option<LegReading>,
    /// The model's belief that a person is there, 0 to 1.
    pub presence: f32,
    /// How well the picture showed them; `None` where it was not measured.
    pub clarity: Option<Clarity>,
    /// The region the points were read from.
    pub roi: Roi,
}

impl Body {
    /// The given point in the picture.
    pub fn point(&self, p: BodyPoint) -> Landmark {
        self.points[p as usize]
    }
}

/// All bodies of one frame. Given for every frame, also an empty one.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct PoseFrame {
    /// The frame's number in its source.
    pub seq: u64,
    /// Capture time of the frame, seconds on the source's clock.
    pub captured_at_s: f64,
    /// Frame width, pixels.
    pub width: u32,
    /// Frame height, pixels.
    pub height: u32,
    /// Everybody found, in no particular order.
    pub bodies: Vec<Body>,
}

/// Which landmark model reads the body.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ModelKind {
    /// The best one, at four times the work of `Full`.
    Heavy,
    /// The middle one; the default.
    #[default]
    Full,
    /// About half the work of `Full`, weakest under motion blur.
    Lite,
}

/// Left, top, right, bottom of some points.
pub fn bounds(points: &[Landmark]) -> [f32; 4] {
    points.iter().fold(
        [
            f32::INFINITY,
            f32::INFINITY,
            f32::NEG_INFINITY,
            f32::NEG_INFINITY,
        ],
        |b, p| {
            [
                b[0].min(p.x_px),
                b[1].min(p.y_px),
                b[2].max(p.x_px),
                b[3].max(p.y_px),
            ]
        },
    )
}

/// What two boxes share: left, top, right and bottom come first in each.
pub fn shared_area(a: &[f32], b: &[f32]) -> f32 {
    let width = (a[2].min(b[2]) - a[0].max(b[0])).max(0.0);
    let height = (a[3].min(b[3]) - a[1].max(b[1])).max(0.0);
    width * height
}
