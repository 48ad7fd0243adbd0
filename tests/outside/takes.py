"""Attempts with known mistakes, played by the kit and measured by the command: what was planted must be reported.

    takes.py OVERBAR ATTEMPT STUDY

ATTEMPT is the built example `attempt`, which plays a study with mistakes and tells them. For each case: every planted
fault against every reported one (kind, step, voices), the tempo share, the left foot's lateness against what was planted,
and the false start. A summary of misses and false reports over all cases is printed.
"""

import json
import pathlib
import shutil
import subprocess
import sys
import tempfile

# speed, late left foot in ms, drift, kit, flags, seeds
CASES = [
    (0.58, 18, 0.0, "plain", "", 4),
    (0.58, 18, 0.04, "dry", "", 3),
    (0.8, -15, -0.03, "singing", "", 3),
    (0.58, 18, 0.0, "roomy", "m", 3),
    (0.7, 18, 0.02, "plain", "p", 2),
    (0.58, 0, 0.0, "plain", "f", 2),
    (1.0, 12, 0.0, "dry", "", 2),
    (0.5, 0, 0.0, "plain", "c", 2),
]


def key(fault):
    names = [fault.get(k) for k in ("voice", "wanted", "first")]
    return fault["kind"], fault["step"], next(n for n in names if n)


def main():
    overbar, attempt, study = sys.argv[1:4]
    verbose = "-v" in sys.argv
    planted_all = missed_all = wrong_all = strokes_all = 0
    failed = []
    with tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(folder)
        shutil.copytree(study, folder / "study")
        seed = 0
        for speed, late, drift, kit, flags, seeds in CASES:
            for _ in range(seeds):
                seed += 1
                wav = folder / "attempt.wav"
                command = [attempt, folder / "study", seed, speed, late, drift, kit, flags, wav]
                truth = json.loads(subprocess.run([str(c) for c in command], check=True, capture_output=True).stdout)
                run = subprocess.run([overbar, "take", folder / "study", wav, "--json"], capture_output=True, text=True)
                if run.returncode:
                    failed.append(f"case {seed}: {run.stderr.strip()}")
                    continue
                told = json.loads(run.stdout)
                take = told["take"]
                planted = {key(f) for f in truth["planted"]}
                found = {key(f) for f in told["faults"]}
                lost, false = planted - found, found - planted
                share = take["tempo_share"] / speed - 1
                foot = dict(take["late_ms"]).get("left foot")
                planted_all += len(planted)
                missed_all += len(lost)
                wrong_all += len(false)
                strokes_all += truth["strokes"]
                foot_off = None if foot is None else foot - late
                print(
                    f"{seed:3} {speed:5} {late:4} {drift:6} {kit:8}{flags:3} planted {len(planted):2} lost {len(lost)} false {len(false)}"
                    f"  tempo {share * 100:+.2f} %  foot {foot if foot is None else round(foot, 1)} (off {foot_off if foot_off is None else round(foot_off, 1)})"
                    f"  drift {take['drift'] * 100:+.1f} %  sd {take['steadiness_ms']}  rounds {take['clean_rounds']}/{take['rounds']} false starts {take['false_starts']}",
                    flush=True,
                )
                if verbose:
                    print("     lost ", sorted(lost), "\n     false", sorted(false))
                if abs(share) > 0.005:
                    failed.append(f"case {seed}: tempo off by {share * 100:.2f} %")
                if foot_off is not None and abs(foot_off) > 2.0:
                    failed.append(f"case {seed}: left foot off by {foot_off:.1f} ms")
                if take["false_starts"] != int("f" in flags):
                    failed.append(f"case {seed}: {take['false_starts']} false starts")
                failed += [f"case {seed}: {len(lost)} planted faults not reported"] * bool(lost)
                failed += [f"case {seed}: {len(false)} faults reported that were not planted"] * bool(false)
    print(f"{planted_all} faults planted, {missed_all} not reported; {wrong_all} reported that were not, in {strokes_all} strokes")
    sys.exit("\n".join(f"error: {f}" for f in failed) or 0)


if __name__ == "__main__":
    main()
