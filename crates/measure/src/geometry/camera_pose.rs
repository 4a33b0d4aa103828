//! How the camera stands, from things in its picture whose size is known.
//!
//! Boards, a post, a marked stick, a skater who stands: anything upright whose
//! height is known, and anything on the ice whose length is known. The height
//! of the lens, its tilt and roll, and the field of view where it is not known,
//! are what explains all marks best (least squares in pixels), with the errors
//! that marks off by a pixel or two leave.

use super::camera_fit::{Model, STEP, lane_distance, middle_of, stepped};
use crate::config::{Lane, LaneErrors, PAIRS, each_pair};

/// A thing of known size in the picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Mark {
    /// Stands on the ice: its foot, its top, pixels, and its height, metres.
    Upright {
        /// Where it stands on the ice.
        bottom_px: [f64; 2],
        /// Its top.
        top_px: [f64; 2],
        /// Height above the ice, metres.
        height_m: f64,
    },
    /// Lies on the ice: its ends, pixels, and its length, metres.
    OnIce {
        /// One end.
        from_px: [f64; 2],
        /// The other end.
        to_px: [f64; 2],
        /// Length, metres.
        length_m: f64,
    },
}

impl Mark {
    /// What a mark tells, in equations.
    fn equations(&self) -> usize {
        match self {
            Mark::Upright { .. } => 2,
            Mark::OnIce { .. } => 1,
        }
    }
}

/// A value and its standard deviation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Known {
    /// The value.
    pub value: f64,
    /// One standard deviation, same unit.
    pub error: f64,
}

/// How the camera stands.
#[derive(Debug, Clone, PartialEq)]
pub struct CameraPose {
    /// Lens above the ice, metres.
    pub camera_height_m: Known,
    /// Downward tilt, degrees.
    pub tilt_deg: Known,
    /// Roll, degrees.
    pub roll_deg: Known,
    /// Horizontal field of view, degrees.
    pub hfov_deg: Known,
    /// Square distance from the lens to the lane, metres.
    pub lane_distance_m: Known,
    /// How the errors go together: of height, tilt, field of view, roll and distance the
    /// correlations, pair by pair.
    pub correlations: [f64; PAIRS],
    /// Relative error of lengths measured on the lane, one standard
    /// deviation: 0.03 is 3 %.
    pub scale_error: f64,
    /// How far the marks lie off what was found, root mean square, pixels.
    pub misfit_px: f64,
}

impl CameraPose {
    /// A lane with these numbers and their errors. How far a skater's stature is from the
    /// lane's, and who skates, the marks do not tell.
    #[must_use]
    pub fn on(&self, lane: &Lane) -> Lane {
        let known = [
            self.camera_height_m,
            self.tilt_deg,
            self.hfov_deg,
            self.roll_deg,
            self.lane_distance_m,
        ];
        let [height, tilt, hfov, roll, distance] = known.map(|k| k.value);
        Lane {
            camera_height_m: height,
            tilt_deg: tilt,
            hfov_deg: hfov,
            roll_deg: roll,
            lane_distance_m: distance,
            errors: LaneErrors {
                skater_height_sd_m: lane.errors.skater_height_sd_m,
                ..LaneErrors::found(known, self.correlations)
            },
            ..lane.clone()
        }
    }
}

/// Why the stand cannot be found.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum CameraPoseError {
    /// Too few marks.
    #[error("the marks do not say enough yet: add {}", wanting(*.missing))]
    TooFew {
        /// Equations that are missing; an upright thing gives two, a length
        /// on the ice one.
        missing: usize,
    },
    /// The line of the lane is not marked.
    #[error("mark at least two points of the line that the skaters follow, on the ice")]
    NoLane,
    /// The marks do not determine the camera.
    #[error(
        "the marks leave the camera's stand open: put them further apart, some near and some far"
    )]
    Undetermined,
    /// The marks fit, and hardly say one of the numbers.
    #[error(
        "the marks leave the {what} open ({value} ± {error}): add something of known size nearer to the lane{}",
        if *.angle_known { "" } else { ", or say the camera's angle of view where its data sheet gives it" }
    )]
    Open {
        /// Which number.
        what: &'static str,
        /// Its value, with its unit.
        value: String,
        /// One standard deviation, with its unit.
        error: String,
        /// Whether the field of view was given.
        angle_known: bool,
    },
    /// The marks contradict each other.
    #[error(
        "the marks lie {misfit_px:.0} pixels off any possible camera: check their pixels and sizes"
    )]
    Contradiction {
        /// Root mean square misfit, pixels.
        misfit_px: f64,
    },
}

