//! Priors of a frame: the table's, with what capture facts, the user, the sky's edge and a learned lens say put in.

use super::evidence::{Evidence, Sample};
use super::model::Ready;
use super::parameters::Parameter::{Centre, Corner, Far, Growth, Horizon, Scale, Shake};
use super::parameters::{Belief, Free, Parameter, SIZE, TABLE, Theta};
use crate::optics::blur::{Parts, sigma_px};
use crate::quantity::{Distance, Estimate, Intent};
use crate::shot::{Capture, Source};

/// Priors of all parameters for a frame, and the knowledge that ties several of them.
#[derive(Clone, Debug)]
pub(super) struct Priors {
    /// One a parameter.
    beliefs: [Belief; SIZE],
    /// Far disc that the recorded focus distance implies: value, spread, how far it is trusted.
    recorded: Option<(f64, f64, f64)>,
    /// Where the camera focused, as a place of the model.
    pub focused_at: Option<Sample>,
}

/// Spread of the disc at the recorded focus point, px, and how far the point is trusted. Chosen: the camera may have
/// been swung round after focusing, or focused on something that stands off the ground.
const FOCUS_POINT: (f64, f64) = (1.5, 0.4);

/// Height a camera is taken to have over the ground before it, m. Only a wide prior rests on it. Chosen: on a tripod
/// between knee and eye height (common practice, no published source).
const USUAL_HEIGHT: f64 = 1.0;

/// Spreads of the horizon, in v, above and below the sky's lower edge. Chosen: hills and trees stand above the horizon,
/// often far above; only haze that passes for sky ends below it.
const SKYLINE_SPREAD: (f64, f64) = (0.05, 0.15);
/// How far above the horizon, in v, the lower edge of the sky usually is. Chosen: half a row of tiles and low hills.
const SKYLINE_RISE: f64 = 0.045;
/// Spread, in v, of a horizon found from how haze thins. Chosen: a row of tiles, the error that three rows leave in a line's root.
const VEILED_SPREAD: f64 = 0.06;

/// Least spread of the common factor of the widths (ln). Chosen: no estimator is calibrated more closely than this over
/// all content.
const LEAST_SCALE: f64 = 0.04;

/// Pixel pitch, um, where none is known. Chosen: between the pitches of common large sensors, 3.7 to 6 um.
const USUAL_PITCH: f64 = 4.5;
/// Spread of what a lens that was learned adds to what is expected of it, um: at the centre, at the corner. Chosen:
/// less than half of what an unknown lens may have.
const BEYOND_LEARNED: (f64, f64) = (0.7, 2.0);

impl Priors {
    /// The priors that the capture facts and the user's words give, and a streak of this length that the widths hold.
    pub(super) fn new(e: &Evidence, capture: &Capture, intent: &Intent, shake: Option<Estimate>) -> Self {
        let mut priors = Self { beliefs: TABLE.map(|row| row.prior), recorded: None, focused_at: None };
        let deep = (e.bottom + 0.15).max(0.3);
        let growth = growth(e, intent, capture.f_number.as_ref().map(|f| f.value), deep).unwrap_or(Growth.row().prior);
        priors.put(Growth, growth);
        let far = Far.row().prior;
        let span = growth.mean.exp() * deep;
        priors.put(Far, Belief { below: far.below * span.max(3.0), ..far });
        match (e.veiled, e.skyline) {
            (Some(v), _) => priors.put(Horizon, Belief::even(v, VEILED_SPREAD)),
            (None, Some(v)) => {
                let (below, above) = SKYLINE_SPREAD;
                priors.put(Horizon, Belief { mean: v + SKYLINE_RISE, below, above });
            }
            (None, None) => {}
        }
        let px = |um: f64| um / e.pitch_um.unwrap_or(USUAL_PITCH);
        let (centre, corner) =
            if e.learned() { BEYOND_LEARNED } else { (Centre.row().prior.above, Corner.row().prior.above) };
        priors.put(Centre, Belief::even(0.0, px(centre)));
        priors.put(Corner, Belief::even(0.0, px(corner)));
        // What the measuring says its widths have in common stands before what they were found to have.
        if let Some(sd) = e.common {
            priors.put(Scale, Belief::even(0.0, sd.max(LEAST_SCALE)));
        }
        priors.recorded = e.reach.zip(capture.focus_distance_m.as_ref()).map(|(reach, recorded)| {
            let [near, far] = far_discs(recorded.value, reach, intent.inverse_far());
            let middle = 0.5 * (near + far);
            let trust = if recorded.source == Source::Given { 0.9 } else { 0.5 };
            (middle, (0.5 * (far - near)).hypot(0.2 * middle.abs()).hypot(0.5), trust)
        });
        priors.focused_at = capture.focus_point.as_ref().map(|p| e.place(p.value));
        if let Some(length) = shake {
            priors.expect_shake(length);
        }
        priors
    }

