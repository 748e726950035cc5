//! The places of a frame worth looking at, one a zone and the best-focused one, as rectangles of the picture.

use serde::{Deserialize, Serialize};

use super::Frame;
use crate::diagnose::{Standing, ZoneName};
use crate::measure::Tile;
use crate::quantity::{Point, Region};

/// Side of a crop, px: what a phone shows side by side at 1:1.
pub const CROP: u32 = 256;

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
    #[must_use]
    pub const fn word(self) -> &'static str {
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

/// The places of one frame, in the order they are shown.
#[must_use]
pub fn spots(frame: &Frame) -> Vec<Spot> {
    let (map, found) = (&frame.map, &frame.diagnosis);
    let (width, height) = (f64::from(map.width), f64::from(map.height));
    let zone = |name: SpotName, zone: ZoneName, mark: Option<Point>, fallback: (f64, f64)| {
        let tile = found.zones.iter().find(|z| z.name == zone).and_then(|z| {
            let wanted = z.blur_px?.value;
            // The tile that carries the zone's number best, so that the crop shows what the number says.
            z.tiles
                .iter()
                .filter_map(|&i| Some((i, map.tiles.get(i as usize)?.blur?)))
                .min_by(|a, b| (a.1.value - wanted).abs().total_cmp(&(b.1.value - wanted).abs()))
                .map(|(i, _)| i)
        });
        let at = match (mark, tile.and_then(|i| map.tiles.get(i as usize))) {
            (Some(p), _) => (p.x * width, p.y * height),
            (None, Some(t)) => t.centre(),
            (None, None) => fallback,
        };
        Spot { name, region: around(at, map.width, map.height), tile }
    };
    let corner = |name, place, fx: f64, fy: f64| zone(name, place, None, (fx * width, fy * height));
    let mut out = vec![zone(SpotName::Near, ZoneName::Near, found.near_at, (0.5 * width, height))];
    let best = map
        .tiles
        .iter()
        .enumerate()
        .filter(|&(i, t)| t.blur.is_some() && !matches!(found.standing.get(i), Some(Standing::SoftContent)))
        // One sd wider than the value, so that a wild reading does not win by luck.
        .min_by(|a, b| upper(a.1).total_cmp(&upper(b.1)));
    if let Some((i, t)) = best {
        out.push(Spot {
            name: SpotName::Best,
            region: around(t.centre(), map.width, map.height),
            tile: u32::try_from(i).ok(),
        });
    }
    out.extend([
        zone(SpotName::Far, ZoneName::Far, found.far_at, (0.5 * width, 0.4 * height)),
        zone(SpotName::Centre, ZoneName::Centre, None, (0.5 * width, 0.5 * height)),
        corner(SpotName::TopLeft, ZoneName::TopLeft, 0.0, 0.0),
        corner(SpotName::TopRight, ZoneName::TopRight, 1.0, 0.0),
        corner(SpotName::BottomLeft, ZoneName::BottomLeft, 0.0, 1.0),
        corner(SpotName::BottomRight, ZoneName::BottomRight, 1.0, 1.0),
    ]);
    out
}

fn upper(tile: &Tile) -> f64 {
    tile.blur.map_or(f64::INFINITY, |b| b.value + b.sd)
}

/// A crop's rectangle about a place, moved inside the picture.
fn around((x, y): (f64, f64), width: u32, height: u32) -> Region {
    let (w, h) = (CROP.min(width), CROP.min(height));
    // `as` turns what is not finite or negative into 0.
    let start = |centre: f64, side: u32, size: u32| ((centre - f64::from(side) / 2.0) as u32).min(size - side);
    Region { x: start(x, w, width), y: start(y, h, height), width: w, height: h }
}
