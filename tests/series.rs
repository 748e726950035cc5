//! Frames of one scene: registered, compared, grouped and answered, against what the simulator rendered.

#[path = "support/patches.rs"]
mod patches;

use std::f64::consts::FRAC_PI_2;

use patches::{SIDE, framed};
use proptest::prelude::*;
use tussock::measure::pair::{Contrast, relative, spectra};
use tussock::measure::register::{Registration, Similarity, Small, register};
use tussock::quantity::{Distance, Estimate, Region};
use tussock::report::series::{Alone, Shown, series_html, series_text, series_view};
use tussock::report::{FailureView, Pixels};
use tussock::series::{
    Answer, Blurs, Frame, Lone, NoteKind, Point, Seen, Sharpest, Varied, Zone, ZoneBlur, ZoneName, aperture, bracket,
    by_depth, deepest_first, ends, group, lone, pitch_um, settled, sharpest, zone_blurs,
};
use tussock::shot::{Capture, Fact, Mosaic, Plane, Source};
use tussock::simulate::file::{Developing, Facts, Light, jpeg};
use tussock::simulate::{Noise, PatchSpec, Psf, Texture, View, patch_luminance, render_patch};

fn map_of(view: &View) -> Similarity {
    let middle = SIDE as f64 / 2.0;
    Similarity { centre: (middle, middle), shift: view.shift, scale: view.scale, angle: view.angle }
}

/// Gaussian spreads, whose squared widths differ by the same at every frequency.
#[test]
fn relative_blur_is_free_of_the_scene() {
    let view = View { shift: (4.3, -3.6), angle: 0.003, scale: 1.006 };
    for (i, texture) in [Texture::Grass, Texture::Leaves, Texture::Brick].into_iter().enumerate() {
        let (a, b) = (0.75, [1.3, 1.1, 1.9][i]);
        let spec = PatchSpec { texture, psf: Psf::gaussian(a), snr: 60.0, seed: 40 + i as u64, ..PatchSpec::default() };
        let other = PatchSpec { psf: Psf::gaussian(b), view, noise_seed: 9, exposure: 0.8, ..spec };
        let ((pa, _), (pb, _)) = (framed(&spec), framed(&other));
        let found = register(&pa, &pb, &Small::new(&pa), &Small::new(&pb)).unwrap();
        let truth = map_of(&view);
        for (x, y) in [(10.0, 10.0), (260.0, 20.0), (136.0, 250.0)] {
            let ((fx, fy), (tx, ty)) = (found.map.apply(x, y), truth.apply(x, y));
            assert!((fx - tx).hypot(fy - ty) < 0.2, "{texture:?}: ({fx}, {fy}) for ({tx}, {ty})");
        }
        let ideal = Registration { map: truth, offsets: Vec::new(), ..found.clone() };
        let tile = [Region { x: 68, y: 68, width: 136, height: 136 }];
        let sa = spectra(&pa, &pa, None, &tile);
        for (registration, bar) in [(&ideal, 0.03), (&found, 0.05)] {
            let sb = spectra(&pa, &pb, Some(registration), &tile);
            assert!(sb.tiles[0].in_place.unwrap() > 0.9);
            let read = relative(&sa.tiles[0], &sb.tiles[0], 0.7, registration.map.scale, Contrast::Linear).unwrap();
            let width = (a * a + read.squared.value).sqrt();
            assert!((width / b - 1.0).abs() < bar, "{texture:?}: {width:.3} for {b}");
            // And the other way round.
            let back =
                relative(&sb.tiles[0], &sa.tiles[0], 0.7, 1.0 / registration.map.scale, Contrast::Linear).unwrap();
            assert!((back.squared.value + read.squared.value).abs() < 0.1 * read.squared.value);
        }
    }
}

/// A block that lies a few pixels off is looked for again; what shows another thing is told apart, and left out when frames are
/// compared.
#[test]
fn what_moved_a_little_is_followed_and_what_is_not_there_is_told() {
    let spec = PatchSpec { texture: Texture::Grass, psf: Psf::gaussian(0.8), seed: 5, ..PatchSpec::default() };
    let (pa, _) = framed(&spec);
    let tile = [Region { x: 68, y: 68, width: 136, height: 136 }];
    let off = Registration { agreement: 1.0, ..Registration::still() };
    let there = |spec: &PatchSpec| spectra(&pa, &framed(spec).0, Some(&off), &tile).tiles.remove(0);
    let soft = PatchSpec { psf: Psf::gaussian(1.4), noise_seed: 3, ..spec };
    let moved = there(&PatchSpec { view: View { shift: (9.0, 4.0), ..View::default() }, ..soft });
    assert!(moved.in_place.unwrap() > 0.9);
    let read = relative(&spectra(&pa, &pa, None, &tile).tiles[0], &moved, 0.8, 1.0, Contrast::Linear).unwrap();
    let width = (0.64 + read.squared.value).sqrt();
    assert!((width / 1.4 - 1.0).abs() < 0.04, "{width}");
    let other = there(&PatchSpec { texture: Texture::Leaves, seed: 6, ..soft });
    assert!(other.in_place.is_none_or(|p| p < 0.6), "{:?}", other.in_place);
}

#[test]
fn the_scale_of_diffraction_is_learned_from_frames_that_record_no_pitch() {
    const CANVAS: usize = 480;
    const CUT: usize = 300;
    let plane = |psf: Psf, noise_seed: u64| {
        let width = CANVAS - 2 * psf.reach().ceil() as usize;
        let spec = PatchSpec { texture: Texture::Grass, psf, snr: 60.0, seed: 11, noise_seed, ..PatchSpec::default() };
        let plane = render_patch(&PatchSpec { width, height: width, ..spec }).0;
        let edge = (width - CUT) / 2;
        let data = (edge..edge + CUT).flat_map(|y| plane.row(y)[edge..edge + CUT].to_vec()).collect();
        Plane { width: CUT, height: CUT, data, ..plane }
    };
    let tiles: Vec<Region> =
        (0..16).map(|i| Region { x: 10 + 70 * (i % 4), y: 10 + 70 * (i / 4), width: 70, height: 70 }).collect();
    let frames = |pitch: f64, defocus_um: f64, recorded: Option<f64>| -> Vec<Frame> {
        let lens = |n: f64| Psf::lens(n, pitch, defocus_um / n).softened(0.4, 0.4, 0.0);
        let planes: Vec<Plane> =
            [2.8, 8.0, 16.0].iter().enumerate().map(|(i, &n)| plane(lens(n), 3 + i as u64)).collect();
        let still = Registration { agreement: 1.0, ..Registration::still() };
        let frame = |(p, n): (&Plane, f64)| Frame {
            f_number: Some(n),
            pitch_um: recorded,
            spectra: spectra(&planes[0], p, Some(&still), &tiles),
            absolute: vec![None; tiles.len()],
        };
        planes.iter().zip([2.8, 8.0, 16.0]).map(frame).collect()
    };
    for pitch in [2.4, 4.0] {
        let sharp = frames(pitch, 0.0, None);
        let found = pitch_um(&sharp, None).expect("a scale");
        assert!((found / pitch - 1.0).abs() < 0.1, "{found} for {pitch}");
        // One stop alone tells nothing.
        assert_eq!(pitch_um(&sharp[1..2], None), None);
        // Out of focus by a disc of three pixels at f/2.8: it is found all the same, or nothing is.
        let off = pitch_um(&frames(pitch, 8.4 * pitch, None), None);
        assert!(off.is_none_or(|f| (f / pitch - 1.0).abs() < 0.15), "{off:?} for {pitch}");
    }
    assert_eq!(pitch_um(&frames(4.0, 0.0, Some(4.0)), None), None);
}

