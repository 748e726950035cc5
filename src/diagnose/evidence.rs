//! Evidence: what of a tile map enters the fit, in the model's own coordinates.

use crate::lens::Baseline;
use crate::measure::TileMap;
use crate::optics::WAVELENGTH_UM;
use crate::shot::Capture;

/// Relative error every tile has beside its stated one: content that no estimator sees through.
/// Set by the 5-8 % scatter found on rendered frames.
pub const FLOOR: f64 = 0.05;

/// One measured tile.
#[derive(Clone, Copy, Debug)]
pub struct Sample {
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
}

impl Sample {
    /// A place without a measurement.
    #[must_use]
    pub fn place(u: f64, v: f64, learned: Option<(f64, f64)>) -> Self {
        let r = u.hypot(v).max(1e-3);
        let learned_square = learned.map_or(0.0, |l| l.0 * l.0);
        Self { index: 0, u, v, r, ln_r: r.ln(), y: 0.0, sd: 1.0, learned, learned_square }
    }
}

/// A frame as the fit sees it.
#[derive(Clone, Debug)]
pub struct Evidence {
    /// Measured tiles.
    pub samples: Vec<Sample>,
    /// Half diagonal, px.
    pub half_diagonal: f64,
    /// v of the lower edge (minus this: the upper one).
    pub bottom: f64,
    /// u of the right edge.
    pub right: f64,
    /// lambda N over the pitch, px.
    pub lambda_n_px: Option<f64>,
    /// f^2 / (N p): disc (px) times inverse distance (1/m); from it discs become distances. px m.
    pub reach: Option<f64>,
    /// Focal length, m.
    pub focal_m: Option<f64>,
    /// Pixel pitch, um.
    pub pitch_um: Option<f64>,
    /// Typical overshoot of edges, where known and above nothing.
    pub overshoot: f64,
}

impl Evidence {
    /// Gathers the measured tiles and the scales that the capture facts give.
    #[must_use]
    pub fn new(map: &TileMap, capture: &Capture, lens: Option<&Baseline>) -> Self {
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
        let samples = map
            .tiles
            .iter()
            .enumerate()
            .filter_map(|(index, tile)| {
                let blur = tile.blur.filter(|b| b.value.is_finite() && b.value > 0.0)?;
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
                Some(Sample { index, y: blur.value.ln(), sd: stated.hypot(FLOOR), ..Sample::place(u, v, learned) })
            })
            .collect();
        Self {
            samples,
            half_diagonal: half,
            bottom: h / 2.0 / half,
            right: w / 2.0 / half,
            lambda_n_px: n.zip(pitch).map(|(n, p)| WAVELENGTH_UM * n / p),
            reach,
            focal_m: focal,
            pitch_um: pitch,
            overshoot: map.overshoot.map_or(0.0, |o| if o.value.is_finite() { o.value.max(0.0) } else { 0.0 }),
        }
    }

    /// A place given as fractions of the picture, in the model's coordinates.
    #[must_use]
    pub fn place(&self, at: crate::quantity::Point) -> Sample {
        let (u, v) = ((2.0 * at.x - 1.0) * self.right, (2.0 * at.y - 1.0) * self.bottom);
        let near = |s: &&Sample| (s.u - u).hypot(s.v - v);
        let nearest = self.samples.iter().min_by(|a, b| near(a).total_cmp(&near(b)));
        Sample::place(u, v, nearest.and_then(|s| s.learned))
    }

    /// The same frame turned by a quarter: clockwise if `clockwise`, so that its left side becomes the top.
    #[must_use]
    pub fn turned(&self, clockwise: bool) -> Self {
        let turn = |s: &Sample| {
            let (u, v) = if clockwise { (-s.v, s.u) } else { (s.v, -s.u) };
            Sample { u, v, ..*s }
        };
        Self {
            samples: self.samples.iter().map(turn).collect(),
            bottom: self.right,
            right: self.bottom,
            ..self.clone()
        }
    }
}

/// A place of an upright picture as fractions of the landscape frame the baseline is kept in. A portrait
/// picture is the landscape frame turned; which way is unknown and, for a lens centred on its axis, no matter.
fn landscape(x: f64, y: f64, wide: bool) -> (f64, f64) {
    if wide { (x, y) } else { (y, 1.0 - x) }
}
