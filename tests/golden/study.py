"""Golden values of `movewright study`.

Run from the top of the project, with numpy and scipy installed, and pip for the walk:

    python tests/golden/study.py

It writes small seeded recordings, fixtures/recordings/study_*.csv, and what numpy and scipy say of them, fixtures/recordings/study.json:
  drives   numpy.linalg.svd of the complete rows about their mean: rms over all coordinates and farthest marker, mm, for 1, 2, ... drives
  aligned  the first complete row as seen from the body: scipy.spatial.transform.Rotation.align_vectors (Kabsch's method) onto the first row, then three times onto the mean
Planted beside them: rank and period, the motion being sums of sines.

It also fetches the recording of a walk from the source package GaitAnalysisToolKit 0.2.0 (PyPI; its repository's licence is Apache-2.0), which is not part of this project: in mm it goes to
target/golden/walk.csv, its golden values to study.json under "walk". Where the package cannot be fetched, the old values stay.
"""
import io, json, pathlib, subprocess, sys, tarfile, tempfile
import numpy as np
from scipy.spatial.transform import Rotation

ROOT = pathlib.Path(__file__).resolve().parents[2]
OUT = ROOT / "fixtures/recordings"
WALK = "gaitanalysis/octave/2d_inverse_dynamics/test/rawdata.txt"


def drives(rows, dims):
    x = rows - rows.mean(0)
    u, s, vt = np.linalg.svd(x, full_matrices=False)
    found = []
    for n in range(1, min(x.shape[1], len(x) - 1) + 1):
        left = x - (u[:, :n] * s[:n]) @ vt[:n]
        marker = np.sqrt((left.reshape(len(x), -1, dims) ** 2).sum(2))
        found.append({"n": n, "rms_mm": float(np.sqrt((left**2).mean())), "worst_mm": float(marker.max())})
    return found


def seen_from(rows, body, dims):
    """Rows of markers (n, m, dims) as seen from the body."""
    rows = rows.copy()
    if not body:
        return rows
    reference = rows[0, body].copy()
    for turn in range(4):
        for i, row in enumerate(rows):
            a, b = row[body], reference
            ca, cb = a.mean(0), b.mean(0)
            if len(body) == 1:
                rows[i] = row - ca + cb
            elif dims == 3:
                r, _ = Rotation.align_vectors(b - cb, a - ca)
                rows[i] = r.apply(row - ca) + cb
            else:
                h = (a - ca).T @ (b - cb)
                u, _, vt = np.linalg.svd(h)
                r = vt.T @ np.diag([1, np.linalg.det(vt.T @ u.T)]) @ u.T
                rows[i] = (row - ca) @ r.T + cb
        if turn < 3:
            reference = rows[:, body].mean(0)
    return rows


def planted(seed, rank, rows, rate, noise, gaps, dims, turned):
    """A body of four markers and four on limbs; the limbs move by `rank` drives, the whole turns and wanders."""
    g = np.random.default_rng(seed)
    t = np.arange(rows) / rate + 2.0
    body = np.array([[0, 0, 0], [120, 10, 5], [20, 140, -10], [40, 60, 90]], float)[:, :dims]
    limbs = g.uniform(-200, 200, (4, dims))
    period = 1.25
    waves = np.array([np.sin(2 * np.pi * (k + 1) * t / period + p) for k, p in enumerate(g.uniform(0, 6, rank))]).T
    ways = np.linalg.qr(g.normal(size=(4 * dims, 4 * dims)))[0][:rank]
    moving = limbs.reshape(-1) + waves @ (ways * np.linspace(60, 25, rank)[:, None])
    all_ = np.concatenate([np.broadcast_to(body, (rows, 4, dims)), moving.reshape(rows, 4, dims)], 1)
    if turned:
        if dims == 3:
            angles = np.array([20 * np.sin(0.7 * t), 15 * np.sin(0.4 * t + 1), 200 * np.sin(0.3 * t)]).T
            turns = Rotation.from_euler("xyz", angles, degrees=True).as_matrix()
        else:
            a = 1.5 * np.sin(0.5 * t)
            turns = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]]).transpose(2, 0, 1)
        all_ = np.einsum("nij,nmj->nmi", turns, all_) + (300 * np.sin(0.2 * t))[:, None, None]
    all_ = all_ + noise * g.normal(size=all_.shape)
    all_ = np.round(all_, 4)
    for _ in range(gaps):
        i, m = g.integers(0, rows - 4), g.integers(0, 8)
        all_[i:i + g.integers(1, 4), m] = np.nan
    return t, all_, period


