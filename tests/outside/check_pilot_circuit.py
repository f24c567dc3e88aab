"""The pilot circuit of the virtual bench against ngspice, from both ends of the plug: every state, edges with 0.3, 3.1 and 5.5 nF, diode
missing and shorted; a charger at an exact source, with a leak too.

ngspice solves the deck written here (source, 1 kΩ, capacitor, exponential diode of 0.70 V at 5 mA, resistor). The example
`pilot_levels` prints what pulse analysis makes of a capture of the same circuit on the virtual bench; `charger_levels` does it for the
pilot circuit of a charger. Levels agree within
0.5 %, edges within 0.5 % and 0.1 µs, the width within 0.1 µs. A missing diode leaves its branch open.
"""

import json
import re
import subprocess
import tempfile
from pathlib import Path

from outside import Check, run

check = Check("pilot circuit", "ngspice")
LOADS = {"A": 1e9, "B": 2740.0, "C": 881.683, "D": 245.781}
DECK = """* pilot circuit
Vs src 0 PULSE(-12 12 100u 10n 10n {width} 1m)
Rs src cp 1000
Cp cp 0 {capacity} IC=-12
{load}
.model DSI D(IS=8.82e-15 N=1 RS=0 CJO=0 TT=0)
.options reltol=1e-6 abstol=1e-13 vntol=1e-9 chgtol=1e-18 trtol=1 method=gear temp=27
.tran 20n 2.3m 0 20n uic
.control
run
meas tran vh FIND v(cp) AT=1.599m
meas tran vl FIND v(cp) AT=2.099m
let v10 = vl+0.1*(vh-vl)
let v90 = vl+0.9*(vh-vl)
meas tran trise TRIG v(cp) VAL=$&v10 RISE=2 TARG v(cp) VAL=$&v90 RISE=2
meas tran tfall TRIG v(cp) VAL=$&v90 FALL=2 TARG v(cp) VAL=$&v10 FALL=2
meas tran w0 TRIG v(cp) VAL=0 RISE=2 TARG v(cp) VAL=0 FALL=2
quit
.endc
.end
"""


def spice(state, capacity, diode):
    resistance = LOADS[state]
    load = {"present": f"D1 cp n DSI\nRl n 0 {resistance}", "shorted": f"Rl cp 0 {resistance}", "missing": "Rl cp 0 1e9", "leaky": f"D1 cp n DSI\nRl n 0 {resistance}\nRk cp 0 20k"}[diode]
    with tempfile.TemporaryDirectory() as folder:
        deck = Path(folder) / "deck.cir"
        deck.write_text(DECK.format(width="499.99u", capacity=capacity, load=load))
        printed = subprocess.run(["ngspice", "-b", str(deck)], capture_output=True, text=True).stdout
    return {name: float(re.search(rf"^{name}\s*=\s*(\S+)", printed, re.M).group(1)) for name in ("vh", "vl", "trise", "tfall", "w0")}


def both(name, ours, outside):
    ours = json.loads(ours)
    check.compare(f"{name}: high", ours["high_v"], outside["vh"], rel=0.005)
    check.compare(f"{name}: low", ours["low_v"], outside["vl"], rel=0.005)
    check.compare(f"{name}: rise", ours["rise_s"], outside["trise"], rel=0.005, abs_=1e-7)
    check.compare(f"{name}: fall", ours["fall_s"], outside["tfall"], rel=0.005, abs_=1e-7)
    check.compare(f"{name}: width at 0 V", ours["width_s"], outside["w0"], abs_=1e-7)


for state in "ABCD":
    for capacity in (0.3e-9, 3.1e-9, 5.5e-9):
        for diode in ("present", "shorted", "missing") if capacity == 3.1e-9 and state != "A" else ("present",):
            ours = run(state, capacity, diode, name="examples/pilot_levels")
            both(f"{state} {capacity * 1e9:.1f} nF diode {diode}", ours, spice(state, capacity, diode))
for state in "BC":
    for capacity in (1.3e-9, 5.5e-9):
        for diode in ("present", "shorted", "missing", "leaky"):
            ours = run(state, capacity, diode, name="examples/charger_levels")
            both(f"charger {state} {capacity * 1e9:.1f} nF diode {diode}", ours, spice(state, capacity, diode))
check.finish(at_least=160)
