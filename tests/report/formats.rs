//! JSON, CSV and the terminal table.

use serde_json::Value;
use tussock::diagnose::Cause;
use tussock::quantity::{Distance, Estimate, Intent};
use tussock::report;
use tussock::shot::{Fact, Source};

use crate::shoot::{FAULTS, frame, shoot};

fn parsed(run: &report::Run) -> Value {
    serde_json::from_slice(&report::json(&report::view(run))).expect("audit.json is JSON")
}

#[test]
fn the_published_schemas_are_the_ones_the_code_writes() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("schemas");
    for (name, schema) in report::schemas() {
        let kept = folder.join(name);
        if std::env::var_os("TUSSOCK_WRITE_SCHEMAS").is_some() {
            std::fs::write(&kept, &schema).expect("schema written");
        }
        let published = std::fs::read_to_string(&kept).unwrap_or_default();
        assert!(
            published.replace("\r\n", "\n") == schema,
            "{name}: the format changed; raise its version or publish it anew with TUSSOCK_WRITE_SCHEMAS=1"
        );
    }
}

#[test]
fn audit_json_keeps_the_published_names() {
    let json = parsed(&shoot(9));
    assert_eq!(json["format"], "tussock.audit");
    assert_eq!(json["version"], 3);
    assert_eq!(json["frames"].as_array().unwrap().len(), 9);
    assert_eq!(json["failures"][0]["advice"], "Copy it from the card again.");
    assert_eq!(json["summary"]["frames"], 9);
    let f = &json["frames"][1];
    for key in [
        "file", "width", "height", "capture", "grid", "tiles", "zones", "sharp", "verdict", "corners", "flags", "group",
    ] {
        assert!(f.get(key).is_some(), "{key}");
    }
    for key in [
        "f_number",
        "focal_length_mm",
        "exposure_s",
        "iso",
        "body",
        "lens",
        "date",
        "focus_distance_m",
        "focus_point",
        "pixel_pitch_um",
    ] {
        assert!(f["capture"][key]["value"] != Value::Null && f["capture"][key]["source"].is_string(), "{key}");
    }
    assert_eq!(f["capture"]["focal_length_35mm"], Value::Null);
    assert_eq!(f["capture"]["focus_distance_m"]["value"], serde_json::json!({"low": 3.2, "high": 4.9}));
    assert_eq!(f["grid"], serde_json::json!({"columns": 24, "rows": 16}));
    let lists = f["tiles"].as_object().unwrap();
    assert!(lists.values().filter_map(Value::as_array).all(|list| list.len() == 24 * 16));
    assert!(lists["budget"].as_object().unwrap().values().all(|list| list.as_array().unwrap().len() == 24 * 16));
    let tile = |state: &dyn Fn(&str) -> bool| {
        let place = lists["state"].as_array().unwrap().iter().position(|s| state(s.as_str().unwrap())).unwrap();
        move |key: &str| f["tiles"][key][place].clone()
    };
    let measured = tile(&|s| s == "measured");
    for key in ["x", "y", "width", "height", "contrast", "blur_px", "blur_px_sd", "mtf50"] {
        assert!(measured(key).is_number(), "{key}");
    }
    // MTF50 of a Gaussian line spread: sqrt(ln 2 / 2) / (pi sigma).
    let product = measured("mtf50").as_f64().unwrap() * measured("blur_px").as_f64().unwrap();
    assert!((product - (2f64.ln() / 2.0).sqrt() / std::f64::consts::PI).abs() < 1e-5);
    let blank = tile(&|s| s != "measured");
    assert!(blank("blur_px").is_null() && blank("mtf50").is_null());
    for zone in ["near", "far", "centre", "top_left", "top_right", "bottom_left", "bottom_right"] {
        for key in ["blur_px", "blur_px_sd", "blur_um", "blur_um_sd", "tiles"] {
            assert!(f["zones"][zone].get(key).is_some(), "{zone} {key}");
        }
    }
    let near = &f["zones"]["near"];
    let ratio = near["blur_um"].as_f64().unwrap() / near["blur_px"].as_f64().unwrap();
    assert!((ratio - 5.94).abs() < 1e-3, "{ratio}");
    assert_eq!(f["verdict"]["cause"], "focus_too_far");
    for key in ["confidence", "also", "sentence", "advice"] {
        assert!(f["verdict"].get(key).is_some(), "{key}");
    }
    assert_eq!(f["corners"]["state"], "as_expected");
    assert_eq!(f["corners"]["basis"], "assumed");
}

