//! Near-duplicates: whether the sharpest truly is, and which to keep.

use tussock::quantity::Estimate;
use tussock::report::series::series_view;
use tussock::series::{Answer, Sharpest, Varied, sharpest};

use crate::made::answered;

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
    // What all tiles of a frame exposed otherwise share, their scatter doesn't show.
    let exposed = sharpest(&[frame(1.0, 1), frame(1.035, 1)]).unwrap();
    assert!(!exposed.real && exposed.softer.is_empty(), "{exposed:?}");
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
        sharpest: Some(Sharpest { frame: 0, margin, real: false, softer, confidence: 0.9 }),
        ..answered()
    };
    let said = |softer| series_view(&[answer(softer)], &[], &[]).groups[0].sentence.clone();
    assert!(said(vec![1]).ends_with("keep either but b.jpg, which is softer."), "{}", said(vec![1]));
    assert!(said(vec![]).ends_with("keep any."), "{}", said(vec![]));
}
