"""The limits of harmonic currents against tables written down a second time, from other texts.

Class A: the table of IEC 61000-3-2 as printed in GOST R 51317.3.2-99 (an adoption of the edition of 1995) and in a German
table of the EN. They print the orders to 13 and 15 as figures, the rest as a rule; here every order is the figure that the
rule gives, rounded to four places. IEC 61000-3-12: no text was at hand, both tables are from memory, so that agreement shows
faithful copying only; numpy.interp draws the lines between its rows.
"""

import numpy as np
from outside import Check, run_json

check = Check("limits of harmonic currents", "tables written down a second time, NumPy")

CLASS_A = {
    2: 1.08, 3: 2.30, 4: 0.43, 5: 1.14, 6: 0.30, 7: 0.77, 8: 0.23, 9: 0.40, 10: 0.184, 11: 0.33, 12: 0.1533, 13: 0.21,
    14: 0.1314, 15: 0.1500, 16: 0.1150, 17: 0.1324, 18: 0.1022, 19: 0.1184, 20: 0.0920, 21: 0.1071, 22: 0.0836, 23: 0.0978,
    24: 0.0767, 25: 0.0900, 26: 0.0708, 27: 0.0833, 28: 0.0657, 29: 0.0776, 30: 0.0613, 31: 0.0726, 32: 0.0575, 33: 0.0682,
    34: 0.0541, 35: 0.0643, 36: 0.0511, 37: 0.0608, 38: 0.0484, 39: 0.0577, 40: 0.0460,
}  # fmt: skip
RATIOS = [33, 66, 120, 250, 350]
SINGLE_PHASE = {
    "harmonic_3": [21.6, 24, 27, 35, 41], "harmonic_5": [10.7, 13, 15, 20, 24], "harmonic_7": [7.2, 8, 10, 13, 15],
    "harmonic_9": [3.8, 5, 6, 9, 12], "harmonic_11": [3.1, 4, 5, 8, 10], "harmonic_13": [2, 3, 4, 6, 8],
    "total": [23, 26, 30, 40, 47], "partial_weighted": [23, 26, 30, 40, 47],
}  # fmt: skip


def limit(key):
    found = run_json("explain", key, "--json")["limits"]
    check.same(f"{key}: one limit with one bound, an upper one", [len(found), len(found[0]["bounds"]), found[0]["tolerance"][:7]], [1, 1, "at most"])
    return found[0]["bounds"][0]


def calculated(text):
    return run_json("calc", text, "--json")["si"]


check.same("orders of class A", len(CLASS_A), 39)
for order, amps in CLASS_A.items():
    check.compare(f"class A, order {order}", limit(f"class_a.harmonic_{order}")["si"], amps, abs_=0.5e-4 + 1e-12)
odd = np.array([amps for order, amps in CLASS_A.items() if order >= 21 and order % 2])
check.compare("partial odd harmonic current", limit("class_a.partial_odd")["si"], np.sqrt(np.sum(odd**2)), abs_=1e-4)

for name, row in SINGLE_PHASE.items():
    for ratio, percent in zip(RATIOS, row):
        key = f"any_ratio.{name}" if ratio == 33 else f"ratio_{ratio}.{name}"
        check.compare(key, limit(key)["si"], percent / 100, rel=1e-9)
    written = limit(f"interpolated.{name}")["written"]
    for ratio in (20, 33, 50, 66, 93, 120, 200, 250, 300, 350, 1000):
        ours = calculated(written.replace("$short_circuit_ratio", str(ratio)))
        check.compare(f"interpolated.{name} at {ratio}", ours, np.interp(ratio, RATIOS, row) / 100, rel=1e-9)
for order in range(2, 13, 2):
    check.compare(f"any ratio, order {order}", limit(f"any_ratio.harmonic_{order}")["si"], 0.16 / order, rel=1e-9)
check.finish(at_least=180)
