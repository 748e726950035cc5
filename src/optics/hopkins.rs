//! The optical transfer function of a defocused, diffraction-limited lens by direct quadrature (Hopkins 1955).

use std::f64::consts::PI;

use super::diffraction;

/// Nodes (0 to 1) and weights of the 16-point Gauss-Legendre rule, positive half; the rule is symmetric. Published:
/// Abramowitz and Stegun, Handbook of Mathematical Functions, table 25.4 (from memory; a test integrates polynomials).
const GAUSS: [(f64, f64); 8] = [
    (0.095_012_509_837_637_44, 0.189_450_610_455_068_5),
    (0.281_603_550_779_258_9, 0.182_603_415_044_923_6),
    (0.458_016_777_657_227_4, 0.169_156_519_395_002_54),
    (0.617_876_244_402_643_7, 0.149_595_988_816_576_73),
    (0.755_404_408_355_003, 0.124_628_971_255_533_87),
    (0.865_631_202_387_831_7, 0.095_158_511_682_492_78),
    (0.944_575_023_073_232_6, 0.062_253_523_938_647_89),
    (0.989_400_934_991_649_9, 0.027_152_459_411_754_095),
];

/// Integral of a smooth function over `low` to `high` by the 16-point Gauss-Legendre rule on `panels` equal parts.
pub(super) fn integrate(low: f64, high: f64, panels: usize, f: impl Fn(f64) -> f64) -> f64 {
    let half = (high - low) / (2.0 * panels as f64);
    (0..panels)
        .map(|i| {
            let middle = low + half * (2 * i + 1) as f64;
            GAUSS.iter().map(|&(x, w)| w * (f(middle - half * x) + f(middle + half * x))).sum::<f64>() * half
        })
        .sum()
}

/// OTF of a lens out of focus against `a`, the diameter of the disc that geometry alone would give times the frequency, and
/// `s`, the frequency over the diffraction cut-off. May be negative: contrast reverses.
///
/// (4/pi) * integral over 0 to 1 - s of sqrt(1 - (x + s)^2) cos(pi a x) dx, incoherent light, circular pupil (Hopkins, Proc.
/// R. Soc. A 231, 1955). A path difference of w wavelengths at the edge of the pupil (W020 / lambda) makes a disc of 8 w lambda N:
/// a quarter wave is 2 lambda N.
///
/// With s = 0 (a wavelength of nothing) it is the disc's own 2 J1(pi a) / (pi a).
#[must_use]
pub fn otf_by_disc(a: f64, s: f64) -> f64 {
    let (a, s) = (a.abs(), s.abs());
    if s >= 1.0 {
        return 0.0;
    }
    if a == 0.0 {
        return diffraction::mtf(s);
    }
    // With y = x + s = 1 - (1 - s) t^2 the root at the pupil's edge becomes a polynomial factor and the
    // integrand is smooth, so that Gauss's rule converges; more panels where the cosine turns more often.
    let span = 1.0 - s;
    let panels = 1 + (a * span / 3.0) as usize;
    let value = integrate(0.0, 1.0, panels, |t| {
        let y = 1.0 - span * t * t;
        t * t * (1.0 + y).sqrt() * (PI * a * (y - s)).cos()
    });
    8.0 / PI * span * span.sqrt() * value
}
