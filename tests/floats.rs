//! Floating-point pictures: neither the unit nor a few outlying samples are a matter of sharpness.

#[path = "support/folder.rs"]
mod folder;

use std::io::Cursor;

use folder::Place;
use image::{ImageFormat, Rgb, Rgb32FImage};
use tussock::intake::{Overrides, colour, read};
use tussock::measure::{Settings, TileMap, measure};
use tussock::quantity::Flag;
use tussock::shot::Shot;

/// The light of a sharp frame, white being 1.
fn light() -> Rgb32FImage {
    let recipes = tussock::simulate::recipes::shoot();
    let bytes = recipes.iter().find(|r| r.file.ends_with(".jpg")).unwrap().bytes().unwrap();
    let picture = image::load_from_memory(&bytes).unwrap().to_luma8();
    let linear = |code: u8| {
        let v = f32::from(code) / 255.0;
        if v <= 0.04045 { v / 12.92 } else { ((v + 0.055) / 1.055).powf(2.4) }
    };
    Rgb32FImage::from_fn(picture.width(), picture.height(), |x, y| Rgb([linear(picture.get_pixel(x, y).0[0]); 3]))
}

fn shot(place: &Place, picture: Rgb32FImage) -> Shot {
    let mut out = Cursor::new(Vec::new());
    image::DynamicImage::from(picture).write_to(&mut out, ImageFormat::Tiff).unwrap();
    read(&place.file("a.tif", &out.into_inner()), &Overrides::default()).unwrap()
}

fn times(picture: &Rgb32FImage, factor: f32) -> Rgb32FImage {
    Rgb32FImage::from_fn(picture.width(), picture.height(), |x, y| Rgb(picture.get_pixel(x, y).0.map(|v| v * factor)))
}

/// Ratios of the widths of tiles that both have one for, in order; nearly all tiles must.
#[track_caller]
fn ratios(map: &TileMap, usual: &TileMap) -> Vec<f64> {
    let widths = |m: &TileMap| m.tiles.iter().map(|t| t.blur.as_ref().map(|b| b.value)).collect::<Vec<_>>();
    let (found, usual) = (widths(map), widths(usual));
    let mut ratios: Vec<f64> = found.iter().zip(&usual).filter_map(|(a, b)| Some((*a)? / (*b)?)).collect();
    let count = usual.iter().flatten().count();
    assert!(count > 50 && ratios.len() * 20 >= count * 19, "{} of {count}", ratios.len());
    ratios.sort_by(f64::total_cmp);
    ratios
}

#[test]
fn widths_depend_on_no_bright_patch_and_no_unit() {
    let place = Place::new();
    let light = light();
    let usual = shot(&place, light.clone());
    let map = measure(&usual.plane, &Settings::default());
    let mut glint = light.clone();
    for (x, y) in (0..16).map(|i| (700 + i % 4, 500 + i / 4)) {
        glint.put_pixel(x, y, Rgb([1000.0; 3]));
    }
    let of = shot(&place, glint);
    let changed = of.plane.data.iter().zip(&usual.plane.data).filter(|(a, b)| a != b).count();
    assert!(changed <= 16, "{changed} pixels");
    for picture in [times(&light, 0.02), times(&light, 300.0)] {
        let shot = shot(&place, picture);
        assert!(!shot.flags.contains(&Flag::FewLevels));
        let ratios = ratios(&measure(&shot.plane, &Settings::default()), &map);
        let middle = ratios[ratios.len() / 2];
        assert!((middle - 1.0).abs() < 0.01, "{middle}");
        assert!(ratios[ratios.len() / 20] > 0.95 && ratios[ratios.len() * 19 / 20] < 1.05, "{ratios:?}");
    }
}

/// A clipped sky stays clipped whatever its unit, and a picture of that is as bright to look at.
#[test]
fn what_is_clipped_stays_so() {
    let place = Place::new();
    let clipped = Rgb32FImage::from_fn(200, 150, |x, y| {
        Rgb([if y < 20 { 1.0 } else { 0.3 + 0.2 * ((x * 7 + y * 3) % 11) as f32 / 11.0 }; 3])
    });
    for factor in [1.0, 0.02, 0.013, 40.0] {
        let plane = shot(&place, times(&clipped, factor)).plane;
        let count = plane.data.iter().filter(|v| **v >= plane.saturation).count();
        assert_eq!(count, 20 * 200, "{factor}");
        let seen = colour(&place.0.path().join("a.tif"), &Overrides::default()).unwrap();
        assert!(seen.get_pixel(5, 5).0[0] >= 254, "{factor}");
    }
}

#[test]
fn few_levels_are_told() {
    let place = Place::new();
    let scene = |dark: f32| {
        Rgb32FImage::from_fn(200, 150, |x, y| Rgb([if y < 40 { 1.0 } else { dark * (0.5 + (x % 3) as f32) }; 3]))
    };
    assert!(shot(&place, scene(1e-4)).flags.contains(&Flag::FewLevels));
    assert!(!shot(&place, scene(0.05)).flags.contains(&Flag::FewLevels));
}
