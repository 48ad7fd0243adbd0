"""Charts read by an XML parser that is not ours.

    svg.py STUDIES

Every chart is well-formed, is one SVG with a size, uses nothing from outside itself, keeps its words as text that
lies on the page, bears what a study chart must bear (title, clock time, tempo, meter, legend), and can be read by
those who listen: named as a picture, with a description, every stroke with its place in words. Ids stand once.
"""

import pathlib
import re
import sys

from lxml import etree

import clips

SVG = "{http://www.w3.org/2000/svg}"
# Elements that would hide words or fetch something.
REFUSED = {"image", "foreignObject", "script", "font", "iframe", "audio", "video"}
BORNE = {"clock time": r"\b\d+:\d\d\b", "tempo": r"\bbpm\b", "meter": r"\b\d+/\d+\b"}


def number(element, name):
    """An attribute as a number; units of length are not expected on text."""
    return float(element.get(name, "0"))


def faults_of(chart):
    """What is wrong with one chart."""
    parser = etree.XMLParser(resolve_entities=False, no_network=True, load_dtd=False)
    root = etree.parse(str(chart), parser).getroot()
    if root.tag != SVG + "svg":
        return [f"its root is {root.tag}"]
    box = [float(x) for x in root.get("viewBox", "").split()]
    if len(box) != 4 or not all(root.get(side) for side in ("width", "height")):
        return ["it has no width, height and viewBox"]
    faults = []
    elements = [e for e in root.iter() if isinstance(e.tag, str)]
    for e in elements:
        name = etree.QName(e).localname
        if name in REFUSED:
            faults.append(f"it has <{name}>")
        for key, value in e.attrib.items():
            link = etree.QName(key).localname in ("href", "src") and not value.startswith("#")
            if link or re.search(r"url\(\s*['\"]?(?!#)", value):
                faults.append(f"<{name}> fetches {value!r}")
    ids = [e.get("id") for e in elements if e.get("id")]
    faults += [f"the id {i!r} stands twice" for i in sorted({i for i in ids if ids.count(i) > 1})]
    named = [e for e in elements if e.get("id") in root.get("aria-labelledby", "").split() and e.text]
    if root.get("role") != "img" or [e.tag for e in named] != [SVG + "title", SVG + "desc"]:
        faults.append("it is not a picture with a title and a description")
    strokes = [e for e in elements if e.get("data-voice")]
    faults += [f"a stroke of {e.get('data-voice')} has no id or no words" for e in strokes if not e.get("id") or e.find(SVG + "title") is None]
    texts = [e for e in elements if e.tag == SVG + "text"]
    words = [" ".join("".join(t.itertext()).split()) for t in texts]
    for text, word in zip(texts, words):
        x, y = number(text, "x"), number(text, "y")
        if text.get("transform") is None and not (
            box[0] <= x <= box[0] + box[2] and box[1] <= y <= box[1] + box[3]
        ):
            faults.append(f"{word!r} at {x}, {y} lies off the page")
    stray = [e.text for e in elements if e.tag not in {SVG + t for t in ("text", "tspan", "title", "desc", "style")}]
    faults += [f"words outside <text>: {s.strip()!r}" for s in stray if s and s.strip()]
    said = "\n".join(words)
    faults += [f"it bears no {what}" for what, pattern in BORNE.items() if not re.search(pattern, said)]
    return faults


def main():
    faults, seen = [], 0
    for name in clips.names():
        charts = sorted((pathlib.Path(sys.argv[1]) / name / "charts").glob("*.svg"))
        if not charts:
            faults.append(f"{name}: no charts")
        seen += len(charts)
        for chart in charts:
            try:
                faults += [f"{name}/{chart.name}: {f}" for f in faults_of(chart)]
            except etree.XMLSyntaxError as e:
                faults.append(f"{name}/{chart.name}: not well-formed: {e}")
    print(f"{seen} charts read")
    sys.exit("\n".join(f"error: {f}" for f in faults) or 0)


if __name__ == "__main__":
    main()
