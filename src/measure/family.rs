//! Edge-spread functions in tables: how luminance climbs across an edge blurred by one width and one shape.

use std::sync::OnceLock;

/// Half-width of the tables in units of sigma.
const REACH: f32 = 6.0;
/// Table steps a sigma.
const STEPS: f32 = 64.0;
const LENGTH: usize = (2.0 * REACH * STEPS) as usize + 2;

/// An edge-spread function E(u) and its slope E'(u), u in Gaussian-equivalent sigmas.
pub(super) struct EdgeSpread {
    values: Vec<(f32, f32)>,
}

impl EdgeSpread {
    /// E(u) and E'(u) by linear interpolation.
    #[inline]
    pub(super) fn at(&self, u: f32) -> (f32, f32) {
        let p = (u.clamp(-REACH, REACH) + REACH) * STEPS;
        let i = p as usize;
        let f = p - i as f32;
        let (a, b) = (self.values[i], self.values[i + 1]);
        (a.0 + f * (b.0 - a.0), a.1 + f * (b.1 - a.1))
    }

    /// Table from a line spread given as a function of u, by the trapezoid rule, normalised to a unit step.
    fn from_line_spread(line: impl Fn(f64) -> f64) -> Self {
        let step = 1.0 / f64::from(STEPS);
        let mut sum = 0.0;
        let mut last = line(-f64::from(REACH));
        let mut values: Vec<(f64, f64)> = Vec::with_capacity(LENGTH);
        for i in 0..LENGTH {
            let now = line(-f64::from(REACH) + i as f64 * step);
            if i > 0 {
                sum += 0.5 * (last + now) * step;
            }
            values.push((sum, now));
            last = now;
        }
        let total = sum;
        Self { values: values.into_iter().map(|(e, l)| ((e / total) as f32, (l / total) as f32)).collect() }
    }
}

/// The Gaussian edge.
pub(super) fn gaussian() -> &'static EdgeSpread {
    static TABLE: OnceLock<EdgeSpread> = OnceLock::new();
    TABLE.get_or_init(|| EdgeSpread::from_line_spread(|u| (-0.5 * u * u).exp()))
}
