//! The rim: what a whole run does to folders, files, signals and stores, seen from outside.
#![cfg(unix)]

#[path = "support/files.rs"]
mod files;
#[path = "support/place.rs"]
mod place;

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

use image::{GrayImage, ImageFormat, Luma};
use place::{Place, contents, said};

/// A picture with texture that measuring has something to do with.
fn texture(width: u32, height: u32, seed: u32) -> GrayImage {
    GrayImage::from_fn(width, height, |x, y| {
        let edge = if ((x * 7 + y * 3 + seed * 11) / 40).is_multiple_of(2) { 60 } else { 190 };
        let fine = ((x ^ (y * 5)).wrapping_mul(2_654_435_761).wrapping_add(seed) >> 27) as u8;
        Luma([edge + fine])
    })
}

fn jpeg(width: u32, height: u32, seed: u32) -> Vec<u8> {
    files::grey_jpeg(&texture(width, height, seed), 90)
}

#[test]
fn strips_are_reported_with_the_rest() {
    let place = Place::new();
    place.photo("panorama.png", &files::encoded(texture(3000, 500, 1), ImageFormat::Png));
    place.photo("strip.png", &files::encoded(texture(20_000, 50, 2), ImageFormat::Png));
    place.photo("usual.jpg", &jpeg(600, 400, 3));
    let done = place.run(&["audit", "photos", "--tiles", "8", "--no-cache", "--out", "out"]);
    assert_eq!(done.status.code(), Some(0), "{}", said(&done));
    assert_eq!(place.json("out")["frames"].as_array().unwrap().len(), 3);
}

#[test]
fn nothing_of_the_users_is_written_over() {
    let place = Place::new();
    place.photo("a.jpg", &jpeg(300, 200, 1));
    place.photo("index.html", b"the user's own page");
    fs::create_dir(place.path("photos/pictures")).unwrap();
    place.photo("pictures/0001-thumb.jpg", &jpeg(64, 64, 2));
    fs::create_dir(place.path("other")).unwrap();
    fs::write(place.path("other/notes.txt"), "mine").unwrap();
    fs::write(place.path("card.html"), "mine").unwrap();
    let before = (contents(&place.path("photos")), contents(&place.path("other")));
    for arguments in [
        vec!["audit", "photos", "--no-cache", "--out", "photos"],
        vec!["audit", "photos", "--no-cache", "--out", "photos", "--overwrite"],
        vec!["audit", "photos", "--no-cache", "--out", "other"],
        vec!["series", "photos", "--out", "photos"],
        vec!["demo", "--out", "photos"],
        vec!["demo", "--out", "other"],
        vec!["card", "--focal", "24mm", "--out", "card.html"],
        vec!["card", "--focal", "24mm", "--out", "photos/a.jpg", "--overwrite"],
    ] {
        let done = place.run(&arguments);
        assert_eq!(done.status.code(), Some(2), "{arguments:?}: {}", said(&done));
        assert!((contents(&place.path("photos")), contents(&place.path("other"))) == before, "{arguments:?}");
        assert_eq!(fs::read(place.path("card.html")).unwrap(), b"mine", "{arguments:?}");
    }
    // Refused before anything is measured, and allowed where it is ours.
    assert!(said(&place.run(&["audit", "photos", "--out", "photos/a.jpg"])).contains("not a folder"));
    for _ in 0..2 {
        assert_eq!(place.run(&["audit", "photos", "--no-cache", "--out", "fresh"]).status.code(), Some(0));
    }
    assert_eq!(place.run(&["card", "--focal", "24mm", "--out", "card.html", "--overwrite"]).status.code(), Some(0));
    assert!(contents(&place.path("photos")) == before.0);
}

