//! Plans against closed forms, the exact integral and themselves turned round; the command line's refusals.

#[path = "support/waves.rs"]
mod waves;

use std::process::Command;

use proptest::prelude::*;
use tussock::optics::{WAVELENGTH_UM, thin_lens};
use tussock::plan::{Plan, Question, Refusal, Sensor, near_ground_m, plan};
use tussock::quantity::{DISC_SIGMA, Distance, MTF50_SIGMA, SharpFor, parse_distance, parse_length};
use tussock::shot::{Fact, Source};
use tussock::simulate::recipes;
use waves::frequency_at;

fn question(near_m: f64, far_m: f64, focal_mm: f64) -> Question {
    Question {
        near_m,
        far_m,
        focal_mm,
        f_number: None,
        smallest: 64.0,
        sensor: Fact::new(Sensor::FULL_FRAME, Source::Assumed),
        pitch_um: Fact::new(5.94, Source::Given),
        height_m: None,
        down_rad: None,
        sharp_for: SharpFor::Diagonal1500,
        speed_m_s: None,
    }
}

fn plan_of(question: &Question) -> Plan {
    plan(question).unwrap()
}

/// Working f-number of a lens focused at a distance: N (1 + m) = N s / (s - f), as any handbook has it.
fn working(f_number: f64, focal_mm: f64, focus_m: f64) -> f64 {
    f_number * focus_m * 1e3 / (focus_m * 1e3 - focal_mm)
}

/// Optical blur at a working f-number and a disc by bisection on direct quadrature: nothing of the fast path.
fn direct_um(f_number: f64, disc_um: f64) -> f64 {
    let lambda_n = WAVELENGTH_UM * f_number;
    MTF50_SIGMA * lambda_n / frequency_at(0.5, disc_um / (8.0 * lambda_n))
}

#[test]
fn the_sheet_s_example() {
    // Two routes outside this crate: 24 mm, 1.5 m to infinity: dv 0.3902 mm, best f/13.7 as the working f-number; at
    // f/11 focused at 3 m both discs are 17.5953 um. Root-square: sqrt(375 dv) (Hansma 1996, from memory). Marked
    // f-numbers are smaller by the geometric mean of both image distances over f, sqrt(1.5 / 1.476) here.
    let plan = plan(&question(1.5, f64::INFINITY, 24.0)).unwrap();
    assert!((plan.focus_distance_m - 3.0).abs() < 1e-12);
    assert!((plan.focus_spread_mm - 0.3902).abs() < 5e-5);
    let close = (1.5f64 / 1.476).sqrt();
    assert!((plan.best_f_number.unwrap() * close - 13.7).abs() < 0.05);
    assert!((plan.root_square_f_number.unwrap() * close - (375.0f64 * 0.39024).sqrt()).abs() < 1e-3);
    let f11 = plan.stops.iter().find(|s| s.f_number == 11.0).unwrap();
    assert!((f11.near_disc_um - 17.5953).abs() < 5e-5 && (f11.far_disc_um - 17.5953).abs() < 5e-5);
    assert_eq!(plan.best_stop, 14.0);
    // Permitted: diagonal / 1500 = 28.844 um (common practice), as a sigma 0.265769 of it.
    assert!((plan.permitted_disc_um - 36f64.hypot(24.0) / 1.5).abs() < 1e-9);
    assert!((plan.permitted_sigma_um - DISC_SIGMA * plan.permitted_disc_um).abs() < 1e-12);
    // The hyperfocal distance at f/11 for that disc, by the handbook's formula.
    let h = 576.0 / (11.0 * plan.permitted_disc_um * 1e-3) + 24.0;
    assert!((f11.hyperfocal_m * 1e3 - h).abs() < 1e-9);
}

#[test]
fn every_stop_comes_from_the_exact_integral() {
    let plan = plan(&question(1.2, f64::INFINITY, 24.0)).unwrap();
    for s in plan.stops.iter().filter(|s| s.f_number >= 4.0) {
        let exact = direct_um(working(s.f_number, 24.0, 2.4), s.near_disc_um);
        assert!((s.worst_optical_um / exact - 1.0).abs() < 1e-3, "{s:?}: {exact}");
        assert_eq!(s.acceptable, s.worst_optical_um <= plan.permitted_sigma_um);
        assert!(s.near_blur_px > s.focus_blur_px && (s.near_blur_px - s.far_blur_px).abs() < 1e-9);
        assert!((s.near_blur_um - s.near_blur_px * 5.94).abs() < 1e-12);
    }
    // Pixel and diffraction alone at f/8 and a pitch of 5.94 um: MTF50 .382 (two routes), focused too far off for
    // the working f-number to differ.
    let far = plan_of(&question(1e3, f64::INFINITY, 24.0));
    let f8 = far.stops.iter().find(|s| s.f_number == 8.0).unwrap();
    assert!((MTF50_SIGMA / f8.focus_blur_px - 0.382).abs() < 5e-4);
}

