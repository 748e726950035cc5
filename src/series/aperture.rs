//! Answers of an aperture series: the best stop by zone and for the whole frame, and what else the stops show.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

pub use super::corners::Corners;
use super::corners::corners;
use super::fit::{Split, split};
pub use super::odd::Shift;
use super::odd::{scattering, shifts, spoiled};
use super::whole::{run, whole};
pub use super::zone::NO_LOSS;
use super::{Point, ZoneBlur, ZoneName};
use crate::optics::{WAVELENGTH_UM, stops};
use crate::quantity::Estimate;
use crate::stats::upper_median;

/// What an aperture series answers.
#[derive(Clone, Debug, PartialEq)]
pub struct Apertures {
    /// By zone, in the order given.
    pub zones: Vec<ZoneAnswer>,
    /// The frame whose worst zone is the least blurred; of those whose worst can't be told apart the one least blurred in
    /// all zones together.
    pub whole: Option<usize>,
    /// Frames that can't be told from it within the error, by f-number.
    pub whole_alike: Vec<usize>,
    /// The chance that none of the stops that can be told from it is better, all of them together; no more than a half where stops
    /// beyond it could not be compared.
    pub whole_confidence: f64,
    /// The run of stops about it, by f-number, at which no zone that decides is wider than there by more than 5 %.
    pub whole_within: Vec<usize>,
    /// What the corners need that have a say in that.
    pub corners: Option<Corners>,
    /// Zones that had no say in that, since too little of them was measured.
    pub left_out: Vec<(ZoneName, LeftOut)>,
    /// Zones that grew softer on stopping down by more than diffraction can do, and stayed so.
    pub focus_shift: Vec<Shift>,
    /// Frames softer all over than the stops beside them allow: shaken, or out of focus by accident.
    pub spoiled: Vec<usize>,
    /// By how many standard deviations, in the middle zone, for each of them.
    pub spoiled_by: Vec<f64>,
    /// f-numbers taken beyond the best one, where that is the widest or the narrowest of those compared: of them nothing is known.
    pub beyond: Vec<f64>,
    /// Gaps in the run of stops: (before, after, what is missing where it is a full stop).
    pub gaps: Vec<(f64, f64, Option<f64>)>,
    /// The zones' blur with the anchor of each settled by the fit, where there is one.
    pub blurs: Vec<ZoneBlur>,
    /// Falling and growing parts; `None` where the stops are too few or too close.
    pub split: Option<Split>,
}

/// Highest confidence in a best stop beside one that lies beyond all that were compared. Derived: nothing is known of
/// such a stop, so that it is as likely better as not.
const UNKNOWN: f64 = 0.5;

impl Apertures {
    /// The frames that a zone was judged in.
    pub fn stops(&self, zone: ZoneName) -> impl Iterator<Item = usize> {
        self.blurs.iter().filter(move |z| z.name == zone).flat_map(|z| &z.points).map(|p| p.frame)
    }

    /// The same knowing all stops that were taken, by frame, also those of frames that could not be compared or were shaken.
    ///
    /// The worst zone's width over the f-number falls to its least and rises again, so a best stop with a worse one to either side
    /// is the best of all; one at the end of what was compared need not be.
    #[must_use]
    pub fn knowing(mut self, taken: &[Option<f64>]) -> Self {
        let Some(best) = self.whole.and_then(|k| taken[k]) else { return self };
        let compared: Vec<f64> = self.blurs.iter().flat_map(|z| &z.points).filter_map(|p| taken[p.frame]).collect();
        let narrower = |n: f64, than: f64| n > than && !stops::same(n, than);
        let narrowest = !compared.iter().any(|&n| narrower(n, best));
        let widest = !compared.iter().any(|&n| narrower(best, n));
        let outside = |n: &f64| narrowest && narrower(*n, best) || widest && narrower(best, *n);
        self.beyond = taken.iter().copied().flatten().filter(outside).collect();
        self.beyond.sort_by(f64::total_cmp);
        self.beyond.dedup();
        if !self.beyond.is_empty() {
            self.whole_confidence = self.whole_confidence.min(UNKNOWN);
        }
        self
    }
}

/// Why a zone has no say in the answer for the whole frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum LeftOut {
    /// It rests on fewer than three tiles, or is a corner that rests on less than half of its own: one odd tile, or what
    /// little a corner of sky or water shows, could decide for the whole frame.
    FewTiles,
    /// It has no number at a third of the stops or more.
    FewStops,
    /// Its widths rise and fall again on stopping down, as no lens makes them whose focus stays: their error is larger than is stated,
    /// or the focus moves by what the other zones don't tell.
    Scatters,
    /// It doesn't change with the aperture, so that it can't tell which is best.
    NoChange,
    /// It lies so far out of focus that no stop shows it sharp.
    NeverSharp,
}

