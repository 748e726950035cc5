//! Baselines learned from hand-written tile maps of a lens whose softness is known.
//!
//! The maps carry what real ones do: scatter of 6 % a tile, soft content in a quarter of them, skies without
//! detail, defocus and shake. Bars: a held-out frame's corner blur within 10 % from an aperture series and 15 %
//! from a mixed shoot of 60 frames.

use std::path::{Path, PathBuf};

use tussock::commands::baselines::{Memory, Shelf, settle};
use tussock::commands::frame_store::{Done, Held, Shoot};
use tussock::diagnose::{Basis, CornerState, Corners, diagnose};
use tussock::intake::Overrides;
use tussock::lens::{
    self, Baseline, Doubt, LearnedFrom, Sides, Unsuitable, doubts, learn_aperture_series, learn_focus_series,
    learn_from_shoot, learn_shoot, record,
};
use tussock::measure::{Streak, Tile, TileMap, TileState};
use tussock::optics::WAVELENGTH_UM;
use tussock::optics::blur::{Parts, sigma_px};
use tussock::output::scratch::Scratch;
use tussock::quantity::{Distance, Estimate, Flag, Intent};
use tussock::report::{self, BaselineSource, Frame, LensBasis, Links, Run};
use tussock::shot::{Capture, Fact, Source};
use tussock::simulate::file::{Developing, Facts, Light, jpeg};
use tussock::simulate::{Noise, PatchSpec, Psf, Texture, patch_luminance};

const WIDTH: u32 = 6000;
const HEIGHT: u32 = 4000;
const PITCH: f64 = 5.94;

/// SplitMix64 (Steele, Lea and Flood 2014), and a normal deviate from twelve of its numbers.
struct Dice(u64);

impl Dice {
    fn uniform(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }
    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.uniform()).sum::<f64>() - 6.0
    }
    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.uniform()
    }
}

/// A lens: centre sigma, corner sigma at f/2.8 that falls as 1/N to a rest, and a lopsided share.
#[derive(Clone, Copy)]
struct Glass {
    centre_um: f64,
    corner_um: f64,
    rest_um: f64,
    lopsided: f64,
    curvature_um: f64,
}

impl Glass {
    const PLAIN: Self = Self { centre_um: 1.3, corner_um: 9.0, rest_um: 2.5, lopsided: 0.0, curvature_um: 0.0 };

    /// Lens blur, um, at a place in half-diagonals.
    fn um(&self, u: f64, v: f64, n: f64) -> f64 {
        let r = u.hypot(v);
        let corner = self.rest_um.hypot(self.corner_um * 2.8 / n) * (1.0 + self.lopsided * u);
        self.centre_um + (corner - self.centre_um) * r.powf(2.5)
    }
}

/// How a frame is taken.
#[derive(Clone, Copy)]
struct Take {
    n: f64,
    /// Signed disc, px, of the far scene and at the lower edge.
    disc_far: f64,
    disc_near: f64,
    motion: f64,
    /// Share of the rows, from the top, that are sky.
    sky: f64,
    /// Share of tiles with soft content.
    soft: f64,
}

const FLAT: Take = Take { n: 8.0, disc_far: 0.0, disc_near: 0.0, motion: 0.0, sky: 0.0, soft: 0.25 };

fn place(x: f64, y: f64) -> (f64, f64) {
    let (w, h) = (f64::from(WIDTH), f64::from(HEIGHT));
    let half = 0.5 * w.hypot(h);
    ((x - 0.5 * w) / half, (y - 0.5 * h) / half)
}

fn tile_map(glass: Glass, take: Take, extra_disc: impl Fn(f64, f64) -> f64, dice: &mut Dice) -> TileMap {
    tile_map_on(1.0, glass, take, extra_disc, dice)
}

/// The same on a sensor of as many pixels and other sides: a lens draws by millimetres.
fn tile_map_on(
    sensor: f64,
    glass: Glass,
    take: Take,
    extra_disc: impl Fn(f64, f64) -> f64,
    dice: &mut Dice,
) -> TileMap {
    let (columns, rows) = (24, 16);
    let pitch = sensor * PITCH;
    let (w, h) = (WIDTH / columns, HEIGHT / rows);
    let mut tiles = Vec::new();
    for row in 0..rows {
        for column in 0..columns {
            let (x, y) = (f64::from(column * w + w / 2), f64::from(row * h + h / 2));
            let (u, v) = place(x, y);
            let down = y / f64::from(HEIGHT);
            let ground = ((down - 0.4) / 0.6).max(0.0);
            let parts = Parts {
                lambda_n_px: Some(WAVELENGTH_UM * take.n / pitch),
                disc_px: take.disc_far + (take.disc_near - take.disc_far) * ground + extra_disc(u, v),
                lens_px: glass.um(sensor * u, sensor * v, take.n) / pitch,
                motion_px: take.motion,
                pixel: true,
            };
            let content = if dice.uniform() < take.soft { dice.between(0.2, 1.5) } else { 0.0 };
            let width = sigma_px(&parts).hypot(content) * (1.0 + 0.06 * dice.normal());
            let bare = dice.uniform() < if down < take.sky { 0.95 } else { 0.15 };
            tiles.push(Tile {
                x: column * w,
                y: row * h,
                width: w,
                height: h,
                state: if bare { TileState::NoDetail } else { TileState::Measured },
                contrast: if bare { 0.01 } else { 0.3 },
                noise: 0.002,
                level: 0.3,
                blur: (!bare).then(|| Estimate::new(width, 0.04 * width, 20)),
                alone: None,
                bound: None,
                spread: None,
            });
        }
    }
    TileMap {
        width: WIDTH,
        height: HEIGHT,
        columns,
        rows,
        tiles,
        common: None,
        overshoot: None,
        streak: None,
        clipped_share: 0.0,
        layers: Vec::new(),
        enlarged: false,
        mosaic: false,
    }
}

fn capture(n: f64) -> Capture {
    Capture {
        f_number: Some(Fact::new(n, Source::Exif)),
        focal_length_mm: Some(Fact::new(24.0, Source::Exif)),
        lens: Some(Fact::new("24mm f/2.8".to_owned(), Source::Exif)),
        pixel_pitch_um: Some(Fact::new(PITCH, Source::Derived)),
        ..Capture::default()
    }
}

/// The facts of a frame on a sensor of as many pixels and other sides.
fn capture_on(sensor: f64, n: f64) -> Capture {
    Capture { pixel_pitch_um: Some(Fact::new(sensor * PITCH, Source::Derived)), ..capture(n) }
}

/// The upright picture that a sensor's frame becomes, by the table of Exif 2.32, tag 0x0112: its first row and first column are the
/// upright picture's bottom and right side (3), right side and top (6), left side and bottom (8).
fn held(map: &TileMap, orientation: u16) -> TileMap {
    let (across, down) = (map.width, map.height);
    let mut map = map.clone();
    for t in &mut map.tiles {
        let (x, y) = (t.x, t.y);
        (t.x, t.y) = match orientation {
            3 => (across - x - t.width, down - y - t.height),
            6 => (down - y - t.height, x),
            8 => (y, across - x - t.width),
            _ => (x, y),
        };
        if orientation >= 5 {
            (t.width, t.height) = (t.height, t.width);
        }
    }
    if orientation >= 5 {
        (map.width, map.height) = (down, across);
        (map.columns, map.rows) = (map.rows, map.columns);
    }
    map.tiles.sort_by_key(|t| (t.y, t.x));
    map
}

fn lying(capture: &Capture, orientation: Option<u16>) -> Capture {
    Capture { orientation: orientation.map(|o| Fact::new(o, Source::Exif)), ..capture.clone() }
}

fn refs(frames: &[(TileMap, Capture)]) -> Vec<(&TileMap, &Capture)> {
    frames.iter().map(|(m, c)| (m, c)).collect()
}

