//! The chart of a scene taken more than once: blur against f-number (stops evenly spaced) or against the frame's place in the
//! bracket. It is drawn from the answer of the group alone, so that it can't contradict the words beside it.

use std::ops::Range;

use plotters::coord::ranged1d::{DefaultFormatting, KeyPointHint};
use plotters::coord::types::RangedCoordf64;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, VPos};

use super::places;
use super::view::{SeriesGroupView, SeriesZoneView};
use crate::report::say::camera::f_number;
use crate::report::say::paper::labelled;
use crate::report::say::paper::{Area, BAND, FAINT, Failed, INK, ZONES, drawn, word};
use crate::series::{NoteKind, Varied, ZoneName};

/// User units of the drawing: few, so that the type stays legible when the page draws it at the width of a phone.
const SIZE: (u32, u32) = (520, 480);
/// Size of the type.
const TYPE: i32 = 16;
/// What the legend takes of the height, two names in a row.
const LEGEND: u32 = 116;
/// The most names of stops or frames along the axis: more would run into each other.
const NAMES: f64 = 9.0;

/// A place on the axis, a blur and its standard deviation, px.
type Spot = (f64, f64, f64);
type Drawing<'a, 'b> = ChartContext<'a, SVGBackend<'b>, Cartesian2d<Axis, RangedCoordf64>>;

/// One zone.
struct Line {
    name: ZoneName,
    /// Whether it had a say in the answer for the whole frame.
    speaks: bool,
    /// In order.
    spots: Vec<Spot>,
    /// Of frames that were left out of the answers.
    apart: Vec<Spot>,
}

/// From side to side: f-numbers with stops evenly spaced, or frames in their order.
#[derive(Clone)]
struct Axis {
    stops: bool,
    range: Range<f64>,
    /// The places that are named.
    named: Vec<f64>,
}

/// What is drawn.
struct Chart {
    lines: Vec<Line>,
    axis: Axis,
    top: f64,
    /// The run of stops that are as good as the best for the whole frame, where there is more than one.
    good: Option<Range<f64>>,
    best: Option<f64>,
}

/// The chart of a group with its caption, as a piece of a page; `None` where there is nothing to draw.
pub(in crate::report) fn figure(group: &SeriesGroupView) -> Option<String> {
    let chart = Chart::new(group)?;
    let svg = drawn(SIZE, |area| chart.draw(area))?;
    let also = [
        (chart.good.is_some(), " The band holds what is within 5 % of the best for the whole frame."),
        (chart.lines.iter().any(|l| !l.speaks), " Thin lines had no say in that."),
        (
            chart.lines.iter().any(|l| !l.apart.is_empty()),
            " Marks off the lines are of frames left out of the answers.",
        ),
    ];
    let also: String = also.into_iter().filter_map(|(holds, words)| holds.then_some(words)).collect();
    Some(format!(
        "<figure class=\"chart scene-wide\">{}<figcaption>Blur (Gaussian-equivalent sigma, pixels of the full picture, \
         the pixel's own width in it) by zone; bars are one standard deviation. Less is sharper.{also}</figcaption></figure>",
        labelled(&svg, "Blur by zone, from frame to frame")
    ))
}

impl Chart {
    fn new(group: &SeriesGroupView) -> Option<Self> {
        let stops = group.varied == Varied::Aperture;
        let lines: Vec<Line> = group.zones.iter().map(|z| line(group, z)).filter(|l| l.spots.len() > 1).collect();
        let all = || lines.iter().flat_map(|l| l.spots.iter().chain(&l.apart));
        let (left, right) = all().fold((f64::INFINITY, f64::NEG_INFINITY), |m, p| (m.0.min(p.0), m.1.max(p.0)));
        let top = 1.08 * all().map(|p| p.1 + p.2).fold(0.0, f64::max);
        // An infinite or empty range would keep the drawing library busy for ever.
        if !(left.is_finite()
            && right.is_finite()
            && right > left
            && (left > 0.0 || !stops)
            && top.is_finite()
            && top > 0.0)
        {
            return None;
        }
        let axis = Axis::new(stops, left..right, all().map(|p| p.0).collect());
        let inside = |n: &f64| stops && (left..=right).contains(n);
        let within = group.whole_frame_within_5_percent.as_deref().unwrap_or_default();
        let good = within.first().zip(within.last()).filter(|(a, b)| a < b && inside(a) && inside(b));
        let best = group.best_whole_frame.as_ref().and_then(|b| b.f_number).filter(inside);
        Some(Self { lines, axis, top, good: good.map(|(a, b)| *a..*b), best })
    }

    fn draw<'b>(&self, area: &Area<'b>) -> Result<(), Failed<'b>> {
        let (plot, below) = area.split_vertically(SIZE.1 - LEGEND);
        let mut chart = ChartBuilder::on(&plot)
            .margin(10)
            .x_label_area_size(48)
            .y_label_area_size(56)
            .build_cartesian_2d(self.axis.clone(), 0.0..self.top)?;
        if let Some(good) = &self.good {
            chart.draw_series([Rectangle::new([(good.start, 0.0), (good.end, self.top)], BAND.filled())])?;
        }
        let stops = self.axis.stops;
        chart
            .configure_mesh()
            .disable_x_mesh()
            .x_desc(if stops { "f-number" } else { "frame" })
            .y_desc("blur, px")
            .x_label_formatter(&|x| if stops { f_number(*x) } else { format!("{x:.0}") })
            .light_line_style(TRANSPARENT)
            .bold_line_style(FAINT.mix(0.25))
            .axis_style(FAINT)
            .label_style(("sans-serif", TYPE).into_font().color(&INK))
            .draw()?;
        if let Some(best) = self.best {
            chart.draw_series(DashedLineSeries::new([(best, 0.0), (best, self.top)], 5, 4, INK.into()))?;
            word(&mut chart, "\u{a0}best", (best, 0.99 * self.top), (HPos::Left, VPos::Top))?;
        }
        for (i, line) in self.lines.iter().enumerate() {
            line.draw(&mut chart, i)?;
        }
        self.lines.iter().enumerate().try_for_each(|(i, line)| line.explain(&below, i))
    }
}

