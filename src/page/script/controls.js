// What is heard and how, and the keys for all of it.

const wanted = { follow: true };
const SPEEDS = [30, 110];

const controls = {
  begin() {
    const speed = byId("speed");
    speed.addEventListener("input", () => this.speedSaid());
    speed.addEventListener("change", () => this.setSpeed(Number(speed.value)));
    byId("mode").addEventListener("change", ({ target }) => this.setMode(target.value));
    for (const kind of ["beat", "bar", "round"]) {
      byId(`click-${kind}`).addEventListener("change", ({ target }) => {
        player.clicks[kind] = target.checked;
        player.balance();
      });
    }
    byId("drum-level").addEventListener("input", ({ target }) => {
      drums.level = 10 ** (Number(target.value) / 20);
      player.balance();
    });
    byId("follow").addEventListener("change", ({ target }) => { wanted.follow = target.checked; });
    for (const form of ["correct", "add"]) byId(form).addEventListener("submit", (event) => event.preventDefault());
    byId("play").addEventListener("click", () => this.playOrStop());
    byId("from-start").addEventListener("click", () => { choose({ step: solo.lines.length ? solo.lines[0][0] : 0 }, "bar", true); this.playOn(); });
    this.figureTaken();
    byId("loop-form").addEventListener("submit", (event) => { event.preventDefault(); this.loop(); });
    byId("bar-form").addEventListener("submit", (event) => { event.preventDefault(); this.find(byId("bar").value); });
    document.addEventListener("keydown", (event) => this.key(event));
    player.watchers.push(() => this.said());
    this.speedSaid();
    this.said();
  },
  figureTaken() {
    byId("click-round").parentNode.hidden = rounds.length === 0;
    byId("loop-kind").querySelector("[value=round]").disabled = rounds.length === 0;
    this.anew();
  },
  said() {
    const step = chosenStep();
    const from = step === null ? "the top" : chosen.extent === "bar" ? `bar ${barOf(step)}` : grid.clock ? placeWords(step) : `bar ${barOf(step)}, beat ${placeOf(step).beat}`;
    byId("play").textContent = player.playing ? "Stop" : `${step === null ? "Play" : "Play on"} from ${from}`;
    byId("play").setAttribute("aria-pressed", String(player.playing));
  },
  speedSaid() {
    const percent = Number(byId("speed").value);
    byId("speed-said").textContent = `${percent} %`;
    byId("speed").setAttribute("aria-valuetext", `${percent} percent of the recording's speed`);
  },
  // Goes on from where the music is, in the new manner.
  anew() {
    if (!player.playing) return;
    const { loop, whole: [from, to] } = player.run, now = player.position;
    if (loop || now === null) player.play(from, to, loop); else player.play(now, to);
  },
  setSpeed(percent) {
    const speed = clamp(Math.round(percent), ...SPEEDS);
    byId("speed").value = speed;
    this.speedSaid();
    player.speed = speed / 100;
    this.anew();
  },
  setMode(mode) {
    byId("mode").value = mode;
    byId("drum-balance").hidden = MODES[mode][1] === 0;
    player.mode = mode;
    player.balance();
    this.anew();
  },
  playOrStop() { if (player.playing) player.stop(); else this.playOn(); },
  playOn() {
    const step = chosenStep(), stroke = chosenStroke();
    const from = step === null ? soundFrom : stroke ? stroke.time - 0.02 : reach(step, step)[0];
    player.play(Math.max(0, from), timeOfSample(WHOLE));
  },
  // Bars or repeats of the figure, round and round.
  loop() {
    const kind = byId("loop-kind").value;
    let [first, last] = ["loop-from", "loop-to"].map((id) => Math.round(Number(byId(id).value)));
    if (last < first) [first, last] = [last, first];
    if (kind === "round") {
      [first, last] = [first, last].map((number) => clamp(number, 1, rounds.length));
      choose({ step: rounds[first - 1][0], span: [rounds[first - 1][0], rounds[last - 1][1]] }, "span", true);
    } else {
      choose({ step: barStart(first), span: [barStart(first), barStart(last + 1)] }, "span", true);
    }
    solo.bring(chosenStep());
    hear("span", true);
  },
  // A place by its words: a bar, a bar with beat and step, or a clock time.
  find(words) {
    const time = words.match(/(\d+):(\d+(?:\.\d+)?)/);
    const numbers = (words.match(/-?\d+/g) || []).map(Number);
    if (!time && numbers.length === 0) {
      tell("Write the number of a bar, such as 12, or 12, beat 3, or a time such as 1:04.");
      return;
    }
    const [bar, beat = 1, inside = 1] = numbers, { lines } = solo;
    const step = time ? Math.floor(stepAt(Number(time[1]) * 60 + Number(time[2])) + 1e-6) : barStart(bar) + (beat - 1) * BEAT + inside - 1;
    if (solo.boxOf(step)) {
      choose({ step }, time || numbers.length > 1 ? "beat" : "bar");
      solo.bring(step);
      tell(`Here is ${placeWords(step)}.`);
      byId("solo-lines").focus({ preventScroll: true });
      return;
    }
    const reaches = lines.length ? `: it goes from ${placeWords(lines[0][0])} to ${placeWords(lines[lines.length - 1][1] - 1)}` : "";
    tell(`The solo has no ${placeWords(step)}${reaches}.`);
  },
  key(event) {
    const typing = event.target.matches("select, textarea, input:not([type=checkbox]):not([type=range])");
    const command = event.ctrlKey || event.metaKey;
    if (command && event.key.toLowerCase() === "z" && !typing) { event.preventDefault(); undo(!event.shiftKey); return; }
    if (command && event.key.toLowerCase() === "s") { event.preventDefault(); desk.save(); return; }
    if (command || typing) {
      // Back to the strokes.
      if (event.key === "Escape" || (event.key === "Enter" && event.target.matches("select"))) {
        event.preventDefault();
        byId("solo-lines").focus({ preventScroll: true });
      }
      return;
    }
    const pressable = event.target.matches("button, summary, a, input");
    if (pressable && (event.key === " " || event.key === "Enter")) return;
    if (event.target.matches("input[type=range]") && event.key.startsWith("Arrow")) return;
    const act = this.keys[event.altKey ? `Alt ${event.key}` : event.key];
    if (!act) return;
    event.preventDefault();
    act();
  },
  keys: {
    " ": () => controls.playOrStop(),
    Escape: () => player.stop(),
    ArrowRight: () => stepAway(1), ArrowLeft: () => stepAway(-1),
    ArrowDown: () => rowAway(1), ArrowUp: () => rowAway(-1),
    Enter: () => hear(chosen.span ? "span" : "stroke"),
    e: () => hear("beat"), b: () => hear("bar"), f: () => hear("round"), c: () => hear("cell"),
    l: () => loopChosen(),
    s: () => spots.hearAll(),
    u: () => unsure.next(1), U: () => unsure.next(-1),
    "-": () => controls.setSpeed(player.speed * 100 - 5), "+": () => controls.setSpeed(player.speed * 100 + 5),
    g: () => { byId("bar").focus(); byId("bar").select(); },
    a: () => { if (chosen.voice && !chosenStroke()) addHere(chosen.voice); else byId("add-voice").focus(); },
    v: () => byId("edit-voice").focus(), h: () => byId("edit-limb").focus(), m: () => byId("edit-mark").focus(),
    "Alt ArrowLeft": () => nudge(-0.001), "Alt ArrowRight": () => nudge(0.001),
    Delete: () => correct(null), Backspace: () => correct(null),
    z: () => undo(true), y: () => undo(false),
  },
};
