//! A lens baseline in words: the whole field as a table of figures, and what to make of it.

use std::fmt::Write as _;

use crate::lens::{Asymmetry, Baseline, Entry, LearnedFrom, REAL, Sides};
use crate::optics::WAVELENGTH_UM;
use crate::optics::blur::{Parts, sigma_px};
use crate::quantity::Estimate;
use crate::report::say::camera::f_number;
use crate::report::say::name::capital;
use crate::report::say::number::counted;
use crate::series::aperture::NO_LOSS;

/// A baseline as plain text.
pub(crate) fn lens_text(baseline: &Baseline, found: &[Asymmetry]) -> String {
    let mut out = lens_heading(baseline) + "\n";
    for entry in &baseline.entries {
        let frames = counted(entry.frames as usize, "frame");
        let _ = write!(out, "\n{}, {frames}: lens blur, \u{b5}m (sigma)\n", f_number(entry.f_number));
        table(&mut out, entry.columns, &entry.sigma_um);
    }
    if let Some(curvature) = &baseline.curvature {
        out += "\nBest focus against the centre, \u{b5}m along the axis\n";
        table(&mut out, curvature.columns, &curvature.shift_um);
    }
    out.push('\n');
    out += &conclusion(baseline, found);
    out.push('\n');
    for (place, best, blur, _) in best_stops(baseline) {
        let _ = writeln!(out, "{place}: sharpest at {}, {blur:.1} \u{b5}m with diffraction.", f_number(best));
    }
    for sentence in sentences(baseline, found) {
        out += &sentence;
        out.push('\n');
    }
    out
}

/// A baseline in a line: the lens, its focal length and what it was learned from.
pub(crate) fn lens_heading(baseline: &Baseline) -> String {
    let name = if baseline.lens.is_empty() { "A lens without a name" } else { &baseline.lens };
    let at = baseline.focal_length_mm.map_or_else(String::new, |f| format!(" at {f:.0} mm"));
    format!("{name}{at}, learned from {}", learned_from(baseline.learned_from))
}

/// What kind of frames taught a lens.
pub(in crate::report) const fn learned_from(kind: LearnedFrom) -> &'static str {
    match kind {
        LearnedFrom::ApertureSeries => "an aperture series",
        LearnedFrom::FocusSeries => "a focus series",
        LearnedFrom::Shoot => "a whole shoot",
    }
}

fn table(out: &mut String, columns: u32, cells: &[Option<Estimate>]) {
    for row in cells.chunks(columns.max(1) as usize) {
        for cell in row {
            let _ = match cell {
                Some(e) => write!(out, "{:>7.1}", e.value),
                None => write!(out, "{:>7}", "-"),
            };
        }
        out.push('\n');
    }
}

/// The answer first: how one-sided the lens is and from which stop on it no longer is.
pub(super) fn conclusion(baseline: &Baseline, found: &[Asymmetry]) -> String {
    let real = |a: &&Asymmetry| a.significance().abs() >= REAL;
    let Some(worst) =
        found.iter().filter(real).max_by(|a, b| a.significance().abs().total_cmp(&b.significance().abs()))
    else {
        return match found.is_empty() {
            true => "Too little of the field is known to compare its sides.".into(),
            false => both_sides(baseline).unwrap_or_else(|| {
                let compared = |sides: Sides| found.iter().any(|a| a.sides == sides);
                let all = Sides::ALL.into_iter().all(compared);
                let even = if all { "Even" } else { "Even as far as both sides are known" };
                format!(
                    "{even}: no side or corner differs from its mirror image by {REAL:.0} standard deviations or more."
                )
            }),
        };
    };
    let (one, other) = names(worst.sides);
    let (softer, sharper) = if worst.difference_um.value > 0.0 { (one, other) } else { (other, one) };
    let cured = found
        .iter()
        .filter(|a| a.sides == worst.sides && a.f_number > worst.f_number && !real(a))
        .map(|a| a.f_number)
        .reduce(f64::min);
    // A stop at which the difference is back again cures nothing.
    let last = found.iter().filter(|a| a.sides == worst.sides && real(a)).map(|a| a.f_number).fold(0.0, f64::max);
    let then = match cured.filter(|&n| n > last) {
        Some(n) => format!(", none shown by {}", f_number(n)),
        None if found.iter().filter(|a| a.sides == worst.sides).count() > 1 => ", and at no stop without it".into(),
        None => String::new(),
    };
    let why = if doubtful(baseline) { "its depth, or a decentred lens" } else { "decentred or tilted" };
    format!(
        "{} softer than the {sharper} by {:.1} \u{b1} {:.1} \u{b5}m at {}{then}: {why}.",
        capital(softer),
        worst.difference_um.value.abs(),
        worst.difference_um.sd,
        f_number(worst.f_number),
    )
}

