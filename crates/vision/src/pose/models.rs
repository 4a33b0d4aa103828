//! The model files: their names, their hashes, and loading them.

use std::path::Path;

use sha2::{Digest, Sha256};

use super::body::{LEG_JOINTS, ModelKind};
use super::error::PoseError;
use super::legs;

/// One model file and the shapes of its tensors.
#[derive(Debug, Clone, Copy)]
pub struct ModelFile {
    /// Short name used in messages.
    pub name: &'static str,
    /// File name inside the `models` folder.
    pub file: &'static str,
    /// SHA-256 of the file, lower-case hex.
    pub sha256: &'static str,
    /// Side of the square RGB input, pixels. The input is `[1, 3, side, side]`.
    pub input_side: usize,
    /// Output names and their lengths (product of the shape).
    pub outputs: &'static [(&'static str, usize)],
}

const LANDMARK_OUTPUTS: &[(&str, usize)] = &[
    ("landmarks", 195),
    ("presence", 1),
    ("heatmap", 64 * 64 * 39),
    ("world", 117),
];

/// The person detector.
pub const DETECTION: ModelFile = ModelFile {
    name: "pose_detection",
    file: "pose_detection_f16w.onnx",
    sha256: "efe7664e2082dbcfe11f10be3eb2b0e7b1b18857fa6eb8782d215c671bf0dca5",
    input_side: 224,
    outputs: &[("boxes", 2254 * 12), ("scores", 2254)],
};

/// The heavy landmark model.
pub const LANDMARK_HEAVY: ModelFile = ModelFile {
    name: "pose_landmark_heavy",
    file: "pose_landmark_heavy_f16w.onnx",
    sha256: "cf09f274cae8724c2129b15092c6345f372dbc771b9ee70315315528abb3040c",
    input_side: 256,
    outputs: LANDMARK_OUTPUTS,
};

/// The full landmark model.
pub const LANDMARK_FULL: ModelFile = ModelFile {
    name: "pose_landmark_full",
    file: "pose_landmark_full_f16w.onnx",
    sha256: "9ab4d6fa4c3894c99c8a8a47b2232d07d1edc542d6c2ed68884bc558991b013b",
    input_side: 256,
    outputs: LANDMARK_OUTPUTS,
};

/// The lite landmark model.
pub const LANDMARK_LITE: ModelFile = ModelFile {
    name: "pose_landmark_lite",
    file: "pose_landmark_lite_f16w.onnx",
    sha256: "3a0c162fcc7e4250f67ed8bdf9f1847fc064c8e14f97de624b4617759d1c0f01",
    input_side: 256,
    outputs: LANDMARK_OUTPUTS,
};

/// The second reader of the legs.
pub const LEGS: ModelFile = ModelFile {
    name: "legs_lightning",
    file: "legs_lightning_f16w.onnx",
    sha256: "503b9ea9c9423c21ecfc5fd7a0df2c88590121431397f2d1794a5cf33484b728",
    input_side: legs::SIDE,
    outputs: &[
        ("heat", LEG_JOINTS * legs::CELLS * legs::CELLS),
        ("centre", legs::CELLS * legs::CELLS),
        ("from_centre", 2 * LEG_JOINTS * legs::CELLS * legs::CELLS),
        ("offsets", 2 * LEG_JOINTS * legs::CELLS * legs::CELLS),
    ],
};

/// Every model file the program comes with.
pub const SHIPPED_MODELS: [ModelFile; 5] = [
    DETECTION,
    LANDMARK_FULL,
    LANDMARK_HEAVY,
    LANDMARK_LITE,
    LEGS,
];

impl ModelFile {
    /// The file of a landmark model.
    pub fn of(kind: ModelKind) -> &'static ModelFile {
        match kind {
            ModelKind::Heavy => &LANDMARK_HEAVY,
            ModelKind::Full => &LANDMARK_FULL,
            ModelKind::Lite => &LANDMARK_LITE,
        }
    }

    /// Reads the file from `home/models` and checks its hash.
    ///
    /// # Errors
    /// [`PoseError::ModelUnreadable`] or [`PoseError::ModelAltered`].
    pub fn load(&self, home: &Path) -> Result<Vec<u8>, PoseError> {
        let path = home.join("models").join(self.file);
        let bytes = match std::fs::read(&path) {
            Ok(bytes) => bytes,
            Err(source) => return Err(PoseError::ModelUnreadable { path, source }),
        };
        let found = hex(&Sha256::digest(&bytes));
        if found != self.sha256 {
            return Err(PoseError::ModelAltered {
                path,
                expected: self.sha256,
                found,
            });
        }
        Ok(bytes)
    }
}

fn hex(bytes: &[u8]) -> String {
    use std::fmt::Write;
    bytes.iter().fold(String::new(), |mut s, b| {
        // Writing to a String cannot fail.
        let _ = write!(s, "{b:02x}");
        s
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_shipped_models_are_the_expected_ones() {
        let home = Path::new(env!("CARGO_MANIFEST_DIR")).join("../..");
        for model in SHIPPED_MODELS {
            model.load(&home).expect("shipped model");
        }
    }

    #[test]
    fn an_altered_and_a_missing_model_are_named() {
        let home = tempfile::tempdir().expect("temporary folder");
        let models = home.path().join("models");
        std::fs::create_dir(&models).expect("folder");
        let missing = DETECTION
            .load(home.path())
            .expect_err("missing")
            .to_string();
        assert!(missing.contains("pose_detection_f16w.onnx"), "{missing}");
        assert!(missing.contains("put the file back"), "{missing}");

        let source = Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("../../models")
            .join(DETECTION.file);
        let mut bytes = std::fs::read(source).expect("shipped model");
        bytes[1000] ^= 1; // one bit
        std::fs::write(models.join(DETECTION.file), bytes).expect("write");
        let altered = DETECTION
            .load(home.path())
            .expect_err("altered")
            .to_string();
        assert!(
            altered.contains(DETECTION.sha256) && altered.contains("original file"),
            "{altered}"
        );
    }
}
