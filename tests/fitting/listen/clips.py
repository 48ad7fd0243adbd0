"""Played drum parts through recorded, sampled and synthesised drums as recordings sound: clips with their truth, for the network.

    bank = made(Bank(SOUNDS, SOUNDFONTS, CACHE), STROKES)
    parts = read_parts(GMD)
    clip = render(bank, parts, rng, seconds=12)   # Clip(samples at 44.1 kHz, strokes [(time s, voice)])

The sources are those of kits.py beside this folder, and STROKES, the program's own synthesis (cargo run --release
--example strokes). What is added to kits.py is what tells a recording from a sampler: cymbals far under the drums and
dull, wires that buzz under kick and toms, clicking beaters, one room for all, compression of the sum, jingles and
shakers; drums that beat and echo, lie over each other or, where `bank.plates` says so, are made of random numbers
(drums.py); a band under half of the clips where `bank.bands` has some (bands.py), among them players who play with the
drums where `bank.players` has some (company.py); soft strokes as samplers and as people play them; strokes with another
one close by. A stroke that nobody can hear is no stroke: `audible` decides. Some clips stay as kits.py makes them. A
third of the parts are not played but invented, each limb with a figure or a line of its own, so that all drums meet all
others. Everything is drawn from the given random generator: the same seed makes the same clips.
"""
import glob, os, sys
import numpy as np, scipy.signal, soundfile

sys.path.insert(0, os.path.join(os.path.dirname(os.path.abspath(__file__)), ".."))
from kits import BALANCE, FAMILIES, LONG, RATE, Bank, Clip, Drum, arranged, read_parts, smooth_gain, tones, trimmed  # noqa: F401
import company
import kits
from drums import Both, Jingles, Plate, Rung

MADE = {"kick_left": "kick", "snare_2": "snare", "tom_floor_2": "tom_floor", "crash_2": "crash", "cowbell": "other"}
METAL = ("hat", "ride", "crash", "splash", "china")
BUSES = ("kick", "snare", "tom", "hat", "cymbal", "other")


def made(bank, folder):
    """Adds the program's own strokes, KIT-VOICE-LEVEL.wav in `folder`, to the bank."""
    layers = {}
    for name in sorted(glob.glob(os.path.join(folder, "*.wav"))):
        kit, voice, _ = os.path.basename(name)[:-4].split("-")
        got = trimmed(soundfile.read(name, dtype="float32", always_2d=True)[0].T.mean(axis=0, keepdims=True))
        if got:
            layers.setdefault((MADE.get(voice, voice), f"made-{kit}-{voice if voice in MADE else ''}"), []).append(got)
    for (voice, source), strokes in layers.items():
        bank.instruments[voice].append((source, sorted(strokes, key=lambda s: s[0])))
    return bank


SOURCES = ("rock", "open", "snares", "FluidR3", "Black Pearl", "own")


def source_of(name):
    """The source of sounds that an instrument comes from."""
    if name.startswith("font"):
        return "Black Pearl" if "Black_Pearl" in name else "FluidR3"
    return "own" if name.startswith("made") else next(s for s in SOURCES if name.startswith(s))


def only(bank, sources, snares=None):
    """The bank with the instruments of `sources` alone; snares of other sources where `snares` names them."""
    less = Bank.__new__(Bank)
    less.bands, less.players, less.plates = getattr(bank, "bands", []), getattr(bank, "players", []), getattr(bank, "plates", False)
    wanted = lambda voice: snares if snares and voice == "snare" else sources
    less.instruments = {v: [i for i in all_ if source_of(i[0]) in wanted(v)] for v, all_ in bank.instruments.items()}
    return less


