//! The two inference engines behind one small trait.
//!
//! Takes: a checked model's bytes, then one `[1, 3, side, side]` input a run.
//! Gives: its outputs by name, in buffers that are reused.
//! Fails: a library or model that cannot be loaded, as [`PoseError`].

mod arena;
mod embedded;
mod native;

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::error::PoseError;
use super::models::ModelFile;

/// A loaded model, ready to run.
pub trait Engine: Send {
    /// Runs the model on one NCHW input of `3 * side * side` values.
    ///
    /// # Errors
    /// [`PoseError::Inference`] if the engine fails or the input has the
    /// wrong length.
    fn run(&mut self, input: &[f32]) -> Result<(), PoseError>;

    /// The output at `index` of [`ModelFile::outputs`], as of the last run;
    /// zeros before the first. Its length is the one stated there.
    fn output(&self, index: usize) -> &[f32];
}

/// Which engine the user wants.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum EngineChoice {
    /// ONNX Runtime where it is installed, else the built-in engine.
    #[default]
    Auto,
    /// ONNX Runtime or nothing.
    Native,
    /// The built-in engine.
    Embedded,
}

/// Which engine is at work.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum EngineKind {
    /// ONNX Runtime, loaded from a shared library.
    Native,
    /// The built-in engine (tract).
    Embedded,
}

/// The engine at work and why it was chosen.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct EngineInfo {
    /// The engine.
    pub kind: EngineKind,
    /// The shared library it was loaded from.
    pub library: Option<PathBuf>,
    /// Version as the engine reports it.
    pub version: String,
    /// One sentence on why this engine runs.
    pub why: String,
}

/// Environment variable that names an ONNX Runtime library file.
pub const LIBRARY_VARIABLE: &str = "KICKPLATE_ONNXRUNTIME";

/// Where the native library is looked for: the file named by
/// [`LIBRARY_VARIABLE`], else the first that is there of [`LIBRARY_PLACES`].
pub fn library_path(home: &Path) -> PathBuf {
    if let Some(path) = std::env::var_os(LIBRARY_VARIABLE).filter(|p| !p.is_empty()) {
        return PathBuf::from(path);
    }
    let places = LIBRARY_PLACES.map(|place| home.join(place));
    let there = places.iter().find(|place| place.exists());
    there.unwrap_or(&places[0]).clone()
}

/// Which engine a choice comes to on this machine.
///
/// # Errors
/// [`PoseError::NativeUnavailable`] for `Native` only.
pub fn engine_of(choice: EngineChoice, home: &Path) -> Result<EngineKind, PoseError> {
    Runtime::choose(choice, home).map(|runtime| runtime.info.kind)
}

impl EngineKind {
    /// The name used in files.
    pub fn name(self) -> &'static str {
        match self {
            EngineKind::Native => "native",
            EngineKind::Embedded => "embedded",
        }
    }
}

/// Where the native library may be, from the resources folder: in a copy of this
/// project, in an unpacked archive, where the program is installed for everybody.
const LIBRARY_PLACES: [&str; 3] = [
    ".kit/onnxruntime/libonnxruntime.so",
    "lib/libonnxruntime.so",
    "../../lib/kickplate/libonnxruntime.so",
];

/// An engine that models can be loaded into.
pub struct Runtime {
    info: EngineInfo,
    native: Option<native::Library>,
    threads: usize,
}

impl Runtime {
    /// The same engine, in which a run of a model loaded from now on may use so
    /// many threads; one unless said.
    pub fn with_threads(&self, threads: usize) -> Self {
        Self {
            info: self.info.clone(),
            native: self.native.clone(),
            threads: threads.max(1),
        }
    }

    /// Chooses an engine. `Auto` falls back to the embedded one and says why.
    ///
    /// # Errors
    /// [`PoseError::NativeUnavailable`] for `Native` only.
    pub fn choose(choice: EngineChoice, home: &Path) -> Result<Self, PoseError> {
        Self::choose_with(choice, &library_path(home))
    }

    /// The same with a given library file.
    pub(crate) fn choose_with(choice: EngineChoice, library: &Path) -> Result<Self, PoseError> {
        let embedded = |why: String| Self {
            info: EngineInfo {
                kind: EngineKind::Embedded,
                library: None,
                version: embedded::VERSION.to_owned(),
                why,
            },
            native: None,
            threads: 1,
        };
        if choice == EngineChoice::Embedded {
            return Ok(embedded("the settings ask for the built-in engine".into()));
        }
        match native::Library::open(library) {
            Ok(lib) => Ok(Self {
                info: EngineInfo {
                    kind: EngineKind::Native,
                    library: Some(lib.path().to_owned()),
                    version: lib.version(),
                    why: match choice {
                        EngineChoice::Native => "the settings ask for ONNX Runtime".into(),
                        _ => "ONNX Runtime is installed and the faster engine".into(),
                    },
                },
                native: Some(lib),
                threads: 1,
            }),
            Err(why) if choice == EngineChoice::Native => Err(PoseError::NativeUnavailable { why }),
            Err(why) => Ok(embedded(format!(
                "ONNX Runtime cannot be used ({why}); the built-in engine is slower"
            ))),
        }
    }

    /// What was chosen.
    pub fn info(&self) -> &EngineInfo {
        &self.info
    }

    /// Loads a model into the chosen engine and runs it once: the first run
    /// takes longest, and a model that cannot run is found here.
    ///
    /// # Errors
    /// [`PoseError::ModelRefused`], [`PoseError::Inference`].
    pub fn load(
        &self,
        model: &'static ModelFile,
        bytes: &[u8],
    ) -> Result<Box<dyn Engine>, PoseError> {
        let mut engine: Box<dyn Engine> = match &self.native {
            Some(lib) => Box::new(lib.load(model, bytes, self.threads)?),
            None => Box::new(embedded::EmbeddedModel::load(model, bytes)?),
        };
        let side = model.input_side;
        engine.run(&vec![0.0; 3 * side * side])?;
        Ok(engine)
    }
}

/// Zeroed buffers for a model's outputs.
fn output_buffers(model: &ModelFile) -> Vec<Vec<f32>> {
    model.outputs.iter().map(|&(_, n)| vec![0.0; n]).collect()
}

/// Copies one output into its buffer, if it has the stated length.
fn store_output(
    engine: &'static str,
    name: &str,
    values: &[f32],
    into: &mut [f32],
) -> Result<(), PoseError> {
    if values.len() != into.len() {
        return Err(PoseError::Inference {
            engine,
            why: format!(
                "output `{name}` has {} values, expected {}",
                values.len(),
                into.len()
            ),
        });
    }
    into.copy_from_slice(values);
    Ok(())
}

#[cfg(test)]
mod tests {
    /// The version is not readable from the crate, so it is written down once
    /// and held here against the lock file the program was built from.
    #[test]
    fn the_stated_version_of_the_embedded_engine_is_the_built_one() {
        let lock = include_str!("../../../../../Cargo.lock");
        let package = format!(
            "name = \"tract-onnx\"\nversion = \"{}\"\n",
            super::embedded::VERSION
        );
        assert!(lock.contains(&package));
    }
}
