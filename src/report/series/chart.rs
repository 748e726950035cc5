//! Blur against f-number (stops evenly spaced) or against the frame's place in the bracket, as SVG.

use plotters::coord::types::RangedCoordf64;
use plotters::prelude::*;

use super::view::SeriesGroupView;
use super::wording;
use crate::report::number::f_number;
use crate::series::{Varied, ZoneName};

/// One line of a chart.
struct Line {
    name: ZoneName,
    /// x, blur, sd.
    points: Vec<(f64, f64, f64)>,
}

/// User units of the drawing: few, so that the type stays legible when the page draws it at the width of a phone.
const SIZE: (u32, u32) = (520, 480);
/// Size of the type.
const TYPE: i32 = 16;
/// What the legend takes of the height, two names in a row.
const LEGEND: u32 = 116;

/// The chart of a group; `None` where there is nothing to draw.
pub(super) fn chart(group: &SeriesGroupView) -> Option<String> {
    let aperture = group.varied == Varied::Aperture;
    let lines: Vec<Line> = group
        .zones
        .iter()
        .map(|z| {
            let mut points: Vec<(f64, f64, f64)> = z
                .points
                .iter()
                .filter_map(|p| {
                    let x = if aperture {
                        p.f_number?
                    } else {
                        group.members.iter().position(|m| *m == p.file)? as f64 + 1.0
                    };
                    Some((x, p.blur_px?, p.blur_px_sd.unwrap_or(0.0)))
                })
                .collect();
            points.sort_by(|a, b| a.0.total_cmp(&b.0));
            Line { name: z.zone, points }
        })
        .filter(|l| l.points.len() > 1)
        .collect();
    let all = || lines.iter().flat_map(|l| &l.points);
    let (left, right) = all().fold((f64::INFINITY, 0.0f64), |m, p| (m.0.min(p.0), m.1.max(p.0)));
    let top = all().map(|p| p.1 + p.2).fold(0.0f64, f64::max);
    // An infinite or empty range would keep the drawing library busy for ever.
    if !(left.is_finite() && right > left && top.is_finite() && top > 0.0 && left > 0.0) {
        return None;
    }
    draw(&lines, (left, right), top * 1.08, aperture).ok()
}

fn draw(lines: &[Line], (left, right): (f64, f64), top: f64, aperture: bool) -> anyhow::Result<String> {
    let mut svg = String::new();
    {
        let area = SVGBackend::with_string(&mut svg, SIZE).into_drawing_area();
        let (plot, below) = area.split_vertically(SIZE.1 - LEGEND);
        let mut chart = ChartBuilder::on(&plot);
        chart.margin(10).x_label_area_size(48).y_label_area_size(56);
        let mut ticks: Vec<f64> = lines.iter().flat_map(|l| l.points.iter().map(|p| p.0)).collect();
        ticks.sort_by(f64::total_cmp);
        ticks.dedup_by(|a, b| *a / *b < 1.02);
        if aperture {
            let x = (left / 1.08..right * 1.08).log_scale().with_key_points(ticks);
            let mut chart = chart.build_cartesian_2d(x, 0.0..top)?;
            chart
                .configure_mesh()
                .disable_x_mesh()
                .x_desc("f-number")
                .y_desc("blur, px")
                .x_label_formatter(&|n| f_number(*n))
                .light_line_style(TRANSPARENT)
                .bold_line_style(RULE)
                .axis_style(INK.mix(0.6))
                .label_style(("sans-serif", TYPE).into_font().color(&INK))
                .draw()?;
            for (i, line) in lines.iter().enumerate() {
                series(&mut chart, line, i)?;
            }
        } else {
            let mut chart = chart.build_cartesian_2d(left - 0.3..right + 0.3, 0.0..top)?;
            chart
                .configure_mesh()
                .disable_x_mesh()
                .x_desc("frame")
                .y_desc("blur, px")
                .x_labels(2 * ticks.len() + 2)
                .x_label_formatter(&|n| if (n - n.round()).abs() < 0.01 { format!("{n:.0}") } else { String::new() })
                .light_line_style(TRANSPARENT)
                .bold_line_style(RULE)
                .axis_style(INK.mix(0.6))
                .label_style(("sans-serif", TYPE).into_font().color(&INK))
                .draw()?;
            for (i, line) in lines.iter().enumerate() {
                series(&mut chart, line, i)?;
            }
        }
        legend(&below, lines)?;
        area.present()?;
    }
    Ok(svg)
}

