//! View to the terminal's table: frame, near, far, corners, verdict, what to do next.

use std::collections::HashSet;

use unicode_width::UnicodeWidthChar as _;

use super::keep::{only_best, soft_ends};
use super::view::{FrameView, View, ZoneView};
use super::{corner, line, phrase};
use crate::diagnose::Cause;
use crate::judge::Judgement;
use crate::quantity::{Distance, Units};
use crate::report::say::camera;
use crate::report::say::name;
use crate::report::say::number::{self, plain};

/// Columns that the shortest advice worth giving takes, "focus at 2.9 m".
const SHORTEST: usize = 14;
/// Frames that a list below the table names; the report and `tussock keepers` have them all. Chosen: a few lines.
const LISTED: usize = 12;

/// The table and a closing summary, at most `width` columns wide (80 to 120 are sensible; it never goes below 72).
#[must_use]
pub fn text(view: &View, width: usize) -> String {
    let width = width.clamp(72, 120);
    let units = units(view);
    let mut out = String::new();
    if let ([only], [], 0) = (view.frames.as_slice(), view.failures.as_slice(), view.summary.unreached) {
        return one(only, view, units);
    }
    if !view.frames.is_empty() {
        out.push_str(&format!("Optical blur in px{}.\n\n", limits(&view.frames)));
        let folder = view.folder();
        // Below 100 columns the corners give way to the names; the report has them, and the uncertainties.
        let wide = width >= 100;
        let made =
            |spelt| -> Vec<Vec<String>> { view.frames.iter().map(|f| row(f, folder, units, wide, spelt)).collect() };
        let mut head: Vec<String> = ["frame", "near px", "far px", "verdict", "next time"].map(str::to_owned).into();
        if wide {
            head.insert(3, "corners".into());
        }
        // The middle columns have what they need; the name and the advice share the rest.
        let last = head.len() - 1;
        let needed = |rows: &[Vec<String>], i: usize| rows.iter().chain([&head]).map(|r| columns(&r[i])).max();
        let (spelt, marked) = (made(true), made(false));
        // "Probably" is a mark where the word would cost names or advice.
        let whole = (0..=last).filter_map(|i| needed(&spelt, i)).sum::<usize>() + last * 2;
        let short = whole > width && needed(&spelt, last - 1) > needed(&marked, last - 1);
        let rows = if short { marked } else { spelt };
        let need = |i: usize| needed(&rows, i).unwrap_or(0);
        let middle: usize = (1..last).map(need).sum::<usize>() + last * 2;
        let rest = width.saturating_sub(middle);
        // A name that fits is left whole where the advice keeps room for its shortest words.
        let beside = rest.saturating_sub(need(0));
        let next = need(last).min(if beside >= SHORTEST { beside } else { rest / 2 });
        let name = need(0).min(rest - next);
        let widths: Vec<usize> =
            (0..=last).map(|i| [name, need(i), next][usize::from(i > 0) + usize::from(i == last)]).collect();
        for r in [&head].into_iter().chain(&rows) {
            aligned(&mut out, r, &widths);
        }
        if short && view.frames.iter().any(doubtful) {
            out.push_str(&format!("{DOUBT} probable, not sure\n"));
        }
        out.push('\n');
    }
    out.push_str(&closing(view));
    out
}

/// A single frame's answer in full.
fn one(frame: &FrameView, view: &View, units: Units) -> String {
    let words = &frame.verdict.words[usize::from(units == Units::Imperial)];
    let mut out = format!("{}: {}\n", plain(&frame.file), words.line);
    for more in [&words.detail, &words.advice].into_iter().filter(|w| !w.is_empty()) {
        out.push_str(&format!("{more}\n"));
    }
    for b in &view.baselines {
        out.push_str(&format!("{}\n", b.sentence));
    }
    out
}

/// The permitted blur of all frames, where it is known.
fn limits(frames: &[FrameView]) -> String {
    let permitted = |f: &FrameView| f.permitted.blur_px.map(number::width);
    let mut all: Vec<String> = frames.iter().filter_map(permitted).collect();
    all.sort();
    all.dedup();
    match all.as_slice() {
        [] => String::new(),
        [one] => format!(" against the {one} permitted"),
        [least, .., most] => format!(" against the {least} to {most} permitted"),
    }
}

