//! Writes small files with maker notes and containers of every kind that is read, with known facts in them.

pub mod makers;

/// A tag's value.
#[derive(Clone)]
pub enum Value {
    Ascii(&'static str),
    Shorts(Vec<u16>),
    Longs(Vec<u32>),
    Rationals(Vec<(u32, u32)>),
    SignedRationals(Vec<(i32, i32)>),
    Bytes(Vec<u8>),
    Undefined(Vec<u8>),
    /// A sub-directory that the tag points at, written with this type (4 LONG or 13 IFD).
    Directory(u16, Vec<Entry>),
    /// Bytes that depend on where in the block they stand.
    Placed(fn(usize) -> Vec<u8>),
}

/// A directory entry.
pub type Entry = (u16, Value);

/// Numbers in one byte order.
#[derive(Clone, Copy)]
pub struct Order {
    pub little: bool,
}

pub const LE: Order = Order { little: true };
pub const BE: Order = Order { little: false };

impl Order {
    pub fn u16(self, v: u16) -> [u8; 2] {
        if self.little { v.to_le_bytes() } else { v.to_be_bytes() }
    }

    pub fn u32(self, v: u32) -> [u8; 4] {
        if self.little { v.to_le_bytes() } else { v.to_be_bytes() }
    }

    /// A directory that stands at `start` counted from where its offsets count.
    pub fn directory(self, start: usize, entries: &[Entry]) -> Vec<u8> {
        let mut head = self.u16(u16::try_from(entries.len()).unwrap()).to_vec();
        let mut tail: Vec<u8> = Vec::new();
        let tail_start = start + 2 + 12 * entries.len() + 4;
        for (tag, value) in entries {
            let at = tail_start + tail.len();
            let (kind, count, bytes): (u16, usize, Vec<u8>) = match value {
                Value::Ascii(t) => (2, t.len() + 1, [t.as_bytes(), &[0]].concat()),
                Value::Shorts(v) => (3, v.len(), v.iter().flat_map(|x| self.u16(*x)).collect()),
                Value::Longs(v) => (4, v.len(), v.iter().flat_map(|x| self.u32(*x)).collect()),
                Value::Rationals(v) => {
                    (5, v.len(), v.iter().flat_map(|(n, d)| [self.u32(*n), self.u32(*d)].concat()).collect())
                }
                Value::SignedRationals(v) => (
                    10,
                    v.len(),
                    v.iter()
                        .flat_map(|(n, d)| [self.u32(n.cast_unsigned()), self.u32(d.cast_unsigned())].concat())
                        .collect(),
                ),
                Value::Bytes(v) => (1, v.len(), v.clone()),
                Value::Undefined(v) => (7, v.len(), v.clone()),
                Value::Directory(kind, inner) => {
                    head.extend(self.u16(*tag));
                    head.extend(self.u16(*kind));
                    head.extend(self.u32(1));
                    head.extend(self.u32(u32::try_from(at).unwrap()));
                    tail.extend(self.directory(at, inner));
                    continue;
                }
                Value::Placed(f) => {
                    let bytes = f(at);
                    (7, bytes.len(), bytes)
                }
            };
            head.extend(self.u16(*tag));
            head.extend(self.u16(kind));
            head.extend(self.u32(u32::try_from(count).unwrap()));
            if bytes.len() <= 4 {
                head.extend(&bytes);
                head.extend(vec![0; 4 - bytes.len()]);
            } else {
                head.extend(self.u32(u32::try_from(at).unwrap()));
                tail.extend(&bytes);
                tail.extend(vec![0; bytes.len() % 2]);
            }
        }
        head.extend([0; 4]);
        head.extend(tail);
        head
    }

