//! Photographs put out of focus as their ground would be: `cargo run --release --example ground_accuracy -- SHARED OUT` makes them
//! from sharp pictures of SHARED (../shared) in the folder OUT, judges them, and prints the tables of docs/accuracy.md and what
//! was judged otherwise than it is.
//!
//! Each picture is reduced until it is sharp, brought to linear light (a power of 2.2), and every row is convolved with a disc of
//! its own: one size from the horizon up, changing evenly from there to the lower edge, as a plane of ground seen by a level
//! camera has it. Then it is saved as JPEG, as it is or with noise and sharpening before and without Exif, and as Bayer DNG with noise
//! and the facts of a camera that draws discs of such sizes. What stands up from the ground is so blurred by its rows and not by its
//! distance, and nothing hides what lies behind it.
#![allow(clippy::print_stdout, missing_docs)] // A program whose purpose is to print.

use std::collections::HashMap;
use std::fs::File;
use std::io::BufWriter;
use std::path::{Path, PathBuf};

use anyhow::Context as _;
use image::codecs::jpeg::JpegEncoder;
use image::imageops::{self, FilterType};
use image::{DynamicImage, ImageDecoder as _, ImageReader, Rgb, Rgb32FImage, RgbImage};
use rayon::prelude::*;
use tussock::diagnose::{Cause, Diagnosis, ZoneName, diagnose};
use tussock::intake::{self, Overrides};
use tussock::judge::{self, Judgement};
use tussock::measure::{Settings, measure};
use tussock::optics::WAVELENGTH_UM;
use tussock::quantity::Intent;
use tussock::simulate::file::{Facts, Light, Recording, dng};
use tussock::simulate::sensor::Noise;

/// Photographs read as sharp, and where their ground ends, as a share of the height: by eye, to a twentieth.
const PHOTOGRAPHS: [(&str, f64); 11] = [
    ("photos/path-field-horizon.jpg", 0.60),
    ("photos/phone-path-and-pond.jpg", 0.70),
    ("photos/mountains-no-exif.jpg", 0.60),
    ("photos/wet-road-12mp.jpg", 0.66),
    ("photos/hazy-hills-16mp.jpg", 0.45),
    ("photos/snow-valley-3mp.jpg", 0.62),
    ("read/Canon_IXUS_430.jpg", 0.50),
    ("read/Minolta_DiMAGE_A1.jpg", 0.35),
    ("read/Olympus_E-10.jpg", 0.78),
    ("read/Samsung_SM-J327T1.jpg", 0.62),
    ("read/Sony_DSC-T5.jpg", 0.50),
];

/// The same of the scenes of at least 1000 px with ground from the lower edge to a horizon.
#[rustfmt::skip]
const SCENES: [(&str, f64); 24] = [
    ("006", 0.30), ("046", 0.62), ("058", 0.45), ("064", 0.42), ("076", 0.50), ("080", 0.70), ("088", 0.55), ("089", 0.35),
    ("092", 0.55), ("095", 0.72), ("103", 0.45), ("105", 0.25), ("107", 0.25), ("109", 0.50), ("110", 0.55), ("114", 0.35),
    ("122", 0.35), ("129", 0.35), ("136", 0.45), ("146", 0.30), ("165", 0.38), ("184", 0.20), ("252", 0.20), ("254", 0.70),
];

/// The same of the smaller ones, 512 to 853 px.
#[rustfmt::skip]
const SMALL: [(&str, f64); 14] = [
    ("055", 0.55), ("057", 0.55), ("063", 0.50), ("078", 0.45), ("099", 0.42), ("101", 0.55), ("115", 0.50), ("117", 0.60),
    ("126", 0.60), ("127", 0.70), ("144", 0.45), ("176", 0.40), ("242", 0.70), ("247", 0.20),
];

/// Longest side of a reduced photograph, px, and largest scale: two samples out of three hold what a colour sensor resolves.
const LONGEST: f64 = 1800.0;
const LARGEST: f64 = 0.66;

/// What is done to a picture: signed discs of the far scene and of the lower edge, px (negative: beyond the focus), and what must
/// be said of near and far, and why.
struct Case {
    name: &'static str,
    far: f64,
    near: f64,
    soft: [bool; 2],
    cause: Cause,
}

const fn case(name: &'static str, far: f64, near: f64, soft: [bool; 2], cause: Cause) -> Case {
    Case { name, far, near, soft, cause }
}

