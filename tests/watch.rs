//! Watching a folder that frames come into, seen from outside: half-written files, twins, misses, the end.
#![cfg(unix)]

#[path = "support/files.rs"]
mod files;
#[path = "support/place.rs"]
mod place;

use std::fs;
use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

use image::{GrayImage, Luma};
use place::Place;
use tussock::lens::{Baseline, Entry, LearnedFrom, record};
use tussock::quantity::Estimate;
use tussock::simulate;

/// A scene with an edge and fine detail, blurred by a box of so many pixels.
fn jpeg(blur: u32) -> Vec<u8> {
    let at = |x: u32, y: u32| {
        let edge = if (x / 37 + y / 41).is_multiple_of(2) { 60.0 } else { 190.0 };
        edge + f64::from((x ^ (y * 5)).wrapping_mul(2_654_435_761) >> 27)
    };
    let picture = GrayImage::from_fn(900, 600, |x, y| {
        let (mut sum, mut count) = (0.0, 0.0);
        for dx in 0..=blur {
            for dy in 0..=blur {
                sum += at(x + dx, y + dy);
                count += 1.0;
            }
        }
        Luma([(sum / count) as u8])
    });
    files::grey_jpeg(&picture, 92)
}

/// A running watch, whose lines come as it prints them.
struct Running {
    child: Child,
    lines: Receiver<String>,
}

impl Running {
    fn start(place: &Place, more: &[&str]) -> Self {
        let mut command = place.command(&[&["watch", "photos", "--out", "out", "--tiles", "8"], more].concat());
        let mut child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
        let (send, lines) = channel();
        let out = BufReader::new(child.stdout.take().unwrap());
        std::thread::spawn(move || out.lines().map_while(Result::ok).for_each(|line| drop(send.send(line))));
        let start = Instant::now();
        while !place.path("out/live.html").exists() {
            assert!(start.elapsed() < Duration::from_secs(60) && child.try_wait().unwrap().is_none());
            std::thread::sleep(Duration::from_millis(20));
        }
        // The folder is listed right after the page is there.
        std::thread::sleep(Duration::from_millis(400));
        Self { child, lines }
    }

    /// The next line that isn't empty.
    fn line(&self) -> String {
        loop {
            let line = self.lines.recv_timeout(Duration::from_secs(60)).expect("a line");
            if !line.is_empty() {
                return line;
            }
        }
    }

    fn silent_for(&self, time: Duration) -> bool {
        self.lines.recv_timeout(time).is_err()
    }

    /// The same, where no more lines are to come.
    fn stop_silently(mut self) -> (i32, String) {
        let lines = std::mem::replace(&mut self.lines, channel().1);
        let stopped = self.stop();
        let rest: Vec<String> = lines.iter().filter(|l| !l.is_empty()).collect();
        assert!(rest.is_empty(), "{rest:?}");
        stopped
    }

    /// Asks it to stop as Ctrl-C does; exit status and what it said.
    fn stop(mut self) -> (i32, String) {
        assert!(Command::new("kill").args(["-INT", &self.child.id().to_string()]).status().unwrap().success());
        let status = self.child.wait().unwrap();
        let mut said = String::new();
        self.child.stderr.take().unwrap().read_to_string(&mut said).unwrap();
        (status.code().expect("it ends by itself"), said)
    }
}

#[test]
fn frames_are_judged_as_they_come_and_the_end_leaves_a_report() {
    for poll in [false, true] {
        let place = Place::new();
        place.photo("old.jpg", &jpeg(0));
        let running = Running::start(&place, if poll { &["--poll", "--bell"] } else { &["--bell"] });
        // A file that comes in two halves with a pause between is waited for.
        let bytes = jpeg(0);
        let mut slow = fs::File::create(place.path("photos/a.jpg")).unwrap();
        slow.write_all(&bytes[..bytes.len() / 2]).unwrap();
        slow.flush().unwrap();
        assert!(running.silent_for(Duration::from_millis(1500)), "half a file was judged");
        slow.write_all(&bytes[bytes.len() / 2..]).unwrap();
        drop(slow);
        assert_eq!(running.line(), "a.jpg");
        let first = running.line();
        place.photo("b.jpg", &jpeg(5));
        assert_eq!(running.line(), "b.jpg", "{first}");
        let second = running.line();
        assert!(second.contains("soft") || second.contains("can't tell"), "{first} / {second}");
        let page = fs::read_to_string(place.path("out/live.html")).unwrap();
        assert!(page.contains("http-equiv=refresh") && page.contains("b.jpg") && page.contains("a.jpg"), "{page}");
        let (status, said) = running.stop();
        assert_eq!(status, 0, "{said}");
        let audit = place.json("out");
        let names: Vec<&str> =
            audit["frames"].as_array().unwrap().iter().map(|f| f["file"].as_str().unwrap()).collect();
        assert_eq!(names, ["photos/a.jpg", "photos/b.jpg"], "what was there before is not part of it");
        assert!(place.path("out/index.html").is_file());
        assert!(fs::read_to_string(place.path("out/live.html")).unwrap().contains("url=index.html"));
        assert_eq!(said.contains('\u{7}'), second.contains("soft"), "the bell rings for a miss");
    }
}

