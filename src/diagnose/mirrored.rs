//! How the corners of a judged frame differ from their mirror images, by their whole widths; what of it is the lens's own is weighed in
//! [`super::corners`].

use super::{Diagnosis, ZoneName};
use crate::quantity::Estimate;

/// A corner that is softer than the one across from it, right for left.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lean {
    /// The softer corner of the pair that differs most.
    pub corner: ZoneName,
    /// By how much its optical blur exceeds that of its mirror image, px.
    pub by_px: f64,
    /// Whether the other pair leans the same way, so that a side is softer and not a corner alone.
    pub side: bool,
    /// Whether any corner is beyond its mirror image by more than the permitted blur, in plain or in quadrature.
    pub beyond: bool,
}

/// Standard deviations by which a corner must be beyond its mirror image. Chosen: one-sided, a wrong one in forty; as sure
/// as the lens's own part must be in [`super::corners`].
const SURE_SD: f64 = 2.0;

/// Share of the permitted blur by which the corners of a pair must differ to lean. Chosen: half of what would be seen by
/// itself.
const LEANS: f64 = 0.5;

/// Corners and their mirror images.
pub(super) const PAIRS: [[ZoneName; 2]; 2] =
    [[ZoneName::TopLeft, ZoneName::TopRight], [ZoneName::BottomLeft, ZoneName::BottomRight]];

impl Diagnosis {
    /// Which corner is softer than its mirror image; `None` where no pair was measured.
    #[must_use]
    pub fn lean(&self) -> Option<Lean> {
        let blur = |name| self.zone(name).and_then(|z| z.optical_px);
        let both = |[l, r]: [ZoneName; 2]| Some(([l, r], blur(l)?, blur(r)?));
        let pairs: Vec<([ZoneName; 2], Estimate, Estimate)> = PAIRS.into_iter().filter_map(both).collect();
        let leans: Vec<f64> = pairs.iter().map(|(_, l, r)| l.value - r.value).collect();
        let k = (0..pairs.len()).max_by(|&a, &b| leans[a].abs().total_cmp(&leans[b].abs()))?;
        let ([left, right], more) = (pairs[k].0, leans[k]);
        let alike = |&other: &f64| other * more > 0.0 && other.abs() > LEANS * self.permitted_px;
        let apart = pairs.iter().any(|&(_, l, r)| beyond(l, r, self.permitted_px));
        Some(Lean {
            corner: if more > 0.0 { left } else { right },
            by_px: more.abs(),
            side: leans.len() == PAIRS.len() && leans.iter().all(alike),
            beyond: apart || more.abs() > self.permitted_px,
        })
    }

    /// Whether the upper corners plainly lean one way and the lower ones the other.
    #[must_use]
    pub fn corners_cross(&self) -> bool {
        let blur = |name| self.zone(name).and_then(|z| z.optical_px).map(|e| e.value);
        let lean = |[l, r]: [ZoneName; 2]| Some(blur(l)? - blur(r)?);
        let [upper, lower] = PAIRS.map(lean);
        upper.zip(lower).is_some_and(|(u, l)| u * l < 0.0 && u.abs().min(l.abs()) > LEANS * self.permitted_px)
    }
}

/// Whether one width is beyond another by more than the permitted blur in quadrature, as the corners are judged.
fn beyond(a: Estimate, b: Estimate, permitted_px: f64) -> bool {
    let apart = (a.value * a.value - b.value * b.value).abs();
    let sd = (2.0 * a.value * a.sd).hypot(2.0 * b.value * b.sd);
    apart - SURE_SD * sd > permitted_px * permitted_px
}
