#!/usr/bin/env python3
"""Writes notices.txt: what libraries the program contains and under what licences, with their texts.

    .ci/notices.py            writes it
    .ci/notices.py --check    says whether it is what this would write

Takes the libraries from `cargo metadata` (those that end up in the program on any system, with default features; not what
only builds or tests it) and the texts from the libraries' own packages.
"""
import json
import pathlib
import re
import subprocess
import sys

ROOT = pathlib.Path(__file__).resolve().parent.parent
OUT = ROOT / "notices.txt"
NAMES = re.compile(r"^(licen[cs]e|copying|notice|unlicense|copyright)", re.I)


def inside(metadata):
    """Packages that the program contains: reached by normal dependencies alone; a macro's own are not in it."""
    packages = {p["id"]: p for p in metadata["packages"]}
    nodes = {n["id"]: n for n in metadata["resolve"]["nodes"]}
    seen, todo = set(), [metadata["resolve"]["root"]]
    while todo:
        at = todo.pop()
        if at in seen:
            continue
        seen.add(at)
        if any("proc-macro" in t["kind"] for t in packages[at]["targets"]):
            continue
        for dep in nodes[at]["deps"]:
            if any(k["kind"] is None for k in dep["dep_kinds"]):
                todo.append(dep["pkg"])
    seen.discard(metadata["resolve"]["root"])
    return sorted((packages[i] for i in seen), key=lambda p: (p["name"].lower(), p["version"]))


def texts(package):
    folder = pathlib.Path(package["manifest_path"]).parent
    files = [f for f in sorted(folder.iterdir()) if f.is_file() and NAMES.match(f.name)]
    extra = package.get("license_file")
    if extra and folder / extra not in files and (folder / extra).is_file():
        files.append(folder / extra)
    for sub in ("LICENSES", "licenses"):
        if (folder / sub).is_dir():
            files += sorted(f for f in (folder / sub).iterdir() if f.is_file())
    out = []
    for f in files:
        text = f.read_text(encoding="utf-8", errors="replace").replace("\r\n", "\n").replace("\f", "")
        out.append("\n".join(line.rstrip() for line in text.split("\n")).strip("\n"))
    return out


def main():
    command = ["cargo", "metadata", "--format-version", "1", "--locked"]
    metadata = json.loads(subprocess.run(command, cwd=ROOT, check=True, capture_output=True).stdout)
    packages = inside(metadata)
    by_text = {}
    lines = []
    for p in packages:
        licence = p["license"] or "see its text below"
        lines.append(f"{p['name']}\t{p['version']}\t{licence}")
        for text in texts(p):
            # What differs only in the breaking of lines is one text.
            by_text.setdefault(" ".join(text.split()), (text, []))[1].append(f"{p['name']} {p['version']}")
    out = ["tussock is under the MIT licence or the Apache licence 2.0, at your choice.", "",
           "It contains these libraries (name, version, licence), whose notices follow:", ""]
    out += lines + [""]
    for text, users in sorted(by_text.values(), key=lambda v: (-len(v[1]), v[1][0])):
        out += ["=" * 100, "", "Of " + ", ".join(users) + ":", "", text, ""]
    made = "\n".join(out)
    if "--check" in sys.argv:
        sys.exit(0 if OUT.is_file() and OUT.read_text() == made else "notices.txt is out of date: run .ci/notices.py")
    OUT.write_text(made)
    print(f"{len(packages)} libraries, {len(by_text)} texts, {len(made) // 1000} kB")


main()
