//! AVIF: pictures of one piece and of several, and whatever else such files hold beside the picture.

#[path = "support/folder.rs"]
mod folder;

use std::path::{Path, PathBuf};

use folder::Place;
use tussock::intake::{IntakeErrorKind, Overrides, colour, facts, read};

/// AVIF by libaom, in grey, so that luma is what its own reading gives; 10 bits are kept.
#[test]
fn avif_pictures_are_read() {
    let place = Place::new();
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/heif");
    for (bits, top) in [(8, 255.0), (10, 1023.0)] {
        let bytes = std::fs::read(folder.join(format!("grey-{bits}.avif"))).unwrap();
        let levels = std::fs::read(folder.join(format!("grey-{bits}.levels"))).unwrap();
        let path = place.file("a.avif", &bytes);
        let shot = read(&path, &Overrides::default()).unwrap();
        assert_eq!((shot.plane.width, shot.plane.height), (64, 48));
        for (got, level) in shot.plane.data.iter().zip(levels.chunks_exact(2)) {
            let share = f64::from(u16::from_le_bytes([level[0], level[1]])) / top;
            let light = if share <= 0.04045 { share / 12.92 } else { ((share + 0.055) / 1.055).powf(2.4) };
            assert!((f64::from(*got) - 65_535.0 * light).abs() <= 1.0, "{bits} bits: {got} {level:?}");
        }
        let seen = colour(&path, &Overrides::default()).unwrap();
        assert!(seen.pixels().all(|p| p.0.iter().max().unwrap() - p.0.iter().min().unwrap() <= 2));
        assert_eq!(facts(&path, &Overrides::default()).unwrap().size, Some((64, 48)));
        let error = read(&place.file("cut.avif", &bytes[..bytes.len() - 200]), &Overrides::default()).unwrap_err();
        assert_eq!(error.kind, IntakeErrorKind::Damaged, "{error}");
    }
}

fn fixture(name: &str) -> Vec<u8> {
    std::fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/heif").join(name)).unwrap()
}

fn levels(bits: usize) -> Vec<u16> {
    fixture(&format!("grey-{bits}.levels")).chunks_exact(2).map(|b| u16::from_le_bytes([b[0], b[1]])).collect()
}

fn box_of(name: &[u8; 4], body: &[u8]) -> Vec<u8> {
    [&u32::try_from(body.len() + 8).unwrap().to_be_bytes(), &name[..], body].concat()
}

/// The coded picture of a fixture: all that its media box holds.
fn coded(bits: usize) -> Vec<u8> {
    let bytes = fixture(&format!("grey-{bits}.avif"));
    let at = bytes.windows(4).position(|w| w == b"mdat").unwrap();
    bytes[at + 4..].to_vec()
}

/// A file of items numbered from 1 on; `links` are kind, source and targets of references, `size` is the primary item's.
fn file(items: &[(&[u8; 4], Vec<u8>)], primary: u8, links: &[(&[u8; 4], u8, &[u8])], size: (u32, u32)) -> Vec<u8> {
    let infe = |(i, (kind, _)): (usize, &(&[u8; 4], Vec<u8>))| {
        box_of(b"infe", &[&[2, 0, 0, 0, 0, i as u8 + 1, 0, 0], &kind[..], &[0]].concat())
    };
    let links: Vec<u8> = links
        .iter()
        .flat_map(|(kind, from, to)| {
            let to: Vec<u8> = to.iter().flat_map(|id| [0, *id]).collect();
            box_of(kind, &[&[0, *from, 0, (to.len() / 2) as u8][..], &to].concat())
        })
        .collect();
    let build = |mut at: u32| {
        let mut iloc = vec![0, 0, 0, 0, 0x44, 0, 0, items.len() as u8];
        for (i, (_, bytes)) in items.iter().enumerate() {
            iloc.extend([0, i as u8 + 1, 0, 0, 0, 1]);
            iloc.extend(at.to_be_bytes());
            iloc.extend((bytes.len() as u32).to_be_bytes());
            at += bytes.len() as u32;
        }
        let ispe = [&[0; 4][..], &size.0.to_be_bytes(), &size.1.to_be_bytes()].concat();
        let ipma = [0, 0, 0, 0, 0, 0, 0, 1, 0, primary, 1, 1];
        let count = [0, 0, 0, 0, 0, items.len() as u8];
        let body = [
            vec![0; 4],
            box_of(b"hdlr", &[&[0; 8], &b"pict"[..], &[0; 13]].concat()),
            box_of(b"pitm", &[0, 0, 0, 0, 0, primary]),
            box_of(b"iinf", &[count.to_vec(), items.iter().enumerate().flat_map(infe).collect()].concat()),
            box_of(b"iref", &[vec![0; 4], links.clone()].concat()),
            box_of(b"iprp", &[box_of(b"ipco", &box_of(b"ispe", &ispe)), box_of(b"ipma", &ipma)].concat()),
            box_of(b"iloc", &iloc),
        ]
        .concat();
        [box_of(b"ftyp", b"avif\0\0\0\0mif1avif"), box_of(b"meta", &body)].concat()
    };
    let data: Vec<u8> = items.iter().flat_map(|(_, bytes)| bytes.clone()).collect();
    let head = build(0).len() as u32 + 8;
    [build(head), box_of(b"mdat", &data)].concat()
}

