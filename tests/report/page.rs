//! The page: hostile names, what it shows without script, and its policy.

use tussock::diagnose::Cause;
use tussock::lens::{Baseline, Entry, LearnedFrom};
use tussock::quantity::{Estimate, Intent};
use tussock::report::series::{SeriesView, series_html, series_view};
use tussock::report::{self, BaselineSource, LensBasis, Links, Pixels, Run};
use tussock::shot::{Fact, Mosaic, Plane, Source};

use crate::large::companions;
use crate::shoot::{FAULTS, frame, shoot, two_apertures};

/// Names that try to leave the place they are put in.
const HOSTILE: [&str; 9] = [
    "<img src=x onerror=alert(1)>.jpg",
    "\"><script>alert(2)</script>.jpg",
    "'onmouseover='alert(3)'.jpg",
    "</script><script>alert(4)</script>",
    "<!--<script>.jpg",
    "line\nbreak\r\ttab\u{0}nul.jpg",
    "\u{202e}gpj.exe \u{2066}isolate\u{2069}\u{200f}.jpg",
    "separator\u{2028}and\u{2029}{{ 7 * 7 }}{% raw %}.jpg",
    "not\u{fffd}utf8 & &lt;entity&gt; ]]>.jpg",
];

fn hostile_run() -> Run {
    let intent = Intent::default();
    let frames = HOSTILE
        .iter()
        .enumerate()
        .map(|(i, name)| {
            let mut f = frame(name, &FAULTS[i % FAULTS.len()], i as u32 + 1, &intent);
            f.capture.lens = Some(Fact::new(format!("lens {name}"), Source::Exif));
            f.capture.body = Some(Fact::new(format!("body {name}"), Source::MakerNote));
            f.capture.date = Some(Fact::new((*name).into(), Source::Xmp));
            f
        })
        .collect();
    let failures = HOSTILE
        .iter()
        .map(|n| report::FailureView {
            file: (*n).into(),
            problem: format!("cannot read {n}"),
            advice: format!("try {n}"),
            detail: None,
            stand_in: None,
        })
        .collect();
    Run { frames, failures, intent, ..Run::default() }
}

/// Tag names of a page in order, and its attributes, as a browser's tokenizer would cut them: script and style
/// hold raw text up to their own end tag.
fn tags(page: &str) -> Vec<String> {
    let mut out = Vec::new();
    let mut rest = page;
    while let Some(at) = rest.find('<') {
        rest = &rest[at + 1..];
        let end = rest.find('>').expect("every tag ends");
        let tag = rest[..end].to_owned();
        rest = &rest[end + 1..];
        let name =
            tag.split(|c: char| c.is_whitespace() || c == '/').find(|s| !s.is_empty()).unwrap_or("").to_lowercase();
        if (name == "script" || name == "style") && !tag.starts_with('/') {
            let close = rest.to_lowercase().find(&format!("</{name}")).expect("raw text ends");
            rest = &rest[close..];
        }
        out.push(tag);
    }
    out
}

#[test]
fn hostile_names_add_no_tag_and_no_handler() {
    let hostile = report::html(&report::view(&hostile_run()), &[]);
    // The same run under tame names has the same tags, one for one.
    let mut tame = hostile_run();
    for (i, f) in tame.frames.iter_mut().enumerate() {
        f.file = format!("T{i}.jpg");
        f.capture.lens = Some(Fact::new(format!("lens {i}"), Source::Exif));
        f.capture.body = Some(Fact::new("body".into(), Source::MakerNote));
        f.capture.date = Some(Fact::new("2026-05-01T05:00:00".into(), Source::Xmp));
    }
    for (i, f) in tame.failures.iter_mut().enumerate() {
        *f = report::FailureView {
            file: format!("F{i}"),
            problem: "unreadable".into(),
            advice: "Try again.".into(),
            detail: None,
            stand_in: None,
        };
    }
    let tame = report::html(&report::view(&tame), &[]);
    let name = |t: &String| t.split_whitespace().next().unwrap_or("").to_owned();
    let (a, b): (Vec<_>, Vec<_>) = (tags(&hostile).iter().map(name).collect(), tags(&tame).iter().map(name).collect());
    assert_eq!(a, b);
    for tag in tags(&hostile) {
        // Odd pieces between quotes are values; the even ones hold the attributes' names.
        let names: String = tag.split('"').step_by(2).collect();
        for word in names.split_whitespace().skip(1) {
            assert!(!word.to_lowercase().starts_with("on"), "a handler in <{tag}>");
        }
    }
    assert_eq!(hostile.matches("<script").count(), 2);
    assert!(!hostile.contains("alert(1)>") && !hostile.contains("49.jpg") && hostile.contains("{{ 7 * 7 }}"));
}

