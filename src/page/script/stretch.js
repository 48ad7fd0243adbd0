// Slower or faster sound with its pitch kept and its attacks whole: the method of src/practice/stretch, sample for sample.
//
// In: channels (Float32Array, all of one length) that begin at sample `offset` of the whole sound, and pieces of the
// plan. Out: the samples of some stretch of the output. Sums are rounded to single precision as the other program
// rounds them, so that both choose the same grains.

const RATE = 44100;
const ms = (count) => Math.floor((count * RATE) / 1000);
// Copied before an attack, and from it on; attacks nearer than ONE to the first of them are one; what is joined fades over FADE.
const LEAD = ms(4), KEPT = ms(25), ONE = ms(25), FADE = ms(2);
const GRAIN = ms(40), SHORTEST = ms(3), REACH = ms(10), COARSE = 4;
const f32 = Math.fround;

// The place in the output of a place in the source.
const moved = (sample, speed) => Math.round(sample / speed);

// Cuts `length` samples at their attacks (rising). Pieces follow each other without a gap in source and output.
function planOf(length, attacks, speed) {
  const struck = [];
  for (const attack of attacks) {
    if (attack >= length) continue;
    const together = struck[struck.length - 1];
    if (together && attack - together[0] < ONE) together[1] = attack;
    else struck.push([attack, attack]);
  }
  const starts = struck.map(([attack, last]) => {
    const lead = Math.min(LEAD, attack, moved(attack, speed));
    return [attack - lead, moved(attack, speed) - lead, lead + KEPT, last - attack];
  });
  if (struck.length === 0 || struck[0][0] > LEAD) starts.unshift([0, 0, 0, 0]);
  return starts.map(([from, at, kept, wide], i) => {
    const [next, nextAt] = starts[i + 1] || [length, moved(length, speed)];
    const piece = { from, to: Math.min(from + kept + wide, next), wide, at, next, nextAt: Math.max(nextAt, at) };
    // Faster sound has to drop something: the copy ends early enough to turn into the next attack's lead.
    const wanted = piece.nextAt - at;
    if (wanted < next - from) piece.to = Math.min(piece.to, from + Math.max(wanted - FADE, 0));
    return piece;
  });
}

// The sum of all channels by which grains are compared, and the same at a quarter of the rate.
function guideOf(channels) {
  const fine = new Float32Array(channels[0].length);
  for (const channel of channels) for (let i = 0; i < fine.length; i++) fine[i] += channel[i];
  const coarse = new Float32Array(Math.ceil(fine.length / COARSE));
  for (let k = 0; k < coarse.length; k++) {
    let sum = 0;
    for (let i = k * COARSE; i < Math.min((k + 1) * COARSE, fine.length); i++) sum = f32(sum + fine[i]);
    coarse[k] = sum / COARSE;
  }
  return { fine, coarse };
}

// The cosine of two stretches of one waveform; 0 where one is silent.
function resemblance(samples, a, b, length) {
  const most = Math.max(0, Math.min(length, samples.length - a, samples.length - b));
  let both = f32(0), one = f32(0), other = f32(0);
  for (let i = 0; i < most; i++) {
    const x = samples[a + i], y = samples[b + i];
    both = f32(both + f32(x * y));
    one = f32(one + f32(x * x));
    other = f32(other + f32(y * y));
  }
  const power = f32(Math.sqrt(f32(one * other)));
  return power > 1e-12 ? f32(both / power) : 0;
}

// The place between `low` and `high` whose next samples resemble those from `model` on most; of equal ones the nearest
// to `due`, of equally near ones the last.
function best(guide, model, length, low, high, due) {
  const search = (from, to, by, value) => {
    let found = due, most = -Infinity;
    for (let at = from; at <= to; at += by) {
      const now = value(at);
      if (now > most || (now === most && Math.abs(at - due) <= Math.abs(found - due))) [found, most] = [at, now];
    }
    return found;
  };
  const n = Math.floor(length / COARSE), m = Math.floor(model / COARSE);
  const first = search(low, high, COARSE, (at) => resemblance(guide.coarse, m, Math.floor(at / COARSE), n));
  return search(Math.max(first - COARSE, low), Math.min(first + COARSE, high), 1, (at) =>
    resemblance(guide.fine, model, at, length));
}

