//! Which frames of a report are wanted.

use std::collections::HashSet;

use super::report::{Marks, Report};
use crate::diagnose::Cause;

/// A kind of verdict.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Which {
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
    #[must_use]
    pub fn by_word(word: &str) -> Option<Self> {
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
pub struct Choice<'a> {
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
        let sharp_asked = which.iter().any(|w| matches!(w, Which::Sharp | Which::All));
        report.groups.iter().for_each(|group| thin(report, group, sharp_asked, &mut wanted));
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

/// Of the frames of one scene that are wanted leaves the best, or all of them where none of them is clearly that. Where no frame
/// is sharp by itself, but a bracket was taken so that several are together, those stay.
fn thin(report: &Report, group: &super::report::Group, sharp_asked: bool, wanted: &mut [bool]) {
    let any = group.frames.iter().any(|&i| wanted[i]);
    match (&group.covering_set, group.best) {
        (_, Some(best)) if wanted.get(best) == Some(&true) => group.frames.iter().for_each(|&i| wanted[i] = i == best),
        (Some(set), _) if !any && sharp_asked => {
            group
                .frames
                .iter()
                .for_each(|&i| wanted[i] = report.frames[i].names().any(|name| set.iter().any(|file| file == name)));
        }
        _ => {}
    }
}
