//! Tiles of a series that are soft by what they show: clouds, smooth water.

use super::Blurs;
use super::middle_mean;
use crate::optics::blur::least_px;
use crate::optics::lambda_n_px;
use crate::stats;

/// Ratio of an f-number to the first from which a stop tells whether the blur falls. Derived: two stops, over which a
/// disc halves.
const STOPPED_DOWN: f64 = 2.0;
/// How many of the last stops must agree. Chosen: one frame may be spoiled.
const LAST: usize = 2;
/// How far what is beyond diffraction may exceed what falling with the f-number leaves: as a factor, and as a share of
/// the squared width besides. Chosen: half as much again, and the error of a squared width.
const SLACK: (f64, f64) = (1.5, 0.2);
/// Share of the tiles, the sharpest, that have at most what stays beyond diffraction in every tile: an error that all
/// widths share, and what of the lens no stop takes away. Chosen: as many are taken for sharp elsewhere.
const SHARPEST: f64 = 0.25;
/// Share of the tiles beyond which what makes them soft is not their content. Chosen: half; where more are soft it is
/// the frames: a camera that shook, an aperture that did not close.
const MOST: f64 = 0.5;

/// The same without tiles whose softness is their content's.
///
/// What lens and defocus blur beyond diffraction falls on stopping down at least as the f-number rises (defocus and field
/// curvature with its first power, other aberrations faster). Where at the last two stops it stays above
/// that, and above what stays in the sharpest places too, the scene itself is soft there, and which aperture is best can't be told by it. Frames without f-number take no
/// part; without a pitch, or with less than two stops of range, nothing is left out.
#[must_use]
pub fn without_soft_content(blurs: &Blurs, f_numbers: &[Option<f64>], pitch_um: Option<f64>) -> Blurs {
    let Some(pitch_um) = pitch_um else { return blurs.clone() };
    let mut stops: Vec<(usize, f64, f64)> = f_numbers
        .iter()
        .enumerate()
        .filter_map(|(k, n)| Some((k, (*n)?, least_px(lambda_n_px((*n)?, pitch_um)).powi(2))))
        .collect();
    stops.sort_by(|a, b| a.1.total_cmp(&b.1));
    let floor = |&(k, _, bare): &(usize, f64, f64)| {
        let left: Vec<f64> = blurs.sigma[k].iter().flatten().map(|e| (e.value.powi(2) - bare).max(0.0)).collect();
        stats::quantile(&left, SHARPEST).unwrap_or(0.0)
    };
    let floors: Vec<f64> = stops.iter().map(floor).collect();
    let soft = |tile: usize| {
        let known = |(&(k, n, bare), &floor): (&(usize, f64, f64), &f64)| {
            let square = blurs.sigma[k][tile]?.value.powi(2);
            Some((n, square, (square - bare).max(0.0), floor))
        };
        let mut points = stops.iter().zip(&floors).filter_map(known);
        let Some((first, _, beyond, _)) = points.next() else { return false };
        let stays: Vec<bool> = points
            .filter(|p| p.0 >= STOPPED_DOWN * first)
            .map(|(n, square, left, floor)| left > beyond * (SLACK.0 * first / n).powi(2) + SLACK.1 * square + floor)
            .collect();
        stays.len() >= LAST && stays.iter().rev().take(LAST).all(|s| *s)
    };
    without(blurs, &(0..blurs.anchor_sd.len()).map(soft).collect::<Vec<bool>>())
}

/// Multiple of the usual width of the sharpest frames beyond which a tile may be soft by its content; the change from
/// frame to frame that a tile out of focus could not stay below; and the change of the middle tiles which shows that
/// focus was moved. Chosen: beyond any lens's corners; a stop changes a disc by 1.4.
const SOFT: f64 = 4.0;
const STILL: f64 = 1.15;
const MOVED: f64 = 1.3;
/// Standard errors by which two widths may differ by chance. Chosen: chance stays below that nineteen times of twenty.
const CHANCE: f64 = 2.0;

/// The same for frames of varied focus: without tiles that are very soft, and equally so in all of them.
///
/// The disc of what is out of focus changes as the focus is moved. It would stay within 15 % only where it is seven times as
/// wide as the focus moves it: a twig before the lens, which no frame shows sharp either. Corners that the lens keeps soft
/// change little too, but are rarely that soft. Where most tiles hardly change, nothing is left out.
#[must_use]
pub fn without_still_content(blurs: &Blurs) -> Blurs {
    // By tile: least and most width, and the standard error of the logarithm of their ratio.
    let range = |tile: usize| {
        let frames = blurs.sigma.iter().zip(&blurs.apart_sd);
        let mut widths: Vec<(f64, f64)> =
            frames.filter_map(|(f, sd)| Some((f[tile]?.value, sd[tile] / f[tile]?.value))).collect();
        widths.sort_by(|a, b| a.0.total_cmp(&b.0));
        let (least, most) = (*widths.first()?, *widths.last()?);
        (widths.len() >= LAST).then_some((least.0, most.0, least.1.hypot(most.1)))
    };
    let ranges: Vec<Option<(f64, f64, f64)>> = (0..blurs.anchor_sd.len()).map(range).collect();
    let known = || ranges.iter().flatten();
    if known().next().is_none() {
        return blurs.clone();
    }
    let usual = middle_mean(known().map(|r| r.0).collect());
    let change = middle_mean(known().map(|r| r.1 / r.0).collect());
    let still: Vec<bool> = ranges
        .iter()
        .map(|r| {
            r.is_some_and(|(least, most, sd)| {
                least > SOFT * usual && (most / least).ln() < STILL.ln().hypot(CHANCE * sd)
            })
        })
        .collect();
    if change < MOVED { blurs.clone() } else { without(blurs, &still) }
}