#[test]
fn photographs_beside_a_report_are_audited_and_a_report_goes_into_no_folder_of_photographs() {
    let place = Place::new();
    let numbered = |i: u32| format!("p{i:02}.jpg");
    (0..14).for_each(|i| drop(place.photo(&numbered(i), &jpeg(200, 150, i))));
    let audit = |out: &str| place.run(&["audit", "photos", "--no-page", "--out", out]);
    // Of so many frames the pictures lie beside the page.
    assert_eq!(place.run(&["audit", "photos", "--out", "photos/trip"]).status.code(), Some(0));
    assert!(place.path("photos/trip/pictures/0001-thumb.jpg").is_file());
    let done = audit("out");
    assert_eq!((done.status.code(), place.json("out")["frames"].as_array().unwrap().len()), (Some(0), 14));
    assert!(!said(&done).contains("passing over"), "{}", said(&done));
    place.photo("trip/late.jpg", &jpeg(200, 150, 20));
    fs::create_dir(place.path("photos/tussock-report-days")).unwrap();
    place.photo("tussock-report-days/walk.jpg", &jpeg(200, 150, 21));
    let done = audit("out");
    let audited = place.json("out")["frames"].to_string();
    assert_eq!(place.json("out")["frames"].as_array().unwrap().len(), 16, "{}", said(&done));
    assert!(audited.contains("photos/trip/late.jpg") && audited.contains("photos/tussock-report-days/walk.jpg"));
    assert!(said(&done).contains("photos/trip holds a report of tussock's"), "{}", said(&done));
    let before = contents(&place.path("photos"));
    for overwrite in [None, Some("--overwrite")] {
        for out in ["photos/trip", "photos/tussock-report-days"] {
            let arguments = ["audit", "photos", "--out", out].into_iter().chain(overwrite).collect::<Vec<_>>();
            let done = place.run(&arguments);
            assert!(done.status.code() == Some(2) && said(&done).contains("holds photographs"), "{}", said(&done));
        }
    }
    assert!(contents(&place.path("photos")) == before);
}

#[test]
fn a_smaller_report_leaves_nothing_of_the_larger() {
    let place = Place::new();
    for i in 0..14 {
        place.photo(&format!("p{i:02}.jpg"), &jpeg(200, 150, i));
    }
    assert_eq!(place.run(&["audit", "photos", "--no-cache", "--out", "out"]).status.code(), Some(0));
    assert!(place.path("out/pictures/0014-thumb.jpg").is_file());
    assert_eq!(place.run(&["audit", "photos/p00.jpg", "--no-cache", "--out", "out"]).status.code(), Some(0));
    let names: Vec<String> = contents(&place.path("out"))
        .into_keys()
        .map(|p| p.strip_prefix(place.path("out")).unwrap().display().to_string())
        .collect();
    assert_eq!(names, [".tussock-report", "audit.csv", "audit.json", "index.html"]);
}

#[test]
fn two_audits_at_once_get_two_folders() {
    let place = Place::new();
    place.photo("a.jpg", &jpeg(900, 600, 1));
    let both: Vec<_> = (0..2)
        .map(|_| {
            let mut command = place.command(&["audit", "photos", "--no-cache"]);
            command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap()
        })
        .collect();
    for child in both {
        let done = child.wait_with_output().unwrap();
        assert_eq!(done.status.code(), Some(0), "{}", said(&done));
    }
    let reports = fs::read_dir(place.0.path()).unwrap().filter_map(|e| {
        let path = e.unwrap().path();
        path.join("index.html").is_file().then_some(path)
    });
    assert_eq!(reports.count(), 2);
    // A missing path among good ones is a failure, not the end.
    let done = place.run(&["audit", "missing.jpg", "photos", "--no-cache"]);
    assert_eq!(done.status.code(), Some(1), "{}", said(&done));
}

/// The report without what differs by nature.
fn comparable(report: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let all = contents(report).into_iter();
    all.map(|(path, bytes)| (path.strip_prefix(report).unwrap().to_owned(), bytes))
        .filter(|(path, _)| path != Path::new(".tussock-report"))
        .collect()
}

fn shoot(place: &Place, frames: u32) {
    use exif::{Rational, Tag, Value};
    for i in 0..frames {
        let fields = [
            (Tag::FNumber, files::rational(8, 1)),
            (Tag::FocalLength, files::rational(24, 1)),
            (Tag::LensModel, files::ascii("Tarn 24 mm")),
            (Tag::ExposureTime, Value::Rational(vec![Rational { num: 1, denom: 60 + i }])),
        ];
        place.photo(&format!("f{i:02}.jpg"), &files::with_exif(&jpeg(360, 240, i), &fields));
    }
}

