#!/usr/bin/env python3
"""Writes the tables of the book that must agree with the program: the keys of every kind of file, the problem codes, the
defects, and the parameters of the virtual item.

    docs/make_reference.py [--pilotage PATH] [--check]

Needs a built `pilotage` (default: target/debug/pilotage). With `--check` nothing is written; it ends with 1 where a file is
not current, and names it; likewise where a link of the book, of README.md or of DEVELOPERS.md leads nowhere.
"""

import argparse
import json
import pathlib
import re
import subprocess
import sys

ROOT = pathlib.Path(__file__).resolve().parent.parent
KINDS = ["sequence", "chapter", "limits", "item", "bench", "driver", "frames", "defect", "sides"]
# The shapes of a chapter are those of a sequence: what is the same stands once.
AS_IN = {"chapter": "sequence"}
# Kind and name of each shape that is described at another kind, with that kind.
described_at: dict[tuple[str, str], str] = {}
MADE = "<!-- made by docs/make_reference.py: change the program, not this file -->\n"


def ask(program: str, *words: str) -> dict | list:
    """What the program answers to these words, as JSON."""
    done = subprocess.run([program, *words], cwd=ROOT, capture_output=True, text=True, check=True)
    return json.loads(done.stdout)


def cell(text: str) -> str:
    """A text that stays inside its cell of a table."""
    return re.sub(r"\s+", " ", text).replace("|", "\\|").strip()


def target(shape: dict) -> str | None:
    """The name of the shape that is referred to."""
    return shape["$ref"].rsplit("/", 1)[1] if "$ref" in shape else None


def sort(kind: str, shape: dict) -> str:
    """What may stand behind a key, in words."""
    if "const" in shape:
        return f"`{shape['const']}`"
    if "enum" in shape:
        return "one of " + ", ".join(f"`{word}`" for word in shape["enum"])
    name = target(shape)
    if name:
        return f"[{name}](#{described_at.get((kind, name), kind)}-{name.replace('_', '-')})"
    named = shape.get("type")
    named = [named] if isinstance(named, str) else named or []
    if not named and "anyOf" in shape:
        return " or ".join(dict.fromkeys(sort(kind, part) for part in shape["anyOf"]))
    if len(shape.get("allOf", [])) == 1 and not named:
        return sort(kind, shape["allOf"][0])
    if "array" in named:
        return "list of " + sort(kind, shape.get("items", {}))
    if "object" in named:
        values = shape.get("additionalProperties")
        values = values if isinstance(values, dict) else next(iter(shape.get("patternProperties", {}).values()), None)
        return "map of names to " + sort(kind, values) if values else "map"
    for word, said in (("boolean", "true or false"), ("integer", "whole number"), ("string", "text")):
        if word in named:
            return said
    return "number" if "number" in named else "value"


def rows(kind: str, shape: dict) -> list[str]:
    """One row for each key, the needed ones marked."""
    needed = set(shape.get("required", []))
    lines = ["| key | needed | what stands there | meaning | for example |", "| --- | --- | --- | --- | --- |"]
    for key, value in shape.get("properties", {}).items():
        examples = value.get("examples", [])
        example = f"`` {cell(str(examples[0]))} ``" if examples else ""
        words = [f"`{key}`", "yes" if key in needed else "", sort(kind, value), cell(value.get("description", "")), example]
        lines.append("| " + " | ".join(words) + " |")
    return lines


def shape(kind: str, title: str, anchor: str, level: str, schema: dict) -> list[str]:
    """A heading, the description and the keys of one shape."""
    lines = [f'<a id="{anchor}"></a>', "", f"{level} {title}", "", cell(schema.get("description", "")), ""]
    if schema.get("properties"):
        lines += [*rows(kind, schema), ""]
    elif "anyOf" in schema:
        lines += ["One of: " + ", ".join(sort(kind, form) for form in schema["anyOf"]) + ".", ""]
    for pattern, value in schema.get("patternProperties", {}).items():
        said = cell(value.get("description", "A value."))
        lines += [f"Keys of the form `` {pattern} ``: {sort(kind, value)}. {said}", ""]
    return lines


