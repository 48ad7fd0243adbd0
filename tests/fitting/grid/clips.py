"""Studies annotated clips, and says how well their beats are read by mir_eval's measures.

    python3 tests/fitting/grid/clips.py OVERBAR CLIPS OUT [--hints]

CLIPS holds NAME.wav and NAME.json (beats, downbeats, meter); OUT/NAME becomes the study of each. With --hints the tempo
(a whole number), the meter and one beat one are given from the truth, as a player would. F-measure, Cemgil's accuracy,
and the shares of correct beats at the right metrical level and at any (CMLt, AMLt), over the whole recording (Davies,
Degara and Plumbley 2009). Needs mir_eval 0.8, numpy.
"""
import argparse, collections, json, pathlib, subprocess
import mir_eval, numpy as np


def truth(path):
    return json.loads(path.with_suffix(".json").read_text())


def hints(path):
    known = truth(path)
    beats = np.array(known["beats"])
    return ["--tempo", str(round(60 / np.median(np.diff(beats)))), "--meter", "{}/{}".format(*known["meter"]),
            "--downbeat", str(known["downbeats"][len(known["downbeats"]) // 2])]


def measures(path, out):
    study = json.loads((out / path.stem / "study.json").read_text())
    known = np.array(truth(path)["beats"])
    found = np.array(study["grid"]["beats"])
    found = found[(found > known[0] - 0.1) & (found < known[-1] + 0.1)]
    told = mir_eval.beat.evaluate(known, found, min_beat_time=0)
    return [told[k] for k in ("F-measure", "Cemgil", "Correct Metric Level Total", "Any Metric Level Total")]


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("overbar")
    parser.add_argument("clips", type=pathlib.Path)
    parser.add_argument("out", type=pathlib.Path)
    parser.add_argument("--hints", action="store_true")
    a = parser.parse_args()
    suites = collections.defaultdict(list)
    for path in sorted(a.clips.glob("*.wav")):
        more = hints(path) if a.hints else []
        more += ["--mix"] if path.stem.startswith("mix") else []
        subprocess.run([a.overbar, "study", path, "--out", a.out / path.stem, "--quiet", *more], check=True)
        suites[path.stem.rstrip("0123456789")].append(measures(path, a.out))
    print("suite        F    Cemgil CMLt  AMLt  clips")
    for suite, rows in suites.items():
        print(f"{suite:10}", *(f"{x:.3f}" for x in np.mean(rows, 0)), len(rows), sep="  ")


if __name__ == "__main__":
    main()
