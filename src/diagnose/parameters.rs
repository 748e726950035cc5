//! The parameters of the frame's model, in one table: what each is, what is believed of it before the frame is seen, how
//! far one step may take it, and where descents start.

use std::ops::{Index, IndexMut};

use self::Parameter::{Centre, Corner, Curve, Far, Growth, Horizon, Power, Rise, Scale, Shake, Shift, Tilt};

/// Number of parameters. Derived: as many as the table has rows.
pub(super) const SIZE: usize = 12;

/// A parameter of the model; [`TABLE`] says what each is.
#[allow(missing_docs)] // Said once, in the table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Parameter {
    Far,
    Growth,
    Horizon,
    Centre,
    Corner,
    Power,
    Scale,
    Tilt,
    Shake,
    Shift,
    Curve,
    Rise,
}

impl Parameter {
    /// All of them, in the order of the table.
    pub const ALL: [Self; SIZE] = [Far, Growth, Horizon, Centre, Corner, Power, Scale, Tilt, Shake, Shift, Curve, Rise];

    /// Its row of the table.
    #[inline]
    #[must_use]
    pub const fn row(self) -> &'static Row {
        &TABLE[self as usize]
    }
}

/// What is known of a parameter before a frame is seen.
#[derive(Clone, Copy, Debug)]
pub struct Row {
    /// Which.
    pub parameter: Parameter,
    /// What it is.
    pub name: &'static str,
    /// Its unit; u and v are in half diagonals from the centre, to the right and down.
    pub unit: &'static str,
    /// What is believed where nothing is known of the frame. `priors::Priors` puts in what is: capture facts, the
    /// sky's edge, a learned lens, a streak. Spreads of the lens's blur are in micrometres, which the pitch makes pixels, and
    /// the lower spread of the far disc is in what the ground's disc grows by from the horizon to the lower edge.
    pub prior: Belief,
    /// Longest step at once, so that a first step can't leave the model's reach.
    pub step: f64,
    /// Where descents start, if not at what is believed most.
    pub start: Option<f64>,
    /// Where the prior comes from; steps and starts are chosen, they decide how soon a minimum is found and not which.
    pub origin: &'static str,
}

/// Every parameter, in the order of [`Parameter::ALL`].
pub const TABLE: [Row; SIZE] = [
    Row {
        parameter: Far,
        name: "signed disc of the far scene, positive: nearer than the plane of focus",
        unit: "px",
        prior: Belief { mean: 0.0, below: 1.2, above: 0.8 },
        step: 3.0,
        start: None,
        origin: "chosen: focus lies anywhere on the ground; beyond infinity it happens to lie by a little",
    },
    Row {
        parameter: Growth,
        name: "ln of what the signed disc grows by per unit of v below the horizon",
        unit: "ln px",
        prior: Belief { mean: 3.0 * std::f64::consts::LN_2, below: 1.6, above: 1.0 },
        step: 0.7,
        start: None,
        origin: "chosen: 8 px, from a fifth to three times of it, where focal length or f-number is unknown",
    },
    Row {
        parameter: Horizon,
        name: "v of the horizon",
        unit: "half diagonals",
        prior: Belief::even(-0.12, 0.3),
        step: 0.2,
        start: None,
        origin: "chosen: landscapes have more ground than sky, by no rule",
    },
    Row {
        parameter: Centre,
        name: "lens blur at the centre",
        unit: "px (prior: um)",
        prior: Belief::even(0.0, 1.6),
        step: 1.0,
        start: Some(0.3),
        origin: "chosen: a good lens draws half of it, a poor one twice",
    },
    Row {
        parameter: Corner,
        name: "lens blur added in quadrature at the corner",
        unit: "px (prior: um)",
        prior: Belief::even(0.0, 7.0),
        step: 2.0,
        start: Some(0.6),
        origin: "chosen: wide enough for the corners of a poor wide lens wide open",
    },
    Row {
        parameter: Power,
        name: "exponent of its growth with distance from the centre",
        unit: "1",
        prior: Belief::even(2.5, 0.8),
        step: 1.0,
        start: None,
        origin: "chosen: between the square and the cube, by which third-order aberrations of the field grow",
    },
    Row {
        parameter: Scale,
        name: "ln of the common factor by which measured widths are off",
        unit: "ln",
        prior: Belief::even(-0.01, 0.07),
        step: 0.2,
        start: None,
        origin: "set on the rendered landscapes used for building: the median tile of a frame about the truth",
    },
    Row {
        parameter: Tilt,
        name: "growth of the signed disc per unit of u over the whole frame: a tilted lens or sensor",
        unit: "px",
        prior: Belief::even(0.0, 6.0),
        step: 2.0,
        start: None,
        origin: "chosen: a tilt that shows is a few pixels at a side; its odds stand in the posterior",
    },
    Row {
        parameter: Shake,
        name: "Gaussian-equivalent sigma that motion adds to a width averaged over directions",
        unit: "px",
        prior: Belief::even(0.0, 2.0),
        step: 1.0,
        start: None,
        origin: "chosen: free only where a streak was measured, whose length then takes its place",
    },
    Row {
        parameter: Shift,
        name: "u of the centre of the lens's field: off the middle for a decentred lens",
        unit: "half diagonals",
        prior: Belief::even(0.0, 0.35),
        step: 0.2,
        start: None,
        origin: "chosen: up to the edge of the picture; its odds stand in the posterior",
    },
    Row {
        parameter: Curve,
        name: "disc that a curved field adds at the corner, growing with the square of the distance from the centre",
        unit: "px",
        prior: Belief::even(0.0, 6.0),
        step: 2.0,
        start: None,
        origin: "chosen: as a tilt; its odds stand in the posterior",
    },
    Row {
        parameter: Rise,
        name: "v of the centre of the lens's field",
        unit: "half diagonals",
        prior: Belief::even(0.0, 0.35),
        step: 0.2,
        start: None,
        origin: "chosen: as the shift to a side",
    },
];

