"""Compares the samples of the raw readers with those of independent decoders.

usage: raw_agreement.py DUMPS FILE...    (needs numpy, rawpy, tifffile and imagecodecs; DUMPS is filled first by
       `cargo run --release --example raw_agreement -- --dump DUMPS FILE...`)

References are LibRaw (through rawpy), tifffile for what is a plain TIFF, and `FILE.expected.npy` where
tests/reference/make_raws.py left one. Of a file that is no DNG, what an audit measures is compared, and what the file
was written from (`FILE.expected.u16`) is a reference too, which must agree. For each file and reader: samples compared and how many differ. Exits with 1 if
any do that are not named below, if no reference agrees with the specification's reader on a file, or if nothing could
be compared.
"""

import sys
from pathlib import Path

import numpy
import rawpy
import tifffile

# What a reference does not do, by the beginning of the file's name: differences there are no fault of the reader.
LEFT_OUT = {
    "LibRaw": {
        "fields": "takes no account of interleaved rows and columns",
        "blocks": "takes no account of sub-tile blocks",
        "strips-planar": "takes planes for pixels", "tiles-planar": "takes planes for pixels",
        "float-16": "gives zeros", "float-24": "gives zeros",
        "deflate-float-16": "gives zeros", "deflate-float-24": "gives zeros",
        "deflate-float-32-1": "takes floating-point numbers without a predictor for big-endian ones",
        "jpeg-8.": "brings codes through a curve of its own where the file states none",
        "jpeg-8-rgb": "brings codes through a curve of its own where the file states none",
    },
    "tifffile": {
        "fields": "takes no account of interleaved rows and columns",
        "blocks": "takes no account of sub-tile blocks",
        "xl-fields": "takes no account of interleaved rows and columns",
        "table": "gives codes, not what the table says",
        "jpeg-8-polynomial": "gives codes, not what the polynomial says",
        "plain-24": "has no whole numbers of 24 bits",
    },
    "its encoder": {"jpeg-8-polynomial": "gives codes, not what the polynomial says"},
}
# Largest difference allowed where a standard leaves rounding to the decoder, as a share of full scale.
# Codes of 8 bits may be two apart, which the polynomial stretches at most twofold; all others one.
ROUNDING = {"jpeg-8": 2 / 65535, "jpeg-8-polynomial": 2 * 2 / 255, "jpeg-12": 1 / 65535, "xl-lossy": 1 / 65535}
# Layouts that no reference reads: the test of what is written alone speaks for them.
PREDICTED = [f"deflate-{bits}-{predictor}" for bits in (8, 16, 32) for predictor in (34892, 34893)]
ALONE = ("fields", "blocks", "plain-24", "deflate-float-24-3", "deflate-float-24-linear", *PREDICTED)


def by_libraw(file):
    try:
        with rawpy.imread(str(file)) as raw:
            return raw.raw_image.copy()
    except (rawpy.LibRawError, AttributeError):
        return None


def by_tifffile(file):
    """The largest picture that is not a reduced one, if tifffile can decode it."""
    try:
        with tifffile.TiffFile(file) as tif:
            pages = [p for page in tif.pages for p in (page, *(page.pages or ()))]
            pages = [p for p in pages if p.photometric in (32803, 34892) and not p.subfiletype & 1]
            page = max(pages, key=lambda p: p.size)
            samples = page.asarray()
            return numpy.moveaxis(samples, 0, -1) if page.planarconfig == 2 and samples.ndim == 3 else samples
    except Exception as error:  # Whatever it can't read is no reference.
        print(f"{file.name}: tifffile refuses: {str(error)[:80]}")
        return None


def beginning(table, name):
    return max((key for key in table if name.startswith(key)), key=len, default=None)


def difference(ours, theirs, name, reference):
    """Samples that differ, and by how much of full scale at most."""
    theirs = theirs[..., :3] if theirs.ndim == 3 and theirs.shape[2] == 4 and ours.size != theirs.size else theirs
    if ours.size != theirs.size:
        return None
    ours, top = ours.reshape(theirs.shape), 1.0
    if ours.dtype == numpy.float32 and theirs.dtype.kind == "u" and reference == "LibRaw":
        # LibRaw makes whole numbers below 16383 of floating-point ones, cutting what is left over.
        ours = numpy.floor(ours.astype(float) * 16383)
    elif ours.dtype == numpy.uint16:
        top = 65535.0
    else:
        # Whole numbers of more than 24 bits are rounded as they become floating-point ones.
        theirs = theirs.astype(numpy.float32)
    apart = numpy.abs(ours.astype(float) - theirs.astype(float))
    return int((apart > 0).sum()), float(apart.max()) / top


def main(dumps, files):
    compared = failed = 0
    for file in map(Path, files):
        saved, made = (file.with_name(file.name + end) for end in (".expected.npy", ".expected.u16"))
        dng = file.suffix.lower() == ".dng"
        references = {
            "LibRaw": by_libraw(file),
            "tifffile": by_tifffile(file) if dng else None,
            "its encoder": numpy.load(saved) if saved.exists() else None,
        }
        if made.exists() and references["LibRaw"] is None:
            print(f"{file.name}: LibRaw reads no samples: FAIL")
            failed += 1
        elif made.exists():
            references["what was written"] = numpy.fromfile(made, "<u2")
        agreed = read = False
        for reader in ("specification", "rawler", "rawloader") if dng else ("tussock",):
            dump = Path(dumps) / f"{file.name}.{reader}"
            kinds = ((f"{dump}.u16", "<u2"), (f"{dump}.f32", "<f4")) if dng else ((f"{dump}.developed.u16", "<u2"),)
            found = [(d, t) for d, t in kinds if Path(d).exists()]
            # Of a DNG, what the two libraries make counts only where its specification's reader gives up.
            if not found or reader != "specification" and read:
                continue
            read = reader == "specification"
            ours = numpy.fromfile(*found[0])
            if "polynomial" in file.name:  # The curve is applied only as it is developed.
                ours = numpy.fromfile(f"{dump}.developed.u16", "<u2")
            for reference, theirs in references.items():
                result = None if theirs is None else difference(ours, theirs, file.name, reference)
                if result is None:
                    continue
                wrong, most = result
                excuse = beginning(LEFT_OUT.get(reference, {}), file.name)
                rounding = ROUNDING.get(beginning(ROUNDING, file.name), 0.0)
                within = wrong == 0 or most <= rounding * (1 + 1e-6)
                words = f", by {most:.2g} of full scale at most" if wrong else ""
                if not within and excuse:
                    words += f" ({reference} {LEFT_OUT[reference][excuse]})"
                print(f"{file.name}: {reader}, {reference}: {ours.size} samples, {wrong} differ{words}")
                compared += ours.size
                agreed |= within
                failed += not within and not excuse
        if not agreed:
            alone = file.name.startswith(ALONE)
            print(f"{file.name}: no reference agrees{', as expected' if alone else ': FAIL'}")
            failed += not alone
    print(f"{compared} samples compared, {failed} failures")
    return 1 if failed or not compared else 0


if __name__ == "__main__":
    if len(sys.argv) < 3:
        sys.exit(__doc__)
    sys.exit(main(sys.argv[1], sys.argv[2:]))
