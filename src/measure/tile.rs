//! One tile: its edges, where those are in doubt its spectrum, and what the two say together.

use super::claim::{self, Answer};
use super::edge::{self, Edge};
use super::noise::NoiseModel;
use super::profile::Profile;
use super::pupil::Pupil;
use super::scene::{Opinion, Rings};
use super::shape::Shape;
use super::spectrum::Spectrometer;
use super::survey::Survey;
use super::tilemap::{Tile, TileState};
use super::{direction, pool};
use crate::quantity::{Estimate, Region};
use crate::shot::Plane;

/// Edges fitted a tile at most, and candidates tried.
const EDGES: usize = 16;
const TRIES: usize = 48;
/// Candidates tried besides that face another way, where all edges face one way.
const ACROSS_TRIES: usize = 10;
/// Variance over that of the noise below which a spectrum says nothing.
const FAINT: f64 = 3.0;
/// Share of clipped samples from which a tile counts as clipped when it yields no number.
const CLIPPED: f64 = 0.2;
/// Contrast below which there is nothing to measure.
const CONTRAST: f64 = 0.01;

/// Gathering of the gradients (see [`Survey::gathering`]) up to which phases are random and no edge is one; up to
/// which edges crowd so that many likenesses pass for edges.
const RANDOM: f64 = 2.2;
const CROWDED: f64 = 2.7;
/// From here on there are edges to be had: where none is good, the spectrum alone does not count (brickwork).
const GATHERED: f64 = 2.9;
/// Share of the tried candidates that must be good edges: where edges stand free, where they crowd, and where
/// there are fewer but the spectrum says the same.
const FREE_YIELD: f64 = 0.25;
const CROWDED_YIELD: f64 = 0.45;
const CONFIRMED_YIELD: f64 = 0.15;
/// Share below which detail is too dense for edges at all.
const DENSE: f64 = 0.35;
/// Slope of a scene's own amplitudes from which its detail goes on to the finest scale, so that the fall of its
/// spectrum is the lens's: steeper ones without edges (cloud, haze, water) may be soft by themselves.
const FINE: f64 = -0.55;
/// Difference of the two opinions, in standard deviations, up to which they agree.
const AGREEMENT: f64 = 1.8;
/// Relative error that edges in a crowd share beyond their scatter: neighbours stand too close to be told apart.
const CROWD_ERROR: f64 = 0.12;

/// What the strongest gradients of a tile turned out to be.
struct Trial {
    edges: Vec<Edge>,
    /// How many of them, from the first, were found without regard to where they face.
    plain: usize,
    /// Share of the tried ones that are edges.
    share: f64,
    /// Whether any stood out of the noise.
    loud: bool,
}

/// Fits edges at the strongest gradients until there are enough, or no hope.
fn try_edges(plane: &Plane, survey: &Survey, noise: &NoiseModel, variance: f64) -> Trial {
    let mut edges = Vec::new();
    let mut profile = Profile::default();
    // A difference of two 2 x 2 means has half the variance of a sample.
    let threshold = (5.0 * (variance / 2.0).sqrt()) as f32;
    let mut tried = 0;
    for candidate in survey.candidates.iter().take(TRIES).take_while(|c| c.strength > threshold) {
        tried += 1;
        edges.extend(edge::fit(plane, candidate, noise, &mut profile));
        let hopeless = tried >= 12 && (edges.len() as f64) < 0.5 * CONFIRMED_YIELD * f64::from(tried);
        if edges.len() == EDGES || hopeless {
            break;
        }
    }
    let share = edges.len() as f64 / f64::from(tried.max(1));
    let plain = edges.len();
    if plain >= pool::FEWEST
        && let Some(facing) = direction::one_way(&edges)
    {
        // A streak leaves only the edges along it strong; what it does to the others is told by weaker ones.
        let rest = survey.candidates.iter().skip(tried as usize).take_while(|c| c.strength > threshold);
        let across = rest.filter(|c| edge::faces_away(plane, c, facing));
        edges.extend(across.take(ACROSS_TRIES).filter_map(|c| edge::fit(plane, c, noise, &mut profile)));
    }
    Trial { edges, plain, share, loud: tried > 0 }
}