#[test]
fn numbers_that_are_none_become_null_and_never_nan() {
    let mut run = shoot(1);
    let f = &mut run.frames[0];
    f.map.tiles[0].contrast = f64::NAN;
    f.map.tiles[1].blur = Some(Estimate::new(f64::INFINITY, f64::NAN, 0));
    f.diagnosis.zones[0].blur_px = Some(Estimate::new(f64::NAN, f64::NAN, 0));
    f.diagnosis.verdict.confidence = f64::NAN;
    f.diagnosis.permitted_px = f64::NAN;
    f.diagnosis.implied.right_focus_m = Some(f64::INFINITY);
    f.capture.f_number = Some(Fact::new(f64::NAN, Source::Exif));
    f.capture.focus_distance_m =
        Some(Fact::new(Distance::Interval { low: 2.0, high: f64::INFINITY }, Source::MakerNote));
    let json = parsed(&run);
    let f = &json["frames"][0];
    assert!(f["tiles"]["contrast"][0].is_null() && f["tiles"]["blur_px"][1].is_null());
    assert!(f["zones"]["near"]["blur_px"].is_null() && f["permitted"]["blur_px"].is_null());
    assert!(f["capture"]["f_number"].is_null());
    assert_eq!(f["capture"]["focus_distance_m"]["value"], serde_json::json!({"low": 2.0, "high": "inf"}));
    assert_eq!(f["implied"]["right_focus_m"], "inf");
    // The other formats take it as calmly.
    let view = report::view(&run);
    assert!(report::html(&view, &[]).contains("</html>"));
    assert!(!report::text(&view, 80).contains("NaN"));
    let bytes = report::csv(&view);
    let mut rows = csv::Reader::from_reader(bytes.as_slice());
    let head = rows.headers().unwrap().clone();
    let row = rows.records().next().unwrap().unwrap();
    for (name, cell) in head.iter().zip(&row).filter(|(name, _)| name.contains("_px") || name.contains("_um")) {
        assert!(cell.is_empty() || cell.parse::<f64>().is_ok_and(f64::is_finite), "{name}: {cell}");
    }
}

#[test]
fn csv_has_a_row_a_frame_and_empty_for_unknown() {
    let mut run = shoot(3);
    run.frames[1].capture = tussock::shot::Capture::default();
    run.frames[2].file = "=HYPERLINK(\"x\"),\n\"moor\".jpg".into();
    let bytes = report::csv(&report::view(&run));
    let mut reader = csv::Reader::from_reader(bytes.as_slice());
    let head = reader.headers().unwrap().clone();
    let at = |name: &str| head.iter().position(|h| h == name).unwrap_or_else(|| panic!("{name}"));
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    assert_eq!(rows.len(), 3);
    assert_eq!(&rows[0][at("cause")], "sharp_throughout");
    assert_eq!(&rows[0][at("pixel_pitch_um")], "5.94");
    assert_eq!(&rows[0][at("focus_distance_low_m")], "3.2");
    assert_eq!(&rows[0][at("flags")], "pitch_assumed");
    assert_eq!(&rows[1][at("f_number")], "");
    assert_eq!(&rows[1][at("near_blur_um")], "");
    assert!(rows[1][at("near_blur_px")].parse::<f64>().unwrap() > 1.0);
    // The spreadsheet guard, and the name whole behind it.
    assert_eq!(&rows[2][at("file")], "'=HYPERLINK(\"x\"),\n\"moor\".jpg");
}

