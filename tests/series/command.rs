//! The series command on files, and an audit of the same.

use tussock::simulate::file::{Developing, Facts, Light, jpeg};
use tussock::simulate::{Noise, PatchSpec, Psf, Texture, View, patch_luminance};

fn tussock() -> assert_cmd::Command {
    assert_cmd::Command::cargo_bin("tussock").unwrap()
}

/// Frames of one scene as JPEG files: f-number and width of each, in the order of their names.
fn write_series(folder: &std::path::Path, frames: &[(f64, f64)], facts: bool) {
    const CANVAS: usize = 420;
    for (i, &(n, sigma)) in frames.iter().enumerate() {
        let psf = Psf::gaussian(sigma);
        let width = CANVAS - 2 * psf.reach().ceil() as usize;
        let view = View { shift: (i as f64 * 1.3, -0.7 * i as f64), ..View::default() };
        let spec =
            PatchSpec { texture: Texture::Leaves, psf, width, height: width, seed: 77, view, ..PatchSpec::default() };
        let light = patch_luminance(&spec);
        let edge = (width - 368) / 2;
        let luminance: Vec<f32> =
            (edge..edge + 368).flat_map(|y| light[y * width + edge..][..368].iter().map(|v| 0.7 * v)).collect();
        let facts = facts.then(|| Facts {
            f_number: n,
            focal_mm: 24.0,
            pitch_um: 4.0,
            crop: 1.5,
            focus_m: None,
            exposure_s: (1, 100),
            iso: 100,
            date: format!("2026:05:01 10:00:{:02}", 10 + i),
        });
        let developing = Developing { quality: 97, sharpening: 0.0, noise: Noise::at_snr(80.0, 0.35), seed: i as u64 };
        let light = Light { width: 368, height: 368, luminance: &luminance, chroma: None };
        let bytes = jpeg(&light, facts.as_ref(), &developing).unwrap();
        std::fs::write(folder.join(format!("moor-{i}.jpg")), bytes).unwrap();
    }
}

#[test]
fn the_command_names_every_bad_frame_and_answers_the_rest() {
    let folder = tempfile::tempdir().unwrap();
    write_series(folder.path(), &[(4.0, 1.5), (5.6, 1.0), (8.0, 0.8), (16.0, 1.2)], true);
    let whole = std::fs::read(folder.path().join("moor-0.jpg")).unwrap();
    std::fs::write(folder.path().join("torn.jpg"), &whole[..whole.len() / 2]).unwrap();
    let small = image::load_from_memory(&whole).unwrap().thumbnail(184, 184);
    small.save(folder.path().join("small.png")).unwrap();
    let out = folder.path().join("answers");
    tussock().arg("series").arg(folder.path()).arg("--out").arg(&out).assert().code(1);
    let json: serde_json::Value = serde_json::from_slice(&std::fs::read(out.join("series.json")).unwrap()).unwrap();
    let group = &json["groups"][0];
    assert_eq!(group["varied"], "aperture", "{json:#}");
    assert_eq!(group["members"].as_array().unwrap().len(), 4);
    assert_eq!(group["best_whole_frame"]["f_number"], 8.0, "{}", group["sentence"]);
    assert!(json["failures"][0]["file"].as_str().unwrap().ends_with("torn.jpg"));
    assert!(json["alone"][0]["sentence"].as_str().unwrap().contains("only frames of one size"));
    assert!(std::fs::read_to_string(out.join("index.html")).unwrap().contains("<svg"));
}