/// A parameter vector.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Theta(pub [f64; SIZE]);

impl Index<Parameter> for Theta {
    type Output = f64;

    #[inline]
    fn index(&self, p: Parameter) -> &f64 {
        &self.0[p as usize]
    }
}

impl IndexMut<Parameter> for Theta {
    #[inline]
    fn index_mut(&mut self, p: Parameter) -> &mut f64 {
        &mut self.0[p as usize]
    }
}

/// Which parameters are free.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Free(u32);

impl Free {
    /// These and no others.
    pub(super) const fn of(parameters: &[Parameter]) -> Self {
        let (mut bits, mut k) = (0, 0);
        while k < parameters.len() {
            bits |= 1 << parameters[k] as u32;
            k += 1;
        }
        Self(bits)
    }

    /// These and those.
    pub(super) const fn and(self, others: Self) -> Self {
        Self(self.0 | others.0)
    }

    /// These but for those.
    pub(super) const fn without(self, others: Self) -> Self {
        Self(self.0 & !others.0)
    }

    /// Those of these that are among the others.
    pub(super) const fn among(self, others: Self) -> Self {
        Self(self.0 & others.0)
    }

    /// Whether one is free.
    #[inline]
    pub(super) const fn has(self, p: Parameter) -> bool {
        self.0 >> p as u32 & 1 == 1
    }

    /// Whether none is.
    pub(super) const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// All of them, in the order of the table.
    pub(super) fn iter(self) -> impl Iterator<Item = Parameter> {
        Parameter::ALL.into_iter().filter(move |&p| self.has(p))
    }
}

/// A prior that may be wider on one side than on the other.
#[derive(Clone, Copy, Debug)]
pub struct Belief {
    /// Most probable value.
    pub mean: f64,
    /// Spread below it.
    pub below: f64,
    /// Spread above it.
    pub above: f64,
}

impl Belief {
    /// A prior as wide on one side as on the other.
    #[must_use]
    pub const fn even(mean: f64, sd: f64) -> Self {
        Self { mean, below: sd, above: sd }
    }

    /// Energy (minus ln of the density), its slope and curvature.
    #[inline]
    pub(crate) fn energy(&self, x: f64) -> (f64, f64, f64) {
        let d = x - self.mean;
        let sd = if d < 0.0 { self.below } else { self.above };
        // The two halves meet with equal density: the norm is the mean of the two spreads.
        let norm = (0.5 * (self.below + self.above) * (2.0 * std::f64::consts::PI).sqrt()).ln();
        (0.5 * d * d / (sd * sd) + norm, d / (sd * sd), 1.0 / (sd * sd))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_is_in_the_order_of_its_parameters() {
        for (k, row) in TABLE.iter().enumerate() {
            assert_eq!(row.parameter as usize, k, "{}", row.name);
            assert_eq!(Parameter::ALL[k] as usize, k);
        }
    }

    #[test]
    fn free_parameters_are_what_was_put_in() {
        let free = Free::of(&[Far, Rise]).and(Free::of(&[Tilt])).without(Free::of(&[Far]));
        assert_eq!(free.iter().collect::<Vec<_>>(), [Tilt, Rise]);
        assert!(free.has(Tilt) && !free.has(Far) && free.among(Free::of(&[Far])).is_empty());
    }
}
