//! A series as one self-contained page that needs neither network nor script.

use minijinja::value::{Serde, Value};
use serde::Serialize;

use super::chart::figure;
use super::shown::Shown;
use super::view::{SeriesFailureView, SeriesGroupView, SeriesView};
use super::{places, words};
use crate::quantity::Region;
use crate::report::picture::data_uri;
use crate::report::say::camera::f_number;
use crate::report::say::engine;
use crate::report::say::number::{percent, plain};
use crate::report::say::palette::{hex, stage};
use crate::series::Varied;

const TEMPLATE: &str = include_str!("page.html");
const STYLE: &str = concat!(include_str!("../say/dress.css"), include_str!("page.css"));

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
    map: Option<Map>,
    strips: Vec<StripView>,
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

/// Which frame is sharpest where.
#[derive(Serialize)]
struct Map {
    under: Option<String>,
    width: u32,
    height: u32,
    /// Left, top, width, height and colour of each tile.
    cells: Vec<(u32, u32, u32, u32, String)>,
    /// The lines between what one frame shows sharpest and what another does.
    borders: String,
    /// Frame and place of its name, where it is sharpest in a good part.
    names: Vec<(String, u32, u32)>,
    /// Size of these names.
    letters: u32,
    /// Colour, frame, and how much of what was told apart it is sharpest in.
    key: Vec<(String, String, String)>,
}

/// One zone from frame to frame.
#[derive(Serialize)]
struct StripView {
    zone: String,
    patches: Vec<PatchView>,
}

#[derive(Serialize)]
struct PatchView {
    frame: String,
    blur: String,
    best: bool,
    src: Option<String>,
    side: u32,
}

/// The page, with the pictures of each group in the view's order; without pictures where there are none.
#[must_use]
pub fn series_html(view: &SeriesView, shown: &[Shown]) -> String {
    let mut groups: Vec<Section> = view.groups.iter().enumerate().map(|(i, g)| section(g, shown.get(i))).collect();
    let headline = match groups.as_mut_slice() {
        [] => "No two frames show one scene".into(),
        // The answer comes first; what else is said of it stays below.
        [only] => match only.sentence.split_once(". ").map(|(first, rest)| (format!("{first}."), rest.to_owned())) {
            Some((first, rest)) => {
                only.sentence = rest;
                first
            }
            None => std::mem::take(&mut only.sentence),
        },
        several => format!("{} scenes, compared", several.len()),
    };
    let page = Page {
        style: STYLE,
        headline,
        groups,
        alone: view.alone.iter().map(|a| (plain(&a.file), a.sentence.clone())).collect(),
        failures: view.failures.iter().map(|f| (plain(&f.file), problem(f), f.advice.clone())).collect(),
        version: env!("CARGO_PKG_VERSION"),
    };
    engine::page(TEMPLATE, Value::from(Serde(&page)))
}

/// The members that have a number in any zone, by stop or in their order, each with what it is called.
fn columns(group: &SeriesGroupView) -> Vec<(usize, String)> {
    let aperture = group.varied == Varied::Aperture;
    let stop = |m: &String| group.zones.iter().flat_map(|z| &z.points).find(|p| p.file == *m).and_then(|p| p.f_number);
    let measured = |m: &String| group.zones.iter().any(|z| z.points.iter().any(|p| p.file == *m));
    let of = group.members.iter().enumerate().filter(|(_, m)| measured(m));
    let mut shown: Vec<(usize, Option<f64>)> = of.map(|(i, m)| (i, stop(m).filter(|_| aperture))).collect();
    shown.sort_by(|a, b| a.1.unwrap_or(0.0).total_cmp(&b.1.unwrap_or(0.0)));
    shown.into_iter().map(|(i, n)| (i, n.map_or_else(|| format!("frame {}", i + 1), f_number))).collect()
}

/// The colour of a column, pale to dark.
fn colour(place: usize, count: usize) -> String {
    hex(stage(place, count))
}

/// Share of what was told apart from which a frame's name is written on the map.
const NAMED: f64 = 0.04;

fn map(shown: &Shown, columns: &[(usize, String)]) -> Option<Map> {
    let place = |k: usize| columns.iter().position(|c| c.0 == k);
    let held: Vec<Option<usize>> = shown.cells.iter().map(|(_, k)| place((*k)?)).collect();
    let told: Vec<(&Region, usize)> =
        shown.cells.iter().zip(&held).filter_map(|((r, _), h)| Some((r, (*h)?))).collect();
    let shade = |at: usize| colour(at, columns.len());
    let share = |at: usize| told.iter().filter(|t| t.1 == at).count() as f64 / told.len().max(1) as f64;
    let key = columns.iter().enumerate().map(|(at, (_, name))| (shade(at), name.clone(), percent(share(at))));
    let named = columns.iter().enumerate().filter(|(at, _)| share(*at) >= NAMED);
    let names = named.filter_map(|(at, (_, name))| {
        let (x, y) = shown.cells[thickest(&shown.cells, &held, at)?].0.middle();
        Some((name.clone(), x as u32, y as u32))
    });
    (!told.is_empty()).then(|| Map {
        under: shown.overview.as_ref().map(|p| data_uri("image/jpeg", &p.jpeg)),
        width: shown.size.0,
        height: shown.size.1,
        borders: borders(&shown.cells, &held),
        names: names.collect(),
        letters: shown.size.0.max(shown.size.1) / 26,
        cells: told.iter().map(|(r, at)| (r.x, r.y, r.width, r.height, shade(*at))).collect(),
        key: key.collect(),
    })
}

