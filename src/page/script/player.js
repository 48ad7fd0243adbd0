// Plays the sound: always at rate 1, slowed or hastened beforehand, in pieces that follow each other sample by sample.
//
// Beside the recording go the drums as written and the clicks; what of them is heard is decided by gains.

// Sound is made ready so far ahead, in seconds; the first piece is short, so that it starts at once, those after it
// are longer and longer.
const AHEAD = 3, SHORT = 0.4, LONG = 1.6;
// What is played begins this long before its first stroke; ends fade over so many seconds.
const BEFORE = 0.012, EARLIEST = 0.03, FADE_IN = 0.002, FADE_OUT = 0.01, SEAM = 0.008;
const MODES = { recording: [1, 0, 0], written: [0, 1, 0], sides: [1, 1, 1], turns: [1, 1, 0] };

const player = {
  context: null, run: null, speed: 1, mode: "recording", clicks: { beat: false, bar: false, round: false },
  watchers: [],

  ready() {
    if (this.context) return this.context;
    const context = new AudioContext({ sampleRate: sound.rate, latencyHint: "interactive" });
    const gain = (to) => { const node = context.createGain(); node.connect(to); return node; };
    const side = () => { const node = context.createStereoPanner(); node.connect(context.destination); return node; };
    this.context = context;
    this.recordingSide = side();
    this.drumSide = side();
    this.recordingGain = gain(this.recordingSide);
    this.drumGain = gain(this.drumSide);
    // Those that take turns bar by bar.
    this.recordingTurn = gain(this.recordingGain);
    this.drumTurn = gain(this.drumGain);
    this.clickGains = { beat: gain(context.destination), bar: gain(context.destination), round: gain(context.destination) };
    this.clickSounds = clickSounds(context);
    this.balance();
    return context;
  },
  // Puts what is chosen to be heard in force at once.
  balance() {
    if (!this.context) return;
    const [recording, drums, apart] = MODES[this.mode];
    const set = (param, value) => param.setTargetAtTime(value, this.context.currentTime, 0.005);
    set(this.recordingGain.gain, recording);
    set(this.drumGain.gain, drums * drumLevel());
    this.recordingSide.pan.value = -apart;
    this.drumSide.pan.value = apart;
    for (const kind of ["beat", "bar", "round"]) set(this.clickGains[kind].gain, this.clicks[kind] ? 1 : 0);
  },
  get playing() { return this.run !== null; },

  // Plays from one time of the file to another, or round and round between them. Resolves when it has ended.
  async play(from, to, loop = false) {
    this.stop();
    const context = this.ready();
    const run = { speed: this.speed, loop, nodes: [], heard: [], first: true, made: 0, whole: [from, to] };
    [run.begin, run.end] = [from, to].map((time) => moved(clamp(sampleOf(time), 0, WHOLE), run.speed));
    run.cursor = run.begin;
    run.over = new Promise((resolve) => { run.resolve = resolve; });
    this.run = run;
    this.changed();
    await context.resume();
    if (MODES[this.mode][1]) await drums.ready(context);
    this.pump(run);
    return run.over;
  },
  stop() {
    const run = this.run;
    if (!run) return;
    this.run = null;
    const now = this.context.currentTime;
    for (const { node, gain } of run.nodes) {
      if (gain) { gain.gain.setTargetAtTime(0, now, 0.004); node.stop(now + 0.03); } else node.stop();
    }
    run.resolve();
    this.changed();
  },
  changed() { this.watchers.forEach((watcher) => watcher()); },

  async pump(run) {
    const { context } = this, rate = sound.rate;
    while (this.run === run) {
      const left = run.ended ? Infinity : (run.frame ?? 0) / rate - context.currentTime;
      if (run.ended && context.currentTime > run.frame / rate) { run.finished = true; this.stop(); return; }
      if (left > AHEAD) { await new Promise((wake) => setTimeout(wake, 60)); continue; }
      const begin = run.cursor, length = Math.round(Math.min(LONG, SHORT * 1.5 ** run.made++) * rate);
      const end = Math.min(run.end, begin + length);
      const channels = end > begin ? await rendered(run.speed, begin, end) : [];
      if (end === run.end && run.loop && channels.length) await this.seam(run, channels);
      if (this.run !== run) return;
      if (end > begin) this.schedule(run, channels, begin, end);
      run.cursor = end;
      if (end < run.end) continue;
      if (run.loop && run.end > run.begin) run.cursor = run.begin; else run.ended = true;
    }
  },
  // The end of a loop turns into what comes before its beginning.
  async seam(run, channels) {
    const length = Math.min(Math.round(SEAM * sound.rate), channels[0].length, run.begin);
    const before = await rendered(run.speed, run.begin - length, run.begin);
    channels.forEach((samples, c) => {
      for (let i = 0; i < length; i++) {
        const share = (i + 1) / length, at = samples.length - length + i;
        samples[at] = samples[at] * (1 - share) + before[c][i] * share;
      }
    });
  },
  schedule(run, channels, begin, end) {
    const { context } = this, rate = sound.rate;
    const soonest = Math.ceil((context.currentTime + 0.03) * rate);
    if (run.frame < soonest) window.overbar.late++;
    if (run.frame === undefined || run.frame < soonest) run.frame = soonest;
    const at = run.frame / rate;
    this.fade(run, channels, begin, end);
    const buffer = context.createBuffer(channels.length, end - begin, rate);
    channels.forEach((samples, c) => buffer.copyToChannel(samples, c));
    this.start(run, buffer, this.recordingTurn, at);
    run.heard.push({ at, until: at + (end - begin) / rate, begin, end });
    while (run.heard.length > 40) run.heard.shift();
    this.accompany(run, begin, end, at);
    run.frame += end - begin;
    run.first = false;
  },
  fade(run, channels, begin, end) {
    const ramp = (length, of) => channels.forEach((samples) => {
      for (let i = 0; i < Math.min(length, samples.length); i++) of(samples, i, i / length);
    });
    if (run.first) ramp(Math.round(FADE_IN * sound.rate), (s, i, share) => { s[i] *= share; });
    if (end === run.end && !run.loop) {
      ramp(Math.round(FADE_OUT * sound.rate), (s, i, share) => { s[s.length - 1 - i] *= share; });
    }
  },
  start(run, buffer, into, at, level = 1, corner = null) {
    const { context } = this;
    const node = context.createBufferSource(), gain = context.createGain();
    node.buffer = buffer;
    gain.gain.value = level;
    gain.connect(into);
    if (corner) {
      const filter = context.createBiquadFilter();
      filter.frequency.value = corner;
      node.connect(filter).connect(gain);
    } else {
      node.connect(gain);
    }
    node.start(at);
    const entry = { node, gain };
    run.nodes.push(entry);
    node.onended = () => { run.nodes = run.nodes.filter((other) => other !== entry); gain.disconnect(); };
    return entry;
  },
  // Clicks, drums and turns that fall into a piece.
  accompany(run, begin, end, at) {
    const when = (time) => at + (moved(sampleOf(time), run.speed) - begin) / sound.rate;
    const from = timeOfSample(begin * run.speed), to = timeOfSample(end * run.speed);
    for (const [kind, time] of countsBetween(from, to)) {
      this.start(run, this.clickSounds[kind], this.clickGains[kind], Math.max(at, when(time)));
      if (kind === "bar" && this.mode === "turns") this.turn(stepAt(time + 1e-4), when(time));
    }
    if (this.mode === "turns") { if (run.first) this.turn(stepAt(from), at); } else this.turn(null, at);
    if (MODES[this.mode][1]) drums.play(run, from, to, when, at);
  },
  // Whose turn it is in the bar of a step: the recording has the odd bars; `null`: nobody's.
  turn(step, at) {
    const odd = step === null ? null : mod(barOf(Math.floor(step + 0.01)), 2) === 1;
    this.recordingTurn.gain.setTargetAtTime(odd === false ? 0 : 1, at, 0.003);
    this.drumTurn.gain.setTargetAtTime(odd === true ? 0 : 1, at, 0.003);
  },
  // The time of the file that is heard now; null when nothing is.
  get position() {
    if (!this.run) return null;
    const now = this.context.currentTime - (this.context.outputLatency || 0);
    const piece = this.run.heard.find(({ at, until }) => now >= at && now < until);
    return piece ? timeOfSample((piece.begin + (now - piece.at) * sound.rate) * this.run.speed) : null;
  },
};

