"""Reads scene.usda of an output folder with usd-core (PyPI) and holds it to the tables beside it: `python usd_check.py FOLDER`.

What: the layer opens, every validator of UsdGeom and Usd that is there passes; every body and every limb stands at every time code where camera.csv and bodies.csv have it; a camera has their focal length,
film back, focus and stop; and the ends of rods and wires, seen through the frustum that GfCamera makes of the prim, fall on the undistorted pixels of PASS.rods.csv at the middles of exposures.
"""

import csv
import sys
from pathlib import Path

from pxr import Gf, Usd, UsdGeom, UsdValidation

folder = Path(sys.argv[1])
stage = Usd.Stage.Open(str(folder / "scene.usda"))
assert stage.GetDefaultPrim().GetName() == "stage" and UsdGeom.GetStageUpAxis(stage) == "Y"
assert UsdGeom.GetStageMetersPerUnit(stage) == 0.01

registry = UsdValidation.ValidationRegistry()
names = [m.name for m in registry.GetAllValidatorMetadata() if m.name.split(":")[0] in ("usdValidation", "usdGeomValidators", "usdUtilsValidators")]
validators = registry.GetOrLoadValidatorsByName(names)
assert len(validators) > 5, names
errors = UsdValidation.ValidationContext(validators).Validate(stage)
assert not errors, [(str(e.GetName()), e.GetMessage()) for e in errors]


def rows(name):
    path = folder / name
    return list(csv.DictReader(path.open())) if path.exists() else []


def near(found, expected, tolerance, what):
    assert abs(found - expected) <= tolerance, f"{what}: {found} {expected}"


prims = {}
for group in stage.GetDefaultPrim().GetChildren():
    prims[group.GetName()] = group
    if not group.GetName().startswith("_"):
        for limb in Usd.PrimRange(group):
            if limb != group and limb.GetTypeName() == "Xform":
                prims[f"{group.GetName()}.{limb.GetName()}"] = limb
assert len(prims) == len(set(prims.values()))

poses = 0
for kind, name in (("camera", "camera.csv"), ("body", "bodies.csv")):
    for row in rows(name):
        prim = prims[row[kind]]
        time = float(row.get("frame_time") or row["frame"])
        about = f"{row[kind]} at {time}"
        matrix = UsdGeom.Xformable(prim).ComputeLocalToWorldTransform(time)
        for at, axis in zip(matrix.ExtractTranslation(), "xyz"):
            # A limb's place went through the rounded places of all that carries it.
            near(at, 100 * float(row[f"{axis}_m"]), 1.1e-7 * len(prim.GetPath().pathString.split("/")), f"{about}: {axis}")
        turn, above = prim.GetAttribute("xformOp:orient").Get(time), prim.GetParent()
        while above.GetAttribute("xformOp:orient"):
            turn, above = above.GetAttribute("xformOp:orient").Get(time) * turn, above.GetParent()
        sign = 1 if sum(a * float(row[q]) for a, q in zip([*turn.GetImaginary(), turn.GetReal()], ("qx", "qy", "qz", "qw"))) >= 0 else -1
        assert sign == 1 or "." in row[kind], about
        found = [*turn.GetImaginary(), turn.GetReal()]
        for at, q in zip(found, ("qx", "qy", "qz", "qw")):
            near(sign * at, float(row[q]), 1e-11, f"{about}: {q}")
        if kind == "camera":
            camera = UsdGeom.Camera(prim)
            near(camera.GetFocalLengthAttr().Get(time), float(row["focal_length_mm"]), 2e-6, about)
            near(camera.GetHorizontalApertureAttr().Get(), float(row["back_width_mm"]), 2e-6, about)
            near(camera.GetVerticalApertureAttr().Get(), float(row["back_height_mm"]), 2e-6, about)
            near(camera.GetFStopAttr().Get(), float(row["f_number"] or 0), 2e-6, about)
            if row["focus_depth_m"]:
                near(camera.GetFocusDistanceAttr().Get(time) / 100, float(row["focus_depth_m"]), 2e-6, about)
        poses += 1
assert poses > 0

pixels, wires = 0, 0
sizes = {row["camera"]: (float(row["pixels_across"]), float(row["pixels_down"])) for row in rows("camera.csv")}
for row in rows("picture.rods.csv"):
    if row["instant"] != "middle" or row["cut"] or not row["x1"]:
        continue
    time = float(row["frame"])
    # Wires are counted after rods; here all rods are on bodies.
    rods = UsdGeom.BasisCurves(stage.GetPrimAtPath(f"/stage/{row['group']}/_rods"))
    number = int(row["rod"]) - 1
    count = len(rods.GetCurveVertexCountsAttr().Get())
    if number >= count:
        rods, number = UsdGeom.BasisCurves(stage.GetPrimAtPath(f"/stage/_wires/{row['group']}")), number - count
        wires += 1
    points = rods.GetPointsAttr().Get(time)
    place = UsdGeom.Xformable(rods.GetPrim()).ComputeLocalToWorldTransform(time)
    frustum = UsdGeom.Camera(stage.GetPrimAtPath(f"/stage/{row['camera']}")).GetCamera(time).frustum
    seen = frustum.ComputeViewMatrix() * frustum.ComputeProjectionMatrix()
    across, down = sizes[row["camera"]]
    for end in (1, 2):
        at = seen.Transform(place.Transform(Gf.Vec3d(*points[2 * number + end - 1])))
        near((at[0] + 1) / 2 * across, float(row[f"undistorted_x{end}"]), 0.01, f"{row}")
        near((1 - at[1]) / 2 * down, float(row[f"undistorted_y{end}"]), 0.01, f"{row}")
        pixels += 1
assert pixels > 0
print(f"{poses} poses of {len(prims)} prims, {pixels} ends of rods and wires, {wires} wires")
