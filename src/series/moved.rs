//! Whether the plane of focus moved between two frames: one rule for finding groups and for answering them.

/// One place in two frames.
#[derive(Clone, Copy, Debug)]
pub(super) struct Twice {
    /// Blur widths there, px, in one frame and in the other.
    pub widths: [f64; 2],
    /// Standard error of their difference, px.
    pub sd: f64,
}

/// Factor between the widths of a place from which one frame is clearly sharper there. Chosen: the widths of one tile
/// scatter by 5 to 8 %, those of two frames' by a tenth.
const SHARPER: f64 = 1.25;
/// Standard errors by which the widths of a place must differ for that. Chosen: of some hundred tiles none lies beyond by
/// chance, also where errors are told a little small.
const SURE: f64 = 4.0;
/// Share of the places compared, one in so many, at which either frame must be the sharper, and the fewest of them. Chosen:
/// what moved, or lies at one depth for itself, takes less.
const ONE_IN: usize = 20;
const FEWEST: usize = 3;

/// Whether some places are clearly sharper in one frame and others clearly sharper in the other. Blur that goes over a whole frame
/// (movement, aperture, the file) never does that; what hides it is focus moved within one depth, where one frame is sharper everywhere.
pub(super) fn focus_moved(places: impl Iterator<Item = Twice>) -> bool {
    let (mut sharper, mut compared) = ([0, 0], 0);
    for Twice { widths: [a, b], sd } in places {
        compared += 1;
        let clear = a.max(b) > SHARPER * a.min(b) && (a - b).abs() > SURE * sd;
        sharper[usize::from(b < a)] += usize::from(clear);
    }
    let enough = (compared / ONE_IN).max(FEWEST);
    sharper.iter().all(|&n| n >= enough)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn focus_moved_where_either_frame_is_the_sharper_somewhere() {
        let place = |a: f64, b: f64| Twice { widths: [a, b], sd: 0.05 };
        let moved = |near: (f64, f64), far: (f64, f64)| {
            focus_moved((0..40).map(|k| if k < 20 { place(near.0, near.1) } else { place(far.0, far.1) }))
        };
        // Near sharp in one, far in the other; all of one sharper, as by movement; the same twice.
        assert!(moved((0.6, 1.2), (1.2, 0.6)));
        assert!(!moved((0.6, 1.2), (0.6, 1.2)) && !moved((0.6, 0.6), (1.2, 1.2)));
        // One tile that is sharper in the other frame is something that moved.
        assert!(!focus_moved((0..40).map(|k| if k == 0 { place(1.2, 0.6) } else { place(0.6, 1.2) })));
    }
}
