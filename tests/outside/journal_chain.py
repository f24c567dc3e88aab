#!/usr/bin/env python3
"""Checks a sealed record without any code of Pilotage: the chain of its journal line by line, and every sealed file.

    journal_chain.py RECORD_FOLDER...

Says what is wrong with line or file, and ends with 1; else prints the last hash of each and ends with 0.
"""

import hashlib
import json
import pathlib
import sys


def chain(journal: bytes) -> str:
    """Hash of the last line; raises ValueError with the number of the first line that does not hold."""
    if journal[-1:] != b"\n":
        raise ValueError("journal.txt: the last line has no end")
    previous = b"0" * 64
    for number, line in enumerate(journal[:-1].split(b"\n"), start=1):
        said, _, text = line.partition(b" ")
        found = hashlib.sha256(previous + b" " + text).hexdigest().encode()
        if found != said:
            raise ValueError(f"journal.txt, line {number}: its hash does not fit")
        if json.loads(text)["seq"] != number - 1:
            raise ValueError(f"journal.txt, line {number}: out of order")
        previous = said
    return previous.decode()


def check(folder: pathlib.Path) -> str:
    journal = (folder / "journal.txt").read_bytes()
    head = chain(journal)
    seal = json.loads((folder / "seal.json").read_text(encoding="utf-8"))
    if seal["head"] != head or seal["lines"] != journal.count(b"\n"):
        raise ValueError("seal.json: not the seal of this journal")
    parts = [folder / "journal.txt", *(folder / "inputs").iterdir(), *(folder / "captures").iterdir()]
    found = {
        part.relative_to(folder).as_posix(): hashlib.sha256(part.read_bytes()).hexdigest() for part in parts
    }
    for name in sorted(found.keys() | seal["files"].keys()):
        if found.get(name) != seal["files"].get(name):
            raise ValueError(f"{name}: not what was sealed")
    return head


def main(folders: list[str]) -> int:
    if not folders:
        print(__doc__, file=sys.stderr)
        return 2
    for folder in folders:
        try:
            print(check(pathlib.Path(folder)))
        except (ValueError, KeyError, OSError) as error:
            print(f"{folder}: {error}", file=sys.stderr)
            return 1
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