/// How far the plane lies from what levels of so many bits stand for by sRGB's curve (IEC 61966-2-1), at most.
fn apart(path: &Path, size: (usize, usize), bits: usize, level: impl Fn(usize, usize) -> u16) -> f64 {
    let plane = read(path, &Overrides::default()).unwrap().plane;
    assert_eq!((plane.width, plane.height), size);
    let light = |i: usize| {
        let share = f64::from(level(i % size.0, i / size.0)) / ((1 << bits) - 1) as f64;
        65_535.0 * if share <= 0.04045 { share / 12.92 } else { ((share + 0.055) / 1.055).powf(2.4) }
    };
    plane.data.iter().enumerate().map(|(i, v)| (f64::from(*v) - light(i)).abs()).fold(0.0, f64::max)
}

/// A grid's description (ISO/IEC 23008-12, 6.6.2.3.2).
fn grid(rows: u8, columns: u8, (width, height): (u16, u16)) -> Vec<u8> {
    [&[0, 0, rows - 1, columns - 1][..], &width.to_be_bytes(), &height.to_be_bytes()].concat()
}

/// Pictures larger than an encoder makes in one piece are cut into several of one size, the last ones filled up.
#[test]
fn grids_are_put_together() {
    let place = Place::new();
    for bits in [8, 10] {
        let piece = coded(bits);
        let mut items = vec![(b"grid", grid(2, 3, (180, 90)))];
        items.extend((0..6).map(|_| (b"av01", piece.clone())));
        let links: (&[u8; 4], u8, &[u8]) = (b"dimg", 1, &[2, 3, 4, 5, 6, 7]);
        let path: PathBuf = place.file("a.avif", &file(&items, 1, &[links], (180, 90)));
        let levels = levels(bits);
        let worst = apart(&path, (180, 90), bits, |x, y| levels[y % 48 * 64 + x % 64]);
        assert!(worst <= 1.0, "{bits} bits: {worst}");
        assert_eq!(colour(&path, &Overrides::default()).unwrap().dimensions(), (180, 90));
        assert_eq!(facts(&path, &Overrides::default()).unwrap().size, Some((180, 90)));
        // A piece too few, and pieces that do not reach to the edges.
        let short: (&[u8; 4], u8, &[u8]) = (b"dimg", 1, &[2, 3, 4, 5, 6]);
        for (links, size) in [(short, (180, 90)), (links, (193, 90))] {
            items[0].1 = grid(2, 3, size);
            let bytes = file(&items, 1, &[links], (180, 90));
            let error = read(&place.file("b.avif", &bytes), &Overrides::default()).unwrap_err();
            assert_eq!(error.kind, IntakeErrorKind::Damaged, "{error}");
        }
    }
}

/// What lies beside the picture (alpha, depth, a gain map, a thumbnail) is never taken for it, whatever its order.
#[test]
fn auxiliary_pictures_are_left_alone() {
    let place = Place::new();
    let levels = levels(8);
    for (first, how) in [(b"auxl", 1), (b"thmb", 1), (b"cdsc", 1)] {
        let items = [(b"av01", coded(10)), (b"av01", coded(8)), (b"av01", coded(10))];
        let path = place.file("a.avif", &file(&items, 2, &[(first, how, &[2]), (b"auxl", 3, &[2])], (64, 48)));
        let worst = apart(&path, (64, 48), 8, |x, y| levels[y * 64 + x]);
        assert!(worst <= 1.0, "{first:?}: {worst}");
    }
    // A gain map that is derived of two others (ISO/IEC 23008-12's tmap) stands beside the primary picture, not before it.
    let items = [(b"tmap", vec![0; 20]), (b"av01", coded(8)), (b"av01", coded(10))];
    let path = place.file("a.avif", &file(&items, 2, &[(b"dimg", 1, &[2, 3])], (64, 48)));
    assert!(apart(&path, (64, 48), 8, |x, y| levels[y * 64 + x]) <= 1.0);
    // One laid over another is named.
    let items = [(b"iovl", vec![0; 20]), (b"av01", coded(8))];
    let path = place.file("a.avif", &file(&items, 1, &[(b"dimg", 1, &[2])], (64, 48)));
    let error = read(&path, &Overrides::default()).unwrap_err();
    assert_eq!(error.kind, IntakeErrorKind::Unsupported, "{error}");
    assert!(error.problem.contains("over another"), "{error}");
}
