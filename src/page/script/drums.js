// The study as it is written, played by sampled strokes of the synthesised kit.

// A voice's full strokes are those a tenth of its strokes reach; softer ones fall by so many dB a decade of force.
const DECADE = 30, SOFTEST = 0.12, FORCE = 0.9, GRACE = 0.45;
// Grace strokes come so long before their stroke, whatever the speed.
const GRACES = { flam: [0.025], drag: [0.09, 0.045] };
// A full stroke on the kit's kick peaks at about a half.
const KIT_PEAK = 0.5;
const drumLevel = () => ((sound.peak / 1000 || KIT_PEAK) / KIT_PEAK) * 0.8 * drums.level;

const drums = {
  strokes: null, loud: new Map(), level: 1, open: null,

  async ready(context) {
    if (this.strokes) return;
    this.strokes = new Map();
    try {
      await loadScript("sound/drums.js");
      await Promise.all(Object.entries(this.texts).map(async ([voice, text]) => {
        const [samples] = await decoded(text);
        const buffer = context.createBuffer(1, samples.length, sound.rate);
        buffer.copyToChannel(samples, 0);
        this.strokes.set(voice, buffer);
      }));
    } catch {
      tell("sound/drums.js could not be read: keep the folder sound beside this page, or make the study again.");
    }
    this.texts = null;
  },
  // The level that a tenth of a voice's strokes reach.
  loudest(voice) {
    if (!this.loud.has(voice)) {
      const levels = edits.strokes.filter((stroke) => stroke.voice === voice).map((s) => s.level).sort((a, b) => a - b);
      this.loud.set(voice, levels[Math.floor(levels.length * 0.9)] ?? 0);
    }
    return this.loud.get(voice);
  },
  // Strokes that begin between two times of the file.
  play(run, from, to, when, soonest) {
    for (let at = notBefore(edits.strokes, from, (s) => s.time); at < edits.strokes.length; at++) {
      const stroke = edits.strokes[at];
      if (stroke.time >= to) break;
      const under = Math.min(0, stroke.level - this.loudest(stroke.voice));
      const force = clamp(10 ** (under / DECADE), SOFTEST, 1) * FORCE;
      for (const before of GRACES[stroke.mark] || []) {
        this.strike(run, stroke.voice, Math.max(soonest, when(stroke.time) - before), force * GRACE);
      }
      this.strike(run, stroke.voice, Math.max(soonest, when(stroke.time)), force);
    }
  },
  strike(run, voice, at, force) {
    const buffer = this.strokes.get(voice);
    if (!buffer) return;
    // Hats that close silence open ones.
    if (this.open && (voice === "hat_closed" || voice === "hat_foot")) this.open.gain.gain.setTargetAtTime(0, at, 0.01);
    const share = force / FORCE, corner = share > 0.95 ? null : 16000 * share ** 0.7;
    const struck = player.start(run, buffer, player.drumTurn, at, share ** 1.5, corner);
    if (voice === "hat_open") this.open = struck;
  },
};
edits.watchers.push(() => drums.loud.clear());
