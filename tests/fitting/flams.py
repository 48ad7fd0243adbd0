"""Flams and drags among sixteenth-triplets on recorded, sampled and synthesised drums in rooms: clips with their truth, and what is found.

    flams.py make SOUNDS SOUNDFONTS STROKES CACHE OUT [--clips N] [--seed S]
    flams.py judge OUT STUDIES OVERBAR
    flams.py fit OUT...

`make` writes OUT/SOURCE-NUMBER.wav and .json ({"hits": [[time s, voice, velocity, mark, grace ms], ...]}): SOURCE is recorded, font
or made. Hands play snare and toms, loud and soft, at 60 to 130 bpm; one stroke in six is a flam of 15 to 45 ms whose grace
stroke lies 6 to 20 dB under it, some are drags; kick, hats and cymbals strike with them as loosely as limbs do. `judge` studies all
clips and says how many flams are marked, by gap, and how many plain strokes are. `fit` asks the program for the pairs of attacks in
all clips of the folders (cargo run --release --example graces) and writes src/voices/graces/trees.txt: run it at the top of the
repository; the committed trees heard the clips of `make --clips 60 --seed 21`, `--clips 120 --seed 51` and `--clips 100 --seed 61`. SOUNDS, SOUNDFONTS and CACHE are those of
kits.py, STROKES what the example `strokes` writes. Every clip has its own random generator: the same seed makes the same clips.
"""
import argparse, collections, csv, glob, json, os, subprocess, sys
import numpy as np, soundfile

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path[:0] = [HERE, os.path.join(HERE, "listen")]
import kits
from clips import Drum, made

RATE = kits.RATE
SOURCES = ("recorded", "font", "made")
# Rendered sound begins this long after the written time, s: the median of what the program measures.
LATE = 0.0007
SKINS = ("snare", "tom_high", "tom_mid", "tom_floor")


def kind(source):
    return "font" if source.startswith("font") else "made" if source.startswith("made") else "recorded"


def line(rng, seconds):
    """[(time, voice, velocity, mark, graces [(ms before, dB under)])] of two hands, a foot and cymbals."""
    step, loose = 10 / rng.uniform(60, 130), rng.uniform(0.001, 0.006)
    density, moves = rng.uniform(0.5, 1.0), rng.uniform(0.05, 0.4)
    # Limbs that do not meet: two drums struck one after the other are no flam.
    apart = rng.uniform(0.004, 0.02)
    others, together = ["hat_closed", "hat_closed", "ride", "crash", "hat_foot", "hat_open"][rng.integers(6)], rng.uniform(0, 0.5)
    out, voice, soft, drags = [], "snare", rng.uniform(0.0, 0.5), rng.uniform(0, 0.06)
    k = 0
    while 0.3 + k * step < seconds - 0.6:
        time = 0.3 + k * step + rng.normal(0, loose)
        if rng.random() < moves:
            voice = SKINS[rng.integers(4)] if rng.random() < 0.6 else "snare"
        if rng.random() < density:
            velocity = rng.uniform(0.2, 0.4) if rng.random() < soft else rng.uniform(0.6, 1.0)
            mark, graces, chance = "", [], rng.random()
            if chance < 1 / 6 and (not out or out[-1][5] < k - (0 if step > 0.1 else 1)):
                velocity, mark, graces = max(velocity, 0.5), "flam", [(rng.uniform(15, 45), rng.uniform(6, 20))]
            elif chance < 1 / 6 + drags and (not out or out[-1][5] < k - 1):
                first, under = rng.uniform(60, 100), rng.uniform(8, 18)
                velocity, mark, graces = max(velocity, 0.6), "drag", [(first, under), (first * rng.uniform(0.48, 0.56), under + rng.normal(0, 1))]
            out.append((time, voice, velocity, mark, graces, k))
            if rng.random() < together:
                out.append((time + rng.normal(0, apart), others, rng.uniform(0.4, 1), "", [], k))
        if k % 6 == 0 or rng.random() < 0.12:
            out.append((0.3 + k * step + rng.normal(0, apart), "kick", rng.uniform(0.5, 1), "", [], k))
        k += 1
    return sorted(out)


def render(bank, source, rng, seconds=20.0):
    """Samples and truth of one clip."""
    kit = {}
    for family in kits.FAMILIES:
        pools = {v: [i for i in bank.instruments[v] if kind(i[0]) == source] or bank.instruments[v] for v in family}
        lead, pitch = pools[family[0]][rng.integers(len(pools[family[0]]))], 2 ** rng.uniform(-0.1, 0.1)
        for v in family:
            kit[v] = Drum(next((i for i in pools[v] if i[0] == lead[0]), pools[v][rng.integers(len(pools[v]))]), rng, pitch)
            kit[v].span = rng.uniform(14, 24)
    levels = {v: kits.BALANCE.get(v, 0) + rng.normal(0, 3) for v in kit}
    out, truth = np.zeros(int(seconds * RATE) + RATE, np.float32), []

    def add(time, voice, velocity, gain=0.0):
        sound = kit[voice].stroke(velocity, rng) * 10 ** ((levels[voice] + gain) / 20)
        at = int(round(time * RATE))
        sound = sound[: max(0, len(out) - at)]
        out[at: at + len(sound)] += sound
    for time, voice, velocity, mark, graces, _ in line(rng, seconds):
        for ms, under in graces:
            # The soft stroke's own sound, at exactly the level under its main stroke.
            softer = max(0.1, velocity - under / kit[voice].span)
            add(time - ms / 1000, voice, softer, (velocity - softer) * kit[voice].span - under)
        add(time, voice, velocity)
        truth.append((round(float(time), 5), voice, round(float(velocity), 3), mark, round(float(graces[0][0]), 2) if graces else None))
    return kits.in_a_room(out[: int(seconds * RATE)], rng), truth


