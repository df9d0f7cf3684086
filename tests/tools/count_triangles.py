"""Counts the triangles that trimesh finds in each file given, with every use by a node: {file: count or null}.
Null: trimesh does not read the file."""

import json
import logging
import sys

import trimesh

logging.disable(logging.CRITICAL)
counts = {}
for path in sys.argv[1:]:
    try:
        scene = trimesh.load_scene(path, process=False)
        uses = [scene.graph[node][1] for node in scene.graph.nodes_geometry]
        faces = [scene.geometry[name] for name in uses]
        counts[path] = sum(len(mesh.faces) for mesh in faces if hasattr(mesh, "faces"))
    except Exception:  # noqa: BLE001 - whatever it is, this reader can't say how many
        counts[path] = None
json.dump(counts, sys.stdout)
