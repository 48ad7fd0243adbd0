"""Lengths of figures beside what scipy's autocorrelation makes of the same rows of strokes.

    figures.py FIGURES

FIGURES is the built example `figures`. Autocorrelation asks how often a stroke is followed by one after so many steps. It
knows nothing of the bar, so a groove, which repeats with the bar, looks to it like a figure; and a multiple of a length does
as well as the length. Of the lengths that cross the bar the two must agree where a figure is played through without a
groove beside it; where they differ, it must be by a multiple, or because the music repeats with its bar.
"""

import json
import os
import random
import subprocess
import sys

import numpy as np
from scipy.signal import correlate

BAR = 16


def ranking(row, longest):
    """Lengths from 2 steps on by how much more often strokes come again after them than density explains, best first."""
    struck = np.array([letter == "x" for letter in row], float)
    rate = struck.mean()
    alike = correlate(struck - rate, struck - rate, mode="full", method="fft")[len(struck) - 1:]
    overlap = len(struck) - np.arange(len(struck))
    share = alike / overlap / max(rate * (1 - rate), 1e-9)
    return sorted(range(2, longest + 1), key=lambda length: (-round(share[length], 9), length))


def crosses(length):
    return BAR % length != 0 and length % BAR != 0


def rhythm(draw, length):
    """A row that no shorter one repeats to make."""
    while True:
        row = "".join(draw.choice("x.") for _ in range(length))
        shorter = [d for d in range(1, length) if length % d == 0 and row[:d] * (length // d) == row]
        if "x" in row and not shorter:
            return row


def played(draw, row, steps, slips):
    """Over so many steps, some strokes left out and some too many."""
    return "".join(draw.choice("x.") if draw.random() < slips else row[step % len(row)] for step in range(steps))


def main():
    program = sys.argv[1]
    seed = int(os.environ.get("SEED") or random.SystemRandom().randrange(10**9))
    draw = random.Random(seed)
    steps, cases = 16 * 24, []
    for length in [3, 5, 6, 7, 9, 10, 11, 12, 13, 14, 15, 18, 20, 21, 24] * 2:
        cases.append(("figure", length, {"snare": played(draw, rhythm(draw, length), steps, 0.1)}))
    for _ in range(15):
        groove = rhythm(draw, BAR)
        cases.append(("groove", BAR, {"snare": played(draw, groove, steps, 0.1)}))
    told = json.dumps([{"meter": [4, 4], "steps_per_beat": 4, "rows": rows} for _, _, rows in cases])
    run = subprocess.run([program], input=told, capture_output=True, text=True, check=True)
    same = multiples = grooves = 0
    for (kind, length, rows), ours in zip(cases, json.loads(run.stdout), strict=True):
        best = ranking(rows["snare"], steps // 4)
        if kind == "groove":
            assert not (crosses(ours["first"]) and ours["grade"] != "open"), f"seed {seed}: a groove is no figure: {rows}"
            grooves += best[0] % BAR == 0
            continue
        assert ours["first"] == length, f"seed {seed}: {length} planted, {ours['first']} found in {rows}"
        if best[0] == length:
            same += 1
        else:
            assert best[0] % length == 0, f"seed {seed}: scipy has {best[:3]} for {length}: {rows}"
            multiples += 1
    assert grooves == 15, f"seed {seed}: scipy finds the bar in {grooves} of 15 grooves"
    print(
        f"30 figures, seed {seed}: autocorrelation has the same length first in {same} and a multiple in {multiples}; "
        f"in {grooves} of 15 grooves it has the bar's own length, where no figure is told"
    )


if __name__ == "__main__":
    main()