/// Largest relative error of the total blur predicted at the four corner tiles.
fn corner_error(baseline: &Baseline, glass: Glass, n: f64) -> f64 {
    let total = |lens_um: f64| {
        sigma_px(&Parts {
            lambda_n_px: Some(WAVELENGTH_UM * n / PITCH),
            lens_px: lens_um / PITCH,
            pixel: true,
            ..Parts::default()
        })
    };
    [(0.03, 0.03), (0.97, 0.03), (0.03, 0.97), (0.97, 0.97)]
        .into_iter()
        .map(|(x, y)| {
            let (u, v) = place(x * f64::from(WIDTH), y * f64::from(HEIGHT));
            let told = baseline.expected_um(x, y, n).expect("a number at the corner");
            (total(told.value) / total(glass.um(u, v, n)) - 1.0).abs()
        })
        .fold(0.0, f64::max)
}

const STOPS: [f64; 7] = [2.8, 4.0, 5.6, 8.0, 11.0, 16.0, 22.0];

fn series(glass: Glass, seed: u64) -> Vec<(TileMap, Capture)> {
    let mut dice = Dice(seed);
    STOPS.iter().map(|&n| (tile_map(glass, Take { n, ..FLAT }, |_, _| 0.0, &mut dice), capture(n))).collect()
}

#[test]
fn an_aperture_series_predicts_a_held_out_corner() {
    let mut worst = 0.0f64;
    for seed in 0..8 {
        let mut dice = Dice(1000 + seed);
        let glass = Glass {
            centre_um: dice.between(0.8, 2.0),
            corner_um: dice.between(4.0, 14.0),
            rest_um: dice.between(1.5, 4.0),
            lopsided: dice.between(-0.3, 0.3),
            curvature_um: 0.0,
        };
        let baseline = learn_aperture_series(&refs(&series(glass, seed))).unwrap();
        assert_eq!((baseline.learned_from, baseline.provisional), (LearnedFrom::ApertureSeries, false));
        assert_eq!(baseline.entries.len(), 7);
        // At learned stops and between them.
        for n in [2.8, 3.5, 5.6, 7.1, 11.0, 22.0] {
            let error = corner_error(&baseline, glass, n);
            worst = worst.max(error);
        }
    }
    assert!(worst < 0.10, "worst corner error {worst:.3}");
}

/// Diffraction and the pixel set a floor (Goodman, Introduction to Fourier Optics, the transfer of a circular pupil): what lies a quarter below
/// it at any stop was sharpened, and so were the stops whose lens blur hides it.
#[test]
fn a_series_sharper_than_light_allows_is_refused() {
    let narrowed = |by: f64| {
        let mut frames = series(Glass::PLAIN, 3);
        for tile in frames.iter_mut().flat_map(|(map, _)| &mut map.tiles) {
            tile.blur = tile.blur.map(|b| Estimate::new(by * b.value, by * b.sd, b.n));
        }
        learn_aperture_series(&refs(&frames))
    };
    assert!(matches!(narrowed(0.75), Err(Unsuitable::TooSharp { f_number }) if f_number >= 8.0));
    // As much as all widths may be off by in common is no sharpening.
    assert!(narrowed(0.95).is_ok());
}

fn shoot(glass: Glass, frames: usize, seed: u64) -> Vec<(TileMap, Capture)> {
    let mut dice = Dice(seed);
    (0..frames)
        .map(|_| {
            let n = STOPS[(dice.uniform() * 6.0) as usize];
            // Focus somewhere between near and far; wide open the ends are far out of focus.
            let (span, at) = (dice.between(1.0, 8.0) * 8.0 / n, dice.uniform());
            let take = Take {
                n,
                disc_far: -span * (1.0 - at),
                disc_near: span * at,
                motion: if dice.uniform() < 0.15 { dice.between(1.0, 4.0) } else { 0.0 },
                sky: dice.between(0.0, 0.35),
                soft: 0.25,
            };
            (tile_map(glass, take, |_, _| 0.0, &mut dice), capture(n))
        })
        .collect()
}

#[test]
fn a_mixed_shoot_predicts_a_held_out_corner() {
    let mut worst = 0.0f64;
    for seed in 0..3 {
        let mut dice = Dice(2000 + seed);
        let glass = Glass {
            centre_um: dice.between(0.8, 2.0),
            corner_um: dice.between(4.0, 12.0),
            rest_um: dice.between(1.5, 4.0),
            lopsided: 0.0,
            curvature_um: 0.0,
        };
        let frames = shoot(glass, 60, seed);
        let baseline = learn_from_shoot(&refs(&frames)).unwrap();
        assert!(baseline.entries.iter().all(|e| e.frames > 0));
        for n in [2.8, 4.0, 5.6, 8.0, 11.0, 16.0] {
            let error = corner_error(&baseline, glass, n);
            worst = worst.max(error);
        }
    }
    assert!(worst < 0.15, "worst corner error {worst:.3}");
}

#[test]
fn a_focus_series_tells_curvature_from_softness() {
    let glass = Glass { curvature_um: 120.0, ..Glass::PLAIN };
    let (n, focal) = (4.0, 24.0);
    for recorded in [true, false] {
        let mut dice = Dice(7);
        let frames: Vec<(TileMap, Capture)> = (0..11)
            .map(|i| {
                // Image shift of this frame, um; far subject, so the lens racks out by f^2 / d.
                let shift = -30.0 + 24.0 * f64::from(i);
                let disc = |u: f64, v: f64| (shift - 40.0 - glass.curvature_um * (u * u + v * v)) / (n * PITCH);
                let map = tile_map(glass, Take { n, ..FLAT }, disc, &mut dice);
                let distance_m =
                    if shift > 0.0 { (focal + focal * focal / (shift * 1e-3)) * 1e-3 } else { f64::INFINITY };
                let focus =
                    (recorded && shift >= 0.0).then(|| Fact::new(Distance::from_metres(distance_m), Source::Exif));
                (map, Capture { focus_distance_m: focus, ..capture(n) })
            })
            .collect();
        let frames: Vec<_> = frames.into_iter().filter(|(_, c)| !recorded || c.focus_distance_m.is_some()).collect();
        let baseline = learn_focus_series(&refs(&frames)).unwrap();
        let error = corner_error(&baseline, glass, n);
        assert!(error < 0.10, "recorded {recorded}: corner error {error:.3}");
        let (u, v) = place(0.97 * f64::from(WIDTH), 0.97 * f64::from(HEIGHT));
        let truth = 120.0 * (u * u + v * v);
        let curvature = baseline.curvature.unwrap();
        let cell = |x: u32, y: u32| curvature.shift_um[(y * curvature.columns + x) as usize].unwrap().value;
        let shift = cell(curvature.columns - 1, curvature.rows - 1);
        assert!((shift / truth - 1.0).abs() < 0.1, "recorded {recorded}: {shift:?} for {truth}");
        assert!(cell(curvature.columns / 2, curvature.rows / 2).abs() < 6.0);
    }
}

#[test]
fn a_lopsided_lens_is_told_from_a_straight_one() {
    let found =
        |glass: Glass, seed: u64| lens::asymmetries(&learn_aperture_series(&refs(&series(glass, seed))).unwrap());
    let lopsided = found(Glass { lopsided: 0.4, ..Glass::PLAIN }, 3);
    let open = lopsided.iter().find(|a| a.sides == Sides::RightLeft && a.f_number == 2.8).unwrap();
    assert!(open.significance() > 3.0 && open.difference_um.value > 0.0, "{open:?}");
    // Top and bottom of that lens are alike.
    let other = lopsided.iter().find(|a| a.sides == Sides::BottomTop && a.f_number == 2.8).unwrap();
    assert!(other.significance().abs() < 3.0, "{other:?}");
    for seed in 0..5 {
        for one in found(Glass::PLAIN, 40 + seed) {
            assert!(one.significance().abs() < 3.0, "{one:?}");
        }
    }
}

/// What a wall shows differs from corner to corner, the same in every frame, by 3 % of the whole width (docs/accuracy.md, aperture
/// series). Of a good lens, whose own blur is little of the whole, that is much.
#[test]
fn content_that_differs_from_corner_to_corner_is_no_lopsided_lens() {
    let good = Glass { centre_um: 1.3, corner_um: 3.0, rest_um: 2.0, ..Glass::PLAIN };
    for seed in [3, 4, 5] {
        let mut frames = series(good, seed);
        for (map, _) in &mut frames {
            for tile in map.tiles.iter_mut() {
                let (u, v) = place(f64::from(tile.x + tile.width / 2), f64::from(tile.y + tile.height / 2));
                let corner = 0.03 * (u - v).clamp(-1.0, 1.0);
                tile.blur = tile.blur.map(|b| Estimate::new(b.value * (1.0 + corner), b.sd, b.n));
            }
        }
        let found = lens::asymmetries(&learn_aperture_series(&refs(&frames)).unwrap());
        let most = found.iter().map(|a| a.significance().abs()).fold(0.0, f64::max);
        assert!(most > 0.5 && most < 3.0, "seed {seed}: {most}");
    }
}

