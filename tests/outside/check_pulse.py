"""Pulse analysis against NumPy and SciPy on more than 50 waveforms.

Levels: medians of the upper and lower half (NumPy), which for flat tops agree with the histogram of IEEE 181 within its bin.
Crossings: linear interpolation (NumPy). Periods: between crossings of one direction (IEEE 181 takes either), whichever has
more of them. Edges: closed form of an RC edge, τ·ln 9 (a textbook result), solved for the
two-exponential pilot edge by scipy.optimize.brentq. Duty spread: numpy.std of the cycle duties.
"""

import itertools
import tempfile
from pathlib import Path

import numpy as np
from scipy import optimize, signal

from outside import Check, run_json

check = Check("pulse analysis", "NumPy and SciPy")
rng = np.random.default_rng(20261125)


def inspect(t, v):
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "capture.csv"
        np.savetxt(path, np.column_stack([t, v]), delimiter=",", fmt="%.9g", header="time_s,volts", comments="")
        return run_json("inspect", path, "--json", "--no-drawing", expect=None)["pulse"]


def crossings(t, v, level):
    above = v >= level
    rising = np.flatnonzero(~above[:-1] & above[1:])
    falling = np.flatnonzero(above[:-1] & ~above[1:])
    at = lambda i: t[i] + (level - v[i]) / (v[i + 1] - v[i]) * (t[i + 1] - t[i])
    return at(rising), at(falling)


def duties(t, v, level):
    """Duty of each whole cycle from rise to rise, and the mean period between crossings of the direction that has more."""
    rising, falling = crossings(t, v, level)
    periods = np.diff(rising if len(rising) >= len(falling) else falling)
    falling = falling[falling > rising[0]]
    cycles = min(len(rising) - 1, len(falling))
    return np.array([(falling[i] - rising[i]) / (rising[i + 1] - rising[i]) for i in range(cycles)]), periods.mean()


def compare(name, t, v):
    ours = inspect(t, v)
    high = np.median(v[v > (v.max() + v.min()) / 2])
    low = np.median(v[v < (v.max() + v.min()) / 2])
    check.compare(f"{name}: high", ours["high"], high, rel=5e-3, abs_=0.02)
    check.compare(f"{name}: low", ours["low"], low, rel=5e-3, abs_=0.02)
    duty_zero, _ = duties(t, v, 0.0)
    check.compare(f"{name}: duty at 0 V", ours["duty_at_zero"], duty_zero.mean(), rel=1e-6)
    duty_half, period = duties(t, v, (high + low) / 2)
    check.compare(f"{name}: duty at half", ours["duty_at_half"], duty_half.mean(), abs_=1e-4)
    check.compare(f"{name}: frequency", ours["frequency"], 1 / period, rel=1e-6)
    return ours, duty_zero


# Square pilots of many duties and states by scipy.signal.square, with noise.
for duty, high in itertools.product([0.1, 0.16, 0.25, 0.2667, 0.4, 0.5333, 0.75, 0.8, 0.96], [8.979, 5.995, 2.929]):
    rate = 1e6
    t = np.arange(int(rate * 0.02)) / rate
    square = signal.square(2 * np.pi * 1000 * (t + 3.37e-5), duty=duty)
    v = np.where(square > 0, high, -12.0) + rng.normal(0, 0.004, t.size)
    compare(f"square {duty} {high}", t, v)

# Edges of the pilot: two exponentials (diode off below Vd, on above), sampled at 50 MS/s; rise time solved by brentq.
VD, VP, VN, RS = 0.7, 12.0, -12.0, 1000.0
for load, capacity in itertools.product([2740.0, 881.683, 245.781], [1.0e-9, 2.0e-9, 3.1e-9, 4.0e-9, 5.5e-9]):
    t1, t2 = RS * capacity, RS * load / (RS + load) * capacity
    vh = VD + (VP - VD) * load / (RS + load)
    t_on = t1 * np.log((VP - VN) / (VP - VD))
    rise_v = lambda x: np.where(x < t_on, VP - (VP - VN) * np.exp(-x / t1), vh - (vh - VD) * np.exp(-(x - t_on) / t2))
    von = VD + (VN - VD) * load / (RS + load)
    t_off = t2 * np.log((vh - von) / (VD - von))
    fall_v = lambda x: np.where(x < t_off, von + (vh - von) * np.exp(-np.maximum(x, 0) / t2), VN + (VD - VN) * np.exp(-np.maximum(x - t_off, 0) / t1))
    rate = 50e6
    t = np.arange(int(rate * 0.0025)) / rate
    phase = np.mod(t + 0.25e-3, 1e-3)
    v = np.where(phase < 0.5e-3, rise_v(phase), fall_v(phase - 0.5e-3)) + rng.normal(0, 1e-4, t.size)
    ours, _ = compare(f"pilot {load:.0f} Ω {capacity * 1e9:.1f} nF", t, v)
    at = lambda f, share: optimize.brentq(lambda x: float(f(np.array(x))) - (VN + share * (vh - VN)), 0, 4e-4)
    check.compare("rise", ours["rise"], at(rise_v, 0.9) - at(rise_v, 0.1), rel=5e-3)
    check.compare("fall", ours["fall"], at(fall_v, 0.1) - at(fall_v, 0.9), rel=5e-3)

# Jitter: the spread of the duty.
for sigma in [0.0002, 0.0005, 0.001, 0.002, 0.004, 0.006, 0.008, 0.01]:
    rate = 5e6
    widths = 0.5 + rng.normal(0, sigma, 40)
    t = np.arange(int(rate * 0.04)) / rate
    v = np.where(np.mod(t, 1e-3) / 1e-3 < widths[np.minimum((t / 1e-3).astype(int), 39)], 9.0, -12.0)
    ours, duty = compare(f"jitter {sigma}", t, v)
    check.compare(f"jitter {sigma}: spread", ours["duty_spread"], duty.std(ddof=1), rel=1e-3)

# Textbook: a single RC edge rises in τ·ln 9.
for tau in [1e-6, 2e-6, 3e-6, 5e-6]:
    rate = 50e6
    t = np.arange(int(rate * 0.0025)) / rate
    phase = np.mod(t + 0.25e-3, 1e-3)
    v = np.where(phase < 0.5e-3, 12 - 24 * np.exp(-phase / tau), -12 + 24 * np.exp(-(phase - 0.5e-3) / tau))
    ours, _ = compare(f"RC {tau}", t, v)
    check.compare(f"RC {tau}: rise", ours["rise"], tau * np.log(9), rel=5e-3)
check.finish(at_least=200)
