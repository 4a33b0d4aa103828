//! Enlarging by straight lines for tract: its own code walks an axis at a time
//! value by value.

use tract_onnx::tract_core::internal::*;
use tract_onnx::tract_core::ops::nn::resize::{AxisPlan, Interpolator, Resize};

/// Which two values of an axis a value comes from, and their weights.
#[derive(Debug, Clone, Copy, Hash, PartialEq, Eq)]
struct Mix {
    from: [usize; 2],
    /// Bits of the weights.
    weights: [u32; 2],
}

/// Enlarges the last two axes.
#[derive(Debug, Clone, Hash, PartialEq, Eq)]
pub(super) struct Upsample {
    input_hw: [usize; 2],
    output_shape: TVec<usize>,
    rows: Vec<Mix>,
    columns: Vec<Mix>,
}

impl Upsample {
    fn of(model: &TypedModel, node: &TypedNode) -> TractResult<Option<Self>> {
        let Some(resize) = node.op_as::<Resize>() else {
            return Ok(None);
        };
        let fact = model.outlet_fact(node.inputs[0])?;
        let (Some(input), Some(output)) = (
            fact.shape.as_concrete(),
            node.outputs[0].fact.shape.as_concrete(),
        ) else {
            return Ok(None);
        };
        let (Some((front, &input_hw)), Some((out_front, &output_hw))) = (
            input.split_last_chunk::<2>(),
            output.split_last_chunk::<2>(),
        ) else {
            return Ok(None);
        };
        if front != out_front
            || fact.datum_type != f32::datum_type()
            || resize.interpolator != Interpolator::Linear
        {
            return Ok(None);
        }
        let axis = |k: usize| {
            let scale = output_hw[k] as f32 / input_hw[k] as f32;
            mixes(&resize.plan_axis(scale, input_hw[k], output_hw[k]))
        };
        let (Some(rows), Some(columns)) = (axis(0), axis(1)) else {
            return Ok(None);
        };
        Ok(Some(Self {
            input_hw,
            output_shape: output.into(),
            rows,
            columns,
        }))
    }

    fn run(&self, input: &[f32], output: &mut [f32]) {
        let [height, width] = self.input_hw;
        let out_w = self.columns.len();
        let mut line = vec![0.0f32; width];
        let planes = input
            .chunks_exact(height * width)
            .zip(output.chunks_exact_mut(self.rows.len() * out_w));
        for (plane, out) in planes {
            for (mix, out) in self.rows.iter().zip(out.chunks_exact_mut(out_w)) {
                let [a, b] = mix.from.map(|row| &plane[row * width..][..width]);
                let [u, v] = mix.weights.map(f32::from_bits);
                for ((value, a), b) in line.iter_mut().zip(a).zip(b) {
                    *value = u * a + v * b;
                }
                for (out, mix) in out.iter_mut().zip(&self.columns) {
                    let [u, v] = mix.weights.map(f32::from_bits);
                    *out = u * line[mix.from[0]] + v * line[mix.from[1]];
                }
            }
        }
    }
}

/// `None` where a value comes from more than two or from none.
fn mixes(plan: &AxisPlan) -> Option<Vec<Mix>> {
    if plan.window != 2 || plan.extrapolated.contains(&true) {
        return None;
    }
    let (from, _) = plan.indices.as_chunks::<2>();
    let (weights, _) = plan.weights.as_chunks::<2>();
    Some(
        from.iter()
            .zip(weights)
            .map(|(&from, &weights)| Mix {
                from,
                weights: weights.map(f32::to_bits),
            })
            .collect(),
    )
}

impl Op for Upsample {
    fn name(&self) -> StaticName {
        "KickplateUpsample".into()
    }

    op_as_typed_op!();
}

impl EvalOp for Upsample {
    op_out_of_plan!();

    fn eval(&self, _ctx: &EvalContext, inputs: TVec<TValue>) -> TractResult<TVec<TValue>> {
        let input = args_1!(inputs);
        let input = input.try_as_plain_ram()?;
        let mut output = Tensor::zero::<f32>(&self.output_shape)?;
        self.run(
            input.as_slice::<f32>()?,
            output.try_as_plain_ram_mut()?.as_slice_mut::<f32>()?,
        );
        Ok(tvec!(output.into_tvalue()))
    }
}

impl TypedOp for Upsample {
    fn output_facts(&self, inputs: &[&TypedFact]) -> TractResult<TVec<TypedFact>> {
        ensure!(inputs.len() == 1);
        Ok(tvec!(f32::fact(&self.output_shape)))
    }

    as_op!();
}

/// Puts the operation in the place of every enlargement of its kind.
pub(super) fn replace(model: &mut TypedModel) -> TractResult<()> {
    for id in 0..model.nodes.len() {
        let node = model.node(id);
        if let Some(op) = Upsample::of(model, node)? {
            TypedModelPatch::replace_single_op(model, node, &node.inputs[..1], op)?.apply(model)?;
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Twice the size with pixel centres at halves: the weights are 1/4 and
    /// 3/4 and the edge is repeated (by hand).
    #[test]
    fn doubling_mixes_a_quarter_of_the_neighbour() {
        let mix = |a: usize, b: usize, u: f32| Mix {
            from: [a, b],
            weights: [u.to_bits(), (1.0 - u).to_bits()],
        };
        let axis = vec![
            mix(0, 0, 0.25),
            mix(0, 1, 0.75),
            mix(0, 1, 0.25),
            mix(1, 1, 0.75),
        ];
        let op = Upsample {
            input_hw: [2, 2],
            output_shape: tvec!(1, 4, 4),
            rows: axis.clone(),
            columns: axis,
        };
        let mut out = vec![0.0; 16];
        op.run(&[0.0, 4.0, 8.0, 12.0], &mut out);
        assert_eq!(
            out,
            [
                0.0, 1.0, 3.0, 4.0, //
                2.0, 3.0, 5.0, 6.0, //
                6.0, 7.0, 9.0, 10.0, //
                8.0, 9.0, 11.0, 12.0,
            ]
        );
    }
}
