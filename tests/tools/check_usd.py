"""Opens USDA files with OpenUSD and prints what it finds, a JSON object a file in one list: what the registered validators say, and of each
PointInstancer what they don't look at (lengths, targets, extents, ids, faces, materials)."""

import json
import math
import os
import sys

import numpy as np
from pxr import Gf, Usd, UsdGeom, UsdLux, UsdShade, UsdValidation

registry = UsdValidation.ValidationRegistry()
validators = registry.GetOrLoadAllValidators()
now = Usd.TimeCode.Default()


def check(path):
    stage = Usd.Stage.Open(path)
    said = UsdValidation.ValidationContext(validators).Validate(stage)
    found = {
        "validators": len(validators),
        "errors": [f"{e.GetName()}: {e.GetMessage()}" for e in said],
        "meters_per_unit": UsdGeom.GetStageMetersPerUnit(stage),
        "up": str(UsdGeom.GetStageUpAxis(stage)),
        "default_prim": str(stage.GetDefaultPrim().GetPath()),
        "instancers": [],
        "meshes": 0,
        "loose_prototypes": 0,
        "cameras": [],
        "lights": [],
        "textures": [],
        "faults": [],
    }
    cache = UsdGeom.XformCache()

    def fault(prim, what):
        found["faults"].append(f"{prim.GetPath()}: {what}")

    def check_extent(prim, authored, reckoned, slack):
        """The extent that stands there holds the one that OpenUSD reckons, and is hardly larger."""
        if not authored or len(authored) != 2:
            return fault(prim, "no extent")
        for k in range(3):
            if authored[0][k] > reckoned[0][k] + slack or authored[1][k] < reckoned[1][k] - slack:
                fault(prim, f"extent {authored} does not hold {reckoned}")
            if abs(authored[0][k] - reckoned[0][k]) > slack or abs(authored[1][k] - reckoned[1][k]) > slack:
                fault(prim, f"extent {authored} is far from {reckoned}")

    def check_textures(prim, material, count):
        """Every picture that a mesh's material reads is a file beside the stage, and the mesh says where to read it."""
        folder = os.path.realpath(os.path.dirname(path))
        for child in material.GetPrim().GetChildren():
            shader = UsdShade.Shader(child)
            if shader.GetShaderId() != "UsdUVTexture":
                continue
            asset = shader.GetInput("file").Get()
            file = os.path.realpath(asset.resolvedPath)
            if not asset.resolvedPath or not os.path.isfile(file) or not file.startswith(folder + os.sep):
                fault(prim, f"the texture {asset.path} is no file beside the stage")
                continue
            found["textures"].append({"shader": child.GetName(), "file": os.path.relpath(file, folder)})
            st = UsdGeom.PrimvarsAPI(prim).GetPrimvar("st")
            if not st or len(st.Get()) != count or st.GetInterpolation() != UsdGeom.Tokens.vertex:
                fault(prim, "it has no st for its texture")
            reader, _, _ = shader.GetInput("st").GetConnectedSource()
            if UsdShade.Shader(reader.GetPrim()).GetInput("varname").Get() != "st":
                fault(prim, "its texture is not read at st")

    for prim in stage.Traverse():
        if prim.IsA(UsdGeom.Mesh):
            found["meshes"] += 1
            mesh = UsdGeom.Mesh(prim)
            points, normals = np.asarray(mesh.GetPointsAttr().Get()), np.asarray(mesh.GetNormalsAttr().Get())
            counts, indices = np.asarray(mesh.GetFaceVertexCountsAttr().Get()), np.asarray(mesh.GetFaceVertexIndicesAttr().Get())
            if (counts != 3).any() or counts.sum() != len(indices) or indices.max() >= len(points) or indices.min() < 0:
                fault(prim, "faces and points don't fit")
                continue
            if len(normals) != len(points) or (abs(np.linalg.norm(normals, axis=1) - 1) > 1e-3).any():
                fault(prim, "normals")
                continue
            if mesh.GetNormalsInterpolation() != UsdGeom.Tokens.vertex:
                fault(prim, "normals are not a vertex's")
            color = UsdGeom.PrimvarsAPI(prim).GetPrimvar("displayColor")
            expected = 1 if color.GetInterpolation() == UsdGeom.Tokens.constant else len(points)
            if len(color.Get()) != expected:
                fault(prim, "displayColor")
            # Front faces counter-clockwise: a face looks where its normals look, for all but a few at sharp edges
            corners, around = points[indices].reshape(-1, 3, 3), normals[indices].reshape(-1, 3, 3).sum(axis=1)
            faces = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
            agree = ((faces * around).sum(axis=1) >= 0).sum()
            if agree < 0.95 * len(counts):
                fault(prim, f"{agree} of {len(counts)} faces look along their normals")
            material, _ = UsdShade.MaterialBindingAPI(prim).ComputeBoundMaterial()
            if not material:
                fault(prim, "no material")
            else:
                surface, _, _ = material.ComputeSurfaceSource()
                if not surface or surface.GetShaderId() != "UsdPreviewSurface":
                    fault(prim, "its material has no UsdPreviewSurface")
                check_textures(prim, material, len(points))
            reckoned = UsdGeom.PointBased.ComputeExtent(mesh.GetPointsAttr().Get())
            check_extent(prim, mesh.GetExtentAttr().Get(), reckoned, 1e-6 * float(abs(points).max()))
        if prim.IsA(UsdGeom.PointInstancer):
            instancer = UsdGeom.PointInstancer(prim)
            indices = instancer.GetProtoIndicesAttr().Get()
            count = len(indices)
            faults_before = len(found["faults"])
            arrays = {
                "positions": instancer.GetPositionsAttr().Get(),
                "orientations": instancer.GetOrientationsAttr().Get(),
                "orientationsf": instancer.GetOrientationsfAttr().Get(),
                "scales": instancer.GetScalesAttr().Get(),
                "ids": instancer.GetIdsAttr().Get(),
            }
            for name, array in arrays.items():
                if array is None or len(array) != count:
                    fault(prim, f"{name} has another length than protoIndices")
            targets = instancer.GetPrototypesRel().GetTargets()
            if min(indices) < 0 or max(indices) >= len(targets) or set(indices) != set(range(len(targets))):
                fault(prim, "protoIndices don't fit the prototypes")
            for target in targets:
                prototype = stage.GetPrimAtPath(target)
                if not prototype:
                    fault(prim, f"no prototype {target}")
                elif not target.HasPrefix(prim.GetPath()):
                    # Outside its instancer a prototype would be drawn for itself
                    found["loose_prototypes"] += 1
                elif not any(p.IsA(UsdGeom.Mesh) for p in Usd.PrimRange(prototype)):
                    fault(prim, f"no mesh in {target}")
            if len(set(arrays["ids"])) != count:
                fault(prim, "an id twice")
            if len(found["faults"]) > faults_before:
                # OpenUSD can't reckon with what is not whole
                continue
            transforms = instancer.ComputeInstanceTransformsAtTime(now, now)
            if len(transforms) != count:
                fault(prim, f"{len(transforms)} transforms of {count}")
            apart = abs(np.array(arrays["orientations"], dtype=np.float32) - np.array(arrays["orientationsf"])).max(initial=0)
            if apart > 1e-3:
                fault(prim, f"orientations are off by {apart}")
            reckoned = instancer.ComputeExtentAtTime(now, now)
            size = max(max(abs(v) for v in corner) for corner in reckoned)
            check_extent(prim, instancer.GetExtentAttr().Get(), reckoned, 2e-6 * size)
            found["instancers"].append(
                {
                    "path": str(prim.GetPath()),
                    "name": prim.GetDisplayName(),
                    "prototypes": len(targets),
                    "ids": [f"{i % 2**64:016x}" for i in arrays["ids"]],
                }
            )
        if prim.IsA(UsdGeom.Camera):
            camera = UsdGeom.Camera(prim).GetCamera(now)
            matrix = cache.GetLocalToWorldTransform(prim)
            found["cameras"].append(
                {
                    "name": prim.GetDisplayName(),
                    "yfov": math.radians(camera.GetFieldOfView(Gf.Camera.FOVVertical)),
                    "aspect": camera.aspectRatio,
                    "near": camera.clippingRange.min,
                    "focus": camera.focusDistance,
                    "at": list(matrix.ExtractTranslation()),
                    "looks": list(matrix.TransformDir(Gf.Vec3d(0, 0, -1))),
                    "up": list(matrix.TransformDir(Gf.Vec3d(0, 1, 0))),
                }
            )
        if prim.HasAPI(UsdLux.LightAPI):
            matrix = cache.GetLocalToWorldTransform(prim)
            found["lights"].append({"type": prim.GetTypeName(), "shines": list(matrix.TransformDir(Gf.Vec3d(0, 0, -1)))})
    return found


json.dump([check(path) for path in sys.argv[1:]], sys.stdout)
