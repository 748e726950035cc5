//! JPEG to a plane: luma through zune-jpeg, straight to linear light, with the block grid and luma steps.

use std::borrow::Cow;
use std::path::Path;

use zune_core::bytestream::ZCursor;
use zune_core::colorspace::ColorSpace;
use zune_core::options::DecoderOptions;
use zune_jpeg::JpegDecoder;

use super::headers::Headers;
use super::levels::{luminance_of_bytes, widen};
use super::luminance::Read;
use super::rendered::{self, MAX_PIXELS};
use super::roomy::{room, too_little, zeros};
use super::tone::{Named, Tone, WHITE};
use super::turn::Turn;
use super::{IntakeError, baseline, guard, scan};
use crate::quantity::Flag;
use crate::shot::{Plane, Tint};

/// Decodes a JPEG file's main picture to linear luminance; of one that was cut short, what is there.
///
/// The luma Y' is linearised as if it were a grey of that value, which is exact for neutral colours and
/// reads saturated ones slightly dark. Missing parts are white, and so beyond measuring.
pub(super) fn plane(
    bytes: &[u8],
    headers: &Headers,
    named: Named,
    turn: Turn,
    path: &Path,
) -> Result<Read, IntakeError> {
    check(headers, bytes.len(), path)?;
    let bytes = &*sound(bytes, headers);
    let (width, height) = (headers.width, headers.height);
    let early = coded_before(bytes, headers, path)?;
    let decoder = open(bytes, ColorSpace::Luma, path)?;
    let icc = decoder.icc_profile();
    let tone = Tone::of(icc.as_deref(), named);
    let grey = matches!(decoder.input_colorspace(), Some(ColorSpace::YCbCr | ColorSpace::Luma));
    let mut rows = height;
    let mut tint = None;
    let data = if grey {
        let lut = tone.bytes();
        let plain = if early.is_none() { plain(bytes, headers.size(), turn, &lut, path)? } else { None };
        if let Some((data, colours)) = plain {
            tint = colours;
            data
        } else if turn.is_none() {
            // The bytes are decoded into the upper half of the plane's own memory and widened in place.
            let mut data = zeros::<u16>(width * height, path)?;
            let luma = &mut bytemuck::cast_slice_mut(&mut data)[width * height..];
            rows = grey_codes(bytes, headers, decoder, luma, early, path)?;
            widen(&mut data, &lut);
            data
        } else {
            let mut luma = zeros::<u8>(width * height, path)?;
            rows = grey_codes(bytes, headers, decoder, &mut luma, early, path)?;
            turn.apply(&luma, width, height, |v| lut[usize::from(v)])
        }
    } else {
        let mut decoder = open(bytes, ColorSpace::RGB, path)?;
        let mut data = zeros::<u16>((width * height * 3).div_ceil(2), path)?;
        let colours = &mut bytemuck::cast_slice_mut(&mut data)[..width * height * 3];
        run(&mut decoder, colours, path)?;
        rows = blank(bytes, headers, colours, 3, early, path)?.min(rows);
        luminance_of_bytes(&mut data, width * height, 3, &tone);
        rendered::upright(data, width, height, turn)
    };
    let (upright_width, upright_height) = turn.size(width, height);
    let plane = Plane {
        // Compression moves clipped areas about by a step.
        saturation: tone.bytes()[254],
        jpeg: headers.luma_steps().map(|steps| turn.blocks(&steps, width, height)),
        rendered: !tone.is_linear(),
        ..Plane::plain(upright_width, upright_height, data, WHITE)
    };
    let coded = (rows < height).then(|| rows as f64 / height as f64);
    let cut = coded.map(|_| Flag::Truncated);
    Ok(Read { plane, flags: std::iter::once(Flag::Processed).chain(cut).collect(), coded, tint })
}

/// The file up to the first hole in its coded data: what is coded behind it would be laid where it does not belong. A
/// progressive picture is left as it is, for its later scans hold all of its rows again.
fn sound<'a>(bytes: &'a [u8], headers: &Headers) -> Cow<'a, [u8]> {
    match scan::first_hole(bytes).filter(|_| headers.frame != 0xC2) {
        Some(end) => Cow::Owned([&bytes[..end], &[0xFF, 0xD9]].concat()),
        None => Cow::Borrowed(bytes),
    }
}

/// A plane's samples and coarse colours.
type Plain = (Vec<u16>, Option<Tint>);

