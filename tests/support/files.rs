//! Files written by the tests: Bayer DNGs with Exif, JPEGs with Exif blocks, small files of every kind.
#![allow(dead_code, missing_docs)] // Shared by several tests, each of which uses a part of it.

use std::io::Cursor;

use exif::experimental::Writer;
use exif::{Field, In, Rational, Tag, Value};
use image::{DynamicImage, ImageFormat, RgbImage};
use tiff::encoder::colortype::Gray16;
use tiff::encoder::{Rational as TiffRational, SRational, TiffEncoder};
use tiff::tags::Tag as TiffTag;

/// An uncompressed Bayer DNG to be written (Adobe DNG specification 1.4).
#[derive(Clone, Debug)]
pub struct Dng {
    pub width: u32,
    pub height: u32,
    pub black: u16,
    pub white: u16,
    /// Colours of the 2 x 2 pattern from the active area's corner on: 0 red, 1 green, 2 blue.
    pub pattern: [u8; 4],
    pub orientation: u16,
    /// Top, left, bottom, right.
    pub active_area: Option<[u32; 4]>,
    /// Left, top, width, height, from the active area's corner on.
    pub default_crop: Option<[u32; 4]>,
    /// Row-major samples, `width * height`.
    pub samples: Vec<u16>,
}

impl Dng {
    /// A frame of `bits` bits with samples that use the whole range, each different from its neighbours.
    pub fn new(width: u32, height: u32, bits: u32) -> Self {
        let white = ((1_u32 << bits) - 1) as u16;
        let black = 1 << (bits - 5);
        let sample = |i: u32| {
            let mixed = i.wrapping_mul(2_654_435_761) >> 8;
            black + (mixed % u32::from(white - black)) as u16
        };
        Self {
            width,
            height,
            black,
            white,
            pattern: [0, 1, 1, 2],
            orientation: 1,
            active_area: None,
            default_crop: None,
            samples: (0..width * height).map(sample).collect(),
        }
    }

    /// The file's bytes.
    pub fn bytes(&self) -> Vec<u8> {
        let mut out = Cursor::new(Vec::new());
        let mut encoder = TiffEncoder::new(&mut out).unwrap();
        let mut exif = encoder.extra_directory().unwrap();
        let rational = |n, d| TiffRational { n, d };
        exif.write_tag(TiffTag::Unknown(0x829A), rational(1, 125)).unwrap();
        exif.write_tag(TiffTag::Unknown(0x829D), rational(8, 1)).unwrap();
        exif.write_tag(TiffTag::Unknown(0x8827), 100_u16).unwrap();
        exif.write_tag(TiffTag::Unknown(0x920A), rational(24, 1)).unwrap();
        let exif = exif.finish_with_offsets().unwrap();
        let mut image = encoder.new_image::<Gray16>(self.width, self.height).unwrap();
        image.rows_per_strip(self.height).unwrap();
        let tags = image.encoder();
        let tag = |tag: u16| TiffTag::Unknown(tag);
        tags.write_tag(TiffTag::NewSubfileType, 0_u32).unwrap();
        tags.write_tag(TiffTag::PhotometricInterpretation, 32803_u16).unwrap();
        tags.write_tag(TiffTag::Make, "Tarn").unwrap();
        tags.write_tag(TiffTag::Model, "Tarn One").unwrap();
        tags.write_tag(TiffTag::Orientation, self.orientation).unwrap();
        tags.write_tag(TiffTag::ExifDirectory, exif.offset).unwrap();
        tags.write_tag(tag(33421), [2_u16, 2]).unwrap();
        tags.write_tag(tag(33422), self.pattern).unwrap();
        tags.write_tag(tag(50706), [1_u8, 4, 0, 0]).unwrap();
        tags.write_tag(tag(50708), "Tarn One").unwrap();
        tags.write_tag(tag(50714), self.black).unwrap();
        tags.write_tag(tag(50717), self.white).unwrap();
        if let Some([x, y, w, h]) = self.default_crop {
            tags.write_tag(tag(50719), [x, y]).unwrap();
            tags.write_tag(tag(50720), [w, h]).unwrap();
        }
        let matrix = [10, 0, 0, 0, 10, 0, 0, 0, 10].map(|n| SRational { n, d: 10 });
        tags.write_tag(tag(50721), matrix).unwrap();
        tags.write_tag(tag(50728), [rational(1, 2), rational(1, 1), rational(2, 3)]).unwrap();
        tags.write_tag(tag(50778), 21_u16).unwrap();
        if let Some(area) = self.active_area {
            tags.write_tag(tag(50829), area).unwrap();
        }
        image.write_data(&self.samples).unwrap();
        out.into_inner()
    }
}

