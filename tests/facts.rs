//! Capture facts out of real file heads and out of written ones of every maker and container.
//!
//! The expected values of the real heads are those that exiftool 12.57, an independent library, reads in
//! them; it was also run on the written ones and reads the same distances, points, lenses and modes there.

mod heads;

use std::io::Cursor;

use tussock::intake::{Facts, exif};
use tussock::quantity::{Distance, Flag, Point};
use tussock::shot::Source;

fn read(bytes: &[u8]) -> Facts {
    exif::read(&mut Cursor::new(bytes), None).expect("a known kind of file")
}

fn head(name: &str) -> Facts {
    let path = format!("{}/fixtures/heads/{name}", env!("CARGO_MANIFEST_DIR"));
    read(&std::fs::read(path).unwrap())
}

fn written(name: &str) -> Facts {
    let all = heads::makers::all();
    read(&all.iter().find(|(n, _)| *n == name).unwrap_or_else(|| panic!("no head named {name}")).1)
}

fn close(a: f64, b: f64) -> bool {
    a == b || (a - b).abs() <= 1e-3 * b.abs()
}

#[track_caller]
fn check_distance(facts: &Facts, expected: Option<(f64, f64)>) {
    let found = facts.capture.focus_distance_m.as_ref().map(|f| f.value.bounds());
    match (found, expected) {
        (None, None) => {}
        (Some(f), Some(e)) => assert!(close(f.0, e.0) && close(f.1, e.1), "{f:?} for {e:?}"),
        _ => panic!("{found:?} for {expected:?}"),
    }
}

#[track_caller]
fn check_point(facts: &Facts, expected: Option<(f64, f64)>) {
    let found = facts.capture.focus_point.as_ref().map(|f| f.value);
    match (found, expected) {
        (None, None) => {}
        (Some(f), Some(e)) => assert!(close(f.x, e.0) && close(f.y, e.1), "{f:?} for {e:?}"),
        _ => panic!("{found:?} for {expected:?}"),
    }
}

struct Row {
    name: &'static str,
    body: &'static str,
    f_number: f64,
    focal: f64,
    exposure: f64,
    iso: Option<f64>,
    lens: Option<&'static str>,
    distance: Option<(f64, f64)>,
    point: Option<(f64, f64)>,
}

#[test]
fn real_heads_read_as_an_independent_library_reads_them() {
    let inf = f64::INFINITY;
    let one = |v: f64| Some((v, v));
    let rows = [
        Row {
            name: "head-03.png",
            body: "NIKON D300",
            f_number: 7.1,
            focal: 50.0,
            exposure: 0.1,
            iso: Some(200.0),
            lens: Some("18-70mm f/3.5-4.5"),
            distance: one(1.0),
            point: None,
        },
        Row {
            name: "head-05.png",
            body: "SONY ILCE-6500",
            f_number: 4.5,
            focal: 16.0,
            exposure: 0.00025,
            iso: Some(200.0),
            lens: Some("E PZ 16-50mm F3.5-5.6 OSS"),
            distance: one(18.171_239_681),
            point: Some((3862.0 / 6000.0, 1725.0 / 4000.0)),
        },
        Row {
            name: "head-19.png",
            body: "NIKON D700",
            f_number: 2.8,
            focal: 85.0,
            exposure: 0.00125,
            iso: Some(200.0),
            lens: Some("85mm f/1.8"),
            distance: one(1.188_502_227),
            // Point 21 is the third to the right of the middle; its place is this program's own estimate.
            point: Some((0.5 + 3.0 * 1.63 / 36.0, 0.5)),
        },
        Row {
            name: "head-23.png",
            body: "SONY SLT-A58",
            f_number: 2.8,
            focal: 11.0,
            exposure: 20.0,
            iso: Some(1600.0),
            lens: Some("20mm F2.8"),
            distance: one(inf),
            point: None,
        },
        Row {
            name: "sample.nef",
            body: "NIKON D1",
            f_number: 7.6,
            focal: 20.0,
            exposure: 0.004,
            iso: Some(200.0),
            lens: Some("20mm f/2.8"),
            distance: None,
            point: None,
        },
        Row {
            name: "sample.cr2",
            body: "Canon PowerShot S90",
            f_number: 5.6,
            focal: 8.557,
            exposure: 0.008,
            iso: Some(80.0),
            lens: Some("6-22.5mm"),
            // The lower bound is written as zero: the upper one stands alone.
            distance: one(6.12),
            point: Some((0.5, 0.5)),
        },
        Row {
            name: "sample.arw",
            body: "SONY DSLR-A330",
            f_number: 4.5,
            focal: 100.0,
            exposure: 0.00625,
            iso: Some(100.0),
            lens: Some("55-200mm f/4-5.6"),
            distance: one(inf),
            point: None,
        },
        Row {
            name: "sample.dng",
            body: "Canon PowerShot SD450",
            f_number: 2.8,
            focal: 5.8,
            exposure: 0.060_283,
            iso: Some(100.0),
            lens: None,
            distance: None,
            point: None,
        },
    ];
    for row in rows {
        let facts = head(row.name);
        let c = &facts.capture;
        assert_eq!(c.body.as_ref().map(|f| f.value.as_str()), Some(row.body), "{}", row.name);
        assert_eq!(c.lens.as_ref().map(|f| f.value.as_str()), row.lens, "{}", row.name);
        assert_eq!(c.iso.as_ref().map(|f| f.value), row.iso, "{}", row.name);
        for (fact, expected) in
            [(&c.f_number, row.f_number), (&c.focal_length_mm, row.focal), (&c.exposure_s, row.exposure)]
        {
            let fact = fact.as_ref().unwrap();
            assert!(close(fact.value, expected), "{}: {fact:?} for {expected}", row.name);
        }
        check_distance(&facts, row.distance);
        check_point(&facts, row.point);
    }
}

