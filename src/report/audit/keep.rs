//! What a report proposes to keep and to leave out, frame by frame, and the name by which a report's marks are remembered.

use super::corner;
use super::view::{FrameView, GroupView, Proposal};
use crate::judge::Judgement;
use crate::series::{NoteKind, Varied};

/// What is proposed for a frame by its place in the run; `None` where somebody has to look.
///
/// Of frames of one scene the best is kept, or those of a focus bracket that cover the depth (`series::compare` tells which,
/// and whether one does so by itself), and the others are left out; where none is clearly best, and for frames by
/// themselves, what is sharp from near to far is kept and what is not is left out. The best of a scene of which neither near nor
/// far is known may be anything, and where it is not sharp itself no frame that is gives way to it.
pub(super) fn proposal(groups: &[GroupView], index: usize, f: &FrameView) -> Option<Proposal> {
    let group = f.group.and_then(|g| groups.get(g));
    group.and_then(|g| among(g, index, f)).or_else(|| alone(f))
}

fn among(group: &GroupView, index: usize, f: &FrameView) -> Option<Proposal> {
    let answer = &group.answer;
    if let Some(original) = copied(group, f) {
        return Some(Proposal { keep: false, why: format!("a copy of {original}"), together: false });
    }
    let cover = answer.covering_set.as_ref().filter(|set| !set.is_empty() && answer.varied == Varied::Focus);
    if let Some(set) = cover.filter(|set| set.len() > 1) {
        let together = set.contains(&f.file);
        let why = if together { "one of the frames that cover the depth together" } else { "others cover its depth" };
        return Some(Proposal { keep: together, why: why.into(), together });
    }
    let kept = match cover {
        Some(set) => set.contains(&f.file),
        None => group.best? == index,
    };
    let other = |m: &usize| match cover {
        Some(set) => group.frames.iter().zip(&answer.members).any(|(k, file)| k == m && set.contains(file)),
        None => group.best == Some(*m),
    };
    if !kept && f.sharp.throughout == Some(true) && !group.sharp.iter().any(other) {
        return None;
    }
    if kept && [f.sharp.near, f.sharp.far].iter().all(|j| *j == Judgement::Unknown) {
        return None;
    }
    let best = || match (soft_ends(f), corner::part(&f.corners.soft)) {
        (Some(ends), _) => format!("{BEST}, but {ends}"),
        (None, Some(part)) if f.sharp.throughout == Some(true) => format!("{BEST}, {part}"),
        _ => BEST.into(),
    };
    let why = if kept { best() } else { "another of its scene is better".into() };
    Some(Proposal { keep: kept, why, together: false })
}

/// The frame of a scene that this one is a copy of, by its name.
fn copied<'a>(group: &'a GroupView, f: &FrameView) -> Option<&'a str> {
    let original = |note: &NoteKind| match note {
        NoteKind::CopyOf(k) => group.answer.members.get(*k),
        _ => None,
    };
    let mut own = group.answer.notes.iter().filter(|n| n.file.as_deref() == Some(f.file.as_str()));
    own.find_map(|n| original(&n.note)).map(|file| file.rsplit(['/', '\\']).next().unwrap_or(file))
}

/// What the best of a scene is called.
const BEST: &str = "best of its scene";

fn alone(f: &FrameView) -> Option<Proposal> {
    let why = match (f.sharp.throughout?, corner::part(&f.corners.soft)) {
        (true, None) => "sharp from near to far".into(),
        (true, Some(part)) => format!("sharp near and far, {part}"),
        (false, _) => "not sharp from near to far".into(),
    };
    Some(Proposal { keep: f.sharp.throughout == Some(true), why, together: false })
}

/// Which end of a frame is soft, in words; `None` where neither is known to be.
pub(super) fn soft_ends(f: &FrameView) -> Option<&'static str> {
    match [f.sharp.near, f.sharp.far].map(|j| j == Judgement::Beyond) {
        [true, true] => Some("soft near and far"),
        [true, false] => Some("soft near"),
        [false, true] => Some("soft far"),
        [false, false] => None,
    }
}

/// Whether a frame is proposed to be kept though an end of it is soft and no other frame makes up for that: the best there
/// is of its scene, which is never told among those that are sharp.
pub(super) fn only_best(f: &FrameView) -> bool {
    f.proposal.as_ref().is_some_and(|p| p.keep && !p.together) && soft_ends(f).is_some()
}

/// A report's name for its marks: the same for the same photographs measured alike, whatever they are judged for.
pub(super) fn report_id(frames: &[FrameView]) -> String {
    let mut hash = blake3::Hasher::new();
    for f in frames {
        let date = f.capture.date.as_ref().map_or("", |d| d.value.as_str());
        let ends = [f.zones.near.optical_px, f.zones.far.optical_px];
        // Lengths first, so that no name can pass for another's parts.
        hash.update(format!("{} {} {date} {} {} {ends:?}\n", f.file.len(), f.file, f.width, f.height).as_bytes());
    }
    hash.finalize().to_hex()[..16].to_owned()
}
