"""Where the program's dependencies come from, and whether their licences allow what is done with them.

    supply.py DEVELOPERS.md < METADATA      METADATA is what `cargo metadata --format-version 1` prints

Every package comes from crates.io and states a licence that one of those below satisfies; every dependency that
Cargo.toml names for the program itself has its line in the table of DEVELOPERS.md, and the table has no other; no
package is in the program in two versions but those below. Known vulnerabilities are not looked up here: that needs the
list at https://rustsec.org and `cargo audit`.
"""

import json
import pathlib
import re
import sys

# Licences that ask for no more than a notice, and MPL, which asks for changes to its own files.
ALLOWED = {
    "0BSD", "Apache-2.0", "BSD-2-Clause", "BSD-3-Clause", "ISC", "MIT", "MPL-2.0", "Unicode-3.0", "Unlicense", "Zlib",
}  # fmt: skip
# Packages of which two versions are built: ebur128 asks for an old bitflags, visibility (of rubato) for an old syn,
# which is there while building only.
TWICE = {"bitflags", "syn"}
CRATES_IO = "registry+https://github.com/rust-lang/crates.io-index"


def satisfied(licence):
    """Whether a licence expression can be met with the allowed ones; `/` is an old way to write OR."""
    either = re.sub(r"[()]", "", licence).replace("/", " OR ")
    parts = [part.strip() for part in either.split(" AND ")]
    plain = lambda one: one.split(" WITH ")[0].strip() in ALLOWED
    return all(any(plain(one) for one in part.split(" OR ")) for part in parts)


def table(text):
    """Names in the table of dependencies."""
    section = text.split("## Dependencies", 1)[-1].split("\n## ", 1)[0]
    rows = [line for line in section.splitlines() if line.startswith("| `")]
    return {name for row in rows for name in re.findall(r"`([^`]+)`", row.split("|")[1])}


def in_the_program(metadata):
    """Names and versions of all packages that end up in the program, or in what is run to build it."""
    nodes = {node["id"]: node for node in metadata["resolve"]["nodes"]}
    wanted = lambda dep: any(kind["kind"] != "dev" for kind in dep["dep_kinds"])
    found, open_ = set(), [metadata["resolve"]["root"]]
    while open_:
        one = open_.pop()
        if one not in found:
            found.add(one)
            open_ += [dep["pkg"] for dep in nodes[one]["deps"] if wanted(dep)]
    return sorted((p["name"], p["version"]) for p in metadata["packages"] if p["id"] in found)


def main():
    metadata = json.load(sys.stdin)
    packages = metadata["packages"]
    own = next(p for p in packages if p["name"] == "overbar")
    faults = []
    for p in packages:
        if p is own:
            continue
        if p["source"] != CRATES_IO:
            faults.append(f"{p['name']} comes from {p['source']}")
        if not p["license"] or not satisfied(p["license"]):
            faults.append(f"{p['name']} is under {p['license']}")
    named = {d["name"] for d in own["dependencies"] if d["kind"] is None}
    told = table(pathlib.Path(sys.argv[1]).read_text(encoding="utf-8"))
    faults += [f"{name} has no line in the table of {sys.argv[1]}" for name in sorted(named - told)]
    faults += [f"{name} is in the table of {sys.argv[1]} but not in Cargo.toml" for name in sorted(told - named)]
    names = [name for name, _ in in_the_program(metadata)]
    twice = {name for name in names if names.count(name) > 1}
    faults += [f"{name} is in the program in two versions" for name in sorted(twice - TWICE)]
    faults += [f"{name} need not be excused any more: it is there once" for name in sorted(TWICE - twice)]
    if faults:
        sys.exit("\n".join(f"error: {fault}" for fault in faults))
    print(f"{len(packages) - 1} packages, all from crates.io under known licences; {len(named)} named and justified")


if __name__ == "__main__":
    main()
