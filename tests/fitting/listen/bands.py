"""Invented bands without drums, for the network that listens to learn what is no stroke.

    bands.py SOUNDFONTS OUT --count N [--seed S]

Every piece has a key, a progression, a bass line, accompaniment, now and then a riff and a melody, played through the
melodic presets of FluidR3_GM.sf2 (MIT) by the program fluidsynth. OUT gets NUMBER.ogg, mono, 22.05 kHz. Seeded.
"""
import argparse, os, subprocess, tempfile
import mido, numpy as np, soundfile

SECONDS, RATE = 16.0, 22_050
SCALES = ((0, 2, 4, 5, 7, 9, 11), (0, 2, 3, 5, 7, 8, 10), (0, 2, 3, 5, 7, 9, 10), (0, 2, 4, 5, 7, 9, 10), (0, 3, 5, 6, 7, 10, 12))
# General MIDI Level 1 programs, counted from 0.
BASS = (32, 33, 33, 33, 34, 34, 35, 36, 37, 38, 39, 58)
CHORDS = (0, 1, 2, 4, 5, 6, 7, 11, 12, 15, 16, 17, 18, 21, 24, 25, 26, 27, 27, 28, 28, 29, 29, 30, 30, 46, 61, 62, 63)
PADS = (44, 45, 48, 49, 50, 51, 52, 54, 88, 89, 90, 91, 94, 95)
LEADS = (22, 26, 27, 29, 30, 40, 53, 54, 56, 57, 59, 60, 64, 65, 66, 67, 68, 71, 73, 80, 81, 82, 85, 87, 104, 108)


def figure(rng, steps):
    """When a part plays in a bar: some steps, often the first, and how long each holds."""
    share = rng.uniform(0.15, 0.9)
    on = [k for k in range(steps) if rng.random() < (share if k % 2 == 0 else share * rng.uniform(0, 1))] or [0]
    if rng.random() < 0.7 and on[0] != 0:
        on = [0] + on
    ends = on[1:] + [steps]
    hold = rng.uniform(0.2, 1.0)
    return [(k, max(0.4, (e - k) * hold)) for k, e in zip(on, ends)]


def piece(rng):
    """[(start s, end s, channel, key, velocity)] and {channel: program}."""
    beat, steps = 60 / rng.uniform(65, 185), int(rng.choice([8, 8, 16, 12, 6, 10, 14]))
    step = beat * (4 if steps in (8, 16) else 3 if steps in (12, 6) else steps / 2) / steps
    root, scale, loose = int(rng.integers(28, 40)), SCALES[rng.integers(len(SCALES))], rng.uniform(0, 0.015)
    note = lambda degree: root + scale[degree % len(scale)] + 12 * (degree // len(scale))
    chords = [int(rng.integers(0, 7)) for _ in range(rng.integers(1, 5))]
    parts = [("bass", BASS, 0.85), ("chords", CHORDS, 0.75), ("chords", CHORDS, 0.35), ("pad", PADS, 0.4), ("lead", LEADS, 0.5), ("riff", LEADS + CHORDS, 0.3)]
    parts = [p for p in parts if rng.random() < p[2]] or parts[:2]
    notes, programs = [], {}
    for channel, (kind, pool, _) in enumerate(parts):
        programs[channel] = int(pool[rng.integers(len(pool))])
        plan, loud, up = figure(rng, steps), int(rng.integers(60, 120)), 12 * int(rng.integers(1, 4))
        shape, size, broken = list(rng.integers(-3, 8, 16)), int(rng.integers(2, 6)), rng.random() < 0.25
        for bar in range(int(SECONDS / (step * steps)) + 1):
            degree = chords[bar % len(chords)]
            if kind == "pad":
                plan = [(0, steps * 0.98)]
            if kind == "lead":
                plan = figure(rng, steps)
            for n, (k, hold) in enumerate(plan):
                if kind == "lead" and rng.random() < 0.3:
                    continue
                if kind == "bass":
                    keys = [note(degree + (0, 0, 0, 4, 7, 2)[rng.integers(6)])]
                elif kind in ("lead", "riff"):
                    keys = [note(degree + (int(rng.integers(0, 9)) if kind == "lead" else int(shape[n % 16]))) + up + 12]
                else:
                    keys = [note(degree + 2 * j) + up for j in range(size)]
                    keys = [keys[n % size]] if broken else keys
                at = (bar * steps + k) * step + rng.normal(0, loose)
                for j, key in enumerate(keys):
                    start = max(0.0, at + j * rng.uniform(0, 0.012))
                    notes.append((start, start + hold * step, channel, int(np.clip(key, 20, 105)), int(np.clip(loud + rng.normal(0, 8), 20, 127))))
    return notes, programs


def play(notes, programs, font, rng):
    """The samples of a piece."""
    events = sorted([(s, 1, c, k, v) for s, _, c, k, v in notes] + [(e, 0, c, k, 0) for _, e, c, k, _ in notes])
    track, last = mido.MidiTrack(), 0
    for channel, program in programs.items():
        track.append(mido.Message("program_change", channel=channel, program=program))
        track.append(mido.Message("control_change", channel=channel, control=7, value=int(rng.integers(60, 120))))
    for time, on, channel, key, velocity in events:
        tick = int(round(time * 960))
        track.append(mido.Message("note_on", channel=channel, note=key, velocity=velocity, time=tick - last))
        last = tick
    midi = mido.MidiFile(ticks_per_beat=480)
    midi.tracks.append(track)
    with tempfile.TemporaryDirectory() as folder:
        midi.save(folder + "/a.mid")
        subprocess.run(["fluidsynth", "-niq", "-R", str(int(rng.random() < 0.5)), "-C", str(int(rng.random() < 0.5)), "-g", "0.4", "-r", str(RATE), "-F", folder + "/a.wav", font, folder + "/a.mid"],
                       check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        return soundfile.read(folder + "/a.wav", dtype="float32", always_2d=True)[0].mean(axis=1)[: int(SECONDS * RATE)]


def main():
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("soundfonts"); p.add_argument("out"); p.add_argument("--count", type=int, default=160); p.add_argument("--seed", type=int, default=1); p.add_argument("--step", type=int, default=1); p.add_argument("--first", type=int, default=0)
    a = p.parse_args()
    os.makedirs(a.out, exist_ok=True)
    for number in range(a.first, a.count, a.step):
        rng = np.random.default_rng([a.seed, number])
        sound = play(*piece(rng), os.path.join(a.soundfonts, "FluidR3_GM.sf2"), rng)
        # Distorted guitars of a font are tame.
        if rng.random() < 0.25:
            sound = np.tanh(sound / (np.abs(sound).max() + 1e-9) * rng.uniform(1, 8))
        sound = sound / (np.abs(sound).max() + 1e-9) * 0.9
        soundfile.write(os.path.join(a.out, f"{number:03}.ogg"), sound, RATE, format="OGG", subtype="VORBIS", compression_level=0.75)


if __name__ == "__main__":
    main()
