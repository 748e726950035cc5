//! What is proposed to be kept, in the same words in terminal, page, CSV and JSON; and how sure the table is.

use tussock::diagnose::{Cause, Unsettled};
use tussock::judge::{Answer, Reason};
use tussock::quantity::{Flag, Intent, ZoneName};
use tussock::report::series::NoteView;
use tussock::report::{self, Run, View};
use tussock::series::NoteKind;

use crate::shoot::{FAULTS, frame, two_apertures};

/// Two frames of one scene, the second of which is the best and soft far, and a third by itself that is sharp.
fn scene() -> View {
    let intent = Intent::default();
    let mut frames = vec![
        frame("moor/T0001.jpg", &FAULTS[3], 1, &intent),
        frame("moor/T0002.jpg", &FAULTS[2], 2, &intent),
        frame("moor/T0003.jpg", &FAULTS[0], 3, &intent),
    ];
    frames[0].group = Some(0);
    frames[1].group = Some(0);
    let group =
        report::group(vec![0, 1], Vec::new(), two_apertures(["moor/T0001.jpg", "moor/T0002.jpg"], "Two apertures."));
    report::view(&Run { frames, groups: vec![group], intent, ..Run::default() })
}

#[test]
fn the_best_of_a_soft_scene_is_called_so_everywhere_and_never_kept_as_sharp() {
    let view = scene();
    assert_eq!((view.frames[1].sharp.throughout, view.groups[0].best), (Some(false), Some(1)));
    let why = "best of its scene, but soft far";
    let text = report::text(&view, 120);
    let named = |head: &str| text.lines().find(|l| l.starts_with(head)).unwrap_or_default().to_owned();
    assert!(named("Keep: ").contains("T0003") && !named("Keep: ").contains("T0002"), "{text}");
    assert!(named("Take again: ").contains(&format!("T0002.jpg ({why}; focus at ")), "{text}");
    let json: serde_json::Value = serde_json::from_slice(&report::json(&view)).unwrap();
    assert_eq!(json["frames"][1]["proposal"], serde_json::json!({"keep": true, "why": why}));
    assert_eq!(json["frames"][0]["proposal"]["keep"], false);
    assert!(String::from_utf8(report::csv(&view)).unwrap().contains(&format!(",keep,\"{why}\",")));
    let page = report::html(&view, &[]);
    let head = page.split("<header").nth(1).and_then(|rest| rest.split("</header>").next()).unwrap();
    let (kept, again) = head.split_once("id=\"again\"").unwrap();
    assert!(kept.contains("#look-3") && !kept.contains("#look-2"), "{head}");
    assert!(again.contains("#look-2") && again.contains(&format!("({why}; focus at ")), "{again}");
    assert!(page.contains("The best, but soft far: <a href=\"#look-2\">") && page.contains(why));
}

/// The README's definition: what is sharp from near to far is kept. Of the best of a scene of which neither end is known,
/// somebody has to look whether it is.
#[test]
fn the_best_of_a_scene_of_which_nothing_is_known_is_not_proposed_to_be_kept() {
    let intent = Intent::default();
    let names = ["moor/T0001.jpg", "moor/T0002.jpg"];
    let mut frames = vec![frame(names[0], &FAULTS[3], 1, &intent), frame(names[1], &FAULTS[2], 2, &intent)];
    frames.iter_mut().for_each(|f| f.group = Some(0));
    for zone in frames[1].diagnosis.zones.iter_mut().filter(|z| matches!(z.name, ZoneName::Near | ZoneName::Far)) {
        (zone.blur_px, zone.optical_px, zone.answer) = (None, None, Answer::unknown(Reason::NoDetail));
    }
    let group = report::group(vec![0, 1], Vec::new(), two_apertures(names, "Two apertures."));
    let view = report::view(&Run { frames, groups: vec![group], intent, ..Run::default() });
    assert_eq!((view.frames[1].sharp.throughout, view.groups[0].best), (None, Some(1)));
    assert_eq!(view.frames[1].proposal, None);
    assert!(!view.frames[0].proposal.as_ref().unwrap().keep);
    let text = report::text(&view, 120);
    assert!(!text.contains("Keep: ") && !text.contains("Take again: "), "{text}");
}

/// The same definition: a frame that is sharp from near to far isn't left out for one that is soft, whatever the comparison says; it
/// is where the best is sharp as well.
#[test]
fn no_sharp_frame_gives_way_to_a_soft_one_of_its_scene() {
    let intent = Intent::default();
    let names = ["moor/T0001.jpg", "moor/T0002.jpg"];
    let proposed = |best: usize| {
        let mut frames = vec![frame(names[0], &FAULTS[0], 1, &intent), frame(names[1], &FAULTS[best], 2, &intent)];
        frames.iter_mut().for_each(|f| f.group = Some(0));
        let sharp = (0..2).filter(|&k| frames[k].diagnosis.sharp_throughout() == Some(true)).collect();
        let group = report::group(vec![0, 1], sharp, two_apertures(names, "Two apertures."));
        let view = report::view(&Run { frames, groups: vec![group], intent, ..Run::default() });
        assert_eq!((view.frames[0].sharp.throughout, view.groups[0].best), (Some(true), Some(1)));
        (view.frames[0].proposal.as_ref().unwrap().keep, report::text(&view, 120))
    };
    let (keep, text) = proposed(2);
    assert!(keep && text.contains("Keep: T0001.jpg.") && !text.contains("Take again: "), "{text}");
    let (keep, text) = proposed(0);
    assert!(!keep && text.contains("Keep: T0002.jpg."), "{text}");
}

