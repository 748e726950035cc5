//! Charts as SVG strings: blur against height in the frame, against distance from the centre, against aperture.
//!
//! Colours are left to the page's style where it has one: every colour is a `var()` with a fallback.

use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::number;
use super::tiles::{BudgetView, TileView};
use super::view::{FrameView, InFocus};
use crate::diagnose::Standing;

/// Size of every chart, px: small, so that its letters stay legible on a phone.
const SIZE: (u32, u32) = (440, 340);
/// The most points drawn; more would make the page heavy and the chart a smear.
const MOST: usize = 240;

/// Colours while drawing and what the page makes of them: the style's variable and a fallback.
const INK: RGBColor = RGBColor(1, 1, 1);
const FAINT: RGBColor = RGBColor(2, 2, 2);
const BLUR: RGBColor = RGBColor(3, 3, 3);
const PARTS: [(&str, RGBColor); 4] = [
    ("diffraction", RGBColor(5, 5, 5)),
    ("lens", RGBColor(6, 6, 6)),
    ("motion", RGBColor(7, 7, 7)),
    ("defocus", RGBColor(8, 8, 8)),
];
/// The band of what the model expects.
const BAND: RGBColor = RGBColor(4, 4, 4);
const THEME: [(&str, &str); 8] = [
    ("#010101", "var(--ink,#232b27)"),
    ("#020202", "var(--faint,#5b655f)"),
    ("#030303", "var(--heather,#6a3f69)"),
    ("#040404", "var(--part1,#cfd3c6)"),
    ("#050505", "var(--part2,#b3bdb4)"),
    ("#060606", "var(--part3,#c9b083)"),
    ("#070707", "var(--part4,#a58a8f)"),
    ("#080808", "var(--part5,#8fa59a)"),
];

/// Blur against height in the frame, the same way up as the picture: the fitted parts side by side, the
/// measured tiles over them with their error bars. `None` where nothing was measured.
#[must_use]
pub fn height(f: &FrameView) -> Option<String> {
    let points = measured(f);
    let top = reach(&points, f)?;
    let rows = rows(f);
    drawn(|area| {
        let mut chart = ChartBuilder::on(area)
            .margin(8)
            .x_label_area_size(46)
            .y_label_area_size(58)
            .build_cartesian_2d(0.0..top, 0.0..100.0)?;
        // Bands first: each part is drawn as what it adds to those before it, in quadrature.
        for (i, (name, colour)) in PARTS.iter().enumerate() {
            let edge =
                |which: usize| rows.iter().map(move |(y, sums)| (if which == 0 { 0.0 } else { sums[which - 1] }, *y));
            let band: Vec<(f64, f64)> = edge(i).chain(edge(i + 1).collect::<Vec<_>>().into_iter().rev()).collect();
            if band.len() < 4 {
                continue;
            }
            chart.draw_series(std::iter::once(Polygon::new(clipped(&band, top), colour.filled())))?;
            let widest = rows.iter().max_by(|a, b| (width(&a.1, i)).total_cmp(&width(&b.1, i)));
            if let Some((y, sums)) = widest.filter(|(_, sums)| width(sums, i) > 0.13 * top) {
                let middle = sums[i] - width(sums, i) / 2.0;
                let style = ("sans-serif", 15).into_font().color(&INK).pos(Pos::new(HPos::Center, VPos::Center));
                chart.draw_series(std::iter::once(Text::new(*name, (middle, y.clamp(6.0, 94.0)), style)))?;
            }
        }
        mesh(&mut chart, "optical blur, px", "height in the frame, %")?;
        limit(&mut chart, f, |x| vec![(x, 0.0), (x, 100.0)])?;
        let at =
            |t: &TileView| 100.0 * (1.0 - (f64::from(t.y) + f64::from(t.height) / 2.0) / f64::from(f.height.max(1)));
        let bars = counted(&points).filter_map(|t| Some((at(t), t.optical_px?, t.optical_px_sd?)));
        chart.draw_series(bars.filter(|bar| bar.1 <= top).map(|(y, b, sd)| {
            PathElement::new(vec![((b - sd).clamp(0.0, top), y), ((b + sd).clamp(0.0, top), y)], FAINT)
        }))?;
        dots(&mut chart, &points, top, |t, b| (b, at(t)))
    })
}

