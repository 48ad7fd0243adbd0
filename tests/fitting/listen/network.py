"""The network that listens, its features, and how its weights are written for the program. Needs numpy and torch.

    network.py SIZE OUT A.pt [B.pt ...]     # the mean of networks that resumed from one: OUT/weights.f16, OUT/golden.f32
"""
import math, sys
import numpy as np, torch
from torch import nn
from torch.nn import functional as F

RATE, HOP, BANDS = 44_100, 441, 96
CLASSES = ["kick", "snare", "tom", "hat", "cymbal", "any", "cross_stick", "hat_open", "hat_foot", "ride_bell", "crash", "other"]
# The high view sees the sound itself, the low view one sample of seven of it. Window, step, bands, lowest and highest Hz.
DECIMATION, TAPS = 7, 63
HIGH, LOW = (1024, HOP, 64, 150, 16_000), (1024, HOP // DECIMATION, 32, 25, 1300)
POOLS, DILATIONS = (2, 3, 4), (1, 2, 4, 8, 16, 32, 1, 2)
# Channels of the three stages of convolutions, and of the layers over time.
SIZES = {"small": (8, 16, 32, 64), "medium": (16, 32, 64, 112), "large": (16, 32, 64, 160)}


def mel_bank(size, rate, bands, low, high):
    """Triangles evenly spaced in mel (2595 log10(1 + f / 700)), each at least two bins wide and of unit sum."""
    mel, hertz = lambda f: 2595 * np.log10(1 + f / 700), lambda m: 700 * (10 ** (m / 2595) - 1)
    edges, f, bin = hertz(np.linspace(mel(low), mel(high), bands + 2)), np.arange(size // 2 + 1) * rate / size, rate / size
    weights = np.zeros((bands, len(f)), np.float32)
    for b in range(bands):
        left, centre, right = edges[b: b + 3]
        left, right = min(left, centre - bin), max(right, centre + bin)
        weights[b] = np.maximum(0, np.minimum((f - left) / (centre - left), (right - f) / (right - centre)))
        weights[b] /= weights[b].sum() + 1e-9
    return torch.tensor(weights)


def low_pass():
    """A windowed sinc that leaves what lies under 1.3 kHz and lets nothing fold onto it."""
    at = np.arange(TAPS) - TAPS // 2
    taps = np.sinc(2 * 2400 / RATE * at) * (0.5 + 0.5 * np.cos(2 * np.pi * at / (TAPS + 1)))
    return torch.tensor((taps / taps.sum()).astype(np.float32))


class Features(nn.Module):
    """Samples (batch by time) to log magnitudes (batch by BANDS by frames), frame k centred on sample k * HOP."""

    def __init__(self):
        super().__init__()
        self.register_buffer("taps", low_pass())
        for name, (size, _, bands, low, high), rate in (("high", HIGH, RATE), ("low", LOW, RATE / DECIMATION)):
            self.register_buffer(name, mel_bank(size, rate, bands, low, high))
            self.register_buffer(name + "_window", torch.hann_window(size))

    def view(self, x, size, step, window, bank):
        x = F.pad(x[:, None], (size // 2, size // 2))[:, 0]
        return bank @ (torch.stft(x, size, step, window=window, center=False, return_complex=True).abs() * (4 / size))

    def forward(self, x):
        high = self.view(x, HIGH[0], HIGH[1], self.high_window, self.high)
        slow = F.conv1d(x[:, None], self.taps[None, None], stride=DECIMATION, padding=TAPS // 2)[:, 0]
        low = self.view(slow, LOW[0], LOW[1], self.low_window, self.low)
        frames = min(high.shape[-1], low.shape[-1])
        return torch.log(torch.cat([high[..., :frames], low[..., :frames]], 1) + 1e-5)


class Separable(nn.Module):
    def __init__(self, a, b):
        super().__init__()
        self.taps, self.mix, self.norm = nn.Conv2d(a, a, 3, padding=1, groups=a, bias=False), nn.Conv2d(a, b, 1, bias=False), nn.BatchNorm2d(b)

    def forward(self, x):
        return F.relu(self.norm(self.mix(self.taps(x))))


class Network(nn.Module):
    def __init__(self, a, b, c, hidden):
        super().__init__()
        self.first, self.first_norm = nn.Conv2d(1, a, 3, padding=1, bias=False), nn.BatchNorm2d(a)
        self.separable = nn.ModuleList(Separable(*s) for s in ((a, b), (b, b), (b, c), (c, c)))
        self.join, self.join_norm = nn.Conv1d(c * (BANDS // math.prod(POOLS)), hidden, 1, bias=False), nn.BatchNorm1d(hidden)
        self.dilated = nn.ModuleList(nn.Conv1d(hidden, hidden, 3, padding=d, dilation=d, bias=False) for d in DILATIONS)
        self.norms = nn.ModuleList(nn.BatchNorm1d(hidden) for _ in DILATIONS)
        self.last = nn.Conv1d(hidden, len(CLASSES), 1)

    def forward(self, f):
        s = self.separable
        x = F.relu(self.first_norm(self.first(((f + 5) / 3)[:, None])))
        x = s[1](s[0](F.max_pool2d(x, (POOLS[0], 1))))
        x = s[3](s[2](F.max_pool2d(x, (POOLS[1], 1))))
        x = F.max_pool2d(x, (POOLS[2], 1))
        x = F.relu(self.join_norm(self.join(x.flatten(1, 2))))
        for layer, norm in zip(self.dilated, self.norms):
            x = x + F.relu(norm(layer(F.dropout(x, 0.1, self.training))))
        return self.last(x)


def cost(a, b, c, hidden):
    """Multiply-adds for a second of sound, in millions."""
    frame = 96 * 9 * a + 48 * (9 * a + a * b + 9 * b + b * b) + 16 * (9 * b + b * c + 9 * c + c * c) + 4 * c * hidden
    return (frame + len(DILATIONS) * 3 * hidden * hidden + hidden * len(CLASSES)) * RATE / HOP / 1e6


def folded(net):
    """The weights in the order in which the program reads them, batch norms folded in, rounded to 16 bits."""
    def fold(weights, norm):
        gain = norm.weight / torch.sqrt(norm.running_var + norm.eps)
        return [weights * gain.reshape([-1] + [1] * (weights.ndim - 1)), norm.bias - norm.running_mean * gain]
    out = fold(net.first.weight, net.first_norm)
    for s in net.separable:
        out += [s.taps.weight] + fold(s.mix.weight, s.norm)
    out += fold(net.join.weight, net.join_norm)
    for layer, norm in zip(net.dilated, net.norms):
        out += fold(layer.weight, norm)
    return [w.detach().cpu().half() for w in out + [net.last.weight, net.last.bias]]


def read(file, size):
    """The weights of a file as `odds` takes them."""
    numbers, at, out = torch.from_numpy(np.fromfile(file, "<f2")), 0, []
    for like in folded(Network(*SIZES[size])):
        part, at, s = numbers[at: at + like.numel()], at + like.numel(), like.shape
        out.append(part.reshape(s[2], s[0], s[1]).permute(1, 2, 0) if len(s) == 3 and s[-1] == 3 else part.reshape(s))
    return out


def odds(weights, features):
    """The network with folded weights, in single precision: log odds, batch by CLASSES by frames."""
    w = iter([x.float() for x in weights])
    take = lambda: next(w)
    x = ((features + 5) / 3)[:, None]
    x = F.max_pool2d(F.relu(F.conv2d(x, take(), take(), padding=1)), (POOLS[0], 1))
    for pair in range(2):
        for _ in range(2):
            taps = take()
            x = F.relu(F.conv2d(F.conv2d(x, taps, padding=1, groups=taps.shape[0]), take(), take()))
        x = F.max_pool2d(x, (POOLS[pair + 1], 1))
    x = F.relu(F.conv1d(x.flatten(1, 2), take(), take()))
    for d in DILATIONS:
        x = x + F.relu(F.conv1d(x, take(), take(), padding=d, dilation=d))
    return F.conv1d(x, take(), take())


def heard(weights, features):
    """The likelihoods of one recording, CLASSES by frames."""
    return torch.sigmoid(odds(weights, features[None]))[0]


def write(net, file):
    """The weights as the program reads them: the three taps over time of a layer lie one after the other."""
    taps_first = lambda w: w.permute(2, 0, 1) if w.ndim == 3 and w.shape[-1] == 3 else w
    flat = torch.cat([taps_first(w).reshape(-1) for w in folded(net)])
    flat.numpy().astype("<f2").tofile(file)


def example():
    """Sound that needs no file: bursts of noise from a linear congruence, and falling sines, at 16 bits."""
    n, state, noise = int(1.3 * RATE), 1, np.empty(int(1.3 * RATE))
    for k in range(n):
        state = (state * 1_664_525 + 1_013_904_223) % (1 << 32)
        noise[k] = (state >> 8) / (1 << 23) - 1
    since, which = np.arange(n) % 9000, np.arange(n) // 9000
    hertz = np.array([60.0, 180.0, 330.0])[which % 3]
    x = 0.4 * noise * np.exp(-since / 1500) + 0.5 * np.sin(2 * np.pi * hertz * since / RATE) * np.exp(-since / 4000)
    x /= np.abs(x).max()
    return (np.round(x * 32767) / 32767).astype(np.float32)


def write_golden(net, file):
    """What the program must agree with: features of `example`, then what is heard in them, as 32-bit floats."""
    with torch.no_grad():
        f = Features()(torch.from_numpy(example())[None])[0]
        out = heard(folded(net), f)
        exact = torch.sigmoid(net.cpu().float().eval()(f[None]))[0]
    print("rounding the weights moves the output by at most", float((out - exact).abs().max()))
    with open(file, "wb") as g:
        g.write(f.numpy().astype("<f4").tobytes() + out.numpy().astype("<f4").tobytes())


def main():
    size, out, *files = sys.argv[1:]
    states = [torch.load(f, map_location="cpu") for f in files]
    net = Network(*SIZES[size])
    net.load_state_dict({n: sum(s[n] for s in states) / len(states) if v.dtype.is_floating_point else v for n, v in states[0].items()})
    net.eval()
    write(net, out + "/weights.f16")
    write_golden(net, out + "/golden.f32")


if __name__ == "__main__":
    main()
