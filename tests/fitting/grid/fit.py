"""Fits the judge of readings: the networks of src/grid/judge.rs.

    GROOVES=FOLDER PRACTICE=FILE EXAMPLES=24000 cargo test --release --lib make_practice -- --ignored
    python3 tests/fitting/grid/fit.py FILE                       # how often what is chosen is right on the held-out third
    python3 tests/fitting/grid/fit.py FILE src/grid/judge.bin    # members fitted to all; judge.md has the whole recipe

By maximum likelihood of the right beats and of the right bars among all readings,
with dropout (Srivastava et al., JMLR 2014) and AdamW (Loshchilov and Hutter, ICLR 2019). Seeded. Needs numpy, torch.
"""
import argparse, functools, math, multiprocessing, struct, time
import numpy as np, torch
import torch.nn as nn, torch.nn.functional as F

PULSE, HEARD, BARS, TWELFTHS, KINDS = 63, 27, 141, 12, 9
LENGTHS = range(2, 8)
READINGS = torch.tensor([(bar, first) for bar in LENGTHS for first in range(bar)])
MOST, BATCH, PACE, PRICE, DROPPED = 420, 24, 3e-3, 1e-2, 0.3
WIDTH, UNITS, REACH = 32, 48, (1, 2, 4)
NAMES = ["played", "played, altered", "invented groove", "invented solo"]
device = "cuda" if torch.cuda.is_available() else "cpu"


def begins(data):
    """Where every example of the file begins; see practice.rs for its order."""
    at = 0
    while at < len(data):
        yield at
        _, events, pulses, _, _ = struct.unpack_from("<5I", data, at)
        at += 20 + events * KINDS * 4
        for _ in range(pulses):
            beats = struct.unpack_from("<I", data, at)[0]
            at += 8 + 4 * (PULSE + events + beats * (1 + HEARD) + len(READINGS) * (BARS + 1))


def example(path, at):
    """The example that begins there, rows of fewer beats filled up; nothing when no reading of it is right."""
    data = np.memmap(path, np.uint8, "r")
    _, events, pulses, held, kind = struct.unpack_from("<5I", data, at)
    at += 20

    def take(*shape):
        nonlocal at
        at += 4 * math.prod(shape)
        return np.frombuffer(data, "<f4", math.prod(shape), at - 4 * math.prod(shape)).reshape(shape)

    struck, rows = take(events, KINDS), []
    for _ in range(pulses):
        beats = struct.unpack_from("<I", data, at)[0]
        at += 8
        rows.append((take(PULSE), take(events), take(beats), take(beats, HEARD), take(len(READINGS), BARS + 1)))
    if not rows or max(row[4][:, -1].max() for row in rows) < 2:
        return None
    longest = max(len(row[2]) for row in rows)
    lively, heard = np.zeros((pulses, longest), "f2"), np.zeros((pulses, longest, HEARD), "f2")
    for i, row in enumerate(rows):
        lively[i, :len(row[2])], heard[i, :len(row[2])] = row[2], row[3]
    bars = np.stack([row[4] for row in rows])
    return dict(
        held=held, kind=kind, struck=struck.astype("f2"), marks=np.stack([row[0] for row in rows]),
        places=np.stack([row[1] for row in rows]), lively=lively, heard=heard,
        bars=bars[..., :-1].astype("f2"), right=bars[..., -1].astype("u1"))


def read(path):
    """All examples that have a right reading."""
    data, examples = np.memmap(path, np.uint8, "r"), []
    with multiprocessing.Pool() as pool:
        for e in pool.imap(functools.partial(example, path), begins(data), 16):
            if e:
                examples.append({k: torch.from_numpy(v).to(device) if isinstance(v, np.ndarray) else v for k, v in e.items()})
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
        self.around = nn.ModuleList(nn.Conv1d(WIDTH, WIDTH, 3, padding=d, dilation=d) for d in REACH)
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

    def numbers(self):
        """All numbers in the order in which judge.rs reads them."""
        layers = [self.beat, *self.around, self.one, self.pulse[0], self.pulse[3], self.reading[0], self.reading[3], self.direct]
        numbers = [x for usual in self.usual for x in usual]
        for layer in layers:
            weight = layer.weight.detach()
            numbers += [weight.permute(0, 2, 1) if weight.dim() == 3 else weight, layer.bias.detach()]
        return numbers

    def values(self):
        return np.concatenate([x.cpu().numpy().ravel() for x in self.numbers()]).astype("<f4")

    def take(self, values):
        """The numbers of a network that was fitted before."""
        at = 0
        for x in self.numbers():
            x.copy_(torch.tensor(values[at:at + x.numel()]).reshape(x.shape))
            at += x.numel()
        assert at == len(values)


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