/// The answer for one zone.
#[derive(Clone, Debug, PartialEq)]
pub struct ZoneAnswer {
    /// Which zone.
    pub name: ZoneName,
    /// Frame with the least blur.
    pub best: usize,
    /// The run of stops about it, by f-number, that are within 5 % of it.
    pub within: Vec<usize>,
}

/// Answers an aperture series. `f_numbers` by frame; frames without one take no part. `permitted` is the widest blur that
/// counts as sharp, px, pixel aperture included.
#[must_use]
pub fn answer(zones: &[ZoneBlur], f_numbers: &[Option<f64>], pitch_um: Option<f64>, permitted: f64) -> Apertures {
    let zones: Vec<ZoneBlur> = zones.iter().map(|z| by_stop(z, f_numbers)).filter(|z| z.points.len() >= 2).collect();
    let (spoiled, spoiled_by): (Vec<usize>, Vec<f64>) = spoiled(&zones, f_numbers, pitch_um).into_iter().unzip();
    let sound: Vec<ZoneBlur> = zones
        .iter()
        .map(|z| ZoneBlur {
            points: z.points.iter().copied().filter(|p| !spoiled.contains(&p.frame)).collect(),
            ..z.clone()
        })
        .filter(|z| z.points.len() >= 2)
        .collect();
    let split = split(&sound, f_numbers, pitch_um);
    let sound = if let Some(split) = &split { settled(&sound, split) } else { sound };
    // Of what is fitted and what the pitch says the larger: neither too fast a growth nor too slow a fit is a focus shift.
    let growth = split.as_ref().map(|s| s.growth.value.max(s.expected.unwrap_or(0.0)));
    let growth = growth.or(pitch_um.map(|p| WAVELENGTH_UM / p));
    let focus_shift = growth.map_or_else(Vec::new, |g| shifts(&sound, f_numbers, g));
    let odd = scattering(&sound, &focus_shift);
    let (deciding, left_out) = deciding(&sound, &odd, f_numbers, permitted);
    let whole = whole(&deciding, f_numbers);
    let corners = corners(&deciding);
    Apertures {
        zones: sound.iter().filter_map(zone_answer).collect(),
        whole: whole.as_ref().map(|w| w.best),
        whole_alike: whole.as_ref().map_or_else(Vec::new, |w| w.alike.clone()),
        whole_confidence: whole.as_ref().map_or(0.0, |w| w.confidence),
        whole_within: whole.map_or_else(Vec::new, |w| w.within),
        corners,
        left_out,
        focus_shift,
        beyond: Vec::new(),
        gaps: gaps(&shown(&zones, f_numbers)),
        spoiled,
        spoiled_by,
        split,
        blurs: sound,
    }
}

/// Moves each zone's scale by what the fit found its anchor to be off: single-frame widths carry what the tiles
/// show, while the shape of the curve, once diffraction rules, fixes the scale by itself.
fn settled(zones: &[ZoneBlur], split: &Split) -> Vec<ZoneBlur> {
    let moved = |z: &ZoneBlur| {
        let offset = split.zones.iter().find(|s| s.0 == z.name).map_or(0.0, |s| s.1.offset);
        let least = z.points.iter().map(|p| p.blur.value).fold(f64::INFINITY, f64::min);
        // Never to less than half of the least square.
        let offset = offset.min(0.5 * least * least);
        let point = |p: &Point| {
            let value = (p.blur.value.powi(2) - offset).sqrt();
            let scale = p.blur.value / value;
            Point { blur: Estimate::new(value, p.blur.sd * scale, p.blur.n), apart_sd: p.apart_sd * scale, ..*p }
        };
        ZoneBlur { points: z.points.iter().map(point).collect(), ..z.clone() }
    };
    zones.iter().map(moved).collect()
}

/// Points in the order of their f-numbers, those without one left out.
fn by_stop(zone: &ZoneBlur, f_numbers: &[Option<f64>]) -> ZoneBlur {
    let mut points: Vec<Point> = zone.points.iter().copied().filter(|p| f_numbers[p.frame].is_some()).collect();
    points.sort_by(|a, b| f_numbers[a.frame].unwrap_or(0.0).total_cmp(&f_numbers[b.frame].unwrap_or(0.0)));
    ZoneBlur { points, ..zone.clone() }
}

fn zone_answer(zone: &ZoneBlur) -> Option<ZoneAnswer> {
    let widths: Vec<f64> = zone.points.iter().map(|p| p.blur.value).collect();
    let best = (0..widths.len()).min_by(|&a, &b| widths[a].total_cmp(&widths[b]))?;
    let within = run(widths.len(), best, |i| widths[i] <= NO_LOSS * widths[best]);
    let frames = within.map(|i| zone.points[i].frame).collect();
    Some(ZoneAnswer { name: zone.name, best: zone.points[best].frame, within: frames })
}

