"""Render single strokes of a soundfont's drum presets with fluidsynth, for performances.py.

    presets.py SOUNDFONT OUT NAME=PROGRAM ... [--channel C] [--toms KEY ...]

Writes OUT/NAME.npz with arrays named voice|key|velocity (float32, 44.1 kHz, from just before the sound begins).
The built-in decisions were fitted to standard=0 room=8 power=16 electronic=24 tr808=25 jazz=32 brush=40 orchestra=48
of Debian's fluid-soundfont-gm (MIT) and to pearl=0 of avldrums.lv2-soundfont's Black Pearl (--channel 1 --toms 41 45 47 43).
"""

import argparse
import os
import subprocess

import mido
import numpy as np
import soundfile as sf

RATE = 44100
KEYS = {"kick": [36, 35], "snare": [38, 40], "cross": [37], "tom": [50, 48, 47, 45, 43, 41], "hatc": [42], "hato": [46],
        "hatf": [44], "crash": [49, 57], "splash": [55], "china": [52], "ride": [51, 59], "bell": [53]}
VELOCITIES = [14, 28, 42, 56, 70, 84, 100, 116, 127]
APART = 3.0
TICKS = 960  # a second, at 120 bpm


def render(a, name, program):
    plan, midi = [], mido.MidiFile(ticks_per_beat=480)
    track = mido.MidiTrack()
    midi.tracks.append(track)
    track.append(mido.Message("program_change", channel=a.channel - 1, program=program, time=0))
    now, at = 0, TICKS
    for voice, keys in KEYS.items():
        for key in (a.toms if voice == "tom" and a.toms else keys):
            for velocity in VELOCITIES:
                plan.append((voice, key, velocity, at / TICKS))
                track.append(mido.Message("note_on", channel=a.channel - 1, note=key, velocity=velocity, time=at - now))
                length = int((APART - 0.4) * TICKS)
                track.append(mido.Message("note_off", channel=a.channel - 1, note=key, velocity=0, time=length))
                now, at = at + length, at + int(APART * TICKS)
    track.append(mido.Message("note_off", channel=a.channel - 1, note=36, velocity=0, time=2 * TICKS))
    mid, wav = os.path.join(a.out, name + ".mid"), os.path.join(a.out, name + ".wav")
    midi.save(mid)
    subprocess.run(["fluidsynth", "-q", "-ni", "-g", "0.4", "-R", "0", "-C", "0", "-r", str(RATE), "-O", "float", "-T", "wav",
                    "-F", wav, a.soundfont, mid], check=True, stdout=subprocess.DEVNULL)
    x = sf.read(wav, dtype="float32", always_2d=True)[0].mean(1)
    strokes = {}
    for voice, key, velocity, at in plan:
        s = x[int(at * RATE): int((at + 2.9) * RATE)]
        peak = np.abs(s).max(initial=0)
        if peak < 1e-4:
            continue
        s = s[max(0, int(np.argmax(np.abs(s) > peak * 0.02)) - 20):]
        strokes[f"{voice}|{key}|{velocity}"] = s[: np.nonzero(np.abs(s) > peak * 1e-3)[0][-1] + 1]
    os.remove(wav), os.remove(mid)
    np.savez(os.path.join(a.out, name + ".npz"), **strokes)


def main():
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("soundfont"), p.add_argument("out"), p.add_argument("presets", nargs="+")
    p.add_argument("--channel", type=int, default=10), p.add_argument("--toms", type=int, nargs="*")
    a = p.parse_args()
    os.makedirs(a.out, exist_ok=True)
    for preset in a.presets:
        name, program = preset.split("=")
        render(a, name, int(program))


if __name__ == "__main__":
    main()
