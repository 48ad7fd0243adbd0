"""Trains the network that listens, in three sizes at once, while all cores render what it hears.

    cargo run --release --example strokes STROKES
    python3 tests/fitting/listen/bands.py SOUNDFONTS BANDS --count 200
    python3 tests/fitting/listen/train.py BANK OUT --from SOUNDS GMD SOUNDFONTS STROKES --bands BANDS [--minutes 9] [--evaluate CLIPS]

--leave-out trains one network for each source of sounds instead, which hears all sources but that one and all
performances but every eighth; left_out.py measures them.

BANK is written by prepare.py from the four folders where it is not there yet. OUT gets SIZE.f16 (the program reads
src/listen/weights.f16), SIZE.golden (src/listen/golden.f32), SIZE.pt, and with --evaluate what each size hears in
recordings: SIZE.npz. --resume begins from the SIZE.pt files that fit. Clips and draws are seeded; how many clips are ready at which step depends on the machine,
so two runs give networks that are alike, not the same. Needs numpy, scipy, soundfile, mido, torch; fluidsynth for BANK.
"""
import argparse, glob, multiprocessing as mp, os, queue, tempfile, threading, time
os.environ.setdefault("OMP_NUM_THREADS", "1")
import numpy as np

RATE, HOP, SECONDS, CROP, MARGIN = 44_100, 441, 12.0, 800, 12
FRAMES, LENGTH = int(SECONDS * RATE) // HOP, int(SECONDS * RATE)
CLASSES = ["kick", "snare", "tom", "hat", "cymbal", "any", "cross_stick", "hat_open", "hat_foot", "ride_bell", "crash", "other"]


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


def sources(rng):
    """Some of the sources of sounds, at least one whole kit among them: clips of these teach whoever is to do without the rest."""
    import clips
    whole = [s for s in clips.SOURCES if s != "snares"]
    chosen = list(rng.choice(whole, rng.choice([1, 2, 2, 3, 3, 4]), replace=False))
    return chosen + (["snares"] if rng.random() < 0.4 else [])


def work(bank, parts, sound, truth, used, a, count, next_one, ready, stop, seed):
    import clips
    parts = [p for n, p in enumerate(parts) if n % 8] if a.leave_out else parts
    audio = np.memmap(sound, np.int16, "r+", shape=(count, LENGTH))
    ys = np.memmap(truth, np.uint8, "r+", shape=(count, len(CLASSES), FRAMES + 1))
    while not stop.value:
        with next_one.get_lock():
            k = next_one.value
            if k >= count:
                return
            next_one.value += 1
        rng = np.random.default_rng([seed, k])
        chosen = sources(rng) if a.leave_out else clips.SOURCES
        clip = clips.render(clips.only(bank, chosen) if a.leave_out else bank, parts, rng, SECONDS)
        used[k] = sum(1 << n for n, s in enumerate(clips.SOURCES) if s in chosen)
        audio[k] = np.round(clip.samples[:LENGTH] * (30000 / max(1e-6, np.abs(clip.samples).max()))).astype(np.int16)
        ys[k] = targets(clip.strokes)
        with ready.get_lock():
            ready.value += 1


