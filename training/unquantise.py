"""Lets the neural voices' model run fast: its 8-bit convolutions in float32, same numbers.

usage: unquantise.py IN.onnx OUT.onnx

ConvInteger(x, w, x0, w0) becomes int32(Conv(float(x) - float(x0), float(w) - float(w0))). Some
processors run the former many times slower.
"""
import sys

import numpy as np
import onnx
from onnx import helper, numpy_helper

m = onnx.load(sys.argv[1])
held = {t.name: numpy_helper.to_array(t) for t in m.graph.initializer}
for n in m.graph.node:
    if n.op_type == "Constant":
        held[n.output[0]] = numpy_helper.to_array(n.attribute[0].t) if n.attribute[0].HasField("t") else None
nodes, count = [], 0
for n in m.graph.node:
    if n.op_type != "ConvInteger":
        nodes.append(n)
        continue
    x, w, x0 = n.input[0], held[n.input[1]].astype(np.float32), n.input[2] if len(n.input) > 2 else ""
    if len(n.input) > 3 and n.input[3]:
        w0 = held[n.input[3]].astype(np.float32)
        w = w - (w0.reshape(-1, *[1] * (w.ndim - 1)) if w0.ndim else w0)
    name = n.output[0]
    m.graph.initializer.append(numpy_helper.from_array(w, name + "_w"))
    nodes.append(helper.make_node("Cast", [x], [name + "_x"], to=onnx.TensorProto.FLOAT))
    value = name + "_x"
    if x0:
        nodes.append(helper.make_node("Cast", [x0], [name + "_z"], to=onnx.TensorProto.FLOAT))
        nodes.append(helper.make_node("Sub", [name + "_x", name + "_z"], [name + "_d"]))
        value = name + "_d"
    conv = helper.make_node("Conv", [value, name + "_w"], [name + "_f"])
    conv.attribute.extend(n.attribute)
    nodes += [conv, helper.make_node("Round", [name + "_f"], [name + "_r"]), helper.make_node("Cast", [name + "_r"], [name], to=onnx.TensorProto.INT32)]
    count += 1
del m.graph.node[:]
m.graph.node.extend(nodes)
del m.graph.value_info[:]
onnx.save(m, sys.argv[2])
print(count, "convolutions")
