#!/usr/bin/env python3
"""Runs what the guide shows and compares what comes out with what it says.

    .ci/guide.py PROGRAM            says where the guide no longer shows what the program prints
    .ci/guide.py PROGRAM --write    puts in what it prints today

In the guide's pages, a block marked `console` holds commands (lines that begin with "$ ") and what each prints; a block marked
`python NAME` is a script that commands after it may run. All pages share one empty folder and run in the order of their
names. Numbers may differ by 3 %, or by one in the last place shown, since they are rounded; dates and times do not count.
"""
import os
import pathlib
import re
import subprocess
import sys
import tempfile

ROOT = pathlib.Path(__file__).resolve().parent.parent
NUMBER = re.compile(r"\d+(?:\.\d+)?")
DATE = re.compile(r"\d{4}-\d\d-\d\d")
BLOCK = re.compile(r"^```(console|python (\S+))\n(.*?)^```$", re.M | re.S)


def run(command, folder, environment):
    done = subprocess.run(["bash", "-c", command], cwd=folder, env=environment, text=True, timeout=1200,
                          stdout=subprocess.PIPE, stderr=subprocess.STDOUT, stdin=subprocess.DEVNULL)
    # Where the folder lies is nobody's business.
    text = done.stdout.replace(f"{folder.resolve()}/", "").replace(f"{folder}/", "")
    lines = [DATE.sub("2026-11-07", line.rstrip()) for line in text.splitlines()]
    while lines and not lines[-1]:
        lines.pop()
    return lines


def alike(a, b):
    words = [NUMBER.split(re.sub(r" +", " ", line)) for line in (a, b)]
    numbers = [NUMBER.findall(line) for line in (a, b)]
    if words[0] != words[1] or len(numbers[0]) != len(numbers[1]):
        return False
    for x, y in zip(*numbers):
        places = max(len(n.partition(".")[2]) for n in (x, y))
        if abs(float(x) - float(y)) > max(0.03 * abs(float(x)), 1.01 * 10.0 ** -places if places else 0.0):
            return False
    return True


def main():
    program, write = pathlib.Path(sys.argv[1]).resolve(), "--write" in sys.argv
    faults, commands = [], 0
    with tempfile.TemporaryDirectory() as folder:
        home = pathlib.Path(folder, "home")
        home.mkdir()
        work = pathlib.Path(folder, "pictures")
        work.mkdir()
        environment = dict(os.environ, HOME=str(home), PATH=f"{program.parent}:{os.environ['PATH']}", COLUMNS="100",
                           XDG_CACHE_HOME=str(home / "cache"), XDG_CONFIG_HOME=str(home / "config"))
        for page in sorted((ROOT / "docs/guide").glob("*.md")):
            text = page.read_text()

            def block(match):
                nonlocal commands
                kind, name, body = match.groups()
                if name:
                    (work / name).write_text(body)
                    return match.group(0)
                out = []
                for part in re.split(r"^(?=\$ )", body, flags=re.M):
                    if not part.startswith("$ "):
                        continue
                    command, shown = part[2:].split("\n", 1)
                    while command.endswith("\\"):
                        more, shown = shown.split("\n", 1)
                        command += "\n" + more
                    commands += 1
                    printed = run(command, work, environment)
                    shown = [line.rstrip() for line in shown.splitlines()]
                    while shown and not shown[-1]:
                        shown.pop()
                    if "..." in shown:
                        # What stands for lines left out.
                        at = shown.index("...")
                        tail = len(shown) - at - 1
                        printed = printed[:at] + ["..."] + (printed[-tail:] if tail else [])
                    if len(shown) != len(printed) or not all(map(alike, shown, printed)):
                        faults.append(f"{page.name}: $ {command}\n" + "\n".join(f"  shown   {s}" for s in shown) + "\n"
                                      + "\n".join(f"  printed {p}" for p in printed))
                        shown = printed
                    out.append(f"$ {command}\n" + "".join(line + "\n" for line in shown))
                return f"```console\n{''.join(out)}```"

            new = BLOCK.sub(block, text)
            if write and new != text:
                page.write_text(new)
    if faults and not write:
        sys.exit("\n".join(faults) + "\nrun .ci/guide.py PROGRAM --write, and read what changed")
    print(f"{commands} commands of the guide, {len(faults)} {'renewed' if write else 'differ'}")


main()
