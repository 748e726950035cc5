//! Whether the picture is what the camera wrote: enlarged, stitched, bent by a fisheye, or not upright.

use super::sky::sky;
use super::verdict::{HALF_SEEN, MAJORITY, cap};
use super::{Cause, Diagnosis, Verdict, Zone};
use crate::judge::Judgement;
use crate::measure::{ALIKE, TileMap};
use crate::optics::light;
use crate::quantity::Flag;
use crate::shot::Capture;
use crate::stats::{quantile, upper_median};

/// Highest confidence that is left where the picture is not what the camera wrote. Chosen: likely, not firm.
pub(super) const ALTERED: f64 = 0.7;
/// Longer over shorter side from which a picture is stitched. Derived: sensors end at 2 to 1.
const PANORAMA: f64 = 2.2;

/// Share of the samples that are clipped from which much of the frame is lost to clipping. Chosen: a sky that is blown
/// out around the sun is less.
const MUCH: f64 = 0.25;

/// Relative luminance of the tiles that tell of the noise of a mid-tone. Chosen: a stop either side of grey; darker,
/// the camera's own noise counts more than light's, brighter, tone curves press noise flat.
const MID_TONES: (f64, f64) = (light::GREY / 2.0, light::GREY * 2.0);

/// Fewest tiles of a mid-tone that tell. Chosen: fewer are an accident.
const TELLING: usize = 8;

/// What spoils a picture for measuring, as flags.
pub(super) fn spoilt(map: &TileMap) -> impl Iterator<Item = Flag> {
    let found = [
        (Flag::ClippedHighlights, map.clipped_share >= MUCH),
        (Flag::HeavyNoise, signal_to_noise(map).is_some_and(|s| s < light::ACCEPTABLE)),
    ];
    found.into_iter().filter(|f| f.1).map(|(flag, _)| flag)
}

/// Signal to noise of grey in one pixel, by the noise that the frame has at the levels of its tiles; `None` where too few lie near
/// enough. Light's own noise grows with the root of the level, and so does signal to noise.
fn signal_to_noise(map: &TileMap) -> Option<f64> {
    let near = map.tiles.iter().filter(|t| (MID_TONES.0..MID_TONES.1).contains(&t.level) && t.noise > 0.0);
    let all: Vec<f64> = near.map(|t| (t.level * light::GREY).sqrt() / t.noise).collect();
    if all.len() < TELLING { None } else { upper_median(all) }
}

/// Flags a picture that is not what the camera wrote, and lowers its verdict's confidence.
pub(super) fn weigh(d: &mut Diagnosis, map: &TileMap, capture: &Capture) {
    let (long, short) = (map.width.max(map.height), map.width.min(map.height).max(1));
    let fisheye = |name: &str| {
        let name = name.to_lowercase();
        name.contains("fisheye") || name.contains("fish-eye")
    };
    let found = [
        (Flag::Enlarged, map.enlarged),
        (Flag::Panorama, f64::from(long) > PANORAMA * f64::from(short)),
        (Flag::Fisheye, capture.lens.as_ref().is_some_and(|l| fisheye(&l.value))),
    ];
    for (flag, _) in found.into_iter().filter(|f| f.1) {
        d.flags.push(flag);
        cap(&mut d.verdict, ALTERED);
    }
    // What is left of the noise of a rendered file, or was drawn over it as grain, looks like detail that is sharp.
    if d.verdict.cause == Cause::SharpThroughout && !map.mosaic && d.flags.contains(&Flag::HeavyNoise) {
        cap(&mut d.verdict, HALF_SEEN);
    }
    // What an enlargement leaves soft all over is neither the lens's nor the focus's, nor open between them; where the picture shows
    // something finer than its ends, it is theirs.
    let blame = d.verdict.cause;
    let of_focus = || (blame.is_focus() || blame == Cause::CannotTell) && soft_alike(d);
    if map.enlarged && !shows_finer(d, map) && (blame == Cause::LensSoftness || of_focus()) {
        lay_to_processing(&mut d.verdict);
    }
}

/// Lays to what was done to the picture all that may soften it alike all over, where that is what most likely did.
fn lay_to_processing(v: &mut Verdict) {
    let alike = |cause: Cause| cause.is_focus() || matches!(cause, Cause::LensSoftness | Cause::Processing);
    let share: f64 = v.weights.iter().filter(|w| alike(w.0)).map(|w| w.1).sum();
    if share < MAJORITY {
        return;
    }
    v.weights.retain(|w| !alike(w.0));
    v.weights.push((Cause::Processing, share));
    v.weights.sort_by(|a, b| b.1.total_cmp(&a.1));
    v.also.retain(|c| !alike(*c));
    (v.cause, v.confidence, v.unsettled) = (Cause::Processing, share, None);
    cap(v, ALTERED);
}