def audible(buses, placed, rng):
    """Which strokes stand out of all that sounds with them: more than a fortieth to a sixth of some band in their first 46 ms."""
    whole, n = sum(buses.values()), 2048
    window, edges = np.hanning(2 * n)[n:].astype(np.float32), (0, 3, 5, 8, 12, 18, 28, 45, 70, 110, 170, 260, 400, 650)
    bands = lambda x: np.add.reduceat(np.abs(scipy.fft.rfft(np.pad(x[:n], (0, max(0, n - len(x)))) * window)) ** 2, edges)
    loudest, least = None, rng.uniform(0.025, 0.17)
    heard = []
    for at, sound in placed:
        own, all_ = bands(sound), bands(whole[at: at + n])
        loudest = max(loudest or 0.0, float(all_.sum()))
        heard.append((float((own / (all_ + own * 0.05 + 1e-12)).max()), float(own.max())))
    return [share > least and own > 1e-7 * (loudest or 1.0) for share, own in heard]


def pick(bank, family, rng):
    """One source for a family of voices: half of the time recorded, else sampled or synthesised. Voices without any stay out."""
    kind = ("recorded", "recorded", "recorded", "recorded", "recorded", "font", "font", "font", "made", "made")[rng.integers(10)]
    of = lambda source: "font" if source.startswith("font") else "made" if source.startswith("made") else "recorded"

    def draw(voice):
        pool = [i for i in bank.instruments[voice] if of(i[0]) == kind] or bank.instruments[voice]
        return pool[rng.integers(len(pool))]
    family = [v for v in family if bank.instruments.get(v)]
    lead = draw(family[0]) if family else None
    return {v: next((i for i in bank.instruments[v] if i[0] == lead[0]), None) or draw(v) for v in family}


def others(strokes, rng, seconds):
    """Strokes on something else: an even figure, or together with the snare."""
    if rng.random() < 0.4:
        return [(t + rng.normal(0, 0.006), "other", a) for t, v, a in strokes if v == "snare" and a > 0.3]
    gap, level = rng.choice([1, 1, 2]) * rng.uniform(0.11, 0.3), rng.uniform(0.4, 0.9)
    return [(t + rng.normal(0, 0.006), "other", float(np.clip(level + 0.15 * (k % 2) + rng.normal(0, 0.08), 0.1, 1)))
            for k, t in enumerate(np.arange(rng.uniform(0.1, 0.5), seconds - 0.3, gap))]


def invented(rng, seconds):
    """Limbs that repeat a figure or go free, on a grid with human looseness."""
    step, loose = max(0.07, 60 / rng.uniform(60, 150) / rng.choice([2, 3, 4, 4, 6])), rng.uniform(0.002, 0.012)
    count = int((seconds - 0.5) / step)
    hands = ["hat_closed", "hat_closed", "ride", "hat_open", "ride_bell", "snare_2", "tom_floor", "crash", "other", "snare"]
    drums = ["snare", "snare", "snare", "tom_high", "tom_mid", "tom_low", "tom_floor", "cross_stick", "crash", "hat_open", "snare_2", "china", "splash"]
    limbs = [([hands[rng.integers(len(hands))]], 0.9), (list(rng.choice(drums, rng.integers(1, 5))), 0.9), (["kick"], 0.85), (["hat_foot"], 0.5)]
    out = []
    for voices, often in limbs:
        if rng.random() > often:
            continue
        length, share = rng.integers(2, 10), rng.uniform(0.15, 0.8)
        figure = [(rng.random() < share, voices[rng.integers(len(voices))], rng.uniform(0.3, 1)) for _ in range(length)]
        repeats, level = rng.random() < 0.6, rng.uniform(0.5, 1)
        for k in range(count):
            hit, voice, accent = figure[k % length] if repeats else (rng.random() < share * 0.7, voices[rng.integers(len(voices))], rng.uniform(0.2, 1))
            if hit:
                out.append((0.2 + k * step + rng.normal(0, loose), str(voice), float(np.clip(level * accent + rng.normal(0, 0.06), 0.08, 1))))
    return sorted(out)


def graced(strokes, rng):
    """Some strokes get another one close by, most often a softer one of the same drum."""
    share, out, voices = rng.choice([0.03, 0.08, 0.2]), list(strokes), sorted({s[1] for s in strokes})
    for time, voice, velocity in strokes:
        if rng.random() < share:
            same = rng.random() < 0.6
            other, gap = voice if same else voices[rng.integers(len(voices))], rng.uniform(0.012, 0.055)
            if voice.startswith(("snare", "tom")) or not same or rng.random() < 0.3:
                out.append((time - gap if rng.random() < 0.7 else time + gap, other, float(np.clip(velocity * rng.uniform(0.25, 1.0), 0.08, 1))))
    return sorted(s for s in out if s[0] > 0)


