//! Whether the widths bear out the recorded f-number: no picture is sharper than its diffraction, and one that
//! diffraction softens is nowhere sharper.

use super::evidence::Evidence;
use super::surface::Surface;
use crate::stats::ranked;

/// Set on rendered frames sharpened by up to 120 %: the narrowest read 0.72 of the unsharpened width. How much narrower
/// (ln) than diffraction alone a width may read: measuring errs, and sharpening narrows edges by up to a fifth without
/// showing. Sharpening that shows narrows by more.
const NARROWED: f64 = 0.35;
const SHARPENED: f64 = 0.2;
/// Chosen: far more than misread. Share of the tiles that must be narrower for the f-number to be wrong, and fewest
/// tiles.
const NARROWER: f64 = 0.3;
const FEWEST: usize = 6;
/// Chosen: a twelfth of the tiles or so are misread, and widths have a common error of about 8 %. Which of the widths
/// is asked, in order of size, and how far below diffraction's own (ln) it may lie for diffraction to be what softens
/// the frame.
const LOW: f64 = 0.2;
const SHORT: f64 = 0.15;

/// ln of the whole width that diffraction and the pixel leave, px.
fn least(e: &Evidence, surface: &Surface) -> Option<f64> {
    e.lambda_n_px.map(|_| surface.whole(0.0, 0.0).ln)
}

/// Whether the picture is sharper than the f-number allows.
pub(super) fn contradicted(e: &Evidence, surface: &Surface, sharpened: bool) -> bool {
    let Some(least) = least(e, surface) else { return false };
    let allowed = least - NARROWED - if sharpened { SHARPENED } else { 0.0 };
    let narrower = e.samples.iter().filter(|s| s.y + 2.0 * s.sd < allowed).count();
    narrower >= FEWEST && narrower as f64 > NARROWER * e.samples.len() as f64
}

/// Whether the sharpest of the widths are as wide as diffraction leaves them.
pub(super) fn shows_diffraction(e: &Evidence, surface: &Surface) -> bool {
    let Some(least) = least(e, surface) else { return false };
    ranked(e.samples.iter().map(|s| s.y).collect(), LOW).is_some_and(|y| y > least - SHORT)
}