/// Distance bounds, focus point, lens and focus mode that a written head must give.
type Expected = (Option<(f64, f64)>, Option<(f64, f64)>, Option<&'static str>, Option<&'static str>);

#[test]
fn every_makers_note_is_understood() {
    let inf = f64::INFINITY;
    let one = |v: f64| Some((v, v));
    let olympus: Expected = (one(3.45), Some((0.62, 0.32)), Some("OLYMPUS M.12-40mm F2.8"), Some("single AF"));
    let panasonic: Expected = (None, Some((0.3125, 0.625)), Some("LUMIX G VARIO 14-140/F3.5-5.6"), Some("AF-S"));
    let fujifilm: Expected = (None, Some((0.25, 0.75)), Some("18-55mm f/2.8-4"), Some("AF-S"));
    let canon_newer: Expected = (Some((8.12, inf)), Some((0.75, 0.75)), Some("RF24-105mm F4 L IS USM"), None);
    // Bounds written in the wrong order are put in order; EOS counts areas upwards from the middle.
    let canon_eos: Expected =
        (Some((1.19, 1.57)), Some((0.5, 0.5 + 617.0 / 3000.0)), Some("EF-S18-55mm f/3.5-5.6 IS"), Some("one-shot AF"));
    let rows: [(&str, Expected); 28] = [
        ("olympus-new.jpg", olympus),
        ("om-system.jpg", olympus),
        ("olympus.orf", olympus),
        ("olympus-old.jpg", (one(inf), None, None, None)),
        ("panasonic.jpg", panasonic),
        ("panasonic.rw2", panasonic),
        ("fujifilm.jpg", fujifilm),
        ("fujifilm.raf", fujifilm),
        ("pentax-old.jpg", (None, Some((0.5, 0.5)), None, Some("AF-S"))),
        ("pentax-new.jpg", (None, None, None, Some("manual"))),
        ("sigma.jpg", (None, None, Some("17-70mm"), Some("AF-S"))),
        ("sigma.x3f", (None, None, Some("17-70mm f/2.8"), Some("AF-S"))),
        // The undocumented range in Apple's note is no subject distance.
        ("apple.jpg", (None, None, None, None)),
        ("sony-newer.jpg", (one(1.188), Some((0.25, 0.8)), Some("24-105mm f/4"), Some("AF-C"))),
        ("sony-older.jpg", (one(2.4), None, None, None)),
        ("minolta.jpg", (one(2.5), None, None, Some("AF"))),
        ("minolta.mrw", (one(2.5), None, None, Some("AF"))),
        ("casio.jpg", (one(inf), None, None, None)),
        ("canon-eos.jpg", canon_eos),
        ("canon-converted.dng", canon_eos),
        ("canon-newer.jpg", canon_newer),
        ("canon.cr3", canon_newer),
        ("canon-body.jpg", (Some((3.01, 3.46)), None, None, None)),
        ("canon.crw", (Some((3.0, 5.0)), None, Some("17-35mm"), Some("one-shot AF"))),
        ("nikon-z.jpg", (one(3.162_277_66), Some((0.25, 0.75)), Some("24-70mm f/4"), Some("AF-S"))),
        ("plain.heic", (None, None, None, None)),
        ("plain.webp", (one(3.55), None, Some("24.0-70.0 mm f/2.8"), None)),
        ("plain.jpg", (None, None, None, None)),
    ];
    for (name, (distance, point, lens, mode)) in rows {
        let facts = written(name);
        check_distance(&facts, distance);
        check_point(&facts, point);
        assert_eq!(facts.capture.lens.as_ref().map(|f| f.value.as_str()), lens, "{name}");
        assert_eq!(facts.capture.focus_mode.as_ref().map(|f| f.value.as_str()), mode, "{name}");
        assert!(facts.capture.f_number.is_some() && facts.capture.exposure_s.is_some(), "{name}");
    }
}

