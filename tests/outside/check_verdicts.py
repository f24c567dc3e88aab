"""Verdicts against an oracle in exact fractions, written from the words of the rule, not from our code.

Simple acceptance (ILAC-G8:09/2019, 4.2.1): inside the tolerance passes, bounds included. Guard-banded: inside by at least
U passes, outside by more than U fails, else inconclusive (w = U = 2 u). An unknown uncertainty: simple decides, guard-banded is
inconclusive. No value is never a pass. The example `judge_lines` judges one JSON case a line; fractions.Fraction holds the same
doubles without any rounding. Every limit is hit at its bound and one ulp to either side.
"""

import json
import math
import random
from fractions import Fraction

from outside import Check, run

check = Check("verdicts", "exact fractions")
random.seed(61851)
CASES = 100_000


def neighbours(x):
    return [math.nextafter(x, -math.inf), x, math.nextafter(x, math.inf)]


def case():
    kind = random.choice(["at_least", "at_most", "between"])
    low = random.choice([random.uniform(-13, 13), random.uniform(-1e-6, 1e-6), 10 ** random.uniform(-9, 9), 11.4, 8.472, 0.1])
    high = low + 10 ** random.uniform(-9, 4)
    u = random.choice([None, 0.0, 0.0, 10 ** random.uniform(-12, 2)])
    edge = random.choice([low, high])
    centre = edge if not u else edge + random.choice([-2, 0, 2]) * u
    value = random.choice([*neighbours(centre), random.uniform(low - 1, high + 1), None])
    return {"kind": kind, "low": low, "high": high, "u": u, "value": value, "rule": random.choice(["simple", "guard_banded"])}


def oracle(c):
    if c["value"] is None:
        return "not a pass"
    x = Fraction(c["value"])
    low = Fraction(c["low"]) if c["kind"] != "at_most" else None
    high = Fraction(c["high"]) if c["kind"] != "at_least" else None
    if c["rule"] == "simple":
        return "pass" if (low is None or x >= low) and (high is None or x <= high) else "fail"
    if c["u"] is None:
        return "inconclusive"
    w = 2 * Fraction(c["u"])
    if (low is None or x >= low + w) and (high is None or x <= high - w):
        return "pass"
    if (low is not None and x < low - w) or (high is not None and x > high + w):
        return "fail"
    return "inconclusive"


cases = [case() for _ in range(CASES)]
answers = run(text_in="".join(json.dumps(c) + "\n" for c in cases), name="examples/judge_lines").split()
check.same("an answer for each case", len(answers), CASES)
differences = 0
for c, answer in zip(cases, answers):
    want = oracle(c)
    if want == "not a pass":
        differences += answer == "pass"
    elif answer != want:
        differences += 1
        if differences <= 10:
            print("     ", c, "ours", answer, "oracle", want)
check.same(f"differences in {CASES} cases", differences, 0)
seen = {(c["rule"], a) for c, a in zip(cases, answers)}
for rule, verdict in [("simple", "pass"), ("simple", "fail"), ("guard_banded", "pass"), ("guard_banded", "fail"), ("guard_banded", "inconclusive")]:
    check.holds(f"{rule} {verdict} occurs", (rule, verdict) in seen)
check.finish(at_least=7)
