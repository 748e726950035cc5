//! Charts of one frame: blur against height in it, and against distance from its centre.

use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, VPos};

use super::tiles::{BudgetView, TileView};
use super::view::{FrameView, InFocus};
use crate::diagnose::Standing;
use crate::report::say::paper::{Area, BAND, BLUR, FAINT, Failed, INK, PARTS, SIZE, drawn, word};

/// The most points drawn; more would make the page heavy and the chart a smear.
const MOST: usize = 240;

type Drawing<'a, 'b> = ChartContext<
    'a,
    SVGBackend<'b>,
    Cartesian2d<plotters::coord::types::RangedCoordf64, plotters::coord::types::RangedCoordf64>,
>;

/// Blur against height in the frame, the same way up as the picture: the fitted parts side by side, the
/// measured tiles over them with their error bars. `None` where nothing was measured.
pub(crate) fn height(f: &FrameView) -> Option<String> {
    let points = measured(f);
    let top = reach(&points, f)?;
    let rows = rows(f);
    drawn(SIZE, |area| {
        let mut chart = builder(area).margin_top(ABOVE).build_cartesian_2d(0.0..top, 0.0..100.0)?;
        let mut names = Vec::new();
        // Bands first: each part is drawn as what it adds to those before it, in quadrature.
        for (i, (name, colour)) in PARTS.iter().enumerate() {
            let edge =
                |which: usize| rows.iter().map(move |(y, sums)| (if which == 0 { 0.0 } else { sums[which - 1] }, *y));
            let band = round(edge(i), edge(i + 1));
            if band.len() < 4 {
                continue;
            }
            chart.draw_series(std::iter::once(Polygon::new(clipped(&band, top), colour.filled())))?;
            let widest = rows.iter().max_by(|a, b| (width(&a.1, i)).total_cmp(&width(&b.1, i)));
            if let Some((y, sums)) = widest.filter(|(_, sums)| width(sums, i) > 0.13 * top) {
                names.push((*name, (sums[i] - width(sums, i) / 2.0, y.clamp(6.0, 94.0))));
            }
        }
        mesh(&mut chart, "optical blur, px", "height in the frame, %")?;
        let permitted = limit(&mut chart, f, |x| [(x, 0.0), (x, 100.0)])?;
        let at =
            |t: &TileView| 100.0 * (1.0 - (f64::from(t.y) + f64::from(t.height) / 2.0) / f64::from(f.height.max(1)));
        readings(&mut chart, &points, top, |t, b| (b, at(t)))?;
        // Names last, so that no point lies on them; the limit's stands over the chart, where no band has its own.
        for (name, place) in names {
            word(&mut chart, name, place, (HPos::Center, VPos::Center))?;
        }
        permitted.map_or(Ok(()), |(x, _)| word(&mut chart, "permitted", (x, 101.0), (HPos::Center, VPos::Bottom)))
    })
}

/// Blur against distance from the centre, with the band of the fitted model and, where the lens was learned, the band it
/// is expected to leave in focus.
pub(crate) fn radius(f: &FrameView) -> Option<String> {
    let points = measured(f);
    let top = reach(&points, f)?;
    let half = f64::from(f.width).hypot(f64::from(f.height)) / 2.0;
    let at = |t: &TileView| {
        let dx = f64::from(t.x) + f64::from(t.width) / 2.0 - f64::from(f.width) / 2.0;
        let dy = f64::from(t.y) + f64::from(t.height) / 2.0 - f64::from(f.height) / 2.0;
        100.0 * dx.hypot(dy) / half.max(1.0)
    };
    let known = model_band(f, at);
    drawn(SIZE, |area| {
        let mut chart = builder(area).build_cartesian_2d(0.0..100.0, 0.0..top)?;
        let mut names = Vec::new();
        if known.len() > 1 {
            let low = known.iter().map(|&(x, (low, _))| (x, low.min(top)));
            let high = known.iter().map(|&(x, (_, high))| (x, high.min(top)));
            chart.draw_series(std::iter::once(Polygon::new(round(low, high), BAND.filled())))?;
            // Over the band's inner end, where the fewest points lie.
            let (x, (_, high)) = known[0];
            let place = (x, (high + 0.12 * top).min(0.95 * top));
            names.push(("fitted model", place, HPos::Left, VPos::Bottom));
        }
        let learned = &f.corners.in_focus;
        if learned.len() > 1 {
            let side = |of: fn(&InFocus) -> f64| learned.iter().map(move |p| (100.0 * p.distance, of(p).min(top)));
            let band = round(side(|p| p.optical_px.0), side(|p| p.optical_px.1));
            chart.draw_series(std::iter::once(Polygon::new(band.clone(), PARTS[1].1.filled())))?;
            chart.draw_series(std::iter::once(PathElement::new(band, PARTS[3].1)))?;
            let (x, y) = side(|p| p.optical_px.0).next_back().unwrap_or((100.0, 0.0));
            let place = (x, (y - 0.02 * top).max(0.08 * top));
            names.push(("this lens in focus", place, HPos::Right, VPos::Top));
        }
        mesh(&mut chart, "distance from the centre, % of the half diagonal", "optical blur, px")?;
        let permitted = limit(&mut chart, f, |y| [(0.0, y), (100.0, y)])?;
        names.extend(permitted.map(|(_, y)| ("permitted", (99.0, y), HPos::Right, VPos::Bottom)));
        readings(&mut chart, &points, top, |t, b| (at(t), b))?;
        names.into_iter().try_for_each(|(name, place, across, down)| word(&mut chart, name, place, (across, down)))
    })
}

