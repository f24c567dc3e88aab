"""The power path of the virtual bench against NumPy: TN, TT and IT, single and split phase, open and closed, with and without load.

NumPy solves the network written here by modified nodal analysis: each voltage source is a branch with a current of its own,
for the fundamental and the orders 3, 5 and 7, and the rms is the root of the sum of squares. The example `mains_levels`
prints what the virtual bench shows over whole periods. Voltages and currents agree within 1 part in 100 000.
"""

import itertools
import json

import numpy as np
from outside import Check, run

check = Check("power path", "NumPy")
HEALTHY = {
    "supply_voltage": 230.0, "supply_frequency": 50.0, "ambient": 293.15, "alpha": 0.0, "r_th_cable": 0.0,
    "cable_length": 5.0, "cable_area": 6e-6, "r_pole": 0.003, "z_source": 0.2, "l_source": 50e-6,
    "supply_h3": 0.02, "supply_h5": -0.015, "supply_h7": 0.01, "r_pe": 0.05, "c_y": 4.7e-9, "r_iso": 20e6, "c_stray": 100e-12,
    "c_out": 150e-12, "p_standby": 4.0, "bench_r_meter": 10e6, "r_electrode": 30.0, "r_source_earth": 1.0, "v_neutral": 2.0,
    "r_it": 1e6, "c_it": 50e-9,
}  # fmt: skip
STAR, IN_L, IN_N, OUT_L, OUT_N, PE = range(6)


def solve(earthing, phases, closed, load, v, order):
    """Node voltages against earth and the current of the L branch, for one order."""
    jw = 2j * np.pi * v["supply_frequency"] * order
    ratios = {1: 1.0, 3: v["supply_h3"], 5: v["supply_h5"], 7: v["supply_h7"]}
    volts = v["supply_voltage"] * ratios[order] / np.sqrt(sum(ratio**2 for ratio in ratios.values()))
    a, b = np.zeros((9, 9), complex), np.zeros(9, complex)

    def admittance(one, other, y):
        for node in (one, other):
            if node is not None:
                a[node, node] += y
        if one is not None and other is not None:
            a[one, other] -= y
            a[other, one] -= y

    def source(row, minus, plus, emf, z):
        """plus − minus = emf − z·i; the current i flows from minus to plus inside of the source."""
        a[plus, row] -= 1
        a[row, plus] = 1
        a[row, row] = z
        if minus is not None:
            a[minus, row] += 1
            a[row, minus] = -1
        b[row] = emf

    half = (v["z_source"] + jw * v["l_source"]) / 2
    e_l, e_n = (volts / 2, -volts / 2) if phases == "split" else (volts, 0.0)
    source(6, STAR, IN_L, e_l, half)
    source(7, STAR, IN_N, e_n, half)
    if earthing == "it":
        source(8, None, STAR, 0.0, v["r_it"])
        admittance(IN_L, None, jw * v["c_it"])
        admittance(IN_N, None, jw * v["c_it"])
    else:
        raised = v["v_neutral"] if earthing == "tt" and order == 1 else 0.0
        source(8, None, STAR, raised, v["r_source_earth"] if earthing == "tt" else 0.0)
    admittance(PE, None, 1 / (v["r_pe"] + (v["r_electrode"] if earthing == "tt" else 0.0)))
    admittance(IN_L, PE, jw * v["c_y"])
    admittance(IN_N, PE, jw * v["c_y"])
    admittance(IN_L, IN_N, v["p_standby"] / v["supply_voltage"] ** 2)
    pole = 1 / (v["r_pole"] + 17.2e-9 * v["cable_length"] / v["cable_area"]) if closed else jw * v["c_stray"]
    admittance(IN_L, OUT_L, pole)
    admittance(IN_N, OUT_N, pole)
    admittance(OUT_L, OUT_N, 1 / v["bench_r_meter"])
    for node in (OUT_L, OUT_N):
        admittance(node, PE, 1 / v["bench_r_meter"] + jw * v["c_out"])
    admittance(OUT_L, PE, 1 / v["r_iso"])
    amps = load if order == 1 else 0.0
    b[OUT_L] -= amps
    b[OUT_N] += amps
    x = np.linalg.solve(a, b)
    return x[:6], x[6], amps


def outside(*case):
    orders = [solve(*case, order) for order in (1, 3, 5, 7)]

    def rms(of):
        return float(np.sqrt(sum(abs(of(*solution)) ** 2 for solution in orders)))

    def between(one, other):
        return rms(lambda volts, *_: volts[one] - volts[other])

    return {
        "in L-N": between(IN_L, IN_N), "in L-PE": between(IN_L, PE), "in N-PE": between(IN_N, PE),
        "out L-N": between(OUT_L, OUT_N), "out L-PE": between(OUT_L, PE), "out N-PE": between(OUT_N, PE),
        "path L": between(IN_L, OUT_L), "path N": between(IN_N, OUT_N),
        "in current": rms(lambda _, line, __: line), "out current": rms(lambda _, __, amps: amps),
        "PE": rms(lambda volts, *_: volts[PE]),
    }  # fmt: skip


CASES = [{}, {"r_iso": 500.0}, {"supply_frequency": 60.0, "supply_voltage": 240.0, "c_y": 47e-9, "l_source": 2e-3}]
for earthing, phases, changes in itertools.product(("tn", "tt", "it"), ("single", "split"), CASES):
    for state, load in (("open", 0.0), ("closed", 0.0), ("closed", 25.0)):
        values = HEALTHY | changes
        ours = json.loads(run(earthing, phases, state, load, *(f"{k}={v!r}" for k, v in values.items()), name="examples/mains_levels"))
        theirs = outside(earthing, phases, state == "closed", load, values)
        for name, expected in theirs.items():
            # Between conductors that a metre of copper holds together some microvolts are left, where 1 % is nothing.
            if expected > 1e-4:
                check.compare(f"{earthing} {phases} {state} {load} A {changes}: {name}", ours[name], expected, rel=1e-5)
            else:
                check.holds(f"{earthing} {phases} {state} {load} A {changes}: {name}", ours[name] < 2e-4, f"{ours[name]!r}")
check.finish(at_least=500)
