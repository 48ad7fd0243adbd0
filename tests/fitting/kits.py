"""Played drum parts through recorded and sampled drums, no two clips alike: sound with its truth, for fitting voices.

    kits.py SOUNDS GMD SOUNDFONTS OUT --clips N [--seed S]

SOUNDS      folder of recorded strokes with an index.json (file, kit, voice, channels, gain_db, onset_s)
GMD         folder of the Groove MIDI Dataset's MIDI files (CC BY 4.0)
SOUNDFONTS  folder with FluidR3_GM.sf2 and Black_Pearl_4_LV2.sf2
OUT         gets NAME.wav (16 bit, 44.1 kHz, mono) and NAME.json ({"hits": [[time s, voice, velocity 0..1], ...]})

Every clip has its own random generator, seeded by S and its number: the same command gives the same clips.
Needs numpy, scipy, soundfile, mido and the program fluidsynth.
"""
import argparse, collections, glob, json, multiprocessing, os, subprocess
import numpy as np, scipy.signal, soundfile, mido

RATE = 44_100
Clip = collections.namedtuple("Clip", "samples strokes")

# General MIDI Level 1 percussion keys and the pads of the played parts, by the words of the trade.
KEYS = {35: "kick", 36: "kick", 37: "cross_stick", 38: "snare", 40: "snare", 41: "tom_floor", 43: "tom_floor", 45: "tom_low",
        47: "tom_mid", 48: "tom_high", 50: "tom_high", 42: "hat_closed", 44: "hat_foot", 46: "hat_open", 49: "crash", 57: "crash",
        51: "ride", 59: "ride", 53: "ride_bell", 55: "splash", 52: "china"}
PADS = {36: "kick", 38: "snare", 40: "snare", 37: "cross_stick", 48: "tom_high", 50: "tom_high", 45: "tom_mid", 47: "tom_mid",
        43: "tom_floor", 58: "tom_floor", 42: "hat_closed", 22: "hat_closed", 46: "hat_open", 26: "hat_open", 44: "hat_foot",
        49: "crash", 55: "crash", 52: "crash", 57: "crash", 51: "ride", 59: "ride", 53: "ride_bell"}
# Struck things that are no drum of the kit: clap, tambourine, cowbell, bongos, shaker, claves.
OTHERS = (39, 54, 56, 60, 61, 70, 75)
LONG = {"hat_open", "ride", "ride_bell", "crash", "china", "splash"}
# Voices that one instrument plays: taken from one source together.
FAMILIES = [("kick",), ("snare",), ("cross_stick",), ("tom_high", "tom_mid", "tom_low", "tom_floor"),
            ("hat_closed", "hat_open", "hat_foot"), ("ride", "ride_bell"), ("crash",), ("china",), ("splash",)]
# Usual balance, dB [M].
BALANCE = {"kick": 0, "snare": 0, "snare_2": -1, "cross_stick": -6, "hat_closed": -11, "hat_open": -8, "hat_foot": -15, "ride": -11,
           "ride_bell": -7, "crash": -3, "china": -4, "splash": -6, "other": -8}


