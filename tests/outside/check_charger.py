"""The power side of the virtual charger against ngspice and against NumPy and SciPy.

ngspice solves the decks written here: the bridge that charges the bulk capacitor through its resistor, with the bypass that comes in
time or too early; the output after its sink has gone, with its control and its choke; charging and discharging the output. SciPy
solves the input's power for a charger at rest, and NumPy takes orders and ripple out of samples. The example `charger_power` prints
what the virtual bench shows. Everything agrees within 1 %, most of it within 0.5 %, and an error of 1 % is noticed.
"""

import json
import math
import re
import subprocess
import tempfile
from pathlib import Path

import numpy as np
from outside import Check, run
from scipy.optimize import brentq

check = Check("charger's power side", "ngspice, NumPy and SciPy")
EXACT = {"z_source": 0.2, "l_source": 50e-6, "supply_h3": 0.0, "supply_h5": 0.0, "supply_h7": 0.0, "k_temperature": 0.0, "i_switching": 0.0}


def spice(deck, names):
    """Runs a deck; the values of its measurements."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "deck.cir"
        path.write_text(deck)
        printed = subprocess.run(["ngspice", "-b", str(path)], capture_output=True, text=True, timeout=120).stdout
    return [float(re.search(rf"^{name}\s*=\s*(\S+)", printed, re.M).group(1)) for name in names]


def ours(*arguments, **changes):
    return json.loads(run(*arguments, *(f"{k}={v!r}" for k, v in (EXACT | changes).items()), name="examples/charger_power"))


# ---- inrush: rectified source, impedance and choke, resistor with its bypass, nearly ideal diode, bulk capacitor ----
INRUSH = """* inrush
Bs s 0 V = abs({crest}*sin(314.159265358979*time + {angle}))
Lz s b {henry}
Rz b m 0.2
Rn m q 47
S1 m r ctl 0 SW
Rb r q 0.05
Rq q 0 100k
D1 q p DI
Cb p 0 1.2m IC=0
Vc ctl 0 PULSE(0 1 {bypass} 1u 1u 10 20)
.model DI D(IS=1e-9 N=0.2)
.model SW SW(VT=0.5 VH=0.1 RON=1e-4 ROFF=1e8)
.tran 5u 40m 0 5u uic
.control
run
{measures}
quit
.endc
.end
"""
HALVES = [(0, 10), (10, 20), (20, 30), (30, 40)]
for angle, bypass in ((math.pi / 2, 0.5), (math.pi / 4, 0.5), (0.0, 0.5), (math.pi / 2, 0.012), (0.0, 0.025)):
    shown = np.abs(ours("inrush", angle, t_bypass=bypass, c_x=0.0)["amps"])
    measures = "\n".join(f"meas tran p{k} MAX i(Lz) from={a}m to={b}m" for k, (a, b) in enumerate(HALVES))
    names = [f"p{k}" for k in range(len(HALVES))]
    deck = INRUSH.format(crest=math.sqrt(2) * 230, angle=angle, henry=300e-6, bypass=bypass, measures=measures)
    peaks = spice(deck, names)
    for k, (a, b) in enumerate(HALVES):
        if peaks[k] < 0.1:
            # Nothing conducts: what the bench shows is nothing either.
            check.holds(f"no inrush at {angle:.2f} rad, {a} to {b} ms", shown[a * 100 : b * 100].max() < 0.01)
            continue
        check.compare(f"inrush at {angle:.2f} rad, bypass after {bypass} s, {a} to {b} ms", shown[a * 100 : b * 100].max(), peaks[k], rel=0.006)

# ---- load dump: the control brings the current down from 420 V on; at its stop the choke gives what it has ----
CONTROL = """* the output without its sink, until the stop
B1 0 x I = v(out) > 420 ? -v(x)/{tau} : 0
Cx x 0 1 IC={amps}
B2 0 out I = v(x)
Co out 0 30u IC={battery}
.tran 0.2u 400u 0 0.2u uic
.control
run
meas tran stopped WHEN v(out)={stop} RISE=1
meas tran left FIND v(x) WHEN v(out)={stop} RISE=1
meas tran half FIND v(out) AT=60u
quit
.endc
.end
"""
CHOKE = """* what is in the choke goes into the output's capacitance
L1 0 d 100u IC={left}
D1 d out DI
Co out 0 30u IC={stop}
.model DI D(IS=1e-9 N=0.2)
.tran 0.1u 300u 0 0.1u uic
.control
run
meas tran peak MAX v(out)
quit
.endc
.end
"""
for battery, ratio, choke in ((400.0, 1.05, 100e-6), (350.0, 1.05, 100e-6), (400.0, 1.3125, 100e-6)):
    shown = ours("dump", battery, ovp_ratio=ratio, r_out_bleed=1e9)
    volts, stop = np.array(shown["volts"]), 420 * ratio
    stopped, left, half = spice(CONTROL.format(tau=1 / (2 * math.pi * 80), amps=shown["amps"], battery=battery, stop=stop), ["stopped", "left", "half"])
    (peak,) = spice(CHOKE.format(left=left, stop=stop), ["peak"])
    check.compare(f"load dump from {battery} V: at 60 us", volts[60], half, rel=0.003)
    check.compare(f"load dump from {battery} V, stop at {stop} V: peak", volts.max(), peak, rel=0.003)

# ---- charging the output from the battery, and discharging it ----
RC = """* resistor and capacitance
V1 b 0 {source}
R1 b out {ohm}
Rm out 0 {beside}
Co out 0 30u IC={first}
.options reltol=1e-6
.tran 10u 0.4 0 10u uic
.control
run
meas tran one FIND v(out) AT=10m
meas tran two FIND v(out) AT=30m
meas tran three FIND v(out) AT=100m
quit
.endc
.end
"""
for battery, ohm in ((400.0, 1000.0), (300.0, 900.0)):
    volts = [battery + amps * ohm for amps in ours("precharge", battery, r_precharge=ohm)["amps"]]
    outside = spice(RC.format(source=battery, ohm=ohm, beside=1 / (1 / 1e6 + 1 / 10e6), first=volts[0]), ["one", "two", "three"])
    for moment, value in zip((100, 300, 1000), outside):
        check.compare(f"precharge from {battery} V after {moment / 10} ms", volts[moment], value, rel=0.005)
for battery, ohm in ((400.0, 20e3), (300.0, 18e3)):
    volts = ours("discharge", battery, r_out_active=ohm)["volts"]
    outside = spice(RC.format(source=0, ohm=ohm, beside=1 / (1 / 1e6 + 1 / 10e6), first=volts[0]), ["one", "two", "three"])
    for moment, value in zip((10, 30, 100), outside):
        check.compare(f"discharge from {battery} V after {moment} ms", volts[moment], value, rel=0.005)

# ---- at rest: power law, supply's impedance, orders, ripple ----
SHAPE = np.array([0.68, 0.40, 0.27, 0.18, 0.14, 0.11] + [0.09] * 13)
OMEGA = 2 * math.pi * 50
for battery, amps, c_bulk, width in ((400.0, 15.0, 1.2e-3, 1.0), (350.0, 18.0, 1.2e-3, 1.0), (300.0, 6.0, 1.2e-3, 1.0), (400.0, 2.0, 1.2e-3, 1.0), (400.0, 15.0, 0.66e-3, 1 / 3)):
    case = f"{battery} V {amps} A, {c_bulk * 1e3} mF, bandwidth {width:.2f}"
    shown = ours("steady", battery, amps, c_bulk=c_bulk, pfc_bandwidth=width)
    v, i, dc_v, dc_i = (np.array(shown[name]) for name in ("volts", "amps", "dc_volts", "dc_amps"))
    spectrum = 2 * np.abs(np.fft.rfft(i)) / len(i) / math.sqrt(2)
    orders = spectrum[::10][:41]
    out_w = battery * amps
    beside = 1 / (1 / 1e6 + 1 / 10e6)
    through_w = out_w + battery**2 / beside
    pins = 1j * OMEGA * 2.2e-6 + 1 / 1e6 + 1 / 10e6
    z = 0.2 + 1j * OMEGA * 50e-6

    def volts_at(siemens):
        return abs(230 / (1 + z * (siemens + pins)))

    def lacks(siemens):
        volts = volts_at(siemens)
        conduction = 3.6e-6 * (230 / volts) ** 2 * (0.5 + 0.5 * (420 / battery) ** 2)
        lost_w = 30 + 0.022 * through_w + conduction * through_w**2
        return siemens * volts**2 - through_w - lost_w - 400**2 / 40e3

    siemens = brentq(lacks, 0, 1)
    volts, first = volts_at(siemens), abs((siemens + pins) * volts_at(siemens))
    check.compare(f"{case}: V at the pins", np.sqrt(np.mean(v**2)), volts, rel=0.001)
    check.compare(f"{case}: W in", np.mean(v * i), siemens * volts**2, rel=0.003)
    check.compare(f"{case}: first order of the current", orders[1], first, rel=0.003)
    check.compare(f"{case}: A out", np.mean(dc_i), amps, rel=0.001)
    load = siemens * volts / 32
    thd = 0.043 / width * (0.8 + 0.2 / load)
    for place in (3, 5, 7, 11, 25, 39):
        expected = siemens * volts * thd * SHAPE[(place - 3) // 2] / np.sqrt(np.sum(SHAPE**2))
        check.compare(f"{case}: order {place}", orders[place], expected, rel=0.005)
    ripple = 2 * np.abs(np.fft.rfft(dc_i))[20] / len(dc_i) / np.mean(dc_i)
    check.compare(f"{case}: ripple of the output", ripple, 0.26 * siemens * volts**2 / (2 * OMEGA * c_bulk * 400**2), rel=0.008)
check.finish(at_least=80)
