"""The finer network, which hears strokes 12 to 55 ms apart one by one: its view, its layers, and how they are written.

    python3 tests/fitting/listen/sharp.py src/listen A.pt [B.pt ...]     # the mean of networks that resumed from one

train.py trains it. Writes sharp.f16, the batch norms folded in, and for the test sharp.f32. Needs numpy and torch.
"""
import os, sys
import numpy as np

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path[:0] = [HERE]
from network import example

RATE, HOP, WINDOW, TRANSFORM, BANDS, HIDDEN = 44100, 220, 512, 1024, 32, 56
TOLD, SAID, FIRST_HOP = 6, 6, 441
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


def Look():
    """`look` as a layer: samples (batch by time) to bands (batch by BANDS by frames)."""
    import torch
    class Look(torch.nn.Module):
        def __init__(self):
            super().__init__()
            self.register_buffer("filters", torch.from_numpy(bands()))
            self.register_buffer("window", torch.from_numpy(np.hanning(WINDOW).astype(np.float32)))

        def forward(self, x):
            x = torch.nn.functional.pad(x, (TRANSFORM // 2, TRANSFORM // 2))
            powers = torch.stft(x, TRANSFORM, HOP, win_length=WINDOW, window=self.window, center=False, return_complex=True).abs() ** 2
            return torch.log10(self.filters @ powers + 1e-5)
    return Look()


def told_at(odds, margin, length, torch):
    """The first network's log odds on the finer frames of a stretch; its frames begin `margin` frames into the stretch."""
    likely = torch.sigmoid(odds[:, :TOLD])
    odds = torch.log((likely + 1e-4) / (1 - likely + 1e-4)).clamp(-8, 8)
    places = (torch.arange(length // HOP + 1, device=odds.device) * (HOP / FIRST_HOP) - margin).clamp(0, odds.shape[2] - 1.001)
    before = places.floor().long()
    part = places - before
    return odds[..., before] * (1 - part) + odds[..., before + 1] * part


def varied(seen, told, torch):
    """Another level and colour; and a first network that is less sure, or that hears nothing: it knows these drums."""
    n, dev = len(seen), seen.device
    draw = lambda *shape: torch.randn(*shape, device=dev)
    knots = draw(n, 1, 6) * 0.2
    colour = torch.nn.functional.interpolate(knots, size=BANDS, mode="linear", align_corners=True).transpose(1, 2)
    tilt = torch.linspace(-1, 1, BANDS, device=dev)[None, :, None] * draw(n, 1, 1) * 0.25
    told = told * torch.empty(n, 1, 1, device=dev).uniform_(0.5, 1.0) + draw(n, TOLD, 1)
    told = torch.where(torch.rand(n, 1, 1, device=dev) < 0.15, torch.full_like(told, -6), told)
    return torch.cat([seen + draw(n, 1, 1) * 0.25 + colour + tilt, told], 1)


def network():
    import torch, torch.nn as nn
    class Network(nn.Module):
        def __init__(self):
            super().__init__()
            self.bn = nn.BatchNorm1d(BANDS + TOLD)
            of = lambda inputs, dilation: nn.Conv1d(inputs, HIDDEN, 5, padding=2 * dilation, dilation=dilation)
            self.c = nn.ModuleList([of(BANDS + TOLD, 1), of(HIDDEN, 1), of(HIDDEN, 2), of(HIDDEN, 4)])
            self.b = nn.ModuleList([nn.BatchNorm1d(HIDDEN) for _ in self.c])
            self.o = nn.Conv1d(HIDDEN, SAID, 1)

        def forward(self, x):
            x = self.bn(x)
            for at, (layer, norm) in enumerate(zip(self.c, self.b)):
                y = torch.relu(norm(layer(x)))
                x = x + y if at else y
            return self.o(x)
    return Network()


def main():
    import torch
    import torch.nn.functional as F
    folder, *files = sys.argv[1:]
    states, net = [torch.load(f, map_location="cpu") for f in files], network()
    net.load_state_dict({n: sum(s[n] for s in states) / len(states) if v.dtype.is_floating_point else v for n, v in states[0].items()})
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
        flat.numpy().astype("<f2").tofile(os.path.join(folder, "sharp.f16"))
        seen = look(example())
        k = np.arange(len(seen))[:, None]
        seen = np.concatenate([seen, 4 * np.sin(0.1 * k * np.arange(1, TOLD + 1))], 1).astype(np.float32).T
        w = iter([p.float() for p in parts])
        x = torch.tensor(seen)[None] * next(w)[:, None] + next(w)[:, None]
        for at, dilation in enumerate((1, 1, 2, 4)):
            y = torch.relu(F.conv1d(x, next(w), next(w), padding=2 * dilation, dilation=dilation))
            x = x + y if at else y
        odds = F.conv1d(x, next(w), next(w))[0].numpy()
        print("rounding the weights moves a likelihood by at most", float(abs(torch.sigmoid(net(torch.tensor(seen)[None]))[0].numpy() - 1 / (1 + np.exp(-odds))).max()))
    np.concatenate([seen.reshape(-1), odds.reshape(-1)]).astype("<f4").tofile(os.path.join(folder, "sharp.f32"))


if __name__ == "__main__":
    main()