/// As in an audit: of a frame in two files the one that can be read is compared, and the other named.
#[test]
fn a_twin_stands_in_for_a_damaged_file_of_a_series() {
    let folder = tempfile::tempdir().unwrap();
    write_series(folder.path(), &[(4.0, 1.5), (5.6, 1.0), (8.0, 0.8)], true);
    std::fs::write(folder.path().join("moor-0.dng"), b"no picture at all").unwrap();
    let done = tussock().arg("series").arg(folder.path()).arg("--json").assert().code(0);
    let json: serde_json::Value = serde_json::from_slice(&done.get_output().stdout).unwrap();
    assert_eq!(json["groups"][0]["members"].as_array().map(Vec::len), Some(3), "{json:#}");
    let failed = &json["failures"][0];
    assert!(failed["file"].as_str().unwrap().ends_with("moor-0.dng"), "{failed}");
    assert!(failed["stand_in"].as_str().unwrap().ends_with("moor-0.jpg"), "{failed}");
    assert!(String::from_utf8_lossy(&done.get_output().stderr).contains("moor-0.jpg stands in for it"));
}

#[test]
fn each_odd_frame_of_a_series_is_named_and_the_rest_is_answered() {
    let folder = tempfile::tempdir().unwrap();
    // f/11 is missing, and at f/5.6 the focus slipped.
    write_series(folder.path(), &[(2.8, 1.5), (4.0, 1.1), (5.6, 2.8), (8.0, 0.75), (16.0, 1.2)], true);
    let file = |name: &str| folder.path().join(name);
    std::fs::copy(file("moor-1.jpg"), file("moor-1-again.jpg")).unwrap();
    // The same scene without Exif, once upright and once turned.
    let bare = image::open(file("moor-3.jpg")).unwrap();
    bare.save(file("moor-3-bare.png")).unwrap();
    bare.rotate90().save(file("moor-3-turned.png")).unwrap();
    std::fs::write(file("moor-5.jpg"), b"").unwrap();
    let out = file("answers");
    tussock().arg("series").arg(folder.path()).arg("--out").arg(&out).assert().code(1);
    let json: serde_json::Value = serde_json::from_slice(&std::fs::read(out.join("series.json")).unwrap()).unwrap();
    let group = &json["groups"][0];
    assert_eq!(json["groups"].as_array().unwrap().len(), 1, "{json:#}");
    assert_eq!((&group["varied"], &group["best_whole_frame"]["f_number"]), (&"aperture".into(), &8.0.into()));
    let notes: Vec<&str> = group["notes"].as_array().unwrap().iter().map(|n| n["sentence"].as_str().unwrap()).collect();
    let said = |words: &str| assert!(notes.iter().any(|n| n.contains(words)), "{words} is not in {notes:#?}");
    // Names in sentences are the files' own, without the folder that all share.
    said("moor-1.jpg is a copy of moor-1-again.jpg");
    said("moor-3-bare.png records no f-number");
    said("moor-2.jpg is softer all over");
    said("gap between f/8 and f/16");
    let alone = &json["alone"][0];
    assert!(alone["file"].as_str().unwrap().ends_with("moor-3-turned.png"), "{json:#}");
    assert!(alone["sentence"].as_str().unwrap().contains("quarter turns"));
    assert!(json["failures"][0]["file"].as_str().unwrap().ends_with("moor-5.jpg"));
}

/// Each file was read: a frame without a mate is a remark, no failure.
#[test]
fn a_frame_without_a_mate_is_no_failure() {
    let folder = tempfile::tempdir().unwrap();
    write_series(folder.path(), &[(4.0, 1.5), (8.0, 0.8)], true);
    let spec = PatchSpec { texture: Texture::Rock, seed: 9, width: 368, height: 368, ..PatchSpec::default() };
    let grey: Vec<u8> = patch_luminance(&spec).iter().map(|v| (255.0 * v.clamp(0.0, 1.0)) as u8).collect();
    image::save_buffer(folder.path().join("rock.png"), &grey, 368, 368, image::ColorType::L8).unwrap();
    let told = tussock().arg("series").arg(folder.path()).assert().code(0);
    assert!(String::from_utf8_lossy(&told.get_output().stdout).contains("rock.png: No frame"));
}