def files(program: str) -> str:
    """The keys of every kind of file, from the schemas that editors use."""
    text = [
        "# Files, key by key",
        "",
        MADE.strip(),
        "",
        "All files are YAML 1.2 and begin with `pilotage: KIND/1`. An editor that knows JSON Schema helps while you type: write",
        "`pilotage schema sequence > sequence.schema.json` and begin your file with",
        "`# yaml-language-server: $schema=sequence.schema.json`. `pilotage check FILE` says everything that is wrong at once.",
        "",
        "Kinds: " + " · ".join(f"[{kind}](#{kind})" for kind in KINDS),
        "",
    ]
    schemas = {kind: ask(program, "schema", kind) for kind in KINDS}
    for kind, other in AS_IN.items():
        known = schemas[other]["definitions"]
        same = [name for name, part in schemas[kind]["definitions"].items() if known.get(name) == part]
        described_at.update({(kind, name): other for name in same})
    for kind, schema in schemas.items():
        text += shape(kind, kind, kind, "##", schema)
        for name, part in schema.get("definitions", {}).items():
            if (kind, name) in described_at:
                continue
            text += shape(kind, f"{kind}: {name}", f"{kind}-{name.replace('_', '-')}", "###", part)
    return "\n".join(text).rstrip() + "\n"


def codes() -> str:
    """The problem codes, from the two tables of the program, with a wrong file for each that has one."""
    tables = [
        ("P", "Reading one file", "engine/plan/src/problem.rs"),
        ("F", "Fitting files together", "engine/plan/src/fit/code.rs"),
    ]
    bad = sorted(path.name for path in (ROOT / "tests/bad-files").glob("*"))
    text = [
        "# Problem codes",
        "",
        MADE.strip(),
        "",
        "A code never changes its meaning. Each problem is printed with file, line, column, what was expected, what came, and a",
        "mend. `pilotage check --short` prints one line for each. The exit code is 2.",
        "",
    ]
    for letter, title, source in tables:
        found = re.findall(rf'= "({letter}\d+)" "([^"]+)";', (ROOT / source).read_text(encoding="utf-8"))
        text += [f"## {title}", "", "| code | what is wrong | a file that has it |", "| --- | --- | --- |"]
        for code, meaning in found:
            example = next((name for name in bad if name.startswith(code + "_")), None)
            link = f"[{example}](../tests/bad-files/{example})" if example else ""
            text.append(f"| {code} | {cell(meaning)} | {link} |")
        text.append("")
    return "\n".join(text).rstrip() + "\n"


