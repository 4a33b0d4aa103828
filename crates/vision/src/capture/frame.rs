//! One picture and when it was taken.

/// One picture from a source.
#[derive(Debug, Clone, PartialEq)]
pub struct Frame {
    /// Position in the source, counted from 0. Gaps are frames the source
    /// itself lost; frames overwritten on the way to the pose model are
    /// counted by the slot.
    pub seq: u64,
    /// Capture time in seconds on the source's own monotonic clock, 0 at its
    /// first frame. Everything measured uses this and never the wall clock.
    pub captured_at_s: f64,
    /// Width in pixels.
    pub width: u32,
    /// Height in pixels.
    pub height: u32,
    /// Rows of RGB, 8 bits each, top-left first, `width * height * 3` bytes.
    pub rgb: Vec<u8>,
}
