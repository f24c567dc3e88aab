"""Guard bands and risks against published examples; their numbers stand in tests only, never in code that judges.

Sources: ILAC-G8:09/2019 Table 1 (guard band w as a multiple of U, with the risk of a false accept that it promises) and 4.2.3
(from pass through the guard band to fail); JCGM 106:2012, 7.3 (conformance probability of a breakdown voltage and of a burst
pressure; these two are quoted from memory, so their exact probabilities stand beside them). The exact risk at the end of a
guard band is 1 − Φ(2w/U), worked out by scipy.stats. The example `judge_lines` judges; its unit stands for whatever unit the
example has.
"""

import json

from scipy import stats

from outside import Check, run

check = Check("guard bands and risks", "ILAC-G8:09/2019 and JCGM 106:2012")


def judge(cases):
    """(verdict, risk) of each case."""
    lines = run("--risk", text_in="".join(json.dumps(case) + "\n" for case in cases), name="examples/judge_lines").splitlines()
    return [(word, float(risk)) for word, risk in (line.split() for line in lines)]


def case(value, u, low=None, high=None, rule="guard_banded"):
    kind = "between" if None not in (low, high) else "at_least" if high is None else "at_most"
    return {"kind": kind, "low": low or 0.0, "high": high or 0.0, "u": u, "value": value, "rule": rule}


# ILAC-G8 Table 1: w as a multiple of U, the promised bound of the risk, and the exact risk as printed to its digits.
LIMIT, U = 10.5, 0.34
TABLE = [(3.0, 1e-6, 9.9e-10), (1.5, 0.0016, 0.00135), (1.0, 0.025, 0.02275), (0.83, 0.05, 0.0485), (0.0, 0.50, 0.5)]
for (r, promised, printed), (_, risk) in zip(TABLE, judge([case(LIMIT - r * U, U / 2, high=LIMIT) for r, _, _ in TABLE])):
    check.compare(f"risk at w = {r} U, printed", risk, printed, rel=0.005)
    check.compare(f"risk at w = {r} U, exact", risk, stats.norm.sf(2 * r), rel=1e-9)
    # "< 50 %" of simple acceptance is met from inside the limit; at the limit itself it is 50 %.
    check.holds(f"risk at w = {r} U is below the promise", risk < promised or r == 0.0, f"{risk} {promised}")
for target, r in [(0.05, 0.8224), (0.025, 0.9800)]:
    (_, risk), = judge([case(LIMIT - r * U, U / 2, high=LIMIT)])
    check.compare(f"risk of a guard band of {r} U", risk, target, rel=0.002)

# ILAC-G8 4.2.3 with w = U: where pass ends, and where fail begins, found by bisection on either side of either bound.
LOW = 9.1


def turns(inside, outside, passes):
    """The value between the two at which `passes(verdict)` turns."""
    for _ in range(60):
        middle = (inside + outside) / 2
        inside, outside = (middle, outside) if passes(judge([case(middle, U / 2, LOW, LIMIT)])[0][0]) else (inside, middle)
    return inside


is_pass, no_fail = (lambda word: word == "pass"), (lambda word: word != "fail")
centre = (LOW + LIMIT) / 2
for name, bound, away, passes, width in [("upper acceptance limit", LIMIT, LIMIT + 1, is_pass, LIMIT - U), ("lower acceptance limit", LOW, LOW - 1, is_pass, LOW + U),
                                         ("upper rejection limit", LIMIT, LIMIT + 1, no_fail, LIMIT + U), ("lower rejection limit", LOW, LOW - 1, no_fail, LOW - U)]:
    found = turns(centre, away, passes)
    check.compare(name, found, width, rel=1e-12)
    check.compare(f"{name}: guard band", abs(found - bound), U, rel=1e-9)
for value, u, want in [(LIMIT, U / 2, "pass"), (LIMIT + 1e-9, U / 2, "fail")]:
    check.same(f"simple acceptance at {value}", judge([case(value, u, LOW, LIMIT, "simple")])[0][0], want)

# JCGM 106, 7.3: probabilities are printed with two digits.
for name, probability, exact, guarded, example in [
    ("breakdown voltage −5.47 V, u 0.05 V, at most −5.40 V", 0.92, stats.norm.cdf(1.4), "inconclusive", {"value": -5.47, "u": 0.05, "high": -5.40}),
    ("burst pressure 509.7 kPa, u 8.6 kPa, at least 490 kPa", 0.99, stats.norm.cdf(19.7 / 8.6), "pass", {"value": 509.7, "u": 8.6, "low": 490.0}),
]:
    (word, risk), (simple, same_risk) = judge([case(**example), case(**example, rule="simple")])
    check.compare(f"{name}: conformance probability, printed", 1 - risk, probability, abs_=0.005)
    check.compare(f"{name}: conformance probability, exact", 1 - risk, exact, rel=1e-9)
    check.same(f"{name}: both rules state the same risk", risk, same_risk)
    # U = 2u is 0.1 V, more than the 0.07 V to the limit; and 17.2 kPa, less than the 19.7 kPa.
    check.same(f"{name}: guard banded", word, guarded)
    check.same(f"{name}: simple", simple, "pass")
check.finish(at_least=37)