#[test]
fn the_best_is_the_best_and_its_range_is_its_range() {
    let plan = plan(&question(0.9, 12.0, 35.0)).unwrap();
    let (best, [low, high]) = (plan.best_f_number.unwrap(), plan.within_5_percent.unwrap());
    let disc = |n: f64| thin_lens::disc_mm(35.0, n, plan.focus_distance_m * 1e3, 900.0).abs() * 1e3;
    let blur = |n: f64| direct_um(working(n, 35.0, plan.focus_distance_m), disc(n));
    for n in [0.5, 0.8, 0.95, 0.98, 1.02, 1.05, 1.2, 2.0] {
        assert!(blur(best) <= blur(n * best), "f/{best} against f/{}", n * best);
    }
    for edge in [low, high] {
        assert!((blur(edge) / blur(best) - 1.05).abs() < 2e-3);
    }
    assert!(low < plan.root_square_f_number.unwrap() && plan.root_square_f_number.unwrap() < best && best < high);
    let excess = blur(plan.root_square_f_number.unwrap()) / blur(best) - 1.0;
    assert!((plan.root_square_excess.unwrap() - excess).abs() < 1e-3);
    assert!(plan.stops.iter().all(|s| blur(plan.best_stop) <= 1.0001 * blur(s.f_number)));
    let table = plan.hyperfocal.unwrap();
    assert!((disc(table.f_number) - plan.permitted_disc_um).abs() < 1e-6);
}

#[test]
fn close_up_the_marked_f_number_is_smaller() {
    // 100 mm from 25 to 27 cm: images at 166.667 and 158.824 mm, dv 7.843 mm, focus at 259.6 mm, m 0.6265. Close-up
    // rules divide by 1 + m: sqrt(375 dv) / (1 + m) = 33.34, and by the exact integral 21.9 sqrt(dv) / (1 + m) = 37.7.
    let close = plan_of(&question(0.25, 0.27, 100.0));
    assert!((close.magnification - 0.6265).abs() < 5e-5);
    assert!((close.root_square_f_number.unwrap() - 33.34).abs() < 0.05);
    assert!((close.best_f_number.unwrap() - 37.7).abs() < 0.1);
    // A rule is never sharper than the best there is, nor any stop, however near and deep: by direct quadrature.
    for (near, far, focal) in [(0.25, 0.27, 100.0), (0.12, f64::INFINITY, 100.0), (0.06, 0.4, 50.0)] {
        let plan = plan_of(&question(near, far, focal));
        assert!(plan.root_square_excess.unwrap() > 0.0 && plan.hyperfocal.unwrap().over_best.unwrap() >= 1.0);
        let best = plan.best_f_number.unwrap();
        let disc = |n: f64| thin_lens::disc_mm(focal, n, plan.focus_distance_m * 1e3, near * 1e3).abs() * 1e3;
        let blur = |n: f64| direct_um(working(n, focal, plan.focus_distance_m), disc(n));
        assert!([0.9, 0.97, 1.03, 1.1].iter().all(|x| blur(best) < blur(x * best)), "{near} {far} {focal}");
    }
}

#[test]
fn stepping_back_does_what_it_says() {
    let asked = question(0.4, f64::INFINITY, 35.0);
    let before = plan(&asked).unwrap();
    assert!(!before.enough);
    let back = before.step_back.needed_m.unwrap();
    let at = |near: f64| plan(&Question { near_m: near, ..asked.clone() }).unwrap();
    assert!(at(0.4 + 1.0001 * back).enough && !at(0.4 + 0.98 * back).enough);
    // Image size goes as 1 / (Z - f).
    let size = (400.0 - 35.0) / (400.0 + 1e3 * back - 35.0);
    assert!((before.step_back.near_size.unwrap() - size).abs() < 1e-9);
    let rows = &before.step_back.table;
    assert_eq!(rows.iter().map(|r| r.back_m).collect::<Vec<_>>(), [0.15, 0.30, 0.60]);
    for row in rows {
        let there = at(0.4 + row.back_m);
        assert_eq!((row.best_f_number, row.best_stop), (there.best_f_number, there.best_stop));
        assert_eq!(row.acceptable, there.enough);
        assert!((row.focus_distance_m - there.focus_distance_m).abs() < 1e-12);
    }
    // For a use that diffraction alone forbids nowhere, a near subject that fits needs no step.
    assert_eq!(at(3.0).step_back.needed_m, Some(0.0));
}

#[test]
fn no_remedy_asks_for_a_stop_that_the_lens_lacks() {
    // 24 mm at f/11, far end infinite: the disc at the ends is f^2 / (N (2n - f)) (thin lens, focus at 2n). Its
    // blur must come down to the permitted one, by direct quadrature, exactly at the distance that is said.
    let fits = |near_m: f64, n: f64| {
        direct_um(working(n, 24.0, 2.0 * near_m), 576.0 / (n * (2e3 * near_m - 24.0)) * 1e3)
            <= DISC_SIGMA * 36f64.hypot(24.0) / 1.5
    };
    for (near, smallest) in [(0.847, 11.0), (0.3, 8.0)] {
        let asked = Question { smallest, height_m: Some(0.25), ..question(near, f64::INFINITY, 24.0) };
        let answer = plan(&asked).unwrap();
        assert!(!answer.enough && answer.best_stop == smallest);
        let back = answer.step_back.needed_m.unwrap();
        assert!(fits(near + 1.002 * back + 1e-3, smallest) && !fits(near + 0.998 * back - 1e-3, smallest), "{back}");
        let needed = answer.raise.unwrap().needed_near_m;
        assert!(fits(1.002 * needed, smallest) && !fits(0.998 * needed, smallest), "{needed}");
        assert!(answer.step_back.table.iter().all(|row| row.best_stop <= smallest));
        assert!(answer.bracket.f_number <= smallest && answer.tilted_lens.unwrap().f_number <= smallest);
    }
}

