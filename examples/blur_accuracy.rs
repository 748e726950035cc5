//! Prints the figures of docs/accuracy.md, rendered patches and sharpening: rendered scenes of known blur against what
//! `measure` says.
//!
//! `cargo run --release --example blur_accuracy [SEED [sharpening]]`, the word for the last table alone; the scenes' seeds
//! are not those used while building.

use std::io::Write as _;

use tussock::intake::raw::{Pattern, Sensor, luminance};
use tussock::intake::{self, Overrides};
use tussock::measure::{Settings, TileState, measure};
use tussock::shot::Plane;
use tussock::simulate::{PatchSpec, Psf, Texture, render_patch};
use tussock::{TileMap, output};

/// How often each spread comes, with another scene every time.
const ROUNDS: usize = 4;
/// Side of a patch, px; four tiles each.
const SIDE: usize = 512;

fn spec(texture: Texture, psf: Psf, snr: f64, seed: u64) -> PatchSpec {
    PatchSpec { texture, psf, width: SIDE, height: SIDE, snr, seed, noise_seed: seed + 1000, ..PatchSpec::default() }
}

fn tiles(plane: &Plane) -> TileMap {
    measure(plane, &Settings { tiles: 2, ..Settings::default() })
}

/// Errors of the tiles of one kind of scene.
#[derive(Default)]
struct Tally {
    relative: Vec<f64>,
    in_sds: Vec<f64>,
    tiles: usize,
}

impl Tally {
    fn add(&mut self, map: &TileMap, truth: f64) {
        self.tiles += map.tiles.len();
        for (_, blur) in map.measured() {
            self.relative.push(blur.value / truth - 1.0);
            self.in_sds.push(((blur.value - truth) / blur.sd).abs());
        }
    }

    fn line(&self, name: &str) {
        let n = self.relative.len();
        let mut size: Vec<f64> = self.relative.iter().map(|e| e.abs()).collect();
        size.sort_by(f64::total_cmp);
        let share = |limit: f64| self.in_sds.iter().filter(|z| **z <= limit).count() as f64 / n.max(1) as f64;
        let bias = self.relative.iter().sum::<f64>() / n.max(1) as f64;
        let (measured, of) = (100.0 * n as f64 / self.tiles.max(1) as f64, self.tiles);
        if n == 0 {
            output::print(&format!("| {name} | {measured:.0} % of {of} | | | | |\n"));
            return;
        }
        output::print(&format!(
            "| {name} | {measured:.0} % of {of} | {:.1} % | {:+.1} % | {:.0} % | {:.0} % |\n",
            100.0 * size[n / 2],
            100.0 * bias,
            100.0 * share(1.0),
            100.0 * share(2.0),
        ));
    }
}

/// Code value of a relative luminance by the curve of sRGB (IEC 61966-2-1), 0 to 1.
fn encode(v: f32) -> f32 {
    let v = v.clamp(0.0, 1.0);
    if v <= 0.003_130_8 { 12.92 * v } else { 1.055 * v.powf(1.0 / 2.4) - 0.055 }
}

/// The picture as a JPEG file would hold it, written and read back by the program's own road.
fn through_jpeg(plane: &Plane, quality: u8) -> anyhow::Result<Plane> {
    let code = |v: f32| (255.0 * encode(v)).round() as u8;
    let pixels: Vec<u8> =
        (0..plane.data.len()).map(|i| code(plane.luminance(i % plane.width, i / plane.width))).collect();
    let mut file = tempfile::Builder::new().suffix(".jpg").tempfile()?;
    let mut bytes = Vec::new();
    image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, quality).encode(
        &pixels,
        plane.width as u32,
        plane.height as u32,
        image::ExtendedColorType::L8,
    )?;
    file.write_all(&bytes)?;
    file.flush()?;
    Ok(intake::read(file.path(), &Overrides::default())?.plane)
}

/// The picture as a Bayer sensor samples it under white light, green interpolated by intake.
fn through_mosaic(plane: &Plane) -> Plane {
    let mut colours = [0; 36];
    colours[..4].copy_from_slice(&[1, 0, 2, 1]);
    let black = f32::from(plane.black);
    luminance(&Sensor {
        samples: plane.data.clone(),
        stride: plane.width,
        left: 0,
        top: 0,
        width: plane.width,
        height: plane.height,
        channels: 1,
        pattern: Some(Pattern { side: 2, colours }),
        black: [black; 4],
        white: f32::from(plane.white),
        gains: [1.0; 3],
        from_srgb: None,
        orientation: 1,
        exposures: 1,
        coded: None,
        flags: Vec::new(),
    })
}