/// The permitted blur of a picture without pitch is that of a disc of two pixels.
const CASES: [Case; 9] = [
    case("as it is", 0.0, 0.0, [false, false], Cause::SharpThroughout),
    case("near 4 px", 0.0, 4.0, [true, false], Cause::FocusTooFar),
    case("near 8 px", 0.0, 8.0, [true, false], Cause::FocusTooFar),
    case("near 16 px", 0.0, 16.0, [true, false], Cause::FocusTooFar),
    case("far 4 px", -4.0, 0.0, [false, true], Cause::FocusTooNear),
    case("far 8 px", -8.0, 0.0, [false, true], Cause::FocusTooNear),
    case("far 6, near 6 px", -6.0, 6.0, [true, true], Cause::TooLittleDepth),
    case("far 4, near 10 px", -4.0, 10.0, [true, true], Cause::TooLittleDepth),
    case("far 8, near 4 px, both beyond the focus", -8.0, -4.0, [true, true], Cause::FocusTooNear),
];

/// A picture in linear light, and the share of its height at which the ground ends.
struct Picture {
    name: String,
    light: Rgb32FImage,
    horizon: f64,
}

/// Weights of a disc on pixels, row by row from the uppermost; as many rows as columns, an odd number.
type Kernel = Vec<Vec<f32>>;

/// Area of each pixel under a disc, by eight by eight points a pixel.
fn disc(diameter: f64) -> Kernel {
    const FINE: i32 = 8;
    let half = (diameter / 2.0).ceil() as i32;
    let inside = |x: i32, y: i32| {
        let at = |k: i32| (f64::from(k) + 0.5) / f64::from(FINE) - 0.5;
        let hit = |k: &i32| (f64::from(x) + at(k % FINE)).hypot(f64::from(y) + at(k / FINE)) <= diameter / 2.0;
        (0..FINE * FINE).filter(hit).count() as f32
    };
    let mut rows: Kernel = (-half..=half).map(|y| (-half..=half).map(|x| inside(x, y)).collect()).collect();
    let sum: f32 = rows.iter().flatten().sum();
    rows.iter_mut().flatten().for_each(|w| *w /= sum);
    rows
}

/// The picture with a disc for every row.
fn defocused(picture: &Picture, case: &Case) -> Rgb32FImage {
    let (width, height) = picture.light.dimensions();
    let size = |y: u32| {
        let down = ((f64::from(y) + 0.5) / f64::from(height) - picture.horizon) / (1.0 - picture.horizon);
        (case.far + (case.near - case.far) * down.clamp(0.0, 1.0)).abs()
    };
    // Discs to a twentieth of a pixel, each made once; one below a third of a pixel changes nothing.
    let step = |y: u32| (20.0 * size(y)).round() as u32;
    let mut kernels: HashMap<u32, Kernel> = HashMap::new();
    for k in (0..height).map(step).filter(|k| *k > 6) {
        kernels.entry(k).or_insert_with(|| disc(f64::from(k) / 20.0));
    }
    let row = |y: u32| -> Vec<f32> {
        let Some(kernel) = kernels.get(&step(y)) else {
            return (0..width).flat_map(|x| picture.light.get_pixel(x, y).0).collect();
        };
        let half = (kernel.len() / 2) as i64;
        let inside = |k: i64, most: u32| k.clamp(0, i64::from(most) - 1) as u32;
        (0..i64::from(width))
            .flat_map(|x| {
                let mut sum = [0.0_f32; 3];
                for (dy, weights) in (-half..).zip(kernel.iter()) {
                    let from = inside(i64::from(y) + dy, height);
                    for (dx, weight) in (-half..).zip(weights).filter(|(_, w)| **w > 0.0) {
                        let light = picture.light.get_pixel(inside(x + dx, width), from).0;
                        (0..3).for_each(|c| sum[c] += weight * light[c]);
                    }
                }
                sum
            })
            .collect()
    };
    let data: Vec<f32> = (0..height).into_par_iter().flat_map_iter(row).collect();
    Rgb32FImage::from_raw(width, height, data).expect("three numbers a pixel")
}