/// `tussock keepers --best` promises what the page proposes, copies and covering sets and scenes without a best among it.
#[test]
fn the_command_lists_what_the_view_proposes() {
    let mut several = scene();
    several.groups[0].best = None;
    for view in [scene(), copies(0), copies(1), several] {
        // As a report has it whose proposals are made of its groups.
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("audit.json"), report::json(&view)).unwrap();
        let done = std::process::Command::new(env!("CARGO_BIN_EXE_tussock"))
            .args(["keepers", "--best", "."])
            .current_dir(folder.path())
            .output()
            .unwrap();
        let proposed = view.frames.iter().filter(|f| f.proposal.as_ref().is_some_and(|p| p.keep));
        let proposed: String = proposed.map(|f| format!("{}\n", f.file)).collect();
        assert_eq!(String::from_utf8(done.stdout).unwrap(), proposed);
    }
}

#[test]
fn the_table_says_probably_where_the_page_does() {
    let intent = Intent::default();
    let mut frames: Vec<_> =
        (0..4).map(|i| frame(&format!("m/{i}.jpg"), &FAULTS[[1, 1, 0, 7][i]], 9, &intent)).collect();
    (frames[0].diagnosis.verdict.confidence, frames[2].diagnosis.verdict.confidence) = (0.44, 0.5);
    frames[3].diagnosis.verdict.unsettled = Some(Unsettled::NearUnmeasured);
    let view = report::view(&Run { frames, intent, ..Run::default() });
    let wide = report::text(&view, 120);
    let row = |text: &str, k: usize| text.lines().nth(3 + k).unwrap_or_default().to_owned();
    assert!(row(&wide, 0).contains("probably focus too far") && row(&wide, 2).contains("probably sharp"), "{wide}");
    assert!(!row(&wide, 1).contains("probably") && !row(&wide, 3).contains("probably"), "{wide}");
    assert!(!wide.contains("not sure"), "{wide}");
    let lines: Vec<&str> = view.frames.iter().map(|f| f.verdict.words[0].line.as_str()).collect();
    assert!(lines[0].contains("probably focus too far") && lines[2].starts_with("Probably "), "{lines:?}");
    assert!(!lines[1].contains("robably"), "{lines:?}");
    // What has no room for the word has a mark that is explained.
    let long = View {
        frames: view
            .frames
            .iter()
            .cloned()
            .map(|mut f| {
                f.file = f.file.replace("m/", "m/a-long-name-of-a-frame-");
                f
            })
            .collect(),
        ..view.clone()
    };
    let narrow = report::text(&long, 80);
    assert!(narrow.contains("focus too far?") && narrow.contains("? probable, not sure"), "{narrow}");
    // Of what can't be told there is no confidence beside the others' in the table of numbers.
    let csv = report::csv(&view);
    let mut rows = csv::Reader::from_reader(csv.as_slice());
    let at = rows.headers().unwrap().iter().position(|h| h == "confidence").unwrap();
    let told: Vec<String> = rows.records().map(|r| r.unwrap()[at].to_owned()).collect();
    assert_eq!(told, ["0.44", "0.93", "0.5", ""]);
}

/// Two files of one picture, under two names.
fn copies(fault: usize) -> View {
    let names = ["moor/T1 (1).jpg", "moor/T1.jpg"];
    let intent = Intent::default();
    let mut frames: Vec<_> = names.iter().map(|n| frame(n, &FAULTS[fault], 1, &intent)).collect();
    frames.iter_mut().for_each(|f| f.group = Some(0));
    let mut answer = two_apertures(names, "Copies.");
    answer.notes = vec![NoteView {
        file: Some(names[1].into()),
        note: NoteKind::CopyOf(0),
        sentence: "T1.jpg is a copy.".into(),
        confidence: None,
    }];
    let mut group = report::group(vec![0, 1], vec![0, 1], answer);
    group.best = None;
    report::view(&Run { frames, groups: vec![group], intent, ..Run::default() })
}

#[test]
fn of_copies_one_is_kept_or_taken_again() {
    let sharp = copies(0);
    let proposed = |k: usize| sharp.frames[k].proposal.clone().unwrap();
    assert!(proposed(0).keep && !proposed(1).keep && proposed(1).why == "a copy of T1 (1).jpg", "{:?}", proposed(1));
    let text = report::text(&copies(1), 120);
    let again = text.lines().find(|l| l.starts_with("Take again: ")).unwrap();
    assert!(again.contains("T1 (1).jpg") && !again.contains("T1.jpg"), "{text}");
}

#[test]
fn what_was_done_to_a_picture_comes_before_what_the_camera_may_have_done() {
    let said = |flag: Option<Flag>| {
        let mut f = frame("m/a.jpg", &FAULTS[0], 1, &Intent::default());
        f.diagnosis.flags.push(Flag::LittleLight);
        f.flags.extend(flag);
        assert_eq!(f.diagnosis.verdict.cause, Cause::SharpThroughout);
        report::view(&Run { frames: vec![f], ..Run::default() }).frames[0].verdict.words[0].detail.clone()
    };
    assert!(said(None).contains("The pixels gathered little light, so the camera may have"));
    for (flag, first) in [
        (Flag::Enlarged, "was enlarged"),
        (Flag::Resized, "smaller than the sensor"),
        (Flag::Processed, "was rendered"),
    ] {
        let text = said(Some(flag));
        let (done, light) = (text.find(first), text.find("little light"));
        assert!(done.is_some() && done < light && !text.contains("so the camera may"), "{text}");
    }
}