impl Axis {
    /// An axis with some room at its ends, on which those of the `places` are named that lie apart by what a name needs.
    fn new(stops: bool, frames: Range<f64>, mut places: Vec<f64>) -> Self {
        let mut axis = Self { stops, range: frames, named: Vec::new() };
        let (first, last) = (axis.level(axis.range.start), axis.level(axis.range.end));
        let (room, apart) = (0.05 * (last - first), (last - first) / NAMES);
        places.sort_by(f64::total_cmp);
        for place in places {
            if axis.named.last().is_none_or(|&named| axis.level(place) - axis.level(named) >= apart) {
                axis.named.push(place);
            }
        }
        let out = |level: f64| if stops { level.exp() } else { level };
        axis.range = out(first - room)..out(last + room);
        axis
    }

    fn level(&self, place: f64) -> f64 {
        if self.stops { place.ln() } else { place }
    }
}

impl Ranged for Axis {
    type FormatOption = DefaultFormatting;
    type ValueType = f64;

    fn map(&self, value: &f64, (left, right): (i32, i32)) -> i32 {
        let (first, last) = (self.level(self.range.start), self.level(self.range.end));
        left + ((self.level(*value) - first) / (last - first) * f64::from(right - left)).round() as i32
    }

    fn key_points<Hint: KeyPointHint>(&self, _: Hint) -> Vec<f64> {
        self.named.clone()
    }

    fn range(&self) -> Range<f64> {
        self.range.clone()
    }
}

fn line(group: &SeriesGroupView, zone: &SeriesZoneView) -> Line {
    let mut line = Line {
        name: zone.zone,
        speaks: group.whole_frame_leaves_out.iter().flatten().all(|l| l.zone != zone.zone),
        spots: Vec::new(),
        apart: Vec::new(),
    };
    for point in &zone.points {
        let place = match group.varied {
            Varied::Aperture => point.f_number,
            Varied::Focus | Varied::Nothing => {
                group.members.iter().position(|m| *m == point.file).map(|at| at as f64 + 1.0)
            }
        };
        let Some((place, blur)) = place.zip(point.blur_px) else { continue };
        let spoiled = |n: &super::NoteView| {
            matches!(n.note, NoteKind::Spoiled | NoteKind::Shaken) && n.file.as_ref() == Some(&point.file)
        };
        let spots = if group.notes.iter().any(spoiled) { &mut line.apart } else { &mut line.spots };
        spots.push((place, blur, point.blur_px_sd.unwrap_or(0.0)));
    }
    line.spots.sort_by(|a, b| a.0.total_cmp(&b.0));
    line
}

impl Line {
    /// Its colour; a series has either the zones of the frame or those by depth, and never both.
    const fn colour(&self) -> RGBColor {
        match self.name {
            ZoneName::Near | ZoneName::Beside => ZONES[0],
            ZoneName::Far | ZoneName::Subject => ZONES[1],
            ZoneName::Centre | ZoneName::Beyond => ZONES[2],
            ZoneName::MidFrame | ZoneName::Still => ZONES[3],
            ZoneName::TopLeft => ZONES[4],
            ZoneName::TopRight => ZONES[5],
            ZoneName::BottomLeft => ZONES[6],
            ZoneName::BottomRight => ZONES[7],
        }
    }

    fn stroke(&self) -> ShapeStyle {
        self.colour().stroke_width(if self.speaks { 2 } else { 1 })
    }

    fn draw<'b>(&self, chart: &mut Drawing<'_, 'b>, index: usize) -> Result<(), Failed<'b>> {
        let ink = self.colour();
        chart.draw_series(LineSeries::new(self.spots.iter().map(|p| (p.0, p.1)), self.stroke()))?;
        for &(x, blur, sd) in self.spots.iter().chain(&self.apart) {
            chart.draw_series([PathElement::new(vec![(x, (blur - sd).max(0.0)), (x, blur + sd)], ink.mix(0.55))])?;
            mark(chart.plotting_area(), (x, blur), index, ink)?;
        }
        Ok(())
    }

    /// Its stroke, its mark and its name in the legend.
    fn explain<'b>(&self, area: &Area<'b>, index: usize) -> Result<(), Failed<'b>> {
        let (x, y) = (56 + 220 * (index % 2) as i32, 14 + 27 * (index / 2) as i32);
        area.draw(&PathElement::new(vec![(x, y), (x + 18, y)], self.stroke()))?;
        mark(area, (x + 9, y), index, self.colour())?;
        let style = ("sans-serif", TYPE).into_font().color(&INK);
        area.draw(&Text::new(places::short(self.name), (x + 24, y - TYPE / 2), style))
    }
}

/// A shape a zone, so that the lines can be told apart without colour.
fn mark<'b, C: CoordTranslate>(
    area: &DrawingArea<SVGBackend<'b>, C>,
    at: C::From,
    index: usize,
    ink: RGBColor,
) -> Result<(), Failed<'b>>
where
    C::From: Clone + 'static,
{
    match index % 3 {
        0 => area.draw(&Circle::new(at, 4, ink.filled())),
        1 => area.draw(&TriangleMarker::new(at, 5, ink.filled())),
        _ => area.draw(&Cross::new(at, 4, ink.stroke_width(2))),
    }
}
