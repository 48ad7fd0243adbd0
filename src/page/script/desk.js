// The chosen place: what it is, how it sounds, and what the player corrects there.
//
// A place is a stroke, or a step with or without a voice. Its extent is how much of the music around it is heard.

const chosen = { id: null, step: null, voice: null, extent: "stroke", span: null };

const spotSign = byId("spot-sign");

const chosenStroke = () => (chosen.id ? edits.find(chosen.id) || null : null);
function chosenStep() {
  const stroke = chosenStroke();
  return stroke ? stroke.step ?? Math.floor(stepAt(stroke.time)) : chosen.step;
}

// The cell in which a step lies, as [first step, step after the last].
function cellAt(step) {
  return study.cells.flatMap((cell) => cell.runs).find(([from, to]) => step >= from && step < to) || null;
}
// What is heard of the chosen place: times of the file; null where there is no such thing.
function heardOf(extent) {
  const step = chosenStep(), stroke = chosenStroke();
  if (step === null) return null;
  const round = roundAt(step);
  const spans = {
    span: () => chosen.span,
    beat: () => [step - mod(step, BEAT), step - mod(step, BEAT) + BEAT],
    bar: () => [barStart(barOf(step)), barStart(barOf(step) + 1)],
    round: () => (round < 0 ? null : rounds[round]),
    cell: () => cellAt(step),
  };
  if (spans[extent]) {
    const span = spans[extent]();
    return span && reach(span[0], span[1]);
  }
  // A stroke, or a step, with a little of what follows.
  const time = stroke ? stroke.time : timeOf(step);
  return [time - 0.02, time + Math.max(0.2, (timeOf(step + 1) - timeOf(step)) * 1.5)];
}

// Chooses a place and lets it be heard.
function choose(place, extent, silent = false) {
  Object.assign(chosen, { id: null, step: null, voice: null, span: null }, place, { extent });
  if (chosen.id && !edits.find(chosen.id)) chosen.id = null;
  showChosen();
  if (!silent) hear(extent);
}
function hear(extent, loop = false) {
  const times = heardOf(extent);
  if (times) player.play(...times, loop);
}

// Choice by keys: the next stroke in time, or in another row at the same moment.
function stepAway(direction) {
  const stroke = chosenStroke(), list = edits.strokes;
  if (list.length === 0) return;
  const time = stroke ? stroke.time : chosenStep() === null ? -Infinity : timeOf(chosenStep());
  const at = stroke ? list.indexOf(stroke) + direction : notBefore(list, time, (s) => s.time) - (direction < 0 ? 1 : 0);
  const next = list[clamp(at, 0, list.length - 1)];
  choose({ id: next.id }, "stroke");
  solo.bring(chosenStep());
}
function rowAway(direction) {
  const step = chosenStep();
  if (step === null) { stepAway(1); return; }
  const stroke = chosenStroke(), voice = stroke ? stroke.voice : chosen.voice;
  const row = clamp(solo.voices.indexOf(voice) + direction, 0, solo.voices.length - 1);
  const there = bySteps.at(step).find((other) => other.voice === solo.voices[row]);
  if (there) choose({ id: there.id }, "stroke"); else choose({ step, voice: solo.voices[row] }, "step");
}

function placeSaid() {
  const stroke = chosenStroke(), step = chosenStep();
  if (stroke) return strokeWords(stroke);
  if (step === null) return "Nothing is chosen yet: click a stroke, or press an arrow key.";
  if (chosen.span) return `from ${placeWords(chosen.span[0])} to ${placeWords(chosen.span[1])}`;
  const said = { bar: `bar ${barOf(step)}`, beat: `beat at ${placeWords(step)}`, round: `repeat ${roundAt(step) + 1}, from ${placeWords(step)}` };
  return `${said[chosen.extent] || placeWords(step)}, ${clock(timeOf(step))}${chosen.voice ? `: no ${voiceName(chosen.voice)} here` : ""}`;
}

function markChosen() {
  document.querySelectorAll(".chosen").forEach((old) => old.classList.remove("chosen"));
  const stroke = chosenStroke(), step = chosenStep();
  byId("solo-lines").removeAttribute("aria-activedescendant");
  if (stroke) {
    for (const prefix of ["g", "s"]) {
      const drawn = byId(`${prefix}-${stroke.id}`);
      if (drawn) drawn.classList.add("chosen");
    }
    if (byId(`g-${stroke.id}`)) byId("solo-lines").setAttribute("aria-activedescendant", `g-${stroke.id}`);
  }
  const box = step === null ? null : solo.boxOf(step);
  spotSign.hidden = !box;
  if (!box) return;
  box.append(spotSign);
  const [from, to] = stroke ? [step, step + 1] : heardSteps(step);
  const row = solo.voices.indexOf(stroke ? stroke.voice : chosen.voice);
  const left = Math.max(from, box.from), right = Math.min(to, box.to);
  Object.assign(spotSign.style, {
    left: `${solo.names + (left - box.from) * solo.step}px`, width: `${(right - left) * solo.step}px`,
    top: `${row < 0 ? solo.TOP : solo.TOP + row * solo.ROW}px`,
    height: `${row < 0 ? solo.voices.length * solo.ROW : solo.ROW}px`,
  });
}
function heardSteps(step) {
  if (chosen.span) return chosen.span;
  if (chosen.extent === "bar") return [barStart(barOf(step)), barStart(barOf(step) + 1)];
  if (chosen.extent === "beat") return [step - mod(step, BEAT), step - mod(step, BEAT) + BEAT];
  if (chosen.extent === "round" && roundAt(step) >= 0) return rounds[roundAt(step)];
  return [step, step + 1];
}

