// Strokes as shapes, lines and strips: what the stack and the solo are drawn with. Pictures are text of SVG.

function emptyWords(step, voice) {
  const by = movedFrom.get(`${step} ${voice}`);
  return by === undefined ? `missing: ${voiceName(voice)}` : `${voiceName(voice)} struck a step ${by > 0 ? "later" : "earlier"}`;
}

function weightOf(stroke) {
  if (!hasFigure) return "alone";
  return stroke.layer === "ostinato" ? "figure" : "solo";
}
// Half the width of a stroke, between the largest and the smallest.
function sizeOf(stroke, largest) {
  const [loud, soft] = look.levels;
  const share = clamp((stroke.level - soft) / (loud - soft), 0, 1);
  return largest * (look.smallest + (1 - look.smallest) * share);
}
const isUnsure = (stroke) => stroke.sure < look.sure;

// A stroke in words, as it is read aloud.
function strokeWords(stroke) {
  const place = stroke.step === null || grid.clock ? "" : `${placeWords(stroke.step)}, `;
  const said = [LIMBS[stroke.limb], stroke.mark, isUnsure(stroke) ? "unsure" : "", stroke.touched ? "corrected" : ""];
  return `${voiceName(stroke.voice)}, ${place}${clock(stroke.time)}${said.filter(Boolean).map((s) => `, ${s}`).join("")}`;
}

function shapeSvg(voice, x, y, r, weight, attributes = "", inside = "") {
  const shape = shapes.get(voice) || shapes.get("other");
  const thin = shape.thin && weight !== "figure" && weight !== "alone";
  const d = thin ? "M-100 -100L100 100M100 -100L-100 100" : shape.outline;
  const scale = (r / 100).toFixed(4);
  return `<path class="stroke ${weight}${thin ? " thin" : ""}" d="${d}" transform="translate(${x.toFixed(1)} ${y.toFixed(1)}) scale(${scale})" ${attributes}>${inside}</path>`;
}
function signSvg(x, y, r, mark) {
  const n = (value) => value.toFixed(1);
  if (mark === "accent") return `<path class="sign" d="M${n(x - 5)} ${n(y - r - 8)}l10 3l-10 3"/>`;
  if (mark === "ghost") {
    const out = r + 2;
    return `<path class="sign" d="M${n(x - out)} ${n(y - r)}q-3 ${n(r)} 0 ${n(2 * r)}M${n(x + out)} ${n(y - r)}q3 ${n(r)} 0 ${n(2 * r)}"/>`;
  }
  const grace = (dx) => `<circle class="grace" cx="${n(x - r - dx)}" cy="${n(y - r + 1)}" r="2.4"/>`;
  if (mark === "flam") return grace(1);
  return mark === "drag" ? grace(1) + grace(7) : "";
}
// A stroke with its signs; `prefix` keeps ids apart where a stroke is drawn twice. One that the figure does not have is
// a plus: its shape is there to be touched, but not seen.
function strokeSvg(stroke, x, y, largest, prefix, signs = true, added = false) {
  const r = sizeOf(stroke, largest), words = strokeWords(stroke);
  const touched = stroke.touched ? " touched" : "";
  const attributes = `id="${prefix}-${stroke.id}" data-stroke="${stroke.id}" role="img" aria-label="${words}"`;
  const doubt = isUnsure(stroke) ? `<text class="doubt" x="${(x + r).toFixed(1)}" y="${(y - r + 5).toFixed(1)}" aria-hidden="true">?</text>` : "";
  const weight = added ? "beyond" : weightOf(stroke);
  return shapeSvg(stroke.voice, x, y, added ? largest : r, weight + touched, attributes, `<title>${words}</title>`)
    + (added ? `<path class="added" d="M${(x - 4.5).toFixed(1)} ${y.toFixed(1)}h9m-4.5-4.5v9"/>` : "")
    + (signs ? signSvg(x, y, r, stroke.mark) : "") + doubt;
}

// Strokes by step, kept as corrections change them.
const bySteps = {
  map: null,
  at(step) {
    if (!this.map) {
      this.map = new Map();
      for (const stroke of edits.strokes) {
        const at = stroke.step ?? Math.floor(stepAt(stroke.time));
        if (!this.map.has(at)) this.map.set(at, []);
        this.map.get(at).push(stroke);
      }
    }
    return this.map.get(step) || [];
  },
};
edits.watchers.push(() => { bySteps.map = null; });

// Draws the sound of some steps on a canvas of `width` by `height`: dark is loud, low sound lies below.
async function drawStrip(canvas, width, height, timeAt) {
  if (!hasSound || width < 2) return;
  const density = Math.min(2, window.devicePixelRatio || 1), columns = Math.round(width);
  const times = Array.from({ length: columns }, (_, x) => sampleOf(timeAt(x + 0.5)));
  const from = Math.max(0, times[0] - WINDOW), to = Math.min(sound.length, times[columns - 1] + WINDOW);
  if (to <= from) return;
  const channels = await store.between(from, to);
  const samples = channels[0];
  for (const other of channels.slice(1)) for (let i = 0; i < samples.length; i++) samples[i] += other[i];
  const moments = Int32Array.from(times, (time) => time - from);
  const peak = (sound.peak / 1000 || 1) * channels.length;
  const levels = await work("spectrum", { samples, moments, peak }, [samples.buffer]);
  const small = new OffscreenCanvas(columns, BANDS), paint = small.getContext("2d");
  const image = paint.createImageData(columns, BANDS);
  for (let x = 0; x < columns; x++) {
    for (let band = 0; band < BANDS; band++) {
      const level = levels[x * BANDS + band] / 255;
      image.data[((BANDS - 1 - band) * columns + x) * 4 + 3] = 255 * level * level;
    }
  }
  paint.putImageData(image, 0, 0);
  canvas.width = Math.round(width * density);
  canvas.height = Math.round(height * density);
  canvas.getContext("2d").drawImage(small, 0, 0, canvas.width, canvas.height);
  canvas.classList.add("drawn");
}

// Fills elements when they come near the part that is seen: `fill` gets each once, until it is emptied.
function lazily(root, margin, fill) {
  const seen = new IntersectionObserver((entries) => {
    for (const { target, isIntersecting } of entries) {
      if (!isIntersecting || target.filled) continue;
      target.filled = true;
      fill(target);
    }
  }, { root, rootMargin: margin });
  return seen;
}
