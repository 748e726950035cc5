//! A hand-written shoot for the report's tests: maps follow a flat moor seen through a thin lens, so that the
//! numbers hang together, but no picture was measured.

use tussock::diagnose::{
    Basis, Budget, Cause, CornerState, Corners, Diagnosis, FrameModel, Implied, ImpliedDistance, Standing, Unsettled,
    Verdict, Zone, ZoneName,
};
use tussock::judge::{Answer, Reason, above};
use tussock::measure::{Tile, TileMap, TileState};
use tussock::quantity::{DISC_SIGMA, Distance, Estimate, Flag, Intent, Point};
use tussock::report::series::{BestView, LaidView, PointView, SeriesGroupView, SeriesZoneView};
use tussock::report::{FailureView, Frame, Run};
use tussock::shot::{Capture, Fact, Source};

/// What goes wrong in a frame of the shoot.
#[derive(Clone, Copy)]
pub struct Fault {
    pub cause: Cause,
    /// Signed blur disc at the bottom edge and of the far scene, px.
    pub near_disc: f64,
    pub far_disc: f64,
    pub motion: f64,
    /// Lens blur in the corners, Gaussian-equivalent sigma, px.
    pub corner: f64,
    pub f_number: f64,
}

pub const FAULTS: [Fault; 8] = [
    Fault { cause: Cause::SharpThroughout, near_disc: 1.9, far_disc: -1.7, motion: 0.0, corner: 0.5, f_number: 11.0 },
    Fault { cause: Cause::FocusTooFar, near_disc: 8.4, far_disc: -0.3, motion: 0.0, corner: 0.6, f_number: 8.0 },
    Fault { cause: Cause::FocusTooNear, near_disc: 0.8, far_disc: -9.0, motion: 0.0, corner: 0.6, f_number: 8.0 },
    Fault { cause: Cause::TooLittleDepth, near_disc: 7.0, far_disc: -6.2, motion: 0.0, corner: 0.9, f_number: 4.0 },
    Fault { cause: Cause::Diffraction, near_disc: 1.0, far_disc: -0.9, motion: 0.0, corner: 0.4, f_number: 22.0 },
    Fault { cause: Cause::Motion, near_disc: 1.8, far_disc: -1.6, motion: 1.6, corner: 0.5, f_number: 11.0 },
    Fault { cause: Cause::LensAsymmetry, near_disc: 1.8, far_disc: -1.6, motion: 0.0, corner: 2.4, f_number: 8.0 },
    Fault { cause: Cause::CannotTell, near_disc: 2.0, far_disc: -2.0, motion: 0.0, corner: 0.5, f_number: 11.0 },
];

const W: u32 = 3000;
const H: u32 = 2000;
const COLUMNS: u32 = 24;
const ROWS: u32 = 16;
const HORIZON: f64 = 0.38;
const PITCH: f64 = 5.94;