#[test]
fn a_stored_baseline_comes_back() {
    let learned = learn_aperture_series(&refs(&series(Glass::PLAIN, 5))).unwrap();
    let text = record::write(&learned, "2026-11-25");
    let back = record::read(&text).unwrap();
    assert_eq!(record::write(&back, "2026-11-25"), text);
    assert_eq!((back.lens.as_str(), back.focal_length_mm, back.entries.len()), ("24mm f/2.8", Some(24.0), 7));
    for (x, y, n) in [(0.1, 0.2, 2.8), (0.5, 0.5, 9.0), (0.97, 0.03, 20.0)] {
        let (a, b) = (learned.expected_um(x, y, n).unwrap(), back.expected_um(x, y, n).unwrap());
        assert!((a.value - b.value).abs() < 1e-3 && (a.sd - b.sd).abs() < 1e-3 && a.n == b.n);
    }
    assert!(text.contains("version = 1") && text.contains("date = \"2026-11-25\""));
    // What is not known stays unknown.
    let mut holed = learned;
    holed.entries[0].sigma_um[0] = None;
    holed.focal_length_mm = None;
    let text = record::write(&holed, "2026-11-25");
    let back = record::read(&text).unwrap();
    assert_eq!((back.entries[0].sigma_um[0], back.focal_length_mm), (None, None));
    // As it was written before.
    let before = text.replacen("learned_from", "focal_length_mm = 0.0\nlearned_from", 1);
    assert_eq!(record::read(&before).unwrap().focal_length_mm, None);
}

#[test]
fn damaged_records_are_refused_and_never_panic() {
    let text = record::write(&learn_aperture_series(&refs(&series(Glass::PLAIN, 5))).unwrap(), "2026-11-25");
    assert!(record::read("").is_err());
    assert!(matches!(record::read(&text.replace("version = 1", "version = 9")), Err(record::RecordError::Version(9))));
    assert!(record::read(&text.replace("tussock.lens", "other")).is_err());
    assert!(record::read(&text.replace("f_number = 4.0", "f_number = -4.0")).is_err());
    assert!(record::read(&text.replacen("um = [", "um = [[1.0], ", 1)).is_err());
    // Every tenth truncation.
    for end in (0..text.len()).step_by(97).filter(|&i| text.is_char_boundary(i)) {
        let _ = record::read(&text[..end]);
    }
}

#[test]
fn expectations_between_and_beyond() {
    let baseline = learn_aperture_series(&refs(&series(Glass::PLAIN, 9))).unwrap();
    let at = |n: f64| baseline.expected_um(0.97, 0.97, n);
    let (low, middle, high) = (at(5.6).unwrap(), at(6.7).unwrap(), at(8.0).unwrap());
    assert!(low.value > middle.value && middle.value > high.value);
    // Beyond the learned stops: the end stands with a wider spread, then nothing.
    let (end, beyond) = (at(2.8).unwrap(), at(2.0).unwrap());
    assert!(beyond.value == end.value && beyond.sd > end.sd);
    assert_eq!(at(1.4), None);
    assert_eq!(at(0.0), None);
    assert_eq!(baseline.expected_um(f64::NAN, 0.5, 8.0), None);
}

#[test]
fn unsuitable_frames_say_why() {
    let frames = series(Glass::PLAIN, 1);
    let why = |frames: &[(TileMap, Capture)]| learn_from_shoot(&refs(frames)).unwrap_err();
    assert_eq!(why(&[]), Unsuitable::NoFacts);
    assert_eq!(why(&frames[..3]), Unsuitable::TooFew { found: 3, needed: 6 });
    let bare: Vec<_> = frames.iter().map(|(m, _)| (m.clone(), Capture::default())).collect();
    assert_eq!(why(&bare), Unsuitable::NoFacts);
    let tall: Vec<_> =
        frames.iter().map(|(m, c)| (TileMap { width: HEIGHT, height: WIDTH, ..m.clone() }, c.clone())).collect();
    assert_eq!(why(&tall), Unsuitable::OnlyPortrait);
    let sharpened: Vec<_> = frames
        .iter()
        .map(|(m, c)| (TileMap { overshoot: Some(Estimate::new(0.2, 0.01, 50)), ..m.clone() }, c.clone()))
        .collect();
    assert_eq!(why(&sharpened), Unsuitable::Sharpened);
    let mut mixed = frames.clone();
    mixed[2].1.lens = Some(Fact::new("another".to_owned(), Source::Exif));
    assert_eq!(why(&mixed), Unsuitable::Mixed);
    // A shoot's own baseline is known for a provisional one.
    assert!(learn_shoot(&refs(&frames)).is_ok_and(|b| b.provisional && b.lens == "24mm f/2.8"));
    assert_eq!(learn_shoot(&refs(&mixed)).unwrap_err(), Unsuitable::Mixed);
    let same: Vec<_> = (0..3).map(|_| frames[3].clone()).collect();
    assert_eq!(learn_aperture_series(&refs(&same)).unwrap_err(), Unsuitable::OneStop);
    assert_eq!(learn_focus_series(&refs(&same)).unwrap_err(), Unsuitable::TooFew { found: 3, needed: 4 });
    let still: Vec<_> = (0..6).map(|_| frames[3].clone()).collect();
    assert_eq!(learn_focus_series(&refs(&still)).unwrap_err(), Unsuitable::OneFocus);
    // Skies and fog: almost nothing measured anywhere.
    let empty: Vec<_> = frames
        .iter()
        .map(|(m, c)| {
            let mut m = m.clone();
            for (i, tile) in m.tiles.iter_mut().enumerate() {
                tile.blur = tile.blur.filter(|_| i % 97 == 0);
            }
            (m, c.clone())
        })
        .collect();
    assert!(matches!(why(&empty), Unsuitable::LittleInFocus { .. }));
}

/// Frames at f/5.6 of a flat subject, each as much wider all over as `wider` says.
fn alike(frames: u64, mut wider: impl FnMut(&mut Dice) -> f64) -> Vec<(TileMap, Capture)> {
    let mut dice = Dice(77);
    (0..frames)
        .map(|_| {
            let mut map = tile_map(Glass::PLAIN, Take { n: 5.6, ..FLAT }, |_, _| 0.0, &mut dice);
            let times = wider(&mut dice);
            for blur in map.tiles.iter_mut().filter_map(|t| t.blur.as_mut()) {
                *blur = Estimate::new(blur.value * times, blur.sd * times, blur.n);
            }
            (map, capture(5.6))
        })
        .collect()
}

#[test]
fn a_provisional_lens_is_as_uncertain_as_its_frames_are_apart() {
    let at_corner =
        |frames: &[(TileMap, Capture)]| learn_shoot(&refs(frames)).unwrap().expected_um(0.97, 0.97, 5.6).unwrap();
    let same = at_corner(&alike(24, |_| 1.0));
    assert!(same.sd < 0.1 * same.value, "{same:?}");
    // Frames up to a seventh wider, as slight errors of focus make them: most of them lie within two deviations.
    let mut times = Vec::new();
    let apart = at_corner(&alike(24, |dice| {
        times.push(dice.between(1.0, 1.15));
        *times.last().unwrap()
    }));
    let (u, v) = place(0.97 * f64::from(WIDTH), 0.97 * f64::from(HEIGHT));
    let whole = |lens_px: f64| {
        sigma_px(&Parts { lambda_n_px: Some(WAVELENGTH_UM * 5.6 / PITCH), lens_px, pixel: true, ..Parts::default() })
    };
    let range = [apart.value - 2.0 * apart.sd, apart.value + 2.0 * apart.sd].map(|um| whole(um.max(0.0) / PITCH));
    let shown = |t: &&f64| (range[0]..=range[1]).contains(&(*t * whole(Glass::PLAIN.um(u, v, 5.6) / PITCH)));
    let covered = times.iter().filter(shown).count();
    assert!(10 * covered >= 8 * times.len(), "{covered} of {}: {apart:?} {range:?}", times.len());
    assert!(apart.sd > 1.5 * same.sd, "{apart:?} {same:?}");
}

