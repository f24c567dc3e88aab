"""Verdicts against an oracle in exact fractions, written from the words of the rule, not from our code.

Simple acceptance (ILAC-G8:09/2019, 4.2.1): inside the tolerance passes, bounds included. Guard-banded: inside by at least
U passes, outside by more than U fails, else inconclusive (w = U = 2 u). An unknown uncertainty: simple decides, guard-banded is
inconclusive. No value is never a pass. The example `judge_lines` judges one JSON case a line; fractions.Fraction holds the same
doubles without any rounding. Every limit is hit at its bound and one ulp to either side. A judge with 1 % planted into what it is
given must be noticed.
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


def judged(cases):
    return run(text_in="".join(json.dumps(c) + "\n" for c in cases), name="examples/judge_lines").split()


def differs(case, answer):
    """A missing value may be inconclusive or an error, as long as it is no pass."""
    want = oracle(case)
    return answer in ("pass", "fail") if want == "not a pass" else answer != want


cases = [case() for _ in range(CASES)]
answers = judged(cases)
check.same("an answer for each case", len(answers), CASES)
different = [(c, answer) for c, answer in zip(cases, answers) if differs(c, answer)]
for c, answer in different[:10]:
    print("     ", c, "ours", answer, "oracle", oracle(c))
check.same(f"differences in {CASES} cases", len(different), 0)
seen = {(c["rule"], a) for c, a in zip(cases, answers)}
for rule, verdict in [("simple", "pass"), ("simple", "fail"), ("guard_banded", "pass"), ("guard_banded", "fail"), ("guard_banded", "inconclusive")]:
    check.holds(f"{rule} {verdict} occurs", (rule, verdict) in seen)

# The oracle must notice a judge that is wrong by 1 % in the value, in a bound, or in the uncertainty.
some = cases[:10_000]
for key in ("value", "low", "high", "u"):
    planted = [{**c, key: c[key] if c[key] is None else c[key] * 1.01} for c in some]
    noticed = sum(differs(c, answer) for c, answer in zip(some, judged(planted)))
    check.holds(f"1 % planted into {key} is noticed", noticed > 100, f"in {noticed} of {len(some)} cases")
check.finish(at_least=11)
