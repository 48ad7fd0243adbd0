"""The Rust version that Cargo.toml declares: the compiler at hand has it, and no dependency asks for a newer one.

    rust_version.py < METADATA      METADATA is what `cargo metadata --format-version 1` prints
"""

import json
import subprocess
import sys


def parts(version):
    """1.95 and 1.95.0 as the same numbers."""
    numbers = [int(n) for n in version.split("-")[0].split(".")]
    return numbers + [0] * (3 - len(numbers))


def main():
    packages = json.load(sys.stdin)["packages"]
    own = next(p for p in packages if p["name"] == "overbar")["rust_version"]
    here = subprocess.run(["rustc", "--version"], capture_output=True, text=True, check=True).stdout.split()[1]
    if parts(here) < parts(own):
        sys.exit(f"error: this rustc is {here}; Overbar needs {own} or newer")
    asking = [p for p in packages if p["rust_version"] and parts(p["rust_version"]) > parts(own)]
    for p in asking:
        print(f"error: {p['name']} {p['version']} needs Rust {p['rust_version']}, beyond the declared {own}")
    if asking:
        sys.exit(1)
    print(f"rustc {here}, declared {own}; {len(packages)} packages ask for no more")


if __name__ == "__main__":
    main()
