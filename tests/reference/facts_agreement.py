"""Compares `tussock facts --json` with facts.json as an independent metadata library read the same files.

usage: facts_agreement.py TUSSOCK FOLDER...     (each folder holds facts.json and the files it names)

Prints one row a fact with the files that agree, differ, are missed, or are stated where the library reads
none; exits with 1 where anything but `agree` was counted.
"""

import json
import math
import subprocess
import sys
from pathlib import Path

INFINITE = 655.345
ANY = "any"


def first(record, *names):
    for name in names:
        value = record.get(name)
        if value not in (None, ""):
            return value
    return None


def number(value):
    return None if value is None else float(value)


def expected_iso(record):
    plain = first(record, "ExifIFD:ISO")
    if plain is not None:
        return float(plain)
    nikon = first(record, "Nikon:ISO")
    if nikon is not None:
        value = float(str(nikon).split()[-1])
        return value or None
    return number(first(record, "Composite:ISO"))


def expected_distance(record):
    """None, a number (inf allowed), or a pair of bounds."""
    value = first(record, "ExifIFD:SubjectDistance")
    if value is not None and float(value) > 0:
        return math.inf if float(value) >= 1e4 else float(value)
    value = first(record, "Nikon:FocusDistance", "Composite:FocusDistance2", "Composite:FocusDistance")
    if value is not None:
        return float(value)
    upper, lower = first(record, "Canon:FocusDistanceUpper"), first(record, "Canon:FocusDistanceLower")
    if upper:
        bounds = [math.inf if v > INFINITE else float(v) for v in (upper, lower or 0)]
        return min(bounds), max(bounds)
    value = first(record, "XMP-aux:ApproximateFocusDistance", "XMP-exif:SubjectDistance")
    return number(value)


def expected_point(record):
    """A list of acceptable places in fractions of the stored picture; None where the library reads no point."""
    value = first(record, "Sony:FocusLocation")
    if value:
        width, height, x, y = map(float, value.split())
        return [(x / width, y / height)] if x else None
    bits = record.get("Canon:AFPointsInFocus")
    xs, ys = record.get("Canon:AFAreaXPositions"), record.get("Canon:AFAreaYPositions")
    if bits and xs:
        size = record.get("Canon:AFImageWidth"), record.get("Canon:AFImageHeight")
        places = [(float(x), float(y)) for i, (x, y) in enumerate(zip(xs.split(), ys.split())) if int(bits) >> i & 1]
        if all(size):
            up = -1 if "EOS" in record["IFD0:Model"] else 1
            return [(0.5 + x / size[0], 0.5 + up * y / size[1]) for x, y in places]
        # Without the size the positions refer to, only the middle can be placed.
        return [(0.5, 0.5)] if (0.0, 0.0) in places else None
    area = first(record, "ExifIFD:SubjectArea", "ExifIFD:SubjectLocation")
    if area:
        x, y = map(float, str(area).split()[:2])
        return [(x / record["File:ImageWidth"], y / record["File:ImageHeight"])]
    if (record.get("Nikon:PrimaryAFPoint") or 0) > 1:
        # The library reads the number of a point, not its place.
        return ANY
    if record.get("Nikon:PrimaryAFPoint") == 1 or record.get("Nikon:AFPointsInFocus") == 1:
        return [(0.5, 0.5)]
    return None


def expected_lens(record):
    named = first(record, "ExifIFD:LensModel", "XMP-aux:Lens", "XMP-exifEX:LensModel", "Nikon:Lens", "Composite:Lens")
    # A bare number of a lens type says that a lens was read, not which; 65535 and the like say none.
    number = record.get("Composite:LensID")
    return named if named is not None else ANY if isinstance(number, int) and number < 65535 else None


def close(a, b, tolerance):
    if math.isinf(a) or math.isinf(b):
        return a == b
    return abs(a - b) <= tolerance * abs(b)


def distance_agrees(found, expected):
    low, high = (found["low"], found["high"]) if isinstance(found, dict) else (found, found)
    low, high = float(low), float(high)
    if isinstance(expected, tuple):
        return expected[0] * 0.98 <= low and high <= expected[1] * 1.02
    return close(low, expected, 0.02) and close(high, expected, 0.02)


