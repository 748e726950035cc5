//! What tussock does among a photographer's other files: sidecars beside photographs, frames listed, linked, copied, moved.
#![cfg(unix)]

#[path = "support/files.rs"]
mod files;
#[path = "support/place.rs"]
mod place;

use std::fs;
use std::os::unix::fs::{PermissionsExt as _, symlink};
use std::path::Path;
use std::process::Output;

use image::{GrayImage, Luma};
use place::{Place, contents, said};

fn jpeg(seed: u32) -> Vec<u8> {
    let picture = GrayImage::from_fn(480, 320, |x, y| {
        let edge = if ((x * 7 + y * 3 + seed * 11) / 40).is_multiple_of(2) { 60 } else { 190 };
        Luma([edge + ((x ^ (y * 5)).wrapping_mul(2_654_435_761).wrapping_add(seed) >> 27) as u8])
    });
    files::grey_jpeg(&picture, 90)
}

fn out(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).unwrap()
}

/// A sidecar as a raw developer may have left it.
const EDITS: &str = "\u{feff}<?xpacket begin=\"\u{feff}\" id=\"W5M0MpCehiHzreSzNTczkc9d\"?>\r\n\
    <x:xmpmeta xmlns:x=\"adobe:ns:meta/\">\r\n <rdf:RDF xmlns:rdf=\"http://www.w3.org/1999/02/22-rdf-syntax-ns#\">\r\n  \
    <rdf:Description rdf:about=\"\" xmlns:e=\"http://edits.invalid/\" xmlns:xmp=\"http://ns.adobe.com/xap/1.0/\" \
    e:Tone=\"0, 0, 255, 255\" xmp:Rating=\"5\"/>\r\n </rdf:RDF>\r\n</x:xmpmeta>\r\n<?xpacket end=\"w\"?>";

#[test]
fn sidecars_are_written_merged_or_left_alone_and_a_dry_run_writes_none() {
    let place = Place::new();
    for (i, name) in ["new", "edited", "broken", "linked", "locked", "full", "dir"].iter().enumerate() {
        place.photo(&format!("{name}.jpg"), &jpeg(i as u32));
    }
    place.photo("edited.xmp", EDITS.as_bytes());
    place.photo("broken.xmp", b"<x:xmpmeta xmlns:x=\"adobe:ns:meta/\"><rdf:RDF>");
    place.photo("locked.xmp", EDITS.as_bytes());
    place.photo("full.jpg.xmp", EDITS.as_bytes());
    fs::set_permissions(place.path("photos/edited.xmp"), fs::Permissions::from_mode(0o640)).unwrap();
    fs::set_permissions(place.path("photos/locked.xmp"), fs::Permissions::from_mode(0o444)).unwrap();
    fs::set_permissions(place.path("photos/new.jpg"), fs::Permissions::from_mode(0o444)).unwrap();
    fs::write(place.path("elsewhere.xmp"), EDITS).unwrap();
    symlink("../elsewhere.xmp", place.path("photos/linked.xmp")).unwrap();
    fs::create_dir(place.path("photos/dir.xmp")).unwrap();
    let photos = place.path("photos");
    let before = contents(&photos);
    let audit = |more: &[&str]| {
        place.run(&[&["audit", "photos", "--no-page", "--tiles", "8", "--out", "out", "--sidecars"], more].concat())
    };

    let dry = audit(&["--dry-run"]);
    assert_eq!(dry.status.code(), Some(1), "{}", said(&dry));
    assert!(contents(&photos) == before);
    assert!(out(&dry).contains("would write photos/new.xmp: + "), "{}", out(&dry));
    assert!(out(&dry).contains("would change photos/edited.xmp: + "), "{}", out(&dry));
    assert!(out(&dry).contains("1 would be written, 2 would be changed"), "{}", out(&dry));

    let done = audit(&[]);
    assert_eq!(done.status.code(), Some(1), "{}", said(&done));
    for (file, why) in [
        ("broken.xmp", "not well-formed XML"),
        ("linked.xmp", "it is a link"),
        ("locked.xmp", "may only be read"),
        ("dir.xmp", "not a file"),
    ] {
        let line = said(&done).lines().find(|l| l.contains(file)).unwrap_or("").to_owned();
        assert!(line.contains("left alone") && line.contains(why), "{file}: {}", said(&done));
    }
    let after = contents(&photos);
    let changed: Vec<&str> = after
        .iter()
        .filter(|(path, bytes)| before.get(*path) != Some(*bytes))
        .map(|(path, _)| path.file_name().unwrap().to_str().unwrap())
        .collect();
    assert_eq!(changed, ["edited.xmp", "full.jpg.xmp", "new.xmp"]);
    assert_eq!(fs::read_to_string(place.path("elsewhere.xmp")).unwrap(), EDITS);
    assert!(fs::symlink_metadata(photos.join("linked.xmp")).unwrap().is_symlink());
    let text = fs::read_to_string(photos.join("edited.xmp")).unwrap();
    let (head, tail) = EDITS.split_at(EDITS.find("\r\n </rdf:RDF>").unwrap());
    assert!(text.starts_with(head) && text.ends_with(tail) && text.contains("<tussock:cause>"), "{text}");
    let mode = |name: &str| fs::metadata(photos.join(name)).unwrap().permissions().mode() & 0o777;
    assert_eq!((mode("edited.xmp"), mode("new.xmp")), (0o640, 0o644));
    assert!(!after.keys().any(|p| p.to_string_lossy().contains("unfinished")));

    // Nothing is left to do, and what a sidecar of ours says is no fact of the photograph's.
    let again = audit(&[]);
    assert!(contents(&photos) == after);
    assert!(out(&again).contains("0 written, 0 changed, 3 already"), "{}", out(&again));
    assert_eq!(tussock::intake::told_beside(&photos.join("new.jpg")), Vec::<u8>::new());

    // Stars only where asked, and not over the user's.
    let rated = audit(&["--rate"]);
    assert!(out(&rated).contains("kept their own rating"), "{}", out(&rated));
    assert!(fs::read_to_string(photos.join("edited.xmp")).unwrap().contains("xmp:Rating=\"5\""));
    assert!(fs::read_to_string(photos.join("new.xmp")).unwrap().contains("<xmp:Rating>"));
    audit(&["--rate=all"]);
    assert!(!fs::read_to_string(photos.join("edited.xmp")).unwrap().contains("xmp:Rating=\"5\""));
    assert_eq!(place.run(&["audit", "photos", "--dry-run"]).status.code(), Some(2));
}

