"""Render drum performances with known stroke times, to fit decisions on: played parts and invented dense lines
through recorded and sampled strokes, with everything that can be varied varied.

    performances.py PLAYED STROKES PRESETS OUT [--clips N] [--seed S] [--only SOURCE | --without SOURCE]

PLAYED   folder of the Groove MIDI Dataset's MIDI files with info.csv (CC BY 4.0)
STROKES  folder of single recorded strokes with index.json (file, kit, voice, channels, gain_db, onset_s)
PRESETS  folder of NAME.npz that presets.py wrote: single strokes, arrays named voice|key|velocity
OUT      gets NAME.wav (16 bit, 44.1 kHz, mono) and NAME.json ({"hits": [[time, voice, velocity], ...], "source"})

Every clip has its own random generator, seeded by S and the clip's number: the same command gives the same clips.
"""

import argparse
import csv
import json
import os
from multiprocessing import Pool

import mido
import numpy as np
import soundfile as sf
from scipy.signal import fftconvolve, lfilter

RATE = 44100
PAD = {36: "kick", 38: "snare", 40: "snare", 37: "cross", 48: "tom1", 50: "tom1", 45: "tom2", 47: "tom2", 43: "tom3",
       58: "tom3", 42: "hatc", 22: "hatc", 46: "hato", 26: "hato", 44: "hatf", 49: "crash", 55: "crash", 52: "crash2",
       57: "crash2", 51: "ride", 59: "ride", 53: "bell"}
# Which recorded voices may sound for a pad.
RECORDED = {
    "kick": ["kick"], "snare": ["snare"], "cross": ["cross"], "tom": ["tom"], "hatc": ["hat_closed"],
    "hato": ["hat_open", "hat_half"], "hatf": ["hat_foot"], "crash": ["crash", "china", "splash"],
    "ride": ["ride", "ride_2"], "bell": ["ride_bell", "ride_2_bell"],
}
PRESET_VOICE = {"kick": ["kick"], "snare": ["snare"], "cross": ["cross"], "tom": ["tom"], "hatc": ["hatc"],
                "hato": ["hato"], "hatf": ["hatf"], "crash": ["crash", "china", "splash"], "ride": ["ride"], "bell": ["bell"]}
BALANCE = {"kick": 0, "snare": 0, "cross": -6, "tom": -1, "hatc": -11, "hato": -8, "hatf": -15, "crash": -4, "ride": -10, "bell": -8}


def kind(voice):
    return voice.rstrip("123")


class Sounds:
    def __init__(self, strokes, presets):
        self.groups = {}
        for e in json.load(open(os.path.join(strokes, "index.json"))):
            x, _ = sf.read(os.path.join(strokes, e["file"]), dtype="float32", always_2d=True)
            on = max(0, int(e["onset_s"] * RATE))
            x = x[on:] * 10 ** (e["gain_db"] / 20)
            source, voice, name = e["kit"], e["voice"], os.path.basename(e["file"]).rsplit("-", 1)[0]
            for k, names in RECORDED.items():
                if any(voice == n or (voice.startswith(n) and k not in ("ride",)) for n in names):
                    self.groups.setdefault((source, k), {}).setdefault(name, []).append(x)
        for f in sorted(os.listdir(presets)):
            if not f.endswith(".npz"):
                continue
            z = np.load(os.path.join(presets, f))
            for n in z.files:
                v, key, vel = n.split("|")
                for k, names in PRESET_VOICE.items():
                    if v in names:
                        self.groups.setdefault((f[:-4], k), {}).setdefault(f"{v}{key}", []).append((int(vel), z[n][:, None]))
        for key, g in self.groups.items():
            for name, layers in g.items():
                layers = [l[1] for l in sorted(layers, key=lambda l: l[0])] if isinstance(layers[0], tuple) else sorted(layers, key=lambda x: float(np.abs(x).max()))
                g[name] = [l / max(np.abs(l).max(), 1e-6) for l in layers]
        self.sources = sorted({s for s, _ in self.groups})


