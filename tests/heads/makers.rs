//! Maker notes with known facts, written after the makers' layouts; one head a maker and form.

use super::{BE, Entry, LE, Value, cr3, crw, heif, jpeg, noted, raf, standard, webp, x3f};

fn words(count: usize, set: &[(usize, u16)]) -> Value {
    let mut words = vec![0; count];
    for (i, v) in set {
        words[*i] = *v;
    }
    Value::Shorts(words)
}

/// Olympus since 2005: offsets from the note's start, sub-directories of type 13.
fn olympus_entries() -> Vec<Entry> {
    vec![
        (
            0x2010,
            Value::Directory(
                13,
                vec![
                    (0x0103, Value::Rationals(vec![(2163, 100)])),
                    (0x0203, Value::Ascii("OLYMPUS M.12-40mm F2.8")),
                    (0x0207, Value::Shorts(vec![12])),
                    (0x0208, Value::Shorts(vec![40])),
                ],
            ),
        ),
        (
            0x2020,
            Value::Directory(
                13,
                vec![
                    (0x0301, Value::Shorts(vec![0, 1])),
                    (0x0305, Value::SignedRationals(vec![(0, 0), (60, 100), (30, 100), (64, 100), (34, 100)])),
                ],
            ),
        ),
        (0x2050, Value::Directory(13, vec![(0x0305, Value::Rationals(vec![(3450, 1)]))])),
    ]
}

fn olympus_new(_: usize) -> Vec<u8> {
    [b"OLYMPUS\0II\x03\0".to_vec(), LE.directory(12, &olympus_entries())].concat()
}

fn om_system(_: usize) -> Vec<u8> {
    [b"OM SYSTEM\0\0\0II\x04\0".to_vec(), LE.directory(16, &olympus_entries())].concat()
}

fn olympus_old(at: usize) -> Vec<u8> {
    let entries = vec![(0x2050, Value::Directory(4, vec![(0x0305, Value::Rationals(vec![(u32::MAX, 1)]))]))];
    [b"OLYMP\0\x01\0".to_vec(), BE.directory(at + 8, &entries)].concat()
}

fn panasonic(at: usize) -> Vec<u8> {
    let entries = vec![
        (0x0007, Value::Shorts(vec![6])),
        (0x004d, Value::Rationals(vec![(320, 1024), (640, 1024)])),
        (0x0051, Value::Ascii("LUMIX G VARIO 14-140/F3.5-5.6")),
    ];
    [b"Panasonic\0\0\0".to_vec(), LE.directory(at + 12, &entries)].concat()
}

fn fujifilm(_: usize) -> Vec<u8> {
    let entries = vec![
        (0x1021, Value::Shorts(vec![0])),
        (0x1023, Value::Shorts(vec![1000, 2250])),
        (0x102d, Value::Longs(vec![1])),
        (0x1404, Value::Rationals(vec![(18, 1)])),
        (0x1405, Value::Rationals(vec![(55, 1)])),
        (0x1406, Value::Rationals(vec![(28, 10)])),
        (0x1407, Value::Rationals(vec![(4, 1)])),
    ];
    [b"FUJIFILM\x0c\0\0\0".to_vec(), LE.directory(12, &entries)].concat()
}

fn pentax_old(at: usize) -> Vec<u8> {
    let entries = vec![(0x000d, Value::Shorts(vec![16])), (0x000f, Value::Shorts(vec![5]))];
    [b"AOC\0MM".to_vec(), BE.directory(at + 6, &entries)].concat()
}

fn pentax_new(_: usize) -> Vec<u8> {
    let entries = vec![(0x000d, Value::Shorts(vec![3]))];
    [b"PENTAX \0MM".to_vec(), BE.directory(10, &entries)].concat()
}

fn sigma(at: usize) -> Vec<u8> {
    let entries = vec![(0x0005, Value::Ascii("AF-S")), (0x000a, Value::Ascii("17-70"))];
    [b"SIGMA\0\0\0\x01\0".to_vec(), LE.directory(at + 10, &entries)].concat()
}

fn apple(_: usize) -> Vec<u8> {
    let entries = vec![(0x000a, Value::Longs(vec![3])), (0x000c, Value::SignedRationals(vec![(30, 100), (60, 100)]))];
    [b"Apple iOS\0\0\x01MM".to_vec(), BE.directory(14, &entries)].concat()
}

