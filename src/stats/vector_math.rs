//! exp and ln without a branch or a call, so that a loop over them goes through wide registers; within two units in the last
//! place, and the same numbers on every processor. A library of vectors chooses its registers when it is compiled, so that
//! `multiversion` has no hold on it: with one a diagnosis took 12.3 ms in place of 7.7 (a trial that was not kept).

use std::f64::consts::{FRAC_1_SQRT_2, LOG2_E};

/// A number that this is added to leaves the nearest whole one in the last bits of the sum. Derived: 1.5 * 2^52.
const WHOLE: f64 = 6_755_399_441_055_744.0;
/// ln 2 in two parts, the first so short that its products with exponents are exact. Published: fdlibm, e_exp.c.
const LN_2: [f64; 2] = [6.931_471_803_691_238e-1, 1.908_214_929_270_587_7e-10];
/// Bits of the fraction, and the exponent of one. Derived: the format of a double.
const FRACTION: u32 = 52;
const ONE: u64 = 1023;
/// Terms of the series of exp, an even number. Derived: the next is below rounding for half of ln 2.
const EXP_TERMS: usize = 14;
/// Terms of the series of ln, an even number. Derived: the next is below rounding between the root of a half and that of two.
const LN_TERMS: usize = 10;

/// Coefficients of the series of exp. Derived: 1 / k!.
const EXP: [f64; EXP_TERMS] = {
    let (mut terms, mut factorial, mut k) = ([1.0; EXP_TERMS], 1.0, 1);
    while k < EXP_TERMS {
        factorial *= k as f64;
        terms[k] = 1.0 / factorial;
        k += 1;
    }
    terms
};
/// Coefficients of the series of ln after the first, times two. Derived: ln((1 + s) / (1 - s)) is 2 s (1 + s^2 / 3 + s^4 / 5 ...).
const LN: [f64; LN_TERMS] = {
    let (mut terms, mut k) = ([0.0; LN_TERMS], 0);
    while k < LN_TERMS {
        terms[k] = 2.0 / (2 * k + 3) as f64;
        k += 1;
    }
    terms
};

/// e to a power; below -708 that of -708, above 709 that of 709, beyond which a double is not a full one.
#[inline(always)]
pub(crate) fn exp(x: f64) -> f64 {
    let x = x.clamp(-708.0, 709.0);
    let shifted = x * LOG2_E + WHOLE;
    let whole = shifted - WHOLE;
    let power = f64::from_bits(shifted.to_bits().wrapping_add(ONE) << FRACTION);
    series(&EXP, x - whole * LN_2[0] - whole * LN_2[1]) * power
}

/// Natural logarithm of a positive number that is not denormal; not a number where that is not finite.
#[inline(always)]
pub(crate) fn ln(x: f64) -> f64 {
    // The exponent of x as a fraction between the root of a half and that of two, times a power of two.
    let exponent = x.to_bits().wrapping_add((ONE << FRACTION) - FRAC_1_SQRT_2.to_bits()) >> FRACTION;
    let fraction = f64::from_bits(x.to_bits().wrapping_sub(exponent << FRACTION).wrapping_add(ONE << FRACTION));
    let whole = f64::from_bits(WHOLE.to_bits() + exponent) - (WHOLE + ONE as f64);
    let beyond = fraction - 1.0;
    let s = beyond / (2.0 + beyond);
    let rest = s * (beyond - s * s * series(&LN, s * s));
    whole * LN_2[0] - (rest - whole * LN_2[1] - beyond) + 0.0 * x
}

/// The sum of a power series; even and odd terms apart, so that neither waits for the other.
#[inline(always)]
fn series<const N: usize>(terms: &[f64; N], x: f64) -> f64 {
    let (pairs, _) = terms.as_chunks::<2>();
    let (mut even, mut odd) = (0.0, 0.0);
    for [a, b] in pairs.iter().rev() {
        (even, odd) = (even * (x * x) + a, odd * (x * x) + b);
    }
    even + odd * x
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn exp_and_ln_are_those_of_the_library_to_rounding() {
        let close = |a: f64, b: f64| ((a - b) / b).abs() < 3.0 * f64::EPSILON || a == b;
        for k in -70_000_i32..=70_000 {
            let x = f64::from(k) * 0.010_1;
            assert!(close(exp(x), x.exp()), "{x}: {} {}", exp(x), x.exp());
            let y = x.exp();
            assert!(close(ln(y), y.ln()), "{y}: {} {}", ln(y), y.ln());
            let z = 1.0 + 1e-5 * f64::from(k.abs());
            assert!(close(ln(z), z.ln()) && close(ln(1.0 / z), (1.0 / z).ln()), "{z}");
        }
    }

    #[test]
    fn what_is_no_number_stays_none() {
        assert!(exp(f64::NAN).is_nan() && ln(f64::NAN).is_nan() && ln(f64::INFINITY).is_nan());
        assert_eq!((exp(0.0), ln(1.0)), (1.0, 0.0));
        assert!(exp(-1e9) < 1e-300 && exp(1e9) > 1e300 && exp(-1e9) > 0.0 && exp(1e9).is_finite());
    }
}
