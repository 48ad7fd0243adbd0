"""Comparisons of times and the figures that mir_eval gives for them.

    mir_eval_cases.py --write    record them in tests/fixtures/mir_eval-cases.json
    mir_eval_cases.py            check that the recorded ones are what mir_eval says

The cases are drawn with fixed seeds: hits as a drummer plays them (even, hurried, doubled, missing, added, late) and
lists without any order of that kind, among them empty ones and times exactly a window apart.
"""

import json
import pathlib
import random
import sys
import warnings

import mir_eval
import numpy as np

FIXTURE = pathlib.Path(__file__).parent.parent / "fixtures" / "mir_eval-cases.json"
WINDOWS = [0.02, 0.03, 0.05, 0.07, 0.1]


def figures(truth, estimate, window):
    """What mir_eval says of one pair of lists."""
    t, e = np.array(truth, float), np.array(estimate, float)
    trim = mir_eval.beat.trim_beats
    return {
        "truth": truth,
        "estimate": estimate,
        "window": window,
        "onset": [float(x) for x in mir_eval.onset.f_measure(t, e, window=window)],
        "beat": float(mir_eval.beat.f_measure(t, e)),
        "beat_trimmed": float(mir_eval.beat.f_measure(trim(t), trim(e))),
    }


def played(draw):
    """A line of hits, and what a listener with faults makes of it."""
    gap = draw.choice([0.04, 0.0625, 0.1, 0.125, 0.5])
    truth = [round(i * gap + draw.gauss(0, gap / 12), 5) for i in range(draw.randrange(1, 160))]
    late = draw.choice([0.0, 0.008, -0.03])
    heard = [t + late + draw.gauss(0, 0.012) for t in truth if draw.random() > 0.1]
    heard += [draw.uniform(0, truth[-1] + 0.5) for _ in range(draw.randrange(12))]
    return truth, [round(t, 5) for t in heard]


def scattered(draw):
    """Two lists that have nothing to do with each other."""
    some = lambda: [round(draw.uniform(0, 8), 3) for _ in range(draw.randrange(90))]
    return some(), some()


def on_the_edge(draw):
    """Estimates exactly a window away, as decimals write it."""
    truth = [round(i * 0.2, 2) for i in range(40)]
    return truth, [round(t + draw.choice([-0.07, -0.05, 0.05, 0.07, 0.1]), 2) for t in truth]


def case(draw):
    """One comparison of a kind drawn by lot."""
    truth, estimate = draw.choice([played, scattered, on_the_edge])(draw)
    truth, estimate = sorted(max(0.0, t) for t in truth), sorted(max(0.0, t) for t in estimate)
    return figures(truth, estimate, draw.choice(WINDOWS))


def cases():
    """The recorded ones."""
    empty = [figures([], [], 0.05), figures([1.0], [], 0.05), figures([], [1.0], 0.05)]
    return empty + [case(random.Random(seed)) for seed in range(120)]


def main():
    warnings.simplefilter("ignore")  # mir_eval warns of empty lists, which are among the cases
    text = "[\n" + ",\n".join(json.dumps(c) for c in cases()) + "\n]\n"
    if sys.argv[1:] == ["--write"]:
        FIXTURE.write_text(text, encoding="utf-8")
    elif FIXTURE.read_text(encoding="utf-8") != text:
        sys.exit(f"error: {FIXTURE.name} is not what mir_eval gives now; run this with --write and look at the difference")
    print(f"{text.count('truth')} comparisons as mir_eval {mir_eval.__version__} scores them")


if __name__ == "__main__":
    main()
