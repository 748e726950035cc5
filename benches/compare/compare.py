#!/usr/bin/env python3
"""Whole processes beside each other on one machine in one session: the audit, decoding alone, and OpenCV.

    cargo build --release --bin tussock --example decode
    python3 benches/compare/compare.py --work FOLDER [--only ROW ...] [--runs 5] [--page] [--list]

FOLDER gets a virtual environment with OpenCV (from the package index, once), the frames that are made for the
comparison, and the reports; nothing is written elsewhere. Each row prints its ratio beside the bar. Times are cpu time
(user and system, of a process and all its children), so that other work on the machine disturbs them little; the row
`threads` and the seconds of the row `remembered` are wall time and want a quiet machine.
"""

import argparse
import ctypes
import os
import shutil
import statistics
import subprocess
import sys
import threading
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
PAGE = os.sysconf("SC_PAGE_SIZE")
MIB = 1 << 20


class Run:
    """One process with its children: cpu and wall seconds, and the most memory all held together."""

    def __init__(self, command, environment=None, watch=False):
        self.peak = 0
        done = threading.Event()
        start = time.monotonic()
        process = subprocess.Popen(
            [str(c) for c in command],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            env=os.environ | (environment or {}),
        )
        watcher = threading.Thread(target=self._watch, args=(process.pid, done))
        if watch:
            watcher.start()
        said = process.stderr.read().decode(errors="replace")
        _, status, usage = os.wait4(process.pid, 0)
        self.wall = time.monotonic() - start
        done.set()
        if watch:
            watcher.join()
        self.cpu = usage.ru_utime + usage.ru_stime
        self.peak = max(self.peak, usage.ru_maxrss * 1024)
        # Workers that outlived their parent are ours now: their time counts too.
        while True:
            try:
                _, _, usage = os.wait4(-1, 0)
            except ChildProcessError:
                break
            self.cpu += usage.ru_utime + usage.ru_stime
        process.returncode = os.waitstatus_to_exitcode(status)
        if process.returncode:
            sys.exit(f"{' '.join(map(str, command))} failed: {said}")

    def _watch(self, pid, done):
        while not done.wait(0.002):
            self.peak = max(self.peak, sum(resident(p) for p in tree(pid)))


def tree(pid):
    """A process and its descendants."""
    yield pid
    try:
        for task in os.listdir(f"/proc/{pid}/task"):
            for child in Path(f"/proc/{pid}/task/{task}/children").read_text().split():
                yield from tree(int(child))
    except OSError:
        return


def resident(pid):
    try:
        return int(Path(f"/proc/{pid}/statm").read_text().split()[1]) * PAGE
    except (OSError, IndexError):
        return 0


