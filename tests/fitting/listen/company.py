"""What plays with the drums, made of nothing: strings that are strummed, choked and slapped, voices that sing and hiss, keys and horns.

    pool = players(rng, 40)                          # list of players: notes of one sound at several pitches
    sound = company(pool, strokes, length, rng)      # a band that plays with `strokes`, samples at 44.1 kHz, power 1

Half of what is played begins with strokes of the drums, as in a band: there the network has to hear what lies under
it. Strings are delay lines with a loss (K. Karplus, A. Strong, Computer Music Journal 7, 1983), voices are pulses and
noise through formants (middle values of vowels from memory). Everything is drawn from the given random generator.
"""
import numpy as np, scipy.signal

RATE = 44_100
KINDS = ("strum", "strum", "chug", "chug", "pluck", "bass", "bass", "slap", "voice", "voice", "voice", "choir", "keys", "keys", "horn", "organ")
VOWELS = ((730, 1090, 2440), (530, 1840, 2480), (270, 2290, 3010), (570, 840, 2410), (300, 870, 2240), (490, 1350, 1690))


def band_of(noise, low, high):
    high = min(high, 20_000)
    return scipy.signal.sosfilt(scipy.signal.butter(2, (min(low, high * 0.8), high), "bandpass", fs=RATE, output="sos"), noise)


def string(hertz, seconds, bright, loss, rng):
    """A plucked string."""
    n, period = int(seconds * RATE), max(8, int(RATE / hertz))
    burst = rng.uniform(-1, 1, period)
    burst = scipy.signal.lfilter([1 - bright], [1, -bright], burst)
    x = np.zeros(n)
    x[: min(n, period)] = burst[: min(n, period)]
    part = 0.5 * rng.uniform(0.3, 1)
    line = np.zeros(period + 2)
    line[0], line[period], line[period + 1] = 1, -loss * (1 - part), -loss * part
    return scipy.signal.lfilter([1], line, x)


def driven(x, drive, cut):
    """Through an amplifier that is overdriven, and its box."""
    x = np.tanh(x / (np.abs(x).max() + 1e-9) * drive)
    return scipy.signal.sosfilt(scipy.signal.butter(3, (80, cut), "bandpass", fs=RATE, output="sos"), x)


def hum(hertz, rng, seconds, glide=True):
    """The phase of a voice: it leans into the note and wavers."""
    t = np.arange(int(seconds * RATE)) / RATE
    lean = rng.uniform(-0.12, 0.05) * np.exp(-t / 0.06) if glide else 0
    waver = rng.uniform(0, 0.012) * np.sin(2 * np.pi * rng.uniform(4.5, 6.5) * t + rng.uniform(0, 6)) * np.minimum(1, t / 0.3)
    return np.cumsum(hertz * (1 + lean + waver)) / RATE, t


def sung(hertz, seconds, rng, tract, breath):
    """A syllable: a consonant, then a vowel, at times one more consonant."""
    phase, t = hum(hertz, rng, seconds)
    pulse = np.exp(-((phase % 1) * 8)) + breath * rng.standard_normal(len(t))
    formants = np.array(VOWELS[rng.integers(len(VOWELS))]) * tract
    out = np.zeros(len(t))
    for k, f in enumerate(list(formants) + [3400 * tract]):
        r = np.exp(-np.pi * (60 + 40 * k) / RATE)
        out += scipy.signal.lfilter([1 - r], [1, -2 * r * np.cos(2 * np.pi * f / RATE), r * r], pulse) * 0.6 ** k
    out *= np.minimum(1, t / rng.uniform(0.01, 0.08)) * np.minimum(1, (seconds - t) / rng.uniform(0.03, 0.2)).clip(0)
    out /= np.abs(out).max() + 1e-9
    for at in ([0] if rng.random() < 0.75 else []) + ([len(t) - int(0.2 * RATE)] if rng.random() < 0.25 else []):
        if rng.random() < 0.5:
            n, low = int(rng.uniform(0.05, 0.17) * RATE), rng.uniform(2500, 6500)
            hiss = band_of(rng.standard_normal(n), low, low * rng.uniform(1.5, 2.6)) * np.hanning(n)
        else:
            n, low = int(rng.uniform(0.008, 0.04) * RATE), rng.uniform(300, 4000)
            hiss = band_of(rng.standard_normal(n), low, low * rng.uniform(1.5, 4)) * np.exp(-np.arange(n) / n * 4)
        at = max(0, at)
        hiss = hiss[: len(out) - at]
        out[at: at + len(hiss)] += hiss / (np.abs(hiss).max() + 1e-9) * 10 ** (rng.uniform(-24, -2) / 20)
    return out