/// What was read in one tile, before the frame has its say.
pub(super) struct Reading {
    /// Everything but the width.
    tile: Tile,
    trial: Trial,
    opinion: Option<Opinion>,
    /// Spectra at a half and, where there are few edges, a quarter of the size, to bear the edges out or find a disc.
    rings: [Option<Rings>; 2],
    /// Whether edges crowd, whether phases are random, and whether gradients gather in edges beyond doubt.
    crowded: bool,
    random: bool,
    gathered: bool,
}

impl Reading {
    /// Edges that stand free.
    pub(super) fn free(&self) -> &[Edge] {
        if self.stands_free() { &self.trial.edges } else { &[] }
    }

    fn stands_free(&self) -> bool {
        stands_free(self.crowded, &self.trial)
    }
}

fn stands_free(crowded: bool, trial: &Trial) -> bool {
    !crowded && trial.share >= FREE_YIELD && trial.plain >= pool::FEWEST
}

/// Reads one tile: its edges, and its spectrum where they leave a doubt.
pub(super) fn read(
    plane: &Plane,
    region: Region,
    survey: &Survey,
    noise: &NoiseModel,
    pupil: &Pupil,
    spectrometer: &mut Spectrometer,
) -> Reading {
    let range = f64::from(plane.range()).max(1.0);
    let variance = noise.variance(survey.mean);
    // Four samples average in a bin.
    let detail = (survey.variance - variance / 4.0).max(0.0).sqrt();
    let contrast = if survey.mean > 0.0 { detail / survey.mean } else { 0.0 };
    let lit = survey.count > 0 && survey.mean > 0.0;
    let gathering = if lit { survey.gathering(variance) } else { None };
    let crowded = gathering.is_some_and(|g| g < CROWDED);
    let random = gathering.is_some_and(|g| g < RANDOM);
    let trial = if lit && !random {
        try_edges(plane, survey, noise, variance)
    } else {
        Trial { edges: Vec::new(), plain: 0, share: 0.0, loud: random }
    };
    let opinion = if gathering.is_some() && !stands_free(crowded, &trial) {
        spectrometer.read(plane, region, noise, survey, crowded && trial.share < DENSE, pupil)
    } else {
        None
    };
    let told = lit && survey.variance > FAINT * variance / 4.0;
    let rings = [
        told.then(|| spectrometer.shrunk::<2>(plane, region, noise, survey)).flatten(),
        (told && !stands_free(crowded, &trial))
            .then(|| spectrometer.shrunk::<4>(plane, region, noise, survey))
            .flatten(),
    ];
    let clipped = survey.count > 0 && survey.clipped as f64 > CLIPPED * survey.count as f64;
    let state = if clipped {
        TileState::Clipped
    } else if !trial.loud && contrast > CONTRAST && detail < 2.0 * variance.sqrt() {
        TileState::Noisy
    } else {
        TileState::NoDetail
    };
    let tile = Tile {
        x: region.x,
        y: region.y,
        width: region.width,
        height: region.height,
        state,
        contrast,
        noise: variance.sqrt() / range,
        level: survey.mean / range,
        blur: None,
        spread: None,
    };
    let gathered = gathering.is_some_and(|g| g >= GATHERED);
    Reading { tile, trial, opinion, rings, crowded, random, gathered }
}