    /// A TIFF block with a first directory.
    pub fn tiff(self, entries: &[Entry]) -> Vec<u8> {
        let mut block = if self.little { b"II*\0".to_vec() } else { b"MM\0*".to_vec() };
        block.extend(self.u32(8));
        block.extend(self.directory(8, entries));
        block
    }
}

/// The standard facts every head here carries, with a maker note.
pub fn standard(make: &'static str, model: &'static str, note: Option<Value>) -> Vec<Entry> {
    let mut exif = vec![
        (0x829a, Value::Rationals(vec![(1, 125)])),
        (0x829d, Value::Rationals(vec![(8, 1)])),
        (0x8827, Value::Shorts(vec![200])),
        (0x9003, Value::Ascii("2019:07:21 18:45:10")),
        (0x920a, Value::Rationals(vec![(24, 1)])),
    ];
    exif.extend(note.map(|n| (0x927c, n)));
    exif.extend([
        (0xa002, Value::Longs(vec![4000])),
        (0xa003, Value::Longs(vec![3000])),
        (0xa405, Value::Shorts(vec![36])),
    ]);
    vec![
        (0x010f, Value::Ascii(make)),
        (0x0110, Value::Ascii(model)),
        (0x0112, Value::Shorts(vec![1])),
        (0x8769, Value::Directory(4, exif)),
    ]
}

/// A JPEG of nothing but an Exif segment and a frame header of 4000 x 3000.
pub fn jpeg(block: &[u8]) -> Vec<u8> {
    let mut file = vec![0xff, 0xd8];
    segment(&mut file, 0xe1, &[b"Exif\0\0", block].concat());
    segment(&mut file, 0xc0, &[8, 0x0b, 0xb8, 0x0f, 0xa0, 1, 1, 0x11, 0]);
    file.extend([0xff, 0xd9]);
    file
}

pub fn segment(file: &mut Vec<u8>, code: u8, body: &[u8]) {
    file.extend([0xff, code]);
    file.extend(u16::try_from(body.len() + 2).unwrap().to_be_bytes());
    file.extend(body);
}

/// A JPEG with the maker note of a camera.
pub fn noted(order: Order, make: &'static str, model: &'static str, note: Value) -> Vec<u8> {
    jpeg(&order.tiff(&standard(make, model, Some(note))))
}

fn box_of(name: &[u8; 4], body: &[u8]) -> Vec<u8> {
    let size = u32::try_from(body.len() + 8).unwrap();
    [&size.to_be_bytes(), &name[..], body].concat()
}

/// A CR3: main directory, Exif directory and maker note in boxes of their own.
pub fn cr3(main: &[u8], exif: &[u8], maker: &[u8]) -> Vec<u8> {
    let canon = [0x85, 0xc0, 0xb6, 0x87, 0x82, 0x0f, 0x11, 0xe0, 0x81, 0x11, 0xf4, 0xce, 0x46, 0x2b, 0x6a, 0x48];
    let parts = [canon.to_vec(), box_of(b"CMT1", main), box_of(b"CMT2", exif), box_of(b"CMT3", maker)].concat();
    [box_of(b"ftyp", b"crx \0\0\0\x01crx isom"), box_of(b"moov", &box_of(b"uuid", &parts)), box_of(b"mdat", &[0; 64])]
        .concat()
}

/// A HEIF of one Exif item, 4000 x 3000, turned a quarter anticlockwise by its own box.
pub fn heif(block: &[u8]) -> Vec<u8> {
    let ftyp = box_of(b"ftyp", b"heic\0\0\0\0mif1heic");
    let infe = |id: u8, kind: &[u8; 4]| box_of(b"infe", &[&[2, 0, 0, 0, 0, id, 0, 0], &kind[..], &[0]].concat());
    let item = [&[0, 0, 0, 6], &b"Exif\0\0"[..], block].concat();
    let build = |offset: u32| {
        let iloc = [
            &[0, 0, 0, 0, 0x44, 0, 0, 1, 0, 2, 0, 0, 0, 1][..],
            &offset.to_be_bytes(),
            &u32::try_from(item.len()).unwrap().to_be_bytes(),
        ]
        .concat();
        let ispe = [&[0; 4][..], &4000_u32.to_be_bytes(), &3000_u32.to_be_bytes()].concat();
        let ipco = box_of(b"ipco", &[box_of(b"ispe", &ispe), box_of(b"irot", &[1])].concat());
        let ipma = box_of(b"ipma", &[0, 0, 0, 0, 0, 0, 0, 1, 0, 1, 2, 1, 0x82]);
        let body = [
            vec![0; 4],
            box_of(b"hdlr", &[0, 0, 0, 0, 0, 0, 0, 0, b'p', b'i', b'c', b't', 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0]),
            box_of(b"pitm", &[0, 0, 0, 0, 0, 1]),
            box_of(b"iinf", &[vec![0, 0, 0, 0, 0, 2], infe(1, b"hvc1"), infe(2, b"Exif")].concat()),
            box_of(b"iloc", &iloc),
            box_of(b"iprp", &[ipco, ipma].concat()),
        ]
        .concat();
        [ftyp.clone(), box_of(b"meta", &body)].concat()
    };
    let head = build(0);
    let offset = u32::try_from(head.len() + 8).unwrap();
    [build(offset), box_of(b"mdat", &item)].concat()
}

/// A WebP of an extended header, an Exif chunk and an XMP chunk.
pub fn webp(block: &[u8], xmp: &[u8]) -> Vec<u8> {
    let chunk = |name: &[u8; 4], body: &[u8]| {
        let size = u32::try_from(body.len()).unwrap().to_le_bytes();
        [&name[..], &size, body, &vec![0; body.len() % 2]].concat()
    };
    // Width and height less one, three bytes each.
    let header = [0x0c, 0, 0, 0, 0x9f, 0x0f, 0, 0xb7, 0x0b, 0];
    let body = [b"WEBP".to_vec(), chunk(b"VP8X", &header), chunk(b"EXIF", block), chunk(b"XMP ", xmp)].concat();
    [b"RIFF", &u32::try_from(body.len()).unwrap().to_le_bytes()[..], &body].concat()
}

/// A Fujifilm raw: an embedded JPEG and a record of the raw size.
pub fn raf(jpeg: &[u8]) -> Vec<u8> {
    let mut file = b"FUJIFILMCCD-RAW 0201FF383501X-T3".to_vec();
    file.resize(84, 0);
    let records = [0, 0, 0, 1, 0x01, 0x11, 0, 4, 0x10, 0x40, 0x18, 0x60];
    let after = u32::try_from(160 + jpeg.len()).unwrap();
    file.extend(160_u32.to_be_bytes());
    file.extend(u32::try_from(jpeg.len()).unwrap().to_be_bytes());
    file.extend(after.to_be_bytes());
    file.extend(12_u32.to_be_bytes());
    file.resize(160, 0);
    file.extend(jpeg);
    file.extend(records);
    file
}

/// A heap of Canon's old records.
pub fn crw(records: &[(u16, Vec<u8>)]) -> Vec<u8> {
    let heap = |records: &[(u16, Vec<u8>)]| {
        let mut data: Vec<u8> = Vec::new();
        let mut directory = u16::try_from(records.len()).unwrap().to_le_bytes().to_vec();
        for (tag, bytes) in records {
            directory.extend(tag.to_le_bytes());
            directory.extend(u32::try_from(bytes.len()).unwrap().to_le_bytes());
            directory.extend(u32::try_from(data.len()).unwrap().to_le_bytes());
            data.extend(bytes);
        }
        let at = u32::try_from(data.len()).unwrap();
        data.extend(directory);
        data.extend(at.to_le_bytes());
        data
    };
    // The records stand in a heap within the heap, as cameras write them.
    let inner = heap(records);
    [b"II\x1a\0\0\0HEAPCCDR\0\0\x01\0".to_vec(), vec![0; 8], heap(&[(0x300a, inner)])].concat()
}

/// A Sigma raw: a header of size and turn, and a section of properties.
pub fn x3f(properties: &[(&str, &str)]) -> Vec<u8> {
    let mut table: Vec<u8> = Vec::new();
    let mut text: Vec<u8> = Vec::new();
    let mut put = |s: &str| {
        let at = u32::try_from(text.len() / 2).unwrap();
        text.extend(s.encode_utf16().chain([0]).flat_map(u16::to_le_bytes));
        at
    };
    for (name, value) in properties {
        table.extend(put(name).to_le_bytes());
        table.extend(put(value).to_le_bytes());
    }
    let count = u32::try_from(properties.len()).unwrap();
    let mut section = b"SECp\0\0\x02\0".to_vec();
    section.extend(count.to_le_bytes());
    section.extend([0; 8]);
    section.extend(u32::try_from(text.len() / 2).unwrap().to_le_bytes());
    section.extend(table);
    section.extend(text);
    let mut file = b"FOVb\x01\0\x02\0".to_vec();
    file.resize(28, 0);
    for v in [2640_u32, 1760, 90] {
        file.extend(v.to_le_bytes());
    }
    file.resize(40, 0);
    let at = u32::try_from(file.len()).unwrap();
    let length = u32::try_from(section.len()).unwrap();
    file.extend(section);
    let directory = u32::try_from(file.len()).unwrap();
    file.extend(b"SECd\0\0\x02\0\x01\0\0\0");
    file.extend(at.to_le_bytes());
    file.extend(length.to_le_bytes());
    file.extend(b"PROP");
    file.extend(directory.to_le_bytes());
    file
}
