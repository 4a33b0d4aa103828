#!/usr/bin/env python3
"""Converts the second reader of the legs to ONNX. Called by convert.sh.

    convert_legs.py MODEL-WITHOUT-ENDING OUT_DIR

From the TensorFlow.js model (movenet_to_onnx.py):
1. cut off the front, which takes whole numbers of 0 to 255 with the channels last: the program gives -1 to 1 in planes.
2. cut off the end, in which the points are picked out of the maps: indexing that the built-in engine does not know, and that
   `crates/vision/src/pose/legs.rs` does in a few lines. The end's constants are held against what is written there.
3. leave out what the maps say of the other eleven points.
4. name the outputs, simplify, store the weights as 16-bit floats as convert.py does.
"""
import pathlib
import subprocess
import sys

import numpy as np
import onnx
from convert import finish, rename
from onnx import numpy_helper

NAME = "legs_lightning"
CELLS = 48
POINTS, LEGS = 17, 6
CALL = "StatefulPartitionedCall/"
OUTPUTS = {
    CALL + "Sigmoid:0": "heat",
    CALL + "Sigmoid_1:0": "centre",
    CALL + "kpt_regress_0/conv2d_6/BiasAdd:0": "from_centre",
    CALL + "kpt_offset_0/conv2d_7/BiasAdd:0": "offsets",
}
# What a cell's heat is divided by: its distance from where the point is expected, in cells, plus this.
SOFTENED_BY = 1.8


def check_end(graph):
    """The constants of the end that is cut off are those of crates/vision/src/pose/legs.rs."""
    constants = {i.name: numpy_helper.to_array(i) for i in graph.initializer}
    row, column = np.mgrid[:CELLS, :CELLS]
    weights = 1.0 / (np.hypot(row - CELLS / 2, column - CELLS / 2) + SOFTENED_BY)
    found = constants["ConstantFolding/StatefulPartitionedCall/truediv_2_recip:0"].reshape(CELLS, CELLS)
    assert np.allclose(found, weights, rtol=2e-3), "the middle is weighed otherwise"
    assert abs(constants[CALL + "add_5/y:0"] - SOFTENED_BY) < 1e-3
    assert np.allclose(constants[CALL + "Reshape_13:0"], 1 / CELLS, rtol=1e-3)


def legs_only(graph):
    """Cuts the last convolutions down to hips, knees and ankles, the last six of 17 points."""
    tensors = {i.name: i for i in graph.initializer}
    by_output = {n.output[0]: n for n in graph.node}
    for name in ("heat", "from_centre", "offsets"):
        node = by_output[name]
        while node.op_type != "Conv":
            node = by_output[node.input[0]]
        for tensor in (tensors[i] for i in node.input[1:]):
            value = numpy_helper.to_array(tensor)
            each = len(value) // POINTS
            assert each * POINTS == len(value), name
            tensor.CopyFrom(numpy_helper.from_array(value[each * (POINTS - LEGS):].copy(), tensor.name))
    del graph.value_info[:]
    for value in graph.output:
        channels = value.type.tensor_type.shape.dim[1]
        if channels.dim_value % POINTS == 0:
            channels.dim_value = channels.dim_value // POINTS * LEGS


def main(source, out_dir):
    out = pathlib.Path(out_dir)
    work = out / "tmp"
    work.mkdir(parents=True, exist_ok=True)
    raw = work / f"{NAME}_raw.onnx"
    script = pathlib.Path(__file__).with_name("movenet_to_onnx.py")
    subprocess.check_call([sys.executable, str(script), source, str(raw)])
    model = onnx.load(raw)
    check_end(model.graph)
    first = next(n for n in model.graph.node if n.op_type == "Transpose").output[0]
    model = onnx.utils.Extractor(model).extract_model([first], list(OUTPUTS))
    rename(model, {first: "input", **OUTPUTS})
    legs_only(model.graph)
    finish(model, out, NAME, overwrite_input_shapes={"input": [1, 3, 4 * CELLS, 4 * CELLS]})


if __name__ == "__main__":
    main(*sys.argv[1:])
