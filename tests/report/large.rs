//! The page of a large shoot: what lies beside it, and in which parts.

use std::collections::BTreeMap;

use tussock::report;

use crate::shoot::{nth, shoot, two_apertures};

/// What lies beside the page of a large shoot: by the files' names, what all their frames add.
pub fn companions(view: &report::View) -> BTreeMap<String, Vec<u8>> {
    let mut files = BTreeMap::<String, Vec<u8>>::new();
    if !report::inline(view.frames.len()) {
        for (file, bytes) in view.frames.iter().enumerate().map(|(i, f)| report::companion(i, f)) {
            files.entry(file).or_default().extend(bytes);
        }
    }
    files
}

#[test]
fn a_large_shoot_keeps_pictures_tiles_and_charts_beside_the_page() {
    let run = shoot(13);
    let view = report::view(&run);
    let beside = companions(&view);
    assert_eq!(beside.len(), 4, "four frames a file");
    let page = report::html(&view, &[]);
    for (i, (name, bytes)) in beside.iter().enumerate() {
        assert_eq!(name, &format!("pictures/frames-{:04}.js", i + 1));
        let text = std::str::from_utf8(bytes).unwrap();
        let frames = (4 * i..13.min(4 * i + 4)).len();
        assert!(text.starts_with(&format!("tussockFrame({},\"", 4 * i)) && text.len() > 3000 * frames, "{name}");
        // Two charts a frame, in which nothing can end a script.
        assert_eq!(text.matches("tussockFrame(").count(), frames, "{name}");
        assert!(text.matches("\\u003csvg ").count() == 2 * frames && !text.contains('<'), "{name}");
    }
    assert!(page.contains("data-chart=\"0\"") && page.contains("data-chart=\"1\""));
    assert!(!page.contains("data:image/jpeg"));
    assert!(companions(&report::view(&shoot(3))).is_empty());
}

/// Views of many frames, told one by one, without their tiles.
fn many(count: usize) -> report::View {
    let mut run = shoot(0);
    let pair = |k: usize| [nth(2 * k, &run.intent).file, nth(2 * k + 1, &run.intent).file];
    let scene = |k: usize| {
        let [a, b] = pair(k);
        report::group(
            vec![2 * k, 2 * k + 1],
            vec![2 * k, 2 * k + 1],
            two_apertures([&a, &b], "f/11 </script> is the better of two."),
        )
    };
    run.groups = (0..count / 2).map(scene).collect();
    let views = (0..count).map(|i| {
        let mut frame = nth(i, &run.intent);
        frame.group = (i / 2 < count / 2).then_some(i / 2);
        let mut view = report::told(&frame, i, None, &run);
        view.tiles = Vec::new();
        view
    });
    report::assembled(views.collect(), &run)
}

#[test]
fn the_cards_of_a_very_large_shoot_lie_beside_the_page_in_parts() {
    let view = many(430);
    let page = report::html(&view, &[]);
    assert!(page.matches("aria-labelledby=\"name-").count() == 100 && page.contains("first 100 of 430 frames"));
    let parts: Vec<(String, String)> =
        report::parts(&view, &[]).map(|(name, bytes)| (name, String::from_utf8(bytes).unwrap())).collect();
    let (cards, scenes): (Vec<_>, Vec<_>) = parts.iter().partition(|(name, _)| name.contains("cards-"));
    assert_eq!((cards.len(), scenes.len()), (18, 9), "of 25 each");
    for (kind, parts) in [("Cards", &cards), ("Scenes", &scenes)] {
        let mut made = 0;
        for (part, (name, text)) in parts.iter().enumerate() {
            assert_eq!(*name, format!("pictures/{}-{:04}.js", kind.to_lowercase(), part + 1));
            // Nothing in it can end a script, and what is called has JSON for arguments.
            assert!(!text.contains('<'), "{name}");
            let call =
                text.strip_prefix(&format!("tussock{kind}(")).and_then(|t| t.strip_suffix(");\n")).expect("a call");
            let values: serde_json::Value = serde_json::from_str(&format!("[{call}]")).expect("JSON");
            assert_eq!(values[0], part);
            let last = values.as_array().and_then(|v| v.last()).and_then(|v| v.as_array()).expect("a list");
            for card in last {
                let card = card.as_str().expect("text");
                assert!(card.starts_with("<li class=\"") && card.trim_end().ends_with("</li>"), "{card}");
            }
            if kind == "Cards" {
                assert_eq!(values[1].as_array().map(Vec::len), Some(last.len()), "a record a card");
                let name = format!("T{:04}.jpg", 25 * part + 1);
                assert!(last[0].as_str().is_some_and(|c| c.contains(&name)), "{name}");
            }
            made += last.len();
        }
        assert_eq!(made, if kind == "Cards" { 430 } else { 215 });
    }
    // What is asked of every frame takes little room in the page, whatever there is to say of each.
    let bytes = |frames: usize| {
        let page = report::html(&many(frames), &[]);
        page.len() - page.find("\"all\":").expect("columns")
    };
    let each = (bytes(700) - bytes(400)) as f64 / 300.0;
    assert!(each < 120.0, "{each} bytes a frame");
    // A shoot that one can read through is whole in its page.
    assert_eq!(report::parts(&report::view(&shoot(20)), &[]).count(), 0);
}