#[test]
fn containers_state_the_upright_size() {
    for (name, size) in [
        ("plain.jpg", (4000, 3000)),
        ("plain.webp", (4000, 3000)),
        // Turned by the container's own box.
        ("plain.heic", (3000, 4000)),
        ("panasonic.rw2", (4000, 3000)),
        ("fujifilm.raf", (6240, 4160)),
        ("canon.cr3", (6720, 4480)),
        ("canon.crw", (2048, 3072)),
        ("minolta.mrw", (3272, 2456)),
        ("sigma.x3f", (1760, 2640)),
    ] {
        assert_eq!(written(name).size, Some(size), "{name}");
    }
    assert_eq!(head("sample.cr2").size, Some((3648, 2736)));
}

#[test]
fn sources_are_named() {
    let facts = written("plain.webp");
    assert_eq!(facts.capture.f_number.unwrap().source, Source::Exif);
    assert_eq!(facts.capture.focus_distance_m.unwrap().source, Source::Xmp);
    assert_eq!(facts.capture.pixel_pitch_um.unwrap().source, Source::Derived);
    assert_eq!(written("olympus-new.jpg").capture.focus_distance_m.unwrap().source, Source::MakerNote);
    assert!(written("apple.jpg").flags.contains(&Flag::MultiShot));
}

#[test]
fn a_sidecar_speaks_for_a_file_without_facts() {
    let packet = heads::makers::XMP;
    let file = heads::jpeg(&heads::BE.tiff(&[(0x0112, heads::Value::Shorts(vec![6]))]));
    let facts = exif::read(&mut Cursor::new(&file), Some(packet)).unwrap();
    assert_eq!(facts.capture.focus_distance_m.unwrap().value, Distance::Finite(3.55));
    assert_eq!(facts.capture.body.unwrap().value, "NIKON D850");
    assert_eq!(facts.orientation, Some(6));
    assert_eq!(facts.size, Some((3000, 4000)));
}

/// A JPEG with these entries in its Exif directory and this orientation.
fn with_exif(orientation: u16, entries: Vec<heads::Entry>) -> Facts {
    let main = [(0x0112, heads::Value::Shorts(vec![orientation])), (0x8769, heads::Value::Directory(4, entries))];
    read(&heads::jpeg(&heads::LE.tiff(&main)))
}

