"""The tests' own scorer beside mir_eval: the same lists into both, the same figures out.

    scorer.py SCORE STUDIES

SCORE is the built example `score`. The lists are drawn anew at each run (the seed is printed; SEED=n repeats it), and
the true and the found hits and beats of the recordings in test-audio/.
"""

import json
import os
import random
import subprocess
import sys
import warnings

import clips
import mir_eval_cases as drawn

TOLERANCE = 1e-9


def main():
    warnings.simplefilter("ignore")  # mir_eval warns of empty lists, which are among the cases
    program, studies = sys.argv[1:]
    seed = int(os.environ.get("SEED") or random.SystemRandom().randrange(10**9))
    draw = random.Random(seed)
    cases = [drawn.case(draw) for _ in range(200)]
    for name in clips.names():
        truth, study = clips.truth(name), clips.study(studies, name)
        ours = clips.moments(h["time"] for h in clips.hits(studies, name))
        cases += [drawn.figures(clips.moments(h[0] for h in truth["hits"]), ours, w) for w in drawn.WINDOWS]
        cases.append(drawn.figures(truth["beats"], study["grid"]["beats"], 0.07))
    told = json.dumps([{k: c[k] for k in ("truth", "estimate", "window")} for c in cases])
    answer = json.loads(subprocess.run([program], input=told, capture_output=True, text=True, check=True).stdout)
    assert len(answer) == len(cases), "one answer a case"
    worst = 0.0
    for case, got in zip(cases, answer):
        ours = [got["onset"]["f"], got["onset"]["precision"], got["onset"]["recall"], got["beat"], got["beat_trimmed"]]
        for a, b in zip(ours, case["onset"] + [case["beat"], case["beat_trimmed"]], strict=True):
            if not abs(a - b) <= TOLERANCE:
                sys.exit(f"error: seed {seed}: {a} is not mir_eval's {b} for {json.dumps(case)}")
            worst = max(worst, abs(a - b))
    print(f"{len(cases)} comparisons, seed {seed}: largest difference from mir_eval {worst:.1e}")


if __name__ == "__main__":
    main()