/// Frames of four strips from far to near, each blurred by how far from the focus it lies and by a shake, as JPEG files.
fn write_bracket(folder: &std::path::Path, frames: &[(&str, f64, f64)]) {
    const SIDE: usize = 368;
    for (i, &(name, focus, shake)) in frames.iter().enumerate() {
        let strip = |place: usize| {
            let psf = Psf::gaussian(f64::hypot(0.6, 0.6 * (place as f64 - focus)).hypot(shake));
            let side = 440 - 2 * psf.reach().ceil() as usize;
            let (texture, seed) = (Texture::Leaves, 77 + place as u64);
            let light =
                patch_luminance(&PatchSpec { texture, psf, width: side, height: side, seed, ..PatchSpec::default() });
            let edge = (side - SIDE) / 2;
            let row = |y: usize| light[y * side + edge..][..SIDE].iter().map(|v| 0.7 * v).collect::<Vec<f32>>();
            (edge..edge + SIDE / 4).flat_map(row).collect::<Vec<f32>>()
        };
        let luminance = (0..4).flat_map(strip).collect::<Vec<f32>>();
        let developing = Developing { quality: 97, sharpening: 0.0, noise: Noise::at_snr(80.0, 0.35), seed: i as u64 };
        let light = Light { width: SIDE, height: SIDE, luminance: &luminance, chroma: None };
        std::fs::write(folder.join(name), jpeg(&light, None, &developing).unwrap()).unwrap();
    }
}

/// A shaken repeat of one of the frames is sharp enough for the limit, and still no frame to blend.
#[test]
fn a_frame_softer_everywhere_is_not_recommended_for_a_blend() {
    let folder = tempfile::tempdir().unwrap();
    write_bracket(folder.path(), &[("far.jpg", 0.5, 0.0), ("near.jpg", 2.5, 0.0), ("shaken.jpg", 0.5, 0.4)]);
    let mut command = tussock();
    command.arg("series").arg(folder.path()).args(["--json", "--sharp-for", "print:2x2cm@50cm"]);
    let told = command.assert().code(0);
    let json: serde_json::Value = serde_json::from_slice(&told.get_output().stdout).unwrap();
    let group = &json["groups"][0];
    assert_eq!(group["varied"], "focus", "{json:#}");
    assert_eq!(group["covering_set"].as_array().unwrap().len(), 2, "{group:#}");
    for field in ["covering_set", "covering_set_instead", "best_single_as_good", "sentence"] {
        assert!(!group[field].to_string().contains("shaken.jpg"), "{field}: {:#}", group[field]);
    }
    let notes = group["notes"].as_array().unwrap();
    let note = notes.iter().find(|n| n["sentence"].as_str().unwrap().contains("softer than far.jpg"));
    assert!(note.unwrap()["confidence"].as_f64().unwrap() > 0.95, "{notes:?}");
}

/// Files that record no f-number may as well be a series of apertures, whose widest and narrowest stops are soft without any fault.
#[test]
fn a_bracket_of_unknown_f_numbers_says_so_first_and_calls_no_frame_shaken() {
    let folder = tempfile::tempdir().unwrap();
    write_bracket(folder.path(), &[("far.jpg", 0.5, 0.0), ("near.jpg", 2.5, 0.0), ("softer.jpg", 0.5, 0.4)]);
    let told = tussock().arg("series").arg(folder.path()).args(["--sharp-for", "print:2x2cm@50cm"]).assert().code(0);
    let text = String::from_utf8_lossy(&told.get_output().stdout).into_owned();
    let mut lines = text.lines();
    let (head, sentence) = (lines.next().unwrap(), lines.next().unwrap());
    assert!(head.contains("f-numbers unknown"), "{text}");
    assert!(sentence.starts_with("No f-number is known") && sentence.contains("give --apertures"), "{text}");
    let note = text.lines().find(|l| l.contains("softer.jpg is")).unwrap();
    assert!(note.contains("a sound one at another aperture") && !note.contains(": shaken"), "{text}");
}

