"""Power, harmonics, efficiency and ripple against NumPy and SciPy on more than 50 waveforms in closed form.

Sources of the outside values: the definitions of IEEE 1459-2010 (3.1.2) as sums over the parts of each waveform; the lines of
IEC 61000-4-7 by numpy.fft.rfft of the same parts, written down anew as 2000 samples of exactly one window of 10 (50 Hz) or 12
(60 Hz) cycles, so that the outside's sampling is synchronous where ours is not; scipy.signal.lsim for the filter of the
ripple; scipy.integrate.simpson for I²t. Everything agrees within 0.1 % of the reading.
"""

import json

import numpy as np
from outside import Check, run_json
from scipy import integrate, signal

check = Check("power and harmonics", "NumPy and SciPy")
rng = np.random.default_rng(20261125)
TENTH_OF_PERCENT = 1e-3


def ours(interval, volts, amps, **more):
    given = {"interval_s": interval, "volts": volts.tolist(), "amps": amps.tolist()} | more
    return run_json(name="examples/power_values", text_in=json.dumps(given))


def wave(parts, t):
    """Parts are rms, frequency and phase."""
    return sum(np.sqrt(2) * rms * np.sin(2 * np.pi * hz * t + phase) for rms, hz, phase in parts)


def sums(u, i):
    """P, S, N and the fundamental of IEEE 1459 from the parts; the first part of each is the fundamental."""
    p = sum(a * b * np.cos(x - y) for a, f, x in u for b, g, y in i if f == g)
    s = np.sqrt(sum(a**2 for a, *_ in u)) * np.sqrt(sum(b**2 for b, *_ in i))
    return p, s, np.sqrt(s**2 - p**2), np.cos(u[0][2] - i[0][2])


def lines(parts, hz):
    """Rms of the lines, by a synchronous FFT over one window."""
    cycles = 10 if hz < 55 else 12
    samples = 2**14
    t = np.arange(samples) / samples * cycles / hz
    return np.abs(np.fft.rfft(wave(parts, t))) / samples * np.sqrt(2), cycles


def grouped(c, cycles, order, grouping):
    k, half = order * cycles, cycles // 2
    if grouping == "line":
        return c[k]
    if grouping == "subgroup":
        return np.sqrt(np.sum(c[k - 1 : k + 2] ** 2))
    return np.sqrt(np.sum(c[k - half + 1 : k + half] ** 2) + (c[k - half] ** 2 + c[k + half] ** 2) / 2)


def compare_power(name, told, u, i):
    p, s, n, displacement = sums(u, i)
    for key, outside in (("p", p), ("s", s), ("n", n), ("factor", p / s), ("displacement", displacement)):
        check.compare(f"{name}: {key}", told[key], outside, rel=TENTH_OF_PERCENT)
    check.compare(f"{name}: frequency", told["frequency"], u[0][1], rel=1e-5)
    check.compare(f"{name}: angle", told["angle"], u[0][2] - i[0][2], rel=TENTH_OF_PERCENT)


def compare_harmonics(name, told, i, orders):
    hz = i[0][1]
    c, cycles = lines(i, hz)
    for grouping in ("line", "subgroup", "group"):
        of = {order: grouped(c, cycles, order, grouping) for order in range(1, 41)}
        for order in orders:
            check.compare(f"{name}: {grouping} {order}", told[grouping]["orders"][order - 1], of[order], rel=TENTH_OF_PERCENT)
        root = lambda over, weight=lambda _: 1.0: np.sqrt(sum(weight(order) * of[order] ** 2 for order in over))
        for key, outside in (
            ("thd", root(range(2, 41)) / of[1]), ("thc", root(range(2, 41))),
            ("pwhc", root(range(14, 41), float)), ("podd", root(range(21, 40, 2))),
        ):  # fmt: skip
            # Where nothing is there, there is no tenth of a percent of it.
            if outside > 1e-9:
                check.compare(f"{name}: {grouping} {key}", told[grouping][key], outside, rel=TENTH_OF_PERCENT)


def current(hz, lag, third, spectrum):
    """16 A with harmonics that fall with the order, each at a phase of its own."""
    parts = [(16.0, hz, -lag)]
    parts += [(third * 16.0 * 3 / order, order * hz, phase) for order, phase in spectrum]
    return parts


