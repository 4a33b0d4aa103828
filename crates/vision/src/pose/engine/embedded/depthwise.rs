//! Depthwise convolution for tract, faster on small planes and with strides.
//!
//! In these models nearly half of tract's time went into depthwise
//! convolutions: its own code does strides above one and the rim of every
//! plane point by point, and here most planes are rim (down to 2 x 2). This
//! one copies each channel into a plane with zeros around it, one plane for
//! each remainder of the stride, so that every tap is one fixed distance in
//! memory over the whole channel, rim and line ends included. What comes out
//! between two lines is left behind. The sums are made in the same order as
//! tract's: bias first, then tap by tap.

use fearless_simd::{Level, Simd, WithSimd};
use tract_onnx::tract_core::internal::*;
use tract_onnx::tract_core::ops::binary::TypedBinOp;
use tract_onnx::tract_core::ops::cnn::{Conv, KernelFormat};
use tract_onnx::tract_core::ops::nn::DataFormat;

/// Values summed side by side; enough independent sums to keep the adders
/// busy.
const LANES: usize = 32;

/// A depthwise convolution of one picture, then limits. Inputs: the picture
/// `[1,] c, h, w`; the kernel `c, 1, k, k`; the bias `c`.
#[derive(Debug, Clone, Hash, PartialEq, Eq)]
pub(super) struct Depthwise {
    channels: usize,
    input_hw: [usize; 2],
    output_hw: [usize; 2],
    output_shape: TVec<usize>,
    kernel: usize,
    stride: usize,
    /// Zeros above and left.
    before: [usize; 2],
    /// Bits of the least and the greatest value let through.
    limits: [u32; 2],
}

impl Depthwise {
    /// The convolution of a node, where it is one of this kind.
    fn of(model: &TypedModel, node: &TypedNode) -> TractResult<Option<Self>> {
        let Some(conv) = node.op_as::<Conv>() else {
            return Ok(None);
        };
        let pool = &conv.pool_spec;
        let channels = pool.input_channels;
        let facts = model.node_input_facts(node.id)?;
        let fits = conv.group == channels
            && pool.output_channels == channels
            && conv.q_params.is_none()
            && conv.kernel_fmt == KernelFormat::OIHW
            && matches!(pool.data_format, DataFormat::NCHW | DataFormat::CHW)
            && pool.dilations().iter().all(|d| *d == 1)
            && facts.len() == 3
            && facts.iter().all(|f| f.datum_type == f32::datum_type())
            && facts[2].shape.volume() == channels.to_dim();
        let (Some(input), Some(output)) = (
            facts[0].shape.as_concrete(),
            node.outputs[0].fact.shape.as_concrete(),
        ) else {
            return Ok(None);
        };
        let (&[kernel, kernel_w], strides) = (&*pool.kernel_shape, pool.strides()) else {
            return Ok(None);
        };
        if !fits || kernel != kernel_w || strides[0] != strides[1] || strides[0] > 2 {
            return Ok(None);
        }
        let hw = |shape: &[usize]| {
            let (front, hw) = shape.split_last_chunk::<2>()?;
            let one = front.iter().product::<usize>() == channels;
            one.then_some(*hw)
        };
        let (Some(input_hw), Some(output_hw)) = (hw(input), hw(output)) else {
            return Ok(None);
        };
        let padding = pool.computed_padding(&input_hw);
        Ok(Some(Self {
            channels,
            input_hw,
            output_hw,
            output_shape: output.into(),
            kernel,
            stride: strides[0],
            before: [padding[0].pad_before, padding[1].pad_before],
            limits: [f32::NEG_INFINITY.to_bits(), f32::INFINITY.to_bits()],
        }))
    }

    /// Height and width of a plane that holds one remainder of the stride.
    fn plane(&self) -> [usize; 2] {
        let more = (self.kernel - 1) / self.stride;
        self.output_hw.map(|n| n + more)
    }

