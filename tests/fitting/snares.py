"""Fits the discriminant by which two snares are told from one, on drum parts with one snare or two.

    cargo build --release --example features
    python3 tests/fitting/snares.py BANK target/release/examples/features src/voices/snares.bin [--sets 5]

BANK is the file that listen/prepare.py writes. Every clip has one snare, soft, loud and rimmed, in three fifths of them in a room, or two of
one source of sounds; parts are played ones, or invented: a figure for two limbs under a freer line. Seeded: the same
command gives the same file. With --leave SOURCE (fluid, pearl, made, recorded) that source is left out.

In a clip, a drum's strokes spread around their mean: the sum over all drums is the scatter within. The differences of
the two snares' means are the scatter between. The axes are the largest generalised eigenvectors of the two, scaled to
unit scatter within. Needs numpy, scipy, soundfile, mido.
"""
import argparse, os, struct, subprocess, sys
import numpy as np, scipy.linalg

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), "listen"))
import kits, prepare
from kits import RATE, Drum

KINDS = {"fluid": lambda s: "FluidR3" in s, "pearl": lambda s: "Black_Pearl" in s, "made": lambda s: s.startswith("made"),
         "recorded": lambda s: not s.startswith(("font", "made"))}
AXES, SHRINK, SECONDS = 16, 0.02, 22
SHORT, LONG, SHORTS, LONGS = 26, 24, 7, 3


def choose(bank, voice, kind, rng, other_than=None, like=None):
    pool = [i for i in bank.instruments[voice] if KINDS[kind](i[0]) and i[0] != other_than] or [i for i in bank.instruments[voice] if i[0] != other_than]
    return next((i for i in pool if i[0] == like), None) or pool[rng.integers(len(pool))]


def invented(rng, two):
    """A figure of 5 to 11 steps for two limbs; cells of 3 to 6 strokes over it, soft and loud."""
    step = 60 / rng.uniform(78, 128) / rng.choice([4, 4, 6, 3])
    step *= 2 if step < 0.075 else 1
    count, loose, out = int((SECONDS - 0.8) / step), rng.uniform(0.002, 0.008), []
    a, b = [("snare_2", "hat_foot") if two else ("ride", "hat_foot"), ("ride", "kick"), ("hat_closed", "kick"),
            ("snare_2", "kick") if two else ("hat_closed", "hat_foot"), ("ride_bell", "hat_foot")][rng.integers(5)]
    length = int(rng.integers(5, 12))
    figure = rng.choice(["A", "B", "-", "AB"], length, p=[0.4, 0.35, 0.15, 0.1])
    free = ["snare", "snare", "snare", "tom_high", "tom_mid", "tom_floor"] + (["snare_2"] * 2 if two and a != "snare_2" else []) + (["kick"] if b != "kick" else [])
    cells = [[free[rng.integers(len(free))] for _ in range(rng.integers(3, 7))] for _ in range(4)]
    line = []
    while len(line) < count:
        line += cells[rng.integers(4)]
    stroke = lambda time, voice, level: out.append((time + rng.normal(0, loose), voice, float(np.clip(level, 0.1, 1))))
    for k in range(count):
        for name, voice in (("A", a), ("B", b)):
            if name in figure[k % length]:
                stroke(0.3 + k * step, voice, rng.normal(0.7, 0.08))
        if rng.random() < 0.55:
            stroke(0.3 + k * step, line[k], rng.choice([0.85, 0.6, 0.3], p=[0.3, 0.5, 0.2]) + rng.normal(0, 0.06))
    return sorted(out)


def played(parts, rng, two):
    """A stretch of a played part; some of its snare strokes, one by one or in runs, on the second snare."""
    while True:
        part = parts[rng.integers(len(parts))]
        start = rng.uniform(part[0][0], max(part[-1][0] - 20, part[0][0] + 0.01))
        strokes = [(t - start + 0.15, v, a) for t, v, a in part if start <= t < start + SECONDS - 0.5]
        if sum(v == "snare" for _, v, _ in strokes) >= 24 and strokes[-1][0] > 15:
            break
    share, runs, second, out = rng.uniform(0.25, 0.6), rng.random() < 0.5, True, []
    for t, v, a in strokes:
        if two and v == "snare":
            second = rng.random() < share if not runs or rng.random() < 0.2 else second
            v, a = ("snare_2", max(a, 0.3)) if second else (v, a)
        out.append((t, v, a))
    return out


