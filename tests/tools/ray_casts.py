"""What trimesh hits from above: arguments are a mesh file and a JSON list of places [x, z]. Prints for each place the height and the unit
normal of the highest hit of a face that looks up, or null."""

import json
import logging
import sys

import numpy
import trimesh

logging.disable(logging.CRITICAL)
mesh = trimesh.load(sys.argv[1], process=False, force="mesh")
places = numpy.array(json.load(open(sys.argv[2])), dtype=float)
top = float(mesh.bounds[1][1]) + 1.0
origins = numpy.column_stack([places[:, 0], numpy.full(len(places), top), places[:, 1]])
down = numpy.tile([0.0, -1.0, 0.0], (len(places), 1))
hits, rays, faces = mesh.ray.intersects_location(origins, down, multiple_hits=True)
answers = [None] * len(places)
for hit, ray, face in zip(hits, rays, faces):
    normal = mesh.face_normals[face]
    best = answers[ray]
    if normal[1] > 0 and (best is None or hit[1] > best[0]):
        answers[ray] = [float(hit[1]), *(float(n) for n in normal)]
json.dump(answers, sys.stdout)
