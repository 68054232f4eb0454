"""Writes pendulum.csv: pendulums under a moving support, integrated by SciPy's DOP853 from rest.

In an environment of its own: pip install scipy numpy; python pendulum.py > pendulum.csv
In each direction L q" + 2 L' q' + 2 z w L q' + g q = -a with w = sqrt(g / L); lengths in mm, g = 9806.65 mm/s2.
The support makes rest-to-rest quintics along x and z, one after the other, of the table MOVES; so does the length. Columns: case, then seconds, then L q in
both directions, mm, at the ends of the moves and between.
"""

import numpy as np
import scipy
from scipy.integrate import solve_ivp

G = 9806.65
# Seconds, mm along x, mm along z, mm of length: each move from rest to rest.
MOVES = [(3.0, 40.0, 0.0, 0.0), (0.2, 0.3, -0.5, 0.0), (5.0, 0.0, 25.0, -300.0), (11.0, -60.0, 10.0, 0.0), (2.5, 0.0, 0.0, 450.0), (20.0, 5.0, 0.0, 0.0)]
CASES = [(1600.0, 0.0), (1600.0, 0.01), (700.0, 0.02), (2500.0, 0.2)]


def step(u):
    """The quintic from 0 to 1 with its two derivatives."""
    return u**3 * (10 - 15 * u + 6 * u * u), 30 * u * u * (1 - u) ** 2, 60 * u * (1 - u) * (1 - 2 * u)


print(f"# SciPy {scipy.__version__}, solve_ivp, DOP853, rtol 1e-13, atol 1e-16; written by pendulum.py")
print("case,seconds,x_mm,z_mm")
for case, (length, damping) in enumerate(CASES):
    state, begin, base = np.zeros(4), 0.0, length
    for lasts, x, z, longer in MOVES:

        def rhs(t, y, lasts=lasts, x=x, z=z, longer=longer, base=base):
            s, v, a = step(t / lasts)
            l, l1 = base + longer * s, longer * v / lasts
            k = (2 * l1 + 2 * damping * np.sqrt(G * l)) / l
            ax, az = x * a / lasts**2, z * a / lasts**2
            return [y[2], y[3], -k * y[2] - (G * y[0] + ax) / l, -k * y[3] - (G * y[1] + az) / l]

        at = np.linspace(0.0, lasts, 5)[1:]
        found = solve_ivp(rhs, (0.0, lasts), state, method="DOP853", rtol=1e-13, atol=1e-16, t_eval=at)
        for t, y in zip(at, found.y.T):
            l = base + longer * step(t / lasts)[0]
            print(",".join(repr(float(n)) for n in (case, begin + t, l * y[0], l * y[1])))
        state, begin, base = found.y[:, -1], begin + lasts, base + longer