def batches(examples, order):
    """All examples in batches by chance, those of about the same length together, which need the least padding."""
    drawn, pool = order.permutation(len(examples)), 16 * BATCH
    pools = [sorted(drawn[i:i + pool], key=lambda k: examples[k]["lively"].shape[1]) for i in range(0, len(drawn), pool)]
    cut = [own[i:i + BATCH] for own in pools for i in range(0, len(own) - BATCH + 1, BATCH)]
    return [[examples[k] for k in cut[i]] for i in order.permutation(len(cut))]


def fit(examples, rounds, seed, start=None, fastest=PACE):
    torch.manual_seed(seed)
    torch.backends.cuda.matmul.allow_tf32 = torch.backends.cudnn.allow_tf32 = True
    order, network = np.random.default_rng(seed), Network(examples).to(device)
    steps = rounds * (len(examples) // BATCH + 1)
    if start is not None:
        network.take(start)
    adam = torch.optim.AdamW(network.parameters(), fastest, weight_decay=PRICE)
    pace = torch.optim.lr_scheduler.OneCycleLR(adam, fastest, total_steps=steps + 1, pct_start=0.15)
    clock = time.time()
    for turn in range(rounds):
        told = []
        for batch in batches(examples, order):
            cost = costs(network, batch)[0].mean()
            told.append(cost.detach())
            adam.zero_grad()
            cost.backward()
            nn.utils.clip_grad_norm_(network.parameters(), 1.0)
            adam.step()
            pace.step()
        print(f"round {turn + 1} of {rounds}: cost {sum(told) / len(told):.3f}, {time.time() - clock:.0f} s", flush=True)
    return network.eval()


def report(network, examples):
    with torch.no_grad():
        right = torch.cat([costs(network, examples[i:i + 16])[1] for i in range(0, len(examples), 16)]).cpu().numpy()
    kinds = np.array([e["kind"] for e in examples])
    for kind, name in enumerate(NAMES):
        own = right[kinds == kind]
        print(f"held out, {name}: {len(own)} examples, beats {np.mean(own >= 1):.3f}, bars too {np.mean(own >= 2):.3f}", flush=True)


def main():
    global WIDTH, UNITS, REACH, DROPPED
    parser = argparse.ArgumentParser()
    parser.add_argument("practice")
    parser.add_argument("judge", nargs="?", help="file to write; without it only what is held out is measured")
    parser.add_argument("--members", type=int, nargs="+", default=[1, 2, 3], help="a seed for each")
    parser.add_argument("--rounds", type=int, default=4)
    parser.add_argument("--width", type=int, default=WIDTH)
    parser.add_argument("--units", type=int, default=UNITS)
    parser.add_argument("--reach", type=int, nargs="+", default=REACH)
    parser.add_argument("--dropped", type=float, default=DROPPED)
    parser.add_argument("--start", help="a judge of one member to begin with")
    parser.add_argument("--pace", type=float, default=PACE, help="of learning at its fastest")
    a = parser.parse_args()
    start = a.start and np.fromfile(a.start, "<f4")
    WIDTH, UNITS, REACH, DROPPED = a.width, a.units, a.reach, a.dropped
    examples = read(a.practice)
    print(len(examples), "examples have a right reading", flush=True)
    if a.judge:
        np.concatenate([fit(examples, a.rounds, seed, start, a.pace).values() for seed in a.members]).tofile(a.judge)
    else:
        report(fit([e for e in examples if not e["held"]], a.rounds, a.members[0], start, a.pace), [e for e in examples if e["held"]])


if __name__ == "__main__":
    main()