def bus_of(voice):
    first = voice.split("_")[0]
    return {"cross": "snare", "ride": "cymbal", "crash": "cymbal", "splash": "cymbal", "china": "cymbal"}.get(first, first)


def balance(kit, rng):
    """Levels of the voices in dB. Cymbals often lie far under the drums, hats most of all."""
    levels = {v: BALANCE.get(v, 0) + rng.normal(0, 3.5) for v in kit}
    for names in (("hat",), ("ride",), ("crash", "splash", "china")):
        down = rng.uniform(2, 14) if rng.random() < 0.45 else rng.uniform(-4, 1) if rng.random() < 0.4 else 0
        for v in kit:
            if v.startswith(names):
                levels[v] -= down
    return levels


def render(bank, parts, rng, seconds=12.0):
    """One clip: a stretch of a random part on a random kit in a random room."""
    strokes = []
    while len(strokes) < 8:
        strokes = invented(rng, seconds) if rng.random() < 0.33 else arranged(parts[rng.integers(len(parts))], rng, seconds)
    plain = rng.random() < 0.35
    if rng.random() < 0.25:
        strokes = graced(strokes, rng)
    if rng.random() < 0.14:
        strokes = sorted(strokes + others(strokes, rng, seconds))
    kit = {}
    for family in FAMILIES:
        pitch = 2 ** (rng.uniform(-0.2, 0.2))
        for voice, instrument in pick(bank, family, rng).items():
            kit[voice] = Rung(instrument, rng, pitch, voice.startswith("tom"))
            if not plain and rng.random() < 0.3:
                kit[voice].depth = 7.0
        if not plain and rng.random() < 0.25:
            for voice, instrument in pick(bank, family, rng).items():
                if voice in kit:
                    kit[voice] = Both(kit[voice], Rung(instrument, rng, 2 ** rng.uniform(-0.25, 0.25), voice.startswith("tom")), rng)
        if not plain and getattr(bank, "plates", False) and rng.random() < 0.28 and family[0].startswith(METAL):
            plate = Plate(rng)
            for voice in family:
                if voice in kit:
                    made = plate.of(voice)
                    kit[voice] = made if rng.random() < 0.6 else Both(kit[voice], made, rng)
    for instrument in pick(bank, ("snare",), rng).values():
        kit["snare_2"] = Rung(instrument, rng, 2 ** rng.uniform(0.0, 0.6), False)
    other = list(pick(bank, ("other",), rng).values())
    kit["other"] = Drum(other[0], rng, 2 ** rng.uniform(-0.3, 0.3)) if other and rng.random() < 0.5 else Jingles(rng)
    strokes = [s for s in strokes if s[1] in kit]
    levels = {v: BALANCE.get(v, 0) + rng.normal(0, 4) for v in kit} if plain else balance(kit, rng)
    length = int(seconds * RATE)
    buses = {b: np.zeros(length + RATE, np.float32) for b in BUSES}
    ringing, placed, strokes = None, [], [s for s in strokes if 0 <= int(round(s[0] * RATE)) < length]
    for time, voice, velocity in strokes:
        sound = kit[voice].stroke(velocity, rng) * np.float32(10 ** (levels[voice] / 20))
        at, out = int(round(time * RATE)), buses[bus_of(voice)]
        placed.append((at, sound))
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
    buses = {b: x[:length] for b, x in buses.items()}
    heard = audible(buses, placed, rng)
    if getattr(bank, "bands", None) and rng.random() < 0.48:
        drums = sum(buses.values())
        buses["band"] = band(bank.bands, drums, length, rng)
        if getattr(bank, "players", None) and rng.random() < 0.6:
            loud = np.sqrt(np.mean((drums if rng.random() < 0.6 else buses["band"]) ** 2))
            buses["band"] = buses["band"] * np.float32(rng.random() < 0.6) + company.company(bank.players, strokes, length, rng) * np.float32(loud * 10 ** (rng.uniform(-16, 10) / 20))
    if plain:
        out = kits.in_a_room(sum(buses.values()), rng)
    else:
        around_the_drums(buses, strokes, levels, length, rng)
        out = in_a_room(buses, length, rng)
    return Clip(out, [(t, v) for (t, v, _), heard in zip(strokes, heard) if heard])


