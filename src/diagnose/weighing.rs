//! Weighs the causes over the posterior: every draw tells a story of near and far, and each story names its causes.

use super::diagnosis::{FAR, NEAR};
use super::doubts::hardly_apart;
use super::ends::Ends;
use super::implied::{self, Moments};
use super::parameters::Parameter::{Corner, Horizon, Power, Rise, Shift, Tilt};
use super::parameters::Theta;
use super::posterior::Draw;
use super::verdict::{self, Known};
use super::weigh::{self, DIFFRACTION_SIGMA, Parts, Story, Tally};
use super::zones::{self, Reading};
use super::{Cause, Diagnosis, Frame, Unsettled, Verdict};
use crate::judge::{self, Answer};
use crate::quantity::{DISC_SIGMA, Estimate, Flag, Intent, TRACK_SIGMA};
use crate::shot::Capture;
use crate::stats::Dice;

/// How often the zones' own noise is drawn for each draw of the model. Chosen: as often as time allows.
const NOISES: u32 = 4;

/// Sums over the draws for one end of the frame.
#[derive(Clone, Copy, Debug, Default)]
struct End {
    optical: Moments,
    whole: Moments,
    seen: f64,
    soft: f64,
    clearly: f64,
}

impl End {
    fn add(&mut self, p: &Parts, permitted: f64, beyond: f64, weight: f64) {
        self.optical.add(p.optical, weight);
        self.whole.add(p.whole, weight);
        self.seen += weight;
        self.soft += if p.optical > permitted { weight } else { 0.0 };
        self.clearly += if p.optical > beyond { weight } else { 0.0 };
    }
}

/// What all the draws say together.
#[derive(Default)]
struct Sums {
    /// Near and far.
    ends: [End; 2],
    /// What each draw says of the frame, and how the rules that name its causes are moved.
    stories: Vec<(Draw, Story, [f64; 3])>,
    /// Inverse distances of focus and nearest ground, 1/m.
    focus: Moments,
    near: Moments,
}

