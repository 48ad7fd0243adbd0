"""Trains the network that listens, in three sizes at once, or the finer one, while all cores render what it hears.

    cargo run --release --example strokes STROKES
    python3 tests/fitting/listen/bands.py SOUNDFONTS BANDS --count 200
    python3 tests/fitting/listen/train.py BANK OUT --from SOUNDS GMD SOUNDFONTS STROKES --bands BANDS [--minutes 9]

--leave-out trains one network for each source of sounds instead, which hears all sources but that one and all
performances but every eighth; left_out.py measures them.

BANK is written by prepare.py from the four folders where it is not there yet. OUT gets SIZE.f16 (the program reads
src/listen/weights.f16), SIZE.golden (src/listen/golden.f32), SIZE.pt. --resume begins from the
SIZE.pt files that fit. --sizes finer trains the finer network, beside which stands the first with the weights of --weights;
sharp.py writes finer.pt into src/listen. Clips and draws are seeded; how many clips are ready at which step depends on the machine,
so two runs give networks that are alike, not the same. Needs numpy, scipy, soundfile, mido, torch; fluidsynth for BANK.
"""
import argparse, multiprocessing as mp, os, queue, tempfile, threading, time
os.environ.setdefault("OMP_NUM_THREADS", "1")
import numpy as np

RATE, HOP, SECONDS, CROP, MARGIN = 44_100, 441, 12.0, 800, 12
FRAMES, LENGTH = int(SECONDS * RATE) // HOP, int(SECONDS * RATE)
CLASSES = ["kick", "snare", "tom", "hat", "cymbal", "any", "cross_stick", "hat_open", "hat_foot", "ride_bell", "crash", "other"]
# Strokes kept of a clip.
MOST = 512
# The order of the finer network's outputs.
FINE = ["any", "kick", "snare", "tom", "hat", "cymbal"]


def labels_of(voice):
    first = voice.split("_")[0]
    whole = {"cross": "snare", "ride": "cymbal", "crash": "cymbal", "splash": "cymbal", "china": "cymbal"}.get(first, first)
    finer = "crash" if first in ("crash", "splash", "china") else voice
    return [CLASSES.index(c) for c in {"any", whole, finer} if c in CLASSES]


def targets(strokes):
    """1 at the frame of a stroke, less beside it."""
    y = np.zeros((len(CLASSES), FRAMES + 1), np.uint8)
    for time, voice in strokes:
        x = time * RATE / HOP
        k = int(round(x))
        for c in labels_of(voice):
            for j in range(max(0, k - 1), min(FRAMES, k + 1) + 1):
                near = 1.0 - abs(j - x) * 0.6
                y[c, j] = max(y[c, j], int(255 * (1.0 if j == k else near if near > 0.25 else 0)))
    return y


def listed(strokes):
    """Rows of time and place in FINE (0 of none)."""
    out = np.full((MOST, 2), -1e6, np.float32)
    for n, (time, voice) in enumerate(strokes[:MOST]):
        c = next((c for c in labels_of(voice) if 0 <= c < 5), None)
        out[n] = time, 0 if c is None else 1 + c
    return out


def alone(given):
    """Players without drums, as bands.py writes bands."""
    import company, scipy.signal
    players, seed = given
    sound = scipy.signal.resample_poly(company.company(players, [], 16 * RATE, np.random.default_rng(seed)), 1, 2)
    return np.round(sound / np.abs(sound).max() * 30_000).astype(np.int16)


def sources(rng):
    """Some of the sources of sounds, at least one whole kit among them: clips of these teach whoever is to do without the rest."""
    import clips
    whole = [s for s in clips.SOURCES if s != "snares"]
    chosen = list(rng.choice(whole, rng.choice([1, 2, 2, 3, 3, 4]), replace=False))
    return chosen + (["snares"] if rng.random() < 0.4 else [])