def make(args):
    os.makedirs(args.out, exist_ok=True)
    bank = made(kits.Bank(args.sounds, args.soundfonts, args.cache), args.strokes)
    for source in SOURCES:
        for number in range(args.clips):
            samples, truth = render(bank, source, np.random.default_rng([args.seed, SOURCES.index(source), number]))
            name = os.path.join(args.out, f"{source}-{number:03d}")
            soundfile.write(name + ".wav", samples, RATE, subtype="PCM_16")
            json.dump({"hits": truth}, open(name + ".json", "w"))


def rows(folder):
    with open(os.path.join(folder, "hits.tsv"), encoding="utf-8") as f:
        return list(csv.DictReader((l for l in f if not l.startswith("#")), delimiter="\t"))


def judged(truth, found):
    """For each played skin stroke (voice, mark, grace ms, found mark, found grace ms, error ms): the nearest found skin stroke within 20 ms."""
    found = [r for r in found if r["voice"].startswith(("snare", "tom", "cross"))]
    times = np.array([float(r["time"]) for r in found])
    out = []
    for time, voice, _, mark, grace in truth:
        if voice in SKINS:
            # Marked strokes first: a grace stroke that stays a hit of its own must not stand for its main stroke.
            near = [i for i in np.flatnonzero(abs(times - time) < 0.02)] if len(times) else []
            best = min(near, key=lambda i: (found[i]["mark"] != mark, abs(times[i] - time)), default=None)
            r = found[best] if best is not None else None
            out.append((voice, mark, grace, r and r["mark"], float(r["grace"]) if r and r.get("grace") else None, r and (times[best] - time) * 1000))
    return out


def judge(args):
    all_ = collections.defaultdict(list)
    for wav in sorted(glob.glob(os.path.join(args.out, "*.wav"))):
        name = os.path.basename(wav)[:-4]
        folder = os.path.join(args.studies, name)
        subprocess.run([args.overbar, "study", wav, "--quiet", "--out", folder], check=True)
        all_[name.split("-")[0]] += judged(json.load(open(wav[:-4] + ".json"))["hits"], rows(folder))
    for source, strokes in all_.items():
        share = lambda what, marks: (sum(s[3] in marks for s in what), len(what), f"{100 * sum(s[3] in marks for s in what) / max(1, len(what)):.1f} %")
        flams, drags, plain = ([s for s in strokes if s[1] == m] for m in ("flam", "drag", ""))
        gaps = [f"{lo}-{lo + 10}: {share([s for s in flams if lo <= s[2] < lo + 10], ('flam',))[2]}" for lo in (15, 25, 35)]
        late = [s[5] for s in flams if s[3] == "flam"]
        off = [s[4] - s[2] for s in flams if s[3] == "flam" and s[4] is not None]
        print(source, "flams", *share(flams, ("flam",)), "| by gap", *gaps, "| drags", *share(drags, ("drag",)), "| plain marked", *share(plain, ("flam", "drag")),
              "| missed outright", sum(s[3] is None for s in flams), "| ms off", np.round(np.percentile(late, [5, 50, 95]), 1) if late else "", "| grace ms off", np.round(np.percentile(off, [5, 50, 95]), 1) if off else "")


def labelled(wav, numbers=5 * 8 + 35):
    """The pairs of a clip and whether each is a flam; what is neither clearly so nor clearly not is left out."""
    pairs = np.fromfile(wav[:-4] + ".pairs", "<f4").reshape(-1, 4 + numbers)
    truth = [t for t in json.load(open(wav[:-4] + ".json"))["hits"] if t[1] in SKINS]
    main = np.array([t[0] for t in truth]) + LATE
    grace = main - np.array([t[4] / 1000 if t[3] == "flam" else np.nan for t in truth])
    drags = np.array([t[0] for t in truth if t[3] == "drag"])
    kept, flam = [], []
    for row in pairs[pairs[:, 4:].any(axis=1)]:
        off = abs(main - row[3]) + abs(grace - row[2])
        off = np.nanmin(off) if np.isfinite(off).any() else 1.0
        if off < 0.008 or not (off < 0.02 or (len(drags) and abs(drags - row[3]).min() < 0.115)):
            kept.append(row[4:]), flam.append(off < 0.008)
    return kept, flam


def fit(args):
    from sklearn.ensemble import HistGradientBoostingClassifier
    import hits
    clips = [wav for folder in args.folders for wav in sorted(glob.glob(os.path.join(folder, "*.wav")))]
    subprocess.run(["cargo", "run", "--release", "--example", "graces", "--", *clips], check=True)
    rows, flam = zip(*map(labelled, clips))
    rows, flam = np.array(sum(rows, [])), np.array(sum(flam, []))
    trees = HistGradientBoostingClassifier(learning_rate=0.05, l2_regularization=1, min_samples_leaf=20, max_iter=400, max_leaf_nodes=24, max_features=0.5, random_state=0)
    trees.fit(rows, flam)
    hits.write(trees, "src/voices/graces/trees.txt", "flams.py")


def main():
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    sub = p.add_subparsers(dest="what", required=True)
    m, j = sub.add_parser("make"), sub.add_parser("judge")
    for name in ("sounds", "soundfonts", "strokes", "cache", "out"):
        m.add_argument(name)
    m.add_argument("--clips", type=int, default=12)
    m.add_argument("--seed", type=int, default=1)
    for name in ("out", "studies", "overbar"):
        j.add_argument(name)
    sub.add_parser("fit").add_argument("folders", nargs="+")
    args = p.parse_args()
    {"make": make, "judge": judge, "fit": fit}[args.what](args)


if __name__ == "__main__":
    main()