/// Lenses as short and wide as a phone's have no diaphragm (common practice, no published source).
#[test]
fn a_lens_with_one_aperture_is_asked_for_no_other() {
    // 4.25 mm at f/1.8 on 5.6 x 4.2 mm, pixels of 1.4 um: permitted is a disc of 7 mm / 1500, 4.667 um.
    let sensor = Fact::new(Sensor { width_mm: 5.6, height_mm: 4.2 }, Source::Given);
    let pitch_um = Fact::new(1.4, Source::Given);
    let phone = |near_m| Question {
        f_number: Some(1.8),
        sensor: sensor.clone(),
        pitch_um: pitch_um.clone(),
        height_m: Some(near_m),
        ..question(near_m, f64::INFINITY, 4.25)
    };
    let answer = plan_of(&phone(0.5));
    assert!(!answer.enough && answer.one_aperture && answer.tilted_lens.is_none());
    assert_eq!(answer.stops.iter().map(|s| s.f_number).collect::<Vec<_>>(), [1.8]);
    assert!(answer.best_stop == 1.8 && answer.bracket.f_number == 1.8);
    assert!(answer.step_back.table.iter().all(|row| row.best_stop == 1.8));
    // Blur at the ends comes down to the permitted one, by direct quadrature, at the distance that is said.
    let back = answer.step_back.needed_m.unwrap();
    let ends = |near_m: f64| {
        direct_um(working(1.8, 4.25, 2.0 * near_m), 4.25f64.powi(2) / (1.8 * (2e3 * near_m - 4.25)) * 1e3)
    };
    let permitted = DISC_SIGMA * 7.0 / 1.5;
    assert!(back > 0.1 && ends(0.5 + 0.99 * back) > permitted && ends(0.5 + 1.01 * back) < permitted, "{back}");
    // With a diaphragm another stop does better.
    let other = plan_of(&Question { f_number: Some(4.0), ..phone(0.5) });
    assert!(other.best_stop > 3.0 && !other.one_aperture && other.stops.len() > 10);
    for near in ["50cm", "3m"] {
        let line = format!("plan --near {near} --focal 4.25mm --aperture f/1.8 --sensor 5.6x4.2mm --pitch 1.4um");
        let (status, out, err) = tussock(&line);
        assert!(status == 0 && out.contains("f/1.8, the one aperture of this lens"), "{out}{err}");
        for other in ["and set", "set the stop", "sharpest", "in mind", "optimum", "root-square", "table", "tilting"] {
            assert!(!out.contains(other), "'{other}' in\n{out}");
        }
        assert!(out.split("f/").skip(1).all(|n| n.starts_with("1.8")), "{out}");
    }
}

#[test]
fn raising_and_pointing_do_what_they_say() {
    let (height, down) = (0.5f64, 20f64.to_radians());
    let near = near_ground_m(height, down, Sensor::FULL_FRAME, 35.0).unwrap();
    let asked = Question { height_m: Some(height), down_rad: Some(down), ..question(near, f64::INFINITY, 35.0) };
    let before = plan(&asked).unwrap();
    let raise = before.raise.unwrap();
    assert!(!before.enough && raise.needed_near_m > near && raise.height_same_direction_m > height);
    // The needed distance is enough, a little less is not.
    let enough = |near: f64| plan(&question(near, f64::INFINITY, 35.0)).unwrap().enough;
    assert!(enough(1.0001 * raise.needed_near_m) && !enough(0.99 * raise.needed_near_m));
    // Ground at the lower edge, drawn by hand: the ray 12 mm below the axis at the image distance of the focus.
    let image = thin_lens::image_mm(35.0, 2.0 * near * 1e3);
    let edge = (12.0 / image).atan();
    let depth = |h: f64, d: f64| h / (d + edge).sin() * edge.cos();
    assert!((depth(raise.height_same_direction_m, down) - raise.needed_near_m).abs() < 1e-9);
    let (h, d) = (raise.height_same_ground_m, raise.down_deg.to_radians());
    assert!((depth(h, d) - raise.needed_near_m).abs() < 1e-9);
    assert!((h / (d + edge).tan() - height / (down + edge).tan()).abs() < 1e-9, "the same ground");
    let tilt = before.tilt_up.unwrap();
    assert!((depth(height, tilt.down_deg.to_radians()) - raise.needed_near_m).abs() < 1e-9);
    assert!(tilt.horizon > tilt.horizon_before);
    // A near subject that stands up from the ground: the ground at the lower edge is far enough already.
    let standing = Question { near_m: 0.4, height_m: Some(1.5), down_rad: Some(down), ..asked };
    let standing = plan(&standing).unwrap();
    assert!(!standing.enough && standing.raise.is_none() && standing.tilt_up.is_none());
    // A level camera has the horizon in the middle.
    let level = Question { height_m: Some(0.2), down_rad: Some(0.0), ..question(0.35, f64::INFINITY, 35.0) };
    assert!((plan(&level).unwrap().tilt_up.unwrap().horizon_before - 0.5).abs() < 1e-12);
}

