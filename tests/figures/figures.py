"""Measures the figures that the project promises and prints them beside their bars; tests/figures/run builds what it needs."""

import argparse
import filecmp
import json
import os
import pathlib
import shutil
import socket
import statistics
import subprocess
import sys
import time

ACCEPTANCE = "wall_unit/acceptance_single_phase"
CPU = "0"
ROUNDS = 7
READINGS = 20_000
REPORT_PARTS = ("document", "junit_and_csv", "pdf", "write_reports")


class Table:
    """Rows as they are measured, printed at once and kept for the JSON file."""

    def __init__(self):
        self.rows = []

    def add(self, what, bar, measured, beside="", met=None):
        word = {True: "met", False: "MISSED", None: ""}[met]
        print(f"{what}\n    bar {bar}\n    measured {measured}" + (f"\n    beside {beside}" if beside else "") + (f"\n    {word}" if word else ""), flush=True)
        self.rows.append({"what": what, "bar": bar, "measured": measured, "beside": beside, "met": met})

    def missed(self):
        return [row["what"] for row in self.rows if row["met"] is False]


def spread(values, unit, digits=1):
    """Median with the lowest and the highest."""
    return f"{statistics.median(values):.{digits}f} {unit} ({min(values):.{digits}f} to {max(values):.{digits}f}, n = {len(values)})"


def pinned(*command):
    return ["taskset", "-c", CPU, *map(str, command)]


def timed(command, allowed=(0,)):
    """Milliseconds of a whole process, and what it wrote."""
    began = time.perf_counter()
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    spent = (time.perf_counter() - began) * 1e3
    if done.returncode not in allowed:
        sys.exit(f"{' '.join(command)} ended with {done.returncode}:\n{done.stderr[-2000:]}")
    return spent, done


class Bench:
    """Paths of what was built."""

    def __init__(self, target):
        release = target / "release"
        self.pilotage = release / "pilotage"
        self.probe = release / "examples" / "probe"
        self.pulse = release / "examples" / "pulse_speed"
        self.work = target / "figures"
        self.peers = pathlib.Path(os.environ["PEERS"])
        self.client = self.work / "bare_client"
        self.python = self.work / "venv" / "bin" / "python"

    def fresh(self, name):
        folder = self.work / name
        shutil.rmtree(folder, ignore_errors=True)
        return folder


class Instrument:
    """The echo instrument, pinned to the processor of its clients, on a free port."""

    def __init__(self, bench):
        with socket.create_server(("127.0.0.1", 0)) as free:
            self.port = free.getsockname()[1]
        self.process = subprocess.Popen(pinned(bench.work / "echo_instrument", self.port))
        for _ in range(100):
            try:
                socket.create_connection(("127.0.0.1", self.port)).close()
                return
            except OSError:
                time.sleep(0.02)
        sys.exit("the echo instrument does not listen")

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.process.kill()
        self.process.wait()


def disk(bench, table):
    """Which disk, and how long it takes to sync a line of 200 bytes."""
    file = bench.work / "sync"
    spans = []
    with open(file, "wb", buffering=0) as out:
        for _ in range(200):
            began = time.perf_counter()
            out.write(b"x" * 199 + b"\n")
            os.fdatasync(out.fileno())
            spans.append((time.perf_counter() - began) * 1e3)
    file.unlink()
    spans.sort()
    found = subprocess.run(["findmnt", "-no", "SOURCE,FSTYPE", "-T", str(bench.work)], capture_output=True, text=True, check=False)
    name = found.stdout.strip() or "unknown disk"
    table.add("disk under the records", "-", f"{name}: write and fdatasync of 200 bytes {spans[100]:.3f} ms median, {spans[197]:.3f} ms p99")


def rehearse(bench, name, *more, sequence=ACCEPTANCE, allowed=(0,)):
    """Not pinned: nothing is compared, and pages are laid out on all processors."""
    folder = bench.fresh(name)
    command = [str(bench.pilotage), "rehearse", sequence, "--out", str(folder), "--times", *more]
    spent, done = timed(command, allowed)
    return spent, json.loads(done.stderr.splitlines()[-1])


def shares(runs):
    """Median of each part, as a share of the median of the whole."""
    whole = statistics.median(run["whole_ms"] for run in runs)
    parts = {part: statistics.median(run["parts_ms"][part] for run in runs) for part in runs[0]["parts_ms"]}
    ranked = sorted(parts.items(), key=lambda part: -part[1])
    return ", ".join(f"{part} {span:.1f} ms ({span / whole:.0%})" for part, span in ranked)