fn sony_newer(at: usize) -> Vec<u8> {
    // The record of 0x94xx is written with each byte below 249 cubed modulo 249.
    let encipher = |b: u8| if b < 249 { (u32::from(b).pow(3) % 249) as u8 } else { b };
    let mut record = vec![0; 64];
    record[0] = 0x1a;
    record[0x2d] = 160;
    let entries = vec![
        (0x2027, Value::Shorts(vec![4000, 3000, 1000, 2400])),
        (0x201b, Value::Bytes(vec![3])),
        (0x9402, Value::Undefined(record.into_iter().map(encipher).collect())),
        (0xb02a, Value::Undefined(vec![0, 0x00, 0x24, 0x01, 0x05, 0x40, 0x40, 0])),
    ];
    [b"SONY DSC \0\0\0".to_vec(), LE.directory(at + 12, &entries)].concat()
}

/// An older Sony whose position counts focal lengths, in a record of its own.
fn sony_older(at: usize) -> Vec<u8> {
    let mut record = vec![0; 19_154];
    record[0x9bb] = 100;
    [b"SONY DSC \0\0\0".to_vec(), LE.directory(at + 12, &[(0x0020, Value::Undefined(record))])].concat()
}

fn minolta(at: usize) -> Vec<u8> {
    let mut settings = vec![0; 50 * 4];
    settings[19 * 4..20 * 4].copy_from_slice(&2500_u32.to_be_bytes());
    BE.directory(at, &[(0x0003, Value::Undefined(settings))])
}

fn casio(at: usize) -> Vec<u8> {
    [b"QVC\0\0\0".to_vec(), BE.directory(at + 6, &[(0x2022, Value::Longs(vec![0x2000_0000]))])].concat()
}

/// An EOS with a shot record whose bounds are swapped, and seven areas of which the right one is in focus.
pub fn canon_entries() -> Vec<Entry> {
    let x = [0_i16, -1237, -742, 0, 742, 1237, 0];
    let y = [617_i16, 0, 0, 0, 0, 0, -617];
    let mut areas = vec![7, 7, 4000, 3000, 4000, 3000, 78, 78];
    areas.extend(x.iter().chain(&y).map(|v| v.cast_unsigned()));
    areas.push(1 << 6);
    vec![
        (0x0001, words(46, &[(0, 92), (7, 0), (23, 55), (24, 18), (25, 1)])),
        (0x0004, words(34, &[(0, 68), (19, 119), (20, 157)])),
        (0x0012, Value::Shorts(areas)),
        (0x0095, Value::Ascii("EF-S18-55mm f/3.5-5.6 IS")),
    ]
}

/// The note of an EOS that stands at `at` in its block.
pub fn canon_note(at: usize) -> Vec<u8> {
    LE.directory(at, &canon_entries())
}

/// A newer EOS: distance in the file record, far bound infinite; areas in the newer record.
pub fn canon_newer_entries() -> Vec<Entry> {
    let mut areas = vec![0, 0, 3, 3, 6000, 4000, 6000, 4000];
    areas.extend([100; 6]);
    areas.extend([-1500_i16, 0, 1500].map(i16::cast_unsigned));
    areas.extend([0_i16, 0, -1000].map(i16::cast_unsigned));
    areas.extend([1 << 2, 1 << 2]);
    areas[0] = u16::try_from(2 * areas.len()).unwrap();
    vec![
        (0x0026, Value::Shorts(areas)),
        (0x0093, words(24, &[(0, 48), (20, 65_535), (21, 812)])),
        (0x0095, Value::Ascii("RF24-105mm F4 L IS USM")),
    ]
}

fn canon_newer(at: usize) -> Vec<u8> {
    LE.directory(at, &canon_newer_entries())
}

/// An EOS 60D that keeps the distance in the body's own record, bytes swapped.
fn canon_body(at: usize) -> Vec<u8> {
    let mut record = vec![0; 0x200];
    record[0x55..0x57].copy_from_slice(&346_u16.to_be_bytes());
    record[0x57..0x59].copy_from_slice(&301_u16.to_be_bytes());
    LE.directory(at, &[(0x0004, words(34, &[(0, 68)])), (0x000d, Value::Undefined(record))])
}

