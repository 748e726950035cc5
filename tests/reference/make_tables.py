"""Regenerates the reference MTF tables by two independent optics libraries.

    python3 -m venv .venv && .venv/bin/pip install 'setuptools<81' prysm==0.21.1 GalSim==2.8.5
    .venv/bin/python tests/reference/make_tables.py tests/reference

Writes mtf.csv: the modulation transfer of a circular, evenly lit pupil in 550 nm light, `w` waves out of focus at
its edge (W020 / wavelength), with and without a square pixel of full fill, and mtf50.csv: where it falls to a half.
Frequencies are shares of the diffraction cut-off, turned to cycles a pixel for each pitch.
"""

import csv
import sys
from pathlib import Path

import galsim
import numpy as np
import prysm
from prysm import coordinates, geometry, otf, propagation

WAVELENGTH_UM = 0.55
WAVES = [0.0, 0.1, 0.25, 0.5, 0.75, 1.0, 1.5, 2.0]
F_NUMBERS = [4.0, 5.6, 8.0, 11.0, 16.0, 22.0]
PITCHES_UM = [3.76, 4.35, 5.94]
SHARES = np.round(np.arange(0.0, 1.0, 0.05), 2)
FINE = np.linspace(0.0, 1.0, 2001)


def by_prysm(w):
    """Transfer along x at FINE: pupil -> focus -> |.|^2 -> Fourier transform."""
    samples, padding = 512, 4
    # f/10 with a 10 mm pupil; only the share of the cut-off matters.
    diameter, focal = 10.0, 100.0
    x, y = coordinates.make_xy_grid(samples, diameter=diameter * 1.02)
    r, _ = coordinates.cart_to_polar(x, y)
    amplitude = geometry.circle(diameter / 2, r)
    phase_nm = w * WAVELENGTH_UM * 1e3 * (r / (diameter / 2)) ** 2
    dx = x[0, 1] - x[0, 0]
    pupil = propagation.Wavefront.from_amp_and_phase(amplitude, phase_nm, WAVELENGTH_UM, dx)
    psf = pupil.focus(focal, Q=padding).intensity
    mtf = otf.mtf_from_psf(psf, psf.dx)
    data = np.abs(mtf.data)
    centre = data.shape[0] // 2
    line = data[centre, centre:] / data[centre, centre]
    frequency = np.arange(line.size) * mtf.dx
    cutoff = 1e3 / (WAVELENGTH_UM * focal / diameter)  # cycles/mm
    return np.interp(FINE * cutoff, frequency, line)


def by_galsim(w):
    """Transfer along x at FINE from GalSim's optical point spread; Noll Z4 = W020 / (2 sqrt 3)."""
    # 1 unit of angle = lambda / D, so that the cut-off is at k = 2 pi.
    psf = galsim.OpticalPSF(
        lam_over_diam=1.0,
        defocus=w / (2 * np.sqrt(3)),
        oversampling=2.0,
        pad_factor=3.0,
        scale_unit=galsim.arcsec,
    )
    return np.array([abs(psf.kValue(2 * np.pi * f, 0.0)) if f < 1 else 0.0 for f in FINE])


def half(frequency, contrast):
    """Lowest frequency at which the contrast falls to one half, by straight interpolation."""
    below = int(np.argmax(contrast < 0.5))
    if contrast[below] >= 0.5:
        return None
    a, b = contrast[below - 1], contrast[below]
    return frequency[below - 1] + (a - 0.5) / (a - b) * (frequency[below] - frequency[below - 1])


def main(folder):
    made = f"prysm {prysm.__version__}, GalSim {galsim.__version__}, numpy {np.__version__}"
    curves = {}
    for w in WAVES:
        curves["prysm", w] = by_prysm(w)
        curves["galsim", w] = by_galsim(w)
    with open(folder / "mtf.csv", "w", newline="") as out, open(folder / "mtf50.csv", "w", newline="") as out50:
        for f in (out, out50):
            f.write(f"# {made}; 550 nm; made by tests/reference/make_tables.py\n")
        table, table50 = csv.writer(out, lineterminator="\n"), csv.writer(out50, lineterminator="\n")
        table.writerow(["lib", "n", "pitch_um", "w", "pixel", "cycles_per_px", "mtf"])
        table50.writerow(["lib", "n", "pitch_um", "w", "pixel", "mtf50_cycles_per_px"])
        for (lib, w), curve in curves.items():
            for n in F_NUMBERS:
                for pitch in PITCHES_UM:
                    cutoff = pitch / (WAVELENGTH_UM * n)
                    for pixel in (0, 1):
                        aperture = np.abs(np.sinc(FINE * cutoff)) if pixel else 1.0
                        whole = curve * aperture
                        at = half(FINE * cutoff, whole)
                        table50.writerow([lib, n, pitch, w, pixel, f"{at:.6f}"])
                        # One pitch in full is enough: without a pixel the others are the same curve.
                        if pitch == PITCHES_UM[1] or pixel:
                            for share in SHARES:
                                value = np.interp(share, FINE, whole)
                                table.writerow([lib, n, pitch, w, pixel, f"{share * cutoff:.6f}", f"{value:.6f}"])


if __name__ == "__main__":
    main(Path(sys.argv[1] if len(sys.argv) > 1 else "."))