class Bench:
    def __init__(self, work, runs, program, decode, page):
        self.work, self.runs, self.program, self.decode = work, runs, program, decode
        self.page = [] if page else ["--no-page"]
        self.python = work / "venv" / "bin" / "python"
        if not self.python.exists():
            subprocess.run([sys.executable, "-m", "venv", work / "venv"], check=True)
            subprocess.run([self.python, "-m", "pip", "install", "--quiet", "opencv-python-headless"], check=True)

    def frame(self, name, width, height):
        path = self.work / "frames" / name
        path.parent.mkdir(exist_ok=True)
        if not path.exists():
            subprocess.run([self.python, HERE / "inputs.py", f"{width}x{height}", path], check=True)
        return path

    def folder(self, name, count, width, height):
        folder = self.work / name
        original = self.frame(f"{width}x{height}.jpg", width, height)
        make = [self.python, HERE / "inputs.py", f"{width}x{height}", original, "--copies", str(count), folder]
        subprocess.run(make, check=True)
        return folder

    def audit(self, paths, jobs=1, cache=None, page=None, watch=False, more=(), again=False):
        """`again` leaves the report of the run before, as who audits a folder a second time does."""
        out = self.work / "report"
        if not again:
            shutil.rmtree(out, ignore_errors=True)
        command = [self.program, "audit", "--jobs", jobs, "--out", out, *more]
        command += self.page if page is None else [] if page else ["--no-page"]
        command += [] if cache else ["--no-cache"]
        return Run([*command, *paths], {"XDG_CACHE_HOME": str(cache)} if cache else None, watch)

    def cpu(self, run):
        return statistics.median(run().cpu for _ in range(self.runs))

    # Rows: each prints what it found.

    def row_opencv(self):
        for name in ("24mp.jpg", "24mp-plain.jpg"):
            jpeg = self.frame(name, 6000, 4000)
            # In turns, so that what else the machine does falls on all alike.
            turns = [
                (
                    self.audit([jpeg], page=False).cpu,
                    self.audit([jpeg], page=True).cpu,
                    Run([self.python, HERE / "opencv_tiles.py", jpeg]).cpu,
                    Run([self.python, "-c", "import cv2"]).cpu,
                )
                for _ in range(self.runs)
            ]
            bare, page, whole, loading = (statistics.median(t) for t in zip(*turns))
            what = "/ OpenCV grey + Laplacian + tile variance, one thread"
            say(f"{name}: audit without the page {what}", bare / (whole - loading), "<= 0.8")
            say(f"{name}: audit with the page {what}", page / (whole - loading), "<= 1.0")
            note(f"audit {bare:.3f} s, {page:.3f} s with the page; OpenCV {whole:.3f} s, of which loading it {loading:.3f} s; {size(jpeg)}")

    def row_instructions(self):
        """Counted, not timed: what any machine with the same instructions repeats, however busy."""
        if not shutil.which("valgrind"):
            return note("no valgrind: instructions are not counted")
        for name in ("24mp.jpg", "24mp-plain.jpg"):
            jpeg = self.frame(name, 6000, 4000)
            for page in (False, True):
                shutil.rmtree(self.work / "report", ignore_errors=True)
                said = self.work / "callgrind.log"
                command = ["valgrind", "--tool=callgrind", "--callgrind-out-file=/dev/null", f"--log-file={said}", self.program]
                command += ["audit", "--jobs", 1, "--no-cache", "--out", self.work / "report"]
                Run([*command, *([] if page else ["--no-page"]), jpeg])
                count = int(said.read_text().rsplit("Collected :", 1)[1].split()[0])
                say(f"{name}: instructions, {'with' if page else 'without'} the page, thousand million", count / 1e9, "stated")

    def row_decode(self):
        jpeg = self.frame("24mp.jpg", 6000, 4000)
        audit = self.cpu(lambda: self.audit([jpeg]))
        decode = self.cpu(lambda: Run([self.decode, jpeg]))
        say("audit / decode alone, 24-MP JPEG, one thread", audit / decode, "<= 2.5")
        note(f"audit {audit:.3f} s, decode {decode:.3f} s")

    def row_raw(self):
        dng = self.frame("24mp.dng", 6000, 4000)
        audit = self.cpu(lambda: self.audit([dng]))
        decode = self.cpu(lambda: Run([self.decode, dng]))
        say("audit / decode alone, 24-MP lossless DNG, one thread", audit / decode, "<= 2.0")
        note(f"audit {audit:.3f} s with its worker, decode in one process {decode:.3f} s; {size(dng)}")

    def row_raws(self):
        for kind in ("cr2", "nef", "arw", "raf"):
            path = self.work / "frames" / f"24mp.{kind}"
            path.parent.mkdir(exist_ok=True)
            if not path.exists():
                Run([self.decode, "--write", path])
            audit = self.cpu(lambda: self.audit([path]))
            decode = self.cpu(lambda: Run([self.decode, path]))
            say(f"audit / decode alone, {kind.upper()} of the simulator's, 24 MP, one thread", audit / decode, "<= 2.0")
            note(f"audit {audit:.3f} s with its worker, decode in one process {decode:.3f} s; {size(path)}")

    def row_xl(self):
        dng = self.work / "frames" / "xl-60.dng"
        if not dng.exists():
            return note(f"xl: first make the file by tests/reference/make_raws.py {dng.parent} --large")
        audit = self.cpu(lambda: self.audit([dng]))
        read, alone = (self.cpu(lambda: Run([self.decode, *how, dng])) for how in ([], ["--xl"]))
        say("audit / jxl-oxide alone, JPEG XL DNG of 60 MP, one thread", audit / alone, "<= 1.5")
        note(f"audit {audit:.3f} s with its worker, decode in one process {read:.3f} s, jxl-oxide {alone:.3f} s")

    def row_threads(self):
        folder = self.folder("forty", 40, 6000, 4000)
        one, two = [], []
        for _ in range(self.runs):
            one.append(self.audit([folder], jobs=1).wall)
            two.append(self.audit([folder], jobs=2).wall)
        one, two = statistics.median(one), statistics.median(two)
        say("two threads over one, 40 frames of 24 MP (wall time)", one / two, ">= 1.8")
        note(f"one {one:.2f} s, two {two:.2f} s")

    def row_memory24(self):
        limit = 6000 * 4000 * 8 / MIB + 60
        for name in ("24mp.jpg", "24mp.dng"):
            path = self.frame(name, 6000, 4000)
            for page in (False, True):
                peak = max(self.audit([path], page=page, watch=True).peak for _ in range(3)) / MIB
                say(f"peak memory, {name}, {'with' if page else 'without'} the page, MiB", peak, f"<= {limit:.0f}")

    def row_memory60(self):
        for ending in ("jpg", "dng"):
            first = self.frame(f"60mp.{ending}", 9504, 6336)
            paths = [first]
            for k in range(3):
                paths.append(first.with_name(f"60mp-{k}.{ending}"))
                if not paths[-1].exists():
                    shutil.copy(first, paths[-1])
            for page in (False, True):
                run = self.audit(paths, jobs=2, page=page, watch=True, more=["--memory", "16GiB"])
                what = f"peak memory, four 60-MP {ending} frames, two in flight, {'with' if page else 'without'} the page, GiB"
                say(what, run.peak / (1 << 30), "<= 1.1")

    def row_remembered(self):
        folder = self.folder("thousand", 1000, 720, 480)
        cache = self.work / "cache"
        shutil.rmtree(cache, ignore_errors=True)
        first = self.audit([folder], jobs=2, cache=cache, page=True)
        again = [self.audit([folder], jobs=2, cache=cache, page=True, again=True) for _ in range(3)]
        seconds, cpu = (statistics.median(getattr(r, k) for r in again) for k in ("wall", "cpu"))
        say("second audit of 1,000 frames, report included, s (wall)", seconds, "<= 3")
        note(f"first {first.wall:.1f} s wall, {first.cpu:.1f} s cpu; second {cpu:.2f} s cpu; frames of 720 x 480")
        store = sum(f.stat().st_size for f in cache.rglob("*") if f.is_file()) / 1000 / 1e3
        say("store, kB a frame", store, "<= 100")
        count = sum(1 for f in (self.work / "report").rglob("*") if f.is_file()) / 1000
        say("files of the report a frame", count, "<= 3")
        files = sorted((self.work / "report").glob("*.*"), key=lambda p: -p.stat().st_size)[:4]
        note("largest files of the report: " + ", ".join(f"{p.name} {p.stat().st_size / 1e6:.1f} MB" for p in files))
        full = self.cpu(lambda: self.audit([self.frame("24mp.jpg", 6000, 4000)], page=True))
        say("second audit / first, for 1,000 frames of 24 MP, cpu", cpu / (1000 * full), "<= 0.01")
        note(f"the first computed from one frame of 24 MP with its pictures, {full:.2f} s cpu, times 1,000")

    def row_frames(self):
        counts = (100, 500, 1000, 2000)
        folder = self.folder("frames-2000", counts[-1], 720, 480)
        files = sorted(folder.iterdir())
        times = [self.audit(files[:n], jobs=2).cpu for n in counts]
        linear("time against frames", counts, times, 0.05)

    def row_thousands(self):
        """20,000 frames in one folder and in 2,000, against 20 times what 1,000 take; an hour of cpu."""
        small = self.folder("thousand", 1000, 720, 480)
        first = self.audit([small], jobs=2, page=True, watch=True)
        many = self.folder("thousands", 20_000, 720, 480)
        spread = self.work / "spread"
        for k, path in enumerate(sorted(many.iterdir())):
            folder = spread / f"{k // 10:04}"
            folder.mkdir(parents=True, exist_ok=True)
            if not (folder / path.name).exists():
                (folder / path.name).hardlink_to(path)
        for what, folder in (("one folder", many), ("2,000 folders", spread)):
            run = self.audit([folder], jobs=2, page=True, watch=True)
            say(f"cpu of 20,000 frames in {what} over 20 times that of 1,000", run.cpu / (20 * first.cpu), "<= 1.15")
            say(f"peak memory of 20,000 frames in {what}, GiB", run.peak / (1 << 30), "<= 1.4")
            count = sum(1 for f in (self.work / "report").rglob("*") if f.is_file()) / 20_000
            say(f"files of the report a frame, {what}", count, "<= 3")
            note(f"1,000: {first.cpu:.1f} s cpu, {first.peak / MIB:.0f} MiB; 20,000: {run.cpu:.1f} s cpu, {run.wall:.0f} s wall")

    def row_pixels(self):
        sizes = ((3000, 2000), (4500, 3000), (6000, 4000), (9000, 6000), (12250, 8166))
        frames = [self.frame(f"{w}x{h}.jpg", w, h) for w, h in sizes]
        times = [self.cpu(lambda: self.audit([f])) for f in frames]
        linear("time against megapixels", [w * h / 1e6 for w, h in sizes], times, 0.10)