#[test]
fn an_empty_sky_gives_no_number() {
    let spec = PatchSpec { texture: Texture::Sky, psf: Psf::gaussian(0.8), snr: 40.0, ..PatchSpec::default() };
    let ((pa, _), (pb, _)) = (framed(&spec), framed(&PatchSpec { psf: Psf::gaussian(1.6), noise_seed: 2, ..spec }));
    let tile = [Region { x: 68, y: 68, width: 136, height: 136 }];
    let (sa, sb) = (spectra(&pa, &pa, None, &tile), spectra(&pa, &pb, None, &tile));
    assert_eq!(relative(&sa.tiles[0], &sb.tiles[0], 0.8, 1.0, Contrast::Linear), None);
    assert!(register(&pa, &pb, &Small::new(&pa), &Small::new(&pb)).is_none());
}

fn capture(f_number: Option<f64>, date: Option<&str>) -> Capture {
    Capture {
        f_number: f_number.map(|n| Fact::new(n, Source::Exif)),
        date: date.map(|d| Fact::new(d.to_owned(), Source::Exif)),
        ..Capture::default()
    }
}

#[test]
fn frames_of_one_scene_are_found_and_no_others() {
    let shoot = |seed: u64, view: View| {
        let spec = PatchSpec {
            texture: Texture::Rock,
            psf: Psf::gaussian(1.0),
            seed,
            noise_seed: seed * 7,
            view,
            ..PatchSpec::default()
        };
        Small::new(&framed(&spec).0)
    };
    let moved = View { shift: (5.0, -3.0), ..View::default() };
    let smalls: Vec<Small> = vec![
        shoot(1, View::default()),
        shoot(2, View::default()),
        shoot(2, moved),
        shoot(3, View::default()),
        shoot(3, moved),
        shoot(3, View { shift: (-4.0, 2.0), ..View::default() }),
        shoot(2, View::default()),
        shoot(2, View::default()).turned(3),
    ];
    let captures: Vec<Capture> = [
        (8.0, "2026-05-01T10:00:00"),
        (4.0, "2026-05-01T10:01:00"),
        (11.0, "2026-05-01T10:01:20"),
        (8.0, "2026-05-01T10:02:00"),
        (8.0, "2026-05-01T10:02:05"),
        (8.0, "2026-05-01T10:02:10"),
        // The same place an hour later is another visit.
        (4.0, "2026-05-01T11:02:10"),
        (5.6, "2026-05-01T10:01:30"),
    ]
    .iter()
    .map(|&(n, d)| capture(Some(n), Some(d)))
    .collect();
    let members: Vec<Seen> = smalls
        .iter()
        .zip(&captures)
        .map(|(small, capture)| Seen {
            file: "",
            size: (SIDE as u32, SIDE as u32),
            capture,
            small: small.into(),
            map: None,
        })
        .collect();
    let groups = group(&members);
    let found: Vec<(Vec<usize>, Varied)> = groups.iter().map(|g| (g.members.clone(), g.varied)).collect();
    assert_eq!(found, [(vec![1, 2], Varied::Aperture), (vec![3, 4, 5], Varied::Nothing)]);
    let alone = lone(&members, &groups);
    assert_eq!(alone[0], (0, Lone::OtherScene));
    assert_eq!(alone.last(), Some(&(7, Lone::Turned(1))));

    // A size is why a frame stands alone only where no group beside it has that size, upright or not.
    let sized = |sizes: [(u32, u32); 3]| {
        let size = |k: usize| sizes[[0, 1, 1, 2, 2, 2, 1, 1][k]];
        let sized: Vec<Seen> = members.iter().enumerate().map(|(k, m)| Seen { size: size(k), ..*m }).collect();
        lone(&sized, &groups)[0].1
    };
    let (whole, upright, reduced) = ((600, 400), (400, 600), (300, 200));
    assert_eq!(sized([reduced, whole, whole]), Lone::OtherSize(reduced, whole));
    assert_eq!(sized([reduced, whole, reduced]), Lone::OtherScene);
    assert_eq!(sized([upright, whole, whole]), Lone::OtherScene);
    let (cropped, export) = ((600, 300), (400, 267));
    assert_eq!(sized([cropped, whole, whole]), Lone::OtherSize(cropped, whole));
    assert_eq!(sized([export, whole, whole]), Lone::OtherScene);
}

/// Frames exported at another size are compared at the smallest, and it is said.
#[test]
fn resized_frames_of_one_scene_are_one_series() {
    let folder = tempfile::tempdir().unwrap();
    write_series(folder.path(), &[(4.0, 1.9), (5.6, 1.3), (8.0, 0.9), (16.0, 1.5)], true);
    for (name, side) in [("moor-1.jpg", 276), ("moor-3.jpg", 300)] {
        let path = folder.path().join(name);
        let picture = image::open(&path).unwrap().resize_exact(side, side, image::imageops::FilterType::Lanczos3);
        std::fs::remove_file(path).unwrap();
        let stop = ["f5.6", "f16"][usize::from(side == 300)];
        picture.save(folder.path().join(format!("moor-{side} {stop}.png"))).unwrap();
    }
    let told = tussock().arg("series").arg(folder.path()).arg("--json").assert().code(0);
    let json: serde_json::Value = serde_json::from_slice(&told.get_output().stdout).unwrap();
    let group = &json["groups"][0];
    assert_eq!(
        (json["groups"].as_array().unwrap().len(), group["members"].as_array().unwrap().len()),
        (1, 4),
        "{json:#}"
    );
    assert_eq!(group["best_whole_frame"]["f_number"], 8.0, "{}", group["sentence"]);
    // What is rendered at 368 px is 0.75 times as wide at 276 px, plus what the larger pixels add.
    let centre = group["zones"].as_array().unwrap().iter().find(|z| z["zone"] == "centre").unwrap();
    let of = |n: f64| {
        let points = centre["points"].as_array().unwrap();
        points.iter().find(|p| p["f_number"] == n).unwrap()["blur_px"].as_f64().unwrap()
    };
    let scale = 276.0 / 368.0;
    for (n, sigma) in [(4.0, 1.9), (5.6, 1.3), (8.0, 0.9), (16.0, 1.5)] {
        let least = scale * sigma;
        let most = f64::hypot(f64::hypot(least, scale * 0.31), 0.31);
        assert!((0.9 * least..1.15 * most).contains(&of(n)), "f/{n}: {} for {least} to {most}", of(n));
    }
    let notes = group["notes"].as_array().unwrap();
    let reduced = notes.iter().filter(|n| n["sentence"].as_str().unwrap().contains("averaged down")).count();
    assert_eq!(reduced, 3, "{notes:?}");
}

#[test]
fn frames_focused_elsewhere_are_no_aperture_series() {
    let small = |noise_seed| {
        Small::new(
            &framed(&PatchSpec { texture: Texture::Rock, psf: Psf::gaussian(1.0), noise_seed, ..PatchSpec::default() })
                .0,
        )
    };
    let smalls = [small(1), small(2)];
    let varied = |shots: &[(f64, Distance)]| {
        let captures: Vec<Capture> = shots
            .iter()
            .map(|&(n, d)| Capture {
                focus_distance_m: Some(Fact::new(d, Source::Exif)),
                ..capture(Some(n), Some("2026-05-01T10:00:00"))
            })
            .collect();
        let size = (SIDE as u32, SIDE as u32);
        let members: Vec<Seen> = captures
            .iter()
            .zip(&smalls)
            .map(|(capture, small)| Seen { file: "", size, capture, small: small.into(), map: None })
            .collect();
        group(&members).first().map(|g| g.varied)
    };
    let (near, far) = (Distance::Finite(2.8), Distance::Infinite);
    assert_eq!(varied(&[(8.0, near), (11.0, far)]), Some(Varied::Focus));
    // Coarse steps of a record in a series focused once.
    assert_eq!(varied(&[(8.0, near), (11.0, Distance::Finite(3.3))]), Some(Varied::Aperture));
    assert_eq!(varied(&[(8.0, far), (11.0, far)]), Some(Varied::Aperture));
}

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

