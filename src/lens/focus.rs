//! Baseline from a focus series: best focus and the blur left there, place by place, which tells field curvature
//! from softness.

use super::field::{self, Prior};
use super::learn::{CLEAN_NEAR, GRID, NEAR, cells, one_lens};
use super::sample::{self, Frame, Sample, Span};
use super::{Baseline, Curvature, Entry, LearnedFrom, Unsuitable};
use crate::measure::{TILE_SCATTER, TileMap};
use crate::optics::blur::{self, Parts};
use crate::optics::{WAVELENGTH_UM, lambda_n_px, stops, thin_lens};
use crate::quantity::{DISC_SIGMA, Estimate};
use crate::shot::Capture;

/// Fewest frames of a focus series. Derived: fewer leave best focus and the blur there open.
pub(super) const FRAMES: usize = 4;
/// Fewest tiles that must have a best focus of their own. Chosen: an eighth or so of a grid.
const TILES: usize = 30;

/// Best focus of one tile and the lens blur left there.
struct Best {
    u: f64,
    v: f64,
    /// Image distance of best focus, um, from the series's own zero.
    focus: Estimate,
    /// Squared lens blur there, um^2.
    square: Estimate,
}

/// Learns a baseline from frames of one flat or far subject at one f-number and several focus distances.
///
/// The frames' recorded focus distances set the scale; where they are absent the frames are taken to be equal
/// steps in the order given, and the scale follows from how fast blur grows.
///
/// # Errors
/// [`Unsuitable`] says why the frames won't do.
pub fn learn_focus_series(frames: &[(&TileMap, &Capture)]) -> Result<Baseline, Unsuitable> {
    let mut frames = sample::usable(frames)?;
    // Its tiles are followed from frame to frame, so all must lie alike.
    let first = (frames[0].lie, frames[0].map.tiles.len());
    frames.retain(|f| (f.lie, f.map.tiles.len()) == first);
    let (lens, focal_length_mm) = one_lens(&frames)?;
    if frames.len() < FRAMES {
        return Err(Unsuitable::TooFew { found: frames.len(), needed: FRAMES });
    }
    let f_number = frames[0].f_number;
    if frames.iter().any(|f| !stops::same(f.f_number, f_number)) {
        return Err(Unsuitable::OneFocus);
    }
    let recorded = focal_length_mm.and_then(|focal_mm| image_places_um(&frames, focal_mm));
    let places = recorded.or_else(|| stepped_places_um(&frames)).ok_or(Unsuitable::OneFocus)?;
    let span = Span::of(&frames);
    let best: Vec<Best> =
        (0..frames[0].map.tiles.len()).filter_map(|i| best_focus(&frames, &places, i, span)).collect();
    if best.len() < TILES {
        return Err(Unsuitable::LittleInFocus { place: "anywhere" });
    }
    let samples = |of: fn(&Best) -> Estimate| -> Vec<Sample> {
        best.iter()
            .map(|b| {
                let e = of(b);
                Sample { u: b.u, v: b.v, f_number, square: e.value, sd: e.sd, frame: 0, floor: 1e9 }
            })
            .collect()
    };
    let wide = Prior { lopsided: 3.0 };
    let soft = field::fit(&samples(|b| b.square), wide).ok_or(Unsuitable::LittleInFocus { place: "anywhere" })?;
    // Best focus errs either way; the one-sided fit would drag it down, so it is fitted as it stands.
    let shift = field::fit_even_handed(&samples(|b| b.focus)).ok_or(Unsuitable::LittleInFocus { place: "anywhere" })?;
    let (centre, _) = shift.square(0.0, 0.0, f_number);
    let near = |u: f64, v: f64| best.iter().filter(|b| (b.u - u).hypot(b.v - v) < NEAR).count() as u32;
    // Where no tile about was ever in focus nothing is known, whatever the fields say.
    let seen = |&(u, v): &(f64, f64)| f64::from(near(u, v)) >= CLEAN_NEAR;
    let softness = |(u, v)| soft.sigma_um((u, v), f_number, near(u, v), (0.0, 0.0));
    let sigma_um = cells(span, GRID).map(|cell| Some(cell).filter(seen).and_then(softness)).collect();
    let shifted = |(u, v)| {
        let (value, sd) = shift.square(u, v, f_number);
        Estimate::new(value - centre, sd, near(u, v))
    };
    let shift_um = cells(span, GRID).map(|cell| Some(cell).filter(seen).map(shifted)).collect();
    let (columns, rows) = GRID;
    Ok(Baseline {
        lens,
        focal_length_mm,
        frame_mm: Some((span.0, span.1)),
        provisional: false,
        learned_from: LearnedFrom::FocusSeries,
        entries: vec![Entry { f_number, frames: frames.len() as u32, columns, rows, sigma_um }],
        curvature: Some(Curvature { columns, rows, shift_um }),
    })
}

/// Image distances, um, from the recorded focus distances; `None` where they are absent or hardly differ.
fn image_places_um(frames: &[Frame], focal_mm: f64) -> Option<Vec<f64>> {
    let places: Vec<f64> = frames
        .iter()
        .map(|f| {
            let metres = f.capture.focus_distance_m.as_ref()?.value.middle();
            let place = 1e3 * (thin_lens::image_mm(focal_mm, metres * 1e3) - focal_mm);
            place.is_finite().then_some(place)
        })
        .collect::<Option<_>>()?;
    spread_enough(&places, frames[0].f_number).then_some(places)
}

