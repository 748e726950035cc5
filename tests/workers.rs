//! Raw decoding in child processes: same pixels, and a worker's death costs its own file only.

#[path = "support/files.rs"]
mod files;

use std::path::{Path, PathBuf};
use std::time::Duration;

use files::Dng;
use tussock::intake::{IntakeErrorKind, Overrides, Workers, colour, read, use_workers};

fn workers() -> Workers {
    Workers {
        program: PathBuf::from(env!("CARGO_BIN_EXE_tussock")),
        arguments: vec!["raw-worker".into()],
        memory: Workers::MEMORY,
        side_by_side: 2,
        time: Workers::TIME,
    }
}

/// One test, since the setting holds for the whole process.
#[test]
fn workers_decode_alike_and_their_deaths_cost_one_file() {
    let place = tempfile::tempdir().unwrap();
    let none = Overrides::default();
    let file = |name: &str, bytes: &[u8]| {
        let path = place.path().join(name);
        std::fs::write(&path, bytes).unwrap();
        path
    };
    let whole = Dng { orientation: 8, ..Dng::new(96, 80, 14) };
    let path = file("whole.dng", &whole.bytes());
    let here = (read(&path, &none).unwrap(), colour(&path, &none).unwrap());

    use_workers(Some(workers()));
    for _ in 0..3 {
        let shot = read(&path, &none).unwrap();
        assert_eq!(shot.plane, here.0.plane);
        assert_eq!((shot.flags, shot.capture), (here.0.flags.clone(), here.0.capture.clone()));
        assert_eq!(colour(&path, &none).unwrap(), here.1);
    }
    let shots: Vec<_> = std::thread::scope(|scope| {
        let threads: Vec<_> = (0..4).map(|_| scope.spawn(|| read(&path, &none).unwrap().plane)).collect();
        threads.into_iter().map(|t| t.join().unwrap()).collect()
    });
    assert!(shots.iter().all(|plane| *plane == here.0.plane));

    // Damaged files of all sorts: an answer each time, and the sound file still reads afterwards.
    let bytes = whole.bytes();
    let mut state = 7_u64;
    for round in 0..120 {
        let mut damaged = bytes.clone();
        // The directories are at the end of the file, the first offset at its beginning.
        let directories = 96 * 80 * 2;
        for _ in 0..2 {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            let at = directories + (state >> 33) as usize % (bytes.len() - directories);
            damaged[at] = (state >> 24) as u8;
        }
        let answer = read(&file("damaged.dng", &damaged), &none);
        if let Err(error) = answer {
            assert!(!error.problem.is_empty() && error.advice.ends_with('.'), "round {round}: {error:?}");
        }
    }
    assert_eq!(read(&path, &none).unwrap().plane, here.0.plane);

    // A worker with no time is stopped, if what it reads takes any.
    let large = Dng { samples: vec![0; 6000 * 4000], ..Dng::new(6000, 4000, 14) };
    let mut large = Dng { samples: large.samples, ..large };
    large.samples.iter_mut().enumerate().for_each(|(i, v)| *v = (i % 9000) as u16);
    let large = file("large.dng", &large.bytes());
    use_workers(Some(Workers { time: Duration::ZERO, ..workers() }));
    let error = read(&large, &none).map(|_| "a picture").expect_err("no time");
    assert_eq!(error.kind, IntakeErrorKind::TooMuch, "{error}");
    assert!(error.problem.contains("longer"), "{error}");

    // A large frame under a small limit: refused, and small ones still read.
    use_workers(Some(Workers { memory: 60 << 20, ..workers() }));
    let error = read(&large, &none).expect_err("a refusal");
    assert_eq!(error.kind, IntakeErrorKind::TooMuch, "{error:?}");
    assert!(error.problem.contains("MB of memory"), "{error:?}");
    assert_eq!(read(&path, &none).unwrap().plane, here.0.plane);

    // A program that is no worker, or is not there, leaves decoding to this process.
    for program in ["/bin/true", "/nowhere/at/all"] {
        use_workers(Some(Workers { program: program.into(), ..workers() }));
        let read = read(&path, &none);
        assert!(read.is_ok_and(|shot| shot.plane == here.0.plane) || program == "/bin/true");
    }
    use_workers(None);
    assert_eq!(read(&path, &none).unwrap().plane, here.0.plane);
}