/// As a camera develops it: noise of a signal to noise of 25 to 80 at middle grey, and an unsharp mask of up to all of what a
/// Gaussian of one pixel takes away.
fn developed(light: &Rgb32FImage, random: &mut fastrand::Rng) -> Rgb32FImage {
    let (noise, mask) = (1.0 / (25.0 + 55.0 * random.f32()), random.f32());
    let mut out = light.clone();
    for value in out.iter_mut() {
        // The sum of twelve even numbers is near enough to a normal one.
        let normal = (0..12).map(|_| random.f32()).sum::<f32>() - 6.0;
        *value = tone((*value + normal * noise * (0.18 * value.max(1e-4)).sqrt()).max(0.0));
    }
    let smooth = imageops::blur(&out, 1.0);
    out.iter_mut().zip(smooth.iter()).for_each(|(v, s)| *v += mask * (*v - s));
    out
}

/// As a sensor records it, behind a lens of 24 mm at f/2.8 and with pixels of 5 um.
fn recorded(light: &Rgb32FImage, seed: u64) -> Vec<u8> {
    let of = |weights: [f32; 3]| -> Vec<f32> {
        light.pixels().map(|p| p.0.iter().zip(weights).map(|(v, w)| v * w).sum()).collect()
    };
    // Rec. ITU-R BT.709.
    let (red, green, blue) = (0.2126, 0.7152, 0.0722);
    let chroma = [of([1.0 - red, -green, -blue]), of([-red, -green, 1.0 - blue])];
    let (width, height) = (light.width() as usize, light.height() as usize);
    let light = Light { width, height, luminance: &of([red, green, blue]), chroma: Some(&chroma) };
    let facts = Facts {
        f_number: 2.8,
        focal_mm: 24.0,
        pitch_um: 5.0,
        crop: 36.0 / (5e-3 * width.max(height) as f64),
        focus_m: None,
        exposure_s: (1, 125),
        iso: 200,
        date: "2026:03:14 06:52:10".to_owned(),
    };
    let noise = Noise::at_snr(50.0, 0.18);
    dng(&light, &facts, &Recording { bits: 14, red_blue: (0.52, 0.61), noise, seed })
}

fn rendered(mut light: Rgb32FImage) -> Rgb32FImage {
    light.iter_mut().for_each(|v| *v = tone(*v));
    light
}

fn tone(light: f32) -> f32 {
    light.clamp(0.0, 1.0).powf(1.0 / 2.2)
}

fn save(tones: &Rgb32FImage, to: &Path, quality: u8) -> anyhow::Result<()> {
    let codes = |p: &Rgb<f32>| Rgb(p.0.map(|v| (255.0 * v.clamp(0.0, 1.0)).round() as u8));
    let picture = RgbImage::from_fn(tones.width(), tones.height(), |x, y| codes(tones.get_pixel(x, y)));
    Ok(JpegEncoder::new_with_quality(BufWriter::new(File::create(to)?), quality).encode_image(&picture)?)
}

/// A picture turned as its Exif says.
fn upright(path: &Path) -> anyhow::Result<DynamicImage> {
    let mut decoder = ImageReader::open(path)?.into_decoder()?;
    let orientation = decoder.orientation()?;
    let mut picture = DynamicImage::from_decoder(decoder)?;
    picture.apply_orientation(orientation);
    Ok(picture)
}

fn photograph(shared: &Path, file: &str, horizon: f64) -> anyhow::Result<Picture> {
    let path = shared.join(file);
    let mut light = upright(&path).with_context(|| path.display().to_string())?.into_rgb32f();
    light.iter_mut().for_each(|v| *v = v.powf(2.2));
    let scale = LARGEST.min(LONGEST / f64::from(light.width().max(light.height())));
    let size = |side: u32| (scale * f64::from(side)).round() as u32;
    let light = imageops::resize(&light, size(light.width()), size(light.height()), FilterType::Triangle);
    let name = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
    Ok(Picture { name, light, horizon })
}

/// A scene holds roots of luminance; its brightest two-hundredth is clipped.
fn scene(shared: &Path, number: &str, horizon: f64) -> anyhow::Result<Picture> {
    let path = shared.join("scenes").join(number).with_extension("png");
    let mut light = image::open(&path).with_context(|| path.display().to_string())?.into_rgb32f();
    let mut levels: Vec<f32> = light.pixels().map(|p| p.0[0]).collect();
    levels.sort_by(f32::total_cmp);
    let white = levels[levels.len() * 199 / 200].max(0.1);
    light.iter_mut().for_each(|v| *v = 0.9 * (*v / white).powi(2).min(1.0));
    Ok(Picture { name: number.to_owned(), light, horizon })
}

/// What was counted over the pictures of a case.
#[derive(Clone, Copy, Default)]
struct Tally {
    pictures: u32,
    ends: u32,
    causes: u32,
    open: u32,
    firm_wrong: u32,
}