#[test]
fn what_is_damaged_is_named_twins_are_one_frame_and_json_is_a_line_a_frame() {
    let place = Place::new();
    let running = Running::start(&place, &["--json", "--no-page"]);
    place.photo("scrap.jpg", b"\xFF\xD8\xFF\xE0 nothing that could be decoded");
    place.photo("m.dng", &files::Dng::new(600, 400, 12).bytes());
    let line: serde_json::Value = serde_json::from_str(&running.line()).unwrap();
    assert_eq!((&line["format"], &line["path"]), (&"tussock.watch".into(), &"photos/m.dng".into()));
    place.photo("m.jpg", &jpeg(0));
    place.photo("n.jpg", &jpeg(0));
    let line: serde_json::Value = serde_json::from_str(&running.line()).unwrap();
    assert_eq!(line["path"], "photos/n.jpg", "the twin is the same frame");
    // What stays damaged is named after a while.
    std::thread::sleep(Duration::from_secs(13));
    let (status, said) = running.stop_silently();
    assert_eq!(status, 1, "{said}");
    assert!(said.contains("scrap.jpg"), "{said}");
    let audit = place.json("out");
    assert_eq!(audit["frames"].as_array().unwrap().len(), 2);
}

#[test]
fn a_line_of_json_holds_the_very_name() {
    let place = Place::new();
    let running = Running::start(&place, &["--json", "--no-page"]);
    place.photo("fam\u{200d}ily.jpg", &jpeg(0));
    let line = running.line();
    let told: serde_json::Value = serde_json::from_str(&line).unwrap_or_else(|e| panic!("{e}: {line}"));
    assert!(told["path"] == "photos/fam\u{200d}ily.jpg" && !line.contains('\u{200d}'), "{line}");
    assert_eq!(running.stop_silently().0, 0);
}

/// A stored baseline that has the lens soft all over, and a frame that is soft for another cause.
#[test]
fn what_is_learned_of_a_lens_is_left_aside_live_as_in_the_report() {
    let recipes = simulate::recipes::shoot();
    let recipe = recipes.iter().find(|r| r.file.contains("too-little-depth")).unwrap();
    let soft = |f_number: f64| {
        let sigma_um = vec![Some(Estimate::new(9.0, 0.1, 20)); 54];
        Entry { f_number, frames: 5, columns: 9, rows: 6, sigma_um }
    };
    let baseline = Baseline {
        lens: "Example 16 mm".into(),
        focal_length_mm: Some(16.0),
        frame_mm: None,
        provisional: false,
        learned_from: LearnedFrom::ApertureSeries,
        entries: [2.8, 4.0, 8.0].map(soft).into(),
        curvature: None,
    };
    let causes = |more: &[&str]| {
        let place = Place::new();
        fs::create_dir_all(place.path("config/tussock/lenses")).unwrap();
        let stored = record::write(&baseline, "2026-11-25");
        fs::write(place.path("config/tussock/lenses/example.toml"), stored).unwrap();
        let running = Running::start(&place, &[&["--json", "--no-page"], more].concat());
        place.photo(recipe.file, &recipe.bytes().unwrap());
        let live: serde_json::Value = serde_json::from_str(&running.line()).unwrap();
        let (status, said) = running.stop_silently();
        assert_eq!(status, 0, "{said}");
        let report = place.json("out");
        (live["cause"].clone(), report["frames"][0]["verdict"]["cause"].clone())
    };
    assert_eq!(causes(&[]), ("lens_softness".into(), "lens_softness".into()));
    assert_eq!(causes(&["--no-lens"]), ("too_little_depth".into(), "too_little_depth".into()));
}

#[test]
fn a_watch_that_saw_nothing_leaves_nothing() {
    let place = Place::new();
    let running = Running::start(&place, &[]);
    let (status, said) = running.stop();
    assert_eq!(status, 0, "{said}");
    assert!(said.contains("no frame came in") && !place.path("out").exists(), "{said}");
    let done = place.run(&["watch", "photos/none"]);
    assert!(done.status.code() == Some(2) && place::said(&done).contains("not a folder"), "{}", place::said(&done));
}
