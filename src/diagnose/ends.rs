//! The near and the far end of a frame: which tiles each takes, what they say, and why where they say nothing.

use super::diagnosis::{FAR, NEAR};
use super::evidence::Evidence;
use super::foreground::Told;
use super::model::Ready;
use super::parameters::Theta;
use super::zones::{self, Reading};
use super::{Diagnosis, Frame, Zone, ZoneName, before, far_out, foreground};
use crate::judge::{self, Answer, Reason};
use crate::measure::TileMap;
use crate::quantity::{DISC_SIGMA, Flag, PIXEL_SIGMA};
use crate::stats::upper_median;

/// Difference of ln width from which what rows or a group of tiles show is softer than an end is otherwise. Chosen: a quarter, some
/// three times what widths of one texture have in common.
const SOFTER: f64 = 0.25;

/// What was found at the two ends.
pub(super) struct Ends {
    /// Readings of every zone, in the order of [`ZoneName::JUDGED`], one beside each mode.
    pub readings: Vec<Vec<Option<Reading>>>,
    /// Why near and far have none.
    pub reasons: [Option<Reason>; 2],
    /// Whether near is known to be soft though no tile of it has a number.
    pub buried: bool,
    /// Whether one blur lies over all of a soft foreground.
    pub one_blur: bool,
    /// Whether an end was found far out of focus where the model has it otherwise.
    pub far_out: bool,
    /// Whether near is a thing that stands before sharp ground, which the model has not.
    pub before: bool,
    /// Whether near is judged though its foreground is drawn in layers as water is.
    pub layered: bool,
    /// Whether haze hides the far scene.
    pub hidden: bool,
    /// Factor by which ground reads wider than the far scene beside it, where it does.
    pub step: Option<f64>,
    /// Whether what stands at the horizon may have swayed in the wind.
    pub sways: bool,
}

