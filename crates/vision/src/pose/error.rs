//! What can go wrong in the pose module, in words a person can act on.

use std::path::PathBuf;

/// A fault of the pose module. Every message names the thing and the remedy.
#[derive(Debug, thiserror::Error)]
pub enum PoseError {
    /// A model file cannot be read.
    #[error(
        "the model file {} cannot be read ({source}): put the file back from the project's `models` folder",
        path.display()
    )]
    ModelUnreadable {
        /// The file that was wanted.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// A model file is not the one this program was built for.
    #[error(
        "the model file {} is not the expected one (sha256 {found}, expected {expected}): \
         put the original file back from the project's `models` folder",
        path.display()
    )]
    ModelAltered {
        /// The file.
        path: PathBuf,
        /// The hash this program was built with, hex.
        expected: &'static str,
        /// The hash of the file, hex.
        found: String,
    },
    /// ONNX Runtime was asked for and cannot be used.
    #[error(
        "ONNX Runtime cannot be used: {why}. Run `sh tools/get_onnxruntime.sh`, \
         or choose the embedded engine"
    )]
    NativeUnavailable {
        /// The reason, naming the library file.
        why: String,
    },
    /// An engine does not accept a model.
    #[error("the {engine} engine cannot load the model {model}: {why}")]
    ModelRefused {
        /// Name of the engine.
        engine: &'static str,
        /// Name of the model.
        model: &'static str,
        /// What the engine said.
        why: String,
    },
    /// An engine failed while running.
    #[error("the {engine} engine failed on a frame: {why}")]
    Inference {
        /// Name of the engine.
        engine: &'static str,
        /// What the engine said.
        why: String,
    },
    /// A frame whose buffer does not fit its stated size.
    #[error(
        "frame {seq} holds {found} bytes but {width}x{height} RGB needs {needed}: \
         the frame's source is faulty"
    )]
    FrameShape {
        /// The frame's number.
        seq: u64,
        /// Stated width, pixels.
        width: u32,
        /// Stated height, pixels.
        height: u32,
        /// Bytes found.
        found: usize,
        /// Bytes needed.
        needed: usize,
    },
}
