"""Every shipped file against the schema that the program prints, by an outside parser (PyYAML) and validator (jsonschema).

PyYAML reads YAML 1.1; its scalars are replaced by those of the core schema of YAML 1.2.2 (10.3.2), so that `on` stays a word.
Each file is then spoilt in four ways, which the validator must refuse: a schema that takes everything fails this check.
"""

import copy
import json
import re
from importlib.metadata import version

import jsonschema
import yaml

from outside import ROOT, Check, run_json

check = Check("shipped files", f"PyYAML {yaml.__version__} and jsonschema {version('jsonschema')}")


class Yaml12(yaml.SafeLoader):
    """Core schema of YAML 1.2.2, without merge keys."""


Yaml12.yaml_implicit_resolvers = {}
for tag, pattern, first in [
    ("bool", r"true|True|TRUE|false|False|FALSE", "tTfF"),
    ("null", r"~|null|Null|NULL|", ["~", "n", "N", ""]),
    ("int", r"[-+]?[0-9]+|0o[0-7]+|0x[0-9a-fA-F]+", "-+0123456789"),
    ("float", r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?|[-+]?\.(inf|Inf|INF)|\.(nan|NaN|NAN)", "-+.0123456789"),
]:
    Yaml12.add_implicit_resolver(f"tag:yaml.org,2002:{tag}", re.compile(rf"^(?:{pattern})$"), list(first))


def undescribed(schema, path=""):
    """Keys of objects that carry no description."""
    found = []
    if isinstance(schema, dict):
        for key, part in (schema.get("properties") or {}).items():
            if isinstance(part, dict) and not part.get("description"):
                found.append(f"{path}/{key}")
        for key, part in schema.items():
            # What stands under `if` is a condition on a key, and under `then` a narrower form of it, not the key.
            found += [] if key in ("if", "then") else undescribed(part, f"{path}/{key}")
    elif isinstance(schema, list):
        for index, part in enumerate(schema):
            found += undescribed(part, f"{path}/{index}")
    return found


def spoilt(document):
    """(what, document) of changes that no schema may take."""
    unknown = {**copy.deepcopy(document), "no_such_key": 1}
    yield "an unknown key", unknown
    yield "another kind", {**document, "pilotage": "recipe/1"}
    yield "no kind", {key: value for key, value in document.items() if key != "pilotage"}
    key = next(key for key in document if isinstance(document[key], (dict, list)) and key != "virtual")
    yield f"a number where `{key}` is a list or map", {**document, key: 7}


validators = {}
for kind in ("sequence", "chapter", "limits", "item", "bench", "driver", "defect", "sides", "frames"):
    schema = run_json("schema", kind)
    jsonschema.Draft7Validator.check_schema(schema)
    check.holds(f"{kind}: says draft-07", "draft-07" in schema.get("$schema", ""), str(schema.get("$schema")))
    missing = undescribed(schema)
    check.same(f"{kind}: keys without a description", missing, [])
    validators[kind] = jsonschema.Draft7Validator(schema)

counts = dict.fromkeys(validators, 0)
for path in sorted([*(ROOT / "sequences").rglob("*.yaml"), *(ROOT / "drivers" / "files").rglob("*.yaml")]):
    name = path.relative_to(ROOT)
    # JSON knows no keys but texts.
    document = json.loads(json.dumps(yaml.load(path.read_text(encoding="utf-8"), Loader=Yaml12)))
    kind = str(document["pilotage"]).partition("/")[0]
    counts[kind] += 1
    problems = [f"{'/'.join(map(str, error.absolute_path))}: {error.message[:200]}" for error in validators[kind].iter_errors(document)]
    check.holds(f"{name}", not problems, "; ".join(problems[:3]))
    for what, wrong in spoilt(document):
        check.holds(f"{name}: {what} is refused", not validators[kind].is_valid(wrong), "the schema takes it")
for kind, count in counts.items():
    check.holds(f"a {kind} file is shipped", count > 0)
check.finish(at_least=250)
