//! Sharp pictures with ground from the lower edge to a horizon, in linear light.

use std::path::Path;

use anyhow::Context as _;
use image::imageops::{self, FilterType};
use image::{DynamicImage, ImageDecoder as _, ImageReader, Rgb32FImage};

/// Photographs read as sharp, and where their ground ends, as a share of the height: by eye, to a twentieth.
pub const PHOTOGRAPHS: [(&str, f64); 11] = [
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
pub const SCENES: [(&str, f64); 24] = [
    ("006", 0.30), ("046", 0.62), ("058", 0.45), ("064", 0.42), ("076", 0.50), ("080", 0.70), ("088", 0.55), ("089", 0.35),
    ("092", 0.55), ("095", 0.72), ("103", 0.45), ("105", 0.25), ("107", 0.25), ("109", 0.50), ("110", 0.55), ("114", 0.35),
    ("122", 0.35), ("129", 0.35), ("136", 0.45), ("146", 0.30), ("165", 0.38), ("184", 0.20), ("252", 0.20), ("254", 0.70),
];

/// The same of the smaller ones, 512 to 853 px.
#[rustfmt::skip]
pub const SMALL: [(&str, f64); 14] = [
    ("055", 0.55), ("057", 0.55), ("063", 0.50), ("078", 0.45), ("099", 0.42), ("101", 0.55), ("115", 0.50), ("117", 0.60),
    ("126", 0.60), ("127", 0.70), ("144", 0.45), ("176", 0.40), ("242", 0.70), ("247", 0.20),
];

/// Longest side of a reduced photograph, px, and largest scale: two samples out of three hold what a colour sensor resolves.
const LONGEST: f64 = 1800.0;
const LARGEST: f64 = 0.66;

/// A picture in linear light, and the share of its height at which the ground ends.
pub struct Picture {
    pub name: String,
    pub light: Rgb32FImage,
    pub horizon: f64,
}

/// A picture turned as its Exif says.
fn upright(path: &Path) -> anyhow::Result<DynamicImage> {
    let mut decoder = ImageReader::open(path)?.into_decoder()?;
    let orientation = decoder.orientation()?;
    let mut picture = DynamicImage::from_decoder(decoder)?;
    picture.apply_orientation(orientation);
    Ok(picture)
}

pub fn photograph(shared: &Path, file: &str, horizon: f64) -> anyhow::Result<Picture> {
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
pub fn scene(shared: &Path, number: &str, horizon: f64) -> anyhow::Result<Picture> {
    let path = shared.join("scenes").join(number).with_extension("png");
    let mut light = image::open(&path).with_context(|| path.display().to_string())?.into_rgb32f();
    let mut levels: Vec<f32> = light.pixels().map(|p| p.0[0]).collect();
    levels.sort_by(f32::total_cmp);
    let white = levels[levels.len() * 199 / 200].max(0.1);
    light.iter_mut().for_each(|v| *v = 0.9 * (*v / white).powi(2).min(1.0));
    Ok(Picture { name: number.to_owned(), light, horizon })
}
