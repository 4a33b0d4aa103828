//! The engine that is always there: tract, compiled into the program.
//!
//! Two operations that take most of tract's time in these models are replaced
//! by faster ones that give the same numbers: [`depthwise`] and [`upsample`].

mod depthwise;
mod upsample;

use std::sync::Arc;

use tract_onnx::prelude::*;

use super::super::error::PoseError;
use super::super::models::ModelFile;
use super::{Engine, output_buffers, store_output};

const NAME: &str = "embedded";

/// Version of tract; a test holds it against `Cargo.lock`.
pub(super) const VERSION: &str = "0.23.9";

/// A model in tract, optimised for its one input shape.
pub(super) struct EmbeddedModel {
    side: usize,
    plan: Arc<TypedRunnableModel>,
    model: &'static ModelFile,
    /// Reused between runs: a run borrows it and gives it back.
    input: Arc<Tensor>,
    outputs: Vec<Vec<f32>>,
}

impl EmbeddedModel {
    pub(super) fn load(model: &'static ModelFile, bytes: &[u8]) -> Result<Self, PoseError> {
        Self::try_load(model, bytes).map_err(|e| PoseError::ModelRefused {
            engine: NAME,
            model: model.name,
            why: format!("{e:#}"),
        })
    }

    fn try_load(model: &'static ModelFile, bytes: &[u8]) -> TractResult<Self> {
        let side = model.input_side;
        let shape = [1, 3, side, side];
        let mut graph = tract_onnx::onnx()
            .model_for_read(&mut std::io::Cursor::new(bytes))?
            .with_input_fact(0, f32::fact(shape).into())?;
        let names: Vec<&str> = model.outputs.iter().map(|&(name, _)| name).collect();
        graph.select_outputs_by_name(&names)?;
        let mut graph = graph.into_typed()?.into_decluttered()?;
        depthwise::replace(&mut graph)?;
        upsample::replace(&mut graph)?;
        let plan = graph.into_optimized()?.into_runnable()?;
        Ok(Self {
            side,
            plan,
            model,
            input: Arc::new(Tensor::zero::<f32>(&shape)?),
            outputs: output_buffers(model),
        })
    }

    fn try_run(&mut self, input: &[f32]) -> TractResult<TVec<TValue>> {
        if Arc::get_mut(&mut self.input).is_none() {
            // Something still holds the last input; take a fresh one.
            self.input = Arc::new(Tensor::zero::<f32>(&[1, 3, self.side, self.side])?);
        }
        if let Some(tensor) = Arc::get_mut(&mut self.input) {
            let mut view = tensor.try_as_plain_ram_mut()?;
            view.as_slice_mut::<f32>()?.copy_from_slice(input);
        }
        self.plan.run(tvec!(TValue::from_const(self.input.clone())))
    }
}

impl Engine for EmbeddedModel {
    fn run(&mut self, input: &[f32]) -> Result<(), PoseError> {
        let failed = |why: String| PoseError::Inference { engine: NAME, why };
        let needed = 3 * self.side * self.side;
        if input.len() != needed {
            return Err(failed(format!(
                "the input has {} values, expected {needed}",
                input.len()
            )));
        }
        let results = self.try_run(input).map_err(|e| failed(format!("{e:#}")))?;
        // The plan was built to give the outputs in the model's stated order.
        for (at, ((name, _), buffer)) in
            self.model.outputs.iter().zip(&mut self.outputs).enumerate()
        {
            let value = results
                .get(at)
                .ok_or_else(|| failed(format!("output `{name}` is missing")))?;
            let view = value
                .try_as_plain_ram()
                .map_err(|e| failed(format!("{e:#}")))?;
            let values = view
                .as_slice::<f32>()
                .map_err(|e| failed(format!("{e:#}")))?;
            store_output(NAME, name, values, buffer)?;
        }
        Ok(())
    }

    fn output(&self, index: usize) -> &[f32] {
        self.outputs.get(index).map_or(&[], Vec::as_slice)
    }
}