/// A frame of the shoot.
pub fn frame(file: &str, fault: &Fault, seed: u32, intent: &Intent) -> Frame {
    let mut noise = Noise(seed.wrapping_mul(2_654_435_761).max(1));
    let permitted = tussock::judge::permitted_px(intent.sharp_for, W, H);
    let half_diagonal = f64::from(W).hypot(f64::from(H)) / 2.0;
    let blind = matches!(fault.cause, Cause::CannotTell);
    let (mut tiles, mut standing, mut budgets) = (Vec::new(), Vec::new(), Vec::new());
    for row in 0..ROWS {
        for column in 0..COLUMNS {
            let (x, y) = (column * W / COLUMNS, row * H / ROWS);
            let (width, height) = ((column + 1) * W / COLUMNS - x, (row + 1) * H / ROWS - y);
            let (cx, cy) = (f64::from(x + width / 2), f64::from(y + height / 2));
            let fy = cy / f64::from(H);
            let radius = (cx - f64::from(W) / 2.0).hypot(cy - f64::from(H) / 2.0) / half_diagonal;
            let side = if matches!(fault.cause, Cause::LensAsymmetry) && cx < f64::from(W) / 2.0 { 0.2 } else { 1.0 };
            let lens = 0.2 + fault.corner * side * radius.powi(3);
            let down = ((fy - HORIZON) / (1.0 - HORIZON)).clamp(0.0, 1.0);
            let disc = fault.far_disc + (fault.near_disc - fault.far_disc) * down;
            let defocus = DISC_SIGMA * disc.abs();
            // 0.46387 lambda N over the pitch: the MTF50 equivalent of design/numbers at 550 nm.
            let diffraction = 0.463_87 * 0.55 * fault.f_number / PITCH;
            let total =
                (0.31f64.powi(2) + diffraction.powi(2) + defocus.powi(2) + lens.powi(2) + fault.motion.powi(2)).sqrt();
            let kind = noise.next();
            let sky = fy < HORIZON - 0.08;
            let state = if sky && kind < 0.75 {
                TileState::NoDetail
            } else if kind < 0.06 {
                TileState::AtLeast
            } else if kind > 0.985 {
                TileState::Clipped
            } else if blind && fy > 0.45 {
                TileState::Noisy
            } else {
                TileState::Measured
            };
            let soft = sky && state == TileState::Measured;
            let sd = 0.05 * total + 0.01;
            let value = if soft { total + 1.5 + 2.0 * noise.next() } else { total + sd * noise.normal() };
            let measured = state == TileState::Measured;
            tiles.push(Tile {
                x,
                y,
                width,
                height,
                state,
                contrast: 0.02 + 0.3 * noise.next(),
                noise: 0.002,
                level: 0.2,
                blur: measured.then(|| Estimate::new(value.max(0.3), sd, 12)),
                alone: None,
                bound: (state == TileState::AtLeast).then_some(0.6),
                spread: None,
            });
            standing.push(match () {
                () if !measured => Standing::Unmeasured,
                () if soft => Standing::SoftContent,
                () if fy < HORIZON => Standing::Far,
                () if kind > 0.96 => Standing::Nearer,
                () => Standing::Ground,
            });
            budgets.push(Some(Budget {
                pixel: 0.31,
                diffraction: Some(diffraction),
                defocus: Estimate::new(defocus, 0.05, 20),
                lens: Estimate::new(lens, 0.1, 20),
                motion: Estimate::new(fault.motion, 0.05, 20),
                total,
            }));
        }
    }
    let map = TileMap {
        width: W,
        height: H,
        columns: COLUMNS,
        rows: ROWS,
        tiles,
        common: None,
        overshoot: None,
        streak: None,
        clipped_share: 0.01,
        layers: Vec::new(),
        enlarged: false,
        mosaic: false,
    };
    let zones = ZoneName::JUDGED.iter().map(|&name| zone(name, &map, &standing, &budgets, permitted)).collect();
    let focus_down = -fault.far_disc / (fault.near_disc - fault.far_disc);
    let line = HORIZON + focus_down * (1.0 - HORIZON);
    let aspect = f64::from(H) / f64::from(W).hypot(f64::from(H));
    let diagnosis = Diagnosis {
        verdict: Verdict {
            cause: fault.cause,
            confidence: 0.93,
            also: if fault.motion > 0.0 { vec![Cause::Diffraction] } else { Vec::new() },
            weights: vec![(fault.cause, 0.93), (Cause::CannotTell, 0.07)],
            unsettled: blind.then_some(Unsettled::NearUnmeasured),
        },
        zones,
        corners: Corners {
            state: if fault.corner > 2.0 { CornerState::SofterThanExpected } else { CornerState::AsExpected },
            basis: Basis::Assumed,
            corner: None,
            expected_px: Some(Estimate::new(0.9, 0.4, 1)),
            excess_px: (fault.corner > 2.0).then(|| Estimate::new(1.7, 0.3, 4)),
            learned_one_sided: false,
            field_curvature: None,
        },
        permitted_px: permitted,
        finest_px: 0.0,
        model: (!blind).then(|| FrameModel {
            disc_px: Estimate::new(
                fault.far_disc + (fault.near_disc - fault.far_disc) * (0.5 - HORIZON) / (1.0 - HORIZON),
                0.2,
                90,
            ),
            disc_down_px: Estimate::new((fault.near_disc - fault.far_disc) / (1.0 - HORIZON) / aspect, 0.3, 90),
            disc_right_px: Estimate::new(0.0, 0.3, 90),
            disc_far_px: Estimate::new(fault.far_disc, 0.2, 40),
            horizon: (HORIZON - 0.5) * aspect,
            lens_centre_px: Estimate::new(0.2, 0.1, 90),
            lens_corner_px: Estimate::new(0.2 + fault.corner, 0.2, 90),
            motion_px: Estimate::new(fault.motion / 0.31, 0.2, 90),
            doubled_px: None,
            motion_angle: (fault.motion > 0.0).then_some(0.4),
            lambda_n_px: Some(0.55 * fault.f_number / PITCH),
            focus_line: (0.0..=1.0).contains(&line).then_some([Point { x: 0.0, y: line }, Point { x: 1.0, y: line }]),
            chi_square: 1.1,
        }),
        standing,
        budgets,
        implied: Implied {
            focus_m: Some(ImpliedDistance { value: 4.1, low: 3.4, high: 5.2 }),
            near_m: Some(ImpliedDistance { value: 1.5, low: 1.3, high: 1.8 }),
            recorded_m: Some(Distance::Interval { low: 3.2, high: 4.9 }),
            right_focus_m: Some(2.9),
            right_blur_px: Some(1.6),
            best_f_number: Some(13.0),
            root_square_f_number: Some(11.0),
            step_back_m: None,
        },
        near_at: None,
        far_at: None,
        flags: Vec::new(),
    };
    Frame {
        file: file.into(),
        capture: Capture {
            f_number: Some(Fact::new(fault.f_number, Source::Exif)),
            focal_length_mm: Some(Fact::new(24.0, Source::Exif)),
            focal_length_35mm: None,
            exposure_s: Some(Fact::new(1.0 / 60.0, Source::Exif)),
            iso: Some(Fact::new(100.0, Source::Exif)),
            body: Some(Fact::new("Field camera".into(), Source::Exif)),
            lens: Some(Fact::new("Wide 24 mm".into(), Source::Exif)),
            date: Some(Fact::new(format!("2026-05-{:02}T06:{:02}:00", 1 + seed % 28, seed % 60), Source::Exif)),
            focus_distance_m: Some(Fact::new(Distance::Interval { low: 3.2, high: 4.9 }, Source::MakerNote)),
            focus_point: Some(Fact::new(Point { x: 0.5, y: 0.62 }, Source::MakerNote)),
            focus_mode: None,
            pixel_pitch_um: Some(Fact::new(PITCH, Source::Derived)),
            orientation: None,
        },
        flags: vec![Flag::PitchAssumed],
        map,
        diagnosis,
        group: None,
    }
}

