//! Landscape and camera to light on the sensor, with the true blur of each tile beside it.

use rayon::prelude::*;

use super::convolve::{Convolver, quick_size};
use super::object;
use super::painter::Painter;
use super::psf::Psf;
use super::scene::SceneSpec;
use super::scenery::Backdrop;
use super::sensor::expose;
use super::tiles::{TileTruth, cut, tile_truth};
use crate::shot::Plane;

/// Distance between places where the point spread is worked out, px; between them pictures are cross-faded.
const NODE: usize = 128;
/// Widest margin, px.
const WIDEST: f64 = 90.0;

/// A rendered landscape: light on the sensor before noise.
#[derive(Clone, Debug)]
pub struct Rendered {
    /// What was rendered.
    pub spec: SceneSpec,
    /// Width, px.
    pub width: usize,
    /// Height, px.
    pub height: usize,
    /// Linear luminance, row-major, white = 1.
    pub luminance: Vec<f32>,
    /// Red less luminance and blue less luminance, linear.
    pub chroma: [Vec<f32>; 2],
    /// Tiles across.
    pub columns: u32,
    /// Tiles down.
    pub rows: u32,
    /// True blur of the tiles, row-major.
    pub tiles: Vec<TileTruth>,
}

impl Rendered {
    /// The picture as a sensor without colour filters records it, with the scene's own noise.
    #[must_use]
    pub fn plane(&self) -> Plane {
        expose(&self.luminance, self.width, self.height, self.spec.noise, self.spec.noise_seed)
    }
}

/// Renders a landscape with the truth for a grid of 24 tiles along the longer side.
#[must_use]
pub fn landscape(spec: &SceneSpec) -> Rendered {
    let camera = &spec.camera;
    let (width, height) = (camera.width, camera.height);
    let shake = (spec.shake.0 * spec.shake.1.cos(), spec.shake.0 * spec.shake.1.sin());
    let spread = |x: f64, y: f64, inverse: f64| camera.psf(&spec.lens, shake, x, y, inverse);
    let margin = reach(spec, &spread);

    let backdrop = Backdrop::new(spec);
    let pad = margin as f64;
    let mut painter = Painter::new(width + 2 * margin, height + 2 * margin, spec.fine, (-pad, -pad), false);
    backdrop.paint(&mut painter);
    // Things that stand up, far ones first.
    let mut order: Vec<usize> = (0..spec.objects.len()).collect();
    order.sort_by(|&a, &b| spec.objects[b].ahead_m.total_cmp(&spec.objects[a].ahead_m));
    let layers: Vec<(f64, Painter)> = order
        .into_iter()
        .filter_map(|i| {
            let metres = spec.objects[i].ahead_m;
            let mut layer = object::paint(spec, i, spec.fine, pad)?;
            layer.haze(backdrop.clear(metres), backdrop.air(), backdrop.veil());
            Some((1.0 / metres, layer))
        })
        .collect();

    let (columns, rows, cells) = cut(width, height, 24);
    let tiles = cells.into_par_iter().map(|region| tile_truth(spec, &backdrop, &layers, &spread, region)).collect();

    let mut planes = blur(&painter, margin, &|x, y| spread(x, y, spec.backdrop(y)));
    drop(painter);
    for (inverse, layer) in &layers {
        let own = blur(layer, margin, &|x, y| spread(x, y, *inverse));
        compose(&mut planes, width, height, layer, &own, margin);
    }
    let mut planes = planes.into_iter();
    let luminance = planes.next().unwrap_or_default();
    let chroma = [planes.next().unwrap_or_default(), planes.next().unwrap_or_default()];
    Rendered { spec: spec.clone(), width, height, luminance, chroma, columns, rows, tiles }
}

/// Margin (px) that holds the widest spread in the picture.
fn reach(spec: &SceneSpec, spread: &impl Fn(f64, f64, f64) -> Psf) -> usize {
    let (w, h) = (spec.camera.width as f64, spec.camera.height as f64);
    let mut widest = 8.0f64;
    for i in 0..=4 {
        for j in 0..=8 {
            let (x, y) = (w * f64::from(i) / 4.0, h * f64::from(j) / 8.0);
            widest = widest.max(spread(x, y, spec.backdrop(y)).reach());
            for object in &spec.objects {
                widest = widest.max(spread(x, y, 1.0 / object.ahead_m).reach());
            }
        }
    }
    widest.min(WIDEST).ceil() as usize
}

