//! Raw files of every layout that the DNG specification knows: what is written comes back, level by level.

mod negatives;

use std::path::PathBuf;

use negatives::catalogue::every;
use negatives::directory::{Order, Values};
use negatives::lossless::Lossless;
use negatives::negative::{Coding, Cut, Levels, Meaning, Negative};
use tussock::intake::raw::dng::{Samples, decode, stored};
use tussock::intake::raw::{Refused, Sensor};
use tussock::intake::{IntakeError, IntakeErrorKind, Overrides, read};
use tussock::quantity::Flag;

/// The samples that a raw file must give, its linearisation table applied by hand.
fn expected(negative: &Negative) -> Samples {
    let table = negative.tags.iter().find_map(|(tag, values)| match (tag, values) {
        (50_712, Values::Shorts(table)) => Some(table),
        _ => None,
    });
    match &negative.levels {
        Levels::Whole(levels) if negative.bits > 16 => Samples::Float(levels.iter().map(|v| *v as f32).collect()),
        Levels::Whole(levels) => Samples::Whole(
            levels
                .iter()
                .map(|v| match table {
                    Some(table) => table[(*v as usize).min(table.len() - 1)],
                    None => *v as u16,
                })
                .collect(),
        ),
        Levels::Float(levels) => Samples::Float(levels.clone()),
    }
}

#[test]
fn every_layout_gives_back_the_samples_written() {
    for (name, negative) in every() {
        let got = stored(&negative.bytes()).unwrap_or_else(|e| panic!("{name}: {e:?}"));
        let size = (negative.width, negative.height, negative.channels);
        assert_eq!((got.width, got.height, got.channels), size, "{name}");
        // The lists are too long to be printed.
        assert!(got.samples == expected(&negative), "{name}: the samples differ");
    }
}

fn sensor(negative: &Negative) -> Sensor {
    decode(&negative.bytes()).unwrap()
}

fn with(tags: Vec<(u16, Values)>) -> Negative {
    Negative { tags, ..Negative::mosaic(64, 48, 14) }
}

fn longs(values: &[u32]) -> Values {
    Values::Longs(values.to_vec())
}

fn shorts(values: &[u16]) -> Values {
    Values::Shorts(values.to_vec())
}

/// DNG 1.7, BlackLevelRepeatDim, BlackLevel, BlackLevelDeltaH and BlackLevelDeltaV: they add up, and count from the
/// active area's corner on.
#[test]
fn black_levels_by_site_row_and_column() {
    let area = (50_829, longs(&[4, 2, 44, 62]));
    let sites = [100, 110, 120, 130];
    let plain = sensor(&with(vec![area.clone(), (50_713, shorts(&[2, 2])), (50_714, shorts(&sites))]));
    assert_eq!((plain.left, plain.top, plain.width, plain.height), (2, 4, 60, 40));
    assert_eq!(plain.black, [100.0, 110.0, 120.0, 130.0]);
    // A crop that starts on an odd row and column moves the sites along.
    let crop = [(50_719, longs(&[1, 1])), (50_720, longs(&[50, 30]))];
    let mut tags = vec![area.clone(), (50_713, shorts(&[2, 2])), (50_714, shorts(&sites))];
    tags.extend(crop);
    let cropped = sensor(&with(tags));
    assert_eq!((cropped.left, cropped.top, cropped.width, cropped.height), (3, 5, 50, 30));
    assert_eq!(cropped.black, [130.0, 120.0, 110.0, 100.0]);

    let columns: Vec<(i32, i32)> = (0..60).map(|x| (x - 30, 1)).collect();
    let rows: Vec<(i32, i32)> = (0..40).map(|y| (2 * y, 4)).collect();
    let mut uneven = with(vec![
        area,
        (50_714, shorts(&[200])),
        (50_715, Values::SignedRatios(columns)),
        (50_716, Values::SignedRatios(rows)),
    ]);
    // The same light everywhere, on top of each site's own level.
    let Levels::Whole(levels) = &mut uneven.levels else { unreachable!() };
    for (i, v) in levels.iter_mut().enumerate() {
        let (x, y) = ((i % 64) as f64 - 2.0, (i / 64) as f64 - 4.0);
        let light = if (i / 64) % 2 == 0 { 5000.0 } else { 4000.0 };
        *v = (light + 200.0 + (x - 30.0) + y / 2.0).round() as u32;
    }
    let level = sensor(&uneven);
    assert_eq!(level.black, [200.0; 4]);
    for y in 0..40 {
        let light = if y % 2 == 0 { 5200 } else { 4200 };
        assert!(level.row(y).iter().all(|v| v.abs_diff(light) <= 1), "row {y}: {:?}", &level.row(y)[..5]);
    }
}

