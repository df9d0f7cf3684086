"""Stable poses by trimesh of each body given: {name: {points, centre}} in a JSON file gives {name: [[normal, probability]]},
the normal outward in the body's frame."""

import json
import sys

import numpy
import trimesh
from trimesh.poses import compute_stable_poses

with open(sys.argv[1], encoding="utf-8") as file:
    bodies = json.load(file)
found = {}
for name, body in bodies.items():
    hull = trimesh.convex.convex_hull(numpy.array(body["points"]))
    transforms, probabilities = compute_stable_poses(hull, center_mass=numpy.array(body["centre"]))
    found[name] = [
        [(-turn[2, :3]).tolist(), float(p)] for turn, p in zip(transforms, probabilities)
    ]
json.dump(found, sys.stdout)