    /// What is believed of a parameter.
    #[inline]
    pub(super) fn of(&self, p: Parameter) -> &Belief {
        &self.beliefs[p as usize]
    }

    fn put(&mut self, p: Parameter, belief: Belief) {
        self.beliefs[p as usize] = belief;
    }

    /// Where descents start: at what is believed most, unless the table says otherwise.
    pub(super) fn start(&self) -> Theta {
        Theta(Parameter::ALL.map(|p| p.row().start.unwrap_or(self.of(p).mean)))
    }

    /// Energy of the separate beliefs that are switched on.
    pub(super) fn energy(&self, t: &Theta, free: Free) -> f64 {
        free.iter().map(|p| self.of(p).energy(t[p]).0).sum()
    }

    /// Energy of what the camera recorded of its focus, distance and point. Both are trusted only so far: a wrong
    /// record costs a fixed price, so that it can break a tie but not outvote the picture.
    pub(super) fn recorded_energy(&self, t: &Theta) -> f64 {
        let trusted = |z: f64, trust: f64| -(trust * (-0.5 * z * z).exp() + (1.0 - trust) * 0.3).ln();
        let distance = self.recorded.map_or(0.0, |(mean, sd, trust)| trusted((t[Far] - mean) / sd, trust));
        let point = self.focused_at.map_or(0.0, |s| trusted(Ready::new(t).disc(&s) / FOCUS_POINT.0, FOCUS_POINT.1));
        distance + point
    }

    /// How many times faster than usual the ground's blur grows downwards in a parameter vector.
    pub(super) fn haste(&self, t: &Theta) -> f64 {
        (t[Growth] - self.of(Growth).mean).exp()
    }

    /// Expects the shake of a measured streak: what its length adds to a width averaged over directions.
    fn expect_shake(&mut self, length: Estimate) {
        let sigma = |b: f64| sigma_px(&Parts { motion_px: b, ..Default::default() });
        let sd = (sigma(length.value + length.sd) - sigma(length.value)).max(0.1 * sigma(length.value)) + 0.05;
        self.put(Shake, Belief::even(sigma(length.value), sd));
    }
}

/// Signed discs of the far scene, px, that the bounds of a focus distance leave, the nearest focus first. `reach`: disc of what lies at
/// infinity times the focus distance, px m; `inverse_far`: of the far scene's distance, 1/m.
///
/// The thin lens with a focus beyond many focal lengths: c(Z) = K (1/Z - 1/s).
pub(super) fn far_discs(focus: Distance, reach: f64, inverse_far: f64) -> [f64; 2] {
    let (low, high) = focus.bounds();
    [low, high].map(|s| reach * (inverse_far - 1.0 / s))
}

/// ln of the growth of the disc over ground: from the camera's height or the nearest distance where the user gives one,
/// else from a usual height. `deep`: from the horizon to the lower edge, in v.
///
/// Ground seen from height h has inverse depth (v - horizon) D p / (f h), hence a disc that grows by f D / (N h) a unit
/// of v (McCloskey and Langer, CVPR 2009; D: half diagonal).
fn growth(e: &Evidence, intent: &Intent, f_number: Option<f64>, deep: f64) -> Option<Belief> {
    let usual = e.focal_m.zip(f_number).map(|(f, n)| f * e.half_diagonal / n);
    // From the far scene to the nearest ground the disc grows by the difference of their inverse distances.
    let across = intent.near_m.map(|near| 1.0 / near - intent.inverse_far()).filter(|d| *d > 0.0);
    match (usual, intent.camera_height_m, e.reach.zip(across)) {
        (Some(scale), Some(height), _) => Some(Belief::even((scale / height).ln(), 0.3)),
        (_, _, Some((reach, across))) => Some(Belief::even((reach * across / deep).ln(), 0.35)),
        // A lower camera or rising ground is rarer than ground that falls away or lies far off.
        (Some(scale), None, None) => Some(Belief { mean: (scale / USUAL_HEIGHT).ln(), below: 1.3, above: 0.7 }),
        (None, _, None) => None,
    }
}
