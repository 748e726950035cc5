//! What keeps a verdict from being firm though the draws agree: what other things than its cause leave the same widths.

use super::evidence::APART;
use super::far_out::share_far_out;
use super::fit::Problem;
use super::model::Ready;
use super::posterior::Posterior;
use super::verdict::{HALF_SEEN, cap};
use super::{Cause, Diagnosis};
use crate::judge::{self, Judgement};
use crate::measure::{ALIKE, TileMap};
use crate::quantity::{DISC_SIGMA, PIXEL_SIGMA, ZoneName};
use crate::shot::Capture;
use crate::stats::upper_median;

/// Lowers the confidence of verdicts that widths alone can't make firm.
pub(super) fn weigh(d: &mut Diagnosis, map: &TileMap, problem: &Problem, posterior: &Posterior, capture: &Capture) {
    let blame = d.verdict.cause;
    let by_widths = matches!(blame, Cause::FocusTooFar | Cause::FocusTooNear) && !focused_near(d, problem, capture)
        || blame == Cause::LensSoftness && !problem.evidence.learned();
    if by_widths && hardly_apart(d) {
        cap(&mut d.verdict, HALF_SEEN);
    }
    // Ground on its side is as soft on one side as a lens out of line: the sky says that the picture is upright.
    if blame == Cause::LensAsymmetry && problem.evidence.skyline.is_none() {
        cap(&mut d.verdict, HALF_SEEN);
    }
    let ready = Ready::new(&posterior.modes[0].theta);
    let left = unexplained(d, problem, &ready);
    let by_model = blame.is_focus() || matches!(blame, Cause::LensAsymmetry | Cause::LensSoftness);
    // Something sharp may stand before a scene that is so soft that its tiles are taken for soft content, or for none.
    let elsewhere = || {
        soft_between(d, map)
            || one_side_is_soft(d)
            || share_far_out(map, d.permitted_px) > UNEXPLAINED
            || left > LEFT_SHARP
    };
    if by_model && (off_together(problem, &ready) || left > UNEXPLAINED)
        || blame == Cause::SharpThroughout && elsewhere()
    {
        cap(&mut d.verdict, HALF_SEEN);
    }
}

/// Covariance of the residuals of neighbouring tiles, in units of their errors, from which the picture is not what the
/// model has: ground that leads to a far scene. Set on 150 rendered scenes: one that was misjudged passes it and the
/// others reach 0.34; what tiles of a row share of their errors leaves 0.3.
const TOGETHER: f64 = 0.4;

/// Whether the tiles that the best mode takes for honest lie off it together, patch by patch. Scatter has neighbours on
/// either side of the model; a thing that the model lacks has them on one.
fn off_together(problem: &Problem, ready: &Ready) -> bool {
    let e = &problem.evidence;
    let rows = e.samples.iter().map(|s| s.index / e.columns.max(1) + 1).max().unwrap_or(0);
    let mut off: Vec<Option<(f64, f64)>> = vec![None; rows * e.columns];
    for s in e.samples.iter().filter(|s| !s.bounded) {
        let (residual, honest) = problem.residual(ready, s);
        off[s.index] = (honest > 0.5).then_some((residual, s.sd));
    }
    let weight = |sd: f64| sd.powi(-2);
    let (sum, all) = off.iter().flatten().fold((0.0, 0.0), |(a, b), &(r, sd)| (a + r * weight(sd), b + weight(sd)));
    let mean = sum / f64::max(all, f64::MIN_POSITIVE);
    let off: Vec<Option<f64>> = off.iter().map(|o| o.map(|(r, sd)| (r - mean) / sd)).collect();
    let beside = |i: usize| !(i + 1).is_multiple_of(e.columns);
    let pairs = (0..off.len()).flat_map(|i| [beside(i).then_some((i, i + 1)), Some((i, i + e.columns))]).flatten();
    let products: Vec<f64> = pairs.filter_map(|(i, j)| Some(off[i]? * (*off.get(j)?)?)).collect();
    products.len() >= PAIRS && products.iter().sum::<f64>() > TOGETHER * products.len() as f64
}

/// Fewest pairs of neighbours that tell of that covariance. Chosen: as many as ten tiles or so make.
const PAIRS: usize = 16;

/// Share of the measured tiles that a model may leave unexplained as content that is soft of itself, and how many times the
/// limit their width must be for them to count. Set on 150 rendered scenes with pools, cloud and haze, which reach 0.23.
const UNEXPLAINED: f64 = 0.25;
const SOFT: f64 = 1.5;
/// The same share for a frame that is sharp by its model. Set on 109 photographs read by eye (docs/trials.md, what the
/// model leaves unexplained): what was read as sharp leaves 0.05 at most, and of those that leave more than 0.1 all but
/// one are out of focus there.
const LEFT_SHARP: f64 = 0.1;