/// What to keep and what to take again, scene by scene: no frame is in both.
fn lists(view: &View) -> String {
    let folder = view.folder();
    let named = |head: &str, frames: Vec<String>| {
        let more = frames.len().saturating_sub(LISTED);
        let shown = frames.iter().take(LISTED).map(String::as_str).collect::<Vec<_>>().join(", ");
        match (frames.len(), more) {
            (0, _) => String::new(),
            (_, 0) => format!("{head}: {shown}.\n"),
            (_, more) => format!("{head}: {shown} and {more} more.\n"),
        }
    };
    let of = |wanted: &dyn Fn(&FrameView) -> Option<String>| view.frames.iter().filter_map(wanted).collect();
    let name = |f: &FrameView| name::short_name(&f.file, folder);
    let kept = |f: &FrameView| f.proposal.as_ref().is_some_and(|p| p.keep);
    let together = |f: &FrameView| f.proposal.as_ref().is_some_and(|p| p.together);
    let of_scene = |g: usize| {
        let frames = of(&|f| (together(f) && f.group == Some(g)).then(|| name(f)));
        named("Keep together, for the depth of their scene", frames)
    };
    let keep = of(&|f| {
        let part = corner::part(&f.corners.soft).filter(|_| f.sharp.throughout == Some(true));
        let wanted = kept(f) && !only_best(f) && !together(f);
        wanted.then(|| part.map_or_else(|| name(f), |part| format!("{} ({part})", name(f))))
    });
    let again: Vec<String> =
        again(view, units(view)).into_iter().map(|(i, why)| format!("{} ({why})", name(&view.frames[i]))).collect();
    named("Keep", keep) + &(0..view.groups.len()).map(of_scene).collect::<String>() + &named("Take again", again)
}

/// The frames to take again, by their place, each with what to do: those that are not sharp, but of a scene that a frame of it
/// shows sharp, or a bracket covers together, none, and of any other scene its best.
pub(super) fn again(view: &View, units: Units) -> Vec<(usize, String)> {
    let kept = |f: &FrameView| f.proposal.as_ref().is_some_and(|p| p.keep);
    let covered = |f: &FrameView| kept(f) && f.sharp.throughout != Some(false);
    let served: HashSet<usize> = view.frames.iter().filter(|f| covered(f)).filter_map(|f| f.group).collect();
    let whole =
        |g: usize| view.groups.get(g).is_some_and(|g| g.answer.covering_set.as_ref().is_some_and(|s| s.len() > 1));
    let best = |g: usize| view.groups.get(g).is_some_and(|g| g.best.is_some());
    let of_scenes = view.frames.iter().filter_map(|f| f.group.filter(|&g| kept(f) || best(g)));
    let with_best: HashSet<usize> = of_scenes.collect();
    let mut stood = HashSet::new();
    // Where none of a scene is its best, as of copies of one frame, the first stands for it.
    let mut stands = |f: &FrameView| {
        f.group.is_none_or(|g| {
            !served.contains(&g) && !whole(g) && (kept(f) || !with_best.contains(&g) && stood.insert(g))
        })
    };
    let frames = view.frames.iter().enumerate();
    frames
        .filter(|&(_, f)| f.sharp.throughout == Some(false) && stands(f))
        .map(|(i, f)| {
            let best = soft_ends(f).filter(|_| only_best(f)).map(|ends| format!("best of its scene, but {ends}; "));
            (i, format!("{}{}", best.unwrap_or_default(), next(f, units)))
        })
        .collect()
}

/// The units a view's sentences are in.
pub(super) fn units(view: &View) -> Units {
    if view.asked.units == "imperial" { Units::Imperial } else { Units::Metric }
}

fn closing(view: &View) -> String {
    let s = &view.summary;
    let mut out = format!(
        "{} audited: {} sharp from near to far, {} not, {} with near or far unknown",
        number::counted(s.frames, "frame"),
        s.sharp_throughout,
        s.not_sharp,
        s.unknown
    );
    if s.failures > 0 {
        out.push_str(&format!("; {} failed", number::counted(s.failures, "file")));
    }
    out.push_str(".\n");
    out.push_str(&phrase::stopped(s.unreached).map_or_else(String::new, |words| words + "\n"));
    let causes = s.causes.iter().filter(|c| c.cause != Cause::SharpThroughout && c.frames > 0);
    let causes: Vec<String> = causes.map(|c| format!("{} {}", c.frames, c.cause.word())).collect();
    if !causes.is_empty() {
        out.push_str(&format!("Why: {}.\n", causes.join(", ")));
    }
    out.push_str(&lists(view));
    for told in view.lenses.iter().filter_map(|l| l.sentence.as_ref()) {
        out.push_str(&format!("{told}\n"));
    }
    for b in &view.baselines {
        out.push_str(&format!("{}\n", b.sentence));
    }
    out
}

fn row(f: &FrameView, folder: &str, units: Units, wide: bool, spelt: bool) -> Vec<String> {
    let zone = |z: &ZoneView| {
        let word = z.answer.judgement.word();
        match z.optical_px.filter(|_| z.answer.judgement != Judgement::Unknown) {
            Some(value) => format!("{word} {}", number::width(value)),
            None => word.to_owned(),
        }
    };
    let verdict = if spelt { phrase::verdict(&f.verdict) } else { short_verdict(f) };
    let mut cells = vec![name::short_name(&f.file, folder), zone(&f.zones.near), zone(&f.zones.far), verdict];
    if wide {
        cells.insert(3, phrase::corners_word(&f.corners).into());
    }
    cells.push(next(f, units));
    cells
}

