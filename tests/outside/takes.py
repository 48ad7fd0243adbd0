"""Attempts with known mistakes, played by the kit and measured by the command: what was planted must be reported.

    takes.py OVERBAR ATTEMPT STUDY [--all] [--seed N] [-v]

ATTEMPT is the built example `attempt`, which plays a study with mistakes and tells them. Tempo, the left foot's lateness,
false starts and clean takes must be right in every case. A planted fault is told (kind, step, voices), told otherwise
(something is told of its step), or lost; a report of a step where nothing was planted is false. Shares of them are held
to what was measured over all cases, which --all runs (five minutes); without it the first of some. --seed begins at
another seed than 1, with which thresholds were chosen.
"""

import json
import pathlib
import shutil
import subprocess
import sys
import tempfile

# speed, late left foot in ms, drift, kit, flags, seeds; those with a star are run without --all
CASES = [
    (0.58, 18, 0.0, "plain", "", 4, "*"),
    (0.58, 18, 0.04, "dry", "", 3, ""),
    (0.8, -15, -0.03, "singing", "", 3, "*"),
    (0.58, 18, 0.0, "roomy", "m", 3, "*"),
    (0.7, 18, 0.02, "plain", "p", 2, ""),
    (0.58, 0, 0.0, "plain", "f", 2, "*"),
    (1.0, 12, 0.0, "dry", "", 2, ""),
    (0.5, 0, 0.0, "plain", "c", 2, "*"),
]

# What is wanted of the issue: 0.5 % of tempo, 2 ms of lateness.
TEMPO, LATE = 0.005, 2.0
# Measured over all cases, seed by seed: see the README for what is lost and why.
LOST, OTHERWISE, FALSE = 0.08, 0.05, 0.0005


def key(fault):
    names = [fault.get(k) for k in ("voice", "wanted", "first")]
    return fault["kind"], fault["step"], next(n for n in names if n)


def steps(fault):
    return {fault["step"], fault["step"] + 1} if fault["kind"] == "slip" else {fault["step"]}


def main():
    overbar, attempt, study = sys.argv[1:4]
    verbose, every = "-v" in sys.argv, "--all" in sys.argv
    counts = dict.fromkeys(("planted", "told", "otherwise", "lost", "false", "strokes"), 0)
    failed = []
    seed = int(sys.argv[sys.argv.index("--seed") + 1]) - 1 if "--seed" in sys.argv else 0
    with tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(folder)
        shutil.copytree(study, folder / "study")
        for speed, late, drift, kit, flags, seeds, star in CASES:
            for number in range(seeds):
                seed += 1
                if not every and (number or not star):
                    continue
                wav = folder / "attempt.wav"
                command = [attempt, folder / "study", seed, speed, late, drift, kit, flags, wav]
                truth = json.loads(subprocess.run([str(c) for c in command], check=True, capture_output=True).stdout)
                run = subprocess.run([overbar, "take", folder / "study", wav, "--json"], capture_output=True, text=True)
                if run.returncode:
                    failed.append(f"case {seed}: {run.stderr.strip()}")
                    continue
                told = json.loads(run.stdout)
                take = told["take"]
                planted = {key(f): steps(f) for f in truth["planted"]}
                found = {key(f): steps(f) for f in told["faults"]}
                exact = planted.keys() & found.keys()
                rest = {k: s for k, s in found.items() if k not in exact}
                touched = set().union(*rest.values()) if rest else set()
                otherwise = {k for k in planted.keys() - exact if planted[k] & touched}
                lost = planted.keys() - exact - otherwise
                spots = set().union(*planted.values()) if planted else set()
                false = {k for k, s in rest.items() if not s & spots}
                share = take["tempo_share"] / speed - 1
                foot = dict(take["late_ms"]).get("left foot")
                off = None if foot is None else foot - late
                for name, value in [
                    ("planted", planted), ("told", exact), ("otherwise", otherwise), ("lost", lost), ("false", false),
                ]:
                    counts[name] += len(value)
                counts["strokes"] += truth["strokes"]
                print(
                    f"{seed:3} {speed:5} {late:4} {drift:6} {kit:8}{flags:3} planted {len(planted)}: told {len(exact)},"
                    f" otherwise {len(otherwise)}, lost {len(lost)}; false {len(false)}; unheard {told['unheard']};"
                    f" tempo {share * 100:+.2f} %, left foot off by {'?' if off is None else round(off, 1)} ms,"
                    f" spread {take['steadiness_ms']} ms",
                    flush=True,
                )
                if verbose:
                    print(f"     otherwise {sorted(otherwise)}\n     lost {sorted(lost)}\n     false {sorted(false)}")
                if abs(share) > TEMPO:
                    failed.append(f"case {seed}: tempo off by {share * 100:.2f} %")
                if off is not None and abs(off) > LATE:
                    failed.append(f"case {seed}: left foot off by {off:.1f} ms")
                if take["false_starts"] != int("f" in flags):
                    failed.append(f"case {seed}: {take['false_starts']} false starts")
                if not planted and found:
                    failed.append(f"case {seed}: nothing was planted, reported is {sorted(found)}")
    print(", ".join(f"{value} {name}" for name, value in counts.items()))
    for name, of, most in [("lost", "planted", LOST), ("otherwise", "planted", OTHERWISE), ("false", "strokes", FALSE)]:
        if counts[name] > most * counts[of]:
            failed.append(f"{counts[name]} {name} of {counts[of]} {of}: more than {most:.2%}")
    sys.exit("\n".join(f"error: {f}" for f in failed) or 0)


if __name__ == "__main__":
    main()
