//! ONNX Runtime through `ort`, loaded from a shared library at run time.

use std::path::{Path, PathBuf};
use std::sync::Mutex;

use ort::environment::Environment;
use ort::session::Session;
use ort::session::builder::GraphOptimizationLevel;
use ort::value::TensorRef;

use super::super::error::PoseError;
use super::super::models::ModelFile;
use super::{Engine, output_buffers, store_output};

const NAME: &str = "ONNX Runtime";

/// `ort` keeps one library and one environment per process for ever: the
/// first that loads stays. Held here so that a second estimator shares it and
/// is told the file that is truly in use.
static LOADED: Mutex<Option<Library>> = Mutex::new(None);

/// A loaded ONNX Runtime library.
#[derive(Clone)]
pub(super) struct Library {
    path: PathBuf,
    environment: Environment,
}

impl Library {
    /// Loads the library, or answers with the one already loaded.
    ///
    /// The error is one clause that names the file.
    pub(super) fn open(path: &Path) -> Result<Self, String> {
        // A path the loader cannot find would be searched for elsewhere.
        if !path.is_file() {
            return Err(format!("there is no file {}", path.display()));
        }
        let path = path
            .canonicalize()
            .map_err(|e| format!("{}: {e}", path.display()))?;
        let mut loaded = LOADED
            .lock()
            .unwrap_or_else(|poisoned| poisoned.into_inner());
        if let Some(library) = &*loaded {
            return Ok(library.clone());
        }
        let environment = ort::init_from(&path)
            .map_err(|e| e.to_string())?
            .with_name("kickplate")
            .with_telemetry(false)
            .build()
            .map_err(|e| format!("{}: {e}", path.display()))?;
        if let Err(why) = super::arena::share(&environment) {
            tracing::warn!("each model keeps working memory of its own: {why}");
        }
        let library = Self { path, environment };
        *loaded = Some(library.clone());
        Ok(library)
    }

    pub(super) fn path(&self) -> &Path {
        &self.path
    }

    /// The release number at the end of the file's name (as in
    /// `libonnxruntime.so.1.24.4`), else what the library says of its build:
    /// the build text itself holds no release number.
    pub(super) fn version(&self) -> String {
        let name = self.path.file_name().unwrap_or_default().to_string_lossy();
        match name.split_once(".so.") {
            Some((_, version)) => version.to_owned(),
            None => ort::info().to_owned(),
        }
    }

    pub(super) fn load(
        &self,
        model: &'static ModelFile,
        bytes: &[u8],
        threads: usize,
    ) -> Result<NativeModel, PoseError> {
        let refused = |why: String| PoseError::ModelRefused {
            engine: NAME,
            model: model.name,
            why,
        };
        // No spinning: a spinning pool takes the core the picture and the
        // sound need. The points are the same with any number of threads
        // (`docs/speed.md`).
        let session = Session::builder(&self.environment)
            .map_err(|e| refused(e.to_string()))?
            .with_intra_threads(threads)
            .map_err(|e| refused(e.to_string()))?
            .with_intra_op_spinning(false)
            .map_err(|e| refused(e.to_string()))?
            .with_inter_op_spinning(false)
            .map_err(|e| refused(e.to_string()))?
            // Weights outside of the arena, whose blocks double in size, and
            // no plan of one large block for what lies between two layers:
            // 19 MB less for both models at the same speed.
            .with_device_allocated_initializers()
            .map_err(|e| refused(e.to_string()))?
            .with_memory_pattern(false)
            .map_err(|e| refused(e.to_string()))?
            .with_env_allocators()
            .map_err(|e| refused(e.to_string()))?
            .with_optimization_level(GraphOptimizationLevel::All)
            .map_err(|e| refused(e.to_string()))?
            .commit_from_memory(bytes)
            .map_err(|e| refused(e.to_string()))?;
        for (name, _) in model.outputs {
            if !session.outputs().iter().any(|o| o.name() == *name) {
                return Err(refused(format!("it has no output `{name}`")));
            }
        }
        Ok(NativeModel {
            model,
            session,
            outputs: output_buffers(model),
        })
    }
}

/// A model in ONNX Runtime.
pub(super) struct NativeModel {
    model: &'static ModelFile,
    session: Session,
    outputs: Vec<Vec<f32>>,
}

impl Engine for NativeModel {
    fn run(&mut self, input: &[f32]) -> Result<(), PoseError> {
        let failed = |e: ort::Error| PoseError::Inference {
            engine: NAME,
            why: e.to_string(),
        };
        let side = self.model.input_side;
        let view = TensorRef::from_array_view(([1usize, 3, side, side], input)).map_err(failed)?;
        let results = self
            .session
            .run(ort::inputs!["input" => view])
            .map_err(failed)?;
        for ((name, _), buffer) in self.model.outputs.iter().zip(&mut self.outputs) {
            let value = results.get(name).ok_or_else(|| PoseError::Inference {
                engine: NAME,
                why: format!("output `{name}` is missing"),
            })?;
            let (_, values) = value.try_extract_tensor::<f32>().map_err(failed)?;
            store_output(NAME, name, values, buffer)?;
        }
        Ok(())
    }

    fn output(&self, index: usize) -> &[f32] {
        self.outputs.get(index).map_or(&[], Vec::as_slice)
    }
}
