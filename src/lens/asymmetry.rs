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

impl Sides {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::RightLeft, Self::BottomTop, Self::BottomRightTopLeft, Self::BottomLeftTopRight];
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

/// Every comparison at every f-number for which enough is known of both sides.
#[must_use]
pub fn asymmetries(baseline: &Baseline) -> Vec<Asymmetry> {
    let pairs: [(Sides, Part, Mirror); 4] = [
        (Sides::RightLeft, |x, _| x > 2.0 / 3.0, Mirror { across: true, down: false }),
        (Sides::BottomTop, |_, y| y > 2.0 / 3.0, Mirror { across: false, down: true }),
        (Sides::BottomRightTopLeft, |x, y| x > 0.75 && y > 0.75, Mirror { across: true, down: true }),
        (Sides::BottomLeftTopRight, |x, y| x < 0.25 && y > 0.75, Mirror { across: true, down: true }),
    ];
    let compare = |entry: &Entry| {
        pairs
            .iter()
            .filter_map(|(sides, part, mirror)| {
                let [a, b] = over(entry, *part, *mirror)?;
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

/// Which way a part of the field lies mirrored.
#[derive(Clone, Copy)]
struct Mirror {
    /// Right for left.
    across: bool,
    /// Bottom for top.
    down: bool,
}

/// Least share of a part's cells that must be known together with their mirror images. Chosen: of less than half of a side nobody
/// can say that it is softer.
const KNOWN: f64 = 0.5;

/// Means over a part and over its mirror image, both of the cells that are known in either: a lens in line draws cell and mirror
/// image alike, but by no means any two cells of a part. Neighbouring cells err together, so averaging them is taken to gain
/// nothing; what they share with the other side as well makes this cautious.
fn over(entry: &Entry, part: Part, mirror: Mirror) -> Option<[Estimate; 2]> {
    let (columns, rows) = (entry.columns as usize, entry.rows as usize);
    let at = |k: usize, n: usize| (k as f64 + 0.5) / n as f64;
    let cell = |column: usize, row: usize| entry.sigma_um.get(row * columns + column).copied().flatten();
    let (mut all, mut known) = (0, Vec::new());
    for (column, row) in (0..rows).flat_map(|row| (0..columns).map(move |column| (column, row))) {
        if part(at(column, columns), at(row, rows)) {
            all += 1;
            let across = if mirror.across { columns - 1 - column } else { column };
            let down = if mirror.down { rows - 1 - row } else { row };
            known.extend(cell(column, row).zip(cell(across, down)));
        }
    }
    let count = known.len() as f64;
    let mean = |of: &dyn Fn(&(Estimate, Estimate)) -> Estimate| {
        let cells = || known.iter().map(of);
        Estimate::new(
            cells().map(|e| e.value).sum::<f64>() / count,
            cells().map(|e| e.sd).sum::<f64>() / count,
            cells().map(|e| e.n).max().unwrap_or(0),
        )
    };
    (!known.is_empty() && count >= KNOWN * f64::from(all)).then(|| [mean(&|p| p.0), mean(&|p| p.1)])
}
