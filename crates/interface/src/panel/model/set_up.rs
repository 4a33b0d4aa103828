//! What the set-up shows: places, cameras, the scale and checks with persons.

use std::path::PathBuf;

use crate::calibration::Gauged;
use crate::config::Lane;
use crate::geometry::{Known, Mark};
use crate::ruler::Difference;

/// What was held of a quantity for a check with persons.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RulerRow {
    /// The quantity.
    pub of: Gauged,
    /// How many holds count.
    pub holds: u32,
    /// Of how many persons.
    pub persons: u32,
    /// Reference and reading of the last one, degrees or metres.
    pub last: Option<[f64; 2]>,
}

/// Why a check with persons counts no more.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CheckEnded {
    /// It was made on this day, with another camera, lane, model or engine.
    MadeWithAnother(jiff::civil::Date, Difference),
    /// Its file cannot be used.
    FileUnusable,
}

/// A saved lane.
#[derive(Debug, Clone, PartialEq)]
pub struct LaneEntry {
    /// Its name, as the file is named without its ending.
    pub name: String,
    /// Its file.
    pub file: PathBuf,
    /// The camera set-up; the sentence says why it cannot be used.
    pub lane: Result<Lane, String>,
    /// Whether it is the one in use.
    pub in_use: bool,
    /// Whether it is one of the examples Kickplate comes with, unchanged: no
    /// camera stood like that here.
    pub example: bool,
}

/// The second camera on the lane.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SecondEntry {
    /// What it is called, its stable id where its name is not known.
    pub name: String,
    /// The name of its lane.
    pub lane: String,
}

/// A camera that was found.
#[derive(Debug, Clone, PartialEq)]
pub struct CameraEntry {
    /// Its stable id.
    pub id: String,
    /// What it calls itself.
    pub name: String,
    /// Width, height, pictures a second it offers, best first.
    pub modes: Vec<(u32, u32, u32)>,
    /// Whether it is the one in use.
    pub in_use: bool,
}

/// What the set-up has so far; everything [`crate::geometry::solve_camera_pose`]
/// needs.
#[derive(Debug, Clone, PartialEq)]
pub struct LaneDraft {
    /// View, travel, the skater's stature, and the field of view where it is
    /// known; the rest is found.
    pub lane: Lane,
    /// Whether the field of view stands in a data sheet.
    pub hfov_known: bool,
    /// Things of known size.
    pub marks: Vec<Mark>,
    /// Two points of the line the skaters follow, pixels of the frame.
    pub line_px: Vec<[f64; 2]>,
    /// Size of the frame the marks were made on, pixels.
    pub frame_px: [u32; 2],
}

/// Where the camera stands, with one standard deviation each.
#[derive(Debug, Clone, PartialEq)]
pub struct ScaleResult {
    /// The lane that would be saved.
    pub lane: Lane,
    /// Lens above the ice, metres.
    pub camera_height_m: Known,
    /// Downward tilt, degrees.
    pub tilt_deg: Known,
    /// Roll, degrees.
    pub roll_deg: Known,
    /// Distance to the lane, metres.
    pub lane_distance_m: Known,
    /// Error of lengths on the lane, as a share of them.
    pub length_error: f64,
    /// How far the marks lie off this camera, pixels.
    pub misfit_px: f64,
}

/// What was seen in the camera's pictures.
#[derive(Debug, Clone, PartialEq)]
pub struct PictureCheck {
    /// Mean brightness, 0 to 255.
    pub brightness: f64,
    /// Share of pixels that are white or black without detail.
    pub clipped_share: f64,
    /// Pictures a second that come in, where measured.
    pub fps: Option<f64>,
    /// How far a skater moves while the shutter is open, millimetres, where
    /// the exposure is known.
    pub blur_mm: Option<f64>,
    /// What to change, the most important first; empty when nothing.
    pub advice: Vec<PictureAdvice>,
}

/// One thing to change about the picture.
#[derive(Debug, Clone, PartialEq)]
pub struct PictureAdvice {
    /// One sentence: what is wrong, by how much, and the remedy.
    pub sentence: String,
}

/// A mark a coach has made in the picture, for the set-up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Marked {
    /// Pixels of the frame, from its left edge and its top.
    pub at_px: [f64; 2],
}