impl Tally {
    fn and(self, o: Self) -> Self {
        Self {
            pictures: self.pictures + o.pictures,
            ends: self.ends + o.ends,
            causes: self.causes + o.causes,
            open: self.open + o.open,
            firm_wrong: self.firm_wrong + o.firm_wrong,
        }
    }

    fn print(&self, name: &str) {
        let share = |k: u32, of: u32| 100.0 * f64::from(k) / f64::from(of.max(1));
        println!(
            "| {name} | {} | {:.0} % | {:.0} % | {} | {} |",
            self.pictures,
            share(self.ends, 2 * self.pictures),
            share(self.causes, self.pictures),
            self.open,
            self.firm_wrong
        );
    }
}

fn judged(file: &Path, case: &Case) -> anyhow::Result<Tally> {
    let shot = intake::read(file, &Overrides::default())?;
    let d = diagnose(
        &measure(&shot.plane, &Settings::default().under(shot.capture.lambda_n_px(WAVELENGTH_UM))),
        &shot.capture,
        None,
        &Intent::default(),
    );
    let said = [ZoneName::Near, ZoneName::Far].map(|z| d.answer(z).judgement);
    let right = (0..2).filter(|&k| if case.soft[k] { said[k] == Judgement::Beyond } else { said[k].passes() }).count();
    let (cause, open) = (d.verdict.cause == case.cause, d.verdict.cause == Cause::CannotTell);
    let firm_wrong = !cause && !open && d.verdict.confidence >= judge::SURE;
    if !cause || right < 2 {
        println!("{} {}", file.file_stem().unwrap_or_default().display(), answer(&d, firm_wrong));
    }
    Ok(Tally {
        pictures: 1,
        ends: right as u32,
        causes: u32::from(cause),
        open: u32::from(open),
        firm_wrong: u32::from(firm_wrong),
    })
}

fn answer(d: &Diagnosis, firm_wrong: bool) -> String {
    let end = |z: ZoneName| d.answer(z).judgement.word();
    let firm = if firm_wrong { " FIRM" } else { "" };
    let (cause, sure) = (d.verdict.cause.word(), d.verdict.confidence);
    format!("near {}, far {}: {cause} ({sure:.2}){firm}", end(ZoneName::Near), end(ZoneName::Far))
}

fn main() -> anyhow::Result<()> {
    let mut words = std::env::args_os().skip(1).map(PathBuf::from);
    let (Some(shared), Some(out)) = (words.next(), words.next()) else {
        anyhow::bail!("usage: ground_accuracy SHARED OUT")
    };
    let photographs = PHOTOGRAPHS.iter().map(|(file, horizon)| photograph(&shared, file, *horizon));
    let scenes = |list: &[(&str, f64)]| -> anyhow::Result<Vec<Picture>> {
        list.iter().map(|(number, horizon)| scene(&shared, number, *horizon)).collect()
    };
    let sets: [(&str, Vec<Picture>); 3] = [
        ("photographs", photographs.collect::<Result<_, _>>()?),
        ("scenes", scenes(&SCENES)?),
        ("small scenes", scenes(&SMALL)?),
    ];
    std::fs::create_dir_all(&out)?;
    let mut random = fastrand::Rng::with_seed(1);
    for (set, pictures) in &sets {
        for way in ["as rendered", "developed", "raw"] {
            let mut tallies = [Tally::default(); CASES.len()];
            for picture in pictures {
                for (k, case) in CASES.iter().enumerate() {
                    let base = out.join(format!("{} {} {way}", picture.name, case.name.replace(',', "")));
                    let file = base.with_extension(if way == "raw" { "dng" } else { "jpg" });
                    let light = defocused(picture, case);
                    match way {
                        "raw" => std::fs::write(&file, recorded(&light, random.u64(..)))?,
                        "developed" => save(&developed(&light, &mut random), &file, random.u8(88..=96))?,
                        _ => save(&rendered(light), &file, random.u8(88..=96))?,
                    }
                    tallies[k] = tallies[k].and(judged(&file, case)?);
                }
            }
            println!("\n| {set}, {way} | pictures | near and far right | cause right | left open | firm and wrong |");
            println!("|---|---|---|---|---|---|");
            CASES.iter().zip(&tallies).for_each(|(case, tally)| tally.print(case.name));
            tallies.iter().fold(Tally::default(), |sum, t| sum.and(*t)).print("all");
            println!();
        }
    }
    Ok(())
}
