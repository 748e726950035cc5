"""Small files that swell when read, audited within --memory: the peak memory of the whole process tree.

python3 benches/bombs.py PROGRAM GOOD_PHOTOGRAPH [SIZE ...]

Linux only: anonymous resident memory of the program and its workers, added up every few milliseconds.
"""

import os
import shutil
import struct
import subprocess
import sys
import tempfile
import time
import zlib

DIRECTORY = b"\x4A\x01\x04\0\x01\0\0\0\x08\0\0\0"


def zeros(count):
    packer = zlib.compressobj(9)
    out = [packer.compress(bytes(1 << 20)) for _ in range(count >> 20)]
    return b"".join(out) + packer.compress(bytes(count & ((1 << 20) - 1))) + packer.flush()


def chunk(name, body):
    return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))


def png(width, height, before=b""):
    head = chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0))
    pixels = chunk(b"IDAT", zeros((width + 1) * height))
    return b"\x89PNG\r\n\x1a\n" + head + before + pixels + chunk(b"IEND", b"")


def boxed(name, body):
    return struct.pack(">I", 8 + len(body)) + name + body


def heif(count, length):
    """Items of metadata that are all the same bytes."""
    media = boxed(b"mdat", b"<x:xmpmeta" + bytes(length - 10))
    start = 24 + 8
    entry = b"".join(boxed(b"infe", b"\2\0\0\0" + struct.pack(">HH", i + 1, 0) + b"mime\0") for i in range(count))
    place = b"".join(struct.pack(">HHHII", i + 1, 0, 1, start, length) for i in range(count))
    about = boxed(b"iinf", bytes(4) + struct.pack(">H", count) + entry)
    about += boxed(b"iloc", b"\0\0\0\0\x44\0" + struct.pack(">H", count) + place)
    return boxed(b"ftyp", b"heic\0\0\0\0mif1heic") + media + boxed(b"meta", bytes(4) + about)


def bombs():
    packet = b"XML:com.adobe.xmp\0\1\0\0\0" + zeros(1 << 24)
    yield "packets.png", png(64, 64, 80 * chunk(b"iTXt", packet))
    yield "items.heic", heif(60, 1 << 24)
    # A directory behind the pixels of a sparse file, with eight more that it leads to.
    far = (1 << 30) + (1 << 28)
    below = struct.pack("<HHHII", 1, 0x14A, 4, 8, far + 18) + bytes(4)
    yield "behind.tif", (b"II*\0" + struct.pack("<I", far), far, below + struct.pack("<I", far + 50) * 8 + b"\1\0" + DIRECTORY)
    yield "profile.png", png(64, 64, chunk(b"iCCP", b"x\0\0" + zeros(1 << 30)))
    yield "huge.png", png(24000, 24000)
    yield "large.png", png(9000, 6000)
    # Directories that lead to themselves, with and without the mark of a DNG.
    yield "loop.dng", b"II*\0\x08\0\0\0\x02\0\x12\xC6\x01\0\x04\0\0\0\x01\x04\0\0" + DIRECTORY + b"\x08\0\0\0"
    yield "loop.nef", b"II*\0\x08\0\0\0\x01\0" + DIRECTORY + b"\x08\0\0\0"


def tree(pid):
    found = [pid]
    for thread in os.listdir(f"/proc/{pid}/task"):
        with open(f"/proc/{pid}/task/{thread}/children") as children:
            for child in children.read().split():
                found += tree(child)
    return found


def resident(pid):
    with open(f"/proc/{pid}/status") as status:
        return sum(int(line.split()[1]) for line in status if line.startswith("RssAnon"))


def peak(command):
    most = 0
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    while process.poll() is None:
        try:
            most = max(most, sum(resident(pid) for pid in tree(process.pid)))
        except OSError:
            pass  # One of them has just ended.
        time.sleep(0.004)
    return most // 1024, process.returncode


def main(program, good, *sizes):
    with tempfile.TemporaryDirectory() as place:
        photos = os.path.join(place, "photos")
        os.mkdir(photos)
        for name, content in bombs():
            with open(os.path.join(photos, name), "wb") as file:
                if isinstance(content, tuple):
                    content, place_of_rest, rest = content
                    file.write(content)
                    file.seek(place_of_rest)
                    content = rest
                file.write(content)
        shutil.copy(good, photos)
        for size in sizes or ("200MiB", "400MiB"):
            out = os.path.join(place, "out")
            start = time.monotonic()
            most, status = peak([program, "audit", photos, "--no-cache", "--memory", size, "--out", out])
            seconds = time.monotonic() - start
            print(f"--memory {size}: at most {most} MiB, {seconds:.0f} s, exit status {status}")


main(*sys.argv[1:])
