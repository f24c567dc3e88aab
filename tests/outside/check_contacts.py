"""Proximity, codes of cables and sensors against published values and exact fractions.

Published: proximity voltages of support articles (4.46, 2.77 and 1.53 V, or 4.4, 2.7 and 1.5 V) and counts that an open charger firmware
expects of a 12-bit converter at 3.3 V (1868 latched; a type 2 cable on an inlet of 2.7 kOhm: 3.725, 3.110, 1.907 and 1.131 V); the bands of
both readings of a cable's code as two firmware and controller manuals print them; IEC 60751 for platinum. The windows are worked out
in exact fractions over all signs of the tolerances.
"""

import csv
import pathlib
import tempfile
from fractions import Fraction as F
from itertools import product

from outside import Check, run, run_json

check = Check("inlets and cables", "exact fractions and published values")
PARALLEL = lambda a, b: a * b / (a + b)
CONNECTOR = {"unplugged": None, "latched": F(150), "pressed": F(480)}


def bounds(key, limits):
    (limit,) = run_json("explain", key, "--limits", limits, "--json")["limits"]
    return [bound["si"] for bound in limit["bounds"]]


def volts(supply, series, inlet, connector):
    below = inlet if connector is None else PARALLEL(inlet, connector)
    return supply * below / (series + below)


for state, connector in CONNECTOR.items():
    exact = [volts(F(5), F(330), F(2700) * a, connector) for a in (F(9, 10), F(11, 10))]
    low, high = bounds(f"proximity.exact_{state}", "inlets_and_cables")
    check.compare(f"exact window {state}, low", low, float(min(exact)), abs_=3e-4)
    check.compare(f"exact window {state}, high", high, float(max(exact)), abs_=1e-4)
    signs = product((F(95, 100), F(105, 100)), *[(F(9, 10), F(11, 10))] * 3)
    ends = [volts(5 * v, 330 * s, 2700 * i, connector and connector * c) for v, s, i, c in signs]
    low, high = bounds(f"proximity.corner_{state}", "inlets_and_cables")
    check.compare(f"corner window {state}, low", low, float(min(ends)), abs_=1e-4)
    check.compare(f"corner window {state}, high", high, float(max(ends)), abs_=1e-4)

# Both readings of a code, as printed, and that a good resistor (±3 %) is read the same by both.
CODES = {"13": (1500, (1100, 2460), (1000, 2200)), "20": (680, (400, 936), (330, 1000)), "32": (220, (164, 308), (150, 330)), "63": (100, (80, 140), (75, 150))}
for rating, (nominal, *bands) in CODES.items():
    for number, band in enumerate(bands, 1):
        found = bounds(f"coding.rated_{rating}", f"proximity_coding_{number}")
        check.same(f"{rating} A, reading {number}", [round(end) for end in found], list(band))
        check.holds(f"{rating} A: a good resistor is read so", band[0] < 0.97 * nominal and 1.03 * nominal < band[1], str(band))
    check.same(f"{rating} A: nominal value", [round(end, 9) for end in bounds(f"code.rated_{rating}", "inlets_and_cables")], [nominal, 0.03])


def readings(*words):
    """Values of a rehearsal's CSV by name, in SI units."""
    with tempfile.TemporaryDirectory() as folder:
        out = pathlib.Path(folder) / "r"
        run("rehearse", *words, "--no-pdf", "--out", out)
        (table,) = out.glob("reports/*.csv")
        rows = list(csv.DictReader(table.open(encoding="utf-8-sig")))
    return rows


def value(rows, name):
    return next(float(row["value"]) for row in rows if row["reading"] == name)


rows = readings("inlet/resistances")
# 0.2 %: the meter, and the bench's own 5 V.
check.compare("v_latched as a count", value(rows, "v_latched"), 1868 / 4095 * 3.3, rel=2e-3)
for name, connector, published in (("v_unplugged", None, 4.46), ("v_latched", 150, 1.5), ("v_pressed", 480, 2.77)):
    check.compare(f"{name} as published", value(rows, name), published, rel=5e-3)
    check.compare(name, value(rows, name), float(volts(F(5), F(330), F(2700), connector and F(connector))), rel=2e-3)
# A cable on an inlet, the values of the same firmware.
for code, published in ((1500, 3.725), (680, 3.110), (220, 1.907), (100, 1.131)):
    check.compare(f"{code} ohm on an inlet", float(volts(F(5), F(330), F(2700), F(code))), published, abs_=1.5e-3)
# IEC 60751 prints 1097.35 ohm at 25 °C and 1232.42 ohm at 60 °C; between 23 °C and 25 °C it grows by 3.88 ohm/K.
check.compare("sensor in the room", value(rows, "s1_room"), 1097.35 - 2 * 3.88, abs_=1.0)
check.compare("sensor at 60 °C", value(rows, "s1_warm"), 1232.42, abs_=1.0)
check.finish(at_least=40)
