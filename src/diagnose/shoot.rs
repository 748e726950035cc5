//! What the frames of a shoot show together of a lens that none of them shows alone: whether a corner is softer than the one across
//! from it whatever lies there, and how sharp the corners ever were.
//!
//! The field of a lens is fixed to the sensor while scenes, focus and f-number change. Content and focus only ever add blur, so the
//! sharpest that a place ever was bounds the lens there from above. What can bias it: things that stand near on one side in every
//! scene, as beside one path; of a picture turned upright the corners are those of the picture, so frames of another shape are apart.

use super::mirrored::PAIRS;
use super::{Diagnosis, ZoneName};
use crate::judge::{Judgement, ROOM};
use crate::lens::Glass;
use crate::optics::stops::ONE_APERTURE;
use crate::quantity::{Estimate, Flag};
use crate::shot::Capture;

/// Fewest scenes that show both corners of a pair. Chosen: the fewest of which all must agree for [`LEVEL`], 2 in 2^8.
const FEWEST_SCENES: usize = 8;
/// Standard deviations of a difference from which one place is softer than another. Chosen: as sure as a corner must be beyond its
/// mirror image within one frame.
const SURE_SD: f64 = 2.0;
/// Significance of the sign test, both sides together. Chosen: of a hundred even lenses one would fail it, before its best readings
/// have their say.
const LEVEL: f64 = 0.01;

/// What one frame says of its lens.
#[derive(Clone, Debug)]
pub struct Reading {
    /// The lens and how it was set.
    glass: Glass,
    /// Size of the upright picture, px.
    size: (u32, u32),
    /// The frames of one scene that it belongs to.
    scene: Option<usize>,
    /// f-number.
    f_number: Option<f64>,
    /// Optical blur of the corners in the order of [`ZoneName::CORNERS`], px, and whether that is beyond the permitted.
    corners: [Option<(Estimate, bool)>; 4],
    /// That of the middle, px.
    centre: Option<Estimate>,
}

impl Reading {
    /// By a judged frame; `None` where its corners are not those of the lens: a stitched picture, or one made of several exposures.
    #[must_use]
    pub fn of(
        capture: &Capture,
        flags: &[Flag],
        size: (u32, u32),
        scene: Option<usize>,
        found: &Diagnosis,
    ) -> Option<Self> {
        let made_up = |f: &Flag| matches!(f, Flag::Panorama | Flag::MultiShot);
        let beyond = |name| found.answer(name).judgement == Judgement::Beyond;
        (!flags.iter().chain(&found.flags).any(made_up)).then(|| Self {
            glass: Glass::of(capture),
            size,
            scene,
            f_number: capture.f_number.as_ref().map(|n| n.value),
            corners: ZoneName::CORNERS.map(|name| Some((found.judged_width(name)?, beyond(name)))),
            centre: found.judged_width(ZoneName::Centre),
        })
    }

    fn corner(&self, name: ZoneName) -> Option<Estimate> {
        let place = ZoneName::CORNERS.iter().position(|&c| c == name)?;
        self.corners[place].map(|c| c.0)
    }
}

/// The sharpest reading of a place in a shoot.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sharpest {
    /// Where.
    pub zone: ZoneName,
    /// Its optical blur, px.
    pub optical_px: Estimate,
    /// f-number of that frame.
    pub f_number: Option<f64>,
}

/// A corner and the one across from it, over all scenes that show both.
#[derive(Clone, Debug, PartialEq)]
pub struct Pair {
    /// The two corners, left and right.
    pub corners: [ZoneName; 2],
    /// Scenes with a number for both.
    pub scenes: usize,
    /// Scenes in which the left one was softer by 2 standard deviations of the difference, and in which the right one was; where frames
    /// of one scene disagree it is neither.
    pub softer_in: [usize; 2],
    /// Probability, by the sign test, that an even lens would show as uneven a count, either way.
    pub chance: f64,
    /// The sharpest that either was: of the one that is softer at its best in all frames that show both, of the other in those of
    /// them within a stop of that one; an f-number that isn't known goes only with others that aren't.
    pub best: [Sharpest; 2],
    /// The corner that the lens draws softer, where count and best both say so.
    pub softer: Option<ZoneName>,
}

