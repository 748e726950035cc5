//! Which learned baseline stands for which frame of an audit: given, stored under the lens's name, or learned
//! from the very shoot.

use std::path::PathBuf;

use anyhow::Context as _;
use rayon::prelude::*;

use super::held::{Held, Shoot};
use super::judging::diagnosed;
pub use super::remember::Memory;
use super::shelf;
use crate::diagnose::Diagnosis;
use crate::lens::{Baseline, Glass, learn_shoot};
use crate::measure::TileMap;
use crate::output::store::Key;
use crate::quantity::Intent;
use crate::report::{BaselineSource, LensBasis};
use crate::series::Recall as _;
use crate::shot::Capture;

/// Fewest frames of one lens and focal length from which an audit learns that lens by itself.
const MANY: usize = 20;
/// Most frames it learns from, spread evenly over the shoot: more tell hardly more and take their time.
const MOST: usize = 240;

/// The baselines that are there before anything is measured.
#[derive(Default)]
pub struct Shelf {
    kept: Vec<Kept>,
    /// Whether a shoot may not teach its own lenses either.
    closed: bool,
}

struct Kept {
    baseline: Baseline,
    source: BaselineSource,
    file: String,
}

impl Shelf {
    /// A shelf that stays empty, whatever the shoot teaches: corners are judged by a general assumption alone.
    pub(crate) fn none() -> Self {
        Self { closed: true, ..Self::default() }
    }

    /// The baselines in the files the user gave, first, then those in the files that the settings name and in the user's
    /// configuration folder.
    ///
    /// # Errors
    /// Where a file that was given or is named can't be read or is no baseline.
    pub(crate) fn open(given: &[PathBuf], known: &[PathBuf]) -> anyhow::Result<Self> {
        let mut kept = Vec::new();
        for (paths, source) in [(given, BaselineSource::Given), (known, BaselineSource::Stored)] {
            for path in paths {
                kept.push(Kept { baseline: shelf::read(path)?, source, file: path.display().to_string() });
            }
        }
        kept.extend(shelf::stored().into_iter().map(|(path, baseline)| Kept {
            baseline,
            source: BaselineSource::Stored,
            file: path.display().to_string(),
        }));
        Ok(Self { kept, closed: false })
    }

    /// The place on the shelf of the baseline for a frame: of the frame's lens and within a tenth of its focal
    /// length, the nearest. A given one serves a frame that names no lens too.
    pub(crate) fn find(&self, capture: &Capture) -> Option<usize> {
        let focal = capture.focal_length_mm.as_ref().map(|f| f.value);
        let away = |b: &Baseline| focal.map_or(0.0, |f| shelf::away(b, f));
        let fits = |k: &Kept| {
            let nameless_will_do = k.source == BaselineSource::Given;
            let named = capture.lens.as_ref().map_or("", |l| l.value.trim());
            let stored = k.baseline.lens.trim();
            let same = if nameless_will_do && (named.is_empty() || stored.is_empty()) {
                true
            } else {
                !named.is_empty() && named.eq_ignore_ascii_case(stored)
            };
            same && away(&k.baseline) < shelf::NEAR
        };
        let of = |source: BaselineSource| {
            (0..self.kept.len())
                .filter(|&i| self.kept[i].source == source && fits(&self.kept[i]))
                .min_by(|&a, &b| away(&self.kept[a].baseline).total_cmp(&away(&self.kept[b].baseline)))
        };
        of(BaselineSource::Given).or_else(|| of(BaselineSource::Stored))
    }

    /// The baseline at a place.
    pub(crate) fn baseline(&self, place: usize) -> &Baseline {
        &self.kept[place].baseline
    }

    /// Given files that no frame was taken with, where `used` says which place served each frame.
    pub(crate) fn idle(&self, used: &[Option<usize>]) -> Vec<&str> {
        (0..self.kept.len())
            .filter(|i| self.kept[*i].source == BaselineSource::Given && !used.contains(&Some(*i)))
            .map(|i| self.kept[i].file.as_str())
            .collect()
    }
}

