"""Limit sets against the published tables, written down a second time.

Class A: the 39 values of IEC 61000-3-2:1995, Table 1, as a national adoption (GOST R 51317.3.2-99, a public standard) and a table
of the European edition print it. Its rows for even orders from 8 and odd orders from 15 are rules (0.23 A · 8/n, 0.15 A · 15/n); here they
are rounded to four digits as in a printed table. IEC 61000-3-12: the rows of Table 2 as they were remembered, not seen in writing; the check
is that the files say the same, and that straight lines between the rows pass through both. The windows of a vehicle at an exact source, and of
its proximity: every corner of the parts' tolerances, worked out here.
"""

from itertools import product

from outside import Check, run_json

check = Check("limit sets", "the published tables")
CLASS_A = """
 2 1.08    12 0.1533  22 0.0836  32 0.0575
 3 2.30    13 0.21    23 0.0978  33 0.0682
 4 0.43    14 0.1314  24 0.0767  34 0.0541
 5 1.14    15 0.1500  25 0.0900  35 0.0643
 6 0.30    16 0.1150  26 0.0708  36 0.0511
 7 0.77    17 0.1324  27 0.0833  37 0.0608
 8 0.23    18 0.1022  28 0.0657  38 0.0484
 9 0.40    19 0.1184  29 0.0776  39 0.0577
10 0.184   20 0.0920  30 0.0613  40 0.0460
11 0.33    21 0.1071  31 0.0726
"""
ROWS = {  # least short-circuit ratio: orders 3, 5, 7, 9, 11, 13, total, partial weighted, in %
    33: (21.6, 10.7, 7.2, 3.8, 3.1, 2, 23, 23),
    66: (24, 13, 8, 5, 4, 3, 26, 26),
    120: (27, 15, 10, 6, 5, 4, 30, 30),
    250: (35, 20, 13, 9, 8, 6, 40, 40),
    350: (41, 24, 15, 12, 10, 8, 47, 47),
}
KEYS = ("harmonic_3", "harmonic_5", "harmonic_7", "harmonic_9", "harmonic_11", "harmonic_13", "total", "partial_weighted")


def explained(key):
    (limit,) = run_json("explain", key, "--json")["limits"]
    return limit


def bound(formula):
    """The value of a formula by the calculator of the program, in SI units."""
    return run_json("calc", formula, "--json")["si"]


numbers = CLASS_A.split()
table = {int(order): amps for order, amps in zip(numbers[::2], numbers[1::2])}
check.same("orders of class A", sorted(table), list(range(2, 41)))
for order, amps in table.items():
    limit = explained(f"class_a.harmonic_{order}")
    check.same(f"order {order}: kind", limit["tolerance"].startswith("at most "), True)
    check.same(f"order {order}: clause", limit["source"], "IEC 61000-3-2, edition 1995, Table 1")
    check.same(f"order {order}: status", limit["status"], "restated" if order in (2, 3, 4, 5, 6, 7, 9, 11, 13) else "derived")
    check.compare(f"order {order}", bound(limit["tolerance"].removeprefix("at most ")), float(amps), abs_=5.1e-5)
odd = sum((0.15 * 15 / order) ** 2 for order in range(21, 40, 2)) ** 0.5
check.compare("partial odd", bound(explained("class_a.partial_odd")["tolerance"].removeprefix("at most ")), odd, rel=1e-4)

for ratio, row in ROWS.items():
    for key, percent in zip(KEYS, row):
        name = f"any_ratio.{key}" if ratio == 33 else f"ratio_{ratio}.{key}"
        limit = explained(name)
        check.same(f"{name}: status", limit["status"], "from memory")
        check.compare(name, bound(limit["tolerance"].removeprefix("at most ")), percent / 100, rel=1e-9)
ratios = sorted(ROWS)
between = [(one + other) / 2 for one, other in zip(ratios, ratios[1:])]
for place, key in enumerate(KEYS):
    formula = explained(f"interpolated.{key}")["tolerance"].removeprefix("at most ")
    for ratio in (20, *ratios, *between, 1000):
        known = [ROWS[one][place] for one in ratios]
        low = max((one for one in ratios if one <= ratio), default=ratios[0])
        high = min((one for one in ratios if one >= ratio), default=ratios[-1])
        share = (ratio - low) / (high - low) if high > low else 0.0
        percent = ROWS[low][place] + share * (ROWS[high][place] - ROWS[low][place])
        check.compare(f"{key} at {ratio}", bound(formula.replace("$short_circuit_ratio", str(ratio))), min(max(percent, known[0]), known[-1]) / 100, rel=1e-9)


def corners(*spans):
    return product(*((middle * (1 - share), middle * (1 + share)) for middle, share in spans))


def window(key, values):
    low, high = (one["si"] for one in explained(key)["bounds"])
    check.compare(f"{key}: low", low, min(values), abs_=6e-3)
    check.compare(f"{key}: high", high, max(values), abs_=6e-3)


DROPS = (0.55, 0.85)
exact = lambda open_v, ohm, drop: drop + (open_v - drop) * ohm / (1000 + ohm)
r2 = [ohm for (ohm,) in corners((2740, 0.03))]
r2_r3 = [1 / (1 / a + 1 / b) for a, b in corners((2740, 0.03), (1300, 0.03))]
window("vehicle.battery_test", [exact(9, ohm, drop) for ohm in r2 for drop in DROPS])
window("vehicle.pilot_B", [exact(12, ohm, drop) for ohm in r2 for drop in DROPS])
window("vehicle.pilot_C", [exact(12, ohm, drop) for ohm in r2_r3 for drop in DROPS])
down = lambda r5, plug: 1 / (1 / r5 + 1 / plug)
for key, plugged in (("open", 1e15), ("pressed", 480), ("latched", 150)):
    parts = corners((5, 0.05), (330, 0.1), (2700, 0.1), (plugged, 0.1))
    window(f"proximity.volts_{key}", [supply * down(r5, plug) / (r4 + down(r5, plug)) for supply, r4, r5, plug in parts])
check.finish(at_least=39)
