//! The view of a series, its chart and its page.

use tussock::measure::register::Similarity;
use tussock::quantity::{Estimate, Region};
use tussock::report::series::{Alone, Shown, series_html, series_text, series_view};
use tussock::report::{FailureView, Pixels};
use tussock::series::{Answer, Lone, NoteKind, Varied, Zone, ZoneName, aperture, bracket, zone_blurs};
use tussock::shot::{Mosaic, Plane};

use crate::made::{STOPS, answered, strip};

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
        sentence.contains("The corners need f/") && sentence.contains("the centre is at its best at f/"),
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

/// What is said of a run of stops is true of every stop it names.
#[test]
fn a_run_of_stops_is_said_as_far_as_it_goes() {
    let with = |corner: &[usize], apart: &[(ZoneName, Vec<usize>)], centre: &[usize], more: bool, beyond: &[f64]| {
        let mut answer = answered();
        let a = answer.apertures.as_mut().unwrap();
        (a.left_out, a.beyond, a.whole_alike) = (Vec::new(), beyond.to_vec(), Vec::new());
        a.zones.iter_mut().for_each(|zone| zone.within = centre.to_vec());
        a.corners = Some(aperture::Corners { stops: (0..7).collect(), within: corner.to_vec(), apart: apart.to_vec() });
        if more {
            answer.files.push("dark.tif".into());
            answer.f_numbers.push(Some(32.0));
            answer.moved.push(0.0);
        }
        series_view(&[answer], &[], &[]).groups[0].sentence.clone()
    };
    let sentence =
        |corner: &[usize], centre: &[usize], more: bool, beyond: &[f64]| with(corner, &[], centre, more, beyond);
    let all: Vec<usize> = (0..7).collect();
    let whole = sentence(&all, &all, false, &[]);
    assert!(whole.contains(
        "at their best from the widest stop on, the centre loses nothing up to f/22, the narrowest stop tried"
    ));
    assert!(sentence(&all, &all, true, &[]).contains("loses nothing up to f/22, the narrowest stop compared"));
    let one = sentence(&[0], &[0], false, &[]);
    assert!(one.contains("The corners are at their best at f/2.8, the centre is at its best at f/2.8."), "{one}");
    let two = sentence(&[0, 1], &[0, 1], false, &[]);
    assert!(two.contains("from the widest stop to f/4, the centre loses nothing until f/4."), "{two}");
    let open = sentence(&all, &all, true, &[32.0]);
    assert!(open.contains("of those compared; how f/32 would do is not known"), "{open}");
    let apart = [(ZoneName::TopLeft, vec![4, 5]), (ZoneName::BottomLeft, vec![0, 1])];
    let odd = with(&[2, 3], &apart, &all, false, &[]);
    assert!(
        odd.contains(
            "The corners need f/5.6, but the top left corner needs f/11 and the bottom left corner is at its best until f/4, the \
             centre loses nothing"
        ),
        "{odd}"
    );
}
