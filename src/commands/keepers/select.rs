//! Which frames of a report are wanted.

use std::collections::HashSet;

use super::report::{Marks, Report};
use crate::diagnose::Cause;

/// A kind of verdict.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Which {
    /// Sharp from near to far.
    Sharp,
    /// Not sharp from near to far.
    NotSharp,
    /// Neither is known.
    Unknown,
    /// Every frame.
    All,
    /// With this cause.
    Cause(Cause),
}

impl Which {
    /// A kind by its word: `sharp`, `not-sharp`, `unknown`, `all`, or a cause (`focus-too-far`).
    pub(crate) fn by_word(word: &str) -> Option<Self> {
        let word = word.trim().to_ascii_lowercase().replace(['_', ' '], "-");
        Some(match word.as_str() {
            "sharp" => Self::Sharp,
            "not-sharp" => Self::NotSharp,
            "unknown" => Self::Unknown,
            "all" => Self::All,
            _ => Self::Cause(Cause::ALL.into_iter().find(|c| c.word().replace(' ', "-") == word)?),
        })
    }
}

/// What is asked for.
pub(crate) struct Choice<'a> {
    /// Kinds of verdicts.
    pub which: Option<&'a [Which]>,
    /// Of frames of one scene only the best.
    pub best: bool,
    /// A keep list.
    pub(super) marks: Option<&'a Marks>,
}

/// Indices of the frames that are wanted. The keep list has the last word on the frames it names.
pub(super) fn select(report: &Report, choice: &Choice<'_>) -> Vec<usize> {
    let which = match (choice.which, choice.marks) {
        (Some(which), _) => which,
        (None, Some(_)) if !choice.best => &[],
        (None, _) => &[Which::Sharp],
    };
    let mut wanted: Vec<bool> =
        report.frames.iter().map(|f| which.iter().any(|w| is(*w, f.sharp.throughout, &f.verdict.cause))).collect();
    if choice.best {
        let by_verdict = choice.which.is_some();
        report.groups.iter().for_each(|group| thin(report, group, by_verdict, &mut wanted));
    }
    if let Some(marks) = choice.marks {
        let (keep, leave_out): (HashSet<&str>, HashSet<&str>) =
            (marks.keep.iter().map(String::as_str).collect(), marks.leave_out.iter().map(String::as_str).collect());
        for (i, f) in report.frames.iter().enumerate() {
            let among = |list: &HashSet<&str>| f.names().any(|name| list.contains(name));
            wanted[i] = (wanted[i] || among(&keep)) && !among(&leave_out);
        }
    }
    (0..wanted.len()).filter(|&i| wanted[i]).collect()
}

fn is(which: Which, throughout: Option<bool>, cause: &str) -> bool {
    match which {
        Which::Sharp => throughout == Some(true),
        Which::NotSharp => throughout == Some(false),
        Which::Unknown => throughout.is_none(),
        Which::All => true,
        Which::Cause(c) => c.word().replace(' ', "_") == cause,
    }
}

/// Of the frames of one scene leaves what the report's page proposes to keep of it: the best, or of a focus bracket those that
/// cover the depth together. Where none is clearly best, verdicts decide. `by_verdict`: whether it must be asked for by its
/// verdict as well.
fn thin(report: &Report, group: &super::report::Group, by_verdict: bool, wanted: &mut [bool]) {
    // One that is sharp from near to far by itself needs no others.
    let enough = group.best.and_then(|b| report.frames.get(b)).is_some_and(|f| f.sharp.throughout == Some(true));
    let bracket = group.covering_set.as_ref().filter(|set| set.len() > 1 && group.varied == "focus" && !enough);
    let kept = |i: usize| match (bracket, group.best) {
        (Some(set), _) => Some(report.frames[i].names().any(|name| set.iter().any(|file| file == name))),
        (None, best) => best.map(|best| best == i),
    };
    for &i in &group.frames {
        if let Some(kept) = kept(i) {
            wanted[i] = kept && (wanted[i] || !by_verdict);
        }
    }
}
