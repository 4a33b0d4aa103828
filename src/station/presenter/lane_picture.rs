//! Small pictures of the lane, for the panel and for 'show me'.
//!
//! Takes: a frame and who was found in it.
//! Gives: it at half size, with every face that was found made unreadable where that is
//! wanted.
//! Fails: never; where faces are to be unreadable and nobody was found there is no picture.

use std::sync::Arc;

use crate::body::bounds;
use crate::capture::Frame;
use crate::display::PreviewImage;
use crate::pose::BodyPoint as P;
use crate::pose::{Body, PoseFrame};

use super::replay_buffer::Part;

/// What belongs to a body around the box of its points, in heights of the
/// box: skates, stick hand, hair, and what the points are off in motion.
const MARGIN: f32 = 0.15;
/// Pictures are halved, but never smaller than this nor larger than that,
/// pixels on their longest side.
const SIDE: (u32, u32) = (640, 960);

/// A picture of the lane, small, as the presenter takes it.
#[derive(Debug, Clone)]
pub struct LanePicture {
    /// Capture time, seconds on the source's clock.
    pub captured_at_s: f64,
    /// Size of the camera's frames, pixels.
    pub frame_px: [u32; 2],
    /// The picture.
    pub picture: Arc<PreviewImage>,
    /// Who was found in the frame.
    pub bodies: Vec<Body>,
    /// Faces that are readable in the picture: centre and radius, its pixels.
    pub readable_faces: Vec<([f32; 2], f32)>,
}

/// A frame as the presenter takes it. `None` as for [`small_picture`].
pub fn lane_picture(frame: &Frame, poses: &PoseFrame, blur_faces: bool) -> Option<LanePicture> {
    let picture = small_picture(frame, poses, blur_faces)?;
    Some(LanePicture {
        captured_at_s: frame.captured_at_s,
        frame_px: [frame.width, frame.height],
        readable_faces: if blur_faces {
            Vec::new()
        } else {
            faces(frame, poses, picture.size().0)
        },
        picture: Arc::new(picture),
        bodies: poses.bodies.clone(),
    })
}

/// A frame made small, with every face that was found made unreadable where
/// that is wanted. `None` then also for a frame in which nobody was found:
/// somebody may be in it all the same.
pub(super) fn small_picture(
    frame: &Frame,
    poses: &PoseFrame,
    blur_faces: bool,
) -> Option<PreviewImage> {
    if blur_faces && poses.bodies.is_empty() {
        return None;
    }
    let side = (frame.width.max(frame.height) / 2).clamp(SIDE.0, SIDE.1);
    let mut picture = PreviewImage::from_rgb(frame.width, frame.height, &frame.rgb, side)?;
    if blur_faces {
        for (centre, radius) in faces(frame, poses, picture.size().0) {
            picture.blur_disc(centre, radius);
        }
    }
    Some(picture)
}

/// The faces of everybody found, for a picture of this width: centre and
/// radius, its pixels.
pub(super) fn faces(frame: &Frame, poses: &PoseFrame, width_px: u32) -> Vec<([f32; 2], f32)> {
    let scale = width_px as f32 / frame.width.max(1) as f32;
    let of = |body: &Body| {
        let (centre, radius) = face(body);
        (centre.map(|c| c * scale), radius * scale)
    };
    poses.bodies.iter().map(of).collect()
}

/// Where the head of a body is: centre and radius, pixels. Wide on purpose:
/// the body points are a few pixels off in motion.
fn face(body: &Body) -> ([f32; 2], f32) {
    let at = |p: P| [body.point(p).x_px, body.point(p).y_px];
    let points = [P::Nose, P::LeftEye, P::RightEye, P::LeftEar, P::RightEar].map(at);
    let mean = |axis: usize| points.iter().map(|p| p[axis]).sum::<f32>() / points.len() as f32;
    let centre = [mean(0), mean(1)];
    let away = |p: [f32; 2]| (p[0] - centre[0]).hypot(p[1] - centre[1]);
    let spread = points.into_iter().map(away).fold(0.0, f32::max);
    let shoulders = (away(at(P::LeftShoulder)) + away(at(P::RightShoulder))) / 2.0;
    (centre, (1.8 * spread).max(0.65 * shoulders))
}

/// Where bodies are in a picture, with their faces and a margin, its pixels.
pub(super) fn parts(picture: &LanePicture) -> Vec<Part> {
    let scale = picture.picture.size().0 as f32 / picture.frame_px[0].max(1) as f32;
    let of = |body: &Body| {
        let ([x, y], radius) = face(body);
        let [left, top, right, bottom] = bounds(&body.points);
        let (left, top) = (left.min(x - radius), top.min(y - radius));
        let (right, bottom) = (right.max(x + radius), bottom.max(y + radius));
        let margin = MARGIN * (bottom - top);
        let wider = [left - margin, top - margin, right + margin, bottom + margin];
        Part(wider.map(|v| v * scale))
    };
    picture.bodies.iter().map(of).collect()
}