// Beats, bars and starts of the figure between two times: [[kind, time]].
function countsBetween(from, to) {
  const counts = [];
  if (!grid.clock) {
    for (let beat = Math.ceil(stepAt(from) / BEAT - 1e-6); beat < 1e6; beat++) {
      const time = timeOf(beat * BEAT);
      if (time >= to) break;
      if (time >= from) counts.push([mod(beat * BEAT, BAR) === 0 ? "bar" : "beat", time]);
    }
  }
  for (let at = notBefore(rounds, stepAt(from) - 1e-6, (round) => round[0]); at < rounds.length; at++) {
    const time = timeOf(rounds[at][0]);
    if (time >= to) break;
    if (time >= from) counts.push(["round", time]);
  }
  return counts;
}

// Three sounds that cannot be taken for each other, or for a drum: pitch in Hz, fall in seconds, strength.
function clickSounds(context) {
  const looks = { beat: [1300, 0.006, 0.6], bar: [1950, 0.018, 0.8], round: [620, 0.014, 1] };
  const level = 0.4 * (sound.peak / 1000 || 0.5);
  return Object.fromEntries(Object.entries(looks).map(([kind, [hz, fall, share]]) => {
    const length = Math.floor(7 * fall * sound.rate), buffer = context.createBuffer(1, length, sound.rate);
    const samples = buffer.getChannelData(0);
    for (let i = 0; i < length; i++) {
      const t = i / sound.rate;
      samples[i] = level * share * Math.exp(-t / fall) * Math.sin(2 * Math.PI * hz * t);
    }
    return [kind, buffer];
  }));
}

// From one step to another, a little earlier at both ends so that no stroke is cut: times of the file.
function reach(from, to) {
  let early = 0;
  for (const stroke of edits.strokes) {
    if (stroke.step === from || stroke.step === to) early = Math.max(early, timeOf(stroke.step) - stroke.time);
  }
  const lead = BEFORE + Math.min(early, EARLIEST);
  return [timeOf(from) - lead, timeOf(to) - lead];
}