impl Frame<'_> {
    /// Finds the two ends and reads every zone. `drawn_out`: whether water would have been drawn out, the more the nearer it is.
    pub(super) fn ends(&self, d: &mut Diagnosis, drawn_out: bool) -> Ends {
        let best = &self.posterior.modes[0].theta;
        let credible = zones::credible(self.map.tiles.len(), self.e, best, &self.problem.surface, &self.problem.mix);
        let horizon = zones::horizon(best, self.e);
        for zone in &mut d.zones {
            zone.tiles = match zone.name {
                ZoneName::Near => d.near_at.map_or_else(
                    || zones::near_tiles(self.map, self.e, &credible, horizon),
                    |at| zones::marked_tiles(self.map, at),
                ),
                ZoneName::Far => d.far_at.map_or_else(
                    || zones::far_tiles(self.map, self.e, &credible, horizon),
                    |at| zones::marked_tiles(self.map, at),
                ),
                name => zones::corner_tiles(self.map, name),
            };
        }
        let readings = d.zones.iter().map(|z| self.readings(z, d.far_at.is_some())).collect();
        let mut ends = Ends {
            readings,
            reasons: [None; 2],
            buried: false,
            one_blur: false,
            far_out: false,
            before: false,
            layered: false,
            hidden: false,
            step: None,
            sways: drawn_out && self.breaks_off(),
        };
        self.near(d, &mut ends, &credible, horizon, drawn_out);
        self.far(d, &mut ends, horizon, drawn_out);
        if d.near_at.is_none()
            && !(ends.buried || ends.one_blur)
            && ends.readings[NEAR][0].is_none_or(|r| r.side == 0.0)
        {
            self.step(&mut ends);
        }
        self.corners_in_water(d, &mut ends, drawn_out);
        ends
    }

    /// Takes back a near reading that says nothing of focus, and gives one to a foreground out of focus by far.
    fn near(&self, d: &mut Diagnosis, ends: &mut Ends, credible: &[Option<f64>], horizon: f64, drawn_out: bool) {
        let marked = d.near_at.is_some();
        let mut reason = None;
        if !marked {
            let beyond = judge::beyond_px(d.permitted_px, d.finest_px).hypot(PIXEL_SIGMA);
            let reading = ends.readings[NEAR][0];
            ends.one_blur = reading.is_some_and(|r| self.width(&r) > beyond.ln()) && foreground::one_blur(self.map);
            let scatters = !ends.one_blur
                && (zones::foreground_scatters(self.map, self.e, credible, horizon)
                    || zones::foreground_jumps(self.map));
            // Content only adds blur: what reads sharp, tile beside tile, is sharp there, planks or ripples.
            // So it is up to the limit where it has the contrast of what is dry.
            let within = if foreground::dry(self.map) { beyond.ln() } else { d.permitted_px.hypot(PIXEL_SIGMA).ln() };
            let sharp = ends.readings[NEAR][0].is_some_and(|r| self.width(&r) + r.sd < within);
            let layered = foreground::is_water(self.map);
            let as_the_rest = || reading.is_some_and(|r| foreground::soft_as_the_rest(self.e, self.width(&r), beyond));
            let optics = || ends.one_blur || !drawn_out && (foreground::grows(self.e, horizon) || as_the_rest());
            if layered && (scatters || !sharp && !optics()) {
                reason = Some(Reason::Water);
            } else if scatters {
                reason = Some(Reason::Scatters);
            }
            ends.layered = layered && !sharp && reason.is_none();
        }
        if reason.is_some() || !marked && self.out_of_reach(ends) {
            ends.readings[NEAR].fill(None);
        }
        if ends.readings[NEAR][0].is_none() && !marked && reason != Some(Reason::Water) {
            let least = 2.5 * d.permitted_px / DISC_SIGMA;
            let best = &self.posterior.modes[0].theta;
            if let Some(told) = zones::buried(self.map, self.e, credible, best, least) {
                ends.readings[NEAR].fill(Some(told));
                ends.buried = true;
            } else if let Some(told) = foreground::rising(self.map, self.e, horizon, d.permitted_px) {
                ends.readings[NEAR] = self.beside_modes(&told);
                ends.buried = true;
            } else if let Some(told) = far_out::lowest_far_out(self.map, self.e, d.permitted_px) {
                ends.readings[NEAR] = self.beside_modes(&told);
                ends.far_out = true;
            }
            if ends.buried {
                d.flags.push(Flag::NearBeyondMeasure);
            }
        }
        if !marked && !ends.buried {
            self.thing_before(d, ends, credible);
        }
        if ends.readings[NEAR][0].is_none() {
            ends.reasons[0] = reason.or(Some(Reason::NoDetail));
        }
    }

    /// Takes what stands before sharp ground at the lower edge for near, where it is softer than near is otherwise.
    fn thing_before(&self, d: &mut Diagnosis, ends: &mut Ends, credible: &[Option<f64>]) {
        let beyond = judge::beyond_px(d.permitted_px, d.finest_px).hypot(PIXEL_SIGMA);
        let Some((told, tiles)) = before::thing(self.map, self.e, credible, beyond) else { return };
        if ends.readings[NEAR][0].is_none_or(|r| self.width(&r) < told.ln_width - SOFTER) {
            ends.readings[NEAR] = self.beside_modes(&told);
            d.near_mut().tiles = tiles;
            (ends.before, ends.one_blur, ends.layered) = (true, true, false);
        }
    }

    /// Whether near reads as softer than focus can leave it: of snow or sand in even light the few tiles that tell are shading, which is
    /// as coarse in focus as out of it.
    fn out_of_reach(&self, ends: &Ends) -> bool {
        ends.readings[NEAR][0].is_some_and(|r| self.width(&r).exp() > DISC_SIGMA * self.e.largest_disc())
    }

    /// Takes back the readings of corners that lie in the water that hides the near end: how soft its ripples are, or what a long
    /// exposure made of them, says no more of the lens there than of the focus. What reads sharp is sharp, whatever it is.
    fn corners_in_water(&self, d: &mut Diagnosis, ends: &mut Ends, drawn_out: bool) {
        let within = d.permitted_px.hypot(PIXEL_SIGMA).ln();
        for (zone, reading) in d.zones.iter_mut().zip(&mut ends.readings) {
            let soft = reading[0].is_some_and(|r| self.width(&r) + r.sd >= within);
            let reason = ends.reasons[0].filter(|reason| match reason {
                Reason::Water => ZoneName::CORNERS.contains(&zone.name) && foreground::layered(self.map, &zone.tiles),
                Reason::Scatters => drawn_out && [ZoneName::BottomLeft, ZoneName::BottomRight].contains(&zone.name),
                _ => false,
            });
            if let Some(reason) = reason.filter(|_| soft) {
                reading.fill(None);
                zone.answer = Answer::unknown(reason);
            }
        }
    }

    fn far(&self, d: &mut Diagnosis, ends: &mut Ends, horizon: f64, drawn_out: bool) {
        ends.hidden = d.far_at.is_none() && hides_far(self.map, self.e);
        if ends.hidden {
            // What is left of the ground there is near, and says nothing of the far scene.
            ends.readings[FAR].fill(None);
            d.far_mut().tiles.clear();
            ends.reasons[1] = Some(Reason::Hidden);
            return;
        }
        if d.far_at.is_none()
            && let Some((band, tiles)) = foreground::soft_band(self.map, self.e, horizon, d.permitted_px)
            && ends.readings[FAR][0].is_none_or(|r| self.width(&r) < band.ln_width - SOFTER)
        {
            ends.readings[FAR] = self.beside_modes(&band);
            d.far_mut().tiles = tiles;
        }
        if d.far_at.is_none() && far_out::may_mirror(self.map, self.e, &d.far().tiles, d.permitted_px) {
            // What stands there is the far scene.
            d.far_mut().tiles = far_out::fine_above(self.map, self.e, &d.far().tiles, d.permitted_px);
            ends.readings[FAR] = self.readings(d.far(), false);
        } else if d.far_at.is_none() {
            let seen = self.e.skyline.is_some() || !far_out::may_be_sky(self.map, &d.far().tiles);
            let inside =
                far_out::scene_far_out(self.map, self.e, &d.far().tiles, d.permitted_px, drawn_out).filter(|_| seen);
            let told = inside.or_else(|| {
                let (told, tiles) = far_out::above_far_out(self.map, self.e, &d.far().tiles, d.permitted_px)?;
                d.far_mut().tiles = tiles;
                Some(told)
            });
            self.far_out(ends, told);
        }
        if ends.readings[FAR][0].is_none() {
            ends.reasons[1] = Some(Reason::NoDetail);
        }
    }

    /// Takes what is out of focus by far for the far scene, where it is.
    fn far_out(&self, ends: &mut Ends, told: Option<Told>) {
        let Some(told) = told else { return };
        let best = Ready::new(&self.posterior.modes[0].theta);
        let narrower = ends.readings[FAR][0].is_none_or(|r| self.width(&r) < told.ln_width - SOFTER);
        if narrower {
            ends.readings[FAR] = self.beside_modes(&told);
        }
        // What the model has where it stands and on the same side of the focus stays the model's.
        if narrower || told.side * best.disc(&told.place) < 0.0 {
            ends.readings[FAR].iter_mut().flatten().for_each(|r| r.side = told.side);
            ends.far_out = true;
        }
    }

    /// Whether the blur breaks off before what stands at the horizon (see [`foreground::breaks_off`]).
    fn breaks_off(&self) -> bool {
        let best = Ready::new(&self.posterior.modes[0].theta);
        foreground::breaks_off(self.e, |s| best.at(s, &self.problem.surface).y)
    }

    /// A step of the blur is no defocus: what ground reads beyond the scene right above it is its texture's or the file's.
    /// Where edges were sharpened, and so texture beside them smoothed, that much is taken out; else the lower part may be
    /// water, and says nothing.
    fn step(&self, ends: &mut Ends) {
        let best = Ready::new(&self.posterior.modes[0].theta);
        ends.step = foreground::step(self.e, |s| best.at(s, &self.problem.surface).y);
        let Some(step) = ends.step.map(f64::ln) else { return };
        if !self.map.sharpened() {
            ends.readings[NEAR].fill(None);
            ends.reasons[0] = ends.reasons[0].or(Some(Reason::Scatters));
            return;
        }
        for reading in ends.readings[NEAR].iter_mut().flatten() {
            reading.departure -= step;
            reading.sd = reading.sd.hypot(foreground::STEP_DOUBT * step);
        }
    }

    /// ln of a reading's width beside the best mode.
    fn width(&self, r: &Reading) -> f64 {
        self.posterior.ln_width(self.problem, 0, r)
    }

    /// One reading of a zone beside every mode.
    fn readings(&self, zone: &Zone, marked: bool) -> Vec<Option<Reading>> {
        let usual = zones::usual_departure(zone.name, marked);
        let read =
            |theta: &Theta| zones::read(&zone.tiles, usual, self.e, theta, &self.problem.surface, &self.problem.mix);
        self.posterior.modes.iter().map(|m| read(&m.theta)).collect()
    }

    /// A width told by rows of tiles as a reading beside every mode.
    fn beside_modes(&self, told: &Told) -> Vec<Option<Reading>> {
        let beside = |theta: &Theta| {
            let model = self.problem.predict(theta, &told.place).y;
            Reading { departure: told.ln_width - model, ..told.reading() }
        };
        self.posterior.modes.iter().map(|m| Some(beside(&m.theta))).collect()
    }
}