/// How sharp the corners ever were, where even the sharpest was soft.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NeverSharper {
    /// Frames that show a corner.
    pub frames: usize,
    /// The sharpest of all corners; beyond the permitted blur.
    pub corner: Sharpest,
    /// The sharpest that the middle was within a stop of that.
    pub centre: Sharpest,
}

/// What all frames of one lens at one focal length show together.
#[derive(Clone, Debug, PartialEq)]
pub struct Together {
    /// The lens and how it was set.
    pub glass: Glass,
    /// Size of the upright pictures, px.
    pub size: (u32, u32),
    /// Places of the frames among those of the shoot.
    pub frames: Vec<usize>,
    /// Upper and lower pair, of those that enough scenes show.
    pub pairs: Vec<Pair>,
    /// Whether no corner was ever sharp; only where enough scenes show the upper pair.
    pub never: Option<NeverSharper>,
}

/// What the frames of each lens show together, from one reading a frame (`None` where it has none); lenses of too few scenes are
/// left out.
#[must_use]
pub fn together(readings: &[Option<Reading>]) -> Vec<Together> {
    let mut lenses: Vec<(&Reading, Vec<usize>)> = Vec::new();
    for (k, reading) in readings.iter().enumerate().filter_map(|(k, r)| Some((k, r.as_ref()?))) {
        match lenses.iter_mut().find(|(of, _)| of.glass.is(&reading.glass) && of.size == reading.size) {
            Some(lens) => lens.1.push(k),
            None => lenses.push((reading, vec![k])),
        }
    }
    let told = |(first, frames): (&Reading, Vec<usize>)| {
        let of: Vec<&Reading> = frames.iter().filter_map(|&k| readings[k].as_ref()).collect();
        let pairs: Vec<Pair> = PAIRS.into_iter().filter_map(|corners| pair(&of, corners)).collect();
        // Lower corners alone may lie in what is near and out of focus, in every frame.
        let upper = pairs.iter().any(|p| p.corners == PAIRS[0]);
        let never = if upper { never_sharper(&of) } else { None };
        let named = first.glass.name().is_some() && !pairs.is_empty();
        named.then(|| Together { glass: first.glass.clone(), size: first.size, frames, pairs, never })
    };
    lenses.into_iter().filter_map(told).collect()
}

/// One pair of corners over the frames of a lens; `None` where too few scenes show both.
fn pair(of: &[&Reading], corners: [ZoneName; 2]) -> Option<Pair> {
    let both: Vec<(&Reading, [Estimate; 2])> =
        of.iter().filter_map(|r| Some((*r, [r.corner(corners[0])?, r.corner(corners[1])?]))).collect();
    let votes = votes(&both);
    let softer_in = [true, false].map(|left| votes.iter().filter(|v| **v == Some(left)).count());
    let most = usize::from(softer_in[1] > softer_in[0]);
    let sharpest = |side: usize, among: &dyn Fn(&Reading) -> bool| -> Option<Sharpest> {
        let (r, widths) =
            both.iter().filter(|(r, _)| among(r)).min_by(|a, b| a.1[side].value.total_cmp(&b.1[side].value))?;
        Some(Sharpest { zone: corners[side], optical_px: widths[side], f_number: r.f_number })
    };
    let any = [sharpest(0, &|_| true)?, sharpest(1, &|_| true)?];
    let worse = usize::from(any[1].optical_px.value > any[0].optical_px.value);
    let mut best = any;
    best[1 - worse] = sharpest(1 - worse, &|r| comparable(r.f_number, any[worse].f_number))?;
    let chance = chance(softer_in[most], softer_in[0] + softer_in[1]);
    // Things near on one side are a habit, and they stand low: there most scenes must agree, not only most of those that differ.
    let low = corners.contains(&ZoneName::BottomLeft);
    let agreed = chance <= LEVEL && (!low || 2 * softer_in[most] > votes.len());
    let softer = agreed && most == worse && wider(best[worse].optical_px, best[1 - worse].optical_px);
    (votes.len() >= FEWEST_SCENES).then(|| Pair {
        corners,
        scenes: votes.len(),
        softer_in,
        chance,
        best,
        softer: softer.then_some(corners[worse]),
    })
}