const STOPS: [f64; 7] = [2.8, 4.0, 5.6, 8.0, 11.0, 16.0, 22.0];

fn aperture_series() -> (Vec<ZoneBlur>, Vec<Option<f64>>, f64) {
    let pitch = 4.35;
    let zones = vec![
        zone(ZoneName::Near, &STOPS, pitch, 60.0, 0.3),
        zone(ZoneName::Centre, &STOPS, pitch, 0.0, 0.4),
        zone(ZoneName::TopLeft, &STOPS, pitch, 10.0, 2.5),
    ];
    (zones, STOPS.iter().map(|&n| Some(n)).collect(), pitch)
}

#[test]
fn an_aperture_series_is_split_and_answered() {
    let (zones, f_numbers, pitch) = aperture_series();
    let answer = aperture::answer(&zones, &f_numbers, Some(pitch), 1.3);
    // Truth straight from the rendered widths: the least worst zone.
    let worst = |k: usize| zones.iter().map(|z| z.points[k].blur.value).fold(0.0, f64::max);
    let best = (0..7).min_by(|&a, &b| worst(a).total_cmp(&worst(b))).unwrap();
    assert_eq!(answer.whole, Some(best));
    let split = answer.split.unwrap();
    assert!((split.growth.value * pitch / 0.55 - 1.0).abs() < 0.10, "wavelength {}", split.growth.value * pitch);
    assert!(answer.spoiled.is_empty() && answer.focus_shift.is_empty() && answer.gaps.is_empty());
    // Without the pitch the growth is the same: it is measured, not assumed.
    let blind = aperture::answer(&zones, &f_numbers, None, 1.3).split.unwrap();
    assert!((blind.growth.value / split.growth.value - 1.0).abs() < 0.05 && blind.expected.is_none());
}

fn stop_after<'a>(sentence: &'a str, words: &str) -> Option<&'a str> {
    let rest = &sentence[sentence.find(words)? + words.len()..];
    Some(rest.split([' ', ';', ',']).next()?.trim_end_matches('.'))
}

/// Too close for the split to be fitted, which takes a second a table.
const THIRDS: [f64; 7] = [5.6, 6.3, 7.1, 8.0, 9.0, 10.0, 11.0];

proptest! {
    /// What is said of stops holds in the table that stands beside it, whatever that is.
    #[test]
    fn the_answer_never_contradicts_its_table(
        widths in prop::collection::vec(prop::collection::vec(0.4..4.0f64, 7), 8),
        flat in prop::collection::vec(any::<bool>(), 8),
        missing in prop::collection::vec((0usize..8, 0usize..7), 0..6),
        tiles in prop::collection::vec(1u32..12, 8),
        names in prop::sample::subsequence(ZoneName::ALL.to_vec(), 8),
        pitch in prop::option::of(2.0..8.0f64),
    ) {
        let zones: Vec<ZoneBlur> = (0..8)
            .map(|z| {
                let value = |k: usize| if flat[z] { widths[z][0] * (1.0 + 0.003 * k as f64) } else { widths[z][k] };
                let points = (0..7)
                    .filter(|&k| !missing.contains(&(z, k)))
                    .map(|k| Point { frame: k, blur: Estimate::new(value(k), 0.05, 9), apart_sd: 0.01 * value(k) })
                    .collect();
                ZoneBlur { name: names[z], points, tiles: tiles[z], of: 12 }
            })
            .collect();
        let f_numbers: Vec<Option<f64>> = THIRDS.iter().map(|&n| Some(n)).collect();
        let apertures = aperture::answer(&zones, &f_numbers, pitch, 1.3);
        // The table shows what the answer rests on.
        let zones = apertures.blurs.clone();
        let said =
            series_view(&[Answer { zones, f_numbers, apertures: Some(apertures), ..answered() }], &[], &[]);
        let group = &said.groups[0];
        let sentence = &group.sentence;
        let stop = |words: &str| stop_after(sentence, words).and_then(|s| s.strip_prefix("f/")?.parse::<f64>().ok());
        let at = |zone: ZoneName, n: f64| {
            let z = group.zones.iter().find(|z| z.zone == zone)?;
            z.points.iter().find(|p| p.f_number == Some(n))?.blur_px
        };
        let silent: Vec<ZoneName> = group.whole_frame_leaves_out.iter().flatten().map(|l| l.zone).collect();
        let speaking: Vec<ZoneName> = group.zones.iter().map(|z| z.zone).filter(|z| !silent.contains(z)).collect();
        // Rounding in the table, half of its last digit.
        let no_worse = |x: f64, y: f64| x <= 1.05 * y + 1e-4;
        if let Some(best) = group.best_whole_frame.as_ref().and_then(|b| b.f_number) {
            if let Some((from, to)) = stop("anything from ").zip(stop_after(sentence, "anything from f/").and(stop(" to "))) {
                for n in THIRDS.iter().filter(|n| (from..=to).contains(*n)) {
                    for &zone in &speaking {
                        if let (Some(x), Some(y)) = (at(zone, *n), at(zone, best)) {
                            prop_assert!(no_worse(x, y), "{zone:?} at {n}: {x} for {y}: {sentence}");
                        }
                    }
                }
            }
            // No other stop at which every zone that speaks is known has a less blurred worst zone.
            let worst = |n: f64| {
                speaking.iter().map(|&z| at(z, n)).collect::<Option<Vec<f64>>>().map(|w| w.into_iter().fold(0.0, f64::max))
            };
            for other in THIRDS.iter().filter_map(|&n| worst(n)) {
                prop_assert!(worst(best).unwrap() <= other + 1e-9, "{sentence}");
            }
        }
        let least = |zone: ZoneName| THIRDS.iter().filter_map(|&n| at(zone, n)).fold(f64::INFINITY, f64::min);
        if let Some(n) = stop("The corners need ") {
            for zone in speaking.iter().copied().filter(|z| z.is_corner()) {
                if let Some(x) = at(zone, n) {
                    prop_assert!(no_worse(x, least(zone)), "{zone:?} at {n}: {sentence}");
                }
            }
        }
        for (words, zone) in [("the centre", ZoneName::Centre), ("the subject", ZoneName::Subject)] {
            if let Some(n) = stop(&format!("{words} loses nothing until ")) {
                prop_assert!(no_worse(at(zone, n).unwrap(), least(zone)), "{sentence}");
            }
        }
    }
}

#[test]
fn a_zone_that_the_aperture_does_not_change_has_no_say_and_is_named() {
    let (mut zones, f_numbers, pitch) = aperture_series();
    let free = aperture::answer(&zones, &f_numbers, Some(pitch), 1.3);
    // A bare wall in a corner: soft, and at all stops alike.
    let points = |width: f64| {
        (0..7).map(|frame| Point { frame, blur: Estimate::new(width, 0.05, 9), apart_sd: 0.02 }).collect::<Vec<_>>()
    };
    zones.push(ZoneBlur { name: ZoneName::TopRight, points: points(2.9), tiles: 9, of: 9 });
    let answer = aperture::answer(&zones, &f_numbers, Some(pitch), 1.3);
    assert_eq!(
        (answer.whole, &answer.left_out[..]),
        (free.whole, &[(ZoneName::TopRight, aperture::LeftOut::NoChange)][..])
    );
    // And one that no stop shows sharp.
    zones.pop();
    let mut far = zones[0].clone();
    far.name = ZoneName::Far;
    far.points.iter_mut().for_each(|p| p.blur.value = 40.0 / STOPS[p.frame] + 3.0);
    zones.push(far);
    let answer = aperture::answer(&zones, &f_numbers, Some(pitch), 1.3);
    assert_eq!(
        (answer.whole, &answer.left_out[..]),
        (free.whole, &[(ZoneName::Far, aperture::LeftOut::NeverSharp)][..])
    );
}

