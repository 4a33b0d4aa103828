//! How long the shutter of a camera is open.
//!
//! nokhwa asks a device for all of its controls at once and gives none where
//! it does not know the kind of one of them, so the two that matter here are
//! asked of the driver by themselves, before the stream is opened.

use std::path::Path;

use v4l::Device;
use v4l::control::Value;

/// Linux kernel, V4L2 "Camera Control Reference": who sets the exposure
/// (1 by hand, 2 the time by hand and the aperture by the camera).
const EXPOSURE_AUTO: u32 = 0x009a_0901;
/// The same page: the exposure time, in steps of 100 microseconds.
const EXPOSURE_ABSOLUTE: u32 = 0x009a_0902;
const STEP_S: f64 = 100e-6;

/// The exposure time, seconds, where it is set by hand. `None` where the
/// camera chooses it itself (many then go on to tell the last one that was set
/// by hand) or does not tell it.
pub(super) fn open_s(node: &Path) -> Option<f64> {
    let device = Device::with_path(node).ok()?;
    let whole = |id| match device.control(id).ok()?.value {
        Value::Integer(value) => Some(value),
        _ => None,
    };
    if !matches!(whole(EXPOSURE_AUTO)?, 1 | 2) {
        return None;
    }
    let steps = whole(EXPOSURE_ABSOLUTE)?;
    (steps > 0).then_some(steps as f64 * STEP_S)
}
