"""Compares the samples of the two raw crates with those of LibRaw (through rawpy), an independent decoder.

usage: raw_agreement.py DUMPS FILE...    (needs rawpy and numpy; DUMPS is filled first by
       `cargo run --release --example raw_agreement -- --dump DUMPS FILE...`)

For each file and decoder: samples compared and how many differ. Exits with 1 if any do, or if nothing could
be compared.
"""

import sys
from pathlib import Path

import numpy
import rawpy


def main(dumps, files):
    compared = different = 0
    for file in map(Path, files):
        try:
            with rawpy.imread(str(file)) as raw:
                reference = raw.raw_image.copy()
        except (rawpy.LibRawError, AttributeError) as error:
            print(f"{file.name}: LibRaw refuses: {error}")
            continue
        for decoder in ("rawloader", "rawler"):
            dump = Path(dumps) / f"{file.name}.{decoder}.u16"
            if not dump.exists():
                print(f"{file.name}: {decoder} gave nothing to compare")
                continue
            samples = numpy.fromfile(dump, dtype="<u2")
            if samples.size != reference.size:
                print(f"{file.name}: {decoder} stores {samples.size} samples, LibRaw {reference.size}: FAIL")
                different += 1
                continue
            wrong = int((samples.reshape(reference.shape) != reference).sum())
            print(f"{file.name}: {decoder} {samples.size} samples, {wrong} differ")
            compared += samples.size
            different += wrong
    return 1 if different or not compared else 0


if __name__ == "__main__":
    if len(sys.argv) < 3:
        sys.exit(__doc__)
    sys.exit(main(sys.argv[1], sys.argv[2:]))