/// Widths by tile in a picture of 12 x 8 tiles: a subject in focus before ground far behind it, each integrated from the
/// pupil, and a patch that no stop changes.
fn portrait(stops: &[f64]) -> (Blurs, Vec<Region>) {
    let tiles: Vec<Region> =
        (0..96).map(|t| Region { x: 50 * (t % 12), y: 50 * (t / 12), width: 50, height: 50 }).collect();
    let defocus_um = |t: u32| match (t % 12, t / 12) {
        (4..=7, 2..=7) => 4.0,
        (0..=2, 0..=1) => -1.0,
        (_, 0..=4) => 130.0,
        _ => 50.0,
    };
    let width = |n: f64, t: u32| match defocus_um(t) {
        d if d < 0.0 => 3.2,
        d => Psf::lens(n, 4.0, d / n).softened(0.35, 0.35, 0.0).truth().sigma,
    };
    // Two per cent of error, the same for none.
    let error = |k: usize, t: u32| 1.0 + 0.02 * (f64::from((7 * t + 5 * k as u32) % 9) / 4.0 - 1.0);
    let frame = |(k, n): (usize, &f64)| {
        (0..96).map(|t| Some(Estimate::new(width(*n, t) * error(k, t), 0.03, 9))).collect::<Vec<_>>()
    };
    let blurs = Blurs {
        sigma: stops.iter().enumerate().map(frame).collect(),
        apart_sd: vec![vec![0.02; 96]; stops.len()],
        from_middle: vec![vec![(0.0, 0.0); 96]; stops.len()],
        anchor_sd: vec![0.03; 96],
        moved: vec![0; stops.len()],
    };
    (blurs, tiles)
}

/// Zones as rows and columns have them.
fn by_rows(tiles: &[Region]) -> Vec<Zone> {
    let mut zones: Vec<Zone> = ZoneName::ALL
        .into_iter()
        .map(|name| Zone { name, tiles: name.tiles(tiles, 600, 400) })
        .filter(|z| !z.tiles.is_empty())
        .collect();
    zones.push(Zone { name: ZoneName::Near, tiles: (72..96).collect() });
    zones
}

#[test]
fn a_series_of_a_close_subject_is_answered_by_depth() {
    let stops = [16.0, 8.0, 2.8, 1.8];
    let (blurs, tiles) = portrait(&stops);
    let f_numbers = stops.map(Some);
    let zones = by_depth(&by_rows(&tiles), &blurs, &tiles, &f_numbers, None).expect("depths that mix in rows");
    let of = |zones: &[Zone], name: ZoneName| {
        zones.iter().find(|z| z.name == name).map_or_else(Vec::new, |z| z.tiles.clone())
    };
    let subject: Vec<usize> = (0..96).filter(|t| (4..=7).contains(&(t % 12)) && t / 12 >= 2).collect();
    assert_eq!(of(&zones, ZoneName::Subject), subject);
    assert_eq!(of(&zones, ZoneName::Still), [0, 1, 2, 12, 13, 14]);
    let beyond = of(&zones, ZoneName::Beyond);
    assert!(beyond.iter().all(|t| t / 12 <= 4) && of(&zones, ZoneName::Beside).iter().all(|t| t / 12 >= 5));
    assert!(zones.iter().all(|z| !matches!(z.name, ZoneName::Near | ZoneName::Far | ZoneName::Centre)));
    // The subject alone speaks: its sharpest stop is best; what no stop shows as sharp, and what none changes, is named.
    let read = zone_blurs(&zones, &blurs);
    let answer = aperture::answer(&read, &f_numbers, None, 0.8);
    let at = |k: usize| Psf::lens(stops[k], 4.0, 4.0 / stops[k]).softened(0.35, 0.35, 0.0).truth().sigma;
    let best = (0..4).min_by(|&a, &b| at(a).total_cmp(&at(b)));
    assert_eq!(answer.whole, best, "{read:?}");
    let silent = |name: ZoneName| answer.left_out.iter().find(|l| l.0 == name).map(|l| l.1);
    assert_eq!(silent(ZoneName::Subject), None);
    assert_eq!(silent(ZoneName::Beyond), Some(aperture::LeftOut::NeverSharp));
    assert!(silent(ZoneName::Still).is_some());
    // A mark on the ground behind makes that the subject.
    let marked = by_depth(&by_rows(&tiles), &blurs, &tiles, &f_numbers, Some((575.0, 75.0))).unwrap();
    assert_eq!(of(&marked, ZoneName::Subject), beyond);
}

#[test]
fn frames_of_unknown_apertures_are_ordered_by_their_blur_and_shaken_ones_are_not() {
    let (blurs, tiles) = portrait(&[2.8, 16.0, 1.8, 5.6]);
    assert_eq!(deepest_first(&blurs), Some(vec![1, 3, 0, 2]));
    // What shakes blurs all alike.
    let mut shaken = portrait(&[8.0, 8.0, 8.0]).0;
    for (k, frame) in shaken.sigma.iter_mut().enumerate() {
        let shake = |e: &mut Estimate| e.value = e.value.hypot(0.7 * k as f64);
        frame.iter_mut().flatten().for_each(shake);
    }
    assert_eq!(deepest_first(&shaken), None);
    assert_eq!(deepest_first(&portrait(&[8.0, 8.0, 8.0]).0), None);
    let said = series_view(
        &[Answer {
            files: ["a", "b", "c", "d"].map(|f| format!("{f}.jpg")).to_vec(),
            f_numbers: vec![None; 4],
            varied: Varied::Nothing,
            apertures: None,
            zones: Vec::new(),
            deepest_first: deepest_first(&blurs),
            notes: Vec::new(),
            laid: vec![None; 4],
            moved: vec![0.0; 4],
            tiles,
            blurs,
            ..answered()
        }],
        &[],
        &[],
    );
    let sentence = &said.groups[0].sentence;
    assert!(sentence.contains("from deepest to shallowest: b.jpg, d.jpg, a.jpg, c.jpg."), "{sentence}");
}

#[test]
fn one_plane_is_answered_by_its_rows() {
    let stops = [2.8, 5.6, 8.0, 16.0];
    let (mut blurs, tiles) = portrait(&stops);
    for (k, frame) in blurs.sigma.iter_mut().enumerate() {
        for (t, width) in frame.iter_mut().enumerate() {
            // A lens softer towards the corners, sharp ground in all.
            let rest = 0.35 + 0.02 * (t % 12) as f64 / stops[k];
            *width = Some(Estimate::new(
                Psf::lens(stops[k], 4.0, 3.0 / stops[k]).softened(rest, rest, 0.0).truth().sigma,
                0.03,
                9,
            ));
        }
    }
    assert_eq!(by_depth(&by_rows(&tiles), &blurs, &tiles, &stops.map(Some), None), None);
}

#[test]
fn growth_is_no_surer_than_an_error_that_all_zones_share() {
    let (zones, f_numbers, pitch) = aperture_series();
    // The last frame reads 2 % small throughout, and the series ends at f/16 or at f/22.
    let growth = |stops: usize| {
        let mut zones = zones.clone();
        for z in &mut zones {
            z.points.truncate(stops);
            z.points[stops - 1].blur.value *= 0.98;
        }
        aperture::answer(&zones, &f_numbers[..stops], Some(pitch), 1.3).split.unwrap().growth
    };
    for stops in [6, 7] {
        let growth = growth(stops);
        assert!((growth.value - 0.55 / pitch).abs() <= 2.0 * growth.sd, "{stops}: {growth:?}");
    }
    // The less of the blur is diffraction, the more such an error takes.
    assert!(growth(6).sd > growth(7).sd);
}