    /// All channels. `kernel` and `bias` are as the inputs of the operation.
    #[inline(always)]
    fn run(&self, input: &[f32], kernel: &[f32], bias: &[f32], output: &mut [f32]) {
        let [height, width] = self.plane();
        let [out_h, out_w] = self.output_hw;
        let (k, s) = (self.kernel, self.stride);
        let limits = self.limits.map(f32::from_bits);
        // From the first to the last output, line ends in between included.
        let long = ((out_h - 1) * width + out_w).next_multiple_of(LANES);
        let mut planes = vec![0.0f32; s * s * height * width + LANES];
        let mut sums = vec![0.0f32; long];
        let offsets: Vec<usize> = (0..k * k)
            .map(|tap| (tap / k, tap % k))
            .map(|(y, x)| {
                let plane = (y % s) * s + x % s;
                plane * height * width + (y / s) * width + x / s
            })
            .collect();
        let area = |[h, w]: [usize; 2]| h * w;
        let channels = input
            .chunks_exact(area(self.input_hw))
            .zip(output.chunks_exact_mut(area(self.output_hw)))
            .zip(kernel.chunks_exact(k * k).zip(bias));
        for ((input, output), (taps, &bias)) in channels {
            self.spread(input, &mut planes);
            for (block, out) in sums.as_chunks_mut::<LANES>().0.iter_mut().enumerate() {
                let from = &planes[block * LANES..];
                let mut sum = [bias; LANES];
                for (&tap, &offset) in taps.iter().zip(&offsets) {
                    let Some(values) = from.get(offset..).and_then(|v| v.first_chunk::<LANES>())
                    else {
                        continue;
                    };
                    for (sum, value) in sum.iter_mut().zip(values) {
                        *sum += tap * value;
                    }
                }
                for (out, value) in out.iter_mut().zip(sum) {
                    *out = value.max(limits[0]).min(limits[1]);
                }
            }
            for (out, line) in output.chunks_exact_mut(out_w).zip(sums.chunks(width)) {
                out.copy_from_slice(&line[..out_w]);
            }
        }
    }

    /// Copies a channel into its planes; the zeros around it stay.
    #[inline(always)]
    fn spread(&self, input: &[f32], planes: &mut [f32]) {
        let [height, width] = self.plane();
        let s = self.stride;
        for (y, row) in input.chunks_exact(self.input_hw[1]).enumerate() {
            let y = y + self.before[0];
            if y / s >= height {
                // Below the last tap.
                break;
            }
            let line = ((y % s) * s * height + y / s) * width;
            if s == 1 {
                let len = row.len().min(width - self.before[1]);
                planes[line + self.before[1]..][..len].copy_from_slice(&row[..len]);
                continue;
            }
            for first in 0..s.min(row.len()) {
                let x = first + self.before[1];
                let into = &mut planes[line + (x % s) * height * width..][x / s..width];
                for (out, value) in into.iter_mut().zip(row[first..].iter().step_by(s)) {
                    *out = *value;
                }
            }
        }
    }
}

/// All there is to compute, so that the loops can be compiled once for every
/// width of vectors; the widest this machine has is taken.
struct Wide<'a> {
    op: &'a Depthwise,
    input: &'a [f32],
    kernel: &'a [f32],
    bias: &'a [f32],
    output: &'a mut [f32],
}

impl Wide<'_> {
    fn compute(self) {
        Level::new().dispatch(self);
    }
}

impl WithSimd for Wide<'_> {
    type Output = ();

    // A closure here is called, not inlined, and then keeps the narrow vectors.
    #[inline(always)]
    fn with_simd<S: Simd>(self, _: S) {
        self.op.run(self.input, self.kernel, self.bias, self.output);
    }
}

impl Op for Depthwise {
    fn name(&self) -> StaticName {
        "KickplateDepthwise".into()
    }

    op_as_typed_op!();
}

impl EvalOp for Depthwise {
    op_out_of_plan!();

    fn eval(&self, _ctx: &EvalContext, inputs: TVec<TValue>) -> TractResult<TVec<TValue>> {
        let (input, kernel, bias) = args_3!(inputs);
        let (input, kernel, bias) = (
            input.try_as_plain_ram()?,
            kernel.try_as_plain_ram()?,
            bias.try_as_plain_ram()?,
        );
        let (input, kernel, bias) = (
            input.as_slice::<f32>()?,
            kernel.as_slice::<f32>()?,
            bias.as_slice::<f32>()?,
        );
        let mut output = Tensor::zero::<f32>(&self.output_shape)?;
        let mut view = output.try_as_plain_ram_mut()?;
        let out = view.as_slice_mut::<f32>()?;
        Wide {
            op: self,
            input,
            kernel,
            bias,
            output: out,
        }
        .compute();
        Ok(tvec!(output.into_tvalue()))
    }
}

impl TypedOp for Depthwise {
    fn output_facts(&self, inputs: &[&TypedFact]) -> TractResult<TVec<TypedFact>> {
        ensure!(inputs.len() == 3 && inputs[2].shape.volume() == self.channels.to_dim());
        Ok(tvec!(f32::fact(&self.output_shape)))
    }

    as_op!();
}