/// Without the tiles marked, unless these are most of them.
fn without(blurs: &Blurs, marked: &[bool]) -> Blurs {
    let count = marked.iter().filter(|m| **m).count();
    let mut kept = blurs.clone();
    if count as f64 <= MOST * blurs.tiles() as f64 {
        for frame in &mut kept.sigma {
            frame.iter_mut().zip(marked).filter(|(_, m)| **m).for_each(|(width, _)| *width = None);
        }
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::optics::blur::{Parts, sigma_px};
    use crate::quantity::Estimate;

    const STOPS: [f64; 5] = [2.8, 5.6, 8.0, 11.0, 16.0];
    const PITCH_UM: f64 = 4.0;

    /// A disc that closes with the f-number, and a softness of the scene, px.
    fn width(n: f64, disc: f64, content: f64) -> f64 {
        sigma_px(&Parts {
            lambda_n_px: Some(lambda_n_px(n, PITCH_UM)),
            pixel: true,
            disc_px: disc * STOPS[0] / n,
            lens_px: content,
            ..Parts::default()
        })
    }

    fn series(tiles: &[(f64, f64)]) -> Blurs {
        frames(&STOPS.map(|n| tiles.iter().map(|t| width(n, t.0, t.1)).collect()))
    }

    fn left(tiles: &[(f64, f64)]) -> Vec<bool> {
        let kept = without_soft_content(&series(tiles), &STOPS.map(Some), Some(PITCH_UM));
        kept.sigma[0].iter().map(Option::is_some).collect()
    }

    /// Frames of widths by tile, px.
    fn frames(widths: &[Vec<f64>]) -> Blurs {
        let frame = |w: &Vec<f64>| w.iter().map(|&w| Some(Estimate::new(w, 0.02, 9))).collect();
        let tiles = widths[0].len();
        Blurs {
            sigma: widths.iter().map(frame).collect(),
            apart_sd: vec![vec![0.0; tiles]; widths.len()],
            from_middle: vec![vec![(0.0, 0.0); tiles]; widths.len()],
            at_least: vec![vec![false; tiles]; widths.len()],
            anchor_sd: vec![0.0; tiles],
            moved: vec![0; widths.len()],
        }
    }

    #[test]
    fn what_no_focus_changes_goes_and_what_is_out_of_focus_stays() {
        // Ground near to far, a twig that is out of focus in both frames, and clouds.
        let bracket =
            frames(&[vec![0.6, 0.7, 0.8, 0.9, 1.5, 3.0, 4.0, 5.4], vec![1.8, 1.2, 0.8, 1.5, 0.7, 0.9, 5.2, 5.5]]);
        let kept = without_still_content(&bracket);
        let left: Vec<bool> = kept.sigma[1].iter().map(Option::is_some).collect();
        assert_eq!(left, [true, true, true, true, true, true, true, false]);
    }

    #[test]
    fn clouds_whose_widths_scatter_within_their_errors_go_too() {
        let mut bracket = frames(&[vec![0.6, 0.7, 0.8, 0.9, 1.5, 5.0], vec![1.8, 1.2, 0.8, 1.5, 0.7, 6.2]]);
        assert!(without_still_content(&bracket).sigma[1][5].is_some());
        bracket.apart_sd.iter_mut().for_each(|sd| sd[5] = 0.5);
        assert!(without_still_content(&bracket).sigma[1][5].is_none());
    }

    #[test]
    fn frames_of_one_focus_keep_their_clouds() {
        let same = frames(&[vec![0.6, 0.8, 0.7, 5.4], vec![0.6, 0.81, 0.7, 5.5]]);
        assert_eq!(without_still_content(&same), same);
    }

    #[test]
    fn clouds_go_and_defocus_stays() {
        assert_eq!(
            left(&[(0.0, 0.2), (12.0, 0.2), (5.0, 0.3), (1.0, 4.0), (4.0, 1.5)]),
            [true, true, true, false, false]
        );
    }

    /// Single-frame widths, which set the scale, may read all sharp tiles a tenth too wide, and more or less by what they show.
    #[test]
    fn an_error_that_all_widths_share_makes_no_content() {
        let mut blurs = series(&[(1.0, 0.1), (1.0, 0.1), (0.5, 0.2), (2.0, 0.1), (0.0, 0.1), (1.0, 0.2), (1.0, 1.5)]);
        let squares = [0.09, 0.10, 0.08, 0.12, 0.10, 0.13, 0.10];
        for frame in &mut blurs.sigma {
            for (width, more) in frame.iter_mut().flatten().zip(squares) {
                width.value = (width.value.powi(2) + more).sqrt();
            }
        }
        let kept = without_soft_content(&blurs, &STOPS.map(Some), Some(PITCH_UM));
        let left: Vec<bool> = kept.sigma[0].iter().map(Option::is_some).collect();
        assert_eq!(left, [true, true, true, true, true, true, false]);
    }

    #[test]
    fn a_series_that_is_soft_all_over_keeps_its_tiles() {
        assert_eq!(left(&[(1.0, 2.0), (2.0, 2.0), (1.0, 2.5)]), [true; 3]);
    }

    #[test]
    fn one_spoiled_frame_makes_no_content() {
        let mut blurs = series(&[(3.0, 0.2), (5.0, 0.3)]);
        blurs.sigma[3].iter_mut().for_each(|w| *w = Some(Estimate::new(5.0, 0.1, 9)));
        assert_eq!(without_soft_content(&blurs, &STOPS.map(Some), Some(PITCH_UM)), blurs);
    }
}