/// Says what each lens's corners were judged against; learns the lenses that many frames without a baseline share
/// from those very frames and diagnoses them again.
///
/// A lens with few frames and no baseline is not listed.
///
/// # Errors
/// Where what is not kept in memory can't be written or had back.
pub fn settle(
    shoot: &mut Shoot<'_>,
    shelf: &Shelf,
    intent: &Intent,
    memory: &Memory,
) -> anyhow::Result<Vec<LensBasis>> {
    let frames = &shoot.frames;
    let mut all: Vec<LensBasis> = (0..shelf.kept.len())
        .filter_map(|place| {
            let members: Vec<usize> = (0..frames.len()).filter(|&k| frames[k].baseline == Some(place)).collect();
            let kept = &shelf.kept[place];
            (!members.is_empty()).then(|| LensBasis {
                lens: kept.baseline.lens.clone(),
                focal_length_mm: kept.baseline.focal_length_mm,
                source: kept.source,
                file: Some(kept.file.clone()),
                baseline: Some(kept.baseline.clone()),
                unsuitable: None,
                frames: members,
            })
        })
        .collect();
    let taught = if shelf.closed { Vec::new() } else { lenses(frames) };
    for (lens, focal_length_mm, members) in taught {
        let learned = learn(shoot, &members, memory);
        if let Ok(baseline) = &learned {
            judge_again(shoot, &members, baseline, intent, memory)?;
        }
        let (baseline, unsuitable) = match learned {
            Ok(baseline) => (Some(baseline), None),
            Err(why) => (None, Some(why)),
        };
        all.push(LensBasis {
            lens,
            focal_length_mm: Some(focal_length_mm),
            source: if baseline.is_some() { BaselineSource::Shoot } else { BaselineSource::Assumed },
            file: None,
            baseline,
            unsuitable,
            frames: members,
        });
    }
    Ok(all)
}

/// Learns a lens from frames taken with it, or from as many of them as is enough; else says why they won't do.
fn learn(shoot: &Shoot<'_>, members: &[usize], memory: &Memory) -> Result<Baseline, String> {
    let frames = &shoot.frames;
    let spread = members.len().div_ceil(MOST);
    let of: Option<Vec<Key>> = members.iter().step_by(spread).map(|&k| frames[k].key).collect();
    let key = of.and_then(|of| memory.build_key(&of, "lens"));
    memory.recall(key.as_ref()).unwrap_or_else(|| {
        let some: Vec<(usize, TileMap)> =
            members.iter().step_by(spread).filter_map(|&k| Some((k, shoot.recall(k)?))).collect();
        let sample: Vec<(&TileMap, &Capture)> = some.iter().map(|(k, map)| (map, &frames[*k].capture)).collect();
        let made = learn_shoot(&sample).map_err(|why| why.to_string());
        memory.remember(key, &made);
        made
    })
}

/// Diagnoses frames anew by what was learned of their lens.
fn judge_again(
    shoot: &mut Shoot<'_>,
    members: &[usize],
    baseline: &Baseline,
    intent: &Intent,
    memory: &Memory,
) -> anyhow::Result<()> {
    for part in members.chunks(PART) {
        let again: Vec<anyhow::Result<Diagnosis>> = part
            .par_iter()
            .map(|&k| {
                let Held { capture, flags, key, .. } = &shoot.frames[k];
                let map: TileMap = shoot.recall(k).context("cannot read back what was measured")?;
                Ok(diagnosed(memory, *key, (&map, capture, flags), Some(baseline), intent))
            })
            .collect();
        for (&k, diagnosis) in part.iter().zip(again) {
            shoot.judge(k, &diagnosis?)?;
        }
    }
    Ok(())
}

/// Frames that are diagnosed again beside each other.
const PART: usize = 64;

/// The lenses, by name and focal length, that many of the frames without a baseline were taken with.
fn lenses(frames: &[Held]) -> Vec<(String, f64, Vec<usize>)> {
    let mut found: Vec<(Glass, Vec<usize>)> = Vec::new();
    for (k, frame) in frames.iter().enumerate().filter(|(_, f)| f.baseline.is_none()) {
        let glass = Glass::of(&frame.capture);
        match found.iter_mut().find(|l| l.0.is(&glass)) {
            Some(lens) => lens.1.push(k),
            None => found.push((glass, vec![k])),
        }
    }
    let told =
        |(glass, members): (Glass, Vec<usize>)| Some((glass.name()?.to_owned(), glass.focal_length_mm?, members));
    found.into_iter().filter(|l| l.1.len() >= MANY).filter_map(told).collect()
}