def smooth_filter(rng, x, db):
    """A random smooth equaliser, about db in standard deviation."""
    n = len(x)
    f = np.fft.rfftfreq(n, 1 / RATE)
    knots = np.linspace(np.log2(30), np.log2(20000), 7)
    gain = np.interp(np.log2(np.maximum(f, 20)), knots, rng.normal(0, db, 7))
    return np.fft.irfft(np.fft.rfft(x) * 10 ** (gain / 20), n).astype("f4")


def make_voice(rng, layers, gentle):
    """The layers of one voice as they sound in this clip: channels mixed, pitch, filter and decay varied."""
    channels = layers[0].shape[1]
    mix = rng.dirichlet(np.ones(channels) * 0.8)
    pitch = 2 ** rng.normal(0, 0.02 if gentle else 0.09)
    decay = None if gentle or rng.random() < 0.5 else np.exp(rng.uniform(np.log(0.08), np.log(3)))
    seed = rng.integers(1 << 31)
    out = []
    for l in layers:
        x = (l @ mix[: l.shape[1]] if l.shape[1] == channels else l.mean(1)).astype("f4")[: int(2.5 * RATE)]
        x = np.interp(np.arange(0, len(x) - 1, pitch), np.arange(len(x)), x).astype("f4")
        if decay:
            x = x * np.exp(-np.arange(len(x)) / RATE * 6.9 / 3 / decay).astype("f4")
        if not gentle:
            n0 = len(x)
            x = smooth_filter(np.random.default_rng(seed), np.pad(x, (0, 2048)), 3)[:n0]
        fade = min(len(x), 800)
        x[-fade:] *= np.linspace(1, 0, fade, dtype="f4")
        out.append(x / max(np.abs(x).max(), 1e-6))
    return out


def played(rng, rows, folder, seconds):
    for _ in range(50):
        row = rows[rng.integers(len(rows))]
        if float(row["duration"]) > 6:
            break
    stretch = 1 / rng.uniform(0.67, 1.33)
    t, notes = 0.0, []
    for m in mido.MidiFile(os.path.join(folder, row["midi_filename"])):
        t += m.time
        if m.type == "note_on" and m.velocity > 0 and m.note in PAD:
            notes.append((t * stretch, PAD[m.note], m.velocity))
    last = notes[-1][0] if notes else 0
    a = rng.uniform(0, max(0.01, last - seconds * 0.7))
    return [(n[0] - a + 0.05, n[1], n[2]) for n in notes if a <= n[0] < a + seconds - 0.3]


def invented(rng, seconds):
    """A dense line on a fine grid over a repeating figure, with human looseness."""
    sub = int(rng.choice([3, 4, 6, 6, 8, 5]))
    step = 60 / rng.uniform(75, 175) / sub
    step = max(step, 0.045)
    steps = int((seconds - 0.6) / step)
    hands = ["snare", "tom1", "tom2", "tom3", "hatc", "ride", "crash", "snare", "hato", "bell", "crash2", "cross"]
    loose = rng.uniform(0, 0.007)
    low = rng.integers(15, 80)
    notes = []
    def strike(n, v, accent):
        vel = rng.integers(90, 128) if accent else rng.integers(low, low + 35)
        notes.append((0.3 + n * step + rng.normal(0, loose), v, int(vel)))
    L = int(rng.integers(3, 12))
    figure = [v for v in rng.choice(["kick", "hatf", "ride", "snare", "hatc", "tom3", None, None, None], L)]
    n = 0
    while n < steps:
        cell = int(rng.integers(2, 8))
        voices = [str(rng.choice(hands + ["kick", "kick"])) if rng.random() < 0.85 else None for _ in range(cell)]
        for _ in range(int(rng.integers(1, 5))):
            for i, v in enumerate(voices):
                if n + i < steps and v:
                    strike(n + i, v, rng.random() < 0.25)
            n += cell
    if rng.random() < 0.7:
        for n in range(steps):
            if figure[n % L]:
                strike(n, str(figure[n % L]), n % L == 0)
    return notes


