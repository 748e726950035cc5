//! Rendered frames with the truth of their tiles, kept on disk where that is asked for.

use std::hash::{DefaultHasher, Hash, Hasher};
use std::path::PathBuf;

use tussock::quantity::Region;
use tussock::shot::Plane;
use tussock::simulate::{Noise, SceneSpec, landscape, sensor::expose};

use super::even;

/// What is wanted of a rendered frame: light on the sensor, and the true width of each tile and how much of it
/// has detail.
#[derive(Clone)]
pub struct Picture {
    pub width: usize,
    pub height: usize,
    pub luminance: Vec<f32>,
    pub tiles: Vec<Tile>,
}

#[derive(Clone, Copy)]
pub struct Tile {
    pub region: Region,
    pub sigma: f64,
    pub detailed: f64,
}

/// Renders a scene, or takes it from the folder KEEP.
pub fn render(spec: &SceneSpec) -> Picture {
    let place = std::env::var_os("KEEP").map(|folder| {
        let mut hasher = DefaultHasher::new();
        format!("{:?}", SceneSpec { noise_seed: 0, noise: Noise::at_snr(50.0, 0.3), ..spec.clone() }).hash(&mut hasher);
        PathBuf::from(folder).join(format!("{:016x}.frame", hasher.finish()))
    });
    if let Some(known) = place.as_ref().and_then(|p| std::fs::read(p).ok()).and_then(|b| unpack(&b)) {
        return known;
    }
    let rendered = landscape(spec);
    let tiles = rendered.tiles.iter().map(|t| Tile { region: t.region, sigma: t.truth.sigma, detailed: t.detailed });
    let picture = Picture {
        width: rendered.width,
        height: rendered.height,
        tiles: tiles.collect(),
        luminance: rendered.luminance,
    };
    if let Some(place) = place {
        let _ = std::fs::write(place, pack(&picture));
    }
    picture
}

fn pack(p: &Picture) -> Vec<u8> {
    let mut numbers = vec![p.width as f64, p.height as f64, p.tiles.len() as f64];
    for t in &p.tiles {
        let r = t.region;
        numbers.extend([r.x, r.y, r.width, r.height].map(f64::from));
        numbers.extend([t.sigma, t.detailed]);
    }
    let head = numbers.iter().flat_map(|n| n.to_le_bytes());
    head.chain(p.luminance.iter().flat_map(|v| v.to_le_bytes())).collect()
}

fn unpack(bytes: &[u8]) -> Option<Picture> {
    let number = |i: usize| Some(f64::from_le_bytes(bytes.get(8 * i..8 * i + 8)?.try_into().ok()?));
    let (width, height, count) = (number(0)? as usize, number(1)? as usize, number(2)? as usize);
    let tiles = (0..count)
        .map(|t| {
            let at = |i: usize| number(3 + 6 * t + i);
            let region = Region { x: at(0)? as u32, y: at(1)? as u32, width: at(2)? as u32, height: at(3)? as u32 };
            Some(Tile { region, sigma: at(4)?, detailed: at(5)? })
        })
        .collect::<Option<Vec<Tile>>>()?;
    let rest = bytes.get(8 * (3 + 6 * count)..)?;
    let luminance: Vec<f32> = rest.chunks_exact(4).map(|c| f32::from_le_bytes([c[0], c[1], c[2], c[3]])).collect();
    (luminance.len() == width * height).then_some(Picture { width, height, luminance, tiles })
}

/// Rim that the shifts are cut from, px.
pub const MARGIN: usize = 8;

/// How a frame was taken: hand-held shift in whole px (what the lens's breathing adds is not whole), exposure as a
/// factor, noise.
#[derive(Clone, Copy)]
pub struct Take {
    pub shift: (i64, i64),
    pub exposure: f32,
    pub noise: Noise,
    pub seed: u64,
}

impl Take {
    /// A shift of up to 5 px and an exposure up to a stop lower, by thirds.
    pub fn random(dice: &mut u64, noise: Noise, seed: u64) -> Self {
        let mut shift = || (11.0 * even(dice)) as i64 - 5;
        let shift = (shift(), shift());
        let exposure = 0.5f32.powf((4.0 * even(dice)).floor() as f32 / 3.0);
        Self { shift, exposure, noise, seed }
    }
}