/// Room for a word over a chart, and at its right for half of the last number of its axis, px.
const ABOVE: u32 = 26;
const BESIDE: u32 = 22;

fn builder<'a, 'b>(area: &'a Area<'b>) -> ChartBuilder<'a, 'b, SVGBackend<'b>> {
    let mut builder = ChartBuilder::on(area);
    builder.margin(8).margin_right(BESIDE).x_label_area_size(46).y_label_area_size(58);
    builder
}

/// Least and most that the fitted model gives, by distance from the centre, % of the half diagonal; `at` is a tile's.
fn model_band(f: &FrameView, at: impl Fn(&TileView) -> f64) -> Vec<(f64, (f64, f64))> {
    let mut bins: [Option<(f64, f64)>; 20] = [None; 20];
    for t in &f.tiles {
        if let Some(total) = t.budget.as_ref().and_then(optical) {
            let bin = &mut bins[((at(t) / 5.0) as usize).min(19)];
            let (low, high) = bin.unwrap_or((total, total));
            *bin = Some((low.min(total), high.max(total)));
        }
    }
    bins.iter().enumerate().filter_map(|(i, b)| Some((5.0 * i as f64 + 2.5, (*b)?))).collect()
}

/// The outline of a band: one side there, the other back.
fn round(one: impl Iterator<Item = (f64, f64)>, other: impl DoubleEndedIterator<Item = (f64, f64)>) -> Vec<(f64, f64)> {
    one.chain(other.rev()).collect()
}

fn mesh<'b>(chart: &mut Drawing<'_, 'b>, x: &str, y: &str) -> Result<(), Failed<'b>> {
    let tick = |v: &f64| if *v >= 20.0 || v.fract() == 0.0 { format!("{v:.0}") } else { format!("{v:.1}") };
    chart
        .configure_mesh()
        .disable_mesh()
        .axis_style(FAINT)
        .x_labels(6)
        .y_labels(6)
        .x_label_formatter(&tick)
        .y_label_formatter(&tick)
        .x_desc(x)
        .y_desc(y)
        .axis_desc_style(("sans-serif", 15).into_font().color(&INK))
        .label_style(("sans-serif", 15).into_font().color(&INK))
        .draw()
}

/// The permitted blur; gives the far end of its line, where it is known.
fn limit<'b>(
    chart: &mut Drawing<'_, 'b>,
    f: &FrameView,
    line: impl Fn(f64) -> [(f64, f64); 2],
) -> Result<Option<(f64, f64)>, Failed<'b>> {
    let Some(permitted) = f.permitted.blur_px else { return Ok(None) };
    let ends = line(permitted);
    chart.draw_series(DashedLineSeries::new(ends, 5, 4, INK.into()))?;
    Ok(Some(ends[1]))
}

/// The measured tiles with their error bars; `place` is where one stands for a blur.
fn readings<'b>(
    chart: &mut Drawing<'_, 'b>,
    points: &[&TileView],
    top: f64,
    place: impl Fn(&TileView, f64) -> (f64, f64),
) -> Result<(), Failed<'b>> {
    let known = counted(points).filter_map(|t| Some((t, t.optical_px?, t.optical_px_sd?)));
    chart.draw_series(known.filter(|k| k.1 <= top).map(|(t, b, sd)| {
        let end = |blur: f64| place(t, blur.clamp(0.0, top));
        PathElement::new(vec![end(b - sd), end(b + sd)], FAINT)
    }))?;
    // Filled where the tile counts, open where it is soft by its nature.
    let holds = counts(points);
    for (counts, style) in [(true, BLUR.filled()), (false, BLUR.into())] {
        let chosen = points.iter().filter(|t| holds(t) == counts);
        let shown = chosen.filter(|t| t.optical_px.is_some_and(|b| b <= top));
        chart.draw_series(shown.filter_map(|t| Some(Circle::new(place(t, t.optical_px?), 2, style))))?;
    }
    Ok(())
}

