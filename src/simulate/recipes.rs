//! Named scenes, one per fault, that the demo, tests and benches share: an invented morning on a moor with a tarn.

use super::camera::{Camera, Lens};
use super::file::{Developing, Facts, Recording, dng, jpeg};
use super::render::landscape;
use super::scene::{Ground, Kind, Object, SceneSpec, Sky, Tarn};
use super::sensor::Noise;

/// One frame of the shoot.
#[derive(Clone, Debug, PartialEq)]
pub struct Recipe {
    /// File name.
    pub file: &'static str,
    /// What is wrong with it, in words; what a good audit should find.
    pub fault: &'static str,
    /// The scene.
    pub spec: SceneSpec,
    /// Exposure time, s, as a fraction.
    pub exposure_s: (u32, u32),
    /// ISO speed.
    pub iso: u16,
    /// Date in Exif's form.
    pub date: &'static str,
    /// Strength of sharpening in the camera, for a JPEG.
    pub sharpening: f32,
}

impl Recipe {
    /// The frame's file: a DNG if its name says so, else a JPEG.
    ///
    /// # Errors
    /// Where the picture is too large for the format.
    pub fn bytes(&self) -> image::ImageResult<Vec<u8>> {
        let picture = landscape(&self.spec);
        let facts = Facts::of(&self.spec, self.exposure_s, self.iso, self.date);
        let (noise, seed) = (self.spec.noise, self.spec.noise_seed);
        if self.file.ends_with(".dng") {
            let recording = Recording { bits: 14, red_blue: (0.52, 0.61), noise, seed };
            return Ok(dng(&picture.light(), &facts, &recording));
        }
        jpeg(&picture.light(), Some(&facts), &Developing { quality: 93, sharpening: self.sharpening, noise, seed })
    }
}

/// Width of the long side of the demo's frames, px: enough to look like photographs, few enough to render quickly.
const LONG: usize = 2400;
/// Length of the long side of the invented sensor, mm.
const SENSOR_MM: f64 = 23.4;

/// A wide view over the tarn, camera low, focus where near and far are blurred alike.
fn tarn_view() -> SceneSpec {
    let mut camera = Camera {
        width: LONG,
        height: LONG * 2 / 3,
        pitch_um: SENSOR_MM * 1e3 / LONG as f64,
        focal_mm: 16.0,
        f_number: 11.0,
        focus_m: 2.7,
        height_m: 0.9,
        tilt_deg: 0.0,
        breathing: 1.0,
    };
    camera.tilt_deg = camera.tilt_for_horizon(0.34);
    SceneSpec {
        camera,
        lens: Lens::default(),
        shake: (0.0, 0.0),
        noise: Noise::at_snr(90.0, 0.3),
        ground: Ground::Moor,
        water: Some(Tarn { across_m: -3.5, ahead_m: 11.0, half_width_m: 6.5, half_depth_m: 5.5 }),
        sky: Sky::Cumulus,
        visibility_m: 20_000.0,
        objects: vec![Object { kind: Kind::Rock, across_m: 0.75, ahead_m: 2.6, height_m: 0.42 }],
        seed: 2026,
        noise_seed: 1,
        fine: 2,
    }
}

/// The same moor seen along a line of posts.
fn fence_view() -> SceneSpec {
    let base = tarn_view();
    let posts = (0..6).map(|i| Object {
        kind: Kind::Post,
        across_m: -0.95 + 0.28 * f64::from(i),
        ahead_m: 2.1 + 1.9 * f64::from(i),
        height_m: 1.05,
    });
    SceneSpec { water: None, ground: Ground::Meadow, sky: Sky::Overcast, objects: posts.collect(), seed: 415, ..base }
}

/// Stones and a thorn, picture upright.
fn thorn_view() -> SceneSpec {
    let base = tarn_view();
    let mut camera = Camera { width: base.camera.height, height: base.camera.width, ..base.camera };
    camera.height_m = 1.1;
    camera.tilt_deg = camera.tilt_for_horizon(0.3);
    SceneSpec {
        camera,
        water: None,
        ground: Ground::Scree,
        sky: Sky::Clear,
        objects: vec![Object { kind: Kind::Branch, across_m: 0.5, ahead_m: 4.2, height_m: 2.0 }],
        seed: 77,
        ..base
    }
}

fn refocused(spec: SceneSpec, f_number: f64, focus_m: f64) -> SceneSpec {
    // Focusing moves the image away from the lens and so narrows the field a little; the tripod stays.
    SceneSpec { camera: Camera { f_number, focus_m, ..spec.camera }, ..spec }
}

/// The whole shoot, in the order it was taken.
#[must_use]
pub fn shoot() -> Vec<Recipe> {
    [over_the_tarn(), along_the_fence(), fog(), stones(), stopping_down()].concat()
}