fn wanting(missing: usize) -> &'static str {
    match missing {
        0 | 1 => {
            "one more length on the ice, or one more upright thing of known height (boards, a stick, a skater)"
        }
        2 => {
            "one more upright thing of known height (boards, a stick, a skater), or two lengths on the ice"
        }
        _ => "two more upright things of known height (boards, a stick, a skater)",
    }
}

/// A stand is of no use when one standard deviation of it is larger than
/// this: lengths as a share of their value, angles in degrees. Distance and
/// angle of view make up for each other, so that lengths on the lane can be
/// right while both are loose; tilt and height make up for nothing.
const OPEN_HEIGHT: f64 = 0.15;
const OPEN_DISTANCE: f64 = 0.35;
const OPEN_TILT_DEG: f64 = 2.0;
const OPEN_HFOV_DEG: f64 = 20.0;
/// A lane that runs under the lens has no distance to take a share of, metres.
const LEAST_LANE_M: f64 = 2.0;

/// Refuses what is so uncertain that it would only look like a result.
fn nothing_open(stand: &CameraPose, angle_known: bool) -> Result<(), CameraPoseError> {
    let metres = |v: f64| format!("{v:.1} m");
    let degrees = |v: f64| format!("{v:.1}°");
    type Write<'a> = &'a dyn Fn(f64) -> String;
    let all: [(bool, &'static str, &Known, Write); 4] = [
        (
            stand.camera_height_m.error <= OPEN_HEIGHT * stand.camera_height_m.value,
            "height of the camera",
            &stand.camera_height_m,
            &metres,
        ),
        (
            stand.lane_distance_m.error
                <= OPEN_DISTANCE * stand.lane_distance_m.value.max(LEAST_LANE_M),
            "distance of the lane",
            &stand.lane_distance_m,
            &metres,
        ),
        (
            stand.tilt_deg.error <= OPEN_TILT_DEG,
            "tilt of the camera",
            &stand.tilt_deg,
            &degrees,
        ),
        (
            stand.hfov_deg.error <= OPEN_HFOV_DEG,
            "angle of view",
            &stand.hfov_deg,
            &degrees,
        ),
    ];
    for (good, what, known, write) in all {
        // Also where the error is no number.
        if !good {
            return Err(CameraPoseError::Open {
                what,
                value: write(known.value),
                error: write(known.error),
                angle_known,
            });
        }
    }
    Ok(())
}

/// Beyond this misfit the marks are taken to be wrong, pixels.
const LARGEST_MISFIT_PX: f64 = 15.0;

/// Finds how the camera stands.
///
/// `lane` gives the picture's side of it (view, travel, stature) and the
/// field of view, which is kept when `hfov_known`, with the error the lane gives it. Where
/// nothing upright is marked the camera counts as level, with the error the lane gives its
/// roll. The lane's other numbers are not used. `lane_px` are points of the line the skaters follow, on the ice.
/// `mark_error_px` is how well a mark is placed, one standard deviation.
///
/// # Errors
/// [`CameraPoseError`]; each says what to add or to check.
pub fn solve_camera_pose(
    lane: &Lane,
    size_px: [u32; 2],
    marks: &[Mark],
    lane_px: &[[f64; 2]],
    hfov_known: bool,
    mark_error_px: f64,
) -> Result<CameraPose, CameraPoseError> {
    let upright = marks.iter().any(|m| matches!(m, Mark::Upright { .. }));
    // Only upright things tell the roll.
    let mut free = vec![0, 1];
    free.extend(upright.then_some(2));
    free.extend((!hfov_known).then_some(3));
    let given: usize = marks.iter().map(Mark::equations).sum();
    if given < free.len() {
        return Err(CameraPoseError::TooFew {
            missing: free.len() - given,
        });
    }
    if lane_px.len() < 2 {
        return Err(CameraPoseError::NoLane);
    }
    let model = Model {
        lane,
        size_px,
        marks,
    };
    let best = model.best_start(&free);
    let found = model.refine(best, &free);
    let residuals = model.residuals(&found);
    let sum2: f64 = residuals.iter().map(|r| r * r).sum();
    let misfit_px = (sum2 / residuals.len() as f64).sqrt();
    if misfit_px.is_nan() || misfit_px > LARGEST_MISFIT_PX {
        return Err(CameraPoseError::Contradiction { misfit_px });
    }
    let spare = (residuals.len() - free.len()).max(1) as f64;
    let sigma_px = mark_error_px.max(if residuals.len() > free.len() {
        (sum2 / spare).sqrt()
    } else {
        0.0
    });
    // Without anything upright the camera is taken to stand level, as somebody levels it.
    let errors = lane.all_errors();
    let held = [
        0.0,
        0.0,
        errors.roll_sd_deg.unwrap_or(0.0),
        errors.hfov_sd_deg.unwrap_or(0.0),
    ];
    let covariance = model
        .covariance(&found, &free, sigma_px, &held)
        .ok_or(CameraPoseError::Undetermined)?;
    let gradient = |quantity: &dyn Fn(&[f64; 4]) -> Option<f64>| -> Option<[f64; 4]> {
        let mut gradient = [0.0; 4];
        for (k, slope) in gradient.iter_mut().enumerate() {
            let (up, down) = (stepped(&found, k, STEP[k]), stepped(&found, k, -STEP[k]));
            *slope = (quantity(&up)? - quantity(&down)?) / (2.0 * STEP[k]);
        }
        Some(gradient)
    };
    let together = |a: &[f64; 4], b: &[f64; 4]| -> f64 {
        let pairs = (0..4).flat_map(|i| (0..4).map(move |k| (i, k)));
        pairs.map(|(i, k)| a[i] * b[k] * covariance[i][k]).sum()
    };
    let error = |of: &[f64; 4]| together(of, of).max(0.0).sqrt();
    let lane_of = |p: &[f64; 4]| lane_distance(&model.camera(p), lane_px);
    let lane_distance_m = lane_of(&found).ok_or(CameraPoseError::NoLane)?;
    // In the order of a lane's keys: height, tilt, field of view, roll, distance.
    let one = |k: usize| std::array::from_fn(|i| f64::from(u8::from(i == k)));
    let distance = gradient(&lane_of).ok_or(CameraPoseError::NoLane)?;
    let gradients = [one(0), one(1), one(3), one(2), distance];
    let values = [found[0], found[1], found[3], found[2], lane_distance_m];
    let [
        camera_height_m,
        tilt_deg,
        hfov_deg,
        roll_deg,
        lane_distance_m,
    ] = std::array::from_fn(|i| Known {
        value: values[i],
        error: error(&gradients[i]),
    });
    let mut correlations = [0.0; PAIRS];
    for (r, (i, k)) in correlations.iter_mut().zip(each_pair()) {
        let scale = error(&gradients[i]) * error(&gradients[k]);
        if scale > 0.0 {
            *r = (together(&gradients[i], &gradients[k]) / scale).clamp(-1.0, 1.0);
        }
    }
    // A pixel at the lane is worth lane distance over focal length.
    let metres_per_px = |p: &[f64; 4]| {
        let camera = model.camera(p);
        let at = middle_of(&camera, lane_px)?;
        Some(camera.depth_m([at[0], at[1], 0.5 * lane.skater_height_m]) / camera.focal_px)
    };
    let scale = metres_per_px(&found).zip(gradient(&metres_per_px));
    let (scale, slopes) = scale.ok_or(CameraPoseError::NoLane)?;
    let stand = CameraPose {
        camera_height_m,
        tilt_deg,
        roll_deg,
        hfov_deg,
        lane_distance_m,
        correlations,
        scale_error: error(&slopes) / scale,
        misfit_px,
    };
    nothing_open(&stand, hfov_known)?;
    Ok(stand)
}

#[cfg(test)]
#[path = "camera_pose_tests.rs"]
mod tests;