/// Standard errors by which a zone's largest width must exceed its least for the zone to have changed. Chosen: chance
/// stays below that nineteen times of twenty.
const CHANGED: f64 = 2.0;
/// Multiple of the permitted blur that a zone out of focus keeps at every stop. Chosen: no lens leaves corners that
/// soft at all stops.
const NEVER: f64 = 2.5;

/// Multiple of the subject's least blur up to which another depth is as sharp. Derived: the scatter of what tiles show
/// (8 %, twice).
const AS_SHARP: f64 = 1.16;

/// A zone's least and most blurred points.
fn ends(zone: &ZoneBlur) -> Option<(Point, Point)> {
    let points = || zone.points.iter().copied();
    let by = |a: &Point, b: &Point| a.blur.value.total_cmp(&b.blur.value);
    points().min_by(by).zip(points().max_by(by))
}

/// The zones that decide for the whole frame, and those that don't, and why. Where none rests on enough, all decide.
fn deciding<'a>(
    zones: &'a [ZoneBlur],
    scattering: &[ZoneName],
    f_numbers: &[Option<f64>],
    permitted: f64,
) -> (Vec<&'a ZoneBlur>, Vec<(ZoneName, LeftOut)>) {
    // Frames that any zone has: a spoiled frame is missing from all.
    let stops = (0..f_numbers.len()).filter(|k| zones.iter().any(|z| z.points.iter().any(|p| p.frame == *k))).count();
    let changes = |z: &ZoneBlur| {
        ends(z).is_some_and(|(least, most)| {
            let by = most.blur.value - least.blur.value;
            by > (NO_LOSS - 1.0) * least.blur.value && by > CHANGED * least.apart_sd.hypot(most.apart_sd)
        })
    };
    // Beside a subject only that depth is part of the picture's sharpness that some frame shows as sharp as the subject.
    let subject = zones.iter().find(|z| z.name == ZoneName::Subject).and_then(ends).map(|e| e.0.blur.value);
    let limit = |z: &ZoneBlur| match subject {
        Some(least) if z.name != ZoneName::Subject => permitted.max(AS_SHARP * least),
        _ => NEVER * permitted,
    };
    let sharp = |z: &ZoneBlur| ends(z).is_some_and(|(least, _)| least.blur.value <= limit(z));
    // Where all are alike in that they say nothing against any of them.
    let sound = || zones.iter().filter(|z| !z.is_thin() && !scattering.contains(&z.name));
    let (any_changes, any_sharp) = (sound().any(changes), sound().any(sharp));
    let thin = |z: &ZoneBlur| {
        if z.is_thin() {
            Some(LeftOut::FewTiles)
        } else if 3 * z.points.len() <= 2 * stops {
            Some(LeftOut::FewStops)
        } else if scattering.contains(&z.name) {
            Some(LeftOut::Scatters)
        } else if any_sharp && !sharp(z) {
            Some(LeftOut::NeverSharp)
        } else if any_changes && !changes(z) {
            Some(LeftOut::NoChange)
        } else {
            None
        }
    };
    let kept: Vec<&ZoneBlur> = zones.iter().filter(|z| thin(z).is_none()).collect();
    if kept.is_empty() {
        return (zones.iter().collect(), Vec::new());
    }
    (kept, zones.iter().filter_map(|z| Some((z.name, thin(z)?))).collect())
}

/// The f-numbers of frames that some zone has a number for: a stop that nothing could be compared at is missing.
fn shown(zones: &[ZoneBlur], f_numbers: &[Option<f64>]) -> Vec<Option<f64>> {
    let known = |k: usize| zones.iter().flat_map(|z| &z.points).any(|p| p.frame == k);
    f_numbers.iter().enumerate().map(|(k, n)| n.filter(|_| known(k))).collect()
}

fn gaps(f_numbers: &[Option<f64>]) -> Vec<(f64, f64, Option<f64>)> {
    let stops = stops::distinct(f_numbers.iter().copied().flatten());
    let steps: Vec<f64> = stops.windows(2).map(|w| w[1] / w[0]).collect();
    if steps.len() < 3 {
        return Vec::new();
    }
    let usual = upper_median(steps).unwrap_or(f64::INFINITY);
    stops
        .windows(2)
        .filter(|w| (w[1] / w[0]).ln() > 1.6 * usual.ln())
        .map(|w| {
            let between = stops::FULL.iter().copied().find(|&s| s > 1.15 * w[0] && s < w[1] / 1.15);
            (w[0], w[1], between)
        })
        .collect()
}