#[test]
fn a_subject_area_is_placed_in_the_upright_picture() {
    // A place at a quarter from the left and a tenth from the top, as stored (Exif 2.32, orientation 1 to 8).
    let upright = [
        (1, 0.25, 0.1),
        (2, 0.75, 0.1),
        (3, 0.75, 0.9),
        (4, 0.25, 0.9),
        (5, 0.1, 0.25),
        (6, 0.9, 0.25),
        (7, 0.9, 0.75),
        (8, 0.1, 0.75),
    ];
    for (orientation, x, y) in upright {
        let area = heads::Value::Shorts(vec![1000, 300, 200, 200]);
        let facts = with_exif(orientation, vec![(0x9214, area)]);
        let Point { x: fx, y: fy } = facts.capture.focus_point.unwrap().value;
        assert!(close(fx, x) && close(fy, y), "orientation {orientation}: {fx}, {fy}");
    }
    // A place outside the picture, or the filler (0, 0), is none.
    for place in [vec![5000, 300], vec![0, 0]] {
        let facts = with_exif(1, vec![(0x9214, heads::Value::Shorts(place))]);
        assert_eq!(facts.capture.focus_point, None);
    }
}

#[test]
fn fillers_for_distance_mean_what_they_mean() {
    let distance = |num, den| {
        let facts = with_exif(1, vec![(0x9206, heads::Value::Rationals(vec![(num, den)]))]);
        (facts.capture.focus_distance_m.map(|f| f.value), facts.flags.contains(&Flag::FocusDistanceIgnored))
    };
    assert_eq!(distance(u32::MAX, 1), (Some(Distance::Infinite), false));
    assert_eq!(distance(65_535, 100), (Some(Distance::Infinite), false));
    assert_eq!(distance(65_535, 1), (Some(Distance::Infinite), false));
    assert_eq!(distance(0, 1), (None, true));
    assert_eq!(distance(0, 0), (None, true));
    assert_eq!(distance(892, 1000), (Some(Distance::Finite(0.892)), false));
}

#[test]
fn what_was_done_to_a_picture_after_the_exposure_is_flagged() {
    use heads::Value::{Ascii, Longs, Rationals, Shorts};
    let flags = |tag: u16, value: heads::Value| with_exif(1, vec![(tag, value)]).flags;
    // Exif 2.32, CompositeImage: 1 none, 2 a composite, 3 composed while shooting.
    assert!(flags(0xa460, Shorts(vec![2])).contains(&Flag::MultiShot));
    assert!(flags(0xa460, Shorts(vec![3])).contains(&Flag::MultiShot));
    assert!(!flags(0xa460, Shorts(vec![1])).contains(&Flag::MultiShot));
    // CustomRendered: 0 and 1 are the standard's, 6 a phone's panorama.
    assert!(flags(0xa401, Shorts(vec![6])).contains(&Flag::Panorama));
    assert!(!flags(0xa401, Shorts(vec![1])).contains(&Flag::Panorama));
    // DigitalZoomRatio: a numerator of zero means unused, one is none.
    assert!(flags(0xa404, Rationals(vec![(2, 1)])).contains(&Flag::Enlarged));
    for none in [(0, 1), (1, 1), (0, 0)] {
        assert!(!flags(0xa404, Rationals(vec![none])).contains(&Flag::Enlarged), "{none:?}");
    }
    // The file holds 4000 x 3000 pixels; Exif says how many the camera wrote.
    let recorded = |w: u32, h: u32| with_exif(1, vec![(0xa002, Longs(vec![w])), (0xa003, Longs(vec![h]))]).flags;
    assert!(recorded(2000, 1500).contains(&Flag::Enlarged));
    assert!(!recorded(4000, 3000).contains(&Flag::Enlarged) && !recorded(3000, 4000).contains(&Flag::Enlarged));
    // The program's name is in the first directory.
    let by = |name: &'static str| read(&heads::jpeg(&heads::LE.tiff(&[(0x0131, Ascii(name))]))).flags;
    for name in ["Image Stitcher", "FieldPanorama 3.1", "panorama-maker"] {
        assert!(by(name).contains(&Flag::Panorama), "{name}");
    }
    assert!(by("Focus stacking 4.2").contains(&Flag::MultiShot));
    // Raised by the file's word alone, none of them says what the picture itself was found to be.
    assert!(Flag::Panorama.meaning().contains("was stitched, or"), "{}", Flag::Panorama.meaning());
    assert!(Flag::Enlarged.meaning().contains("by its file's account or"), "{}", Flag::Enlarged.meaning());
    assert!(!Flag::MultiShot.meaning().contains("in the camera"), "{}", Flag::MultiShot.meaning());
    let plain = by("Ver.1.00");
    assert!(![Flag::Panorama, Flag::MultiShot, Flag::Enlarged].iter().any(|f| plain.contains(f)), "{plain:?}");
    // The schema for panoramas and spheres.
    let packet = br#"<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#"><rdf:Description xmlns:GPano="http://ns.google.com/photos/1.0/panorama/" GPano:ProjectionType="equirectangular"/></rdf:RDF></x:xmpmeta>"#;
    let file = heads::jpeg(&heads::BE.tiff(&[(0x0112, Shorts(vec![1]))]));
    let facts = exif::read(&mut Cursor::new(&file), Some(packet)).unwrap();
    assert!(facts.flags.contains(&Flag::Panorama));
}