/// DNG 1.7, DefaultUserCrop (51125): top, left, bottom and right in fractions of the default crop.
#[test]
fn the_part_chosen_in_the_camera_is_the_picture() {
    let place = tempfile::tempdir().unwrap();
    let crop = |edges: [(u32, u32); 4]| {
        let mut file = with(vec![
            (50_719, longs(&[2, 4])),
            (50_720, longs(&[60, 40])),
            (51_125, Values::Ratios(edges.to_vec())),
            // A focus point right of the middle of a picture of that size (Exif 2.32, SubjectArea).
            (0xa002, longs(&[60])),
            (0xa003, longs(&[40])),
            (0x9214, shorts(&[45, 20])),
        ]);
        file.tags.push((50_714, shorts(&[0])));
        let s = sensor(&file);
        let path = place.path().join("a.dng");
        std::fs::write(&path, file.bytes()).unwrap();
        let facts = tussock::intake::facts(&path, &Overrides::default()).unwrap();
        let shot = read(&path, &Overrides::default()).unwrap();
        assert_eq!((shot.plane.width, shot.plane.height), (s.width, s.height));
        assert_eq!(facts.size, Some((s.width as u32, s.height as u32)));
        let point = facts.capture.focus_point.map(|p| (p.value.x, p.value.y));
        ((s.left, s.top, s.width, s.height), s.pattern.unwrap().colours[0], point)
    };
    // The upper three quarters, and a part that begins on a row and a column of other colours.
    assert_eq!(crop([(0, 1), (0, 1), (3, 4), (1, 1)]), ((2, 4, 60, 30), 0, Some((0.75, 2.0 / 3.0))));
    assert_eq!(crop([(1, 40), (1, 60), (1, 1), (1, 2)]), ((3, 5, 29, 39), 2, None));
    // What makes no sense leaves nothing out.
    for edges in [[(3, 4), (0, 1), (1, 4), (1, 1)], [(0, 1), (0, 1), (5, 4), (1, 1)], [(0, 0), (0, 1), (1, 1), (1, 1)]]
    {
        assert_eq!(crop(edges).0, (2, 4, 60, 40));
    }
}

/// Rows that are zero to the last, as where a copy was cut and filled up: as of a JPEG, the rest is measured, and told.
#[test]
fn a_raw_file_whose_end_is_missing_is_read_as_far_as_it_goes() {
    let mut file = with(vec![(50_714, shorts(&[0]))]);
    let whole = sensor(&file);
    let Levels::Whole(levels) = &mut file.levels else { unreachable!() };
    levels[64 * 36 - 11..].fill(0);
    let path = tempfile::tempdir().unwrap();
    let path = path.path().join("a.dng");
    std::fs::write(&path, file.bytes()).unwrap();
    let shot = read(&path, &Overrides::default()).unwrap();
    assert_eq!(shot.coded, Some(35.0 / 48.0));
    assert!(shot.flags.contains(&Flag::Truncated) && !shot.flags.contains(&Flag::RawDamaged), "{:?}", shot.flags);
    let green = |y: usize| (0..64).filter(move |x| (x + y) % 2 == 1);
    assert!((0..34).all(|y| green(y).all(|x| shot.plane.row(y)[x] == whole.row(y)[x])));
    assert!((35..48).all(|y| green(y).all(|x| shot.plane.row(y)[x] == shot.plane.white)));
}

