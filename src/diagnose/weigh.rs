//! Sets the causes against each other draw by draw: what each leaves beyond the permitted blur, and the verdict.

use super::Cause;
use super::diagnosis::{FAR, NEAR};
use crate::measure::ALIKE;
use crate::quantity::DISC_SIGMA;

/// Diffraction's Gaussian-equivalent sigma over lambda N, by equal MTF50. Derived:
/// [`MTF50_SIGMA`](crate::quantity::MTF50_SIGMA) over the MTF50 of a perfect lens times lambda N, 0.403973.
pub(super) const DIFFRACTION_SIGMA: f64 = 0.46387;

/// Spreads (ln) by which the rules that name a cause are moved: what counts as defocus's share; diffraction, whose
/// wavelength is a convention; which of two strong causes is the stronger. Chosen: a quarter for what is a matter of
/// words, a twentieth for wavelengths from 520 to 580 nm, for two strengths the errors of two widths.
const RULE: (f64, f64, f64) = (0.25, 0.05, 0.15);

/// What one draw says of a zone, px.
#[derive(Clone, Copy, Debug)]
pub(super) struct Parts {
    /// Signed disc.
    pub disc: f64,
    /// Lens part.
    pub lens: f64,
    /// All optical parts together.
    pub optical: f64,
    /// All without the lens's part.
    pub without_lens: f64,
    /// All optical parts and the pixel aperture together.
    pub whole: f64,
}

/// What one draw says of the frame.
#[derive(Clone, Copy, Debug)]
pub(super) struct Story {
    /// Near zone.
    pub near: Option<Parts>,
    /// Far zone.
    pub far: Option<Parts>,
    /// Diffraction alone, sigma px, where it goes beyond what the pixels show at best.
    pub diffraction: f64,
    /// The same where the widths bear it out, however small.
    pub borne_out: f64,
    /// Motion alone, along its track, sigma px.
    pub motion: f64,
    /// What a lens out of line adds at the frame's sides, sigma px.
    pub askew: f64,
    /// The same of a lens decentred up or down at top or bottom.
    pub upright: f64,
}

/// The causes that are beyond the permitted blur in one draw, the strongest first. Empty: sharp throughout.
/// `None`: soft by something that none of the causes names. `limits`: optical blur that near and far may have, sigma px; what softens
/// all of the frame counts from the smaller of the two on.
///
/// Which of two names a frame gets that either would fit turns on a rule. `rule` (standard normal numbers, new ones
/// each draw) moves the rule a little from draw to draw, so that near such a border the confidence is low.
pub(super) fn causes(s: &Story, limits: [f64; 2], rule: [f64; 3]) -> Option<Vec<Cause>> {
    let permitted = limits[0].min(limits[1]);
    let mut strong: Vec<(Cause, f64)> = Vec::new();
    let (bend, known, order) = ((RULE.0 * rule[0]).exp(), (RULE.1 * rule[1]).exp(), (RULE.2 * rule[2]).exp());
    let s = &Story { diffraction: known * s.diffraction, ..*s };
    let soft = |zone: &Option<Parts>, limit: f64| zone.is_some_and(|z| out_of_focus(&z, s, limit, bend));
    let strength = |zone: &Option<Parts>| zone.map_or(0.0, |z| DISC_SIGMA * z.disc.abs());
    let sign = |zone: &Option<Parts>| zone.map_or(0.0, |z| z.disc);
    match (soft(&s.near, limits[NEAR]), soft(&s.far, limits[FAR])) {
        (true, true) => {
            let (near, far) = (sign(&s.near), sign(&s.far));
            let cause = if near > 0.0 && far < 0.0 {
                Cause::TooLittleDepth
            } else if near + far < 0.0 {
                Cause::FocusTooNear
            } else {
                Cause::FocusTooFar
            };
            strong.push((cause, strength(&s.near).max(strength(&s.far))));
        }
        // A near end that lies beyond the focus says that the far scene does, too, whether or not that can be seen.
        (true, false) if s.far.is_none() && sign(&s.near) < 0.0 => {
            strong.push((Cause::FocusTooNear, strength(&s.near)));
        }
        (true, false) => strong.push((Cause::FocusTooFar, strength(&s.near))),
        (false, true) => strong.push((Cause::FocusTooNear, strength(&s.far))),
        (false, false) => {}
    }
    if s.diffraction > permitted {
        strong.push((Cause::Diffraction, s.diffraction));
    }
    if s.motion > permitted {
        strong.push((Cause::Motion, s.motion));
    }
    if s.askew > permitted {
        strong.push((Cause::LensAsymmetry, s.askew));
    }
    if strong.is_empty() {
        let over = |&(zone, limit): &(Option<Parts>, f64)| Some((zone?, zone?.optical / limit));
        let ends = [(s.near, limits[NEAR]), (s.far, limits[FAR])];
        let worst = ends.iter().filter_map(over).max_by(|a, b| a.1.total_cmp(&b.1));
        if let Some((worst, _)) = worst.filter(|w| w.1 > 1.0) {
            // A lens decentred up or down can't be told from defocus by one frame.
            if s.upright > permitted {
                return None;
            }
            // What no single part brings beyond the limit is laid to the larger.
            let cause = if s.borne_out > worst.lens { Cause::Diffraction } else { Cause::LensSoftness };
            strong.push((cause, worst.optical));
        }
    }
    for (cause, strength) in &mut strong {
        if !cause.is_focus() {
            *strength *= order;
        }
    }
    strong.sort_by(|a, b| b.1.total_cmp(&a.1));
    Some(strong.into_iter().map(|(cause, _)| cause).collect())
}

