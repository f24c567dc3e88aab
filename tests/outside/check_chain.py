"""The sealed record of a rehearsal against sha256sum (coreutils), by the words of the documentation alone.

Each line of the journal opens with the hash of the hash before it, a space, and the rest of the line; `sha256sum` works every
one out again. It also works out the hash of every sealed file. Then bytes are altered, files removed and added: sha256sum, the
script journal_chain.py (hashlib) and the program's own `verify` must each notice.
"""

import json
import random
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from outside import Check, program, run

check = Check("journal and seal", "sha256sum and journal_chain.py")
random.seed(256)
SCRIPT = Path(__file__).with_name("journal_chain.py")
# Reads a journal; ends with the last hash, or with the number of the first line that does not hold.
SHELL = r"""
previous=0000000000000000000000000000000000000000000000000000000000000000 number=0
while IFS= read -r line; do
    number=$((number + 1))
    found=$(printf '%s %s' "$previous" "${line#* }" | sha256sum)
    [ "${found%% *}" = "${line%% *}" ] || { echo "line $number"; exit 1; }
    previous=${line%% *}
done < "$1"
echo "$previous"
"""


def chain_by_sha256sum(journal):
    done = subprocess.run(["bash", "-c", SHELL, "chain", str(journal)], capture_output=True, text=True)
    return done.returncode, done.stdout.strip()


def seal_by_sha256sum(record):
    """Exit code of `sha256sum --check` over the files that the seal names."""
    files = json.loads((record / "seal.json").read_text())["files"]
    listed = "".join(f"{digest}  {name}\n" for name, digest in files.items())
    return subprocess.run(["sha256sum", "--check", "--strict", "--quiet"], input=listed, cwd=record, capture_output=True, text=True).returncode


def chain_by_script(record):
    done = subprocess.run([sys.executable, str(SCRIPT), str(record)], capture_output=True, text=True)
    return done.returncode, done.stdout.strip() or done.stderr.strip()


def verify(record):
    return subprocess.run([program(), "verify", str(record)], capture_output=True, text=True).returncode


def alter(path, at):
    """Another byte in the place of one; never a line end, which would move the lines."""
    data = bytearray(path.read_bytes())
    while data[at] == 0x0A:
        at -= 1
    data[at] = 0x30 if data[at] != 0x30 else 0x31
    path.write_bytes(data)
    return data[:at].count(b"\n") + 1


with tempfile.TemporaryDirectory() as folder:
    record = Path(folder) / "record"
    run("rehearse", "wall_unit/quick_check", "--no-pdf", "--out", record)
    journal = record / "journal.txt"
    seal = json.loads((record / "seal.json").read_text())
    check.same("sha256sum finds the sealed last hash", chain_by_sha256sum(journal), (0, seal["head"]))
    check.same("journal_chain.py finds the sealed last hash", chain_by_script(record), (0, seal["head"]))
    check.same("the seal counts the lines", seal["lines"], journal.read_bytes().count(b"\n"))
    check.same("sha256sum finds every sealed file as sealed", seal_by_sha256sum(record), 0)
    check.same("the program finds the record whole", verify(record), 0)
    sealed = sorted(path for part in ("inputs", "captures") for path in (record / part).iterdir())
    check.holds("inputs and captures are sealed", {str(path.relative_to(record)) for path in sealed} | {"journal.txt"} == set(seal["files"]), str(seal["files"]))

    size = journal.stat().st_size
    for at in [0, 1, 64, 65, size // 2, size - 2, *random.sample(range(size), 6)]:
        copy = Path(folder) / "copy"
        shutil.copytree(record, copy)
        line = alter(copy / "journal.txt", at)
        check.same(f"journal, byte {at}: sha256sum names the line", chain_by_sha256sum(copy / "journal.txt"), (1, f"line {line}"))
        code, said = chain_by_script(copy)
        check.holds(f"journal, byte {at}: journal_chain.py names the line", code == 1 and f"line {line}:" in said, said)
        check.holds(f"journal, byte {at}: verify notices", verify(copy) not in (0, 101))
        shutil.rmtree(copy)
    for path in sealed:
        copy = Path(folder) / "copy"
        shutil.copytree(record, copy)
        alter(copy / path.relative_to(record), random.randrange(path.stat().st_size))
        check.same(f"{path.name}: sha256sum notices", seal_by_sha256sum(copy), 1)
        check.same(f"{path.name}: journal_chain.py notices", chain_by_script(copy)[0], 1)
        check.holds(f"{path.name}: verify notices", verify(copy) not in (0, 101))
        shutil.rmtree(copy)
    for what, change in [("a file removed", lambda copy: next((copy / "inputs").iterdir()).unlink()), ("a file added", lambda copy: (copy / "captures" / "more.i16").write_bytes(b"\0\0")),
                         ("the last line removed", lambda copy: (copy / "journal.txt").write_bytes(b"".join((copy / "journal.txt").read_bytes().splitlines(True)[:-1]))),
                         ("the last line twice", lambda copy: (copy / "journal.txt").open("ab").write((copy / "journal.txt").read_bytes().splitlines(True)[-1]))]:
        copy = Path(folder) / "copy"
        shutil.copytree(record, copy)
        change(copy)
        check.same(f"{what}: journal_chain.py notices", chain_by_script(copy)[0], 1)
        check.holds(f"{what}: verify notices", verify(copy) not in (0, 101))
        shutil.rmtree(copy)
check.finish(at_least=90)