def band(bands, drums, length, rng):
    """A stretch of an invented band, at another pitch, as loud as bands are beside drums; at times two, at times tones."""
    out = np.zeros(length, np.float32)
    for _ in range(1 if rng.random() < 0.75 else 2):
        sound = bands[rng.integers(len(bands))].astype(np.float32) / 32768
        sound = np.roll(sound, rng.integers(len(sound)))
        places = (np.arange(length) / 2 * 2 ** rng.uniform(-0.35, 0.2)) % (len(sound) - 1)
        sound = np.interp(places, np.arange(len(sound)), sound)
        out += (sound / (np.sqrt(np.mean(sound ** 2)) + 1e-9) * 10 ** (rng.uniform(-6, 0) / 20)).astype(np.float32)
    if rng.random() < 0.15:
        # A wash that swells: keyboards, guitars' feedback, a hall full of people.
        noise = scipy.signal.sosfilt(scipy.signal.butter(2, sorted(rng.uniform(100, 9000, 2) + (0, 300)), "bandpass", fs=RATE, output="sos"), rng.standard_normal(length))
        swell = 1 + 0.8 * np.sin(2 * np.pi * np.arange(length) / RATE * rng.uniform(0.1, 1.5) + rng.uniform(0, 6))
        out += (noise * swell / (np.sqrt(np.mean(noise ** 2)) + 1e-9) * 10 ** (rng.uniform(-18, -2) / 20)).astype(np.float32)
    if rng.random() < 0.5:
        n = scipy.fft.next_fast_len(length, real=True)
        spectrum = scipy.fft.rfft(out, n)
        out = scipy.fft.irfft(spectrum * smooth_gain(len(spectrum), rng, 4.0), n)[:length].astype(np.float32)
    return out * np.float32(np.sqrt(np.mean(drums ** 2)) / (np.sqrt(np.mean(out ** 2)) + 1e-9) * 10 ** (rng.uniform(-20, 6) / 20))


def around_the_drums(buses, strokes, levels, length, rng):
    """What sounds with a drum though nobody struck it: the beater's click, the snare's wires; and dull cymbals."""
    if rng.random() < 0.35:
        n = int(RATE * rng.uniform(0.003, 0.012))
        click = scipy.signal.sosfilt(scipy.signal.butter(2, sorted(rng.uniform(1200, 8000, 2) + (0, 600)), "bandpass", fs=RATE, output="sos"), rng.standard_normal(2 * n) * np.exp(-np.arange(2 * n) / n * 3))
        click *= 10 ** (rng.uniform(-14, 8) / 20) / (np.sqrt(np.mean(click ** 2)) + 1e-9)
        train = struck(strokes, levels, length, ("kick",))
        buses["kick"] += scipy.signal.fftconvolve(train, click)[:length].astype(np.float32)
    if rng.random() < 0.5:
        late, ring = int(RATE * rng.uniform(0.001, 0.015)), rng.uniform(0.02, 0.12)
        train = np.roll(struck(strokes, levels, length, ("kick", "tom")), late)
        train[:late] = 0
        envelope = scipy.signal.lfilter([1], [1, -np.exp(-1 / (ring * RATE))], train)
        wires = scipy.signal.sosfilt(scipy.signal.butter(2, (rng.uniform(700, 2500), rng.uniform(4500, 12000)), "bandpass", fs=RATE, output="sos"), rng.standard_normal(length))
        buses["snare"] += (envelope * wires / (np.sqrt(np.mean(wires ** 2)) + 1e-9) * 10 ** (rng.uniform(-34, -10) / 20)).astype(np.float32)
    for bus in ("hat", "cymbal"):
        if rng.random() < 0.3:
            buses[bus][:] = scipy.signal.sosfilt(scipy.signal.butter(1, rng.uniform(1800, 9000), fs=RATE, output="sos"), buses[bus])