/// Puts the operation in the place of every convolution of its kind, and takes
/// the limits that follow one into it.
pub(super) fn replace(model: &mut TypedModel) -> TractResult<()> {
    for id in 0..model.nodes.len() {
        let node = model.node(id);
        let Some(mut op) = Depthwise::of(model, node)? else {
            continue;
        };
        let (mut last, mut limits) = (node, [f32::NEG_INFINITY, f32::INFINITY]);
        for (k, name) in ["Max", "Min"].into_iter().enumerate() {
            let Some((next, value)) = limit_behind(model, last, name)? else {
                break;
            };
            (last, limits[k]) = (next, value);
        }
        op.limits = limits.map(f32::to_bits);
        let mut patch = TypedModelPatch::default();
        let inputs = patch.taps(model, &node.inputs)?;
        let out = patch.wire_node(&node.name, op, &inputs)?;
        patch.shunt_outside(model, last.id.into(), out[0])?;
        patch.apply(model)?;
    }
    Ok(())
}

/// The one node behind another, where it is the operation `name` with a single
/// number; and the number.
fn limit_behind<'a>(
    model: &'a TypedModel,
    node: &TypedNode,
    name: &str,
) -> TractResult<Option<(&'a TypedNode, f32)>> {
    if model.outputs.iter().any(|o| o.node == node.id) {
        return Ok(None);
    }
    let Some(next) = model.single_succ(node.id)? else {
        return Ok(None);
    };
    let same = next.outputs[0].fact.shape == node.outputs[0].fact.shape;
    if !same
        || next
            .op_as::<TypedBinOp>()
            .is_none_or(|op| op.0.name() != name)
    {
        return Ok(None);
    }
    for input in next.inputs.iter().filter(|i| i.node != node.id) {
        let number = model.outlet_fact(*input)?.konst.clone();
        if let Some(number) = number.filter(|n| n.len() == 1) {
            let values = number.try_as_plain_ram()?;
            if let Ok([value]) = values.as_slice::<f32>() {
                return Ok(Some((next, *value)));
            }
        }
    }
    Ok(None)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The sum of the definition, point by point.
    fn plain(op: &Depthwise, input: &[f32], kernel: &[f32], bias: &[f32]) -> Vec<f32> {
        let [h, w] = op.input_hw;
        let [out_h, out_w] = op.output_hw;
        let (k, s) = (op.kernel, op.stride);
        let mut out = Vec::new();
        for c in 0..op.channels {
            for at in 0..out_h * out_w {
                let mut sum = bias[c];
                for tap in 0..k * k {
                    let y = ((at / out_w) * s + tap / k).checked_sub(op.before[0]);
                    let x = ((at % out_w) * s + tap % k).checked_sub(op.before[1]);
                    if let (Some(y), Some(x)) = (y, x)
                        && y < h
                        && x < w
                    {
                        sum += kernel[c * k * k + tap] * input[(c * h + y) * w + x];
                    }
                }
                out.push(sum.clamp(f32::from_bits(op.limits[0]), f32::from_bits(op.limits[1])));
            }
        }
        out
    }

    /// Every shape of the models and some that are not in them, against the
    /// definition, to the bit.
    #[test]
    fn it_is_the_convolution_of_the_definition() {
        let mut state = 3u32;
        let mut random = |n: usize| -> Vec<f32> {
            let mut one = || {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                (state >> 8) as f32 / (1 << 23) as f32 - 1.0
            };
            (0..n).map(|_| one()).collect()
        };
        for [h, w] in [
            [1, 1],
            [2, 2],
            [4, 4],
            [7, 8],
            [8, 8],
            [14, 13],
            [32, 32],
            [65, 33],
        ] {
            for (kernel, stride, before, after) in [
                (3, 1, 1, 1),
                (5, 1, 2, 2),
                (3, 2, 1, 1),
                (3, 2, 0, 1),
                (5, 2, 2, 2),
                (5, 2, 1, 2),
                (1, 1, 0, 0),
            ] {
                let out = |n: usize| {
                    (n + before + after)
                        .checked_sub(kernel)
                        .map(|n| n / stride + 1)
                };
                let (Some(out_h), Some(out_w)) = (out(h), out(w)) else {
                    continue;
                };
                let op = Depthwise {
                    channels: 3,
                    input_hw: [h, w],
                    output_hw: [out_h, out_w],
                    output_shape: tvec!(3, out_h, out_w),
                    kernel,
                    stride,
                    before: [before; 2],
                    limits: [(-0.4f32).to_bits(), 0.9f32.to_bits()],
                };
                let (input, taps, bias) =
                    (random(3 * h * w), random(3 * kernel * kernel), random(3));
                let mut found = vec![f32::NAN; 3 * out_h * out_w];
                Wide {
                    op: &op,
                    input: &input,
                    kernel: &taps,
                    bias: &bias,
                    output: &mut found,
                }
                .compute();
                assert_eq!(found, plain(&op, &input, &taps, &bias), "{op:?}");
            }
        }
    }
}
