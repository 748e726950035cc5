//! Samples: what each tile of a frame says of the lens, as a squared width with pixel and diffraction taken out.

use std::f64::consts::{LN_2, PI};

use thiserror::Error;

use super::Lie;
use crate::measure::{TILE_SCATTER, Tile, TileMap, sharpened};
use crate::optics::blur::{self, Parts};
use crate::optics::lambda_n_px;
use crate::quantity::MTF50_SIGMA;
use crate::shot::Capture;
use crate::stats;

/// Why frames are no good to learn a lens from; each a sentence's clause.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum Unsuitable {
    /// None has both f-number and pitch, with something measured.
    #[error("no frame has an f-number, a pixel pitch and measured tiles; give --aperture or --pitch")]
    NoFacts,
    /// All are upright, turned by nobody knows what.
    #[error(
        "every frame is in portrait format and none says which way the camera was turned, so that left and right of the lens can't be \
         told; use landscape frames"
    )]
    OnlyPortrait,
    /// All are sharpened.
    #[error("every frame is sharpened, so that its widths read too small; use raw files")]
    Sharpened,
    /// One is sharper than light allows.
    #[error(
        "at f/{f_number} they are sharper than diffraction leaves any picture, so they were sharpened or the f-numbers are false; use raw \
         files"
    )]
    TooSharp {
        /// The f-number.
        f_number: f64,
    },
    /// Too few frames.
    #[error("{found} frames can serve and {needed} are needed")]
    TooFew {
        /// How many can serve.
        found: usize,
        /// How many are needed.
        needed: usize,
    },
    /// Most have one side softer than the other.
    #[error(
        "in {found} of {of} frames one side is softer than the other, so that they can't tell what the lens does in line"
    )]
    OneSided {
        /// How many.
        found: usize,
        /// Of how many.
        of: usize,
    },
    /// All at one f-number where several are needed.
    #[error("all frames have the same f-number, so there is no series of apertures")]
    OneStop,
    /// Frames of more than one lens or focal length.
    #[error("the frames are of more than one lens or focal length")]
    Mixed,
    /// Too few tiles can be believed.
    #[error("too little of the field was in focus and textured ({place})")]
    LittleInFocus {
        /// Where.
        place: &'static str,
    },
    /// No two frames differ in focus.
    #[error("the focus hardly differs between the frames, so there is no focus series")]
    OneFocus,
}

/// What one tile says.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sample {
    /// Place from the centre of the landscape frame, in half-diagonals of the field that is learned, x to the right.
    pub u: f64,
    /// The same, y downwards.
    pub v: f64,
    /// f-number.
    pub f_number: f64,
    /// Squared lens blur, um^2; negative where the tile reads sharper than pixel and diffraction allow.
    pub square: f64,
    /// Standard deviation of `square`.
    pub sd: f64,
    /// Which frame it came from.
    pub frame: usize,
    /// Squared blur of pixel and diffraction, um^2, to which a squared lens blur adds before it is measured.
    pub floor: f64,
}

impl Sample {
    /// Standard deviation that a sample of this quality has where the lens blur is `square`: the noise of a width
    /// goes with the width, so a low reading must not pass for a sure one.
    pub(super) fn sd_at(&self, square: f64) -> f64 {
        self.sd * (square.max(0.0) + self.floor) / (self.square.max(0.0) + self.floor)
    }
}

/// A frame fit to learn from.
#[derive(Clone, Copy, Debug)]
pub(super) struct Frame<'a> {
    /// Its tiles.
    pub map: &'a TileMap,
    /// Its facts.
    pub capture: &'a Capture,
    /// f-number.
    pub f_number: f64,
    /// Pixel pitch, um.
    pub pitch_um: f64,
    /// How it lies on the sensor.
    pub lie: Lie,
}

impl Frame<'_> {
    /// Where on the sensor a tile was read, from the middle, in half-diagonals of `field`.
    pub(super) fn place(&self, tile: &Tile, field: Span) -> (f64, f64) {
        let (x, y) = self.lie.on_sensor(self.map.read_at(tile));
        (x / field.half_mm(), y / field.half_mm())
    }
}

