//! Which frames of a report are wanted.

use std::collections::HashSet;

use super::report::{Frame, Marks, Report};
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
    /// Only what the report proposes to keep.
    pub best: bool,
    /// A keep list.
    pub(super) marks: Option<&'a Marks>,
}

/// Indices of the frames that are wanted. The keep list has the last word on the frames it names.
///
/// What is best is not judged here: the report proposes it, and verdicts asked for leave fewer of that.
pub(super) fn select(report: &Report, choice: &Choice<'_>) -> Vec<usize> {
    let which = match (choice.which, choice.marks) {
        (Some(which), _) => which,
        (None, _) if choice.best => &[Which::All],
        (None, Some(_)) => &[],
        (None, None) => &[Which::Sharp],
    };
    let by_verdict = |f: &Frame| which.iter().any(|w| is(*w, f.sharp.throughout, &f.verdict.cause));
    let mut wanted: Vec<bool> =
        report.frames.iter().map(|f| by_verdict(f) && (!choice.best || f.why().is_some())).collect();
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
