"""What trimesh finds in each file given: {file: {"triangles": count with every use by a node, "bounds": [low, high] in
the scene's space} or null}. Null: trimesh does not read the file."""

import json
import logging
import sys

import trimesh

logging.disable(logging.CRITICAL)
found = {}
for path in sys.argv[1:]:
    try:
        scene = trimesh.load_scene(path, process=False)
        uses = [scene.graph[node][1] for node in scene.graph.nodes_geometry]
        faces = [scene.geometry[name] for name in uses]
        triangles = sum(len(mesh.faces) for mesh in faces if hasattr(mesh, "faces"))
        # Points and lines have bounds too, but they are not read as pieces.
        plain = all(hasattr(mesh, "faces") for mesh in faces)
        bounds = scene.bounds.tolist() if plain and scene.bounds is not None else None
        found[path] = {"triangles": triangles, "bounds": bounds}
    except Exception:  # noqa: BLE001 - whatever it is, this reader can't say what the file holds
        found[path] = None
json.dump(found, sys.stdout)