/// Tiles in a row of the map.
fn across(cells: &[(Region, Option<usize>)]) -> usize {
    cells.iter().take_while(|c| c.0.y == cells[0].0.y).count().max(1)
}

/// The lines between tiles that different frames hold, as an SVG path.
fn borders(cells: &[(Region, Option<usize>)], held: &[Option<usize>]) -> String {
    let columns = across(cells);
    let mut path = String::new();
    for (i, (r, _)) in cells.iter().enumerate() {
        let differs = |j: usize| held.get(j).is_some_and(|h| *h != held[i]);
        if (i + 1) % columns != 0 && differs(i + 1) {
            path += &format!("M{} {}v{}", r.x + r.width, r.y, r.height);
        }
        if differs(i + columns) {
            path += &format!("M{} {}h{}", r.x, r.y + r.height, r.width);
        }
    }
    path
}

/// The tile of a frame that the most of its other tiles lie around: where its name is best read.
fn thickest(cells: &[(Region, Option<usize>)], held: &[Option<usize>], at: usize) -> Option<usize> {
    let columns = across(cells);
    let near = |i: usize, j: usize| {
        let apart = |a: usize, b: usize| a.abs_diff(b) as f64;
        let steps = apart(i % columns, j % columns).hypot(apart(i / columns, j / columns));
        (-steps * steps / 8.0).exp()
    };
    let own: Vec<usize> = (0..held.len()).filter(|&i| held[i] == Some(at)).collect();
    let crowd = |i: usize| own.iter().map(|&j| near(i, j)).sum::<f64>();
    own.iter().copied().max_by(|&a, &b| crowd(a).total_cmp(&crowd(b)))
}

fn strips(group: &SeriesGroupView, shown: &Shown, columns: &[(usize, String)]) -> Vec<StripView> {
    let of_strip = |strip: &super::Strip| {
        let zone = group.zones.iter().find(|z| z.zone == strip.zone)?;
        let blur = |k: usize| zone.points.iter().find(|p| p.file == group.members[k]).and_then(|p| p.blur_px);
        let best = columns.iter().filter_map(|c| Some((c.0, blur(c.0)?))).min_by(|a, b| a.1.total_cmp(&b.1));
        let patch = |(k, name): &(usize, String)| {
            let picture = strip.patches.get(*k).and_then(Option::as_ref).filter(|p| !p.jpeg.is_empty());
            PatchView {
                frame: name.clone(),
                blur: blur(*k).map_or_else(|| "–".into(), |b| format!("{b:.2} px")),
                best: best.is_some_and(|b| b.0 == *k),
                src: picture.map(|p| data_uri("image/jpeg", &p.jpeg)),
                side: picture.map_or(0, |p| p.width),
            }
        };
        let patches: Vec<PatchView> = columns.iter().map(patch).collect();
        let zone = places::bare(strip.zone).to_owned();
        patches.iter().any(|p| p.src.is_some()).then_some(StripView { zone, patches })
    };
    shown.strips.iter().filter_map(of_strip).collect()
}

fn section(group: &SeriesGroupView, pictures: Option<&Shown>) -> Section {
    let columns = columns(group);
    let members: Vec<&String> = columns.iter().map(|c| &group.members[c.0]).collect();
    Section {
        title: match group.varied {
            Varied::Aperture => format!("Aperture series of {} frames", group.members.len()),
            Varied::Focus if words::unnumbered(group) => {
                format!("Focus bracket (f-numbers unknown) of {} frames", group.members.len())
            }
            Varied::Focus => format!("Focus bracket of {} frames", group.members.len()),
            Varied::Nothing => format!("{} near-duplicates", group.members.len()),
        },
        sentence: plain(&group.sentence),
        map: pictures.and_then(|p| map(p, &columns)),
        strips: pictures.map_or_else(Vec::new, |p| strips(group, p, &columns)),
        chart: figure(group),
        columns: columns.iter().map(|c| c.1.clone()).collect(),
        rows: group
            .zones
            .iter()
            .map(|z| Row {
                zone: places::bare(z.zone).to_owned(),
                best: z.best_f_number.map_or_else(String::new, f_number),
                cells: members
                    .iter()
                    .map(|m| {
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
                "as light of 0.55 \u{b5}m on this pixel pitch should"
            } else {
                "unlike light of 0.55 \u{b5}m on this pixel pitch: check the f-numbers and the pitch"
            };
            format!(" It stands for a wavelength of {w:.2} \u{b5}m, {verdict} ({e:.3}).")
        }
        _ => " The pixel pitch is unknown, so this can't be checked against the wavelength; give --pitch.".into(),
    };
    Some(format!(
        "The part of the blur that grows on stopping down does so by {growth:.4} ± {sd:.4} px of diffraction scale a unit of f-number.{check}"
    ))
}

/// What is wrong with a file, and what stands in for it.
fn problem(failed: &SeriesFailureView) -> String {
    let stands =
        failed.stand_in.as_ref().map_or_else(String::new, |other| format!("; {} stands in for it", plain(other)));
    plain(&failed.problem) + &stands
}
