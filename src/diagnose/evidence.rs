//! Evidence: what of a tile map enters the fit, in the model's own coordinates.

use super::{stop, veil};
use crate::judge;
use crate::lens::Baseline;
use crate::measure::{Tile, TileMap, TileState};
use crate::optics::WAVELENGTH_UM;
use crate::quantity::Estimate;
use crate::shot::Capture;
use crate::stats::{ranked, upper_median};

/// Set on the rendered frames used for building, whose tiles scatter by 5 to 8 %. Relative error every tile has beside
/// its stated one: content that no estimator sees through.
pub(super) const FLOOR: f64 = 0.05;

/// Set on the rendered frames used for building: 0.25 to 0.33 from the next tile to the sixth; between rows it is 0.2,
/// 0.07 and then nothing. Correlation of the errors of two tiles of one row: they show one texture at one distance.
const ROW_SHARED: f64 = 0.28;

/// Set on nineteen photographs read by eye as evenly sharp, and their copies saved again, in grey, with other tones and
/// with noise: near over far is within 1.2 in eighteen and reaches 1.4 in one (relief of snow, which coarsens towards the
/// camera as a disc does). Larger over smaller whole width of two parts of a picture up to which their content, or the file, may
/// make all of the difference.
pub(super) const APART: f64 = 1.5;