/// Green is the first to clip in daylight, and makes up 0.7152 of luminance (ITU-R BT.709): where it has, no luminance is known.
#[test]
fn of_full_colour_green_at_white_is_white() {
    let mut file = Negative::linear(64, 48, 12);
    file.tags = vec![(50_728, Values::Ratios(vec![(1, 2), (1, 1), (1, 2)]))];
    let Levels::Whole(levels) = &mut file.levels else { unreachable!() };
    levels.chunks_exact_mut(3).enumerate().for_each(|(i, p)| {
        p.copy_from_slice(&if i % 64 < 32 { [400, 800, 400] } else { [900, 4095, 700] });
    });
    let plane = tussock::intake::raw::luminance(&sensor(&file));
    assert!(plane.row(7)[..32].iter().all(|v| v.abs_diff(800) <= 1), "{:?}", &plane.row(7)[..4]);
    assert!(plane.row(7)[32..].iter().all(|v| *v == plane.white && *v >= plane.saturation));
}

#[test]
fn masked_pixels_tell_the_black_level_where_no_tag_does() {
    let mut negative = with(vec![(50_829, longs(&[0, 16, 48, 64])), (50_830, longs(&[0, 0, 48, 14]))]);
    let Levels::Whole(levels) = &mut negative.levels else { unreachable!() };
    for (i, v) in levels.iter_mut().enumerate() {
        let (x, y) = (i % 64, i / 64);
        if x < 14 {
            *v = 500 + 10 * (y as u32 % 2) + (x as u32 % 2) + 3 * u32::from(x == 5);
        }
    }
    assert_eq!(sensor(&negative).black, [500.0, 501.0, 510.0, 511.0]);
    // Areas do not overlap (DNG 1.7, MaskedAreas): what is more than the whole picture is left out, however much it is.
    let areas: Vec<u32> = [0, 0, 48, 14].into_iter().chain([0, 0, 48, 64].repeat(10_000)).collect();
    negative.tags[1].1 = longs(&areas);
    assert_eq!(sensor(&negative).black, [500.0, 501.0, 510.0, 511.0]);
}

#[test]
fn white_levels_are_the_tag_s_the_table_s_or_the_range_s() {
    assert_eq!(sensor(&with(vec![(50_717, longs(&[16_000]))])).white, 16_000.0);
    assert_eq!(sensor(&with(vec![])).white, 16_383.0);
    let table = (0..=16_383_u32).map(|i| (i * 3) as u16).collect();
    assert_eq!(sensor(&with(vec![(50_712, Values::Shorts(table))])).white, 49_149.0);
}

/// Gains from AsShotWhiteXY: a camera that sees XYZ itself is neutral at its white's own tristimulus values (CIE 15).
#[test]
fn white_balance_from_a_chromaticity() {
    let xyz = [(10_000, 10_000), (0, 1), (0, 1), (0, 1), (1, 1), (0, 1), (0, 1), (0, 1), (1, 1)];
    let mut negative = with(vec![
        (50_721, Values::SignedRatios(xyz.to_vec())),
        // D65 of the 2-degree observer.
        (50_729, Values::Ratios(vec![(3127, 10_000), (3290, 10_000)])),
    ]);
    negative.tags.push((50_728, Values::Ratios(vec![])));
    let gains = sensor(&negative).gains;
    assert!((gains[0] - 1.0 / 0.95046).abs() < 1e-3 && (gains[2] - 1.0 / 1.08906).abs() < 1e-3, "{gains:?}");
}

