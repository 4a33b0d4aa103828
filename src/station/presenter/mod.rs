//! What is on the big screen and in the loudspeaker.

pub(in crate::station) mod pictures;
pub(in crate::station) mod replay;
pub(in crate::station) mod replay_buffer;
pub mod stage;
