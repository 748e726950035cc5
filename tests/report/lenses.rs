//! What a whole shoot shows of its lens: in the terminal, on the page and in JSON, and never in the answer to a frame.

use tussock::diagnose::{Reading, ZoneName, together};
use tussock::judge::Answer;
use tussock::quantity::{Estimate, Intent};
use tussock::report::{self, BaselineSource, Frame, LensBasis, Run, View};

use crate::shoot::{FAULTS, frame};

/// A frame of one scene with these widths in the middle and the four corners, each known to 0.05 px.
fn scene(k: usize, widths: [f64; 5]) -> Frame {
    let mut f = frame(&format!("moor/{k}.jpg"), &FAULTS[0], k as u32 + 1, &Intent::default());
    let d = &mut f.diagnosis;
    for (name, width) in ZoneName::JUDGED.into_iter().skip(2).zip(widths) {
        let zone = d.zones.iter_mut().find(|z| z.name == name).unwrap();
        let optical = Estimate::new(width, 0.05, 9);
        (zone.optical_px, zone.answer) = (Some(optical), Answer::by(optical, d.permitted_px, d.finest_px));
    }
    f
}

/// The view of a shoot, whose lens was learned from it where that is asked for.
fn shoot(frames: Vec<Frame>, taught: bool) -> View {
    let reading = |f: &Frame| Reading::of(&f.capture, &f.flags, (f.map.width, f.map.height), f.group, &f.diagnosis);
    let lenses = together(&frames.iter().map(reading).collect::<Vec<_>>());
    let basis = LensBasis {
        lens: "Wide".into(),
        focal_length_mm: None,
        source: if taught { BaselineSource::Shoot } else { BaselineSource::Assumed },
        file: None,
        baseline: None,
        unsuitable: None,
        frames: (0..frames.len()).collect(),
    };
    report::view(&Run { frames, baselines: vec![basis], lenses, ..Run::default() })
}

fn said(view: &View) -> String {
    let text = report::text(view, 120);
    let page = report::html(view, &[]);
    let json = String::from_utf8(report::json(view)).unwrap();
    let sentence = view.lenses[0].sentence.clone().unwrap_or_default();
    // Terminal, page and JSON say the same, or all nothing.
    let on_page = minijinja::HtmlEscape(&sentence).to_string();
    assert!(text.contains(&sentence) && json.contains(&sentence) && page.contains(&on_page), "{text}");
    assert_eq!(page.contains("What the shoot shows of the lens"), !sentence.is_empty());
    sentence
}

#[test]
fn a_corner_soft_in_every_scene_is_laid_to_the_lens_and_no_frame_is_judged_by_it() {
    let frames: Vec<Frame> = (0..9).map(|k| scene(k, [0.42, 0.47, 0.87 + 0.1 * k as f64, 0.5, 0.5])).collect();
    let alone = report::view(&Run { frames: frames.clone(), ..Run::default() });
    let view = shoot(frames, false);
    let words = said(&view);
    assert!(
        words.contains("the top right corner was softer than the top left in 9 of 9 scenes and sharper in none"),
        "{words}"
    );
    assert!(words.contains("at its sharpest it read 0.87 px at f/11, the top left 0.47 px at f/11"), "{words}");
    assert!(words.contains("most likely the lens, not your focus") && words.contains("flat wall"), "{words}");
    // 2 in 2^9 by the sign test.
    let pair = &view.lenses[0].pairs[0];
    assert_eq!((pair.scenes, pair.left_softer, pair.right_softer, pair.softer), (9, 0, 9, Some(ZoneName::TopRight)));
    assert!(pair.chance.is_some_and(|c| (c - 2.0 / 512.0).abs() < 1e-4));
    for (with, without) in view.frames.iter().zip(&alone.frames) {
        assert_eq!(
            (&with.verdict, &with.zones, &with.corners.soft),
            (&without.verdict, &without.zones, &without.corners.soft)
        );
    }
}

#[test]
fn an_even_lens_is_not_blamed_and_a_lower_corner_alone_with_care() {
    let even: Vec<Frame> = (0..9).map(|k| scene(k, [0.42, 0.47, 0.48, 0.5, 0.5])).collect();
    assert_eq!(said(&shoot(even, false)), "");
    let low: Vec<Frame> = (0..9).map(|k| scene(k, [0.42, 0.47, 0.48, 0.95, 0.5])).collect();
    let words = said(&shoot(low, false));
    assert!(
        words.contains("bottom left corner was softer") && words.contains("unless something near stood"),
        "{words}"
    );
    assert!(!words.contains("not your focus"), "{words}");
}

#[test]
fn a_shoot_that_taught_its_lens_says_how_sharp_its_corners_ever_were() {
    let soft = || -> Vec<Frame> { (0..9).map(|k| scene(k, [0.42, 0.95, 0.93, 1.1, 0.97])).collect() };
    let words = said(&shoot(soft(), true));
    assert!(words.contains("in none of 9 frames was any corner sharper than 0.93 px at f/11"), "{words}");
    assert!(words.contains("the lens, or its curved field") && !words.contains("wall"), "{words}");
    // Nothing of it where the lens is known otherwise or not at all; the numbers stand in JSON.
    let view = shoot(soft(), false);
    assert_eq!(said(&view), "");
    assert!(view.lenses[0].never_sharper.as_ref().is_some_and(|n| n.corner.zone == ZoneName::TopRight));
}
