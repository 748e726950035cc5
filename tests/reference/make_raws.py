"""Writes DNGs with the encoders of independent general-purpose libraries, and the samples that they stand for.

usage: make_raws.py FOLDER [--small | --large]    (needs numpy and imagecodecs; --small makes the files of fixtures/raw, whose
       levels are saved as bare little-endian numbers instead; --large makes xl-60.dng alone, a mosaic of 60 megapixels to
       time readers with)

For each file NAME.dng there is NAME.dng.expected.npy: the samples that the library's own decoder gives back. What is
lossless is what went in. The picture is drawn here: gradients, waves and a little noise.
"""

import struct
import sys
from pathlib import Path

import imagecodecs
import numpy

WIDTH, HEIGHT, TILE = 192, 128, 64
JPEG, LOSSY, XL = 7, 34892, 52546


def picture(channels, top, seed=1):
    """Levels from 0 to `top`."""
    noise = numpy.random.default_rng(seed)
    y, x = numpy.mgrid[0:HEIGHT, 0:WIDTH].astype(float)
    planes = []
    for channel in range(channels):
        wave = 0.5 + 0.25 * numpy.sin(x / (4 + channel)) * numpy.cos(y / 7) + 0.2 * (x / WIDTH - 0.5)
        planes.append(wave + 0.01 * noise.standard_normal(x.shape))
    return (numpy.stack(planes, -1).clip(0, 1) * top).squeeze()


def dng(samples, bits, compression, tiles, parts, floating=False, tags=()):
    """A little-endian DNG of one directory; `parts` are the compressed tiles."""
    height, width = samples.shape[:2]
    channels = 1 if samples.ndim == 2 else samples.shape[2]
    short = lambda *v: (3, len(v), struct.pack(f"<{len(v)}H", *v))
    long = lambda *v: (4, len(v), struct.pack(f"<{len(v)}I", *v))
    blob = lambda v: (7, len(v), bytes(v))
    text = lambda v: (2, len(v) + 1, v.encode() + b"\0")
    ratio = lambda *v: (10, len(v), b"".join(struct.pack("<ii", round(1000 * n), 1000) for n in v))
    out = bytearray(b"II*\0\0\0\0\0")
    offsets = []
    for part in parts:
        offsets.append(len(out))
        out += part + b"\0" * (len(part) % 2)
    entries = {
        254: long(0), 256: long(width), 257: long(height), 258: short(*[bits] * channels), 259: short(compression),
        262: short(32803 if channels == 1 else 34892), 271: text("Example"), 272: text("Example N2"),
        274: short(1), 277: short(channels), 284: short(1), 322: long(tiles[0]), 323: long(tiles[1]),
        324: long(*offsets), 325: long(*map(len, parts)), 50706: (1, 4, bytes([1, 7, 1, 0])),
        50707: (1, 4, bytes([1, 1, 0, 0])), 50708: text("Example N2"), 50721: ratio(1, 0, 0, 0, 1, 0, 0, 0, 1),
        50728: (5, 3, struct.pack("<6I", 1, 2, 1, 1, 2, 3)), 50778: short(21),
    }
    if channels == 1:
        entries |= {33421: short(2, 2), 33422: (1, 4, bytes([0, 1, 1, 2]))}
    if floating:
        entries[339] = short(*[3] * channels)
    for number, value in tags:
        entries[number] = short(*value) if isinstance(value, tuple) else blob(value)
    placed = []
    for number, (kind, count, data) in sorted(entries.items()):
        if len(data) > 4:
            out += b"\0" * (len(out) % 2)
            at, data = len(out), data
            out += data
            data = struct.pack("<I", at)
        placed.append(struct.pack("<HHI", number, kind, count) + data.ljust(4, b"\0"))
    out += b"\0" * (len(out) % 2)
    out[4:8] = struct.pack("<I", len(out))
    return bytes(out + struct.pack("<H", len(placed)) + b"".join(placed) + b"\0" * 4)


