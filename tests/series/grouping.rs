//! Which frames show one scene, and what was varied between them.

use tussock::measure::register::Small;
use tussock::quantity::Distance;
use tussock::series::{Lone, Pauses, Seen, Varied, group, lone};
use tussock::shot::{Capture, Fact, Source};
use tussock::simulate::{PatchSpec, Psf, Texture, View};

use crate::patches::{SIDE, framed};

fn capture(f_number: Option<f64>, date: Option<&str>) -> Capture {
    Capture {
        f_number: f_number.map(|n| Fact::new(n, Source::Exif)),
        date: date.map(|d| Fact::new(d.to_owned(), Source::Exif)),
        ..Capture::default()
    }
}

#[test]
fn frames_of_one_scene_are_found_and_no_others() {
    let shoot = |seed: u64, view: View| {
        let spec = PatchSpec {
            texture: Texture::Rock,
            psf: Psf::gaussian(1.0),
            seed,
            noise_seed: seed * 7,
            view,
            ..PatchSpec::default()
        };
        Small::new(&framed(&spec).0)
    };
    let moved = View { shift: (5.0, -3.0), ..View::default() };
    let smalls: Vec<Small> = vec![
        shoot(1, View::default()),
        shoot(2, View::default()),
        shoot(2, moved),
        shoot(3, View::default()),
        shoot(3, moved),
        shoot(3, View { shift: (-4.0, 2.0), ..View::default() }),
        shoot(2, View::default()),
        shoot(2, View::default()).turned(3),
    ];
    let captures: Vec<Capture> = [
        (8.0, "2026-05-01T10:00:00"),
        (4.0, "2026-05-01T10:01:00"),
        (11.0, "2026-05-01T10:01:20"),
        (8.0, "2026-05-01T10:02:00"),
        (8.0, "2026-05-01T10:02:05"),
        (8.0, "2026-05-01T10:02:10"),
        // The same place an hour later is another visit.
        (4.0, "2026-05-01T11:02:10"),
        (5.6, "2026-05-01T10:01:30"),
    ]
    .iter()
    .map(|&(n, d)| capture(Some(n), Some(d)))
    .collect();
    let members: Vec<Seen> = smalls
        .iter()
        .zip(&captures)
        .map(|(small, capture)| Seen {
            file: "",
            size: (SIDE as u32, SIDE as u32),
            capture,
            small: small.into(),
            map: None,
        })
        .collect();
    let groups = group(&members, Pauses::Part);
    let found: Vec<(Vec<usize>, Varied)> = groups.iter().map(|g| (g.members.clone(), g.varied)).collect();
    assert_eq!(found, [(vec![1, 2], Varied::Aperture), (vec![3, 4, 5], Varied::Nothing)]);
    let alone = lone(&members, &groups);
    assert_eq!(alone[0], (0, Lone::OtherScene));
    assert_eq!(alone.last(), Some(&(7, Lone::Turned(1))));

    // A size is why a frame stands alone only where no group beside it has that size, upright or not.
    let sized = |sizes: [(u32, u32); 3]| {
        let size = |k: usize| sizes[[0, 1, 1, 2, 2, 2, 1, 1][k]];
        let sized: Vec<Seen> = members.iter().enumerate().map(|(k, m)| Seen { size: size(k), ..*m }).collect();
        lone(&sized, &groups)[0].1
    };
    let (whole, upright, reduced) = ((600, 400), (400, 600), (300, 200));
    assert_eq!(sized([reduced, whole, whole]), Lone::OtherSize(reduced, whole));
    assert_eq!(sized([reduced, whole, reduced]), Lone::OtherScene);
    assert_eq!(sized([upright, whole, whole]), Lone::OtherScene);
    let (cropped, export) = ((600, 300), (400, 267));
    assert_eq!(sized([cropped, whole, whole]), Lone::OtherSize(cropped, whole));
    assert_eq!(sized([export, whole, whole]), Lone::OtherScene);
}

/// What two frames show decides; a long pause parts them only in a whole shoot, since the light is another then.
#[test]
fn a_pause_parts_frames_of_one_view_only_in_a_shoot() {
    let spec = PatchSpec { texture: Texture::Rock, psf: Psf::gaussian(1.0), ..PatchSpec::default() };
    let smalls = [1, 2].map(|noise_seed| Small::new(&framed(&PatchSpec { noise_seed, ..spec }).0));
    let told = |time: &str, focal_mm: Option<[f64; 2]>, pauses: Pauses| {
        let captures: [Capture; 2] = std::array::from_fn(|k| Capture {
            focal_length_mm: focal_mm.map(|f| Fact::new(f[k], Source::Exif)),
            ..capture(Some([4.0, 8.0][k]), Some(["2026-05-01T10:00:00", time][k]))
        });
        let size = (SIDE as u32, SIDE as u32);
        let seen: [Seen; 2] = std::array::from_fn(|k| Seen {
            file: "",
            size,
            capture: &captures[k],
            small: (&smalls[k]).into(),
            map: None,
        });
        let groups = group(&seen, pauses);
        (groups.len(), lone(&seen, &groups).first().map(|l| l.1).filter(|_| pauses == Pauses::Nothing))
    };
    let (soon, later) = ("2026-05-01T10:02:50", "2026-05-01T15:00:00");
    assert_eq!(told(soon, None, Pauses::Part), (1, None));
    assert_eq!(told(later, Some([24.0, 24.0]), Pauses::Nothing), (1, None));
    assert_eq!(told(later, Some([24.0, 24.0]), Pauses::Part), (0, None));
    assert_eq!(told(later, None, Pauses::Nothing), (1, None));
    assert_eq!(told(later, None, Pauses::Part), (0, None));
    assert_eq!(told(soon, Some([24.0, 70.0]), Pauses::Nothing), (0, Some(Lone::OtherCamera)));
}

#[test]
fn frames_focused_elsewhere_are_no_aperture_series() {
    let small = |noise_seed| {
        Small::new(
            &framed(&PatchSpec { texture: Texture::Rock, psf: Psf::gaussian(1.0), noise_seed, ..PatchSpec::default() })
                .0,
        )
    };
    let smalls = [small(1), small(2)];
    let varied = |shots: &[(f64, Distance)]| {
        let captures: Vec<Capture> = shots
            .iter()
            .map(|&(n, d)| Capture {
                focus_distance_m: Some(Fact::new(d, Source::Exif)),
                ..capture(Some(n), Some("2026-05-01T10:00:00"))
            })
            .collect();
        let size = (SIDE as u32, SIDE as u32);
        let members: Vec<Seen> = captures
            .iter()
            .zip(&smalls)
            .map(|(capture, small)| Seen { file: "", size, capture, small: small.into(), map: None })
            .collect();
        group(&members, Pauses::Part).first().map(|g| g.varied)
    };
    let (near, far) = (Distance::Finite(2.8), Distance::Infinite);
    assert_eq!(varied(&[(8.0, near), (11.0, far)]), Some(Varied::Focus));
    // Coarse steps of a record in a series focused once.
    assert_eq!(varied(&[(8.0, near), (11.0, Distance::Finite(3.3))]), Some(Varied::Aperture));
    assert_eq!(varied(&[(8.0, far), (11.0, far)]), Some(Varied::Aperture));
}
