// The same spot in every round: one step of the figure, or of the bar, seen and heard across all its repeats one after
// another. A doubtful note is settled by those around it.

const spots = {
  step: null, places: [], going: 0,
  WIDE: 132, HIGH: 34,

  begin() {
    byId("spots-kind").addEventListener("change", () => this.show());
    byId("spots").addEventListener("toggle", () => this.refresh());
    byId("spots-hear").addEventListener("click", () => this.hearAll());
    this.seen = lazily(byId("spots-list"), "100px", (canvas) => {
      const { step } = canvas;
      drawStrip(canvas, this.WIDE, this.HIGH, (x) => timeOf(step - 1 + (x / this.WIDE) * 3 - 0.5));
    });
  },
  // Says what could be shown for the chosen place; the list follows when it is open.
  offer() {
    const step = chosenStep();
    if (step === null || step === this.step) { if (step !== null && !this.going) this.refresh(); return; }
    if (this.going) return;
    this.step = step;
    byId("spots").hidden = grid.clock;
    const round = roundAt(step);
    byId("spots-kind").querySelector("[value=figure]").disabled = round < 0;
    byId("spots-kind").value = round < 0 ? "bar" : "figure";
    if (byId("spots").open) this.show();
  },
  refresh() { if (byId("spots").open) this.show(); },
  // The steps that are the same spot, with what each repeat is called.
  found() {
    const { step } = this, round = roundAt(step);
    if (step === null || solo.lines.length === 0) return [];
    if (byId("spots-kind").value === "figure" && round >= 0) {
      const inside = step - rounds[round][0];
      return rounds.map(([from, to], at) => ({ name: `repeat ${at + 1}`, step: from + inside, to })).filter((spot) => spot.step < spot.to);
    }
    const first = barOf(solo.lines[0][0]), last = barOf(solo.lines[solo.lines.length - 1][1] - 1);
    return Array.from({ length: last - first + 1 }, (_, at) => ({
      name: `bar ${first + at}`, step: barStart(first + at) + mod(step, BAR),
    }));
  },
  show() {
    if (this.step === null) { byId("spots-said").textContent = "Choose a stroke or a place first."; return; }
    this.places = this.found();
    const inside = byId("spots-kind").value === "figure" ? `step ${this.step - rounds[roundAt(this.step)][0] + 1} of the figure` : placeWords(this.step).replace(/^bar \d+, /, "");
    const counts = new Map();
    for (const { step } of this.places) for (const voice of new Set(bySteps.at(step).map((s) => s.voice))) counts.set(voice, (counts.get(voice) || 0) + 1);
    const most = [...counts].sort((a, b) => b[1] - a[1]).map(([voice, count]) => `${voiceName(voice)} in ${count}`);
    byId("spots-said").textContent = `${inside}, ${counted(this.places.length, "time")}: ${most.length ? listed(most) : "nothing struck"}.`;
    byId("spots-list").replaceChildren(...this.places.map((spot, at) => this.row(spot, at)));
    byId("spots-list").querySelectorAll("canvas").forEach((canvas) => this.seen.observe(canvas));
    const own = this.places.findIndex(({ step }) => step === chosenStep());
    const row = byId("spots-list").children[own];
    if (row) byId("spots-list").scrollTop = row.offsetTop - 60;
  },
  row({ name, step }, at) {
    const wide = this.WIDE / 3;
    const strokes = [step - 1, step, step + 1].flatMap((s, column) => bySteps.at(s).map((stroke) => {
      const lane = solo.voices.indexOf(stroke.voice);
      const y = 5 + (lane / Math.max(1, solo.voices.length - 1)) * (this.HIGH - 10);
      return strokeSvg(stroke, (column + 0.5) * wide, y, column === 1 ? 6 : 4, `r${at}`);
    }));
    const struck = listed(bySteps.at(step).map((stroke) => voiceName(stroke.voice))) || "nothing";
    const button = element("button", {
      type: "button", "aria-label": `hear ${name}, ${placeWords(step)}: ${struck}`,
      onclick: () => { this.hear(at); },
    });
    button.innerHTML = `<span><b>${name}</b> ${struck}</span><div><svg width="${this.WIDE}" height="${this.HIGH}" aria-hidden="true"><rect class="middle" x="${wide}" width="${wide}" height="${this.HIGH}"/>${strokes.join("")}</svg></div>`;
    if (hasSound) {
      const canvas = element("canvas", { class: "strip", style: `width:${this.WIDE}px;height:${this.HIGH}px`, "aria-hidden": "true" });
      canvas.step = step;
      button.lastChild.append(canvas);
    }
    return element("li", { "aria-current": String(step === chosenStep()) }, button);
  },
  // One repeat's spot, with its neighbours.
  hear(at) {
    const { step } = this.places[at];
    for (const [i, row] of [...byId("spots-list").children].entries()) row.setAttribute("aria-current", String(i === at));
    const row = byId("spots-list").children[at], list = byId("spots-list");
    if (row.offsetTop < list.scrollTop || row.offsetTop + row.offsetHeight > list.scrollTop + list.clientHeight) {
      list.scrollTop = row.offsetTop - 60;
    }
    const voice = chosenStroke() ? chosenStroke().voice : chosen.voice;
    const there = bySteps.at(step).find((stroke) => stroke.voice === voice) || bySteps.at(step)[0];
    this.going++;
    choose(there ? { id: there.id } : { step, voice }, "step", true);
    this.going--;
    solo.bring(step);
    return player.play(timeOf(step - 1) - 0.01, timeOf(step + 1) + 0.12);
  },
  // All of them, one after another, until something else is played.
  async hearAll() {
    if (!byId("spots").open) byId("spots").open = true;
    if (this.places.length === 0) this.show();
    const own = Math.max(0, this.places.findIndex(({ step }) => step === chosenStep()));
    const order = [...this.places.keys()].slice(own).concat([...this.places.keys()].slice(0, own));
    const round = ++this.round;
    for (const at of order) {
      const over = this.hear(at);
      const run = player.run;
      await over;
      await new Promise((wake) => setTimeout(wake, 180));
      // Something else was played, or all was stopped, meanwhile.
      if (round !== this.round || player.playing || !run || !run.finished) return;
    }
  },
  round: 0,
};
