//! Geometry every later module stands on: the camera over the ice, angles,
//! filters.
//!
//! Takes: numbers. Gives: numbers. Fails: with `None` where a ray never
//! meets the ice or an angle has no size; nothing here panics on any input.
//!
//! World frame of a lane: origin on the ice straight below the lens, metres;
//! x to the right of the picture, y away from the camera along the ice,
//! z up. Pixels count from the top-left corner of the frame, x right, y down.

mod angle;
mod camera;
mod camera_fit;
mod camera_pose;
mod factor;
mod filter;
mod line;
mod parabola;

pub use angle::{included_deg, lean_from_vertical_deg};
pub use camera::Camera;
pub use camera_pose::{CameraPose, CameraPoseError, Known, Mark, solve_camera_pose};
pub use factor::factored;
pub use filter::{
    butterworth_zero_phase, lowpass_coefficients, parabola_peak, top_through, two_pass_cutoff_hz,
};
pub use line::{Line, fit_line, huber_mean, median, true_median};
pub use parabola::{Parabola, fit_parabola};