/// Width and height of a frame whose shape is not known: the shape most sensors of interchangeable lenses have.
const SHAPE: (f64, f64) = (3.0, 2.0);

/// Where two sides across from each other are softer than the other two as far from the centre: what a lens in line leaves goes by that
/// distance, and a sensor or lens at an angle softens two sides, to right and left of where it is still in focus.
fn both_sides(baseline: &Baseline) -> Option<String> {
    let (width, height) = baseline.frame_mm.unwrap_or(SHAPE);
    let softer = |e: &Entry| {
        // As far as the outermost cells above and below the centre, a place half a cell within the edge, and as far to the sides.
        let y = 0.5 - 0.5 / f64::from(e.rows.max(1));
        let x = y * height / width;
        let at = |dx: f64, dy: f64| e.at(0.5 + dx, 0.5 + dy);
        let (across, along) = ([at(-x, 0.0)?, at(x, 0.0)?], [at(0.0, -y)?, at(0.0, y)?]);
        let over = |a: [Estimate; 2], b: [Estimate; 2]| {
            a.iter().all(|a| b.iter().all(|b| a.value - b.value > REAL * a.sd.hypot(b.sd)))
        };
        let names = [("left and right", "top and bottom"), ("top and bottom", "left and right")];
        let found = [over(across, along), over(along, across)].iter().position(|f| *f)?;
        Some((names[found], e.f_number))
    };
    let ((soft, sharp), n) = baseline.entries.iter().find_map(softer)?;
    Some(format!(
        "Both {soft} are softer at {} than {sharp} as far from the centre: a sensor or lens at an angle to the subject, or things of more depth there.",
        f_number(n)
    ))
}

/// Whether the subject's own depth may be what differs: an aperture series need not be of a flat subject.
fn doubtful(baseline: &Baseline) -> bool {
    baseline.learned_from == LearnedFrom::ApertureSeries
}

/// What should be known beside the conclusion.
pub(super) fn sentences(baseline: &Baseline, found: &[Asymmetry]) -> Vec<String> {
    let mut all = vec![match baseline.frame_mm {
        Some((width, height)) => {
            format!("Learned over {width:.1} x {height:.1} mm of the sensor; of what lies beyond, on a larger one, nothing is known.")
        }
        None => "It does not say over how much of the sensor it was learned, and is taken to fill any frame: if you use the lens on sensors \
                 of several sizes or shapes, learn it again."
            .into(),
    }];
    if doubtful(baseline) && found.iter().any(|a| a.significance().abs() >= REAL) {
        all.push(
            "If the subject was neither flat nor all far away, that is its depth and not the lens: learn from a wall or a distant ridge."
                .into(),
        );
    }
    if baseline.learned_from == LearnedFrom::Shoot {
        all.push(
            "A shoot shows the lens only where something was in focus: elsewhere the field is taken to be symmetric."
                .into(),
        );
    }
    all
}

/// Places of the field by name, as fractions of the landscape frame.
const PLACES: [(&str, f64, f64); 5] = [
    ("Centre", 0.5, 0.5),
    ("Top left", 0.08, 0.08),
    ("Top right", 0.92, 0.08),
    ("Bottom left", 0.08, 0.92),
    ("Bottom right", 0.92, 0.92),
];
/// For each place, the learned stop with the least blur of lens and diffraction together, that blur (um), and the stops
/// as good as it.
pub(super) fn best_stops(baseline: &Baseline) -> Vec<(&'static str, f64, f64, Vec<f64>)> {
    let at = |x, y| {
        let blur = |e: &Entry| {
            let lens_px = e.at(x, y)?.value.max(0.0);
            // In units of a micrometre instead of a pixel; the pixel's own width stays out.
            let parts = Parts { lambda_n_px: Some(WAVELENGTH_UM * e.f_number), lens_px, ..Parts::default() };
            Some((e.f_number, sigma_px(&parts)))
        };
        baseline.entries.iter().filter_map(blur).collect::<Vec<_>>()
    };
    PLACES
        .iter()
        .filter_map(|&(name, x, y)| {
            let all = at(x, y);
            let &(best, least) = all.iter().min_by(|a, b| a.1.total_cmp(&b.1))?;
            let good = |&&(n, blur): &&(f64, f64)| n != best && blur <= NO_LOSS * least;
            (all.len() > 1).then(|| (name, best, least, all.iter().filter(good).map(|a| a.0).collect()))
        })
        .collect()
}

const fn names(sides: Sides) -> (&'static str, &'static str) {
    match sides {
        Sides::RightLeft => ("right side", "left side"),
        Sides::BottomTop => ("lower part", "upper part"),
        Sides::BottomRightTopLeft => ("bottom right corner", "top left corner"),
        Sides::BottomLeftTopRight => ("bottom left corner", "top right corner"),
    }
}