#[test]
fn what_is_remembered_is_what_was_measured_whatever_the_threads_and_the_kills() {
    let place = Place::new();
    // From 20 frames of one lens on the lens is learned from them, which magnifies every last digit.
    shoot(&place, 28);
    let audit = |out: &str, more: &[&str]| {
        let done = place.run(&[&["audit", "photos", "--out", out], more].concat());
        assert_eq!(done.status.code(), Some(0), "{}", said(&done));
        comparable(&place.path(out))
    };
    let fresh = audit("fresh", &["--no-cache", "--jobs", "1"]);
    // Killed again and again while it works, every tenth time from an empty store on.
    for round in 0..50_u64 {
        if round % 10 == 0 {
            let _ = fs::remove_file(place.path("cache/tussock/measurements.redb"));
        }
        let mut child = place
            .command(&["audit", "photos", "--out", "killed"])
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        std::thread::sleep(Duration::from_millis(100 + 130 * round % 700));
        child.kill().unwrap();
        child.wait().unwrap();
    }
    for (out, jobs) in [("killed", "1"), ("two", "2"), ("seven", "7"), ("killed", "7")] {
        let remembered = audit(out, &["--jobs", jobs]);
        assert!(remembered.keys().eq(fresh.keys()), "{out}: {:?}", remembered.keys());
        for (name, bytes) in &remembered {
            assert!(fresh[name] == *bytes, "{out} with {jobs} threads: {} differs from the fresh one", name.display());
        }
    }
    // Nothing that was left half done lies about.
    let left = |path: &PathBuf| path.to_string_lossy().contains("unfinished");
    assert!(!contents(place.0.path()).keys().any(left));
}

#[test]
fn a_sidecar_written_later_counts_though_the_frame_is_remembered() {
    let place = Place::new();
    shoot(&place, 1);
    let flags = || {
        let done = place.run(&["audit", "photos", "--no-page", "--out", "out"]);
        assert_eq!(done.status.code(), Some(0), "{}", said(&done));
        place.json("out")["frames"][0]["flags"].as_array().unwrap().clone()
    };
    assert!(!flags().contains(&"panorama".into()));
    for told in ["GPano:ProjectionType=\"equirectangular\"", "xmp:CreatorTool=\"Image Stitcher\""] {
        place.photo("f00.xmp", format!("<x:xmpmeta><rdf:Description {told}/></x:xmpmeta>").as_bytes());
        assert!(flags().contains(&"panorama".into()), "{told}");
        fs::remove_file(place.path("photos/f00.xmp")).unwrap();
        assert!(!flags().contains(&"panorama".into()));
    }
}

#[test]
fn a_damaged_store_is_set_aside_and_said() {
    let place = Place::new();
    shoot(&place, 3);
    let run = |out: &str| place.run(&["audit", "photos", "--no-page", "--out", out]);
    assert_eq!(run("first").status.code(), Some(0));
    let store = place.path("cache/tussock/measurements.redb");
    let sound = fs::read(&store).unwrap();
    let mut altered = sound.clone();
    // A digit somewhere in every page.
    altered.iter_mut().skip(4096 + 50).step_by(1001).for_each(|b| *b ^= 4);
    for damaged in [altered, sound[..sound.len() / 3].to_vec(), vec![7; 9000]] {
        fs::write(&store, damaged).unwrap();
        let done = run("again");
        assert_eq!(done.status.code(), Some(0), "{}", said(&done));
        assert!(said(&done).contains("set aside"), "{}", said(&done));
        assert!(comparable(&place.path("again")) == comparable(&place.path("first")));
        let once_more = run("again");
        assert!(once_more.status.success() && said(&once_more).is_empty(), "{}", said(&once_more));
    }
    assert!(String::from_utf8(place.run(&["cache", "clear"]).stdout).unwrap().contains("Forgot"));
    assert_eq!(contents(&place.path("cache")).len(), 0);
}

/// Starts an audit of many frames, sends it signals in their order once the work has begun, and waits for its end.
fn stopped(place: &Place, signals: &[&str]) -> Output {
    let mut command = place.command(&["audit", "photos", "--no-cache", "--jobs", "1", "--out", "out"]);
    let child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    let working = || {
        let entries = fs::read_dir(place.path("out")).ok()?;
        let staging = entries.flatten().find(|e| e.file_name().to_string_lossy().starts_with(".tussock-unfinished"))?;
        fs::read_dir(staging.path().join("pictures")).ok()?.next()
    };
    let start = Instant::now();
    while working().is_none() && start.elapsed() < Duration::from_secs(60) {
        std::thread::sleep(Duration::from_millis(5));
    }
    let id = child.id();
    let sends: Vec<String> = signals.iter().map(|signal| format!("kill -{signal} {id}")).collect();
    assert!(Command::new("sh").args(["-c", &sends.join(" && ")]).status().unwrap().success());
    child.wait_with_output().unwrap()
}

