"""How often the program takes one snare for two, tells two apart, and hears both struck at once.

    cargo build --release
    python3 tests/fitting/snares_heard.py BANK target/release/overbar [--clips 6] [--seed 70001] [--only SOURCE]

BANK is the file that listen/prepare.py writes. Clips as snares.py makes them, and solos of two lines: a pair of limbs
repeats a figure, or two pairs do, the others play cells that fill most steps; on one snare or two, on either line. To
judge sounds that were not fitted on, fit with snares.py --leave SOURCE, build, and give --only SOURCE here. Every clip
is studied by the whole program. Needs what snares.py needs.
"""
import argparse, collections, multiprocessing, os, subprocess, tempfile
import numpy as np, soundfile

import snares
import prepare
from snares import KINDS, RATE, SECONDS

NEAR = 0.035


def laid(rng, two):
    """A solo of two lines: two limbs repeat a figure of 5 to 12 steps; a hand and a foot play cells of 3 to 6, or a figure too."""
    per_beat = int(rng.choice([3, 4, 4, 6]))
    step = 60 / rng.uniform(78, 128) / per_beat
    while step < 0.085:
        step *= 2
    count, loose, out = int((SECONDS - 1) / step), rng.uniform(0.003, 0.009), []
    figure, other = (rng.choice(["A", "B", "-"], int(rng.integers(5, 13)), p=[0.48, 0.42, 0.1]) for _ in range(2))
    ghosts, foot = rng.random() < 0.4, ("hat_foot", "kick")[rng.integers(2)]
    foot_2, hands, kind = "kick" if foot == "hat_foot" else "hat_foot", ["ride", "hat_closed", "ride_bell"], rng.integers(3)
    level = lambda: rng.choice([0.85, 0.6, 0.3], p=[0.3, 0.5, 0.2]) + rng.normal(0, 0.05) if ghosts else rng.normal(0.75, 0.09)
    hand = hands[rng.integers(3)]
    # Kinds: a snare under a free line, two figures at once, a free line with snares over other things.
    a = [("snare_2" if two else "snare"), ("snare_2" if two else "snare"), hand][kind]
    a_2 = "snare" if two else hand
    own = [["snare"], [], ["snare", "snare_2"] if two else ["snare"]][kind]
    pool = (["tom_high", "tom_mid", "tom_floor", "crash"][: int(rng.integers(1, 5))]) + own * int(rng.integers(1, 4))
    fill, same = rng.uniform(0.75, 1), rng.random() < 0.5
    cells = [[foot_2 if i >= n - 1 or rng.random() < 0.2 else pool[rng.integers(len(pool))] for i in range(n)] for n in rng.integers(3, 7, 3)]
    line = []
    while len(line) < count:
        cell = cells[rng.integers(3)]
        for _ in range(rng.integers(1, 5)):
            line += cell if same else [v if v == foot_2 else pool[rng.integers(len(pool))] for v in cell]
    put = lambda k, voice, loud: out.append((0.3 + k * step + rng.normal(0, loose), voice, float(np.clip(loud, 0.1, 1))))
    for k in range(count):
        for place, hand_, foot_ in ((figure[k % len(figure)], a, foot),) + (((other[k % len(other)], a_2, foot_2),) if kind == 1 else ()):
            if place == "A":
                put(k, hand_, level())
            if place == "B":
                put(k, foot_, rng.normal(0.7, 0.08))
        if kind != 1 and rng.random() < fill:
            put(k, line[k], level())
    return sorted(out)


def judged(job):
    kind, at, two, part, k = job
    rng = np.random.default_rng([ARGS.seed, at, two, part, k])
    snares.invented = laid if part == 2 else INVENTED
    samples, strokes = snares.render(BANK, PARTS, kind, two, part > 0, rng)
    with tempfile.TemporaryDirectory() as folder:
        wav, study = os.path.join(folder, "clip.wav"), os.path.join(folder, "study")
        soundfile.write(wav, samples, RATE, subtype="PCM_16")
        subprocess.run([ARGS.program, "study", wav, "--out", study, "--quiet"], check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        rows = [line.split("\t") for line in open(os.path.join(study, "hits.tsv")).read().split("\n") if line and not line.startswith("#")]
    time, voice = rows[0].index("time"), rows[0].index("voice")
    hits = [(float(r[time]), r[voice]) for r in rows[1:] if r[voice] in ("snare", "snare_2")]
    true = [(t, v) for t, v, _ in strokes if v in ("snare", "snare_2") and t < SECONDS - 0.3]
    counts = collections.Counter(v for _, v in true)
    if sum(counts.values()) < 24 or (two and min(counts["snare"], counts["snare_2"]) < 6):
        return None
    near = lambda t, those: {v: u for u, v in those if abs(u - t) < NEAR}
    told, right, order, moments = any(v == "snare_2" for _, v in hits), collections.Counter(), collections.Counter(), []
    for t, _ in sorted(true):
        if not moments or t - moments[-1] > NEAR:
            moments.append(t)
    both = collections.Counter()
    for t in moments:
        struck, heard = near(t, true), near(t, hits)
        both[len(struck) == 2, len(heard) == 2] += 1
        if len(struck) == 1 and len(heard) == 1:
            right[next(iter(struck)), next(iter(heard))] += 1
        if len(struck) == len(heard) == 2:
            order[(struck["snare"] < struck["snare_2"]) == (heard["snare"] < heard["snare_2"])] += 1
    # Which of the two is called the second is a matter of names.
    same, swapped = right["snare", "snare"] + right["snare_2", "snare_2"], right["snare", "snare_2"] + right["snare_2", "snare"]
    return part, two, told, max(same, swapped), same + swapped, both, (order[same >= swapped], order.total())


def main():
    global ARGS, BANK, PARTS, INVENTED
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("bank"); p.add_argument("program")
    p.add_argument("--clips", type=int, default=6); p.add_argument("--seed", type=int, default=70001); p.add_argument("--only")
    ARGS, INVENTED = p.parse_args(), snares.invented
    BANK, PARTS = prepare.load(ARGS.bank)
    jobs = [(kind, at, two, part, k) for at, kind in enumerate(KINDS) if ARGS.only in (None, kind) for two in (0, 1) for part in (0, 1, 2) for k in range(ARGS.clips)]
    with multiprocessing.get_context("fork").Pool(2) as pool:
        got = [g for g in pool.map(judged, jobs, chunksize=2) if g]
    for part, name in ((0, "played"), (1, "invented"), (2, "two lines"), (None, "all")):
        one, two = ([g for g in got if part in (None, g[0]) and g[1] == n] for n in (0, 1))
        told, both = [g for g in two if g[2]], sum((g[5] for g in two), collections.Counter())
        right, of = sum(g[3] for g in told), sum(g[4] for g in told)
        order = np.sum([g[6] for g in two], axis=0)
        print(f"{name}: one taken for two {sum(g[2] for g in one)} of {len(one)}; two told apart {len(told)} of {len(two)}, their single strokes right "
              f"{right} of {of}; both at once heard {both[True, True]} of {both[True, True] + both[True, False]}, "
              f"wrongly {both[False, True]} of {both[False, True] + both[False, False]}; order right {order[0]} of {order[1]}", flush=True)


if __name__ == "__main__":
    main()
