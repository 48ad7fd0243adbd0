"""Lengths of figures beside what scipy's autocorrelation makes of the same rows of strokes.

    figures.py FIGURES
    figures.py FIGURES FOLDER

FIGURES is the built example `figures`. With a FOLDER of played parts (MIDI, named like `7_funk_95_beat_4-4.mid`, bar one at
0: those of the Groove MIDI Dataset, Gillick et al., ICML 2019) every part of eight bars and more is searched instead, on
sixteenths or on sixteenth-triplets, whichever its strokes lie nearer to, and every figure over the bar is told.

Autocorrelation asks how often a stroke is followed by one after so many steps. It
knows nothing of the bar, so a groove, which repeats with the bar, looks to it like a figure; and a multiple of a length does
as well as the length. Of the lengths that cross the bar the two must agree where a figure is played through without a
groove beside it; where they differ, it must be by a multiple, or because the music repeats with its bar.
"""

import json
import os
import pathlib
import random
import subprocess
import sys

import mido
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


# Notes of the data set's kit.
PADS = {36: "kick", 38: "snare", 40: "snare", 37: "cross_stick", 48: "tom_high", 50: "tom_high", 45: "tom_mid", 47: "tom_mid",
        43: "tom_floor", 58: "tom_floor", 42: "hat_closed", 22: "hat_closed", 46: "hat_open", 26: "hat_open",
        44: "hat_foot", 49: "crash", 55: "crash", 52: "crash_2", 57: "crash_2", 51: "ride", 59: "ride", 53: "ride_bell"}


def part(file):
    """A played part as rows, or None where it is shorter than eight bars."""
    midi, strokes, now = mido.MidiFile(file), [], 0
    for message in mido.merge_tracks(midi.tracks):
        now += message.time
        if message.type == "note_on" and message.velocity > 0 and message.note in PADS:
            strokes.append((now / midi.ticks_per_beat, PADS[message.note]))
    count, unit = (int(n) for n in file.stem.rsplit("_", 1)[-1].split("-"))
    beats = count // 3 if unit == 8 and count > 3 and count % 3 == 0 else count
    quarters = count * 4 / unit  # in a bar
    places = [q / quarters * beats for q, _ in strokes]
    off = {per: sum(abs(p * per - round(p * per)) for p in places) / per**0.5 for per in (4, 6)}
    per = 6 if off[6] * 1.2 < off[4] else 4
    steps = [round(p * per) for p in places]
    if not steps or max(steps) < 8 * beats * per:
        return None
    rows = {voice: ["."] * (max(steps) + 1) for _, voice in strokes}
    for step, (_, voice) in zip(steps, strokes):
        rows[voice][step] = "x"
    return {"meter": [count, unit], "steps_per_beat": per, "rows": {v: "".join(r) for v, r in rows.items()}}


def survey(program, folder):
    files = sorted(pathlib.Path(folder).rglob("*.mid"))
    parts = [(f.name, p) for f in files if (p := part(f))]
    run = subprocess.run([program], input=json.dumps([p for _, p in parts]), capture_output=True, text=True, check=True)
    grades = {"certain": 0, "likely": 0}
    for (name, music), told in zip(parts, json.loads(run.stdout), strict=True):
        for figure in told["crossing"][:1]:
            grades[figure["grade"]] += 1
            print(
                f"{name} ({music['steps_per_beat']} steps a beat): {figure['grade']}, {figure['length_steps']} steps, "
                f"{figure['carrier']} {' '.join(figure['voices'])} on {[n['step'] for n in figure['figure']]}, "
                f"bar {figure['start']['bar']} to {figure['end']['bar']}, kept {figure['kept']:.2f}, {figure['bits']:.0f} bits, "
                f"resolved {figure['resolved']}"
            )
    print(f"{len(files)} parts, {len(parts)} of eight bars and more: {grades}")


def main():
    program = sys.argv[1]
    if len(sys.argv) > 2:
        return survey(program, sys.argv[2])
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