/// Share of the measured tiles below the sky that are soft by far and that the best mode takes for soft content.
fn unexplained(d: &Diagnosis, problem: &Problem, ready: &Ready) -> f64 {
    let least = SOFT * judge::beyond_px(d.permitted_px, d.finest_px).hypot(PIXEL_SIGMA);
    let (mut soft, mut all) = (0.0, 0.0);
    for s in problem.evidence.samples.iter().filter(|s| !s.bounded) {
        let (residual, honest) = problem.residual(ready, s);
        all += 1.0;
        soft += if honest < 0.5 && residual > 0.0 && s.y.exp() > least { 1.0 } else { 0.0 };
    }
    soft / f64::max(all, 1.0)
}

/// Share of the columns in which a row's width must be known, and how many soft rows side by side are no stray. Chosen:
/// half of a row tells of all of it.
const ROW_TELLS: f64 = 0.5;
const ROWS: usize = 2;

/// Whether neighbouring rows between the two ends are beyond the permitted blur though both ends pass. Ground is sharpest between its
/// ends, in whatever plane focus lies: what is softer there is content, or several exposures laid together.
fn soft_between(d: &Diagnosis, map: &TileMap) -> bool {
    let columns = map.columns.max(1) as usize;
    let limit = judge::beyond_px(d.permitted_px, d.finest_px).hypot(PIXEL_SIGMA);
    let row = |t: &u32| *t as usize / columns;
    let (far, near) = (d.far().tiles.iter().map(row).max(), d.near().tiles.iter().map(row).min());
    let (Some(far), Some(near)) = (far, near) else { return false };
    let soft = |row: usize| {
        let widths: Vec<f64> =
            map.tiles[row * columns..][..columns].iter().filter_map(|t| Some(t.blur?.value)).collect();
        widths.len() as f64 >= ROW_TELLS * columns as f64 && upper_median(widths).is_some_and(|w| w > limit)
    };
    let rows: Vec<bool> = (far + 1..near.max(far + 1)).map(soft).collect();
    rows.windows(ROWS).any(|rows| rows.iter().all(|soft| *soft))
}

/// How many times as wide as the other a lower corner must be for something else than the lens to be at work
/// there. Chosen: a lens is as soft on one side as on the other to within its tolerances.
const ONE_CORNER: f64 = 2.0;

/// Whether a side is soft and the other is not. Near and far are asked in the middle; what a side alone shows is a lens out of line, a
/// picture that lies on its side, or something near that stands there: both corners of it are beyond the permitted blur, and of the
/// other side one passes and none is beyond; or a lower corner is, by far, and the other one passes.
fn one_side_is_soft(d: &Diagnosis) -> bool {
    let side = |corners: [ZoneName; 2]| corners.map(|z| d.answer(z).judgement);
    let left = side([ZoneName::TopLeft, ZoneName::BottomLeft]);
    let right = side([ZoneName::TopRight, ZoneName::BottomRight]);
    let sharp = |side: &[Judgement; 2]| side.iter().any(|j| j.passes()) && !side.contains(&Judgement::Beyond);
    let soft = |side: &[Judgement; 2]| *side == [Judgement::Beyond; 2];
    let width = |name: ZoneName| d.zone(name).and_then(|z| z.blur_px).map(|b| b.value);
    let wider = |a: ZoneName, b: ZoneName| {
        let differ = d.answer(a).judgement == Judgement::Beyond && d.answer(b).judgement.passes();
        differ && width(a).zip(width(b)).is_some_and(|(a, b)| a > ONE_CORNER * b)
    };
    let corner =
        wider(ZoneName::BottomLeft, ZoneName::BottomRight) || wider(ZoneName::BottomRight, ZoneName::BottomLeft);
    soft(&left) && sharp(&right) || soft(&right) && sharp(&left) || corner
}

/// Whether near and far differ by no more than evenly sharp pictures do, or soft ones that are soft alike: a disc, a
/// lens and a file that was smoothed leave one and the same width.
pub(super) fn hardly_apart(d: &Diagnosis) -> bool {
    let (Some(near), Some(far)) = (d.near().blur_px, d.far().blur_px) else { return false };
    near.value < APART * far.value && far.value < APART * near.value
}

/// Whether the camera recorded a focus so near that the far scene is out of focus, and by about as much as it is soft.
fn focused_near(d: &Diagnosis, problem: &Problem, capture: &Capture) -> bool {
    let (Some(reach), Some(recorded)) = (problem.evidence.reach, &capture.focus_distance_m) else { return false };
    let (Cause::FocusTooNear, Some(far)) = (d.verdict.cause, d.far().optical_px) else { return false };
    let (low, high) = recorded.value.bounds();
    let [least, most] = [high, low].map(|metres| DISC_SIGMA * reach / metres);
    let limit = judge::beyond_px(d.permitted_px, d.finest_px);
    least > limit && far.value < ALIKE * most && least < ALIKE * far.value
}