/// A list of opcodes (DNG 1.7, chapter 7), big-endian in any file.
fn opcodes(list: &[(u32, Vec<u8>)]) -> Values {
    let mut out = (list.len() as u32).to_be_bytes().to_vec();
    for (kind, data) in list {
        for v in [*kind, 0x0103_0000, 1, data.len() as u32] {
            out.extend(v.to_be_bytes());
        }
        out.extend(data);
    }
    Values::Undefined(out)
}

#[test]
fn opcodes_bend_curves_and_name_moves() {
    let warp = opcodes(&[(1, vec![0; 68])]);
    for list in [51_008, 51_009, 51_022] {
        assert_eq!(sensor(&with(vec![(list, warp.clone())])).flags, [Flag::LensCorrectionPending], "{list}");
    }
    assert!(sensor(&with(vec![(51_022, opcodes(&[(3, vec![0; 56])]))])).flags.is_empty());
    // A square, over the range from black to white.
    let mut square: Vec<u8> = [0_u32, 0, 48, 64, 0, 1, 1, 1, 2].iter().flat_map(|v| v.to_be_bytes()).collect();
    square.extend([0.0_f64, 0.0, 1.0].iter().flat_map(|v| v.to_be_bytes()));
    let negative = with(vec![(50_714, shorts(&[383])), (51_009, opcodes(&[(8, square)]))]);
    let bent = sensor(&negative);
    assert_eq!((bent.black, bent.white), ([0.0; 4], 65_535.0));
    let Levels::Whole(levels) = &negative.levels else { unreachable!() };
    for (got, level) in bent.samples.iter().zip(levels) {
        let share = (f64::from(*level) - 383.0).max(0.0) / 16_000.0;
        assert!((f64::from(*got) - share * share * 65_535.0).abs() <= 1.01, "{level}: {got}");
    }
}

/// The sensor's picture is found behind previews, masks and depth maps, in both byte orders.
#[test]
fn the_picture_itself_is_chosen() {
    let mut jpeg = Vec::new();
    image::codecs::jpeg::JpegEncoder::new(&mut jpeg).encode_image(&image::RgbImage::new(1200, 900)).unwrap();
    for order in [Order::Little, Order::Big] {
        let negative = Negative { preview: Some(jpeg.clone()), order, ..Negative::mosaic(64, 48, 14) };
        let sensor = sensor(&negative);
        assert_eq!((sensor.width, sensor.height, sensor.gains), (64, 48, [2.0, 1.0, 1.5]));
        // Marked as reduced, a mask or a depth map, it is not the picture.
        for kind in [1, 4, 8] {
            let other = Negative { tags: vec![(254, longs(&[kind]))], ..negative.clone() };
            assert!(matches!(decode(&other.bytes()), Err(Refused::Unknown(_))), "{kind}");
        }
    }
}

/// What a file is refused as.
fn refused(negative: &Negative, name: &str) -> IntakeError {
    let place = tempfile::tempdir().unwrap();
    let path: PathBuf = place.path().join(name);
    std::fs::write(&path, negative.bytes()).unwrap();
    read(&path, &Overrides::default()).map(|shot| shot.flags).expect_err(name)
}

#[test]
fn mosaics_that_are_not_read_are_named() {
    let mosaic = |side: usize, colours: &[u8]| Negative {
        meaning: Meaning::Mosaic(side, colours.to_vec()),
        ..Negative::mosaic(64, 48, 14)
    };
    for (negative, words) in [
        (mosaic(4, &[0, 0, 1, 1, 0, 0, 1, 1, 1, 1, 2, 2, 1, 1, 2, 1]), "unusual"),
        (mosaic(2, &[0, 1, 3, 2]), "other colours"),
        (mosaic(2, &[1, 1, 0, 2]), "no checkerboard"),
        (with(vec![(50_711, shorts(&[2]))]), "staggered"),
        (
            Negative { coding: Coding::By(40_000, |_| vec![0; 100]), ..Negative::mosaic(64, 48, 14) },
            "compressed in a way",
        ),
    ] {
        let error = refused(&negative, "a.dng");
        assert_eq!(error.kind, IntakeErrorKind::Unsupported, "{error}");
        assert!(error.problem.contains(words) && error.problem.contains("DNG"), "{error}");
        assert!(error.advice.contains("TIFF"), "{}", error.advice);
    }
    // A Bayer pattern written out four by four is one all the same.
    let written_out = mosaic(4, &[0, 1, 0, 1, 1, 2, 1, 2, 0, 1, 0, 1, 1, 2, 1, 2]);
    assert_eq!(sensor(&written_out).pattern.unwrap().side, 2);
}