#[test]
fn frames_with_one_soft_side_teach_no_lens_in_line() {
    let with = |one_sided: usize| {
        let mut frames = alike(20, |_| 1.0);
        for (map, _) in frames.iter_mut().take(one_sided) {
            for tile in map.tiles.iter_mut().filter(|t| t.x > WIDTH * 2 / 3) {
                tile.blur = tile.blur.map(|b| Estimate::new(b.value.hypot(1.5), b.sd, b.n));
            }
        }
        learn_shoot(&refs(&frames))
    };
    assert_eq!(with(15).unwrap_err(), Unsuitable::OneSided { found: 15, of: 20 });
    let (some, none) = (with(8).unwrap(), with(0).unwrap());
    for (x, y) in [(0.97, 0.03), (0.97, 0.97)] {
        let at = |b: &Baseline| b.expected_um(x, y, 5.6).unwrap();
        assert!((at(&some).value / at(&none).value - 1.0).abs() < 0.1, "{:?} {:?}", at(&some), at(&none));
    }
    assert_eq!((some.entries[0].frames, none.entries[0].frames), (12, 20));
}

/// Strong corners at f/4 and a flat subject in focus: blur far beyond what a lens is assumed to have.
const STRONG: Glass = Glass { centre_um: 1.3, corner_um: 34.0, rest_um: 3.0, lopsided: 0.0, curvature_um: 0.0 };

fn judged(glass: Glass, lens: Option<&Baseline>, seed: u64) -> Corners {
    let map = tile_map(glass, Take { n: 4.0, ..FLAT }, |_, _| 0.0, &mut Dice(seed));
    diagnose(&map, &capture(4.0), lens, &Intent::default()).corners
}

#[test]
fn corners_are_judged_by_what_the_lens_is_known_to_do() {
    let learned = learn_aperture_series(&refs(&series(STRONG, 21))).unwrap();
    for seed in 300..303 {
        let blind = judged(STRONG, None, seed);
        assert_eq!((blind.state, blind.basis), (CornerState::SofterThanExpected, Basis::Assumed), "{blind:?}");
        let known = judged(STRONG, Some(&learned), seed);
        assert_eq!((known.state, known.basis), (CornerState::AsExpected, Basis::Learned), "{known:?}");
        // One side much softer than this lens has ever been: something has shifted in it since.
        let shifted = judged(Glass { lopsided: 0.9, ..STRONG }, Some(&learned), seed);
        assert_eq!((shifted.state, shifted.basis), (CornerState::SofterThanExpected, Basis::Learned), "{shifted:?}");
    }
}

fn audited(frames: Vec<(TileMap, Capture)>) -> Vec<Frame> {
    frames
        .into_iter()
        .map(|(map, capture)| {
            let diagnosis = diagnose(&map, &capture, None, &Intent::default());
            Frame { file: String::new(), capture, flags: Vec::new(), map, diagnosis, group: None }
        })
        .collect()
}

/// Settles frames that are held as an audit holds them, without a store.
fn settled(frames: &mut [Frame]) -> Vec<LensBasis> {
    let (scratch, overrides) = (Scratch::new(tempfile::tempfile().unwrap()), Overrides::default());
    let held = |frame: &Frame| {
        let frame = frame.clone();
        let (path, links) = (PathBuf::from(&frame.file), Links::default());
        Held::new(
            Done { path, frame, baseline: None, links, original: None, twins: Vec::new(), small: None, key: None },
            &scratch,
        )
        .unwrap()
    };
    let mut shoot = Shoot { frames: frames.iter().map(held).collect(), scratch: &scratch, overrides: &overrides };
    let lenses = settle(&mut shoot, &Shelf::default(), &Intent::default(), &Memory::none()).unwrap();
    for (k, frame) in frames.iter_mut().enumerate() {
        *frame = shoot.frame(k).unwrap();
    }
    lenses
}

#[test]
fn many_frames_of_one_lens_teach_it_and_few_do_not() {
    let intent = Intent::default();
    let mut frames = audited(shoot(Glass { corner_um: 14.0, ..STRONG }, 24, 5));
    let mut few = frames[..12].to_vec();
    let alone = frames.clone();
    assert!(settled(&mut few).is_empty());
    assert!(few.iter().all(|f| f.diagnosis.corners.basis == Basis::Assumed));
    let lenses = settled(&mut frames);
    assert_eq!(lenses.len(), 1);
    assert_eq!((lenses[0].source, lenses[0].frames.len()), (BaselineSource::Shoot, 24));
    assert!(lenses[0].baseline.as_ref().is_some_and(|b| b.provisional));
    // Neighbours inform, they don't overrule: but for the corners' standard every number is what it was alone.
    for (with, without) in frames.iter().zip(&alone) {
        let corners = with.diagnosis.corners;
        assert_eq!(tussock::Diagnosis { corners, ..without.diagnosis.clone() }, with.diagnosis);
    }
    let measured = frames.iter().filter(|f| f.diagnosis.corners.state != CornerState::NotMeasured);
    assert!(measured.clone().count() > 12);
    assert!(measured.clone().all(|f| f.diagnosis.corners.basis == Basis::Learned));
    // The frames' own baseline judges them as one from a proper series of the same lens does.
    let proper = learn_aperture_series(&refs(&series(Glass { corner_um: 14.0, ..STRONG }, 21))).unwrap();
    let alike = frames.iter().filter(|f| {
        let corners = diagnose(&f.map, &f.capture, Some(&proper), &intent).corners;
        corners.state == f.diagnosis.corners.state
    });
    assert!(alike.count() >= 22);
    let run = Run { frames, baselines: lenses, ..Run::default() };
    let view = report::view(&run);
    assert_eq!(view.frames[0].corners.baseline, Some(0));
    assert!(
        view.baselines[0].sentence.contains("these very frames") && view.baselines[0].sentence.contains("provisional")
    );
}

#[test]
fn a_shoot_that_cannot_teach_its_lens_says_why() {
    let mut maps = shoot(STRONG, 20, 6);
    for (map, _) in &mut maps {
        map.overshoot = Some(Estimate::new(0.2, 0.01, 50));
    }
    let mut frames = audited(maps);
    let lenses = settled(&mut frames);
    assert_eq!((lenses[0].source, lenses[0].baseline.is_none()), (BaselineSource::Assumed, true));
    let view = report::view(&Run { frames, baselines: lenses, ..Run::default() });
    assert!(view.baselines[0].sentence.contains("every frame is sharpened"), "{}", view.baselines[0].sentence);
    assert_eq!(view.frames[0].corners.baseline, None);
}

/// A shoot of JPEG files through one lens at 24 mm.
fn write_files(folder: &Path, count: usize) {
    for i in 0..count {
        write_file(&folder.join(format!("moor-{i}.jpg")), (300, 200), 60 + i as u64, 8.0);
    }
}

fn write_file(file: &Path, (width, height): (usize, usize), seed: u64, f_number: f64) {
    let psf = Psf::gaussian(0.9);
    let spec = PatchSpec { texture: Texture::Leaves, psf, width, height, seed, ..PatchSpec::default() };
    let luminance = patch_luminance(&spec);
    let light = Light { width, height, luminance: &luminance, chroma: None };
    let facts = Facts {
        f_number,
        focal_mm: 24.0,
        pitch_um: 5.94,
        crop: 1.0,
        focus_m: None,
        exposure_s: (1, 100),
        iso: 100,
        date: format!("2026:05:01 1{}:00:00", seed % 10),
    };
    let developing = Developing { quality: 97, sharpening: 0.0, noise: Noise::at_snr(80.0, 0.35), seed };
    std::fs::write(file, jpeg(&light, Some(&facts), &developing).unwrap()).unwrap();
}