def cut(samples, width, height):
    """Whole tiles, row by row; the picture's size is a multiple of theirs."""
    return [
        numpy.ascontiguousarray(samples[y : y + height, x : x + width])
        for y in range(0, samples.shape[0], height)
        for x in range(0, samples.shape[1], width)
    ]


def joined(tiles, shape, width, height):
    out = numpy.zeros(shape, tiles[0].dtype)
    places = ((y, x) for y in range(0, shape[0], height) for x in range(0, shape[1], width))
    for tile, (y, x) in zip(tiles, places):
        out[y : y + height, x : x + width] = tile.reshape(out[y : y + height, x : x + width].shape)
    return out


def xl(samples, bits, tiles=None, distance=0.0, tags=(), expected=None):
    """JPEG XL by libjxl, lossless where the distance is 0."""
    tiles = tiles or (TILE, TILE)
    parts = [imagecodecs.jpegxl_encode(t, lossless=distance == 0, distance=distance or None, bitspersample=bits if samples.dtype == numpy.uint16 else None)
             for t in cut(samples, *tiles)]
    if expected is None:
        back = [imagecodecs.jpegxl_decode(p) for p in parts]
        expected = joined(back, samples.shape, *tiles)
    floating = samples.dtype.kind == "f"
    return dng(samples, bits, XL, tiles, parts, floating, tags), expected


def fields(samples, rows, columns):
    """Each n-th row and column together (RowInterleaveFactor, ColumnInterleaveFactor)."""
    samples = numpy.concatenate([samples[i::rows] for i in range(rows)])
    return numpy.concatenate([samples[:, i::columns] for i in range(columns)], axis=1)


def polynomials(coefficients, channels):
    """OpcodeList2 with a MapPolynomial over all of each channel (DNG 1.7, chapter 7), as converters write it."""
    out = struct.pack(">I", channels)
    for channel in range(channels):
        data = struct.pack(">9I", 0, 0, HEIGHT, WIDTH, channel, 1, 1, 1, len(coefficients) - 1)
        data += struct.pack(f">{len(coefficients)}d", *coefficients)
        out += struct.pack(">4I", 8, 0x01030000, 0, len(data)) + data
    return out


def wide_steps(jpeg):
    """A JPEG whose quantisation tables are written with 16 bits a step, as cinema cameras write them."""
    out, at = bytearray(jpeg[:2]), 2
    while True:
        marker, length = jpeg[at + 1], struct.unpack(">H", jpeg[at + 2 : at + 4])[0]
        body = jpeg[at + 4 : at + 2 + length]
        if marker == 0xDB and body[0] < 16:
            assert len(body) == 65, "one table of bytes"
            body = bytes([body[0] | 16]) + b"".join(struct.pack(">H", step) for step in body[1:])
        out += bytes([0xFF, marker]) + struct.pack(">H", len(body) + 2) + body
        at += 2 + length
        if marker == 0xDA:
            return bytes(out) + jpeg[at:]


def bare(jpeg):
    """A JPEG without application segments."""
    out, at = bytearray(jpeg[:2]), 2
    while True:
        marker, length = jpeg[at + 1], struct.unpack(">H", jpeg[at + 2 : at + 4])[0]
        if not 0xE0 <= marker <= 0xEF:
            out += jpeg[at : at + 2 + length]
        at += 2 + length
        if marker == 0xDA:
            return bytes(out) + jpeg[at:]


def large():
    mosaic = numpy.tile(picture(1, 65535).astype(numpy.uint16), (50, 50))[:6336, :9504]
    tiles = (1056, 1056)
    parts = [imagecodecs.jpegxl_encode(t, lossless=True, effort=3) for t in cut(mosaic, *tiles)]
    return dng(mosaic, 16, XL, tiles, parts)


