//! What was enlarged after it was taken, by a library's own filters, is noticed, and what was changed otherwise is not. Traces of an
//! enlargement: Gallagher, Detection of linear and cubic interpolation in JPEG compressed images, Canadian Conference on Computer and
//! Robot Vision, 2005.

mod support {
    pub mod files;
    pub mod folder;
}

use image::imageops::{self, FilterType};
use image::{GrayImage, Luma};
use support::files::grey_jpeg;
use support::folder::Place;
use tussock::intake::{self, Overrides};
use tussock::measure::enlarged;
use tussock::simulate::{Psf, Texture, patch};

const FILTERS: [FilterType; 3] = [FilterType::Triangle, FilterType::CatmullRom, FilterType::Lanczos3];

/// A sharp picture of `side` px as a camera writes it.
fn sharp(texture: Texture, side: usize) -> GrayImage {
    let (plane, _) = patch(texture, &Psf { pixel: true, ..Psf::gaussian(0.4) }, side, 31, 80.0);
    let tone = |v: u16| {
        let light = f64::from(v.saturating_sub(plane.black)) / f64::from(plane.white - plane.black);
        (255.0 * light.powf(1.0 / 2.2)).round() as u8
    };
    GrayImage::from_fn(side as u32, side as u32, |x, y| Luma([tone(plane.row(y as usize)[x as usize])]))
}

fn resized(picture: &GrayImage, times: f64, filter: FilterType) -> GrayImage {
    let size = |side: u32| (times * f64::from(side)).round() as u32;
    imageops::resize(picture, size(picture.width()), size(picture.height()), filter)
}

fn found(picture: &GrayImage, quality: u8) -> bool {
    let place = Place::new();
    let file = place.file("picture.jpg", &grey_jpeg(picture, quality));
    enlarged(&intake::read(&file, &Overrides::default()).unwrap().plane)
}

#[test]
fn enlarged_by_just_two_is_noticed() {
    for texture in [Texture::Leaves, Texture::Rock] {
        let picture = sharp(texture, 480);
        for filter in FILTERS {
            assert!(found(&resized(&picture, 2.0, filter), 93), "{texture:?} {filter:?}");
        }
    }
}

#[test]
fn enlarged_by_other_factors_is_noticed() {
    for texture in [Texture::Leaves, Texture::Rock] {
        let picture = sharp(texture, 640);
        for times in [1.5, 1.8, 2.5] {
            // Lanczos's filter leaves a fainter trace, which one small picture in several hides.
            for filter in [FilterType::Triangle, FilterType::CatmullRom] {
                assert!(found(&resized(&picture, times, filter), 93), "{texture:?} {times} {filter:?}");
            }
        }
    }
}

#[test]
fn what_is_not_enlarged_is_not_called_so() {
    for texture in [Texture::Leaves, Texture::Rock] {
        let picture = sharp(texture, 1000);
        for quality in [40, 60, 80, 93, 98] {
            assert!(!found(&picture, quality), "{texture:?} saved at {quality}");
        }
        // Reduced by less, a linear filter leaves a trace as strong as an enlargement's (docs/accuracy.md, enlarged pictures).
        for times in [0.5, 0.6, 0.7, 0.75] {
            for filter in FILTERS {
                assert!(!found(&resized(&picture, times, filter), 93), "{texture:?} {times} {filter:?}");
            }
        }
        assert!(!found(&imageops::blur(&picture, 1.2), 93), "{texture:?} smoothed");
        assert!(!found(&imageops::unsharpen(&picture, 1.2, 0), 93), "{texture:?} sharpened");
    }
}