fn turned(plane: &Plane) -> Plane {
    let mut out = plane.clone();
    (out.width, out.height) = (plane.height, plane.width);
    for y in 0..out.height {
        for x in 0..out.width {
            out.data[y * out.width + x] = plane.data[(plane.height - 1 - x) * plane.width + y];
        }
    }
    out
}

/// Whether pairs of tiles agree: shares within one and two standard deviations of their difference.
fn agreement(name: &str, pairs: &[(TileMap, TileMap)]) {
    let (mut n, mut one, mut two, mut sum) = (0, 0, 0, 0.0);
    for (a, b) in pairs {
        for (s, t) in a.tiles.iter().zip(&b.tiles) {
            if let (Some(s), Some(t)) = (s.blur, t.blur) {
                let z = ((s.value - t.value) / s.sd.hypot(t.sd)).abs();
                n += 1;
                one += u32::from(z <= 1.0);
                two += u32::from(z <= 2.0);
                sum += t.value / s.value - 1.0;
            }
        }
    }
    let share = |k: u32| 100.0 * f64::from(k) / f64::from(n.max(1));
    output::print(&format!(
        "| {name} | {n} | {:+.1} % | {:.0} % | {:.0} % |\n",
        100.0 * sum / f64::from(n.max(1)),
        share(one),
        share(two)
    ));
}

/// The picture after unsharp masking of its code values (sRGB) with a radius of 1 px, as cameras sharpen.
fn sharpened(plane: &Plane, amount: f32) -> Plane {
    let decode = |v: f32| if v <= 0.040_45 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) };
    let code = image::ImageBuffer::from_fn(plane.width as u32, plane.height as u32, |x, y| {
        image::Luma([encode(plane.luminance(x as usize, y as usize))])
    });
    let smooth = imageproc::filter::gaussian_blur_f32(&code, 1.0);
    let (black, range) = (f32::from(plane.black), plane.range());
    let sharp = code.pixels().zip(smooth.pixels()).map(|(v, s)| {
        let v = (v.0[0] + amount * (v.0[0] - s.0[0])).clamp(0.0, 1.0);
        (black + range * decode(v)).round() as u16
    });
    Plane { data: sharp.collect(), rendered: true, ..plane.clone() }
}

/// What sharpening does to widths, and from what amount it is seen.
fn sharpening(seed: u64) {
    output::print("\n| sharpened, radius 1 px | width | narrower by | flagged |\n|---|---|---|---|\n");
    for sigma in [0.6, 1.0] {
        for amount in [0.3, 0.6, 1.0, 1.5] {
            let (mut change, mut flagged) = (Vec::new(), 0);
            for k in 0..4 {
                let (plane, _) = render_patch(&spec(Texture::Leaves, Psf::gaussian(sigma), 100.0, seed + 900 + k));
                // Many tiles, as a photograph has: few of its edges have level ground on both sides.
                let read = |by: f32| measure(&sharpened(&plane, by), &Settings { tiles: 8, ..Settings::default() });
                let (before, after) = (read(0.0), read(amount));
                let both = before.tiles.iter().zip(&after.tiles).filter_map(|(a, b)| a.blur.zip(b.blur));
                change.extend(both.map(|(a, b)| 1.0 - b.value / a.value));
                flagged += usize::from(after.sharpened());
            }
            change.sort_by(f64::total_cmp);
            let middle =
                change.get(change.len() / 2).map_or("nothing measured".into(), |c| format!("{:.0} %", 100.0 * c));
            output::print(&format!("| amount {amount} | {sigma} px | {middle} | {flagged} of 4 |\n"));
        }
    }
}

