// The player's corrections: what each stroke is now, step by step back and forth, kept in the browser until saved.
//
// A correction is { id, was, now }: what is said of a stroke (see SAID) before and after; null where it is not there.

const found = sheet.records
  .slice(sheet.records.indexOf(sheet.header) + 1)
  .filter((record) => record.cells)
  .map((record, at) => strokeOf(record, `h${at + 1}`))
  .filter((stroke) => stroke.time !== null);
const originals = new Map(found.map((stroke) => [stroke.id, stroke]));
// What is kept belongs to one writing of one recording's study.
const KEPT_FOR = `overbar/${study.recording.sha256.slice(0, 16)}/`;
const KEPT_AS = KEPT_FOR + study.digest;

const edits = {
  done: [], undone: [], saved: 0, strokes: [...found], known: new Map(originals), watchers: [],

  said(stroke) {
    return Object.fromEntries(SAID.map((name) => [name, stroke[name]]));
  },
  find(id) { return this.known.get(id); },
  // Says something of a stroke; `null` deletes it.
  change(id, patch) {
    const stroke = this.find(id);
    if (!stroke) return null;
    const was = this.said(stroke), now = patch && { ...was, ...patch };
    if (now && SAID.every((name) => was[name] === now[name])) return stroke;
    return this.make({ id, was, now });
  },
  add(now) {
    const taken = this.done.concat(this.undone).map((edit) => edit.id);
    let number = 1;
    while (taken.includes(`new${number}`)) number++;
    return this.make({ id: `new${number}`, was: null, now: { limb: "", layer: "", mark: "", grace: "", ...now } });
  },
  make(edit) {
    this.done.push(edit);
    this.undone = [];
    this.put(edit.id, edit.now);
    this.keep();
    return this.find(edit.id);
  },
  undo() {
    const edit = this.done.pop();
    if (!edit) return null;
    this.undone.push(edit);
    this.put(edit.id, edit.was);
    this.keep();
    return edit;
  },
  redo() {
    const edit = this.undone.pop();
    if (!edit) return null;
    this.done.push(edit);
    this.put(edit.id, edit.now);
    this.keep();
    return edit;
  },
  // Puts what is said of a stroke in force.
  put(id, said) {
    const before = this.known.get(id) || null;
    if (before) this.strokes.splice(this.strokes.indexOf(before), 1);
    this.known.delete(id);
    let stroke = null;
    if (said) {
      const original = originals.get(id);
      // What an older page kept says nothing of grace strokes.
      said = { grace: original ? original.grace : "", ...said };
      const same = original && SAID.every((name) => original[name] === said[name]);
      stroke = same ? original : {
        ...(original || { id, level: -9 }), ...said, touched: true, sure: 1,
        step: original && original.time === said.time ? original.step : grid.clock ? null : Math.round(stepAt(said.time)),
      };
      const later = notBefore(this.strokes, stroke.time, (other) => other.time);
      this.strokes.splice(later, 0, stroke);
      this.known.set(id, stroke);
    }
    this.watchers.forEach((watcher) => watcher(before, stroke));
  },
  get unsaved() { return this.done.length !== this.saved; },
  // How many strokes are not as the program found them.
  get count() {
    const touched = this.strokes.filter((stroke) => stroke.touched).length;
    return touched + found.filter((stroke) => !this.known.has(stroke.id)).length;
  },
  keep() {
    try {
      if (this.done.length + this.undone.length === 0) localStorage.removeItem(KEPT_AS);
      else localStorage.setItem(KEPT_AS, JSON.stringify({ done: this.done, undone: this.undone, saved: this.saved }));
    } catch {
      tell("This browser keeps nothing for pages opened from disk: save your corrections before you close the page.");
    }
  },
  // Takes up what was kept when the page was closed; the number of corrections.
  recall() {
    const kept = read(KEPT_AS);
    if (!kept) return 0;
    for (const edit of kept.done) { this.done.push(edit); this.put(edit.id, edit.now); }
    this.undone = kept.undone || [];
    this.saved = kept.saved || 0;
    return this.done.length;
  },
  text() { return sheetText(this.strokes); },
};

function read(key) {
  try {
    const kept = JSON.parse(localStorage.getItem(key));
    return kept && Array.isArray(kept.done) ? kept : null;
  } catch {
    return null;
  }
}

// Corrections that were made on an earlier writing of this study and never saved: [{ key, done }].
function staleEdits() {
  const keys = [];
  try {
    for (let i = 0; i < localStorage.length; i++) keys.push(localStorage.key(i));
  } catch {
    return [];
  }
  return keys
    .filter((key) => key.startsWith(KEPT_FOR) && key !== KEPT_AS)
    .map((key) => ({ key, ...read(key) }))
    .filter(({ done, saved }) => done && done.length > (saved || 0));
}

// Puts corrections of an earlier writing onto this one where their strokes are still to be found; how many fitted.
function bringOver(done) {
  const near = (said) => edits.strokes.find((stroke) =>
    stroke.voice === said.voice && Math.abs(stroke.time - said.time) < 0.01);
  const ids = new Map();
  let fitted = 0;
  for (const { id, was, now } of done) {
    const known = ids.get(id) || (was && near(was) || {}).id;
    const stroke = was ? known && edits.change(known, now) : !near(now) && edits.add(now);
    if (stroke) ids.set(id, stroke.id);
    if (stroke || (known && !now)) fitted++;
  }
  return fitted;
}
