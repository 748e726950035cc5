//! The corners in sentence, table, page, CSV and JSON: one rule, and like quoted against like.

use tussock::diagnose::{Basis, Cause, CornerState, Diagnosis, Undecided, ZoneName};
use tussock::judge::{Answer, Judgement};
use tussock::lens::{Baseline, Entry, LearnedFrom};
use tussock::optics::blur::{Parts, sigma_px};
use tussock::quantity::{Estimate, Flag, Intent};
use tussock::report::{self, BaselineSource, Frame, LensBasis, Run, View};

use crate::shoot::{FAULTS, frame};

/// Sets the optical widths of a frame that permits 0.53 px, and how surely it is judged sharp.
fn with(widths: [f64; 7], state: CornerState, confidence: f64) -> Frame {
    let mut f = frame("moor/a.jpg", &FAULTS[0], 1, &Intent::default());
    let d: &mut Diagnosis = &mut f.diagnosis;
    (d.permitted_px, d.finest_px) = (0.53, 0.709);
    for (name, width) in ZoneName::JUDGED.into_iter().zip(widths) {
        let zone = d.zones.iter_mut().find(|z| z.name == name).unwrap();
        let optical = Estimate::new(width, 0.05, 9);
        (zone.optical_px, zone.answer) = (Some(optical), Answer::by(optical, d.permitted_px, d.finest_px));
    }
    (d.corners.state, d.corners.basis, d.corners.field_curvature) = (state, Basis::Assumed, None);
    (d.verdict.cause, d.verdict.confidence) = (Cause::SharpThroughout, confidence);
    f
}

fn view(frames: Vec<Frame>) -> View {
    report::view(&Run { frames, ..Run::default() })
}

/// The lens's corner in a table of two frames, the first of which is asked for.
fn table(f: &Frame) -> String {
    let text = report::text(&view(vec![f.clone(), f.clone()]), 120);
    text.lines().nth(3).unwrap_or_default().to_owned()
}

fn csv(f: &Frame) -> String {
    String::from_utf8(report::csv(&view(vec![f.clone()]))).unwrap()
}

#[test]
fn a_corner_beyond_its_mirror_image_is_said_to_be_and_no_curved_field_does_that() {
    // Decentred: 0.90 px against 0.40 px is 0.81 px in quadrature, beyond the permitted 0.53 px, though 0.50 px in plain. Wide
    // corners that differ by less than their errors do not, though 1.80 px against 1.72 px is the same 0.53 px.
    for (left, right, says) in [(0.90, 0.40, true), (0.90, 0.85, false), (1.80, 1.72, false)] {
        let widths = [0.45, 0.42, 0.41, 0.45, 0.44, left, right];
        let mut f = with(widths, CornerState::SofterThanExpected, 0.9);
        f.diagnosis.corners.field_curvature = Some(Undecided::Favoured);
        let words = &view(vec![f]).frames[0].verdict.words[0];
        assert_eq!(words.advice.contains("mirror image"), says, "{}", words.advice);
        assert_eq!(words.advice.contains("field curvature"), !says, "{}", words.advice);
    }
}

#[test]
fn corners_as_soft_as_the_frame_are_nobodys_fault_but_the_frames() {
    use CornerState::{AsExpected, SofterThanExpected};
    // Near, far, centre, corners: near just sharp and a corner as wide; a frame soft alike; one corner beyond by chance.
    let alike = [
        [0.57, 0.55, 0.56, 0.58, 0.57, 0.56, 0.57],
        [0.70, 0.70, 0.69, 0.73, 0.74, 0.72, 0.74],
        [0.64, 0.63, 0.62, 0.72, 0.60, 0.61, 0.62],
    ];
    for (widths, state) in alike.iter().flat_map(|&w| [(w, AsExpected), (w, SofterThanExpected)]) {
        let f = with(widths, state, 0.9);
        let v = view(vec![f.clone()]);
        let words = &v.frames[0].verdict.words[0];
        let said = format!("{} {} {}", words.line, words.detail, words.advice);
        assert!(words.line.ends_with("from near to far."), "{said}");
        assert!(!said.contains("corner") && !said.contains("lens"), "{said}");
        assert!(table(&f).contains("normal"), "{}", table(&f));
        assert!(v.frames[0].corners.soft.is_empty());
        let page = report::html(&v, &[]);
        assert!(page.contains("as expected</td>") || page.contains("no softer than the frame</td>"));
    }
    // Depth makes a lower corner soft where near is out of focus: that is the focus, not the corner.
    let mut near = with([2.0, 0.5, 0.5, 0.5, 0.5, 2.1, 2.1], AsExpected, 0.9);
    near.diagnosis.verdict.cause = Cause::FocusTooFar;
    assert!(view(vec![near]).frames[0].corners.soft.is_empty());
}

