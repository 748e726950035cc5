//! HEIF files (ISO/IEC 23008-12) put together of items, and the fixtures that such items come from.

use std::collections::BTreeMap;
use std::path::Path;

use tussock::intake::{Overrides, read};

/// The bytes of a fixture.
pub fn fixture(name: &str) -> Vec<u8> {
    std::fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/heif").join(name)).unwrap()
}

/// The codes of luma that a fixture states.
pub fn levels(name: &str) -> Vec<u16> {
    fixture(name).chunks_exact(2).map(|b| u16::from_le_bytes([b[0], b[1]])).collect()
}

fn box_of(name: &[u8; 4], body: &[u8]) -> Vec<u8> {
    [&u32::try_from(body.len() + 8).unwrap().to_be_bytes(), &name[..], body].concat()
}

/// The property that states a size.
pub fn extent((width, height): (u32, u32)) -> Vec<u8> {
    box_of(b"ispe", &[&[0; 4][..], &width.to_be_bytes(), &height.to_be_bytes()].concat())
}

/// The properties that turn a picture anticlockwise by quarters, or exchange top and bottom (`false`) or left and right.
#[derive(Clone, Copy, Debug)]
#[allow(dead_code)]
pub enum Laid {
    Turned(u8),
    Mirrored(bool),
}

impl Laid {
    pub fn property(self) -> Vec<u8> {
        match self {
            Self::Turned(quarters) => box_of(b"irot", &[quarters]),
            Self::Mirrored(sides) => box_of(b"imir", &[u8::from(sides)]),
        }
    }

    /// Rows of a picture after this.
    pub fn apply(self, rows: &[Vec<u16>]) -> Vec<Vec<u16>> {
        match self {
            Self::Turned(0) => rows.to_vec(),
            Self::Turned(quarters) => {
                // What was the rightmost column is the uppermost row.
                let turned: Vec<Vec<u16>> =
                    (0..rows[0].len()).rev().map(|x| rows.iter().map(|row| row[x]).collect()).collect();
                Self::Turned(quarters - 1).apply(&turned)
            }
            Self::Mirrored(true) => rows.iter().map(|row| row.iter().rev().copied().collect()).collect(),
            Self::Mirrored(false) => rows.iter().rev().cloned().collect(),
        }
    }

    /// Each way to turn and mirror, in both orders.
    pub fn all() -> Vec<[Self; 2]> {
        let pairs = (0..4).flat_map(|n| [false, true].map(|sides| [Self::Turned(n), Self::Mirrored(sides)]));
        pairs.flat_map(|[a, b]| [[a, b], [b, a]]).collect()
    }
}

/// A file of items numbered from 1 on; `links` are kind, source and targets of references, `size` is the primary item's,
/// `properties` are what further ones have.
pub fn file(
    brand: &[u8; 4],
    items: &[(&[u8; 4], Vec<u8>)],
    primary: u8,
    links: &[(&[u8; 4], u8, &[u8])],
    size: (u32, u32),
    properties: &[(u8, Vec<u8>)],
) -> Vec<u8> {
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
    let mut has = BTreeMap::from([(primary, vec![1])]);
    for (place, (item, _)) in properties.iter().enumerate() {
        has.entry(*item).or_default().push(place as u8 + 2);
    }
    let mut ipma = vec![0, 0, 0, 0, 0, 0, 0, has.len() as u8];
    has.iter().for_each(|(item, list)| ipma.extend([&[0, *item, list.len() as u8][..], list].concat()));
    let all = [extent(size), properties.iter().flat_map(|(_, property)| property.clone()).collect()].concat();
    let build = |mut at: u32| {
        let mut iloc = vec![0, 0, 0, 0, 0x44, 0, 0, items.len() as u8];
        for (i, (_, bytes)) in items.iter().enumerate() {
            iloc.extend([0, i as u8 + 1, 0, 0, 0, 1]);
            iloc.extend(at.to_be_bytes());
            iloc.extend((bytes.len() as u32).to_be_bytes());
            at += bytes.len() as u32;
        }
        let count = [0, 0, 0, 0, 0, items.len() as u8];
        let body = [
            vec![0; 4],
            box_of(b"hdlr", &[&[0; 8], &b"pict"[..], &[0; 13]].concat()),
            box_of(b"pitm", &[0, 0, 0, 0, 0, primary]),
            box_of(b"iinf", &[count.to_vec(), items.iter().enumerate().flat_map(infe).collect()].concat()),
            box_of(b"iref", &[vec![0; 4], links.clone()].concat()),
            box_of(b"iprp", &[box_of(b"ipco", &all), box_of(b"ipma", &ipma)].concat()),
            box_of(b"iloc", &iloc),
        ]
        .concat();
        [box_of(b"ftyp", &[&brand[..], b"\0\0\0\0mif1", brand].concat()), box_of(b"meta", &body)].concat()
    };
    let data: Vec<u8> = items.iter().flat_map(|(_, bytes)| bytes.clone()).collect();
    let head = build(0).len() as u32 + 8;
    [build(head), box_of(b"mdat", &data)].concat()
}

/// How far the plane lies from what levels of so many bits stand for by sRGB's curve (IEC 61966-2-1), at most.
pub fn apart(path: &Path, size: (usize, usize), bits: usize, level: impl Fn(usize, usize) -> u16) -> f64 {
    let plane = read(path, &Overrides::default()).unwrap().plane;
    assert_eq!((plane.width, plane.height), size);
    let light = |i: usize| {
        let share = f64::from(level(i % size.0, i / size.0)) / ((1 << bits) - 1) as f64;
        65_535.0 * if share <= 0.04045 { share / 12.92 } else { ((share + 0.055) / 1.055).powf(2.4) }
    };
    plane.data.iter().enumerate().map(|(i, v)| (f64::from(*v) - light(i)).abs()).fold(0.0, f64::max)
}

/// A grid's description (ISO/IEC 23008-12, 6.6.2.3.2).
pub fn grid(rows: u8, columns: u8, (width, height): (u16, u16)) -> Vec<u8> {
    [&[0, 0, rows - 1, columns - 1][..], &width.to_be_bytes(), &height.to_be_bytes()].concat()
}