def main():
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("bank"); p.add_argument("out"); p.add_argument("--from", nargs=4, dest="folders", metavar=("SOUNDS", "GMD", "SOUNDFONTS", "STROKES"))
    p.add_argument("--minutes", type=float, default=9); p.add_argument("--clips", type=int, default=30000); p.add_argument("--first", type=int, default=800); p.add_argument("--seed", type=int, default=1)
    p.add_argument("--batch", type=int, default=32); p.add_argument("--evaluate"); p.add_argument("--resume", nargs="*", default=[]); p.add_argument("--sizes", nargs="*", default=["small", "medium", "large"]); p.add_argument("--rate", type=float, default=2.5e-3)
    p.add_argument("--bands"); p.add_argument("--leave-out", action="store_true"); p.add_argument("--gpus", type=int, default=1)
    a = p.parse_args()
    start = time.time()
    import prepare
    if not os.path.exists(a.bank):
        prepare.save(*a.folders, a.bank)
    bank, parts = prepare.load(a.bank)
    bank.bands = prepare.bands(a.bands) if a.bands else []
    print("bank, %d bands after %.0f s" % (len(bank.bands), time.time() - start), flush=True)
    os.makedirs(a.out, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        sound, truth = os.path.join(folder, "audio.i16"), os.path.join(folder, "targets.u8")
        for name, size in ((sound, a.clips * LENGTH * 2), (truth, a.clips * len(CLASSES) * (FRAMES + 1))):
            with open(name, "wb") as f:
                f.truncate(size)
        mp.set_start_method("fork")
        next_one, ready, stop, used = mp.Value("i", 0), mp.Value("i", 0), mp.Value("i", 0), mp.Array("i", a.clips, lock=False)
        jobs = [mp.Process(target=work, args=(bank, parts, sound, truth, used, a, a.clips, next_one, ready, stop, a.seed), daemon=True) for _ in range(max(1, os.cpu_count() - 3))]
        import clips
        nets = [(f"without-{s.replace(' ', '-')}", a.sizes[0], n) for n, s in enumerate(clips.SOURCES)] if a.leave_out else [(size if size not in a.sizes[:n] else f"{size}-{n}", size, None) for n, size in enumerate(a.sizes)]
        learners = [mp.Process(target=learn, args=(a, *net, n % a.gpus, start, sound, truth, used, next_one, ready, stop, len(jobs))) for n, net in enumerate(nets)]
        for j in jobs + learners:
            j.start()
        for l in learners:
            l.join()
        stop.value = 1
        for j in jobs:
            j.terminate(); j.join()


def batches(a, left_out, sound, truth, used, next_one, jobs, out, stop, rng):
    """Keeps `out` filled with (sound, targets) of random stretches of clips that are surely finished and free of what is left out."""
    audio = np.memmap(sound, np.int16, "r", shape=(a.clips, LENGTH)); ys = np.memmap(truth, np.uint8, "r", shape=(a.clips, len(CLASSES), FRAMES + 1))
    while not stop.value:
        many, s = rng.integers(0, max(50, next_one.value - 2 * jobs), 8 * a.batch), int(rng.integers(MARGIN, FRAMES - CROP - MARGIN))
        ids = [i for i in many if left_out is None or not used[i] >> left_out & 1][: a.batch]
        cut = slice((s - MARGIN) * HOP, (s + CROP + MARGIN) * HOP)
        out.put((np.stack([audio[i, cut] for i in ids]), np.stack([ys[i, :, s: s + CROP] for i in ids])))


def disturbed(f, torch):
    """Another gain, tone and noise floor for each clip."""
    n, dev = len(f), f.device
    f = f + torch.empty(n, 1, 1, device=dev).uniform_(-1.6, 0.6)
    tone = torch.randn(n, 1, 9, device=dev) * 0.35
    f = f + torch.nn.functional.interpolate(tone, size=f.shape[1], mode="linear", align_corners=True).transpose(1, 2)
    return torch.log(torch.exp(f) + 1e-5 * torch.exp(torch.empty(n, 1, 1, device=dev).uniform_(-2, 3)))


def learn(a, name, size, left_out, gpu, start, sound, truth, used, next_one, ready, stop, jobs):
    os.environ["CUDA_VISIBLE_DEVICES"] = str(gpu)
    import torch
    import network
    torch.manual_seed(a.seed + gpu)
    dev = "cuda" if torch.cuda.is_available() else "cpu"
    net = network.Network(*network.SIZES[size]).to(dev)
    print(name, sum(q.numel() for q in net.parameters()), "parameters, %.1f million multiply-adds per second" % network.cost(*network.SIZES[size]), flush=True)
    for file in a.resume:
        own, known = net.state_dict(), torch.load(file, map_location=dev)
        fits = {n: v for n, v in known.items() if n in own and own[n].shape == v.shape}
        # Weights of another size's layers would make no sense beside each other.
        if len(fits) == len(own):
            net.load_state_dict(fits)
            print(name, "resumes", file, flush=True)
    features = network.Features().to(dev)
    mean = {n: v.detach().clone() for n, v in net.state_dict().items()}
    opt = torch.optim.AdamW(net.parameters(), a.rate, weight_decay=1e-2)
    more = torch.full((len(CLASSES), 1), 2.5, device=dev)
    while ready.value < a.first:
        time.sleep(0.2)
    print("first clips after %.0f s" % (time.time() - start), flush=True)
    waiting, quiet = queue.Queue(6), mp.Value("i", 0)
    for n in range(2):
        threading.Thread(target=batches, args=(a, left_out, sound, truth, used, next_one, jobs, waiting, quiet, np.random.default_rng([a.seed, n, gpu])), daemon=True).start()
    began, end, step, losses = time.time(), start + a.minutes * 60, 0, []
    while time.time() < end:
        done = min(1.0, (time.time() - began) / (end - began))
        rate = a.rate * min(1, done / 0.05 + 0.02) * (0.5 * (1 + np.cos(np.pi * done)) + 0.002)
        x, y = (torch.from_numpy(v).to(dev) for v in waiting.get())
        with torch.no_grad():
            f = disturbed(features(x.float() / 32768)[..., MARGIN: MARGIN + CROP], torch)
            y = y.float() / 255
        net.train()
        for group in opt.param_groups:
            group["lr"] = rate
        with torch.autocast(dev, torch.bfloat16):
            z = net(f)
        loss = torch.nn.functional.binary_cross_entropy_with_logits(z.float(), y, pos_weight=more)
        opt.zero_grad(set_to_none=True); loss.backward(); torch.nn.utils.clip_grad_norm_(net.parameters(), 1.0); opt.step()
        with torch.no_grad():
            keep = min(0.998, step / (step + 50))
            for n, v in net.state_dict().items():
                mean[n].lerp_(v, 1 - keep) if v.dtype.is_floating_point else mean[n].copy_(v)
        losses.append(loss.detach())
        step += 1
        if step % 1000 == 0:
            print(name, step, "steps,", ready.value, "clips, %.0f s, loss %.5f" % (time.time() - start, float(torch.stack(losses[-1000:]).mean())), flush=True)
    quiet.value = 1
    print(name, step, "steps", ready.value, "clips", flush=True)
    net.load_state_dict(mean)
    save(a, name, net, features, torch, network)


def save(a, name, net, features, torch, network):
    net.eval()
    torch.save(net.state_dict(), f"{a.out}/{name}.pt")
    if a.evaluate:
        import soundfile
        dev, told = next(features.buffers()).device, {}
        torch.backends.cudnn.allow_tf32 = False
        for file in sorted(glob.glob(a.evaluate + "/*.flac") + glob.glob(a.evaluate + "/*.ogg")):
            x = soundfile.read(file, dtype="float32", always_2d=True)[0].mean(1)
            with torch.no_grad():
                f = features(torch.from_numpy(x / max(1e-6, np.abs(x).max()) * 0.9)[None].to(dev))
                told[os.path.basename(file).split(".")[0]] = torch.sigmoid(net(f))[0].cpu().numpy().astype(np.float16)
        np.savez_compressed(f"{a.out}/{name}.npz", **told)
    network.write(net, f"{a.out}/{name}.f16")
    network.write_golden(net, f"{a.out}/{name}.golden")


if __name__ == "__main__":
    main()
