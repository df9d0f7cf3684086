"""Decodes the instances of a GLB with numpy and prints their world matrices by columns: [[name, [16 numbers]], ...]."""

import json
import struct
import sys

import numpy as np

with open(sys.argv[1], "rb") as file:
    data = file.read()
magic, version, length, json_length, json_kind = struct.unpack_from("<4sIII4s", data)
assert (magic, version, length, json_kind) == (b"glTF", 2, len(data), b"JSON")
document = json.loads(data[20 : 20 + json_length])
binary = data[20 + json_length + 8 :]


def accessor(index):
    it = document["accessors"][index]
    assert it["componentType"] == 5126
    width = {"VEC3": 3, "VEC4": 4}[it["type"]]
    view = document["bufferViews"][it["bufferView"]]
    offset = view.get("byteOffset", 0) + it.get("byteOffset", 0)
    flat = np.frombuffer(binary, "<f4", it["count"] * width, offset)
    return flat.reshape(-1, width).astype(np.float64)


def local(node):
    """Translation of a node; the writer gives its nodes nothing else, apart from cameras."""
    assert not {"rotation", "scale", "matrix"} & node.keys()
    return np.array(node.get("translation", (0.0, 0.0, 0.0)))


nodes = document.get("nodes", [])
parent = {child: i for i, node in enumerate(nodes) for child in node.get("children", [])}
found = []
for i, node in enumerate(nodes):
    instancing = node.get("extensions", {}).get("EXT_mesh_gpu_instancing")
    if instancing is None:
        continue
    origin = local(node)
    at = i
    while at in parent:
        at = parent[at]
        origin = origin + local(nodes[at])
    attributes = instancing["attributes"]
    translations = accessor(attributes["TRANSLATION"]) + origin
    scales = accessor(attributes["SCALE"])
    x, y, z, w = accessor(attributes["ROTATION"]).T
    # Columns of the rotation matrix of a unit quaternion, each times its scale.
    columns = [
        (1 - 2 * (y * y + z * z), 2 * (x * y + z * w), 2 * (x * z - y * w)),
        (2 * (x * y - z * w), 1 - 2 * (x * x + z * z), 2 * (y * z + x * w)),
        (2 * (x * z + y * w), 2 * (y * z - x * w), 1 - 2 * (x * x + y * y)),
    ]
    assert len(translations) == len(x) == len(scales)
    matrices = np.zeros((len(translations), 4, 4))
    for i, column in enumerate(columns):
        matrices[:, i, :3] = np.stack(column, axis=1) * scales[:, i : i + 1]
    matrices[:, 3, :3] = translations
    matrices[:, 3, 3] = 1.0
    found += [[node["name"], matrix] for matrix in matrices.reshape(-1, 16).tolist()]
# In one piece: json.dump would write number by number.
sys.stdout.write(json.dumps(found))