def clip(task):
    number, seed, a, only, without = task
    rng = np.random.default_rng([seed, number])
    seconds = 14.0
    notes = invented(rng, seconds) if rng.random() < 0.3 else played(rng, ROWS, a.played, seconds)
    u = rng.random()
    if u < 0.04:
        notes = notes[: int(rng.integers(0, 3))]
    swap = {}
    if rng.random() < 0.4:
        swap["hatc"] = str(rng.choice(["ride", "hato", "crash", "ride"]))
    if rng.random() < 0.15:
        swap["snare"] = str(rng.choice(["tom1", "cross", "tom3"]))
    scatter = rng.random() < 0.2
    everywhere = sorted(set(PAD.values()))
    notes = [(t, str(rng.choice(everywhere)) if scatter and rng.random() < 0.3 else swap.get(v, v), vel) for t, v, vel in notes]
    # Ghost strokes that a quantised part lacks.
    if rng.random() < 0.3:
        extra = [(t + rng.uniform(0.05, 0.15), "snare", int(rng.integers(10, 40))) for t, v, _ in notes if rng.random() < 0.15]
        notes += [n for n in extra if n[0] < seconds - 0.3]
    # Flams, and main strokes 30 to 55 ms after a grace.
    if rng.random() < 0.3:
        notes += [(t - rng.uniform(0.015, 0.05), v, max(5, int(vel * rng.uniform(0.3, 0.8)))) for t, v, vel in notes if rng.random() < 0.1 and t > 0.1]
    notes = sorted(n for n in notes if 0.005 < n[0] < seconds - 0.1)
    allowed = [s for s in SOUNDS.sources if s != without and (only is None or s == only)]
    sets = [s for s in allowed if s in ("rock", "open", "snares")]
    presets = [s for s in allowed if s not in ("rock", "open", "snares")]
    gentle = rng.random() < 0.3
    whole = str(rng.choice(presets)) if presets and (not sets or rng.random() < 0.45) else None
    out = np.zeros(int(seconds * RATE), "f4")
    made, tails, used = {}, {}, set()
    soft = rng.uniform(10, 40)
    curve = rng.uniform(0.7, 1.6)
    balance = {}
    for voice in sorted({n[1] for n in notes}):
        k = kind(voice)
        have = [s for s in ([whole] if whole else allowed) if (s, k) in SOUNDS.groups] or [s for s in allowed if (s, k) in SOUNDS.groups] or [s for s in SOUNDS.sources if s != without and (s, k) in SOUNDS.groups]
        if sets and not whole and rng.random() < 0.75:
            have = [s for s in have if s in sets] or have
        source = str(rng.choice(have))
        names = sorted(SOUNDS.groups[(source, k)])
        if voice.startswith("tom") and len(names) > 2:
            third = max(1, len(names) // 3)
            i = int(voice[-1]) - 1
            names = names[min(i * third, len(names) - 1): (i + 1) * third] or names
        made[voice] = make_voice(rng, SOUNDS.groups[(source, k)][str(rng.choice(names))], gentle)
        balance[voice] = BALANCE[k] + rng.normal(0, 4)
        used.add(source)
    truth = []
    for i, (t, voice, vel) in enumerate(notes):
        layers = made[voice]
        q = np.clip(vel / 127 + rng.normal(0, 0.05), 0, 1)
        x = layers[int(np.clip(round(q * (len(layers) - 1) + rng.normal(0, 0.3)), 0, len(layers) - 1))]
        gain = 10 ** ((balance[voice] - soft * (1 - q) ** curve + rng.normal(0, 0.7)) / 20)
        start = int(round(t * RATE))
        # A hat's ring is cut by the next stroke on the hats; a drum's by its next stroke in part of the clips.
        end = len(out)
        if voice.startswith("hat"):
            end = next((int(n[0] * RATE) for n in notes[i + 1:] if n[1].startswith("hat") and n[0] > t + 0.02), end)
        x = x[: max(0, min(len(out), end + 300) - start)].copy()
        if start + len(x) > end and len(x) > 300:
            x[-300:] *= np.linspace(1, 0, 300, dtype="f4")
        out[start: start + len(x)] += gain * x
        truth.append((round(t, 5), voice, int(vel)))
    if rng.random() < 0.65:
        t60 = np.exp(rng.uniform(np.log(0.08), np.log(1.2)))
        n = int(t60 * RATE)
        h = rng.normal(0, 1, n) * np.exp(-6.9 * np.arange(n) / n)
        h = lfilter([1 - 0.6], [1, -0.6 * rng.uniform(0, 1)], h)
        pre = int(rng.uniform(0.002, 0.02) * RATE)
        h = np.concatenate([np.zeros(pre), h])
        h *= 10 ** (rng.uniform(-22, -2) / 20) / np.sqrt((h ** 2).sum())
        out = out + fftconvolve(out, h)[: len(out)].astype("f4")
    peak = max(float(np.abs(out).max()), 1e-6)
    out /= peak
    if rng.random() < 0.6:
        drive = 10 ** (rng.uniform(0, 16) / 20)
        out = np.tanh(out * drive) / np.tanh(drive)
    if rng.random() < 0.3:
        # A compressor: gain follows the level with attack and release.
        e = np.maximum(np.abs(out).reshape(-1, 100).max(1) if len(out) % 100 == 0 else np.abs(out[: len(out) // 100 * 100]).reshape(-1, 100).max(1), 1e-4)
        g = np.zeros(len(e)); s = 0.0
        rel = np.exp(-1 / (rng.uniform(0.05, 0.4) * 441)); att = np.exp(-1 / (rng.uniform(0.002, 0.03) * 441))
        ratio = 1 - 1 / rng.uniform(2, 6); thr = rng.uniform(-30, -8)
        for j, v in enumerate(e):
            want = max(0.0, 20 * np.log10(v) - thr) * ratio
            s = want + (s - want) * (att if want > s else rel)
            g[j] = s
        out = out * 10 ** (-np.interp(np.arange(len(out)), np.arange(len(g)) * 100 + 50, g) / 20)
    if rng.random() < 0.5:
        out = smooth_filter(rng, out, 4)
    noise = rng.normal(0, 1, len(out))
    colour = rng.random()
    if colour < 0.5:
        noise = lfilter([1], [1, -rng.uniform(0.5, 0.98)], noise)
    noise /= noise.std()
    level = -rng.uniform(45, 90) if rng.random() < 0.95 else -rng.uniform(15, 45)
    out = out / max(float(np.abs(out).max()), 1e-6) + noise * 10 ** (level / 20)
    out *= 10 ** (-rng.uniform(0.2, 18) / 20) / max(float(np.abs(out).max()), 1e-6)
    name = os.path.join(a.out, f"{number:05d}")
    sf.write(name + ".wav", out.astype("f4"), RATE, subtype="PCM_16")
    json.dump({"hits": truth, "source": sorted(used), "seconds": seconds}, open(name + ".json", "w"))
    return number


def main():
    global ROWS, SOUNDS
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("played"), p.add_argument("strokes"), p.add_argument("presets"), p.add_argument("out")
    p.add_argument("--clips", type=int, default=600), p.add_argument("--seed", type=int, default=1), p.add_argument("--first", type=int, default=0)
    p.add_argument("--only"), p.add_argument("--without")
    a = p.parse_args()
    os.makedirs(a.out, exist_ok=True)
    ROWS = list(csv.DictReader(open(os.path.join(a.played, "info.csv"))))
    SOUNDS = Sounds(a.strokes, a.presets)
    with Pool(2) as pool:
        for n in pool.imap_unordered(clip, [(n, a.seed, a, a.only, a.without) for n in range(a.first, a.first + a.clips)], 4):
            if n % 100 == 0:
                print(n, flush=True)


if __name__ == "__main__":
    main()
