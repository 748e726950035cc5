//! The sentences of a series.

use super::needs::{left_out, needs_and_loses};
use super::places::zone;
use super::view::SeriesGroupView;
use crate::optics::stops;
use crate::report::say::camera::f_number;
use crate::report::say::name::capital;
use crate::report::say::name::common_folder;
use crate::report::say::name::listed;
use crate::report::say::number::percent;
use crate::series::aperture::Apertures;
use crate::series::bracket::{Bracket, Lack};
use crate::series::{Answer, NoteKind, Varied};

/// The answer of a group.
pub(super) fn answer(group: &Answer) -> String {
    let answer = match group.varied {
        Varied::Aperture => aperture(group),
        Varied::Focus => focus(group),
        Varied::Nothing => same(group),
    };
    let parts: Vec<String> = [Some(answer), by_blur(group), between(group)].into_iter().flatten().collect();
    parts.join(" ")
}

/// The order that the blur tells where no f-number is known.
fn by_blur(group: &Answer) -> Option<String> {
    let names: Vec<&str> = group.deepest_first.as_ref()?.iter().map(|&k| name(group, k)).collect();
    Some(format!(
        "No f-number is recorded; by the blur of what is out of focus their depth of field falls in this order, from deepest \
         to shallowest: {}. Give --apertures to have the stops compared.",
        names.join(", ")
    ))
}

/// Which of two frames is sharper where: "a.jpg is the sharper by 12 % in the near ground; b.jpg is the sharper by 8 % in the far
/// scene; the centre is the same in both within the error."
fn between(group: &Answer) -> Option<String> {
    let sharper_in = |k: usize| {
        let own = group.between.iter().filter(|b| b.sharper == Some(k));
        let places: Vec<String> = own.map(|b| format!("{:.0} % in {}", b.margin.value * 100.0, zone(b.zone))).collect();
        let places: Vec<&str> = places.iter().map(String::as_str).collect();
        Some(format!("{} is the sharper by {}", name(group, k), listed(&places)?))
    };
    let same: Vec<&str> = group.between.iter().filter(|b| b.sharper.is_none()).map(|b| zone(b.zone)).collect();
    let same = listed(&same).map(|all| {
        let all = if group.between.iter().any(|b| b.sharper.is_some()) { all } else { capital(&all) };
        format!("{all} {} the same in both within the error", if same.len() == 1 { "is" } else { "are" })
    });
    let all: Vec<String> = [sharper_in(0), sharper_in(1), same].into_iter().flatten().collect();
    (!all.is_empty()).then(|| format!("{}.", all.join("; ")))
}

pub(super) fn stop(group: &Answer, k: usize) -> String {
    group.f_numbers[k].map_or_else(|| name(group, k).to_owned(), f_number)
}

/// A member's name: its file without the folders that all members share, so that two can always be told apart.
pub(super) fn name(group: &Answer, k: usize) -> &str {
    let file = group.files[k].as_str();
    file.strip_prefix(common_folder(group.files.iter().map(String::as_str))).unwrap_or(file)
}

fn aperture(group: &Answer) -> String {
    let Some(a) = &group.apertures else { return nothing() };
    let mut parts = Vec::new();
    if let Some(best) = a.whole {
        let range: Vec<String> = a.whole_within.iter().map(|&k| stop(group, k)).collect();
        let range = match range.as_slice() {
            [first, .., last] => format!("; anything from {first} to {last} is within 5 % of it"),
            _ => String::new(),
        };
        parts.push(format!("{}{range}.", best_stop(group, a, best)));
        let seen = |n: f64| a.blurs.iter().flat_map(|z| &z.points).any(|p| group.f_numbers[p.frame] == Some(n));
        parts.extend(left_out(&a.left_out, group.f_numbers.iter().flatten().all(|n| seen(*n))));
    }
    if let Some(needs) = needs_and_loses(group) {
        parts.push(needs);
    }
    if let Some(s) = a.focus_shift.first() {
        parts.push(format!(
            "Focus {}shifts on stopping down: {} grew softer from {} to {} by more than diffraction does, by {:.0} standard \
             deviations, and was so still at the next stop.",
            sure_word(s.confidence),
            zone(s.zone),
            stop(group, s.from),
            stop(group, s.to),
            s.by_sd
        ));
    }
    if parts.is_empty() { nothing() } else { parts.join(" ") }
}