/// A mosaic of two by two sites of each colour is one of half the size: each four are summed, or their mean is taken where a
/// sum needs more than 16 bits. Only fours that lie wholly in the picture count.
#[test]
fn quad_bayer_is_taken_four_sites_at_a_time() {
    let quad = vec![0, 0, 1, 1, 0, 0, 1, 1, 1, 1, 2, 2, 1, 1, 2, 2];
    for (bits, share) in [(14, 1), (16, 4)] {
        let crop = [(50_714, shorts(&[100])), (50_719, longs(&[1, 2])), (50_720, longs(&[60, 44]))];
        let meaning = Meaning::Mosaic(4, quad.clone());
        let file = Negative { meaning, tags: crop.to_vec(), ..Negative::mosaic(64, 48, bits) };
        let Levels::Whole(levels) = &file.levels else { unreachable!() };
        let got = sensor(&file);
        assert_eq!((got.width, got.height, got.stride, got.left), (29, 22, 29, 0));
        // The first four are those from the third column and row on.
        assert_eq!(got.pattern.unwrap().colours[..4], [2, 1, 1, 0]);
        assert_eq!(got.black, [400.0 / share as f32; 4]);
        assert_eq!(got.white, 4.0 / share as f32 * ((1 << bits) - 1) as f32);
        for (i, v) in got.samples.iter().enumerate() {
            let (x, y) = (2 + i % 29 * 2, 2 + i / 29 * 2);
            let sum: u32 = [0, 1, 64, 65].iter().map(|next| levels[y * 64 + x + next]).sum();
            assert_eq!(u32::from(*v), (sum + share / 2) / share, "{bits} bits, {x}, {y}");
        }
        let place = tempfile::tempdir().unwrap();
        let path = place.path().join("a.dng");
        std::fs::write(&path, file.bytes()).unwrap();
        let shot = read(&path, &Overrides::default()).unwrap();
        assert!(shot.flags.contains(&Flag::Binned), "{:?}", shot.flags);
        assert_eq!((shot.plane.width, shot.plane.height), (29, 22));
    }
}

/// Where the sensor's picture can't be read, the largest one beside it in the file stands in, and says so.
#[test]
fn a_preview_stands_in_for_a_mosaic_that_is_not_read() {
    let mut jpeg = Vec::new();
    let drawn =
        image::RgbImage::from_fn(1200, 900, |x, y| image::Rgb([(x / 5) as u8, (y / 4) as u8, ((x ^ y) & 255) as u8]));
    image::codecs::jpeg::JpegEncoder::new(&mut jpeg).encode_image(&drawn).unwrap();
    let meaning = Meaning::Mosaic(2, vec![0, 1, 3, 2]);
    let negative = Negative { meaning, preview: Some(jpeg), ..Negative::mosaic(2400, 1800, 14) };
    let place = tempfile::tempdir().unwrap();
    let path = place.path().join("a.dng");
    std::fs::write(&path, negative.bytes()).unwrap();
    let shot = read(&path, &Overrides::default()).unwrap();
    assert_eq!((shot.plane.width, shot.plane.height), (1200, 900));
    assert!([Flag::Preview, Flag::Processed, Flag::Resized].iter().all(|f| shot.flags.contains(f)), "{:?}", shot.flags);
    assert_eq!(shot.capture.body.unwrap().value, "Example N1");
}