#[test]
fn a_tilted_lens_by_the_hinge_rule() {
    // Merklinger 1996: J = f / sin(tilt); 24 mm at one degree: 1375 mm (two routes).
    let asked = Question { height_m: Some(1.375), down_rad: Some(0.0), ..question(0.3, f64::INFINITY, 24.0) };
    let tilted = plan(&asked).unwrap().tilted_lens.unwrap();
    assert!((tilted.tilt_deg - 1.0).abs() < 1e-3 && (tilted.hinge_m - 1.375).abs() < 1e-12);
    // At the hyperfocal distance the wedge is as deep as the hinge line lies low (the same source).
    assert!((tilted.wedge_at_ten_times_m / tilted.wedge_near_m - 10.0).abs() < 1e-9);
    // Too low for any tilt.
    let asked = Question { height_m: Some(0.02), ..asked };
    assert_eq!(plan(&asked).unwrap().tilted_lens, None);
}

#[test]
fn a_bracket_leaves_no_gap() {
    for (near, far, focal) in [(0.3, f64::INFINITY, 35.0), (0.5, 4.0, 50.0), (2.0, f64::INFINITY, 100.0)] {
        let plan = plan(&question(near, far, focal)).unwrap();
        let bracket = &plan.bracket;
        assert!(bracket.count > 1 && bracket.frames.len() as u64 == bracket.count);
        assert!(bracket.frames[0].from_m <= near);
        let last = bracket.frames.last().unwrap().to_m.bounds().1;
        assert!(last >= far, "{last} {far}");
        for pair in bracket.frames.windows(2) {
            assert!(pair[0].to_m.bounds().1 >= pair[1].from_m);
        }
        let steps: Vec<f64> =
            bracket.frames.windows(2).map(|p| 1.0 / p[0].focus_distance_m - 1.0 / p[1].focus_distance_m).collect();
        assert!(steps.iter().all(|s| (s / steps[0] - 1.0).abs() < 1e-9), "equal in inverse distance");
        // Both limits of a frame have the permitted blur, by direct quadrature.
        let frame = &bracket.frames[0];
        for end in [frame.from_m, frame.to_m.bounds().1] {
            let disc = thin_lens::disc_mm(focal, bracket.f_number, frame.focus_distance_m * 1e3, end * 1e3).abs();
            let blur = direct_um(working(bracket.f_number, focal, frame.focus_distance_m), disc * 1e3);
            assert!((blur / plan.permitted_sigma_um - 1.0).abs() < 1e-3, "{blur}");
        }
    }
}

#[test]
fn longest_exposures() {
    // The shake rule in reverse: one over the focal length for a 0.030 mm disc's worth of track (common practice,
    // no published source); here the track whose own blur is the permitted one.
    let plan = plan(&Question { speed_m_s: Some(0.1), ..question(2.0, f64::INFINITY, 24.0) }).unwrap();
    let track_um = plan.permitted_sigma_um / 0.31058;
    let by_hand = track_um * 1e-6 / 0.1 * (2.0 - 0.024) / 0.024;
    assert_eq!(plan.motion.len(), 2);
    assert!((plan.motion[0].longest_s / by_hand - 1.0).abs() < 1e-4);
    assert!((plan.motion[1].longest_s / (track_um * 1e-3 / 0.030 / 24.0) - 1.0).abs() < 1e-4);
}

#[test]
fn a_print_seen_from_afar_permits_more() {
    // A 60 x 40 cm print of a 36 x 24 mm frame enlarges 16.67 times; one minute of arc (common practice) at 50 cm
    // is 0.1454 mm there, 8.73 um on the sensor.
    let sharp_for = SharpFor::Print { long_m: 0.6, short_m: 0.4, distance_m: 0.5 };
    let pitch_um = Fact::new(4.0, Source::Given);
    let plan = plan(&Question { sharp_for, pitch_um, ..question(1.2, f64::INFINITY, 24.0) }).unwrap();
    assert!((plan.permitted_disc_um - 8.727).abs() < 5e-4);
    let s = plan.stops.iter().find(|s| s.f_number == 16.0).unwrap();
    let mm = s.worst_optical_um / DISC_SIGMA * 1e-3 * 600.0 / 36.0;
    assert!((s.print_disc_mm.unwrap() - mm).abs() < 1e-12);
    assert!((s.print_arc_minutes.unwrap() - mm / 0.145_444).abs() < 1e-4);
    // One pixel pitch decides at 1:1.
    let asked = Question { sharp_for: SharpFor::OneToOne, ..plan.asked };
    assert!((asked.permitted_disc_um() - 2.0 * 4.0).abs() < 1e-12);
}

