//! How far off the numbers of a lane are that were set up by hand, and whose values
//! follow.
//!
//! One standard deviation each; a tape, a bubble level or a phone laid on the housing, and a
//! data sheet. All are common practice, no source, but where one is named.

use super::{Calibration, Gauged};

/// A tape from the ice to the middle of the lens.
pub const CAMERA_HEIGHT_SD_M: f64 = 0.02;
/// A level is read to half a degree, and the lens sits in its housing to another half.
pub const TILT_SD_DEG: f64 = 0.7;
/// A data sheet gives whole degrees, often corner to corner, and not for every size of
/// picture.
pub const HFOV_SD_DEG: f64 = 2.0;
/// The same of the sensor.
pub const ROLL_SD_DEG: f64 = 0.7;
/// A tape to the line is good to 2 cm; on which line they skate is not.
pub const LANE_DISTANCE_SD_M: f64 = 0.10;
/// Children of one year differ by 6 to 8 cm (WHO growth reference 2007, from memory): so does
/// a lane's one stature from whoever skates.
pub const SKATER_HEIGHT_SD_M: f64 = 0.07;
/// A stature that was told or measured some months ago, for this one skater.
pub const OWN_HEIGHT_SD_M: f64 = 0.02;

impl Calibration {
    /// Whether the errors of the lane's numbers are added to the doubt of a rule's value.
    ///
    /// A check with persons is made on the same lane, with the same wrong numbers: the offset
    /// of an angle that it takes off holds what they do to it, and they count once. What they do to
    /// a length grows with the length and with the distance, and is another one where the skater
    /// passes: there they are added, also after a check.
    pub fn adds_set_up(self, rule: &str) -> bool {
        let checked = Gauged::of_rule(rule).filter(|of| self.found(*of).is_some());
        checked.is_none_or(Gauged::is_length)
    }
}
