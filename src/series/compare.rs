//! Frames of one scene to an answer: laid over each other, compared, answered; one way for every command.

use std::borrow::Cow;
use std::collections::HashMap;
use std::hash::{DefaultHasher, Hash as _, Hasher as _};

use rayon::prelude::*;

use super::answer::{Answer, NoteKind};
use super::frame_notes::{bracket_notes, shaken_yet_used, stop_notes};
use super::lay::lay_all;
use super::scale::pitch_um;
use super::seen::Seen;
use super::smoothed::without_smoothed;
use super::tone::tone_curve;
use super::{
    Blurs, Frame, Outdone, Varied, Zone, ZoneBlur, aperture, between, bracket, by_depth, deepest_first, ends,
    focus_varied, on_reference, outdone, resolve, settled, sharpest, with_ends, without_soft_content,
    without_still_content, zone_blurs,
};
use crate::judge::{self, beyond_px};
use crate::measure::Tile;
use crate::measure::pair::{self, spectra};
use crate::measure::register::{Registration, refine};
use crate::optics::blur::{Parts, sigma_px};
use crate::quantity::{Intent, Place, Region, ZoneName};
use crate::shot::{Capture, Plane};
use crate::stats::upper_median;

/// What is asked of a comparison.
#[derive(Clone, Copy, Debug)]
pub struct Ask<'a> {
    /// What was varied between the frames.
    pub varied: Varied,
    /// Widest blur that counts as sharp, px, pixel aperture included: that of the frame that permits the most.
    pub permitted_px: f64,
    /// The same by frame; of frames beyond its end it is that one.
    pub limits_px: &'a [f64],
    /// Where the subject was marked.
    pub subject: Option<Place>,
    /// Frames that the picture itself says were shaken.
    pub shaken: &'a [usize],
}

impl<'a> Ask<'a> {
    /// The question that an intent puts to frames of these [`limits_px`].
    #[must_use]
    pub fn new(intent: &Intent, varied: Varied, shaken: &'a [usize], limits_px: &'a [f64]) -> Self {
        let permitted_px = limits_px.iter().copied().fold(0.0, f64::max);
        Self { varied, permitted_px, limits_px, subject: intent.near_at, shaken }
    }

    /// Widest blur that counts as sharp in a frame.
    fn limit_px(&self, frame: usize) -> f64 {
        self.limits_px.get(frame).copied().unwrap_or(self.permitted_px)
    }
}

/// Widest blur, px, pixel aperture included, that counts as sharp in each of some frames of a size, by what the pixels of each show
/// at best (`finest`, optical px).
///
/// A place counts as shown sharp where that frame's own audit would pass it, so that no set asks for frames beside one that is sharp
/// from near to far: the limit is that from which `judge` calls an optical blur beyond the permitted; what is compared has the pixel
/// in it.
#[must_use]
pub fn limits_px(intent: &Intent, (width, height): (u32, u32), finest: &[f64]) -> Vec<f64> {
    let permitted = judge::permitted_px(intent.sharp_for, width, height);
    let limit =
        |&finest: &f64| sigma_px(&Parts { lens_px: beyond_px(permitted, finest), pixel: true, ..Parts::default() });
    finest.iter().map(limit).collect()
}

/// Most frames that are compared by their spectra; more are compared by their single-frame widths, which need no
/// pixels. Chosen: spectra of one frame of 12 million pixels take three megabytes.
const MOST: usize = 64;

/// Share of the tiles that must have moved for it to be said. Chosen: a third.
const MOVED: f64 = 0.34;

/// The frame to lay the others over: the one with the most measured tiles, the sharper of equals.
#[must_use]
pub fn reference(seen: &[Seen]) -> usize {
    let rank = |s: &Seen| {
        let widths: Vec<f64> = s.map().map_or_else(Vec::new, |m| m.measured().map(|(_, e)| e.value).collect());
        widths.len() as f64 / (0.3 + upper_median(widths).unwrap_or(10.0))
    };
    let ranks: Vec<f64> = seen.iter().map(rank).collect();
    (0..seen.len()).max_by(|&a, &b| ranks[a].total_cmp(&ranks[b])).unwrap_or(0)
}

