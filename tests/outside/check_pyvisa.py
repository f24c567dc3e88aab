"""PyVISA with pyvisa-py, an independent client, drives the served virtual bench over TCP through every command that the
acceptance uses: identities, error queues, settings with their read-back, measurements, and a waveform block.

The list of commands is read from the trace of a rehearsal's journal, so that a command which the acceptance gains is tried
here too.
"""

import json
import subprocess
import tempfile
import time
from pathlib import Path

import numpy as np
import pyvisa

from outside import Check, program, run

check = Check("served virtual bench", f"PyVISA {pyvisa.__version__} with pyvisa-py")


def exchanges(journal):
    """(instrument, sent, expects a reply) of every exchange of a journal, each text once."""
    found = {}
    for line in journal.read_text().splitlines():
        stack = [json.loads(line)]
        while stack:
            node = stack.pop()
            if isinstance(node, dict):
                if "sent" in node and "instrument" in node:
                    found.setdefault((node["instrument"], node["sent"]), node.get("received") is not None)
                stack.extend(node.values())
            elif isinstance(node, list):
                stack.extend(node)
    return [(instrument, sent, reply) for (instrument, sent), reply in found.items()]


with tempfile.TemporaryDirectory() as folder:
    out = Path(folder) / "out"
    run("rehearse", "wall_unit/acceptance_single_phase", "--no-pdf", "--out", out)
    commands = exchanges(next((out / "record").glob("journal*")))
server = subprocess.Popen([program(), "bench", "serve", "--pace", "20", "--port", "46025", "--json"], stdout=subprocess.PIPE, text=True)
try:
    ports = json.loads(server.stdout.readline())["ports"]
    manager = pyvisa.ResourceManager("@py")
    links = {}
    for name, port in ports.items():
        links[name] = manager.open_resource(f"TCPIP::127.0.0.1::{port}::SOCKET", read_termination="\n", write_termination="\n", timeout=5000)
        reply = links[name].query("*IDN?")
        check.same(f"{name}: four fields", len(reply.split(",")), 4)
        links[name].write("*CLS")
    check.holds("every instrument of the acceptance is served", {i for i, _, _ in commands} <= set(ports), str(ports))
    blocks = 0
    for instrument, sent, reply in commands:
        link = links[instrument]
        if "TRACe:DATA?" in sent or "TRAC:DATA?" in sent:
            samples = link.query_binary_values(sent.split(";")[0], datatype="h", is_big_endian=False, container=np.array)
            check.holds(f"{instrument}: {sent}: a block of samples", samples.size > 100, str(samples.size))
            blocks += 1
        elif reply:
            answer = link.query(sent)
            check.holds(f"{instrument}: {sent}: a reply", answer != "", repr(answer))
        else:
            link.write(sent)
        deadline = time.time() + 20
        while "INITiate" in sent and int(float(link.query("STATus:OPERation:CONDition?"))) != 0 and time.time() < deadline:
            time.sleep(0.01)
    check.holds("a waveform was fetched", blocks > 0)
    for name, link in links.items():
        check.holds(f"{name}: no error is left", link.query("SYSTem:ERRor?").startswith(("0,", "+0,")))
    links["meter"].write("NONSENSE:COMMAND 5")
    check.holds("nonsense gives -113", links["meter"].query("SYSTem:ERRor?").startswith("-113"))
finally:
    server.terminate()
    server.wait(timeout=10)
check.finish(at_least=40)