/// Blurs a layer, each place by its own point spread: luminance, two chroma planes, and coverage if it has one.
///
/// The layer is cut into blocks with a margin; each block is transformed once, weighted by the point spreads of
/// its four corners, and the four results are cross-faded, so that the blur changes without seams.
fn blur(layer: &Painter, margin: usize, psf: &(impl Fn(f64, f64) -> Psf + Sync)) -> Vec<Vec<f32>> {
    let (full_w, full_h) = layer.size();
    let (w, h) = (full_w - 2 * margin, full_h - 2 * margin);
    let (blocks_x, blocks_y) = (w.div_ceil(NODE), h.div_ceil(NODE));
    let side = quick_size(NODE + 2 * margin);
    let (fine, coarse) = (Convolver::new(side, side, layer.canvas.fine), Convolver::new(side, side, 1));
    let nodes: Vec<(Vec<f32>, Vec<f32>)> = (0..(blocks_x + 1) * (blocks_y + 1))
        .into_par_iter()
        .map(|k| {
            let (i, j) = (k % (blocks_x + 1), k / (blocks_x + 1));
            let at = |i: usize, size: usize| ((i * NODE).min(size) + margin) as f64;
            let spread = psf(at(i, w) + layer.origin.0, at(j, h) + layer.origin.1);
            let transfer = Psf { pixel: false, ..spread }.transfer();
            (fine.transfer(&transfer), coarse.transfer(&transfer))
        })
        .collect();
    let chroma = layer.chroma();
    let count = if layer.alpha.is_some() { 4 } else { 3 };
    let blocks: Vec<Vec<Vec<f32>>> = (0..blocks_x * blocks_y)
        .into_par_iter()
        .map(|k| {
            let (i, j) = (k % blocks_x, k / blocks_x);
            let corners = [(i, j), (i + 1, j), (i, j + 1), (i + 1, j + 1)].map(|(i, j)| &nodes[j * (blocks_x + 1) + i]);
            (0..count)
                .map(|plane| {
                    let (convolver, data, data_w) = match plane {
                        0 => (&fine, &layer.canvas.data, layer.canvas.width),
                        3 => (&fine, layer.alpha.as_ref().unwrap_or(&layer.canvas.data), layer.canvas.width),
                        _ => (&coarse, &chroma[plane - 1], full_w),
                    };
                    let scale = convolver.fine;
                    let mut cut = window(data, data_w, (i * NODE * scale, j * NODE * scale), side * scale);
                    let spectrum = convolver.forward(&mut cut, true);
                    let kinds = corners.map(|c| convolver.pixels(&spectrum, if scale == 1 { &c.1 } else { &c.0 }));
                    fade(&kinds, side, margin)
                })
                .collect()
        })
        .collect();
    let mut planes = vec![vec![0.0f32; w * h]; count];
    for (k, block) in blocks.iter().enumerate() {
        let (x0, y0) = (k % blocks_x * NODE, k / blocks_x * NODE);
        for (plane, part) in planes.iter_mut().zip(block) {
            for y in y0..(y0 + NODE).min(h) {
                let wide = NODE.min(w - x0);
                plane[y * w + x0..][..wide].copy_from_slice(&part[(y - y0) * NODE..][..wide]);
            }
        }
    }
    planes
}

/// A square cut of a plane, its last row and column repeated where it reaches beyond.
fn window(data: &[f32], width: usize, (x0, y0): (usize, usize), side: usize) -> Vec<f32> {
    let height = data.len() / width;
    let mut out = Vec::with_capacity(side * side);
    for y in y0..y0 + side {
        let row = &data[y.min(height - 1) * width..][..width];
        let inside = width.saturating_sub(x0).min(side);
        out.extend_from_slice(&row[x0.min(width)..x0.min(width) + inside]);
        let last = row[width - 1];
        out.resize(out.len() + side - inside, last);
    }
    out
}

/// Cross-fades four renderings of a block by the distance from its corners; the block without its margin.
fn fade(kinds: &[Vec<f32>; 4], side: usize, margin: usize) -> Vec<f32> {
    let mut out = Vec::with_capacity(NODE * NODE);
    for y in 0..NODE {
        let v = (y as f32 + 0.5) / NODE as f32;
        for x in 0..NODE {
            let u = (x as f32 + 0.5) / NODE as f32;
            let at = (y + margin) * side + x + margin;
            let top = kinds[0][at] * (1.0 - u) + kinds[1][at] * u;
            let bottom = kinds[2][at] * (1.0 - u) + kinds[3][at] * u;
            out.push(top * (1.0 - v) + bottom * v);
        }
    }
    out
}

