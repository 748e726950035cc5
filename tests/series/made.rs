//! Series made by hand or integrated from the pupil, and one that is answered.

use std::f64::consts::FRAC_PI_2;

use tussock::measure::register::Similarity;
use tussock::quantity::{Estimate, Region};
use tussock::series::{Answer, Blurs, NoteKind, Point, Varied, ZoneBlur, ZoneName, aperture};
use tussock::simulate::Psf;

pub const STOPS: [f64; 7] = [2.8, 4.0, 5.6, 8.0, 11.0, 16.0, 22.0];

/// A zone whose widths the simulator integrates from the pupil: defocus falls with N, softness with N^1.5.
fn zone(name: ZoneName, stops: &[f64], pitch: f64, defocus_um: f64, soft: f64) -> ZoneBlur {
    let points = stops
        .iter()
        .enumerate()
        .map(|(frame, &n)| {
            let rest = 0.25f64.hypot(soft * (2.8 / n).powf(1.5));
            let width = Psf::lens(n, pitch, defocus_um / n).softened(rest, rest, 0.0).truth().sigma;
            // One per cent of error, alternating.
            let error = if (frame + name as usize).is_multiple_of(2) { 1.01 } else { 0.99 };
            Point { frame, blur: Estimate::new(width * error, 0.05 * width, 9), apart_sd: 0.01 * width }
        })
        .collect();
    ZoneBlur { name, points, tiles: 9, of: 9 }
}

pub fn aperture_series() -> (Vec<ZoneBlur>, Vec<Option<f64>>, f64) {
    let pitch = 4.35;
    let zones = vec![
        zone(ZoneName::Near, &STOPS, pitch, 60.0, 0.3),
        zone(ZoneName::Centre, &STOPS, pitch, 0.0, 0.4),
        zone(ZoneName::TopLeft, &STOPS, pitch, 10.0, 2.5),
    ];
    (zones, STOPS.iter().map(|&n| Some(n)).collect(), pitch)
}

/// A bracket over a strip of tiles from far (top) to near: frame k is sharp about tile 2 k.
pub fn strip(frames: usize, tiles: usize) -> (Blurs, Vec<Region>) {
    let width = |k: usize, t: usize| (0.36 + (0.35 * (t as f64 - 2.0 * k as f64)).powi(2)).sqrt();
    let sigma = (0..frames).map(|k| (0..tiles).map(|t| Some(Estimate::new(width(k, t), 0.02, 4))).collect()).collect();
    let blurs = Blurs {
        sigma,
        apart_sd: vec![vec![0.02; tiles]; frames],
        from_middle: vec![vec![(0.0, 0.0); tiles]; frames],
        at_least: vec![vec![false; tiles]; frames],
        anchor_sd: vec![0.05; tiles],
        moved: vec![0; frames],
    };
    let regions = (0..tiles).map(|t| Region { x: 0, y: 50 * t as u32, width: 50, height: 50 }).collect();
    (blurs, regions)
}

/// An answered aperture series, made once: its fit takes half a second.
pub fn answered() -> Answer {
    static ANSWERED: std::sync::OnceLock<Answer> = std::sync::OnceLock::new();
    ANSWERED.get_or_init(answered_anew).clone()
}

fn answered_anew() -> Answer {
    let (zones, f_numbers, pitch) = aperture_series();
    Answer {
        files: (0..7).map(|i| format!("<b>moor & {i}.tif")).collect(),
        apertures: Some(aperture::answer(&zones, &f_numbers, Some(pitch), 1.3)),
        f_numbers,
        pitch_um: Some(pitch),
        varied: Varied::Aperture,
        zones,
        parts: Vec::new(),
        bracket: None,
        sharpest: None,
        between: Vec::new(),
        deepest_first: None,
        blurs: strip(7, 0).0,
        tiles: Vec::new(),
        size: (6000, 4000),
        permitted_px: 1.3,
        notes: vec![
            (Some(2), NoteKind::SameStop),
            (None, NoteKind::MissingStop(5.6, 11.0)),
            (None, NoteKind::SoftContent(1)),
        ],
        moved: vec![0.0; 7],
        // A turn of a quarter about the origin carries the middle of the picture from (3000, 2000) to (-2000, 3000).
        laid: (0..7)
            .map(|k| match k {
                0 => Some(Similarity::still()),
                1 => Some(Similarity { angle: FRAC_PI_2, ..Similarity::still() }),
                _ => None,
            })
            .collect(),
    }
}