def work(bank, parts, sound, truth, rows, used, a, count, next_one, ready, stop, seed):
    import clips
    parts = [p for n, p in enumerate(parts) if n % 8] if a.leave_out else parts
    audio = np.memmap(sound, np.int16, "r+", shape=(count, LENGTH))
    ys = np.memmap(truth, np.uint8, "r+", shape=(count, len(CLASSES), FRAMES + 1))
    lists = np.memmap(rows, np.float32, "r+", shape=(count, MOST, 2))
    while not stop.value:
        with next_one.get_lock():
            k = next_one.value
            next_one.value += 1
        rng = np.random.default_rng([seed, k])
        chosen = sources(rng) if a.leave_out else clips.SOURCES
        clip = clips.render(clips.only(bank, chosen) if a.leave_out else bank, parts, rng, SECONDS)
        k %= count
        used[k] = sum(1 << n for n, s in enumerate(clips.SOURCES) if s in chosen)
        audio[k] = np.round(clip.samples[:LENGTH] * (30000 / max(1e-6, np.abs(clip.samples).max()))).astype(np.int16)
        ys[k], lists[k] = targets(clip.strokes), listed(clip.strokes)
        with ready.get_lock():
            ready.value += 1


def main():
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("bank"); p.add_argument("out"); p.add_argument("--from", nargs=4, dest="folders", metavar=("SOUNDS", "GMD", "SOUNDFONTS", "STROKES"))
    p.add_argument("--minutes", type=float, default=9); p.add_argument("--clips", type=int, default=30000, help="clips kept at a time"); p.add_argument("--first", type=int, default=800); p.add_argument("--seed", type=int, default=1)
    p.add_argument("--batch", type=int, default=32); p.add_argument("--resume", nargs="*", default=[]); p.add_argument("--sizes", nargs="*", default=["small", "medium", "large"]); p.add_argument("--rate", type=float, default=2.5e-3)
    p.add_argument("--bands"); p.add_argument("--leave-out", action="store_true"); p.add_argument("--gpus", type=int, default=1); p.add_argument("--weights", default="src/listen/weights.f16")
    a = p.parse_args()
    start = time.time()
    import prepare
    if not os.path.exists(a.bank):
        prepare.save(*a.folders, a.bank)
    bank, parts = prepare.load(a.bank)
    bank.bands = prepare.bands(a.bands) if a.bands else []
    mp.set_start_method("fork")
    with mp.Pool() as pool:
        import company
        bank.plates = True
        bank.players = pool.map(company.player, [[a.seed, n] for n in range(240)], 2)
        bank.bands += pool.map(alone, [(bank.players[12 * (n % 20): 12 * (n % 20) + 12], [a.seed, n]) for n in range(200)], 2) if a.bands else []
    print("bank, %d bands after %.0f s" % (len(bank.bands), time.time() - start), flush=True)
    os.makedirs(a.out, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        sound, truth, rows = (os.path.join(folder, name) for name in ("audio.i16", "targets.u8", "strokes.f32"))
        for name, size in ((sound, a.clips * LENGTH * 2), (truth, a.clips * len(CLASSES) * (FRAMES + 1)), (rows, a.clips * MOST * 2 * 4)):
            with open(name, "wb") as f:
                f.truncate(size)
        next_one, ready, stop, used = mp.Value("i", 0), mp.Value("i", 0), mp.Value("i", 0), mp.Array("i", a.clips, lock=False)
        jobs = [mp.Process(target=work, args=(bank, parts, sound, truth, rows, used, a, a.clips, next_one, ready, stop, a.seed), daemon=True) for _ in range(max(1, os.cpu_count() - 3))]
        import clips
        nets = [(f"without-{s.replace(' ', '-')}", a.sizes[0], n) for n, s in enumerate(clips.SOURCES)] if a.leave_out else [(size if size not in a.sizes[:n] else f"{size}-{n}", size, None) for n, size in enumerate(a.sizes)]
        learners = [mp.Process(target=learn, args=(a, *net, n % a.gpus, start, sound, truth, rows, used, next_one, ready, stop, len(jobs), bank.bands)) for n, net in enumerate(nets)]
        for j in jobs + learners:
            j.start()
        for l in learners:
            l.join()
        stop.value = 1
        for j in jobs:
            j.terminate(); j.join()


def batches(a, left_out, sound, truth, rows, used, next_one, jobs, out, stop, rng):
    """Keeps `out` filled with random stretches of clips that are surely finished and free of what is left out: sound,
    targets, strokes with times from the stretch's first sample on."""
    audio = np.memmap(sound, np.int16, "r", shape=(a.clips, LENGTH)); ys = np.memmap(truth, np.uint8, "r", shape=(a.clips, len(CLASSES), FRAMES + 1))
    lists = np.memmap(rows, np.float32, "r", shape=(a.clips, MOST, 2))
    while not stop.value:
        made = max(50, next_one.value - 2 * jobs)
        many, s = rng.integers(max(0, made - a.clips + 4 * jobs), made, 8 * a.batch) % a.clips, int(rng.integers(MARGIN, FRAMES - CROP - MARGIN))
        ids = [i for i in many if left_out is None or not used[i] >> left_out & 1][: a.batch]
        cut = slice((s - MARGIN) * HOP, (s + CROP + MARGIN) * HOP)
        strokes = np.stack([lists[i] for i in ids])
        strokes[..., 0] -= (s - MARGIN) * HOP / RATE
        out.put((np.stack([audio[i, cut] for i in ids]), np.stack([ys[i, :, s: s + CROP] for i in ids]), strokes))


class Elsewhere:
    """The same clips in other rooms, tones and levels, with other bands and noise: every stretch is heard once."""

    def __init__(self, bands, torch, dev):
        self.torch, self.dev = torch, dev
        longest = 16 * 22_050
        kept = [np.pad(b, (0, max(0, longest - len(b))), mode="wrap")[:longest] for b in bands]
        self.bands = torch.from_numpy(np.stack(kept)).to(dev) if kept else None
        self.size = 368_640
        hertz = torch.linspace(0, RATE / 2, self.size // 2 + 1, device=dev)
        octaves = torch.log2(hertz / 20 + 1)
        self.low, self.part = octaves.floor().long().clamp(max=10), octaves - octaves.floor()
        self.hertz = hertz

    def chance(self, n, share):
        return (self.torch.rand(n, 1, device=self.dev) < share).float()

    def uniform(self, n, low, high):
        return self.torch.empty(n, 1, device=self.dev).uniform_(low, high)

    def smooth(self, n, depth):
        knots = self.torch.randn(n, 12, device=self.dev) * depth
        return 10 ** ((knots[:, self.low] * (1 - self.part) + knots[:, self.low + 1] * self.part) / 20)

    def __call__(self, x):
        torch, (n, length) = self.torch, x.shape
        peak = x.abs().amax(1, keepdim=True) + 1e-6
        if self.bands is not None:
            x = x + self.band(n, length) * x.square().mean(1, keepdim=True).sqrt() * 10 ** (self.uniform(n, -22, 9) / 20) * self.chance(n, 0.28)
        spectrum = torch.fft.rfft(x, self.size)
        spectrum = spectrum * self.smooth(n, 3.0) ** self.chance(n, 0.4)
        t = torch.arange(RATE, device=self.dev) / RATE
        room = torch.randn(n, RATE, device=self.dev) * torch.exp(-t * 6.9 / self.uniform(n, 0.04, 0.7)) * (t > self.uniform(n, 0, 0.012))
        room = torch.fft.rfft(room, self.size) / (room.square().sum(1, keepdim=True).sqrt() + 1e-6) * self.smooth(n, 4.0) * (self.hertz < self.uniform(n, 2500, 16000)).float()
        spectrum = spectrum * (1 + room * 10 ** (self.uniform(n, -28, -4) / 20) * self.chance(n, 0.3))
        top = (1 + (self.hertz / self.uniform(n, 5000, 15000)) ** 8) ** -0.5
        spectrum = spectrum * top ** self.chance(n, 0.1)
        x = torch.fft.irfft(spectrum, self.size)[:, :length]
        loud = x.abs().amax(1, keepdim=True) + 1e-6
        drive = 10 ** (self.uniform(n, -6, 12) / 20) / loud
        x = torch.where(self.chance(n, 0.15) > 0, torch.tanh(x * drive), x)
        x = x * (peak / (x.abs().amax(1, keepdim=True) + 1e-6))
        return x + torch.randn_like(x) * peak * 10 ** (self.uniform(n, -90, -42) / 20) * self.chance(n, 0.3)

    def band(self, n, length):
        """Stretches of bands at random pitches, of the power 1."""
        torch = self.torch
        which = torch.randint(len(self.bands), (n, 1), device=self.dev)
        places = torch.arange(length, device=self.dev)[None] * (0.5 * 2 ** self.uniform(n, -0.35, 0.2)) + self.uniform(n, 0, 16 * 22_050)
        before = places.floor()
        part, size = places - before, self.bands.shape[1]
        before = before.long()
        a, b = (self.bands[which, (before + k) % size].float() for k in (0, 1))
        y = a * (1 - part) + b * part
        return y / (y.square().mean(1, keepdim=True).sqrt() + 1e-3)


def disturbed(f, torch):
    """Another gain, tone and noise floor for each clip."""
    n, dev = len(f), f.device
    f = f + torch.empty(n, 1, 1, device=dev).uniform_(-1.6, 0.6)
    tone = torch.randn(n, 1, 9, device=dev) * 0.35
    f = f + torch.nn.functional.interpolate(tone, size=f.shape[1], mode="linear", align_corners=True).transpose(1, 2)
    return torch.log(torch.exp(f) + 1e-5 * torch.exp(torch.empty(n, 1, 1, device=dev).uniform_(-2, 3)))


def fine_targets(strokes, count, torch):
    """FINE by frames of the finer network: 1 at each stroke, falling to 0 in a frame and a half."""
    import sharp
    n = len(strokes)
    y = torch.zeros(n, len(FINE) * count, device=strokes.device)
    places = (strokes[..., 0] + sharp.LATE) * RATE / sharp.HOP
    row = strokes[..., 1].clamp(min=0).long()
    for off in (-1, 0, 1, 2):
        k = places.floor() + off
        worth = (1 - (k - places).abs() / 1.5).clamp(min=0) * ((k >= 0) & (k < count)).float()
        k = k.clamp(0, count - 1).long()
        y.scatter_reduce_(1, k, worth, "amax")
        y.scatter_reduce_(1, row * count + k, worth, "amax")
    return y.reshape(n, len(FINE), count)


def learn(a, name, size, left_out, gpu, start, sound, truth, rows, used, next_one, ready, stop, jobs, bands):
    os.environ["CUDA_VISIBLE_DEVICES"] = str(gpu)
    import torch
    import network
    torch.manual_seed(a.seed + gpu)
    dev = "cuda" if torch.cuda.is_available() else "cpu"
    features, elsewhere = network.Features().to(dev), Elsewhere(bands, torch, dev)
    while ready.value < a.first:
        time.sleep(0.2)
    print("first clips after %.0f s" % (time.time() - start), flush=True)
    waiting, quiet = queue.Queue(6), mp.Value("i", 0)
    for n in range(3):
        threading.Thread(target=batches, args=(a, left_out, sound, truth, rows, used, next_one, jobs, waiting, quiet, np.random.default_rng([a.seed, n, gpu])), daemon=True).start()

    def batch():
        x, y, strokes = (torch.from_numpy(v).to(dev) for v in waiting.get())
        x = elsewhere(x.float() / 32768)
        return x, disturbed(features(x)[..., MARGIN: MARGIN + CROP], torch), y.float() / 255, strokes
    pupil = Finer(a, torch, dev) if size == "finer" else Plain(size, torch, dev)
    net = pupil.net
    print(name, sum(q.numel() for q in net.parameters()), "parameters", flush=True)
    for file in a.resume:
        own, known = net.state_dict(), torch.load(file, map_location=dev)
        # Weights of another size's layers would make no sense beside each other.
        if own.keys() == known.keys() and all(known[n].shape == v.shape for n, v in own.items()):
            net.load_state_dict(known)
            print(name, "resumes", file, flush=True)
    mean = {n: v.detach().clone() for n, v in net.state_dict().items()}
    opt = torch.optim.AdamW(net.parameters(), a.rate, weight_decay=1e-2)
    began, end, step, losses = time.time(), start + a.minutes * 60, 0, []
    while time.time() < end:
        done = min(1.0, (time.time() - began) / (end - began))
        for group in opt.param_groups:
            group["lr"] = a.rate * min(1, done / 0.05 + 0.02) * (0.5 * (1 + np.cos(np.pi * done)) + 0.002)
        with torch.no_grad():
            given = batch()
        net.train()
        loss = pupil.loss(*given)
        opt.zero_grad(set_to_none=True); loss.backward(); torch.nn.utils.clip_grad_norm_(net.parameters(), 1.0); opt.step()
        with torch.no_grad():
            keep = min(0.9985, step / (step + 50))
            for n, v in net.state_dict().items():
                mean[n].lerp_(v, 1 - keep) if v.dtype.is_floating_point else mean[n].copy_(v)
        losses.append(loss.detach())
        step += 1
        if step % 1000 == 0:
            print(name, step, "steps,", ready.value, "clips, %.0f s, loss %.5f" % (time.time() - start, float(torch.stack(losses[-1000:]).mean())), flush=True)
    quiet.value = 1
    print(name, step, "steps", ready.value, "clips", flush=True)
    net.load_state_dict(mean)
    net.eval()
    torch.save(net.state_dict(), f"{a.out}/{name}.pt")
    if size != "finer":
        network.write(net, f"{a.out}/{name}.f16")
        network.write_golden(net, f"{a.out}/{name}.golden")


class Plain:
    """The first network and how badly it does."""

    def __init__(self, size, torch, dev):
        import network
        self.net, self.torch, self.dev = network.Network(*network.SIZES[size]).to(dev), torch, dev
        self.more = torch.full((len(CLASSES), 1), 2.5, device=dev)

    def loss(self, _, f, y, __):
        with self.torch.autocast(self.dev, self.torch.bfloat16):
            z = self.net(f)
        return self.torch.nn.functional.binary_cross_entropy_with_logits(z.float(), y, pos_weight=self.more)


class Finer:
    """The finer network, which is told what the program's first network hears, and how badly it does."""

    def __init__(self, a, torch, dev):
        import network, sharp
        self.net, self.look = sharp.network().to(dev), sharp.Look().to(dev)
        self.first = [w.to(dev).float() for w in network.read(a.weights, "large")]
        self.torch, self.dev, self.network, self.sharp = torch, dev, network, sharp

    def loss(self, x, f, _, strokes):
        torch, sharp, edge = self.torch, self.sharp, self.sharp.EDGE
        with torch.no_grad():
            with torch.autocast(self.dev, torch.bfloat16):
                z = self.network.odds(self.first, f)
            seen = sharp.varied(self.look(x), sharp.told_at(z.float(), MARGIN, x.shape[1], torch), torch)
            y = fine_targets(strokes, seen.shape[2], torch)[..., edge: -edge]
        with torch.autocast(self.dev, torch.bfloat16):
            z = self.net(seen)
        loss = torch.nn.functional.binary_cross_entropy_with_logits(z.float()[..., edge: -edge], y, reduction="none")
        return (loss * (1 + 3 * y)).mean()


if __name__ == "__main__":
    main()
