"""The page in a browser that is not ours: what it shows, plays, keeps and saves.

    page.py OVERBAR STRETCH [PICTURES]

OVERBAR is the program, STRETCH the built example `stretch`. Studies are made in a folder of their own and their pages
opened from disk in headless Chromium. Sound is captured where it leaves the page. With PICTURES, a folder, pictures of
the page are put there. Without any Chromium the check says so and is skipped.
"""

import base64
import csv
import json
import os
import pathlib
import shutil
import subprocess
import sys
import tempfile

import numpy as np
import scipy.io.wavfile
from playwright.sync_api import Error, sync_playwright

import clips

RATE = 44100
DEMO = "paper-lanterns"
# Attacks may lie so far from their scaled times, in seconds.
NEAR = 0.002
# A busy machine gets so many tries at a capture without gaps.
TRIES = 6

# Catches what reaches the loudspeaker, sample by sample, in a node of the sound's own thread.
TAP = """
(() => {
  const code = `registerProcessor("tap", class extends AudioWorkletProcessor {
    constructor() { super(); this.block = [new Float32Array(8192), new Float32Array(8192)]; this.at = 0; }
    process([channels]) {
      for (const c of [0, 1]) {
        const samples = channels[c] || channels[0];
        if (samples) this.block[c].set(samples, this.at); else this.block[c].fill(0, this.at, this.at + 128);
      }
      this.at += 128;
      if (this.at === 8192) {
        this.port.postMessage({ at: currentFrame + 128 - 8192, channels: this.block.map((samples) => samples.slice()) });
        this.at = 0;
      }
      return true;
    }
  });`;
  const connect = AudioNode.prototype.connect;
  AudioNode.prototype.connect = function (to, ...rest) {
    const context = this.context;
    if (to !== context.destination || !(context instanceof AudioContext)) return connect.call(this, to, ...rest);
    if (!context.bus) {
      context.bus = context.createGain();
      connect.call(context.bus, context.destination);
      context.audioWorklet.addModule("data:text/javascript," + encodeURIComponent(code)).then(() => {
        const tap = new AudioWorkletNode(context, "tap", { numberOfOutputs: 0, channelCount: 2, channelCountMode: "explicit" });
        tap.port.onmessage = ({ data }) => { if (window.caught) window.caught.push(data); };
        connect.call(context.bus, tap);
        window.tap = tap;
      });
    }
    return connect.call(this, context.bus, ...rest);
  };
})();
"""


def browser_path():
    """A Chromium of this machine, or None to let playwright use its own."""
    for name in (os.environ.get("CHROMIUM", ""), "chromium", "chromium-browser", "google-chrome", "chrome"):
        if name and shutil.which(name):
            return shutil.which(name)
    return None


def open_browser(playwright):
    """The browser, or None where there is none and none can be fetched."""
    options = {"args": ["--no-sandbox", "--disable-gpu", "--autoplay-policy=no-user-gesture-required"]}
    path = browser_path()
    if path:
        return playwright.chromium.launch(executable_path=path, **options)
    for fetched in (False, True):
        if fetched:
            command = [sys.executable, "-m", "playwright", "install", "chromium-headless-shell"]
            subprocess.run(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, timeout=600, check=False)
        try:
            return playwright.chromium.launch(**options)
        except Error:
            continue
    return None


def study(program, recording, folder, *flags):
    """Makes a study; what it said."""
    done = subprocess.run([program, "study", recording, "--out", folder, *flags], capture_output=True, text=True, check=False)
    if done.returncode != 0:
        raise SystemExit(f"error: overbar study {recording}: {done.stderr}")
    return done.stdout


def rows(folder):
    """hits.tsv as dictionaries."""
    with open(folder / "hits.tsv", encoding="utf-8", newline="") as f:
        return list(csv.DictReader((line for line in f if not line.startswith("#")), delimiter="\t"))


class Check:
    """Gathers what is wrong."""

    def __init__(self):
        self.faults, self.passed = [], 0

    def that(self, good, words):
        if good:
            self.passed += 1
        else:
            self.faults.append(words)
            print(f"  wrong: {words}")
        return good