def files():
    mosaic = picture(1, 65535).astype(numpy.uint16)
    colour = picture(3, 65535).astype(numpy.uint16)
    yield "xl-16", *xl(mosaic, 16)
    yield "xl-12", *xl(mosaic >> 4, 12)
    yield "xl-10", *xl(mosaic >> 6, 10)
    yield "xl-8", *xl((mosaic >> 8).astype(numpy.uint8), 8)
    yield "xl-linear", *xl(colour, 16)
    yield "xl-one-tile", *xl(colour, 16, (WIDTH, HEIGHT))
    yield "xl-fields", *xl(fields(mosaic, 2, 2), 16, tags=[(50975, (2,)), (52547, (2,))], expected=mosaic)
    yield "xl-float", *xl((picture(1, 1.0)).astype(numpy.float16), 16)
    yield "xl-lossy", *xl(mosaic, 16, distance=0.5)
    yield "xl-lossy-linear", *xl(colour, 16, distance=0.5)
    codes = (picture(3, 255)).astype(numpy.uint8)
    tiles = (TILE, TILE)
    parts = [imagecodecs.jpeg8_encode(t, level=92, subsampling="444") for t in cut(codes, *tiles)]
    back = joined([imagecodecs.jpeg8_decode(p) for p in parts], codes.shape, *tiles)
    yield "jpeg-8", dng(codes, 8, LOSSY, tiles, parts), back
    # Red, green and blue as such, told by nothing but the components' names.
    parts_rgb = [bare(imagecodecs.jpeg8_encode(t, level=92, colorspace="RGB", outcolorspace="RGB")) for t in cut(codes, *tiles)]
    back_rgb = joined([imagecodecs.jpeg8_decode(p, colorspace="RGB", outcolorspace="RGB") for p in parts_rgb], codes.shape, *tiles)
    yield "jpeg-8-rgb", dng(codes, 8, LOSSY, tiles, parts_rgb), back_rgb
    opcodes = polynomials([0.0, 0.1, 0.9], 3)
    yield "jpeg-8-polynomial", dng(codes, 8, LOSSY, tiles, parts, tags=[(51009, opcodes)]), back
    # Two rows of the mosaic side by side in each of the JPEG's, as cinema cameras store them.
    parts = []
    for tile in cut(mosaic >> 4, *tiles):
        pairs = tile.reshape(tiles[1] // 2, 2 * tiles[0])
        parts.append(wide_steps(imagecodecs.jpeg8_encode(pairs, level=97, bitspersample=12)))
    back = joined([imagecodecs.jpeg8_decode(p).reshape(tiles[1], tiles[0]) for p in parts], mosaic.shape, *tiles)
    yield "jpeg-12", dng(mosaic, 12, JPEG, tiles, parts), back
    parts = [imagecodecs.ljpeg_encode(t, bitspersample=14) for t in cut(mosaic >> 2, *tiles)]
    yield "lossless-14", dng(mosaic, 14, JPEG, tiles, parts), mosaic >> 2


SMALL = ("xl-12", "xl-linear", "xl-fields", "xl-float", "xl-lossy-linear", "jpeg-8", "jpeg-8-rgb", "jpeg-12")


def main(folder, small):
    global WIDTH, HEIGHT, TILE
    if small:
        WIDTH, HEIGHT, TILE = 48, 32, 16
    for name, data, expected in files():
        if small and name not in SMALL:
            continue
        (Path(folder) / f"{name}.dng").write_bytes(data)
        if small:
            kind = "<f4" if expected.dtype.kind == "f" else "<u2"
            (Path(folder) / f"{name}.levels").write_bytes(expected.astype(kind).tobytes())
        else:
            numpy.save(Path(folder) / f"{name}.dng.expected.npy", expected)
        print(f"{name}.dng: {len(data)} bytes")


if __name__ == "__main__":
    if len(sys.argv) not in (2, 3) or sys.argv[2:] not in ([], ["--small"], ["--large"]):
        sys.exit(__doc__)
    if sys.argv[2:] == ["--large"]:
        (Path(sys.argv[1]) / "xl-60.dng").write_bytes(large())
    else:
        main(sys.argv[1], len(sys.argv) == 3)