#[test]
fn a_signal_ends_with_a_report_of_what_is_known_and_a_second_at_once() {
    let place_of_60 = || {
        let place = Place::new();
        for i in 0..60 {
            place.photo(&format!("p{i:02}.jpg"), &jpeg(1500, 1000, i));
        }
        place
    };
    for signal in ["INT", "TERM", "HUP"] {
        let place = place_of_60();
        let done = stopped(&place, &[signal]);
        assert_eq!(done.status.code(), Some(1), "{signal}: {}", said(&done));
        let audit = place.json("out");
        let (frames, unreached) =
            (audit["frames"].as_array().unwrap().len(), audit["summary"]["unreached"].as_u64().unwrap());
        assert!(frames > 0 && unreached > 0 && frames + unreached as usize == 60, "{frames} and {unreached}");
        assert!(fs::read_to_string(place.path("out/index.html")).unwrap().contains("Stopped early"));
        assert!(String::from_utf8(done.stdout).unwrap().contains("Stopped early"));
    }
    // Held still while both are sent, so that no clock decides which of them comes while the report is written. Two of one
    // kind would come as one.
    let place = place_of_60();
    let done = stopped(&place, &["STOP", "INT", "TERM", "CONT"]);
    assert!([Some(128 + libc::SIGINT), Some(128 + libc::SIGTERM)].contains(&done.status.code()), "{}", said(&done));
    assert!(!place.path("out/index.html").exists());
    // The folder is taken up by the next.
    assert_eq!(place.run(&["audit", "photos/p00.jpg", "--no-cache", "--out", "out"]).status.code(), Some(0));
}

#[test]
fn half_a_jpeg_is_told_and_half_is_measured() {
    let place = Place::new();
    let recipes = tussock::simulate::recipes::shoot();
    let whole = recipes.iter().find(|r| r.file.contains("soft-corners")).unwrap().bytes().unwrap();
    let start = whole.windows(2).position(|w| w == [0xFF, 0xDA]).unwrap() + 10;
    let cut = |share: f64| {
        let end = start + ((whole.len() - start) as f64 * share) as usize;
        whole[..end].to_vec()
    };
    let filled = [cut(0.5), vec![0; whole.len() - cut(0.5).len() - 2], vec![0xFF, 0xD9]].concat();
    place.photo("filled.jpg", &filled);
    place.photo("whole.jpg", &whole);
    place.photo("half.jpg", &cut(0.5));
    place.photo("most.jpg", &cut(0.97));
    place.photo("scrap.jpg", &cut(0.05));
    let done = place.run(&["audit", "photos", "--no-cache", "--no-page", "--out", "out"]);
    assert_eq!(done.status.code(), Some(1));
    let audit = place.json("out");
    let frame = |name: &str| {
        let frames = audit["frames"].as_array().unwrap();
        frames.iter().find(|f| f["file"].as_str().unwrap().ends_with(name)).unwrap().clone()
    };
    let flagged = |name: &str| frame(name)["flags"].as_array().unwrap().contains(&"truncated".into());
    assert!(flagged("half.jpg") && flagged("most.jpg") && !flagged("whole.jpg"));
    // What a copy filled in is missing as well.
    assert!(flagged("filled.jpg"));
    assert_eq!(frame("filled.jpg")["tiles"]["blur_px"], frame("half.jpg")["tiles"]["blur_px"]);
    let failures = audit["failures"].to_string();
    assert!(failures.contains("cut short: only") && failures.contains("half.jpg"), "{failures}");
    assert!(failures.contains("scrap.jpg"), "{failures}");
    // What is measured of the half agrees with the whole, tile by tile; nothing comes of what is missing.
    let tiles = |name: &str| {
        let of = frame(name)["tiles"].clone();
        let list = |key: &str| of[key].as_array().unwrap().clone();
        list("y").into_iter().zip(list("blur_px")).collect::<Vec<_>>()
    };
    let height = frame("whole.jpg")["height"].as_f64().unwrap();
    let mut ratios = Vec::new();
    for (half, whole) in tiles("half.jpg").iter().zip(tiles("whole.jpg")) {
        if let (Some(blur), Some(full)) = (half.1.as_f64(), whole.1.as_f64()) {
            assert!(half.0.as_f64().unwrap() < 0.75 * height, "a number where nothing is: {half:?}");
            ratios.push(blur / full);
        }
    }
    ratios.sort_by(f64::total_cmp);
    let count = ratios.len();
    assert!(count > 60, "{count}");
    // One file's noise and shape are told from fewer tiles than the other's.
    assert!((ratios[count / 2] - 1.0).abs() < 0.03, "{}", ratios[count / 2]);
    assert!(ratios[0] > 0.7 && ratios[count - 1] < 1.4, "{ratios:?}");
}