#[test]
fn a_title_or_a_place_name_makes_no_panorama_of_a_single_frame() {
    use heads::Value::Ascii;
    let head = |tag: u16, text: &'static str| heads::jpeg(&heads::LE.tiff(&[(tag, Ascii(text))]));
    // ImageDescription, Software.
    for (tag, text) in
        [(0x010e, "Sunrise, Panorama Ridge"), (0x010e, "focus stack of stones"), (0x0131, "Stitches of Time")]
    {
        let flags = read(&head(tag, text)).flags;
        assert!(!flags.contains(&Flag::Panorama) && !flags.contains(&Flag::MultiShot), "{text}: {flags:?}");
    }
    let packet = br#"<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#"><rdf:Description xmlns:dc="http://purl.org/dc/elements/1.1/"><dc:title><rdf:Alt><rdf:li>Panorama Ridge</rdf:li></rdf:Alt></dc:title></rdf:Description></rdf:RDF></x:xmpmeta>"#;
    let facts = exif::read(&mut Cursor::new(&head(0x0131, "Ver.1.00")), Some(packet)).unwrap();
    assert!(!facts.flags.contains(&Flag::Panorama));
}

#[test]
fn a_distance_nearer_than_optics_allow_is_flagged_and_kept() {
    let facts = with_exif(
        1,
        vec![(0x9206, heads::Value::Rationals(vec![(133, 1000)])), (0x920a, heads::Value::Rationals(vec![(125, 1)]))],
    );
    assert!(facts.flags.contains(&Flag::FocusDistanceImpossible));
    assert!(facts.capture.focus_distance_m.is_some());
}

#[test]
fn no_cut_and_no_changed_byte_brings_the_reader_down() {
    let files = heads::makers::all();
    let mut state = 0x9e37_79b9_7f4a_7c15_u64;
    let mut random = || {
        // Xorshift64: any spread of places and values will do.
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        state
    };
    for (name, bytes) in &files {
        for cut in 0..bytes.len().min(1500) {
            exif::read(&mut Cursor::new(&bytes[..cut]), None);
        }
        for _ in 0..400 {
            let mut changed = bytes.clone();
            for _ in 0..1 + random() % 8 {
                let at = random() as usize % changed.len();
                changed[at] = random() as u8;
            }
            if let Some(facts) = exif::read(&mut Cursor::new(&changed), None) {
                let sane = |v: f64| v.is_finite() && v > 0.0;
                let c = &facts.capture;
                assert!(c.f_number.as_ref().is_none_or(|f| sane(f.value)), "{name}");
                assert!(c.pixel_pitch_um.as_ref().is_none_or(|f| sane(f.value)), "{name}");
                assert!(
                    c.focus_point
                        .as_ref()
                        .is_none_or(|f| (0.0..=1.0).contains(&f.value.x) && (0.0..=1.0).contains(&f.value.y)),
                    "{name}"
                );
                assert!(
                    c.focus_distance_m.as_ref().is_none_or(|f| {
                        let (low, high) = f.value.bounds();
                        low > 0.0 && low <= high
                    }),
                    "{name}: {:?}",
                    c.focus_distance_m
                );
            }
        }
    }
}