/// A shoot with a report made by hand, as far as keepers reads it.
fn reported() -> Place {
    let place = Place::new();
    for name in ["a.jpg", "b.jpg", "c.jpg", "d.jpg", "e.dng", "e.jpg"] {
        place.photo(name, name.as_bytes());
    }
    place.photo("a.xmp", b"sidecar of a");
    place.photo("e.xmp", b"sidecar of e");
    fs::create_dir_all(place.path("photos/more")).unwrap();
    place.photo("more/a.jpg", b"another a");
    let frame = |file: &str, throughout: Option<bool>, cause: &str, group: Option<usize>, keep: Option<bool>| {
        let original = fs::read(place.path("photos").join(file)).ok().map(
            |bytes| serde_json::json!({"bytes": bytes.len(), "digest": blake3::hash(&bytes).to_hex().to_string()}),
        );
        serde_json::json!({"file": format!("photos/{file}"), "original": original, "sharp": {"throughout": throughout, "near": "within"},
            "verdict": {"cause": cause, "confidence": 0.9}, "group": group, "tiles": [{"x": 0}],
            "proposal": keep.map(|keep| serde_json::json!({"keep": keep, "why": "what the report says of it"}))})
    };
    let report = serde_json::json!({"format": "tussock.audit", "version": 3, "base": place.0.path(), "frames": [
        frame("a.jpg", Some(true), "sharp_throughout", Some(0), Some(false)),
        frame("b.jpg", Some(true), "sharp_throughout", Some(0), Some(true)),
        frame("c.jpg", Some(false), "focus_too_far", None, Some(false)),
        frame("d.jpg", None, "cannot_tell", None, None),
        frame("e.dng", Some(true), "lens_asymmetry", None, Some(true)),
        frame("more/a.jpg", Some(true), "sharp_throughout", None, Some(true)),
        frame("f1.jpg", Some(false), "focus_too_near", Some(1), Some(true)),
        frame("f2.jpg", Some(false), "too_little_depth", Some(1), Some(false)),
        frame("f3.jpg", Some(false), "focus_too_far", Some(1), Some(true)),
    ], "failures": [], "groups": []});
    fs::create_dir(place.path("report")).unwrap();
    fs::write(place.path("report/audit.json"), report.to_string()).unwrap();
    place
}

fn listed(place: &Place, arguments: &[&str]) -> String {
    let done = place.run(&[&["keepers", "report"], arguments].concat());
    assert_eq!(done.status.code(), Some(0), "{arguments:?}: {}", said(&done));
    out(&done).replace("photos/", "")
}

