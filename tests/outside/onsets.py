"""Hits of the studies beside librosa's onsets, and both beside the truth.

    onsets.py STUDIES

librosa's onset detector (maximum-filtered spectral flux; backtracked to the rise before each peak, and not) is a
second listener that shares no code with ours. On clean drums nearly all that it reports was struck, but it misses
soft and close strokes. So, for each recording and by one-to-one matching (mir_eval):

- of librosa's onsets that the truth confirms within 50 ms, ours has at least 97 in 100 within 50 ms: what an
  independent listener and the truth both have, ours may not miss;
- librosa confirms at least as large a share of our hits as of the truth, less 5 in 100: hits that ours invents,
  librosa does not confirm;
- against the truth, our F-measure is no worse than librosa's better one, at 50 and at 20 ms. The truth times are
  when the stroke was asked for, the sound comes some ms later, and each listener has its own delay; at 20 ms each is
  shifted by its own median error first, so that delays are not judged, only the scatter.
"""

import sys
import warnings

import librosa
import mir_eval
import numpy as np

import clips

FOUND_BY_BOTH = 0.97
CONFIRMED_LESS = 0.05


def pairs(a, b, window):
    """Indices matched one to one."""
    return mir_eval.util.match_events(np.array(a), np.array(b), window) if len(a) and len(b) else []


def f_measure(truth, heard, window):
    """F-measure of times within a window."""
    return mir_eval.onset.f_measure(np.array(truth), np.array(heard), window=window)[0]


def undelayed(truth, heard):
    """`heard`, earlier by its own median error."""
    errors = [heard[e] - truth[t] for t, e in pairs(truth, heard, 0.05)]
    return [t - float(np.median(errors)) for t in heard] if errors else heard


def check(name, studies):
    """Compares one recording; returns what is wrong."""
    samples, rate = librosa.load(clips.AUDIO / f"{name}.wav", sr=None, mono=True)
    detect = lambda back: clips.moments(librosa.onset.onset_detect(y=samples, sr=rate, units="time", backtrack=back))
    theirs, theirs_back = detect(False), detect(True)
    truth = clips.moments(h[0] for h in clips.truth(name)["hits"])
    ours = clips.moments(h["time"] for h in clips.hits(studies, name))

    confirmed = [theirs[e] for _, e in pairs(truth, theirs, 0.05)]
    both = len(pairs(confirmed, ours, 0.05)) / max(len(confirmed), 1)
    of_ours = len(pairs(theirs, ours, 0.05)) / max(len(ours), 1)
    of_truth = len(confirmed) / max(len(truth), 1)
    figures = {}
    for window in (0.05, 0.02):
        fair = undelayed if window < 0.05 else lambda _, heard: heard
        f = lambda heard: f_measure(truth, fair(truth, heard), window)
        figures[window] = f(ours), max(f(theirs), f(theirs_back))
    print(
        f"{name}: {len(truth)} moments, ours {len(ours)}, librosa {len(theirs)}; of what librosa rightly has, ours has "
        f"{both:.3f}; librosa confirms {of_ours:.3f} of ours, {of_truth:.3f} of the truth; "
        + "; ".join(f"F at {w * 1000:.0f} ms {a:.3f}, librosa {b:.3f}" for w, (a, b) in figures.items())
    )
    faults = []
    if len(confirmed) < 30:
        faults.append(f"librosa has only {len(confirmed)} of its onsets right: nothing to compare with")
    if both < FOUND_BY_BOTH:
        faults.append(f"ours misses {1 - both:.1%} of what librosa rightly has")
    if of_ours < of_truth - CONFIRMED_LESS:
        faults.append(f"librosa confirms {of_ours:.1%} of our hits, {of_truth:.1%} of the true ones")
    faults += [f"at {w * 1000:.0f} ms F {a:.3f} is under librosa's {b:.3f}" for w, (a, b) in figures.items() if a < b]
    return [f"{name}: {fault}" for fault in faults]


def main():
    warnings.simplefilter("ignore")
    faults = [fault for name in clips.names() for fault in check(name, sys.argv[1])]
    sys.exit("\n".join(f"error: {f}" for f in faults) or 0)


if __name__ == "__main__":
    main()