#[test]
fn no_plan_permits_less_than_an_audit_of_its_picture_would() {
    // A print of 3 x 2 m of 36 x 24 mm enlarges 83.3 times; 0.1454 mm at 0.5 m are 1.745 um on the sensor, where
    // pixels of 6 um show no finer disc than 12 um (the sampling theorem). The picture has 6000 by 4000 of them.
    let of = |sharp_for, pitch_um| Question { sharp_for, pitch_um, ..question(1.2, f64::INFINITY, 24.0) };
    let (known, assumed) = (Fact::new(6.0, Source::Given), Fact::new(6.0, Source::Assumed));
    let large = SharpFor::Print { long_m: 3.0, short_m: 2.0, distance_m: 0.5 };
    assert!((of(large, known.clone()).permitted_disc_um() - 12.0).abs() < 1e-9);
    assert!((of(large, assumed).permitted_disc_um() - 1.745).abs() < 5e-4);
    let small = SharpFor::Print { long_m: 0.3, short_m: 0.2, distance_m: 0.5 };
    for sharp_for in [large, small, SharpFor::OneToOne, SharpFor::Diagonal1500] {
        let audit = 6.0 * tussock::judge::permitted_px(sharp_for, 6000, 4000);
        assert!((of(sharp_for, known.clone()).permitted_sigma_um() / audit - 1.0).abs() < 1e-9, "{sharp_for:?}");
    }
    let (_, out, _) = tussock("plan --near 1.2m --focal 24mm --sharp-for print:3x2m@50cm --pitch 6um");
    assert!(out.contains("no less than two pixels, 12.0 µm"), "{out}");
}

#[test]
fn the_focus_may_be_missed_by_as_much_as_is_said() {
    let plan = plan(&question(1.2, f64::INFINITY, 24.0)).unwrap();
    let [near, far] = plan.focus_range_m.unwrap().map(Distance::middle);
    assert!(near < plan.focus_distance_m && plan.focus_distance_m < far);
    let blur = |focus: f64, end: f64| {
        let disc = thin_lens::disc_mm(24.0, plan.best_stop, focus * 1e3, end).abs() * 1e3;
        direct_um(working(plan.best_stop, 24.0, focus), disc)
    };
    assert!((blur(near, f64::INFINITY) / plan.permitted_sigma_um - 1.0).abs() < 1e-3);
    assert!((blur(far, 1200.0) / plan.permitted_sigma_um - 1.0).abs() < 1e-3);
}

#[test]
fn nonsense_is_refused() {
    assert!(matches!(plan(&question(3.0, 2.0, 24.0)), Err(Refusal::NearBeyondFar { .. })));
    assert!(matches!(plan(&question(0.02, 2.0, 24.0)), Err(Refusal::WithinFocalLength { .. })));
    assert!(matches!(plan(&question(0.024, 2.0, 24.0)), Err(Refusal::WithinFocalLength { .. })));
    assert!(matches!(plan(&question(f64::INFINITY, f64::INFINITY, 24.0)), Err(Refusal::NearInfinite)));
    for bad in [0.0, -1.0, f64::NAN] {
        assert!(plan(&question(bad, 2.0, 24.0)).is_err());
        assert!(plan(&question(1.0, bad, 24.0)).is_err());
        assert!(plan(&question(1.0, 2.0, bad)).is_err());
        assert!(plan(&Question { f_number: Some(bad), ..question(1.0, 2.0, 24.0) }).is_err());
    }
}

/// Whether every number of a plan is finite, as its JSON shows: null stands for what is not.
fn finite(value: &serde_json::Value) -> bool {
    let text = serde_json::to_string(value).unwrap();
    !text.contains("NaN")
        && value["stops"].as_array().unwrap().iter().all(|s| {
            s.as_object().unwrap().iter().all(|(key, v)| v.is_f64() || v.is_boolean() || key.starts_with("print"))
        })
        && ["focus_distance_m", "focus_spread_mm", "magnification", "best_stop"].iter().all(|k| value[k].is_f64())
}

#[test]
fn the_edges_of_the_possible_stay_finite() {
    for (near, far, focal) in [
        (0.024_000_001, f64::INFINITY, 24.0),
        (0.024_001, 0.024_002, 24.0),
        (2.0, 2.0, 24.0),
        (1e6, f64::INFINITY, 24.0),
        (1e-3, f64::INFINITY, 0.5),
        (5000.0, 5001.0, 2000.0),
    ] {
        let asked = Question { height_m: Some(1.5), down_rad: Some(0.2), ..question(near, far, focal) };
        let plan = plan(&asked).unwrap();
        assert!(finite(&serde_json::to_value(&plan).unwrap()), "{near} {far} {focal}: {plan:?}");
    }
    let flat = plan(&question(2.0, 2.0, 24.0)).unwrap();
    assert_eq!((flat.best_f_number, flat.focus_distance_m, flat.focus_spread_mm), (None, 2.0, 0.0));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn both_ends_are_blurred_alike(
        focal in 8.0f64..300.0, times in 1.05f64..400.0, depth in 1.0f64..1000.0, infinite: bool,
    ) {
        let near = focal * 1e-3 * times;
        let far = if infinite { f64::INFINITY } else { near * depth };
        let answer = plan(&question(near, far, focal)).unwrap();
        prop_assert!(finite(&serde_json::to_value(&answer).unwrap()));
        prop_assert!(answer.focus_distance_m >= near && answer.focus_distance_m <= far);
        let harmonic = if infinite { 2.0 * near } else { 2.0 * near * far / (near + far) };
        prop_assert!((answer.focus_distance_m / harmonic - 1.0).abs() < 1e-12);
        for s in &answer.stops {
            prop_assert!((s.near_disc_um - s.far_disc_um).abs() <= 1e-9 * s.near_disc_um.max(1e-3));
            prop_assert!(s.focus_blur_px <= s.near_blur_px + 1e-12);
        }
    }

    #[test]
    fn nearer_is_harder(focal in 10.0f64..200.0, times in 1.2f64..200.0, step in 1.01f64..3.0) {
        let at = |times: f64| plan(&question(focal * 1e-3 * times, f64::INFINITY, focal)).unwrap();
        let (nearer, farther) = (at(times), at(times * step));
        prop_assert!(nearer.best_f_number > farther.best_f_number);
        prop_assert!(nearer.focus_distance_m < farther.focus_distance_m);
        for (a, b) in nearer.stops.iter().zip(&farther.stops) {
            prop_assert!(a.near_blur_px >= b.near_blur_px);
            prop_assert!(a.acceptable <= b.acceptable);
        }
        prop_assert!(nearer.enough <= farther.enough);
        prop_assert!(nearer.bracket.count >= farther.bracket.count);
    }

    #[test]
    fn the_unit_of_length_plays_no_part(feet in 1.0f64..60.0, far in 70.0f64..3000.0, focal in 10.0f64..200.0) {
        let inches = feet * 12.0;
        let in_feet = (parse_length(&format!("{feet}ft")).unwrap(), parse_distance(&format!("{far}ft")).unwrap());
        let metric =
            (parse_length(&format!("{}cm", inches * 2.54)).unwrap(), parse_distance(&format!("{}m", far * 0.3048)).unwrap());
        prop_assume!(in_feet.0 * 1e3 > 1.01 * focal);
        let (a, b) =
            (plan(&question(in_feet.0, in_feet.1, focal)).unwrap(), plan(&question(metric.0, metric.1, focal)).unwrap());
        for (a, b) in a.stops.iter().zip(&b.stops) {
            prop_assert!((a.near_blur_px / b.near_blur_px - 1.0).abs() < 1e-9);
            prop_assert!((a.far_disc_um / b.far_disc_um - 1.0).abs() < 1e-9);
        }
    }
}

