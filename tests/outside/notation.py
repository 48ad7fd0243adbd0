"""The written score read by programs that are not ours.

    notation.py SCORES STUDIES

SCORES is the built example `scores`, which writes 200 invented studies (the seed is printed; SEED=n repeats it); STUDIES
the studies of test-audio/. What is expected is worked out here from hits.tsv and study.json alone.

- MusicXML: valid by the official schema of MusicXML 4.0; the same notes, lines and tuplets by music21; the keys of General
  MIDI (RP-003), one higher, as the standard has it; drawn by verovio without a warning.
- MIDI: the same strokes by mido to a tick, the keys, the beats within a millisecond.
- PDF: a page for every staff page, words as words, by pypdf.
"""

import collections
import contextlib
import csv
import importlib.util
import json
import math
import os
import pathlib
import subprocess
import sys
import tempfile
from fractions import Fraction

import mido
import music21
import pypdf
import verovio
from lxml import etree

import clips

# Place on the staff, head, key (TRADE notes of the project; keys: General MIDI Level 1, RP-003).
KIT = {
    "hat_foot": ("D4", "x", 44), "kick_left": ("E4", "normal", 35), "kick": ("F4", "normal", 36),
    "tom_floor_2": ("G4", "normal", 41), "tom_floor": ("A4", "normal", 43), "tom_low": ("B4", "normal", 45),
    "snare": ("C5", "normal", 38), "cross_stick": ("C5", "x", 37), "snare_2": ("C5", "square", 40),
    "tom_mid": ("D5", "normal", 47), "tom_high": ("E5", "normal", 50), "cowbell": ("E5", "triangle", 56),
    "other": ("E5", "circle-x", 39), "ride": ("F5", "x", 51), "ride_bell": ("F5", "x", 53),
    "hat_closed": ("G5", "x", 42), "hat_open": ("G5", "x", 46), "crash": ("A5", "x", 49), "crash_2": ("B5", "x", 57),
    "splash": ("C6", "x", 55), "china": ("C6", "x", 52),
}  # fmt: skip
FEET = {"kick", "kick_left", "hat_foot"}
# A stroke so little before a beat, in beats, belongs to it.
JUST_BEFORE = 0.04