/// Lowers the confidence of a verdict on a picture that its file says was stitched, enlarged or made of several exposures:
/// what moved between them looks like blur, and one horizon does not hold for all of a panorama. So it does that of "sharp
/// throughout" where the camera had reason to smooth.
pub fn doubted(d: &mut Diagnosis, flags: &[Flag]) {
    if flags.iter().any(|f| matches!(f, Flag::Panorama | Flag::MultiShot | Flag::Enlarged | Flag::Fisheye)) {
        cap(&mut d.verdict, ALTERED);
    }
    // Cameras smooth texture that lies under the noise and leave edges as they are, which still read sharp.
    if d.verdict.cause == Cause::SharpThroughout && flags.contains(&Flag::LittleLight) {
        cap(&mut d.verdict, HALF_SEEN);
        d.flags.push(Flag::LittleLight);
    }
}

/// Whether near and far are soft and about as soft as each other.
fn soft_alike(d: &Diagnosis) -> bool {
    let width = |end: &Zone| end.optical_px.filter(|_| end.answer.judgement == Judgement::Beyond);
    match (width(d.near()), width(d.far())) {
        (Some(a), Some(b)) => a.value < ALIKE * b.value && b.value < ALIKE * a.value,
        _ => false,
    }
}

/// Share of the measured tiles, the sharpest, and how many times finer than a soft end all of them are where what softens all of a
/// picture is not what softens that end. Chosen: things of one blur are read up to a half apart, and one thing may be sharpened.
const FINER: (f64, f64) = (0.1, 2.0);

/// Whether a tenth of the tiles is far finer than an end that is soft.
fn shows_finer(d: &Diagnosis, map: &TileMap) -> bool {
    let fine = quantile(&map.measured().map(|m| m.1.value).collect::<Vec<f64>>(), FINER.0);
    let ends = d.ends().iter().filter(|z| z.answer.judgement == Judgement::Beyond).filter_map(|z| z.blur_px);
    fine.is_some_and(|fine| ends.into_iter().any(|end| end.value > FINER.1 * fine))
}

/// Share of the picture that sky at another edge than the upper must fill for the picture to lie on its side or upside down,
/// and the highest contrast of that sky. Chosen: a clear or evenly clouded sky; snow and still water have more contrast.
const SKY: f64 = 0.15;
const EVEN: f64 = 0.06;

/// Whether sky shows at another edge and none at the upper one: neither what [`sky`] finds there, nor a row that is mostly as even
/// (a sky that fills most of the picture is not found, and overhead it is darker than above the horizon).
pub(super) fn turned(map: &TileMap) -> bool {
    let (columns, rows) = (map.columns as usize, map.rows as usize);
    if columns < 4 || rows < 4 || map.tiles.len() != columns * rows || sky(map).contains(&true) {
        return false;
    }
    if 2 * map.tiles[..columns].iter().filter(|t| t.contrast < EVEN).count() > columns {
        return false;
    }
    let elsewhere = |quarters: u32| {
        let turned = turn(map, quarters);
        let sky = sky(&turned);
        let contrasts: Vec<f64> = sky.iter().zip(&turned.tiles).filter(|(s, _)| **s).map(|(_, t)| t.contrast).collect();
        contrasts.len() as f64 > SKY * sky.len() as f64 && upper_median(contrasts).is_some_and(|c| c < EVEN)
    };
    [1, 2, 3].into_iter().any(elsewhere)
}

/// Whether some sky lies along the upper edge, and less of it along either side: a picture on its side has it along one.
pub(super) fn sky_above(map: &TileMap) -> bool {
    let columns = map.columns.max(1) as usize;
    let sky = sky(map);
    let side = |column: usize| sky.iter().skip(column).step_by(columns).filter(|s| **s).count();
    let above = sky.iter().take(columns).filter(|s| **s).count();
    above > side(0).max(side(columns - 1))
}

/// The grid turned by quarters, clockwise, the tiles' own places left as they are.
fn turn(map: &TileMap, quarters: u32) -> TileMap {
    let mut map = map.clone();
    for _ in 0..quarters {
        let (columns, rows) = (map.columns as usize, map.rows as usize);
        let tile = |i: usize| {
            let (x, y) = (i % rows, i / rows);
            map.tiles[(rows - 1 - x) * columns + y].clone()
        };
        let tiles = (0..rows * columns).map(tile).collect();
        map = TileMap { columns: rows as u32, rows: columns as u32, tiles, ..map };
    }
    map
}