/// Which corner was plainly softer, scene by scene: the left, the right or neither.
fn votes(both: &[(&Reading, [Estimate; 2])]) -> Vec<Option<bool>> {
    let mut scenes: Vec<(Option<usize>, [bool; 2])> = Vec::new();
    for (r, [left, right]) in both {
        let apart = (left.value - right.value) / left.sd.hypot(right.sd).max(f64::MIN_POSITIVE);
        let said = [apart > SURE_SD, apart < -SURE_SD];
        match scenes.iter_mut().find(|(scene, _)| scene.is_some() && *scene == r.scene) {
            Some((_, all)) => *all = [all[0] || said[0], all[1] || said[1]],
            None => scenes.push((r.scene, said)),
        }
    }
    let vote = |said: [bool; 2]| match said {
        [true, false] => Some(true),
        [false, true] => Some(false),
        _ => None,
    };
    scenes.into_iter().map(|(_, said)| vote(said)).collect()
}

/// Probability that of `n` differences that are as likely to be either way at least `k` (no fewer than half) are one way: the sign
/// test of both sides, with p = 1/2.
fn chance(k: usize, n: usize) -> f64 {
    // Each term of the binomial law from the one before it.
    let mut term = 0.5_f64.powi(n as i32);
    let mut sum = 0.0;
    for i in 0..=n {
        if i >= k {
            sum += term;
        }
        term *= (n - i) as f64 / (i + 1) as f64;
    }
    (2.0 * sum).min(1.0)
}

/// Whether two f-numbers are within a stop of each other, which is a factor of the root of two.
fn comparable(a: Option<f64>, b: Option<f64>) -> bool {
    match (a, b) {
        (Some(a), Some(b)) => a.max(b) <= std::f64::consts::SQRT_2 * ONE_APERTURE * a.min(b),
        (None, None) => true,
        _ => false,
    }
}

/// Whether one width is beyond another by more than their errors and by more than the conventions for the permitted blur differ.
fn wider(a: Estimate, b: Estimate) -> bool {
    a.value > ROOM * b.value && a.value - b.value > SURE_SD * a.sd.hypot(b.sd)
}