/// Those of a picture that is plain and sound, as nearly all are; `None` for all others.
fn plain(
    bytes: &[u8],
    (width, height): (usize, usize),
    turn: Turn,
    lut: &[u16; 256],
    path: &Path,
) -> Result<Option<Plain>, IntakeError> {
    let (size, level) = ((width, height), |v: u8| lut[usize::from(v)]);
    let none = || too_little(path);
    let found = if turn.is_none() {
        let mut data = room::<u16>(width * height).ok_or_else(none)?;
        baseline::decode(bytes, size, &mut |line| data.extend(line.iter().map(|v| level(*v)))).map(|c| (data, c))
    } else {
        let mut luma = room::<u8>(width * height).ok_or_else(none)?;
        let colours = baseline::decode(bytes, size, &mut |line| luma.extend_from_slice(line));
        colours.map(|c| (turn.apply(&luma, width, height, level), c))
    };
    Ok(found.map(|(data, colours)| (data, turn.tint(colours, size))))
}

/// Decodes the luma of a picture of grey or of luma and colour differences by the decoder that knows every kind; how many rows are coded.
fn grey_codes(
    bytes: &[u8],
    headers: &Headers,
    mut decoder: JpegDecoder<ZCursor<&[u8]>>,
    luma: &mut [u8],
    early: Option<usize>,
    path: &Path,
) -> Result<usize, IntakeError> {
    run(&mut decoder, luma, path)?;
    drop(decoder);
    blank(bytes, headers, luma, 1, early, path)
}

/// Share of a picture that must be there for it to be worth measuring.
const LEAST_SHARE: f64 = 0.1;

/// Pixels a byte beyond which a picture is counted before memory is set aside for it: two bits for each block of 64 are
/// the least that is possible, and photographs need ten times as much.
const THIN: usize = 64;

/// Coded rows where these are counted before decoding: of progressive pictures, whose cuts don't show as flat areas, and
/// of those that are suspiciously large for their length.
fn coded_before(bytes: &[u8], headers: &Headers, path: &Path) -> Result<Option<usize>, IntakeError> {
    if headers.frame != 0xC2 && headers.width * headers.height / THIN <= bytes.len() {
        return Ok(None);
    }
    counted(bytes, headers, path).map(Some)
}

/// Rows that are coded; an error where these are too few.
fn counted(bytes: &[u8], headers: &Headers, path: &Path) -> Result<usize, IntakeError> {
    let rows = scan::coded_rows(bytes).unwrap_or(headers.height);
    let share = rows as f64 / headers.height as f64;
    if share >= LEAST_SHARE {
        return Ok(rows);
    }
    Err(IntakeError::damaged(
        path,
        match (headers.frame, rows) {
            (0xC2, _) => "it was cut short: the fine detail of the picture is missing".to_owned(),
            _ => format!("it was cut short: only {:.0} % of the picture is in the file", 100.0 * share),
        },
    ))
}

/// Makes the rows of decoded samples that are not coded white, and says how many are. The blocks are counted, which takes about
/// as long as decoding: what a cut file lacks is decoded from something, and may look like anything.
fn blank(
    bytes: &[u8],
    headers: &Headers,
    samples: &mut [u8],
    channels: usize,
    early: Option<usize>,
    path: &Path,
) -> Result<usize, IntakeError> {
    let rows = early.map_or_else(|| counted(bytes, headers, path), Ok)?;
    samples[rows * headers.width * channels..].fill(u8::MAX);
    Ok(rows)
}

/// Decodes a JPEG file's main picture to 8-bit RGB, upright, its colours as coded.
pub(super) fn rgb(bytes: &[u8], headers: &Headers, turn: Turn, path: &Path) -> Result<image::RgbImage, IntakeError> {
    check(headers, bytes.len(), path)?;
    let bytes = &*sound(bytes, headers);
    let mut decoder = open(bytes, ColorSpace::RGB, path)?;
    let early = coded_before(bytes, headers, path)?;
    let mut out = zeros::<[u8; 3]>(headers.width * headers.height, path)?;
    let samples = bytemuck::cast_slice_mut(&mut out);
    run(&mut decoder, samples, path)?;
    blank(bytes, headers, samples, 3, early, path)?;
    drop(decoder);
    Ok(rendered::upright_rgb(out, headers.width, headers.height, turn))
}

/// Refuses what the headers alone show to be unreadable.
fn check(headers: &Headers, size: usize, path: &Path) -> Result<(), IntakeError> {
    let pixels = headers.width * headers.height;
    if pixels == 0 {
        return Err(IntakeError::damaged(path, "it has no picture in it"));
    }
    if headers.precision != 8 {
        let problem = format!("it is a {}-bit JPEG, which is not read here", headers.precision);
        return Err(IntakeError::unsupported(path, problem));
    }
    if !matches!(headers.frame, 0xC0..=0xC2) {
        return Err(IntakeError::unsupported(
            path,
            "it is a lossless or arithmetic-coded JPEG, which is not read here",
        ));
    }
    // A block of 64 pixels takes at least two bits per scan; anything emptier is a wrong size field.
    if pixels / 1024 > size {
        let problem =
            format!("it claims {} x {} pixels but holds far too little data for them", headers.width, headers.height);
        return Err(IntakeError::damaged(path, problem));
    }
    if pixels > MAX_PIXELS {
        return Err(IntakeError::too_much(path, format!("it claims {} x {} pixels", headers.width, headers.height)));
    }
    if headers.end() == 0 {
        return Err(IntakeError::damaged(path, "the file ends before the picture does"));
    }
    Ok(())
}

