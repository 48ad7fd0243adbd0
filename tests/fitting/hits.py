"""Fit the trees that decide which candidates are hits, and write them into src/hits.

    hits.py PLAYED STROKES PRESETS WORK [--clips N] [--without SOURCE]

Run at the top of the repository, after presets.py; needs numpy, scipy, scikit-learn, soundfile, mido. Renders N
performances into WORK with performances.py, asks the program itself for its candidates, fits the first trees to the
evidence of three clips in four, then, with those built in, the second to the context in the fourth clips: there the
first opinions are as uncertain as they will be on a recording. With --without (a kit or preset that the fitting is
not to hear) nothing is written into src/hits in the end; the log losses on that source and on the others are shown.
No annotated recording takes part.
"""

import argparse
import json
import os
import shutil
import struct
import subprocess
import sys

import numpy as np
import soundfile as sf
from sklearn.ensemble import HistGradientBoostingClassifier
from sklearn.metrics import log_loss

HERE = os.path.dirname(os.path.abspath(__file__))
TABLES = ["src/hits/evidence.txt", "src/hits/context.txt"]
CONTEXT = 10
# Rendered sound begins this long after the written time, s: the median of what the program measures.
LATE = 0.001
SIZES = [dict(max_iter=160, max_leaf_nodes=20, max_features=0.5), dict(max_iter=80, max_leaf_nodes=10)]


def perform(a, out, *more):
    subprocess.run([sys.executable, os.path.join(HERE, "performances.py"), a.played, a.strokes, a.presets, out, *more], check=True)


def candidates(clips):
    """Per clip: candidate times, their numbers, the truth's stroke times. Heard by the program as it now stands."""
    subprocess.run(["cargo", "build", "--release", "--example", "candidates"], check=True)
    heard = []
    with subprocess.Popen(["target/release/examples/candidates"], stdin=subprocess.PIPE, stdout=subprocess.PIPE) as ears:
        for clip in clips:
            x = sf.read(clip, dtype="float32")[0]
            ears.stdin.write(struct.pack("<I", len(x)) + x.tobytes())
            ears.stdin.flush()
            rows, columns = struct.unpack("<II", ears.stdout.read(8))
            found = np.frombuffer(ears.stdout.read(4 * rows * columns), "<f4").reshape(rows, columns)
            truth = json.load(open(clip[:-4] + ".json"))["hits"]
            heard.append((found[:, 0].astype(float), found[:, 1:], np.unique([h[0] for h in truth])))
        ears.stdin.close()
    return heard


def labelled(heard):
    """The candidates that are clearly a stroke (the nearest to one, or within 8 ms) or clearly none (13 ms from any)."""
    rows, labels = [], []
    for times, numbers, truth in heard:
        if not len(times):
            continue
        struck, clear = np.zeros(len(times), bool), np.ones(len(times), bool)
        if len(truth):
            apart = np.abs(times[:, None] - LATE - truth[None, :])
            struck = apart.min(1) < 0.008
            clear = struck | (apart.min(1) > 0.013)
            nearest = apart.argmin(0)[apart.min(0) < 0.018]
            struck[nearest] = clear[nearest] = True
        rows.append(numbers[clear])
        labels.append(struck[clear])
    return np.concatenate(rows), np.concatenate(labels)


def fit(numbers, struck, size):
    trees = HistGradientBoostingClassifier(learning_rate=0.1, l2_regularization=1, min_samples_leaf=40, random_state=0, **size)
    return trees.fit(numbers, struck)


def write(trees, path, script="hits.py"):
    """The base, then a tree a line, parents first: `input:limit` is a split, its lower side next; a bare number ends."""
    def walk(nodes, i):
        n = nodes[i]
        if n["is_leaf"]:
            return ["%.3g" % n["value"]]
        return ["%d:%.4g" % (n["feature_idx"], n["num_threshold"]), *walk(nodes, n["left"]), *walk(nodes, n["right"])]

    with open(path, "w") as f:
        f.write(f"# Written by tests/fitting/{script}: log odds before any tree, then a tree a line.\n")
        f.write("%.5g\n" % float(np.ravel(trees._baseline_prediction)[0]))
        for (tree,) in trees._predictors:
            f.write(" ".join(walk(tree.nodes, 0)) + "\n")


def main():
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("played"), p.add_argument("strokes"), p.add_argument("presets"), p.add_argument("work")
    p.add_argument("--clips", type=int, default=700), p.add_argument("--without")
    a = p.parse_args()
    without = ["--without", a.without] if a.without else []
    perform(a, a.work, "--clips", str(a.clips), *without)
    clips = [os.path.join(a.work, f"{n:05d}.wav") for n in range(a.clips)]
    first = [c for i, c in enumerate(clips) if i % 4]
    second = [c for i, c in enumerate(clips) if i % 4 == 0]
    if a.without:
        for table in TABLES:
            shutil.copy(table, os.path.join(a.work, os.path.basename(table)))
    numbers, struck = labelled(candidates(first))
    write(fit(numbers[:, :-CONTEXT], struck, SIZES[0]), TABLES[0])
    numbers, struck = labelled(candidates(second))
    again = fit(numbers[:, -CONTEXT:], struck, SIZES[1])
    write(again, TABLES[1])
    if a.without:
        for name, source in [("left out", ["--only", a.without]), ("others", without)]:
            out = os.path.join(a.work, name.replace(" ", "-"))
            perform(a, out, "--clips", "60", "--first", "50000", *source)
            numbers, struck = labelled(candidates([os.path.join(out, f"{n}.wav") for n in range(50000, 50060)]))
            print(f"{name}: log loss {log_loss(struck, again.predict_proba(numbers[:, -CONTEXT:])[:, 1]):.4f} a candidate")
        for table in TABLES:
            shutil.copy(os.path.join(a.work, os.path.basename(table)), table)


if __name__ == "__main__":
    main()
