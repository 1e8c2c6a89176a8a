"""Peer of BenchmarkFitLogistic: SciPy curve_fit (method lm, analytic Jacobian)
on the same 24 readings and start. Run by hand: python3 bench/fit_peers/scipy_fit.py"""
import csv, time
import numpy as np, scipy
from scipy.optimize import curve_fit

rows = list(csv.reader(open("datasets/published/dose/ryegrass.csv")))[1:]
x = np.array([float(r[0]) for r in rows]); y = np.array([float(r[1]) for r in rows])
with np.errstate(divide="ignore"):
    lx = np.log(x)


def parts(p):
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        d = np.where(np.isinf(lx), 0.0, lx - np.log(p[3]))
        e = np.where(np.isinf(lx), 0.0, np.exp(p[2] * d))
    g = 1 / (1 + e)
    return d, g, e * g


def f(x, *p):
    d, g, h = parts(p)
    return p[0] * g + p[1] * h


def jac(x, *p):
    d, g, h = parts(p)
    s = (p[1] - p[0]) * h * g
    return np.stack([g, h, s * d, -s * p[2] / p[3]], axis=1)


for kw in ({"jac": jac, "ftol": 1e-15, "xtol": 1e-15, "gtol": 0}, {"jac": jac}, {}):
    best = 1e9
    for _ in range(20):
        t = time.process_time()
        for _ in range(50):
            p, c = curve_fit(f, x, y, p0=[8, 1, 2, 2.5], **kw)
        best = min(best, (time.process_time() - t) / 50)
    print(f"scipy {scipy.__version__} curve_fit {sorted(kw)}: {best*1e6:.1f} us/fit", [float(f"{v:.15g}") for v in p])