fn zone(name: ZoneName, map: &TileMap, standing: &[Standing], budgets: &[Option<Budget>], permitted: f64) -> Zone {
    let inside = |i: usize| {
        let (fx, fy) = (map.tiles[i].centre().0 / f64::from(W), map.tiles[i].centre().1 / f64::from(H));
        match name {
            ZoneName::Near => fy > 0.8 && (0.2..0.8).contains(&fx),
            ZoneName::Far => (HORIZON - 0.08..HORIZON + 0.06).contains(&fy),
            ZoneName::Centre | ZoneName::MidFrame => (0.4..0.6).contains(&fx) && (0.4..0.6).contains(&fy),
            ZoneName::TopLeft => fx < 0.13 && fy < 0.19,
            ZoneName::TopRight => fx > 0.87 && fy < 0.19,
            ZoneName::BottomLeft => fx < 0.13 && fy > 0.81,
            ZoneName::BottomRight => fx > 0.87 && fy > 0.81,
            // Depths of a series, which this shoot has none of.
            ZoneName::Subject | ZoneName::Beside | ZoneName::Beyond | ZoneName::Still => false,
        }
    };
    let tiles: Vec<u32> = (0..map.tiles.len()).filter(|&i| inside(i)).map(|i| i as u32).collect();
    let mut credible: Vec<Estimate> = tiles
        .iter()
        .filter(|&&i| standing[i as usize] != Standing::SoftContent)
        .filter_map(|&i| map.tiles[i as usize].blur)
        .collect();
    credible.sort_by(|a, b| a.value.total_cmp(&b.value));
    credible.truncate((credible.len() / 2).max(1));
    let n = credible.len() as u32;
    let blur = (n > 0).then(|| {
        let mean = credible.iter().map(|e| e.value).sum::<f64>() / f64::from(n);
        Estimate::new(mean, credible[0].sd / f64::from(n).sqrt(), n)
    });
    let optical = blur.map(tussock::judge::optical);
    Zone {
        name,
        used: n,
        blur_px: blur,
        optical_px: optical,
        soft: optical.map(|o| above(o, permitted)),
        answer: optical.map_or(Answer::unknown(Reason::NoDetail), |o| Answer::by(o, permitted, 0.0)),
        budget: tiles.first().and_then(|&i| budgets[i as usize]),
        tiles,
    }
}