fn main() -> anyhow::Result<()> {
    let seed: u64 = std::env::args().nth(1).map_or(Ok(7001), |s| s.parse())?;
    if std::env::args().nth(2).is_some_and(|word| word == "sharpening") {
        sharpening(seed);
        return Ok(());
    }
    let spreads = [
        Psf::gaussian(0.45),
        Psf::gaussian(0.9),
        Psf::gaussian(1.8),
        Psf::gaussian(2.9),
        Psf::disc(5.0),
        Psf::lens(8.0, 4.35, 0.0),
        Psf::lens(11.0, 4.35, 35.0),
    ];
    output::print(
        "| scene | measured | median error | bias | within 1 sd | within 2 sd |\n|---|---|---|---|---|---|\n",
    );
    let mut scenes: Vec<(Plane, Plane)> = Vec::new();
    let edged = [("occluding discs", Texture::Leaves), ("rock", Texture::Rock)];
    let dense = [
        ("blades", Texture::Blades),
        ("grass", Texture::Grass),
        ("gravel", Texture::Gravel),
        ("brick", Texture::Brick),
    ];
    for (name, texture) in edged.into_iter().chain(dense) {
        let (mut plain, mut mosaic, mut jpeg) = (Tally::default(), Tally::default(), Tally::default());
        for (k, psf) in (0..ROUNDS).flat_map(|_| &spreads).enumerate() {
            // An odd number of spreads, so that each of them comes at both noises.
            let snr = if k % 2 == 0 { 100.0 } else { 25.0 };
            let (plane, truth) = render_patch(&spec(texture, *psf, snr, seed + k as u64));
            plain.add(&tiles(&plane), truth.sigma);
            mosaic.add(&tiles(&through_mosaic(&plane)), truth.sigma);
            let compressed = through_jpeg(&plane, 95)?;
            jpeg.add(&tiles(&compressed), truth.sigma);
            if texture == Texture::Leaves && k < spreads.len() {
                scenes.push((plane, compressed));
            }
        }
        plain.line(name);
        mosaic.line(&format!("{name}, Bayer green sites"));
        jpeg.line(&format!("{name}, JPEG quality 95"));
    }
    output::print("\n| nothing to measure | tiles given a number |\n|---|---|\n");
    let soft = [
        ("clear sky", Texture::Sky),
        ("fractal without edges", Texture::Fractal),
        ("cumulus", Texture::Cloud),
        ("rippled water", Texture::Water),
    ];
    for (name, texture) in soft {
        let (mut given, mut of) = ([0; 4], 0);
        for (k, (snr, sigma)) in [(100.0, 0.6), (50.0, 1.1), (25.0, 1.7)].into_iter().enumerate() {
            let (plane, _) = render_patch(&spec(texture, Psf::gaussian(sigma), snr, seed + 50 + k as u64));
            let views =
                [plane.clone(), through_jpeg(&plane, 75)?, through_jpeg(&plane, 90)?, through_jpeg(&plane, 98)?];
            for (count, view) in given.iter_mut().zip(&views) {
                *count += tiles(view).tiles.iter().filter(|t| t.state == TileState::Measured).count();
            }
            of += 4;
        }
        let [plain, q75, q90, q98] = given;
        output::print(&format!(
            "| {name} | {plain} of {of}; as JPEG quality 75, 90, 98: {q75}, {q90}, {q98} of {of} |\n"
        ));
    }
    output::print("\n| same scene | tiles | difference | within 1 sd | within 2 sd |\n|---|---|---|---|---|\n");
    let (mut half, mut dark, mut turn, mut jpeg) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    for (k, (plane, compressed)) in scenes.iter().enumerate() {
        let own = tiles(plane);
        let once = tiles(&turned(plane));
        // Tiles turn with the picture: the turned grid's tile (column, row) was (row, last - column).
        let back = TileMap { tiles: (0..4).map(|i| once.tiles[[1, 3, 0, 2][i]].clone()).collect(), ..once };
        turn.push((own.clone(), back));
        jpeg.push((own.clone(), tiles(compressed)));
        if k % 2 == 0 {
            let base = spec(Texture::Leaves, spreads[k], 100.0, seed + k as u64);
            let (flat, _) = render_patch(&PatchSpec { contrast: 0.5, ..base });
            half.push((own.clone(), tiles(&flat)));
            let (under, _) = render_patch(&PatchSpec { exposure: 0.25, snr: 50.0, ..base });
            dark.push((own, tiles(&under)));
        }
    }
    agreement("at half contrast", &half);
    agreement("exposed two stops lower", &dark);
    agreement("turned by 90 degrees", &turn);
    agreement("raw and JPEG quality 95", &jpeg);
    output::print("\n| motion | true length, angle | found |\n|---|---|---|\n");
    for (k, (length, angle)) in [(0.0, 0.0), (2.0, 0.4), (3.0, -0.9), (5.0, 1.3), (8.0, 0.1)].into_iter().enumerate() {
        for (name, texture) in edged {
            let psf = Psf::gaussian(0.5).moved(length, angle);
            let (plane, _) = render_patch(&spec(texture, psf, 50.0, seed + 80 + k as u64));
            let found = measure(&plane, &Settings { tiles: 4, ..Settings::default() }).streak.map_or_else(
                || "none".to_owned(),
                |s| {
                    format!(
                        "{:.1} +- {:.1} px, {:.0} +- {:.0} degrees",
                        s.length.value,
                        s.length.sd,
                        s.angle.value.to_degrees(),
                        s.angle.sd.to_degrees()
                    )
                },
            );
            output::print(&format!("| {name} | {length} px, {:.0} degrees | {found} |\n", f64::to_degrees(angle)));
        }
    }
    sharpening(seed);
    Ok(())
}