#[test]
fn a_directory_behind_the_pixels_is_found() {
    let start = 3_000_000;
    let mut file = heads::LE.tiff(&[]);
    file[4..8].copy_from_slice(&u32::try_from(start).unwrap().to_le_bytes());
    file.resize(start, 0x55);
    file.extend(heads::LE.directory(start, &heads::standard("Somebody", "Something", None)));
    let facts = read(&file);
    assert_eq!(facts.capture.body.unwrap().value, "Somebody Something");
    assert_eq!(facts.capture.f_number.unwrap().value, 8.0);
}

#[test]
fn a_long_maker_note_behind_the_first_megabyte_is_found() {
    // As bodies that put a preview into the note write it.
    fn long(at: usize) -> Vec<u8> {
        let mut note = heads::makers::canon_note(at);
        note.resize(3_000_000, 0);
        note
    }
    let file = heads::LE.tiff(&heads::standard("Canon", "Canon EOS 400D DIGITAL", Some(heads::Value::Placed(long))));
    check_distance(&read(&file), Some((1.19, 1.57)));
}

/// Runs the program; gives its exit status, standard output and standard error.
fn run(arguments: &[&str]) -> (i32, String, String) {
    let output = assert_cmd::Command::cargo_bin("tussock").unwrap().arg("facts").args(arguments).output().unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (output.status.code().unwrap(), text(output.stdout), text(output.stderr))
}

#[test]
fn the_command_prints_facts_of_files_and_folders_and_names_what_it_could_not_read() {
    let folder = tempfile::tempdir().unwrap();
    for (name, bytes) in heads::makers::all() {
        std::fs::write(folder.path().join(name), bytes).unwrap();
    }
    let whole = folder.path().to_str().unwrap();
    let file = folder.path().join("canon-eos.jpg");
    let file = file.to_str().unwrap();

    let (status, text, _) = run(&[file]);
    assert_eq!(status, 0);
    assert!(text.contains("1.19 m to 1.57 m") && text.contains("maker note") && text.contains("f/8"), "{text}");

    let (status, text, _) = run(&["--json", whole]);
    let told: serde_json::Value = serde_json::from_str(&text).unwrap();
    assert_eq!((&told["format"], &told["version"]), (&"tussock.facts".into(), &1.into()));
    let list = &told["files"];
    assert_eq!((status, list.as_array().unwrap().len()), (0, heads::makers::all().len()));
    let entry = list.as_array().unwrap().iter().find(|e| e["file"].as_str().unwrap().ends_with("canon-eos.jpg"));
    let distance = &entry.unwrap()["capture"]["focus_distance_m"];
    assert_eq!(distance["source"], "maker note");
    assert_eq!((distance["value"]["low"].as_f64(), distance["value"]["high"].as_f64()), (Some(1.19), Some(1.57)));
    assert_eq!(entry.unwrap()["width"], 4000);

    let (status, text, _) = run(&["--json", "--aperture", "f/11", "--focus-distance", "2.4m", file]);
    let list: serde_json::Value = serde_json::from_str(&text).unwrap();
    assert_eq!(status, 0);
    let list = &list["files"];
    assert_eq!(list[0]["capture"]["f_number"], serde_json::json!({"value": 11.0, "source": "given"}));
    assert_eq!(list[0]["capture"]["focus_distance_m"]["value"], 2.4);

    let bad = folder.path().join("notes.jpg");
    std::fs::write(&bad, "not a picture").unwrap();
    let (status, text, errors) = run(&[file, bad.to_str().unwrap()]);
    assert_eq!(status, 1);
    assert!(text.contains("Canon EOS 400D") && errors.contains("notes.jpg"), "{errors}");
    let (status, _, errors) = run(&[bad.to_str().unwrap()]);
    assert!(status == 2 && errors.contains("notes.jpg"), "{status} {errors}");
}
