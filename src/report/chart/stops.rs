//! The chart of several frames of one scene: blur against f-number.

use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, VPos};

use super::paper::{BLUR, FAINT, Failed, INK, drawn, word};
use crate::report::number;
use crate::report::view::FrameView;

/// A zone's blur and its standard deviation in a frame.
type Of = fn(&FrameView) -> [Option<f64>; 2];

/// A line: the zone's name, and by rising f-number the blur with its standard deviation, px.
struct Line {
    name: &'static str,
    points: Vec<(f64, f64, f64)>,
}

const ZONES: [(&str, Of); 4] = [
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

/// Blur against f-number, a line a zone, for frames of one scene. `None` for fewer than two f-numbers, and where
/// two frames share one, since then something else was varied too.
#[must_use]
pub(crate) fn apertures(frames: &[&FrameView]) -> Option<String> {
    let mut frames: Vec<(f64, &FrameView)> =
        frames.iter().filter_map(|f| Some((f.capture.f_number.as_ref()?.value, *f))).collect();
    frames.retain(|(n, _)| (0.3..300.0).contains(n));
    frames.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (least, most) = (frames.first()?.0, frames.last()?.0);
    if most < 1.1 * least || frames.windows(2).any(|w| w[1].0 < 1.02 * w[0].0) {
        return None;
    }
    let point = |of: Of, (n, f): &(f64, &FrameView)| Some((*n, of(f)[0]?, of(f)[1].unwrap_or(0.0)));
    let lines =
        ZONES.map(|(name, of)| Line { name, points: frames.iter().filter_map(|frame| point(of, frame)).collect() });
    let top = lines.iter().flat_map(|l| &l.points).map(|(_, b, sd)| b + sd).fold(0.0, f64::max) * 1.15;
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
        for (name, place) in names(&lines, top) {
            word(&mut chart, name, place, (HPos::Left, VPos::Center))?;
        }
        lines.iter().enumerate().try_for_each(|(i, line)| draw(&mut chart, i, line))
    })
}

/// Where the name of each line stands: behind its end.
fn names(lines: &[Line], top: f64) -> Vec<(&'static str, (f64, f64))> {
    let mut ends: Vec<(f64, f64, &str)> =
        lines.iter().filter_map(|l| l.points.last().map(|&(n, b, _)| (b, n, l.name))).collect();
    // Lines may end close together; their names keep the height of a letter apart.
    ends.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut lowest = 0.02 * top;
    let mut place = |(y, n, name): (f64, f64, &'static str)| {
        let y = y.max(lowest);
        lowest = y + 0.06 * top;
        (name, (n * 1.04, y))
    };
    ends.into_iter().map(&mut place).collect()
}

/// A line with its error bars and its points.
fn draw<'b, X: Ranged<ValueType = f64>, Y: Ranged<ValueType = f64>>(
    chart: &mut ChartContext<'_, SVGBackend<'b>, Cartesian2d<X, Y>>,
    i: usize,
    line: &Line,
) -> Result<(), Failed<'b>> {
    let path: Vec<(f64, f64)> = line.points.iter().map(|&(n, b, _)| (n, b)).collect();
    chart.draw_series(std::iter::once(PathElement::new(path, if i < 2 { BLUR } else { FAINT })))?;
    for &(n, b, sd) in &line.points {
        chart.draw_series(std::iter::once(PathElement::new(vec![(n, (b - sd).max(0.0)), (n, b + sd)], FAINT)))?;
        // A shape a zone, so that the lines can be told apart without colour.
        match i {
            0 => chart.draw_series(std::iter::once(Circle::new((n, b), 4, BLUR.filled())))?,
            1 => chart.draw_series(std::iter::once(Circle::new((n, b), 4, BLUR)))?,
            2 => chart.draw_series(std::iter::once(TriangleMarker::new((n, b), 5, INK.filled())))?,
            _ => chart.draw_series(std::iter::once(Cross::new((n, b), 4, INK)))?,
        };
    }
    Ok(())
}
