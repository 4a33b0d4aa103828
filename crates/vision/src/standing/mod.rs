//! Whether the camera still stands where it stood when the lane was set up.
//!
//! Takes: frames of one camera in order of capture time, where bodies were found in them,
//! and, where there is one, the background of an earlier day ([`Reference`]).
//! Gives: [`Standing`], and the background that was learned, to be kept.
//! Fails: never; where the background shows too little it cannot tell, and says so.
//!
//! Pure: no I/O, no clock, no threads; time comes in with the frame.
//!
//! # How
//! Twice a second the frame becomes a small grey picture whose contrast is the same
//! everywhere, so that light does not count. The reference is a set of small squares of it
//! that have a corner in them. Each is looked for in the newest picture near its own place.
//! If enough of them are found and their shifts fit one motion of the camera, the size of
//! that motion decides. If they are not found near their places, the whole set is looked for
//! elsewhere, turned and zoomed. Only a background that is *found at another place* says that
//! the camera moved: a light, a body or a new advertisement makes squares that are not found,
//! and never that.

mod flow;
mod kept;
mod reference;
mod search;
mod small;
mod watch;

pub use kept::KeptWatch;
pub use reference::{Reference, ReferenceFault};
pub use watch::{Glance, Glances, Standing, StandingWatch};

/// A motion of more than this counts: degrees of a turn, or what shifts the picture as much.
/// A camera 1.2 m above the ice that sees somebody 6 m away puts them 10 cm nearer or farther
/// after a tilt of so much (6 m squared / 1.2 m), which is nearly 2 % of every length.
pub const MOVED_DEG: f64 = 0.2;
/// A stand that sways by 2 pixels of a picture 1280 wide is lived with, and half as much
/// again: a share of the picture's width.
pub const SWAY_SHARE: f64 = 3.0 / 1280.0;

#[cfg(test)]
mod tests;
