//! What no lens does on stopping down: frames softer than those beside them allow, and zones that lose their focus.

use super::fit::IN_COMMON;
use super::whole::NO_LOSS;
use super::{Point, ZoneBlur, ZoneName};
use crate::optics::WAVELENGTH_UM;
use crate::optics::blur::{Parts, lens_px_for, sigma_px};
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

/// Chosen: in ten series none by chance. Standard deviations beyond which a width is no accident.
pub(super) const SURE: f64 = 3.0;
/// Chosen: nineteen of twenty. Standard deviations by which the next stop must bear it out.
const BORNE_OUT: f64 = 2.0;
/// Chosen: what a fitted growth may be off by. Times the width that diffraction allows, beyond which a zone is softer.
const SLACK: f64 = 1.04;
/// Chosen: beyond any scatter of whole frames (docs/accuracy.md, aperture series: 5 %). Times the width that the stops
/// beside a frame allow, beyond which it is spoiled.
const SPOILED: f64 = 1.15;

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
    let bare = |n: f64| sigma_px(&Parts { lambda_n_px: Some(growth * n), pixel: true, ..Parts::default() }).powi(2);
    (bare(to) + (blur * blur - bare(from)).max(0.0) * ratio * ratio).sqrt()
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
            if n(&to) > 1.1 * n(&from) && by_sd > SURE && beyond(&after) > BORNE_OUT {
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

/// Frames that most zones show softer than both neighbours allow, and by how many standard deviations in the middle zone.
///
/// From the stop before, only diffraction can add. From the one after, opening up can add what defocus does, with the
/// first power of the f-number; where nothing wider is known, what falls with the third, spherical aberration's law.
pub(super) fn spoiled(zones: &[ZoneBlur], f_numbers: &[Option<f64>], pitch_um: Option<f64>) -> Vec<(usize, f64)> {
    let growth = pitch_um.map(|p| WAVELENGTH_UM / p);
    let mut by: Vec<Vec<(bool, f64)>> = vec![Vec::new(); f_numbers.len()];
    for zone in zones {
        for (i, point) in zone.points.iter().enumerate() {
            let stop = |j: usize| (zone.points[j].blur.value, f_numbers[zone.points[j].frame].unwrap_or(1.0));
            let n = f_numbers[point.frame].unwrap_or(1.0);
            let before = i.checked_sub(1).map(stop).map(|b| most(b.0, b.1, n, growth.unwrap_or(0.2)));
            let after = (i + 1 < zone.points.len()).then(|| stop(i + 1));
            let limit = match (before, after) {
                (Some(b), Some(a)) => b.max(opened(a.0, a.1, n, (growth, 1))),
                (Some(b), None) => b,
                (None, Some(a)) => opened(a.0, a.1, n, (None, 3)),
                (None, None) => f64::INFINITY,
            };
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
