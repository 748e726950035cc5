//! Whether the widths bear out the recorded f-number: no picture is sharper than its diffraction, and one that
//! diffraction softens is nowhere sharper.

use crate::measure::LOW;
use crate::optics::blur::least_px;
use crate::stats::ranked;

/// How much narrower (ln) than diffraction alone a width may read, since measuring errs and sharpening narrows edges by
/// up to a fifth without showing; and by how much more where sharpening shows. Set on rendered frames sharpened by up
/// to 120 %: the narrowest read 0.72 of the unsharpened width.
const NARROWED: f64 = 0.35;
const SHARPENED: f64 = 0.2;
/// Share of the tiles that must be narrower for the f-number to be wrong, and fewest such tiles. Chosen: far more than
/// are misread.
const NARROWER: f64 = 0.3;
pub(super) const FEWEST: usize = 6;
/// How far below diffraction's own (ln) the low end of the widths may lie for diffraction to be what softens the
/// frame. Chosen: widths have a common error of about 8 %.
const SHORT: f64 = 0.15;

/// ln of the whole width that diffraction and the pixel leave, px.
fn least(lambda_n_px: f64) -> f64 {
    least_px(lambda_n_px).ln()
}

/// ln of the width, px, that the sharpest of the tiles show.
fn sharpest(widths: impl Iterator<Item = f64>) -> Option<f64> {
    ranked(widths.collect(), LOW)
}

/// How much of the recorded lambda N over pitch (px) the widths (ln px) show: all of it, or where they are narrower than it leaves
/// them (sharpened, or the f-number false) what would leave them so. Without this a fit finds no frame softer by less.
pub(super) fn shown(recorded: f64, widths: impl Iterator<Item = f64>) -> f64 {
    let Some(seen) = sharpest(widths).filter(|&y| y < least(recorded)) else { return recorded };
    let (mut low, mut high) = (0.0, recorded);
    for _ in 0..30 {
        let middle = 0.5 * (low + high);
        if least(middle) < seen { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}

/// Whether the picture is sharper than the recorded lambda N over pitch allows; `widths` with their errors, ln px.
pub(super) fn contradicted(recorded: f64, widths: impl Iterator<Item = (f64, f64)>, sharpened: bool) -> bool {
    let allowed = least(recorded) - NARROWED - if sharpened { SHARPENED } else { 0.0 };
    let (mut narrower, mut count) = (0, 0);
    for (y, sd) in widths {
        narrower += usize::from(y + 2.0 * sd < allowed);
        count += 1;
    }
    narrower >= FEWEST && narrower as f64 > NARROWER * f64::from(count)
}

/// Whether the sharpest of the widths (ln px) are as wide as diffraction leaves them.
pub(super) fn shows_diffraction(recorded: f64, widths: impl Iterator<Item = f64>) -> bool {
    sharpest(widths).is_some_and(|y| y > least(recorded) - SHORT)
}
