//! How many enlarged pictures are noticed: `cargo run --release --example enlarged_accuracy -- DIR...` enlarges the middle of every
//! JPEG and PNG of the folders in several ways, changes each in ways that enlarge nothing, and prints how many of each are taken for
//! enlarged, as docs/accuracy.md, enlarged pictures, has it.
#![allow(clippy::print_stdout, missing_docs)] // A program whose purpose is to print.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use image::codecs::jpeg::JpegEncoder;
use image::imageops::{self, FilterType};
use image::{ImageReader, RgbImage};
use rayon::prelude::*;
use tussock::intake::{self, Overrides};
use tussock::measure::enlarged;

const FILTERS: [(&str, FilterType); 3] =
    [("linear", FilterType::Triangle), ("cubic", FilterType::CatmullRom), ("Lanczos", FilterType::Lanczos3)];
/// Least side of a picture that says anything, px.
const LEAST: u32 = 512;

fn main() -> anyhow::Result<()> {
    let mut pictures: Vec<PathBuf> = Vec::new();
    for folder in std::env::args().skip(1) {
        for entry in std::fs::read_dir(folder)? {
            pictures.push(entry?.path());
        }
    }
    pictures.retain(|p| p.extension().is_some_and(|e| e == "jpg" || e == "png"));
    pictures.sort();
    let judged: Vec<Vec<(String, bool)>> =
        pictures.par_iter().map(|path| changed(path)).collect::<anyhow::Result<_>>()?;
    let mut counts: BTreeMap<String, (u32, u32)> = BTreeMap::new();
    for (picture, ways) in pictures.iter().zip(judged) {
        for (way, found) in ways {
            let count = counts.entry(way.clone()).or_default();
            count.0 += u32::from(found);
            count.1 += 1;
            if found != way.starts_with("enlarged") {
                println!("{}: {way}", picture.file_name().unwrap_or_default().display());
            }
        }
    }
    counts.iter().for_each(|(way, (found, of))| println!("{way}: {found} of {of}"));
    Ok(())
}

/// Ways a picture was changed, and whether it is then taken for enlarged.
fn changed(path: &Path) -> anyhow::Result<Vec<(String, bool)>> {
    let picture = ImageReader::open(path)?.with_guessed_format()?.decode()?.into_rgb8();
    let folder = tempfile::tempdir()?;
    let found = |picture: &RgbImage, quality: u8| -> anyhow::Result<bool> {
        let file = folder.path().join("picture.jpg");
        picture.write_with_encoder(JpegEncoder::new_with_quality(std::fs::File::create(&file)?, quality))?;
        Ok(enlarged(&intake::read(&file, &Overrides::default())?.plane))
    };
    let mut ways = vec![("as it is".to_owned(), enlarged(&intake::read(path, &Overrides::default())?.plane))];
    for (way, picture, quality) in harmless(&picture) {
        if picture.width().min(picture.height()) >= LEAST {
            ways.push((way, found(&picture, quality)?));
        }
    }
    let middle = cut(&picture, picture.width().min(1200), picture.height().min(1200));
    for times in [1.25, 1.5, 1.8, 2.0, 2.5, 3.0, 4.0] {
        for (name, filter) in FILTERS {
            let size = |side: u32| (times * f64::from(side)).round() as u32;
            let large = imageops::resize(&middle, size(middle.width()), size(middle.height()), filter);
            let qualities: &[u8] = if times == 2.0 { &[80, 93, 98] } else { &[93] };
            for &quality in qualities {
                ways.push((format!("enlarged {times} times, {name}, quality {quality}"), found(&large, quality)?));
            }
        }
    }
    Ok(ways)
}

/// Changes that enlarge nothing, and the quality they are saved at.
fn harmless(picture: &RgbImage) -> Vec<(String, RgbImage, u8)> {
    let reduced = |share: f64, filter| {
        let size = |side: u32| (share * f64::from(side)).round() as u32;
        imageops::resize(picture, size(picture.width()), size(picture.height()), filter)
    };
    let mut noisy = picture.clone();
    let mut random = fastrand::Rng::with_seed(7);
    noisy.iter_mut().for_each(|v| *v = v.saturating_add(random.u8(0..12)).saturating_sub(random.u8(0..12)));
    let mut ways: Vec<(String, RgbImage, u8)> = [98, 93, 80, 60, 40]
        .map(|quality| (format!("saved again, quality {quality}"), picture.clone(), quality))
        .into();
    ways.extend([
        ("cut".to_owned(), imageops::crop_imm(picture, 5, 3, picture.width() - 8, picture.height() - 6).to_image(), 93),
        ("reduced to 0.7, linear".to_owned(), reduced(0.7, FilterType::Triangle), 93),
        ("reduced to 0.6, cubic".to_owned(), reduced(0.6, FilterType::CatmullRom), 93),
        ("reduced to 0.5, linear".to_owned(), reduced(0.5, FilterType::Triangle), 93),
        ("reduced to 0.35, Lanczos".to_owned(), reduced(0.35, FilterType::Lanczos3), 93),
        ("sharpened".to_owned(), imageops::unsharpen(picture, 1.2, 0), 93),
        ("smoothed".to_owned(), imageops::blur(picture, 1.2), 93),
        ("with noise".to_owned(), noisy, 93),
    ]);
    ways
}

/// The middle of a picture.
fn cut(picture: &RgbImage, width: u32, height: u32) -> RgbImage {
    imageops::crop_imm(picture, (picture.width() - width) / 2, (picture.height() - height) / 2, width, height)
        .to_image()
}