/// Width and height, mm on the sensor, of the landscape frame over which a lens is learned.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Span(pub f64, pub f64);

impl Span {
    /// The smallest that holds all frames: where they differ, what is learned of the outer field is from the larger ones.
    pub(super) fn of(frames: &[Frame]) -> Self {
        let sides = frames.iter().map(|f| f.lie.frame_mm());
        let (width, height) = sides.fold((0.0, 0.0), |a: (f64, f64), b| (a.0.max(b.0), a.1.max(b.1)));
        Self(width, height)
    }

    /// Half its diagonal, mm.
    pub(super) fn half_mm(self) -> f64 {
        0.5 * self.0.hypot(self.1)
    }
}

/// Why one frame of several is left out; each the words after its name.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Error)]
pub enum LeftOut {
    /// No f-number or pitch.
    #[error("has no f-number or pixel pitch")]
    NoFacts,
    /// Which way the camera was turned is not known, so left and right are not either.
    #[error("is in portrait format and does not say which way the camera was turned")]
    Portrait,
    /// It was sharpened.
    #[error("is sharpened")]
    Sharpened,
    /// Nothing of it was measured.
    #[error("has nothing to measure")]
    Bare,
}

/// Why a frame is left out of what a lens is learned from; `None` where it serves. A sensor's own samples were never sharpened,
/// whatever their edges look like.
#[must_use]
pub fn left_out(map: &TileMap, capture: &Capture) -> Option<LeftOut> {
    let known = |f: &Option<crate::shot::Fact<f64>>| f.as_ref().is_some_and(|f| f.value.is_finite() && f.value > 0.0);
    if !known(&capture.f_number) || !known(&capture.pixel_pitch_um) {
        Some(LeftOut::NoFacts)
    } else if !Lie::of(map, capture).is_some_and(|lie| lie.told()) {
        Some(LeftOut::Portrait)
    } else if !map.mosaic && map.overshoot.is_some_and(sharpened::strong) {
        Some(LeftOut::Sharpened)
    } else {
        (map.measured().count() == 0).then_some(LeftOut::Bare)
    }
}

/// The frames that can serve: held one known way, unsharpened, with f-number and pitch.
pub(super) fn usable<'a>(frames: &[(&'a TileMap, &'a Capture)]) -> Result<Vec<Frame<'a>>, Unsuitable> {
    let mut kept = Vec::new();
    let (mut portrait, mut sharpened) = (0, 0);
    for &(map, capture) in frames {
        match (left_out(map, capture), &capture.f_number, &capture.pixel_pitch_um, Lie::of(map, capture)) {
            (None, Some(f_number), Some(pitch), Some(lie)) => {
                kept.push(Frame { map, capture, f_number: f_number.value, pitch_um: pitch.value, lie });
            }
            (Some(LeftOut::Portrait), ..) => portrait += 1,
            (Some(LeftOut::Sharpened), ..) => sharpened += 1,
            _ => {}
        }
    }
    if kept.is_empty() {
        return Err(if portrait > 0 {
            Unsuitable::OnlyPortrait
        } else if sharpened > 0 {
            Unsuitable::Sharpened
        } else {
            Unsuitable::NoFacts
        });
    }
    Ok(kept)
}

/// Share by which all widths of a frame may read too small in common. Set on rendered patches (docs/accuracy.md): 8 %.
const IN_COMMON: f64 = 0.08;

/// The f-number of the first frame whose middle tile is narrower than pixel and diffraction alone leave it.
///
/// Light sets a floor to a width, and sharpening alone goes below it: by up to a fifth without an overshoot that tells. Frames of one
/// series were developed alike, so what shows in one at a small aperture is in those, too, whose lens blur hides it.
pub(super) fn too_sharp(frames: &[Frame]) -> Option<f64> {
    let narrower = |frame: &&Frame| {
        let widths: Vec<f64> = frame.map.tiles.iter().filter_map(|t| Some(t.by_itself()?.value)).collect();
        let floor = blur::least_px(lambda_n_px(frame.f_number, frame.pitch_um));
        stats::median(&widths).is_some_and(|middle| middle < (1.0 - IN_COMMON) * floor)
    };
    frames.iter().find(narrower).map(|f| f.f_number)
}

