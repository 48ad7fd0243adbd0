"""Fits the small network that names voices, and writes its weights.

    cargo build --example features
    python3 tests/fitting/kits.py SOUNDS GMD SOUNDFONTS CLIPS
    python3 tests/fitting/voices.py CLIPS ... --out src/voices/weights.bin

CLIPS are folders of NAME.wav with NAME.json, as kits.py and render.py write them. The program's own `features` listen
at their onsets; one network of two hidden layers, with a yes or no for each class, is fitted and written as 16-bit
numbers. Everything is seeded. Needs numpy and soundfile.
"""
import argparse, glob, json, multiprocessing, os, struct, subprocess, zlib
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
import numpy as np, soundfile

# What is asked of each onset. The first five always; the others only where the class that they part was struck.
CLASSES = ["kick", "snare", "tom", "hat", "cymbal", "cross_stick", "hat_open", "hat_foot", "ride_bell", "crash"]
PARENT = {"cross_stick": "snare", "hat_open": "hat", "hat_foot": "hat", "ride_bell": "cymbal", "crash": "cymbal"}
# Classes of voices by the beginning of their names; other struck things are none of them.
CLASS = {"kick": "kick", "snare": "snare", "cross": "snare", "tom": "tom", "hat": "hat", "ride": "cymbal", "bell": "cymbal", "crash": "cymbal", "china": "cymbal", "splash": "cymbal"}
FINER = {"cross": "cross_stick", "hato": "hat_open", "hat_open": "hat_open", "hatf": "hat_foot", "hat_foot": "hat_foot", "ride_bell": "ride_bell", "bell": "ride_bell",
         "crash": "crash", "china": "crash", "splash": "crash"}
TOGETHER = 0.03
# Bands of a short and of a long window, and the value of a silent band, as in features.rs.
SHORT, LONG, SILENCE = 26, 24, -7


def of(table, voice):
    return next((c for k, c in table.items() if voice.startswith(k)), None)


def labels(voices):
    """1 struck, 0 not, -1 not asked, for each of CLASSES."""
    struck = {of(CLASS, v) for v in voices}
    row = [int(c in struck) for c in CLASSES[:5]]
    for c in CLASSES[5:]:
        own = {of(FINER, v) == c for v in voices if of(CLASS, v) == PARENT[c]}
        row.append(int(own.pop()) if len(own) == 1 else -1)
    return row


def onsets(strokes, rng):
    """Onsets as the stage before would give them: strokes together are one, some a little off, missed or false."""
    groups = []
    for time, voice, _ in strokes:
        if groups and time - groups[-1][0] <= TOGETHER:
            groups[-1][1].append(voice)
        else:
            groups.append((time, [voice]))
    late, spread = rng.normal(0, 0.002), rng.uniform(0, 0.004)
    out = [(t + late + rng.normal(0, spread), labels(v)) for t, v in groups if rng.random() > 0.04]
    for _ in range(rng.binomial(len(out), 0.05)):
        time = rng.uniform(0, strokes[-1][0])
        if min(abs(time - t) for t, _, _ in strokes) > 0.04:
            out.append((time, labels([])))
    return sorted(out)


def listen(job):
    """The rows, labels and clip numbers of the onsets of some clips."""
    a, names = job
    rows, asked, clip = [], [], []
    ears = subprocess.Popen([a.features], stdin=subprocess.PIPE, stdout=subprocess.PIPE)
    for name in names:
        number = zlib.crc32("/".join(name.split("/")[-2:]).encode())
        strokes = json.load(open(name))["hits"]
        heard = onsets(strokes, np.random.default_rng([a.seed, number])) if strokes else []
        sound = soundfile.read(name[:-5] + ".wav", dtype="float32")[0]
        ears.stdin.write(struct.pack("<II", len(sound), len(heard)) + sound.astype("<f4").tobytes() + np.array([t for t, _ in heard], "<f8").tobytes())
        ears.stdin.flush()
        width = struct.unpack("<I", ears.stdout.read(4))[0]
        rows.append(np.frombuffer(ears.stdout.read(4 * width * len(heard)), "<f4").reshape(len(heard), width).astype(np.float16))
        asked.append(np.array([l for _, l in heard], np.int8).reshape(-1, len(CLASSES)))
        clip.append(np.full(len(heard), number, np.int64))
    ears.stdin.close()
    ears.wait()
    return np.concatenate(rows), np.concatenate(asked), np.concatenate(clip)


def ended_early(rows, clip, rng):
    """The rows as recordings give them that end between 7 and 15 kHz at the top, as old and lossy files do, for six
    clips in ten: their top bands are silent."""
    rows = rows.copy()
    starts = [w * SHORT for w in range(7)] + [rows.shape[1] - 2 * SHORT - LONG, rows.shape[1] - SHORT - LONG]
    for number in np.unique(clip):
        if rng.random() < 0.6:
            end, edge, own = rng.integers(19, SHORT), rng.uniform(0, 1.5), clip == number
            part = rows[own]
            for at in starts:
                part[:, at + end: at + SHORT] = SILENCE
                part[:, at + end - 1] = np.maximum(part[:, at + end - 1] - edge, SILENCE)
            rows[own] = part
    return rows


def sigmoid(x):
    return 1 / (1 + np.exp(-np.clip(x, -30, 30)))