#[test]
fn a_spoiled_frame_a_missing_stop_and_a_focus_shift_are_named() {
    let (mut zones, mut f_numbers, pitch) = aperture_series();
    for z in &mut zones {
        z.points[3].blur.value *= 2.5;
    }
    assert_eq!(aperture::answer(&zones, &f_numbers, Some(pitch), 1.3).spoiled, [3]);
    f_numbers[3] = None;
    let answer = aperture::answer(&zones, &f_numbers, Some(pitch), 1.3);
    assert_eq!(answer.gaps, [(5.6, 11.0, Some(8.0))]);
    assert!(answer.spoiled.is_empty());
    let (mut zones, f_numbers, pitch) = aperture_series();
    zones[1].points[1].blur.value *= 1.3;
    zones[1].points[2].blur.value *= 1.5;
    let answer = aperture::answer(&zones, &f_numbers, Some(pitch), 1.3);
    assert!(answer.focus_shift.iter().all(|s| s.zone == ZoneName::Centre) && !answer.focus_shift.is_empty());
}

/// A bracket over a strip of tiles from far (top) to near: frame k is sharp about tile 2 k.
fn strip(frames: usize, tiles: usize) -> (Blurs, Vec<Region>) {
    let width = |k: usize, t: usize| (0.36 + (0.35 * (t as f64 - 2.0 * k as f64)).powi(2)).sqrt();
    let sigma = (0..frames).map(|k| (0..tiles).map(|t| Some(Estimate::new(width(k, t), 0.02, 4))).collect()).collect();
    let blurs = Blurs {
        sigma,
        apart_sd: vec![vec![0.02; tiles]; frames],
        from_middle: vec![vec![(0.0, 0.0); tiles]; frames],
        anchor_sd: vec![0.05; tiles],
        moved: vec![0; frames],
    };
    let regions = (0..tiles).map(|t| Region { x: 0, y: 50 * t as u32, width: 50, height: 50 }).collect();
    (blurs, regions)
}

#[test]
fn a_bracket_is_covered_by_the_fewest_frames_near_to_far() {
    let (blurs, tiles) = strip(5, 12);
    let ends: Vec<ZoneBlur> = [(ZoneName::Far, 0), (ZoneName::Near, 11)]
        .into_iter()
        .map(|(name, t)| ZoneBlur {
            name,
            points: (0..5).map(|k| Point { frame: k, blur: blurs.sigma[k][t].unwrap(), apart_sd: 0.02 }).collect(),
            tiles: 1,
            of: 1,
        })
        .collect();
    let answer = bracket::answer(&ends, &bracket::widths(&blurs, &tiles, &[], None), &tiles, 1.0);
    // Reach of a frame: sqrt(1 - 0.36) / 0.35 = 2.3 tiles each way, so 0 to 10 in reach and 11 beyond.
    assert_eq!(answer.uncovered, [11]);
    assert_eq!(answer.best_single, Some(3), "5.5 lies between the frames at 4 and 6; 6 is nearer the far end's 11");
    let covered = |t: usize| answer.covering_set.iter().any(|&k| blurs.sigma[k][t].unwrap().value <= 1.0);
    assert!((0..11).all(covered));
    // Three frames of five tiles each cover eleven; several threes will do; near comes first.
    assert_eq!(answer.covering_set.len(), 3, "{:?}", answer.covering_set);
    assert!(answer.covering_set.is_sorted_by(|a, b| a > b), "{:?}", answer.covering_set);
}

#[test]
fn where_no_far_zone_was_found_the_farthest_tiles_stand_for_it() {
    // Level ground in twelve columns; the near zone alone would choose the frame that is focused nearest.
    let sigma: Vec<Vec<Option<f64>>> = (0..5)
        .map(|k| (0..96).map(|t| Some(f64::hypot(0.6, 0.4 * (f64::from(t / 12) - 1.75 * f64::from(k))))).collect())
        .collect();
    let place = Some((0..96).map(|t| Some(f64::from(t / 12))).collect());
    let tiles: Vec<Region> =
        (0..96).map(|t| Region { x: 50 * (t % 12), y: 50 * (t / 12), width: 50, height: 50 }).collect();
    let point = |k: usize| Point { frame: k, blur: Estimate::new(sigma[k][95].unwrap(), 0.02, 4), apart_sd: 0.02 };
    let near = ZoneBlur { name: ZoneName::Near, points: (0..5).map(point).collect(), tiles: 12, of: 12 };
    let answer = |place: Option<Vec<Option<f64>>>| {
        let depth = place.map(|place| bracket::Depth { place, ..bracket::Depth::default() });
        let widths = bracket::Widths { sigma: sigma.clone(), depth, doubt: 0.0 };
        bracket::answer(std::slice::from_ref(&near), &widths, &tiles, 1.0).best_single
    };
    assert_eq!(answer(place), Some(2), "focused half way between row 0 and row 7");
    assert_eq!(answer(None), Some(4));
}

proptest! {
    /// The frame called best for near and far together is so by the table beside it, whatever that is.
    #[test]
    fn the_best_single_frame_never_contradicts_its_table(
        places in prop::collection::vec(-6.0..6.0f64, 40),
        widths in prop::collection::vec(0.4..4.0f64, 40 * 6),
        known in prop::collection::vec(prop::bool::weighted(0.9), 40 * 6),
        modelled in any::<bool>(),
    ) {
        let tiles: Vec<Region> =
            (0..40).map(|t| Region { x: 50 * (t % 8), y: 50 * (t / 8), width: 50, height: 50 }).collect();
        let sigma: Vec<Vec<Option<f64>>> =
            (0..6).map(|k| (0..40).map(|t| known[40 * k + t].then_some(widths[40 * k + t])).collect()).collect();
        let place = modelled.then(|| places.into_iter().map(Some).collect());
        let depth = place.map(|place| bracket::Depth { place, ..bracket::Depth::default() });
        let widths = bracket::Widths { sigma, depth, doubt: 0.04 };
        let zone = |name, t: usize| ZoneBlur {
            name,
            points: (0..6)
                .filter_map(|k| Some(Point { frame: k, blur: Estimate::new(widths.sigma[k][t]?, 0.02, 4), apart_sd: 0.02 }))
                .collect(),
            tiles: 1,
            of: 1,
        };
        let read = vec![zone(ZoneName::Near, 39), zone(ZoneName::Far, 0)];
        let table = ends(&widths, &tiles).map_or(read.clone(), |e| settled(read, &e));
        let answer = bracket::answer(&table, &widths, &tiles, 1.0);
        let at = |z: &ZoneBlur, k: usize| z.points.iter().find(|p| p.frame == k).map(|p| p.blur.value);
        let worst = |k: usize| {
            let both: Option<Vec<f64>> =
                table.iter().filter(|z| matches!(z.name, ZoneName::Near | ZoneName::Far)).map(|z| at(z, k)).collect();
            both.map(|w| w.into_iter().fold(0.0, f64::max))
        };
        if let Some(best) = answer.best_single {
            let least = worst(best);
            prop_assert!(least.is_some());
            prop_assert!((0..6).filter_map(worst).all(|w| Some(w) >= least), "{best}: {table:?}");
        }
    }
}

#[test]
fn frames_of_several_apertures_are_not_fitted_as_one_bracket() {
    let (blurs, tiles) = strip(5, 12);
    let of = |f_numbers: &[f64]| {
        bracket::widths(&blurs, &tiles, &f_numbers.iter().map(|n| Some(*n)).collect::<Vec<_>>(), Some(4.0))
    };
    let mixed = of(&[2.8, 11.0, 11.0, 11.0, 11.0]);
    let measured = |k: usize, t: usize| blurs.sigma[k][t].unwrap().value;
    // Without neighbours a width stays as measured, less the benefit of chance.
    assert!((0..5).all(|k| {
        let width = |t: usize| mixed.sigma[k][t].unwrap();
        (0..12).all(|t| width(t) < measured(k, t) && width(t) > 0.9 * measured(k, t))
    }));
    assert_ne!(of(&[11.0; 5]), mixed);
}

