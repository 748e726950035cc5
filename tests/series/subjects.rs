//! Frames of a close subject before ground far behind it: zones by depth, and the order that the blur tells.

use tussock::quantity::{Estimate, Region};
use tussock::report::series::series_view;
use tussock::series::{Answer, Blurs, Varied, Zone, ZoneName, aperture, by_depth, deepest_first, zone_blurs};
use tussock::simulate::Psf;

use crate::made::answered;

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
        at_least: vec![vec![false; 96]; stops.len()],
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
fn ground_that_recedes_is_answered_near_and_far() {
    // Focused at infinity, the disc grows with the rows below the horizon (thin lens): from 0 to 100 um at f/1.
    let stops = [2.8, 5.6, 11.0, 22.0];
    let width = |k: usize, row: usize| {
        Psf::lens(stops[k], 5.4, 100.0 * row as f64 / 7.0 / stops[k]).softened(0.35, 0.35, 0.0).truth().sigma
    };
    let (mut blurs, tiles) = portrait(&stops);
    for (k, frame) in blurs.sigma.iter_mut().enumerate() {
        let widths: Vec<f64> = (0..8).map(|row| width(k, row)).collect();
        for (t, tile) in frame.iter_mut().enumerate() {
            let error = 1.0 + 0.02 * (((7 * t + 5 * k) % 9) as f64 / 4.0 - 1.0);
            *tile = Some(Estimate::new(widths[t / 12] * error, 0.03, 9));
        }
    }
    let zones = by_rows(&tiles);
    assert_eq!(by_depth(&zones, &blurs, &tiles, &stops.map(Some), None), None);
    // So near ground has its say, and the best stop is that of the nearest row, not of the horizon.
    let best = |row: usize| (0..stops.len()).min_by(|&a, &b| width(a, row).total_cmp(&width(b, row)));
    let answer = aperture::answer(&zone_blurs(&zones, &blurs), &stops.map(Some), Some(5.4), 0.8);
    assert_eq!(answer.whole, best(7));
    assert_ne!(best(7), best(0));
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