/// Which aperture is best for the whole frame, and which can't be told from it: "f/8 reads best for the whole frame, but f/5.6
/// can't be told apart from it; f/5.6, the widest of these, needs the least light".
fn best_stop(group: &Answer, a: &Apertures, best: usize) -> String {
    let own = stop(group, best);
    // A stop that was taken twice is one stop.
    let mut alike: Vec<String> = a.whole_alike.iter().map(|&k| stop(group, k)).filter(|other| *other != own).collect();
    alike.dedup();
    let alike: Vec<&str> = alike.iter().map(String::as_str).collect();
    let Some(others) = listed(&alike) else {
        // Of stops that are missing beside it nothing is known.
        let n = group.f_numbers[best].unwrap_or(0.0);
        let open = a.gaps.iter().any(|g| [g.0, g.1].iter().any(|&end| stops::same(end, n)));
        let beyond: Vec<String> = a.beyond.iter().map(|&n| f_number(n)).collect();
        if let Some(unknown) = listed(&beyond.iter().map(String::as_str).collect::<Vec<_>>()) {
            return format!(
                "{own} is the best aperture for the whole frame of those compared; how {unknown} would do is not known, and the best may \
                 lie there"
            );
        }
        let of = if open { " of those compared" } else { "" };
        return format!("{own} is {}the best aperture for the whole frame{of}", sure_word(a.whole_confidence));
    };
    let n = |k: usize| group.f_numbers[k].unwrap_or(f64::INFINITY);
    let widest = a.whole_alike.iter().copied().chain([best]).min_by(|&x, &y| n(x).total_cmp(&n(y))).unwrap_or(best);
    format!(
        "{own} reads best for the whole frame, but {others} can't be told apart from it; {}, the widest of these, needs the \
         least light",
        stop(group, widest)
    )
}

/// Confidence from which a conclusion of a series stands without "probably". Chosen: right nineteen times of twenty.
const FIRM: f64 = 0.95;

/// The word before a conclusion of this confidence.
pub(super) fn sure_word(confidence: f64) -> &'static str {
    if confidence >= FIRM { "" } else { "probably " }
}

fn focus(group: &Answer) -> String {
    let Some(b) = &group.bracket else { return nothing() };
    let mut parts: Vec<String> = taken_for_focus(group).into_iter().collect();
    if let Some(k) = b.best_single {
        let others: Vec<&str> = b.as_good.iter().map(|&k| name(group, k)).collect();
        let alike = match others.as_slice() {
            [] => String::new(),
            [one] => format!("; {one} is as good within the error of these widths"),
            many => format!("; {} are as good within the error of these widths", many.join(", ")),
        };
        let sure = if b.as_good.is_empty() { sure_word(b.confidence) } else { "" };
        parts.push(format!("The best single frame for near and far together is {sure}{}{alike}.", name(group, k)));
    }
    let names: Vec<&str> = b.covering_set.iter().map(|&k| name(group, k)).collect();
    match names.as_slice() {
        [] => parts.push(nowhere(group)),
        [one] => parts.push(format!("{one} alone covers every place that any frame covers.")),
        many => parts.push(format!("Blend these {}, near to far: {}.", many.len(), many.join(", "))),
    }
    if b.covering_set.len() > 1 && !b.instead.is_empty() {
        let either = |(k, any): &(usize, Vec<usize>)| {
            let others: Vec<&str> = any.iter().map(|&k| name(group, k)).collect();
            format!("{} for {}", others.join(" or "), name(group, *k))
        };
        parts.push(format!("As good: {}.", b.instead.iter().map(either).collect::<Vec<_>>().join("; ")));
    }
    parts.extend(uncovered(group, b));
    let stops = || group.f_numbers.iter().flatten().copied();
    if stops().reduce(f64::max).zip(stops().reduce(f64::min)).is_some_and(|(high, low)| high > 1.1 * low) {
        parts.push("The aperture differs between these frames too, so they don't compare apertures.".into());
    }
    parts.join(" ")
}

/// Whether no f-number of a group is known.
pub(super) fn unnumbered(group: &SeriesGroupView) -> bool {
    group.zones.iter().flat_map(|z| &z.points).all(|p| p.f_number.is_none())
}

/// What a bracket whose f-numbers nobody knows is taken for, and what to give where that is wrong.
fn taken_for_focus(group: &Answer) -> Option<String> {
    group.f_numbers.iter().all(Option::is_none).then(|| {
        "No f-number is known, so these may be a focus bracket or a series of apertures. Places differ in which frame shows them \
         sharpest, so this is the answer of a bracket; if it was the aperture that was varied, give --apertures with the f-numbers in \
         the order of the files."
            .into()
    })
}