#[test]
fn a_series_shows_one_scene_and_has_no_faults() {
    // Brightness that falls from the left to the right, from the upper to the lower edge, or hardly anywhere.
    let lit = |map: &TileMap, light: fn(f64, f64) -> f64| {
        let mut map = map.clone();
        for tile in &mut map.tiles {
            let (x, y) = tile.centre();
            tile.level = 0.2 * light(x / f64::from(WIDTH), y / f64::from(HEIGHT)).exp();
        }
        map
    };
    let frames = series(Glass::PLAIN, 4);
    let doubts_of = |maps: &[TileMap]| doubts(&maps.iter().collect::<Vec<_>>());
    let one: Vec<TileMap> = frames.iter().map(|(m, _)| lit(m, |x, _| 3.0 * x)).collect();
    assert!(doubts_of(&one).is_empty());
    // A wall darkens towards its corners wide open, and less stopped down.
    let wall = |k: usize| if k == 0 { |x: f64, _: f64| -(2.0 * x - 1.0).powi(2) } else { |_: f64, y: f64| 0.2 * y };
    let walls: Vec<TileMap> = frames.iter().enumerate().map(|(k, (m, _))| lit(m, wall(k))).collect();
    assert!(doubts_of(&walls).is_empty());
    let mut mixed = one.clone();
    mixed[1] = lit(&one[1], |_, y| 3.0 * y);
    let (length, angle) = (Estimate::new(4.0, 0.3, 60), Estimate::new(0.3, 0.1, 60));
    mixed[2].streak = Some(Streak { length, angle, doubled: None });
    mixed[0].enlarged = true;
    assert_eq!(doubts_of(&mixed), [(0, Doubt::Enlarged), (1, Doubt::OtherScene), (2, Doubt::Shaken)]);
}

#[test]
fn what_is_stored_of_lenses_is_listed_forgotten_left_unused_and_never_lost_unsaid() {
    let home = tempfile::tempdir().unwrap();
    let photos = home.path().join("photos");
    std::fs::create_dir_all(&photos).unwrap();
    for (k, n) in [2.8, 5.6, 11.0].into_iter().enumerate() {
        write_file(&photos.join(format!("wall-{k}.jpg")), (900, 600), 77, n);
    }
    let run = |words: &[&str], code: i32| -> (String, String) {
        let mut command = assert_cmd::Command::cargo_bin("tussock").unwrap();
        command.env("XDG_CONFIG_HOME", home.path()).env("XDG_CACHE_HOME", home.path().join("cache"));
        let done = command.current_dir(home.path()).args(words).assert().code(code);
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        (text(&done.get_output().stdout), text(&done.get_output().stderr))
    };
    let (_, said) = run(&["lens", "list"], 0);
    assert!(said.contains("No baseline is stored"), "{said}");
    run(&["lens", "learn", "photos"], 0);
    let (listed, _) = run(&["lens", "list"], 0);
    assert!(listed.contains("learned from an aperture series on 20"), "{listed}");
    assert!(listed.contains("3 frames at f/2.8, f/5.6, f/11"), "{listed}");
    let lenses: serde_json::Value = serde_json::from_str(&run(&["lens", "list", "--json"], 0).0).unwrap();
    assert_eq!((lenses["format"].as_str(), lenses["damaged"].as_u64()), (Some("tussock.lenses"), Some(0)));
    assert_eq!(lenses["lenses"][0]["f_numbers"], serde_json::json!([2.8, 5.6, 11.0]));
    // A stop that none of the frames was good enough at is told by the others alone, and counts as theirs.
    let stored = home.path().join("tussock/lenses").read_dir().unwrap().next().unwrap().unwrap().path();
    let whole = std::fs::read_to_string(&stored).unwrap();
    let mut bare = record::read(&whole).unwrap();
    bare.entries[2].frames = 0;
    std::fs::write(&stored, record::write(&bare, "2026-11-25")).unwrap();
    let (listed, _) = run(&["lens", "list"], 0);
    assert!(listed.contains("2 frames at f/2.8, f/5.6, which tell of f/11 too"), "{listed}");
    std::fs::write(&stored, whole).unwrap();
    // A second one of the same lens does not take its place unasked, nor unsaid.
    let (_, said) = run(&["lens", "learn", "photos"], 2);
    assert!(said.contains("is stored already") && said.contains("--overwrite"), "{said}");
    let (_, said) = run(&["lens", "learn", "photos", "--overwrite"], 0);
    assert!(said.contains("Replaced: ") && said.contains("learned from an aperture series"), "{said}");
    let used = |more: &[&str]| {
        let words = ["audit", "photos", "--no-page", "--no-cache", "--out", "report"];
        run(&[&words, more].concat(), 0);
        let json = std::fs::read(home.path().join("report/audit.json")).unwrap();
        let json: serde_json::Value = serde_json::from_slice(&json).unwrap();
        json["baselines"].as_array().unwrap().len()
    };
    assert_eq!((used(&[]), used(&["--no-lens"])), (1, 0));
    let (_, said) = run(&["lens", "forget", "Another 50 mm"], 2);
    assert!(said.contains("no baseline of a lens named"), "{said}");
    // One that names no focal length is said to have none, and is none of those near a given one.
    let nameless = home.path().join("tussock/lenses/a.toml");
    std::fs::write(&nameless, record::write(&Baseline { focal_length_mm: None, ..bare }, "2026-11-25")).unwrap();
    let lenses: serde_json::Value = serde_json::from_str(&run(&["lens", "list", "--json"], 0).0).unwrap();
    assert!(lenses["lenses"][0]["focal_length_mm"].is_null(), "{lenses:#}");
    let shown = run(&["lens", "show", "tussock/lenses/a.toml", "--json"], 0).0;
    assert!(serde_json::from_str::<serde_json::Value>(&shown).unwrap()["focal_length_mm"].is_null(), "{shown}");
    assert!(run(&["lens", "list"], 0).0.contains("Example 24 mm, learned from"));
    run(&["lens", "forget", "example 24 mm", "--focal", "24mm"], 0);
    assert!(nameless.is_file());
    let gone: serde_json::Value =
        serde_json::from_str(&run(&["lens", "forget", "example 24 mm", "--json"], 0).0).unwrap();
    assert_eq!((&gone["format"], &gone["lenses"][0]["lens"]), (&"tussock.forgotten".into(), &"Example 24 mm".into()));
    run(&["lens", "learn", "photos"], 0);
    // Dated by the local calendar, which at any time is another day than that of UTC in one of these zones (POSIX names).
    for (zone, hours) in [("AAA+12", -12), ("BBB-14", 14)] {
        let day = || {
            let there = jiff::Timestamp::now() + jiff::SignedDuration::from_hours(hours);
            there.strftime("%Y-%m-%d").to_string()
        };
        let before = day();
        let mut command = assert_cmd::Command::cargo_bin("tussock").unwrap();
        command.env("XDG_CONFIG_HOME", home.path()).env("XDG_CACHE_HOME", home.path().join("cache")).env("TZ", zone);
        command.current_dir(home.path()).args(["lens", "learn", "photos", "--overwrite"]).assert().code(0);
        let lenses: serde_json::Value = serde_json::from_str(&run(&["lens", "list", "--json"], 0).0).unwrap();
        let told = lenses["lenses"][0]["date"].as_str().unwrap().to_owned();
        assert!(told == before || told == day(), "{zone}: {told}, not {before}");
    }
    let (gone, _) = run(&["lens", "forget", "example 24 mm", "--focal", "24mm"], 0);
    assert!(gone.contains("Forgotten: Example 24 mm at 24 mm"), "{gone}");
    assert!(run(&["lens", "list"], 0).1.contains("No baseline is stored"));
    assert!(run(&["lens", "list", "--json"], 0).0.contains("\"lenses\": []"));
    // Two frames at one f-number are no series; by --anyway they are still too few.
    let (_, said) = run(&["lens", "learn", "photos/wall-0.jpg", "photos/wall-1.jpg"], 2);
    assert!(said.contains("neither a series") && said.contains("--anyway"), "{said}");
    let (_, said) = run(&["lens", "learn", "photos/wall-0.jpg", "photos/wall-1.jpg", "--anyway"], 2);
    assert!(said.contains("2 frames can serve"), "{said}");
}