def rehearsals(bench, table):
    for what, bar, more in [
        ("rehearsal of the acceptance, whole process, all reports", 600, []),
        ("the same without PDF", 300, ["--no-pdf"]),
    ]:
        rehearse(bench, "rehearsal", *more)
        runs = [rehearse(bench, "rehearsal", *more) for _ in range(ROUNDS)]
        spans = [spent for spent, _ in runs]
        parts = shares([times for _, times in runs])
        table.add(what, f"at most {bar} ms", spread(spans, "ms"), f"its parts: {parts}", statistics.median(spans) <= bar)


def all_sequences(bench, table):
    """Every shipped sequence on a good item: everything but what makes reports, and beside it the whole processes with JUnit and CSV."""
    files = sorted(pathlib.Path("sequences").glob("*/*.yaml"))
    names = [str(file.with_suffix("").relative_to("sequences")) for file in files if "pilotage: sequence/" in file.read_text()]
    without, whole = {}, {}
    for name in names:
        runs = [rehearse(bench, "rehearsal", "--no-pdf", sequence=name) for _ in range(ROUNDS)]
        of_reports = [sum(times["parts_ms"].get(part, 0.0) for part in REPORT_PARTS) for _, times in runs]
        without[name] = statistics.median(times["whole_ms"] - reports for (_, times), reports in zip(runs, of_reports))
        whole[name] = statistics.median(spent for spent, _ in runs)
    total = sum(without.values())
    each = ", ".join(f"{name} {span:.0f}" for name, span in sorted(without.items(), key=lambda row: -row[1]))
    table.add(
        f"all {len(names)} shipped sequences rehearsed on good items, no reports",
        "under 3000 ms together",
        f"{total:.0f} ms ({each}); whole processes with JUnit and CSV {sum(whole.values()):.0f} ms",
        met=total < 3000,
    )


def identical(bench, table):
    """Two rehearsals with one seed: every file of the two folders, byte for byte."""
    folders = [bench.fresh("first"), bench.fresh("second")]
    for folder in folders:
        timed(pinned(bench.pilotage, "rehearse", ACCEPTANCE, "--out", folder, "--seed", "7"))
    files = [sorted(path.relative_to(folder) for path in folder.rglob("*") if path.is_file()) for folder in folders]
    same = files[0] == files[1] and not any(filecmp.cmpfiles(*folders, map(str, files[0]), shallow=False)[1:])
    size = sum((folders[0] / file).stat().st_size for file in files[0]) / 1e6
    table.add("two rehearsals with one seed", "byte-identical folders", f"{len(files[0])} files, {size:.1f} MB: {'identical' if same else 'DIFFERENT'}", met=same)


def sixty(bench, table, instrument):
    """Ours and the peer's in turn."""
    peer = [bench.python, bench.peers / "script_peer.py", "--mode", "plain", "--journal", "fsync", "--port", instrument.port]
    ours, theirs, parts = [], [], []
    for round_ in range(ROUNDS + 1):
        spent, done = timed(pinned(bench.probe, "sixty", instrument.port, bench.fresh("sixty")))
        said = json.loads(done.stdout)
        if said["passed"] != 60:
            sys.exit(f"sixty readings: {said}")
        peers = bench.fresh("sixty-peer")
        other, _ = timed(pinned(*peer, "--out", peers))
        if round_:
            ours.append(spent)
            theirs.append(other)
            parts.append(said["times"])
    pages = pdf_pages(bench.work / "sixty" / "reports" / "sixty.pdf")
    ratio = statistics.median(ours) / statistics.median(theirs)
    table.add(
        "60 readings over TCP, journal synced at each, JUnit and PDF, whole process",
        "at most half of the peer's time",
        f"{spread(ours, 'ms')}: {ratio:.2f} of the peer; {pages} pages; {shares(parts)}",
        f"script_peer.py --mode plain --journal fsync: {spread(theirs, 'ms')}",
        ratio <= 0.5,
    )


def pdf_pages(path):
    info = shutil.which("pdfinfo")
    if not info:
        return "unknown number of"
    lines = subprocess.run([info, str(path)], capture_output=True, text=True, check=True).stdout.splitlines()
    return next(line.split()[1] for line in lines if line.startswith("Pages:"))


