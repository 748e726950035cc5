//! View to a page: the words and cards are written here and need no script; the script adds the large view, filters and judging.
//! Of a large shoot the page has the first cards; the others lie beside it (`parts`).

use serde::Serialize;

use super::cards::{self, Card, Shared};
use super::pictures::Links;
use super::scenes::{self, Again, Member, Scene};
use super::view::View;
use super::{data, phrase, template};
use crate::diagnose::Cause;
use crate::quantity::Flag;
use crate::report::say::camera::f_number;
use crate::report::say::engine;
use crate::report::say::name::{listed, word};
use crate::report::say::number::plain;

const STYLE: &str =
    concat!(include_str!("../say/dress.css"), include_str!("page/page.css"), include_str!("page/desk.css"));
/// The parts share one scope, which is closed to whatever else runs in the page.
const SCRIPT: &str = concat!(
    "(() => {\"use strict\";\n",
    include_str!("page/base.js"),
    include_str!("page/judge.js"),
    include_str!("page/stretches.js"),
    include_str!("page/cards.js"),
    include_str!("page/list.js"),
    include_str!("page/keep.js"),
    include_str!("page/tiles.js"),
    include_str!("page/look.js"),
    include_str!("page/map.js"),
    include_str!("page/marks.js"),
    include_str!("page/desk.js"),
    include_str!("page/scenes.js"),
    include_str!("page/keys.js"),
    include_str!("page/start.js"),
    "})();\n"
);
/// The page. `links` has one entry a frame, in the view's order; a missing one leaves that frame without pictures.
#[must_use]
pub fn html(view: &View, links: &[Links]) -> String {
    let held = template::held(view.frames.len());
    let folder = view.folder();
    let doubts = cards::doubts(view);
    let cards = cards::cards(view, links, &Shared::of(view), 0..held);
    let data = data::script_safe(&data::data(view, links, held));
    // One word, unlike in every report, that marks the page's own style and script; what a hostile name
    // smuggles in can't know it, since the name itself is part of what is hashed.
    let nonce = blake3::hash(format!("{STYLE}{SCRIPT}{data}").as_bytes()).to_hex();
    let (keepers, more_keepers) = scenes::keepers(view);
    let (again, more_again) = scenes::again(view);
    let scenes = template::held_scenes(view.groups.len());
    let page = Page {
        headline: headline(view),
        lede: lede(view),
        units: view.asked.units,
        folder: plain(folder),
        nonce: nonce.as_str(),
        style: STYLE,
        script: SCRIPT,
        data: &data,
        causes: tally(view),
        answers: answers(view),
        doubts: doubts.iter().map(|&(flag, frames)| doubt(flag, frames, view.frames.len())).collect(),
        lessons: lessons(view),
        settings: settings(view),
        groups: scenes::scenes(view, folder, 0..scenes),
        frames: view.frames.len(),
        beside: held < view.frames.len(),
        keepers,
        more_keepers,
        again,
        more_again,
        baselines: view.baselines.iter().map(|b| b.sentence.clone()).collect(),
        lenses: view.lenses.iter().filter_map(|l| l.sentence.clone()).collect(),
        failures: failures(view),
        cards,
        using: use_words(&view.asked.sharp_for),
        version: env!("CARGO_PKG_VERSION"),
    };
    engine::rendered(&template::environment(), "page.html", &page)
}

/// Everything the template names.
#[derive(Serialize)]
struct Page<'a> {
    headline: String,
    lede: String,
    units: &'a str,
    folder: String,
    nonce: &'a str,
    style: &'a str,
    script: &'a str,
    data: &'a str,
    causes: Vec<TallyRow>,
    answers: Vec<TallyRow>,
    doubts: Vec<String>,
    lessons: Vec<Lesson>,
    settings: Vec<SettingRow>,
    groups: Vec<Scene>,
    frames: usize,
    /// Whether the cards of some frames lie beside the page.
    beside: bool,
    keepers: Vec<Member>,
    more_keepers: usize,
    again: Vec<Again>,
    more_again: usize,
    baselines: Vec<String>,
    lenses: Vec<String>,
    failures: Vec<FailureRow>,
    cards: Vec<Card>,
    using: String,
    version: &'a str,
}

fn headline(view: &View) -> String {
    let s = &view.summary;
    match (s.sharp_throughout, s.frames) {
        (_, 0) => "No frame could be audited".into(),
        (1, 1) => "The frame is sharp from near to far".into(),
        (_, 1) if s.not_sharp == 1 => "The frame is not sharp from near to far".into(),
        (_, 1) => "The frame is not known to be sharp from near to far".into(),
        (n, all) if n == all => format!("All {all} frames are sharp from near to far"),
        (0, all) => format!("None of {all} frames is known to be sharp from near to far"),
        (1, all) => format!("1 of {all} frames is sharp from near to far"),
        (n, all) => format!("{n} of {all} frames are sharp from near to far"),
    }
}

fn lede(view: &View) -> String {
    let failed = match view.summary.failures {
        0 => "",
        1 => " One file failed; it is listed below.",
        _ => " Some files failed; they are listed below.",
    };
    format!("{}{failed} {}", fault(&faults(view)), phrase::stopped(view.summary.unreached).unwrap_or_default())
        .trim()
        .to_owned()
}

