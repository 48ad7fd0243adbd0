"""Practice beside programs that are not ours: the learning curve beside scipy's, loudness beside pyloudnorm's.

    practice.py PRACTICE

PRACTICE is the built example `practice`. Curves: A + B exp(-a N) (Heathcote, Brown & Mewhort 2000) with noise, fitted by
scipy.optimize.curve_fit from several starts; parameters must agree to 1e-3 of themselves, their errors to 1 %, and ours
may never leave more. Loudness: tones, noise and struck sounds in mono and stereo at 44.1 kHz, to 0.1 LU.
"""

import pathlib
import subprocess
import sys
import tempfile
import warnings

import numpy as np
import pyloudnorm
import scipy.io.wavfile
import scipy.optimize

RATE = 44100


def law(n, asymptote, distance, rate):
    return asymptote + distance * np.exp(-rate * n)


def theirs(x, y):
    best = None
    for rate in (0.02, 0.05, 0.1, 0.3):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            try:
                found, spread = scipy.optimize.curve_fit(law, x, y, p0=(y[-1], y[0] - y[-1], rate), maxfev=20000, ftol=1e-14, xtol=1e-14, gtol=1e-14)
            except RuntimeError:
                continue
        rest = ((law(x, *found) - y) ** 2).sum()
        if best is None or rest < best[2]:
            best = found, np.sqrt(np.diag(spread)), rest
    return best


def main():
    program, faults = sys.argv[1], []
    dice = np.random.default_rng(5)
    tried = 0
    for _ in range(60):
        n = dice.integers(8, 60)
        x = np.arange(1, n + 1, dtype=float)
        y = law(x, dice.uniform(0.8, 1.1), -dice.uniform(0.3, 0.6), dice.uniform(0.08, 0.3)) + dice.normal(0, 0.01, n)
        text = "\n".join(f"{a!r} {b!r}" for a, b in zip(x.tolist(), y.tolist()))
        out = subprocess.run([program, "fit"], input=text, capture_output=True, text=True, check=True).stdout.split()
        ours = np.array([float(v) for v in out])
        found, errors, rest = theirs(x, y)
        tried += 1
        if np.abs(ours[:3] / found - 1).max() > 1e-3:
            faults.append(f"curve of {n}: {ours[:3]} against {found}")
        if np.abs(ours[3:6] / errors - 1).max() > 0.01:
            faults.append(f"errors of {n}: {ours[3:6]} against {errors}")
        if ours[6] > rest * (1 + 1e-9):
            faults.append(f"curve of {n} leaves {ours[6]} against {rest}")
    t = np.arange(6 * RATE) / RATE
    decay = np.exp(-6 * (t % 0.5)) * dice.normal(0, 0.3, len(t))
    sounds = {
        "tone": 0.3 * np.sin(2 * np.pi * 997 * t),
        "low tone": 0.5 * np.sin(2 * np.pi * 60 * t),
        "noise": dice.normal(0, 0.1, len(t)),
        "struck": np.clip(decay, -1, 1),
        "stereo": np.stack([np.clip(decay, -1, 1), 0.2 * np.sin(2 * np.pi * 3000 * t)], axis=1),
        "soft then loud": np.where(t < 3, 0.01, 0.3) * np.sin(2 * np.pi * 440 * t),
    }
    worst = 0.0
    with tempfile.TemporaryDirectory() as folder:
        wav = pathlib.Path(folder) / "a.wav"
        for name, sound in sounds.items():
            scipy.io.wavfile.write(wav, RATE, np.round(sound * 32767).astype(np.int16))
            ours = float(subprocess.run([program, "loudness", wav], capture_output=True, text=True, check=True).stdout.split()[0])
            loud = pyloudnorm.Meter(RATE).integrated_loudness(sound)
            worst = max(worst, abs(ours - loud))
            if abs(ours - loud) > 0.1:
                faults.append(f"loudness of {name}: {ours:.2f} against {loud:.2f}")
    print(f"{tried} learning curves beside scipy's; loudness of {len(sounds)} sounds beside pyloudnorm's, at most {worst:.3f} LU apart")
    sys.exit("\n".join(f"error: {f}" for f in faults) or 0)


if __name__ == "__main__":
    main()