const INK: RGBColor = RGBColor(90, 100, 95);
const RULE: RGBAColor = RGBAColor(128, 128, 128, 0.25);
/// Colours that stay apart for colour-deficient sight (Okabe & Ito 2008's set, darkened for thin lines); each zone
/// has its own mark as well.
const COLOURS: [RGBColor; 12] = [
    RGBColor(122, 74, 34),
    RGBColor(0, 100, 160),
    RGBColor(106, 63, 105),
    RGBColor(110, 110, 110),
    RGBColor(0, 130, 98),
    RGBColor(190, 85, 0),
    RGBColor(60, 150, 200),
    RGBColor(190, 90, 140),
    RGBColor(0, 100, 160),
    RGBColor(122, 74, 34),
    RGBColor(106, 63, 105),
    RGBColor(110, 110, 110),
];

fn colour(name: ZoneName) -> RGBColor {
    COLOURS[ZoneName::ALL.iter().position(|&z| z == name).unwrap_or(0)]
}

fn series<X>(
    chart: &mut ChartContext<'_, SVGBackend<'_>, Cartesian2d<X, RangedCoordf64>>,
    line: &Line,
    index: usize,
) -> anyhow::Result<()>
where
    X: Ranged<ValueType = f64>,
{
    let ink = colour(line.name);
    let points = line.points.iter().map(|p| (p.0, p.1));
    chart.draw_series(LineSeries::new(points, ink.stroke_width(2)))?;
    let bars = line
        .points
        .iter()
        .map(|p| PathElement::new(vec![(p.0, (p.1 - p.2).max(0.0)), (p.0, p.1 + p.2)], ink.mix(0.55)));
    chart.draw_series(bars)?;
    for p in &line.points {
        mark(chart.plotting_area(), (p.0, p.1), index, ink)?;
    }
    Ok(())
}

fn mark<X>(
    area: &DrawingArea<SVGBackend<'_>, Cartesian2d<X, RangedCoordf64>>,
    at: (f64, f64),
    index: usize,
    ink: RGBColor,
) -> anyhow::Result<()>
where
    X: Ranged<ValueType = f64>,
{
    match index % 3 {
        0 => area.draw(&Circle::new(at, 4, ink.filled()))?,
        1 => area.draw(&TriangleMarker::new(at, 5, ink.filled()))?,
        _ => area.draw(&Cross::new(at, 4, ink.stroke_width(2)))?,
    }
    Ok(())
}

fn legend(area: &DrawingArea<SVGBackend<'_>, plotters::coord::Shift>, lines: &[Line]) -> anyhow::Result<()> {
    for (i, line) in lines.iter().enumerate() {
        let (x, y) = (56 + 220 * (i % 2) as i32, 14 + 27 * (i / 2) as i32);
        let ink = colour(line.name);
        area.draw(&PathElement::new(vec![(x, y), (x + 18, y)], ink.stroke_width(2)))?;
        match i % 3 {
            0 => area.draw(&Circle::new((x + 9, y), 4, ink.filled()))?,
            1 => area.draw(&TriangleMarker::new((x + 9, y), 5, ink.filled()))?,
            _ => area.draw(&Cross::new((x + 9, y), 4, ink.stroke_width(2)))?,
        }
        let name = match line.name {
            ZoneName::Beside => "next to it",
            ZoneName::Beyond => "farthest from it",
            ZoneName::Still => "unchanging",
            name => {
                wording::zone(name).trim_start_matches("the ").trim_end_matches(" ground").trim_end_matches(" scene")
            }
        };
        area.draw(&Text::new(name.to_owned(), (x + 24, y - TYPE / 2), ("sans-serif", TYPE).into_font().color(&INK)))?;
    }
    Ok(())
}
