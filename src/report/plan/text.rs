//! A plan on the terminal.

use std::fmt::Write as _;

use super::words;
use crate::plan::{Plan, Stop, Was};
use crate::quantity::{Distance, Units};
use crate::report::say::camera::{length, stop};
use crate::report::say::caution;
use crate::report::say::number::bound;

/// Full stops shown in the table whatever the answer.
const SHOWN: [f64; 7] = [4.0, 5.6, 8.0, 11.0, 16.0, 22.0, 32.0];

/// A plan as plain text, lines to about 100 characters.
pub(crate) fn plan_text(plan: &Plan, from: Option<&Was>, units: Units) -> String {
    let mut out = String::new();
    if let Some(was) = from {
        paragraph(&mut out, "", &was_here(was, units));
    }
    let answer = words::answer(plan, units);
    for sentence in &answer {
        paragraph(&mut out, "", sentence);
    }
    out.push('\n');
    words::asked(plan, units).iter().for_each(|asked| line(&mut out, asked));
    out.push('\n');
    stops(&mut out, plan, units);
    out.push('\n');
    for sentence in words::reasons(plan, units) {
        paragraph(&mut out, "", &sentence);
    }
    out.push('\n');
    steps(&mut out, plan, units);
    if !answer.iter().any(|s| s == caution::IN_FULL) {
        paragraph(&mut out, "", caution::IN_FULL);
    }
    out.push('\n');
    line(&mut out, "Longest exposure at the permitted blur (a rule of thumb):");
    for sentence in words::motion(plan, units) {
        paragraph(&mut out, "  ", &sentence);
    }
    out
}

/// Where the photographer was.
pub(super) fn was_here(was: &Was, units: Units) -> String {
    let metres = |d: Distance| d.bounds().1;
    let range = |all: [Distance; 3]| match all.map(metres) {
        [low, value, _] if value.is_infinite() && low.is_finite() => format!("{} or beyond", length(low, units)),
        [_, value, _] if value.is_infinite() => "infinity".into(),
        [low, value, high] => {
            format!("about {} ({} to {})", length(value, units), length(low, units), length(high, units))
        }
    };
    let mut text = format!("You were here: {}", was.file);
    if let Some(n) = was.f_number {
        text += &format!(" at {}", stop(n));
    }
    if let Some(focus) = was.focus_m {
        text += &format!(", focused at {}", range(focus));
    }
    if let Some(near) = was.near_m {
        text += &format!(", the nearest ground at {}", range(near));
    }
    text + ". Next time:"
}

fn line(out: &mut String, text: &str) {
    out.push_str(text);
    out.push('\n');
}

/// Wraps a sentence at 100 characters.
fn paragraph(out: &mut String, indent: &str, text: &str) {
    let mut width = 0;
    let text = bound(text);
    for word in text.split(' ') {
        let length = word.chars().count();
        if width > 0 && width + 1 + length > 100 {
            out.push('\n');
            width = 0;
        }
        if width == 0 {
            out.push_str(indent);
            width = indent.len();
        } else {
            out.push(' ');
            width += 1;
        }
        out.push_str(&word.replace('\u{a0}', " "));
        width += length;
    }
    out.push('\n');
}

fn stops(out: &mut String, plan: &Plan, units: Units) {
    let print = plan.asked.print_scale().is_some();
    let head = if print { "  in print" } else { "" };
    line(out, "          blur disc, \u{b5}m        blur, px (with the pixel's own)    both ends");
    line(out, &format!("stop      near      far       near    focus      far   permitted?  hyperfocal{head}"));
    for s in plan.stops.iter().filter(|s| shown(plan, s)) {
        let mark = words::mark(plan, s);
        let _ = write!(
            out,
            "{:<6}{:>8.1} {:>8.1}   {:>8.2} {:>8.2} {:>8.2}   {:<10}  {:>10}",
            stop(s.f_number),
            s.near_disc_um,
            s.far_disc_um,
            s.near_blur_px,
            s.focus_blur_px,
            s.far_blur_px,
            if s.acceptable { "yes" } else { "no" },
            length(s.hyperfocal_m, units)
        );
        if let (Some(mm), Some(arc)) = (s.print_disc_mm, s.print_arc_minutes) {
            let _ = write!(out, "  {mm:.2} mm, {arc:.1}'");
        }
        let _ = write!(out, "  {mark}");
        out.truncate(out.trim_end().len());
        out.push('\n');
    }
}

/// Whether a stop has a row of the table.
pub(super) fn shown(plan: &Plan, s: &Stop) -> bool {
    SHOWN.contains(&s.f_number) || s.f_number == plan.best_stop || Some(s.f_number) == plan.asked.f_number
}

fn steps(out: &mut String, plan: &Plan, units: Units) {
    line(out, "What stepping back buys:");
    // Feet and inches take more room.
    let (wide, narrow) = if units == Units::Imperial { (12, 11) } else { (10, 8) };
    line(
        out,
        &format!(
            "{:<wide$}  {:>narrow$}    best      blur at the ends   near subject   permitted?",
            "back", "focus at"
        ),
    );
    for row in &plan.step_back.table {
        let best = row.best_f_number.map_or_else(|| "any".into(), |_| stop(row.best_stop));
        line(
            out,
            format!(
                "{:<wide$}  {:>narrow$}    {:<8}  {:>7.1} \u{b5}m ({:.1} px)   {:>9} %    {}",
                length(row.back_m, units),
                length(row.focus_distance_m, units),
                best,
                row.worst_optical_um,
                row.worst_optical_um / plan.asked.pitch_um.value,
                (100.0 * row.near_size).round(),
                if row.acceptable { "yes" } else { "no" }
            )
            .trim_end(),
        );
    }
}
