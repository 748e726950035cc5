//! Two frames compared: the blur of one against that of the other, whatever the scene, the samples and the pitch.

use tussock::measure::pair::{Contrast, relative, spectra};
use tussock::measure::register::{Registration, Similarity, Small, register};
use tussock::quantity::{Estimate, Region};
use tussock::series::{Frame, pitch_um, resolve};
use tussock::shot::{Mosaic, Plane};
use tussock::simulate::{PatchSpec, Psf, Texture, View, render_patch};

use crate::patches::{SIDE, framed};

fn map_of(view: &View) -> Similarity {
    let middle = SIDE as f64 / 2.0;
    Similarity { centre: (middle, middle), shift: view.shift, scale: view.scale, angle: view.angle }
}

/// Gaussian spreads, whose squared widths differ by the same at every frequency.
#[test]
fn relative_blur_is_free_of_the_scene() {
    let view = View { shift: (4.3, -3.6), angle: 0.003, scale: 1.006 };
    for (i, texture) in [Texture::Grass, Texture::Leaves, Texture::Brick].into_iter().enumerate() {
        let (a, b) = (0.75, [1.3, 1.1, 1.9][i]);
        let spec = PatchSpec { texture, psf: Psf::gaussian(a), snr: 60.0, seed: 40 + i as u64, ..PatchSpec::default() };
        let other = PatchSpec { psf: Psf::gaussian(b), view, noise_seed: 9, exposure: 0.8, ..spec };
        let ((pa, _), (pb, _)) = (framed(&spec), framed(&other));
        let found = register(&pa, &pb, &Small::new(&pa), &Small::new(&pb)).unwrap();
        let truth = map_of(&view);
        for (x, y) in [(10.0, 10.0), (260.0, 20.0), (136.0, 250.0)] {
            let ((fx, fy), (tx, ty)) = (found.map.apply(x, y), truth.apply(x, y));
            assert!((fx - tx).hypot(fy - ty) < 0.2, "{texture:?}: ({fx}, {fy}) for ({tx}, {ty})");
        }
        let ideal = Registration { map: truth, offsets: Vec::new(), ..found.clone() };
        let tile = [Region { x: 68, y: 68, width: 136, height: 136 }];
        let sa = spectra(&pa, &pa, None, &tile);
        for (registration, bar) in [(&ideal, 0.03), (&found, 0.05)] {
            let sb = spectra(&pa, &pb, Some(registration), &tile);
            assert!(sb.tiles[0].in_place.unwrap() > 0.9);
            let read = relative(&sa.tiles[0], &sb.tiles[0], 0.7, registration.map.scale, Contrast::Linear).unwrap();
            let width = (a * a + read.squared.value).sqrt();
            assert!((width / b - 1.0).abs() < bar, "{texture:?}: {width:.3} for {b}");
            // And the other way round.
            let back =
                relative(&sb.tiles[0], &sa.tiles[0], 0.7, 1.0 / registration.map.scale, Contrast::Linear).unwrap();
            assert!((back.squared.value + read.squared.value).abs() < 0.1 * read.squared.value);
        }
    }
}

/// A block that lies a few pixels off is looked for again; what shows another thing is told apart, and left out when frames are
/// compared.
#[test]
fn what_moved_a_little_is_followed_and_what_is_not_there_is_told() {
    let spec = PatchSpec { texture: Texture::Grass, psf: Psf::gaussian(0.8), seed: 5, ..PatchSpec::default() };
    let (pa, _) = framed(&spec);
    let tile = [Region { x: 68, y: 68, width: 136, height: 136 }];
    let off = Registration { agreement: 1.0, ..Registration::still() };
    let there = |spec: &PatchSpec| spectra(&pa, &framed(spec).0, Some(&off), &tile).tiles.remove(0);
    let soft = PatchSpec { psf: Psf::gaussian(1.4), noise_seed: 3, ..spec };
    let moved = there(&PatchSpec { view: View { shift: (9.0, 4.0), ..View::default() }, ..soft });
    assert!(moved.in_place.unwrap() > 0.9);
    let read = relative(&spectra(&pa, &pa, None, &tile).tiles[0], &moved, 0.8, 1.0, Contrast::Linear).unwrap();
    let width = (0.64 + read.squared.value).sqrt();
    assert!((width / 1.4 - 1.0).abs() < 0.04, "{width}");
    let other = there(&PatchSpec { texture: Texture::Leaves, seed: 6, ..soft });
    assert!(other.in_place.is_none_or(|p| p < 0.6), "{:?}", other.in_place);
}

/// The sites between a Bayer sensor's green ones are filled with nonsense: the answer must not see them.
#[test]
fn only_measured_samples_of_a_mosaic_are_compared() {
    let spec = PatchSpec { texture: Texture::Gravel, psf: Psf::gaussian(0.75), seed: 21, ..PatchSpec::default() };
    let green = |spec: &PatchSpec| {
        let mut plane = framed(spec).0;
        plane.mosaic = Mosaic::Checkerboard { even: false };
        for y in 0..SIDE {
            for x in (0..SIDE).filter(|x| (x + y) % 2 == 0) {
                plane.data[y * SIDE + x] = if (x * 7 + y * 3) % 5 < 2 { 4000 } else { 52_000 };
            }
        }
        plane
    };
    let view = View { shift: (2.4, 1.7), ..View::default() };
    let (pa, pb) = (green(&spec), green(&PatchSpec { psf: Psf::gaussian(1.25), view, noise_seed: 4, ..spec }));
    let known = Registration { map: map_of(&view), residual_px: 0.0, compared: 0, agreement: 1.0, offsets: Vec::new() };
    let tile = [Region { x: 68, y: 68, width: 136, height: 136 }];
    let (sa, sb) = (spectra(&pa, &pa, None, &tile), spectra(&pa, &pb, Some(&known), &tile));
    let read = relative(&sa.tiles[0], &sb.tiles[0], 0.75, 1.0, Contrast::Linear).unwrap();
    let width = (0.75f64.powi(2) + read.squared.value).sqrt();
    assert!((width / 1.25 - 1.0).abs() < 0.04, "{width}");
}

