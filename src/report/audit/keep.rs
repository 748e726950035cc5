//! What a report proposes to keep and to leave out, frame by frame, and the name by which a report's marks are remembered.

use serde::Serialize;

use super::view::{FrameView, GroupView, View};
use crate::series::Varied;

/// What is proposed for one frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Proposal {
    /// Keep it, or leave it out.
    pub keep: bool,
    /// Why, in a few words.
    pub why: &'static str,
}

/// A proposal a frame, in the view's order; `None` where somebody has to look.
///
/// Of frames of one scene the best is kept, or those of a focus bracket that cover the depth (`series::compare` tells which,
/// and whether one does so by itself), and the others are left out; where none is clearly best, and for frames by
/// themselves, what is sharp from near to far is kept and what is not is left out.
pub(crate) fn proposals(view: &View) -> Vec<Option<Proposal>> {
    view.frames
        .iter()
        .enumerate()
        .map(|(i, f)| {
            let group = f.group.and_then(|g| view.groups.get(g));
            group.and_then(|g| among(view, g, i, f)).or_else(|| alone(f))
        })
        .collect()
}

fn among(view: &View, group: &GroupView, i: usize, f: &FrameView) -> Option<Proposal> {
    let answer = &group.answer;
    let best = group.best.filter(|&b| view.frames.get(b).is_some());
    let cover = answer.covering_set.as_ref().filter(|set| !set.is_empty() && answer.varied == Varied::Focus);
    if let Some(set) = cover.filter(|set| set.len() > 1) {
        let part = set.contains(&f.file);
        let why = if part { "one of the frames that cover the depth together" } else { "others cover its depth" };
        return Some(Proposal { keep: part, why });
    }
    let kept = match cover {
        Some(set) => set.contains(&f.file),
        None => best? == i,
    };
    Some(match kept {
        true => Proposal { keep: true, why: "best of its scene" },
        false => Proposal { keep: false, why: "another of its scene is better" },
    })
}

fn alone(f: &FrameView) -> Option<Proposal> {
    Some(match f.sharp.throughout? {
        true => Proposal { keep: true, why: "sharp from near to far" },
        false => Proposal { keep: false, why: "not sharp from near to far" },
    })
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
