"""Sound files that others write and we read, and that we write and others read.

    sound.py SOUND

SOUND is the built example `sound`, which reads a recording and writes it again. libsndfile (soundfile) writes WAV in
many forms; what comes back is read by libsndfile and by scipy, which must agree with each other to the bit, and
compared with what went in.
"""

import itertools
import pathlib
import subprocess
import sys
import tempfile

import numpy as np
import scipy.io.wavfile
import soundfile

OWN_RATE = 44100
# One unit of 16 bits: half for storing, half for writing.
NEAR = 1.01 / 32768
# Away from its ends, a resampled tone may differ from the tone itself by this much, -60 dB.
RESAMPLED = 1e-3

FORMS = [("WAV", s) for s in ("PCM_U8", "PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE")]
FORMS += [("WAVEX", s) for s in ("PCM_16", "PCM_24", "FLOAT")]


def through(program, wav, samples, rate, form="WAV", subtype="FLOAT"):
    """What comes back of samples that were written in some form, shape (frames, channels)."""
    soundfile.write(wav, samples, rate, format=form, subtype=subtype)
    back = wav.with_suffix(".back.wav")
    subprocess.run([program, wav, back], check=True)
    got, got_rate = soundfile.read(back, dtype="int16", always_2d=True)
    scipy_rate, scipy_got = scipy.io.wavfile.read(back)
    if got_rate != OWN_RATE or scipy_rate != OWN_RATE:
        sys.exit(f"error: written at {got_rate} Hz")
    if not np.array_equal(got, scipy_got.reshape(len(scipy_got), -1)):
        sys.exit(f"error: {form} {subtype}: libsndfile and scipy read different samples")
    return got / 32768


def tone(rate, seconds):
    """Two tones that every rate here can carry."""
    t = np.arange(int(rate * seconds)) / rate
    return 0.4 * np.sin(2 * np.pi * 440.0 * t) + 0.3 * np.sin(2 * np.pi * 2900.0 * t + 1)


def main():
    program, faults, tried = sys.argv[1], [], 0
    noise = np.random.default_rng(11)
    with tempfile.TemporaryDirectory() as folder:
        wav = pathlib.Path(folder) / "in.wav"
        for (form, subtype), channels in itertools.product(FORMS, (1, 2, 8)):
            samples = np.clip(noise.standard_normal((2501, channels)) / 4, -1, 1)
            soundfile.write(wav, samples, OWN_RATE, format=form, subtype=subtype)
            stored = soundfile.read(wav, always_2d=True)[0]
            got = through(program, wav, samples, OWN_RATE, form, subtype)
            tried += 1
            if got.shape != stored.shape:
                faults.append(f"{form} {subtype}, {channels} channels: {got.shape} came back of {stored.shape}")
            elif np.abs(got - stored).max() > NEAR:
                faults.append(f"{form} {subtype}, {channels} channels: off by {np.abs(got - stored).max():.2e}")
        for rate in (8000, 22050, 32000, 48000, 96000, 192000):
            got = through(program, wav, tone(rate, 1.5), rate)[:, 0]
            want = tone(OWN_RATE, 1.5)
            tried += 1
            inner = slice(OWN_RATE // 10, -OWN_RATE // 10)
            if abs(len(got) - len(want)) > 1:
                faults.append(f"{rate} Hz: {len(got)} samples came back, {len(want)} expected")
            elif (off := np.abs(got[: len(want)] - want[: len(got)])[inner].max()) > RESAMPLED:
                faults.append(f"{rate} Hz: off by {off:.2e}")
    print(f"{tried} sound files written, read, written and read again")
    sys.exit("\n".join(f"error: {f}" for f in faults) or 0)


if __name__ == "__main__":
    main()