/// Two scenes of one frame each are no series: the reason is said and the exit status is that of nothing done.
#[test]
fn where_no_two_frames_can_be_compared_the_status_says_so() {
    let folder = tempfile::tempdir().unwrap();
    write_series(folder.path(), &[(4.0, 1.5)], true);
    let spec = PatchSpec { texture: Texture::Rock, seed: 9, width: 368, height: 368, ..PatchSpec::default() };
    let grey: Vec<u8> = patch_luminance(&spec).iter().map(|v| (255.0 * v.clamp(0.0, 1.0)) as u8).collect();
    image::save_buffer(folder.path().join("rock.png"), &grey, 368, 368, image::ColorType::L8).unwrap();
    let told = tussock().arg("series").arg(folder.path()).assert().code(2);
    assert!(String::from_utf8_lossy(&told.get_output().stdout).contains("rock.png: No frame"));
    assert!(String::from_utf8_lossy(&told.get_output().stderr).contains("no two of these frames could be compared"));
}

/// Frames minutes apart are one series: each stop may have waited for the light.
#[test]
fn frames_taken_minutes_apart_are_one_series() {
    let folder = tempfile::tempdir().unwrap();
    write_series(folder.path(), &[(4.0, 1.5), (5.6, 1.0), (8.0, 0.8), (16.0, 1.2)], true);
    for i in 0..4 {
        let path = folder.path().join(format!("moor-{i}.jpg"));
        let mut bytes = std::fs::read(&path).unwrap();
        let (was, is) = (format!("10:00:{}", 10 + i), format!("10:{}:10", 10 + 4 * i));
        let places: Vec<usize> =
            (0..bytes.len() - was.len()).filter(|&at| bytes[at..].starts_with(was.as_bytes())).collect();
        assert!(!places.is_empty());
        places.into_iter().for_each(|at| bytes[at..at + was.len()].copy_from_slice(is.as_bytes()));
        std::fs::write(path, bytes).unwrap();
    }
    let told = tussock().arg("series").arg(folder.path()).arg("--json").assert().code(0);
    let json: serde_json::Value = serde_json::from_slice(&told.get_output().stdout).unwrap();
    assert_eq!(json["groups"][0]["members"].as_array().unwrap().len(), 4, "{json:#}");
}

#[test]
fn without_exif_the_stops_come_from_the_command_line() {
    let folder = tempfile::tempdir().unwrap();
    write_series(folder.path(), &[(1.8, 1.6), (2.8, 1.0), (8.0, 0.7), (16.0, 1.1)], false);
    let out = folder.path().join("answers");
    let ask = |stops: &str| {
        let mut command = tussock();
        command.arg("series").arg(folder.path()).args(["--apertures", stops]).arg("--out").arg(&out);
        command.assert()
    };
    ask("1.8,2.8,8").code(2);
    ask("1.8,2.8,8,16").code(0);
    let json: serde_json::Value = serde_json::from_slice(&std::fs::read(out.join("series.json")).unwrap()).unwrap();
    assert_eq!(json["groups"][0]["best_whole_frame"]["f_number"], 8.0);
    // One frame is no series.
    let one = tussock().arg("series").arg(folder.path().join("moor-0.jpg")).assert().code(2);
    assert!(String::from_utf8_lossy(&one.get_output().stderr).contains("no series"));
}