/// What is printed is one thing that was asked for; sidecars, the report and files put into a folder are others. EPIPE and
/// ENOSPC as POSIX has them for a pipe that nobody reads and Linux for `/dev/full`; a reader that has read enough is no failure.
#[test]
fn a_full_or_closed_standard_output_costs_what_is_printed_and_nothing_else() {
    let to = |place: &Place, arguments: &[&str], out: Stdio| {
        place.command(arguments).stdout(out).stderr(Stdio::piped()).output().unwrap()
    };
    let full = || fs::File::options().write(true).open("/dev/full").map(Stdio::from);
    let closed = || {
        let (read, write) = std::io::pipe().unwrap();
        drop(read);
        Stdio::from(write)
    };
    let place = Place::new();
    place.photo("a.jpg", &jpeg(300, 200, 1));
    place.photo("broken.jpg", b"no picture");
    let audit = ["audit", "photos", "--no-cache", "--no-page", "--overwrite", "--sidecars", "--out", "rep"];
    let json = [&audit[..], &["--json"]].concat();
    let copy = ["keepers", "rep", "--of", "all", "--copy", "kept"];
    for (arguments, made) in [(&audit[..], "photos/a.xmp"), (&json, "photos/a.xmp"), (&copy, "kept/a.jpg")] {
        let lost = full().map(|full| (full, "cannot print", 1)).into_iter();
        for (out, said_of_it, status) in lost.chain([(closed(), "", if made.starts_with("kept") { 0 } else { 1 })]) {
            let _ = (fs::remove_file(place.path("photos/a.xmp")), fs::remove_dir_all(place.path("kept")));
            let done = to(&place, arguments, out);
            let words = said(&done);
            assert_eq!(done.status.code(), Some(status), "{arguments:?}: {words}");
            assert!(place.path(made).is_file(), "{arguments:?}: {words}");
            assert!(words.contains(said_of_it) && words.contains("cannot print") != said_of_it.is_empty(), "{words}");
            assert!(words.contains("broken.jpg") == (arguments[0] == "audit"), "{words}");
        }
        let left = contents(&place.path("rep")).into_keys().find(|p| p.to_string_lossy().contains("unfinished"));
        assert_eq!(left, None);
    }
    for arguments in [&["schema", "audit"][..], &["--help"], &["man", "audit"]] {
        let done = to(&place, arguments, closed());
        assert!(done.status.code() == Some(0) && said(&done).is_empty(), "{arguments:?}: {}", said(&done));
        if let Ok(full) = full() {
            let done = to(&place, arguments, full);
            assert!(done.status.code() != Some(0) && said(&done).contains("the disk is full"), "{}", said(&done));
        }
    }
}

#[test]
fn nothing_waits_on_a_pipe_and_no_name_steers_the_terminal() {
    let place = Place::new();
    let pipe = place.path("pipe.jpg");
    assert!(Command::new("mkfifo").arg(&pipe).status().unwrap().success());
    fs::copy("fixtures/jpeg/baseline.jpg", place.path("photos/ok.jpg")).unwrap();
    let evil = "photos/\u{1b}[31mred\u{202e}\u{7}.jpg";
    fs::write(place.path(evil), b"nothing").unwrap();
    fs::copy("fixtures/jpeg/baseline.jpg", place.path("photos/\u{1b}[32mgood.jpg")).unwrap();
    for arguments in [
        vec!["edge", "pipe.jpg", "--region", "0,0,64,64"],
        vec!["audit", "pipe.jpg"],
        vec!["audit", "photos", "--lens", "pipe.jpg", "--no-cache", "--out", "o1"],
        vec!["audit", "photos", "--no-cache", "--out", "pipe.jpg"],
        vec!["lens", "show", "pipe.jpg"],
        vec!["plan", "--from", "pipe.jpg"],
        vec!["facts", "pipe.jpg"],
        vec!["series", "pipe.jpg"],
        vec!["edge", evil, "--region", "0,0,64,64"],
        vec!["facts", "photos"],
        vec!["audit", "photos", "--no-cache", "--out", "o2"],
        vec!["series", "photos", "--out", "o3"],
        vec!["lens", "learn", "photos", "--out", "o4"],
        vec!["lens", "show", evil],
        vec!["plan", "--from", evil],
        vec!["audit", "\u{1b}[33mmissing"],
        vec!["audit", "--\u{1b}[34mwrong"],
        vec!["card", "--focal", "\u{1b}[35m"],
        vec!["card", "--focal", "24mm", "--out", "photos/\u{1b}[32mgood.jpg"],
    ] {
        let done = place.run(&arguments);
        assert!(done.status.code().is_some_and(|c| c <= 2), "{arguments:?}");
        for stream in [&done.stdout, &done.stderr] {
            let text = String::from_utf8_lossy(stream);
            let steers = |c: char| c.is_control() && c != '\n' && c != '\t' || ('\u{202a}'..='\u{202e}').contains(&c);
            assert!(!text.contains(steers), "{arguments:?}: {text:?}");
            for word in ["os error", "UTF-8", "panicked", "subview", "Caught a panic"] {
                assert!(!text.contains(word), "{arguments:?}: {text}");
            }
        }
    }
}