/// Zones of a series: those that the diagnosis of the reference found, and mid-frame.
#[must_use]
pub fn zones(found: impl Iterator<Item = (ZoneName, Vec<usize>)>, tiles: &[Region], (w, h): (u32, u32)) -> Vec<Zone> {
    let mut zones: Vec<Zone> = found
        .map(|(name, of)| Zone { name, tiles: of.into_iter().filter(|&t| t < tiles.len()).collect() })
        .filter(|z| !z.tiles.is_empty())
        .collect();
    for name in ZoneName::ALL {
        if zones.iter().all(|z| z.name != name) {
            let own = name.tiles(tiles, w, h);
            if !own.is_empty() {
                zones.push(Zone { name, tiles: own });
            }
        }
    }
    zones.sort_by_key(|z| z.name);
    zones
}

/// Compares the frames of one scene and answers what was asked. `zones` are those of the [`reference()`] frame, `pixels`
/// gives a frame's pixels by its index; a frame whose pixels can't be had is left out and named.
#[must_use]
pub fn compare<'p>(
    seen: &[Seen],
    zones: &[Zone],
    ask: &Ask,
    pixels: &dyn Fn(usize) -> Option<Cow<'p, Plane>>,
) -> Answer {
    let reference = reference(seen);
    let mut notes = Vec::new();
    let laid = lay_all(seen, reference, seen.len() > MOST);
    let tiles = tiles(&seen[reference]);
    let copies = copies(seen);
    notes.extend(copies.iter().enumerate().filter_map(|(k, c)| Some((Some(k), NoteKind::CopyOf((*c)?)))));
    let blank = blank(seen);
    let taken: Vec<usize> = (0..seen.len()).filter(|&k| copies[k].is_none() && !blank.contains(&k)).collect();
    let (blurs, laid, rendered) = if seen.len() > MOST {
        notes.push((None, NoteKind::WidthsOnly));
        (by_widths(seen, &laid, &tiles), laid, vec![false; seen.len()])
    } else {
        by_pairs(seen, reference, &taken, laid, &tiles, pixels)
    };
    let lost = |k: &&usize| laid[**k].is_none();
    notes.extend(taken.iter().filter(lost).map(|&k| (Some(k), NoteKind::NotRegistered)));
    let empty = hardly_compared(&blurs);
    let not_compared = taken.iter().filter(|k| laid[**k].is_some() && empty.contains(k)).chain(&blank);
    notes.extend(not_compared.map(|&k| (Some(k), NoteKind::NotCompared)));
    let blurs = blurs.without(&empty);
    answer(seen, zones, ask, Compared { reference, tiles, blurs, laid, rendered, notes })
}

/// Frames that by themselves show no width in any tile while others do, as where all is lost in noise: there is nothing of the scene in
/// them to compare, and whatever a pair of frames reads from their noise is no blur.
fn blank(seen: &[Seen]) -> Vec<usize> {
    let shows: Vec<bool> = seen.iter().map(|s| s.map().is_some_and(|m| m.measured().next().is_some())).collect();
    if !shows.contains(&true) {
        return Vec::new();
    }
    (0..seen.len()).filter(|&k| !shows[k]).collect()
}

/// Share of the tiles of the frame that has most below which a frame was not compared. Chosen: a tenth; what is left of
/// a frame exposed two stops too long lies beside what is clipped, and reads as that leaves it.
const HARDLY: f64 = 0.1;

/// Frames that show next to nothing that could be compared.
fn hardly_compared(blurs: &Blurs) -> Vec<usize> {
    let counts: Vec<usize> = blurs.sigma.iter().map(|f| f.iter().flatten().count()).collect();
    let most = counts.iter().copied().max().unwrap_or(0) as f64;
    (0..counts.len()).filter(|&k| counts[k] == 0 || (counts[k] as f64) < HARDLY * most).collect()
}

/// Frames as compared, before they are answered.
struct Compared {
    reference: usize,
    tiles: Vec<Region>,
    blurs: Blurs,
    laid: Vec<Option<Registration>>,
    /// By frame, whether it was rendered, as far as its pixels were looked at.
    rendered: Vec<bool>,
    notes: Vec<(Option<usize>, NoteKind)>,
}

