"""Overbar's stretch beside two general-purpose libraries: one table.

    against_stretchers.py STRETCH STRETCHERS

STRETCH is the built example `stretch`, STRETCHERS the program of tests/benches/stretchers (a crate of its own; building
it needs g++ and libclang). Sounds are made here: struck drums (sines and hiss that rise in a known time) whose places
are known to the sample, sixteenth-triplets at 120 bpm in stereo, and steady tones.

- place: where each attack's own waveform is found again (highest correlation of its first 12 ms), against its place in
  scaled time, in ms, median and 95th of a hundred; attacks listed to the sample, and attacks that Overbar heard itself.
- energy: the same by a finder that knows nothing of either program: the steepest rise of the level in dB (over 2 ms, within
  30 ms of the place), on the slow sound against the original, for strokes that it finds on the original within 2 ms; 95th
  of a hundred, ms. It has mistakes of its own where strokes ring into each other, so nothing is demanded of it.
- rise: time from 10 to 90 % of the attack's envelope against the original's, median ratio and share within 10 %.
- pitch: the tone's spectral peak against the original's, in cents, the worst of three tones.
- side: change of the level between left and right, in dB, the worst of the four drums.
- speed: seconds of source for each second of work.
"""

import pathlib
import subprocess
import sys
import tempfile

import numpy as np
import scipy.io.wavfile
import scipy.signal

RATE = 44100
SPEEDS = (0.3, 0.5, 0.6, 0.7, 0.85)
TONES = (110.0, 440.0, 2637.0)


def drum(rng, hz, noise, rise, ring, side):
    """One stroke in stereo."""
    t = np.arange(int(RATE * 0.9)) / RATE
    hiss = scipy.signal.sosfilt(scipy.signal.butter(2, noise, "bandpass", fs=RATE, output="sos"), rng.standard_normal(len(t)))
    body = np.sin(2 * np.pi * hz * t) * np.exp(-6.9 * t / ring) + 0.6 * hiss * np.exp(-6.9 * t / (0.4 * ring))
    body *= np.minimum(t / rise, 1.0)
    return np.outer(body, [np.cos(side), np.sin(side)]) * 0.3


def strokes(rng):
    """Sound, places of the strokes in samples, side of each."""
    kinds = [(60, (2500, 4000), 0.002, 0.3, 0.7), (190, (2000, 9000), 0.001, 0.25, 0.6), (110, (3000, 5000), 0.002, 0.8, 1.2), (4200, (6000, 12000), 0.001, 1.5, 0.3)]
    places = (0.2 + np.arange(100) * (10 / 120) + rng.normal(0, 0.006, 100)) * RATE
    places = places.round().astype(int)
    sound = np.zeros((places[-1] + RATE, 2))
    which = rng.integers(0, 4, len(places))
    for place, kind in zip(places, which):
        one = drum(rng, *kinds[kind]) * rng.uniform(0.4, 1.0)
        sound[place : place + len(one)] += one[: len(sound) - place]
    return sound / np.abs(sound).max() * 0.8, places, [kinds[k][4] for k in which]


def write(path, sound):
    scipy.io.wavfile.write(path, RATE, np.round(sound * 32767).astype(np.int16))


def read(path):
    return scipy.io.wavfile.read(path)[1].astype(float) / 32768


def envelope(sound):
    """Smoothed over 1 ms."""
    n = RATE // 1000
    return np.convolve(np.abs(sound).sum(axis=1), np.ones(n) / n, "same")


