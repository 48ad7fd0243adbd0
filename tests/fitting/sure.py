"""How often hits of each sureness are right: a table of ten bins for every suite.

    sure.py CLIPS STUDIES

CLIPS holds NAME.json, the truth ({"suite": ..., "hits": [[time s, voice, ...], ...]}), STUDIES holds NAME/hits.tsv as
`overbar study` wrote it. A hit is right when a stroke of its class (kick, snare, tom, hat, cymbal) lies within 50 ms,
one to one. Needs numpy.
"""
import csv, glob, json, os, sys
import numpy as np

CLASS = {"kick": "kick", "snare": "snare", "cross": "snare", "tom": "tom", "hat": "hat", "ride": "cymbal", "crash": "cymbal", "splash": "cymbal", "china": "cymbal"}
WINDOW = 0.05


def class_of(voice):
    return next((c for k, c in CLASS.items() if voice.startswith(k)), "other")


def judged(truth, rows):
    """[(sure, right)] of every hit: the surest hit takes the nearest free stroke of its class."""
    free = {}
    for time, voice, *_ in truth:
        free.setdefault(class_of(voice), []).append(time)
    out = []
    for time, voice, sure in sorted(rows, key=lambda r: -r[2]):
        near = [t for t in free.get(class_of(voice), []) if abs(t - time) <= WINDOW]
        if near:
            free[class_of(voice)].remove(min(near, key=lambda t: abs(t - time)))
        out.append((sure, bool(near)))
    return out


def read(clips, studies):
    """{suite: [(sure, right)]}."""
    suites = {}
    for name in sorted(glob.glob(os.path.join(clips, "*.json"))):
        stem = os.path.splitext(os.path.basename(name))[0]
        truth = json.load(open(name))
        with open(os.path.join(studies, stem, "hits.tsv"), encoding="utf-8") as f:
            rows = [(float(r["time"]), r["voice"], float(r["sure"])) for r in csv.DictReader((l for l in f if not l.startswith("#")), delimiter="\t")]
        suites.setdefault(truth.get("suite", "clips"), []).extend(judged(truth["hits"], rows))
    return suites


def main():
    suites = read(*sys.argv[1:3])
    print("| sure | " + " | ".join(suites) + "" + " |\n|---" + "|---" * len(suites) + "|")
    for bin in range(10):
        cells = []
        for hits in suites.values():
            own = [right for sure, right in hits if bin == min(9, int(sure * 10))]
            cells.append(f"{np.mean(own):.2f} of {len(own)}" if own else "")
        print(f"| {bin / 10:.1f} to {bin / 10 + 0.1:.1f} | " + " | ".join(cells) + " |")


if __name__ == "__main__":
    main()