def trimmed(sound, start=None):
    """The sound from its first audible sample on: channels by samples, its body at 0 dB, and the level it had in dB."""
    mono = np.abs(sound).max(axis=0)
    peak = mono.max(initial=0.0)
    if peak < 1e-4:
        return None
    first = start if start is not None else int(np.argmax(mono > 0.03 * peak))
    sound = sound[:, first:]
    level = np.sqrt(np.mean(sound[:, : RATE // 20] ** 2)) + 1e-9
    return 20 * np.log10(level), (sound / level).astype(np.float32)


class Bank:
    """`instruments[voice]`: a list of (source, [(level dB, channels x samples), soft to loud])."""

    def __init__(self, sounds, soundfonts, cache):
        strokes = collections.defaultdict(list)
        for e in json.load(open(os.path.join(sounds, "index.json"))):
            sound = soundfile.read(os.path.join(sounds, e["file"]), dtype="float32", always_2d=True)[0].T
            voice, source = e["voice"], e["kit"]
            if e["kit"] == "snares":
                source += os.path.basename(e["file"]).rsplit("-", 1)[0]
                voice = "snare"
            voice = {"kick_left": "kick", "crash_2": "crash", "crash_edge": "crash", "ride_2": "ride", "ride_2_bell": "ride_bell",
                     "hat_half": "hat_open", "snare_rimshot": "snare", "snare_wires_off": "snare"}.get(voice, voice)
            if voice != e["voice"] and e["voice"] not in ("hat_half", "snare_rimshot"):
                source += e["voice"].removesuffix("_bell")
            got = trimmed(sound, int(e["onset_s"] * RATE))
            if got:
                strokes[voice, source].append((got[0] + e["gain_db"], got[1]))
        for source, voice, level, sound in sampled(soundfonts, cache):
            strokes[voice, source].append((level, sound))
        self.instruments = collections.defaultdict(list)
        for (voice, source), layers in sorted(strokes.items()):
            self.instruments[voice].append((source, sorted(layers, key=lambda l: l[0])))

    def pick(self, family, rng):
        """One source for a family of voices, three times in four a recorded one; missing voices come from elsewhere."""
        def draw(voice):
            pool = self.instruments[voice]
            recorded = [i for i in pool if not i[0].startswith("font")]
            return recorded[rng.integers(len(recorded))] if recorded and rng.random() < 0.7 else pool[rng.integers(len(pool))]
        lead = draw(family[0])
        return {v: next((i for i in self.instruments[v] if i[0] == lead[0]), None) or draw(v) for v in family}


def sampled(soundfonts, cache):
    """One-shots of the sampled presets: (source, voice, level dB, sound), rendered once by fluidsynth and kept in `cache`."""
    os.makedirs(cache, exist_ok=True)
    gm = [("FluidR3_GM.sf2", p) for p in (0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 12, 14, 16, 17, 18, 24, 25, 32, 33, 34, 35, 40, 41, 48)]
    seen = set()
    for font, program in gm + [("Black_Pearl_4_LV2.sf2", None)]:
        channel, levels = (9, (45, 85, 120)) if program is not None else (0, (25, 50, 75, 100, 124))
        voices = {k: v for k, v in KEYS.items() if program is not None or k in (36, 37, 38, 40, 41, 42, 44, 45, 46, 47, 49, 51, 53, 55, 57)}
        keys = list(voices) + (list(OTHERS) if program == 0 else [])
        wav, at = os.path.join(cache, f"{font}-{program}.wav"), []
        track, now, ticks = mido.MidiTrack(), 0.5, 0.0
        if program is not None:
            track.append(mido.Message("program_change", channel=channel, program=program))
        for key in keys:
            for velocity in levels:
                length = 3.5 if voices.get(key) in LONG else 1.4
                at.append((key, velocity, now, length))
                for kind, time in (("note_on", now), ("note_off", now + length - 0.2)):
                    track.append(mido.Message(kind, channel=channel, note=key, velocity=velocity, time=int(round((time - ticks) * 960))))
                    ticks += int(round((time - ticks) * 960)) / 960
                now += length
        if not os.path.exists(wav):
            midi = mido.MidiFile(ticks_per_beat=480)
            midi.tracks.append(track)
            midi.save(wav + ".mid")
            subprocess.run(["fluidsynth", "-niq", "-R", "0", "-C", "0", "-g", "0.4", "-r", str(RATE), "-F", wav,
                            os.path.join(soundfonts, font), wav + ".mid"], check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        sound = soundfile.read(wav, dtype="float32", always_2d=True)[0].T.mean(axis=0, keepdims=True)
        for key, velocity, start, length in at:
            got = trimmed(sound[:, int(start * RATE): int((start + length - 0.05) * RATE)])
            if got is None:
                continue
            # Presets share samples: the same sound is kept once.
            print_ = (voices.get(key), velocity, tuple(np.round(got[1][0, 200:4000:200], 1)))
            if print_ in seen:
                continue
            seen.add(print_)
            # Two keys of one voice in a preset are two instruments.
            name = f"font-{font}-{program}" + ("" if key in (36, 38, 42, 44, 46, 49, 51, 53, 52, 55, 37, 41, 45, 47, 50) else f"-{key}")
            yield (name if key in voices else f"{name}-{key}"), voices.get(key, "other"), got[0], got[1]


def read_parts(folder, shortest=6.0):
    """Every performance of `shortest` seconds and more: [(time s, voice, velocity 0..1)], in the order of their names."""
    parts = []
    for name in sorted(glob.glob(os.path.join(folder, "**", "*.mid"), recursive=True)):
        now, strokes = 0.0, []
        for message in mido.MidiFile(name):
            now += message.time
            if message.type == "note_on" and message.velocity > 0 and message.note in PADS:
                strokes.append((now, PADS[message.note], message.velocity / 127))
        if strokes and strokes[-1][0] - strokes[0][0] >= shortest:
            parts.append(strokes)
    return parts


def arranged(part, rng, seconds):
    """A stretch of the part at another tempo, some of its voices moved elsewhere so that no voice is rare."""
    tempo = rng.uniform(0.67, 1.4)
    start = rng.uniform(part[0][0], max(part[-1][0] - seconds * tempo * 0.8, part[0][0] + 0.01))
    strokes = [((t - start) / tempo + 0.15, v, a) for t, v, a in part if start <= t < start + (seconds - 0.4) * tempo]
    swap = {}
    if rng.random() < 0.5:
        swap = {h: rng.choice(["ride", "ride", "hat_open", "hat_closed", "crash", "ride_bell", "hat_foot"]) for h in ("hat_closed", "hat_open")}
    if rng.random() < 0.2:
        swap["snare"] = rng.choice(["tom_high", "tom_mid", "tom_low", "tom_floor", "cross_stick"])
    if rng.random() < 0.15:
        swap["ride"] = rng.choice(["hat_closed", "ride_bell", "crash", "china"])
    strokes = [(t, str(swap.get(v, v)), a) for t, v, a in strokes]
    second, low = rng.random() < 0.25, rng.random() < 0.5
    scatter = rng.uniform(0.1, 0.5) if rng.random() < 0.3 else 0.0
    around = ["snare", "tom_high", "tom_mid", "tom_low", "tom_floor", "kick", "ride", "hat_open", "crash", "ride_bell", "hat_foot", "splash", "china"]
    out = []
    for t, v, a in strokes:
        if rng.random() < scatter:
            v, a = around[rng.integers(len(around))], max(a, rng.uniform(0.3, 1.0))
        if v == "snare" and second and rng.random() < 0.5:
            v = "snare_2"
        if v == "tom_mid" and low and rng.random() < 0.5:
            v = "tom_low"
        out.append((t, v, a))
    if rng.random() < 0.3:
        # A figure that one limb keeps up under the part.
        voice = ["hat_foot", "kick", "ride", "ride_bell", "snare_2", "hat_foot", "hat_closed", "crash", "other"][rng.integers(9)]
        gap, time, level = rng.uniform(0.09, 0.5), rng.uniform(0.1, 0.5), rng.uniform(0.4, 0.9)
        while time < seconds - 0.3:
            out.append((time + rng.normal(0, 0.006), voice, float(np.clip(level + rng.normal(0, 0.08), 0.1, 1))))
            time += gap * rng.choice([1, 1, 2])
    return sorted(out)


def smooth_gain(n, rng, depth):
    """A random smooth frequency response for the `n` bins of a real spectrum, dB standard deviation `depth`."""
    octaves = np.log2(np.linspace(0, RATE / 2, n) / 20 + 1)
    knots = np.arange(0, 12)
    return 10 ** (np.interp(octaves, knots, rng.normal(0, depth, len(knots))) / 20).astype(np.float32)


class Drum:
    """One drum of one clip: its layers bent to a pitch, a tone, a decay and a mixture of microphones."""

    def __init__(self, instrument, rng, pitch):
        self.layers = instrument[1]
        self.weights = {c: rng.dirichlet(np.full(c, 0.7)) for c in (1, 2, 3)}
        self.pitch, self.depth, self.tone = pitch, 3.0, rng.integers(1 << 31)
        self.decay = float(np.exp(rng.uniform(np.log(0.12), np.log(4.0)))) if rng.random() < 0.5 else None
        self.span, self.kept = rng.uniform(8, 26), {}

    def stroke(self, velocity, rng):
        place = int(np.clip(round(velocity * (len(self.layers) - 1) + rng.normal(0, 0.7)), 0, len(self.layers) - 1))
        return self.sound(place, rng) * np.float32(self.strength(velocity))

    def sound(self, place, _):
        if place not in self.kept:
            self.kept[place] = self.shaped(place)
        return self.kept[place]

    def strength(self, velocity):
        return 10 ** (-(1 - velocity) * self.span / 20)

    def shaped(self, place):
        channels = self.layers[place][1][:, : 3 * RATE]
        sound = self.weights[min(channels.shape[0], 3)][: channels.shape[0]] @ channels[:3]
        sound = np.interp(np.arange(0, len(sound) - 1, self.pitch), np.arange(len(sound)), sound).astype(np.float32)
        n = scipy.fft.next_fast_len(len(sound) + 512, real=True)
        spectrum = scipy.fft.rfft(sound, n)
        # The same tone for every layer of the drum.
        sound = scipy.fft.irfft(spectrum * smooth_gain(len(spectrum), np.random.default_rng(self.tone), self.depth), n)[: len(sound)]
        if self.decay:
            sound *= np.exp(-np.arange(len(sound), dtype=np.float32) / (self.decay * RATE))
        fade = min(2000, len(sound))
        sound[len(sound) - fade:] *= np.linspace(1, 0, fade)
        level = np.sqrt(np.mean(sound[: RATE // 20] ** 2)) + 1e-9
        return (sound / level).astype(np.float32)


def render(bank, parts, rng, seconds=14.0):
    """One clip: a stretch of a random part on a random kit in a random room."""
    strokes = []
    while len(strokes) < 8:
        strokes = arranged(parts[rng.integers(len(parts))], rng, seconds)
    kit = {}
    for family in FAMILIES:
        pitch = 2 ** (rng.uniform(-0.165, 0.165))
        for voice, instrument in bank.pick(family, rng).items():
            kit[voice] = Drum(instrument, rng, pitch)
    kit["snare_2"] = Drum(bank.pick(("snare",), rng)["snare"], rng, 2 ** rng.uniform(0.0, 0.6))
    kit["other"] = Drum(bank.pick(("other",), rng)["other"], rng, 2 ** rng.uniform(-0.3, 0.3))
    levels = {v: BALANCE.get(v, 0) + rng.normal(0, 4) for v in kit}
    out = np.zeros(int(seconds * RATE) + RATE, np.float32)
    ringing = None
    for time, voice, velocity in strokes:
        sound = kit[voice].stroke(velocity, rng) * 10 ** (levels[voice] / 20)
        at = int(round(time * RATE))
        if voice.startswith("hat") and ringing:
            # Hats that are closed or struck again stop ringing.
            start, old = ringing
            cut = at - start
            if 0 < cut < len(old) and voice != "hat_open":
                fade = np.exp(-np.arange(len(old) - cut) / (0.012 * RATE)) - 1
                out[at: at + len(fade)] += (old[cut:] * fade)[: max(0, len(out) - at)]
        sound = sound[: max(0, len(out) - at)]
        out[at: at + len(sound)] += sound
        if voice.startswith("hat"):
            ringing = (at, sound) if voice == "hat_open" else None
    out = in_a_room(out[: int(seconds * RATE)], rng)
    return Clip(out, [(round(float(t), 5), v, round(float(a), 3)) for t, v, a in strokes if t < seconds])


def tones(n, rng):
    """Invented bass notes, chords and melody: what a band puts under the drums."""
    out, time, key = np.zeros(n, np.float32), 0, rng.integers(28, 52)
    step = int(RATE * rng.uniform(0.15, 0.8))
    while time < n:
        for note in rng.choice([0, 0, 3, 4, 7, 10, 12, 15, 19, 24], rng.integers(1, 5)) + key:
            length = min(int(step * rng.uniform(0.5, 3)), n - time)
            t = np.arange(length, dtype=np.float32) / RATE
            tone = sum(np.sin(2 * np.pi * 440 * 2 ** ((note - 69) / 12) * h * t) / h ** rng.uniform(0.7, 2) for h in range(1, rng.integers(3, 12)))
            out[time: time + length] += tone * np.exp(-t * rng.uniform(0.5, 8)) * np.minimum(1, t / rng.uniform(0.002, 0.05))
        time += step
    return out / (np.sqrt(np.mean(out ** 2)) + 1e-9)


def in_a_room(out, rng):
    """Room, band, compression, tone, level and noise of one clip."""
    out = out / (np.abs(out).max() + 1e-9)
    if rng.random() < 0.6:
        decay = rng.uniform(0.08, 0.9) / 6.9
        t = np.arange(int(decay * 6.9 * RATE)) / RATE
        room = rng.normal(0, 1, len(t)) * np.exp(-t / decay)
        room = scipy.signal.lfilter([1], [1, -rng.uniform(0, 0.7)], room).astype(np.float32)
        wet = scipy.signal.fftconvolve(out, room)[: len(out)]
        out = out + wet * (10 ** (rng.uniform(-24, -5) / 20) * np.sqrt(np.mean(out ** 2)) / (np.sqrt(np.mean(wet ** 2)) + 1e-9))
    if rng.random() < 0.2:
        out = out + tones(len(out), rng) * np.sqrt(np.mean(out ** 2)) * 10 ** (rng.uniform(-22, 2) / 20)
    if rng.random() < 0.6:
        drive = 10 ** (rng.uniform(0, 16) / 20) / (np.abs(out).max() + 1e-9)
        out = np.tanh(out * drive)
    if rng.random() < 0.5:
        n = scipy.fft.next_fast_len(len(out), real=True)
        spectrum = scipy.fft.rfft(out, n)
        out = scipy.fft.irfft(spectrum * smooth_gain(len(spectrum), rng, 4.0), n)[: len(out)]
    if rng.random() < 0.1:
        # Old recordings and lossy files end early at the top.
        out = scipy.signal.sosfilt(scipy.signal.butter(6, rng.uniform(7000, 16000), fs=RATE, output="sos"), out)
    out = out / (np.abs(out).max() + 1e-9) * 10 ** (rng.uniform(-18, 0) / 20)
    return (out + rng.standard_normal(len(out), dtype=np.float32) * 10 ** (rng.uniform(-85, -45) / 20)).astype(np.float32)


def make(number):
    clip = render(BANK, PARTS, np.random.default_rng([ARGS.seed, number]))
    name = os.path.join(ARGS.out, f"{ARGS.seed}-{number:05d}")
    soundfile.write(name + ".wav", clip.samples, RATE, subtype="PCM_16")
    with open(name + ".json", "w") as f:
        json.dump({"hits": clip.strokes}, f)


def main():
    global ARGS, BANK, PARTS
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    for name in ("sounds", "gmd", "soundfonts", "out"):
        p.add_argument(name)
    p.add_argument("--clips", type=int, default=1200); p.add_argument("--seed", type=int, default=1); p.add_argument("--processes", type=int, default=2)
    ARGS = p.parse_args()
    os.makedirs(ARGS.out, exist_ok=True)
    BANK, PARTS = Bank(ARGS.sounds, ARGS.soundfonts, os.path.join(ARGS.out, "oneshots")), read_parts(ARGS.gmd)
    with multiprocessing.get_context("fork").Pool(ARGS.processes) as pool:
        pool.map(make, range(ARGS.clips), chunksize=8)


if __name__ == "__main__":
    main()