#[test]
fn an_audit_takes_the_baseline_given_or_the_one_stored_under_the_lens() {
    let home = tempfile::tempdir().unwrap();
    let shelf = home.path().join("tussock").join("lenses");
    let photos = home.path().join("photos");
    for folder in [&shelf, &photos] {
        std::fs::create_dir_all(folder).unwrap();
    }
    write_files(&photos, 2);
    // The lens the files name.
    let learned =
        Baseline { lens: "Example 24 mm".into(), ..learn_aperture_series(&refs(&series(STRONG, 21))).unwrap() };
    let write = |path: &Path, b: &Baseline| std::fs::write(path, record::write(b, "2026-11-25")).unwrap();
    let audit = |more: &[&std::ffi::OsStr]| -> (serde_json::Value, String) {
        let out = home.path().join("report");
        let mut command = assert_cmd::Command::cargo_bin("tussock").unwrap();
        command.env("XDG_CONFIG_HOME", home.path()).env("XDG_CACHE_HOME", home.path().join("cache"));
        command.arg("audit").arg(&photos).args(["--no-page", "--out"]).arg(&out).args(more);
        let done = command.assert().code(0);
        let said = String::from_utf8_lossy(&done.get_output().stderr).into_owned();
        let json = serde_json::from_slice(&std::fs::read(out.join("audit.json")).unwrap()).unwrap();
        std::fs::remove_dir_all(out).unwrap();
        (json, said)
    };
    let (json, _) = audit(&[]);
    assert_eq!(json["baselines"], serde_json::json!([]));
    assert!(json["frames"][0]["corners"]["baseline"].is_null());
    // Stored under the lens's name.
    write(&shelf.join("example.toml"), &learned);
    let (json, _) = audit(&[]);
    assert_eq!((&json["baselines"][0]["source"], &json["baselines"][0]["frames"]), (&"stored".into(), &2.into()));
    assert_eq!(json["frames"][1]["corners"]["baseline"], 0);
    // A given one goes before it; one of another lens is named as idle.
    let (given, other) = (home.path().join("given.toml"), home.path().join("other.toml"));
    write(&given, &learned);
    write(&other, &Baseline { focal_length_mm: Some(85.0), ..learned });
    let (json, said) = audit(&["--lens".as_ref(), given.as_ref(), "--lens".as_ref(), other.as_ref()]);
    assert_eq!(json["baselines"][0]["source"], "given");
    assert!(json["baselines"][0]["file"].as_str().unwrap().ends_with("given.toml"));
    assert!(said.contains("other.toml: no frame here was taken with that lens"), "{said}");
    // One that the settings name serves the lens it is of as a stored one does, and is no word on frames of others.
    std::fs::remove_file(shelf.join("example.toml")).unwrap();
    std::fs::write(home.path().join("tussock/settings.toml"), "lenses = [\"../given.toml\", \"../other.toml\"]")
        .unwrap();
    let (json, said) = audit(&[]);
    assert_eq!((&json["baselines"][0]["source"], &json["baselines"][0]["frames"]), (&"stored".into(), &2.into()));
    assert!(!said.contains("no frame here was taken"), "{said}");
    let nameless = |file: &str| {
        let path = photos.join(file);
        let mut picture = image::open(&path).unwrap().to_rgb8();
        picture.put_pixel(0, 0, image::Rgb([0; 3]));
        picture.save(path).unwrap();
    };
    ["moor-0.jpg", "moor-1.jpg"].into_iter().for_each(nameless);
    let (json, said) = audit(&[]);
    assert!(json["baselines"] == serde_json::json!([]) && said.is_empty(), "{} {said}", json["baselines"]);
    std::fs::remove_file(home.path().join("tussock/settings.toml")).unwrap();
    // What is no baseline is refused before anything is measured.
    let mut command = assert_cmd::Command::cargo_bin("tussock").unwrap();
    command.arg("audit").arg(&photos).arg("--lens").arg(photos.join("moor-0.jpg"));
    command.assert().code(2);
}

/// What more the top right corner of [`cornered`] has of lens blur at f/2.8, um. As 1/N it falls, as a tilted element leaves it.
const BAD_UM: f64 = 12.0;

/// Lens blur of one bad corner alone, um.
fn bad_corner_um(u: f64, v: f64, n: f64) -> f64 {
    let along = (0.832_05 * u - 0.554_7 * v - 0.3) / 0.7;
    BAD_UM * 2.8 / n * along.max(0.0).powi(2)
}

/// Widens the tiles of a frame by something of its own at each place, px.
fn widened(map: &mut TileMap, extra_px: impl Fn(f64, f64) -> f64) {
    for tile in &mut map.tiles {
        let (u, v) = place(f64::from(tile.x + tile.width / 2), f64::from(tile.y + tile.height / 2));
        tile.blur = tile.blur.map(|b| Estimate::new(b.value.hypot(extra_px(u, v)), b.sd, b.n));
    }
}

/// A good lens whose every frame shows one and the same wall, widened by `extra_px` of place and f-number.
fn one_wall(seed: u64, extra_px: impl Fn(f64, f64, f64) -> f64) -> Vec<(TileMap, Capture)> {
    let frame = |n: f64| {
        let mut map = tile_map(WALL_GLASS, Take { n, ..FLAT }, |_, _| 0.0, &mut Dice(seed));
        widened(&mut map, |u, v| extra_px(u, v, n));
        (map, capture(n))
    };
    STOPS.iter().map(|&n| frame(n)).collect()
}

const WALL_GLASS: Glass = Glass { centre_um: 1.3, corner_um: 5.0, rest_um: 2.5, lopsided: 0.0, curvature_um: 0.0 };

/// The whole width (um) that a baseline has at the top right and the top left corner, over the truth.
fn upper_corners(baseline: &Baseline, n: f64, bad: bool) -> [f64; 2] {
    let (y, whole) = (0.04 * f64::from(HEIGHT), |um: f64| {
        let parts = Parts {
            lambda_n_px: Some(WAVELENGTH_UM * n / PITCH),
            lens_px: um / PITCH,
            pixel: true,
            ..Parts::default()
        };
        sigma_px(&parts)
    });
    [0.97, 0.03].map(|x| {
        let (u, v) = place(x * f64::from(WIDTH), y);
        let more = if bad { bad_corner_um(u, v, n) } else { 0.0 };
        let told = baseline.expected_um(x, 0.04, n).expect("a number at the corner");
        whole(told.value) / whole(WALL_GLASS.um(u, v, n).hypot(more))
    })
}

/// Closed form: squared widths of one place add up. What is soft at one stop or as soft at all is not the lens.
/// What no clean tile showed at an f-number is not known there: a corner that is bad at f/2.8 was given half its blur from beside it.
#[test]
fn a_cell_without_a_sample_has_no_number() {
    for seed in 60..62 {
        let learned = learn_aperture_series(&refs(&one_wall(seed, |u, v, n| bad_corner_um(u, v, n) / PITCH))).unwrap();
        let known: Vec<u32> = learned.entries.iter().flat_map(|e| e.sigma_um.iter().flatten()).map(|e| e.n).collect();
        assert!(known.len() > 500 && known.iter().all(|n| *n > 0), "seed {seed}: a number from no sample");
    }
}

#[test]
fn what_is_as_soft_at_every_stop_or_soft_at_one_alone_is_not_the_lens() {
    let corner = |u: f64, v: f64| if bad_corner_um(u, v, 2.8) > 0.15 * BAD_UM { 1.0 } else { 0.0 };
    for seed in 70..73 {
        for one_stop in [false, true] {
            let soft = one_wall(seed, |u, v, n| if one_stop && n != 4.0 { 0.0 } else { 1.2 * corner(u, v) });
            let learned = learn_aperture_series(&refs(&soft)).unwrap();
            for n in [2.8, 5.6, 8.0] {
                if learned.expected_um(0.97, 0.04, n).is_some() {
                    let [right, left] = upper_corners(&learned, n, false);
                    assert!(
                        right < 1.2 && left < 1.15,
                        "seed {seed}, one stop {one_stop}, f/{n}: {right:.2} {left:.2}"
                    );
                }
            }
        }
    }
}