type Decoder<'a> = JpegDecoder<ZCursor<&'a [u8]>>;

fn open<'a>(bytes: &'a [u8], colour: ColorSpace, path: &Path) -> Result<Decoder<'a>, IntakeError> {
    let attempt = |strict| {
        let options = DecoderOptions::default()
            .set_strict_mode(strict)
            .set_max_width(usize::from(u16::MAX))
            .set_max_height(usize::from(u16::MAX))
            .jpeg_set_out_colorspace(colour);
        let mut decoder = JpegDecoder::new_with_options(ZCursor::new(bytes), options);
        guarded(|| decoder.decode_headers())?;
        // Strict from here on: a damaged picture must not pass as one with grey areas.
        let options = decoder.options().set_strict_mode(true);
        decoder.set_options(options);
        Ok::<_, String>(decoder)
    };
    // Strictness about headers refuses sound files with a few stray bytes between segments.
    attempt(true).or_else(|_| attempt(false)).map_err(|why| damaged(path, &why))
}

fn run(decoder: &mut Decoder<'_>, out: &mut [u8], path: &Path) -> Result<(), IntakeError> {
    guarded(|| decoder.decode_into(out)).map_err(|why| damaged(path, &why))
}

fn damaged(path: &Path, why: &str) -> IntakeError {
    IntakeError::damaged(path, "the JPEG picture in it is damaged").with_detail(why)
}

