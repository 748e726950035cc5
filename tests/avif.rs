//! AVIF: pictures of one piece and of several, and whatever else such files hold beside the picture.

#[path = "support/folder.rs"]
mod folder;
#[path = "support/heif.rs"]
mod heif;

use std::path::PathBuf;

use folder::Place;
use heif::{Laid, apart, extent, file, fixture, grid, levels};
use tussock::intake::{IntakeErrorKind, Overrides, colour, facts, read};

/// AVIF by libaom, in grey, so that luma is what its own reading gives; 10 and 12 bits are kept.
#[test]
fn avif_pictures_are_read() {
    let place = Place::new();
    for bits in [8, 10, 12] {
        let bytes = fixture(&format!("grey-{bits}.avif"));
        let levels = levels(&format!("grey-{bits}.levels"));
        let path = place.file("a.avif", &bytes);
        let worst = apart(&path, (64, 48), bits, |x, y| levels[y * 64 + x]);
        assert!(worst <= 1.0, "{bits} bits: {worst}");
        let seen = colour(&path, &Overrides::default()).unwrap();
        assert!(seen.pixels().all(|p| p.0.iter().max().unwrap() - p.0.iter().min().unwrap() <= 2));
        assert_eq!(facts(&path, &Overrides::default()).unwrap().size, Some((64, 48)));
        let error = read(&place.file("cut.avif", &bytes[..bytes.len() - 200]), &Overrides::default()).unwrap_err();
        assert_eq!(error.kind, IntakeErrorKind::Damaged, "{error}");
    }
}

/// The coded picture of a fixture: all that its media box holds.
fn coded(bits: usize) -> Vec<u8> {
    let bytes = fixture(&format!("grey-{bits}.avif"));
    let at = bytes.windows(4).position(|w| w == b"mdat").unwrap();
    bytes[at + 4..].to_vec()
}

/// Pictures larger than an encoder makes in one piece are cut into several of one size, the last ones filled up.
#[test]
fn grids_are_put_together() {
    let place = Place::new();
    for bits in [8, 10, 12] {
        let piece = coded(bits);
        let mut items = vec![(b"grid", grid(2, 3, (180, 90)))];
        items.extend((0..6).map(|_| (b"av01", piece.clone())));
        let links: (&[u8; 4], u8, &[u8]) = (b"dimg", 1, &[2, 3, 4, 5, 6, 7]);
        let path: PathBuf = place.file("a.avif", &file(b"avif", &items, 1, &[links], (180, 90), &[]));
        let levels = levels(&format!("grey-{bits}.levels"));
        let worst = apart(&path, (180, 90), bits, |x, y| levels[y % 48 * 64 + x % 64]);
        assert!(worst <= 1.0, "{bits} bits: {worst}");
        assert_eq!(colour(&path, &Overrides::default()).unwrap().dimensions(), (180, 90));
        assert_eq!(facts(&path, &Overrides::default()).unwrap().size, Some((180, 90)));
        // A piece too few, and pieces that do not reach to the edges.
        let short: (&[u8; 4], u8, &[u8]) = (b"dimg", 1, &[2, 3, 4, 5, 6]);
        for (links, size) in [(short, (180, 90)), (links, (193, 90))] {
            items[0].1 = grid(2, 3, size);
            let bytes = file(b"avif", &items, 1, &[links], (180, 90), &[]);
            let error = read(&place.file("b.avif", &bytes), &Overrides::default()).unwrap_err();
            assert_eq!(error.kind, IntakeErrorKind::Damaged, "{error}");
        }
    }
}

/// Nothing limits how long an item is but its file: here 17 MiB of padding (AV1 Bitstream & Decoding Process Specification, 5.3 and
/// 5.10: `obu_type` 15 with a size, which decoders drop) go before what is coded.
#[test]
fn a_long_item_is_read_whole() {
    let place = Place::new();
    let levels = levels("grey-8.levels");
    let padded = |length: usize| {
        let groups = (0..4).map(|k| (length >> (7 * k) & 0x7f) as u8 | if k < 3 { 0x80 } else { 0 });
        let mut item: Vec<u8> = std::iter::once(15 << 3 | 2).chain(groups).collect();
        item.resize(item.len() + length - 1, 0);
        item.push(0x80);
        [item, coded(8)].concat()
    };
    for length in [17, 17 << 20] {
        let path = place.file("a.avif", &file(b"avif", &[(b"av01", padded(length))], 1, &[], (64, 48), &[]));
        let worst = apart(&path, (64, 48), 8, |x, y| levels[y * 64 + x]);
        assert!(worst <= 1.0, "{length}: {worst}");
    }
}

