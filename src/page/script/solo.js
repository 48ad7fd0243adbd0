// The solo bar by bar: strokes as shapes on ruled rows, a row for each voice, and under them the sound itself.

const solo = {
  lines: [], boxes: [], voices: [], names: 92, step: 20, at: -1, head: null,
  ROW: 20, TOP: 42, STRIP: 40, CELLS: 18,

  begin() {
    this.box = byId("solo-lines");
    this.seen = lazily(null, "700px", (box) => this.fill(box));
    this.strips = lazily(null, "150px", (canvas) => {
      drawStrip(canvas, canvas.wide, this.STRIP, (x) => timeOf(canvas.from + x / this.step - 0.5));
    });
    this.head = element("div", { class: "head", hidden: true });
    this.box.addEventListener("click", (event) => this.clicked(event));
    edits.watchers.push((before, after) => {
      if (after && !this.voices.includes(after.voice)) { this.lay(); return; }
      [before, after].forEach((stroke) => stroke && this.redraw(stroke));
    });
    let width = this.box.clientWidth;
    new ResizeObserver(() => {
      if (Math.abs(this.box.clientWidth - width) < 2) return;
      width = this.box.clientWidth;
      this.lay();
      stack.draw();
    }).observe(this.box);
    this.lay();
  },
  // Deals the bars out to lines that fit the width.
  lay() {
    const struck = new Set(edits.strokes.map((stroke) => stroke.voice));
    this.voices = look.voices.map((shape) => shape.voice).filter((voice) => struck.has(voice));
    const narrow = this.box.clientWidth < 520;
    this.names = narrow ? 66 : 92;
    const room = this.box.clientWidth - this.names - 14;
    const fits = (steps) => steps * (narrow ? 11 : 15) <= room;
    const bars = [4, 2, 1].find((n) => BAR * n <= 48 && fits(BAR * n)) || (fits(BAR) ? 1 : 0);
    const beats = Math.max(1, Math.floor(room / 11 / BEAT));
    const steps = bars ? BAR * bars : Math.min(BAR, beats * BEAT);
    this.step = room / steps;
    this.lines = this.cut(bars || 1, steps);
    this.head.remove();
    this.height = this.TOP + this.voices.length * this.ROW + (study.cells.length ? this.CELLS : 0) + 6;
    this.boxes = this.lines.map(([from, to], index) => {
      const bar = barOf(from);
      const name = grid.clock ? `from ${clock(timeOf(from))}` : barOf(to - 1) > bar ? `bars ${bar} to ${barOf(to - 1)}` : `bar ${bar}`;
      const box = element("div", {
        class: "line", role: "group", "aria-label": name, id: `line-${index + 1}`,
        style: `height:${this.height + (hasSound ? this.STRIP : 0) + 14}px`,
      });
      [box.from, box.to] = [from, to];
      return box;
    });
    this.box.replaceChildren(...this.boxes);
    this.boxes.forEach((box) => this.seen.observe(box));
  },
  cut(bars, steps) {
    const strokes = edits.strokes.map((stroke) => stroke.step ?? Math.floor(stepAt(stroke.time)));
    const lines = [];
    if (strokes.length === 0) return lines;
    const last = barOf(strokes.reduce((a, b) => Math.max(a, b)));
    let bar = barOf(strokes.reduce((a, b) => Math.min(a, b)));
    while (bar <= last && lines.length < 20000) {
      // Bar 1 begins a line, and so does every `bars`-th after it.
      const next = Math.min(last + 1, (Math.floor((bar - 1) / bars) + 1) * bars + 1);
      for (let at = barStart(bar); at < barStart(next); at += steps) lines.push([at, Math.min(at + steps, barStart(next))]);
      bar = next;
    }
    return lines;
  },
  x(from, step) { return this.names + (step - from + 0.5) * this.step; },
  y(row) { return this.TOP + (row + 0.5) * this.ROW; },
  fill(box) {
    const { from, to } = box, width = this.names + (to - from) * this.step + 10;
    const svg = `<svg viewBox="0 0 ${width.toFixed(0)} ${this.height}" width="${width.toFixed(0)}" height="${this.height}">${this.ruled(from, to)}${this.signs(from, to)}${this.strokes(from, to)}</svg>`;
    const old = box.querySelector("canvas");
    if (box.querySelector("svg")) box.querySelector("svg").outerHTML = svg;
    else box.insertAdjacentHTML("afterbegin", svg);
    if (this.boxOf(chosenStep()) === box) markChosen();
    if (old || !hasSound) return;
    const canvas = element("canvas", {
      class: "strip", role: "img", "aria-label": "the sound itself",
      style: `left:${this.names}px;top:${this.height}px;width:${(to - from) * this.step}px;height:${this.STRIP}px`,
    });
    Object.assign(canvas, { from, wide: (to - from) * this.step });
    box.append(canvas);
    this.strips.observe(canvas);
  },
  ruled(from, to) {
    const out = [], high = this.TOP, low = this.TOP + this.voices.length * this.ROW;
    const edge = (step) => (this.names + (step - from) * this.step).toFixed(1);
    for (let step = from; step < to; step++) {
      const beat = mod(step, BEAT) === 0, x = this.x(from, step).toFixed(1);
      out.push(beat ? `<path class="beat" d="M${x} ${high}V${low}"/>` : `<path class="tick" d="M${x} ${low - 2}v5"/>`);
    }
    this.voices.forEach((voice, row) => {
      out.push(`<path class="rule" d="M${this.names} ${this.y(row)}H${edge(to)}"/>`);
      out.push(`<text class="name" x="${this.names - 8}" y="${this.y(row) + 4}" text-anchor="end">${voiceName(voice)}</text>`);
    });
    for (let step = from; step <= to; step++) {
      if (mod(step, BAR) === 0) out.push(`<path class="bar" d="M${edge(step)} ${high}V${low}"/>`);
    }
    return out.join("");
  },
  // Numbers of bars and beats, starts of the figure, cells: each can be heard.
  signs(from, to) {
    const out = [], narrow = this.names < 80;
    const button = (kind, step, words, inside, more = "") =>
      `<g class="can ${kind}" data-kind="${kind}" data-step="${step}" role="button" aria-label="hear ${words}" ${more}>${inside}</g>`;
    for (let step = from; step < to; step++) {
      if (mod(step, BEAT) !== 0) continue;
      const place = placeOf(step), x = this.x(from, step);
      if (grid.clock) {
        out.push(button("beat", step, placeWords(step), `<text class="count" x="${x}" y="18" text-anchor="middle">${clock(timeOf(step))}</text>`));
      } else if (place.beat === 1) {
        const time = narrow || this.step * BEAT < 92 ? "" : `<tspan class="count" dx="6">${clock(timeOf(step))}</tspan>`;
        out.push(button("bar", step, `bar ${place.bar}`, `<rect class="touch" x="${x - this.step / 2}" y="0" width="${this.step * BEAT}" height="20"/><text class="number" x="${x - this.step / 2 + 2}" y="16">${place.bar}${time}</text>`));
      } else {
        out.push(button("beat", step, placeWords(step), `<rect class="touch" x="${x - 12}" y="0" width="24" height="20"/><text class="count" x="${x}" y="16" text-anchor="middle">${place.beat}</text>`));
      }
    }
    for (let at = notBefore(rounds, from, (round) => round[0]); at < rounds.length && rounds[at][0] < to; at++) {
      const [step, , home] = rounds[at], x = this.x(from, step);
      const low = this.TOP + this.voices.length * this.ROW;
      const sign = `<path class="thread" d="M${x} 38V${low}"/><rect class="touch" x="${x - 10}" y="20" width="26" height="20"/>`
        + `<path class="start" d="M${x - 5} 29h10l-5 9z"/><text class="start" x="${x + 7}" y="36">${at + 1}${home && !narrow ? " home" : ""}</text>`;
      out.push(button("round", step, `repeat ${at + 1} of the figure, from ${placeWords(step)}${home ? ", home" : ""}`, sign));
    }
    study.cells.forEach((cell, number) => {
      for (const [first, after] of cell.runs) {
        if (after <= from || first >= to) continue;
        const y = this.TOP + this.voices.length * this.ROW + 8;
        const left = this.x(from, Math.max(first, from)) - this.step * 0.4, right = this.x(from, Math.min(after, to) - 1) + this.step * 0.4;
        const words = `cell ${cell.name}, from ${placeWords(first)}`;
        const begun = first >= from;
        out.push(button("cell", first, words,
          `<rect class="touch" x="${left}" y="${y - 6}" width="${right - left}" height="${this.CELLS}"/><path class="cell" d="M${left.toFixed(1)} ${y}${begun ? "v-4m0 4" : ""}H${right.toFixed(1)}${after <= to ? "v-4" : ""}"/>`
          + (begun && right - left > 40 ? `<text class="cell" x="${(left + 3).toFixed(1)}" y="${y + 12}">${cell.cell}</text>` : ""),
          `data-cell="${number}" data-to="${after}"`));
      }
    });
    return out.join("");
  },
  strokes(from, to) {
    const out = [], largest = Math.min(8, this.step * 0.46);
    for (let step = from; step < to; step++) {
      const lastIn = new Map();
      for (const stroke of bySteps.at(step)) {
        const row = this.voices.indexOf(stroke.voice);
        if (row < 0) continue;
        // Two strokes of one voice on one step stand side by side.
        const aside = lastIn.has(row) ? lastIn.get(row) + 5 : 0;
        lastIn.set(row, aside);
        const at = stroke.step === null ? stepAt(stroke.time) - 0.5 : step;
        out.push(strokeSvg(stroke, this.x(from, at) + aside, this.y(row), largest, "g"));
      }
    }
    return out.join("");
  },
  boxOf(step) {
    if (step === null) return null;
    const at = notBefore(this.lines, step + 1e-6, (line) => line[0]) - 1;
    return at >= 0 && step < this.lines[at][1] ? this.boxes[at] : null;
  },
  redraw(stroke) {
    const box = this.boxOf(stroke.step ?? Math.floor(stepAt(stroke.time)));
    if (box && box.filled) this.fill(box);
  },
  clicked(event) {
    const box = event.target.closest(".line");
    if (!box) return;
    const sign = event.target.closest(".can");
    if (sign) {
      const { kind, step, to } = sign.dataset;
      if (kind === "cell") choose({ step: Number(step), span: [Number(step), Number(to)] }, "span");
      else choose({ step: Number(step) }, kind);
      return;
    }
    const struck = event.target.closest("[data-stroke]");
    if (struck) { choose({ id: struck.dataset.stroke }, "stroke"); return; }
    const area = box.getBoundingClientRect();
    const x = event.clientX - area.left, y = event.clientY - area.top;
    const step = Math.floor((x - this.names) / this.step) + box.from;
    if (x < this.names || step < box.from || step >= box.to) return;
    if (y >= this.height) { choose({ step }, "step"); return; }
    const row = Math.floor((y - this.TOP) / this.ROW);
    const voice = this.voices[row];
    if (!voice) return;
    // The nearest stroke of the row, else the empty place itself.
    const near = [step - 1, step, step + 1].flatMap((s) => bySteps.at(s)).filter((stroke) => stroke.voice === voice)
      .map((stroke) => [Math.abs(this.x(box.from, stroke.step ?? stepAt(stroke.time) - 0.5) - x), stroke])
      .sort((a, b) => a[0] - b[0])[0];
    if (near && near[0] < Math.max(11, this.step * 0.5)) choose({ id: near[1].id }, "stroke");
    else choose({ step, voice }, "step");
  },
  bring(step) {
    const box = this.boxOf(Math.floor(step));
    if (!box) return;
    // What stays in place covers some of the window: the controls above, on a phone the desk below.
    const fixed = (id) => ["sticky", "fixed"].includes(getComputedStyle(byId(id)).position) ? byId(id).getBoundingClientRect() : null;
    const area = box.getBoundingClientRect(), say = fixed("say"), under = getComputedStyle(byId("desk")).position === "fixed" ? fixed("desk") : null;
    const high = say ? say.bottom : 0, low = under ? under.top : window.innerHeight;
    if (area.top < high || area.bottom > low) window.scrollBy({ top: area.top - high - 8 });
  },
  follow(step) {
    const box = step === null ? null : this.boxOf(step);
    if (!box) { this.head.hidden = true; this.at = null; return; }
    if (this.head.parentNode !== box) box.append(this.head);
    this.head.hidden = false;
    this.head.style.height = `${this.height + (hasSound ? this.STRIP : 0) - 20}px`;
    this.head.style.transform = `translate(${this.names + (step - box.from + 0.5) * this.step}px, 20px)`;
    if (box !== this.at && wanted.follow) this.bring(step);
    this.at = box;
  },
};