/// What went wrong most, with all causes that did as often; `faults` come commonest first.
fn fault(faults: &[(Cause, usize)]) -> String {
    match faults {
        [] => String::new(),
        [(Cause::CannotTell, 1)] => "For one frame the cause can't be told.".into(),
        [(Cause::CannotTell, n)] => format!("For {n} frames the cause can't be told."),
        [(cause, n), ..] if *n > 1 => {
            let as_often = |f: &&(Cause, usize)| f.1 == *n && f.0 != Cause::CannotTell;
            let names: Vec<&str> = faults.iter().filter(as_often).map(|f| f.0.word()).collect();
            let each = if names.len() > 1 { " each" } else { "" };
            format!(
                "What went wrong most: {} ({n} frames{each}).",
                listed(&names).unwrap_or_else(|| cause.word().into())
            )
        }
        [(cause, _)] => format!("What went wrong: {}.", cause.word()),
        _ => "No fault came up more than once.".into(),
    }
}

/// Causes other than sharp and undecided, commonest first.
fn faults(view: &View) -> Vec<(Cause, usize)> {
    let mut out: Vec<(Cause, usize)> = view
        .summary
        .causes
        .iter()
        .filter(|c| c.frames > 0 && c.cause != Cause::SharpThroughout)
        .map(|c| (c.cause, c.frames))
        .collect();
    out.sort_by_key(|&(cause, n)| (cause == Cause::CannotTell, std::cmp::Reverse(n)));
    out
}

#[derive(Serialize)]
struct TallyRow {
    slug: String,
    name: String,
    frames: usize,
    share: String,
}

fn tally(view: &View) -> Vec<TallyRow> {
    let all = view.summary.frames.max(1) as f64;
    view.summary
        .causes
        .iter()
        .filter(|c| c.frames > 0 || matches!(c.cause, Cause::SharpThroughout | Cause::CannotTell))
        .map(|c| TallyRow {
            slug: word(&c.cause),
            name: phrase::cause_name(c.cause),
            frames: c.frames,
            share: format!("{:.0}", 100.0 * c.frames as f64 / all),
        })
        .collect()
}

/// The frames by the first answer.
fn answers(view: &View) -> Vec<TallyRow> {
    let s = &view.summary;
    [
        ("is:true", "sharp from near to far", s.sharp_throughout),
        ("is:false", "not", s.not_sharp),
        ("is:null", "near or far unknown", s.unknown),
    ]
    .into_iter()
    .filter(|&(.., frames)| frames > 0 && s.frames > 1)
    .map(|(slug, name, frames)| TallyRow { slug: slug.into(), name: name.into(), frames, share: String::new() })
    .collect()
}

fn doubt(flag: Flag, frames: usize, all: usize) -> String {
    let whose = if frames == all { "All frames".into() } else { format!("{frames} of {all} frames") };
    format!("{whose}: {} {}", flag.meaning(), flag.advice())
}

#[derive(Serialize)]
struct Lesson {
    slug: String,
    name: String,
    frames: usize,
    advice: String,
}

fn lessons(view: &View) -> Vec<Lesson> {
    faults(view)
        .into_iter()
        .map(|(cause, frames)| Lesson {
            slug: word(&cause),
            name: phrase::cause_name(cause),
            frames,
            advice: phrase::next_time(cause),
        })
        .collect()
}

#[derive(Serialize)]
struct SettingRow {
    /// Lens and f-number as the page's data have them.
    key: String,
    lens: String,
    f_number: String,
    frames: usize,
    sharp: usize,
    commonest: String,
}

fn settings(view: &View) -> Vec<SettingRow> {
    view.summary
        .settings
        .iter()
        .map(|s| SettingRow {
            key: serde_json::to_string(&(s.lens.as_deref().map(plain), s.f_number)).unwrap_or_default(),
            lens: s.lens.as_deref().map_or_else(|| "lens unknown".into(), plain),
            f_number: s.f_number.map_or_else(|| "unknown".into(), f_number),
            frames: s.frames,
            sharp: s.sharp_throughout,
            commonest: s.commonest.map_or_else(String::new, phrase::cause_name),
        })
        .collect()
}

#[derive(Serialize)]
struct FailureRow {
    file: String,
    problem: String,
    advice: String,
}

fn failures(view: &View) -> Vec<FailureRow> {
    view.failures
        .iter()
        .map(|f| FailureRow {
            file: plain(&f.file),
            problem: plain(f.problem.trim_end_matches('.')),
            advice: f.stand_in.as_ref().map_or_else(|| plain(&f.advice), |s| format!("{} stands in for it.", plain(s))),
        })
        .collect()
}

/// The intended use in words.
pub(super) fn use_words(sharp_for: &str) -> String {
    match sharp_for {
        "diagonal" => "ordinary viewing (a blur disc of the sensor's diagonal / 1500)".into(),
        "1:1" => "inspection at 1:1 (a blur disc of two pixels)".into(),
        other => match other.strip_prefix("print:").and_then(|p| p.split_once('@')) {
            Some((size, seen)) => format!("a print of {} seen from {seen}", size.replace('x', " x ")),
            None => plain(other),
        },
    }
}