const sampleAt = (channel, at) => (at < channel.length ? channel[at] : 0);

// Appends `length` samples from `at` on, faded in over `fade` while what goes on from `goesOn` fades out.
function join(channels, guide, out, done, goesOn, at, length, fade) {
  if (goesOn === at) {
    channels.forEach((channel, c) => {
      for (let i = 0; i < length; i++) out[c][done + i] = sampleAt(channel, at + i);
    });
    return;
  }
  fade = Math.max(fade, Math.min(FADE, length));
  const alike = Math.min(1, Math.max(0, resemblance(guide.fine, goesOn, at, fade)));
  const turns = new Float32Array(fade), powers = new Float32Array(fade);
  for (let i = 0; i < fade; i++) {
    const turn = f32(0.5 - 0.5 * Math.cos((Math.PI * (i + 0.5)) / fade));
    turns[i] = turn;
    powers[i] = Math.max(0.5, Math.sqrt(turn * turn + (1 - turn) * (1 - turn) + 2 * alike * turn * (1 - turn)));
  }
  channels.forEach((channel, c) => {
    for (let i = 0; i < length; i++) {
      const fresh = sampleAt(channel, at + i);
      out[c][done + i] = i < fade
        ? (sampleAt(channel, goesOn + i) * (1 - turns[i]) + fresh * turns[i]) / powers[i]
        : fresh;
    }
  });
}

// What rings between two attacks, made longer or shorter: grains laid over each other where they fit best.
function tail(channels, guide, out, done, { begin, earliest, end, wanted }) {
  const room = Math.max(0, end - earliest);
  const grain = Math.min(Math.min(Math.max(Math.floor((room * 2) / 3), SHORTEST), GRAIN), Math.max(room, 2));
  const hop = Math.max(1, Math.floor(grain / 2));
  let written = 0, goesOn = begin;
  while (written < wanted) {
    const left = wanted - written, last = left <= grain;
    const length = last ? left : Math.min(left, hop);
    let at;
    if (last) {
      at = Math.max(0, end - left);
    } else {
      const low = earliest, high = Math.max(end - grain, earliest);
      const exact = begin + (written / wanted) * Math.max(0, end - begin);
      const due = Math.min(Math.max(Math.floor(exact), low), high);
      const from = Math.max(Math.max(0, due - REACH), low), to = Math.min(due + REACH, high);
      at = goesOn >= from && goesOn <= to && Math.abs(goesOn - due) <= hop
        ? goesOn
        : best(guide, goesOn, hop, from, to, due);
    }
    join(channels, guide, out, done + written, goesOn, at, length, Math.min(hop, length));
    written += length;
    goesOn = at + length;
  }
}

// One piece of output: the attack copied, then its tail. The piece counts from the beginning of `channels`.
function renderPiece(channels, guide, piece) {
  const { from, to, wide, at, next, nextAt } = piece;
  const wanted = nextAt - at;
  const copied = Math.max(0, Math.min(to - from, wanted, channels[0].length - from));
  const out = channels.map((channel) => {
    const samples = new Float32Array(wanted);
    samples.set(channel.subarray(from, from + copied));
    return samples;
  });
  if (copied < wanted) {
    const earliest = Math.min(from + LEAD + wide + Math.floor(KEPT / 2), to);
    tail(channels, guide, out, copied, { begin: to, earliest, end: next, wanted: wanted - copied });
  }
  return out;
}

// Samples `begin` to `end` of the output, from pieces that cover them.
function stretched({ channels, offset, pieces, begin, end }) {
  const guide = guideOf(channels);
  const out = channels.map(() => new Float32Array(end - begin));
  for (const piece of pieces) {
    const here = { ...piece, from: piece.from - offset, to: piece.to - offset, next: piece.next - offset };
    renderPiece(channels, guide, here).forEach((samples, c) => {
      const skip = Math.max(0, begin - piece.at), put = Math.max(0, piece.at - begin);
      out[c].set(samples.subarray(skip, skip + Math.max(0, out[c].length - put)), put);
    });
  }
  return out;
}