/// A raw file that fails is named, and its rendered twin stands in; where both fail, both are named.
#[test]
fn a_twin_stands_in_for_a_file_that_fails() {
    let place = tempfile::tempdir().unwrap();
    let (photos, out) = (place.path().join("photos"), place.path().join("report"));
    std::fs::create_dir(&photos).unwrap();
    let write = |name: &str, bytes: &[u8]| std::fs::write(photos.join(name), bytes).unwrap();
    write("one.dng", b"no picture at all");
    write("one.jpg", include_bytes!("../fixtures/jpeg/baseline.jpg"));
    write("two.dng", b"no picture at all");
    write("two.jpg", b"nor this");
    let mut command = assert_cmd::Command::cargo_bin("tussock").unwrap();
    command.arg("audit").arg(&photos).args(["--no-cache", "--no-page", "--out"]).arg(&out).assert().code(1);
    let audit: serde_json::Value = serde_json::from_slice(&std::fs::read(out.join("audit.json")).unwrap()).unwrap();
    let names = |list: &str| -> Vec<String> {
        let files = audit[list].as_array().unwrap().iter().map(|f| f["file"].as_str().unwrap());
        files.map(|f| f[f.len() - 7..].to_owned()).collect()
    };
    assert_eq!(names("frames"), ["one.jpg"]);
    assert!(audit["frames"][0]["flags"].as_array().unwrap().contains(&"twin_failed".into()));
    assert_eq!(names("failures"), ["one.dng", "two.dng", "two.jpg"]);
    let stand_in = |i: usize| audit["failures"][i]["stand_in"].as_str().map(|s| s[s.len() - 7..].to_owned());
    assert_eq!((stand_in(0).as_deref(), stand_in(1), stand_in(2)), (Some("one.jpg"), None, None));
    assert_eq!(audit["summary"]["failures"], 2, "a frame whose twin was read has not failed");
}

#[test]
fn what_was_asked_in_vain_is_said() {
    let place = tempfile::tempdir().unwrap();
    let good = place.path().join("good.png");
    image::RgbImage::from_pixel(64, 48, image::Rgb([90; 3])).save(&good).unwrap();
    let (empty, missing) = (place.path().join("empty.jpg"), place.path().join("missing.jpg"));
    std::fs::write(&empty, b"").unwrap();
    let audit = |paths: &[&Path], options: &[&str]| {
        let mut command = assert_cmd::Command::cargo_bin("tussock").unwrap();
        let run =
            command.arg("audit").args(paths).args(["--no-cache", "--no-page", "--out"]).arg(place.path().join("out"));
        let done = run.args(options).output().unwrap();
        (done.status.code(), String::from_utf8(done.stderr).unwrap())
    };
    // Where nothing could be read, every path is named all the same.
    let (status, said) = audit(&[&empty, &missing], &[]);
    assert!(status == Some(2) && said.contains("empty.jpg") && said.contains("missing.jpg"), "{said}");
    // Nearest beyond farthest.
    let (status, said) = audit(&[&good], &["--near", "10m", "--far", "2m"]);
    assert!(status == Some(2) && said.contains("beyond the far distance"), "{said}");
    // A mark outside the picture.
    let (status, said) = audit(&[&good], &["--near-at", "5000,100"]);
    assert!(status == Some(0) && said.contains("--near-at lies outside") && said.contains("64 x 48"), "{said}");
    assert!(!audit(&[&good], &["--near-at", "32,40"]).1.contains("outside"));
}