/// The file of a frame of the shoot.
pub fn name(i: usize) -> String {
    format!("moor/T{:04}.jpg", i + 1)
}

/// A frame of the shoot.
pub fn nth(i: usize, intent: &Intent) -> Frame {
    frame(&name(i), &FAULTS[i % FAULTS.len()], i as u32 + 1, intent)
}

/// A shoot of `count` frames, the faults in turn.
pub fn shoot(count: usize) -> Run {
    let intent = Intent::default();
    Run {
        frames: (0..count).map(|i| nth(i, &intent)).collect(),
        failures: vec![FailureView {
            file: "moor/T9999.jpg".into(),
            problem: "the file ends in the middle of the picture".into(),
            advice: "Copy it from the card again.".into(),
            detail: None,
            stand_in: None,
        }],
        intent,
        ..Run::default()
    }
}

/// Two frames of one scene at two apertures, the second to keep, where the scene lies 12 px to the right and 7 px higher.
pub fn two_apertures(files: [&str; 2], sentence: &str) -> SeriesGroupView {
    let laid = |file: &str, x: f64, y: f64| LaidView {
        file: file.into(),
        shift_x_px: Some(x),
        shift_y_px: Some(y),
        scale: Some(1.0),
        turned_degrees: Some(0.0),
    };
    let point = |k: usize, blur: f64| PointView {
        file: files[k].into(),
        f_number: Some([4.0, 11.0][k]),
        blur_px: Some(blur),
        blur_px_sd: Some(0.05),
        blur_px_sd_apart: Some(0.03),
    };
    let zone = |zone: ZoneName, blurs: [f64; 2]| SeriesZoneView {
        zone,
        points: vec![point(0, blurs[0]), point(1, blurs[1])],
        best_f_number: Some(11.0),
        within_5_percent: Some(vec![11.0]),
        tiles: 9,
    };
    SeriesGroupView {
        varied: tussock::series::Varied::Aperture,
        deepest_first: None,
        members: files.map(Into::into).into(),
        sentence: sentence.into(),
        zones: vec![zone(ZoneName::Centre, [1.1, 0.9]), zone(ZoneName::TopLeft, [1.9, 1.2])],
        best_whole_frame: Some(BestView { file: files[1].into(), f_number: Some(11.0), confidence: Some(0.9) }),
        whole_frame_alike: Some(Vec::new()),
        whole_frame_within_5_percent: Some(vec![11.0]),
        whole_frame_leaves_out: Some(Vec::new()),
        best_single: None,
        best_single_confidence: None,
        best_single_as_good: None,
        covering_set: None,
        covering_set_instead: None,
        between: None,
        uncovered: None,
        sharpest: None,
        split: None,
        focus_shift: None,
        permitted_px: None,
        notes: Vec::new(),
        laid: vec![laid(files[0], 0.0, 0.0), laid(files[1], 12.0, -7.0)],
    }
}

/// Small reproducible noise (xorshift32, Marsaglia 2003).
struct Noise(u32);

impl Noise {
    fn next(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 17;
        self.0 ^= self.0 << 5;
        f64::from(self.0) / f64::from(u32::MAX)
    }
    /// About normal: the sum of twelve uniform numbers less six.
    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.next()).sum::<f64>() - 6.0
    }
}