def round_trips(bench, table, instrument):
    ours, bare = [], []
    for _ in range(ROUNDS):
        _, done = timed(pinned(bench.client, instrument.port, READINGS))
        bare.append(json.loads(done.stdout)["rts"] / 1e3)
        _, done = timed(pinned(bench.probe, "readings", instrument.port, READINGS))
        ours.append(json.loads(done.stdout)["rts"] / 1e3)
    ratio = statistics.median(our / their for our, their in zip(ours, bare))
    table.add(
        "one reading over loopback TCP: ask, parse, judge, journal without sync, errors asked for once in 60",
        "at least 0.7 of the bare C client's round trips",
        f"{spread(ours, 'thousand a second')}: {ratio:.2f} of the bare client",
        f"bare_client.c: {spread(bare, 'thousand a second')}",
        ratio >= 0.7,
    )


def stall(bench, table, instrument):
    runs = [json.loads(timed(pinned(bench.probe, "stall", instrument.port, 2000))[1].stdout) for _ in range(7)]
    medians = [run["p50"] / 1e3 for run in runs]
    worst = max(run["max"] for run in runs) / 1e3
    table.add(
        "set, set, measure over TCP",
        "median below 0.1 ms, never 40 ms",
        f"{spread(medians, 'ms', 4)}; longest of {sum(run['count'] for run in runs)}: {worst:.2f} ms",
        met=statistics.median(medians) < 0.1 and worst < 40,
    )


def block(bench, table, instrument):
    runs = [json.loads(timed(pinned(bench.probe, "block", instrument.port, 11))[1].stdout) for _ in range(7)]
    medians = [run["p50"] for run in runs]
    table.add("a waveform block of 8 MB to samples, its SHA-256 for the record included", "at most 10 ms", spread(medians, "ms", 2), met=statistics.median(medians) <= 10)


def pulse(bench, table):
    lines = [timed(pinned(bench.pulse))[1].stdout.splitlines()[:3] for _ in range(7)]
    for noise in range(3):
        name = lines[0][noise].split(":")[0]
        values = [float(run[noise].split(":")[1].split()[0]) for run in lines]
        table.add(f"pulse parameters, {name}", "at most 3 ms", spread(values, "ms", 2), met=statistics.median(values) <= 3)


def challenge(bench, table, full):
    """Rehearsals a second and processor; twice as many must take twice as long."""
    cores = os.cpu_count()
    found = []
    for seeds in (1, 2, 10) if full else (1, 2):
        command = [str(bench.pilotage), "challenge", ACCEPTANCE, "--seeds", str(seeds), "--healthy", "0", "--json"]
        _, done = timed(command, (0, 1))
        line = next(line for line in done.stderr.splitlines() if "rehearsals in" in line)
        count, seconds = int(line.split()[0]), float(line.split()[3])
        found.append((count, seconds))
    rates = [count / seconds / cores for count, seconds in found]
    said = "; ".join(f"{count} rehearsals in {seconds:.1f} s" for count, seconds in found)
    linear = max(rates) / min(rates)
    table.add(
        "challenge of the acceptance, all defects and severities, reports off",
        "state seconds and rate; linear in runs (rates within 15 %)",
        f"{said}: {rates[-1]:.1f} a second and processor ({cores} processors); rates within {linear - 1:.0%}",
        met=linear <= 1.15,
    )


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--target", type=pathlib.Path, required=True)
    parser.add_argument("--full", action="store_true", help="the whole challenge: 10 seeds")
    parser.add_argument("--only", help="one of: disk rehearsals sequences identical tcp pulse challenge")
    arguments = parser.parse_args()
    bench, table = Bench(arguments.target), Table()
    wanted = lambda part: arguments.only in (None, part)
    disk(bench, table)
    if wanted("rehearsals"):
        rehearsals(bench, table)
    if wanted("sequences"):
        all_sequences(bench, table)
    if wanted("identical"):
        identical(bench, table)
    if wanted("tcp") and bench.peers.is_dir():
        with Instrument(bench) as instrument:
            sixty(bench, table, instrument)
            round_trips(bench, table, instrument)
            stall(bench, table, instrument)
            block(bench, table, instrument)
    elif wanted("tcp"):
        print(f"NOT MEASURED: the rows over TCP need {bench.peers} (PEERS): bare_client.c, echo_instrument.rs, script_peer.py")
    if wanted("pulse"):
        pulse(bench, table)
    if wanted("challenge"):
        challenge(bench, table, arguments.full)
    print("\nnot measured here: the first command on a clone (time it by hand); the rows that tests/outside and the crates' own tests hold")
    (bench.work / "figures.json").write_text(json.dumps(table.rows, indent=1) + "\n")
    missed = table.missed()
    print(f"{len(missed)} missed: {'; '.join(missed)}" if missed else "every bar is met")
    sys.exit(1 if missed else 0)


if __name__ == "__main__":
    main()