def note(kind, hertz, rng, way):
    """One note of a player, whose manner is `way` (numbers of 0 to 1)."""
    if kind in ("pluck", "strum", "chug", "bass", "slap"):
        low = kind in ("bass", "slap")
        f = hertz / 2 if low else hertz
        seconds = rng.uniform(0.08, 0.25) if kind == "chug" else rng.uniform(0.5, 1.6)
        loss = 0.93 + 0.04 * way[0] if kind == "chug" else 0.985 + 0.013 * way[0]
        chord = (1, 1.5, 2) if kind == "chug" else (1, 1.26 if way[3] < 0.5 else 1.19, 1.5, 2, 2.52, 3) if kind == "strum" else (1,)
        out, spread = np.zeros(int((seconds + 0.2) * RATE)), rng.uniform(0.001, 0.025) if kind == "strum" else 0.0
        for k, ratio in enumerate(chord):
            s = string(f * ratio, seconds, 0.2 + 0.75 * way[1], loss, rng)
            at = int(k * spread * RATE)
            out[at: at + len(s)] += s[: len(out) - at] / (np.abs(s).max() + 1e-9)
        if kind in ("slap", "strum", "pluck") and way[2] > 0.3:
            # The nail, the plectrum, the string against the neck.
            n = int(0.004 * RATE * (1 + 3 * way[2]))
            tick = band_of(rng.standard_normal(n), 1500, 4000 + 9000 * way[2]) * np.exp(-np.arange(n) / n * 4)
            out[:n] += tick / (np.abs(tick).max() + 1e-9) * 10 ** (rng.uniform(-14, 2) / 20)
        if kind == "chug" or (kind in ("strum", "pluck") and way[4] > 0.55):
            out = driven(out, 2 + 40 * way[4], 2800 + 5000 * way[2])
        return out
    seconds = rng.uniform(0.15, 1.4)
    if kind == "voice":
        return sung(hertz, seconds, rng, 0.9 + 0.3 * way[0], 0.05 + 0.4 * way[1] ** 2)
    if kind == "choir":
        return sum(sung(hertz * r * (1 + rng.normal(0, 0.004)), 1.2, rng, 0.9 + 0.3 * way[0], 0.15) for r in (1, 1.26, 1.5))
    phase, t = hum(hertz, rng, seconds, kind == "horn")
    chord = (1, 1.26, 1.5) if way[3] < 0.5 else (1, 1.19, 1.5, 1.78)
    if kind == "horn":
        rise = 1 - np.exp(-t / 0.03)
        x = sum(np.sin(2 * np.pi * k * phase * r) * (rise ** k) / k ** (0.6 + way[1]) for k in range(1, 14) for r in (chord if way[4] > 0.5 else (1,)) if hertz * r * k < 18_000)
        return x * np.minimum(1, (seconds - t) / 0.05)
    if kind == "organ":
        return sum(np.sin(2 * np.pi * k * phase * r) * rng.uniform(0, 1) for k in (0.5, 1, 1.5, 2, 3, 4, 6, 8) for r in chord) * np.minimum(1, t / 0.004) * np.minimum(1, (seconds - t) / 0.01)
    # Hammered strings and bars: partials that stretch and die, high ones sooner, and the hammer's thud.
    x = np.zeros(len(t))
    for r in chord if rng.random() < 0.6 else (1,):
        for k in range(1, 16):
            f = hertz * r * k * np.sqrt(1 + 0.0006 * way[0] * k * k)
            if f < 18_000:
                x += np.sin(2 * np.pi * f * t + rng.uniform(0, 6)) * np.exp(-t * (1.5 + k * 2 * way[1])) / k ** (0.7 + 1.5 * way[2])
    n = int(0.012 * RATE)
    x[:n] += band_of(rng.standard_normal(n), 100, 3000) * np.exp(-np.arange(n) / n * 4) * 0.3 * np.abs(x).max()
    return x * np.minimum(1, (seconds - t) / 0.02)


def player(seed):
    """(kind, notes of rising pitch) of one player."""
    rng = np.random.default_rng(seed)
    kind, way = KINDS[rng.integers(len(KINDS))], rng.random(5)
    root = 82 * 2 ** rng.uniform(0, 2 if kind in ("strum", "chug") else 2.6 if kind != "bass" else 1.0)
    degrees = np.array((0, 2, 3, 5, 7, 10, 12)) if rng.random() < 0.5 else np.array((0, 2, 4, 5, 7, 9, 12))
    out = []
    for degree in degrees:
        x = note(kind, root * 2 ** (degree / 12), rng, way)
        out.append((x / (np.sqrt(np.mean(x[: RATE // 4] ** 2)) + 1e-9) * 0.1).astype(np.float32))
    return kind, out


def company(pool, strokes, length, rng):
    """A few players, each with a rhythm of its own, half of it the drums'."""
    out = np.zeros(length, np.float32)
    struck = np.unique(np.round([s[0] for s in strokes], 2)) if len(strokes) else np.arange(0.2, length / RATE, 0.25)
    for _ in range(rng.integers(1, 5)):
        _, notes = pool[rng.integers(len(pool))]
        share = rng.uniform(0.1, 0.9)
        times = list(struck[rng.random(len(struck)) < share * rng.uniform(0.3, 1)]) if rng.random() < 0.75 else []
        if not times or rng.random() < 0.5:
            step = rng.choice([1, 2, 3, 4]) * rng.uniform(0.09, 0.2)
            grid = np.arange(rng.uniform(0, step), length / RATE, step)
            times += list(grid[rng.random(len(grid)) < share])
        loose, level, held = rng.uniform(0, 0.012), rng.uniform(0.3, 1), rng.random() < 0.6
        times = sorted(t + rng.normal(0, loose) for t in times)
        place = int(rng.integers(len(notes)))
        for k, time in enumerate(times):
            place = int(np.clip(place + rng.integers(-2, 3), 0, len(notes) - 1)) if rng.random() < 0.6 else place
            sound, at = notes[place], int(max(0, time) * RATE)
            if held and k + 1 < len(times):
                stop = int(max(0.05, times[k + 1] - time) * RATE)
                if stop < len(sound):
                    sound = sound[:stop] * np.minimum(1, np.arange(stop, 0, -1) / 600).astype(np.float32)
            sound = sound[: max(0, length - at)]
            out[at: at + len(sound)] += sound * np.float32(level * 10 ** (rng.normal(0, 2.5) / 20))
    return out / (np.sqrt(np.mean(out ** 2)) + 1e-6)
