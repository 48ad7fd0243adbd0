// The recording's sound, part by part from the scripts beside the page, and what a worker makes of it.

const KEPT_PARTS = 6;

function tell(words) { byId("told").textContent = words; }

function loadScript(name) {
  return new Promise((resolve, reject) => {
    const script = element("script", { src: name, onload: () => { script.remove(); resolve(); } });
    script.addEventListener("error", () => { script.remove(); reject(new Error(name)); });
    document.head.append(script);
  });
}

function bytesOf(text) {
  if (Uint8Array.fromBase64) return Uint8Array.fromBase64(text).buffer;
  return Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0)).buffer;
}
// Decodes at the sound's own rate, so that every sample is the one that was written.
const decoder = () => new OfflineAudioContext(1, 1, sound.rate);
async function decoded(text) {
  const buffer = await decoder().decodeAudioData(bytesOf(text));
  return Array.from({ length: buffer.numberOfChannels }, (_, c) => buffer.getChannelData(c));
}

const store = {
  parts: new Map(), arrived: new Map(),
  // A part's channels; parts that were not asked for lately are let go.
  part(number) {
    const known = this.parts.get(number);
    this.parts.delete(number);
    const part = known || this.load(number);
    this.parts.set(number, part);
    for (const old of [...this.parts.keys()].slice(0, -KEPT_PARTS)) this.parts.delete(old);
    return part;
  },
  async load(number) {
    const name = `sound/part-${String(number + 1).padStart(3, "0")}.js`;
    try {
      await loadScript(name);
      const text = this.arrived.get(number);
      this.arrived.delete(number);
      return await decoded(text);
    } catch {
      this.parts.delete(number);
      tell(`${name} could not be read: keep the folder sound beside this page, or make the study again.`);
      return Array.from({ length: Math.max(1, sound.channels) }, () => new Float32Array(sound.part));
    }
  },
  // Samples `from` to `to` of the whole sound; silence where there is none.
  async between(from, to) {
    const out = Array.from({ length: Math.max(1, sound.channels) }, () => new Float32Array(Math.max(0, to - from)));
    const last = Math.min(to, sound.length);
    for (let at = Math.max(0, from); at < last && hasSound;) {
      const number = Math.floor(at / sound.part), begin = number * sound.part;
      const end = Math.min(last, begin + sound.part);
      const part = await this.part(number);
      out.forEach((channel, c) => channel.set((part[c] || part[0]).subarray(at - begin, end - begin), at - from));
      at = end;
    }
    return out;
  },
};

// Asks a worker, one for each kind of question so that pictures never keep sound waiting; where a browser allows none,
// the page answers itself.
const workers = new Map();
function workerFor(ask) {
  if (workers.has(ask)) return workers.get(ask);
  let worker = null;
  try {
    const code = new Blob([byId("worker").textContent], { type: "text/javascript" });
    worker = { self: new Worker(URL.createObjectURL(code)), waiting: new Map(), asked: 0 };
    worker.self.onmessage = ({ data: { id, answer, fault } }) => {
      const { resolve, reject } = worker.waiting.get(id);
      worker.waiting.delete(id);
      if (fault) reject(new Error(fault)); else resolve(answer);
    };
  } catch {
    worker = null;
  }
  workers.set(ask, worker);
  return worker;
}
function work(ask, what, buffers = []) {
  const worker = workerFor(ask);
  if (!worker) return Promise.resolve(answers[ask](what));
  return new Promise((resolve, reject) => {
    worker.waiting.set(++worker.asked, { resolve, reject });
    worker.self.postMessage({ id: worker.asked, ask, what }, buffers);
  });
}

// The whole sound in samples, with what the page has no sound of.
const WHOLE = Math.max(sound.length, Math.round(study.recording.seconds * sound.rate) - sound.start);
const sampleOf = (time) => Math.round(time * sound.rate) - sound.start;
const timeOfSample = (sample) => (sample + sound.start) / sound.rate;

// The plan of the slowed sound: strokes that the player has added or moved are attacks as well.
const plans = {
  speed: null, pieces: [],
  of(speed) {
    if (this.speed === speed) return this.pieces;
    const said = edits.strokes.filter((stroke) => stroke.touched).map((stroke) => sampleOf(stroke.time));
    const attacks = [...sound.attacks, ...said.filter((at) => at >= 0)].sort((a, b) => a - b);
    [this.speed, this.pieces] = [speed, planOf(WHOLE, attacks, speed)];
    return this.pieces;
  },
};
edits.watchers.push(() => { plans.speed = null; });

// Samples `begin` to `end` of the sound at a speed.
async function rendered(speed, begin, end) {
  if (speed === 1) return store.between(begin, end);
  const all = plans.of(speed);
  const first = Math.max(0, notBefore(all, begin + 1, (piece) => piece.nextAt));
  const pieces = all.slice(first, Math.max(first + 1, notBefore(all, end, (piece) => piece.at)));
  const offset = Math.floor(pieces[0].from / COARSE) * COARSE;
  const channels = await store.between(offset, pieces[pieces.length - 1].next + GRAIN);
  return work("stretched", { channels, offset, pieces, begin, end }, channels.map((channel) => channel.buffer));
}
