//! TileMap and Tile: contrast, noise, blur and direction a tile; the contract between measuring and diagnosing.

use serde::{Deserialize, Serialize};

use super::{sharpened, width};
use crate::quantity::{Estimate, MTF50_SIGMA, Region};

/// What came of measuring a tile.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, schemars::JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum TileState {
    /// It has a number.
    Measured,
    /// Too little detail to measure.
    NoDetail,
    /// Too many clipped samples.
    Clipped,
    /// Detail is not above the noise.
    Noisy,
    /// It has detail up to the finest scale, so that its blur is at most its `bound`.
    AtMost,
    /// It has detail, but none that is fine: its blur (or its content) is at least as wide as its `bound`.
    AtLeast,
}

/// Squared blur width as a function of direction: sigma^2(t) = xx cos^2 t + 2 xy sin t cos t + yy sin^2 t,
/// where t is the direction along which the spread is measured, from +x (right) towards +y (down).
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Spread {
    /// Squared width along x, px^2.
    pub xx: Estimate,
    /// Mixed term, px^2.
    pub xy: Estimate,
    /// Squared width along y, px^2.
    pub yy: Estimate,
}

impl Spread {
    /// Blur width (px) along the direction with unit vector (dx, dy), sd to first order from the diagonal errors.
    #[must_use]
    pub fn along(&self, dx: f64, dy: f64) -> Estimate {
        let (cc, ss, sc) = (dx * dx, dy * dy, dx * dy);
        let square = (self.xx.value * cc + 2.0 * self.xy.value * sc + self.yy.value * ss).max(1e-6);
        let sd_square = (self.xx.sd * cc).hypot(self.yy.sd * ss).hypot(2.0 * self.xy.sd * sc);
        let value = square.sqrt();
        Estimate::new(value, sd_square / (2.0 * value), self.xx.n.min(self.yy.n))
    }

    /// Direction of the widest spread, radians from +x towards +y, in (-pi/2, pi/2].
    #[must_use]
    pub fn angle(&self) -> f64 {
        0.5 * (2.0 * self.xy.value).atan2(self.xx.value - self.yy.value)
    }
}

/// One square (or cut-off) tile of the picture.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Tile {
    /// Left edge, px, upright picture.
    pub x: u32,
    /// Top edge, px.
    pub y: u32,
    /// Width, px.
    pub width: u32,
    /// Height, px.
    pub height: u32,
    /// What came of it.
    pub state: TileState,
    /// Standard deviation of luminance over its mean, noise taken out: is there anything to measure here.
    pub contrast: f64,
    /// Standard deviation of the noise, as relative luminance (white = 1).
    pub noise: f64,
    /// Mean relative luminance (white = 1).
    pub level: f64,
    /// Gaussian-equivalent sigma of the line spread, pixel aperture included, px; `None` unless `Measured`.
    pub blur: Option<Estimate>,
    /// What the tile says by itself, px, where its own word is too uncertain to be told and `blur` is read together with its
    /// neighbours': what counts beside theirs, for the neighbours are told already. `None` where `blur` is the tile's alone.
    #[serde(default)]
    pub alone: Option<Estimate>,
    /// Width (px, as `blur`) beyond which the true one lies in one case of twenty; `None` unless `AtMost` or `AtLeast`.
    #[serde(default)]
    pub bound: Option<f64>,
    /// Blur against direction, where edges of enough directions were found.
    pub spread: Option<Spread>,
}

impl Tile {
    /// Where it lies.
    #[must_use]
    pub const fn region(&self) -> Region {
        Region { x: self.x, y: self.y, width: self.width, height: self.height }
    }

    /// The width that the tile's own detail tells, whatever its neighbours say: what to pool with those of other tiles.
    #[must_use]
    pub fn own(&self) -> Option<Estimate> {
        self.alone.or(self.blur)
    }

    /// Its blur, where the tile tells it without its neighbours.
    #[must_use]
    pub fn by_itself(&self) -> Option<Estimate> {
        self.blur.filter(|_| self.alone.is_none())
    }

