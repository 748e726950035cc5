//! What single zones say of the stops of an aperture series, in words.

use super::places::zone;
use crate::report::say::camera::f_number;
use crate::report::say::name::{capital, listed};
use crate::series::aperture::{Apertures, LeftOut, ZoneAnswer};
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
    fn new(group: &Answer, a: &Apertures, z: &ZoneAnswer) -> Option<Self> {
        let of = |k: Option<&usize>| group.f_numbers[*k?];
        let (first, last) = (of(z.within.first())?, of(z.within.last())?);
        let stops = || a.stops(z.name).filter_map(|k| group.f_numbers[k]);
        Some(Self { first, last, widest: stops().all(|n| n >= first), narrowest: stops().all(|n| n <= last) })
    }
}

/// "The corners need f/8, the centre loses nothing until f/11."
pub(super) fn needs_and_loses(group: &Answer) -> Option<String> {
    let a = group.apertures.as_ref()?;
    let speaks = |z: &&ZoneAnswer| !a.left_out.iter().any(|l| l.0 == z.name);
    let speaking = || a.zones.iter().filter(speaks);
    let run = |z: &ZoneAnswer| Run::new(group, a, z);
    let taken = || group.f_numbers.iter().copied().flatten();
    let corners: Vec<Run> = speaking().filter(|z| z.name.is_corner()).filter_map(run).collect();
    let least = corners.iter().max_by(|x, y| x.first.total_cmp(&y.first));
    let last = corners.iter().map(|r| r.last).fold(f64::INFINITY, f64::min);
    // Where one corner loses again before another is at its best there is no one stop to name.
    let needs = least.filter(|r| last >= r.first).map(|r| {
        let from = if taken().all(|n| n >= r.first) {
            "the widest stop".to_owned()
        } else {
            format!("{}, the widest stop compared,", f_number(r.first))
        };
        match r.widest {
            false => format!("The corners need {}", f_number(r.first)),
            true if last <= r.first => format!("The corners are at their best at {}", f_number(r.first)),
            true if corners.iter().all(|c| c.narrowest) => format!("The corners are at their best from {from} on"),
            true => format!("The corners are at their best from {from} to {}", f_number(last)),
        }
    });
    let inner = speaking().find(|z| matches!(z.name, ZoneName::Centre | ZoneName::Subject));
    let loses = inner.and_then(|z| Some((zone(z.name), run(z)?))).map(|(inner, r)| {
        let n = f_number(r.last);
        match r.narrowest {
            _ if r.first == r.last => format!("{inner} is at its best at {n}"),
            true if taken().all(|n| n <= r.last) => {
                format!("{inner} loses nothing up to {n}, the narrowest stop tried")
            }
            true => format!("{inner} loses nothing up to {n}, the narrowest stop compared"),
            false => format!("{inner} loses nothing until {n}"),
        }
    });
    match (needs, loses) {
        (Some(n), Some(l)) => Some(format!("{n}, {l}.")),
        (Some(n), None) => Some(format!("{n}.")),
        (None, Some(l)) => Some(format!("{}.", capital(&l))),
        (None, None) => None,
    }
}