fn tussock(line: &str) -> (i32, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_tussock")).args(line.split_whitespace()).output().unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (output.status.code().unwrap(), text(output.stdout), text(output.stderr))
}

#[test]
fn the_command_answers_in_json_and_in_words() {
    let (status, out, _) = tussock("plan --near 1.2m --focal 24mm --json");
    assert_eq!(status, 0);
    let json: serde_json::Value = serde_json::from_str(&out).unwrap();
    assert_eq!((json["format"].as_str(), json["version"].as_u64()), (Some("tussock.plan"), Some(1)));
    assert!((json["focus_distance_m"].as_f64().unwrap() - 2.4).abs() < 1e-12);
    let stop = &json["stops"][0];
    for key in ["f_number", "near_disc_um", "far_disc_um", "near_blur_px", "focus_blur_px", "far_blur_px", "acceptable"]
    {
        assert!(!stop[key].is_null(), "{key}");
    }
    assert_eq!(json["asked"]["far_m"], "inf");
    // The same scene in feet, and on a smaller sensor given either way.
    let (_, feet, _) = tussock("plan --near 3.937007874015748ft --focal 24mm --json --units imperial");
    let feet: serde_json::Value = serde_json::from_str(&feet).unwrap();
    let blur = |j: &serde_json::Value| j["stops"][18]["near_blur_px"].as_f64().unwrap();
    assert!((blur(&feet) / blur(&json) - 1.0).abs() < 1e-12);
    let crop = |line| serde_json::from_str::<serde_json::Value>(&tussock(line).1).unwrap()["permitted_disc_um"].clone();
    assert_eq!(
        crop("plan --near 1m --focal 24mm --crop 1.5 --json"),
        crop("plan --near 1m --focal 24mm --sensor 24x16mm --json")
    );
    let (status, out, _) = tussock("plan --near 40cm --focal 35mm --height 40cm --down 20deg --aperture f/11");
    assert_eq!(status, 0);
    for word in [
        "Focus at 80 cm",
        "farther back",
        "raise the camera",
        "tilting lens",
        "bracket the focus",
        "Look where you step",
        "root-square",
    ] {
        assert!(out.contains(word), "no '{word}' in\n{out}");
    }
    assert!(out.lines().all(|l| l.chars().count() <= 104), "{out}");
    let (status, out, _) = tussock("plan --focal 24mm --height 1.5m --down 8deg --json");
    assert_eq!(status, 0);
    let json: serde_json::Value = serde_json::from_str(&out).unwrap();
    // The lower edge is atan(12/24) below the axis: depth h / (sin d + 0.5 cos d).
    let near = 1.5 / (8f64.to_radians().sin() + 0.5 * 8f64.to_radians().cos());
    assert!((json["asked"]["near_m"].as_f64().unwrap() - near).abs() < 1e-9);
}

#[test]
fn what_is_asked_of_the_next_shot_says_nothing_of_the_last() {
    let folder = tempfile::tempdir().unwrap();
    let recipe = recipes::shoot().into_iter().find(|r| r.file == "02-focus-too-far.jpg").unwrap();
    let path = folder.path().join("far.jpg");
    std::fs::write(&path, recipe.bytes().unwrap()).unwrap();
    let was = |asked: &str| {
        let (status, out, err) = tussock(&format!("plan --from {} --json {asked}", path.display()));
        assert_eq!(status, 0, "{err}");
        serde_json::from_str::<serde_json::Value>(&out).unwrap()["from"].clone()
    };
    let bare = was("");
    assert!(bare["near_m"].is_array() && bare["focus_m"].is_array(), "{bare}");
    assert_eq!(was("--near 60cm --far 20m --height 40cm --down 20deg"), bare);
}

