//! What single zones say of the stops of an aperture series, in words.

use super::places::zone;
use crate::report::say::camera::f_number;
use crate::report::say::name::{capital, listed};
use crate::series::aperture::{Apertures, Corners, LeftOut, ZoneAnswer};
use crate::series::{Answer, ZoneName};

/// Which zones had no say in the whole frame's answer, and why. `all` says that every stop taken was compared.
pub(super) fn left_out(zones: &[(ZoneName, LeftOut)], all: bool) -> Option<String> {
    let why = |reasons: &[LeftOut], one: &str, many: &str| {
        let names: Vec<&str> = zones.iter().filter(|z| reasons.contains(&z.1)).map(|z| zone(z.0)).collect();
        let all = listed(&names)?;
        Some(format!("{} had no say in that: {}.", capital(&all), if names.len() == 1 { one } else { many }))
    };
    let said: Vec<String> = [
        why(
            &[LeftOut::FewTiles, LeftOut::FewStops],
            "too little of it could be compared",
            "too little of them could be compared",
        ),
        why(
            &[LeftOut::Scatters],
            "its widths rise and fall again from stop to stop, as no aperture makes them unless the focus moves with it",
            "their widths rise and fall again from stop to stop, as no aperture makes them unless the focus moves with it",
        ),
        if all {
            why(&[LeftOut::NoChange], "it doesn't change with the aperture", "they don't change with the aperture")
        } else {
            why(
                &[LeftOut::NoChange],
                "it doesn't change between the stops that were compared",
                "they don't change between the stops that were compared",
            )
        },
        why(
            &[LeftOut::NeverSharp],
            "it lies too far out of focus for any of these stops",
            "they lie too far out of focus for any of these stops",
        ),
    ]
    .into_iter()
    .flatten()
    .collect();
    (!said.is_empty()).then(|| said.join(" "))
}

/// The run of stops at which a zone is at its best: f-numbers, and whether none wider or narrower was compared there.
struct Run {
    first: f64,
    last: f64,
    widest: bool,
    narrowest: bool,
}

impl Run {
    /// Of these frames among those that were compared there, both by f-number.
    fn new(group: &Answer, within: &[usize], compared: impl Iterator<Item = usize>) -> Option<Self> {
        let of = |k: Option<&usize>| group.f_numbers[*k?];
        let (first, last) = (of(within.first())?, of(within.last())?);
        let stops: Vec<f64> = compared.filter_map(|k| group.f_numbers[k]).collect();
        Some(Self {
            first,
            last,
            widest: stops.iter().all(|&n| n >= first),
            narrowest: stops.iter().all(|&n| n <= last),
        })
    }
}

/// "The corners need f/8, the centre loses nothing until f/11."
pub(super) fn needs_and_loses(group: &Answer) -> Option<String> {
    let a = group.apertures.as_ref()?;
    let needs = a.corners.as_ref().and_then(|c| needs(group, c));
    match (needs, loses(group, a)) {
        (Some(n), Some(l)) => Some(format!("{n}, {l}.")),
        (Some(n), None) => Some(format!("{n}.")),
        (None, Some(l)) => Some(format!("{}.", capital(&l))),
        (None, None) => None,
    }
}

/// What the corners need, and those that stand apart from the others.
fn needs(group: &Answer, corners: &Corners) -> Option<String> {
    let run = |within: &[usize]| Run::new(group, within, corners.stops.iter().copied());
    let r = run(&corners.within)?;
    let from = if group.f_numbers.iter().flatten().all(|&n| n >= r.first) {
        "the widest stop".to_owned()
    } else {
        format!("{}, the widest stop compared,", f_number(r.first))
    };
    let mut text = match r.widest {
        false => format!("The corners need {}", f_number(r.first)),
        true if r.last <= r.first => format!("The corners are at their best at {}", f_number(r.first)),
        true if r.narrowest => format!("The corners are at their best from {from} on"),
        true => format!("The corners are at their best from {from} to {}", f_number(r.last)),
    };
    let apart = corners.apart.iter().filter_map(|(name, within)| Some((zone(*name), run(within)?)));
    let apart: Vec<String> = apart
        .map(|(name, own)| match own.first > r.first {
            true => format!("{name} needs {}", f_number(own.first)),
            false => format!("{name} is at its best until {}", f_number(own.last)),
        })
        .collect();
    let apart: Vec<&str> = apart.iter().map(String::as_str).collect();
    text.extend(listed(&apart).map(|all| format!(", but {all}")));
    Some(text)
}

/// Up to which stop the middle of the picture, or its subject, loses nothing.
fn loses(group: &Answer, a: &Apertures) -> Option<String> {
    let speaks = |z: &&ZoneAnswer| !a.left_out.iter().any(|l| l.0 == z.name);
    let inner = a.zones.iter().filter(speaks).find(|z| matches!(z.name, ZoneName::Centre | ZoneName::Subject))?;
    let (r, inner) = (Run::new(group, &inner.within, a.stops(inner.name))?, zone(inner.name));
    let n = f_number(r.last);
    Some(match r.narrowest {
        _ if r.first == r.last => format!("{inner} is at its best at {n}"),
        true if group.f_numbers.iter().flatten().all(|&n| n <= r.last) => {
            format!("{inner} loses nothing up to {n}, the narrowest stop tried")
        }
        true => format!("{inner} loses nothing up to {n}, the narrowest stop compared"),
        false => format!("{inner} loses nothing until {n}"),
    })
}
