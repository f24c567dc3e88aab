"""Shared by the checks against the outside: where the binary is, and comparisons that prove that they can fail.

Every comparison is made twice: once with our value, which must agree, and once with an error of 1 % planted into it, which
must not. A check whose tolerance is too wide to see 1 % fails itself.
"""

import json
import math
import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
TARGET = Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target"))


def program(name="pilotage"):
    """Path of a built program (`pilotage`) or example (`examples/NAME`)."""
    for profile in ("debug", "release"):
        path = TARGET / profile / name
        if path.exists():
            return str(path)
    sys.exit(f"{name} is not built: run cargo build --bins --examples first")


def run(*arguments, expect=0, text_in=None, name="pilotage"):
    """Runs the program and returns its standard output."""
    done = subprocess.run([program(name), *map(str, arguments)], input=text_in, capture_output=True, text=True, cwd=ROOT)
    if expect is not None and done.returncode != expect:
        sys.exit(f"{name} {' '.join(map(str, arguments))}: exit {done.returncode}, expected {expect}\n{done.stdout}\n{done.stderr}")
    return done.stdout


def run_json(*arguments, expect=0, text_in=None, name="pilotage"):
    """Runs the program and returns its standard output as JSON."""
    return json.loads(run(*arguments, expect=expect, text_in=text_in, name=name))


class Check:
    """Counts comparisons; `finish` says the result and exits."""

    def __init__(self, title, source):
        self.title, self.source = title, source
        self.agreed, self.wrong = 0, []

    def compare(self, what, ours, outside, rel=None, abs_=None):
        """Ours against the outside value, within a relative and an absolute tolerance: the narrower one where both are
        given. Our value made larger or smaller by 1 % must not agree any more (by ten tolerances where it is 0)."""
        ours, outside = float(ours), float(outside)
        tolerance = min(abs_ if abs_ is not None else math.inf, rel * abs(outside) if rel is not None else math.inf)
        planted = 0.01 * abs(outside) or 10 * tolerance
        if not abs(ours - outside) <= tolerance:
            self.wrong.append(f"{what}: ours {ours!r}, outside {outside!r}, tolerance {tolerance!r}")
        elif any(abs(ours + error - outside) <= tolerance for error in (planted, -planted)) and tolerance > 0:
            self.wrong.append(f"{what}: a planted error of 1 % is not noticed (ours {ours!r}, tolerance {tolerance!r})")
        else:
            self.agreed += 1

    def same(self, what, ours, outside):
        """Ours and the outside value must be equal (words, counts, verdicts)."""
        if ours == outside:
            self.agreed += 1
        else:
            self.wrong.append(f"{what}: ours {ours!r}, outside {outside!r}")

    def holds(self, what, condition, detail=""):
        """Something that an outside program says must hold."""
        if condition:
            self.agreed += 1
        else:
            self.wrong.append(f"{what}: {detail}")

    def finish(self, at_least=1):
        """Says the result; too few comparisons are a failure of the check."""
        if self.agreed + len(self.wrong) < at_least:
            self.wrong.append(f"only {self.agreed + len(self.wrong)} comparisons, wanted at least {at_least}")
        print(f"   {self.title} against {self.source}: {self.agreed} passed, {len(self.wrong)} failed")
        for line in self.wrong[:20]:
            print(f"      {line}")
        sys.exit(1 if self.wrong else 0)
