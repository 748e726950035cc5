#!/usr/bin/env python3
"""How long after a frame is complete `tussock watch` has judged it, and what hours of watching cost in memory.

    benches/watch.py PROGRAM FRAME [FRAMES]

Copies FRAME again and again (20 times unless said otherwise) into a watched folder, each with another comment behind its end so
that nothing is remembered, and takes the time from the end of the copy to the line on it.
"""
import os
import pathlib
import shutil
import signal
import statistics
import subprocess
import sys
import tempfile
import time


def resident_mb(process):
    status = pathlib.Path(f"/proc/{process.pid}/status").read_text()
    return next(int(line.split()[1]) / 1024 for line in status.splitlines() if line.startswith("VmRSS"))


def cpu_s(process):
    fields = pathlib.Path(f"/proc/{process.pid}/stat").read_text().rsplit(")", 1)[1].split()
    return sum(map(int, fields[11:15])) / os.sysconf("SC_CLK_TCK")


def main():
    program, frame = sys.argv[1], pathlib.Path(sys.argv[2])
    count = int(sys.argv[3]) if len(sys.argv) > 3 else 20
    with tempfile.TemporaryDirectory() as folder:
        into, out = pathlib.Path(folder, "in"), pathlib.Path(folder, "out")
        into.mkdir()
        watch = subprocess.Popen([program, "watch", into, "--out", out, "--json", "--no-cache", "--no-page"],
                                 stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
        while not (out / "live.html").exists():
            time.sleep(0.05)
        time.sleep(0.5)
        taken, memory, before = [], [], cpu_s(watch)
        for i in range(count):
            place = into / f"{i:04}{frame.suffix}"
            shutil.copy(frame, place)
            with place.open("ab") as end:
                end.write(i.to_bytes(4, "big"))
            start = time.monotonic()
            watch.stdout.readline()
            taken.append(time.monotonic() - start)
            memory.append(resident_mb(watch))
        cpu = (cpu_s(watch) - before) / count
        # The report at the end is an audit like any other, and not what is asked here.
        watch.send_signal(signal.SIGINT)
        time.sleep(0.2)
        watch.kill()
        watch.wait()
        print(f"{count} frames: {statistics.median(taken):.2f} s from complete to judged in the median, {max(taken):.2f} s at most")
        print(f"{cpu:.2f} s of cpu a frame, the wait for it to be complete included")
        print(f"memory after the first tenth {max(memory[: max(1, count // 10)]):.0f} MB, at the end {memory[-1]:.0f} MB")


main()