/// The sharpest corner of all frames, where it is beyond the permitted blur and softer than the middle at its best.
fn never_sharper(of: &[&Reading]) -> Option<NeverSharper> {
    let corners = of.iter().flat_map(|r| {
        ZoneName::CORNERS.into_iter().zip(r.corners).filter_map(|(zone, c)| Some((zone, c?, r.f_number)))
    });
    let (zone, (optical_px, beyond), f_number) = corners.min_by(|a, b| a.1.0.value.total_cmp(&b.1.0.value))?;
    let centres = of.iter().filter(|r| comparable(r.f_number, f_number)).filter_map(|r| Some((r.centre?, r.f_number)));
    let (centre, centre_f) = centres.min_by(|a, b| a.0.value.total_cmp(&b.0.value))?;
    (beyond && wider(optical_px, centre)).then(|| NeverSharper {
        frames: of.iter().filter(|r| r.corners.iter().any(Option::is_some)).count(),
        corner: Sharpest { zone, optical_px, f_number },
        centre: Sharpest { zone: ZoneName::Centre, optical_px: centre, f_number: centre_f },
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shot::{Fact, Source};

    /// A frame at f/8 by the widths of its corners (top left, top right, bottom left, bottom right), each known to 0.05 px.
    fn read(corners: [f64; 4], scene: Option<usize>) -> Option<Reading> {
        stopped(corners, scene, 8.0)
    }

    fn stopped(corners: [f64; 4], scene: Option<usize>, f_number: f64) -> Option<Reading> {
        let capture = Capture { lens: Some(Fact::new("Prime 20".to_owned(), Source::Exif)), ..Capture::default() };
        Some(Reading {
            glass: Glass::of(&capture),
            size: (1800, 1200),
            scene,
            f_number: Some(f_number),
            corners: corners.map(|w| Some((Estimate::new(w, 0.05, 9), w > 0.7))),
            centre: Some(Estimate::new(0.42, 0.05, 9)),
        })
    }

    /// The corner of each pair that is said to be the lens's; `None` where the pair is not counted.
    fn said(readings: &[Option<Reading>]) -> [Option<Option<ZoneName>>; 2] {
        let all = together(readings);
        let of = |k: usize| {
            let pairs = &all.first()?.pairs;
            pairs.iter().find(|p| p.corners == PAIRS[k]).map(|p| p.softer)
        };
        [of(0), of(1)]
    }

    #[test]
    fn the_sign_test_is_the_binomial_law_of_even_chances() {
        // Closed forms: 2 / 2^8, and 2 (1 + 16 + 120) / 2^16 for 14 of 16; half of an even number is no evidence.
        assert!((chance(8, 8) - 2.0 / 256.0).abs() < 1e-12);
        assert!((chance(14, 16) - 2.0 * 137.0 / 65536.0).abs() < 1e-12);
        assert!((chance(3, 6) - 1.0).abs() < 1e-12 && (chance(0, 0) - 1.0).abs() < 1e-12);
        // As few scenes as are asked for can pass only if all agree.
        assert!(chance(FEWEST_SCENES, FEWEST_SCENES) <= LEVEL && chance(FEWEST_SCENES - 1, FEWEST_SCENES) > LEVEL);
    }

    #[test]
    fn a_corner_soft_in_every_scene_is_the_lenss() {
        // Focus here and there softens both corners by the same; the top right is never sharper than 0.85 px.
        let all: Vec<_> =
            (0..10).map(|k| 0.1 * f64::from(k)).map(|f| read([0.45 + f, 0.85 + f, 0.5, 0.5], None)).collect();
        assert_eq!(said(&all), [Some(Some(ZoneName::TopRight)), Some(None)]);
        let pair = &together(&all)[0].pairs[0];
        assert_eq!((pair.scenes, pair.softer_in), (10, [0, 10]));
        assert_eq!(pair.best.map(|b| b.optical_px.value), [0.45, 0.85]);
        let left: Vec<_> = (0..10).map(|_| read([0.85, 0.45, 0.9, 0.5], None)).collect();
        assert_eq!(said(&left), [Some(Some(ZoneName::TopLeft)), Some(Some(ZoneName::BottomLeft))]);
    }

    #[test]
    fn an_even_lens_is_not_one_sided_however_soft_its_corners_are() {
        let lean = |k: usize| if k.is_multiple_of(2) { [0.85, 1.3, 1.3, 0.85] } else { [1.3, 0.85, 0.85, 1.3] };
        let all: Vec<_> = (0..12).map(|k| read(lean(k), None)).collect();
        assert_eq!(said(&all), [Some(None), Some(None)]);
        // That they are never sharp is a bound on the lens.
        let never = together(&all)[0].never.unwrap();
        assert_eq!((never.frames, never.corner.optical_px.value, never.centre.optical_px.value), (12, 0.85, 0.42));
        // One frame that shows one corner sharp takes it away.
        let one = all.iter().cloned().chain([read([0.5, 0.5, 0.5, 0.5], None)]).collect::<Vec<_>>();
        assert_eq!(together(&one)[0].never, None);
        // Nor is it said of corners that pass, nor of frames whose middle is as soft.
        let passing: Vec<_> = (0..12).map(|_| read([0.65; 4], None)).collect();
        assert_eq!(together(&passing)[0].never, None);
        let mut low = all.clone();
        low.iter_mut().flatten().for_each(|r| r.corners[0] = None);
        assert!(together(&low).iter().all(|t| t.pairs.len() == 1 && t.never.is_none()));
        let mut alike = all;
        alike.iter_mut().flatten().for_each(|r| r.centre = Some(Estimate::new(0.8, 0.05, 9)));
        assert_eq!(together(&alike)[0].never, None);
    }

    #[test]
    fn what_chance_would_do_is_not_the_lens() {
        // 7 of 7 that differ is 2 in 2^7, more than one in a hundred; an eighth is less.
        let shoot = |softer: usize| -> Vec<_> {
            let at = |k: usize| {
                if k == 0 {
                    [0.42, 0.9, 0.5, 0.5]
                } else if k < softer {
                    [0.5, 0.9, 0.5, 0.5]
                } else {
                    [0.5, 0.58, 0.5, 0.5]
                }
            };
            (0..12).map(|k| read(at(k), None)).collect()
        };
        assert_eq!(together(&shoot(7))[0].pairs[0].softer_in, [0, 7]);
        assert_eq!(said(&shoot(7))[0], Some(None));
        assert_eq!(said(&shoot(8))[0], Some(Some(ZoneName::TopRight)));
    }

    #[test]
    fn near_things_at_one_side_are_a_habit_while_some_frame_shows_the_corner_sharp() {
        // Softer at the right in 11 of 12 scenes, but as sharp as the left in the one where nothing stands there.
        let all: Vec<_> =
            (0..12).map(|k| if k == 5 { 0.46 } else { 1.4 }).map(|r| read([0.45, r, 0.45, r], None)).collect();
        let pairs = &together(&all)[0].pairs;
        assert!(pairs.iter().all(|p| p.chance <= LEVEL && p.softer_in == [0, 11]), "{pairs:?}");
        assert_eq!(said(&all), [Some(None), Some(None)]);
        // Below, where things stand near, most of all scenes must agree: 10 of 20, all one way and never as sharp, are too few.
        let low = |k: usize| [0.45, 0.45, if k == 9 { 0.4 } else { 0.5 }, if k < 9 { 1.4 } else { 0.62 }];
        let low: Vec<_> = (0..20).map(|k| read(low(k), None)).collect();
        assert_eq!(together(&low)[0].pairs[1].softer_in, [0, 10]);
        assert_eq!(said(&low)[1], Some(None));
    }

    #[test]
    fn a_corner_is_compared_with_its_mirror_image_at_like_stops() {
        // Wide open both are soft; the left was sharp at f/11, where the right was always covered.
        let covered = |k: usize| {
            if k < 2 { stopped([0.9, 0.9, 0.5, 0.5], None, 2.8) } else { stopped([0.45, 1.5, 0.5, 0.5], None, 11.0) }
        };
        let all: Vec<_> = (0..12).map(covered).collect();
        assert_eq!(said(&all)[0], Some(None), "{:?}", together(&all)[0].pairs[0]);
    }

    #[test]
    fn frames_of_one_scene_count_once_and_too_few_scenes_say_nothing() {
        let soft = |scene| read([0.45, 0.9, 0.5, 0.5], scene);
        assert!(together(&(0..7).map(|_| soft(None)).collect::<Vec<_>>()).is_empty());
        // Thirty frames of seven scenes and of one are no more than these.
        let grouped: Vec<_> = (0..30).map(|k| soft(Some(k % 7))).collect();
        assert!(together(&grouped).is_empty());
        let eighth: Vec<_> = grouped.iter().cloned().chain([soft(None)]).collect();
        assert_eq!(said(&eighth)[0], Some(Some(ZoneName::TopRight)));
        // A scene whose frames disagree speaks for neither.
        let torn: Vec<_> = eighth.iter().cloned().chain([read([0.95, 0.45, 0.5, 0.5], Some(3))]).collect();
        assert_eq!(together(&torn)[0].pairs[0].softer_in, [0, 7]);
        // Frames without a number in a corner are no scenes.
        let mut blind = eighth;
        blind.last_mut().unwrap().as_mut().unwrap().corners[1] = None;
        assert!(together(&blind).iter().all(|t| t.pairs.iter().all(|p| p.corners != PAIRS[0])));
    }
}