/// Samples of a frame, over a field of that size.
pub(super) fn samples<'a>(frame: &'a Frame<'a>, index: usize, field: Span) -> impl Iterator<Item = Sample> + 'a {
    let lambda_n = lambda_n_px(frame.f_number, frame.pitch_um);
    let parts = Parts { lambda_n_px: Some(lambda_n), pixel: true, ..Parts::default() };
    let floor = (blur::sigma_px(&parts) * frame.pitch_um).powi(2);
    frame.map.tiles.iter().filter_map(move |tile| {
        let blur = tile.by_itself()?;
        let (u, v) = frame.place(tile, field);
        let (square, slope) = lens_square(blur.value, &parts)?;
        let sd = slope.abs() * blur.sd.hypot(TILE_SCATTER * blur.value);
        let scale = frame.pitch_um * frame.pitch_um;
        (sd.is_finite() && sd > 0.0).then_some(Sample {
            u,
            v,
            f_number: frame.f_number,
            square: square * scale,
            sd: sd * scale,
            frame: index,
            floor,
        })
    })
}

/// Squared Gaussian lens blur (px^2) that with the other parts makes `sigma`, and its slope against `sigma`.
///
/// From exp(-2 pi^2 L^2 f^2) * MTF(f) = 1/2 at f = MTF50; where the whole reads sharper than the other parts
/// alone it is negative, so that noise averages out. `None` far below them, where the MTF has vanished.
fn lens_square(sigma: f64, parts: &Parts) -> Option<(f64, f64)> {
    let at = |sigma: f64| {
        let f = MTF50_SIGMA / sigma;
        let mtf = blur::mtf(parts, f);
        (mtf > 0.02 && f < 1.0).then(|| (LN_2 + mtf.ln()) / (2.0 * PI * PI * f * f))
    };
    let step = 1e-3 * sigma;
    let (here, up, down) = (at(sigma)?, at(sigma + step)?, at(sigma - step)?);
    here.is_finite().then_some((here, (up - down) / (2.0 * step)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::measure::{Tile, TileState};
    use crate::quantity::Estimate;
    use crate::shot::{Fact, Source};

    /// A width is read from 96 px about a tile's middle, which in the corner of a picture of 984 px, whose tiles have 41, lie further in.
    #[test]
    fn a_corner_of_a_small_picture_tells_of_where_it_was_read() {
        let tile = |x: u32, y: u32, side: u32| Tile {
            x,
            y,
            width: side,
            height: side,
            state: TileState::Measured,
            contrast: 0.2,
            noise: 0.001,
            level: 0.3,
            blur: Some(Estimate::new(1.2, 0.05, 9)),
            alone: None,
            bound: None,
            spread: None,
        };
        let places = |width: u32, height: u32, tiles: Vec<Tile>| -> Vec<(f64, f64)> {
            let map = TileMap { width, height, tiles, ..TileMap::default() };
            let pitch = Some(Fact::new(5.0, Source::Exif));
            let capture = Capture { pixel_pitch_um: pitch, ..Capture::default() };
            let lie = Lie::of(&map, &capture).unwrap();
            let frame = Frame { map: &map, capture: &capture, f_number: 2.8, pitch_um: 5.0, lie };
            let half = 0.5 * f64::from(width).hypot(f64::from(height));
            let (w, h) = (f64::from(width), f64::from(height));
            samples(&frame, 0, Span::of(&[frame])).map(|s| (s.u * half + 0.5 * w, s.v * half + 0.5 * h)).collect()
        };
        let near = |found: &[(f64, f64)], truth: &[(f64, f64)]| {
            found.len() == truth.len() && found.iter().zip(truth).all(|(a, b)| (a.0 - b.0).hypot(a.1 - b.1) < 1.0)
        };
        let small = places(984, 656, vec![tile(0, 0, 41), tile(943, 615, 41), tile(410, 246, 41)]);
        assert!(near(&small, &[(48.0, 48.0), (936.0, 608.0), (430.5, 266.5)]), "{small:?}");
        let whole = places(6000, 4000, vec![tile(0, 0, 250)]);
        assert!(near(&whole, &[(125.0, 125.0)]), "{whole:?}");
    }
}