/// Blur of the pixel aperture, px.
pub(crate) fn pixel(f: &FrameView) -> f64 {
    f.tiles.iter().find_map(|t| t.budget.as_ref()?.pixel).unwrap_or(crate::quantity::PIXEL_SIGMA)
}

/// Points that are no cloud, water or other content soft by nature: those that have a place on the ground or in the far
/// scene, or, in a frame where none has, all but what is known to be soft.
fn counted<'a>(points: &'a [&'a TileView]) -> impl Iterator<Item = &'a TileView> {
    let counts = counts(points);
    points.iter().copied().filter(move |t| counts(t))
}

fn counts(points: &[&TileView]) -> impl Fn(&TileView) -> bool + use<> {
    let placed = |t: &TileView| !matches!(t.standing, Standing::SoftContent | Standing::Unmeasured);
    let some = points.iter().any(|t| placed(t));
    move |t| if some { placed(t) } else { t.standing != Standing::SoftContent }
}

fn measured(f: &FrameView) -> Vec<&TileView> {
    let all: Vec<&TileView> = f.tiles.iter().filter(|t| t.optical_px.is_some()).collect();
    let step = all.len().div_ceil(MOST).max(1);
    all.into_iter().step_by(step).collect()
}

/// The end of the blur axis: a little past nearly all points, and past the permitted blur.
fn reach(points: &[&TileView], f: &FrameView) -> Option<f64> {
    // What is soft by nature, or lies in the sky, may lie off the chart; it would squeeze the rest into a corner.
    let mut values: Vec<f64> = counted(points).filter_map(|t| t.optical_px).collect();
    if values.is_empty() {
        values = points.iter().filter_map(|t| t.optical_px).collect();
    }
    values.sort_by(f64::total_cmp);
    let high = *values.get((values.len() * 97 / 100).min(values.len().saturating_sub(1)))?;
    let permitted = f.permitted.blur_px.unwrap_or(0.0);
    // A chart can't have an endless axis.
    Some((1.15 * high.max(1.4 * permitted)).clamp(0.5, 200.0))
}

/// For each row of tiles with a model: its height in the frame in per cent and the running sums of the parts.
fn rows(f: &FrameView) -> Vec<(f64, [f64; 4])> {
    let columns = f.grid.columns.max(1) as usize;
    f.tiles
        .chunks(columns)
        .filter_map(|row| {
            // The middle third: there the lens is at its best and the ground runs straight away.
            let middle: Vec<&BudgetView> = row[columns / 3..(2 * columns).div_ceil(3).min(row.len())]
                .iter()
                .filter_map(|t| t.budget.as_ref())
                .collect();
            let first = row.first()?;
            let mean = |of: fn(&BudgetView) -> Option<f64>| {
                middle.iter().filter_map(|b| of(b)).sum::<f64>() / middle.len().max(1) as f64
            };
            if middle.is_empty() {
                return None;
            }
            let parts = [mean(|b| b.diffraction), mean(|b| b.lens), mean(|b| b.motion), mean(|b| b.defocus)];
            let mut sums = [0.0; 4];
            let mut square = 0.0;
            for (sum, part) in sums.iter_mut().zip(parts) {
                square += part * part;
                *sum = square.sqrt();
            }
            // The exact total is a little off the root of the squares; the bands share the difference.
            let total = mean(optical);
            let scale = if total > 0.0 && sums[3] > 0.0 { total / sums[3] } else { 1.0 };
            let y = 100.0 * (1.0 - (f64::from(first.y) + f64::from(first.height) / 2.0) / f64::from(f.height.max(1)));
            Some((y, sums.map(|s| s * scale)))
        })
        .collect()
}

/// The model's optical blur: its total with the pixel taken out.
fn optical(b: &BudgetView) -> Option<f64> {
    Some((b.total?.powi(2) - b.pixel?.powi(2)).max(0.0).sqrt())
}

fn width(sums: &[f64; 4], i: usize) -> f64 {
    sums[i] - if i == 0 { 0.0 } else { sums[i - 1] }
}

fn clipped(band: &[(f64, f64)], top: f64) -> Vec<(f64, f64)> {
    band.iter().map(|&(x, y)| (x.clamp(0.0, top), y)).collect()
}
