"""Drums as recordings have them, bent, laid over each other or made of random numbers: kits that nobody owns.

    Rung(instrument, rng, pitch, tom), Both(one, other, rng), Plate(rng).of(voice), Jingles(rng): each has
    stroke(velocity, rng), samples at 44.1 kHz of about unit power in their first 50 ms at full velocity.
"""
import numpy as np, scipy.signal

from kits import RATE, Drum


class Rung(Drum):
    """A drum whose sound may beat, as two close modes of a head do, or come back once, as from a wall or the other head."""

    def __init__(self, instrument, rng, pitch, tom):
        super().__init__(instrument, rng, pitch)
        often = 0.45 if tom else 0.12
        self.beat = (rng.uniform(5, 25), rng.uniform(0.2, 0.95), rng.uniform(0, 6.3), rng.uniform(0.01, 0.06)) if rng.random() < often else None
        self.echo = (rng.uniform(0.02, 0.14), 10 ** (-rng.uniform(1, 18) / 20), rng.uniform(150, 4000)) if rng.random() < often else None
        # Samplers lose 40 dB for a tenth of the velocity, people less.
        self.law = rng.uniform(12, 44) if rng.random() < 0.5 else None

    def strength(self, velocity):
        return max(velocity, 0.02) ** (self.law / 20) if self.law else super().strength(velocity)

    def shaped(self, place):
        sound = super().shaped(place)
        if self.beat:
            hertz, depth, phase, rise = self.beat
            t = np.arange(len(sound)) / RATE
            sound = sound * (1 + depth * np.cos(2 * np.pi * hertz * t + phase) * (1 - np.exp(-t / rise)))
        if self.echo:
            late, gain, cut = self.echo
            back = scipy.signal.sosfilt(scipy.signal.butter(1, cut, fs=RATE, output="sos"), sound) * gain
            sound = np.concatenate([sound, np.zeros(int(late * RATE))])
            sound[int(late * RATE):] += back
        return sound.astype(np.float32)


class Both:
    """Two drums that sound at once as one, as producers lay them over each other: kits that nobody owns."""

    def __init__(self, one, other, rng):
        self.one, self.other, self.share = one, other, rng.uniform(0.2, 0.8)

    def stroke(self, velocity, rng):
        a, b = self.one.stroke(velocity, rng), self.other.stroke(velocity, rng)
        out = np.zeros(max(len(a), len(b)), np.float32)
        out[: len(a)] += a * np.float32(self.share)
        out[: len(b)] += b * np.float32(1 - self.share)
        return out


class Plate:
    """Hats and cymbals from numbers drawn at random: a cloud of partials and noise whose bands die at their own speeds."""

    RING = {"hat_closed": (0.015, 0.12), "hat_foot": (0.012, 0.09), "hat_open": (0.2, 1.2), "ride": (0.5, 2.5), "ride_bell": (0.4, 2.0), "crash": (0.5, 2.2), "splash": (0.15, 0.6), "china": (0.3, 1.2)}

    def __init__(self, rng):
        self.centre, self.tilt, self.noisy = 10 ** rng.uniform(3.2, 3.9), rng.uniform(-1.5, 1.5), rng.random()
        self.partials = 10 ** rng.uniform(np.log10(250), np.log10(14_000), 120)
        self.fall, self.span, self.place = rng.uniform(0.2, 1.2), rng.uniform(8, 30), rng.random(4)

    def of(self, voice):
        part = Plate.__new__(Plate)
        part.__dict__.update(self.__dict__, voice=voice, kept={})
        return part

    def stroke(self, velocity, rng):
        place = int(rng.integers(3)) if len(self.kept) >= 3 else len(self.kept)
        if place not in self.kept:
            self.kept[place] = self.shaped(rng)
        return self.kept[place] * np.float32(10 ** (-(1 - velocity) * self.span / 20))

    def shaped(self, rng):
        low, high = self.RING[self.voice]
        ring = low * (high / low) ** self.place[0]
        n = int(min(3.0, ring * 5 + 0.05) * RATE)
        t = np.arange(n, dtype=np.float32) / RATE
        bell, soft = self.voice == "ride_bell", self.voice in ("hat_foot",)
        out = np.zeros(n, np.float32)
        for f in self.partials[: 25 if bell else 90]:
            gain = (f / self.centre) ** (self.tilt - (0.8 if bell else 0)) / (1 + (self.centre / f / (3 if bell else 1)) ** 3) / (1 + (f / 13_000) ** 4)
            out += np.float32(gain * rng.uniform(0.3, 1)) * np.sin(np.float32(2 * np.pi * f) * t + np.float32(rng.uniform(0, 6))) * np.exp(-t / np.float32(ring * (4000 / f) ** self.fall if f > 4000 else ring))
        out /= np.sqrt(np.mean(out ** 2)) + 1e-9
        noise = np.zeros(n, np.float32)
        for k in range(6):
            f = 1200 * 2 ** (k * 0.6)
            band = scipy.signal.sosfilt(scipy.signal.butter(1, (f / 1.3, min(f * 1.3, 20_000)), "bandpass", fs=RATE, output="sos"), rng.standard_normal(n))
            noise += (band * (f / self.centre) ** self.tilt * np.exp(-t / (ring * (2500 / f) ** (0.5 * self.fall) * rng.uniform(0.6, 1.4)))).astype(np.float32)
        noise /= np.sqrt(np.mean(noise ** 2)) + 1e-9
        out = out * np.float32(0.3 if bell else 1 - self.noisy) * np.float32(1 + 2 * bell) + noise * np.float32(0.15 if bell else self.noisy)
        m = int(RATE * (0.001 + 0.006 * self.place[1]) * (3 if soft else 1))
        tick = scipy.signal.sosfilt(scipy.signal.butter(1, (1500 + 3000 * self.place[2], 15_000), "bandpass", fs=RATE, output="sos"), rng.standard_normal(m)) * np.exp(-np.arange(m) / m * 4)
        out[:m] *= np.linspace(0.3, 1, m)
        out[:m] += (tick * (0.1 + 3 * self.place[3]) * np.abs(out[: 20 * m]).max() / (np.abs(tick).max() + 1e-9)).astype(np.float32)
        fade = min(1500, n)
        out[n - fade:] *= np.linspace(1, 0, fade)
        return (out / (np.sqrt(np.mean(out[: RATE // 20] ** 2)) + 1e-9)).astype(np.float32)


class Jingles:
    """A tambourine or a shaker: bursts of high noise close together."""

    def __init__(self, rng):
        self.low, self.high = rng.uniform(2500, 6000), rng.uniform(9000, 16000)
        self.bursts, self.spread, self.ring = rng.integers(1, 6), rng.uniform(0.004, 0.03), rng.uniform(0.03, 0.15)
        self.span = rng.uniform(8, 20)

    def stroke(self, velocity, rng):
        n = int(RATE * (self.ring * 5 + 0.1))
        sound, t = np.zeros(n, np.float32), np.arange(n) / RATE
        for _ in range(self.bursts):
            late = rng.exponential(self.spread) if self.bursts > 1 else 0.0
            sound += np.where(t >= late, np.exp(-np.maximum(t - late, 0) / self.ring) * rng.uniform(0.4, 1), 0)
        sound *= rng.standard_normal(n)
        sound = scipy.signal.sosfilt(scipy.signal.butter(2, (self.low, self.high), "bandpass", fs=RATE, output="sos"), sound)
        return (sound / (np.sqrt(np.mean(sound[: RATE // 20] ** 2)) + 1e-9) * 10 ** (-(1 - velocity) * self.span / 20)).astype(np.float32)