impl Frame<'_> {
    /// Weighs the causes over the posterior; fills near and far and the implied distances on the way.
    pub(super) fn weigh(&self, d: &mut Diagnosis, found: &Ends, capture: &Capture, intent: &Intent) {
        let readings = &found.readings;
        let sums = self.sum(d, found, intent);
        for k in 0..2 {
            self.fill_end(d, k, &sums.ends[k], &readings[k][0], found);
        }
        let known = Known {
            ends: [d.near().answer.judgement, d.far().answer.judgement],
            sharpened: self.map.sharpened(),
            facts: self.e.lambda_n_px.is_some(),
        };
        let exposure = capture.exposure_s.as_ref().map(|t| t.value);
        let sways = [found.before && weigh::draws_out(exposure), found.sways];
        d.verdict = self.verdict(d, &sums.stories, (exposure, sways), &known);
        if d.verdict.cause == Cause::Motion {
            // What is drawn out alike at both ends tells of no focus.
            if hardly_apart(d) {
                d.verdict.also.retain(|c| !c.is_focus());
            }
            // A width averaged over directions hides how far the streak reaches along its own, and what lies in it has none.
            d.ends_mut().iter_mut().for_each(|z| {
                z.answer = Answer { judgement: judge::Judgement::Beyond, reason: None };
            });
        }
        let recorded = capture.focus_distance_m.as_ref().map(|f| f.value);
        let f_number = capture.f_number.as_ref().map(|f| f.value);
        let doubt = [&readings[NEAR][0], &readings[FAR][0]].map(|r| self.disc_doubt(r) / self.e.reach.unwrap_or(1.0));
        // What is far out of focus lies on no plane of the model, whose distances are not the picture's then.
        let told = |sum: &Moments| sum.get().filter(|_| !found.far_out);
        let focus = told(&sums.focus).map(|(mean, sd)| (mean, sd.hypot(doubt[1])));
        let near = told(&sums.near).map(|(mean, sd)| (mean, sd.hypot(doubt[0]).hypot(doubt[1])));
        let grows = !hardly_apart(d);
        let blur = implied::Blur { focus, near, grows, permitted_px: d.permitted_px };
        d.implied = implied::conclude(self.e, intent, recorded, f_number, &blur);
        let askew = d.verdict.cause == Cause::LensAsymmetry;
        if (askew || d.verdict.also.contains(&Cause::LensAsymmetry)) && !self.sides_bear_out() {
            d.verdict.also.retain(|c| *c != Cause::LensAsymmetry);
            if askew && known.ends.iter().all(|e| e.passes()) {
                verdict::leave_sharp(&mut d.verdict);
            } else if askew {
                verdict::leave_open(&mut d.verdict, Unsettled::CausesAlike);
            }
        }
        let against = recorded.zip(focus).is_some_and(|(r, picture)| judge::contradicts(r, picture));
        if against && recorded.is_some_and(|r| self.misplaced(r, intent.inverse_far(), readings)) {
            d.flags.push(Flag::FocusDistanceContradicted);
            verdict::doubt(&mut d.verdict);
        }
        if found.step.is_some() {
            verdict::doubt(&mut d.verdict);
        }
        // On which side of the focus what is far out lies is told by where it stands in the picture, and by nothing else; what is
        // drawn in layers may be water however its blur grows.
        if found.far_out || found.before || found.layered {
            verdict::cap(&mut d.verdict, verdict::HALF_SEEN);
        }
    }

    /// Sums over the draws, each with the zones' own noise drawn several times.
    fn sum(&self, d: &Diagnosis, found: &Ends, intent: &Intent) -> Sums {
        let readings = &found.readings;
        let (permitted, beyond) = (d.permitted_px, judge::beyond_px(d.permitted_px, d.finest_px));
        let marked = [d.near_at.is_some(), d.far_at.is_some()];
        let inverse_far = intent.inverse_far();
        let borne_out = if self.shows_diffraction { self.diffraction() } else { 0.0 };
        // Diffraction that the pixels hardly show is no cause by itself.
        let diffraction = if borne_out > beyond { borne_out } else { 0.0 };
        let (mut sums, mut normal) = (Sums::default(), Dice::new(11));
        let noisy =
            |d: &Draw| std::iter::repeat_n(Draw { weight: d.weight / f64::from(NOISES), ..*d }, NOISES as usize);
        for draw in self.posterior.draws.iter().flat_map(noisy) {
            let z = [normal.normal(), normal.normal(), normal.normal()];
            let parts: [Option<Parts>; 2] = std::array::from_fn(|k| {
                let reading = readings[k][draw.mode].as_ref()?;
                Some(self.parts(&draw, reading, &self.nominal(k, &reading.place, &draw.theta, marked[k]), z[k]))
            });
            for (end, p) in sums.ends.iter_mut().zip(parts) {
                if let Some(p) = p {
                    end.add(&p, permitted, beyond, draw.weight);
                }
            }
            let motion = self.motion.map_or(0.0, |m| TRACK_SIGMA * (m.value + m.sd * z[2]).max(0.0));
            let rule = std::array::from_fn(|_| normal.normal());
            let (askew, upright) = self.askew(&draw.theta);
            let story = Story { near: parts[0], far: parts[1], diffraction, borne_out, motion, askew, upright };
            sums.stories.push((draw, story, rule));
            if let (Some(reach), Some(focal), [Some(_), Some(_)]) = (self.e.reach, self.e.focal_m, parts) {
                let ends = self.ends_of(&draw, parts, [&readings[NEAR][draw.mode], &readings[FAR][draw.mode]], marked);
                let (s, n) = implied::inverse_distances(ends[0], ends[1], reach, focal, inverse_far);
                sums.focus.add(s, draw.weight);
                sums.near.add(n, draw.weight);
            }
        }
        sums
    }

    /// The verdict, by the causes beyond the permitted blur, or where near and far pass by those beyond the room its definition leaves. Where
    /// one end passes, which of the two limits is asked of it may decide the cause; it isn't firm then.
    fn verdict(
        &self,
        d: &Diagnosis,
        stories: &[(Draw, Story, [f64; 3])],
        moving: (Option<f64>, [bool; 2]),
        known: &Known,
    ) -> Verdict {
        let (permitted, beyond) = (d.permitted_px, judge::beyond_px(d.permitted_px, d.finest_px));
        let by = |limits: [f64; 2]| verdict::verdict(&self.tally(stories, limits, moving), known);
        let passes = known.ends.map(|j| j.passes());
        if passes == [true; 2] {
            return by([beyond; 2]);
        }
        let mut verdict = by([permitted; 2]);
        if passes != [false; 2] && by(passes.map(|p| if p { beyond } else { permitted })).cause != verdict.cause {
            verdict::cap(&mut verdict, verdict::HALF_SEEN);
        }
        verdict
    }

    /// The causes that the draws tell, by the limits of near and far. `moving`: the exposure, s, and whether what stands before the
    /// scene and what stands at the horizon may have swayed.
    fn tally(&self, stories: &[(Draw, Story, [f64; 3])], limits: [f64; 2], moving: (Option<f64>, [bool; 2])) -> Tally {
        let (exposure, sways) = moving;
        let mut tally = Tally::default();
        for (draw, story, rule) in stories {
            let causes = weigh::causes(story, limits, *rule);
            let causes = causes.as_deref();
            let moved = [sways[0] || weigh::may_flow(exposure, self.problem.priors.haste(&draw.theta)), sways[1]];
            if moved != [false; 2] {
                tally.add_moving(causes, moved, draw.weight);
            } else if self.posterior.flat(draw) || self.e.lambda_n_px.is_none() && weigh::alike(story) {
                let times = |(end, limit): (&Option<Parts>, f64)| end.as_ref().map_or(0.0, |p| p.optical / limit);
                let worst = [&story.near, &story.far].into_iter().zip(limits).map(times).fold(0.0, f64::max);
                tally.add_alike(causes, worst, draw.weight);
            } else {
                tally.add(causes, draw.weight);
            }
        }
        tally
    }

    /// Fills near (0) or far (1) with what the draws say of it.
    fn fill_end(&self, d: &mut Diagnosis, k: usize, end: &End, reading: &Option<Reading>, found: &Ends) {
        let zone = &mut d.zones[k];
        let (Some((optical, sd)), Some((whole, whole_sd)), Some(r), true) =
            (end.optical.get(), end.whole.get(), reading, end.seen > 0.5)
        else {
            zone.answer = Answer::unknown(found.reasons[k].unwrap_or(judge::Reason::NoDetail));
            return;
        };
        let used = r.used.round() as u32;
        zone.optical_px = Some(Estimate::new(optical, sd, used));
        zone.blur_px = Some(Estimate::new(whole, whole_sd, used));
        zone.soft = Some(end.soft / end.seen);
        zone.answer = Answer::of(end.soft / end.seen, end.clearly / end.seen);
    }

    /// Diffraction alone, sigma px.
    pub(super) fn diffraction(&self) -> f64 {
        DIFFRACTION_SIGMA * self.e.recorded_lambda_n_px.unwrap_or(0.0)
    }

    /// What a tilted or decentred lens adds at the frame's softer side, and what one decentred up or down adds at top
    /// or bottom, sigma px.
    fn askew(&self, t: &Theta) -> (f64, f64) {
        let side = 0.85 * self.e.right;
        let tilt = DISC_SIGMA * (t[Tilt] * side).abs();
        // A lens decentred to a side shows as left against right; up or down it can't be told from defocus.
        let lens = |u: f64, v: f64| (t[Corner] * (u - t[Shift]).hypot(v - t[Rise]).powf(t[Power])).powi(2);
        let heights = [t[Horizon].max(-self.e.bottom), zones::NEAREST * self.e.bottom];
        let off = t[Shift] != 0.0 || t[Rise] != 0.0;
        let across = if off {
            heights.iter().map(|&v| (lens(-side, v) - lens(side, v)).abs()).fold(0.0, f64::max).sqrt()
        } else {
            0.0
        };
        let down = if off { (lens(0.0, heights[0]) - lens(0.0, heights[1])).abs().sqrt() } else { 0.0 };
        (tilt.max(across), down)
    }
}
