//! Scenes taken more than once, as the page lists them, and the frames that its head names.

use std::ops::Range;

use serde::Serialize;

use super::keep::{only_best, soft_ends};
use super::text;
use super::view::{FrameView, View};
use crate::quantity::Units;
use crate::report::say::name;
use crate::report::say::number::plain;
use crate::report::series;
use crate::series::Varied;

/// What the template shows of one scene.
#[derive(Serialize)]
pub(super) struct Scene {
    n: usize,
    sentence: String,
    /// What those are called that are proposed to be kept; nothing where none is.
    kept: Option<String>,
    members: Vec<Member>,
    chart: Option<String>,
}

/// A frame by its name.
#[derive(Serialize)]
pub(super) struct Member {
    n: usize,
    name: String,
    best: bool,
}

/// Keepers that the head of the page names; all are marked below it.
const NAMED: usize = 8;

/// The first keepers, and how many more there are; what is only the best of a soft scene is none of them.
pub(super) fn keepers(view: &View) -> (Vec<Member>, usize) {
    let sharp = |f: &FrameView| kept(f) && !only_best(f);
    let all: Vec<usize> = (0..view.frames.len()).filter(|&i| sharp(&view.frames[i])).collect();
    let folder = view.folder();
    let row = |&i: &usize| Member { n: i + 1, name: name::short_name(&view.frames[i].file, folder), best: true };
    (all.iter().take(NAMED).map(row).collect(), all.len().saturating_sub(NAMED))
}

/// A frame to take again, and what to do.
#[derive(Serialize)]
pub(super) struct Again {
    n: usize,
    name: String,
    metric: String,
    /// The same in feet, where it differs.
    imperial: Option<String>,
}

/// The first frames to take again, and how many more there are.
pub(super) fn again(view: &View) -> (Vec<Again>, usize) {
    let [metric, imperial] = [Units::Metric, Units::Imperial].map(|units| text::again(view, units));
    let more = metric.len().saturating_sub(NAMED);
    let folder = view.folder();
    let one = |((i, metric), (_, imperial)): ((usize, String), (usize, String))| Again {
        n: i + 1,
        name: name::short_name(&view.frames[i].file, folder),
        imperial: (imperial != metric).then_some(imperial),
        metric,
    };
    (metric.into_iter().zip(imperial).take(NAMED).map(one).collect(), more)
}

/// Some of the scenes.
pub(super) fn scenes(view: &View, folder: &str, which: Range<usize>) -> Vec<Scene> {
    let one = |index: usize| {
        let g = &view.groups[index];
        let members: Vec<(usize, &FrameView)> =
            g.frames.iter().filter_map(|&i| Some((i, view.frames.get(i)?))).collect();
        Scene {
            n: index + 1,
            sentence: plain(&g.answer.sentence),
            kept: members.iter().find(|&&(_, f)| kept(f)).map(|&(_, f)| match soft_ends(f).filter(|_| only_best(f)) {
                Some(ends) => format!("The best, but {ends}:"),
                None => "Keep".into(),
            }),
            members: members
                .iter()
                .map(|&(i, f)| Member { n: i + 1, name: name::short_name(&f.file, folder), best: kept(f) })
                .collect(),
            chart: (g.answer.varied == Varied::Aperture).then(|| series::figure(&g.answer)).flatten(),
        }
    };
    which.map(one).collect()
}

fn kept(f: &FrameView) -> bool {
    f.proposal.as_ref().is_some_and(|p| p.keep)
}