def lens_agrees(found, expected):
    expected = str(expected)
    if expected == ANY or expected in found:
        return True
    # "18 55 3.5 5.6" against "18-55mm f/3.5-5.6"; a lone number is the range's start.
    wanted = [float(t) for t in expected.split() if t.replace(".", "").isdigit()]
    have = [float(t) for t in found.replace("mm", "").replace("f/", "").replace("-", " ").split() if t.replace(".", "").isdigit()]
    return bool(wanted) and all(any(abs(w - h) < 0.051 for h in have) for w in wanted)


def upright(place, orientation):
    x, y = place
    turned = {
        2: (1 - x, y), 3: (1 - x, 1 - y), 4: (x, 1 - y), 5: (y, x), 6: (1 - y, x), 7: (1 - y, 1 - x), 8: (y, 1 - x),
    }
    return turned.get(orientation, (x, y))


def point_agrees(found, places, orientation):
    half = 0.5 / 24
    if places == ANY:
        return (found["x"], found["y"]) != (0.5, 0.5)
    turned = [upright(place, orientation) for place in places]
    return any(abs(found["x"] - x) <= half and abs(found["y"] - y) <= half for x, y in turned)


def main():
    tussock, folders = sys.argv[1], sys.argv[2:]
    counts, faults = {}, []
    for folder in map(Path, folders):
        for record in json.loads((folder / "facts.json").read_text()):
            path = folder / record["SourceFile"]
            run = subprocess.run([tussock, "facts", "--json", str(path)], capture_output=True, text=True)
            if run.returncode != 0:
                faults.append(f"{path.name}: exit status {run.returncode}: {run.stderr.strip()}")
                continue
            capture = json.loads(run.stdout)["files"][0]["capture"]
            orientation = record.get("IFD0:Orientation", 1)
            model = first(record, "IFD0:Model", "CanonRaw:Model")
            date = first(record, "ExifIFD:DateTimeOriginal", "CanonRaw:DateTimeOriginal", "IFD0:DateTimeOriginal")
            checks = [
                ("f_number", number(first(record, "ExifIFD:FNumber", "Canon:FNumber")), lambda f, e: close(f, e, 0.01)),
                ("focal_length_mm", number(first(record, "ExifIFD:FocalLength", "Canon:FocalLength")), lambda f, e: close(f, e, 0.01)),
                ("focal_length_35mm", number(first(record, "ExifIFD:FocalLengthIn35mmFormat")), lambda f, e: close(f, e, 0.01)),
                ("exposure_s", number(first(record, "ExifIFD:ExposureTime", "Canon:ExposureTime")), lambda f, e: close(f, e, 0.01)),
                ("iso", expected_iso(record), lambda f, e: close(f, e, 0.01)),
                ("body", model, lambda f, e: e in f),
                ("lens", expected_lens(record), lens_agrees),
                ("date", date, lambda f, e: f == str(e).replace(":", "-", 2).replace(" ", "T")),
                ("focus_distance_m", expected_distance(record), distance_agrees),
                ("focus_point", expected_point(record), lambda f, e: point_agrees(f, e, orientation)),
            ]
            for name, expected, agrees in checks:
                fact = capture.get(name)
                if name == "date" and fact and fact["source"] == "XMP":
                    # facts.json leaves XMP dates out.
                    continue
                row = counts.setdefault(name, {"agree": 0, "differ": 0, "missed": 0, "extra": 0, "neither": 0})
                if fact is None or expected is None:
                    kind = "neither" if fact is None and expected is None else "missed" if fact is None else "extra"
                else:
                    kind = "agree" if agrees(fact["value"], expected) else "differ"
                row[kind] += 1
                if kind in ("differ", "missed", "extra"):
                    faults.append(f"{path.name}: {name} {kind}: here {fact}, there {expected}")
    print(f"{'fact':18} agree differ missed extra neither")
    for name, row in counts.items():
        print(f"{name:18} {row['agree']:5} {row['differ']:6} {row['missed']:6} {row['extra']:5} {row['neither']:7}")
    for fault in faults:
        print(fault)
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
