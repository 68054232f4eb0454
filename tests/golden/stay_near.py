"""What other libraries say of the curves that stay near recordings.

Run from the top of the project, with numpy, scipy and clarabel installed:

    cargo test --release --lib stay_near::print_the_fits -- --ignored --nocapture | python tests/golden/stay_near.py

It reads seeded samples with the knots that the fit chose, and writes fixtures/recordings/curves.json:
  fitpack_knots          distinct knots of FITPACK's smoothing spline (scipy splrep, k=5) at the same worst miss: the fewest over 30 smoothing factors
  least_jerk             (seeds 0 to 9) least integral of jerk squared over our knots within the tube, by the conic solver clarabel
  missed_without_a_knot  (seeds 0 to 9) for every inner knot taken out: the least worst miss, by a linear program (scipy linprog, HiGHS), in multiples of `within`; the smallest of them
"""
import json, sys, warnings
import numpy as np
from scipy import sparse
from scipy.interpolate import splev, splrep
from scipy.optimize import linprog
import clarabel

warnings.filterwarnings("ignore")


def hermite(u):
    p1 = 10 * u**3 - 15 * u**4 + 6 * u**5
    return np.stack([1 - p1, u - 6 * u**3 + 8 * u**4 - 3 * u**5, (u**2 - 3 * u**3 + 3 * u**4 - u**5) / 2,
                     p1, -4 * u**3 + 7 * u**4 - 3 * u**5, (u**3 - 2 * u**4 + u**5) / 2], -1)


def matrices(t, knots):
    """Rows for every sample over (p, v s, a s^2) of each knot, and the measure of jerk."""
    knots = np.asarray(knots)
    h = np.diff(knots)
    s = np.minimum(np.r_[h[:1], h], np.r_[h, h[-1:]])
    piece = np.clip(np.searchsorted(knots, t, "right") - 1, 0, len(h) - 1)
    rows, cols, vals = [], [], []
    factors = np.stack([np.r_[1, h[k] / s[k], (h[k] / s[k])**2, 1, h[k] / s[k + 1], (h[k] / s[k + 1])**2] for k in range(len(h))])
    B = hermite((t - knots[piece]) / h[piece]) * factors[piece]
    for i, k in enumerate(piece):
        rows += [i] * 6
        cols += list(range(3 * k, 3 * k + 6))
        vals += list(B[i])
    A = sparse.csr_matrix((vals, (rows, cols)), shape=(len(t), 3 * len(knots)))
    # Third derivatives of the six weights, their products integrated by Gauss-Legendre: exact for degree four.
    x, w = np.polynomial.legendre.leggauss(4)
    u, w = (x + 1) / 2, w / 2
    third = np.stack([-60 + 360 * u - 360 * u**2, -36 + 192 * u - 180 * u**2, (-18 + 72 * u - 60 * u**2) / 2,
                      60 - 360 * u + 360 * u**2, -24 + 168 * u - 180 * u**2, (6 - 48 * u + 60 * u**2) / 2], -1)
    G = third.T @ (third * w[:, None])
    H = sparse.lil_matrix((3 * len(knots),) * 2)
    for k in range(len(h)):
        sl = slice(3 * k, 3 * k + 6)
        H[sl, sl] += G * np.outer(factors[k], factors[k]) / h[k]**5
    return A, sparse.csc_matrix(H)


def ends(n, rest):
    fixed = [2, n - 1] + ([1, n - 2] if rest else [])
    return sparse.csr_matrix((np.ones(len(fixed)), (range(len(fixed)), fixed)), shape=(len(fixed), n))


def best_miss(t, y, knots, rest):
    A, _ = matrices(t, knots)
    n = A.shape[1]
    one = np.ones((len(t), 1))
    up = sparse.vstack([sparse.hstack([A, -one]), sparse.hstack([-A, -one])])
    E = sparse.hstack([ends(n, rest), sparse.csr_matrix((4 if rest else 2, 1))])
    r = linprog(np.r_[np.zeros(n), 1], A_ub=up, b_ub=np.r_[y, -y], A_eq=E, b_eq=np.zeros(E.shape[0]), bounds=[(None, None)] * n + [(0, None)], method="highs")
    return r.x[-1] if r.status == 0 else np.nan


def least_jerk(t, y, knots, rest, tube):
    A, H = matrices(t, knots)
    n = A.shape[1]
    scale = 1 / max(H.diagonal().max(), 1e-300)
    E = ends(n, rest)
    settings = clarabel.DefaultSettings()
    settings.verbose = False
    settings.tol_gap_rel = settings.tol_gap_abs = settings.tol_feas = 1e-11
    settings.max_iter = 400
    s = clarabel.DefaultSolver(sparse.triu(2 * scale * H).tocsc(), np.zeros(n), sparse.vstack([E, A, -A]).tocsc(),
                               np.r_[np.zeros(E.shape[0]), y + tube, tube - y],
                               [clarabel.ZeroConeT(E.shape[0]), clarabel.NonnegativeConeT(2 * len(t))], settings).solve()
    x = np.array(s.x)
    return float(x @ (H @ x)), str(s.status)


def fitpack(t, y, within):
    best = None
    for f in np.geomspace(0.05, 1, 30):
        tck = splrep(t, y, k=5, s=f * f * within**2 * len(t))
        if np.abs(splev(t, tck) - y).max() <= within:
            k = len(np.unique(tck[0]))
            best = k if best is None else min(best, k)
    return best


out = []
for line in sys.stdin:
    if not line.startswith("FIT "):
        continue
    fit = json.loads(line[4:])
    t, y = np.array(fit["samples"]).T
    y0 = y[0]
    y = (y - y0) / fit["within"]
    knots, rest = fit["knots"], fit["rest"]
    # The programs are slow: ten curves have them, all have FITPACK's knots.
    slow = fit["seed"] < 10
    misses = [best_miss(t, y, knots[:j] + knots[j + 1:], rest) for j in range(1, len(knots) - 1)] if slow else []
    jerk, status = least_jerk(t, y, knots, rest, 1.0) if slow else (None, "")
    row = {"seed": fit["seed"], "knots": knots, "fitpack_knots": fitpack(t, y, 1.0), "least_jerk": jerk * fit["within"]**2 if slow else None,
           "missed_without_a_knot": float(np.min(misses)) if misses else None}
    print(fit["seed"], len(knots), row["fitpack_knots"], row["missed_without_a_knot"], row["least_jerk"], status, file=sys.stderr)
    out.append(row)
with open("fixtures/recordings/curves.json", "w") as f:
    f.write("[\n" + ",\n".join(json.dumps(r) for r in out) + "\n]\n")
print("median ratio", np.median([len(r["knots"]) / r["fitpack_knots"] for r in out]), file=sys.stderr)
