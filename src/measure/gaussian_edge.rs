//! The Gaussian edge: how luminance climbs across an edge, several places at a time.

/// How many places are worked on side by side. Derived: the width of common vector registers for `f32`.
pub(super) const LANES: usize = 8;
/// Values side by side.
pub(super) type Lanes = [f32; LANES];

/// e^x for x <= 0, nowhere below 1e-12, to a few units of the last place: 2^whole by its bits, 2^rest by its series. Branchless, so that
/// a loop over it turns into vector instructions.
#[inline(always)]
fn exp(x: f32) -> f32 {
    // Adding 1.5 * 2^23 leaves the nearest whole number in the lowest bits.
    const MAGIC: f32 = 12_582_912.0;
    // Smaller values would have denormal squares, which processors are slow with.
    let z = (x * std::f32::consts::LOG2_E).max(-40.0);
    let shifted = z + MAGIC;
    let r = (z - (shifted - MAGIC)) * std::f32::consts::LN_2;
    // Taylor's series to the sixth power; |r| <= ln 2 / 2.
    let series = 1.0 + r * (1.0 + r * (0.5 + r * (1.0 / 6.0 + r * (1.0 / 24.0 + r * (1.0 / 120.0 + r / 720.0)))));
    series * f32::from_bits((shifted.to_bits() << 23).wrapping_add(1.0_f32.to_bits()))
}

/// E(u) and its slope E'(u) of a Gaussian edge, u in sigmas: the normal distribution function by Abramowitz &
/// Stegun 26.2.17, absolute error below 2e-7 in single precision.
#[inline(always)]
pub(super) fn gaussian(u: f32) -> (f32, f32) {
    const DENSITY: f32 = 0.398_942_3;
    let slope = DENSITY * exp(-0.5 * u * u);
    let t = 1.0 / (1.0 + 0.231_641_9 * u.abs());
    let tail =
        slope * t * (0.319_381_54 + t * (-0.356_563_78 + t * (1.781_477_9 + t * (-1.821_255_9 + t * 1.330_274_5))));
    (if u >= 0.0 { 1.0 - tail } else { tail }, slope)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_edge_has_the_values_of_the_normal_distribution() {
        // Abramowitz & Stegun, table 26.1: P(x) and Z(x).
        for (u, value, slope) in [
            (0.0, 0.5, 0.398_942_3),
            (0.5, 0.691_462_46, 0.352_065_33),
            (1.0, 0.841_344_8, 0.241_970_72),
            (2.0, 0.977_249_87, 0.053_990_97),
            (3.0, 0.998_650_1, 0.004_431_85),
        ] {
            let (right, left) = (gaussian(u), gaussian(-u));
            assert!((right.0 - value).abs() < 3e-7 && (left.0 - (1.0 - value)).abs() < 3e-7, "{u}: {right:?} {left:?}");
            assert!((right.1 - slope).abs() < 1e-6 * slope && left.1 == right.1, "{u}: {right:?}");
        }
        assert!(gaussian(40.0).0 == 1.0 && gaussian(-40.0).0 < 1e-12);
    }
}