/// Distance, as a multiple of the nearest, from which ground says something of the far scene. Chosen: an eighth of the
/// nearest ground's blur is left there.
const FAR_FROM: f64 = 8.0;
/// Share of the foreground's contrast that haze must leave a tile for it to show more of the scene than of the
/// haze. Derived: 1 / e, what is left at the distance that the haze itself sets as its scale.
const SEEN: f64 = 0.37;
/// Fewest measured tiles of such a contrast that show the far scene. Chosen: two may be misread.
const FAR_TILES: usize = 3;
/// Fewest measured tiles of any contrast, as a share of the columns, that show the far scene through the haze: air takes as much
/// from fine detail as from coarse (Koschmieder 1924), and leaves its width as it is. Chosen: what half of a row tells is no stray.
const THROUGH: f64 = 0.5;

/// Whether haze hides the far scene: a veil, and next to nothing measured in or beyond it.
fn hides_far(map: &TileMap, e: &Evidence) -> bool {
    let Some(horizon) = e.veiled else { return false };
    let limit = horizon + (e.bottom - horizon) / FAR_FROM;
    let lowest = &map.tiles[map.tiles.len() - map.tiles.len() / 3..];
    let seen = SEEN * upper_median(lowest.iter().map(|t| t.contrast).collect()).unwrap_or(0.0);
    let told = || e.samples.iter().filter(|s| !s.bounded && s.v < limit);
    let clear = told().filter(|s| map.tiles[s.index].contrast > seen).count();
    clear < FAR_TILES && (told().count() as f64) < THROUGH * e.columns as f64
}