/// An Exif block with the fields given.
pub fn exif_block(fields: &[(Tag, Value)]) -> Vec<u8> {
    let fields: Vec<Field> =
        fields.iter().map(|(tag, value)| Field { tag: *tag, ifd_num: In::PRIMARY, value: value.clone() }).collect();
    let mut writer = Writer::new();
    fields.iter().for_each(|f| writer.push_field(f));
    let mut out = Cursor::new(Vec::new());
    writer.write(&mut out, true).unwrap();
    out.into_inner()
}

/// A JPEG with an Exif block put in as its first segment.
pub fn with_exif(jpeg: &[u8], fields: &[(Tag, Value)]) -> Vec<u8> {
    let block = exif_block(fields);
    let mut out = jpeg[..2].to_vec();
    out.extend([0xFF, 0xE1]);
    out.extend((block.len() as u16 + 8).to_be_bytes());
    out.extend(b"Exif\0\0");
    out.extend(block);
    out.extend(&jpeg[2..]);
    out
}

pub fn short(v: u16) -> Value {
    Value::Short(vec![v])
}

pub fn ascii(v: &str) -> Value {
    Value::Ascii(vec![v.as_bytes().to_vec()])
}

pub fn rational(num: u32, denom: u32) -> Value {
    Value::Rational(vec![Rational { num, denom }])
}

/// A small colour picture with gradients and detail.
pub fn picture(width: u32, height: u32) -> RgbImage {
    RgbImage::from_fn(width, height, |x, y| {
        let fine = if (x / 3 + y / 5) % 2 == 0 { 40 } else { 0 };
        image::Rgb([(x * 180 / width + fine) as u8, (y * 180 / height + fine) as u8, (90 + fine) as u8])
    })
}

/// A picture's file in a format.
pub fn encoded(picture: impl Into<DynamicImage>, format: ImageFormat) -> Vec<u8> {
    let mut out = Cursor::new(Vec::new());
    picture.into().write_to(&mut out, format).unwrap();
    out.into_inner()
}

/// A grey JPEG of a quality.
pub fn grey_jpeg(picture: &image::GrayImage, quality: u8) -> Vec<u8> {
    let mut out = Vec::new();
    image::codecs::jpeg::JpegEncoder::new_with_quality(&mut out, quality).encode_image(picture).unwrap();
    out
}

/// Small whole files of every kind that is read, by name.
pub fn one_of_each() -> Vec<(&'static str, Vec<u8>)> {
    let picture = picture(48, 40);
    let sixteen = DynamicImage::from(picture.clone()).to_rgb16();
    let jpeg = std::fs::read(concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/jpeg/baseline.jpg")).unwrap();
    let progressive = std::fs::read(concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/jpeg/progressive.jpg")).unwrap();
    vec![
        ("baseline.jpg", with_exif(&jpeg, &[(Tag::Orientation, short(6)), (Tag::FNumber, rational(8, 1))])),
        ("progressive.jpg", progressive),
        ("eight.png", encoded(picture.clone(), ImageFormat::Png)),
        ("sixteen.png", encoded(sixteen.clone(), ImageFormat::Png)),
        ("eight.tif", encoded(picture.clone(), ImageFormat::Tiff)),
        ("sixteen.tif", encoded(sixteen, ImageFormat::Tiff)),
        ("picture.webp", encoded(picture, ImageFormat::WebP)),
        ("bayer.dng", Dng::new(48, 40, 14).bytes()),
    ]
}