# The self-check: 50 Hz 16 A, third 2.30 A, fifth 1.14 A, 155 Hz 0.5 A, to the digits in which it was computed.
parts = [(16.0, 50.0, 0.0), (2.30, 150.0, 0.4), (1.14, 250.0, 1.1), (0.5, 155.0, 2.0)]
for rate in (10e3, 12_345.678, 20e3, 51.2e3):
    t = np.arange(int(0.22 * rate)) / rate
    told = ours(1 / rate, wave([(230.0, 50.0, 0.3)], t), wave(parts, t))
    harmonics = told["harmonics"]
    check.compare("self-check: line 3", harmonics["line"]["orders"][2], 2.3000, abs_=5e-5)
    check.compare("self-check: subgroup 3", harmonics["subgroup"]["orders"][2], 2.3537, abs_=5e-5)
    check.compare("self-check: group 3", harmonics["group"]["orders"][2], 2.3537, abs_=5e-5)
    check.compare("self-check: THD", 100 * harmonics["line"]["thd"], 16.044, abs_=5e-4)
    check.compare("self-check: rms", told["power"]["i"], 16.2123, abs_=5e-5)

# Every frequency with rates that are no multiple of it: harmonics of all orders, displacement either way, voltage distorted.
EVERY = [(order, 0.37 * order) for order in range(2, 41)]
ODD = [(order, 1.0 + 0.2 * order) for order in range(3, 40, 2)]
number = 0
for hz in (50.0, 49.5, 50.02, 50.7, 60.0, 59.3, 60.013, 61.1):
    for rate, lag, third, spectrum in ((10e3, 0.15, 0.14, EVERY), (11_111.0, -0.6, 0.02, ODD), (20e3, 1.2, 0.3, ODD), (48_047.3, 0.02, 0.05, EVERY)):
        number += 1
        u = [(230.0, hz, 0.1 * number), (4.6, 3 * hz, 0.9), (6.9, 5 * hz, -2.0)]
        i = [(rms, f, phase + 0.1 * number) for rms, f, phase in current(hz, lag, third, spectrum)]
        t = np.arange(int(0.3 * rate)) / rate
        told = ours(1 / rate, wave(u, t), wave(i, t))
        name = f"{hz} Hz, {rate:.0f}/s, lag {lag}, third {third}"
        compare_power(name, told["power"], u, i)
        compare_harmonics(name, told["harmonics"], i, [1] + [order for order, _ in spectrum])

# High rates, where the samples are condensed first, with ripple of a converter far above the orders: 130 kHz is a line of the window.
for hz, rate in ((50.0, 250e3), (60.0, 400e3), (50.0, 1e6)):
    i = [*current(hz, 0.3, 0.1, EVERY), (0.4, 130e3, 0.2)]
    t = np.arange(int(0.215 * rate)) / rate
    told = ours(1 / rate, wave([(230.0, hz, 0.3)], t), wave(i, t))
    compare_harmonics(f"{hz} Hz at {rate:.0f}/s", told["harmonics"], i[:-1], [1] + [order for order, _ in EVERY])

# Interharmonics: on the lines of the window, where groups and subgroups take them differently.
for number, (hz, cycles) in enumerate(((50.0, 10), (49.8, 10), (60.0, 12), (60.4, 12))):
    step = hz / cycles
    for rate in (12_500.0, 25_601.0):
        i = [(16.0, hz, 0.2), (1.5, 3 * hz, 1.0), (0.8, 5 * hz, 0.1), (0.7, 3 * hz + step, 0.4), (0.5, 3 * hz + 2 * step, 0.3), (0.4, 5 * hz - step * cycles / 2, 0.9), (0.3, 7 * hz + 3 * step, 0.2), (0.2, 7 * hz, 0.4)]  # fmt: skip
        t = np.arange(int(0.27 * rate)) / rate
        told = ours(1 / rate, wave([(230.0, hz, 0.3)], t), wave(i, t))
        compare_harmonics(f"interharmonics at {hz} Hz, {rate:.0f}/s", told["harmonics"], i, [1, 3, 5, 7])

