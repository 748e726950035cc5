//! Whether a picture shows the pupil that it is said to have been taken through: a recorded f-number may be false, and what a
//! camera sharpens no longer has the spread that its pupil left.
//!
//! The networks are told a pupil for the shape of its spread. With it comes how wide that is at the least, and what they are
//! told so they believe. Some tiles are therefore read without it first.

use crate::optics::blur::least_px;
use crate::stats::ranked;

/// Most tiles that are asked. Chosen: a tenth of most grids, and their low end is known to some 5 %.
pub(super) const ASKED: usize = 48;
/// Fewest tiles with a width for an answer. Chosen: fewer have no low end.
const FEWEST: usize = 6;
/// Quantile of a picture's widths that is held against its pupil. Chosen: a twelfth of the tiles or so are misread.
pub(crate) const LOW: f64 = 0.2;
/// What the low end of a picture's widths is read narrower by without its pupil (ln), and what that scatters by. Set on
/// the shoots kept from the fit, under true pupils of 0.5 to 3.5 px (316 pictures that were not sharpened).
const NARROWER: f64 = 0.10;
const SCATTER: f64 = 0.12;
/// How much narrower (ln) a picture may be that does not show its pupil, any amount being as likely; to show it or not
/// is as likely beforehand. Chosen: cameras sharpen about as often as not, and false f-numbers are of any size.
const UNLIKE: f64 = 1.5;
/// Probability below which a picture is taken not to show its pupil, and above whose complement it is taken to. Chosen:
/// it moves no width by as much as a thousandth.
const SURE: f64 = 0.01;

/// How likely it is that a picture shows the pupil of `lambda_n_px` (wavelength times f-number over pitch): by Bayes' rule from the
/// widths (ln px) that some of its tiles read without it. One that is nowhere narrower than the pupil leaves it shows it as well as
/// can be. `None` where too few have a width.
pub(super) fn shown(logs: Vec<f64>, lambda_n_px: f64) -> Option<f64> {
    if logs.len() < FEWEST {
        return None;
    }
    let short = ranked(logs, LOW).map_or(0.0, |low| least_px(lambda_n_px).ln() - low);
    let off = ((short - NARROWER) / SCATTER).max(0.0);
    let shows = (-0.5 * off * off).exp();
    // What does not show its pupil but reads as wide is read no worse with it, and is not asked for.
    let hides = (1.0 - shows) * SCATTER * std::f64::consts::TAU.sqrt() / UNLIKE;
    Some(match shows / (shows + hides) {
        p if p < SURE => 0.0,
        p if p > 1.0 - SURE => 1.0,
        p => p,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// ln widths of this many times what the pupil leaves.
    fn widths(share: f64, lambda_n_px: f64, count: usize) -> Vec<f64> {
        vec![(share * least_px(lambda_n_px)).ln(); count]
    }

    #[test]
    fn a_picture_that_is_as_wide_as_its_pupil_shows_it_and_a_much_narrower_one_does_not() {
        for lambda_n_px in [0.8, 2.0, 3.5] {
            assert_eq!(shown(widths(0.95, lambda_n_px, 40), lambda_n_px), Some(1.0));
            assert_eq!(shown(widths(2.0, lambda_n_px, 40), lambda_n_px), Some(1.0));
            assert_eq!(shown(widths(0.5, lambda_n_px, 40), lambda_n_px), Some(0.0));
            let between = shown(widths(0.73, lambda_n_px, 40), lambda_n_px).expect("enough tiles");
            assert!(between > 0.2 && between < 0.8, "{between}");
        }
    }

    #[test]
    fn a_few_tiles_deny_no_pupil() {
        assert_eq!(shown(widths(0.5, 2.0, FEWEST - 1), 2.0), None);
    }
}