/// Blur against distance from the centre, with the band of the fitted model and, where the lens was learned, the band it
/// is expected to leave in focus.
#[must_use]
pub fn radius(f: &FrameView) -> Option<String> {
    let points = measured(f);
    let top = reach(&points, f)?;
    let half = f64::from(f.width).hypot(f64::from(f.height)) / 2.0;
    let at = |t: &TileView| {
        let dx = f64::from(t.x) + f64::from(t.width) / 2.0 - f64::from(f.width) / 2.0;
        let dy = f64::from(t.y) + f64::from(t.height) / 2.0 - f64::from(f.height) / 2.0;
        100.0 * dx.hypot(dy) / half.max(1.0)
    };
    // The band: least and most that the model gives at each distance.
    let mut bins: [Option<(f64, f64)>; 20] = [None; 20];
    for t in &f.tiles {
        if let Some(total) = t.budget.as_ref().and_then(optical) {
            let bin = &mut bins[((at(t) / 5.0) as usize).min(19)];
            let (low, high) = bin.unwrap_or((total, total));
            *bin = Some((low.min(total), high.max(total)));
        }
    }
    let known: Vec<(f64, (f64, f64))> =
        bins.iter().enumerate().filter_map(|(i, b)| Some((5.0 * i as f64 + 2.5, (*b)?))).collect();
    drawn(|area| {
        let mut chart = ChartBuilder::on(area)
            .margin(8)
            .x_label_area_size(46)
            .y_label_area_size(58)
            .build_cartesian_2d(0.0..100.0, 0.0..top)?;
        if known.len() > 1 {
            let band: Vec<(f64, f64)> = known
                .iter()
                .map(|&(x, (low, _))| (x, low.min(top)))
                .chain(known.iter().rev().map(|&(x, (_, high))| (x, high.min(top))))
                .collect();
            chart.draw_series(std::iter::once(Polygon::new(band, BAND.filled())))?;
            // Over the band's inner end, where the fewest points lie.
            let (x, (_, high)) = known[0];
            let style = ("sans-serif", 15).into_font().color(&INK).pos(Pos::new(HPos::Left, VPos::Bottom));
            let place = (x, (high + 0.12 * top).min(0.95 * top));
            chart.draw_series(std::iter::once(Text::new("fitted model", place, style)))?;
        }
        let learned = &f.corners.in_focus;
        if learned.len() > 1 {
            let side = |of: fn(&InFocus) -> f64| learned.iter().map(move |p| (100.0 * p.distance, of(p).min(top)));
            let band: Vec<(f64, f64)> = side(|p| p.optical_px.0)
                .chain(side(|p| p.optical_px.1).collect::<Vec<_>>().into_iter().rev())
                .collect();
            chart.draw_series(std::iter::once(Polygon::new(band.clone(), PARTS[1].1.filled())))?;
            chart.draw_series(std::iter::once(PathElement::new(band, PARTS[3].1)))?;
            let (x, y) = side(|p| p.optical_px.0).next_back().unwrap_or((100.0, 0.0));
            let style = ("sans-serif", 15).into_font().color(&INK).pos(Pos::new(HPos::Right, VPos::Top));
            chart.draw_series(std::iter::once(Text::new(
                "this lens in focus",
                (x, (y - 0.02 * top).max(0.08 * top)),
                style,
            )))?;
        }
        mesh(&mut chart, "distance from the centre, % of the half diagonal", "optical blur, px")?;
        limit(&mut chart, f, |y| vec![(0.0, y), (100.0, y)])?;
        let bars = counted(&points).filter_map(|t| Some((at(t), t.optical_px?, t.optical_px_sd?)));
        chart.draw_series(bars.filter(|bar| bar.1 <= top).map(|(x, b, sd)| {
            PathElement::new(vec![(x, (b - sd).clamp(0.0, top)), (x, (b + sd).clamp(0.0, top))], FAINT)
        }))?;
        dots(&mut chart, &points, top, |t, b| (at(t), b))
    })
}