class Read:
    """A study as its files say it."""

    def __init__(self, folder):
        self.folder = pathlib.Path(folder)
        self.doc = json.loads((self.folder / "study.json").read_text(encoding="utf-8"))
        with open(self.folder / "hits.tsv", encoding="utf-8", newline="") as f:
            self.rows = list(csv.DictReader((line for line in f if not line.startswith("#")), delimiter="\t"))
        grid = self.doc["grid"]
        self.beats, self.steps, (count, unit) = grid["beats"], grid["steps_per_beat"], grid["meter"]
        compound = unit == 8 and count > 3 and count % 3 == 0
        self.per_bar = count // 3 if compound else count
        self.beat = Fraction(3, 2) if compound else Fraction(4, unit)
        downs = grid["downbeats"]
        self.first = self.beats.index(downs[0]) if downs else len(self.beats)
        self.uneven = {(u["bar"] - 1) * self.per_bar + u["beat"] - 1: u["steps_per_beat"] for u in grid.get("uneven", [])}
        self.places = [self.place(row) for row in self.rows]
        low = min((p for p in self.places), default=Fraction(0))
        self.start = min(low.__floor__(), 0)

    def at(self, time):
        """Where a time lies, in beats after bar 1."""
        i = max(0, min(len(self.beats) - 2, sum(b <= time for b in self.beats) - 1))
        a, b = self.beats[i], self.beats[i + 1]
        return i + (time - a) / (b - a) - self.first

    def time(self, beat):
        """The time of a whole beat after bar 1, also before and after those that were found."""
        i = beat + self.first
        j = max(0, min(len(self.beats) - 2, i))
        a, b = self.beats[j], self.beats[j + 1]
        return a + (b - a) * (i - j)

    def place(self, row):
        """Where a row is written, in beats after bar 1."""
        settled = self.at(float(row["time"]) - float(row["late"]) / 1000)
        beat = int((settled + JUST_BEFORE) // 1)
        if beat in self.uneven:
            n = self.uneven[beat]
            return beat + Fraction(max(0, round((settled - beat) * n)), n)
        step = (int(row["beat"]) - 1) * self.steps + int(row["step"]) - 1
        place = (int(row["bar"]) - 1) * self.per_bar + Fraction(step, self.steps)
        n = self.uneven.get(place.__floor__(), None)
        if n:
            place = place.__floor__() + Fraction(round((place - place.__floor__()) * n), n)
        return place

    def line(self, row, layout):
        if layout == "one":
            return "1"
        if layout == "hands-feet":
            return "feet" if row["voice"] in FEET else "hands"
        return "figure" if row["layer"] == "ostinato" else "solo"

    def written(self, layout):
        """Main notes and grace notes: line, quarters from the start, place, head. Of two strokes of a voice at one
        place the earlier is the later one's grace note."""
        last, main, grace = {}, collections.Counter(), collections.Counter()
        for row, place in zip(self.rows, self.places):
            last.setdefault((self.line(row, layout), place, row["voice"]), []).append(row)
        for (line, place, voice), rows in last.items():
            note = (line, (place - self.start) * self.beat, *KIT[voice][:2])
            main[note] += 1
            graces = len(rows) - 1 or {"flam": 1, "drag": 2}.get(rows[-1]["mark"], 0)
            if graces:
                grace[note] += graces
        return main, grace


def schema():
    """The official schema of MusicXML 4.0, with the two schemas it imports from disk."""
    home = pathlib.Path(importlib.util.find_spec("musicxml").origin).parent / "generate_classes"
    helpers = pathlib.Path(importlib.util.find_spec("xmlschema").origin).parent / "schemas"

    class Local(etree.Resolver):
        def resolve(self, url, _id, context):
            for name, path in {"xml.xsd": helpers / "XML" / "xml.xsd", "xlink.xsd": helpers / "XLINK" / "xlink.xsd"}.items():
                if url and url.endswith(name):
                    return self.resolve_filename(str(path), context)
            return None

    parser = etree.XMLParser(no_network=True)
    parser.resolvers.add(Local())
    return etree.XMLSchema(etree.parse(str(home / "musicxml_4_0.xsd"), parser))


def check_schema(judge, file):
    tree = etree.parse(str(file))
    if not judge.validate(tree):
        yield f"{file.name}: {judge.error_log.last_error}"
    # A schema that lets a planted fault pass checks nothing.
    bad = tree.getroot().find(".//note")
    if bad is not None:
        etree.SubElement(bad, "sticking")
        if judge.validate(tree):
            yield f"{file.name}: the schema lets a made-up element pass"
    keys = {}
    for voice in KIT:
        node = tree.find(f".//midi-instrument[@id='P1-{voice}']/midi-unpitched")
        if node is not None:
            keys[voice] = int(node.text) - 1
    for voice, key in keys.items():
        if key != KIT[voice][2]:
            yield f"{file.name}: {voice} has key {key}"


def tuplets(read, layout):
    """For every line and beat with a stroke, into how many steps it is divided when that is a tuplet, else None."""
    parts = collections.defaultdict(lambda: 1)
    for row, place in zip(read.rows, read.places):
        at = read.line(row, layout), place.__floor__() - read.start
        parts[at] = math.lcm(parts[at], place.denominator)
    compound = read.beat == Fraction(3, 2)

    def plain(n):
        n = n // 3 if compound and n % 3 == 0 else n if not compound or n == 1 else 3
        return n & (n - 1) == 0

    return {at: None if plain(n) else n for at, n in parts.items()}


def check_music21(read, file, layout):
    (main, grace), inside = read.written(layout), tuplets(read, layout)
    score = music21.converter.parse(str(file))
    # One line alone is not split into voices; which it is, the rows say.
    lines = sorted({line for line, *_ in main} or {"1"}, key=["1", "hands", "feet", "solo", "figure"].index)
    found, graces = collections.Counter(), collections.Counter()
    parts = list(score.parts)
    for number, part in enumerate(parts):
        for measure in part.getElementsByClass("Measure"):
            voices = list(measure.voices) or [measure]
            for i, voice in enumerate(voices):
                line = lines[number] if len(parts) > 1 else lines[min(i, len(lines) - 1)]
                if measure.voices and len(parts) == 1 and len(lines) > 1:
                    line = lines[int(voice.id) - 1]
                total = Fraction(0)
                for element in voice.notesAndRests:
                    length = Fraction(element.quarterLength)
                    total += length
                    if element.isRest:
                        continue
                    at = Fraction(measure.offset) + Fraction(element.offset)
                    for note in getattr(element, "notes", None) or [element]:
                        entry = (line, at, note.displayName, note.notehead)
                        (graces if element.duration.isGrace else found)[entry] += 1
                    if not element.duration.isGrace:
                        beat = (at / read.beat).__floor__()
                        seen = [t.numberNotesActual for t in element.duration.tuplets]
                        wanted = inside.get((line, beat))
                        if seen != ([wanted] if wanted else []):
                            yield f"{file.name}: {line}, beat {beat}: tuplets {seen}, not {wanted}"
                bar = measure.barDuration.quarterLength
                if measure is not part.getElementsByClass("Measure")[0] and total != Fraction(bar):
                    yield f"{file.name}: bar {measure.number} holds {total} quarters, not {bar}"
    for what, ours, theirs in [("note", main, found), ("grace note", grace, graces)]:
        for note in (ours - theirs) + (theirs - ours):
            yield f"{file.name}: {what} {note}: {ours[note]} in the study, {theirs[note]} by music21"


def played(file):
    """Tempo map and notes: a function from ticks to seconds, notes as (tick, key), markers as (tick, words)."""
    midi = mido.MidiFile(str(file))
    tempi, notes, marks = [(0, 500000)], [], []
    for track in midi.tracks:
        tick = 0
        for message in track:
            tick += message.time
            if message.type == "set_tempo":
                tempi.append((tick, message.tempo))
            elif message.type == "note_on" and message.velocity:
                if message.channel != 9:
                    sys.exit(f"error: {file}: a note on channel {message.channel + 1}")
                notes.append((tick, message.note))
            elif message.type == "marker":
                marks.append((tick, message.text))

    def seconds(tick):
        passed = 0.0
        for (a, tempo), (b, _) in zip(tempi, tempi[1:] + [(tick, 0)]):
            passed += mido.tick2second(max(0, min(b, tick) - a), midi.ticks_per_beat, tempo)
        return passed

    fastest = max(t for _, t in tempi) / 1e6 / midi.ticks_per_beat
    return midi, seconds, sorted(notes), marks, fastest


def check_midi(read, file, straight):
    midi, seconds, notes, marks, tick = played(file)
    expected = []
    for row, place in zip(read.rows, read.places):
        before = {"flam": [1.0], "drag": [1.0, 0.5]}.get(row["mark"], [])
        usual = {"flam": 30.0, "drag": 70.0}.get(row["mark"], 0.0)
        grace = float(row.get("grace") or usual) / 1000
        time = float(row["time"])
        if straight:
            time = float((place - read.start) * read.beat) * 60 / read.doc["grid"]["tempo_bpm"] / float(read.beat)
        expected += [(max(0.0, time - grace * share), KIT[row["voice"]][2]) for share in before + [0.0]]
    expected.sort()
    found = sorted((seconds(t), key) for t, key in notes)
    if straight:
        # Two strokes of a voice on one step are written as one with a grace note.
        slots = collections.Counter((p, row["voice"]) for row, p in zip(read.rows, read.places))
        if max(slots.values(), default=0) > 1:
            return
    if len(found) != len(expected):
        yield f"{file.name}: {len(found)} notes for {len(expected)} strokes"
        return
    for key in {key for _, key in expected}:
        ours, theirs = [t for t, k in expected if k == key], [t for t, k in found if k == key]
        if len(ours) != len(theirs):
            yield f"{file.name}: key {key}: {len(theirs)} notes for {len(ours)} strokes"
        for a, b in zip(ours, theirs):
            # The rows tell times to 0.01 ms.
            if abs(a - b) > tick + 2e-5:
                yield f"{file.name}: key {key}: {b:.5f} s is not {a:.5f} s"
    bars = [(t, words) for t, words in marks if words.startswith("bar ")]
    for (t, words), (later, _) in zip(bars, bars[1:] + [(None, "")]):
        first = (int(words[4:]) - 1) * read.per_bar
        first = max(first, read.start)
        for i in range(read.per_bar):
            at = t + round(i * midi.ticks_per_beat * read.beat)
            if straight or (later and at >= later) or first + i + read.first >= len(read.beats):
                continue
            truth = read.time(first + i)
            if first + i + read.first >= 0 and abs(seconds(at) - truth) > 1e-3:
                yield f"{file.name}: beat {first + i} at {seconds(at):.4f} s is not at {truth:.4f} s"


@contextlib.contextmanager
def complaints(into):
    """What a library in C++ writes to standard error."""
    with tempfile.TemporaryFile() as file:
        kept = os.dup(2)
        os.dup2(file.fileno(), 2)
        try:
            yield
        finally:
            os.dup2(kept, 2)
            os.close(kept)
            file.seek(0)
            into.append(file.read().decode(errors="replace"))


def check_verovio(toolkit, file):
    said, drawn = [], 0
    with complaints(said):
        read = toolkit.loadFile(str(file))
        if read:
            pages = range(1, toolkit.getPageCount() + 1)
            drawn = sum(toolkit.renderToSVG(page).count('class="note') for page in pages)
    if not read:
        yield f"{file.name}: verovio cannot read it"
        return
    if said[0].strip():
        yield f"{file.name}: verovio says {said[0].strip()[:300]}"
    wanted = len(etree.parse(str(file)).findall(".//note/unpitched"))
    if drawn < wanted:
        yield f"{file.name}: verovio draws {drawn} of {wanted} notes"


def silent(toolkit, file):
    """Whether verovio warns of a value that is none: if it does not, its silence says nothing."""
    bad = file.with_suffix(".bad.musicxml")
    bad.write_text(file.read_text(encoding="utf-8").replace("<type>", "<type>not-", 1), encoding="utf-8")
    faults = list(check_verovio(toolkit, bad))
    bad.unlink()
    return not any("verovio says" in fault for fault in faults)


def check_pdf(folder):
    pages = len(list((folder / "charts").glob("staff-[0-9][0-9].svg")))
    pdf = pypdf.PdfReader(str(folder / "score.pdf"))
    if len(pdf.pages) != pages:
        yield f"{folder.name}: {len(pdf.pages)} pages in the PDF, {pages} staff pages"
    for i, page in enumerate(pdf.pages, 1):
        words = page.extract_text()
        for wanted in ("bpm", "Staff"):
            if wanted not in words:
                yield f"{folder.name}: page {i} of the PDF bears no {wanted!r}"


def main():
    program, studies = sys.argv[1], pathlib.Path(sys.argv[2])
    seed = int(os.environ.get("SEED") or 38031597)
    count = int(os.environ.get("COUNT") or 200)
    print(f"seed {seed}")
    judge, faults, files = schema(), [], 0
    verovio.enableLog(verovio.LOG_WARNING)
    toolkit = verovio.toolkit()
    # Systems three times as wide as usual: how dense a bar is must not count as a fault of the file.
    toolkit.setOptions({"breaks": "auto", "pageWidth": 6300, "pageHeight": 2970})

    def musicxml(read, file, layout):
        nonlocal files
        files += 1
        faults.extend(f"{read.folder.name}: {f}" for f in check_schema(judge, file))
        faults.extend(f"{read.folder.name}: {f}" for f in check_music21(read, file, layout))
        faults.extend(f"{read.folder.name}: {f}" for f in check_verovio(toolkit, file))

    with tempfile.TemporaryDirectory() as folder:
        subprocess.run([program, folder, str(count), str(seed)], check=True)
        studied = sorted(pathlib.Path(folder).iterdir())
        if silent(toolkit, studied[0] / "one.musicxml"):
            faults.append("verovio does not warn of a planted fault")
        for own in studied:
            read = Read(own)
            for layout in ("hands-feet", "one", "figure-solo"):
                musicxml(read, own / f"{layout}.musicxml", layout)
            faults.extend(f"{own.name}: {f}" for f in check_midi(read, own / "recording.mid", False))
            faults.extend(f"{own.name}: {f}" for f in check_midi(read, own / "straight.mid", True))
    for name in clips.names():
        read = Read(studies / name)
        musicxml(read, studies / name / "score.musicxml", "hands-feet")
        faults.extend(f"{name}: {f}" for f in check_midi(read, studies / name / "score.mid", False))
        faults.extend(check_pdf(studies / name))
    print(f"{files} MusicXML files and {count} invented studies read")
    shown = "\n".join(f"error: {f}" for f in faults[:40])
    sys.exit(f"{shown}\nerror: {len(faults)} faults, seed {seed}" if faults else 0)


if __name__ == "__main__":
    main()