class Visit:
    """One page, opened from disk; requests and script errors are noted."""

    def __init__(self, context, folder, check, tap=False):
        self.page, self.check = context.new_page(), check
        if tap:
            self.page.add_init_script(TAP)
        self.page.on("request", lambda request: self.asked(request.url, folder))
        self.page.on("pageerror", lambda error: check.that(False, f"script error: {error}"))
        self.page.goto((folder / "study.html").as_uri())
        self.page.wait_for_selector("#line-1 svg")

    def asked(self, url, folder):
        own = url.startswith((folder.as_uri(), "blob:", "data:"))
        self.check.that(own, f"the page asked for {url}")

    def hear(self, button, seconds):
        """Presses a button and catches so many seconds: the sound, whether all of it was caught, and how many gaps a busy
        machine has left. Tried again when there were any, on the page or in what was caught: what is judged is where
        attacks lie, not how fast this machine is."""
        for _ in range(TRIES):
            self.page.evaluate("window.caught = []; overbar.late = 0")
            self.page.click(button)
            self.page.wait_for_timeout(int(seconds * 1000))
            self.page.keyboard.press("Escape")
            heard, whole = self.caught()
            late = self.page.evaluate("overbar.late")
            if late == 0 and whole:
                break
        return heard, whole, late

    def caught(self):
        blocks = self.page.evaluate("""() => {
          const caught = window.caught; window.caught = null;
          const text = (channel) => {
            const bytes = new Uint8Array(channel.buffer, channel.byteOffset, channel.byteLength);
            let out = "";
            for (let i = 0; i < bytes.length; i += 8192) out += String.fromCharCode(...bytes.subarray(i, i + 8192));
            return btoa(out);
          };
          return caught.map(({ at, channels }) => [at, channels.map(text)]);
        }""")
        if not blocks:
            return np.zeros((2, 0)), False
        starts = [at for at, _ in blocks]
        whole = all(b - a == 8192 for a, b in zip(starts, starts[1:]))
        channels = [np.concatenate([np.frombuffer(base64.b64decode(c[k]), np.float32) for _, c in blocks]) for k in (0, 1)]
        return np.array(channels), whole

    def text(self, selector):
        return self.page.inner_text(selector)

    def set_speed(self, percent):
        self.page.evaluate("""(percent) => {
          const speed = document.getElementById("speed");
          speed.value = percent;
          speed.dispatchEvent(new Event("input")); speed.dispatchEvent(new Event("change"));
        }""", percent)


def sharp(sound):
    """Attacks stand out when low sound is taken away."""
    return np.diff(sound, n=2, prepend=[0, 0])


def best_lag(sound, piece, due, reach):
    """Where the piece fits best around a sample, and how well (1 is the very same)."""
    low = max(0, due - reach)
    window = sound[low:due + reach + len(piece)]
    if len(window) < len(piece):
        return None, 0.0
    dots = np.correlate(window, piece, "valid")
    power = np.convolve(window**2, np.ones(len(piece)), "valid")
    fit = dots / np.sqrt(np.maximum(power, 1e-12) * (piece**2).sum())
    return low + int(fit.argmax()), float(fit.max())


