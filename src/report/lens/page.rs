//! A lens baseline as one self-contained page, the field drawn stop by stop.

use minijinja::{Value, context};

use super::words::{best_stops, conclusion, lens_heading, sentences};
use crate::lens::{Asymmetry, Baseline, Entry};
use crate::report::say::camera::f_number;
use crate::report::say::{engine, palette};

/// The page of a baseline.
pub(crate) fn lens_page(baseline: &Baseline, found: &[Asymmetry]) -> String {
    let top = baseline.entries.iter().flat_map(|e| e.sigma_um.iter().flatten()).map(|e| e.value).fold(0.1, f64::max);
    let fields: Vec<Value> = baseline.entries.iter().map(|entry| field(entry, top)).collect();
    let values = context! {
        heading => lens_heading(baseline),
        fields,
        conclusion => conclusion(baseline, found),
        best => best_stops(baseline)
            .into_iter()
            .map(|(place, best, blur, good)| {
                let good: Vec<String> = good.into_iter().map(f_number).collect();
                context! { place, stop => f_number(best), blur => format!("{blur:.1}"), good => good.join(", ") }
            })
            .collect::<Vec<_>>(),
        sentences => sentences(baseline, found),
        style => include_str!("../say/dress.css"),
        version => env!("CARGO_PKG_VERSION"),
        top => format!("{top:.1}"),
    };
    engine::page(include_str!("page.html"), values)
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
                    let share = (e.value / top).clamp(0.0, 1.0);
                    let fill = palette::hex(palette::ramp(share));
                    let ink = if share > 0.5 { "#fff" } else { "#232b27" };
                    let told = format!("{:.1} \u{b1} {:.1} \u{b5}m, {} tiles", e.value, e.sd, e.n);
                    context! { x, y, fill, ink, figure => format!("{:.1}", e.value), told }
                }
                None => {
                    context! { x, y, fill => "none", ink => "currentColor", figure => "\u{2013}", told => "not known" }
                }
            }
        })
        .collect();
    context! {
        stop => f_number(entry.f_number),
        frames => entry.frames,
        width => columns * 30,
        height => entry.rows as usize * 30,
        cells,
    }
}
