//! A plan as one self-contained page that prints on a sheet.

use minijinja::{Value, context};

use super::text::{shown, was_here};
use super::words;
use crate::plan::{Plan, StepRow, Stop, Was};
use crate::quantity::Units;
use crate::report::say::camera::{length, stop};
use crate::report::say::caution;
use crate::report::say::engine;
use crate::report::say::number::{bound, digits};

/// Times the permitted blur at which a bar ends; the permitted blur is at a third of it.
const REACH: f64 = 3.0;
/// Length of a bar in the units of its drawing.
const BAR: f64 = 90.0;

/// The page of a plan; `from` is the photograph that the question was taken from.
pub(crate) fn plan_page(plan: &Plan, from: Option<&Was>, units: Units) -> String {
    let answer = words::answer(plan, units);
    let mut reasons = words::reasons(plan, units);
    if !answer.iter().any(|s| s == caution::IN_FULL) {
        reasons.push(caution::IN_FULL.into());
    }
    let title = match plan.best_f_number {
        Some(_) if !plan.one_aperture => {
            format!("Focus at {}, {}", length(plan.focus_distance_m, units), stop(plan.best_stop))
        }
        _ => format!("Focus at {}", length(plan.focus_distance_m, units)),
    };
    let values = context! {
        style => include_str!("../say/dress.css"),
        title,
        was => from.map(|was| was_here(was, units)),
        answer => all_bound(&answer),
        asked => all_bound(&words::asked(plan, units)),
        near => length(plan.asked.near_m, units),
        focus => length(plan.focus_distance_m, units),
        far => length(plan.asked.far_m, units),
        print => plan.asked.print_scale().is_some(),
        stops => plan.stops.iter().filter(|s| shown(plan, s)).map(|s| of_stop(plan, s, units)).collect::<Vec<_>>(),
        steps => plan.step_back.table.iter().map(|row| of_step(row, units)).collect::<Vec<_>>(),
        motion => all_bound(&words::motion(plan, units)),
        reasons => all_bound(&reasons),
        version => env!("CARGO_PKG_VERSION"),
    };
    engine::page(include_str!("plan.html"), values)
}

fn all_bound(sentences: &[String]) -> Vec<String> {
    sentences.iter().map(|s| bound(s)).collect()
}

fn of_stop(plan: &Plan, s: &Stop, units: Units) -> Value {
    let times = s.worst_optical_um / plan.permitted_sigma_um;
    context! {
        stop => stop(s.f_number),
        mark => words::mark(plan, s),
        ends => format!("{:.2}", s.near_blur_px.max(s.far_blur_px)),
        focus => format!("{:.2}", s.focus_blur_px),
        times => digits(times, 2),
        bar => format!("{:.1}", (times / REACH).min(1.0) * BAR),
        cut => times > REACH,
        enough => s.acceptable,
        hyperfocal => length(s.hyperfocal_m, units),
        print => s.print_disc_mm.map(|mm| format!("{mm:.2} mm")),
    }
}

fn of_step(row: &StepRow, units: Units) -> Value {
    context! {
        back => length(row.back_m, units),
        focus => length(row.focus_distance_m, units),
        best => row.best_f_number.map_or_else(|| "any".into(), |_| stop(row.best_stop)),
        size => format!("{:.0}", 100.0 * row.near_size),
        enough => row.acceptable,
    }
}