/// Whether a draw has near and far out of focus alike.
pub(super) fn alike(s: &Story) -> bool {
    let (Some(near), Some(far)) = (s.near, s.far) else { return false };
    let ratio = near.disc / far.disc;
    ratio > 1.0 / ALIKE && ratio < ALIKE
}

/// Whether a zone is softer than permitted because of defocus: without it the zone would pass, or defocus alone
/// is enough. What diffraction or motion do beyond the permitted on their own is not laid to focus.
fn out_of_focus(z: &Parts, s: &Story, permitted: f64, bend: f64) -> bool {
    if z.optical <= permitted {
        return false;
    }
    let alone = DISC_SIGMA * z.disc.abs();
    if s.diffraction > permitted || s.motion > permitted {
        return alone > permitted;
    }
    (z.without_lens > permitted && alone > 0.4 * bend * permitted)
        || (alone > 0.7 * bend * permitted && alone >= bend * z.lens)
}

/// Weights of the causes and of "none of these", from weighted draws.
#[derive(Clone, Debug, Default)]
pub(super) struct Tally {
    /// Weight a main cause.
    pub main: Vec<(Cause, f64)>,
    /// Weight of each cause standing anywhere beyond the permitted.
    pub any: Vec<(Cause, f64)>,
    /// Weight of the unnamed.
    pub unnamed: f64,
}

/// Exposure, s, from which water and grass near the camera draw streaks that look like defocus. Chosen: common
/// practice, no published source.
const LONG_EXPOSURE: f64 = 0.2;
/// How many times faster than from a usual height blur must grow downwards for a foreground's own movement to be
/// suspected. Chosen: half of the usual height is a low tripod, lower is rare.
const HASTE: f64 = 2.0;

/// Whether the exposure was long enough for what flows to be drawn out.
pub(super) fn draws_out(exposure_s: Option<f64>) -> bool {
    exposure_s.is_some_and(|t| t >= LONG_EXPOSURE)
}

/// Whether a foreground may be soft by its own movement: a long exposure, and blur that grows towards the camera
/// faster than ground seen from a usual height would have it (common practice, no published source).
pub(super) fn may_flow(exposure_s: Option<f64>, haste: f64) -> bool {
    draws_out(exposure_s) && haste > HASTE
}

