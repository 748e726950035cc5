//! A lens baseline for people: the whole field as a table of figures, and as a drawn page.

use std::fmt::Write as _;

use minijinja::{Environment, Value, context};

use crate::lens::{Asymmetry, Baseline, Entry, LearnedFrom, Sides};
use crate::quantity::Estimate;

/// Standard deviations from which an asymmetry is called real.
const REAL: f64 = 3.0;

/// A baseline as plain text.
#[must_use]
pub fn lens_text(baseline: &Baseline, found: &[Asymmetry]) -> String {
    let mut out = lens_heading(baseline) + "\n";
    for entry in &baseline.entries {
        let plural = if entry.frames == 1 { "" } else { "s" };
        let _ = write!(out, "\nf/{}, {} frame{plural}: lens blur, um (sigma)\n", stop(entry.f_number), entry.frames);
        table(&mut out, entry.columns, &entry.sigma_um);
    }
    if let Some(curvature) = &baseline.curvature {
        out += "\nBest focus against the centre, um along the axis\n";
        table(&mut out, curvature.columns, &curvature.shift_um);
    }
    out.push('\n');
    for sentence in sentences(baseline, found) {
        out += &sentence;
        out.push('\n');
    }
    out
}

/// A baseline in a line: the lens, its focal length and what it was learned from.
#[must_use]
pub fn lens_heading(baseline: &Baseline) -> String {
    let name = if baseline.lens.is_empty() { "A lens without a name" } else { &baseline.lens };
    let from = match baseline.learned_from {
        LearnedFrom::ApertureSeries => "an aperture series",
        LearnedFrom::FocusSeries => "a focus series",
        LearnedFrom::Shoot => "a whole shoot",
    };
    format!("{name} at {:.0} mm, learned from {from}", baseline.focal_length_mm)
}

fn stop(f_number: f64) -> String {
    format!("{}", (f_number * 10.0).round() / 10.0)
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

/// What the field says of the lens's symmetry and how well it is known.
fn sentences(baseline: &Baseline, found: &[Asymmetry]) -> Vec<String> {
    let mut all = Vec::new();
    let real: Vec<&Asymmetry> = found.iter().filter(|a| a.significance().abs() >= REAL).collect();
    match real.iter().max_by(|a, b| a.significance().abs().total_cmp(&b.significance().abs())) {
        Some(worst) => {
            let (one, other) = names(worst.sides);
            let (softer, sharper) = if worst.difference_um.value > 0.0 { (one, other) } else { (other, one) };
            all.push(format!(
                "At f/{} the {softer} is softer than the {sharper} by {:.1} um \u{b1} {:.1} ({:.1} standard deviations).",
                stop(worst.f_number),
                worst.difference_um.value.abs(),
                worst.difference_um.sd,
                worst.significance().abs()
            ));
            if baseline.learned_from == LearnedFrom::ApertureSeries {
                all.push(
                    "If the subject was neither flat nor all far away, that is its depth and not the lens: learn from a wall or a distant ridge."
                        .into(),
                );
            }
        }
        None if found.is_empty() => all.push("Too little of the field is known to compare its sides.".into()),
        None => {
            all.push(format!(
                "No side or corner differs from its mirror image by {REAL:.0} standard deviations or more."
            ));
        }
    }
    if baseline.learned_from == LearnedFrom::Shoot {
        all.push(
            "A shoot shows the lens only where something was in focus: elsewhere the field is taken to be symmetric."
                .into(),
        );
    }
    all
}

const fn names(sides: Sides) -> (&'static str, &'static str) {
    match sides {
        Sides::RightLeft => ("right side", "left side"),
        Sides::BottomTop => ("lower part", "upper part"),
        Sides::BottomRightTopLeft => ("bottom right corner", "top left corner"),
        Sides::BottomLeftTopRight => ("bottom left corner", "top right corner"),
    }
}

/// A baseline as one self-contained page, the field drawn stop by stop.
///
/// # Errors
/// None in practice: the template is compiled in.
pub fn lens_page(baseline: &Baseline, found: &[Asymmetry]) -> Result<String, minijinja::Error> {
    let top = baseline.entries.iter().flat_map(|e| e.sigma_um.iter().flatten()).map(|e| e.value).fold(0.1, f64::max);
    let fields: Vec<Value> = baseline.entries.iter().map(|entry| field(entry, top)).collect();
    let mut environment = Environment::new();
    environment.add_template("lens.html", include_str!("lens.html"))?;
    environment.get_template("lens.html")?.render(context! {
        heading => lens_heading(baseline),
        fields,
        sentences => sentences(baseline, found),
        top => format!("{top:.1}"),
    })
}

/// One f-number's field: cells with their place, shade and figure.
fn field(entry: &Entry, top: f64) -> Value {
    let columns = entry.columns.max(1) as usize;
    let cells: Vec<Value> = entry
        .sigma_um
        .iter()
        .enumerate()
        .map(|(i, cell)| {
            let (x, y) = ((i % columns) * 30, (i / columns) * 30);
            match cell {
                Some(e) => {
                    // From pale straw to deep peat by lightness alone, so that it reads in grey as well.
                    let share = (e.value / top).clamp(0.0, 1.0);
                    let shade = |pale: f64, deep: f64| (pale + (deep - pale) * share).round() as u8;
                    let fill =
                        format!("#{:02x}{:02x}{:02x}", shade(246.0, 74.0), shade(240.0, 46.0), shade(222.0, 30.0));
                    let ink = if share > 0.5 { "#fff" } else { "#2b231b" };
                    let told = format!("{:.1} \u{b1} {:.1} um, {} tiles", e.value, e.sd, e.n);
                    context! { x, y, fill, ink, figure => format!("{:.1}", e.value), told }
                }
                None => context! { x, y, fill => "#fff", ink => "#9a9182", figure => "\u{2013}", told => "not known" },
            }
        })
        .collect();
    context! {
        stop => stop(entry.f_number),
        frames => entry.frames,
        width => columns * 30,
        height => entry.rows as usize * 30,
        cells,
    }
}