#[test]
fn a_soft_corner_and_a_soft_side_are_in_the_headline_and_beside_the_name_that_is_kept() {
    let corner = with([0.57, 0.55, 0.56, 0.58, 0.57, 1.4, 0.57], CornerState::AsExpected, 0.9);
    let side = with([0.63, 0.54, 0.56, 0.52, 1.5, 0.52, 1.47], CornerState::SofterThanExpected, 0.5);
    let mut tilted = side.clone();
    tilted.diagnosis.verdict.cause = Cause::LensAsymmetry;
    let v = view(vec![corner.clone(), side.clone(), tilted]);
    let line = |k: usize| v.frames[k].verdict.words[0].line.as_str();
    assert_eq!(line(0), "Just sharp near and far, bottom left corner soft.");
    assert_eq!(line(1), "Probably just sharp near and far, right side soft.");
    assert_eq!(line(2), "Just sharp near and far, right side soft; probably lens asymmetry.");
    // Nobody knows this lens, so that nobody blames it for what many lenses do.
    let detail = &v.frames[0].verdict.words[0].detail;
    assert!(detail.contains("corner is softer (1.40 px)") && !detail.contains("not your focus"), "{detail}");
    assert!(table(&corner).contains("soft  ") && table(&side).contains("softer"), "{}", table(&side));
    assert!(csv(&side).contains("top_right bottom_right"));
    let page = report::html(&v, &[]);
    assert!(page.contains("soft, as a lens may be</td>") && page.contains("softer than expected</td>"));
    let text = report::text(&v, 120);
    assert!(text.contains("(bottom left corner soft)") && text.contains("(right side soft)"), "{text}");
    assert!(v.frames[1].proposal.as_ref().is_some_and(|p| p.keep && p.why == "sharp near and far, right side soft"));
}

/// A frame judged by a baseline that expects `lens_px` in the corners.
fn learned(lens_px: f64, provisional: bool) -> View {
    let mut f = with([0.57, 0.55, 0.56, 0.58, 0.57, 1.4, 0.57], CornerState::AsExpected, 0.9);
    f.diagnosis.corners.basis = Basis::Learned;
    f.diagnosis.corners.expected_px = Some(Estimate::new(lens_px, 0.05, 4));
    let entry =
        Entry { f_number: 11.0, frames: 9, columns: 1, rows: 1, sigma_um: vec![Some(Estimate::new(3.0, 0.3, 9))] };
    let baseline = Baseline {
        lens: "Wide 24 mm".into(),
        focal_length_mm: Some(24.0),
        frame_mm: None,
        provisional,
        learned_from: LearnedFrom::Shoot,
        entries: vec![entry],
        curvature: None,
    };
    let basis = LensBasis {
        lens: baseline.lens.clone(),
        focal_length_mm: Some(24.0),
        source: BaselineSource::Shoot,
        file: None,
        baseline: Some(baseline),
        unsuitable: None,
        frames: vec![0],
    };
    report::view(&Run { frames: vec![f], baselines: vec![basis], ..Run::default() })
}

#[test]
fn a_learned_lens_is_blamed_for_what_it_is_known_to_do() {
    let detail = |v: &View| v.frames[0].verdict.words[0].detail.clone();
    assert!(detail(&learned(1.3, false)).contains("which is the lens, not your focus"));
    assert!(!detail(&learned(0.3, false)).contains("not your focus"), "too sharp a lens to explain it");
    assert!(!detail(&learned(1.3, true)).contains("not your focus"), "learned from these very frames");
    let flagged = |v: &View| v.frames[0].flags.contains(&Flag::LensBaselineProvisional);
    assert!(flagged(&learned(1.3, true)) && !flagged(&learned(1.3, false)));
}

#[test]
fn what_a_corner_reads_is_set_against_what_it_should_read_and_not_against_the_lens_alone() {
    let mut f = with([0.57, 0.55, 0.56, 0.58, 0.57, 0.57, 1.4], CornerState::SofterThanExpected, 0.5);
    f.diagnosis.corners.basis = Basis::Learned;
    f.diagnosis.corners.expected_px = Some(Estimate::new(0.36, 0.1, 4));
    let said = report::words::corners(&f.diagnosis);
    let lambda_n_px = f.diagnosis.model.as_ref().unwrap().lambda_n_px;
    let read = |lens_px: f64| {
        let whole = sigma_px(&Parts { lambda_n_px, lens_px, pixel: true, ..Parts::default() });
        tussock::judge::optical(Estimate::new(whole, 0.0, 1)).value
    };
    assert!(lambda_n_px.is_some() && read(0.36) > 0.36 + 0.05);
    let sd = 0.5 * (read(0.46) - read(0.26));
    let expected = format!("({:.2} \u{b1} {sd:.2} px expected there in focus, learned for this lens)", read(0.36));
    assert!(said.contains(&expected), "{said} without {expected}");
    // From the very frames it is called so.
    f.diagnosis.flags.push(Flag::LensBaselineProvisional);
    assert!(report::words::corners(&f.diagnosis).contains("learned from these very frames, so provisional"));
    assert_eq!(f.diagnosis.answer(ZoneName::BottomRight).judgement, Judgement::Beyond);
}