/// A Z body: serial number that is no number, keys 0x60 and the shutter count; the record deciphers to a
/// distance of 0.01 m x 10^(100/40) and a mount of type 1.
fn nikon_z(_: usize) -> Vec<u8> {
    let mut record = b"0800".to_vec();
    record.resize(100, 0);
    record[0x35] = 1;
    record[0x4c] = 4;
    record[0x4e..0x50].copy_from_slice(&(100_u16 << 8).to_le_bytes());
    tussock::intake::makernote::nikon_decipher(&mut record[4..], 0x60, 4321);
    let mut areas = b"0300".to_vec();
    areas.resize(0x44, 0);
    areas[4] = 2;
    for (i, v) in [6048_u16, 4032, 1512, 3024].iter().enumerate() {
        areas[0x2a + 2 * i..0x2c + 2 * i].copy_from_slice(&v.to_le_bytes());
    }
    let entries = [
        (0x0007, Value::Ascii("AF-S  ")),
        (0x001d, Value::Ascii("no number")),
        (0x0084, Value::Rationals(vec![(24, 1), (70, 1), (4, 1), (4, 1)])),
        (0x0098, Value::Undefined(record)),
        (0x00a7, Value::Longs(vec![4321])),
        (0x00b7, Value::Undefined(areas)),
    ];
    [b"Nikon\0\x02\x11\0\0".to_vec(), LE.tiff(&entries)].concat()
}

/// A packet as raw converters write it.
pub const XMP: &[u8] =
    br#"<x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
<rdf:Description rdf:about="" xmlns:aux="http://ns.adobe.com/exif/1.0/aux/" xmlns:tiff="http://ns.adobe.com/tiff/1.0/"
 aux:ApproximateFocusDistance="355/100" aux:Lens="24.0-70.0 mm f/2.8" tiff:Model="NIKON D850"/></rdf:RDF></x:xmpmeta>"#;

