//! HEIC: pictures of 8 to 12 bits, of one piece and of several, and whatever else such files hold beside the picture.
#![cfg(feature = "heic")]

#[path = "support/folder.rs"]
mod folder;
#[path = "support/heif.rs"]
mod heif;

use folder::Place;
use heif::{Laid, apart, extent, file, fixture, grid, levels};
use tussock::intake::{IntakeErrorKind, Overrides, colour, facts, read};

/// Side of the fixtures, px.
const SIDE: u32 = 64;

/// The coded picture of a fixture, and the property that says how it is coded.
fn coded(bits: usize) -> (Vec<u8>, Vec<u8>) {
    let bytes = fixture(&format!("waves-{bits}.heic"));
    let find = |name: &[u8]| bytes.windows(4).position(|w| w == name).unwrap();
    let (data, how) = (find(b"mdat"), find(b"hvcC"));
    let length = u32::from_be_bytes(bytes[how - 4..how].try_into().unwrap()) as usize;
    (bytes[data + 4..].to_vec(), bytes[how - 4..][..length].to_vec())
}

/// HEIC by x265 without loss, in grey: every code comes back, 10 and 12 bits are kept.
#[test]
fn heic_pictures_are_read() {
    let place = Place::new();
    for bits in [8, 10, 12] {
        let bytes = fixture(&format!("waves-{bits}.heic"));
        let levels = levels(&format!("waves-{bits}.levels"));
        let path = place.file("a.heic", &bytes);
        let worst = apart(&path, (64, 64), bits, |x, y| levels[y * 64 + x]);
        assert!(worst <= 1.0, "{bits} bits: {worst}");
        assert_eq!(facts(&path, &Overrides::default()).unwrap().size, Some((SIDE, SIDE)));
        let error = read(&place.file("cut.heic", &bytes[..bytes.len() - 200]), &Overrides::default()).unwrap_err();
        assert_eq!(error.kind, IntakeErrorKind::Damaged, "{error}");
    }
}

/// Phones cut their pictures into pieces of one size, the last ones filled up.
#[test]
fn grids_are_put_together() {
    let place = Place::new();
    for bits in [8, 10, 12] {
        let (piece, how) = coded(bits);
        let mut items = vec![(b"grid", grid(2, 3, (180, 120)))];
        items.extend((0..6).map(|_| (b"hvc1", piece.clone())));
        let properties: Vec<_> = (2..8).flat_map(|item| [(item, extent((SIDE, SIDE))), (item, how.clone())]).collect();
        let links: (&[u8; 4], u8, &[u8]) = (b"dimg", 1, &[2, 3, 4, 5, 6, 7]);
        let path = place.file("a.heic", &file(b"heic", &items, 1, &[links], (180, 120), &properties));
        let levels = levels(&format!("waves-{bits}.levels"));
        let worst = apart(&path, (180, 120), bits, |x, y| levels[y % 64 * 64 + x % 64]);
        assert!(worst <= 1.0, "{bits} bits: {worst}");
        assert_eq!(colour(&path, &Overrides::default()).unwrap().dimensions(), (180, 120));
        // A piece too few.
        let short: (&[u8; 4], u8, &[u8]) = (b"dimg", 1, &[2, 3, 4, 5, 6]);
        let bytes = file(b"heic", &items, 1, &[short], (180, 120), &properties);
        let error = read(&place.file("b.heic", &bytes), &Overrides::default()).unwrap_err();
        assert_eq!(error.kind, IntakeErrorKind::Damaged, "{error}");
    }
}

/// What lies beside the picture (depth, a gain map, a thumbnail) is never taken for it, whatever its order.
#[test]
fn auxiliary_pictures_are_left_alone() {
    let place = Place::new();
    let levels = levels("waves-8.levels");
    let ((main, main_how), (other, other_how)) = (coded(8), coded(10));
    let properties =
        [(1, extent((SIDE, SIDE))), (1, other_how.clone()), (2, main_how), (3, extent((SIDE, SIDE))), (3, other_how)];
    for first in [b"auxl", b"thmb", b"cdsc"] {
        let items = [(b"hvc1", other.clone()), (b"hvc1", main.clone()), (b"hvc1", other.clone())];
        let links: [(&[u8; 4], u8, &[u8]); 2] = [(first, 1, &[2]), (b"auxl", 3, &[2])];
        let path = place.file("a.heic", &file(b"heic", &items, 2, &links, (SIDE, SIDE), &properties));
        let worst = apart(&path, (64, 64), 8, |x, y| levels[y * 64 + x]);
        assert!(worst <= 1.0, "{first:?}: {worst}");
    }
    // A gain map that is derived of two others (ISO/IEC 23008-12's tmap) stands beside the primary picture, not before it.
    let items = [(b"tmap", vec![0; 20]), (b"hvc1", main.clone()), (b"hvc1", other)];
    let links: (&[u8; 4], u8, &[u8]) = (b"dimg", 1, &[2, 3]);
    let path = place.file("a.heic", &file(b"heic", &items, 2, &[links], (SIDE, SIDE), &properties[2..]));
    assert!(apart(&path, (64, 64), 8, |x, y| levels[y * 64 + x]) <= 1.0);
    // One laid over another is refused as a kind that is not read.
    let items = [(b"iovl", vec![0; 20]), (b"hvc1", main)];
    let links: (&[u8; 4], u8, &[u8]) = (b"dimg", 1, &[2]);
    let path = place.file("a.heic", &file(b"heic", &items, 1, &[links], (SIDE, SIDE), &properties[2..3]));
    let error = read(&path, &Overrides::default()).unwrap_err();
    assert_eq!(error.kind, IntakeErrorKind::Unsupported, "{error}");
}

/// The container turns and mirrors, in the order in which it says so, and nothing is turned twice.
#[test]
fn pictures_are_turned_and_mirrored_in_order() {
    let place = Place::new();
    let levels = levels("waves-8.levels");
    let stored: Vec<Vec<u16>> = levels.chunks_exact(64).map(<[u16]>::to_vec).collect();
    let (picture, how) = coded(8);
    for order in Laid::all() {
        let mut properties = vec![(1, how.clone())];
        properties.extend(order.map(|laid| (1, laid.property())));
        let items = [(b"hvc1", picture.clone())];
        let path = place.file("a.heic", &file(b"heic", &items, 1, &[], (SIDE, SIDE), &properties));
        let upright = order.iter().fold(stored.clone(), |rows, laid| laid.apply(&rows));
        let worst = apart(&path, (64, 64), 8, |x, y| upright[y][x]);
        assert!(worst <= 1.0, "{order:?}: {worst}");
    }
}
