"""What `overbar verify` says to claims about the figures of annotated solos, from studies of their sound.

    claims.py OVERBAR CLIPS STUDIES

CLIPS holds NAME.json (its `cycles` have `steps`, `start` and `end` in seconds) of every solo; STUDIES/NAME is the study
of NAME.wav. Claimed are each planted length, a step less and more, the double and the half. The planted one must be certain
or likely; the others contradicted, or told as a multiple or a part of it. Exit status 1 where one is not.
`examples/true_hits` asks the same of the true hits.
"""

import json
import pathlib
import subprocess
import sys


def told(program, study, steps):
    run = [program, "verify", study, "--length", str(steps), "--json"]
    return json.loads(subprocess.run(run, capture_output=True, text=True, check=True).stdout)


def is_right(answer, steps, planted):
    if steps == planted:
        return answer["verdict"] in ("certain", "likely")
    kin = answer["relation"] or {}
    return answer["verdict"] == "contradicted" or bool({"multiple_of", "fraction_of"} & set(kin))


def main():
    program, clips, studies = sys.argv[1:]
    asked = wrong = 0
    for file in sorted(pathlib.Path(clips).glob("*.json")):
        truth, study = json.loads(file.read_text(encoding="utf-8")), pathlib.Path(studies) / file.stem
        for planted in truth.get("cycles") or []:
            length, row = planted["steps"], []
            for steps in [length, length - 1, length + 1, 2 * length] + [length // 2] * (length % 2 == 0):
                answer = told(program, study, steps)
                right = is_right(answer, steps, length)
                kin = [f"({what} {how['steps']})".replace("_", " ") for what, how in (answer["relation"] or {}).items()]
                row.append(" ".join([str(steps), answer["verdict"], *kin] + ["WRONG"] * (not right)))
                asked, wrong = asked + 1, wrong + (not right)
            print(f"{file.stem}: {', '.join(row)}")
    print(f"{asked} claims, {wrong} told wrongly")
    sys.exit(wrong > 0 or asked == 0)


if __name__ == "__main__":
    main()