def render(bank, parts, kind, two, free, rng):
    """(samples, strokes) of one clip."""
    strokes = invented(rng, two) if free else played(parts, rng, two)
    voices, kit, source = {v for _, v, _ in strokes}, {}, {}
    for family in kits.FAMILIES:
        lead, pitch = choose(bank, family[0], kind, rng), 2 ** rng.uniform(-0.1, 0.1)
        for voice in voices.intersection(family):
            got = choose(bank, voice, kind, rng, like=lead[0])
            kit[voice], source[voice] = Drum(got, rng, pitch), got[0]
    if "snare_2" in voices:
        kit["snare_2"] = Drum(choose(bank, "snare", kind, rng, other_than=source.get("snare")), rng, 2 ** rng.uniform(0.1, 0.5))
        if "snare" in kit:
            kit["snare_2"].weights = kit["snare"].weights
    levels = {}
    for voice in sorted(kit):
        kit[voice].decay = kit[voice].decay if rng.random() < 0.2 else None
        levels[voice] = kits.BALANCE.get(voice, 0) + rng.normal(0, 2.5)
    length = SECONDS * RATE
    out = np.zeros(length + 4 * RATE, np.float32)
    for t, v, a in strokes:
        sound, at = kit[v].stroke(a, rng) * np.float32(10 ** (levels[v] / 20)), int(round(t * RATE))
        if 0 <= at < length:
            out[at: at + len(sound)] += sound[: len(out) - at]
    out = out[:length]
    return (kits.in_a_room(out, rng) if rng.random() < 0.6 else out / np.abs(out).max() * 0.8), strokes


def rows(program, samples, times):
    """What the program hears at some times."""
    head = struct.pack("<II", len(samples), len(times))
    got = subprocess.run([program], input=head + samples.astype("<f4").tobytes() + np.asarray(times, "<f8").tobytes(), capture_output=True, check=True).stdout
    return np.frombuffer(got[4:], "<f4").reshape(-1, struct.unpack("<I", got[:4])[0]).astype(float)


def stroke(row):
    """voices::features::stroke."""
    short, long = row[:, : SHORTS * SHORT].reshape(-1, SHORTS, SHORT), row[:, SHORTS * SHORT: SHORTS * SHORT + LONGS * LONG].reshape(-1, LONGS, LONG)
    added = lambda now, before: np.log10(np.maximum(10 ** now - 10 ** before, 0.1 * 10 ** before) + 1e-7)
    attack = sum(added(short[:, k], short[:, 0]) for k in (1, 2, 3)) / 3
    all_ = np.concatenate([attack, added(short[:, 4], short[:, 0]), added(long[:, 1], long[:, 0]), added(long[:, 2], long[:, 0])], 1)
    return all_ - attack[:, 4:22].mean(1, keepdims=True)


def heard(program, samples, strokes, rng):
    """{voice: strokes of each snare by themselves}, timed as loosely as the program times them."""
    moments = []
    for t, v, _ in strokes:
        if moments and t - moments[-1][0] < 0.03:
            moments[-1][1].add(v)
        elif 0 <= t < SECONDS - 0.3:
            moments.append((t, {v}))
    what = stroke(rows(program, samples, [t + rng.uniform(-0.001, 0.005) for t, _ in moments]))
    of = lambda v: what[[k for k, (_, voices) in enumerate(moments) if {"snare", "snare_2"} & voices == {v}]]
    return {v: of(v) for v in ("snare", "snare_2")}


def fit(clips_heard):
    within, count, between, pairs = 0, 0, 0, 0
    for drums in clips_heard:
        drums = {v: x for v, x in drums.items() if len(x) >= 3}
        for x in drums.values():
            away = x - x.mean(0)
            within, count = within + away.T @ away, count + len(x) - 1
        if len(drums) == 2:
            apart = drums["snare"].mean(0) - drums["snare_2"].mean(0)
            between, pairs = between + np.outer(apart, apart), pairs + 1
    within = within / count
    within += np.eye(len(within)) * SHRINK * np.trace(within) / len(within)
    values, axes = scipy.linalg.eigh(between / pairs, within)
    print("clips", len(clips_heard), "strokes", count, "pairs", pairs, "eigenvalues", np.round(values[::-1][:AXES], 1))
    axes = axes[:, ::-1][:, :AXES].T
    # The sign of an eigenvector is the solver's choice.
    return axes * np.sign(axes[np.arange(AXES), np.abs(axes).argmax(1)])[:, None]


def main():
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    for name in ("bank", "features", "out"):
        p.add_argument(name)
    p.add_argument("--sets", type=int, default=5); p.add_argument("--clips", type=int, default=8); p.add_argument("--seed", type=int, default=901); p.add_argument("--leave")
    a = p.parse_args()
    (bank, parts), got = prepare.load(a.bank), []
    for number in range(a.sets):
        for at, kind in enumerate(KINDS):
            for two in (0, 1):
                for free in (0, 1):
                    for k in range(0 if kind == a.leave else a.clips):
                        rng = np.random.default_rng([a.seed + number, at, two, free, k])
                        got.append(heard(a.features, *render(bank, parts, kind, two, free, rng), rng))
    fit(got).astype("<f4").tofile(a.out)


if __name__ == "__main__":
    main()