/// The frame as the camera takes it.
pub fn cut(picture: &Picture, take: Take) -> Plane {
    let luminance: Vec<f32> = picture.luminance.iter().map(|v| v * take.exposure).collect();
    let plane = expose(&luminance, picture.width, picture.height, take.noise, take.seed);
    let (w, h) = (plane.width - 2 * MARGIN, plane.height - 2 * MARGIN);
    let (x0, y0) = ((MARGIN as i64 + take.shift.0) as usize, (MARGIN as i64 + take.shift.1) as usize);
    let data = (0..h).flat_map(|y| plane.row(y0 + y)[x0..x0 + w].to_vec()).collect();
    Plane { width: w, height: h, data, ..plane }
}

/// Truth at the middle of a tile of the cut frame.
pub fn truth_at<'a>(truths: &'a [Tile], tile: &Region) -> Option<&'a Tile> {
    let (x, y) = (tile.x + tile.width / 2 + MARGIN as u32, tile.y + tile.height / 2 + MARGIN as u32);
    truths.iter().find(|t| {
        let r = t.region;
        (r.x..r.x + r.width).contains(&x) && (r.y..r.y + r.height).contains(&y)
    })
}

/// True width at a place of the uncut frame, px. Truth is known at the middles of tiles; between them squares of widths
/// are taken as parabolas down the picture, as those of level ground are, and straight across. Where the tiles about are
/// not wholly detailed, that of the tile itself.
pub fn width_at(truths: &[Tile], x: f64, y: f64) -> Option<f64> {
    let inside = |r: &Region| {
        let within = |start: u32, length: u32, at: f64| (f64::from(start)..f64::from(start + length)).contains(&at);
        within(r.x, r.width, x) && within(r.y, r.height, y)
    };
    let own = truths.iter().find(|t| inside(&t.region))?.sigma;
    let columns = truths.iter().take_while(|t| t.region.y == truths[0].region.y).count();
    let rows = truths.len() / columns;
    if rows < 3 || columns < 2 {
        return Some(own);
    }
    let across = |i: usize| f64::from(truths[i].region.x) + f64::from(truths[i].region.width) / 2.0;
    let down = |j: usize| f64::from(truths[j * columns].region.y) + f64::from(truths[j * columns].region.height) / 2.0;
    let left = (0..columns - 1).rev().find(|&i| across(i) <= x).unwrap_or(0);
    let share = ((x - across(left)) / (across(left + 1) - across(left))).clamp(0.0, 1.0);
    let near = (0..rows).min_by(|&a, &b| (down(a) - y).abs().total_cmp(&(down(b) - y).abs()))?;
    let top = near.saturating_sub(1).min(rows - 3);
    let column = |c: usize| {
        let of = |j: usize| &truths[j * columns + c];
        let term = |j: usize| {
            let others = (top..top + 3).filter(|&o| o != j);
            of(j).sigma.powi(2) * others.map(|o| (y - down(o)) / (down(j) - down(o))).product::<f64>()
        };
        let known = (top..top + 3).all(|j| of(j).detailed > 0.95);
        known.then(|| (top..top + 3).map(term).sum::<f64>().max(0.01).sqrt())
    };
    Some(column(left).zip(column(left + 1)).map_or(own, |(a, b)| a + share * (b - a)))
}

/// A still scene in clear air, from a steady camera.
pub fn base(seed: u64, long: usize, dice: &mut u64) -> SceneSpec {
    let mut spec = SceneSpec::random(seed, long);
    spec.shake = (0.0, 0.0);
    spec.visibility_m = 20_000.0;
    spec.noise = Noise::at_snr(40.0 + 60.0 * even(dice), 0.3);
    spec
}

/// The frame at another f-number: the lens's softness falls with the power 1.5 of it, and some of it never.
pub fn stopped(spec: &SceneSpec, n: f64) -> SceneSpec {
    let mut spec = spec.clone();
    spec.camera.f_number = n;
    let falls = 0.15 + 0.85 * (2.8f64 / n).powf(1.5);
    spec.lens.centre_um *= falls;
    spec.lens.corner_radial_um *= falls;
    spec.lens.corner_tangential_um *= falls;
    spec
}
