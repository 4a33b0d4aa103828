//! Frames in: a live camera, a video file, a folder of images.
//!
//! Takes: a [`SourceSpec`].
//! Gives: [`Frame`]s with their capture time, either pulled one by one
//! ([`open`], or [`open_ahead`] with its decoder on a thread of its own,
//! for review; in parts that need nothing of each other, [`open_in_parts`]) or from a thread where the newest wins
//! ([`Feed`], for the live station and the demo).
//! Fails: opening answers with a [`CaptureError`] that names the thing and
//! the remedy. A running [`Feed`] never ends because of a fault: it shows the
//! state, counts, and tries again.
//!
//! Only this module knows nokhwa, openh264 and the JPEG decoder.

mod ahead;
mod camera;
mod color;
mod error;
mod feed;
mod folder;
mod frame;
mod source;
mod spare;
mod video;

pub use ahead::{open_ahead, read_ahead};
pub use camera::{CameraInfo, CameraMode, list_cameras, read_camera_jpeg};
pub use error::CaptureError;
pub use feed::{Feed, FeedClock, FeedState, FeedStatus, Pace, Taken, Waker};
pub use frame::Frame;
pub use source::{
    CameraFormat, CameraRequest, FOLDER_FPS, Source, SourceInfo, SourceKind, SourceSpec, open,
    open_in_parts,
};
pub use video::Parts;