def write(path, t, rows, names):
    axes = "xyz"[: rows.shape[2]]
    lines = ["time_s," + ",".join(f"{n}.{a}" for n in names for a in axes)]
    for time, row in zip(t, rows.reshape(len(t), -1)):
        lines.append(f"{time:.4f}," + ",".join("" if np.isnan(x) else f"{x:.4f}" for x in row))
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text("\n".join(lines) + "\n")


def golden(rows, body):
    dims = rows.shape[2]
    complete = ~np.isnan(rows).any((1, 2))
    seen = seen_from(rows[complete], body, dims)
    return {"rows": len(rows), "rows_with_gaps": int((~complete).sum()), "aligned": seen[0].reshape(-1).tolist(),
            "drives": drives(seen.reshape(len(seen), -1), dims)}


NAMES = ["chest", "back", "tail", "neck", "wing_1", "wing_2", "wing_3", "wing_4"]
CASES = [  # name, seed, rank, rows, rate, noise, gaps, dims, turned, body
    ("one", 1, 1, 150, 50, 0.05, 0, 3, False, []),
    ("two", 2, 2, 150, 50, 0.5, 6, 3, True, [0, 1, 2, 3]),
    ("three", 3, 3, 200, 60, 0.2, 12, 3, True, [0, 1, 2]),
    ("four", 4, 4, 200, 60, 1.0, 20, 3, False, [0]),
    ("five", 5, 5, 200, 100, 0.1, 4, 2, True, [0, 1, 2, 3]),
    ("six", 6, 6, 300, 100, 0.3, 10, 2, True, [0, 1]),
]
known = OUT / "study.json"
all_ = {"cases": [], "walk": json.loads(known.read_text()).get("walk") if known.exists() else None}
for name, seed, rank, rows, rate, noise, gaps, dims, turned, body in CASES:
    t, recorded, period = planted(seed, rank, rows, rate, noise, gaps, dims, turned)
    write(OUT / f"study_{name}.csv", t, recorded, NAMES)
    all_["cases"].append({"name": name, "body": [NAMES[i] for i in body], "rank": rank, "period_s": period, **golden(recorded, body)})

with tempfile.TemporaryDirectory() as folder:
    call = [sys.executable, "-m", "pip", "download", "--no-deps", "--no-binary", "GaitAnalysisToolKit", "GaitAnalysisToolKit==0.2.0", "-d", folder]
    if subprocess.run(call, capture_output=True).returncode == 0:
        with tarfile.open(next(pathlib.Path(folder).glob("*.tar.gz"))) as archive:
            text = archive.extractfile(next(m for m in archive.getmembers() if m.name.endswith(WALK))).read().decode()
        table = np.genfromtxt(io.StringIO(text), skip_header=1)
        markers = 1000 * table[:, 1:13].reshape(len(table), 6, 2)
        write(ROOT / "target/golden/walk.csv", table[:, 0], markers, ["shoulder", "hip", "knee", "ankle", "heel", "toe"])
        all_["walk"] = {"body": ["hip"], **golden(np.round(markers, 4), [1])}
    else:
        print("the walk could not be fetched: its values stay", file=sys.stderr)
known.write_text(json.dumps(all_, indent=1) + "\n")
for c in all_["cases"] + [all_["walk"]]:
    print(c.get("name", "walk"), c["rows"], c["rows_with_gaps"], [round(d["rms_mm"], 3) for d in c["drives"][:7]])