/// No place is sharp enough in any frame: by how much that is missed.
fn nowhere(group: &Answer) -> String {
    let points = group.zones.iter().flat_map(|z| z.points.iter().map(move |p| (z.name, p)));
    let least = points.min_by(|a, b| a.1.blur.value.total_cmp(&b.1.blur.value));
    let least = least.filter(|(_, p)| p.blur.value > group.permitted_px).map_or_else(String::new, |(place, p)| {
        format!("; the least is {:.2} px, {} in {}", p.blur.value, zone(place), name(group, p.frame))
    });
    format!("No frame shows any place within the permitted blur of {:.2} px{least}.", group.permitted_px)
}

/// Share of what no frame shows sharp that a cause must account for to be named. Chosen: a third.
const NAMED: f64 = 0.33;

/// What of a bracket is sharp enough in no frame, why, and what to do.
fn uncovered(group: &Answer, b: &Bracket) -> Option<String> {
    if b.uncovered.is_empty() || b.covering_set.is_empty() {
        return None;
    }
    let share = percent(b.uncovered.len() as f64 / group.tiles.len().max(1) as f64);
    // A tile or two of hundreds.
    if share == percent(0.0) {
        return None;
    }
    let mut counts: Vec<(Lack, usize)> = Vec::new();
    for lack in b.lacks.iter().flatten() {
        match counts.iter_mut().find(|c| c.0 == *lack) {
            Some(c) => c.1 += 1,
            None => counts.push((*lack, 1)),
        }
    }
    counts.sort_by_key(|c| std::cmp::Reverse(c.1));
    let why: Vec<String> = counts
        .iter()
        .filter(|c| c.1 as f64 >= NAMED * b.uncovered.len() as f64)
        .map(|c| match c.0 {
            Lack::Between(a, b) => {
                format!(
                    "what lies between the focus of {} and that of {} needs a frame there too",
                    name(group, a),
                    name(group, b)
                )
            }
            Lack::Nearer(k) => {
                format!("what lies nearer than the focus of {} needs a frame focused nearer", name(group, k))
            }
            Lack::Farther(k) => {
                format!("what lies farther than the focus of {} needs a frame focused farther", name(group, k))
            }
            Lack::Soft => {
                "the lens, the air, a shake of every frame or what is there keeps it softer than that wherever the focus lies".to_owned()
            }
        })
        .collect();
    let why = if why.is_empty() { String::new() } else { format!(": {}", why.join("; ")) };
    Some(format!("{share} of the frame is sharp enough in no frame{why}."))
}

/// Whether all members but one are copies of it.
fn only_copies(group: &Answer) -> bool {
    let copies = group.notes.iter().filter(|n| matches!(n.1, NoteKind::CopyOf(_))).count();
    copies + 1 == group.f_numbers.len()
}

fn same(group: &Answer) -> String {
    match &group.sharpest {
        None if only_copies(group) => "These files are copies of one picture.".into(),
        None => "These frames show the same scene; too little could be compared to say which is the sharpest.".into(),
        Some(s) if s.real => format!(
            "Near-duplicates: {} is {}the sharpest, by {:.0} % over the next.",
            name(group, s.frame),
            sure_word(s.confidence),
            s.margin.value * 100.0
        ),
        Some(s) => format!(
            "Near-duplicates: {} reads sharpest, but the margin of {:.1} % is within chance: {}.",
            name(group, s.frame),
            s.margin.value * 100.0,
            keep(group, &s.softer)
        ),
    }
}

/// Which of near-duplicates to keep where the sharpest is not alone: any but the clearly softer.
fn keep(group: &Answer, softer: &[usize]) -> String {
    let any = if group.files.len() - softer.len() == 2 { "keep either" } else { "keep any" };
    let names: Vec<&str> = softer.iter().map(|&k| name(group, k)).collect();
    match names.as_slice() {
        [] => any.into(),
        [one] => format!("{any} but {one}, which is softer"),
        many if many.len() <= 3 => format!("{any} but {}, which are softer", many.join(", ")),
        many => format!("{any} but {} softer ones", many.len()),
    }
}

fn nothing() -> String {
    "Too little could be compared to answer.".into()
}