fn answer(seen: &[Seen], zones: &[Zone], ask: &Ask, compared: Compared) -> Answer {
    let Compared { reference, tiles, blurs, laid, rendered, mut notes } = compared;
    let varied = if ask.varied == Varied::Nothing && focus_varied(&blurs) { Varied::Focus } else { ask.varied };
    let f_numbers: Vec<Option<f64>> = seen.iter().map(|s| f_number(s.capture)).collect();
    let pitch_um = seen[reference].capture.pixel_pitch_um.as_ref().map(|p| p.value);
    let all = blurs.tiles();
    let stops = if varied == Varied::Aperture { steady_stops(ask, &f_numbers) } else { f_numbers.clone() };
    notes.extend((0..stops.len()).filter(|&k| stops[k] != f_numbers[k]).map(|k| (Some(k), NoteKind::Shaken)));
    let blurs = match varied {
        Varied::Aperture => without_soft_content(&blurs, &stops, pitch_um),
        Varied::Focus => without_still_content(&blurs),
        Varied::Nothing => blurs,
    };
    let soft = all - blurs.tiles();
    // Less than half a per cent is nothing to speak of.
    if 200 * soft >= tiles.len().max(1) {
        notes.push((None, NoteKind::SoftContent(soft)));
    }
    let apart = (varied == Varied::Focus).then(|| Apart::new(&blurs, &tiles, (&f_numbers, pitch_um), ask));
    let widths = apart.as_ref().map(|a| bracket::widths(&a.others(&blurs), &tiles, &f_numbers, pitch_um));
    let ends = widths.as_ref().and_then(|w| ends(w, &tiles));
    let zones = match (varied, &ends) {
        (Varied::Aperture, _) => by_depth(zones, &blurs, &tiles, &stops, subject(ask, &seen[reference])),
        (_, Some(ends)) => Some(with_ends(zones, ends)),
        _ => None,
    }
    .unwrap_or_else(|| zones.to_vec());
    let read = ends.iter().fold(zone_blurs(&zones, &blurs), settled);
    let answer = || aperture::answer(&read, &stops, pitch_um, ask.permitted_px).knowing(&f_numbers);
    let mut apertures = (varied == Varied::Aperture).then(answer);
    notes.extend(apertures.iter_mut().filter_map(|a| without_smoothed(a, seen, &rendered)));
    let of_stops: Vec<_> = apertures.iter().flat_map(|a| stop_notes(seen, a, &f_numbers, &notes)).collect();
    notes.extend(of_stops);
    // Spoiled frames keep their own reading; the rest is as settled.
    let read = if let Some(a) = &apertures { with_settled(read, &a.blurs) } else { read };
    let moved: Vec<f64> = blurs.moved.iter().map(|&m| f64::from(m) / tiles.len().max(1) as f64).collect();
    notes.extend((0..seen.len()).filter(|&k| moved[k] > MOVED).map(|k| (Some(k), NoteKind::Moved)));
    let bracket = apart.zip(widths).map(|(apart, widths)| apart.answer(&read, &widths, &tiles, ask));
    notes.extend(bracket.iter().flat_map(bracket_notes));
    notes.extend(shaken_yet_used(varied, ask.shaken, &notes));
    let numbered = varied != Varied::Nothing || f_numbers.iter().any(Option::is_some);
    Answer {
        files: seen.iter().map(|s| s.file.to_owned()).collect(),
        pitch_um,
        varied,
        apertures,
        bracket,
        f_numbers,
        sharpest: if varied == Varied::Nothing { sharpest(&blurs.sigma) } else { None },
        deepest_first: if numbered { None } else { deepest_first(&blurs) },
        between: if seen.len() == 2 { between(&zones, &read, &blurs) } else { Vec::new() },
        zones: read,
        parts: zones,
        size: seen[reference].size,
        permitted_px: ask.permitted_px,
        notes,
        moved,
        laid: laid.iter().map(|r| r.as_ref().map(|r| r.map)).collect(),
        tiles,
        blurs,
    }
}