#[test]
fn hidden_and_turning_characters_are_shown_for_what_they_are() {
    let page = report::html(&report::view(&hostile_run()), &[]);
    for c in ['\u{202e}', '\u{2066}', '\u{200f}', '\u{2028}', '\u{2029}', '\u{0}', '\r'] {
        assert!(!page.contains(c), "{c:?}");
    }
    assert!(page.contains("\\u{202e}gpj.exe"));
}

#[test]
fn the_data_in_the_page_is_json_and_keeps_the_names_whole() {
    let page = report::html(&report::view(&hostile_run()), &[]);
    let open = "<script type=\"application/json\" id=\"audit\">";
    let start = page.find(open).expect("data") + open.len();
    let text = &page[start..start + page[start..].find("</script").expect("its end")];
    assert!(!text.contains('<') && !text.contains('>') && !text.contains('&'));
    let data: serde_json::Value = serde_json::from_str(text).expect("JSON");
    assert_eq!(data["folder"], "");
    for (i, name) in HOSTILE.iter().enumerate() {
        assert_eq!(data["all"]["file"][i], *name);
    }
}

#[test]
fn only_the_pages_own_script_and_style_may_run() {
    let page = report::html(&report::view(&shoot(2)), &[]);
    let policy =
        page.split("Content-Security-Policy\" content=\"").nth(1).and_then(|p| p.split('"').next()).expect("a policy");
    assert!(policy.starts_with("default-src 'none';"), "{policy}");
    assert!(!policy.contains("unsafe") && !policy.contains("http") && !policy.contains('*'), "{policy}");
    let nonce = policy.split("script-src 'nonce-").nth(1).and_then(|p| p.split('\'').next()).expect("a nonce");
    assert_eq!(nonce.len(), 64);
    assert!(
        page.contains(&format!("<script nonce=\"{nonce}\">")) && page.contains(&format!("<style nonce=\"{nonce}\">"))
    );
    // Inline styles would be refused, so none may be relied on.
    assert!(!tags(&page).iter().any(|t| t.split_whitespace().any(|w| w.starts_with("style="))));
    // The mark differs from report to report, so that no name can be made to carry it.
    assert!(!report::html(&report::view(&shoot(3)), &[]).contains(nonce));
    // Nothing is fetched: every address is data, a fragment or a relative path.
    for tag in tags(&page) {
        for key in ["src=\"", "href=\""] {
            if let Some(address) = tag.split(key).nth(1).and_then(|a| a.split('"').next()) {
                assert!(
                    address.starts_with("data:") || address.starts_with('#') || !address.contains(':'),
                    "{address}"
                );
            }
        }
    }
}

#[test]
fn the_words_are_there_without_script() {
    let view = report::view(&shoot(8));
    let page = report::html(&view, &[]);
    let body = &page[..page.find("application/json").expect("data")];
    for f in &view.frames {
        let words = &f.verdict.words[0];
        for said in [&words.line, &words.detail, &words.advice] {
            let said = minijinja::HtmlEscape(said).to_string();
            assert!(body.contains(&said), "{said}");
        }
        assert!(words.line.split_whitespace().count() <= 12, "{}", words.line);
    }
    for word in
        ["2 of 8 frames are sharp", "moor/T9999.jpg", "Copy it from the card again.", "Permitted blur", "as expected"]
    {
        let word = minijinja::HtmlEscape(word).to_string();
        assert!(body.contains(&word), "{word}");
    }
    assert!(body.matches("<svg").count() > 16, "charts and strokes are drawn");
}

#[test]
fn the_chart_of_a_learned_lens_shows_what_it_leaves_in_focus() {
    let flat = |um: f64| Baseline {
        lens: "a lens".into(),
        focal_length_mm: Some(24.0),
        frame_mm: None,
        provisional: false,
        learned_from: LearnedFrom::ApertureSeries,
        entries: vec![Entry {
            f_number: 8.0,
            frames: 1,
            columns: 2,
            rows: 2,
            sigma_um: vec![Some(Estimate::new(um, 0.1 * um, 9)); 4],
        }],
        curvature: None,
    };
    let mut run = shoot(13);
    for frame in &mut run.frames {
        frame.capture.f_number = Some(Fact::new(8.0, Source::Exif));
        frame.capture.pixel_pitch_um = Some(Fact::new(5.0, Source::Exif));
    }
    run.baselines = vec![LensBasis {
        lens: "a lens".into(),
        focal_length_mm: Some(24.0),
        source: BaselineSource::Given,
        file: None,
        baseline: Some(flat(4.0)),
        unsuitable: None,
        frames: vec![0],
    }];
    let view = report::view(&run);
    let files = companions(&view).into_values().map(|bytes| String::from_utf8(bytes).unwrap()).collect::<String>();
    let charts: Vec<&str> = files.split("tussockFrame(").skip(1).collect();
    assert_eq!(charts.len(), 13);
    let shown: Vec<usize> = (0..charts.len()).filter(|&i| charts[i].contains("this lens in focus")).collect();
    assert_eq!(shown, [0], "only the frame that was judged by it");
    // 4 um of lens are 0.7 px; f/8 comes on top, so the optical blur is wider, but not by half.
    let band = &view.frames[0].corners.in_focus;
    assert!(
        band.len() > 10
            && band.iter().all(|p| p.optical_px.0 > 0.67 && p.optical_px.1 < 1.25 && p.optical_px.0 < p.optical_px.1)
    );
}

