//! Body points of a whole recording as a file, so that a pass can be cut and
//! judged again without running the model.

use serde::{Deserialize, Serialize};

use super::{Body, Clarity, LEG_JOINTS, Landmark, LegPoint, LegReading, POINTS, PoseFrame, Roi};

/// One frame of a trace. Numbers are rounded to a hundredth of a pixel and a
/// millimetre, far below what the model can tell.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TraceFrame {
    seq: u64,
    t_s: f64,
    size_px: [u32; 2],
    bodies: Vec<TraceBody>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct TraceBody {
    chain: u32,
    presence: f32,
    roi: Roi,
    /// x, y, z in pixels and visibility, point by point.
    points: Vec<[f32; 4]>,
    world_m: Vec<[f32; 3]>,
    /// x, y in pixels and belief, point by point.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    legs: Option<[[f32; 3]; LEG_JOINTS]>,
    /// Sharpness, contrast, noise, belief.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    clarity: Option<[f32; 4]>,
}

impl From<&PoseFrame> for TraceFrame {
    fn from(f: &PoseFrame) -> Self {
        TraceFrame {
            seq: f.seq,
            t_s: f.captured_at_s,
            size_px: [f.width, f.height],
            bodies: f.bodies.iter().map(TraceBody::from).collect(),
        }
    }
}

impl From<&Body> for TraceBody {
    fn from(b: &Body) -> Self {
        let cut = |v: f32, steps: f32| (v * steps).round() / steps;
        TraceBody {
            chain: b.chain,
            presence: cut(b.presence, 1000.0),
            roi: b.roi,
            points: b
                .points
                .iter()
                .map(|p| {
                    [
                        cut(p.x_px, 100.0),
                        cut(p.y_px, 100.0),
                        cut(p.z_px, 10.0),
                        cut(p.visibility, 1000.0),
                    ]
                })
                .collect(),
            world_m: b
                .world_m
                .iter()
                .map(|w| w.map(|v| cut(v, 1000.0)))
                .collect(),
            clarity: b.clarity.map(|c| {
                [
                    cut(c.sharpness, 1000.0),
                    cut(c.contrast, 10.0),
                    cut(c.noise, 100.0),
                    cut(c.belief, 1000.0),
                ]
            }),
            legs: b.legs.map(|legs| {
                legs.points.map(|p| {
                    [
                        cut(p.x_px, 100.0),
                        cut(p.y_px, 100.0),
                        cut(p.belief, 1000.0),
                    ]
                })
            }),
        }
    }
}

impl TraceFrame {
    /// The frame as the pose module gave it. Bodies with another number of
    /// points are left out.
    pub fn to_frame(&self) -> PoseFrame {
        PoseFrame {
            seq: self.seq,
            captured_at_s: self.t_s,
            width: self.size_px[0],
            height: self.size_px[1],
            bodies: self.bodies.iter().filter_map(TraceBody::to_body).collect(),
        }
    }
}

impl TraceBody {
    fn to_body(&self) -> Option<Body> {
        let points: [[f32; 4]; POINTS] = self.points.clone().try_into().ok()?;
        Some(Body {
            chain: self.chain,
            presence: self.presence,
            roi: self.roi,
            points: points.map(|[x_px, y_px, z_px, visibility]| Landmark {
                x_px,
                y_px,
                z_px,
                visibility,
            }),
            world_m: self.world_m.clone().try_into().ok()?,
            clarity: self
                .clarity
                .map(|[sharpness, contrast, noise, belief]| Clarity {
                    sharpness,
                    contrast,
                    noise,
                    belief,
                }),
            legs: self.legs.map(|points| LegReading {
                points: points.map(|[x_px, y_px, belief]| LegPoint { x_px, y_px, belief }),
            }),
        })
    }
}