class Network:
    """Rows -> hidden -> hidden -> one logit a class; rectified; Adam (Kingma & Ba, 2015) with one cycle of the rate."""

    def __init__(self, sizes, rng):
        self.p = [x for a, b in zip(sizes, sizes[1:]) for x in (rng.normal(0, np.sqrt(2 / a), (a, b)).astype(np.float32), np.zeros(b, np.float32))]

    def forward(self, x, drop=None):
        kept = [x]
        for i in range(0, len(self.p), 2):
            x = x @ self.p[i] + self.p[i + 1]
            if i + 2 < len(self.p):
                x = np.maximum(x, 0)
                if drop is not None:
                    x = x * (drop.random(x.shape, dtype=np.float32) > 0.1) / 0.9
            kept.append(x)
        return kept

    def fit(self, x, y, weights, rng, epochs, batch=1024, top=3e-3, decay=1e-4, log=None):
        m, v = [np.zeros_like(p) for p in self.p], [np.zeros_like(p) for p in self.p]
        steps, step = epochs * (len(x) // batch), 0
        for epoch in range(epochs):
            order, total = rng.permutation(len(x)), 0.0
            for at in range(0, len(x) - batch + 1, batch):
                pick = order[at: at + batch]
                xb, yb = x[pick].astype(np.float32), y[pick]
                kept = self.forward(xb, rng)
                asked = (yb >= 0) * weights
                error = (sigmoid(kept[-1]) - (yb > 0)) * asked / batch
                grads = []
                for i in range(len(self.p) - 2, -1, -2):
                    grads[:0] = [kept[i // 2].T @ error, error.sum(axis=0)]
                    if i:
                        error = (error @ self.p[i].T) * (kept[i // 2] > 0)
                step += 1
                rate = top * (step / (0.2 * steps) if step < 0.2 * steps else 0.5 + 0.5 * np.cos(np.pi * (step - 0.2 * steps) / (0.8 * steps)))
                for k, g in enumerate(grads):
                    m[k] += 0.1 * (g - m[k]); v[k] += 0.001 * (g * g - v[k])
                    self.p[k] -= rate * (m[k] / (1 - 0.9 ** step) / (np.sqrt(v[k] / (1 - 0.999 ** step)) + 1e-8) + decay * self.p[k] * (self.p[k].ndim > 1)).astype(np.float32)
            if log:
                log(epoch)


def f_measures(logits, y):
    out = {}
    for k, c in enumerate(CLASSES):
        asked = y[:, k] >= 0
        hit, true = logits[asked, k] > 0, y[asked, k] > 0
        out[c] = round(float(2 * (hit & true).sum() / max(hit.sum() + true.sum(), 1)), 3)
    return out


def write(path, network, mean, scale):
    """Sizes (u32), then for each layer the scale of its weights (f32), the weights (i16, output by output) and its
    offsets (f32). The rows' mean and scale are folded into the first layer."""
    p = [q.astype(np.float64) for q in network.p]
    p[0], p[1] = p[0] / scale[:, None], p[1] - (mean / scale) @ p[0]
    sizes = [p[0].shape[0]] + [b.shape[0] for b in p[1::2]]
    with open(path, "wb") as f:
        f.write(struct.pack(f"<I{len(sizes)}I", len(sizes), *sizes))
        for w, b in zip(p[::2], p[1::2]):
            unit = np.abs(w).max() / 32767
            f.write(struct.pack("<f", unit) + np.round(w.T / unit).astype("<i2").tobytes() + b.astype("<f4").tobytes())


def load(a):
    """Rows, labels and clip numbers of all clips, in the order of their names."""
    if a.rows and os.path.exists(a.rows):
        kept = np.load(a.rows)
        return kept["rows"], kept["asked"], kept["clip"]
    names = sorted(n for folder in a.clips for n in glob.glob(os.path.join(folder, "*.json")))
    with multiprocessing.get_context("fork").Pool(a.processes) as pool:
        parts = pool.map(listen, [(a, names[n: n + 25]) for n in range(0, len(names), 25)], chunksize=1)
    rows, asked, clip = (np.concatenate(p) for p in zip(*parts))
    if a.rows:
        np.savez(a.rows, rows=rows, asked=asked, clip=clip)
    return rows, asked, clip


def main():
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("clips", nargs="+"); p.add_argument("--out", required=True); p.add_argument("--rows", help="keep the rows here for the next fit")
    p.add_argument("--features", default="target/debug/examples/features"); p.add_argument("--seed", type=int, default=1)
    p.add_argument("--epochs", type=int, default=14); p.add_argument("--hidden", default="96,48"); p.add_argument("--processes", type=int, default=2)
    a = p.parse_args()
    x, y, clip = load(a)
    held = clip % 20 == 0
    print(len(x), "onsets,", int(held.sum()), "held back")
    rng = np.random.default_rng(a.seed)
    fitted = np.concatenate([x[~held], ended_early(x[~held], clip[~held], rng)])
    mean, scale = fitted.mean(axis=0, dtype=np.float64).astype(np.float32), fitted.std(axis=0, dtype=np.float64).astype(np.float32) + 1e-3
    standard = lambda rows: ((rows - mean) / scale).astype(np.float16)
    network = Network([x.shape[1], *map(int, a.hidden.split(",")), len(CLASSES)], rng)
    tell = lambda epoch: print(epoch, f_measures(network.forward(standard(x[held]).astype(np.float32))[-1], y[held]), flush=True) if epoch % 4 == 3 else None
    network.fit(standard(fitted), np.concatenate([y[~held], y[~held]]), np.ones(len(CLASSES), np.float32), rng, a.epochs, log=tell)
    write(a.out, network, mean, scale)


if __name__ == "__main__":
    main()