def struck(strokes, levels, length, voices):
    """Impulses as strong as the strokes on `voices`."""
    train = np.zeros(length, np.float32)
    for t, v, a in strokes:
        at = int(round(t * RATE))
        if v.startswith(voices) and 0 <= at < length:
            train[at] += 10 ** ((levels[v] - (1 - a) * 14) / 20)
    return train


def compressed(x, rng):
    """The sum through a compressor (feed-forward, peak of 1.5 ms blocks)."""
    step = 64
    x = x / (np.abs(x).max() + 1e-9)
    peaks = np.abs(np.pad(x, (0, -len(x) % step))).reshape(-1, step).max(axis=1)
    rise, fall = (1 - np.exp(-step / RATE / s) for s in (rng.uniform(0.0005, 0.03), rng.uniform(0.04, 0.4)))
    least, share = 10 ** (rng.uniform(-32, -8) / 20), 1 - 1 / rng.uniform(2, 12)
    level, gains = 0.0, np.empty(len(peaks))
    for k, p in enumerate(peaks.tolist()):
        level += (p - level) * (rise if p > level else fall)
        gains[k] = (least / level) ** share if level > least else 1.0
    return x * np.interp(np.arange(len(x)), np.arange(len(gains)) * step, gains).astype(np.float32)


def in_a_room(buses, length, rng):
    """One room for all drums, a band now and then, compression, tone, level and noise of the clip."""
    out = sum(buses.values())
    scale = 1 / (np.abs(out).max() + 1e-9)
    out = out * scale
    if rng.random() < 0.7:
        decay = rng.uniform(0.05, 0.9) / 6.9
        t = np.arange(int(decay * 6.9 * RATE) + 1) / RATE
        room = rng.standard_normal(len(t)) * np.exp(-t / decay)
        room = scipy.signal.lfilter([1], [1, -rng.uniform(0, 0.85)], room)
        # First reflections stand out of the tail.
        for at in rng.uniform(0.001, 0.03, rng.integers(0, 8)):
            if int(at * RATE) < len(room):
                room[int(at * RATE)] += rng.normal(0, 4)
        sent = sum(x * np.float32(rng.uniform(0.4, 1.6)) for b, x in buses.items() if b != "band") * scale
        wet = scipy.signal.fftconvolve(sent, room)[:length]
        ahead = int(rng.uniform(0, 0.012) * RATE)
        wet = np.concatenate([np.zeros(ahead), wet])[:length]
        out = out + wet * (10 ** (rng.uniform(-24, 1) / 20) * np.sqrt(np.mean(out ** 2)) / (np.sqrt(np.mean(wet ** 2)) + 1e-9))
    if rng.random() < 0.2:
        out = out + tones(length, rng) * np.sqrt(np.mean(out ** 2)) * 10 ** (rng.uniform(-22, 2) / 20)
    if rng.random() < 0.4:
        out = compressed(out, rng)
    if rng.random() < 0.45:
        out = np.tanh(out * 10 ** (rng.uniform(0, 16) / 20) / (np.abs(out).max() + 1e-9))
    if rng.random() < 0.5:
        n = scipy.fft.next_fast_len(length, real=True)
        spectrum = scipy.fft.rfft(out, n)
        out = scipy.fft.irfft(spectrum * smooth_gain(len(spectrum), rng, 4.0), n)[:length]
    if rng.random() < 0.2:
        # Old recordings and lossy files end early at the top.
        out = scipy.signal.sosfilt(scipy.signal.butter(6, rng.uniform(7000, 16000), fs=RATE, output="sos"), out)
    if rng.random() < 0.15:
        out = scipy.signal.sosfilt(scipy.signal.butter(2, rng.uniform(40, 130), "highpass", fs=RATE, output="sos"), out)
    out = out / (np.abs(out).max() + 1e-9) * 10 ** (rng.uniform(-18, 0) / 20)
    return (out + rng.standard_normal(length) * 10 ** (rng.uniform(-85, -45) / 20)).astype(np.float32)