/// Lays a blurred layer over the blurred picture by its blurred coverage.
fn compose(planes: &mut [Vec<f32>], width: usize, height: usize, layer: &Painter, own: &[Vec<f32>], margin: usize) {
    let w = layer.size().0 - 2 * margin;
    let h = layer.size().1 - 2 * margin;
    let (left, top) = (layer.origin.0 as i64 + margin as i64, layer.origin.1 as i64 + margin as i64);
    for y in 0..h {
        for x in 0..w {
            let (px, py) = (left + x as i64, top + y as i64);
            if px < 0 || py < 0 || px >= width as i64 || py >= height as i64 {
                continue;
            }
            let (from, to) = (y * w + x, py as usize * width + px as usize);
            let through = 1.0 - own[3][from].clamp(0.0, 1.0);
            for (plane, part) in planes.iter_mut().zip(own) {
                plane[to] = plane[to] * through + part[from];
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::canvas::Canvas;
    use super::super::scene::Sky;
    use super::super::scenery::Surface;
    use super::*;

    #[test]
    fn a_landscape_repeats_by_seed_and_keeps_within_its_range() {
        let spec = SceneSpec::random(3, 360);
        let (a, b) = (landscape(&spec), landscape(&spec));
        assert!(a.luminance == b.luminance);
        assert!(a.luminance.iter().all(|v| (-0.2..1.6).contains(v)));
        assert_eq!(a.tiles.len(), (a.columns * a.rows) as usize);
    }

    #[test]
    fn refocusing_and_breathing_show_the_same_scene() {
        let paint = |focus_m: f64, breathing: f64| {
            let mut spec = SceneSpec { visibility_m: 20_000.0, ..SceneSpec::random(21, 360) };
            (spec.camera.focus_m, spec.camera.breathing) = (focus_m, breathing);
            let mut painter = Painter::new(spec.camera.width, spec.camera.height, 1, (0.0, 0.0), false);
            Backdrop::new(&spec).paint(&mut painter);
            (spec.camera, painter.canvas)
        };
        let (camera, far) = paint(f64::INFINITY, 1.0);
        // Focused at 40 focal lengths the image is enlarged by 1/39: several pixels at the rim.
        let zoom = 40.0 / 39.0;
        let likeness = |near: &Canvas, zoom: f64| {
            let mut pairs = Vec::new();
            for y in far.height / 2..far.height {
                for x in 0..far.width {
                    let at = |v: usize, size: usize| (v as f64 + 0.5 - size as f64 / 2.0) * zoom + size as f64 / 2.0;
                    let (px, py) = (at(x, far.width) as usize, at(y, far.height) as usize);
                    if px < far.width && py < far.height {
                        pairs.push((far.data[y * far.width + x], near.data[py * far.width + px]));
                    }
                }
            }
            let n = pairs.len() as f32;
            let (a, b) = pairs.iter().fold((0.0, 0.0), |s, p| (s.0 + p.0 / n, s.1 + p.1 / n));
            let sums = pairs.iter().fold([0.0f32; 3], |s, p| {
                let (u, v) = (p.0 - a, p.1 - b);
                [s[0] + u * v, s[1] + u * u, s[2] + v * v]
            });
            sums[0] / (sums[1] * sums[2]).sqrt()
        };
        for (_, near) in [paint(0.04 * camera.focal_mm, 1.0), paint(f64::INFINITY, zoom)] {
            let (enlarged, plain) = (likeness(&near, zoom), likeness(&near, 1.0));
            assert!(enlarged > 0.6 && enlarged > plain + 0.2, "{enlarged} {plain}");
        }
    }

    #[test]
    fn ridges_are_as_bright_however_much_focusing_enlarges_them() {
        let mut spec = SceneSpec { visibility_m: 20_000.0, sky: Sky::Clear, ..SceneSpec::random(21, 360) };
        let level = |spec: &SceneSpec| {
            let (w, h) = (spec.camera.width, spec.camera.height);
            let backdrop = Backdrop::new(spec);
            let mut painter = Painter::new(w, h, 1, (0.0, 0.0), false);
            backdrop.paint(&mut painter);
            let is_ridge = |i: &usize| {
                let (x, y) = ((i % w) as f64 + 0.5, (i / w) as f64 + 0.5);
                (-3..=3).all(|d| backdrop.surface(x, y + f64::from(d)) == Surface::Ridge)
            };
            let ridges: Vec<f64> = (0..w * h).filter(is_ridge).map(|i| f64::from(painter.canvas.data[i])).collect();
            assert!(ridges.len() > 500, "{}", ridges.len());
            ridges.iter().sum::<f64>() / ridges.len() as f64
        };
        let far = level(&spec);
        for breathing in [0.995, 1.003, 1.01] {
            spec.camera.breathing = breathing;
            let enlarged = level(&spec);
            assert!((enlarged / far - 1.0).abs() < 0.01, "{enlarged} for {far}");
        }
    }

    #[test]
    fn the_sharpest_tiles_lie_where_the_focus_is() {
        let mut spec = SceneSpec::random(11, 600);
        spec.shake = (0.0, 0.0);
        spec.objects.clear();
        spec.water = None;
        spec.lens = super::super::Lens::default();
        spec.camera.f_number = 4.0;
        spec.camera.focus_m = 1.6 * spec.camera.nearest_m();
        let picture = landscape(&spec);
        let best =
            picture.tiles.iter().filter(|t| t.detailed > 0.9).min_by(|a, b| a.truth.sigma.total_cmp(&b.truth.sigma));
        let found = best.map_or(0.0, |t| t.distance_m);
        assert!((found / spec.camera.focus_m - 1.0).abs() < 0.35, "{found} for {}", spec.camera.focus_m);
    }
}
