"""Fits the judge of readings: the networks of src/grid/judge.rs.

    GROOVES=FOLDER PRACTICE=FILE EXAMPLES=9000 cargo test --release --lib make_practice -- --ignored
    python3 tests/fitting/grid/fit.py FILE src/grid/judge.bin [--members 3] [--rounds 4]

First fits one network without the held-out third and says how often the chosen reading is right there, then fits the
members to all and writes the file. By maximum likelihood of the right beats and of the right bars among all readings,
with dropout (Srivastava et al., JMLR 2014) and AdamW (Loshchilov and Hutter, ICLR 2019). Seeded. Needs numpy, torch.
"""
import argparse, struct
import numpy as np, torch
import torch.nn as nn, torch.nn.functional as F

PULSE, HEARD, BARS, TWELFTHS, KINDS = 63, 27, 141, 12, 9
LENGTHS = range(2, 8)
READINGS = torch.tensor([(bar, first) for bar in LENGTHS for first in range(bar)])
MOST, BATCH, PACE, PRICE, DROPPED, WIDTH, UNITS = 420, 24, 3e-3, 1e-2, 0.3, 32, 48
NAMES = ["played", "invented groove", "invented solo"]
device = "cuda" if torch.cuda.is_available() else "cpu"


def read(path):
    """Examples that have a right reading; see practice.rs for the order of the file."""
    data, at, examples = np.memmap(path, np.uint8, "r"), 0, []
    while at < len(data):
        _, events, pulses, held, kind = struct.unpack_from("<5I", data, at)
        at += 20
        struck = np.frombuffer(data, "<f4", events * KINDS, at).reshape(events, KINDS)
        at += events * KINDS * 4
        rows = []
        for _ in range(pulses):
            beats, _ = struct.unpack_from("<2I", data, at)
            cuts = np.cumsum([PULSE, events, beats, beats * HEARD, len(READINGS) * (BARS + 1)])
            rows.append(np.split(np.frombuffer(data, "<f4", cuts[-1], at + 8), cuts[:-1]))
            at += 8 + 4 * int(cuts[-1])
        if not rows:
            continue
        marks, places, lively, heard, bars = zip(*rows)
        bars = np.stack(bars).reshape(pulses, len(READINGS), BARS + 1)
        if bars[..., -1].max() < 2:
            continue
        longest = max(map(len, lively))
        pad = lambda x, width: np.stack([np.pad(r.reshape(-1, width), ((0, longest - r.size // width), (0, 0))) for r in x])
        put = lambda x, kind=torch.float16: torch.tensor(np.ascontiguousarray(x)).to(kind).to(device)
        examples.append(dict(
            held=held, kind=kind, struck=put(struck), marks=put(np.stack(marks), torch.float32),
            places=put(np.stack(places), torch.float32), lively=put(pad(lively, 1)[..., 0]), heard=put(pad(heard, HEARD)),
            bars=put(bars[..., :-1]), right=put(bars[..., -1], torch.uint8)))
    return examples


def pattern(example, beats):
    """What is struck on each twelfth of each beat, shared out between the two that are nearest."""
    twelfths = example["places"] * TWELFTHS
    low, count = twelfths.floor(), beats * TWELFTHS
    grid = torch.zeros(len(twelfths), count + 1, KINDS, device=device)
    for step, share in ((0, 1 - (twelfths - low)), (1, twelfths - low)):
        index = low.long() + step
        inside = (index >= 0) & (index < count)
        index = torch.where(inside, index, torch.full_like(index, count))
        values = (share * inside)[..., None] * example["struck"].float()[None]
        grid.scatter_add_(1, index[..., None].expand_as(values), values)
    return grid[:, :count].reshape(len(twelfths), beats, TWELFTHS * KINDS)


class Network(nn.Module):
    def __init__(self, examples):
        super().__init__()
        reading = PULSE + len(LENGTHS) + BARS + 3 + WIDTH
        two = lambda inputs: nn.Sequential(nn.Linear(inputs, UNITS), nn.ReLU(), nn.Dropout(DROPPED), nn.Linear(UNITS, 1))
        self.beat = nn.Linear(TWELFTHS * KINDS + HEARD, WIDTH)
        self.around = nn.ModuleList(nn.Conv1d(WIDTH, WIDTH, 3, padding=d, dilation=d) for d in (1, 2, 4))
        self.one, self.pulse, self.reading, self.direct = nn.Linear(WIDTH, 1), two(WIDTH + PULSE), two(reading), nn.Linear(reading, 1)
        self.drop = nn.Dropout(DROPPED)
        some = examples[:800]
        marks = torch.cat([e["marks"] for e in some])
        bars = torch.cat([e["bars"].float().reshape(-1, BARS)[::9] for e in some])
        self.usual = [(x.mean(0), x.std(0) + 0.05) for x in (marks, bars)]
        begins = torch.arange(MOST)[None] % READINGS[:, :1] == READINGS[:, 1:]
        self.begins = begins.float().to(device)
        self.lengths = F.one_hot(READINGS[:, 0] - LENGTHS[0], len(LENGTHS)).float().to(device)

    def forward(self, examples):
        beats = min(MOST, max(e["lively"].shape[1] for e in examples))
        wide = lambda x: F.pad(x, [0, 0] * (x.dim() - 2) + [0, max(0, beats - x.shape[1])])[:, :beats].float()
        even = lambda x, usual: (x - usual[0]) / usual[1]
        marks = even(torch.cat([e["marks"] for e in examples]), self.usual[0])
        bars = even(torch.cat([e["bars"] for e in examples]).float(), self.usual[1])
        lively = torch.cat([wide(e["lively"]) for e in examples])
        x = torch.cat([torch.cat([pattern(e, beats), wide(e["heard"])], 2) for e in examples])
        state = (F.relu(self.beat(x)) * lively[..., None]).transpose(1, 2)
        for layer in self.around:
            state = (state + self.drop(F.relu(layer(state)))) * lively[:, None]
        state = state.transpose(1, 2)
        count = lively.sum(1).clamp(min=1)[:, None]
        mean = state.sum(1) / count
        ones, begins = self.one(state)[..., 0] * lively, self.begins[:, :beats]
        on = lively @ begins.T
        sum_on, norm = ones @ begins.T, (F.softplus(ones) * lively).sum(1)[:, None]
        contrast = sum_on / on.clamp(min=1) - (ones.sum(1)[:, None] - sum_on) / (count - on).clamp(min=1)
        there = torch.einsum("pth,rt->prh", state, begins) / on.clamp(min=1)[..., None] - mean[:, None]
        each = lambda y: y[:, None].expand(-1, len(READINGS), -1)
        inputs = torch.cat([
            each(marks), self.lengths[None].expand(len(marks), -1, -1), bars,
            torch.stack([contrast, (sum_on - norm) / count, contrast * count.sqrt() / 8], 2), there], 2)
        return self.pulse(torch.cat([mean, marks], 1)) + (self.reading(inputs) + self.direct(inputs))[..., 0]

    def values(self):
        """All numbers in the order in which judge.rs reads them."""
        layers = [self.beat, *self.around, self.one, self.pulse[0], self.pulse[3], self.reading[0], self.reading[3], self.direct]
        numbers = [x for usual in self.usual for x in usual]
        for layer in layers:
            weight = layer.weight.detach()
            numbers += [weight.permute(0, 2, 1) if weight.dim() == 3 else weight, layer.bias.detach()]
        return np.concatenate([x.cpu().numpy().ravel() for x in numbers]).astype("<f4")


def costs(network, examples):
    scores, at, costs, right = network(examples), 0, [], []
    for e in examples:
        own, level = scores[at:at + len(e["marks"])].reshape(-1), e["right"].reshape(-1)
        at += len(e["marks"])
        shares = F.log_softmax(own, 0)
        share = lambda least: torch.logsumexp(torch.where(level >= least, shares, -1e4), 0)
        costs.append(-0.5 * (share(1) + share(2)))
        right.append(level[own.argmax()])
    return torch.stack(costs), torch.stack(right)


def fit(examples, rounds, seed):
    torch.manual_seed(seed)
    order, network = np.random.default_rng(seed), Network(examples).to(device)
    steps = rounds * (len(examples) // BATCH)
    adam = torch.optim.AdamW(network.parameters(), PACE, weight_decay=PRICE)
    pace = torch.optim.lr_scheduler.OneCycleLR(adam, PACE, total_steps=steps + 1, pct_start=0.15)
    for _ in range(rounds):
        drawn = order.permutation(len(examples))
        for i in range(len(examples) // BATCH):
            cost = costs(network, [examples[k] for k in drawn[i * BATCH:(i + 1) * BATCH]])[0].mean()
            adam.zero_grad()
            cost.backward()
            nn.utils.clip_grad_norm_(network.parameters(), 1.0)
            adam.step()
            pace.step()
    return network.eval()


def report(network, examples):
    with torch.no_grad():
        right = torch.cat([costs(network, examples[i:i + 16])[1] for i in range(0, len(examples), 16)]).cpu().numpy()
    kinds = np.array([e["kind"] for e in examples])
    for kind, name in enumerate(NAMES):
        own = right[kinds == kind]
        print(f"held out, {name}: {len(own)} examples, beats {np.mean(own >= 1):.3f}, bars too {np.mean(own >= 2):.3f}", flush=True)


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("practice")
    parser.add_argument("judge")
    parser.add_argument("--members", type=int, default=3)
    parser.add_argument("--rounds", type=int, default=4)
    a = parser.parse_args()
    examples = read(a.practice)
    print(len(examples), "examples have a right reading", flush=True)
    report(fit([e for e in examples if not e["held"]], a.rounds, 0), [e for e in examples if e["held"]])
    networks = [fit(examples, a.rounds, 1 + member) for member in range(a.members)]
    np.concatenate([n.values() for n in networks]).tofile(a.judge)


if __name__ == "__main__":
    main()