/// A decoder's panic is damage to the file, not an end to the program.
fn guarded<T, E: std::fmt::Debug>(work: impl FnOnce() -> Result<T, E>) -> Result<T, String> {
    match guard::guarded(work) {
        Ok(Ok(value)) => Ok(value),
        Ok(Err(error)) => Err(format!("{error:?}").trim_matches('"').to_owned()),
        Err(_) => Err("the decoder gave up".into()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(bytes: &[u8]) -> Result<Read, IntakeError> {
        let mut bytes = bytes.to_vec();
        let headers = Headers::scan_and_close(&mut bytes);
        plane(&bytes, &headers, Named::Srgb, Turn::default(), Path::new("cut.jpg"))
    }

    /// Pictures of 640 x 480 px in grey and colour.
    fn pictures() -> [Vec<u8>; 2] {
        let grey = image::GrayImage::from_fn(640, 480, |x, y| {
            image::Luma([((x * 7 + y * 13) % 97 + (x ^ y).wrapping_mul(2_654_435_761) % 61) as u8 + 40])
        });
        let colour = image::DynamicImage::from(grey.clone()).to_rgb8();
        [image::DynamicImage::from(grey), colour.into()].map(|picture| {
            let mut whole = Vec::new();
            picture.write_with_encoder(image::codecs::jpeg::JpegEncoder::new_with_quality(&mut whole, 92)).unwrap();
            whole
        })
    }

    fn fixture(name: &str) -> Vec<u8> {
        std::fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/jpeg").join(name)).unwrap()
    }

    /// Where the coded data of the first scan begin.
    fn coded(bytes: &[u8]) -> usize {
        bytes.windows(2).position(|w| w == [0xFF, 0xDA]).unwrap() + 20
    }

    /// Cut anywhere in its scan, with or without an end put behind, or filled up with zeros, a file never passes for whole.
    #[test]
    fn cut_files_are_noticed_and_what_is_missing_is_white() {
        for whole in pictures() {
            let sound = read(&whole).unwrap();
            assert_eq!(sound.coded, None);
            // The marker of the end is none of the picture.
            assert_eq!(read(&whole[..whole.len() - 2]).unwrap().coded, None);
            let start = coded(&whole);
            for k in 1..60 {
                let end = start + (whole.len() - start) * (20 + k) / 80 - 40;
                let zeros = vec![0; whole.len() - end - 2];
                let cut = &whole[..end];
                let shares = [
                    cut.to_vec(),
                    [cut, &[0xFF, 0xD9]].concat(),
                    [cut, &zeros].concat(),
                    [cut, &zeros, &[0xFF, 0xD9]].concat(),
                ]
                .map(|bytes| {
                    let cut = read(&bytes).unwrap();
                    let share = cut.coded.unwrap_or_else(|| panic!("cut to {end} of {} passes for whole", whole.len()));
                    assert!(cut.flags.contains(&Flag::Truncated));
                    let rows = (share * 480.0).round() as usize;
                    assert!(
                        cut.plane.data[..rows * 640] == sound.plane.data[..rows * 640],
                        "what is there is as in the whole"
                    );
                    assert!(cut.plane.data[rows * 640..].iter().all(|v| *v == WHITE));
                    share
                });
                let row = 16.0 / 480.0 + 1e-9;
                assert!(shares.iter().all(|s| (s - shares[0]).abs() <= row), "{end}: {shares:?}");
            }
        }
    }

    /// So are those of other kinds, which may be refused instead.
    #[test]
    fn cut_files_of_every_kind_are_noticed() {
        for name in ["baseline.jpg", "cmyk.jpg", "grey.jpg", "progressive.jpg", "restart.jpg"] {
            let whole = fixture(name);
            let start = coded(&whole);
            for end in (start..whole.len() - 200).step_by((whole.len() - start) / 40) {
                let zeros = vec![0; whole.len() - end - 2];
                for behind in [&[][..], &[0xFF, 0xD9], &zeros, &[&zeros[..], &[0xFF, 0xD9]].concat()] {
                    match read(&[&whole[..end], behind].concat()) {
                        Ok(cut) => {
                            let share = cut.coded.unwrap_or(1.0);
                            let most = end as f64 / whole.len() as f64 + 0.25;
                            assert!(share < 1.0 && share <= most, "{name} {end} {}: {share}", behind.len());
                        }
                        Err(error) => {
                            let early = (end - start) * 2 < whole.len() || name == "progressive.jpg";
                            assert!(early, "{name} {end} of {} {}: {error:?}", whole.len(), behind.len());
                        }
                    }
                }
            }
        }
    }

    /// A card that fails, or a copy that was interrupted, leaves sectors of zeros with sound data behind them. What lies before
    /// the hole is as in the whole, and the rest is left out, since it lies elsewhere than it should.
    #[test]
    fn a_hole_in_the_middle_is_told() {
        let mut seen = 0;
        for whole in pictures().into_iter().chain(["baseline.jpg", "restart.jpg"].map(fixture)) {
            let sound = read(&whole).unwrap().plane;
            let start = coded(&whole);
            for (first, length) in (start / 512 + 1..whole.len() / 512).step_by(3).flat_map(|s| [(s, 1), (s, 8)]) {
                let (from, to) = (512 * first, 512 * (first + length));
                if to + 600 > whole.len() {
                    continue;
                }
                let mut holed = whole.clone();
                holed[from..to].fill(0);
                let share = (from - start) as f64 / (whole.len() - start) as f64;
                match read(&holed) {
                    Ok(read) => {
                        let coded = read.coded.unwrap_or_else(|| panic!("a hole at {from} of {} passes", whole.len()));
                        assert!(coded < share + 0.2, "{coded} of {share}");
                        let rows = (coded * sound.height as f64).round() as usize * sound.width;
                        assert!(
                            read.plane.data[..rows] == sound.data[..rows]
                                && read.plane.data[rows..].iter().all(|v| *v == WHITE)
                        );
                    }
                    Err(error) => assert!(share < 0.4, "{share}: {error:?}"),
                }
                seen += 1;
            }
        }
        assert!(seen > 100, "{seen}");
    }

    /// Flat ground may be coded in zeros alone.
    #[test]
    fn flat_ground_is_not_taken_for_what_a_copy_filled_in() {
        let picture = image::GrayImage::from_fn(1600, 1200, |x, y| {
            image::Luma([if y < 40 { ((x * 7 + y * 13) % 97) as u8 + 40 } else { 255 }])
        });
        let mut bytes = Vec::new();
        let mut encoder = jpeg_encoder::Encoder::new(&mut bytes, 90);
        encoder.set_optimized_huffman_tables(true);
        encoder.encode(picture.as_raw(), 1600, 1200, jpeg_encoder::ColorType::Luma).unwrap();
        assert_eq!(read(&bytes).unwrap().coded, None);
        let longest = bytes.split(|b| *b != 0).map(<[u8]>::len).max();
        assert!(longest > Some(200), "{longest:?}");
        assert_eq!(scan::coded_rows(&bytes), Some(1200));
        // With some more zeros than it needs it isn't what was written.
        let more = [&bytes[..bytes.len() - 3], &[0; 200][..], &[0xFF, 0xD9]].concat();
        assert!(scan::coded_rows(&more) < Some(1200));
    }
}