    /// Spatial frequency of half contrast, cycles a pixel.
    #[must_use]
    pub fn mtf50(&self) -> Option<f64> {
        self.blur.map(|b| MTF50_SIGMA / b.value)
    }

    /// Centre of the tile, px.
    #[must_use]
    pub fn centre(&self) -> (f64, f64) {
        self.region().middle()
    }
}

/// Motion blur common to the whole frame, as measured from the pattern of directions.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Streak {
    /// Length of the straight, even track, px; where the picture lies twice over itself, of the even track that halves the contrast at
    /// the same frequency, as widths have it.
    pub length: Estimate,
    /// Direction of the track, radians from +x towards +y, in (-pi/2, pi/2].
    pub angle: Estimate,
    /// How far apart the two pictures lie where it is one that lies twice over itself, px.
    #[serde(default)]
    pub doubled: Option<Estimate>,
}

/// The grid of tiles of one frame and what was measured over the frame as a whole.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct TileMap {
    /// Width of the upright picture, px.
    pub width: u32,
    /// Height of the upright picture, px.
    pub height: u32,
    /// Tiles across.
    pub columns: u32,
    /// Tiles down.
    pub rows: u32,
    /// Row-major from the top-left, `columns * rows` of them.
    pub tiles: Vec<Tile>,
    /// Error of widths that all tiles share, as a share of the width: scenes of one kind mislead alike, so a zone grows no surer
    /// than this with the number of its tiles. `None` where nothing was measured.
    #[serde(default)]
    pub common: Option<f64>,
    /// Typical overshoot of edges as a share of their step (0.05 = 5 %); `None` if too few edges tell.
    pub overshoot: Option<Estimate>,
    /// A consistent streak over the frame, if the directions say so.
    pub streak: Option<Streak>,
    /// Share of samples that are clipped.
    pub clipped_share: f64,
    /// Row-major, log2 of the energy of gradients up and down over that of gradients across: water is drawn in layers.
    /// Empty where it was not looked at.
    #[serde(default)]
    pub layers: Vec<Option<f32>>,
    /// Whether the picture shows the traces of an enlargement.
    #[serde(default)]
    pub enlarged: bool,
    /// Whether it was read from a sensor's own samples, a colour mosaic, which no camera smoothed or sharpened.
    #[serde(default)]
    pub mosaic: bool,
}

impl TileMap {
    /// The tile that holds the picture position (x, y) in px.
    pub(crate) fn tile_at(&self, x: f64, y: f64) -> Option<&Tile> {
        self.tiles.iter().find(|t| {
            let (left, top) = (f64::from(t.x), f64::from(t.y));
            x >= left && x < left + f64::from(t.width) && y >= top && y < top + f64::from(t.height)
        })
    }

    /// Where the width of a tile was read, px: its middle, but at the rim of a small picture further in.
    pub(crate) fn read_at(&self, tile: &Tile) -> (f64, f64) {
        width::read_at(tile.region(), (self.width, self.height))
    }

    /// A place in the picture, px, as models of a frame count: from its middle, to the right and down, in half diagonals.
    pub(crate) fn uv(&self, (x, y): (f64, f64)) -> (f64, f64) {
        let (w, h) = (f64::from(self.width.max(1)), f64::from(self.height.max(1)));
        let half = 0.5 * w.hypot(h);
        ((x - 0.5 * w) / half, (y - 0.5 * h) / half)
    }

    /// Whether edges overshoot as sharpening makes them (see [`super::sharpened`]).
    #[must_use]
    pub fn sharpened(&self) -> bool {
        self.overshoot.is_some_and(sharpened::shown)
    }

    /// Tiles that have a number.
    pub fn measured(&self) -> impl Iterator<Item = (&Tile, Estimate)> {
        self.tiles.iter().filter_map(|t| Some((t, t.blur?)))
    }
}