#[test]
fn the_command_refuses_with_a_sentence() {
    for (line, words) in [
        ("--near 3m --far 2m --focal 24mm", "beyond the far distance"),
        ("--near 20mm --focal 24mm", "within the focal length"),
        ("--near -3m --focal 24mm", "not more than zero"),
        ("--near 2 --focal 24mm", "has no unit"),
        ("--near 2m --focal 24", "'24' has no unit; write 24mm"),
        ("--near 2m --focal 24mm --pitch 5.9", "'5.9' has no unit; write 5.9um"),
        ("--near 2m --focal 24mm --sensor 36x24", "'24' has no unit; write 24mm"),
        ("--near 2m --focal 24mm --far 9", "has no unit"),
        ("--near 2m --focal 24mm --sharp-for print:60x40@50cm", "'40' has no unit; write 40cm"),
        ("--near 2m --focal 24mm --aperture f/0", "not an aperture"),
        ("--near inf --focal 24mm", "finite length"),
        ("--near 2m", "--focal"),
        ("--focal 24mm", "--near"),
        ("--focal 24mm --height 1m --down -60deg", "never meets the ground"),
        ("--focal 24mm --height 1.5m", "give --down, such as --down 8deg"),
        ("--near 1m --focal 24mm --sensor 36mm", "not a sensor size"),
        ("--near 1m --focal 24mm --smallest 0", "not an aperture"),
        ("--near 1m --focal 24mm --smallest f/1", "closes no further than f/1"),
        ("--near 1m --focal 24mm --crop 0", "not a crop factor"),
        ("--near 1m --focal 24mm --down steep", "not an angle"),
        ("--near 1m --focal 24mm --speed 3", "not a speed"),
    ] {
        let (status, out, err) = tussock(&format!("plan {line}"));
        assert_eq!(status, 2, "{line}: {err}");
        assert!(err.contains(words) && out.is_empty(), "{line}: {err}");
        assert!(!err.contains("panicked"));
    }
}

/// Where depth asks for little, no rule about depth and diffraction says which stop a lens is sharpest at (common practice, no
/// published source: one to three stops down), and numbers that no lens has are not told.
#[test]
fn a_shallow_depth_leaves_the_stop_to_the_lens_and_no_number_is_absurd() {
    // 8 mm from 10 m on: discs of 20 m focus stay below 28.8 um at every stop, f^2 / (N s) = 64e-6 / (1.4 * 20) m = 2.3 um.
    let (_, out, _) = tussock("plan --near 10m --focal 8mm");
    let answer = "Focus at 20.0 m: near and far are both sharp enough from f/1.4 to f/22, so set the stop at which the";
    assert!(out.starts_with(answer), "{out}");
    assert!(!out.contains("  best\n") && !out.contains("f/0.") && !out.contains("hyperfocal table"), "{out}");
    let (_, out, _) = tussock("plan --near 1km --focal 24mm");
    assert!(out.contains("opened wider than lenses are") && !out.contains("f/0."), "{out}");
    // Depth decides from f/5.6 on.
    assert!(
        tussock("plan --near 3m --focal 16mm").1.contains("and set f/6.3: near"),
        "{}",
        tussock("plan --near 3m --focal 16mm").1
    );
    let (_, out, _) = tussock("plan --near 51mm --focal 50mm");
    assert!(out.contains("more than 999 frames") && !out.contains("100 % smaller") && !out.contains("f/1666"), "{out}");
    let (_, out, _) = tussock("card --focal 8,600mm --near 1,5m --text");
    assert!(
        out.contains("f/2.5+") && out.contains("f/5.6  ") && out.contains("*>999") && out.contains("A plus: "),
        "{out}"
    );
}

#[test]
fn a_step_too_long_is_told_from_a_use_that_diffraction_forbids() {
    // 400 mm at f/22: by geometry alone the ends reach the permitted 28.84 um with the nearest subject at n = f^2 / (2 N
    // c) = 126 m (thin lens, far end infinite), more than 100 m farther back than 20 m.
    let enough = |near| plan_of(&Question { smallest: 22.0, ..question(near, f64::INFINITY, 400.0) }).enough;
    assert!(!enough(126.0) && enough(200.0));
    let (_, out, _) = tussock("plan --near 20m --focal 400mm");
    assert!(out.contains("Stepping back would take more than 100 m.") && !out.contains("diffraction leaves"), "{out}");
    assert_eq!(out.matches("Look where you step").count(), 1, "{out}");
    // So many frames that another way is proposed: none that was just called useless.
    let (_, out, _) = tussock("plan --near 5m --focal 400mm");
    assert!(out.contains("not practical") && !out.contains("farther back, higher"), "{out}");
    // Two pixels of 0.6 um permit 1.2 um, 0.32 um as a sigma; diffraction alone at f/1.4 is 0.187 / 0.404 times
    // 0.55 um * 1.4, 0.36 um (half contrast of a clear pupil at 0.404 of the cut-off).
    for more in ["", " --height 1.5m", " --far 9m --height 1.5m"] {
        let (status, out, _) = tussock(&format!("plan --near 2m --focal 24mm --pitch 0.6um --sharp-for 1:1{more}"));
        assert!(status == 0 && out.contains("less than diffraction leaves at any stop"), "{out}");
        assert!(["frames at", "Step back", "raise", "Or "].iter().all(|word| !out.contains(word)), "{out}");
    }
    // Where people are told to move, the caution comes with it.
    let answer = tussock("plan --near 40cm --focal 100mm").1.split("\n\n").next().unwrap().to_owned();
    assert!(answer.contains("farther back") && answer.contains("Look where you step"), "{answer}");
}

