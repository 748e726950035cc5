"""Makes the frames that the comparison runs on: photo-like JPEGs and lossless DNGs, the same on every machine.

A frame is made of the three CC0 textures in fixtures/, shown at many scales from the horizon down, under a smooth sky
with noise; nothing in it is random from run to run. Needs numpy and OpenCV.

`python inputs.py WIDTHxHEIGHT FILE...` writes each FILE that does not exist yet, a JPEG or a DNG by its ending;
`--copies N FOLDER` then fills a folder with N copies that differ in a comment and the date.
"""

import struct
import sys
from pathlib import Path

import cv2
import numpy as np

TEXTURES = Path(__file__).resolve().parents[2] / "fixtures" / "textures"
JPEG_BYTES_A_PIXEL = 14e6 / 24e6
QUALITY = 96


def scene(width: int, height: int, seed: int = 1) -> np.ndarray:
    """A grey picture, 0 to 1 in rendered values: sky above, textured ground below, in bands of growing scale."""
    random = np.random.default_rng(seed)
    textures = [cv2.imread(str(TEXTURES / f"{n}.png"), cv2.IMREAD_GRAYSCALE) for n in ("grass", "gravel", "brick")]
    out = np.empty((height, width), np.float32)
    horizon = height // 3
    y = np.arange(horizon, dtype=np.float32)[:, None] / horizon
    x = np.arange(width, dtype=np.float32)[None, :] / 700
    out[:horizon] = 0.55 + 0.25 * y + 0.04 * np.sin(x + 3 * y) * np.cos(0.6 * x - 5 * y)
    # Ground in bands of 128 rows, so that a picture of any size has the same detail a pixel.
    for k, top in enumerate(range(horizon, height, 128)):
        rows = min(128, height - top)
        scale = (1.0, 0.7, 1.4, 0.5, 1.0, 2.0)[k % 6]
        texture = textures[(k // 2) % 3]
        texture = cv2.resize(texture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC)
        texture = cv2.GaussianBlur(texture, (0, 0), 0.6 + 0.15 * (k % 5))
        tall, wide = texture.shape
        offset = int(random.integers(wide))
        strip = np.tile(texture, (-(-rows // tall), -(-(width + offset) // wide)))
        out[top : top + rows] = strip[:rows, offset : offset + width].astype(np.float32) / 255
    return out


def colour(grey: np.ndarray, noise: float, seed: int = 2) -> np.ndarray:
    """The scene in 8-bit BGR with a tint and with noise of its own in each channel."""
    random = np.random.default_rng(seed)
    out = np.empty((*grey.shape, 3), np.uint8)
    for channel, tint in enumerate((0.92, 1.0, 0.97)):
        for top in range(0, grey.shape[0], 512):
            part = grey[top : top + 512] * (tint * 255)
            part = part + random.standard_normal(part.shape, np.float32) * noise
            out[top : top + 512, :, channel] = np.clip(part + 0.5, 0, 255)
    return out


def write_jpeg(path: Path, width: int, height: int) -> None:
    """A JPEG (4:2:0, no restart markers) of about 14 MB at 24 megapixels, and in proportion at other sizes.

    The noise is chosen on a 6-megapixel frame so that the file gets that size; frames of all sizes have the same. A name that
    ends in "-plain" gets little noise and an ordinary quality instead, and so a third of the size.
    """
    if path.exists():
        return
    if path.stem.endswith("-plain"):
        path.write_bytes(with_exif(encode(colour(scene(width, height), 1.0), 88)))
        return
    if "noise" not in _memory:
        sample = scene(3000, 2000)
        sizes = {n: len(encode(colour(sample, n))) / 6e6 for n in np.arange(2, 8, 0.5)}
        _memory["noise"] = min(sizes, key=lambda n: abs(sizes[n] - JPEG_BYTES_A_PIXEL))
    path.write_bytes(with_exif(encode(colour(scene(width, height), _memory["noise"]))))


_memory: dict[str, float] = {}


def encode(picture: np.ndarray, quality: int = QUALITY) -> bytes:
    return cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, quality])[1].tobytes()


def directory(entries: list[tuple[int, int, object]], at: int) -> bytes:
    """A little-endian TIFF directory (TIFF 6.0, section 2) that will lie at `at`, and the values that don't fit in it."""
    code = {1: "B", 2: "s", 3: "H", 4: "I", 5: "II", 10: "ii"}
    body, extra = b"", b""
    start = at + 2 + 12 * len(entries) + 4
    for tag, kind, value in sorted(entries, key=lambda e: e[0]):
        if kind == 2:
            data, count = value, len(value)
        elif kind in (5, 10):
            data, count = b"".join(struct.pack("<" + code[kind], *v) for v in value), len(value)
        else:
            values = value if isinstance(value, (list, tuple)) else [value]
            data, count = struct.pack(f"<{len(values)}{code[kind]}", *values), len(values)
        if len(data) > 4:
            place = struct.pack("<I", start + len(extra))
            extra += data + b"\0" * (len(data) % 2)
        else:
            place = data.ljust(4, b"\0")
        body += struct.pack("<HHI", tag, kind, count) + place
    return struct.pack("<H", len(entries)) + body + b"\0\0\0\0" + extra


EXIF = [
    (0x829A, 5, [(1, 125)]),
    (0x829D, 5, [(8, 1)]),
    (0x8827, 3, 100),
    (0x920A, 5, [(24, 1)]),
    (0x9003, 2, b"2024:05:01 00:00:00\0"),
    (0xA405, 3, 36),
]


def with_exif(jpeg: bytes) -> bytes:
    """The JPEG with an Exif block of the capture facts."""
    main = directory([(0x0110, 2, b"Tarn One\0"), (0x8769, 4, 0)], 8)
    exif_at = 8 + len(main)
    main = directory([(0x0110, 2, b"Tarn One\0"), (0x8769, 4, exif_at)], 8)
    block = b"Exif\0\0II*\0\x08\0\0\0" + main + directory(EXIF, exif_at)
    return jpeg[:2] + b"\xff\xe1" + struct.pack(">H", len(block) + 2) + block + jpeg[2:]


def with_comment(jpeg: bytes, text: str) -> bytes:
    """The JPEG with a comment, which changes its content and nothing that is seen."""
    return jpeg[:2] + b"\xff\xfe" + struct.pack(">H", len(text) + 2) + text.encode() + jpeg[2:]


def lossless(samples: np.ndarray) -> bytes:
    """Lossless JPEG of a tile (ITU-T T.81, process 14, predictor 1), as two interleaved components as DNG has it."""
    height, width = samples.shape
    pairs = samples.astype(np.int32).reshape(height, width // 2, 2)
    predicted = np.empty_like(pairs)
    predicted[:, 1:] = pairs[:, :-1]
    predicted[1:, 0] = pairs[:-1, 0]
    predicted[0, 0] = 1 << 13
    difference = (pairs - predicted).ravel()
    category = np.frexp(np.abs(difference).astype(np.float64))[1].astype(np.int64)
    low = np.where(difference < 0, difference + (1 << category) - 1, difference)
    # Fifteen categories with codes of four bits each.
    value = (category << category) | low
    length = category + 4
    ends = np.cumsum(length)
    total = int(ends[-1])
    bits = np.zeros(-(-total // 8) * 8, np.uint8)
    bits[total:] = 1
    starts = ends - length
    for k in range(int(length.max())):
        here = length > k
        bits[starts[here] + k] = (value[here] >> (length[here] - 1 - k)) & 1
    data = np.packbits(bits).tobytes().replace(b"\xff", b"\xff\0")
    table = bytes([0, 0, 0, 0, 15] + [0] * 12 + list(range(15)))
    frame = struct.pack(">BHHB", 14, height, width // 2, 2) + bytes([0, 0x11, 0, 1, 0x11, 0])
    segments = [(0xC4, table), (0xC3, frame), (0xDA, bytes([2, 0, 0, 1, 0, 1, 0, 0]))]
    head = b"".join(b"\xff" + bytes([m]) + struct.pack(">H", len(s) + 2) + s for m, s in segments)
    return b"\xff\xd8" + head + data + b"\xff\xd9"


def write_dng(path: Path, width: int, height: int) -> None:
    """A Bayer DNG (Adobe DNG 1.4) of 14 bits in lossless-JPEG tiles of about 1.5 megapixels."""
    if path.exists():
        return
    random = np.random.default_rng(3)
    grey = scene(width, height)
    black, white = 512, 16383
    tile_width, tile_height = 1504, 1008
    tiles = []
    for top in range(0, height, tile_height):
        for left in range(0, width, tile_width):
            part = grey[top : top + tile_height, left : left + tile_width]
            pad = (tile_height - part.shape[0], tile_width - part.shape[1])
            light = np.pad(part, ((0, pad[0]), (0, pad[1])), mode="edge").astype(np.float64) ** 2.2 * 0.7
            light[0::2, 0::2] *= 0.5  # Red and blue are recorded darker than green in daylight.
            light[1::2, 1::2] *= 0.65
            signal = light * (white - black)
            # Photon noise of a full well of 40,000 electrons and a read noise of two levels.
            signal += random.standard_normal(signal.shape) * np.sqrt(signal * (white - black) / 40_000 + 4)
            tiles.append(lossless(np.clip(np.rint(signal) + black, 0, white).astype(np.uint16)))
    main = [
        (254, 4, 0), (256, 4, width), (257, 4, height), (258, 3, 14), (259, 3, 7), (262, 3, 32803),
        (271, 2, b"Tarn\0"), (272, 2, b"Tarn One\0"), (274, 3, 1), (277, 3, 1), (284, 3, 1),
        (322, 4, tile_width), (323, 4, tile_height), (324, 4, [0] * len(tiles)), (325, 4, [len(t) for t in tiles]),
        (33421, 3, [2, 2]), (33422, 1, [0, 1, 1, 2]), (34665, 4, 0), (50706, 1, [1, 4, 0, 0]),
        (50708, 2, b"Tarn One\0"), (50714, 3, black), (50717, 3, white),
        (50721, 10, [(1, 1), (0, 1), (0, 1), (0, 1), (1, 1), (0, 1), (0, 1), (0, 1), (1, 1)]),
        (50728, 5, [(1, 2), (1, 1), (2, 3)]), (50778, 3, 21),
    ]
    exif_at = 8 + len(directory(main, 8))
    exif = directory(EXIF, exif_at)
    place, offsets = exif_at + len(exif), []
    for tile in tiles:
        offsets.append(place)
        place += len(tile)
    known = {324: offsets, 34665: exif_at}
    main = [(tag, kind, known.get(tag, value)) for tag, kind, value in main]
    path.write_bytes(b"II*\0\x08\0\0\0" + directory(main, 8) + exif + b"".join(tiles))


def copies(original: Path, folder: Path, count: int) -> None:
    """Copies of a JPEG whose contents differ in a comment and the date: four a scene, ten minutes between scenes."""
    folder.mkdir(parents=True, exist_ok=True)
    jpeg = original.read_bytes()
    for k in range(count):
        path = folder / f"{k:04}.jpg"
        if not path.exists():
            minutes = k // 4 * 10
            date = f"2024:{5 + minutes // 40_000:02}:{1 + minutes // 1440 % 27:02} {minutes // 60 % 24:02}:{minutes % 60:02}:{k % 4:02}"
            path.write_bytes(with_comment(jpeg.replace(b"2024:05:01 00:00:00", date.encode()), f"frame {k}"))


def main() -> None:
    size, *rest = sys.argv[1:]
    width, height = map(int, size.split("x"))
    many = rest.index("--copies") if "--copies" in rest else len(rest)
    for name in rest[:many]:
        path = Path(name)
        (write_dng if path.suffix == ".dng" else write_jpeg)(path, width, height)
    for count, folder in zip(rest[many + 1 :: 2], rest[many + 2 :: 2]):
        copies(Path(rest[0]), Path(folder), int(count))


if __name__ == "__main__":
    main()
