//! Canon CR2: a TIFF of four directories, of which the last is the sensor's, in lossless JPEG that is cut into upright
//! slices. After L. Clévy, "Understanding what is stored in a Canon RAW .CR2 file, how and why".

use super::super::directory::{Order, Values, append, link, standing};
use super::super::lossless::{self, Lossless};
use super::{DATA, Made, camera, exposure, picture, with_data};

const ORDER: Order = Order::Little;

/// A file to be written.
struct Cr2 {
    name: &'static str,
    model: &'static str,
    /// Components of the JPEG: two or four columns side by side.
    components: usize,
    /// Widths of the slices, px; the last may differ from the others.
    slices: &'static [usize],
    height: usize,
    /// Bits, black and white.
    levels: (u32, u16, u16),
    /// Left and upper border that no light falls on, px.
    border: (usize, usize),
    turn: u16,
}

const NEWER: Cr2 = Cr2 {
    name: "canon-sliced.cr2",
    model: "Canon EOS 600D",
    components: 4,
    slices: &[208, 208, 184],
    height: 400,
    levels: (14, 2048, 13_926),
    border: (142, 51),
    turn: 1,
};

/// One of 24 megapixels.
pub(super) fn large() -> Made {
    made(&Cr2 { name: "canon-24.cr2", slices: &[2000, 2000, 2000], height: 4000, ..NEWER })
}

pub(super) fn every() -> Vec<Made> {
    let files = [
        Cr2 { name: "canon-two-components.cr2", components: 2, slices: &[600], turn: 6, ..NEWER },
        Cr2 {
            name: "canon-12.cr2",
            model: "Canon EOS 350D DIGITAL",
            components: 2,
            slices: &[120, 120, 120, 120],
            height: 320,
            levels: (12, 256, 4095),
            border: (42, 14),
            turn: 8,
        },
        NEWER,
    ];
    files.iter().map(made).collect()
}

fn made(file: &Cr2) -> Made {
    let (bits, black, white) = file.levels;
    let (width, height) = (file.slices.iter().sum::<usize>(), file.height);
    let mut samples = picture(width, height, black, white);
    let (left, top) = file.border;
    for (i, v) in samples.iter_mut().enumerate() {
        if i % width < left || i / width < top {
            *v = black + (*v & 7) - 4;
        }
    }
    let mut sliced = Vec::with_capacity(samples.len());
    let mut at = 0;
    for slice in file.slices {
        samples.chunks_exact(width).for_each(|row| sliced.extend(&row[at..at + slice]));
        at += slice;
    }
    let how = Lossless { components: file.components, predictor: 1, restart_rows: 0 };
    let data = lossless::encode(&sliced, width, bits, how);
    Made {
        name: file.name.into(),
        bytes: with_data(directories(file, width, data.len()), &data),
        width,
        height,
        samples,
        area: Some((left, top, width - left, height - top)),
        black: Some(black),
    }
}

fn directories(file: &Cr2, width: usize, length: usize) -> Vec<u8> {
    let mut out = ORDER.header();
    out.extend(*b"CR\x02\0\0\0\0\0");
    let note_at = out.len();
    let note = standing(ORDER, note_at, &note(file, width));
    let exif = exposure(Some((note.len(), note_at)));
    out.extend(note);
    let exif = append(&mut out, ORDER, &exif);
    let first = append(&mut out, ORDER, &camera("Canon", file.model, file.turn, exif));
    // Where a camera keeps two smaller pictures.
    let small = [(0x103, Values::Shorts(vec![6]))];
    let (second, third) = (append(&mut out, ORDER, &small), append(&mut out, ORDER, &small));
    let (last, others) = (file.slices[file.slices.len() - 1] as u16, file.slices.len() as u16 - 1);
    let fourth = append(
        &mut out,
        ORDER,
        &[
            (0x103, Values::Shorts(vec![6])),
            (0x111, Values::Longs(vec![DATA as u32])),
            (0x117, Values::Longs(vec![length as u32])),
            (0xc5d8, Values::Longs(vec![1])),
            (0xc640, Values::Shorts(vec![others, if others > 0 { file.slices[0] as u16 } else { 0 }, last])),
            (0xc6c5, Values::Longs(vec![1])),
        ],
    );
    for (from, to) in [(first, second), (second, third), (third, fourth)] {
        link(&mut out, ORDER, from, to);
    }
    out[4..8].copy_from_slice(&ORDER.long(first));
    out[12..16].copy_from_slice(&ORDER.long(fourth));
    out
}

/// The maker note: camera settings, the file record with the focus distance, where the picture lies on the sensor, and
/// the levels. Places of the numbers are those of the public tag lists.
fn note(file: &Cr2, width: usize) -> Vec<(u16, Values)> {
    let (bits, black, white) = file.levels;
    let mut settings = vec![0_u16; 50];
    (settings[0], settings[22], settings[23], settings[24], settings[25]) = (100, 52, 55, 18, 1);
    let mut record = vec![0_u16; 32];
    (record[0], record[20], record[21]) = (64, 350, 330);
    let (right, bottom) = (width as u16 - 1, file.height as u16 - 1);
    let mut area = vec![0_u16; 17];
    area[..3].copy_from_slice(&[34, width as u16, file.height as u16]);
    area[5..9].copy_from_slice(&[file.border.0 as u16, file.border.1 as u16, right, bottom]);
    // The list of levels has a version of its own, by which its numbers are found.
    let mut colour = vec![0_u16; if bits == 12 { 796 } else { 1273 }];
    let (balance, blacks) = if bits == 12 { (0x3f, 0xc4) } else { (0x3f, 0x1df) };
    colour[0] = if bits == 12 { 1 } else { 10 };
    colour[balance..balance + 4].copy_from_slice(&[2000, 1024, 1024, 1600]);
    colour[blacks..blacks + 4].fill(black);
    if bits == 14 {
        (colour[0x1e3], colour[0x1e4]) = (white, white);
    }
    vec![
        (0x0001, Values::Shorts(settings)),
        (0x0093, Values::Shorts(record)),
        (0x0095, Values::Text("EF-S18-55mm f/3.5-5.6 IS II".into())),
        (0x00e0, Values::Shorts(area)),
        (0x4001, Values::Shorts(colour)),
    ]
}