/// A mark for "probably" where a line has no room for the word, explained below the table.
const DOUBT: char = '?';

/// The verdict with that mark.
fn short_verdict(f: &FrameView) -> String {
    let mark = if doubtful(f) { DOUBT.to_string() } else { String::new() };
    f.verdict.cause.word().to_owned() + &mark
}

/// Whether the verdict is said with "probably".
pub(super) fn doubtful(f: &FrameView) -> bool {
    phrase::verdict(&f.verdict) != f.verdict.cause.word()
}

/// The next step in a few words; the report has the whole sentence.
pub(super) fn next(f: &FrameView, units: Units) -> String {
    let focus = f.implied.right_focus_m.map(|d| camera::distance(Distance::middle(d), units));
    let best = f.implied.best_f_number.map(camera::stop_to_set);
    match f.verdict.cause {
        Cause::SharpThroughout => "keep".into(),
        Cause::FocusTooFar => focus.map_or("focus nearer".into(), |m| format!("focus at {m}")),
        Cause::FocusTooNear => focus.map_or("focus farther".into(), |m| format!("focus at {m}")),
        Cause::TooLittleDepth => best.map_or("stop down or stack".into(), |n| format!("{n} or stack")),
        Cause::Diffraction => best.map_or("open up".into(), |n| format!("open to {n}")),
        Cause::Motion => "hold steadier".into(),
        Cause::LensAsymmetry => "test the lens".into(),
        Cause::LensSoftness => "the lens's own".into(),
        Cause::Processing => "audit the original".into(),
        Cause::CannotTell => unsettled(f),
    }
}

/// What is known of a frame whose cause can't be told, in a few words.
fn unsettled(f: &FrameView) -> String {
    let reason = |z: &ZoneView| z.answer.reason.map_or("", line::short);
    match (f.zones.near.answer.judgement, f.zones.far.answer.judgement) {
        (Judgement::Unknown, Judgement::Unknown) => "nothing to judge".into(),
        (Judgement::Unknown, _) => format!("near: {}", reason(&f.zones.near)),
        (_, Judgement::Unknown) => format!("far: {}", reason(&f.zones.far)),
        (Judgement::Beyond, Judgement::Beyond) => "soft near and far".into(),
        (Judgement::Beyond, _) => "soft near".into(),
        (_, Judgement::Beyond) => "soft far".into(),
        _ => "compare a frame".into(),
    }
}

/// Terminal columns of a text (UAX 11): wide East Asian characters count two, combining marks none.
fn columns(text: &str) -> usize {
    text.chars().map(wide).sum()
}

fn wide(c: char) -> usize {
    c.width().unwrap_or(0)
}

/// A text cut to `room` columns from its middle, so that the end of a name, which tells frames apart, stays.
fn cut(text: &str, room: usize, keep_end: bool) -> String {
    if columns(text) <= room {
        return text.to_owned();
    }
    let tail_room = if keep_end { room.saturating_sub(1) * 2 / 3 } else { 0 };
    let head_room = room.saturating_sub(1 + tail_room);
    let take = |chars: &mut dyn Iterator<Item = char>, room: usize| {
        let mut used = 0;
        let mut out = Vec::new();
        for c in chars {
            if used + wide(c) > room {
                break;
            }
            used += wide(c);
            out.push(c);
        }
        out
    };
    let head: String = take(&mut text.chars(), head_room).into_iter().collect();
    let tail: String = take(&mut text.chars().rev(), tail_room).into_iter().rev().collect();
    format!("{head}\u{2026}{tail}")
}

fn aligned(out: &mut String, cells: &[String], widths: &[usize]) {
    let mut text = String::new();
    for (i, (cell, &width)) in cells.iter().zip(widths).enumerate() {
        let cell = cut(cell, width, i == 0);
        let pad = width.saturating_sub(columns(&cell));
        if i > 0 {
            text.push_str("  ");
        }
        text.push_str(&cell);
        text.push_str(&" ".repeat(pad));
    }
    out.push_str(text.trim_end());
    out.push('\n');
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_cut_in_the_middle_and_keep_their_number() {
        let cut = cut("a-very-long-folder-name/IMG_20240511_0173.jpg", 20, true);
        assert_eq!(columns(&cut), 20);
        assert!(cut.ends_with("0173.jpg") && cut.contains('\u{2026}'), "{cut}");
    }

    #[test]
    fn wide_letters_count_twice() {
        assert_eq!(columns("日本"), 4);
        assert!(columns(&cut("日本語の名前.jpg", 9, true)) <= 9);
    }
}