/// A baseline that has the truth of the lens with a bad corner, known to 4 %.
fn known_bad() -> Baseline {
    let (columns, rows) = (12, 8);
    let cell = |n: f64, i: u32| {
        let part = |k: u32, of: u32| (f64::from(k) + 0.5) / f64::from(of);
        let (u, v) = place(part(i % columns, columns) * f64::from(WIDTH), part(i / columns, rows) * f64::from(HEIGHT));
        let um = WALL_GLASS.um(u, v, n).hypot(bad_corner_um(u, v, n));
        Some(Estimate::new(um, 0.04 * um, 20))
    };
    let entry = |&n: &f64| lens::Entry {
        f_number: n,
        frames: 1,
        columns,
        rows,
        sigma_um: (0..columns * rows).map(|i| cell(n, i)).collect(),
    };
    Baseline {
        lens: "24mm f/2.8".into(),
        focal_length_mm: Some(24.0),
        frame_mm: Some((f64::from(WIDTH) * PITCH * 1e-3, f64::from(HEIGHT) * PITCH * 1e-3)),
        provisional: false,
        learned_from: LearnedFrom::ApertureSeries,
        entries: STOPS.iter().map(entry).collect(),
        curvature: None,
    }
}

/// A frame at f/4 of the lens with a bad corner, that corner's blur mirrored to the left if `left`.
fn frame_of_bad(lens: &Baseline, seed: u64, left: bool) -> tussock::diagnose::Diagnosis {
    let mut map = tile_map(WALL_GLASS, Take { n: 4.0, soft: 0.0, ..FLAT }, |_, _| 0.0, &mut Dice(seed));
    widened(&mut map, |u, v| bad_corner_um(if left { -u } else { u }, v, 4.0) / PITCH);
    diagnose(&map, &capture(4.0), Some(lens), &Intent::default())
}

#[test]
fn each_corner_is_judged_by_what_was_learned_of_that_very_corner() {
    use tussock::diagnose::ZoneName::{TopLeft, TopRight};
    let learned = known_bad();
    for seed in 400..403 {
        let known = frame_of_bad(&learned, seed, false);
        let c = known.corners;
        assert_eq!((c.state, c.corner, c.learned_one_sided), (CornerState::AsExpected, Some(TopRight), true), "{c:?}");
        assert!(known.lens_explains_corners());
        // As soft at the other side, where this lens is known to be sharp, it is not excused by the softer one.
        let c = frame_of_bad(&learned, seed, true).corners;
        assert_eq!(
            (c.state, c.corner, c.learned_one_sided),
            (CornerState::SofterThanExpected, Some(TopLeft), false),
            "{c:?}"
        );
    }
}

/// A sensor's own samples were never sharpened, whatever the edges in them look like.
#[test]
fn a_mosaic_is_not_left_out_as_sharpened() {
    let (mut map, capture) = series(Glass::PLAIN, 3).remove(0);
    map.overshoot = Some(Estimate::new(0.2, 0.01, 50));
    assert_eq!(lens::left_out(&map, &capture), Some(lens::LeftOut::Sharpened));
    map.mosaic = true;
    assert_eq!(lens::left_out(&map, &capture), None);
    let bare = Capture { f_number: None, ..capture };
    assert_eq!(lens::left_out(&map, &bare), Some(lens::LeftOut::NoFacts));
}

/// A sensor at an angle about the upright axis softens both sides by |u|, and leaves the middle of the upper and the lower edge sharp.
#[test]
fn two_sides_that_are_both_soft_are_not_called_even() {
    let folder = tempfile::tempdir().unwrap();
    let text = |wide: f64| {
        let mut baseline = learn_aperture_series(&refs(&one_wall(60, |u, _, n| wide * u.abs() * 2.8 / n))).unwrap();
        baseline.learned_from = LearnedFrom::FocusSeries;
        let file = folder.path().join(format!("{wide}.toml"));
        std::fs::write(&file, record::write(&baseline, "2026-11-25")).unwrap();
        let shown =
            std::process::Command::new(env!("CARGO_BIN_EXE_tussock")).args(["lens", "show"]).arg(&file).output();
        String::from_utf8(shown.unwrap().stdout).unwrap()
    };
    assert!(text(0.0).contains("Even: no side"), "{}", text(0.0));
    let tilted = text(3.0);
    assert!(tilted.contains("Both left and right are softer") && !tilted.contains("Even"), "{tilted}");
}

/// A lens learned on 36 x 24 mm, on a sensor of two thirds of its sides: the corner lies where r is 0.67 of the learned half diagonal,
/// and 0.67^2.5 is 0.36. Of 23.8 um in the far corner 9.5 um are left there, in pixels of 4 um.
#[test]
fn what_was_learned_is_asked_by_millimetres_on_the_sensor() {
    let (large, small) = (1.0, 2.0 / 3.0);
    let frame = |sensor: f64, n: f64, seed: u64| {
        let map = tile_map_on(sensor, STRONG, Take { n, ..FLAT }, |_, _| 0.0, &mut Dice(seed));
        (map, capture_on(sensor, n))
    };
    let taught = |sensor: f64| {
        let frames: Vec<_> = STOPS.iter().zip(21..).map(|(&n, seed)| frame(sensor, n, seed)).collect();
        learn_aperture_series(&refs(&frames)).unwrap()
    };
    let (by_large, by_small) = (taught(large), taught(small));
    let (width, height) = by_small.frame_mm.unwrap();
    assert!((width - 4.0 * PITCH).abs() < 1e-9 && (height - 2.667 * PITCH).abs() < 0.01, "{width} {height}");
    for seed in 300..303 {
        let judge = |lens: Option<&Baseline>, sensor: f64| {
            let (map, capture) = frame(sensor, 4.0, seed);
            diagnose(&map, &capture, lens, &Intent::default())
        };
        let found = judge(Some(&by_large), small);
        let expected_um = found.corners.expected_px.unwrap().value * small * PITCH;
        // The tiles of a corner lie from 0.8 to all of the half diagonal: 1.3 + 22.5 (0.53 to 0.67)^2.5.
        assert!(expected_um > 5.5 && expected_um < 10.0, "{expected_um}");
        assert_eq!((found.corners.state, found.corners.basis), (CornerState::AsExpected, Basis::Learned));
        assert!(!found.flags.contains(&Flag::LensContradicted), "{:?}", found.flags);
        assert_eq!(judge(Some(&by_small), small).corners.basis, Basis::Learned);
        // What was learned on the small sensor says nothing of the corners of a large one, nor of all of the frame.
        let (beyond, alone) = (judge(Some(&by_small), large), judge(None, large));
        assert_eq!(beyond.corners.basis, Basis::Assumed);
        assert_eq!(tussock::Diagnosis { corners: alone.corners, ..beyond }, alone);
        // A file of before sizes were kept is taken to fill any frame.
        let old = Baseline { frame_mm: None, ..by_small.clone() };
        assert_ne!(judge(Some(&old), large).corners, alone.corners);
    }
}

#[test]
fn frames_of_two_sensors_teach_one_lens_by_millimetres() {
    let frames: Vec<_> = STOPS
        .iter()
        .zip(21..)
        .flat_map(|(&n, seed)| {
            [1.0, 2.0 / 3.0].map(|sensor| {
                let map = tile_map_on(sensor, Glass::PLAIN, Take { n, ..FLAT }, |_, _| 0.0, &mut Dice(seed));
                (map, capture_on(sensor, n))
            })
        })
        .collect();
    let learned = learn_aperture_series(&refs(&frames)).unwrap();
    let (width, height) = learned.frame_mm.unwrap();
    assert!((width - 6.0 * PITCH).abs() < 1e-9 && (height - 4.0 * PITCH).abs() < 1e-9, "{width} {height}");
    for n in [2.8, 5.6, 11.0] {
        let error = corner_error(&learned, Glass::PLAIN, n);
        assert!(error < 0.1, "f/{n}: {error}");
    }
}

