"""PyVISA with pyvisa-py, an independent client, drives the served virtual bench over TCP through every command that the
acceptance uses: identities, error queues, settings with their read-back, measurements, and waveform blocks.

The commands are read from the journal of a rehearsal, so that a command which the acceptance gains is tried here too. Before
that, PyVISA alone takes a pilot in state B from the waveform block, and NumPy finds the published level of 2740 Ω behind a
diode on 12 V and 1 kΩ (8.979 V), 12 V below zero, and 1 kHz.
"""

import json
import re
import subprocess
import tempfile
import time
from pathlib import Path

import numpy as np
import pyvisa

from outside import Check, program, run

check = Check("served virtual bench", f"PyVISA {pyvisa.__version__} with pyvisa-py")
PACE = 20
# Queries whose replies depend on the moment or on a person; all others must answer as in the rehearsal.
MOMENTARY = re.compile(r"MEASure|DIGital|STATus|TRACe")


def journal_exchanges(journal):
    """The exchanges of each event in order: [(instrument, sent, received), …]."""
    for line in journal.read_text(encoding="utf-8").splitlines():
        event = json.loads(line.partition(" ")[2])
        yield [(e["instrument"], e["sent"], e["received"]) for e in event.get("exchanges", [])]


def wanted(journal):
    """Every text that was sent, once; the query that reads a setting back follows it each time."""
    seen, found = set(), []
    for exchanges in journal_exchanges(journal):
        fresh = False
        for instrument, sent, received in exchanges:
            if fresh or (instrument, sent) not in seen:
                found.append((instrument, sent, received))
            fresh = (instrument, sent) not in seen and ";" in sent
            seen.add((instrument, sent))
    return found


def wait_for_capture(link):
    deadline = time.time() + 20
    while int(float(link.query("STATus:OPERation:CONDition?"))) != 0:
        if time.time() > deadline:
            check.holds("the capture ends", False, "still running after 20 s")
            return
        time.sleep(0.01)


def block(link, query):
    return link.query_binary_values(query, datatype="h", is_big_endian=False, container=np.array)


def volts(link, channel):
    """A captured channel, scaled by its own reply."""
    offset, step = (float(part) for part in link.query(f"TRACe:SCALing? (@{channel})").split(","))
    return offset + step * block(link, f"TRACe:DATA? (@{channel})")


def pilot_in_b(links):
    """Power, 3 s, a vehicle, 3 s, then a capture: all in the bench's own time."""
    links["supply"].write("VOLTage 230;FREQuency 50;OUTPut ON")
    time.sleep(3 / PACE)
    links["pilot_box"].write("ROUTe:PILot B")
    time.sleep(3 / PACE)
    links["scope"].write("ACQuire:SRATe 1000000;:ACQuire:POINts 40000;:INITiate")
    wait_for_capture(links["scope"])
    samples = volts(links["scope"], 1)
    check.same("as many samples as were asked for", samples.size, 40000)
    high, low = np.median(samples[samples > 0]), np.median(samples[samples < 0])
    # The capture instrument is good for 0.5 % and 20 mV of offset; its worst corner does not cover 1 %.
    check.compare("high level in state B", high, 8.979, abs_=0.06)
    check.compare("low level in state B", low, -12.0, abs_=0.08)
    rising = np.flatnonzero((samples[:-1] < 0) & (samples[1:] >= 0))
    check.compare("frequency", 1e6 / np.diff(rising).mean(), 1000.0, rel=1e-3)
    links["pilot_box"].write("ROUTe:PILot A")
    links["supply"].write("OUTPut OFF")


def replay(links, commands):
    blocks, points = 0, 0
    for instrument, sent, received in commands:
        link = links[instrument]
        if "TRACe:DATA?" in sent:
            samples = block(link, sent)
            check.same(f"{instrument}: {sent}: as many samples as were asked for", samples.size, points)
            blocks += 1
            continue
        points = int((re.search(r"POINts (\d+)", sent) or [0, points])[1])
        reply = link.query(sent)
        if not MOMENTARY.search(sent):
            check.same(f"{instrument}: {sent}", reply, received)
        elif "TRACe:SCALing?" not in sent:
            # The queue of errors may be asked in the same message: its reply follows behind a semicolon (IEEE 488.2).
            errors = ';0,"No error"' if sent.endswith(";:SYSTem:ERRor?") else ""
            check.holds(f"{instrument}: {sent}: a number", re.fullmatch(r"[-+]?\d+(\.\d*)?(E[-+]\d+)?" + errors, reply), repr(reply))
        if "INITiate" in sent:
            wait_for_capture(link)
    check.holds("waveforms were fetched", blocks >= 2, str(blocks))


with tempfile.TemporaryDirectory() as folder:
    out = Path(folder) / "out"
    run("rehearse", "wall_unit/acceptance_single_phase", "--no-pdf", "--out", out)
    commands = wanted(out / "journal.txt")
server = subprocess.Popen([program(), "bench", "serve", "--pace", str(PACE), "--port", "0", "--json"], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
try:
    ports = json.loads(server.stdout.readline())["ports"]
    manager = pyvisa.ResourceManager("@py")
    links = {}
    for name, port in ports.items():
        links[name] = manager.open_resource(f"TCPIP::127.0.0.1::{port}::SOCKET", read_termination="\n", write_termination="\n", timeout=5000)
        check.same(f"{name}: four fields", len(links[name].query("*IDN?").split(",")), 4)
        links[name].write("*RST")
        links[name].write("*CLS")
    check.holds("every instrument of the acceptance is served", {i for i, _, _ in commands} <= set(ports), str(ports))
    pilot_in_b(links)
    replay(links, commands)
    for name, link in links.items():
        check.holds(f"{name}: no error is left", link.query("SYSTem:ERRor?").startswith(("0,", "+0,")))
    links["meter"].write("NONSENSE:COMMAND 5")
    check.holds("nonsense gives -113", links["meter"].query("SYSTem:ERRor?").startswith("-113"))
finally:
    server.terminate()
    server.wait(timeout=10)
check.finish(at_least=200)
