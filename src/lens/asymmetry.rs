//! Asymmetry: whether one side or corner of the field is softer than its mirror image, and how surely.

use serde::Serialize;

use super::{Baseline, Entry};
use crate::quantity::Estimate;

/// Standard deviations from which an asymmetry is called real. Chosen: chance brings three of a thousand comparisons there.
pub const REAL: f64 = 3.0;

/// Two parts of the field that a centred lens would draw alike.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, schemars::JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Sides {
    /// Right against left third.
    RightLeft,
    /// Bottom against top third.
    BottomTop,
    /// Bottom-right against top-left corner.
    BottomRightTopLeft,
    /// Bottom-left against top-right corner.
    BottomLeftTopRight,
}

/// How unlike two sides are at one f-number.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Asymmetry {
    /// f-number.
    pub f_number: f64,
    /// Which sides; a positive difference means the first is softer.
    pub sides: Sides,
    /// Difference of their lens blur, um.
    pub difference_um: Estimate,
}

impl Asymmetry {
    /// The difference in standard deviations.
    #[must_use]
    pub fn significance(&self) -> f64 {
        if self.difference_um.sd > 0.0 { self.difference_um.value / self.difference_um.sd } else { 0.0 }
    }
}

/// Every comparison at every f-number whose two sides are both known.
#[must_use]
pub fn asymmetries(baseline: &Baseline) -> Vec<Asymmetry> {
    let pairs: [(Sides, Part, Part); 4] = [
        (Sides::RightLeft, |x, _| x > 2.0 / 3.0, |x, _| x < 1.0 / 3.0),
        (Sides::BottomTop, |_, y| y > 2.0 / 3.0, |_, y| y < 1.0 / 3.0),
        (Sides::BottomRightTopLeft, |x, y| x > 0.75 && y > 0.75, |x, y| x < 0.25 && y < 0.25),
        (Sides::BottomLeftTopRight, |x, y| x < 0.25 && y > 0.75, |x, y| x > 0.75 && y < 0.25),
    ];
    let compare = |entry: &Entry| {
        pairs
            .iter()
            .filter_map(|(sides, one, other)| {
                let (a, b) = (over(entry, *one)?, over(entry, *other)?);
                Some(Asymmetry {
                    f_number: entry.f_number,
                    sides: *sides,
                    difference_um: Estimate::new(a.value - b.value, a.sd.hypot(b.sd), a.n.min(b.n)),
                })
            })
            .collect::<Vec<_>>()
    };
    baseline.entries.iter().flat_map(compare).collect()
}

/// Whether a cell centre (fractions of the frame) belongs to a part of the field.
type Part = fn(f64, f64) -> bool;

/// Mean over the known cells of a part. Neighbouring cells err together, so averaging them is taken to gain
/// nothing; what they share with the other side as well makes this cautious.
fn over(entry: &Entry, part: Part) -> Option<Estimate> {
    let (columns, rows) = (entry.columns as usize, entry.rows as usize);
    let known: Vec<Estimate> = entry
        .sigma_um
        .iter()
        .enumerate()
        .filter(|(i, _)| {
            let at = |k: usize, n: usize| (k as f64 + 0.5) / n as f64;
            part(at(i % columns, columns), at(i / columns, rows))
        })
        .filter_map(|(_, e)| *e)
        .collect();
    let count = known.len() as f64;
    (!known.is_empty()).then(|| {
        Estimate::new(
            known.iter().map(|e| e.value).sum::<f64>() / count,
            known.iter().map(|e| e.sd).sum::<f64>() / count,
            known.iter().map(|e| e.n).max().unwrap_or(0),
        )
    })
}
