//! A series as one self-contained page that needs neither network nor script.

use minijinja::value::{Serde, Value};
use minijinja::{AutoEscape, Environment, UndefinedBehavior};
use serde::Serialize;

use super::chart::chart;
use super::view::{SeriesGroupView, SeriesView};
use super::wording;
use crate::report::number::{f_number, plain};
use crate::series::Varied;

const TEMPLATE: &str = include_str!("page.html");
const STYLE: &str = concat!(include_str!("../page/dress.css"), include_str!("page.css"));

#[derive(Serialize)]
struct Page {
    style: &'static str,
    headline: String,
    groups: Vec<Section>,
    alone: Vec<(String, String)>,
    failures: Vec<(String, String, String)>,
    version: &'static str,
}

#[derive(Serialize)]
struct Section {
    title: String,
    sentence: String,
    chart: Option<String>,
    columns: Vec<String>,
    rows: Vec<Row>,
    members: Vec<String>,
    split: Option<String>,
    notes: Vec<String>,
    uncovered: Option<usize>,
}

#[derive(Serialize)]
struct Row {
    zone: String,
    best: String,
    cells: Vec<String>,
}

/// The page.
#[must_use]
pub fn series_html(view: &SeriesView) -> String {
    let page = Page {
        style: STYLE,
        headline: match view.groups.len() {
            0 => "No two frames show one scene".into(),
            1 => "One scene, compared".into(),
            n => format!("{n} scenes, compared"),
        },
        groups: view.groups.iter().map(section).collect(),
        alone: view.alone.iter().map(|a| (plain(&a.file), a.sentence.clone())).collect(),
        failures: view.failures.iter().map(|f| (plain(&f.file), plain(&f.problem), f.advice.clone())).collect(),
        version: env!("CARGO_PKG_VERSION"),
    };
    let mut environment = Environment::new();
    environment.set_undefined_behavior(UndefinedBehavior::Strict);
    environment.set_auto_escape_callback(|_| AutoEscape::Html);
    let made = environment.render_named_str("series.html", TEMPLATE, Value::from(Serde(&page)));
    // The template is compiled in and the tests fill it; a page that says so is still better than a panic.
    made.unwrap_or_else(|e| {
        format!("<!doctype html><title>tussock</title><p>The page could not be made: {}.", e.kind())
    })
}

fn section(group: &SeriesGroupView) -> Section {
    let aperture = group.varied == Varied::Aperture;
    let shown: Vec<&String> =
        group.members.iter().filter(|m| group.zones.iter().any(|z| z.points.iter().any(|p| p.file == **m))).collect();
    let stop = |m: &String| group.zones.iter().flat_map(|z| &z.points).find(|p| p.file == *m).and_then(|p| p.f_number);
    let mut shown: Vec<(&String, Option<f64>)> = shown.into_iter().map(|m| (m, stop(m))).collect();
    if aperture {
        shown.sort_by(|a, b| a.1.unwrap_or(0.0).total_cmp(&b.1.unwrap_or(0.0)));
    }
    let place = |m: &String| group.members.iter().position(|x| x == m).map_or(0, |i| i + 1);
    Section {
        title: match group.varied {
            Varied::Aperture => format!("Aperture series of {} frames", group.members.len()),
            Varied::Focus => format!("Focus bracket of {} frames", group.members.len()),
            Varied::Nothing => format!("{} near-duplicates", group.members.len()),
        },
        sentence: plain(&group.sentence),
        chart: chart(group),
        columns: shown
            .iter()
            .map(|(m, n)| n.filter(|_| aperture).map_or_else(|| format!("frame {}", place(m)), f_number))
            .collect(),
        rows: group
            .zones
            .iter()
            .map(|z| Row {
                zone: wording::zone(z.zone).trim_start_matches("the ").to_owned(),
                best: z.best_f_number.map_or_else(String::new, f_number),
                cells: shown
                    .iter()
                    .map(|(m, _)| {
                        let point = z.points.iter().find(|p| p.file == **m);
                        point
                            .and_then(|p| Some(format!("{:.2} ± {:.2}", p.blur_px?, p.blur_px_sd?)))
                            .unwrap_or_else(|| "–".into())
                    })
                    .collect(),
            })
            .collect(),
        members: group.members.iter().map(|m| plain(m)).collect(),
        split: split(group),
        notes: group.notes.iter().map(|n| plain(&n.sentence)).collect(),
        uncovered: group.uncovered.as_ref().map(Vec::len).filter(|&n| n > 0),
    }
}

/// What the diffraction fit says, in words.
fn split(group: &SeriesGroupView) -> Option<String> {
    let s = group.split.as_ref()?;
    let (growth, sd) = (s.growth_px?, s.growth_px_sd?);
    let check = match (s.expected_px, s.wavelength_um) {
        (Some(e), Some(w)) => {
            let agree = (growth - e).abs() <= (2.0 * sd).max(0.1 * e);
            let verdict = if agree {
                "as light of 0.55 um on this pixel pitch should"
            } else {
                "unlike light of 0.55 um on this pixel pitch: check the f-numbers and the pitch"
            };
            format!(" It stands for a wavelength of {w:.2} um, {verdict} ({e:.3}).")
        }
        _ => " The pixel pitch is unknown, so this can't be checked against the wavelength; give --pitch.".into(),
    };
    Some(format!(
        "The part of the blur that grows on stopping down does so by {growth:.4} ± {sd:.4} px of diffraction scale a unit of f-number.{check}"
    ))
}
