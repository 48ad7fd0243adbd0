"""Trains the small network that hears strokes 12 to 55 ms apart one by one, and writes it into src/listen.

    cargo build --release --example heard
    python3 tests/fitting/listen/sharp.py make BANK target/release/examples/heard CLIPS [--clips N] [--seed S]
    python3 tests/fitting/listen/sharp.py train CLIPS... --out FILE.pt [--steps N]
    python3 tests/fitting/listen/sharp.py write FILE.pt src/listen

BANK is the file that prepare.py writes. `make` renders N clips of 20 s (clips.py) in which some strokes have another one, most
often a softer one of the same drum, 12 to 55 ms before or after them; asks the program what its first network hears in
them; and writes CLIPS, a file. `train` runs on two cores of a processor in ten minutes or so. `write` folds the batch norms in and
writes sharp.f16 and, for the test, sharp.f32. Seeded; needs numpy, scipy, soundfile, mido and torch.
"""
import argparse, os, pickle, struct, subprocess, sys
import numpy as np

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path[:0] = [HERE]
from network import example

RATE, HOP, WINDOW, TRANSFORM, BANDS, HIDDEN = 44100, 220, 512, 1024, 32, 56
TOLD, SECONDS, SOUNDS, FIRST_HOP = 6, 20.0, 12, 441
# Rendered sound begins this long after the written time, s.
LATE = 0.001
EDGE = 40


def bands():
    hertz = np.fft.rfftfreq(TRANSFORM, 1 / RATE)
    warp = lambda f: np.log1p(f / 400)
    edges = np.linspace(warp(80), warp(18000), BANDS + 2)
    reach = [max(edges[1] - edges[0], warp(400 * np.expm1(c) + 86) - c) for c in edges[1:-1]]
    return np.array([np.maximum(0, 1 - abs(warp(hertz) - c) / r) for c, r in zip(edges[1:-1], reach)], np.float32)


