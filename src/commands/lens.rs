//! Learns a lens's own softness from frames, and shows it.

use std::path::{Path, PathBuf};

use anyhow::bail;

use super::frames::{self, Wanted};
use super::{Outcome, shelf};
use crate::lens::{
    Baseline, Glass, LearnedFrom, Unsuitable, asymmetries, doubts, kind, learn_aperture_series, learn_focus_series,
    learn_from_shoot, left_out, record,
};
use crate::measure::TileMap;
use crate::output;
use crate::quantity::{plain, shown};
use crate::report::{FailureView, counted, learned_lens, lens_page, lens_text};
use crate::shot::Capture;

/// `tussock lens learn` as meant.
#[derive(Clone, Debug)]
pub(crate) struct Learn {
    /// The frames, and how they are read and measured.
    pub wanted: Wanted,
    /// Where the baseline goes; `None` for the user's configuration folder.
    pub out: Option<PathBuf>,
    /// Whether a file that is there may be replaced.
    pub overwrite: bool,
    /// What the frames are; `None` to judge by their facts.
    pub from: Option<LearnedFrom>,
    /// Whether frames that are no test series will do.
    pub anyway: bool,
    /// f-numbers of the frames in order; empty to take the recorded ones.
    pub apertures: Vec<f64>,
    /// Print JSON.
    pub json: bool,
}

/// Fewest tiles across the picture that a lens is learned from.
const LEAST_TILES: u32 = 8;

/// Learns a baseline and stores it.
///
/// # Errors
/// Where no frame can be read, the frames won't do, or the baseline can't be written.
pub(crate) fn learn(asked: &Learn) -> anyhow::Result<Outcome> {
    // Fewer would say too little of how blur changes over the field.
    if asked.wanted.settings.tiles < LEAST_TILES {
        bail!("a lens is learned from {LEAST_TILES} tiles across the picture or more; give --tiles so many");
    }
    let (read, failures) =
        output::timed("reading and measuring", || frames::measured(&asked.wanted, &asked.apertures, |_| false))?;
    let failed = FailureView::unanswered(&failures);
    let names: Vec<String> = read.iter().map(|f| plain(&f.file)).collect();
    let frames: Vec<(TileMap, Capture)> = read.into_iter().map(|f| (f.map, f.capture)).collect();
    if frames.is_empty() {
        bail!("no photograph could be read");
    }
    let mine = one_lens(&frames);
    let others = frames.len() - mine.len();
    if others > 0 {
        let others = counted(others, "frame");
        output::say(&format!("tussock: {others} of other lenses or focal lengths left out"));
    }
    let kept: Vec<(&TileMap, &Capture)> = mine.iter().map(|&i| (&frames[i].0, &frames[i].1)).collect();
    for ((map, capture), &i) in kept.iter().zip(&mine) {
        if let Some(why) = left_out(map, capture) {
            output::say(&format!("tussock: {} {why}; left out", names[i]));
        }
    }
    let kind = asked.from.unwrap_or_else(|| kind(kept.iter().map(|(_, capture)| *capture)));
    let against = against(&kept, &mine, &names, kind, asked.from.is_some());
    if let (Some(why), false) = (&against, asked.anyway) {
        bail!(
            "{why}. A series shows one flat or far subject in every frame, from a tripod; --from shoot learns from mixed frames, --anyway from these as they are"
        );
    }
    against.iter().for_each(|why| output::say(&format!("tussock: {why}; learned from anyway")));
    let baseline = match kind {
        LearnedFrom::ApertureSeries => learn_aperture_series(&kept),
        LearnedFrom::FocusSeries => learn_focus_series(&kept),
        LearnedFrom::Shoot => learn_from_shoot(&kept),
    }
    .map_err(|why: Unsuitable| anyhow::anyhow!("the lens can't be learned from these frames: {why}"))?;
    // As the report's folder is named: by the day that the user's calendar shows.
    let today = jiff::ZonedDateTime::now().date().to_string();
    let written = record::write(&baseline, &today);
    let path = match &asked.out {
        Some(path) => path.clone(),
        None => shelf::place_of(&baseline)?,
    };
    let before = shelf::told_of(&path);
    if let (Some(before), None, false) = (&before, &asked.out, asked.overwrite) {
        bail!("{before} is stored already; --overwrite puts the new one in its place, --out FILE beside it");
    }
    output::write(&path, written.as_bytes(), asked.overwrite)?;
    before.iter().for_each(|before| output::note(&format!("Replaced: {before}")));
    print(&baseline, asked.json)?;
    output::note(&format!("Baseline written to {}", shown(&path)));
    Ok(Outcome::of(frames.len(), failed))
}

/// Shows a stored baseline: on the terminal, and as a page where one is asked for.
///
/// # Errors
/// Where the file is no stored baseline, or the page can't be written.
pub(crate) fn show(file: &Path, page: Option<&Path>, overwrite: bool, json: bool) -> anyhow::Result<Outcome> {
    let baseline = shelf::read(file)?;
    print(&baseline, json)?;
    if let Some(path) = page {
        output::write(path, lens_page(&baseline, &asymmetries(&baseline)).as_bytes(), overwrite)?;
        output::note(&format!("Page written to {}", shown(path)));
    }
    Ok(Outcome::Done)
}

/// What speaks against frames as a test series; nothing does where they were called a shoot.
fn against(
    kept: &[(&TileMap, &Capture)],
    mine: &[usize],
    names: &[String],
    kind: LearnedFrom,
    told: bool,
) -> Option<String> {
    if kind == LearnedFrom::Shoot {
        let no_series = "these frames are neither a series of apertures nor one of focus distances";
        return (!told).then(|| no_series.to_owned());
    }
    let maps: Vec<&TileMap> = kept.iter().map(|(map, _)| *map).collect();
    let found = doubts(&maps);
    let named: Vec<String> =
        found.iter().take(NAMED).map(|(i, doubt)| format!("{} {}", names[mine[*i]], doubt.words())).collect();
    let more = if found.len() > NAMED { format!(" and {} more", found.len() - NAMED) } else { String::new() };
    (!found.is_empty()).then(|| format!("these frames are no test series: {}{more}", named.join(", ")))
}

fn print(baseline: &Baseline, json: bool) -> anyhow::Result<()> {
    let sides = asymmetries(baseline);
    if json {
        output::print_json(&output::json(&learned_lens(baseline, &sides))?);
    } else {
        output::print(&lens_text(baseline, &sides));
    }
    Ok(())
}

/// How many frames at fault are named.
const NAMED: usize = 3;

/// The frames of the lens and focal length that most have, by their places, in their order.
fn one_lens(frames: &[(TileMap, Capture)]) -> Vec<usize> {
    let all: Vec<Glass> = frames.iter().map(|(_, c)| Glass::of(c)).collect();
    let of = |glass: &Glass| (0..all.len()).filter(|&i| all[i].is(glass)).collect::<Vec<usize>>();
    // The first of equals.
    all.iter().map(of).rev().max_by_key(Vec::len).unwrap_or_default()
}
