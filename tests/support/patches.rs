//! Patches of which one seed is one scene, for comparing frames.

use tussock::shot::Plane;
use tussock::simulate::{PatchSpec, Truth, render_patch};

/// Side of a patch, px.
pub const SIDE: usize = 272;

/// Renders the middle of a canvas whose size does not depend on the spread, since what is painted depends on it.
pub fn framed(spec: &PatchSpec) -> (Plane, Truth) {
    const CANVAS: usize = 336;
    let width = CANVAS - 2 * spec.psf.reach().ceil() as usize;
    let (plane, truth) = render_patch(&PatchSpec { width, height: width, ..*spec });
    let edge = (width - SIDE) / 2;
    let data = (edge..edge + SIDE).flat_map(|y| plane.row(y)[edge..edge + SIDE].to_vec()).collect();
    (Plane { width: SIDE, height: SIDE, data, ..plane }, truth)
}