#[test]
fn the_terminal_table_fits_and_shows_hostile_names_plainly() {
    let mut run = shoot(9);
    run.frames[0].file = "\u{1b}[31mred\u{7}\n.jpg".into();
    run.frames[1].file = format!("{}/T0001.jpg", "very-long-folder-name".repeat(9));
    run.frames[2].file = "\u{202e}gpj.exe".into();
    run.frames[3].file = "荒野の湿原と小さな池の朝の風景.jpg".into();
    let view = report::view(&run);
    for width in [80, 100] {
        let text = report::text(&view, width);
        assert!(!text.chars().any(|c| c.is_control() && c != '\n') && !text.contains('\u{202e}'), "{text}");
        let table: Vec<&str> = text.lines().take_while(|l| !l.starts_with("9 frames")).collect();
        for line in &table {
            assert!(line.chars().count() <= width, "{} > {width}: {line}", line.chars().count());
        }
        assert!(table[4].contains("T0001.jpg"), "{text}");
        assert!(table[4].contains("focus too far") && table[4].contains("focus at 2.9 m"), "{text}");
    }
    // Failures are counted here and named once, on standard error.
    assert!(report::text(&view, 80).contains("1 file failed") && !report::text(&view, 80).contains("T9999.jpg"));
}

#[test]
fn the_terminal_says_the_limit_what_to_keep_and_what_to_take_again() {
    let view = report::view(&shoot(9));
    let text = report::text(&view, 100);
    let permitted = view.frames[0].permitted.blur_px.expect("known");
    assert!(text.lines().next().is_some_and(|l| l.contains(&format!("{permitted:.2}"))), "{text}");
    let named = |head: &str| text.lines().find(|l| l.starts_with(head)).unwrap_or_default().to_owned();
    for f in &view.frames {
        let name = f.file.rsplit('/').next().expect("a name");
        let alone = f.group.is_none();
        assert_eq!(named("Take again: ").contains(name), alone && f.sharp.throughout == Some(false), "{name}: {text}");
        assert!(!alone || f.sharp.throughout != Some(true) || named("Keep: ").contains(name), "{name}: {text}");
    }
}

#[test]
fn one_file_gets_its_answer_in_full_and_no_table() {
    let mut run = shoot(1);
    run.failures.clear();
    let view = report::view(&run);
    let text = report::text(&view, 100);
    let words = &view.frames[0].verdict.words[0];
    assert!(text.contains(&words.line) && text.contains(&words.advice), "{text}");
    assert!(!text.contains("next time") && !text.contains("audited"), "{text}");
}

#[test]
fn an_empty_run_says_so_in_every_format() {
    let run = report::Run::default();
    let view = report::view(&run);
    assert!(report::text(&view, 80).starts_with("0 frames audited"));
    assert_eq!(report::csv(&view).iter().filter(|&&b| b == b'\n').count(), 1);
    assert_eq!(parsed(&run)["frames"], serde_json::json!([]));
    assert!(report::html(&view, &[]).contains("No frame could be audited"));
}

#[test]
fn settings_are_counted_by_lens_and_aperture() {
    let intent = Intent::default();
    let frames = (0..4).map(|i| frame("a.jpg", &FAULTS[[0, 5, 5, 0][i]], i as u32, &intent)).collect();
    let view = report::view(&report::Run { frames, ..Default::default() });
    let s = &view.summary.settings;
    assert_eq!(s.len(), 1, "{s:?}");
    assert_eq!((s[0].frames, s[0].sharp_throughout, s[0].commonest), (4, 2, Some(Cause::Motion)));
    // A frame that is sharp from near to far is none of the others, whatever else is said of it.
    let one_side = |f: report::Frame| {
        let mut f = f;
        f.diagnosis.verdict.cause = Cause::LensAsymmetry;
        f
    };
    let frames = vec![one_side(frame("a.jpg", &FAULTS[0], 0, &intent)), frame("b.jpg", &FAULTS[5], 1, &intent)];
    let view = report::view(&report::Run { frames, ..Default::default() });
    let s = &view.summary.settings[0];
    assert_eq!((s.sharp_throughout, s.commonest), (1, Some(Cause::Motion)));
}