impl Tally {
    /// Adds one draw.
    pub(super) fn add(&mut self, causes: Option<&[Cause]>, weight: f64) {
        let Some(causes) = causes else {
            self.unnamed += weight;
            return;
        };
        put(&mut self.main, causes.first().copied().unwrap_or(Cause::SharpThroughout), weight);
        for &cause in causes {
            put(&mut self.any, cause, weight);
        }
    }

    /// As [`Tally::add`] where what is near, or what is far, may have moved in a long exposure: half the weight of its being out of
    /// focus goes to movement.
    pub(super) fn add_moving(&mut self, causes: Option<&[Cause]>, [near, far]: [bool; 2], weight: f64) {
        let moved = match causes.and_then(|c| c.first()) {
            Some(Cause::FocusTooFar) => near,
            Some(Cause::FocusTooNear) => far,
            Some(Cause::TooLittleDepth) => near || far,
            _ => false,
        };
        if moved {
            self.add(Some(&[Cause::Motion]), 0.5 * weight);
        }
        self.add(causes, if moved { 0.5 * weight } else { weight });
    }

    /// As [`Tally::add`] where the draw has the whole frame soft alike: a disc is then told from softness of the lens
    /// or of the file by nothing but its prior, so a share of the weight of a focus error goes to that. `times`: how
    /// many times the permitted blur the frame is soft by; lenses and files soften little, focus errors as they please.
    pub(super) fn add_alike(&mut self, causes: Option<&[Cause]>, times: f64, weight: f64) {
        let focus = causes.and_then(|c| c.first()).is_some_and(|c| c.is_focus());
        if focus {
            let share = 0.5 * (FILE_SOFT / times.max(FILE_SOFT)).powi(2);
            self.add(Some(&[Cause::LensSoftness]), share * weight);
            self.add(causes, (1.0 - share) * weight);
        } else {
            self.add(causes, weight);
        }
    }
}

/// How many times the permitted blur a lens or a file may be soft by as easily as by focus. Chosen: an ordinary lens at
/// its worst aperture and the smoothing of a small sensor's noise each make about double what is permitted.
const FILE_SOFT: f64 = 3.0;

pub(super) fn put(list: &mut Vec<(Cause, f64)>, cause: Cause, weight: f64) {
    match list.iter_mut().find(|(c, _)| *c == cause) {
        Some(entry) => entry.1 += weight,
        None => list.push((cause, weight)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::optics::diffraction::MTF50;
    use crate::quantity::MTF50_SIGMA;

    /// Of a clear round pupil, by equal half contrast; given to five digits.
    #[test]
    fn the_width_of_diffraction_is_that_of_its_half_contrast() {
        assert!((DIFFRACTION_SIGMA * MTF50 / MTF50_SIGMA - 1.0).abs() < 1e-5);
    }

    /// Both ends of ground lie on one side of the focus where the near one lies beyond it.
    #[test]
    fn a_near_end_beyond_the_focus_is_focus_too_near_though_the_far_end_is_hidden() {
        let zone = |disc: f64| {
            let optical = DISC_SIGMA * disc.abs();
            Parts { disc, lens: 0.1, optical, without_lens: optical, whole: optical }
        };
        let cause = |near: Option<f64>, far: Option<f64>| {
            let story = Story {
                near: near.map(zone),
                far: far.map(zone),
                diffraction: 0.0,
                borne_out: 0.0,
                motion: 0.0,
                askew: 0.0,
                upright: 0.0,
            };
            causes(&story, [0.5; 2], [0.0; 3]).and_then(|c| c.first().copied())
        };
        assert_eq!(cause(Some(-6.0), None), Some(Cause::FocusTooNear));
        assert_eq!(cause(Some(6.0), None), Some(Cause::FocusTooFar));
        assert_eq!(cause(Some(-6.0), Some(-0.5)), Some(Cause::FocusTooFar));
    }
}
