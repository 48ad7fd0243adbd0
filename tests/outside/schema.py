"""study.json of every study against the schema, by a JSON Schema validator that is not ours.

    schema.py STUDIES
"""

import copy
import json
import pathlib
import sys

import jsonschema

import clips

SCHEMA = pathlib.Path(__file__).resolve().parents[2] / "src" / "study" / "study.schema.json"


def spoilt(study):
    """The study with one fault each, and what the fault is: a schema that lets these pass checks nothing."""
    faults = {
        "another format": lambda s: s.update(format="another"),
        "a version from the future": lambda s: s.update(version=2),
        "no grid": lambda s: s.pop("grid"),
        "no cycles": lambda s: s.pop("cycles"),
        "a tempo in words": lambda s: s["grid"].update(tempo_bpm="fast"),
        "a meter of one number": lambda s: s["grid"].update(meter=[4]),
        "beats that are no times": lambda s: s["grid"].update(beats=["one"]),
        "sure beyond 1": lambda s: s["grid"].update(sure=1.5),
        "an unknown voice": lambda s: s["voices"].append({"voice": "tuba", "hits": 1, "example_times": [0.0]}),
    }
    if study["cycles"]:
        faults["a cycle without a length"] = lambda s: s["cycles"][0].pop("length_steps")
        faults["a cycle that starts nowhere"] = lambda s: s["cycles"][0].update(start=None)
        faults["more kept than there is"] = lambda s: s["cycles"][0].update(kept=1.01)
    for what, change in faults.items():
        changed = copy.deepcopy(study)
        change(changed)
        yield what, changed


def main():
    schema = json.loads(SCHEMA.read_text(encoding="utf-8"))
    kind = jsonschema.validators.validator_for(schema)
    kind.check_schema(schema)
    judge = kind(schema)
    faults, planted = [], 0
    for name in clips.names():
        study = clips.study(sys.argv[1], name)
        faults += [f"{name}: {e.json_path}: {e.message}" for e in judge.iter_errors(study)]
        for what, changed in spoilt(study):
            planted += 1
            if judge.is_valid(changed):
                faults.append(f"{name}: the schema lets pass {what}")
    print(f"{len(clips.names())} studies against the schema; {planted} planted faults")
    sys.exit("\n".join(f"error: {f}" for f in faults) or 0)


if __name__ == "__main__":
    main()