/// The f-numbers of an aperture series without those of frames that the picture itself says were shaken, unless these leave no two
/// others: a frame without an f-number has no part in what the stops are asked. Wide open a shake can't be told from a soft lens by
/// the widths, for no stop says how much softer the widest may be.
fn steady_stops(ask: &Ask, f_numbers: &[Option<f64>]) -> Vec<Option<f64>> {
    let steady: Vec<Option<f64>> =
        f_numbers.iter().enumerate().map(|(k, n)| n.filter(|_| !ask.shaken.contains(&k))).collect();
    if steady.iter().flatten().count() < 2 { f_numbers.to_vec() } else { steady }
}

/// Frames that have no part in what a bracket answers, nor in where its scene lies.
struct Apart {
    outdone: Vec<Outdone>,
    softened: Vec<bracket::Softened>,
    shaken: Vec<usize>,
}

impl Apart {
    fn new(blurs: &Blurs, tiles: &[Region], (f_numbers, pitch_um): (&[Option<f64>], Option<f64>), ask: &Ask) -> Self {
        let frames = blurs.sigma.len();
        if frames > MOST {
            return Self { outdone: Vec::new(), softened: Vec::new(), shaken: Vec::new() };
        }
        let outdone = outdone(blurs, tiles);
        let is_out = |k: &usize| outdone.iter().any(|o| o.frame == *k);
        let mut shaken: Vec<usize> = ask.shaken.iter().copied().filter(|k| *k < frames && !is_out(k)).collect();
        // Where nothing would be left all are as good as they are.
        if outdone.len() + shaken.len() == frames {
            shaken.clear();
        }
        let mut apart = Self { outdone, softened: Vec::new(), shaken };
        apart.softened = bracket::softened(&apart.others(blurs), tiles, f_numbers, pitch_um);
        apart
    }

    fn frames(&self) -> Vec<usize> {
        let found = self.outdone.iter().map(|o| o.frame).chain(self.softened.iter().map(|s| s.frame));
        found.chain(self.shaken.iter().copied()).collect()
    }

    /// The widths of the others, unless these are too few to tell where anything lies.
    fn others<'a>(&self, blurs: &'a Blurs) -> Cow<'a, Blurs> {
        let out = self.frames();
        if out.is_empty() || out.len() + bracket::FEWEST_FRAMES > blurs.sigma.len() {
            return Cow::Borrowed(blurs);
        }
        Cow::Owned(blurs.without(&out))
    }

    /// What the bracket answers without them.
    fn answer(self, read: &[ZoneBlur], widths: &bracket::Widths, tiles: &[Region], ask: &Ask) -> bracket::Bracket {
        let limits: Vec<f64> = (0..widths.sigma.len()).map(|k| ask.limit_px(k)).collect();
        let answer = bracket::answer_without(read, widths, tiles, &limits, &self.frames());
        bracket::Bracket { outdone: self.outdone, softened: self.softened, shaken: self.shaken, ..answer }
    }
}

/// Where the subject lies on the reference frame, px: as marked, else as the camera recorded that it focused.
fn subject(ask: &Ask, reference: &Seen) -> Option<(f64, f64)> {
    let (width, height) = reference.size;
    let recorded = || reference.capture.focus_point.as_ref().map(|p| p.value);
    let at = ask.subject.and_then(|p| p.in_picture(width, height)).or_else(recorded)?;
    Some((at.x * f64::from(width), at.y * f64::from(height)))
}

fn f_number(capture: &Capture) -> Option<f64> {
    capture.f_number.as_ref().map(|f| f.value)
}

fn tiles(seen: &Seen) -> Vec<Region> {
    seen.map().map_or_else(Vec::new, |m| m.tiles.iter().map(Tile::region).collect())
}

/// By frame, the earlier one that it is a copy of.
fn copies(seen: &[Seen]) -> Vec<Option<usize>> {
    let mut first = HashMap::new();
    let mut of = |(k, s): (usize, &Seen)| {
        let small = s.small.get()?;
        let levels: Vec<u32> = small.data.iter().map(|v| v.to_bits()).collect();
        let mut hash = DefaultHasher::new();
        (small.width, small.height, small.factor, levels).hash(&mut hash);
        let earlier = *first.entry((hash.finish(), f_number(s.capture).map(f64::to_bits))).or_insert(k);
        (earlier < k).then_some(earlier)
    };
    seen.iter().enumerate().map(&mut of).collect()
}

