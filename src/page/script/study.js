// The study that the page shows: its grid as arithmetic, and its places in words.

const study = JSON.parse(document.getElementById("study").textContent);
const { grid, look, sound } = study;
const BEAT = grid.per_beat, BAR = grid.per_beat * grid.beats_per_bar;

const mod = (a, b) => ((a % b) + b) % b;
const clamp = (x, low, high) => Math.min(high, Math.max(low, x));
// The first index of a rising list whose value is not less than `wanted`.
function notBefore(list, wanted, of = (x) => x) {
  let low = 0, high = list.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (of(list[middle]) < wanted) low = middle + 1; else high = middle;
  }
  return low;
}

// Pairs of steps may be played long and short.
const swings = grid.long !== 0.5 && BEAT % 2 === 0;
function swung(step) {
  if (!swings) return step;
  const pair = 2 * Math.floor(step / 2), inside = step - pair;
  return pair + (inside < 1 ? inside * 2 * grid.long : 2 * (grid.long + (inside - 1) * (1 - grid.long)));
}
function straight(step) {
  if (!swings) return step;
  const pair = 2 * Math.floor(step / 2), inside = (step - pair) / 2;
  return pair + (inside < grid.long ? inside / grid.long : 1 + (inside - grid.long) / (1 - grid.long));
}

// When a step falls; steps count from the start of bar 1 and may have a fraction.
function timeOf(step) {
  const beats = swung(step) / BEAT + grid.first;
  const at = clamp(Math.floor(beats), 0, grid.beats.length - 2);
  return grid.beats[at] + (grid.beats[at + 1] - grid.beats[at]) * (beats - at);
}
// Which step a time is, with a fraction.
function stepAt(time) {
  const at = clamp(notBefore(grid.beats, time + 1e-9) - 1, 0, grid.beats.length - 2);
  const [a, b] = [grid.beats[at], grid.beats[at + 1]];
  return straight((at + (time - a) / (b - a) - grid.first) * BEAT);
}

const barOf = (step) => Math.floor(step / BAR) + 1;
const barStart = (bar) => (bar - 1) * BAR;
function placeOf(step) {
  const inside = mod(step, BAR);
  return { bar: barOf(step), beat: Math.floor(inside / BEAT) + 1, step: (inside % BEAT) + 1 };
}
function clock(time) {
  const tenths = Math.round(Math.max(0, time) * 10);
  return `${Math.floor(tenths / 600)}:${String(Math.floor(tenths / 10) % 60).padStart(2, "0")}.${tenths % 10}`;
}
function placeWords(step) {
  if (grid.clock) return clock(timeOf(step));
  const place = placeOf(Math.floor(step));
  return `bar ${place.bar}, beat ${place.beat}, step ${place.step}`;
}
const counted = (number, noun) => `${number} ${noun}${number === 1 ? "" : "s"}`;
function listed(items) {
  return items.length < 2 ? items.join("") : `${items.slice(0, -1).join(", ")} and ${items[items.length - 1]}`;
}

const shapes = new Map(look.voices.map((shape) => [shape.voice, shape]));
const voiceName = (voice) => (shapes.get(voice) || { name: voice }).name;
const LIMBS = { RH: "right hand", LH: "left hand", RF: "right foot", LF: "left foot" };

// The figure that is looked at, its repeats as [first step, step after the last, whether it comes home], what they have
// beyond it, its notes that are struck a step beside their place, by that place, and all places where its note is not struck.
const hasFigure = study.figures.length > 0;
let figure = null, rounds = [], addedAt = new Set(), movedFrom = new Map(), emptyPlaces = [];
function lookAt(index) {
  figure = study.figures[index] || null;
  rounds = figure ? figure.rounds : [];
  const { missing = [], added = [], moved = [] } = figure || {};
  addedAt = new Set(added.map(([step, voice]) => `${step} ${voice}`));
  movedFrom = new Map(moved.map(([step, voice, by]) => [`${step} ${voice}`, by]));
  emptyPlaces = [...missing, ...moved.map(([step, voice]) => [step, voice])];
}
lookAt(0);
// The number of the repeat, from 0, in which a step lies; -1 outside the figure.
function roundAt(step) {
  const at = notBefore(rounds, step + 1e-6, (round) => round[0]) - 1;
  return at >= 0 && step < rounds[at][1] ? at : -1;
}

// The sound's own reach, in seconds of the file.
const soundFrom = sound.start / sound.rate, soundTo = (sound.start + sound.length) / sound.rate;
const hasSound = sound.length > 0 && sound.channels > 0;

function element(name, attributes = {}, ...children) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (key.startsWith("on")) made.addEventListener(key.slice(2), value);
    else if (value === true) made.setAttribute(key, "");
    else if (value !== false && value !== null && value !== undefined) made.setAttribute(key, value);
  }
  made.append(...children);
  return made;
}
const byId = (id) => document.getElementById(id);