/// Every head: file name and bytes.
pub fn all() -> Vec<(&'static str, Vec<u8>)> {
    let placed = Value::Placed;
    let plain = |order: super::Order| order.tiff(&standard("Somebody", "Something", None));
    let olympus = noted(LE, "OLYMPUS IMAGING CORP.", "E-M1", placed(olympus_new));
    let fuji = noted(LE, "FUJIFILM", "X-T3", placed(fujifilm));
    let mut orf = LE.tiff(&standard("OLYMPUS IMAGING CORP.", "E-M1", Some(placed(olympus_new))));
    orf[..4].copy_from_slice(b"IIRO");
    let inner = noted(LE, "Panasonic", "DMC-G7", placed(panasonic));
    let mut rw2 = LE.tiff(&[
        (0x0004, Value::Shorts(vec![8])),
        (0x0005, Value::Shorts(vec![8])),
        (0x0006, Value::Shorts(vec![3008])),
        (0x0007, Value::Shorts(vec![4008])),
        (0x002e, Value::Undefined(inner.clone())),
        (0x010f, Value::Ascii("Panasonic")),
    ]);
    rw2[..4].copy_from_slice(b"IIU\0");
    let canon = |entries: Vec<Entry>| {
        let main = standard("Canon", "Canon EOS R", None);
        let Value::Directory(_, exif) = &main[3].1 else { unreachable!("the Exif directory is the fourth entry") };
        let mut plain = main[..3].to_vec();
        plain.insert(0, (0x0100, Value::Longs(vec![6720])));
        plain.insert(1, (0x0101, Value::Longs(vec![4480])));
        cr3(&LE.tiff(&plain), &LE.tiff(exif), &LE.tiff(&entries))
    };
    let shorts = |set: &[(usize, u16)], count: usize| {
        let mut words = vec![0_u16; count];
        for (i, v) in set {
            words[*i] = *v;
        }
        words.iter().flat_map(|w| w.to_le_bytes()).collect::<Vec<u8>>()
    };
    // A DNG out of an EOS raw file in which the note stood at 900.
    let moved = {
        let note = canon_note(900);
        let part = [b"II".to_vec(), 900_u32.to_be_bytes().to_vec(), note].concat();
        let length = u32::try_from(part.len()).unwrap().to_be_bytes();
        let data = [b"Adobe\0MakN".to_vec(), length.to_vec(), part].concat();
        let mut main = standard("Canon", "Canon EOS 400D DIGITAL", None);
        main.push((0xc612, Value::Bytes(vec![1, 4, 0, 0])));
        main.push((0xc634, Value::Bytes(data)));
        LE.tiff(&main)
    };
    let heap = crw(&[
        (0x080a, b"Canon\0Canon EOS D60\0".to_vec()),
        (0x102a, shorts(&[(0, 68), (1, 0), (2, 160), (19, 300), (20, 500), (21, 192), (22, 224)], 34)),
        (0x102d, shorts(&[(0, 92), (7, 0), (23, 35), (24, 17), (25, 1)], 46)),
        (0x1029, shorts(&[(0, 2), (1, 28), (2, 907), (3, 605)], 4)),
        (0x1810, [3072_u32, 2048, 0x3f80_0000, 90].iter().flat_map(|v| v.to_le_bytes()).collect()),
    ]);
    let mrw = {
        let block =
            |name: &[u8; 4], body: &[u8]| [&name[..], &u32::try_from(body.len()).unwrap().to_be_bytes(), body].concat();
        let mut size = b"21810002".to_vec();
        for v in [2472_u16, 3288, 2456, 3272] {
            size.extend(v.to_be_bytes());
        }
        size.resize(24, 0);
        let tiff = BE.tiff(&standard("KONICA MINOLTA", "DiMAGE A2", Some(placed(minolta))));
        let parts = [block(b"\0PRD", &size), block(b"\0TTW", &tiff), block(b"\0WBG", &[0; 12])].concat();
        block(b"\0MRM", &parts)
    };
    let properties = [
        ("CAMMANUF", "SIGMA"),
        ("CAMMODEL", "SIGMA SD14"),
        ("APERTURE", "5.6"),
        ("EXPTIME", "8000"),
        ("ISO", "100"),
        ("FLENGTH", "24"),
        ("LENSFRANGE", "17 to 70"),
        ("LENSARANGE", "2.8 to 22"),
        ("AFMODE", "AF-S"),
    ];
    vec![
        ("olympus-new.jpg", olympus),
        ("om-system.jpg", noted(LE, "OM Digital Solutions", "OM-1", placed(om_system))),
        ("olympus-old.jpg", noted(BE, "OLYMPUS CORPORATION", "E-300", placed(olympus_old))),
        ("olympus.orf", orf),
        ("panasonic.jpg", inner),
        ("panasonic.rw2", rw2),
        ("fujifilm.jpg", fuji.clone()),
        ("fujifilm.raf", raf(&fuji)),
        ("pentax-old.jpg", noted(BE, "PENTAX Corporation", "PENTAX K10D", placed(pentax_old))),
        ("pentax-new.jpg", noted(BE, "RICOH IMAGING COMPANY, LTD.", "PENTAX K-1", placed(pentax_new))),
        ("sigma.jpg", noted(LE, "SIGMA", "SIGMA SD14", placed(sigma))),
        ("sigma.x3f", x3f(&properties)),
        ("apple.jpg", noted(BE, "Apple", "iPhone 12", placed(apple))),
        ("sony-newer.jpg", noted(LE, "SONY", "ILCE-6500", placed(sony_newer))),
        ("sony-older.jpg", noted(LE, "SONY", "DSLR-A350", placed(sony_older))),
        ("minolta.jpg", noted(BE, "KONICA MINOLTA", "DiMAGE A2", placed(minolta))),
        ("minolta.mrw", mrw),
        ("casio.jpg", noted(BE, "CASIO COMPUTER CO.,LTD.", "EX-Z750", placed(casio))),
        ("canon-eos.jpg", noted(LE, "Canon", "Canon EOS 400D DIGITAL", placed(canon_note))),
        ("canon-newer.jpg", noted(LE, "Canon", "Canon EOS 80D", placed(canon_newer))),
        ("canon-body.jpg", noted(LE, "Canon", "Canon EOS 60D", placed(canon_body))),
        ("canon.cr3", canon(canon_newer_entries())),
        ("canon-converted.dng", moved),
        ("canon.crw", heap),
        ("nikon-z.jpg", noted(LE, "NIKON CORPORATION", "NIKON Z 6", placed(nikon_z))),
        ("plain.heic", heif(&plain(BE))),
        ("plain.webp", webp(&plain(LE), XMP)),
        ("plain.jpg", jpeg(&plain(BE))),
    ]
}