/// Frames exported at another size are compared at the smallest, and it is said.
#[test]
fn resized_frames_of_one_scene_are_one_series() {
    let folder = tempfile::tempdir().unwrap();
    write_series(folder.path(), &[(4.0, 1.9), (5.6, 1.3), (8.0, 0.9), (16.0, 1.5)], true);
    for (name, side) in [("moor-1.jpg", 276), ("moor-3.jpg", 300)] {
        let path = folder.path().join(name);
        let picture = image::open(&path).unwrap().resize_exact(side, side, image::imageops::FilterType::Lanczos3);
        std::fs::remove_file(path).unwrap();
        let stop = ["f5.6", "f16"][usize::from(side == 300)];
        picture.save(folder.path().join(format!("moor-{side} {stop}.png"))).unwrap();
    }
    let told = tussock().arg("series").arg(folder.path()).arg("--json").assert().code(0);
    let json: serde_json::Value = serde_json::from_slice(&told.get_output().stdout).unwrap();
    let group = &json["groups"][0];
    assert_eq!(
        (json["groups"].as_array().unwrap().len(), group["members"].as_array().unwrap().len()),
        (1, 4),
        "{json:#}"
    );
    assert_eq!(group["best_whole_frame"]["f_number"], 8.0, "{}", group["sentence"]);
    // What is rendered at 368 px is 0.75 times as wide at 276 px, plus what the larger pixels add.
    let centre = group["zones"].as_array().unwrap().iter().find(|z| z["zone"] == "centre").unwrap();
    let of = |n: f64| {
        let points = centre["points"].as_array().unwrap();
        points.iter().find(|p| p["f_number"] == n).unwrap()["blur_px"].as_f64().unwrap()
    };
    let scale = 276.0 / 368.0;
    for (n, sigma) in [(4.0, 1.9), (5.6, 1.3), (8.0, 0.9), (16.0, 1.5)] {
        let least = scale * sigma;
        let most = f64::hypot(f64::hypot(least, scale * 0.31), 0.31);
        assert!((0.9 * least..1.15 * most).contains(&of(n)), "f/{n}: {} for {least} to {most}", of(n));
    }
    let notes = group["notes"].as_array().unwrap();
    let reduced = notes.iter().filter(|n| n["sentence"].as_str().unwrap().contains("averaged down")).count();
    assert_eq!(reduced, 3, "{notes:?}");
}

/// An audit and the series command have one answer for the same frames: near-duplicates and the aperture series of the demo.
#[test]
fn an_audit_says_of_the_demo_what_the_series_command_says() {
    let folder = tempfile::tempdir().unwrap();
    let shoot = folder.path().join("shoot");
    std::fs::create_dir(&shoot).unwrap();
    for recipe in tussock::simulate::recipes::shoot().iter().filter(|r| r.file >= "09") {
        std::fs::write(shoot.join(recipe.file), recipe.bytes().unwrap()).unwrap();
    }
    let read = |file: std::path::PathBuf| -> serde_json::Value {
        serde_json::from_slice(&std::fs::read(file).unwrap()).unwrap()
    };
    tussock().arg("series").arg(&shoot).arg("--out").arg(folder.path().join("series")).assert().code(0);
    let out = folder.path().join("audit");
    tussock().args(["audit", "--no-cache", "--no-page"]).arg(&shoot).arg("--out").arg(&out).assert().code(0);
    let series = read(folder.path().join("series/series.json"));
    let audit = read(out.join("audit.json"));
    let groups = |of: &serde_json::Value| of["groups"].as_array().unwrap().clone();
    let (series, audit) = (groups(&series), groups(&audit));
    assert_eq!((series.len(), audit.len()), (2, 2));
    for (mut audited, told) in audit.into_iter().zip(series) {
        // The audit adds which of its frames these are, and which to keep.
        let own = audited.as_object_mut().unwrap();
        assert!(own.remove("frames").is_some() && own.remove("best").is_some());
        assert_eq!(audited, told);
    }
    // By the simulator's truth nothing with detail is wider at the smallest aperture than two pixels permit (0.77 px with the
    // pixel's own width), so next to nothing may be called soft there.
    let last = tussock::simulate::recipes::shoot().pop().unwrap();
    let truth = tussock::simulate::landscape(&last.spec).tiles;
    assert!(last.spec.camera.f_number == 16.0 && truth.iter().all(|t| t.detailed < 0.5 || t.truth.sigma < 0.77));
    let soft = |note: &serde_json::Value| note["note"]["soft_content"].as_u64();
    let soft: u64 = groups_notes(&read(folder.path().join("series/series.json"))).iter().filter_map(soft).sum();
    assert!(100 * soft <= truth.len() as u64, "{soft} tiles called soft");
}

fn groups_notes(series: &serde_json::Value) -> Vec<serde_json::Value> {
    let groups = series["groups"].as_array().unwrap();
    groups.iter().flat_map(|g| g["notes"].as_array().unwrap().clone()).collect()
}