#[test]
fn a_margin_within_chance_is_not_called_real() {
    let frame = |factor: f64, seed: usize| -> Vec<Option<Estimate>> {
        (0..40)
            .map(|t| {
                let noise = 1.0 + 0.04 * (((t * 7 + seed * 13) % 11) as f64 / 5.0 - 1.0);
                Some(Estimate::new(factor * noise, 0.04, 5))
            })
            .collect()
    };
    let clear = sharpest(&[frame(1.2, 1), frame(1.0, 2), frame(1.5, 3)]).unwrap();
    assert!(clear.frame == 1 && clear.real && (clear.margin.value - 0.2).abs() < 0.03);
    let even = sharpest(&[frame(1.0, 1), frame(1.003, 2)]).unwrap();
    assert!(!even.real && even.softer.is_empty());
    let spoiled = sharpest(&[frame(1.0, 1), frame(1.003, 2), frame(1.6, 3)]).unwrap();
    assert!(!spoiled.real && spoiled.softer == [2], "{spoiled:?}");
}

#[test]
fn a_blurred_near_duplicate_is_not_among_those_to_keep() {
    let margin = Estimate::new(0.004, 0.002, 100);
    let answer = |softer: Vec<usize>| Answer {
        files: ["a.jpg", "b.jpg", "c.jpg"].map(String::from).into(),
        varied: Varied::Nothing,
        apertures: None,
        zones: Vec::new(),
        f_numbers: vec![Some(8.0); 3],
        moved: vec![0.0; 3],
        laid: Vec::new(),
        notes: Vec::new(),
        sharpest: Some(Sharpest { frame: 0, margin, real: false, softer }),
        ..answered()
    };
    let said = |softer| series_view(&[answer(softer)], &[], &[]).groups[0].sentence.clone();
    assert!(said(vec![1]).ends_with("keep either but b.jpg, which is softer."), "{}", said(vec![1]));
    assert!(said(vec![]).ends_with("keep any."), "{}", said(vec![]));
}

