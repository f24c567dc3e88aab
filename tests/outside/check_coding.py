"""Duty coding and windows against published worked examples, and against a corner analysis in Python.

Sources of the pairs: tables of a charge-controller manual; testing pages, unit tests and logs of open charger firmwares;
engineering notes with oscilloscope readings; an encyclopaedia text reproduced in a firmware's source. No table of
pairs stands in our code, only the rule of IEC 61851-1 Tables A.7 and A.8. The windows come from 12 V ±5 %, 1 kΩ ±3 %,
2740 Ω, 1300 Ω and 270 Ω ±3 %, and a diode of 0.55 V to 0.85 V, or of 0.70 V at 5 mA behind an exact load.
"""

import json
from itertools import product
from math import log

from outside import Check, run, run_json

check = Check("duty coding and pilot windows", "published worked examples")


def si(expression):
    return json.loads(run("calc", expression, "--json"))["si"]


for duty, amps in [(50, 30), (10, 6), (20, 12), (30, 18), (40, 24), (60, 36), (70, 42), (80, 48), (86, 55), (88, 60), (90, 65),
                   (92, 70), (94, 75), (96, 80), (8, 6), (9, 6), (16, 9.6), (25, 15), (26.4, 15.84), (27.2, 16.32), (13.1, 7.86), (89.2, 63)]:
    check.compare(f"current for {duty} %", si(f"current_for({duty / 100})"), amps, rel=1e-9)
for amps, duty in [(6, 10), (16, 26.6667), (32, 53.3333), (48, 80), (51, 85), (63, 89.2), (80, 96), (100, 96)]:
    check.compare(f"duty for {amps} A", si(f"duty_for({amps} A)") * 100, duty, rel=2e-6)
for expression in ["current_for(0.02)", "current_for(0.075)", "current_for(0.99)", "duty_for(5.9 A)"]:
    answer = json.loads(run("calc", expression, "--json", expect=None))
    check.holds(f"{expression} has no value", "si" not in answer, str(answer))

# Windows of the limit set against our own corner analysis in Python: 12 V ±5 %, 1 kΩ ±3 %, and the diode.
PARALLEL = lambda a, b: a * b / (a + b)
LOADS = {"B": 2740.0, "C": PARALLEL(2740.0, 1300.0), "D": PARALLEL(2740.0, 270.0)}


def level(source, r_source, load):
    low, high = 0.01, source - 1e-9
    for _ in range(200):
        middle = (low + high) / 2
        amps = (source - middle) / r_source
        low, high = (low, middle) if middle > 0.70 + 0.026 * log(amps / 5e-3) + amps * load else (middle, high)
    return low


def bounds(key):
    return [bound["si"] for bound in run_json("explain", key, "--limits", "iec_61851_1_2017", "--json")["limits"][0]["bounds"]]


for state, load in LOADS.items():
    corners = [level(v, r, load) for v, r in product((11.4, 12.6), (970, 1030))]
    low, high = bounds(f"pilot.generator_{state}")
    check.compare(f"generator window {state}, low", low, min(corners), abs_=1e-3)
    check.compare(f"generator window {state}, high", high, max(corners), abs_=1e-3)
    ends = [vd + (v - vd) * r / (rs + r) for v, rs, r, vd in product((11.4, 12.6), (970, 1030), (0.97 * load, 1.03 * load), (0.55, 0.85))]
    low, high = bounds(f"pilot.corner_{state}")
    check.compare(f"corner window {state}, low", low, min(ends), abs_=1e-3)
    check.compare(f"corner window {state}, high", high, max(ends), abs_=1e-3)
check.finish(at_least=40)
