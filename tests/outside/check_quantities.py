"""Quantities and expressions against Pint, a general units library from PyPI."""

import itertools
import json

import pint
from outside import Check, run

units = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
check = Check("quantities and expressions", f"Pint {pint.__version__}")

# Our text, Pint's text of the same expression. Units of every dimension that files use.
ATOMS = {
    "voltage": [("12 V", "12 V"), ("230 V", "230 V"), ("85 mV", "85 mV"), ("0.4 kV", "0.4 kV")],
    "current": [("32 A", "32 A"), ("6 mA", "6 mA"), ("250 µA", "250 uA")],
    "resistance": [("2740 Ω", "2740 ohm"), ("1.3 kΩ", "1.3 kohm"), ("29 mΩ", "29 mohm"), ("1 MΩ", "1 Mohm")],
    "time": [("100 ms", "100 ms"), ("3 s", "3 s"), ("12 h", "12 hour"), ("5 min", "5 minute"), ("2 µs", "2 us")],
    "frequency": [("1 kHz", "1 kHz"), ("50 Hz", "50 Hz"), ("20 MHz", "20 MHz")],
    "capacitance": [("3.1 nF", "3.1 nF"), ("300 pF", "300 pF"), ("0.47 µF", "0.47 uF")],
    "inductance": [("10 mH", "10 mH"), ("2 µH", "2 uH")],
    "power": [("7.36 kW", "7.36 kW"), ("26 W", "26 W")],
    "energy": [("1.5 kWh", "1.5 kWh"), ("0.2 J", "0.2 J"), ("350 mJ", "350 mJ")],
    "charge": [("50 µC", "50 uC"), ("2 C", "2 coulomb")],
    "length": [("5 m", "5 m"), ("3 mm", "3 mm")],
    "area": [("6 mm²", "6 mm**2"), ("0.5 m²", "0.5 m**2")],
    "temperature difference": [("50 K", "50 K"), ("2.5 K", "2.5 K")],
    "force": [("200 N", "200 N"), ("1.2 kN", "1.2 kN")],
    "ratio": [("0.25", "0.25"), ("3", "3")],
}


def cases():
    for atoms in ATOMS.values():
        yield from atoms
        for (a, pa), (b, pb) in itertools.combinations(atoms, 2):
            yield f"{a} + {b}", f"({pa}) + ({pb})"
            yield f"{a} - {b}", f"({pa}) - ({pb})"
            yield f"{a} / ({b})", f"({pa}) / ({pb})"
    firsts = [atoms[0] for atoms in ATOMS.values()]
    for (a, pa), (b, pb) in itertools.permutations(firsts, 2):
        yield f"{a} * {b}", f"({pa}) * ({pb})"
    yield "(12 V - 0.7 V) * 882 Ω / (1 kΩ + 882 Ω)", "(12 V - 0.7 V) * 882 ohm / (1 kohm + 882 ohm)"
    yield "sqrt(230 V * 230 V + 10 V * 10 V)", "((230 V)**2 + (10 V)**2)**0.5"
    yield "25 % of 32 A", "0.25 * 32 A"
    yield "2 * 0.0225 Ω * 30 / 6 * 32 A", "2 * 0.0225 ohm * 30 / 6 * 32 A"
    yield "0.5 * 3 mm * (2 N) / 1 m", "0.5 * 3 mm * 2 N / (1 m)"


all_cases = list(cases())
answers = run("calc", "-", "--json", text_in="\n".join(ours for ours, _ in all_cases) + "\n").splitlines()
check.same("one answer a line", len(answers), len(all_cases))
for (ours, theirs), answer in zip(all_cases, answers):
    outside = units.parse_expression(theirs.replace("²", "**2"))
    outside = outside.to_base_units().magnitude if hasattr(outside, "to_base_units") else outside
    value = json.loads(answer)
    if "si" not in value:
        check.holds(ours, False, answer)
        continue
    check.compare(ours, value["si"], float(outside), rel=1e-12)

# Temperatures on a scale with an offset.
for ours, theirs in [("90 °C", units.Quantity(90, "degC")), ("-40 °C", units.Quantity(-40, "degC")), ("23.5 °C", units.Quantity(23.5, "degC"))]:
    value = json.loads(run("calc", ours, "--json"))["si"]
    check.compare(ours, value, theirs.to("kelvin").magnitude, rel=1e-12)

# What Pint refuses, we refuse.
for ours, theirs in [("5 V + 2 A", "5 V + 2 A"), ("3 s - 1 Hz", "3 s - 1 Hz"), ("1 kΩ + 1 nF", "1 kohm + 1 nF")]:
    refused = False
    try:
        units.parse_expression(theirs)
    except pint.DimensionalityError:
        refused = True
    check.same(f"{ours} is refused by Pint", refused, True)
    run("calc", ours, expect=2)
    check.agreed += 1

check.finish(at_least=200)