/// An answered aperture series, made once: its fit takes half a second.
fn answered() -> Answer {
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

#[test]
fn the_view_keeps_its_contract() {
    let alone = [Alone { file: "x.jpg".into(), why: Lone::OtherSize((3, 2), (6, 4)) }];
    let failures = [FailureView {
        file: "y.jpg".into(),
        problem: "it is empty".into(),
        advice: "Copy it again.".into(),
        detail: None,
        stand_in: None,
    }];
    let view = series_view(&[answered()], &alone, &failures);
    let json = serde_json::to_value(&view).unwrap();
    assert_eq!(json["format"], "tussock.series");
    assert_eq!(json["version"], 1);
    let group = &json["groups"][0];
    assert_eq!(group["varied"], "aperture");
    assert_eq!(group["members"].as_array().unwrap().len(), 7);
    let point = &group["zones"][0]["points"][0];
    assert_eq!((&point["file"], &point["f_number"]), (&group["members"][0], &serde_json::json!(2.8)));
    assert!(point["blur_px"].is_f64() && point["blur_px_sd"].is_f64());
    assert!(group["zones"][1]["best_f_number"].is_f64());
    let whole = answered().apertures.unwrap().whole.unwrap();
    assert_eq!(group["best_whole_frame"]["f_number"], serde_json::json!(STOPS[whole]));
    for absent in ["covering_set", "uncovered", "sharpest"] {
        assert!(group[absent].is_null(), "{absent}");
    }
    assert_eq!(json["failures"][0]["file"], "y.jpg");
    let sentence = group["sentence"].as_str().unwrap();
    assert!(
        sentence.contains("The corners need f/") && sentence.contains("the centre loses nothing until f/"),
        "{sentence}"
    );
    let laid = group["laid"].as_array().unwrap();
    assert_eq!(laid.len(), 2);
    assert_eq!(
        (&laid[0]["shift_x_px"], &laid[0]["turned_degrees"]),
        (&serde_json::json!(0.0), &serde_json::json!(0.0))
    );
    assert_eq!(
        (&laid[1]["shift_x_px"], &laid[1]["shift_y_px"]),
        (&serde_json::json!(-5000.0), &serde_json::json!(1000.0))
    );
    let soft = &group["notes"][2];
    assert!(soft["file"].is_null() && soft["sentence"].as_str().unwrap().contains("stays soft"), "{soft}");
    let text = series_text(&view);
    assert!(text.contains("f/5.6") && text.contains("top left corner"));
}

#[test]
fn the_page_needs_no_script_and_escapes_names() {
    let page = series_html(&series_view(&[answered()], &[], &[]), &[]);
    assert!(!page.contains("<script") && !page.contains("<b>moor") && page.contains("&lt;b&gt;moor"));
    assert!(page.contains("<svg") && page.contains(">f/5.6</text>"), "stops mark the axis");
}

#[test]
fn the_chart_says_what_the_answer_says_and_no_more() {
    let page = |within: &[usize], left_out: &[(ZoneName, aperture::LeftOut)], spoiled: Option<usize>| {
        let mut answer = answered();
        let apertures = answer.apertures.as_mut().unwrap();
        (apertures.whole_within, apertures.left_out) = (within.to_vec(), left_out.to_vec());
        answer.notes = spoiled.map(|k| (Some(k), NoteKind::Spoiled)).into_iter().collect();
        series_html(&series_view(&[answer], &[], &[]), &[])
    };
    // The lines of the axes have two points each.
    let of_first_line = |page: &str| {
        let lines = page.split("<polyline").skip(1).filter_map(|p| p.split("points=\"").nth(1)?.split('"').next());
        lines.map(|points| points.split_whitespace().count()).find(|n| *n > 2)
    };
    let words =
        ["within 5 % of the best for the whole frame", "Thin lines had no say", "frames left out of the answers"];
    let all = page(&[2, 3], &[(ZoneName::Centre, aperture::LeftOut::NoChange)], Some(6));
    let none = page(&[3], &[], None);
    for word in words {
        assert!(all.contains(word) && !none.contains(word), "{word}");
    }
    assert_eq!(
        (of_first_line(&none), of_first_line(&all)),
        (Some(7), Some(6)),
        "a frame that was left out lies on no line"
    );
}

#[test]
fn the_page_shows_each_zone_from_every_frame_and_which_is_sharpest_where() {
    // Two members of a picture of 600 x 400 px; the second lies 30 px to the right and is the sharper in the left half.
    let tiles: Vec<Region> =
        (0..96).map(|t| Region { x: 50 * (t % 12), y: 50 * (t / 12), width: 50, height: 50 }).collect();
    let width = |k: usize, t: usize| if (t % 12 < 6) == (k == 1) { 0.6 } else { 1.2 };
    let mut blurs = strip(2, 96).0;
    for (k, frame) in blurs.sigma.iter_mut().enumerate() {
        frame.iter_mut().enumerate().for_each(|(t, w)| *w = (t != 5).then(|| Estimate::new(width(k, t), 0.02, 4)));
    }
    let parts = vec![Zone { name: ZoneName::Centre, tiles: vec![50, 51, 52] }];
    let answer = Answer {
        files: vec!["a.tif".into(), "b.tif".into()],
        f_numbers: vec![None; 2],
        varied: Varied::Focus,
        apertures: None,
        bracket: Some(bracket::Bracket::default()),
        zones: zone_blurs(&parts, &blurs),
        parts,
        tiles,
        blurs,
        size: (600, 400),
        notes: Vec::new(),
        moved: vec![0.0; 2],
        laid: vec![Some(Similarity::still()), Some(Similarity { shift: (30.0, 0.0), ..Similarity::still() })],
        ..answered()
    };
    let mut shown = Shown::new(&answer);
    assert_eq!(
        shown.cells.iter().filter(|c| c.1 == Some(1)).count(),
        47,
        "the left half, but for a tile without number"
    );
    assert_eq!(shown.cells[5].1, None);
    let (x, y) = shown.strips[0].at;
    assert!([50, 51, 52].iter().any(|&t| answer.tiles[t].middle() == (x, y)));
    // A bright pixel at the place of the patch in the reference, and 30 px to the right in the other.
    let plane = |at: usize| {
        let mut plane = Plane {
            width: 600,
            height: 400,
            data: vec![1000; 600 * 400],
            black: 0,
            white: 60_000,
            saturation: 60_000,
            mosaic: Mosaic::None,
            jpeg: None,
            rendered: true,
        };
        for i in 0..100 {
            plane.data[(y as usize + i / 10) * 600 + at + i % 10] = 50_000;
        }
        plane
    };
    let take = |shown: &mut Shown, member: usize, at: usize| {
        let plane = plane(at);
        shown.take(&answer, member, &Pixels { plane: &plane, colour: None, tint: None });
    };
    take(&mut shown, 0, x as usize);
    take(&mut shown, 1, x as usize + 30);
    let bright = |k: usize| {
        let picture = shown.strips[0].patches[k].as_ref().expect("a patch");
        let grey = image::load_from_memory(&picture.jpeg).unwrap().to_luma8();
        assert_eq!(grey.dimensions(), (160, 160));
        grey.enumerate_pixels().filter(|p| p.2.0[0] > 150).map(|p| (p.0, p.1)).min().expect("the bright place")
    };
    assert_eq!(bright(0), (80, 80));
    assert_eq!(bright(1), (80, 80));
    assert!(shown.overview.is_some());
    let page = series_html(&series_view(&[answer], &[], &[]), &[shown]);
    assert_eq!(page.matches("<img src=\"data:image").count(), 2);
    let map =
        page.split("<figure class=\"where\">").nth(1).and_then(|rest| rest.split("</svg>").next()).expect("a map");
    assert_eq!(map.matches("<rect ").count(), 95, "one a tile that has a sharpest frame");
    // One frame is the sharpest on the left, the other on the right: one border, and a name each.
    assert_eq!((map.matches("<text ").count(), map.matches("class=\"border\"").count()), (2, 1));
    assert_eq!(page.matches("class=\"best\"").count(), 1);
    assert!(!page.contains("<script") && page.contains("2:1"));
}

#[test]
fn the_published_schema_is_current() {
    let schema =
        serde_json::to_string_pretty(&schemars::schema_for!(tussock::report::series::SeriesView)).unwrap() + "\n";
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/schemas/series-1.schema.json");
    if std::env::var_os("TUSSOCK_WRITE_SCHEMAS").is_some() {
        std::fs::create_dir_all(concat!(env!("CARGO_MANIFEST_DIR"), "/schemas")).unwrap();
        std::fs::write(path, &schema).unwrap();
    }
    let published = std::fs::read_to_string(path).unwrap_or_default();
    assert!(published == schema, "the format changed: raise its version or publish it with TUSSOCK_WRITE_SCHEMAS=1");
}

/// Frames of one scene as JPEG files: f-number and width of each, in the order of their names.
fn write_series(folder: &std::path::Path, frames: &[(f64, f64)], facts: bool) {
    const CANVAS: usize = 420;
    for (i, &(n, sigma)) in frames.iter().enumerate() {
        let psf = Psf::gaussian(sigma);
        let width = CANVAS - 2 * psf.reach().ceil() as usize;
        let view = View { shift: (i as f64 * 1.3, -0.7 * i as f64), ..View::default() };
        let spec =
            PatchSpec { texture: Texture::Leaves, psf, width, height: width, seed: 77, view, ..PatchSpec::default() };
        let light = patch_luminance(&spec);
        let edge = (width - 368) / 2;
        let luminance: Vec<f32> =
            (edge..edge + 368).flat_map(|y| light[y * width + edge..][..368].iter().map(|v| 0.7 * v)).collect();
        let facts = facts.then(|| Facts {
            f_number: n,
            focal_mm: 24.0,
            pitch_um: 4.0,
            crop: 1.5,
            focus_m: None,
            exposure_s: (1, 100),
            iso: 100,
            date: format!("2026:05:01 10:00:{:02}", 10 + i),
        });
        let developing = Developing { quality: 97, sharpening: 0.0, noise: Noise::at_snr(80.0, 0.35), seed: i as u64 };
        let light = Light { width: 368, height: 368, luminance: &luminance, chroma: None };
        let bytes = jpeg(&light, facts.as_ref(), &developing).unwrap();
        std::fs::write(folder.join(format!("moor-{i}.jpg")), bytes).unwrap();
    }
}

fn tussock() -> assert_cmd::Command {
    assert_cmd::Command::cargo_bin("tussock").unwrap()
}

#[test]
fn the_command_names_every_bad_frame_and_answers_the_rest() {
    let folder = tempfile::tempdir().unwrap();
    write_series(folder.path(), &[(4.0, 1.5), (5.6, 1.0), (8.0, 0.8), (16.0, 1.2)], true);
    let whole = std::fs::read(folder.path().join("moor-0.jpg")).unwrap();
    std::fs::write(folder.path().join("torn.jpg"), &whole[..whole.len() / 2]).unwrap();
    let small = image::load_from_memory(&whole).unwrap().thumbnail(184, 184);
    small.save(folder.path().join("small.png")).unwrap();
    let out = folder.path().join("answers");
    tussock().arg("series").arg(folder.path()).arg("--out").arg(&out).assert().code(1);
    let json: serde_json::Value = serde_json::from_slice(&std::fs::read(out.join("series.json")).unwrap()).unwrap();
    let group = &json["groups"][0];
    assert_eq!(group["varied"], "aperture", "{json:#}");
    assert_eq!(group["members"].as_array().unwrap().len(), 4);
    assert_eq!(group["best_whole_frame"]["f_number"], 8.0, "{}", group["sentence"]);
    assert!(json["failures"][0]["file"].as_str().unwrap().ends_with("torn.jpg"));
    assert!(json["alone"][0]["sentence"].as_str().unwrap().contains("only frames of one size"));
    assert!(std::fs::read_to_string(out.join("index.html")).unwrap().contains("<svg"));
}

/// Each file was read: a frame without a mate is a remark, no failure.
#[test]
fn a_frame_without_a_mate_is_no_failure() {
    let folder = tempfile::tempdir().unwrap();
    write_series(folder.path(), &[(4.0, 1.5), (8.0, 0.8)], true);
    let spec = PatchSpec { texture: Texture::Rock, seed: 9, width: 368, height: 368, ..PatchSpec::default() };
    let grey: Vec<u8> = patch_luminance(&spec).iter().map(|v| (255.0 * v.clamp(0.0, 1.0)) as u8).collect();
    image::save_buffer(folder.path().join("rock.png"), &grey, 368, 368, image::ColorType::L8).unwrap();
    let told = tussock().arg("series").arg(folder.path()).assert().code(0);
    assert!(String::from_utf8_lossy(&told.get_output().stdout).contains("rock.png: No frame"));
}

/// An audit and the series command have one answer for the same frames: near-duplicates and the aperture series of the demo.
#[test]
fn an_audit_says_of_the_demo_what_the_series_command_says() {
    let folder = tempfile::tempdir().unwrap();
    let shoot = folder.path().join("shoot");
    std::fs::create_dir(&shoot).unwrap();
    for recipe in tussock::simulate::recipes::shoot().iter().filter(|r| r.file >= "09") {
        std::fs::write(shoot.join(recipe.file), recipe.bytes().unwrap()).unwrap();
    }
    let read = |file: std::path::PathBuf| -> serde_json::Value {
        serde_json::from_slice(&std::fs::read(file).unwrap()).unwrap()
    };
    tussock().arg("series").arg(&shoot).arg("--out").arg(folder.path().join("series")).assert().code(0);
    let out = folder.path().join("audit");
    tussock().args(["audit", "--no-cache", "--no-page"]).arg(&shoot).arg("--out").arg(&out).assert().code(0);
    let series = read(folder.path().join("series/series.json"));
    let audit = read(out.join("audit.json"));
    let groups = |of: &serde_json::Value| of["groups"].as_array().unwrap().clone();
    let (series, audit) = (groups(&series), groups(&audit));
    assert_eq!((series.len(), audit.len()), (2, 2));
    for (mut audited, told) in audit.into_iter().zip(series) {
        // The audit adds which of its frames these are, and which to keep.
        let own = audited.as_object_mut().unwrap();
        assert!(own.remove("frames").is_some() && own.remove("best").is_some());
        assert_eq!(audited, told);
    }
    // By the simulator's truth nothing with detail is wider at the smallest aperture than two pixels permit (0.77 px with the
    // pixel's own width), so next to nothing may be called soft there.
    let last = tussock::simulate::recipes::shoot().pop().unwrap();
    let truth = tussock::simulate::landscape(&last.spec).tiles;
    assert!(last.spec.camera.f_number == 16.0 && truth.iter().all(|t| t.detailed < 0.5 || t.truth.sigma < 0.77));
    let soft = |note: &serde_json::Value| note["note"]["soft_content"].as_u64();
    let soft: u64 = groups_notes(&read(folder.path().join("series/series.json"))).iter().filter_map(soft).sum();
    assert!(100 * soft <= truth.len() as u64, "{soft} tiles called soft");
}

fn groups_notes(series: &serde_json::Value) -> Vec<serde_json::Value> {
    let groups = series["groups"].as_array().unwrap();
    groups.iter().flat_map(|g| g["notes"].as_array().unwrap().clone()).collect()
}

#[test]
fn without_exif_the_stops_come_from_the_command_line() {
    let folder = tempfile::tempdir().unwrap();
    write_series(folder.path(), &[(1.8, 1.6), (2.8, 1.0), (8.0, 0.7), (16.0, 1.1)], false);
    let out = folder.path().join("answers");
    let ask = |stops: &str| {
        let mut command = tussock();
        command.arg("series").arg(folder.path()).args(["--apertures", stops]).arg("--out").arg(&out);
        command.assert()
    };
    ask("1.8,2.8,8").code(2);
    ask("1.8,2.8,8,16").code(0);
    let json: serde_json::Value = serde_json::from_slice(&std::fs::read(out.join("series.json")).unwrap()).unwrap();
    assert_eq!(json["groups"][0]["best_whole_frame"]["f_number"], 8.0);
    // One frame is no series.
    let one = tussock().arg("series").arg(folder.path().join("moor-0.jpg")).assert().code(2);
    assert!(String::from_utf8_lossy(&one.get_output().stderr).contains("no series"));
}

/// The sites between a Bayer sensor's green ones are filled with nonsense: the answer must not see them.
#[test]
fn only_measured_samples_of_a_mosaic_are_compared() {
    let spec = PatchSpec { texture: Texture::Gravel, psf: Psf::gaussian(0.75), seed: 21, ..PatchSpec::default() };
    let green = |spec: &PatchSpec| {
        let mut plane = framed(spec).0;
        plane.mosaic = Mosaic::Checkerboard { even: false };
        for y in 0..SIDE {
            for x in (0..SIDE).filter(|x| (x + y) % 2 == 0) {
                plane.data[y * SIDE + x] = if (x * 7 + y * 3) % 5 < 2 { 4000 } else { 52_000 };
            }
        }
        plane
    };
    let view = View { shift: (2.4, 1.7), ..View::default() };
    let (pa, pb) = (green(&spec), green(&PatchSpec { psf: Psf::gaussian(1.25), view, noise_seed: 4, ..spec }));
    let known = Registration { map: map_of(&view), residual_px: 0.0, compared: 0, agreement: 1.0, offsets: Vec::new() };
    let tile = [Region { x: 68, y: 68, width: 136, height: 136 }];
    let (sa, sb) = (spectra(&pa, &pa, None, &tile), spectra(&pa, &pb, Some(&known), &tile));
    let read = relative(&sa.tiles[0], &sb.tiles[0], 0.75, 1.0, Contrast::Linear).unwrap();
    let width = (0.75f64.powi(2) + read.squared.value).sqrt();
    assert!((width / 1.25 - 1.0).abs() < 0.04, "{width}");
}

#[test]
fn each_odd_frame_of_a_series_is_named_and_the_rest_is_answered() {
    let folder = tempfile::tempdir().unwrap();
    // f/11 is missing, and at f/5.6 the focus slipped.
    write_series(folder.path(), &[(2.8, 1.5), (4.0, 1.1), (5.6, 2.8), (8.0, 0.75), (16.0, 1.2)], true);
    let file = |name: &str| folder.path().join(name);
    std::fs::copy(file("moor-1.jpg"), file("moor-1-again.jpg")).unwrap();
    // The same scene without Exif, once upright and once turned.
    let bare = image::open(file("moor-3.jpg")).unwrap();
    bare.save(file("moor-3-bare.png")).unwrap();
    bare.rotate90().save(file("moor-3-turned.png")).unwrap();
    std::fs::write(file("moor-5.jpg"), b"").unwrap();
    let out = file("answers");
    tussock().arg("series").arg(folder.path()).arg("--out").arg(&out).assert().code(1);
    let json: serde_json::Value = serde_json::from_slice(&std::fs::read(out.join("series.json")).unwrap()).unwrap();
    let group = &json["groups"][0];
    assert_eq!(json["groups"].as_array().unwrap().len(), 1, "{json:#}");
    assert_eq!((&group["varied"], &group["best_whole_frame"]["f_number"]), (&"aperture".into(), &8.0.into()));
    let notes: Vec<&str> = group["notes"].as_array().unwrap().iter().map(|n| n["sentence"].as_str().unwrap()).collect();
    let said = |words: &str| assert!(notes.iter().any(|n| n.contains(words)), "{words} is not in {notes:#?}");
    // Names in sentences are the files' own, without the folder that all share.
    said("moor-1.jpg is a copy of moor-1-again.jpg");
    said("moor-3-bare.png records no f-number");
    said("moor-2.jpg is softer all over");
    said("gap between f/8 and f/16");
    let alone = &json["alone"][0];
    assert!(alone["file"].as_str().unwrap().ends_with("moor-3-turned.png"), "{json:#}");
    assert!(alone["sentence"].as_str().unwrap().contains("quarter turns"));
    assert!(json["failures"][0]["file"].as_str().unwrap().ends_with("moor-5.jpg"));
}

#[test]
fn a_thin_zone_does_not_decide_for_the_whole_frame() {
    let (mut zones, f_numbers, pitch) = aperture_series();
    let free = aperture::answer(&zones, &f_numbers, Some(pitch), 1.3);
    // One odd tile, best wide open and worse than all else everywhere.
    let points = (0..7)
        .map(|frame| {
            let width = 4.0 + frame as f64;
            Point { frame, blur: Estimate::new(width, 0.1, 1), apart_sd: 0.1 }
        })
        .collect();
    zones.push(ZoneBlur { name: ZoneName::TopRight, points, tiles: 2, of: 2 });
    // And a zone seen at three stops only.
    zones.push(ZoneBlur { name: ZoneName::Far, points: zones[0].points[..3].to_vec(), tiles: 9, of: 9 });
    // And a corner most of which shows nothing that could be measured.
    let pool = zones[3].points.clone();
    zones.push(ZoneBlur { name: ZoneName::BottomLeft, points: pool, tiles: 4, of: 9 });
    let answer = aperture::answer(&zones, &f_numbers, Some(pitch), 1.3);
    assert_eq!(answer.whole, free.whole);
    assert_eq!(
        answer.left_out,
        [
            (ZoneName::TopRight, aperture::LeftOut::FewTiles),
            (ZoneName::Far, aperture::LeftOut::FewStops),
            (ZoneName::BottomLeft, aperture::LeftOut::FewTiles)
        ]
    );
    assert!(free.left_out.is_empty());
}
