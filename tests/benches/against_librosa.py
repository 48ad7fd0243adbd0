"""Overbar beside librosa on ten minutes of drums: time and memory.

    cargo build --release --example analyse
    .venv/bin/python tests/benches/against_librosa.py target/release/examples/analyse [--runs 5] \\
        [--study target/release/overbar] [--sound RECORDING]

Both get the same file, 10 minutes at 44.1 kHz stereo: the demo's bars, looped, or another recording as it is. Each run is a process of its own, and the two
take turns. librosa is timed in `onset.onset_detect` and `beat.beat_track` with their defaults, samples in memory, after
a warm-up call on other samples, so that its compiling does not count; Overbar in hits, grid, steps and cycles, without
any warm-up, and besides with the naming of voices, which librosa does not do. Memory is the most that each whole
process held (VmHWM), reading the file included; for librosa also what that is above its state after the warm-up. With
`--study` the whole command is timed as well, from the file to the page, charts, score and sound on the disk; besides by
the clock, both are compared by processor time, which others on the machine change less.
"""

import argparse
import json
import os
import pathlib
import statistics
import subprocess
import sys
import tempfile
import time

DEMO = pathlib.Path(__file__).resolve().parents[2] / "test-audio" / "paper-lanterns.wav"
SECONDS = 600


def peak_kib():
    """The most memory this process has held."""
    with open("/proc/self/status", encoding="ascii") as f:
        return next(int(line.split()[1]) for line in f if line.startswith("VmHWM:"))


def librosa_once(wav):
    """What a child process does: prints its times and memory."""
    import librosa
    import numpy as np

    noise = np.random.default_rng(0).standard_normal(10 * 44100).astype(np.float32)
    librosa.onset.onset_detect(y=noise, sr=44100)
    librosa.beat.beat_track(y=noise, sr=44100)
    warm = peak_kib()
    samples, rate = librosa.load(wav, sr=None, mono=True)
    start, used = time.perf_counter(), time.process_time()
    onsets = librosa.onset.onset_detect(y=samples, sr=rate, units="time")
    middle = time.perf_counter()
    _, beats = librosa.beat.beat_track(y=samples, sr=rate, units="time")
    end, used = time.perf_counter(), time.process_time() - used
    seconds = {"onset_detect": middle - start, "beat_track": end - middle}
    print(json.dumps({"seconds": seconds, "cpu": used, "hits": len(onsets), "beats": len(beats), "peak_kib": peak_kib(), "warm_kib": warm}))


def ten_minutes(wav):
    """Writes the demo's whole bars over and over, so that the music goes on."""
    import numpy as np
    import soundfile

    samples, rate = soundfile.read(DEMO, dtype="float32", always_2d=True)
    if rate != 44100:
        sys.exit(f"error: the demo is at {rate} Hz, not 44100")
    downbeats = json.loads(DEMO.with_suffix(".json").read_text(encoding="utf-8"))["downbeats"]
    bars = samples[round(downbeats[0] * rate) : round(downbeats[-1] * rate)].mean(axis=1)
    mono = np.resize(bars, SECONDS * rate)
    soundfile.write(wav, np.stack([mono, mono], 1), rate, subtype="PCM_16")


def study(program, wav, folder):
    """Seconds by the clock and of the processor, and the most memory, of the whole command."""
    start = time.perf_counter()
    child = subprocess.Popen([program, "study", wav, "--out", os.path.join(folder, "study"), "--quiet"])
    _, status, usage = os.wait4(child.pid, 0)
    if status != 0:
        sys.exit("error: the study was refused")
    return {"seconds": time.perf_counter() - start, "cpu": usage.ru_utime + usage.ru_stime, "peak_kib": usage.ru_maxrss}


def run(command, **env):
    """One process's answer."""
    done = subprocess.run(command, capture_output=True, text=True, check=True, env={**os.environ, **env})
    return json.loads(done.stdout)


def spread(values, form="{:.2f}"):
    """Median and range."""
    low, mid, high = min(values), statistics.median(values), max(values)
    return f"{form.format(mid)} ({form.format(low)} to {form.format(high)})"


def main():
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("analyse", help="the built example, or with --child the recording")
    p.add_argument("--runs", type=int, default=5)
    p.add_argument("--study", help="the built program, to time its whole study as well")
    p.add_argument("--sound", help="another recording than the demo's bars")
    p.add_argument("--child", action="store_true", help=argparse.SUPPRESS)
    a = p.parse_args()
    if a.child:
        librosa_once(a.analyse)
        return
    with tempfile.TemporaryDirectory() as folder:
        wav = os.path.join(folder, "ten-minutes.wav")
        if a.sound:
            wav = a.sound
        else:
            ten_minutes(wav)
        theirs, ours, alone, whole = [], [], [], []
        for _ in range(a.runs):
            theirs.append(run([sys.executable, __file__, "--child", wav]))
            ours.append(run([a.analyse, wav]))
            alone.append(run([a.analyse, wav], RAYON_NUM_THREADS="1"))
            if a.study:
                whole.append(study(a.study, wav, folder))
    total = lambda r, *leave: sum(s for stage, s in r["seconds"].items() if stage not in ("read", *leave))
    mib = lambda r, k="peak_kib": r[k] / 1024
    print(f"{a.sound or f'{SECONDS} s of drums'}, {a.runs} runs, {os.cpu_count()} cores: median (range)")
    for stage in theirs[0]["seconds"]:
        print(f"  librosa {stage:<14}{spread([r['seconds'][stage] for r in theirs])} s")
    for stage in ours[0]["seconds"]:
        print(f"  overbar {stage:<14}{spread([r['seconds'][stage] for r in ours], '{:.3f}')} s")
    print(f"  librosa {theirs[0]['hits']} onsets, {theirs[0]['beats']} beats; overbar {ours[0]['hits']} hits, {ours[0]['beats']} beats")
    for what, runs in (("all threads", ours), ("one thread", alone)):
        ratio = [total(o, "voices") / total(t) for o, t in zip(runs, theirs)]
        voiced = [total(o) / total(t) for o, t in zip(runs, theirs)]
        print(f"  time, {what}: {spread(ratio, '{:.3f}')} of librosa's; with voices {spread(voiced, '{:.3f}')}")
    if whole:
        print(f"  whole study {spread([w['seconds'] for w in whole])} s, {spread([mib(w) for w in whole], '{:.0f}')} MiB")
        clock = [w["seconds"] / total(t) for w, t in zip(whole, theirs)]
        cpu = [w["cpu"] / t["cpu"] for w, t in zip(whole, theirs)]
        print(f"  whole study: {spread(clock)} of librosa's time by the clock, {spread(cpu)} by the processor")
    print(f"  memory: overbar {spread([mib(r) for r in ours], '{:.0f}')} MiB, librosa {spread([mib(r) for r in theirs], '{:.0f}')} MiB")
    print(f"  ratio {spread([mib(o) / mib(t) for o, t in zip(ours, theirs)], '{:.3f}')}; of what librosa needs above its warm state "
          f"{spread([mib(o) / (mib(t) - mib(t, 'warm_kib')) for o, t in zip(ours, theirs)], '{:.3f}')}")


if __name__ == "__main__":
    main()
