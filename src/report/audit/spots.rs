//! The places of a frame worth looking at, one a zone and the best-focused one, as rectangles of the picture.

use serde::{Deserialize, Serialize};

use super::run::Frame;
use crate::diagnose::{Standing, ZoneName};
use crate::judge::Judgement;
use crate::measure::{Tile, TileState};
use crate::quantity::{Point, Region};

/// Width and height of a crop, px: four of them, two by two, fill the upper part of a small laptop's screen at 1:1.
pub const CROP: (u32, u32) = (400, 256);

/// Which place a crop shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SpotName {
    /// The nearest subject.
    Near,
    /// The sharpest credible tile.
    Best,
    /// The farthest subject.
    Far,
    /// The middle.
    Centre,
    /// Corner.
    TopLeft,
    /// Corner.
    TopRight,
    /// Corner.
    BottomLeft,
    /// Corner.
    BottomRight,
}

impl SpotName {
    /// The name on the page.
    pub(crate) const fn word(self) -> &'static str {
        match self {
            Self::Near => "Near",
            Self::Best => "Best focused",
            Self::Far => "Far",
            Self::Centre => "Centre",
            Self::TopLeft => "Top left",
            Self::TopRight => "Top right",
            Self::BottomLeft => "Bottom left",
            Self::BottomRight => "Bottom right",
        }
    }
}

/// A place worth looking at.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Spot {
    /// Which.
    pub name: SpotName,
    /// The crop's rectangle in the upright picture.
    pub region: Region,
    /// The tile it is centred on (row-major), where it is centred on one.
    pub tile: Option<u32>,
}

/// The places of one frame, in the order they are looked at: near, far and the bottom corners, then what helps to judge
/// those. A far end that nothing shows, and top corners of mere sky, are left out: there is nothing to look at in them.
#[must_use]
pub fn spots(frame: &Frame) -> Vec<Spot> {
    let (map, found) = (&frame.map, &frame.diagnosis);
    let (width, height) = (f64::from(map.width), f64::from(map.height));
    let here = |name, at, tile| Spot { name, region: around(at, map.width, map.height), tile };
    let on = |name: SpotName, tile: Option<u32>| {
        let centre = map.tiles.get(tile? as usize)?.centre();
        Some(here(name, centre, tile))
    };
    let marked = |name: SpotName, mark: Option<Point>| mark.map(|p| here(name, (p.x * width, p.y * height), None));
    let shown = |name: SpotName, zone: ZoneName| on(name, telling(frame, zone));
    let corner = |name, zone, x: f64| shown(name, zone).unwrap_or_else(|| here(name, (x * width, height), None));
    let near = marked(SpotName::Near, found.near_at)
        .or_else(|| shown(SpotName::Near, ZoneName::Near))
        .unwrap_or_else(|| here(SpotName::Near, (0.5 * width, height), None));
    let far = marked(SpotName::Far, found.far_at).or_else(|| shown(SpotName::Far, ZoneName::Far));
    let best = map
        .tiles
        .iter()
        .enumerate()
        .filter(|&(i, t)| t.blur.is_some() && !soft_by_nature(frame, i))
        // One sd wider than the value, so that a wild reading does not win by luck.
        .min_by(|a, b| upper(a.1).total_cmp(&upper(b.1)))
        .and_then(|(i, _)| on(SpotName::Best, u32::try_from(i).ok()));
    let centre = shown(SpotName::Centre, ZoneName::Centre)
        .unwrap_or_else(|| here(SpotName::Centre, (0.5 * width, 0.5 * height), None));
    [
        Some(near),
        far,
        Some(corner(SpotName::BottomLeft, ZoneName::BottomLeft, 0.0)),
        Some(corner(SpotName::BottomRight, ZoneName::BottomRight, 1.0)),
        best,
        Some(centre),
        shown(SpotName::TopLeft, ZoneName::TopLeft),
        shown(SpotName::TopRight, ZoneName::TopRight),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// The tile of a zone that shows it best: the one that carries its number, so that the crop shows what the number says;
/// where there is none, the one of most contrast whose fine detail was at least bounded. `None` where nothing in the zone
/// is more than sky, cloud or water.
fn telling(frame: &Frame, zone: ZoneName) -> Option<u32> {
    let map = &frame.map;
    let zone = frame.diagnosis.zone(zone)?;
    let solid = || zone.tiles.iter().filter(|&&i| !soft_by_nature(frame, i as usize));
    let tiles = || solid().filter_map(|&i| Some((i, map.tiles.get(i as usize)?)));
    let carries = zone.blur_px.and_then(|wanted| {
        let apart = |t: &Tile| t.blur.map(|b| (b.value - wanted.value).abs());
        tiles().filter_map(|(i, t)| Some((i, apart(t)?))).min_by(|a, b| a.1.total_cmp(&b.1))
    });
    // A zone known to be soft without a number is shown by what is soft in it.
    let beyond = zone.answer.judgement == Judgement::Beyond;
    let tells = |state| match state {
        TileState::AtLeast => beyond,
        TileState::Measured | TileState::AtMost => !beyond,
        _ => false,
    };
    let bounded = || {
        let told = tiles().filter(|(_, t)| tells(t.state));
        told.map(|(i, t)| (i, t.contrast)).max_by(|a, b| a.1.total_cmp(&b.1))
    };
    carries.or_else(bounded).map(|(i, _)| i)
}

fn soft_by_nature(frame: &Frame, tile: usize) -> bool {
    matches!(frame.diagnosis.standing.get(tile), Some(Standing::SoftContent))
}

fn upper(tile: &Tile) -> f64 {
    tile.blur.map_or(f64::INFINITY, |b| b.value + b.sd)
}

/// A crop's rectangle about a place, moved inside the picture.
fn around((x, y): (f64, f64), width: u32, height: u32) -> Region {
    let (w, h) = (CROP.0.min(width), CROP.1.min(height));
    // `as` turns what is not finite or negative into 0.
    let start = |centre: f64, side: u32, size: u32| ((centre - f64::from(side) / 2.0) as u32).min(size - side);
    Region { x: start(x, w, width), y: start(y, h, height), width: w, height: h }
}