/// The bad corner is at the top right of the sensor. Its first row is the upright picture's right side and its last column the bottom in
/// orientation 6, left side and top in orientation 8.
#[test]
fn a_frame_is_judged_by_the_corner_of_the_sensor_however_the_camera_was_held() {
    use tussock::diagnose::ZoneName::{BottomLeft, BottomRight, TopLeft, TopRight};
    let learned = known_bad();
    for seed in 400..403 {
        let mut map = tile_map(WALL_GLASS, Take { n: 4.0, soft: 0.0, ..FLAT }, |_, _| 0.0, &mut Dice(seed));
        widened(&mut map, |u, v| bad_corner_um(u, v, 4.0) / PITCH);
        let judge = |held_as: u16, said: Option<u16>| {
            diagnose(&held(&map, held_as), &lying(&capture(4.0), said), Some(&learned), &Intent::default()).corners
        };
        for (orientation, corner) in [(1, TopRight), (3, BottomLeft), (6, BottomRight), (8, TopLeft)] {
            let c = judge(orientation, Some(orientation));
            let said = (c.state, c.corner, c.learned_one_sided);
            assert_eq!(said, (CornerState::AsExpected, Some(corner), true), "{orientation} {c:?}");
        }
        // Held the other way that corner is a sharp one, so the frame shows another lens.
        assert_eq!(judge(8, Some(6)).state, CornerState::SofterThanExpected);
        // Where nobody says which way it was held it may be either, and is another lens by neither.
        for orientation in [6, 8] {
            let c = judge(orientation, None);
            assert_eq!((c.state, c.learned_one_sided), (CornerState::AsExpected, false), "{orientation} {c:?}");
        }
    }
}

#[test]
fn a_lens_is_learned_as_it_sits_on_the_sensor() {
    let plain = series(Glass { lopsided: 0.4, ..Glass::PLAIN }, 3);
    let lean = |orientations: [u16; 2]| {
        let turned = |(k, (map, capture)): (usize, &(TileMap, Capture))| {
            let orientation = orientations[k % 2];
            (held(map, orientation), lying(capture, Some(orientation)))
        };
        let frames: Vec<_> = plain.iter().enumerate().map(turned).collect();
        let found = lens::asymmetries(&learn_aperture_series(&refs(&frames)).unwrap());
        found.iter().find(|a| a.sides == Sides::RightLeft && a.f_number == 2.8).unwrap().difference_um.value
    };
    let level = lean([1, 1]);
    assert!(level > 1.0, "{level}");
    for orientations in [[3, 3], [1, 3], [6, 8], [1, 6]] {
        let other = lean(orientations);
        assert!((other - level).abs() < 0.01, "{orientations:?}: {other} for {level}");
    }
    // A tall picture that does not say how it was held, or is stored tall, teaches nothing.
    for said in [None, Some(1)] {
        let tall = held(&plain[0].0, 6);
        assert_eq!(lens::left_out(&tall, &lying(&plain[0].1, said)), Some(lens::LeftOut::Portrait));
    }
}

/// A field that goes by the distance from the middle alone, 1.2 + 6 r^2.5 um, known to 2 % where `known` says (column, row of 12 by 8).
fn centred(frame_mm: Option<(f64, f64)>, shape: (f64, f64), known: impl Fn(u32, u32) -> bool) -> Baseline {
    let cell = |i: u32| {
        let (column, row) = (i % 12, i / 12);
        let part = |k: u32, of: u32| (f64::from(k) + 0.5) / f64::from(of) - 0.5;
        let (x, y) = (part(column, 12) * shape.0, part(row, 8) * shape.1);
        let um = 1.2 + 6.0 * (2.0 * x.hypot(y) / shape.0.hypot(shape.1)).powf(2.5);
        known(column, row).then(|| Estimate::new(um, 0.02 * um, 20))
    };
    let entry = lens::Entry { f_number: 4.0, frames: 9, columns: 12, rows: 8, sigma_um: (0..96).map(cell).collect() };
    Baseline { frame_mm, entries: vec![entry], ..known_bad() }
}

/// Each cell has its mirror image's number, so every difference that is told must be nought, whatever is unknown.
#[test]
fn a_lens_in_line_has_no_soft_side_where_part_of_its_field_is_unknown() {
    let skies: [fn(u32, u32) -> bool; 4] = [
        |_, row| row >= 2,
        |column, row| row >= 3 || row == 2 && (1..11).contains(&column),
        |column, row| column >= 3 || row >= 2 || (column, row) == (2, 1),
        |column, _| column < 10,
    ];
    for (k, known) in skies.into_iter().enumerate() {
        let found = lens::asymmetries(&centred(None, (3.0, 2.0), known));
        assert!(!found.is_empty() && found.iter().all(|a| a.difference_um.value.abs() < 1e-9), "{k}: {found:?}");
        let told = |sides: Sides| found.iter().any(|a| a.sides == sides);
        // Of the upper third and of the top left corner too little is left to set against the other; half of the right third does.
        assert_eq!(told(Sides::BottomTop), k >= 2, "{k}");
        assert!(told(Sides::RightLeft) && !told(Sides::BottomRightTopLeft), "{k}");
    }
    let whole = lens::asymmetries(&centred(None, (3.0, 2.0), |_, _| true));
    assert!(whole.len() == 4 && whole.iter().all(|a| a.difference_um.value.abs() < 1e-9), "{whole:?}");
}

fn shown(baseline: &Baseline, more: &[&str]) -> String {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("lens.toml");
    std::fs::write(&file, record::write(baseline, "2026-11-25")).unwrap();
    let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_tussock"));
    String::from_utf8(command.args(["lens", "show"]).arg(&file).args(more).output().unwrap().stdout).unwrap()
}

/// On a frame of 4:3 the edges above and below lie farther out than on one of 3:2: places taken for equally far from the middle are not,
/// and the field, which goes by the distance alone, has 2.4 um above and below where it has 2.1 um right and left.
#[test]
fn sides_are_compared_on_a_circle_of_the_true_frame() {
    let of = |frame: Option<(f64, f64)>| shown(&centred(frame, (17.3, 13.0), |_, _| true), &[]);
    let (true_shape, unknown) = (of(Some((17.3, 13.0))), of(None));
    assert!(true_shape.contains("Even: no side") && true_shape.contains("17.3 x 13.0 mm"), "{true_shape}");
    assert!(unknown.contains("Both top and bottom") && unknown.contains("taken to fill any frame"), "{unknown}");
    let half = shown(&centred(None, (3.0, 2.0), |_, row| row >= 2), &[]);
    assert!(half.contains("Even as far as both sides are known: no side"), "{half}");
}

#[test]
fn the_size_of_the_frame_is_kept_and_what_lacks_it_still_serves() {
    let learned = learn_aperture_series(&refs(&series(Glass::PLAIN, 5))).unwrap();
    let text = record::write(&learned, "2026-11-25");
    assert_eq!(record::read(&text).unwrap().frame_mm, Some((35.64, 23.76)));
    let json: serde_json::Value = serde_json::from_str(&shown(&learned, &["--json"])).unwrap();
    assert_eq!(json["frame_mm"], serde_json::json!([35.64, 23.76]));
    let size = &text[text.find("\nframe_mm").unwrap()..text.find("learned_from").unwrap()];
    let old = record::read(&text.replace(size, "\n")).unwrap();
    assert_eq!((old.frame_mm, old.entries.len()), (None, 7));
    assert!(serde_json::from_str::<serde_json::Value>(&shown(&old, &["--json"])).unwrap()["frame_mm"].is_null());
    for bad in ["[0.0, 24.0]", "[36.0, nan]", "[36.0]"] {
        assert!(record::read(&text.replace(size, &format!("\nframe_mm = {bad}\n"))).is_err(), "{bad}");
    }
}

/// The right quarter never comes to focus: there blur tells of defocus, and not of the lens.
#[test]
fn a_focus_series_says_nothing_of_where_it_never_focused() {
    let mut dice = Dice(7);
    let n = 4.0;
    let frames: Vec<(TileMap, Capture)> = (0..11)
        .map(|i| {
            let shift = 24.0 * f64::from(i) - 120.0;
            let disc = |u: f64, _: f64| (shift - if u > 0.4 { 400.0 } else { 0.0 }) / (n * PITCH);
            (tile_map(Glass::PLAIN, Take { n, ..FLAT }, disc, &mut dice), capture(n))
        })
        .collect();
    let learned = learn_focus_series(&refs(&frames)).unwrap();
    let entry = &learned.entries[0];
    let known = |column: u32| (0..8).filter(|row| entry.sigma_um[(row * 12 + column) as usize].is_some()).count();
    assert_eq!((known(0), known(5), known(11)), (8, 8, 0));
    assert!(entry.sigma_um.iter().flatten().all(|e| e.n > 0), "a number from no sample");
}