/// Image distances, um, of frames in equal steps of unknown size: the size at which squared blur grows from its
/// minimum as defocus makes it grow.
fn stepped_places_um(frames: &[Frame]) -> Option<Vec<f64>> {
    let index: Vec<f64> = (0..frames.len()).map(|i| i as f64 - 0.5 * (frames.len() - 1) as f64).collect();
    let curvatures = (0..frames[0].map.tiles.len()).filter_map(|i| {
        let points: Vec<(f64, f64)> =
            frames.iter().zip(&index).filter_map(|(f, x)| Some((*x, width_um(f, i)?.value.powi(2)))).collect();
        // Only about the minimum is squared blur a parabola.
        let least = points.iter().map(|p| p.1).fold(f64::INFINITY, f64::min);
        let near: Vec<(f64, f64)> = points.into_iter().filter(|p| p.1 < 6.0 * least).collect();
        (near.len() >= 4).then(|| parabola(&near)).flatten().filter(|c| *c > 0.0)
    });
    let growth = field::quantile(curvatures, 0.5);
    // sigma^2 = ... + (0.2658 dv / N)^2.
    let step = growth.sqrt() * frames[0].f_number / DISC_SIGMA;
    let places: Vec<f64> = index.iter().map(|x| x * step).collect();
    spread_enough(&places, frames[0].f_number).then_some(places)
}

/// Whether the focus moves by more than the depth of focus (2 lambda N either way, times N).
fn spread_enough(places: &[f64], f_number: f64) -> bool {
    let (low, high) = places.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), p| (l.min(*p), h.max(*p)));
    high - low > 4.0 * WAVELENGTH_UM * f_number * f_number
}

/// Quadratic coefficient of the least-squares parabola.
fn parabola(points: &[(f64, f64)]) -> Option<f64> {
    let mut normal = nalgebra::Matrix3::zeros();
    let mut right = nalgebra::Vector3::zeros();
    for (x, y) in points {
        let row = nalgebra::Vector3::new(1.0, *x, x * x);
        normal += row * row.transpose();
        right += row * *y;
    }
    normal.try_inverse().map(|inverse| (inverse * right)[2])
}

fn width_um(frame: &Frame, tile: usize) -> Option<Estimate> {
    frame.map.tiles.get(tile)?.by_itself().map(|b| b.scaled(frame.pitch_um))
}

/// Best focus and lens blur of one tile, by Gauss-Newton on the exact widths; `None` where fewer than four frames
/// tell, or the best lies outside the series.
fn best_focus(frames: &[Frame], places: &[f64], tile: usize, field: Span) -> Option<Best> {
    let frame = &frames[0];
    let points: Vec<(f64, f64, f64)> = frames
        .iter()
        .zip(places)
        .filter_map(|(f, place)| {
            let w = f.map.tiles.get(tile)?.by_itself()?;
            Some((*place, w.value, w.sd.hypot(TILE_SCATTER * w.value)))
        })
        .collect();
    if points.len() < FRAMES {
        return None;
    }
    let sharpest = points.iter().min_by(|a, b| a.1.total_cmp(&b.1))?;
    let (n, pitch) = (frame.f_number, frame.pitch_um);
    let base = Parts { lambda_n_px: Some(lambda_n_px(n, pitch)), pixel: true, ..Parts::default() };
    let lens0 = blur::lens_px_for(sharpest.1, &base).unwrap_or(0.0).max(0.1);
    let (mut focus, mut lens) = (sharpest.0, lens0);
    let disc = |place: f64, focus: f64| (place - focus) / (n * pitch);
    let mut inverse = None;
    for _ in 0..25 {
        let mut normal = nalgebra::Matrix2::zeros();
        let mut right = nalgebra::Vector2::zeros();
        for (place, width, sd) in &points {
            let at = blur::slopes_px(&Parts { disc_px: disc(*place, focus), lens_px: lens, ..base });
            let row = nalgebra::Vector2::new(-at.by_disc / (n * pitch), at.by_lens);
            // Widths far from the model (content of its own) count less: Cauchy's weight.
            let z = (width - at.sigma) / sd;
            let w = 1.0 / (sd * sd * (1.0 + (z / 2.5).powi(2)));
            normal += w * row * row.transpose();
            right += w * (width - at.sigma) * row;
        }
        // A faint prior keeps the lens blur determined where the tile is at the floor.
        normal[(1, 1)] += 1e-3 / (0.1 * 0.1);
        inverse = normal.try_inverse();
        let step = inverse? * right;
        focus += step[0].clamp(-20.0 * n, 20.0 * n);
        lens = (lens + step[1]).clamp(0.02, 50.0);
        if step[0].abs() < 1e-3 * n && step[1].abs() < 1e-5 {
            break;
        }
    }
    let covariance = inverse?;
    let (low, high) = points.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), p| (l.min(p.0), h.max(p.0)));
    let (u, v) = frame.place(&frame.map.tiles[tile], field);
    let sd = [covariance[(0, 0)].max(0.0).sqrt(), covariance[(1, 1)].max(0.0).sqrt()];
    let count = points.len() as u32;
    (focus > low && focus < high && sd.iter().all(|s| s.is_finite())).then(|| Best {
        u,
        v,
        focus: Estimate::new(focus, sd[0].max(1e-3), count),
        square: Estimate::new((lens * pitch).powi(2), (2.0 * lens * sd[1] * pitch * pitch).max(1e-3), count),
    })
}
