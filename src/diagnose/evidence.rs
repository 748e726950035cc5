//! Evidence: what of a tile map enters the fit, in the model's own coordinates.

use super::{sky, stop, veil};
use crate::judge;
use crate::lens::{Baseline, Lie};
use crate::measure::{BOUND, TILE_SCATTER, Tile, TileMap, TileState};
use crate::optics::WAVELENGTH_UM;
use crate::quantity::Estimate;
use crate::shot::Capture;
use crate::stats::ranked;

/// Correlation of the errors of two tiles of one row, which show one texture at one distance. Set on the rendered frames
/// used for building: 0.25 to 0.33 from the next tile to the sixth; between rows it is 0.2, 0.07 and then nothing.
const ROW_SHARED: f64 = 0.28;

/// Larger over smaller whole width of two parts of a picture up to which their content, or the file, may make all of
/// the difference. Set on nineteen photographs read by eye as evenly sharp, and their copies saved again, in grey, with
/// other tones and with noise: near over far is within 1.2 in eighteen and reaches 1.4 in one (relief of snow, which
/// coarsens towards the camera as a disc does).
pub(super) const APART: f64 = 1.5;

/// Distance of the nearest thing that a picture may show, m. Chosen: a hand's breadth, nearer than tripods stand and
/// most lenses focus.
const NEAREST_M: f64 = 0.1;

/// One measured tile.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sample {
    /// Row-major index in the map.
    pub index: usize,
    /// Across, fractions of the half diagonal from the centre.
    pub u: f64,
    /// Down, likewise.
    pub v: f64,
    /// Distance from the centre, 1 at a corner.
    pub r: f64,
    /// ln of `r`.
    pub ln_r: f64,
    /// ln of the measured width, px.
    pub y: f64,
    /// Its relative standard deviation, the floor included.
    pub sd: f64,
    /// Lens blur expected here from a learned baseline, px (value, sd).
    pub learned: Option<(f64, f64)>,
    /// Square of that value, or zero.
    pub learned_square: f64,
    /// Share of an independent witness that the tile is: a row's tiles err together.
    pub say: f64,
    /// Whether the tile alone does not tell the width: where it is only known to be no wider than something `y` and `sd` span what
    /// it may be, and where it is told with the help of neighbours they are what the tile itself adds.
    pub bounded: bool,
}

impl Sample {
    /// A place without a measurement.
    pub(super) fn place(u: f64, v: f64, learned: Option<(f64, f64)>) -> Self {
        let r = u.hypot(v).max(1e-3);
        let learned_square = learned.map_or(0.0, |l| l.0 * l.0);
        Self { index: 0, u, v, r, ln_r: r.ln(), y: 0.0, sd: 1.0, learned, learned_square, say: 1.0, bounded: false }
    }
}

/// A frame as the fit sees it.
#[derive(Clone, Debug)]
pub(super) struct Evidence {
    /// Measured tiles.
    pub samples: Vec<Sample>,
    /// Tiles across the map, and down.
    pub columns: usize,
    pub rows: usize,
    /// Half diagonal, px.
    pub half_diagonal: f64,
    /// v of the lower edge (minus this: the upper one).
    pub bottom: f64,
    /// u of the right edge.
    pub right: f64,
    /// lambda N over the pitch, px: as much of it as the picture shows (see [`stop::shown`]), and as recorded.
    pub lambda_n_px: Option<f64>,
    pub recorded_lambda_n_px: Option<f64>,
    /// f^2 / (N p): disc (px) times inverse distance (1/m); from it discs become distances. px m.
    pub reach: Option<f64>,
    /// Focal length, m.
    pub focal_m: Option<f64>,
    /// Pixel pitch, um.
    pub pitch_um: Option<f64>,
    /// Relative error that all of the frame's widths share, where the measuring states it.
    pub common: Option<f64>,
    /// v of the sky's lower edge, where it shows.
    pub skyline: Option<f64>,
    /// v of a horizon that haze hides.
    pub veiled: Option<f64>,
}