#[test]
fn an_empty_sky_gives_no_number() {
    let spec = PatchSpec { texture: Texture::Sky, psf: Psf::gaussian(0.8), snr: 40.0, ..PatchSpec::default() };
    let ((pa, _), (pb, _)) = (framed(&spec), framed(&PatchSpec { psf: Psf::gaussian(1.6), noise_seed: 2, ..spec }));
    let tile = [Region { x: 68, y: 68, width: 136, height: 136 }];
    let (sa, sb) = (spectra(&pa, &pa, None, &tile), spectra(&pa, &pb, None, &tile));
    assert_eq!(relative(&sa.tiles[0], &sb.tiles[0], 0.8, 1.0, Contrast::Linear), None);
    assert!(register(&pa, &pb, &Small::new(&pa), &Small::new(&pb)).is_none());
}

/// How clouds and water change from frame to frame is no blur: what no frame alone shows a width in is not answered for.
#[test]
fn a_tile_whose_width_no_frame_alone_shows_is_left_out() {
    let spec = PatchSpec { texture: Texture::Grass, psf: Psf::gaussian(0.75), seed: 40, ..PatchSpec::default() };
    let planes = [framed(&spec).0, framed(&PatchSpec { psf: Psf::gaussian(1.3), noise_seed: 9, ..spec }).0];
    let tiles = [0, 136].map(|x| Region { x, y: 68, width: 136, height: 136 });
    let still = Registration { agreement: 1.0, ..Registration::still() };
    let frame = |(plane, width): (&Plane, f64)| Frame {
        f_number: None,
        pitch_um: None,
        spectra: spectra(&planes[0], plane, Some(&still), &tiles),
        absolute: vec![Some(Estimate::new(width, 0.05 * width, 9)), None],
    };
    let frames: Vec<Frame> = planes.iter().zip([0.75, 1.3]).map(frame).collect();
    let blurs = resolve(&frames, &tiles, None);
    for (k, truth) in [0.75, 1.3].into_iter().enumerate() {
        let width = blurs.sigma[k][0].expect("a width").value;
        assert!((width / truth - 1.0).abs() < 0.05, "{width} for {truth}");
        assert_eq!(blurs.sigma[k][1], None);
    }
}

#[test]
fn the_scale_of_diffraction_is_learned_from_frames_that_record_no_pitch() {
    const CANVAS: usize = 480;
    const CUT: usize = 300;
    let plane = |psf: Psf, noise_seed: u64| {
        let width = CANVAS - 2 * psf.reach().ceil() as usize;
        let spec = PatchSpec { texture: Texture::Grass, psf, snr: 60.0, seed: 11, noise_seed, ..PatchSpec::default() };
        let plane = render_patch(&PatchSpec { width, height: width, ..spec }).0;
        let edge = (width - CUT) / 2;
        let data = (edge..edge + CUT).flat_map(|y| plane.row(y)[edge..edge + CUT].to_vec()).collect();
        Plane { width: CUT, height: CUT, data, ..plane }
    };
    let tiles: Vec<Region> =
        (0..16).map(|i| Region { x: 10 + 70 * (i % 4), y: 10 + 70 * (i / 4), width: 70, height: 70 }).collect();
    let frames = |pitch: f64, defocus_um: f64, recorded: Option<f64>| -> Vec<Frame> {
        let lens = |n: f64| Psf::lens(n, pitch, defocus_um / n).softened(0.4, 0.4, 0.0);
        let planes: Vec<Plane> =
            [2.8, 8.0, 16.0].iter().enumerate().map(|(i, &n)| plane(lens(n), 3 + i as u64)).collect();
        let still = Registration { agreement: 1.0, ..Registration::still() };
        let frame = |(p, n): (&Plane, f64)| Frame {
            f_number: Some(n),
            pitch_um: recorded,
            spectra: spectra(&planes[0], p, Some(&still), &tiles),
            absolute: vec![None; tiles.len()],
        };
        planes.iter().zip([2.8, 8.0, 16.0]).map(frame).collect()
    };
    for pitch in [2.4, 4.0] {
        let sharp = frames(pitch, 0.0, None);
        let found = pitch_um(&sharp, None).expect("a scale");
        assert!((found / pitch - 1.0).abs() < 0.1, "{found} for {pitch}");
        // One stop alone tells nothing.
        assert_eq!(pitch_um(&sharp[1..2], None), None);
        // Out of focus by a disc of three pixels at f/2.8: it is found all the same, or nothing is.
        let off = pitch_um(&frames(pitch, 8.4 * pitch, None), None);
        assert!(off.is_none_or(|f| (f / pitch - 1.0).abs() < 0.15), "{off:?} for {pitch}");
    }
    assert_eq!(pitch_um(&frames(4.0, 0.0, Some(4.0)), None), None);
}