/// A frame as most of them were exposed.
fn frame(file: &'static str, fault: &'static str, spec: SceneSpec, date: &'static str) -> Recipe {
    Recipe { file, fault, spec, exposure_s: (1, 125), iso: 100, date, sharpening: 0.0 }
}

fn tarn(f_number: f64, focus_m: f64) -> SceneSpec {
    refocused(tarn_view(), f_number, focus_m)
}

fn fence(f_number: f64, focus_m: f64) -> SceneSpec {
    refocused(fence_view(), f_number, focus_m)
}

/// Focus that blurs the nearest ground of the tarn's view and infinity alike, m.
fn even_m() -> f64 {
    2.0 * tarn_view().camera.nearest_m()
}

fn over_the_tarn() -> Vec<Recipe> {
    let near = tarn_view().camera.nearest_m();
    vec![
        frame("01-right-focus.dng", "none: sharp from near to far", tarn(11.0, even_m()), "2026:03:14 06:52:10"),
        frame(
            "02-focus-too-far.jpg",
            "focused at infinity; the near ground is soft",
            tarn(4.0, f64::INFINITY),
            "2026:03:14 06:54:02",
        ),
        frame(
            "03-focus-too-near.jpg",
            "focused on the nearest stones; the far scene is soft",
            tarn(4.0, 1.05 * near),
            "2026:03:14 06:55:40",
        ),
        frame(
            "04-too-little-depth.jpg",
            "focus well placed, but f/2.8 cannot hold near and far",
            tarn(2.8, even_m()),
            "2026:03:14 06:57:21",
        ),
    ]
}

fn along_the_fence() -> Vec<Recipe> {
    vec![
        Recipe {
            exposure_s: (1, 4),
            ..frame(
                "05-shake.jpg",
                "the camera moved during the exposure",
                SceneSpec { shake: (3e-3 * LONG as f64, 0.45), ..fence(11.0, even_m()) },
                "2026:03:14 07:03:33",
            )
        },
        frame(
            "06-soft-corners.jpg",
            "a lens with strongly soft corners",
            SceneSpec {
                lens: Lens { corner_radial_um: 22.0, corner_tangential_um: 30.0, power: 2.6, ..Lens::default() },
                ..fence(11.0, even_m())
            },
            "2026:03:14 07:05:12",
        ),
        frame(
            "07-decentred-lens.jpg",
            "a tilted lens element: the right side is soft",
            SceneSpec {
                lens: Lens {
                    decentre: (-0.3, 0.0),
                    tilt_um: (150.0, 0.0),
                    corner_radial_um: 8.0,
                    corner_tangential_um: 10.0,
                    ..Lens::default()
                },
                ..fence(8.0, even_m())
            },
            "2026:03:14 07:08:47",
        ),
    ]
}

fn fog() -> Vec<Recipe> {
    vec![frame(
        "08-fog.jpg",
        "fog hides the far scene: nothing there to judge",
        SceneSpec { visibility_m: 7.0, sky: Sky::Overcast, ..tarn(8.0, even_m()) },
        "2026:03:14 07:31:05",
    )]
}

fn stones() -> Vec<Recipe> {
    let even = 2.0 * thorn_view().camera.nearest_m();
    vec![
        frame(
            "09-stones.dng",
            "none: sharp from near to far",
            refocused(thorn_view(), 11.0, even),
            "2026:03:14 07:44:20",
        ),
        frame(
            "10-stones-again.jpg",
            "none: the same view again",
            SceneSpec { noise_seed: 9, ..refocused(thorn_view(), 11.0, even) },
            "2026:03:14 07:44:26",
        ),
    ]
}

/// An aperture series of the fence.
fn stopping_down() -> Vec<Recipe> {
    let series = [
        ("11-series-f4.jpg", 4.0, "aperture series: too open", (1, 500), "2026:03:14 08:02:00"),
        ("12-series-f5.6.jpg", 5.6, "aperture series", (1, 250), "2026:03:14 08:02:08"),
        ("13-series-f8.jpg", 8.0, "aperture series", (1, 125), "2026:03:14 08:02:16"),
        ("14-series-f11.jpg", 11.0, "aperture series", (1, 60), "2026:03:14 08:02:24"),
        ("15-series-f16.jpg", 16.0, "aperture series", (1, 30), "2026:03:14 08:02:32"),
    ];
    let taken = |(file, f, fault, exposure_s, date)| {
        let spec = SceneSpec { noise_seed: f as u64, ..fence(f, even_m()) };
        Recipe { exposure_s, ..frame(file, fault, spec, date) }
    };
    series.map(taken).to_vec()
}
