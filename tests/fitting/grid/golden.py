"""Says what the fitted framework makes of made-up marks: the scores that the test in src/grid/judge.rs holds to.

    python3 tests/fitting/grid/golden.py src/grid/judge.bin

The marks are drawn one after another by a linear congruential generator, as in the test. Needs numpy, torch.
"""
import sys
import numpy as np, torch
import fit

BEATS, MEMBERS = 23, 3
drawn = 1


def draw(*shape):
    global drawn
    values = np.empty(int(np.prod(shape)), "<f4")
    for i in range(len(values)):
        drawn = (drawn * 1103515245 + 12345) % 2**31
        values[i] = drawn / 2**31
    return torch.from_numpy(values.reshape(shape)).to(fit.device)


patterns, heard, lively = draw(1, BEATS, fit.TWELFTHS * fit.KINDS), draw(1, BEATS, fit.HEARD), draw(1, BEATS)
marks, bars = 2 * draw(1, fit.PULSE) - 1, 2 * draw(1, len(fit.READINGS), fit.BARS) - 1
example = dict(struck=None, places=None, lively=(lively > 0.2).float(), heard=heard, marks=marks, bars=bars)
fit.pattern = lambda _, beats: torch.nn.functional.pad(patterns, (0, 0, 0, beats - BEATS))[:, :beats]
members = np.fromfile(sys.argv[1], "<f4").reshape(MEMBERS, -1)
with torch.no_grad():
    scores = []
    for values in members:
        network = fit.Network([example]).to(fit.device).eval()
        network.take(values)
        scores.append(network([example])[0])
    print(", ".join(f"{score:.5f}" for score in torch.stack(scores).mean(0).tolist()))