def rise(env, at):
    """Seconds from 10 to 90 % of the way from the level before the attack to the peak after it."""
    before = env[max(at - RATE // 250, 0) : at].mean()
    part = env[at - RATE // 500 : at + RATE // 80]
    peak = part.argmax()
    goal = part[peak] - before
    low = np.flatnonzero(part[: peak + 1] < before + 0.1 * goal)
    high = np.flatnonzero(part[: peak + 1] >= before + 0.9 * goal)
    if goal <= 0 or len(high) == 0:
        return np.nan
    return (high[0] - (low[-1] if len(low) else 0)) / RATE


def place(slow, source, at, expected):
    """Where the attack's first 12 ms are found again, in samples from the expected place."""
    model = source[at - 88 : at + 529]
    reach = RATE // 25
    part = slow[expected - 88 - reach : expected + 529 + reach]
    if len(part) < len(model) + 2 * reach:
        return np.nan
    match = sum(scipy.signal.correlate(part[:, c], model[:, c], "valid") for c in range(2))
    power = sum(scipy.signal.correlate(part[:, c] ** 2, np.ones(len(model)), "valid") for c in range(2))
    return (match / np.sqrt(power + 1e-9)).argmax() - reach


def steepest(env, at):
    """Where the level rises most steeply near a place, in samples from it."""
    reach, over = RATE * 30 // 1000, RATE // 500
    part = 20 * np.log10(env[at - reach : at + reach] + 1e-4)
    return (part[over:] - part[:-over]).argmax() + over // 2 - reach


def peak(tone):
    """The frequency of the highest peak, by a parabola through a padded spectrum."""
    part = tone[len(tone) // 8 : -len(tone) // 8]
    spectrum = np.abs(np.fft.rfft(part * np.hanning(len(part)), 1 << 20))
    k = spectrum.argmax()
    a, b, c = np.log(spectrum[k - 1 : k + 2])
    return (k + 0.5 * (a - c) / (a - 2 * b + c)) * RATE / (1 << 20)


def side_of(sound, at):
    left, right = (sound[at : at + RATE // 25] ** 2).sum(axis=0)
    return 10 * np.log10(right / left)


def main():
    stretch, stretchers = sys.argv[1:3]
    rng = np.random.default_rng(8)
    sound, places, _ = strokes(rng)
    tones = [np.repeat(0.4 * np.sin(2 * np.pi * hz * np.arange(4 * RATE) / RATE)[:, None], 2, axis=1) for hz in TONES]
    programs = ["overbar, listed", "overbar, heard", "timestretch", "signalsmith", "signalsmith-short"]
    print(f"{'':18}{'speed':>6}{'place ms':>10}{'95th':>7}{'energy':>8}{'rise':>7}{'in 10%':>8}{'cents':>7}{'side dB':>9}{'x real':>8}")
    failed = []
    with tempfile.TemporaryDirectory() as folder:
        folder = pathlib.Path(folder)
        listed = folder / "attacks.txt"
        nothing = folder / "nothing.txt"
        nothing.write_text("")

        def slowed(program, source, speed, attacks):
            write(folder / "in.wav", source)
            if program.startswith("overbar"):
                command = [stretch, str(speed), folder / "in.wav", attacks, folder / "out.wav"]
            else:
                command = [stretchers, program, str(speed), folder / "in.wav", folder / "out.wav"]
            took = float(subprocess.run(command, check=True, capture_output=True, text=True).stdout)
            return read(folder / "out.wav"), took

        listed.write_text("\n".join(f"{p / RATE:.6f}" for p in places))
        env = envelope(sound)
        for speed in SPEEDS:
            for program in programs:
                attacks = listed if program.endswith("listed") else "-"
                slow, took = slowed(program, sound, speed, attacks)
                slow_env = envelope(slow)
                expected = np.round(places / speed).astype(int)
                off = np.array([place(slow, sound, p, e) for p, e in zip(places, expected)]) / RATE * 1000
                ratios = np.array([rise(slow_env, e + int(o * RATE / 1000)) / rise(env, p) for p, e, o in zip(places, expected, np.nan_to_num(off))])
                ratios = ratios[np.isfinite(ratios)]
                sides = np.abs([side_of(slow, e) - side_of(sound, p) for p, e in zip(places, expected) if e + RATE < len(slow)])
                cents = []
                for tone in tones:
                    slow_tone, _ = slowed(program, tone, speed, nothing)
                    cents.append(abs(1200 * np.log2(peak(slow_tone[:, 0]) / peak(tone[:, 0]))))
                clear = [(p, e) for p, e in zip(places, expected) if e + RATE // 10 < len(slow) and abs(steepest(env, p)) < RATE // 500]
                neutral = np.abs([steepest(slow_env, e) - steepest(env, p) for p, e in clear]) / RATE * 1000
                off = np.abs(off[np.isfinite(off)])
                within = np.mean(np.abs(ratios - 1) <= 0.1)
                print(f"{program:18}{speed:6}{np.median(off):10.2f}{np.percentile(off, 95):7.2f}{np.percentile(neutral, 95):8.2f}{np.median(ratios):7.2f}{within:8.2f}{max(cents):7.2f}{np.median(sides):9.2f}{len(sound) / RATE / took:8.0f}", flush=True)
                if program == "overbar, listed":
                    wanted = [np.percentile(off, 95) <= 1.0, abs(np.median(ratios) - 1) <= 0.1, max(cents) <= 5.0, len(sound) / RATE / took >= 20]
                    failed += [f"at {speed}"] * (not all(wanted))
    sys.exit(f"error: not as wanted {', '.join(failed)}" if failed else 0)


if __name__ == "__main__":
    main()