/// A chunk of a PNG (ISO 15948), with its checksum.
fn chunk(name: &[u8; 4], body: &[u8]) -> Vec<u8> {
    let crc = [name.as_slice(), body].concat().iter().fold(!0_u32, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |c, _| if c & 1 == 1 { c >> 1 ^ 0xEDB8_8320 } else { c >> 1 })
    });
    [&(body.len() as u32).to_be_bytes(), name.as_slice(), body, &(!crc).to_be_bytes()].concat()
}

fn zeros_packed(bytes: usize) -> Vec<u8> {
    miniz_oxide::deflate::compress_to_vec_zlib(&vec![0; bytes], 9)
}

/// PNG of zeros: its header, what stands before the pixels, the pixels.
fn png(width: u32, height: u32, before: &[u8], pixels: &[u8]) -> Vec<u8> {
    let head = [&width.to_be_bytes()[..], &height.to_be_bytes(), &[8, 0, 0, 0, 0]].concat();
    [b"\x89PNG\r\n\x1a\n".as_slice(), &chunk(b"IHDR", &head), before, &chunk(b"IDAT", pixels), &chunk(b"IEND", b"")]
        .concat()
}

/// Small files that swell, among good ones, under a limit of the system's on all memory.
#[cfg(target_os = "linux")]
#[test]
fn what_swells_costs_its_own_file() {
    let place = Place::new();
    place.photo("a-good.jpg", &jpeg(600, 400, 1));
    place.photo("z-good.png", &files::encoded(texture(600, 400, 2), ImageFormat::Png));
    let large = zeros_packed(20_001 * 15_000);
    place.photo("large.png", &png(20_000, 15_000, b"", &large));
    let profile = [b"x\0\0".as_slice(), &zeros_packed(1 << 30)].concat();
    place.photo("profile.png", &png(64, 64, &chunk(b"iCCP", &profile), &zeros_packed(65 * 64)));
    // A directory that leads to itself.
    let looped =
        b"II*\0\x08\0\0\0\x02\0\x12\xC6\x01\0\x04\0\0\0\x01\x04\0\0\x4A\x01\x04\0\x01\0\0\0\x08\0\0\0\x08\0\0\0";
    place.photo("looped.dng", looped);
    let mut padded = jpeg(64, 64, 3);
    let frame = padded.windows(2).position(|w| w == [0xFF, 0xC0]).unwrap();
    padded[frame + 5..frame + 9].copy_from_slice(&[0x4E, 0x20, 0x4E, 0x20]);
    padded.resize(500_000, 0);
    padded.extend([0xFF, 0xD9]);
    place.photo("padded.jpg", &padded);
    let program = env!("CARGO_BIN_EXE_tussock");
    for (limit, memory) in [("unlimited", "200MiB"), ("1500000", "200MiB"), ("1500000", "8GiB")] {
        let script = format!(
            "ulimit -v {limit}; exec \"{program}\" audit photos --no-cache --no-page --out out --memory {memory}"
        );
        let done = Command::new("sh").args(["-c", &script]).current_dir(place.0.path()).output().unwrap();
        assert_eq!(done.status.code(), Some(1), "{limit} {memory}: {}", said(&done));
        let audit = place.json("out");
        let names = |list: &str| {
            audit[list].as_array().unwrap().iter().map(|f| f["file"].as_str().unwrap().to_owned()).collect::<Vec<_>>()
        };
        for good in ["photos/a-good.jpg", "photos/z-good.png"] {
            assert!(names("frames").contains(&good.to_owned()), "{limit} {memory}: {}", said(&done));
        }
        for bad in ["photos/looped.dng", "photos/padded.jpg"] {
            assert!(names("failures").contains(&bad.to_owned()), "{limit} {memory}: {}", said(&done));
        }
    }
}
