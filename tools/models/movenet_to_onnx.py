#!/usr/bin/env python3
"""A TensorFlow.js graph model as ONNX:  movenet_to_onnx.py MODEL-WITHOUT-ENDING OUT.onnx

Input: 1 x 256 x 256 x 3, int32, RGB of 0 to 255. Output: 1 x 1 x 17 x 3: y and x as shares of the side, score.
"""
import json
import os
import sys

os.environ.setdefault("TF_CPP_MIN_LOG_LEVEL", "3")
import numpy as np
import tensorflow as tf
import tf2onnx
from google.protobuf import json_format
from tensorflow.core.framework import graph_pb2, node_def_pb2

TYPES = {"float32": np.float32, "int32": np.int32, "bool": np.bool_}
# What TensorFlow.js has joined, and TensorFlow has as single nodes.
JOINED = {"_FusedConv2D": "Conv2D", "FusedDepthwiseConv2dNative": "DepthwiseConv2dNative"}
OF_CONVOLUTION = ("T", "strides", "padding", "data_format", "dilations")


def weights(specs, data):
    """The weights by name; those stored in 16 bits become 32."""
    found, at = {}, 0
    for spec in specs:
        stored = TYPES[spec["dtype"]]
        if "quantization" in spec:
            assert spec["quantization"]["dtype"] == "float16", spec
            stored = np.float16
        count = int(np.prod(spec["shape"], dtype=int))
        values = np.frombuffer(data, stored, count, at)
        at += values.nbytes
        found[spec["name"]] = values.astype(TYPES[spec["dtype"]]).reshape(spec["shape"])
    assert at == len(data), "weights are left over"
    return found


def apart(node):
    """A joined convolution as one node for each of its operations."""
    names = [op.decode() for op in node.attr["fused_ops"].list.s]
    conv = node_def_pb2.NodeDef(name=node.name + "/conv" if names else node.name, op=JOINED[node.op], input=node.input[:2])
    for key in OF_CONVOLUTION:
        if key in node.attr:
            conv.attr[key].CopyFrom(node.attr[key])
    yield conv
    before = conv.name
    for k, op in enumerate(names):
        name = node.name if k == len(names) - 1 else f"{node.name}/{op}"
        one = node_def_pb2.NodeDef(name=name, op=op, input=[before] + ([node.input[2]] if op == "BiasAdd" else []))
        one.attr["T"].CopyFrom(node.attr["T"])
        yield one
        before = name


def main():
    model, out = sys.argv[1:]
    with open(model + ".json") as f:
        described = json.load(f)
    with open(model + ".bin", "rb") as f:
        values = weights(described["weightsManifest"][0]["weights"], f.read())
    graph = graph_pb2.GraphDef()
    for entry in described["modelTopology"]["node"]:
        if entry["op"] == "Const":
            entry["attr"].pop("value", None)
        node = json_format.ParseDict(entry, node_def_pb2.NodeDef(), ignore_unknown_fields=True)
        if node.op == "Const":
            tensor = tf.make_tensor_proto(values[node.name])
            node.attr["value"].tensor.CopyFrom(tensor)
            node.attr["dtype"].type = tensor.dtype
        graph.node.extend(apart(node) if node.op in JOINED else [node])
    tf2onnx.convert.from_graph_def(graph, input_names=["input:0"], output_names=["Identity:0"], opset=13, output_path=out)
    print(f"{out}: {os.path.getsize(out) / 1e6:.1f} MB")


if __name__ == "__main__":
    main()
