// The figure stacked: one repeat a row, so that what repeats stands in columns. Any other length can be tried; what does
// not repeat at it walks.

const stack = {
  rows: [], lanes: [], step: 24, at: 0, labels: 96, columns: 0, chunks: [], head: null,
  PER_CHUNK: 24, TOP: 20,

  begin() {
    this.take();
    const length = byId("stack-length"), which = byId("which-figure");
    byId("figures").hidden = study.figures.length < 2;
    options(which, study.figures.map(({ length, voices }, at) =>
      [String(at), `of ${counted(length, "step")} on ${listed(voices.map(voiceName))}`]));
    which.addEventListener("change", () => {
      lookAt(Number(which.value));
      this.take();
      this.draw();
      solo.lay();
      unsure.list();
      controls.figureTaken();
      showChosen();
    });
    length.addEventListener("change", () => this.draw());
    byId("stack-by-figure").hidden = !hasFigure;
    byId("stack-by-figure").addEventListener("click", () => { length.value = figure.length; this.draw(); });
    byId("stack-by-bar").addEventListener("click", () => { length.value = BAR; this.draw(); });
    this.box = byId("stack-rows");
    this.seen = lazily(this.box, "400px", (chunk) => this.fill(chunk));
    this.box.addEventListener("click", (event) => this.clicked(event));
    edits.watchers.push((before, after) => [before, after].forEach((stroke) => stroke && this.redraw(stroke)));
    this.head = element("div", { class: "head", hidden: true });
    this.draw();
  },
  // The rows and the length of the figure that is looked at; without one, the voices that are struck most.
  take() {
    const counts = new Map();
    for (const { voice } of edits.strokes) counts.set(voice, (counts.get(voice) || 0) + 1);
    const busiest = [...counts.keys()].sort((a, b) => counts.get(b) - counts.get(a)).slice(0, 3);
    const shown = hasFigure ? figure.voices : busiest;
    this.lanes = look.voices.map((shape) => shape.voice).filter((voice) => shown.includes(voice));
    byId("stack-length").value = hasFigure ? figure.length : BAR;
  },
  get length() { return clamp(Math.round(Number(byId("stack-length").value)) || 1, 1, 4 * BAR + 200); },
  // Rows of [first step, step after the last, home].
  rowsOf(length) {
    if (hasFigure && length === figure.length) return rounds;
    const steps = edits.strokes.map((stroke) => stroke.step ?? Math.floor(stepAt(stroke.time)));
    if (steps.length === 0) return [];
    const from = hasFigure && length !== BAR ? rounds[0][0] : barStart(barOf(Math.min(...[steps[0], 0])));
    const to = hasFigure && length !== BAR ? rounds[rounds.length - 1][1] : steps[steps.length - 1] + 1;
    const rows = [];
    for (let at = from; at < to && rows.length < 20000; at += length) rows.push([at, at + length, false]);
    return rows;
  },
  draw() {
    const { length } = this;
    this.rows = this.rowsOf(length);
    this.labels = this.box.clientWidth < 330 ? 74 : 96;
    this.step = clamp((this.box.clientWidth - this.labels - 14) / length, 7, 30);
    this.height = this.lanes.length * 14 + 6;
    const wide = this.labels + this.step * length + 8;
    this.box.classList.toggle("narrow", wide < 400);
    const numbers = [];
    for (let step = 0; step < length; step++) {
      if (this.step < 14 && step % Math.ceil(14 / this.step) !== 0) continue;
      numbers.push(`<text class="count" x="${this.x(step).toFixed(1)}" y="14" text-anchor="middle">${step + 1}</text>`);
    }
    const top = element("div", { class: "columns" });
    top.innerHTML = `<svg viewBox="0 0 ${wide} ${this.TOP}" width="${wide}" height="${this.TOP}" aria-hidden="true">${numbers.join("")}</svg>`;
    this.box.replaceChildren(top);
    this.chunks = [];
    for (let first = 0; first < this.rows.length; first += this.PER_CHUNK) {
      const rows = this.rows.slice(first, first + this.PER_CHUNK);
      const chunk = element("div", { class: "chunk", style: `height:${rows.length * this.height}px;width:${wide}px` });
      chunk.first = first;
      this.chunks.push(chunk);
      // On paper rows stand beside each other or go on over the page: each part has its own numbers there.
      const part = element("div", { class: "part" }), again = element("div", { class: "again" });
      again.innerHTML = top.innerHTML;
      part.append(again, chunk);
      this.box.append(part);
      this.seen.observe(chunk);
    }
    const whole = hasFigure && length === figure.length;
    byId("stack-said").textContent = whole
      ? `One repeat a row: the figure stands in columns.`
      : length === BAR
        ? `One bar a row${hasFigure && figure.length !== BAR ? ": the figure walks" : ""}.`
        : `Rows of ${counted(length, "step")}: what repeats at this length stands in columns.`;
    this.box.setAttribute("aria-label", byId("stack-said").textContent);
  },
  x(column) { return this.labels + this.step * (column + 0.5); },
  fill(chunk) {
    const rows = this.rows.slice(chunk.first, chunk.first + this.PER_CHUNK);
    const parts = rows.map((row, at) => this.rowSvg(row, chunk.first + at, at * this.height));
    const width = this.labels + this.step * this.length + 8;
    const height = rows.length * this.height;
    chunk.innerHTML = `<svg viewBox="0 0 ${width} ${height}" width="${width}" height="${height}">${parts.join("")}</svg>`;
  },
  rowSvg([from, to, home], number, top) {
    const middle = top + this.height / 2, ending = this.labels + this.step * (to - from);
    const bars = this.rows !== rounds && this.length === BAR;
    const name = bars ? `bar ${barOf(from)}` : String(number + 1);
    const where = home ? "home" : clock(timeOf(from));
    const label = `<g class="label" data-row="${number}" role="button" aria-label="hear ${bars ? name : `repeat ${name}`}, from ${placeWords(from)}${home ? ", home" : ""}">`
      + `<rect x="0" y="${top}" width="${this.labels - 8}" height="${this.height}" class="touch"/>`
      + `<text class="number" x="4" y="${middle + 4}">${name}</text>`
      + `<text class="${home ? "home" : "count"}" x="${this.labels - 12}" y="${middle + 4}" text-anchor="end">${where}</text></g>`;
    const lines = this.lanes.map((_, lane) =>
      `<path class="rule" d="M${this.labels} ${this.y(top, lane)}H${ending.toFixed(1)}"/>`).join("");
    const ticks = [];
    for (let step = from; step <= to; step++) {
      if (mod(step, BAR) !== 0) continue;
      const x = (this.labels + this.step * (step - from)).toFixed(1);
      ticks.push(`<path class="bar" d="M${x} ${top + 2}v${this.height - 4}"/>`);
    }
    const strokes = [];
    for (let step = from; step < to; step++) {
      for (const stroke of bySteps.at(step)) {
        const lane = this.laneOf(stroke, step);
        if (lane < 0) continue;
        const x = this.x(step - from), y = this.y(top, lane);
        const added = addedAt.has(`${step} ${stroke.voice}`);
        strokes.push(strokeSvg(stroke, x, y, Math.min(6.5, this.step * 0.45), "s", false, added));
      }
    }
    const missing = emptyPlaces.filter(([step, voice]) =>
      step >= from && step < to && !bySteps.at(step).some((stroke) => stroke.voice === voice));
    for (const [step, voice] of missing) {
      const lane = this.lanes.indexOf(voice);
      if (lane < 0) continue;
      const words = `${emptyWords(step, voice)}, ${placeWords(step)}`;
      strokes.push(shapeSvg(voice, this.x(step - from), this.y(top, lane), Math.min(6, this.step * 0.42), "missing",
        `data-missing="${step} ${voice}" role="img" aria-label="${words}"`, `<title>${words}</title>`));
    }
    return `<g class="row" id="row-${number}">${label}${lines}${ticks.join("")}${strokes.join("")}</g>`;
  },
  y(top, lane) { return top + 10 + lane * 14; },
  // The lane of a stroke: its voice's, or that of the note in whose place it was struck on another drum.
  laneOf(stroke, step) {
    const own = this.lanes.indexOf(stroke.voice);
    if (own >= 0 || stroke.layer !== "ostinato") return own;
    const round = roundAt(step);
    const note = round < 0 ? undefined : figure.notes.find((note) => note.step === step - rounds[round][0] + 1);
    return note ? this.lanes.indexOf(note.voices[0]) : -1;
  },
  rowOf(step) {
    const at = notBefore(this.rows, step + 1e-6, (row) => row[0]) - 1;
    return at >= 0 && step < this.rows[at][1] ? at : -1;
  },
  redraw(stroke) {
    const row = this.rowOf(stroke.step ?? Math.floor(stepAt(stroke.time)));
    const chunk = row < 0 ? null : this.chunks[Math.floor(row / this.PER_CHUNK)];
    if (chunk && chunk.filled) this.fill(chunk);
  },
  clicked(event) {
    const label = event.target.closest(".label"), stroke = event.target.closest("[data-stroke]");
    const missing = event.target.closest("[data-missing]");
    if (stroke) choose({ id: stroke.dataset.stroke }, "stroke");
    else if (missing) {
      const [step, voice] = missing.dataset.missing.split(" ");
      choose({ step: Number(step), voice }, "stroke");
    } else if (label) {
      const [from, to] = this.rows[Number(label.dataset.row)];
      choose({ step: from, span: [from, to] }, "span");
    }
  },
  // Shows where the music is; `null` when nothing plays.
  follow(step) {
    const row = step === null ? -1 : this.rowOf(step);
    if (row < 0) { this.head.hidden = true; this.at = -1; return; }
    const chunk = this.chunks[Math.floor(row / this.PER_CHUNK)];
    const top = (row - chunk.first) * this.height;
    if (this.head.parentNode !== chunk) chunk.append(this.head);
    this.head.hidden = false;
    this.head.style.height = `${this.height}px`;
    this.head.style.transform = `translate(${this.labels + this.step * (step - this.rows[row][0] + 0.5)}px, ${top}px)`;
    if (row !== this.at && wanted.follow) {
      const y = chunk.offsetTop + top, { scrollTop, clientHeight } = this.box;
      if (y < scrollTop + this.TOP || y + this.height * 2 > scrollTop + clientHeight) {
        this.box.scrollTop = y - clientHeight / 3;
      }
    }
    this.at = row;
  },
};