#[test]
fn the_answer_comes_first_and_asks_for_no_stop_that_the_lens_lacks() {
    let (_, out, _) = tussock("plan --near 1,2m --focal 24mm");
    assert!(out.starts_with("Focus at 2.40 m and set f/16: near and far are both sharp enough."), "{out}");
    assert_eq!(out.matches("Look where you step").count(), 1, "{out}");
    // Shutter times are those of cameras.
    let times: Vec<&str> =
        out.lines().filter_map(|l| l.trim_start().strip_prefix("grass")?.split("1/").nth(1)).collect();
    assert!(times.len() == 3 && times.iter().all(|t| ["20 s", "100 s", "400 s"].contains(t)), "{times:?}");
    let best = |line: &str| {
        let json: serde_json::Value = serde_json::from_str(&tussock(line).1).unwrap();
        let last = json["stops"].as_array().unwrap().last().unwrap()["f_number"].as_f64().unwrap();
        (json["best_stop"].as_f64().unwrap(), last)
    };
    let near = "plan --near 4'0.5\" --focal 100mm --json";
    assert_eq!(best(near), (22.0, 22.0));
    assert_eq!(best(&format!("{near} --smallest f/32")), (32.0, 32.0));
    // A bracket of more frames than anybody takes is not listed, and what to change is said once, with its caution.
    let (_, out, _) = tussock("plan --near 20cm --focal 100mm --aperture f/8");
    assert!(out.contains("not practical") && out.contains("At f/8, the stop you have in mind"), "{out}");
    assert_eq!(out.matches("Look where you step").count(), 1, "{out}");
}

#[test]
fn a_card_fits_the_plan() {
    let folder = tempfile::tempdir().unwrap();
    let page = folder.path().join("card.html");
    let (status, out, err) =
        tussock(&format!("card --focal 16,24,35,70mm --near 0.5,1m,2m --out {} --json", page.display()));
    assert_eq!(status, 0, "{err}");
    let card: serde_json::Value = serde_json::from_str(&out).unwrap();
    assert_eq!(card["format"], "tussock.card");
    for (i, near) in ["0.5m", "1m", "2m"].iter().enumerate() {
        for (j, focal) in ["16", "24", "35", "70"].iter().enumerate() {
            let (_, out, _) = tussock(&format!("plan --near {near} --focal {focal}mm --json"));
            let plan: serde_json::Value = serde_json::from_str(&out).unwrap();
            let (row, cell) = (&card["rows"][i], &card["rows"][i]["cells"][j]);
            assert_eq!(row["focus_distance_m"], plan["focus_distance_m"]);
            assert_eq!(cell["best_stop"], plan["best_stop"]);
            assert_eq!(cell["enough"], plan["enough"]);
            assert_eq!(cell["step_back_m"], plan["step_back"]["needed_m"]);
        }
    }
    // The template engine writes a slash as its entity.
    let page = std::fs::read_to_string(page).unwrap().replace("&#x2f;", "/");
    assert!(page.contains("<svg") && page.contains(">70 mm</th>") && page.contains("f/22"));
    assert!(!page.contains("://") && !page.contains("<script"), "needs no network and no script");
    // Standard output gets the page where it is not a terminal, a table where asked.
    assert!(tussock("card --focal 24mm").1.starts_with("<!doctype html>"));
    assert!(tussock("card --focal 24mm --text --units imperial").1.contains("ft"));
    assert_eq!(tussock("card --focal 2000mm --near 1m").0, 2);
    assert_eq!(tussock("card --focal 24mm --near 1").0, 2);
    assert!(tussock("card --focal 16,24").2.contains("'24' has no unit; write 24mm"));
}

#[test]
fn a_plan_is_written_as_a_page_too() {
    let folder = tempfile::tempdir().unwrap();
    let page = folder.path().join("next.html");
    let line = format!("plan --near 40cm --focal 35mm --height 40cm --down 20deg --out {}", page.display());
    let (status, out, err) = tussock(&line);
    assert_eq!(status, 0, "{err}");
    // The page says what the terminal says.
    let html = std::fs::read_to_string(&page).unwrap();
    let plain = |text: &str| text.replace("&#x2f;", "/").replace("&#x27;", "'").split_whitespace().collect::<String>();
    let words = plain(&html);
    let paragraphs = out.split("\n\n").next().unwrap();
    for sentence in paragraphs.lines().collect::<Vec<_>>().join(" ").split_inclusive(". ") {
        assert!(words.contains(&plain(sentence)), "'{sentence}' is missing");
    }
    assert_eq!(html.matches("Look where you step").count(), 1);
    assert!(html.contains("class=\"best\"") && !html.contains("://") && !html.contains("<script"));
    // What is there stays unless told otherwise.
    assert_eq!(tussock(&line).0, 2);
    assert_eq!(tussock(&format!("{line} --overwrite")).0, 0);
}