# Noise of 0.1 % of the fundamental in both, and a direct part in the current: what is large enough stays within 0.1 %.
for number, hz in enumerate((50.0, 49.9, 60.0, 60.2)):
    rate = 50e3
    u, i = [(230.0, hz, 0.4)], [(16.0, hz, 0.1), (2.3, 3 * hz, 0.2), (1.14, 5 * hz, 1.2)]
    t = np.arange(int(0.64 * rate)) / rate
    volts = wave(u, t) + rng.normal(0, 0.23, t.size)
    amps = wave(i, t) + rng.normal(0, 0.016, t.size)
    told = ours(1 / rate, volts, amps)
    compare_power(f"noise at {hz} Hz", told["power"], u, i)
    for order, outside in ((1, 16.0), (3, 2.3), (5, 1.14)):
        check.compare(f"noise at {hz} Hz: order {order}", told["harmonics"]["line"]["orders"][order - 1], outside, rel=TENTH_OF_PERCENT)
    crest = np.abs(wave(i, np.linspace(0, 1 / hz, 100_000))).max() / np.sqrt(sum(rms**2 for rms, *_ in i))
    check.compare(f"noise at {hz} Hz: crest", told["power"]["crest"], crest, rel=5e-3)

# Efficiency over the same cycles, and the ripple of the direct side behind a low pass of first order.
for hz, rate, bandwidth, efficiency in ((50.0, 20e3, 1e3, 0.93), (49.3, 50e3, 5e3, 0.88), (60.0, 40e3, 2e3, 0.955), (60.9, 100e3, 10e3, 0.915)):  # fmt: skip
    u, i = [(230.0, hz, 0.0)], [(16.0, hz, -0.2), (1.2, 3 * hz, 0.5)]
    t = np.arange(int(0.5 * rate)) / rate
    p = sums(u, i)[0]
    swing = wave([(0.2, 2 * hz, 0.3), (0.05, 0.8 * bandwidth, 0.1)], t)
    out_volts, out_amps = np.full(t.size, 400.0), p * efficiency / 400.0 + swing
    told = ours(1 / rate, wave(u, t), wave(i, t), out_volts=out_volts.tolist(), out_amps=out_amps.tolist(), bandwidth_hz=bandwidth)
    check.compare(f"efficiency {efficiency} at {hz} Hz", told["efficiency"], efficiency, rel=TENTH_OF_PERCENT)
    tau = 1 / (2 * np.pi * bandwidth)
    _, filtered, _ = signal.lsim(([1.0], [tau, 1.0]), out_amps - out_amps[0], t)
    filtered = filtered[int(np.ceil(10 * tau * rate)) :]
    check.compare(f"ripple at {hz} Hz: span", told["ripple"]["peak_to_peak"], np.ptp(filtered), rel=TENTH_OF_PERCENT)
    weights = signal.windows.hann(filtered.size + 1, sym=True)[:-1]
    check.compare(f"ripple at {hz} Hz: rms", told["ripple"]["rms"], np.sqrt(np.cov(filtered, aweights=weights, ddof=0)), rel=TENTH_OF_PERCENT)
    parts = np.sqrt((0.2 / np.hypot(1, 2 * hz / bandwidth)) ** 2 + (0.05 / np.hypot(1, 0.8)) ** 2)
    # Straight lines between ten samples of a period are lower than their sine by some 1 %: of a small part of the whole.
    check.compare(f"ripple at {hz} Hz: closed form", told["ripple"]["rms"], parts, rel=3e-3)

# Inrush: a decaying surge on top of the line's current.
for peak, tau in ((120.0, 1e-3), (230.0, 3e-4), (60.0, 8e-3)):
    rate = 200e3
    t = np.arange(int(0.1 * rate)) / rate
    at = lambda x: (peak * np.exp(-x / tau) + 5.0) * np.cos(2 * np.pi * 50 * x)
    told = ours(1 / rate, wave([(230.0, 50.0, 0.0)], t), at(t), above=30.0)["surge"]
    check.compare(f"surge {peak} A: peak", told["peak"], peak + 5.0, rel=TENTH_OF_PERCENT)
    fine = np.linspace(0, 0.1, 2_000_001)
    above = np.abs(at(fine)) > 30.0
    check.compare(f"surge {peak} A: time above", told["above_s"], above.mean() * 0.1, rel=TENTH_OF_PERCENT)
    area = integrate.simpson(np.where(above, at(fine) ** 2, 0.0), x=fine)
    check.compare(f"surge {peak} A: I²t", told["square_time"], area, rel=TENTH_OF_PERCENT)
check.finish(at_least=2000)
