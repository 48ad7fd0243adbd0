// The text of hits.tsv -> strokes, and strokes with corrections -> the text that the next run takes up.
//
// Cells that nobody touched are written as they stood: columns and comments of the player's own stay.

// The records of the text: { comment } or { cells }, cells as they stand in the file, quotes and all.
function recordsOf(text) {
  const records = [];
  let at = 0;
  const cell = () => {
    const from = at;
    if (text[at] === '"') {
      // A quoted cell may hold tabs or ends of line; a quote that is never closed is no quoted cell.
      let end = at + 1;
      while (end < text.length && !(text[end] === '"' && text[end + 1] !== '"')) end += text[end] === '"' ? 2 : 1;
      const after = text[end + 1], inside = text.slice(at, end);
      if (end < text.length && (after === undefined || after === "\t" || after === "\n")
        && !(inside.includes("\t") && inside.includes("\n"))) {
        at = end + 1;
        return text.slice(from, at);
      }
    }
    while (at < text.length && text[at] !== "\t" && text[at] !== "\n") at++;
    return text.slice(from, at);
  };
  while (at < text.length) {
    if (text[at] === "#") {
      const end = text.indexOf("\n", at);
      records.push({ comment: text.slice(at, end < 0 ? undefined : end) });
      at = end < 0 ? text.length : end + 1;
      continue;
    }
    const cells = [cell()];
    while (text[at] === "\t") { at++; cells.push(cell()); }
    at++;
    if (cells.some((c) => c !== "")) records.push({ cells });
  }
  return records;
}

const sheet = (() => {
  const records = recordsOf(study.hits);
  const header = records.find((record) => record.cells && record.cells.includes("time")) || { cells: ["time", "voice"] };
  const column = (name) => header.cells.indexOf(name);
  return { records, header, column };
})();

// What a player may say of a stroke.
const SAID = ["time", "voice", "limb", "layer", "mark", "grace"];
// Marks that have a grace stroke.
const GRACED = ["flam", "drag"];

function strokeOf(record, id) {
  const cell = (name) => record.cells[sheet.column(name)] || "";
  const number = (name) => (cell(name) === "" ? null : Number(cell(name)));
  const place = [number("bar"), number("beat"), number("step")];
  return {
    id, record,
    time: number("time"), voice: cell("voice"), limb: cell("limb"), layer: cell("layer"), mark: cell("mark"), grace: cell("grace"),
    level: number("level") ?? -9, sure: number("sure") ?? 1,
    step: place.includes(null) ? null : barStart(place[0]) + (place[1] - 1) * BEAT + place[2] - 1,
  };
}

// The file with these strokes in place of those it had, sorted by time.
function sheetText(strokes) {
  const now = new Map(strokes.filter((stroke) => stroke.record).map((stroke) => [stroke.record, stroke]));
  const top = [], rows = [];
  let comments = [], begun = false;
  for (const record of sheet.records) {
    if (record === sheet.header) { begun = true; top.push(...comments, record.cells.join("\t")); comments = []; continue; }
    if (record.comment !== undefined) { comments.push(record.comment); continue; }
    if (!begun) continue;
    const stroke = now.get(record);
    // Comments above a row that is gone go to the next one.
    if (!stroke) continue;
    rows.push({ time: stroke.time, lines: [...comments, rowText(stroke)] });
    comments = [];
  }
  for (const stroke of strokes) if (!stroke.record) rows.push({ time: stroke.time, lines: [rowText(stroke)] });
  rows.sort((a, b) => a.time - b.time);
  return [...top, ...rows.flatMap((row) => row.lines), ...comments, ""].join("\n");
}

function rowText(stroke) {
  const cells = stroke.record ? [...stroke.record.cells] : sheet.header.cells.map(() => "");
  const put = (name, text) => { if (sheet.column(name) >= 0) cells[sheet.column(name)] = text; };
  if (!stroke.touched) return cells.join("\t");
  const was = stroke.record && strokeOf(stroke.record);
  for (const name of SAID) {
    if (was && was[name] === stroke[name]) continue;
    put(name, name === "time" ? stroke.time.toFixed(5) : stroke[name]);
  }
  if (!was || was.time !== stroke.time) {
    const place = stroke.step === null ? { bar: "", beat: "", step: "" } : placeOf(stroke.step);
    for (const name of ["bar", "beat", "step"]) put(name, String(place[name]));
    put("late", stroke.step === null ? "" : ((stroke.time - timeOf(stroke.step)) * 1000).toFixed(1));
  }
  return cells.join("\t");
}