def rises(sound):
    """Where the power suddenly rises by 9 dB or more over what it was in the 12 ms before, in samples."""
    block = RATE // 1000
    power = (sharp(sound)[: len(sound) // block * block].reshape(-1, block) ** 2).sum(axis=1)
    floor = power.max() * 1e-5
    total = np.concatenate([[0], np.cumsum(power)])
    now = np.array([total[min(k + 3, len(power))] - total[k] for k in range(len(power))]) / 3
    before = np.array([(total[k] - total[max(0, k - 12)]) / max(1, min(k, 12)) for k in range(len(power))])
    rise = now / (before + floor)
    peaks = [k for k in range(12, len(rise) - 12) if rise[k] >= 8 and rise[k] == rise[k - 12:k + 12].max()]
    return np.array(peaks) * block


def doubled(heard, source, times, speed, zero):
    """The strokes (s) of which a copy follows 6 to 60 ms after their attack, better than anything in the source does."""
    heard, source, twice = sharp(heard), sharp(source), []
    ms = RATE // 1000

    def after(sound, at, piece):
        found = best_lag(sound, piece, at + 33 * ms, 27 * ms)
        return found[1]

    for time, later in zip(times, [*times[1:], times[-1] + 1]):
        if later - time < 0.075 or time < 0.01:
            continue
        there = int(time * RATE) - ms
        piece, here = source[there:there + 9 * ms], int(round(zero + time * RATE / speed)) - ms
        if here < 0 or here + 80 * ms > len(heard):
            continue
        if after(heard, here, piece) > max(0.4, after(source, there, piece) + 0.15):
            twice.append(time)
    return twice


def timing(heard, source, times, speed):
    """How the attacks of a captured sound lie: errors in seconds, fits, and where the source's first sample lies."""
    heard_sharp, source_sharp = sharp(heard), sharp(source)
    pieces = [(t, source_sharp[int(t * RATE) - 88:int(t * RATE) + 880]) for t in times if t > 0.01]
    # The first stroke says where the capture lies; all others are judged by it.
    first, fit = best_lag(heard_sharp, pieces[0][1], len(heard) // 2, len(heard) // 2)
    zero = first + 88 - pieces[0][0] * RATE / speed
    errors, fits = [], [fit]
    for time, piece in pieces[1:]:
        due = int(round(zero + time * RATE / speed)) - 88
        if due < 0 or due + len(piece) > len(heard) - 2000:
            continue
        at, fit = best_lag(heard_sharp, piece, due, int(0.03 * RATE))
        errors.append((at - due) / RATE)
        fits.append(fit)
    return np.array(errors), np.array(fits), zero


def wav(path):
    _, samples = scipy.io.wavfile.read(path)
    return samples.astype(np.float64) / 32768


def check_stretch(visit, check, example, work):
    """The page's stretch beside the program's, sample by sample, in mono and stereo."""
    for name, speeds in (("paper-lanterns", (0.3, 0.6, 0.85, 1.1)), ("salt-road", (0.6,))):
        mono = wav(clips.AUDIO / f"{name}.wav")[: 8 * RATE]
        mono = mono if mono.ndim == 1 else mono[:, 0]
        stereo = np.stack([mono * 0.7, np.roll(mono, 11) * 0.4], axis=1)
        attacks = sorted({int(t * RATE) for t in moments(name) if t < 7.9})
        (work / "attacks.txt").write_text("\n".join(f"{a / RATE:.7f}" for a in attacks))
        for sound in (mono[:, None], stereo):
            source = work / "source.wav"
            scipy.io.wavfile.write(source, RATE, np.round(sound * 32767).astype(np.int16))
            # The program keeps sound scaled to its peak; what it reads is what the page gets here.
            samples = scipy.io.wavfile.read(source)[1].astype(np.float64).reshape(len(sound), -1)
            peak = np.abs(samples).max()
            kept = (np.round(samples / peak * 32767) * np.float32(peak / 32768 / 32767)).astype(np.float32)
            for speed in speeds:
                slow = work / "slow.wav"
                subprocess.run([example, str(speed), source, work / "attacks.txt", slow, "exactly"], check=True, capture_output=True)
                theirs = wav(slow).reshape(-1, sound.shape[1])
                ours = visit.page.evaluate("""([texts, attacks, speed, length]) => {
                  const floats = (text) => new Float32Array(Uint8Array.from(atob(text), (c) => c.charCodeAt(0)).buffer);
                  const channels = texts.map(floats), pieces = planOf(channels[0].length, attacks, speed);
                  const out = stretched({ channels, offset: 0, pieces, begin: 0, end: length });
                  return out.map((samples) => {
                    const bytes = new Uint8Array(samples.buffer);
                    let text = "";
                    for (let i = 0; i < bytes.length; i += 8192) text += String.fromCharCode(...bytes.subarray(i, i + 8192));
                    return btoa(text);
                  });
                }""", [[base64.b64encode(kept[:, c].tobytes()).decode() for c in range(kept.shape[1])], attacks, speed, len(theirs)])
                ours = np.stack([np.frombuffer(base64.b64decode(text), np.float32) for text in ours], axis=1)
                apart = np.abs(ours - theirs).max()
                check.that(ours.shape == theirs.shape and apart < 1.5 / 32768,
                           f"stretch of {name} at {speed}, {sound.shape[1]} channels: {apart:.6f} from the program's")


def moments(name):
    return clips.moments(hit[0] for hit in clips.truth(name)["hits"])


def check_sound(visit, check, folder):
    """Full speed, 60 % and 110 %: attacks in their places, whole, and none twice. Then a loop."""
    source = wav(clips.AUDIO / f"{DEMO}.wav")
    times = clips.moments(row["time"] for row in rows(folder) if row["grace"] == "")
    visit.page.keyboard.press("Escape")
    visit.page.click("#play")
    visit.page.wait_for_function("window.tap")
    visit.page.keyboard.press("Escape")
    said = []
    for percent, seconds in ((100, 6), (60, 9), (30, 12), (110, 6)):
        visit.set_speed(percent)
        heard, whole, late = visit.hear("#from-start", seconds)
        check.that(late == 0, f"at {percent} % the machine was too busy to play without a gap")
        check.that(whole, f"the capture at {percent} % has gaps")
        mono, speed = heard[0], percent / 100
        loud = np.abs(mono) > 0.003
        mono = mono[: len(mono) - int(loud[::-1].argmax())]
        reached = [t for t in times if t < (len(mono) / RATE - 0.5) * speed]
        errors, fits, zero = timing(mono, source, reached, speed)
        check.that(len(errors) > 15, f"only {len(errors)} attacks judged at {percent} %")
        worst = np.abs(errors).max() if len(errors) else 9
        check.that(worst <= NEAR, f"at {percent} % an attack is {worst * 1000:.1f} ms off")
        check.that(np.median(fits) > 0.98, f"at {percent} % attacks fit by {np.median(fits):.3f}")
        twice = doubled(mono, source, reached, speed, zero)
        check.that(not twice, f"at {percent} % attacks are heard twice: {twice}")
        if percent == 60:
            # The check itself must see a doubling and a shift.
            echo = mono + 0.7 * np.roll(mono, int(0.018 * RATE))
            seen = len(doubled(echo, source, reached, speed, zero))
            check.that(seen > len(errors) * 0.8, f"a planted doubling is seen {seen} times only")
            squeezed = np.interp(np.arange(int(len(mono) * 0.99)) / 0.99, np.arange(len(mono)), mono)
            moved_errors, _, _ = timing(squeezed, source, reached, speed)
            check.that(np.abs(moved_errors).max() > NEAR, "a planted shift is not seen")
        said.append(f"{percent} %: {len(errors)} attacks within {worst * 1000:.2f} ms")
    print("  " + "; ".join(said))


def check_loop(visit, check, folder):
    """Bars 3 and 4 round and round: the same strokes come again after exactly their length; the page follows."""
    study_json = clips.json.loads((folder / "study.json").read_text(encoding="utf-8"))
    downbeats = study_json["grid"]["downbeats"]
    length = downbeats[4] - downbeats[2]
    visit.set_speed(100)
    page = visit.page
    page.fill("#loop-from", "3")
    page.fill("#loop-to", "4")
    for _ in range(TRIES):
        page.evaluate("window.caught = []; overbar.late = 0")
        page.click("#loop-form button")
        # The page has followed once it stands in the loop's line; it may not leave it again.
        page.wait_for_function("""() => [...document.querySelectorAll("#line-2 .head")].some((head) => !head.hidden)""")
        places = []
        for _ in range(20):
            page.wait_for_timeout(400)
            places.append(page.evaluate("""() => {
              const heads = [...document.querySelectorAll(".head")].filter((head) => !head.hidden);
              return heads.map((head) => [head.parentNode.id || "stack", new DOMMatrix(getComputedStyle(head).transform).e, head.parentNode.first ?? null]);
            }"""))
        page.keyboard.press("Escape")
        heard, whole = visit.caught()
        if whole and page.evaluate("overbar.late") == 0:
            break
    check.that(whole, "the capture of the loop has gaps")
    source = sharp(wav(clips.AUDIO / f"{DEMO}.wav"))
    begin = int(downbeats[2] * RATE)
    piece = source[begin - 200:begin + int(0.4 * RATE)]
    mono = sharp(heard[0])
    first, fit = best_lag(mono, piece, int(1.0 * RATE), int(1.0 * RATE))
    found = [first]
    for _ in range(1):
        at, again = best_lag(mono, piece, found[-1] + int(length * RATE), int(0.05 * RATE))
        if at is not None and again > 0.9:
            found.append(at)
    check.that(fit > 0.9 and len(found) == 2, f"the loop does not come round: fits {fit:.2f}, {found}")
    if len(found) == 2:
        apart = (found[1] - found[0]) / RATE
        check.that(abs(apart - length) <= NEAR, f"a round takes {apart:.4f} s instead of {length:.4f}")
    lines = {head[0] for heads in places for head in heads if head[0].startswith("line")}
    check.that(lines == {"line-2"}, f"while bars 3 and 4 go round, the page follows in {lines}")
    xs = [head[1] for heads in places for head in heads if head[0] == "line-2"]
    steps = np.diff(xs)
    check.that(len(xs) >= 18 and (steps > 0).sum() >= len(steps) - 4 and (steps < 0).sum() >= 1, f"the place moves by {steps.round()}")
    stacked = [heads for heads in places if any(head[0] == "stack" for head in heads)]
    check.that(len(stacked) >= 18, "the stack does not follow")


def check_compare(visit, check):
    """Recording left, written drums right; and in turn, bar by bar; clicks can be switched."""
    page = visit.page
    page.select_option("#mode", "sides")
    heard, _, _ = visit.hear("#from-start", 6)
    power = (heard**2).mean(axis=1)
    together = np.corrcoef(sharp(heard[0]), sharp(heard[1]))[0, 1]
    check.that(power.min() > 1e-5 and abs(together) < 0.5, f"left and right do not play recording and drums: {power}, {together:.2f}")
    # The same attacks on both sides: the drums play what is written.
    ours, theirs = rises(heard[0]), rises(heard[1])
    near = [np.abs(ours - at).min() / RATE for at in theirs]
    check.that(len(theirs) > 10 and np.mean([n < 0.02 for n in near]) > 0.7, f"{len(theirs)} drum strokes, {np.mean([n < 0.02 for n in near]):.2f} with the recording's")
    page.select_option("#mode", "written")
    page.check("#click-beat")
    page.check("#click-round")
    heard, _, _ = visit.hear("#from-start", 3)
    check.that((heard**2).mean() > 1e-6, "the written drums are silent")
    page.uncheck("#click-beat")
    page.uncheck("#click-round")
    page.select_option("#mode", "recording")


def check_keys(context, check, program, folder, work):
    """With the keyboard alone: choose, hear, correct, undo, redo, save; and the next study takes it up."""
    # A column and a comment of the player's own must come through.
    text = (folder / "hits.tsv").read_text(encoding="utf-8").splitlines()
    head = next(i for i, line in enumerate(text) if line.startswith("time\t"))
    text[head] += "\twhy"
    text[head + 1:] = [line + ("\t\"a \"\"quoted\"\" tab\there\"" if i == 4 else "\tplain" if i == 7 else "\t") for i, line in enumerate(text[head + 1:])]
    text.insert(head + 6, "# a comment of mine")
    (folder / "hits.tsv").write_text("\n".join(text) + "\n", encoding="utf-8")
    recording = clips.AUDIO / f"{DEMO}.wav"
    study(program, recording, folder)
    before = rows(folder)
    visit = Visit(context, folder, check)
    page = visit.page
    # Nothing but keys from here on.
    page.keyboard.press("Tab")
    check.that(page.evaluate("document.activeElement.id") == "play", "Tab does not reach the first control")
    page.evaluate("document.activeElement.blur()")
    page.keyboard.press("ArrowRight")
    first = visit.text("#place")
    check.that("bar 1, beat 1, step 1" in first, f"the first stroke is {first!r}")
    page.keyboard.press("ArrowRight")
    check.that(visit.text("#place") != first, "the arrow key does not go on")
    for _ in range(8):
        page.keyboard.press("ArrowRight")
    place = visit.text("#place")
    # Another voice, chosen in the list by its first letters.
    page.keyboard.press("v")
    page.keyboard.type("cow")
    page.keyboard.press("Enter")
    page.keyboard.press("Escape")
    check.that(visit.text("#place").startswith("cowbell") and "corrected" in visit.text("#place"), f"v did not change {place!r}: {visit.text('#place')!r}")
    # Not one that is struck at the same time: which of two rows was which could then not be told.
    for _ in range(4):
        page.keyboard.press("ArrowRight")
    page.keyboard.press("Alt+ArrowRight")
    page.keyboard.press("Alt+ArrowRight")
    moved = visit.text("#place")
    page.keyboard.press("ArrowRight")
    limb = "right hand" if "left hand" in visit.text("#place") else "left hand"
    page.keyboard.press("h")
    page.keyboard.type(limb[:-3])
    page.keyboard.press("Escape")
    check.that(limb in visit.text("#place"), f"h did not name a limb: {visit.text('#place')!r}")
    page.keyboard.press("ArrowRight")
    mark = "ghost" if page.input_value("#edit-mark") == "accent" else "accent"
    page.keyboard.press("m")
    page.keyboard.type(mark[:3])
    page.keyboard.press("Escape")
    page.keyboard.press("ArrowRight")
    gone = page.evaluate("document.querySelector('#solo-lines').getAttribute('aria-activedescendant')")
    strokes = page.locator("#solo-lines .stroke").count()
    page.keyboard.press("Delete")
    check.that(page.locator("#solo-lines .stroke").count() == strokes - 1 and page.locator(f"[id='{gone}']").count() == 0, "Delete deletes nothing")
    page.keyboard.press("z")
    check.that(page.locator(f"[id='{gone}']").count() == 1, "z does not undo")
    page.keyboard.press("y")
    check.that(page.locator(f"[id='{gone}']").count() == 0, "y does not do it again")
    # A new stroke at an empty place of bar 2.
    page.keyboard.press("g")
    page.keyboard.type("2, beat 3, step 2")
    page.keyboard.press("Enter")
    page.keyboard.press("Escape")
    for _ in range(12):
        page.keyboard.press("ArrowUp")
        if "no " in visit.text("#place"):
            break
    page.keyboard.press("a")
    added = visit.text("#place")
    check.that("bar 2, beat 3, step 2" in added and "corrected" in added, f"a did not add: {added!r}")
    said = visit.text("#corrections")
    check.that(said.startswith("6 strokes corrected, not saved"), f"the page counts {said!r}")
    # Closing the page loses nothing.
    page.close()
    visit = Visit(context, folder, check)
    page = visit.page
    check.that(visit.text("#corrections") == said, f"after closing the page: {visit.text('#corrections')!r}")
    with page.expect_download() as waiting:
        page.keyboard.press("Control+s")
    saved = work / "saved.tsv"
    waiting.value.save_as(saved)
    check.that(waiting.value.suggested_filename == "hits.tsv", "the file is not called hits.tsv")
    check.that(str(folder) in visit.text("#where") and "overbar study" in visit.text("#where"), f"it says {visit.text('#where')!r}")
    check.that(", saved" in visit.text("#corrections"), "the page does not know that it is saved")
    page.close()
    shutil.copy(saved, folder / "hits.tsv")
    said = study(program, recording, folder)
    kept = next((line for line in said.splitlines() if line.startswith("kept")), "")
    for words in ("1 voice", "1 time", "1 limb", "1 mark", "1 row deleted", "1 row added"):
        check.that(words in kept, f"the next study does not say {words!r}: {kept!r}")
    after = rows(folder)
    cowbells = [row for row in after if row["voice"] == "cowbell"]
    # Bar 2, beat 3, step 2 of sixteenths in 4/4, by the grid's own beats.
    beats = clips.json.loads((folder / "study.json").read_text(encoding="utf-8"))["grid"]["beats"]
    due = beats[6] + (beats[7] - beats[6]) / 4
    check.that(len(cowbells) == 2 and abs(float(cowbells[1]["time"]) - due) < 0.001 and cowbells[1]["sure"] == "1.00", f"cowbells in the next study: {cowbells}, the second due at {due}")
    check.that(len(after) == len(before), f"{len(after)} rows after one deleted and one added of {len(before)}")
    why = [row["why"] for row in after if row["why"]]
    check.that(why == ['a "quoted" tab\there', "plain"], f"columns of the player's own: {why}")
    check.that("# a comment of mine" in (folder / "hits.tsv").read_text(encoding="utf-8"), "the player's comment is gone")
    print(f"  {kept}; moved: {moved}")


def check_stale(context, check, program, folder):
    """Corrections that were never saved are offered on the next writing of the study; an open page knows it is old."""
    visit = Visit(context, folder, check)
    page = visit.page
    for _ in range(20):
        page.keyboard.press("ArrowRight")
    page.keyboard.press("m")
    page.keyboard.type("flam")
    page.keyboard.press("Escape")
    text = (folder / "hits.tsv").read_text(encoding="utf-8").splitlines()
    (folder / "hits.tsv").write_text("\n".join(text[:-3]) + "\n", encoding="utf-8")
    study(program, clips.AUDIO / f"{DEMO}.wav", folder)
    page.evaluate("window.dispatchEvent(new Event('focus'))")
    page.wait_for_selector("#stale:not([hidden])", timeout=4000)
    page.close()
    visit = Visit(context, folder, check)
    page = visit.page
    offered = visit.text("#kept-said") if page.is_visible("#kept") else ""
    check.that(offered.startswith("1 correction made on an earlier writing"), f"a stale correction: {offered!r}")
    if offered:
        page.click("#kept-bring")
        check.that("1 of 1" in visit.text("#told") and visit.text("#corrections").startswith("1 stroke"), f"brought over: {visit.text('#told')!r}, {visit.text('#corrections')!r}")
    page.close()


def check_places(visit, check):
    """Anything can be heard with a click; unsure places and the same spot in every round can be stepped through."""
    page = visit.page
    for selector, words in (
        ("#line-2 .can.bar", "bar 3"), ("#line-2 .can.beat", "beat at bar 3"), ("#line-2 .can.round", "repeat"),
        ("#line-1 .can.cell", "from bar 1"), ("#line-1 [data-stroke]", "bar 1"), ("#row-4 .label", "from bar"),
    ):
        page.locator(selector).first.dispatch_event("click")
        said = visit.text("#place")
        check.that(words in said, f"a click on {selector} chooses {said!r}")
        check.that(page.evaluate("document.getElementById('play').textContent") == "Stop", f"a click on {selector} plays nothing")
    page.keyboard.press("Escape")
    page.click("#unsure summary")
    count = int(visit.text("#unsure-count"))
    seen = set()
    for _ in range(min(count, 5)):
        page.keyboard.press("u")
        seen.add(visit.text("#told"))
    check.that(len(seen) == min(count, 5), f"unsure places stepped through: {seen}")
    page.keyboard.press("Escape")
    page.locator("#line-3 [data-stroke]").first.dispatch_event("click")
    page.click("#spots summary")
    page.wait_for_timeout(300)
    listed = page.locator("#spots-list li").count()
    rounds = page.evaluate("JSON.parse(document.getElementById('study').textContent).figures[0].rounds.length")
    check.that(listed >= rounds - 1, f"{listed} spots for {rounds} rounds")
    page.keyboard.press("s")
    heard = set()
    for _ in range(14):
        page.wait_for_timeout(200)
        heard.add(page.evaluate("document.querySelector('#spots-list [aria-current=true]')?.textContent"))
    page.keyboard.press("Escape")
    check.that(len(heard) >= 3, f"in 2.8 s only {len(heard)} rounds were heard")
    page.fill("#bar", "17")
    page.press("#bar", "Enter")
    check.that("Here is bar 17" in visit.text("#told"), f"search by bar: {visit.text('#told')!r}")
    page.keyboard.press("Escape")


def check_grace(context, check, program, folder, work):
    """A flam's grace stroke is written earlier or later, and goes with the mark; what is saved says so."""
    folder = shutil.copytree(folder, work / "graced")
    lines = (folder / "hits.tsv").read_text(encoding="utf-8").splitlines()
    head = next(line for line in lines if line.startswith("time\t")).split("\t")
    at = next(i for i, line in enumerate(lines) if "\tsnare\t" in line and i > len(lines) // 2)
    cells = lines[at].split("\t")
    cells[head.index("mark")], cells[head.index("grace")] = "flam", "25.0"
    lines[at] = "\t".join(cells)
    (folder / "hits.tsv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    study(program, clips.AUDIO / f"{DEMO}.wav", folder)
    visit = Visit(context, folder, check)
    page = visit.page
    number, row = next((i + 1, row) for i, row in enumerate(rows(folder)) if row["mark"] == "flam")
    page.fill("#bar", f"{int(float(row['time'])) // 60}:{float(row['time']) % 60:05.2f}")
    page.press("#bar", "Enter")
    page.locator(f"#g-h{number}").dispatch_event("click")
    page.keyboard.press("Escape")
    check.that(page.input_value("#edit-grace") == row["grace"], f"the page says a grace of {page.input_value('#edit-grace')!r}, not {row['grace']!r}")
    page.fill("#edit-grace", "33.3")
    page.press("#edit-grace", "Tab")
    with page.expect_download() as waiting:
        page.keyboard.press("Control+s")
    lines = pathlib.Path(waiting.value.path()).read_text(encoding="utf-8").splitlines()
    head = next(line for line in lines if line.startswith("time\t")).split("\t")
    saved = next(line for line in lines if line.startswith(f"{row['time']}\t{row['voice']}\t")).split("\t")
    check.that(saved[head.index("grace")] == "33.3", f"the saved row is {saved}")
    page.fill("#edit-grace", "900")
    page.press("#edit-grace", "Tab")
    check.that(page.input_value("#edit-grace") == "33.3", "a grace of 900 ms is taken")
    page.select_option("#edit-mark", "accent")
    check.that(page.is_hidden("#grace"), "an accent has a grace stroke")
    page.keyboard.press("Escape")
    page.evaluate("document.activeElement.blur()")
    for _ in range(2):
        page.keyboard.press("z")
    check.that(page.input_value("#edit-grace") == row["grace"] and visit.text("#corrections").startswith("No corrections"), "undo does not bring the grace back")
    page.close()


def check_figures(context, check, folder, work):
    """Of two figures each can be looked at. No demo has two: the second is every other repeat of the first, put in here."""
    visit = Visit(context, folder, check)
    check.that(visit.page.is_hidden("#figures"), "one figure is offered for choice")
    visit.page.close()
    two = work / "two-figures"
    shutil.copytree(folder, two)
    page = (two / "study.html").read_text(encoding="utf-8")
    begin = page.index('<script type="application/json" id="study">') + len('<script type="application/json" id="study">')
    end = page.index("</script>", begin)
    known = json.loads(page[begin:end])
    first = known["figures"][0]
    pairs = list(zip(first["rounds"][::2], first["rounds"][1::2]))
    second = {**first, "length": 2 * first["length"], "voices": first["voices"][:1], "missing": [], "added": [], "rounds": [[a[0], b[1], False] for a, b in pairs]}
    known["figures"].append(second)
    (two / "study.html").write_text(page[:begin] + json.dumps(known).replace("<", "\\u003c") + page[end:], encoding="utf-8")
    visit = Visit(context, two, check)
    page = visit.page
    starts = page.locator("#solo-lines .can.round").count()
    check.that(page.locator("#which-figure option").count() == 2, "the second figure is not offered")
    page.select_option("#which-figure", "1")
    check.that(page.input_value("#stack-length") == str(second["length"]), "the stack keeps the first figure's length")
    # The stack is drawn with the next picture.
    page.wait_for_timeout(300)
    check.that(page.locator("#row-0 .rule").count() == 1, "the stack keeps the first figure's voices")
    check.that(page.locator("#solo-lines .can.round").count() < starts, "the solo keeps the first figure's starts")
    page.select_option("#which-figure", "0")
    check.that(page.input_value("#stack-length") == str(first["length"]), "the first figure does not come back")
    page.close()


def check_looks(browser, check, folder, pictures):
    """Phone width without sideways scrolling, light and dark, print; names for readers who listen."""
    for name, size, scheme in (("wide-light", (1280, 800), "light"), ("wide-dark", (1280, 800), "dark"),
                               ("phone-light", (390, 844), "light"), ("phone-dark", (390, 844), "dark")):
        context = browser.new_context(viewport={"width": size[0], "height": size[1]}, color_scheme=scheme)
        visit = Visit(context, folder, check)
        page = visit.page
        page.wait_for_selector("canvas.drawn")
        wide = page.evaluate("[document.documentElement.scrollWidth, window.innerWidth]")
        check.that(wide[0] <= wide[1], f"{name}: the page is {wide[0]} wide in a window of {wide[1]}")
        paper = page.evaluate("getComputedStyle(document.documentElement).backgroundColor")
        check.that((paper == "rgb(255, 255, 255)") == (scheme == "light"), f"{name}: its paper is {paper}")
        seen = page.evaluate("""() => ["#row-3", "#line-1 svg"].map((selector) => {
          const box = document.querySelector(selector).getBoundingClientRect();
          return Math.max(0, Math.min(box.bottom, innerHeight) - Math.max(box.top, 0));
        })""")
        check.that(min(seen) > 20, f"{name}: the first view shows {seen} of stack and solo")
        if pictures:
            page.screenshot(path=pictures / f"{name}.png")
        if name == "wide-light":
            unnamed = page.evaluate("""() => [...document.querySelectorAll("button, input, select, [role=img], [role=button], [role=group]")]
              .filter((e) => !(e.getAttribute("aria-label") || e.getAttribute("aria-labelledby") || e.textContent.trim() || e.closest("label")))
              .map((e) => e.outerHTML.slice(0, 80))""")
            check.that(not unnamed, f"without a name: {unnamed}")
            ids = page.evaluate("(() => { const ids = [...document.querySelectorAll('[id]')].map((e) => e.id); return ids.filter((id, at) => ids.indexOf(id) !== at); })()")
            check.that(not ids, f"ids that stand twice: {ids[:5]}")
            page.emulate_media(media="print")
            check.that(not page.is_visible("#say") and page.is_visible("#solo"), "print shows controls or no solo")
            page.evaluate("document.querySelector('#stack-rows').style.width = '400px'")
            heads = page.evaluate("""[...document.querySelectorAll('#stack-rows .part')].map((part) => {
              const [head, rows] = ['.again svg', '.chunk svg'].map((svg) => part.querySelector(svg).getScreenCTM());
              const wide = part.querySelector('.chunk svg').viewBox.baseVal.width;
              return [part.querySelector('.again').offsetHeight, head.e - rows.e, head.e + head.a * wide - rows.e - rows.a * wide];
            })""")
            apart = [max(map(abs, head[1:])) for head in heads]
            check.that(heads and min(head[0] for head in heads) > 5 and max(apart) < 0.5 and not page.is_visible(".columns"),
                       f"numbers over the parts of the printed stack: {heads}")
            page.evaluate("document.querySelector('#stack-rows').style.width = ''")
            page.add_style_tag(content="#solo-lines .line { width: 500px !important; }")
            edges = page.evaluate("[...document.querySelectorAll('.line svg')].map((svg) => svg.getBoundingClientRect().right - svg.parentNode.getBoundingClientRect().right)")
            check.that(max(edges) < 1, f"on narrow paper a line is cut by {max(edges):.0f} pixels")
            page.evaluate("document.head.lastChild.remove()")
            pdf = page.pdf(path=str(pictures / "print.pdf") if pictures else None, format="A4")
            lines = page.evaluate("[document.querySelectorAll('.line').length, document.querySelectorAll('.line svg').length]")
            check.that(len(pdf) > 10000 and lines[0] == lines[1], f"print draws {lines[1]} of {lines[0]} lines")
        context.close()


def check_long(browser, check, program, work):
    """Ten minutes: the page opens in two seconds and scrolls smoothly."""
    sound = [wav(path) for path in sorted(clips.AUDIO.glob("*.wav")) if path.stem in ("paper-lanterns", "harbour-steps")]
    sound = [s if s.ndim == 1 else s.mean(axis=1) for s in sound]
    both = np.concatenate(sound)
    long = np.tile(both, int(np.ceil(600 * RATE / len(both))))[: 600 * RATE]
    scipy.io.wavfile.write(work / "long.wav", RATE, np.round(long * 32767).astype(np.int16))
    folder = work / "long"
    study(program, work / "long.wav", folder, "--quiet")
    context = browser.new_context(viewport={"width": 1280, "height": 800})
    page = context.new_page()
    page.goto((folder / "study.html").as_uri(), wait_until="commit")
    page.wait_for_selector("#line-1 svg")
    page.wait_for_load_state("load")
    # From the start of loading to the first picture with stack and solo in it.
    opened = page.evaluate("""() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => done(performance.now()))))""")
    check.that(opened < 2000, f"ten minutes open in {opened:.0f} ms")
    frames = page.evaluate("""() => new Promise((done) => {
      const gaps = [], began = performance.now();
      let last = began;
      const frame = (now) => {
        gaps.push(now - last);
        last = now;
        window.scrollBy(0, 24);
        if (now - began < 5000) requestAnimationFrame(frame); else done(gaps.slice(2));
      };
      requestAnimationFrame(frame);
    })""")
    rate, slow = 1000 / np.mean(frames), np.percentile(frames, 99)
    strokes = len(rows(folder))
    size = sum(f.stat().st_size for f in folder.rglob("*") if f.is_file()) / 1e6
    page_size = (folder / "study.html").stat().st_size / 1e6
    print(f"  ten minutes, {strokes} strokes: opens in {opened:.0f} ms, scrolls at {rate:.0f} frames a second (one in a hundred takes {slow:.0f} ms), page {page_size:.1f} MB, folder {size:.0f} MB")
    check.that(rate >= 50, f"scrolling at {rate:.0f} frames a second")
    context.close()


def main():
    program, example = (str(pathlib.Path(arg).resolve()) for arg in sys.argv[1:3])
    pictures = pathlib.Path(sys.argv[3]) if len(sys.argv) > 3 else None
    if pictures:
        pictures.mkdir(parents=True, exist_ok=True)
    check = Check()
    with tempfile.TemporaryDirectory() as place, sync_playwright() as playwright:
        work = pathlib.Path(place)
        browser = open_browser(playwright)
        if browser is None:
            print("SKIPPED: no Chromium on this machine and none could be fetched; install it (apt-get install chromium) to check the page")
            return
        folder = work / DEMO
        study(program, clips.AUDIO / f"{DEMO}.wav", folder)
        window = {"width": 1280, "height": 800}
        # The page's own rules refuse the tap; they stand wherever nothing is captured.
        visit = Visit(browser.new_context(viewport=window, bypass_csp=True), folder, check, tap=True)
        context = browser.new_context(viewport=window, accept_downloads=True)
        for part in (
            lambda: check_stretch(visit, check, example, work),
            lambda: check_sound(visit, check, folder),
            lambda: check_loop(visit, check, folder),
            lambda: check_compare(visit, check),
            lambda: visit.page.close(),
            lambda: check_places(Visit(context, folder, check), check),
            lambda: check_grace(context, check, program, folder, work),
            lambda: check_figures(context, check, folder, work),
            lambda: check_keys(context, check, program, folder, work),
            lambda: check_stale(context, check, program, folder),
            lambda: check_looks(browser, check, folder, pictures),
            lambda: check_long(browser, check, program, work),
        ):
            part()
        browser.close()
    print(f"{check.passed} things right on the page")
    sys.exit("\n".join(f"error: {f}" for f in check.faults) or 0)


if __name__ == "__main__":
    main()