/// Of a picture with a clean aperture (ISO/IEC 14496-12, 12.1.4) only that is the picture, as everybody sees it; it is cut out
/// before the picture is turned (ISO/IEC 23000-22, 7.3.6.7).
#[test]
fn a_clean_aperture_is_the_picture() {
    let place = Place::new();
    let levels = levels("grey-8.levels");
    let items = [(b"av01", coded(8))];
    let aperture = |numbers: [i32; 8]| {
        let body: Vec<u8> = numbers.iter().flat_map(|n| n.to_be_bytes()).collect();
        [&40_u32.to_be_bytes(), &b"clap"[..], &body].concat()
    };
    // 40 x 30 of 64 x 48, its middle 5 px right of and 3 px above the whole's: from (17, 6) on.
    let mut properties = vec![(1, aperture([40, 1, 60, 2, 5, 1, -3, 1]))];
    let path = place.file("a.avif", &file(b"avif", &items, 1, &[], (64, 48), &properties));
    let worst = apart(&path, (40, 30), 8, |x, y| levels[(y + 6) * 64 + x + 17]);
    assert!(worst <= 1.0, "{worst}");
    assert_eq!(colour(&path, &Overrides::default()).unwrap().dimensions(), (40, 30));
    assert_eq!(facts(&path, &Overrides::default()).unwrap().size, Some((40, 30)));
    properties.push((1, Laid::Turned(1).property()));
    let path = place.file("b.avif", &file(b"avif", &items, 1, &[], (64, 48), &properties));
    let worst = apart(&path, (30, 40), 8, |x, y| levels[(x + 6) * 64 + 39 - y + 17]);
    assert!(worst <= 1.0, "turned: {worst}");
    // One that reaches beyond the whole, or makes no sense, is none.
    for numbers in [[40, 1, 30, 1, 13, 1, 0, 1], [40, 0, 30, 1, 0, 1, 0, 1], [0, 1, 30, 1, 0, 1, 0, 1]] {
        let path = place.file("c.avif", &file(b"avif", &items, 1, &[], (64, 48), &[(1, aperture(numbers))]));
        assert_eq!(read(&path, &Overrides::default()).unwrap().plane.width, 64, "{numbers:?}");
    }
}

/// What lies beside the picture (alpha, depth, a gain map, a thumbnail) is never taken for it, whatever its order.
#[test]
fn auxiliary_pictures_are_left_alone() {
    let place = Place::new();
    let levels = levels("grey-8.levels");
    let properties = [1, 3].map(|item| (item, extent((64, 48))));
    for (first, how) in [(b"auxl", 1), (b"thmb", 1), (b"cdsc", 1)] {
        let items = [(b"av01", coded(10)), (b"av01", coded(8)), (b"av01", coded(10))];
        let path = place.file(
            "a.avif",
            &file(b"avif", &items, 2, &[(first, how, &[2]), (b"auxl", 3, &[2])], (64, 48), &properties),
        );
        let worst = apart(&path, (64, 48), 8, |x, y| levels[y * 64 + x]);
        assert!(worst <= 1.0, "{first:?}: {worst}");
    }
    // A gain map that is derived of two others (ISO/IEC 23008-12's tmap) stands beside the primary picture, not before it.
    let items = [(b"tmap", vec![0; 20]), (b"av01", coded(8)), (b"av01", coded(10))];
    let path = place.file("a.avif", &file(b"avif", &items, 2, &[(b"dimg", 1, &[2, 3])], (64, 48), &[]));
    assert!(apart(&path, (64, 48), 8, |x, y| levels[y * 64 + x]) <= 1.0);
    // One laid over another is named.
    let items = [(b"iovl", vec![0; 20]), (b"av01", coded(8))];
    let path = place.file("a.avif", &file(b"avif", &items, 1, &[(b"dimg", 1, &[2])], (64, 48), &[]));
    let error = read(&path, &Overrides::default()).unwrap_err();
    assert_eq!(error.kind, IntakeErrorKind::Unsupported, "{error}");
    assert!(error.problem.contains("over another"), "{error}");
}

/// The container turns and mirrors, in the order in which it says so.
#[test]
fn pictures_are_turned_and_mirrored_in_order() {
    let place = Place::new();
    let levels = levels("grey-8.levels");
    let stored: Vec<Vec<u16>> = levels.chunks_exact(64).map(<[u16]>::to_vec).collect();
    for order in Laid::all() {
        let properties = order.map(|laid| (1, laid.property()));
        let path = place.file("a.avif", &file(b"avif", &[(b"av01", coded(8))], 1, &[], (64, 48), &properties));
        let upright = order.iter().fold(stored.clone(), |rows, laid| laid.apply(&rows));
        let size = (upright[0].len(), upright.len());
        let worst = apart(&path, size, 8, |x, y| upright[y][x]);
        assert!(worst <= 1.0, "{order:?}: {worst}");
        let stated = facts(&path, &Overrides::default()).unwrap().size;
        assert_eq!(stated, Some((size.0 as u32, size.1 as u32)), "{order:?}");
    }
}