/// The words in a drawing: where they stand (px) and how, and what they say.
fn words_of(svg: &str) -> Vec<(f64, f64, String, String)> {
    let words = svg.split("<text ").skip(1).map(|t| {
        let of = |name: &str| t.split(&format!("{name}=\"")).nth(1).and_then(|v| v.split('"').next()).unwrap_or("");
        let said = t.split('>').nth(1).and_then(|v| v.split('<').next()).unwrap_or("").trim().to_owned();
        let turned = t.split('>').next().is_some_and(|head| head.contains("rotate("));
        (!turned).then(|| (of("x").parse().unwrap(), of("y").parse().unwrap(), of("text-anchor").to_owned(), said))
    });
    words.flatten().collect()
}

#[test]
fn the_words_of_a_chart_lie_inside_it_over_its_points_and_clear_of_each_other() {
    let page = report::html(&report::view(&shoot(3)), &[]);
    let charts: Vec<&str> =
        page.split("aria-label=\"Blur against ").skip(1).map(|c| c.split("</svg>").next().unwrap()).collect();
    assert_eq!(charts.len(), 6);
    for chart in charts {
        let words = words_of(chart);
        assert!(words.len() > 8, "{words:?}");
        // Letters of 12 px are about 7 px wide.
        let boxes: Vec<_> = words
            .iter()
            .map(|(x, y, anchor, said)| {
                let wide = 7.0 * said.chars().count() as f64;
                let left =
                    x - wide * [0.0, 0.5, 1.0][["start", "middle", "end"].iter().position(|a| a == anchor).unwrap()];
                (left, left + wide, *y, said)
            })
            .collect();
        for &(left, right, y, said) in &boxes {
            assert!(left > -1.0 && right < 441.0 && (8.0..=334.0).contains(&y), "{said}: {left} to {right} at {y}");
        }
        let names = ["permitted", "defocus", "diffraction", "lens", "motion", "fitted model"];
        let own: Vec<_> = boxes.iter().filter(|b| names.contains(&b.3.as_str())).collect();
        assert!(own.iter().any(|b| b.3 == "permitted"), "{own:?}");
        let permitted = own.iter().find(|b| b.3 == "permitted").unwrap();
        let apart =
            |b: &&&(f64, f64, f64, &String)| b.0 < permitted.1 && permitted.0 < b.1 && (b.2 - permitted.2).abs() < 12.0;
        assert_eq!(own.iter().filter(apart).count(), 1, "nothing lies on the limit's name but itself: {own:?}");
        let last_point = chart.rfind("<circle").unwrap();
        assert!(
            chart.rfind(">permitted").unwrap() > last_point && chart.find(">defocus").is_none_or(|at| at > last_point)
        );
    }
}

#[test]
fn scenes_are_listed_with_the_one_to_keep_and_their_apertures() {
    let mut run = shoot(8);
    run.frames[3].group = Some(0);
    run.frames[4].group = Some(0);
    run.groups = vec![report::group(
        vec![3, 4],
        Vec::new(),
        two_apertures(["moor/T0004.jpg", "moor/T0005.jpg"], "Two <b>apertures</b>."),
    )];
    let view = report::view(&run);
    let page = report::html(&view, &[]);
    assert!(page.contains("Two &lt;b&gt;apertures") && page.contains(", but soft near and far: <a href=\"#look-5\">"));
    assert!(page.contains("\"laid\":[12.0,-7.0,1.0,0.0]"), "the script knows where the scene lies in the other frame");
    // The chart is that of the series command's page, to the letter.
    let series = SeriesView { groups: vec![run.groups[0].answer.clone()], ..series_view(&[], &[], &[]) };
    let chart = |page: &str| -> String {
        let rest = page.split("<figure class=\"chart scene-wide\">").nth(1).expect("a chart");
        rest.split("</figure>").next().unwrap_or_default().to_owned()
    };
    assert_eq!(chart(&page), chart(&series_html(&series, &[])));
    for word in ["f/4", "f/11", "centre", "top left corner", "\u{a0}best"] {
        assert!(chart(&page).contains(&format!(">{word}</text>")), "{word}");
    }
    let json: serde_json::Value = serde_json::from_slice(&report::json(&view)).unwrap();
    assert_eq!((&json["groups"][0]["best"], &json["frames"][4]["group"]), (&4.into(), &0.into()));
}

