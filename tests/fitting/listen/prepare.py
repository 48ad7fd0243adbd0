"""Gathers everything that training hears into one file that is small enough to travel.

    prepare.py SOUNDS GMD SOUNDFONTS STROKES BANK

STROKES is what `cargo run --release --example strokes STROKES` wrote, the others are as kits.py takes them. Sounds are
kept as Ogg Vorbis, cut where they have fallen by 66 dB. Needs what kits.py needs.
"""
import glob, gzip, io, os, pickle, sys
import numpy as np, soundfile

import clips
from clips import RATE

LONGEST = 4.5


def packed(layer):
    level, sound = layer
    sound = sound[:, : int(LONGEST * RATE)]
    loud = np.abs(sound).max(axis=0)
    peak = float(loud.max())
    last = len(loud) - int(np.argmax(loud[::-1] > peak * 10 ** (-66 / 20)))
    file = io.BytesIO()
    soundfile.write(file, (sound[:, : max(last, 2000)] / peak * 0.9).T, RATE, format="OGG", subtype="VORBIS")
    return level, peak, file.getvalue()


def unpacked(layer):
    level, peak, ogg = layer
    return level, soundfile.read(io.BytesIO(ogg), dtype="float32", always_2d=True)[0].T * np.float32(peak / 0.9)


def save(sounds, gmd, soundfonts, strokes, file):
    bank = clips.made(clips.Bank(sounds, soundfonts, os.path.join(os.path.dirname(os.path.abspath(file)), "oneshots")), strokes)
    kept = {v: [(source, [packed(l) for l in layers]) for source, layers in instruments] for v, instruments in bank.instruments.items()}
    with gzip.open(file, "wb") as f:
        pickle.dump((kept, clips.read_parts(gmd)), f)


def load(file):
    """(bank, parts) as `clips.render` takes them."""
    with gzip.open(file, "rb") as f:
        kept, parts = pickle.load(f)
    bank = clips.Bank.__new__(clips.Bank)
    bank.instruments = {v: [(source, [unpacked(l) for l in layers]) for source, layers in instruments] for v, instruments in kept.items()}
    return bank, parts


def bands(folder):
    """What bands.py wrote, as 16-bit numbers."""
    return [soundfile.read(name, dtype="int16")[0] for name in sorted(glob.glob(os.path.join(folder, "*.ogg")))]


if __name__ == "__main__":
    save(*sys.argv[1:6])
