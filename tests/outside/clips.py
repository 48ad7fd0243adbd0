"""The recordings of test-audio/, their truth, and the studies made of them."""

import csv
import json
import pathlib

AUDIO = pathlib.Path(__file__).resolve().parents[2] / "test-audio"

# Strokes this close to each other, in seconds, are one moment: an onset says when, not how many.
SAME_MOMENT = 0.03


def names():
    """Every recording that has a truth, by name."""
    found = sorted(p.stem for p in AUDIO.glob("*.json") if p.with_suffix(".wav").exists())
    if not found:
        raise SystemExit(f"error: no recording with a truth in {AUDIO.name}/")
    return found


def truth(name):
    """What was played."""
    return json.loads((AUDIO / f"{name}.json").read_text(encoding="utf-8"))


def study(studies, name):
    """study.json of one recording."""
    return json.loads((pathlib.Path(studies) / name / "study.json").read_text(encoding="utf-8"))


def hits(studies, name):
    """The rows of hits.tsv of one recording."""
    with open(pathlib.Path(studies) / name / "hits.tsv", encoding="utf-8", newline="") as f:
        return list(csv.DictReader((line for line in f if not line.startswith("#")), delimiter="\t"))


def moments(times):
    """Rising times, those of one moment counted once."""
    out = []
    for t in sorted(float(t) for t in times):
        if not out or t - out[-1] > SAME_MOMENT:
            out.append(t)
    return out