/// Blur against f-number, a line a zone, for frames of one scene. `None` for fewer than two f-numbers, and where
/// two frames share one, since then something else was varied too.
#[must_use]
pub fn apertures(frames: &[&FrameView]) -> Option<String> {
    let mut frames: Vec<(f64, &FrameView)> =
        frames.iter().filter_map(|f| Some((f.capture.f_number.as_ref()?.value, *f))).collect();
    frames.retain(|(n, _)| (0.3..300.0).contains(n));
    frames.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (least, most) = (frames.first()?.0, frames.last()?.0);
    if most < 1.1 * least || frames.windows(2).any(|w| w[1].0 < 1.02 * w[0].0) {
        return None;
    }
    type Of = fn(&FrameView) -> [Option<f64>; 2];
    let zones: [(&str, Of); 4] = [
        ("near", |f| [f.zones.near.optical_px, f.zones.near.optical_px_sd]),
        ("far", |f| [f.zones.far.optical_px, f.zones.far.optical_px_sd]),
        ("centre", |f| [f.zones.centre.optical_px, f.zones.centre.optical_px_sd]),
        ("worst corner", |f| {
            let z = &f.zones;
            let corners = [&z.top_left, &z.top_right, &z.bottom_left, &z.bottom_right];
            let worst = corners
                .into_iter()
                .filter(|z| z.optical_px.is_some())
                .max_by(|a, b| a.optical_px.unwrap_or(0.0).total_cmp(&b.optical_px.unwrap_or(0.0)));
            worst.map_or([None, None], |z| [z.optical_px, z.optical_px_sd])
        }),
    ];
    let values = |of: Of| frames.iter().filter_map(move |(n, f)| Some((*n, of(f)[0]?, of(f)[1].unwrap_or(0.0))));
    let top = zones.iter().flat_map(|(_, of)| values(*of).map(|(_, b, sd)| b + sd)).fold(0.0, f64::max) * 1.15;
    if !(top > 0.0 && top.is_finite()) {
        return None;
    }
    let stops: Vec<f64> = [1.4, 2.0, 2.8, 4.0, 5.6, 8.0, 11.0, 16.0, 22.0, 32.0]
        .into_iter()
        .filter(|n| (least / 1.2..=most * 1.2).contains(n))
        .collect();
    drawn(|area| {
        let mut chart = ChartBuilder::on(area)
            .margin(8)
            .x_label_area_size(46)
            .y_label_area_size(58)
            .build_cartesian_2d((least / 1.15..most * 1.55).log_scale().with_key_points(stops.clone()), 0.0..top)?;
        chart
            .configure_mesh()
            .disable_mesh()
            .axis_style(FAINT)
            .x_labels(stops.len().max(2))
            .x_label_formatter(&|n| number::f_number(*n))
            .y_label_formatter(&|b| format!("{b:.1}"))
            .y_labels(6)
            .x_desc("aperture")
            .y_desc("optical blur, px")
            .axis_desc_style(("sans-serif", 15).into_font().color(&INK))
            .label_style(("sans-serif", 15).into_font().color(&INK))
            .draw()?;
        let last = |of: Of| values(of).next_back();
        let mut labels: Vec<(f64, f64, &str)> =
            zones.iter().filter_map(|(name, of)| last(*of).map(|(n, b, _)| (b, n, *name))).collect();
        // Lines may end close together; their names keep the height of a letter apart.
        labels.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut lowest = 0.02 * top;
        for (y, n, name) in labels {
            let y = y.max(lowest);
            lowest = y + 0.06 * top;
            let style = ("sans-serif", 15).into_font().color(&INK).pos(Pos::new(HPos::Left, VPos::Center));
            chart.draw_series(std::iter::once(Text::new(name, (n * 1.04, y), style)))?;
        }
        for (i, (_, of)) in zones.iter().enumerate() {
            let line: Vec<(f64, f64, f64)> = values(*of).collect();
            let path: Vec<(f64, f64)> = line.iter().map(|&(n, b, _)| (n, b)).collect();
            chart.draw_series(std::iter::once(PathElement::new(path, if i < 2 { BLUR } else { FAINT })))?;
            for &(n, b, sd) in &line {
                chart
                    .draw_series(std::iter::once(PathElement::new(vec![(n, (b - sd).max(0.0)), (n, b + sd)], FAINT)))?;
                // A shape a zone, so that the lines can be told apart without colour.
                match i {
                    0 => chart.draw_series(std::iter::once(Circle::new((n, b), 4, BLUR.filled())))?,
                    1 => chart.draw_series(std::iter::once(Circle::new((n, b), 4, BLUR)))?,
                    2 => chart.draw_series(std::iter::once(TriangleMarker::new((n, b), 5, INK.filled())))?,
                    _ => chart.draw_series(std::iter::once(Cross::new((n, b), 4, INK)))?,
                };
            }
        }
        Ok(())
    })
}