def defects(program: str) -> str:
    """The defects with the steps that should notice them."""
    text = [
        "# Defects of the virtual item",
        "",
        MADE.strip(),
        "",
        "A defect is a change of parameters of the virtual item, in a file under `sequences/defects/`. `pilotage rehearse SEQUENCE",
        "--defect ID --severity plain` gives it to the item. *Edge* lies just outside the tolerance, *plain* is as met in practice,",
        "*gross* far outside. A defect without a scale (a welded pole) has only *plain*. What the parameters mean:",
        "[parameters.md](parameters.md).",
        "",
        "One id may name a defect of several kinds of item: `rehearse` takes the one of the item at hand.",
        "",
        "| id | item | defect | noticed by | side | severities and what they change |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    for one in ask(program, "defects", "--json")["defects"]:
        changes = "; ".join(
            f"{name}: {', '.join(f'`{key}` {value}' for key, value in given.items())}"
            for name, given in severities(ROOT / "sequences/defects" / one["item"], one["id"])
        )
        words = [one["id"], one["item"], one["title"], " ".join(one["noticed_by"]), one.get("side", ""), changes]
        text.append("| " + " | ".join(cell(str(word)) for word in words) + " |")
    return "\n".join(text).rstrip() + "\n"


def severities(folder: pathlib.Path, name: str) -> list[tuple[str, dict[str, str]]]:
    """The severities of a defect's file, read line by line: `edge: {v_neg: -11.28 V}`."""
    for path in sorted(folder.rglob("*.yaml")):
        text = path.read_text(encoding="utf-8")
        if re.search(rf"^id: {re.escape(name)}$", text, re.M):
            found = re.findall(r"^  (edge|plain|gross): \{(.*)\}", text, re.M)
            return [(word, dict(part.split(": ", 1) for part in body.split(", "))) for word, body in found]
    return []


def parameters() -> str:
    """The parameters of the virtual item, from the table that the physics reads."""
    physics = ROOT / "drivers/virtual/src/physics"
    paths = [physics / "parameters.rs", *sorted(path for path in physics.glob("*/**/parameters.rs"))]
    source = "\n".join(path.read_text(encoding="utf-8") for path in paths)
    text = [
        "# Parameters of the virtual items and their bench",
        "",
        MADE.strip(),
        "",
        "Names for `virtual` in an item file and for the severities of a defect. Values stand in SI units; files may write them",
        "with any prefix. *Healthy* is a nominal item; inside *tolerance* an item is still healthy.",
    ]
    number = r"(-?[\d.]+(?:e-?\d+)?)"
    row = rf'^    [pt]\("(\w+)", "([^"]*)", {number}, (?:\({number}, {number}\), )?[^,]+, "([^"]*)"\),$'
    for about, body in re.findall(r"^/// ([^\n]*)\n#\[rustfmt::skip\]\n(?:pub\([^)]*\) )?static \w+: &\[Parameter\] = &\[\n(.*?)^\];", source, re.M | re.S):
        found = list(re.finditer(row, body, re.M))
        if len(found) != len(re.findall(r"^    [pt]\(", body, re.M)):
            sys.exit("a parameters.rs of drivers/virtual/src/physics: a row has another form than docs/make_reference.py reads")
        text += ["", f"## {about.rstrip('.')}", "", "| name | unit | healthy | tolerance | meaning |", "| --- | --- | --- | --- | --- |"]
        for one in found:
            name, unit, healthy, low, high, meaning = one.groups()
            tolerance = f"{low} … {high}" if low else ""
            text.append(f"| `{name}` | {'' if unit == '1' else unit} | {healthy} | {tolerance} | {cell(meaning)} |")
    return "\n".join(text).rstrip() + "\n"


def broken_links() -> list[str]:
    """Links within the project whose file or anchor is not there."""
    broken = []
    for page in [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md"))]:
        for link in re.findall(r"\]\(([^)\s]+)\)", page.read_text(encoding="utf-8")):
            path, _, anchor = link.partition("#")
            target = page.parent / path if path else page
            if "://" in link or (target.exists() and (not anchor or f'id="{anchor}"' in target.read_text(encoding="utf-8"))):
                continue
            broken.append(f"{page.relative_to(ROOT)}: the link {link} leads nowhere")
    return broken


def main() -> int:
    """Writes or checks."""
    reader = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    reader.add_argument("--pilotage", default=str(ROOT / "target/debug/pilotage"))
    reader.add_argument("--check", action="store_true")
    given = reader.parse_args()
    made = {
        "files.md": files(given.pilotage),
        "problems.md": codes(),
        "defects.md": defects(given.pilotage),
        "parameters.md": parameters(),
    }
    stale = []
    for name, text in made.items():
        path = ROOT / "docs" / name
        if given.check and (not path.exists() or path.read_text(encoding="utf-8") != text):
            stale.append(name)
        if not given.check:
            path.write_text(text, encoding="utf-8")
    for name in stale:
        print(f"docs/{name} is not current: run docs/make_reference.py", file=sys.stderr)
    broken = broken_links()
    for link in broken:
        print(link, file=sys.stderr)
    return 1 if stale or broken else 0


if __name__ == "__main__":
    sys.exit(main())