/// Chosen: a hand's breadth, nearer than tripods stand and most lenses focus. Distance of the nearest thing that a picture
/// may show, m.
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
    /// Tiles across the map.
    pub columns: usize,
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
        let sky = sky(map);
        let mut samples: Vec<Sample> = map
            .tiles
            .iter()
            .enumerate()
            .filter(|(index, _)| !sky[*index])
            .filter_map(|(index, tile)| {
                let blur = told(tile)?;
                let (x, y) = tile.centre();
                let (u, v) = ((x - w / 2.0) / half, (y - h / 2.0) / half);
                let stated = if blur.sd.is_finite() { blur.sd.max(0.0) / blur.value } else { 1.0 };
                let learned = match (lens, n, pitch) {
                    (Some(lens), Some(n), Some(p)) => {
                        let (fx, fy) = landscape(x / w, y / h, map.width >= map.height);
                        lens.expected_um(fx, fy, n).map(|e| (e.value / p, e.sd / p))
                    }
                    _ => None,
                };
                let bounded = tile.by_itself().is_none();
                Some(Sample {
                    index,
                    y: blur.value.ln(),
                    sd: stated.hypot(FLOOR),
                    bounded,
                    ..Sample::place(u, v, learned)
                })
            })
            .collect();
        share_rows(&mut samples, map.columns as usize);
        let recorded_lambda_n_px = capture.lambda_n_px(WAVELENGTH_UM);
        let lambda_n_px = recorded_lambda_n_px.map(|recorded| stop::shown(recorded, samples.iter().map(|s| s.y)));
        Self {
            samples,
            columns: map.columns as usize,
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
        let near = |s: &&Sample| (s.u - u).hypot(s.v - v);
        let nearest = self.samples.iter().min_by(|a, b| near(a).total_cmp(&near(b)));
        Sample::place(u, v, nearest.and_then(|s| s.learned))
    }

    /// Whether something was learned of the lens at most of the tiles.
    pub(super) fn learned(&self) -> bool {
        2 * self.samples.iter().filter(|s| s.learned.is_some()).count() > self.samples.len()
    }

    /// Optical width, px, that the sharpest quarter of the measured tiles keeps within.
    pub(super) fn sharpest(&self) -> Option<f64> {
        let y = ranked(self.samples.iter().filter(|s| !s.bounded).map(|s| s.y).collect(), 0.25)?;
        Some(judge::optical(Estimate::new(y.exp(), 0.0, 1)).value)
    }

    /// What was learned of the lens at a place: that of the nearest measured tile.
    pub(super) fn learned_at(&self, place: &Sample) -> Option<(f64, f64)> {
        let away = |s: &&Sample| (s.u - place.u).hypot(s.v - place.v);
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

/// Derived: the pixel's own 0.31 px with a third of a pixel of lens and low-pass filter. Whole width, px, that a sharp
/// lens and the finest sampling leave: no tile is narrower.
const SHARPEST: f64 = 0.45;
/// Derived: the normal law. Standard deviations within which nineteen of twenty lie on one side.
const ONE_SIDED: f64 = 1.645;

/// What a tile tells of its width: the measured one, or where it is only known to be fine, something between the sharpest
/// there is and its bound. That it is at least so wide says nothing of optics, since content may be as soft.
fn told(tile: &Tile) -> Option<Estimate> {
    let measured = tile.own().filter(|b| b.value.is_finite() && b.value > 0.0);
    measured.or_else(|| {
        let bound = tile.bound.filter(|b| tile.state == TileState::AtMost && b.is_finite() && *b > 0.0)?;
        let least = SHARPEST.min(0.9 * bound);
        let (middle, half) = (0.5 * (bound * least).ln(), 0.5 * (bound / least).ln());
        Some(Estimate::new(middle.exp(), middle.exp() * half / ONE_SIDED, 1))
    })
}

/// Gives every tile its say: n tiles of a row whose errors correlate by r are worth n / (1 + (n - 1) r) independent ones.
fn share_rows(samples: &mut [Sample], columns: usize) {
    let row = |s: &Sample| s.index / columns.max(1);
    for tiles in samples.chunk_by_mut(|a, b| row(a) == row(b)) {
        let say = 1.0 / (1.0 + (tiles.len() as f64 - 1.0) * ROW_SHARED);
        tiles.iter_mut().for_each(|s| s.say = say);
    }
}

/// Chosen: land under an open sky is several times darker, ridges in haze are a step darker than the sky behind them,
/// and a tile that holds the skyline has more contrast. Level of a tile of sky, at the least, as a share of the upper
/// edge's usual level, and of the tile of sky beside it; and its contrast at most.
pub(super) const SKY_LEVEL: f64 = 0.5;
const SKY_STEP: f64 = 0.9;
pub(super) const SKY_CONTRAST: f64 = 0.3;
/// Chosen: a low horizon leaves less. Share of the lowest third of the picture above which what hangs together as bright
/// as the upper edge is no sky but a bright picture.
const SKY_LOW: f64 = 0.25;

/// Chosen: masts and trunks are narrower than a tenth, hills wider. Share of a row up to which what stands in the sky is no part
/// of the scene.
const MAST: f64 = 0.1;

/// Which tiles are sky: cloud is soft by nature and says nothing of focus or lens.
///
/// Grown from the upper edge through neighbours that are as bright and as even. Where it fills much of the lowest
/// third of the picture or reaches its lower edge (snow, a wall, a picture of one brightness) nothing is taken for sky. What fades into the sky without
/// a step goes with it.
pub(super) fn sky(map: &TileMap) -> Vec<bool> {
    let (columns, rows) = (map.columns as usize, map.rows as usize);
    let mut sky = vec![false; map.tiles.len()];
    if columns == 0 || map.tiles.len() != columns * rows {
        return sky;
    }
    let top = map.tiles[..columns].iter().map(|t| t.level).collect();
    let least = SKY_LEVEL * upper_median(top).unwrap_or(0.0);
    let like = |i: usize| map.tiles[i].level >= least && map.tiles[i].contrast < SKY_CONTRAST;
    let mut next: Vec<usize> = (0..columns).filter(|&i| like(i)).collect();
    while let Some(i) = next.pop() {
        if std::mem::replace(&mut sky[i], true) {
            continue;
        }
        let (x, y) = (i % columns, i / columns);
        let beside = [
            (x > 0).then(|| i - 1),
            (x + 1 < columns).then_some(i + 1),
            (y > 0).then(|| i - columns),
            (y + 1 < rows).then_some(i + columns),
        ];
        next.extend(
            beside
                .into_iter()
                .flatten()
                .filter(|&j| !sky[j] && like(j) && map.tiles[j].level >= SKY_STEP * map.tiles[i].level),
        );
    }
    let lowest = &sky[columns * (rows - rows / 3)..];
    let low = lowest.iter().filter(|s| **s).count() as f64 > SKY_LOW * lowest.len() as f64;
    if low || sky[columns * (rows - 1)..].contains(&true) {
        sky.fill(false);
    }
    // What has sky below it stands in the sky: a flag, a lamp, a branch, a cloud.
    for x in 0..columns {
        if let Some(last) = (0..rows).rev().find(|&y| sky[y * columns + x]) {
            (0..last).for_each(|y| sky[y * columns + x] = true);
        }
    }
    sky.chunks_exact_mut(columns).for_each(masts);
    sky
}

/// Adds to the sky of one row what is narrow and has sky, or sky and the picture's edge, beside it: a mast, a trunk, a rope. At
/// whatever distance it stands, the row shows nothing else, and it would be asked as if it were a scene.
fn masts(row: &mut [bool]) {
    let widest = (MAST * row.len() as f64) as usize;
    let mut from = 0;
    while let Some(start) = row[from..].iter().position(|s| !s).map(|k| from + k) {
        let end = row[start..].iter().position(|s| *s).map_or(row.len(), |k| start + k);
        if end - start <= widest && (start, end) != (0, row.len()) {
            row[start..end].fill(true);
        }
        from = end;
    }
}

/// A place of an upright picture as fractions of the landscape frame the baseline is kept in. A portrait
/// picture is the landscape frame turned; which way is unknown and, for a lens centred on its axis, no matter.
fn landscape(x: f64, y: f64, wide: bool) -> (f64, f64) {
    if wide { (x, y) } else { (y, 1.0 - x) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn map(rows: &[(f64, f64)]) -> TileMap {
        let tile = |&(level, contrast): &(f64, f64)| Tile {
            x: 0,
            y: 0,
            width: 10,
            height: 10,
            state: TileState::NoDetail,
            contrast,
            noise: 0.0,
            level,
            blur: None,
            alone: None,
            bound: None,
            spread: None,
        };
        TileMap {
            width: 80,
            height: 10 * rows.len() as u32,
            columns: 8,
            rows: rows.len() as u32,
            tiles: rows.iter().flat_map(|row| vec![tile(row); 8]).collect(),
            ..TileMap::default()
        }
    }

    fn sky_rows(rows: &[(f64, f64)]) -> Vec<bool> {
        sky(&map(rows)).chunks(8).map(|row| row.iter().all(|s| *s)).collect()
    }

    #[test]
    fn sky_ends_at_the_skyline() {
        let found = sky_rows(&[(0.5, 0.02), (0.7, 0.2), (0.5, 0.5), (0.1, 0.3), (0.12, 0.3), (0.1, 0.3)]);
        assert_eq!(found, [true, true, false, false, false, false]);
    }

    #[test]
    fn masts_are_no_part_of_the_scene_and_hills_are() {
        let row = |text: &str| -> Vec<bool> { text.bytes().map(|b| b == b's').collect() };
        let after = |text: &str| {
            let mut row = row(text);
            masts(&mut row);
            row.iter().map(|s| if *s { 's' } else { '-' }).collect::<String>()
        };
        assert_eq!(after("ssss--ssssssssssssssssss"), "s".repeat(24));
        assert_eq!(after("ssssssssssssssssssssss--"), "s".repeat(24));
        assert_eq!(after("ssss-----sss---sssssssss"), "ssss-----sss---sssssssss");
        assert_eq!(after("-".repeat(24).as_str()), "-".repeat(24));
    }

    #[test]
    fn water_that_mirrors_the_sky_is_not_sky() {
        let found = sky_rows(&[(0.5, 0.02), (0.15, 0.4), (0.5, 0.1), (0.1, 0.3), (0.1, 0.3), (0.1, 0.3)]);
        assert_eq!(found, [true, false, false, false, false, false]);
    }

    #[test]
    fn snow_and_walls_are_not_sky() {
        assert!(!sky_rows(&[(0.6, 0.02); 6]).contains(&true));
        assert!(!sky_rows(&[(0.6, 0.02), (0.7, 0.1), (0.8, 0.1), (0.8, 0.2), (0.9, 0.2), (0.1, 0.3)]).contains(&true));
    }
}