/// Blur by pairs of frames; with it how each lies on the reference by its pixels, and whether it was rendered.
fn by_pairs<'p>(
    seen: &[Seen],
    reference: usize,
    taken: &[usize],
    laid: Vec<Option<Registration>>,
    tiles: &[Region],
    pixels: &dyn Fn(usize) -> Option<Cow<'p, Plane>>,
) -> (Blurs, Vec<Option<Registration>>, Vec<bool>) {
    let mut fine: Vec<Option<Registration>> = vec![None; seen.len()];
    let mut rendered = vec![false; seen.len()];
    let Some(ground) = pixels(reference) else { return (by_widths(seen, &laid, tiles), laid, rendered) };
    let mut compared = Vec::new();
    let mut frames = Vec::new();
    let mut take = |k: usize, spectra: pair::FrameSpectra, registration: Option<&Registration>| {
        compared.push(k);
        rendered[k] = spectra.rendered;
        frames.push(Frame {
            f_number: f_number(seen[k].capture),
            pitch_um: seen[k].capture.pixel_pitch_um.as_ref().map(|p| p.value),
            spectra,
            absolute: seen[k].map().map_or_else(|| vec![None; tiles.len()], |m| on_reference(&m, registration, tiles)),
        });
    };
    for &k in taken {
        if k == reference {
            take(k, spectra(&ground, &ground, None, tiles), None);
            fine[k].clone_from(&laid[k]);
        } else if let (Some(start), Some(plane)) = (&laid[k], pixels(k)) {
            let registration = refine(&ground, &plane, start);
            take(k, spectra(&ground, &plane, Some(&registration), tiles), Some(&registration));
            fine[k] = Some(registration);
        }
    }
    let curve = tone_curve(&frames);
    if let Some(pitch) = pitch_um(&frames, curve.as_ref()) {
        frames.iter_mut().for_each(|f| f.pitch_um = Some(pitch));
    }
    (resolve(&frames, tiles, curve.as_ref()).among(&compared, seen.len()), fine, rendered)
}

/// Blur by the widths of single frames.
fn by_widths(seen: &[Seen], laid: &[Option<Registration>], tiles: &[Region]) -> Blurs {
    let of_frame = |(s, r): (&Seen, &Option<Registration>)| match (s.map(), r) {
        (Some(map), Some(r)) => on_reference(&map, Some(r), tiles),
        _ => vec![None; tiles.len()],
    };
    let sigma: Vec<_> = seen.par_iter().zip(laid).map(of_frame).collect();
    Blurs {
        apart_sd: sigma.iter().map(|f| f.iter().map(|e| e.map_or(0.0, |e| e.sd)).collect()).collect(),
        from_middle: vec![vec![(0.0, 0.0); tiles.len()]; seen.len()],
        at_least: vec![vec![false; tiles.len()]; seen.len()],
        anchor_sd: vec![0.0; tiles.len()],
        moved: vec![0; seen.len()],
        sigma,
    }
}

/// Zones with the points that the answer settled in place of the first readings.
fn with_settled(mut zones: Vec<ZoneBlur>, settled: &[ZoneBlur]) -> Vec<ZoneBlur> {
    for zone in &mut zones {
        let Some(better) = settled.iter().find(|z| z.name == zone.name) else { continue };
        for point in &mut zone.points {
            if let Some(p) = better.points.iter().find(|p| p.frame == point.frame) {
                *point = *p;
            }
        }
    }
    zones
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::Estimate;

    #[test]
    fn a_frame_with_a_number_here_and_there_was_not_compared() {
        let sigma = |of: usize| (0..100).map(|t| (t < of).then(|| Estimate::new(0.7, 0.02, 9))).collect::<Vec<_>>();
        let none = || vec![vec![0.0; 100]; 4];
        let blurs = Blurs {
            sigma: [100, 6, 40, 0].map(sigma).into(),
            apart_sd: none(),
            from_middle: vec![vec![(0.0, 0.0); 100]; 4],
            at_least: vec![vec![false; 100]; 4],
            anchor_sd: vec![0.05; 100],
            moved: vec![0; 4],
        };
        assert_eq!(hardly_compared(&blurs), [1, 3]);
    }
}