def linear(what, xs, ys, bar):
    """How far the times lie from the straight line that fits them best, each point weighted by its own size."""
    weights = [1 / y**2 for y in ys]
    w = sum(weights)
    mx = sum(a * x for a, x in zip(weights, xs)) / w
    my = sum(a * y for a, y in zip(weights, ys)) / w
    slope = sum(a * (x - mx) * (y - my) for a, x, y in zip(weights, xs, ys))
    slope /= sum(a * (x - mx) ** 2 for a, x in zip(weights, xs))
    fitted = [my + slope * (x - mx) for x in xs]
    say(f"{what}: greatest distance from a line", max(abs(y / f - 1) for y, f in zip(ys, fitted)), f"<= {bar}")
    note(", ".join(f"{x:g}: {y:.3f} s" for x, y in zip(xs, ys)) + f"; {1e3 * slope:.2f} ms each")


def say(what, value, bar):
    print(f"{what}: {value:.3g} (bar {bar})", flush=True)


def note(text):
    print(f"    {text}", flush=True)


def size(path):
    return f"file of {path.stat().st_size / 1e6:.1f} MB"


def main():
    rows = [n.removeprefix("row_") for n in vars(Bench) if n.startswith("row_")]
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("--work", type=Path, required=True)
    arguments.add_argument("--only", nargs="+", choices=rows, default=rows, metavar="ROW", help=", ".join(rows))
    arguments.add_argument("--runs", type=int, default=5)
    arguments.add_argument("--program", type=Path, default=ROOT / "target/release/tussock")
    arguments.add_argument("--decode", type=Path, default=ROOT / "target/release/examples/decode")
    arguments.add_argument("--page", action="store_true", help="write the page where a row's bar leaves it out")
    given = arguments.parse_args()
    # Orphaned workers come to this process, so that their time can be counted (prctl, PR_SET_CHILD_SUBREAPER).
    ctypes.CDLL(None).prctl(36, 1, 0, 0, 0)
    given.work.mkdir(parents=True, exist_ok=True)
    bench = Bench(given.work.resolve(), given.runs, given.program.resolve(), given.decode.resolve(), given.page)
    print(f"medians of {given.runs}; load of the machine at the start {os.getloadavg()[0]:.1f}", flush=True)
    for row in given.only:
        getattr(bench, f"row_{row}")()


if __name__ == "__main__":
    main()