/// Where the sensor's picture is there but damaged, the one beside it stands in, but the file is called damaged.
#[test]
fn a_preview_of_a_damaged_raw_is_no_whole_file() {
    let mut jpeg = Vec::new();
    let drawn = image::RgbImage::from_fn(1200, 900, |x, y| image::Rgb([(x / 5) as u8, (y / 4) as u8, (x ^ y) as u8]));
    image::codecs::jpeg::JpegEncoder::new(&mut jpeg).encode_image(&drawn).unwrap();
    let lossless = Lossless { components: 2, predictor: 1, restart_rows: 0 };
    let coded = Negative {
        coding: Coding::Lossless(lossless),
        preview: Some(jpeg.clone()),
        ..Negative::mosaic(2400, 1800, 14)
    };
    let plain = Negative {
        tags: vec![(50_714, longs(&[512])), (50_717, longs(&[16_383]))],
        preview: Some(jpeg),
        ..Negative::mosaic(2400, 1800, 14)
    };
    let place = tempfile::tempdir().unwrap();
    for (name, negative) in [("coded.dng", coded), ("plain.dng", plain)] {
        let path = place.path().join(name);
        let mut bytes = negative.bytes();
        let seen = |bytes: &[u8]| {
            std::fs::write(&path, bytes).unwrap();
            let shot = read(&path, &Overrides::default()).unwrap();
            (shot.flags.contains(&Flag::RawDamaged), shot.flags.contains(&Flag::Preview))
        };
        assert_eq!(seen(&bytes), (false, false), "{name}");
        // Eight sectors of zeros in the midst of the sensor's picture, as a card that fails gives them out.
        let hole = bytes.len() / 2 / 512 * 512;
        bytes[hole..hole + 4096].fill(0);
        assert_eq!(seen(&bytes), (true, true), "{name}");
    }
}

/// A file that was cut before its directory, and one that never was a raw file, are not called raw files of an unknown kind.
#[test]
fn what_is_left_of_a_raw_file_is_called_damaged() {
    let bytes = Negative::mosaic(64, 48, 14).bytes();
    let place = tempfile::tempdir().unwrap();
    let page = b"<html>404 not found</html>".repeat(4);
    let none = "not that of any kind of photograph";
    for (name, bytes, words) in [
        ("a.dng", &bytes[..bytes.len() / 2], "cut short"),
        ("a.nef", &bytes[..bytes.len() / 2], "cut short"),
        ("b.dng", &page, none),
        ("b.arw", &page, none),
    ] {
        let path = place.path().join(name);
        std::fs::write(&path, bytes).unwrap();
        let error = read(&path, &Overrides::default()).map(|shot| shot.flags).expect_err(name);
        assert_eq!(error.kind, IntakeErrorKind::Damaged, "{name}: {error}");
        assert!(error.problem.contains(words), "{name}: {error}");
    }
}

/// Bodies that shift the sensor between exposures keep each as a picture of its own: the first is read, and says so.
#[test]
fn of_several_exposures_the_first_is_read() {
    let drawn = Negative::mosaic(64, 48, 14);
    let Levels::Whole(levels) = &drawn.levels else { unreachable!() };
    let other = levels.iter().map(|v| v ^ 0x155).collect();
    let file = Negative { twin: Some(Levels::Whole(other)), ..drawn.clone() };
    let got = sensor(&file);
    assert_eq!(got.exposures, 2);
    assert!(got.samples.iter().map(|v| u32::from(*v)).eq(levels.iter().copied()));
    let place = tempfile::tempdir().unwrap();
    let path = place.path().join("a.dng");
    std::fs::write(&path, file.bytes()).unwrap();
    assert!(read(&path, &Overrides::default()).unwrap().flags.contains(&Flag::MultiShot));
    assert!(
        !read(
            &{
                std::fs::write(&path, drawn.bytes()).unwrap();
                path
            },
            &Overrides::default()
        )
        .unwrap()
        .flags
        .contains(&Flag::MultiShot)
    );
}