/// A drawing as a file of its own, which brings its light and dark colours with it.
#[must_use]
pub fn standalone(svg: &str) -> String {
    const STYLE: &str = "<style>@media(prefers-color-scheme:dark){:root{--ink:#e2e5db;--faint:#a2aca4;\
        --heather:#cfa3cd;--part1:#39423d;--part2:#4b574f;--part3:#6d5a35;--part4:#6a4d55;--part5:#41604d}}</style>";
    match svg.find('>') {
        Some(end) => format!("{}{STYLE}{}", &svg[..=end], &svg[end + 1..]),
        None => svg.to_owned(),
    }
}

type Area<'a> = DrawingArea<SVGBackend<'a>, plotters::coord::Shift>;
type Drawing<'a, 'b> = ChartContext<
    'a,
    SVGBackend<'b>,
    Cartesian2d<plotters::coord::types::RangedCoordf64, plotters::coord::types::RangedCoordf64>,
>;
type Failed<'b> = DrawingAreaErrorKind<<SVGBackend<'b> as DrawingBackend>::ErrorType>;

/// Draws and hands the colours over to the page's style.
fn drawn(draw: impl for<'b> Fn(&Area<'b>) -> Result<(), Failed<'b>>) -> Option<String> {
    let mut svg = String::new();
    {
        let area = SVGBackend::with_string(&mut svg, SIZE).into_drawing_area();
        draw(&area).ok()?;
        area.present().ok()?;
    }
    for (colour, theme) in THEME {
        svg = svg.replace(colour, theme);
    }
    // Plotters states opacity and stroke on every element; what is the default only makes the page heavier.
    for (long, short) in [(" opacity=\"1\"", ""), (" stroke=\"none\"", ""), ("\n", "")] {
        svg = svg.replace(long, short);
    }
    Some(svg)
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

/// The permitted blur.
fn limit<'b>(
    chart: &mut Drawing<'_, 'b>,
    f: &FrameView,
    line: impl Fn(f64) -> Vec<(f64, f64)>,
) -> Result<(), Failed<'b>> {
    let Some(permitted) = f.permitted.blur_px else { return Ok(()) };
    let ends = line(permitted);
    chart.draw_series(DashedLineSeries::new(ends.clone(), 5, 4, INK.into()))?;
    let style = ("sans-serif", 15).into_font().color(&INK).pos(Pos::new(HPos::Right, VPos::Bottom));
    let (x, y) = ends[1];
    // Beside an upright line at its top, over a level one at its right end.
    let place = if ends[0].0 == x { (x, 93.0) } else { (99.0, y) };
    chart.draw_series(std::iter::once(Text::new("permitted ", place, style)))?;
    Ok(())
}

fn dots<'b>(
    chart: &mut Drawing<'_, 'b>,
    points: &[&TileView],
    top: f64,
    place: impl Fn(&TileView, f64) -> (f64, f64),
) -> Result<(), Failed<'b>> {
    // Filled where the tile counts, open where it is soft by its nature.
    let holds = counts(points);
    for (counts, style) in [(true, BLUR.filled()), (false, BLUR.into())] {
        let chosen = points.iter().filter(|t| holds(t) == counts);
        let shown = chosen.filter(|t| t.optical_px.is_some_and(|b| b <= top));
        chart.draw_series(shown.filter_map(|t| Some(Circle::new(place(t, t.optical_px?), 2, style))))?;
    }
    Ok(())
}

pub(super) fn pixel(f: &FrameView) -> f64 {
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
