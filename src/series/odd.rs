//! What no lens does on stopping down: frames softer than those beside them allow, and zones that lose their focus.

use super::fit::IN_COMMON;
use super::zone::NO_LOSS;
use super::{Point, ZoneBlur, ZoneName};
use crate::optics::blur::{Parts, lens_px_for, sigma_px};
use crate::optics::{WAVELENGTH_UM, stops};
use crate::stats;

/// A zone that grew softer between two stops.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shift {
    /// Which zone.
    pub zone: ZoneName,
    /// Frame before.
    pub from: usize,
    /// Frame after, stopped down.
    pub to: usize,
    /// By how many standard deviations it is softer than diffraction allows.
    pub by_sd: f64,
    /// The chance that none of all zones and steps looked at would show as much if nothing had shifted.
    pub confidence: f64,
}

/// Standard deviations beyond which a width is no accident. Chosen: chance reaches that in none of ten series.
pub(super) const SURE: f64 = 3.0;
/// Standard deviations by which the next stop must bear out that a width is no accident. Chosen: chance stays below
/// that nineteen times of twenty.
const BORNE_OUT: f64 = 2.0;
/// Multiple of the width that diffraction allows beyond which a zone is softer. Chosen: what a fitted growth may be off by.
const SLACK: f64 = 1.04;
/// Multiple of the width that the stops beside a frame allow beyond which it is spoiled. Chosen: beyond any scatter of
/// whole frames (docs/accuracy.md, aperture series: 5 %).
pub(super) const SPOILED: f64 = 1.15;

/// The most a blur can grow from one stop to a narrower one when only diffraction grows.
fn most(blur: f64, from: f64, to: f64, growth: f64) -> f64 {
    let bare = Parts { lambda_n_px: Some(growth * from), pixel: true, ..Parts::default() };
    let lens = lens_px_for(blur, &bare).unwrap_or(0.0);
    sigma_px(&Parts { lambda_n_px: Some(growth * to), lens_px: lens, ..bare }).max(blur)
}

/// The most a blur can grow from one stop to a wider one: what is not pixel and diffraction by this power of the
/// f-numbers' ratio. Where the growth of diffraction is not known all of it may be.
fn opened(blur: f64, from: f64, to: f64, (growth, power): (Option<f64>, i32)) -> f64 {
    let ratio = (from / to).max(1.0).powi(power);
    let Some(growth) = growth else { return blur * ratio };
    (bare_square(growth, to) + (blur * blur - bare_square(growth, from)).max(0.0) * ratio * ratio).sqrt()
}

/// Standard deviation of the difference of two frames' widths in one zone, px.
fn apart(a: &Point, b: &Point) -> f64 {
    a.apart_sd.hypot(b.apart_sd).hypot(IN_COMMON * b.blur.value)
}

/// Zones that grew softer than diffraction allows from one stop to the next, and are so still at the stop after.
///
/// A focus that moves as the lens is stopped down leaves a disc that falls with the f-number's first power at most, so it
/// shows at more than one stop; a zone worse at one stop alone, or at the last, may be a shaken frame or chance.
pub(super) fn shifts(zones: &[ZoneBlur], f_numbers: &[Option<f64>], growth: f64) -> Vec<Shift> {
    let looked_at: usize = zones.iter().map(|z| z.points.len().saturating_sub(2)).sum();
    let mut found = Vec::new();
    for zone in zones.iter().filter(|z| !z.is_thin()) {
        for three in zone.points.windows(3) {
            let [from, to, after] = [0, 1, 2].map(|i| three[i]);
            let n = |p: &Point| f_numbers[p.frame].unwrap_or(1.0);
            let beyond = |p: &Point| {
                (p.blur.value - SLACK * most(from.blur.value, n(&from), n(p), growth)) / apart(&from, p).max(1e-9)
            };
            let by_sd = beyond(&to);
            if n(&to) > n(&from) && !stops::same(n(&to), n(&from)) && by_sd > SURE && beyond(&after) > BORNE_OUT {
                let confidence = (1.0 - looked_at as f64 * stats::normal_beyond(by_sd)).max(0.0);
                found.push(Shift { zone: zone.name, from: from.frame, to: to.frame, by_sd, confidence });
            }
        }
    }
    found
}

/// Zones whose widths rise and fall again on stopping down beyond their stated errors, so that these can't be believed.
///
/// What falls on stopping down and what grows both go with powers of the f-number, so squared widths are convex in its
/// logarithm and have no top between two stops. Zones with a focus shift are left; where most zones have a top it is the
/// frames that differ, not the zones.
pub(super) fn scattering(zones: &[ZoneBlur], focus_shift: &[Shift]) -> Vec<ZoneName> {
    let stands_out = |low: &Point, top: &Point| {
        let by = top.blur.value - low.blur.value;
        top.blur.value > NO_LOSS * low.blur.value && by > SURE * apart(low, top)
    };
    let scatters = |z: &&ZoneBlur| {
        let top = |k: usize| {
            let beyond = |low: &Point| stands_out(low, &z.points[k]);
            z.points[..k].iter().any(beyond) && z.points[k + 1..].iter().any(beyond)
        };
        focus_shift.iter().all(|s| s.zone != z.name) && (0..z.points.len()).any(top)
    };
    let found: Vec<ZoneName> = zones.iter().filter(scatters).map(|z| z.name).collect();
    if 2 * found.len() > zones.len() { Vec::new() } else { found }
}