def look(samples, filters=bands(), window=np.hanning(WINDOW).astype(np.float32)):
    """Frames by BANDS: common logarithms of the power around every 5 ms."""
    count = len(samples) // HOP + 1
    padded = np.pad(samples.astype(np.float32), (WINDOW // 2, WINDOW))
    frames = padded[np.arange(count)[:, None] * HOP + np.arange(WINDOW)]
    powers = np.abs(np.fft.rfft(frames * window, TRANSFORM)).astype(np.float32) ** 2
    return np.log10(powers @ filters.T + 1e-5)


def told(heard, count):
    """Frames by TOLD: the first network's log odds on the finer frames."""
    likely = heard[:, :TOLD]
    odds = np.clip(np.log((likely + 1e-4) / (1 - likely + 1e-4)), -8, 8)
    places = np.arange(count) * HOP / FIRST_HOP
    return np.stack([np.interp(places, np.arange(len(odds)), odds[:, c]) for c in range(TOLD)], 1)


def graced(strokes, rng):
    """Some strokes get another one close by."""
    if rng.random() < 0.45:
        return strokes
    share, out, voices = rng.choice([0.03, 0.08, 0.2]), list(strokes), sorted({s[1] for s in strokes})
    for time, voice, velocity in strokes:
        if rng.random() < share:
            same = rng.random() < 0.6
            other, gap = voice if same else voices[rng.integers(len(voices))], rng.uniform(0.012, 0.055)
            if voice.startswith(("snare", "tom")) or not same or rng.random() < 0.3:
                out.append((time - gap if rng.random() < 0.7 else time + gap, other, float(np.clip(velocity * rng.uniform(0.25, 1.0), 0.08, 1))))
    return sorted(s for s in out if s[0] > 0)


def make(a):
    import clips, prepare
    bank, parts = prepare.load(a.bank)
    bank.bands = []
    invented, arranged, made = clips.invented, clips.arranged, []
    clips.invented = lambda rng, seconds: graced(invented(rng, seconds), rng)
    clips.arranged = lambda part, rng, seconds: graced(arranged(part, rng, seconds), rng)
    for number in range(a.clips):
        samples, strokes = clips.render(bank, parts, np.random.default_rng([a.seed, number]), SECONDS)
        samples = np.round(samples * 32767).astype(np.float32) / 32767
        got = subprocess.run([a.heard], input=struct.pack("<I", len(samples)) + samples.astype("<f4").tobytes(), capture_output=True, check=True).stdout
        seen = look(samples / (np.abs(samples).max() + 1e-9) * 0.9)
        seen = np.concatenate([seen, told(np.frombuffer(got, "<f4").reshape(-1, SOUNDS), len(seen))], 1)
        made.append((seen.astype(np.float16).T, np.array(sorted(t for t, _ in strokes))))
    with open(a.file, "wb") as f:
        pickle.dump(made, f)


def target(count, times):
    """1 at each stroke, falling to 0 in a frame and a half."""
    out = np.zeros(count, np.float32)
    for place in (times + LATE) * RATE / HOP:
        for k in range(int(place) - 1, int(place) + 3):
            if 0 <= k < count:
                out[k] = max(out[k], 1 - abs(k - place) / 1.5, 0)
    return out


def network():
    import torch, torch.nn as nn
    class Network(nn.Module):
        def __init__(self):
            super().__init__()
            self.bn = nn.BatchNorm1d(BANDS + TOLD)
            of = lambda inputs, dilation: nn.Conv1d(inputs, HIDDEN, 5, padding=2 * dilation, dilation=dilation)
            self.c = nn.ModuleList([of(BANDS + TOLD, 1), of(HIDDEN, 1), of(HIDDEN, 2), of(HIDDEN, 4)])
            self.b = nn.ModuleList([nn.BatchNorm1d(HIDDEN) for _ in self.c])
            self.o = nn.Conv1d(HIDDEN, 1, 1)

        def forward(self, x):
            x = self.bn(x)
            for at, (layer, norm) in enumerate(zip(self.c, self.b)):
                y = torch.relu(norm(layer(x)))
                x = x + y if at else y
            return self.o(x)[:, 0]
    return Network()


def varied(seen, rng):
    """Another level and colour; and a first network that is less sure, or that hears nothing: it knows these drums."""
    x = seen.astype(np.float32)
    colour = np.interp(np.arange(BANDS), np.linspace(0, BANDS - 1, 6), rng.normal(0, 0.2, 6)) + np.linspace(-1, 1, BANDS) * rng.normal(0, 0.25)
    x[:BANDS] += rng.normal(0, 0.25) + colour[:, None]
    x[BANDS:] = x[BANDS:] * rng.uniform(0.5, 1.0) + rng.normal(0, 1.0, (TOLD, 1))
    if rng.random() < 0.15:
        x[BANDS:] = -6
    return x


def train(a):
    import torch
    torch.manual_seed(1)
    rng, net, length = np.random.default_rng(0), network(), 500
    made = [clip for name in a.files for clip in pickle.load(open(name, "rb"))]
    targets = [target(seen.shape[1], times) for seen, times in made]
    optimiser = torch.optim.AdamW(net.parameters(), lr=2e-3, weight_decay=3e-3)
    pace = torch.optim.lr_scheduler.OneCycleLR(optimiser, 4e-3, total_steps=a.steps)
    net.train()
    for step in range(a.steps):
        xs, ys = [], []
        for _ in range(32):
            clip = rng.integers(len(made))
            at = rng.integers(0, made[clip][0].shape[1] - length)
            xs.append(varied(made[clip][0][:, at: at + length], rng)), ys.append(targets[clip][at: at + length])
        x, y = torch.tensor(np.array(xs)), torch.tensor(np.array(ys))[:, EDGE:-EDGE]
        odds = net(x)[:, EDGE:-EDGE]
        loss = (torch.nn.functional.binary_cross_entropy_with_logits(odds, y, reduction="none") * (1 + 3 * y)).mean()
        optimiser.zero_grad(), loss.backward(), optimiser.step(), pace.step()
        if step % 500 == 0:
            print(step, float(loss.detach()), flush=True)
    torch.save(net.state_dict(), a.out)


def write(a):
    import torch
    import torch.nn.functional as F
    net = network()
    net.load_state_dict(torch.load(a.file, map_location="cpu"))
    net.eval()
    def gain(norm):
        g = norm.weight / torch.sqrt(norm.running_var + norm.eps)
        return g, norm.bias - norm.running_mean * g
    with torch.no_grad():
        g, offset = gain(net.bn)
        parts = [g.half(), offset.half()]
        for layer, norm in zip(net.c, net.b):
            g, offset = gain(norm)
            parts += [(layer.weight * g[:, None, None]).half(), (layer.bias * g + offset).half()]
        parts += [net.o.weight.half(), net.o.bias.half()]
        # The taps of a layer lie one after the other.
        flat = torch.cat([(p.permute(2, 0, 1) if p.ndim == 3 else p).reshape(-1) for p in parts])
        flat.numpy().astype("<f2").tofile(os.path.join(a.folder, "sharp.f16"))
        seen = look(example())
        k = np.arange(len(seen))[:, None]
        seen = np.concatenate([seen, 4 * np.sin(0.1 * k * np.arange(1, TOLD + 1))], 1).astype(np.float32).T
        w = iter([p.float() for p in parts])
        x = torch.tensor(seen)[None] * next(w)[:, None] + next(w)[:, None]
        for at, dilation in enumerate((1, 1, 2, 4)):
            y = torch.relu(F.conv1d(x, next(w), next(w), padding=2 * dilation, dilation=dilation))
            x = x + y if at else y
        odds = F.conv1d(x, next(w), next(w))[0, 0].numpy()
        print("rounding the weights moves a likelihood by at most", float(abs(torch.sigmoid(net(torch.tensor(seen)[None]))[0].numpy() - 1 / (1 + np.exp(-odds))).max()))
    np.concatenate([seen.reshape(-1), odds]).astype("<f4").tofile(os.path.join(a.folder, "sharp.f32"))


def main():
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    sub = p.add_subparsers(dest="what", required=True)
    m, t, w = sub.add_parser("make"), sub.add_parser("train"), sub.add_parser("write")
    for name in ("bank", "heard", "file"):
        m.add_argument(name)
    m.add_argument("--clips", type=int, default=1440), m.add_argument("--seed", type=int, default=91)
    t.add_argument("files", nargs="+"), t.add_argument("--out", required=True), t.add_argument("--steps", type=int, default=4000)
    w.add_argument("file"), w.add_argument("folder")
    a = p.parse_args()
    {"make": make, "train": train, "write": write}[a.what](a)


if __name__ == "__main__":
    main()
