//! Focus brackets: the frames that cover the depth, and the best single one.

use proptest::prelude::*;
use tussock::quantity::{Estimate, Region};
use tussock::series::{Point, ZoneBlur, ZoneName, bracket, ends, settled};

use crate::made::strip;

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
        let widths = bracket::Widths { sigma: sigma.clone(), low: None, depth, doubt: 0.0 };
        bracket::answer(std::slice::from_ref(&near), &widths, &tiles, 1.0).best_single
    };
    assert_eq!(answer(place), Some(2), "focused half way between row 0 and row 7");
    assert_eq!(answer(None), Some(4));
}

#[test]
fn frames_of_several_apertures_are_not_fitted_as_one_bracket() {
    let (blurs, tiles) = strip(5, 12);
    let of = |f_numbers: &[f64]| {
        bracket::widths(&blurs, &tiles, &f_numbers.iter().map(|n| Some(*n)).collect::<Vec<_>>(), Some(4.0))
    };
    let mixed = of(&[2.8, 11.0, 11.0, 11.0, 11.0]);
    let measured = |k: usize, t: usize| blurs.sigma[k][t].unwrap().value;
    // Without neighbours a width stays as measured; chance may have made it wider, but by no more than diffraction leaves.
    let low = mixed.low.as_ref().unwrap();
    assert!((0..5).all(|k| {
        (0..12).all(|t| {
            let (width, low) = (mixed.sigma[k][t].unwrap(), low[k][t].unwrap());
            (width / measured(k, t) - 1.0).abs() < 1e-9 && low <= width && low > 0.9 * width
        })
    }));
    assert!(low[0][0].unwrap() < mixed.sigma[0][0].unwrap() - 0.02);
    assert_ne!(of(&[11.0; 5]), mixed);
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
        let widths = bracket::Widths { sigma, low: None, depth, doubt: 0.04 };
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