#[test]
fn keepers_lists_frames_by_verdict_group_and_marks() {
    let place = reported();
    assert_eq!(listed(&place, &[]), "a.jpg\nb.jpg\ne.dng\nmore/a.jpg\n");
    // What the page proposes, whatever the verdict.
    assert_eq!(listed(&place, &["--best"]), "b.jpg\ne.dng\nmore/a.jpg\nf1.jpg\nf3.jpg\n");
    assert_eq!(listed(&place, &["--best", "--of", "focus-too-far"]), "f3.jpg\n");
    assert_eq!(listed(&place, &["--of", "unknown,cannot-tell"]), "d.jpg\n");
    assert_eq!(listed(&place, &["--of", "not-sharp", "-0"]), "c.jpg\0f1.jpg\0f2.jpg\0f3.jpg\0");
    let json: serde_json::Value = serde_json::from_str(&listed(&place, &["--of", "not-sharp", "--json"])).unwrap();
    assert_eq!(json["frames"][2]["why"], serde_json::Value::Null);
    assert_eq!((&json["format"], &json["frames"][0]["cause"]), (&"tussock.keepers".into(), &"focus_too_far".into()));
    let marks = |text: &str| fs::write(place.path("keep.json"), text).unwrap();
    marks(r#"{"format":"tussock.keep","version":1,"report":"x","keep":["photos/c.jpg"],"leave_out":["photos/a.jpg"]}"#);
    assert_eq!(listed(&place, &["--marks", "keep.json"]), "c.jpg\n");
    assert_eq!(listed(&place, &["--marks", "keep.json", "--of", "sharp"]), "b.jpg\nc.jpg\ne.dng\nmore/a.jpg\n");
    // What makes no sense is told in a sentence.
    marks(r#"{"format":"tussock.keep","version":1,"keep":["photos/gone.jpg"],"leave_out":[]}"#);
    let done = place.run(&["keepers", "report", "--marks", "keep.json"]);
    assert!(done.status.code() == Some(1) && said(&done).contains("no such frame"), "{}", said(&done));
    for (text, why) in [
        (r#"{"format":"tussock.keep","version":9,"keep":[]}"#, "later version"),
        (r#"{"format":"tussock.audit","version":1}"#, "not a keep list"),
        ("nothing", "not a keep list"),
    ] {
        marks(text);
        let done = place.run(&["keepers", "report", "--marks", "keep.json"]);
        assert!(done.status.code() == Some(2) && said(&done).contains(why), "{}", said(&done));
    }
    for (report, why) in [("photos", "no such file"), ("keep.json", "not a report"), ("missing", "no such file")] {
        let done = place.run(&["keepers", report]);
        assert!(done.status.code() == Some(2) && said(&done).contains(why), "{report}: {}", said(&done));
    }
    assert_eq!(place.run(&["keepers", "report", "--of", "nice"]).status.code(), Some(2));
}

#[test]
fn keepers_tells_of_the_best_of_a_scene_that_an_end_of_it_is_soft() {
    let place = reported();
    let file = place.path("report/audit.json");
    let mut report: serde_json::Value = serde_json::from_str(&fs::read_to_string(&file).unwrap()).unwrap();
    let proposed = |keep: bool, why: &str| serde_json::json!({"keep": keep, "why": why});
    report["frames"][7]["proposal"] = proposed(true, "best of its scene, but soft far");
    (6..9).filter(|&k| k != 7).for_each(|k| report["frames"][k]["proposal"] = proposed(false, "another is better"));
    fs::write(&file, report.to_string()).unwrap();
    let done = place.run(&["keepers", "report", "--best"]);
    assert!(out(&done).ends_with("f2.jpg\n"), "{}", out(&done));
    assert!(said(&done).contains("f2.jpg: best of its scene, but soft far"), "{}", said(&done));
    let json: serde_json::Value = serde_json::from_str(&listed(&place, &["--best", "--json"])).unwrap();
    assert_eq!(json["frames"][3]["why"], "best of its scene, but soft far");
    // One of which nothing is known is not proposed, so that it isn't listed.
    (report["frames"][7]["proposal"], report["frames"][7]["sharp"]["throughout"]) =
        (serde_json::Value::Null, serde_json::Value::Null);
    fs::write(&file, report.to_string()).unwrap();
    let done = place.run(&["keepers", "report", "--best"]);
    assert!(!out(&done).contains("f2.jpg") && said(&done).is_empty(), "{}", said(&done));
    assert_eq!(said(&place.run(&["keepers", "report", "--best", "--quiet"])), "");
}

/// A report of another version may mean something else by the same words, and files are moved by it.
#[test]
fn keepers_reads_no_report_of_another_version() {
    let place = reported();
    let file = place.path("report/audit.json");
    let mut report: serde_json::Value = serde_json::from_str(&fs::read_to_string(&file).unwrap()).unwrap();
    let before = contents(&place.path("photos"));
    for (version, frames, why) in [
        (Some(2), None, "an earlier version"),
        (Some(99), None, "a later version"),
        (Some(99), Some("of another shape"), "a later version"),
        (None, None, "not a report"),
    ] {
        report["version"] = version.map_or(serde_json::Value::Null, Into::into);
        frames.iter().for_each(|f| report["frames"] = serde_json::Value::from(*f));
        fs::write(&file, report.to_string()).unwrap();
        let done = place.run(&["keepers", "report", "--move", "kept"]);
        assert!(done.status.code() == Some(2) && said(&done).contains(why), "{version:?}: {}", said(&done));
        assert!(!place.path("kept").exists() && contents(&place.path("photos")) == before, "{version:?}");
    }
}

#[test]
fn what_keepers_puts_into_a_folder_can_be_taken_back_and_goes_over_nothing() {
    for how in ["--links", "--copy", "--move"] {
        let place = reported();
        let photos = place.path("photos");
        let before = contents(&photos);
        fs::create_dir(place.path("kept")).unwrap();
        fs::write(place.path("kept/b.jpg"), "somebody else's").unwrap();
        let done = place.run(&["keepers", "report", how, "kept"]);
        assert_eq!(done.status.code(), Some(0), "{how}: {}", said(&done));
        let mut names: Vec<String> =
            fs::read_dir(place.path("kept")).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        let expected =
            ["a-2.jpg", "a.jpg", "a.xmp", "b-2.jpg", "b.jpg", "e.dng", "e.jpg", "e.xmp", "tussock-undo-1.json"];
        assert_eq!(names, expected, "{how}");
        assert_eq!(fs::read(place.path("kept/b.jpg")).unwrap(), b"somebody else's");
        assert_eq!(fs::read(place.path("kept/a-2.jpg")).unwrap(), b"another a", "{how}");
        assert_eq!(fs::symlink_metadata(place.path("kept/e.dng")).unwrap().is_symlink(), how == "--links");
        if how == "--move" {
            assert_eq!(contents(&photos).len(), before.len() - 7);
            assert!(!photos.join("e.jpg").exists() && photos.join("c.jpg").exists());
        } else {
            assert!(contents(&photos) == before, "{how}");
            // A second time there is nothing to do.
            let again = place.run(&["keepers", "report", how, "kept"]);
            assert!(again.status.code() == Some(0) && said(&again).contains("7 files were there"), "{}", said(&again));
            assert_eq!(fs::read_dir(place.path("kept")).unwrap().count(), expected.len());
        }
        // What was changed since is left alone.
        if how == "--copy" {
            fs::write(place.path("kept/a.xmp"), "edited since").unwrap();
        } else {
            fs::write(photos.join("new.jpg"), "new").unwrap();
        }
        let undone = place.run(&["keepers", "--undo", "kept/tussock-undo-1.json"]);
        let expected = if how == "--copy" { 1 } else { 0 };
        assert_eq!(undone.status.code(), Some(expected), "{how}: {}", said(&undone));
        assert_eq!(fs::read(place.path("kept/b.jpg")).unwrap(), b"somebody else's");
        assert_eq!(place.path("kept/a.xmp").exists(), how == "--copy");
        let mut now = contents(&photos);
        now.remove(&photos.join("new.jpg"));
        assert!(now == before, "{how}");
    }
}

#[test]
fn what_is_taken_back_is_told_in_json_too() {
    let place = reported();
    assert_eq!(place.run(&["keepers", "report", "--copy", "kept"]).status.code(), Some(0));
    let list: serde_json::Value =
        serde_json::from_slice(&fs::read(place.path("kept/tussock-undo-1.json")).unwrap()).unwrap();
    let carried = list["steps"].as_array().unwrap().len();
    fs::write(place.path("kept/b.jpg"), "edited since").unwrap();
    let done = place.run(&["keepers", "--undo", "kept/tussock-undo-1.json", "--json"]);
    let told: serde_json::Value = serde_json::from_str(&out(&done)).unwrap();
    assert_eq!((done.status.code(), &told["format"], &told["version"]), (Some(1), &"tussock.undone".into(), &1.into()));
    assert_eq!(told["undone"].as_array().unwrap().len(), carried - 1, "{told:#}");
    assert_eq!(told["left"].as_array().unwrap().len(), 1, "{told:#}");
    assert!(told["left"][0]["file"].as_str().unwrap().ends_with("kept/b.jpg"), "{told:#}");
    // Nothing else goes with it.
    assert_eq!(place.run(&["keepers", "report", "--undo", "kept/tussock-undo-1.json"]).status.code(), Some(2));
    assert_eq!(place.run(&["keepers", "--undo", "kept/tussock-undo-1.json", "--copy", "k"]).status.code(), Some(2));
}

#[test]
fn what_is_gone_is_named_and_what_came_back_is_not_written_over() {
    let place = reported();
    fs::remove_file(place.path("photos/b.jpg")).unwrap();
    let done = place.run(&["keepers", "report", "--move", "kept"]);
    assert!(done.status.code() == Some(1) && said(&done).contains("photos/b.jpg: it is not there"), "{}", said(&done));
    place.photo("a.jpg", b"a new a");
    let undone = place.run(&["keepers", "--undo", "kept/tussock-undo-1.json"]);
    assert!(undone.status.code() == Some(1) && said(&undone).contains("stays where it is"), "{}", said(&undone));
    assert_eq!(fs::read(place.path("photos/a.jpg")).unwrap(), b"a new a");
    assert_eq!(fs::read(place.path("kept/a.jpg")).unwrap(), b"a.jpg");
    assert_eq!(fs::read(place.path("photos/e.dng")).unwrap(), b"e.dng");
    for bad in ["photos/a.jpg", "report/audit.json", "missing.json"] {
        assert_eq!(place.run(&["keepers", "--undo", bad]).status.code(), Some(2), "{bad}");
    }
}

/// Two shoots whose files have the same names, and a report on one of them whose names are seen from within it.
fn moor_and_sea() -> Place {
    let place = Place::new();
    for (folder, seed) in [("moor", 1), ("sea", 2)] {
        fs::create_dir(place.path(folder)).unwrap();
        fs::write(place.path(folder).join("IMG_1.jpg"), jpeg(seed)).unwrap();
    }
    let mut audit = place.command(&["audit", ".", "--no-page", "--tiles", "8", "--out", "../rep"]);
    let done = audit.current_dir(place.path("moor")).output().unwrap();
    assert_eq!(done.status.code(), Some(0), "{}", said(&done));
    let audit = place.json("rep");
    assert_eq!(audit["frames"][0]["file"], "./IMG_1.jpg");
    assert_eq!(audit["base"], place.path("moor").canonicalize().unwrap().to_str().unwrap());
    assert_eq!(audit["frames"][0]["original"]["bytes"], jpeg(1).len());
    place
}

fn in_sea(place: &Place, arguments: &[&str]) -> Output {
    let mut command = place.command(&[&["keepers", "../rep", "--of", "all"], arguments].concat());
    command.current_dir(place.path("sea")).output().unwrap()
}

#[test]
fn keepers_takes_the_photographs_of_its_report_and_never_those_of_another_shoot() {
    for how in ["--links", "--copy", "--move"] {
        let place = moor_and_sea();
        let before = contents(&place.path("sea"));
        let done = in_sea(&place, &[how, "../kept"]);
        assert_eq!(done.status.code(), Some(0), "{how}: {}", said(&done));
        assert!(fs::read(place.path("kept/IMG_1.jpg")).unwrap() == jpeg(1), "{how}");
        assert!(contents(&place.path("sea")) == before, "{how}");
        assert_eq!(place.path("moor/IMG_1.jpg").exists(), how != "--move");
        // What is listed leads to the same file from there, and is the report's own name where the audit was run.
        if how != "--move" {
            let moor = place.path("moor").canonicalize().unwrap();
            assert_eq!(out(&done), format!("{}\n", moor.join("IMG_1.jpg").display()));
            let there = place.command(&["keepers", "../rep", "--of", "all"]).current_dir(&moor).output().unwrap();
            assert_eq!(out(&there), "./IMG_1.jpg\n");
        }
    }
}

#[test]
fn keepers_finds_a_shoot_that_was_moved_and_leaves_alone_what_was_not_audited() {
    // Another disk, with the report beside the shoot as before.
    let place = moor_and_sea();
    fs::create_dir_all(place.path("disk/days")).unwrap();
    fs::rename(place.path("moor"), place.path("disk/days/moor")).unwrap();
    fs::rename(place.path("rep"), place.path("disk/days/rep")).unwrap();
    let mut command = place.command(&["keepers", "../disk/days/rep", "--of", "all", "--move", "../kept"]);
    let done = command.current_dir(place.path("sea")).output().unwrap();
    assert_eq!(done.status.code(), Some(0), "{}", said(&done));
    assert!(fs::read(place.path("kept/IMG_1.jpg")).unwrap() == jpeg(1));
    assert!(!place.path("disk/days/moor/IMG_1.jpg").exists() && place.path("sea/IMG_1.jpg").exists());

    // Another photograph under the name, as a camera gives it that counts anew; one of the same length; none at all.
    let same_length = || {
        let mut bytes = jpeg(1);
        *bytes.last_mut().unwrap() ^= 1;
        bytes
    };
    for other in [Some(jpeg(3)), Some(same_length()), None] {
        let place = moor_and_sea();
        let file = place.path("moor/IMG_1.jpg");
        match &other {
            Some(bytes) => fs::write(&file, bytes).unwrap(),
            None => fs::remove_file(&file).unwrap(),
        }
        let before = (contents(&place.path("moor")), contents(&place.path("sea")));
        for how in ["--links", "--copy", "--move"] {
            let done = in_sea(&place, &[how, "../kept"]);
            assert_eq!(done.status.code(), Some(1), "{how}: {}", said(&done));
            assert!(said(&done).contains("is not the file that was audited"), "{}", said(&done));
            assert_eq!(fs::read_dir(place.path("kept")).unwrap().count(), 0);
        }
        assert!((contents(&place.path("moor")), contents(&place.path("sea"))) == before);
    }

    // A report that doesn't tell what it audited.
    let place = moor_and_sea();
    let mut audit = place.json("rep");
    audit["frames"][0].as_object_mut().unwrap().remove("original");
    fs::write(place.path("rep/audit.json"), audit.to_string()).unwrap();
    let done = in_sea(&place, &["--move", "../kept"]);
    assert!(done.status.code() == Some(1) && said(&done).contains("audit again"), "{}", said(&done));
    assert!(place.path("moor/IMG_1.jpg").exists() && place.path("sea/IMG_1.jpg").exists());
}

/// What an importer or a hand does after an audit: the digest tells the file under its new name.
#[test]
fn keepers_finds_a_file_that_was_renamed() {
    let place = moor_and_sea();
    fs::rename(place.path("moor/IMG_1.jpg"), place.path("moor/2026-05-01 moor.jpg")).unwrap();
    // Of the same length, and not the same.
    let mut other = jpeg(1);
    *other.last_mut().unwrap() ^= 1;
    fs::write(place.path("moor/0.jpg"), other).unwrap();
    let moor = place.path("moor").canonicalize().unwrap();
    let renamed = format!("{}\n", moor.join("2026-05-01 moor.jpg").display());
    let there = place.command(&["keepers", "../rep", "--of", "all"]).current_dir(&moor).output().unwrap();
    assert_eq!((out(&there), out(&in_sea(&place, &[]))), (renamed.clone(), renamed));
    let done = in_sea(&place, &["--copy", "../kept"]);
    assert_eq!(done.status.code(), Some(0), "{}", said(&done));
    assert!(fs::read(place.path("kept/2026-05-01 moor.jpg")).unwrap() == jpeg(1));
}

/// A photograph of more than 300 kilobytes, most of it comments (marker FFFE, ITU T.81 B.2.4.5).
fn long_jpeg(filling: u8) -> Vec<u8> {
    let comment = [&[0xff, 0xfe, 0xff, 0xff][..], &[filling; 65_533]].concat();
    let picture = jpeg(1);
    [&picture[..2], &comment.repeat(5), &picture[2..]].concat()
}

#[test]
fn keepers_leaves_alone_a_file_that_was_changed_in_its_middle() {
    for memory in [&[][..], &["--no-cache"]] {
        let place = Place::new();
        place.photo("a.jpg", &long_jpeg(1));
        let audit = ["audit", "photos", "--no-page", "--tiles", "8", "--out", "rep"];
        let done = place.run(&[&audit[..], memory].concat());
        assert_eq!(done.status.code(), Some(0), "{}", said(&done));
        let whole = place.json("rep")["frames"][0]["original"]["whole"].clone();
        assert_eq!(whole, blake3::hash(&long_jpeg(1)).to_hex().as_str());
        let mut changed = long_jpeg(1);
        let middle = changed.len() / 2;
        changed[middle] = 2;
        place.photo("a.jpg", &changed);
        for how in ["--links", "--copy", "--move"] {
            let done = place.run(&["keepers", "rep", "--of", "all", how, "kept"]);
            assert_eq!(done.status.code(), Some(1), "{how}: {}", said(&done));
            assert!(said(&done).contains("is not the file that was audited"), "{}", said(&done));
            assert_eq!(fs::read_dir(place.path("kept")).unwrap().count(), 0);
        }
        place.photo("a.jpg", &long_jpeg(1));
        let done = place.run(&["keepers", "rep", "--of", "all", "--move", "kept"]);
        assert!(done.status.code() == Some(0) && said(&done).contains("Moved 1 file into"), "{}", said(&done));
    }
}

#[test]
fn the_published_schemas_are_the_ones_that_are_printed() {
    let place = Place::new();
    let names = out(&place.run(&["schema"]));
    assert!(names.lines().count() >= 10, "{names}");
    // What is written to be read again has one, too.
    assert!(
        ["cache", "facts", "forgotten", "keep", "licences", "undo", "undone"]
            .iter()
            .all(|n| names.lines().any(|l| l == *n))
    );
    for name in names.lines() {
        let printed = place.run(&["schema", name]);
        assert_eq!(printed.status.code(), Some(0), "{name}");
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("schemas");
        let file = fs::read_dir(folder).unwrap().map(|e| e.unwrap().path()).find(|p| {
            let file = p.file_name().unwrap().to_str().unwrap();
            file.strip_prefix(name).is_some_and(|rest| rest.trim_start_matches(['-', '1', '2', '3']) == ".schema.json")
        });
        let file = file.unwrap_or_else(|| panic!("no schema {name}: run `tussock schema {name}`"));
        assert_eq!(fs::read_to_string(&file).unwrap(), out(&printed), "{}", file.display());
        let schema: serde_json::Value = serde_json::from_str(&out(&printed)).unwrap();
        assert!(schema["$schema"].is_string(), "{name}");
    }
    let wrong = place.run(&["schema", "weather"]);
    assert!(wrong.status.code() == Some(2) && said(&wrong).contains("there are audit"), "{}", said(&wrong));
}

#[test]
fn settings_hold_for_every_command_and_a_broken_file_is_named() {
    let place = Place::new();
    let shown = || out(&place.run(&["settings"]));
    assert!(shown().contains("built in") && shown().contains("(not there)"), "{}", shown());
    fs::create_dir_all(place.path("config/tussock")).unwrap();
    let file = place.path("config/tussock/settings.toml");
    fs::write(&file, "units = \"imperial\"\nsensor = \"23.5x15.6mm\"\n").unwrap();
    assert!(shown().contains("imperial") && shown().contains("settings file"), "{}", shown());
    let plan = |more: &[&str]| out(&place.run(&[&["plan", "--near", "1m", "--focal", "24mm"], more].concat()));
    assert!(plan(&[]).contains(" ft"), "{}", plan(&[]));
    assert!(!plan(&["--units", "metric"]).contains(" ft"), "{}", plan(&["--units", "metric"]));
    let json: serde_json::Value = serde_json::from_str(&out(&place.run(&["settings", "--json"]))).unwrap();
    assert_eq!(json["settings"][1]["source"], "settings file");
    // A sensor that is set is what the same one typed is, and gives way to what is typed and to a photograph's own.
    let numbers = |arguments: &[&str]| {
        let done = place.run(&[&["plan", "--near", "1m", "--json"], arguments].concat());
        assert_eq!(done.status.code(), Some(0), "{}", said(&done));
        out(&done)
    };
    use exif::{Tag, Value};
    let resolution = |tag| (tag, files::rational(10_000, 6));
    let fields = [
        (Tag::FNumber, files::rational(8, 1)),
        (Tag::FocalLength, files::rational(24, 1)),
        (Tag::PixelXDimension, Value::Long(vec![480])),
        (Tag::PixelYDimension, Value::Long(vec![320])),
        resolution(Tag::FocalPlaneXResolution),
        resolution(Tag::FocalPlaneYResolution),
        (Tag::FocalPlaneResolutionUnit, Value::Short(vec![3])),
    ];
    place.photo("small.jpg", &files::with_exif(&jpeg(1), &fields));
    let asked: [&[&str]; 4] = [
        &["--focal", "24mm"],
        &["--focal", "24mm", "--sensor", "23.5x15.6mm"],
        &["--focal", "24mm", "--crop", "2"],
        &["--from", "photos/small.jpg"],
    ];
    let set = asked.map(numbers);
    fs::write(&file, "units = \"imperial\"\n").unwrap();
    let unset = asked.map(numbers);
    assert!(set[0] == set[1] && unset[0] != set[0] && unset[1..] == set[1..], "{set:?} {unset:?}");
    // A plan from a photograph goes by the lenses that an audit goes by: one that is no baseline stops both.
    fs::write(place.path("config/tussock/moor.toml"), "no baseline").unwrap();
    fs::write(&file, "lenses = [\"moor.toml\"]\n").unwrap();
    for arguments in [vec!["audit", "photos"], vec!["plan", "--near", "1m", "--from", "photos/small.jpg"]] {
        let done = place.run(&arguments);
        assert!(done.status.code() == Some(2) && said(&done).contains("moor.toml"), "{arguments:?}: {}", said(&done));
    }
    for (text, why) in [("unit = 1", "line 1"), ("units = \"miles\"", "'miles'"), ("units = ", "line 1")] {
        fs::write(&file, text).unwrap();
        for arguments in [vec!["plan", "--near", "1m", "--focal", "24mm"], vec!["settings"]] {
            let done = place.run(&arguments);
            let one_line = said(&done).trim().lines().count() == 1;
            assert!(done.status.code() == Some(2) && said(&done).contains(why) && one_line, "{}", said(&done));
            assert!(said(&done).contains("settings.toml"), "{}", said(&done));
        }
        // Help and what explains the program still work.
        for arguments in [vec!["plan", "--help"], vec!["--help"], vec!["schema"], vec!["--version"], vec!["man"]] {
            assert_eq!(place.run(&arguments).status.code(), Some(0), "{arguments:?}");
        }
    }
}

#[test]
fn json_goes_to_standard_output_and_quiet_says_nothing_but_failures() {
    let place = Place::new();
    place.photo("a.jpg", &jpeg(1));
    let options = ["photos", "--no-page", "--tiles", "8", "--out", "out"];
    let done = place.run(&[&["audit"], options.as_slice(), &["--json", "--sidecars"]].concat());
    assert_eq!(done.status.code(), Some(0), "{}", said(&done));
    assert_eq!(done.stdout, fs::read(place.path("out/audit.json")).unwrap());
    assert!(said(&done).contains("Sidecars: 1 written"), "{}", said(&done));
    let done = place.run(&[&["audit"], options.as_slice(), &["--quiet"]].concat());
    assert_eq!((done.status.code(), said(&done).as_str(), out(&done).as_str()), (Some(0), "", ""));
    place.photo("scrap.jpg", b"scrap");
    let done = place.run(&[&["audit"], options.as_slice(), &["--quiet"]].concat());
    assert_eq!((done.status.code(), out(&done).as_str()), (Some(1), ""));
    assert!(said(&done).lines().count() == 1 && said(&done).contains("scrap.jpg"), "{}", said(&done));
    let done = place.run(&[&["audit"], options.as_slice(), &["--verbose"]].concat());
    assert!(said(&done).contains("reading and measuring took "), "{}", said(&done));
    let json = |arguments: &[&str]| -> serde_json::Value {
        let done = place.run(arguments);
        serde_json::from_str(&out(&done)).unwrap_or_else(|e| panic!("{arguments:?}: {e}: {}", said(&done)))
    };
    assert_eq!(json(&["cache", "clear", "--json"])["format"], "tussock.cache");
    assert_eq!(json(&["cache", "show", "--json"])["format"], "tussock.cache");
    let facts = json(&["facts", "photos/a.jpg", "--json"]);
    assert_eq!((&facts["format"], &facts["version"]), (&"tussock.facts".into(), &1.into()));
    assert_eq!(facts["files"][0]["file"], "photos/a.jpg");
    assert!(json(&["licences", "--json"])["libraries"].as_array().unwrap().len() > 100);
    place.photo("b.jpg", &jpeg(1));
    assert_eq!(json(&["series", "photos/a.jpg", "photos/b.jpg", "--json", "--tiles", "8"])["format"], "tussock.series");
}

/// A joiner, a direction mark, a tag beyond the basic plane, a control character of eight bits: what is printed as JSON holds
/// the very names, and none of those characters as such.
#[test]
fn json_holds_the_very_names_whatever_is_in_them() {
    let place = Place::new();
    let names = ["photos/bare\u{9b}31m.jpg", "photos/fam\u{200d}ily.jpg", "photos/x\u{202e}y\u{e0041}.jpg"];
    for name in names {
        fs::write(place.path(name), jpeg(1)).unwrap();
    }
    let json = |arguments: &[&str]| -> serde_json::Value {
        let text = out(&place.run(arguments));
        let odd = |c: char| c.is_control() && c != '\n' || "\u{200d}\u{202e}\u{e0041}".contains(c);
        assert!(!text.contains(odd), "{arguments:?}: {text:?}");
        serde_json::from_str(&text).unwrap_or_else(|e| panic!("{arguments:?}: {e}: {text}"))
    };
    let list = |of: &serde_json::Value, key: &str| -> Vec<String> {
        of.as_array().unwrap().iter().map(|f| f[key].as_str().unwrap().to_owned()).collect()
    };
    let audit = json(&["audit", "photos", "--no-page", "--tiles", "8", "--out", "out", "--json"]);
    assert_eq!(list(&audit["frames"], "file"), names);
    assert_eq!(list(&json(&["facts", "photos", "--json"])["files"], "file"), names);
    assert_eq!(list(&json(&["keepers", "out", "--of", "all", "--json"])["frames"], "path"), names);
    let series = json(&["series", "photos", "--json", "--tiles", "8"]).to_string();
    assert!(names.iter().all(|name| series.contains(name)), "{series}");
    fs::create_dir_all(place.path("c\u{200d}g/tussock")).unwrap();
    let command = |word: &str| {
        let mut command = place.command(&[word, "--json"]);
        let text = out(&command.env("XDG_CONFIG_HOME", place.path("c\u{200d}g")).output().unwrap());
        serde_json::from_str::<serde_json::Value>(&text).unwrap_or_else(|e| panic!("{word}: {e}: {text}"))
    };
    assert!(command("settings")["file"].as_str().unwrap().contains("c\u{200d}g/tussock"));

    // A list for another program holds the names as they are.
    assert_eq!(out(&place.run(&["keepers", "out", "--of", "all"])), names.map(|n| format!("{n}\n")).concat());
    let found = |line: &str| place.path(line).is_file();
    assert!(out(&place.run(&["keepers", "out", "--of", "all"])).lines().all(found));
}

#[test]
fn manual_pages_completions_and_notices_are_printed_and_written() {
    let place = Place::new();
    for shell in ["bash", "zsh", "fish", "elvish", "powershell"] {
        let script = out(&place.run(&["completions", shell]));
        assert!(script.contains("keepers") && script.contains("sidecars"), "{shell}");
    }
    assert!(out(&place.run(&["man", "audit"])).contains("sidecars"));
    assert_eq!(place.run(&["man", "weather"]).status.code(), Some(2));
    assert_eq!(place.run(&["man", "--out", "man1"]).status.code(), Some(0));
    assert!(place.path("man1/tussock-keepers.1").is_file());
    assert_eq!(place.run(&["man", "--out", "man1"]).status.code(), Some(2), "nothing is written over");
    let notices = out(&place.run(&["licences"]));
    assert!(notices.contains("GNU LESSER GENERAL PUBLIC LICENSE") && notices.contains("Permission is hereby granted"));
}

#[test]
fn a_plan_written_to_a_file_says_nothing_where_quiet_is_asked_for() {
    let place = Place::new();
    let plan = |more: &[&str]| place.run(&[&["plan", "--near", "1m", "--focal", "24mm"], more].concat());
    let loud = plan(&["--out", "plan.html"]);
    assert!(out(&loud).contains("Focus at"), "{}", out(&loud));
    let quiet = plan(&["--out", "plan.html", "--overwrite", "--quiet"]);
    assert!(out(&quiet).is_empty() && said(&quiet).is_empty(), "{}{}", out(&quiet), said(&quiet));
    assert!(fs::read_to_string(place.path("plan.html")).unwrap().contains("Stop by stop"));
    // Without a file the words are what was asked for.
    assert!(out(&plan(&["--quiet"])).contains("Focus at"));
    assert!(out(&plan(&["--out", "plan.html", "--overwrite", "--quiet", "--json"])).starts_with('{'));
}
