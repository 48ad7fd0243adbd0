"""How well networks hear a source of sounds that they were not trained with.

    left_out.py BANK FOLDER ALL.f16 [--clips N]

FOLDER holds without-SOURCE.f16, as train.py --leave-out wrote them; ALL.f16 (large) was trained with every source and
shows how hard the clips are. Clips come from performances that train.py --leave-out keeps aside and from the one source
alone; "snares" has nothing but snares, so the other drums of its clips come from all the other sources. A class is
struck where its likelihood peaks at 0.7 or more. F-measure within 50 ms over kick, snare, tom, hat and cymbal, and of
each. Seeded. Needs numpy, scipy, soundfile, mido, torch.
"""
import argparse, math, os
import numpy as np, torch

import clips, network, prepare
from network import CLASSES, HOP, RATE

FIVE, LEAST, WINDOW, SECONDS = CLASSES[:5], 0.7, 0.05, 12.0


def peaks(line):
    padded = np.pad(line, 2)
    highest = np.max([padded[d: d + len(line)] for d in range(5)], axis=0)
    return np.flatnonzero((line >= LEAST) & (line == highest)) * HOP / RATE


def hits(truth, found):
    """How many of the strokes were found, one to one, both in order."""
    i = j = count = 0
    truth, found = sorted(truth), sorted(found)
    while i < len(truth) and j < len(found):
        if abs(truth[i] - found[j]) <= WINDOW:
            count, i, j = count + 1, i + 1, j + 1
        elif truth[i] < found[j]:
            i += 1
        else:
            j += 1
    return count


def once(times):
    out = []
    for t in sorted(times):
        if not out or t - out[-1] > 0.03:
            out.append(t)
    return out


def main():
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("bank"); p.add_argument("folder"); p.add_argument("all"); p.add_argument("--clips", type=int, default=16)
    a = p.parse_args()
    bank, parts = prepare.load(a.bank)
    bank.bands, features = [], network.Features()
    parts = [part for n, part in enumerate(parts) if n % 8 == 0]
    clips.invented = lambda rng, seconds: []
    whole = network.read(a.all, "large")
    print("| left out | heard without it | " + " | ".join(FIVE) + " | heard by the network that knows it |")
    for n, source in enumerate(clips.SOURCES):
        others = [s for s in clips.SOURCES if s != "snares"]
        less = clips.only(bank, others, [source]) if source == "snares" else clips.only(bank, [source])
        nets, counts = [network.read(os.path.join(a.folder, f"without-{source.replace(' ', '-')}.f16"), "medium"), whole], np.zeros((2, 5, 3))
        for k in range(a.clips):
            clip = clips.render(less, parts, np.random.default_rng([77, n, k]), SECONDS)
            sound = torch.from_numpy((clip.samples / np.abs(clip.samples).max() * 0.9).astype(np.float32))[None]
            with torch.no_grad():
                seen = features(sound)[0]
                for which, net in enumerate(nets):
                    line = network.heard(net, seen).numpy()
                    for c, name in enumerate(FIVE):
                        truth = once([t for t, v in clip.strokes if clips.bus_of(v) == name])
                        found = peaks(line[c])
                        counts[which, c] += hits(truth, found), len(found), len(truth)
        f = lambda v: 2 * v[0] / (v[1] + v[2]) if v[1] + v[2] else math.nan
        print(f"| {source} | {f(counts[0].sum(0)):.2f} | " + " | ".join(f"{f(v):.2f}" for v in counts[0]) + f" | {f(counts[1].sum(0)):.2f} |", flush=True)


if __name__ == "__main__":
    main()