/// Stops to either side that say what a frame's width may be. Chosen: two shaken frames in a row are no rarity, and
/// what is assumed of diffraction's growth adds up from stop to stop.
const REACH: usize = 2;

/// The most a blur can be between two stops, of which both widths are known: what is not pixel and diffraction.
///
/// It is a sum of parts that each go with some power of the f-number, defocus with the first, aberrations with higher ones, a rest
/// with none. A sum of such powers is convex when both it and the f-number are taken as logarithms, so that at no stop between two
/// it lies above the straight line. Where the growth of diffraction isn't known that holds of the whole squared width.
fn between(low: (f64, f64), high: (f64, f64), n: f64, growth: Option<f64>) -> f64 {
    let bare = |n: f64| growth.map_or(0.0, |g| bare_square(g, n));
    // No less than what its own error may leave.
    let rest = |(blur, n): (f64, f64)| (blur * blur - bare(n)).max(2.0 * IN_COMMON * blur * blur).ln();
    let share = (n / low.1).ln() / (high.1 / low.1).ln().max(1e-9);
    (bare(n) + (rest(low) + share.clamp(0.0, 1.0) * (rest(high) - rest(low))).exp()).sqrt()
}

/// Square of the width, px^2, that pixel and diffraction alone make.
fn bare_square(growth: f64, n: f64) -> f64 {
    sigma_px(&Parts { lambda_n_px: Some(growth * n), pixel: true, ..Parts::default() }).powi(2)
}

/// Frames that most zones show softer than the stops on both sides allow, and by how many standard deviations in the middle zone.
///
/// Between two stops the widths follow [`between`], but for a focus that shifts as the lens is stopped down, whose disc falls with
/// the first power of the f-number at most: opening up from the stops after can add no more than that. At the smallest aperture
/// only diffraction can have been added to what the stops before show, at the widest what falls with the third power, spherical
/// aberration's law. A spoiled frame is itself no measure for the others, so they are looked at again without those that are found.
pub(super) fn spoiled(zones: &[ZoneBlur], f_numbers: &[Option<f64>], pitch_um: Option<f64>) -> Vec<(usize, f64)> {
    let mut found: Vec<(usize, f64)> = Vec::new();
    loop {
        let sound = |z: &ZoneBlur| {
            let points = z.points.iter().copied().filter(|p| found.iter().all(|f| f.0 != p.frame));
            ZoneBlur { points: points.collect(), ..z.clone() }
        };
        let more = spoiled_of(&zones.iter().map(sound).collect::<Vec<_>>(), f_numbers, pitch_um);
        if more.is_empty() {
            found.sort_by_key(|f| f.0);
            return found;
        }
        found.extend(more);
    }
}

/// The same by all of the frames that are given.
fn spoiled_of(zones: &[ZoneBlur], f_numbers: &[Option<f64>], pitch_um: Option<f64>) -> Vec<(usize, f64)> {
    let growth = pitch_um.map(|p| WAVELENGTH_UM / p);
    let mut by: Vec<Vec<(bool, f64)>> = vec![Vec::new(); f_numbers.len()];
    for zone in zones {
        for (i, point) in zone.points.iter().enumerate() {
            let stop = |p: &Point| (p.blur.value, f_numbers[p.frame].unwrap_or(1.0));
            let n = f_numbers[point.frame].unwrap_or(1.0);
            let least = |limits: &mut dyn Iterator<Item = f64>| limits.reduce(f64::min);
            let (before, after) = (&zone.points[i.saturating_sub(REACH)..i], &zone.points[i + 1..]);
            let after = &after[..REACH.min(after.len())];
            let most = |p: &Point| most(stop(p).0, stop(p).1, n, growth.unwrap_or(0.2));
            let opened = |p: &Point, by: (Option<f64>, i32)| opened(stop(p).0, stop(p).1, n, by);
            let limit = match (before.is_empty(), after.is_empty()) {
                (false, false) => {
                    let shifted = least(&mut after.iter().map(|p| opened(p, (growth, 1))));
                    let pairs = before.iter().flat_map(|b| after.iter().map(move |a| (b, a)));
                    let of_pair = |(b, a): (&Point, &Point)| between(stop(b), stop(a), n, growth);
                    least(&mut pairs.map(of_pair)).zip(shifted).map(|(b, s)| b.max(s))
                }
                (false, true) => least(&mut before.iter().map(most)),
                (true, _) => least(&mut after.iter().map(|p| opened(p, (None, 3)))),
            };
            let limit = limit.unwrap_or(f64::INFINITY);
            let sd = point.apart_sd.hypot(IN_COMMON * point.blur.value);
            let beyond = point.blur.value > SPOILED * limit + SURE * point.apart_sd;
            by[point.frame].push((beyond, (point.blur.value - limit) / sd.max(1e-9)));
        }
    }
    let of_frame = |(k, votes): (usize, &Vec<(bool, f64)>)| {
        let softer = votes.iter().filter(|v| v.0).count();
        let most = softer > 0 && 3 * softer >= 2 * votes.len();
        most.then(|| Some((k, stats::median(&votes.iter().map(|v| v.1).collect::<Vec<f64>>())?))).flatten()
    };
    by.iter().enumerate().filter_map(of_frame).collect()
}