function showChosen() {
  const stroke = chosenStroke(), step = chosenStep();
  byId("place").textContent = placeSaid();
  byId("correct").hidden = !stroke;
  byId("add").hidden = Boolean(stroke) || step === null || Boolean(chosen.span);
  if (stroke) {
    byId("edit-voice").value = stroke.voice;
    byId("edit-time").value = stroke.time.toFixed(5);
    for (const name of ["limb", "layer", "mark", "grace"]) byId(`edit-${name}`).value = stroke[name];
    byId("grace").hidden = !GRACED.includes(stroke.mark);
  } else if (step !== null) {
    byId("add-voice").value = chosen.voice || "snare";
  }
  for (const extent of ["beat", "bar", "round", "cell"]) byId(`hear-${extent}`).disabled = !heardOf(extent);
  byId("hear-stroke").disabled = byId("hear-loop").disabled = step === null;
  spots.offer();
  markChosen();
  player.changed();
}

function correct(patch) {
  const stroke = chosenStroke();
  if (!stroke) return;
  if (patch === null) {
    const { voice } = stroke, step = chosenStep();
    edits.change(stroke.id, null);
    choose({ step, voice }, "step", true);
    return;
  }
  // A stroke whose mark goes loses its grace stroke too.
  const graced = GRACED.includes(patch.mark ?? stroke.mark);
  edits.change(stroke.id, graced ? patch : { ...patch, grace: "" });
  showChosen();
}
function addHere(voice) {
  const step = chosenStep();
  if (step === null) return;
  const time = Math.max(0, Math.round(timeOf(step) * 1e5) / 1e5);
  const stroke = edits.add({ time, voice });
  choose({ id: stroke.id }, "stroke");
}
function undo(back) {
  const edit = back ? edits.undo() : edits.redo();
  if (!edit) return;
  const now = edits.find(edit.id), said = edit.now || edit.was;
  if (now) choose({ id: now.id }, "stroke", true);
  else choose({ step: Math.round(stepAt(said.time)), voice: said.voice }, "step", true);
  solo.bring(chosenStep());
}

function options(select, entries) {
  select.replaceChildren(...entries.map(([value, words]) => element("option", { value }, words)));
}