#[test]
fn pictures_show_the_pixels_at_one_to_one() {
    let (width, height) = (3000usize, 2000usize);
    // A ramp: each sample tells where it is.
    let data = (0..width * height).map(|i| ((i % width) * 20) as u16).collect();
    let plane = Plane {
        width,
        height,
        data,
        black: 0,
        white: 60_000,
        saturation: 60_000,
        mosaic: Mosaic::None,
        jpeg: None,
        rendered: true,
    };
    let frame = &shoot(2).frames[1];
    let pictures = report::pictures(frame, &Pixels { plane: &plane, colour: None, tint: None }, true);
    assert_eq!(pictures.sheet.overview, (1440, 960));
    // The top corners hold nothing but sky.
    assert_eq!(pictures.sheet.patches.len(), 6);
    let sheet = image::load_from_memory(&pictures.sheet.picture.jpeg).expect("a JPEG").to_luma8();
    assert_eq!(sheet.dimensions(), (pictures.sheet.picture.width, pictures.sheet.picture.height));
    for (spot, at) in &pictures.sheet.patches {
        assert_eq!((spot.region.width, spot.region.height), report::CROP);
        let crop = image::imageops::crop_imm(&sheet, at.0, at.1, 400, 256).to_image();
        for x in [3u32, 390] {
            let linear = f64::from((spot.region.x + x) * 20) / 60_000.0;
            // IEC 61966-2-1.
            let shown =
                255.0 * if linear <= 0.003_130_8 { 12.92 * linear } else { 1.055 * linear.powf(1.0 / 2.4) - 0.055 };
            let got = f64::from(crop.get_pixel(x, 100).0[0]);
            assert!((got - shown).abs() < 4.0, "{:?} at {x}: {got} for {shown}", spot.name);
        }
    }
    let links = pictures.inline();
    assert!(links.thumb.expect("a thumbnail").starts_with("data:image/jpeg;base64,"));
    assert!(links.sheet.expect("a sheet").starts_with("data:image/jpeg;base64,"));
    assert_eq!(pictures.files("0002").count(), 2, "and a script: three files a frame");
    assert_eq!(pictures.full_file("0002").expect("a rendition").0, "pictures/0002-full.js");
    let links = pictures.beside("0002").with_full(Some("../moor/T 2.jpg")).with_tiles("pictures/0002-full.js");
    assert_eq!(links.full.as_deref(), Some("../moor/T%202.jpg"));
    assert!(pictures.files("0002").any(|(name, _)| Some(&name) == links.thumb.as_ref()));
    let page = report::html(&report::view(&shoot(2)), &[Links::default(), links]);
    assert!(page.contains("../moor/T%202.jpg") && page.contains("\"tiled\":\"pictures/0002-full.js\""));
}

#[test]
fn the_near_crop_shows_the_near_zone_and_marks_win() {
    let mut frame = shoot(2).frames.remove(1);
    let spots = report::spots(&frame);
    let near = spots[0];
    let tile = near.tile.expect("a tile") as usize;
    assert!(frame.diagnosis.near().tiles.contains(&(tile as u32)));
    frame.diagnosis.near_at = Some(tussock::quantity::Point { x: 1.0, y: 1.0 });
    let marked = report::spots(&frame)[0].region;
    assert_eq!((marked.x + marked.width, marked.y + marked.height), (3000, 2000));
    assert!(matches!(frame.diagnosis.verdict.cause, Cause::FocusTooFar));
}

#[test]
fn a_broken_view_still_makes_a_page() {
    let mut run = shoot(1);
    let f = &mut run.frames[0];
    f.map.columns = 0;
    f.map.tiles.truncate(3);
    f.map.width = 0;
    f.map.height = 0;
    f.diagnosis.zones.clear();
    f.diagnosis.budgets.clear();
    f.diagnosis.standing.clear();
    let page = report::html(&report::view(&run), &[]);
    assert!(page.contains("</html>") && page.contains("T0001.jpg"));
    let empty = Plane {
        width: 0,
        height: 0,
        data: Vec::new(),
        black: 0,
        white: 1,
        saturation: 1,
        mosaic: Mosaic::None,
        jpeg: None,
        rendered: false,
    };
    assert_eq!(
        report::pictures(&run.frames[0], &Pixels { plane: &empty, colour: None, tint: None }, true),
        report::Pictures::default()
    );
}
