// Brings the page to life, and follows the music.

window.overbar = {
  part(number, text) { store.arrived.set(number, text); },
  drums(texts) { drums.texts = texts; },
  now(digest) { this.current = digest; },
  current: null,
  // How often a piece of sound came too late and left a gap.
  late: 0,
};

// Whether the folder still holds the study that this page shows.
async function checkNow() {
  try {
    await loadScript("sound/now.js");
  } catch {
    return;
  }
  const stale = window.overbar.current !== null && window.overbar.current !== study.digest;
  byId("stale").hidden = !stale;
}

function offerStale() {
  const stale = staleEdits();
  byId("kept").hidden = stale.length === 0;
  if (stale.length === 0) return;
  const number = stale.reduce((sum, { done, saved }) => sum + done.length - (saved || 0), 0);
  byId("kept-said").textContent = `${counted(number, "correction")} made on an earlier writing of this study ${number === 1 ? "was" : "were"} never saved.`;
  const forget = () => { stale.forEach(({ key }) => localStorage.removeItem(key)); byId("kept").hidden = true; };
  byId("kept-bring").onclick = () => {
    const all = stale.flatMap(({ done }) => done), fitted = bringOver(all);
    tell(`${fitted} of ${all.length} found their strokes here.`);
    forget();
    showChosen();
  };
  byId("kept-forget").onclick = forget;
}

function frame() {
  const time = player.position;
  const step = time === null ? null : stepAt(time);
  if (step !== null || !solo.head.hidden || !stack.head.hidden) {
    solo.follow(step);
    stack.follow(step);
  }
  requestAnimationFrame(frame);
}

function begin() {
  byId("title").textContent = look.title;
  byId("source").textContent = look.source;
  byId("grid").textContent = look.grid;
  byId("figure").textContent = look.figure;
  byId("warnings").replaceChildren(...study.warnings.map((words) => element("li", {}, words)));
  // Without beats there is nothing to stack.
  byId("stack").hidden = grid.clock;
  byId("warnings-block").hidden = study.warnings.length === 0;
  const kept = edits.recall();
  // What stays in place below the controls has to know how high they are; on a phone they are folded.
  byId("how").open = window.innerWidth >= 900;
  const keepHeight = (name, box) => new ResizeObserver(() => {
    document.documentElement.style.setProperty(name, `${box.offsetHeight}px`);
  }).observe(box);
  keepHeight("--say", byId("say"));
  keepHeight("--bar", byId("play").parentNode);
  stack.begin();
  solo.begin();
  spots.begin();
  desk.begin();
  unsure.list();
  controls.begin();
  showChosen();
  if (kept > 0) tell(`${counted(kept, "correction")} kept in this browser ${kept === 1 ? "is" : "are"} in force again.`);
  if (!hasSound) tell("This page has no sound beside it; the written drums can still be played.");
  else if (sound.length < sound.whole) tell(`The recording sounds up to ${clock(soundTo)}; after that only the written drums.`);
  offerStale();
  checkNow();
  window.addEventListener("focus", checkNow);
  window.addEventListener("beforeprint", () => {
    solo.boxes.forEach((box) => { if (!box.filled) { box.filled = true; solo.fill(box); } });
    stack.chunks.forEach((chunk) => { if (!chunk.filled) { chunk.filled = true; stack.fill(chunk); } });
  });
  byId("legend").innerHTML = legend();
  requestAnimationFrame(frame);
}

// What the shapes and signs mean.
function legend() {
  const svg = (inside) => `<svg width="34" height="22" aria-hidden="true">${inside}</svg>`;
  const entries = solo.voices.map((voice) => [shapeSvg(voice, 15, 11, 7, hasFigure ? "solo" : "alone"), voiceName(voice)]);
  const first = solo.voices.find((voice) => hasFigure && figure.voices.includes(voice));
  if (first) {
    entries.unshift([shapeSvg(first, 15, 11, 7, "figure"), "of the figure"], [shapeSvg(first, 15, 11, 7, "solo"), "of the solo"]);
    entries.push([shapeSvg(first, 15, 11, 7, "missing"), "missing from the figure"]);
    entries.push([`<path class="added" d="M10.5 11h9m-4.5-4.5v9"/>`, "beyond the figure"]);
    entries.push([`<path class="start" d="M8 6h10l-5 9z"/><text class="start" x="20" y="15">7</text>`, "repeat 7 of the figure starts"]);
  }
  const small = shapeSvg("snare", 16, 12, 5, "solo");
  for (const mark of study.marks) entries.push([small + signSvg(16, 12, 5, mark), mark]);
  entries.push([`${small}<text class="doubt" x="21" y="12">?</text>`, "unsure"]);
  entries.push([`${shapeSvg("snare", 8, 12, 4, "solo")}${shapeSvg("snare", 23, 11, 8, "solo")}`, "soft to loud"]);
  entries.push([shapeSvg("snare", 16, 12, 6, "solo touched"), "corrected"]);
  return entries.map(([inside, words]) => `<li>${svg(inside)}${words}</li>`).join("");
}

begin();