/// Four colours at each pixel, as several shots put together in one have them, can't be taken for red, green and blue.
#[test]
fn four_colours_at_each_pixel_are_named() {
    let four = Negative { channels: 4, ..Negative::linear(48, 48, 14) };
    let Levels::Whole(levels) = &four.levels else { unreachable!() };
    let levels = Levels::Whole(levels.iter().chain(levels).copied().take(4 * 48 * 48).collect());
    let error = refused(&Negative { levels, ..four }, "a.dng");
    assert_eq!(error.kind, IntakeErrorKind::Unsupported, "{error}");
    assert!(error.problem.contains("four samples at each pixel"), "{error}");
}

/// A film scanner's raw file: three colours at each pixel of 16 bits, in a file that is named as a camera's.
#[test]
fn a_scan_is_named() {
    let mut scan = Negative::linear(64, 48, 16);
    scan.tags = vec![(262, shorts(&[2])), (50_706, Values::Bytes(vec![]))];
    let error = refused(&scan, "a.nef");
    assert_eq!(error.kind, IntakeErrorKind::Unsupported, "{error}");
    assert!(error.problem.contains("a Nikon raw file (NEF) of a film scanner"), "{error}");
}

#[test]
fn truncated_and_contradictory_files_are_damaged() {
    for (name, negative) in every().into_iter().step_by(7) {
        let bytes = negative.bytes();
        // The directory stands at the end, so its offset is made to point at a copy of it in front of a cut.
        let mut broken = negative.clone();
        broken
            .tags
            .push((if matches!(negative.cut, Cut::Tiles(..)) { 324 } else { 273 }, longs(&[bytes.len() as u32; 9])));
        let offsets = decode(&broken.bytes());
        assert!(matches!(offsets, Err(Refused::Broken(_))), "{name}: {offsets:?}");
        broken.tags = vec![(256, longs(&[0]))];
        assert!(decode(&broken.bytes()).is_err(), "{name}");
    }
    let error = refused(&with(vec![(273, longs(&[4_000_000]))]), "a.dng");
    assert_eq!(error.kind, IntakeErrorKind::Damaged);
    assert!(error.problem.contains("a DNG with no compression") && error.problem.contains("ends before"), "{error}");
}

/// Files by other encoders (libjxl, libjpeg-turbo) with the levels that their own decoders give back
/// (tests/reference/make_raws.py): whole where nothing is lost, within rounding where the standards leave that open.
#[test]
fn raws_by_other_encoders_give_their_decoders_levels() {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/raw");
    for (name, most) in [
        ("xl-12", 0),
        ("xl-linear", 0),
        ("xl-fields", 0),
        ("xl-float", 0),
        ("xl-lossy-linear", 1),
        ("jpeg-8", 2),
        ("jpeg-8-rgb", 2),
        ("jpeg-12", 1),
    ] {
        let levels = std::fs::read(folder.join(format!("{name}.levels"))).unwrap();
        let got = stored(&std::fs::read(folder.join(format!("{name}.dng"))).unwrap()).unwrap();
        match got.samples {
            Samples::Whole(got) => {
                let want = levels.chunks_exact(2).map(|b| u16::from_le_bytes([b[0], b[1]]));
                assert_eq!(got.len(), want.len(), "{name}");
                let apart = got.iter().zip(want).map(|(a, b)| a.abs_diff(b)).max().unwrap();
                assert!(apart <= most, "{name}: {apart}");
            }
            Samples::Float(got) => {
                let want = levels.chunks_exact(4).map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]]));
                assert!(got.into_iter().eq(want), "{name}");
            }
        }
    }
}