const desk = {
  begin() {
    const voices = look.voices.map(({ voice, name }) => [voice, name]);
    options(byId("edit-voice"), voices);
    options(byId("add-voice"), voices);
    options(byId("edit-limb"), [["", "not said"], ...study.limbs.map((limb) => [limb, `${LIMBS[limb]}, ${limb}`])]);
    options(byId("edit-layer"), [["", "not said"], ...study.layers.map((layer) => [layer, layer === "ostinato" ? "the figure" : "the solo"])]);
    options(byId("edit-mark"), [["", "none"], ...study.marks.map((mark) => [mark, mark])]);
    for (const name of ["voice", "limb", "layer"]) {
      byId(`edit-${name}`).addEventListener("change", ({ target }) => correct({ [name]: target.value }));
    }
    byId("edit-mark").addEventListener("change", ({ target: { value } }) =>
      correct(GRACED.includes(value) ? { mark: value } : { mark: value, grace: "" }));
    byId("edit-grace").addEventListener("change", ({ target }) => {
      const { value, min, max } = target, grace = Number(value);
      if (value === "" || (grace >= Number(min) && grace <= Number(max))) correct({ grace: value && grace.toFixed(1) });
      else showChosen();
    });
    byId("edit-time").addEventListener("change", ({ target }) => {
      const time = Number(target.value);
      if (target.value !== "" && time >= 0 && time <= study.recording.seconds) correct({ time: Math.round(time * 1e5) / 1e5 });
      else showChosen();
    });
    byId("earlier").addEventListener("click", () => nudge(-0.001));
    byId("later").addEventListener("click", () => nudge(0.001));
    byId("delete").addEventListener("click", () => correct(null));
    byId("add-stroke").addEventListener("click", () => addHere(byId("add-voice").value));
    byId("undo").addEventListener("click", () => undo(true));
    byId("redo").addEventListener("click", () => undo(false));
    byId("save").addEventListener("click", () => this.save());
    byId("hear-stroke").addEventListener("click", () => hear(chosen.span ? "span" : "stroke"));
    for (const extent of ["beat", "bar", "round", "cell"]) byId(`hear-${extent}`).addEventListener("click", () => hear(extent));
    byId("hear-loop").addEventListener("click", () => loopChosen());
    byId("desk-fold").addEventListener("click", ({ target }) => {
      const open = byId("desk").classList.toggle("open");
      target.setAttribute("aria-expanded", String(open));
      target.textContent = open ? "Close" : "Correct";
    });
    byId("unsure-next").addEventListener("click", () => unsure.next(1));
    byId("unsure-before").addEventListener("click", () => unsure.next(-1));
    edits.watchers.push(() => { this.count(); unsure.list(); });
    this.count();
    this.cells();
  },
  count() {
    const number = edits.count;
    byId("corrections").textContent = number === 0
      ? "No corrections."
      : `${counted(number, "stroke")} corrected${edits.unsaved ? ", not saved yet" : ", saved"}.`;
    byId("undo").disabled = edits.done.length === 0;
    byId("redo").disabled = edits.undone.length === 0;
    byId("save").disabled = number === 0 && !edits.unsaved;
  },
  // Gives the player the file that the next run takes up, and says where to put it.
  save() {
    const file = new Blob([edits.text()], { type: "text/tab-separated-values" });
    const link = element("a", { href: URL.createObjectURL(file), download: "hits.tsv" });
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 60000);
    edits.saved = edits.done.length;
    edits.keep();
    this.count();
    const folder = decodeURIComponent(location.pathname).replace(/[^/\\]*$/, "");
    byId("where").hidden = false;
    byId("where-folder").textContent = folder;
    byId("where-command").textContent = `${study.command} --out "${folder.replace(/[/\\]$/, "")}"`;
    byId("where").scrollIntoView({ block: "nearest" });
    tell("Your corrections are in the hits.tsv that was saved just now; below Save corrections stands where to put it.");
    checkNow();
  },
  cells() {
    byId("cells").hidden = study.cells.length === 0;
    byId("cells-list").replaceChildren(...study.cells.map((cell) => element("li", {},
      element("strong", {}, cell.name), ` ${Math.round(cell.share * 100)} % of the solo `,
      ...cell.runs.map(([from, to]) => element("button", {
        type: "button", onclick: () => { choose({ step: from, span: [from, to] }, "span"); solo.bring(from); },
      }, placeWords(from))),
    )));
  },
};
function nudge(by) {
  const stroke = chosenStroke();
  if (!stroke) return;
  correct({ time: clamp(Math.round((stroke.time + by) * 1e5) / 1e5, 0, study.recording.seconds) });
  hear("stroke");
}
function loopChosen() {
  const extent = chosen.extent === "stroke" || chosen.extent === "step" ? "bar" : chosen.extent;
  hear(extent, true);
}

// Places that the program is not sure of, one after the other.
const unsure = {
  places: [], at: -1,
  list() {
    const strokes = edits.strokes.filter(isUnsure).map((stroke) => ({
      time: stroke.time, place: { id: stroke.id }, words: strokeWords(stroke),
    }));
    const gone = emptyPlaces.filter(([step, voice]) =>
      !bySteps.at(step).some((stroke) => stroke.voice === voice));
    const missing = gone.map(([step, voice]) => ({
      time: timeOf(step), place: { step, voice }, words: `${emptyWords(step, voice)}, ${placeWords(step)}`,
    }));
    const impossible = study.impossible.map(({ time, why }) => ({
      time, place: { step: Math.round(stepAt(time)) }, words: `${clock(time)}: ${why}`,
    }));
    this.places = [...strokes, ...missing, ...impossible].sort((a, b) => a.time - b.time);
    byId("unsure-count").textContent = this.places.length === 0 ? "none" : String(this.places.length);
    byId("unsure-list").replaceChildren(...this.places.slice(0, 500).map(({ words }, at) =>
      element("li", {}, element("button", { type: "button", onclick: () => this.go(at) }, words))));
  },
  go(at) {
    if (this.places.length === 0) { tell("There is no unsure place."); return; }
    this.at = mod(at, this.places.length);
    const { place, words } = this.places[this.at];
    choose({ ...place }, place.id ? "stroke" : "step");
    solo.bring(chosenStep());
    const items = byId("unsure-list").querySelectorAll("button");
    items.forEach((item, i) => item.setAttribute("aria-current", String(i === this.at)));
    if (items[this.at]) byId("unsure-list").scrollTop = items[this.at].parentNode.offsetTop - 40;
    tell(`Unsure place ${this.at + 1} of ${this.places.length}: ${words}`);
  },
  // The first place after the chosen one, or the last before it.
  next(direction) {
    const step = chosenStep();
    const time = chosenStroke() ? chosenStroke().time : step === null ? -1 : timeOf(step);
    const known = this.places[this.at];
    if (known && Math.abs(known.time - time) < 1e-4) { this.go(this.at + direction); return; }
    const after = notBefore(this.places, time, (place) => place.time);
    this.go(direction > 0 ? after : after - 1);
  },
};
