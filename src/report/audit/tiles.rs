//! The tiles of a frame as `audit.json` has them: a list a quantity, not an object a tile, which takes a quarter of the room.

use schemars::JsonSchema;
use serde::{Serialize, Serializer};

use crate::diagnose::Standing;
use crate::measure::TileState;

/// One tile. x, y from the top-left of the upright picture, px.
#[derive(Clone, Debug, PartialEq)]
pub struct TileView {
    /// Left edge, px.
    pub x: u32,
    /// Top edge, px.
    pub y: u32,
    /// Width, px.
    pub width: u32,
    /// Height, px.
    pub height: u32,
    /// What came of measuring it.
    pub state: TileState,
    /// Standard deviation of luminance over its mean, noise taken out.
    pub contrast: Option<f64>,
    /// Gaussian-equivalent sigma of the line spread, pixel aperture included, px.
    pub blur_px: Option<f64>,
    /// Its standard deviation, px.
    pub blur_px_sd: Option<f64>,
    /// Whether it was read together with its neighbours', since the tile alone tells it too roughly.
    pub with_neighbours: bool,
    /// Width (px, as `blur_px`) that is at most, or at least, the true one in 19 cases of 20; null unless the state is `at_most` or
    /// `at_least`.
    pub bound_px: Option<f64>,
    /// Its optical part, the pixel aperture taken out, px: what is compared with the permitted blur.
    pub optical_px: Option<f64>,
    /// Its standard deviation, px.
    pub optical_px_sd: Option<f64>,
    /// Spatial frequency of half contrast, cycles a pixel.
    pub mtf50: Option<f64>,
    /// What the tile shows, as far as the model can tell.
    pub standing: Standing,
    /// Blur by cause, px; null where no model reaches.
    pub budget: Option<BudgetView>,
}

/// Blur by cause, each as the Gaussian-equivalent sigma it would have alone, px.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
pub struct BudgetView {
    /// Pixel aperture.
    pub pixel: Option<f64>,
    /// Diffraction, as much of it as the widths show.
    pub diffraction: Option<f64>,
    /// Defocus.
    pub defocus: Option<f64>,
    /// The lens's own softness.
    pub lens: Option<f64>,
    /// Motion.
    pub motion: Option<f64>,
    /// All together.
    pub total: Option<f64>,
}

/// The tiles, row-major from the top-left: the same place of every list is the same tile. x, y from the top-left of the
/// upright picture, px.
#[derive(Serialize, JsonSchema)]
pub(super) struct TileColumns {
    /// Left edges, px.
    x: Vec<u32>,
    /// Top edges, px.
    y: Vec<u32>,
    /// Widths, px.
    width: Vec<u32>,
    /// Heights, px.
    height: Vec<u32>,
    /// What came of measuring them.
    state: Vec<TileState>,
    /// Standard deviation of luminance over its mean, noise taken out.
    contrast: Vec<Option<f64>>,
    /// Gaussian-equivalent sigma of the line spread, pixel aperture included, px.
    blur_px: Vec<Option<f64>>,
    /// Its standard deviation, px.
    blur_px_sd: Vec<Option<f64>>,
    /// Whether they were read together with their neighbours', since the tile alone tells it too roughly.
    with_neighbours: Vec<bool>,
    /// Width (px, as `blur_px`) that is at most, or at least, the true one in 19 cases of 20; null unless the state is
    /// `at_most` or `at_least`.
    bound_px: Vec<Option<f64>>,
    /// Its optical part, the pixel aperture taken out, px: what is compared with the permitted blur.
    optical_px: Vec<Option<f64>>,
    /// Its standard deviation, px.
    optical_px_sd: Vec<Option<f64>>,
    /// Spatial frequency of half contrast, cycles a pixel.
    mtf50: Vec<Option<f64>>,
    /// What the tiles show, as far as the model can tell.
    standing: Vec<Standing>,
    /// Blur by cause, px; null where no model reaches.
    budget: BudgetColumns,
}

/// Blur by cause, each as the Gaussian-equivalent sigma it would have alone, px; a list a cause.
#[derive(Serialize, JsonSchema)]
struct BudgetColumns {
    /// Pixel aperture.
    pixel: Vec<Option<f64>>,
    /// Diffraction.
    diffraction: Vec<Option<f64>>,
    /// Defocus.
    defocus: Vec<Option<f64>>,
    /// The lens's own softness.
    lens: Vec<Option<f64>>,
    /// Motion.
    motion: Vec<Option<f64>>,
    /// All together.
    total: Vec<Option<f64>>,
}

/// Writes tiles as columns.
pub(super) fn columns<S: Serializer>(tiles: &[TileView], serializer: S) -> Result<S::Ok, S::Error> {
    fn all<T>(tiles: &[TileView], of: impl Fn(&TileView) -> T) -> Vec<T> {
        tiles.iter().map(of).collect()
    }
    let part = |of: fn(&BudgetView) -> Option<f64>| all(tiles, |t| t.budget.as_ref().and_then(of));
    TileColumns {
        x: all(tiles, |t| t.x),
        y: all(tiles, |t| t.y),
        width: all(tiles, |t| t.width),
        height: all(tiles, |t| t.height),
        state: all(tiles, |t| t.state),
        contrast: all(tiles, |t| t.contrast),
        blur_px: all(tiles, |t| t.blur_px),
        blur_px_sd: all(tiles, |t| t.blur_px_sd),
        with_neighbours: all(tiles, |t| t.with_neighbours),
        bound_px: all(tiles, |t| t.bound_px),
        optical_px: all(tiles, |t| t.optical_px),
        optical_px_sd: all(tiles, |t| t.optical_px_sd),
        mtf50: all(tiles, |t| t.mtf50),
        standing: all(tiles, |t| t.standing),
        budget: BudgetColumns {
            pixel: part(|b| b.pixel),
            diffraction: part(|b| b.diffraction),
            defocus: part(|b| b.defocus),
            lens: part(|b| b.lens),
            motion: part(|b| b.motion),
            total: part(|b| b.total),
        },
    }
    .serialize(serializer)
}
