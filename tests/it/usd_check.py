"""Reads scene.usda of an output folder with usd-core (PyPI) and holds it to the tables beside it: `python usd_check.py FOLDER`.

What: the layer opens, every validator of UsdGeom and Usd that is there passes; every body stands at every time code where camera.csv and bodies.csv have it; a camera has their focal length,
film back, focus and stop; and the ends of the rods, seen through the frustum that GfCamera makes of the prim, fall on the undistorted pixels of PASS.rods.csv at the middles of exposures.
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


poses = 0
for kind, name in (("camera", "camera.csv"), ("body", "bodies.csv")):
    for row in rows(name):
        prim = stage.GetPrimAtPath(f"/stage/{row[kind]}")
        time = float(row.get("frame_time") or row["frame"])
        about = f"{row[kind]} at {time}"
        matrix = UsdGeom.Xformable(prim).GetLocalTransformation(time)
        for at, axis in zip(matrix.ExtractTranslation(), "xyz"):
            near(at, 100 * float(row[f"{axis}_m"]), 1.1e-7, f"{about}: {axis}")
        turn = prim.GetAttribute("xformOp:orient").Get(time)
        found = [*turn.GetImaginary(), turn.GetReal()]
        for at, q in zip(found, ("qx", "qy", "qz", "qw")):
            near(at, float(row[q]), 1e-11, f"{about}: {q}")
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

pixels = 0
sizes = {row["camera"]: (float(row["pixels_across"]), float(row["pixels_down"])) for row in rows("camera.csv")}
for row in rows("picture.rods.csv"):
    if row["instant"] != "middle" or row["cut"] or not row["x1"]:
        continue
    time = float(row["frame"])
    rods = UsdGeom.BasisCurves(stage.GetPrimAtPath(f"/stage/{row['group']}/rods"))
    points = rods.GetPointsAttr().Get()
    place = UsdGeom.Xformable(rods.GetPrim()).ComputeLocalToWorldTransform(time)
    frustum = UsdGeom.Camera(stage.GetPrimAtPath(f"/stage/{row['camera']}")).GetCamera(time).frustum
    seen = frustum.ComputeViewMatrix() * frustum.ComputeProjectionMatrix()
    across, down = sizes[row["camera"]]
    for end in (1, 2):
        at = seen.Transform(place.Transform(Gf.Vec3d(*points[2 * (int(row["rod"]) - 1) + end - 1])))
        near((at[0] + 1) / 2 * across, float(row[f"undistorted_x{end}"]), 0.01, f"{row}")
        near((1 - at[1]) / 2 * down, float(row[f"undistorted_y{end}"]), 0.01, f"{row}")
        pixels += 1
assert pixels > 0
print(f"{poses} poses, {pixels} ends of rods")