/// Concludes on one tile; the edges that speak for it come with it.
pub(super) fn conclude(reading: &Reading, shape: &Shape) -> (Tile, Vec<Edge>) {
    let edges = shape.applied(&reading.trial.edges);
    let spread = direction::spread(&edges);
    let seen =
        pool::pool(&edges[..reading.trial.plain]).map(|b| spread.as_ref().and_then(direction::averaged).unwrap_or(b));
    let (blur, disagreeing) = if reading.stands_free() {
        (seen, false)
    } else {
        let opinion = reading.opinion.filter(|_| !reading.gathered || seen.is_some());
        together(seen, opinion, reading.trial.share, reading.random)
    };
    // A spectrum over all directions says nothing of edges that all face one way.
    let one_way = direction::one_way(&reading.trial.edges[..reading.trial.plain]).is_some();
    let answers =
        reading.rings.iter().flatten().filter(|_| !one_way).map(|rings| claim::weigh(rings, blur.map(|b| b.value)));
    let answer = answers.into_iter().find(|a| !matches!(a, Answer::Fair)).unwrap_or(Answer::Fair);
    let (blur, disagreeing, seen) = match answer {
        Answer::Fair => (blur, disagreeing, seen),
        Answer::Disc(disc) => (Some(disc), false, None),
        Answer::Wider => (None, true, None),
    };
    let mut tile = Tile { blur, ..reading.tile.clone() };
    if blur.is_some() {
        tile.state = TileState::Measured;
    } else if disagreeing {
        tile.state = TileState::Disagreeing;
    }
    if blur.is_some() && seen.is_some() && reading.trial.share >= CONFIRMED_YIELD {
        tile.spread = spread;
        (tile, edges)
    } else {
        (tile, Vec::new())
    }
}

/// What edges among a crowd and the spectrum say together, and whether they contradict each other.
fn together(edges: Option<Estimate>, spectrum: Option<Opinion>, share: f64, random: bool) -> (Option<Estimate>, bool) {
    match (edges.filter(|_| share >= CONFIRMED_YIELD), spectrum) {
        (Some(e), Some(Opinion { blur: s, .. })) => {
            let (a, b) = ((e.sd / e.value).powi(2) + CROWD_ERROR.powi(2), (s.sd / s.value).powi(2));
            if (e.value / s.value).ln().abs() > AGREEMENT * (a + b).sqrt() {
                return (None, true);
            }
            let value = ((e.value.ln() / a + s.value.ln() / b) / (1.0 / a + 1.0 / b)).exp();
            (Some(Estimate::new(value, value / (1.0 / a + 1.0 / b).sqrt(), e.n)), false)
        }
        (Some(e), None) if share >= CROWDED_YIELD => {
            (Some(Estimate::new(e.value, e.sd.hypot(CROWD_ERROR * e.value), e.n)), false)
        }
        (None, Some(o)) if !random || o.slope > FINE => (Some(o.blur), false),
        _ => (None, false),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn opinion(value: f64, slope: f64) -> Option<Opinion> {
        Some(Opinion { blur: Estimate::new(value, 0.13 * value, 9), slope })
    }

    #[test]
    fn opinions_that_agree_are_weighed_together() {
        let (both, differ) = together(Some(Estimate::new(1.0, 0.05, 16)), opinion(1.1, -0.5), 0.5, false);
        let both = both.expect("a width");
        assert!(!differ && both.value > 1.0 && both.value < 1.1 && both.sd < 0.13, "{both:?}");
    }

    #[test]
    fn opinions_that_differ_beyond_their_errors_give_no_number() {
        let (both, differ) = together(Some(Estimate::new(0.6, 0.03, 16)), opinion(1.1, -0.5), 0.5, false);
        assert!(both.is_none() && differ);
    }

    #[test]
    fn random_phases_need_detail_down_to_the_finest_scale() {
        assert!(together(None, opinion(1.0, -1.0), 0.0, true).0.is_none());
        assert!(together(None, opinion(1.0, -0.3), 0.0, true).0.is_some());
        assert!(together(None, opinion(1.0, -1.0), 0.0, false).0.is_some());
    }

    #[test]
    fn a_few_edges_in_a_crowd_say_nothing_alone() {
        assert!(together(Some(Estimate::new(1.0, 0.05, 6)), None, 0.2, false).0.is_none());
    }
}