impl Evidence {
    /// Gathers the measured tiles and the scales that the capture facts give.
    pub(super) fn new(map: &TileMap, capture: &Capture, lens: Option<&Baseline>) -> Self {
        let (w, h) = (f64::from(map.width.max(1)), f64::from(map.height.max(1)));
        let half = w.hypot(h) / 2.0;
        let positive = |v: f64| (v.is_finite() && v > 0.0).then_some(v);
        let n = capture.f_number.as_ref().and_then(|f| positive(f.value));
        let pitch = capture.pixel_pitch_um.as_ref().and_then(|f| positive(f.value));
        let focal = capture.focal_length_mm.as_ref().and_then(|f| positive(f.value)).map(|f| f * 1e-3);
        let reach = match (focal, n, pitch) {
            (Some(f), Some(n), Some(p)) => Some(f * f / (n * p * 1e-6)),
            _ => None,
        };
        let learned_from = lens.zip(Lie::of(map, capture)).zip(n.zip(pitch));
        let sky = sky::sky(map);
        let silent = sky::silent(map, &sky);
        let mut samples: Vec<Sample> = map
            .tiles
            .iter()
            .enumerate()
            .filter(|(index, _)| !silent[*index])
            .filter_map(|(index, tile)| {
                let blur = told(tile)?;
                let (u, v) = map.uv(tile.centre());
                let stated = if blur.sd.is_finite() { blur.sd.max(0.0) / blur.value } else { 1.0 };
                let learned = learned_from.and_then(|((lens, lie), (n, p))| {
                    let expected = lens.expected_in_um(&lie, map.read_at(tile), n)?;
                    Some((expected.value / p, expected.sd / p))
                });
                let bounded = tile.by_itself().is_none();
                Some(Sample {
                    index,
                    y: blur.value.ln(),
                    sd: stated.hypot(TILE_SCATTER),
                    bounded,
                    ..Sample::place(u, v, learned)
                })
            })
            .collect();
        share_rows(&mut samples, map.columns as usize);
        let recorded_lambda_n_px = capture.lambda_n_px(WAVELENGTH_UM);
        let lambda_n_px = recorded_lambda_n_px.map(|recorded| stop::shown(recorded, own_widths(&samples)));
        Self {
            samples,
            columns: map.columns as usize,
            rows: map.rows as usize,
            half_diagonal: half,
            bottom: h / 2.0 / half,
            right: w / 2.0 / half,
            lambda_n_px,
            recorded_lambda_n_px,
            reach,
            focal_m: focal,
            pitch_um: pitch,
            common: map.common.filter(|c| c.is_finite() && *c > 0.0),
            skyline: veil::skyline(map, &sky),
            veiled: veil::veiled_horizon(map),
        }
    }

    /// Largest disc, px, that missed focus can make of anything before the camera, where the facts say.
    pub(super) fn largest_disc(&self) -> f64 {
        self.reach.map_or(f64::INFINITY, |reach| reach / NEAREST_M)
    }

    /// A place given as fractions of the picture, in the model's coordinates.
    pub(super) fn place(&self, at: crate::quantity::Point) -> Sample {
        let (u, v) = ((2.0 * at.x - 1.0) * self.right, (2.0 * at.y - 1.0) * self.bottom);
        Sample::place(u, v, self.learned_at(u, v))
    }

    /// Whether something was learned of the lens at most of the tiles.
    pub(super) fn learned(&self) -> bool {
        2 * self.samples.iter().filter(|s| s.learned.is_some()).count() > self.samples.len()
    }

    /// ln of the widths, px, that tiles tell by themselves: a bound says only how wide a tile may be.
    pub(super) fn own_widths(&self) -> impl Iterator<Item = f64> {
        own_widths(&self.samples)
    }

    /// Optical width, px, that the sharpest quarter of the measured tiles keeps within.
    pub(super) fn sharpest(&self) -> Option<f64> {
        let y = ranked(self.own_widths().collect(), 0.25)?;
        Some(judge::optical(Estimate::new(y.exp(), 0.0, 1)).value)
    }

    /// What was learned of the lens at a place: that of the nearest measured tile.
    pub(super) fn learned_at(&self, u: f64, v: f64) -> Option<(f64, f64)> {
        let away = |s: &&Sample| (s.u - u).hypot(s.v - v);
        self.samples.iter().min_by(|a, b| away(a).total_cmp(&away(b)))?.learned
    }

    /// The same frame turned by a quarter: clockwise if `clockwise`, so that its left side becomes the top.
    pub(super) fn turned(&self, clockwise: bool) -> Self {
        let turn = |s: &Sample| {
            let (u, v) = if clockwise { (-s.v, s.u) } else { (s.v, -s.u) };
            Sample { u, v, ..*s }
        };
        Self {
            samples: self.samples.iter().map(turn).collect(),
            bottom: self.right,
            right: self.bottom,
            skyline: None,
            veiled: None,
            ..self.clone()
        }
    }
}

/// Whole width, px, that a sharp lens and the finest sampling leave: no tile is narrower. Derived: the pixel's own 0.31
/// px with a third of a pixel of lens and low-pass filter.
const SHARPEST: f64 = 0.45;

/// What a tile tells of its width: the measured one, or where it is only known to be fine, something between the sharpest
/// there is and its bound. That it is at least so wide says nothing of optics, since content may be as soft.
fn told(tile: &Tile) -> Option<Estimate> {
    let measured = tile.own().filter(|b| b.value.is_finite() && b.value > 0.0);
    measured.or_else(|| {
        let bound = tile.bound.filter(|b| tile.state == TileState::AtMost && b.is_finite() && *b > 0.0)?;
        let least = SHARPEST.min(0.9 * bound);
        let (middle, half) = (0.5 * (bound * least).ln(), 0.5 * (bound / least).ln());
        Some(Estimate::new(middle.exp(), middle.exp() * half / BOUND, 1))
    })
}

/// See [`Evidence::own_widths`].
fn own_widths(samples: &[Sample]) -> impl Iterator<Item = f64> {
    samples.iter().filter(|s| !s.bounded).map(|s| s.y)
}

/// Gives every tile its say: n tiles of a row whose errors correlate by r are worth n / (1 + (n - 1) r) independent ones.
fn share_rows(samples: &mut [Sample], columns: usize) {
    let row = |s: &Sample| s.index / columns.max(1);
    for tiles in samples.chunk_by_mut(|a, b| row(a) == row(b)) {
        let say = 1.0 / (1.0 + (tiles.len() as f64 - 1.0) * ROW_SHARED);
        tiles.iter_mut().for_each(|s| s.say = say);
    }
}
