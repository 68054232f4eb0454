"""Swing of three figures over 5,400 s: `movewright check` against SciPy's DOP853, in turns in one run.

Usage: python benches/swing_peer.py PROGRAM [RUNS]   in an environment with numpy and scipy; PROGRAM is the built movewright, RUNS how often each is run (3).
Each figure makes the same moves in both: rest-to-rest quintics of its bridge and its trolley every 10 frames, 450 frames at 12 s; two are hoisted meanwhile, so that their length changes. SciPy is given the
equation of a pendulum under a moving support, L q" + 2 L' q' + 2 z w L q' + g q = -a, w = sqrt(g / L), for both directions at once, move by move, with rtol 1e-8 (the share of the swing to which a
step of the program errs). Of the program the whole command is timed, reading, compiling and every other check included; of SciPy the calls of solve_ivp alone, its peak taken at its own steps.
Printed: the least seconds of each, their ratio, and both peaks, which must agree to a thousandth (SciPy's at dense output, outside of the timing).
"""

import json
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import scipy
from scipy.integrate import solve_ivp

G, PACE, FRAMES, STEP = 9806.65, 12.0, 450, 10
# Millimetres that each figure's bridge and trolley go and that its hoist pays out, there and back.
FIGURES = [(900.0, 120.0, 0.0), (700.0, -150.0, 400.0), (800.0, 90.0, -300.0)]
LENGTH, DAMPING = 1600.0, 0.01


def written(folder):
    limits = "max_velocity = 60\nmax_acceleration = 60\nmax_jerk = 200\nmotor = \"m\"\nmicrosteps = 10\ntravel_per_rev = 20\n"
    stage = 'format = 1\nname = "Marsh"\n[motor.m]\nfull_steps_per_rev = 200\n'
    shot = f'format = 1\nname = "Reeds"\nstage = "stage.toml"\nframe_rate = "24"\nframes = [1, {FRAMES + 1}]\n'
    for i, goes in enumerate(FIGURES):
        stage += f'[[group]]\nname = "figure_{i}"\n'
        for axis in ["bridge", "trolley", "hoist"]:
            stage += f'[[group.axis]]\nname = "{axis}"\nunit = "mm"\ntravel = [-2000, 2000]\n{limits}'
        stage += '[[group.joint]]\nslide = [1, 0, 0]\nchannel = "bridge"\n[[group.joint]]\nname = "trolley"\nslide = [0, 0, 1]\nchannel = "trolley"\n'
        stage += '[[group.joint]]\nslide = [0, -1, 0]\nchannel = "hoist"\n'
        hoisted = 'length_channel = "hoist"\nlength_per_unit = 1\n' if goes[2] else ""
        stage += f'[group.swing]\njoint = "trolley"\nlength = {LENGTH}\n{hoisted}damping = {DAMPING}\n'
        for axis, far in zip(["bridge", "trolley", "hoist"], goes):
            if far:
                keys = [[1 + n * STEP, far * (n % 2)] for n in range(FRAMES // STEP + 1)]
                shot += f'[[track]]\nchannel = "figure_{i}.{axis}"\nshape = "stop_at_keys"\nkeys = {[list(k) for k in keys]}\n'
    shot += f'[[pass]]\nname = "picture"\nexposure = "moving"\nseconds_per_frame = {PACE}\nshutter = 180\n'
    (folder / "stage.toml").write_text(stage)
    (folder / "shot.toml").write_text(shot)


def peer(figure, dense=False):
    """The peak of one figure, mm, and the seconds of SciPy's calls."""
    x, z, longer = figure
    state, taken, peak, lasts = np.zeros(4), 0.0, 0.0, STEP * PACE
    for n in range(FRAMES // STEP):
        way, base = (1.0 if n % 2 == 0 else -1.0), LENGTH + (longer if n % 2 else 0.0)

        def length(t, way=way, base=base):
            u = t / lasts
            return base + way * longer * u**3 * (10 - 15 * u + 6 * u * u), way * longer * 30 * u * u * (1 - u) ** 2 / lasts

        def rhs(t, y, way=way):
            u = t / lasts
            a = way * 60 * u * (1 - u) * (1 - 2 * u) / (lasts * lasts)
            l, l1 = length(t)
            k = (2 * l1 + 2 * DAMPING * (G * l) ** 0.5) / l
            return [y[2], y[3], -k * y[2] - (G * y[0] + x * a) / l, -k * y[3] - (G * y[1] + z * a) / l]

        begin = time.perf_counter()
        found = solve_ivp(rhs, (0.0, lasts), state, method="DOP853", rtol=1e-8, atol=1e-14, dense_output=dense)
        taken += time.perf_counter() - begin
        at = np.linspace(0.0, lasts, 20001) if dense else found.t
        y = found.sol(at) if dense else found.y
        peak = max(peak, float(np.max(length(at)[0] * np.hypot(y[0], y[1]))))
        state = found.y[:, -1]
    return peak, taken


def main():
    program, runs = str(Path(sys.argv[1]).resolve()), int(sys.argv[2]) if len(sys.argv) > 2 else 3
    with tempfile.TemporaryDirectory() as folder:
        written(Path(folder))
        ours, theirs = [], []
        for _ in range(runs):
            begin = time.perf_counter()
            out = subprocess.run([program, "check", "shot.toml", "--json"], cwd=folder, capture_output=True, check=False)
            ours.append(time.perf_counter() - begin)
            theirs.append(sum(peer(f)[1] for f in FIGURES))
    if out.returncode:
        sys.exit(out.stderr.decode() + out.stdout.decode()[:3000])
    swings = json.loads(out.stdout)["passes"][0]["swing"]
    for i, (figure, found) in enumerate(zip(FIGURES, swings)):
        dense = peer(figure, dense=True)[0]
        print(f"figure {i}: peak {found['peak_mm']:.6f} mm, SciPy {dense:.6f} mm")
        if not abs(found["peak_mm"] - dense) <= 1e-3 * dense:
            sys.exit("the peaks are not the same")
    print(f"SciPy {scipy.__version__}: {min(theirs):.3f} s; movewright check, everything included: {min(ours):.4f} s; ratio {min(theirs) / min(ours):.1f}")


main()
