//! Dice that fall the same way for the same seed, whatever the machine.

/// A sequence of random numbers that its seed settles: SplitMix64 (Steele, Lea & Flood, OOPSLA 2014).
#[derive(Clone, Debug)]
pub(crate) struct Dice {
    state: u64,
    spare: Option<f64>,
}

impl Dice {
    /// A sequence of its own for each seed.
    pub(crate) const fn new(seed: u64) -> Self {
        Self { state: seed, spare: None }
    }

    /// The next number, evenly spread over (0, 1).
    pub(crate) fn uniform(&mut self) -> f64 {
        self.state = self.state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64 + 1e-17
    }

    /// The next normal number, of mean nought and standard deviation one (Box & Muller 1958).
    pub(crate) fn normal(&mut self) -> f64 {
        if let Some(spare) = self.spare.take() {
            return spare;
        }
        let (r, t) = ((-2.0 * self.uniform().ln()).sqrt(), std::f64::consts::TAU * self.uniform());
        self.spare = Some(r * t.sin());
        r * t.cos()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_dice_are_fair_and_fall_alike_for_one_seed() {
        let throw = |seed: u64| {
            let mut dice = Dice::new(seed);
            (0..10_000).map(|_| dice.normal()).collect::<Vec<f64>>()
        };
        let thrown = throw(7);
        let n = thrown.len() as f64;
        let mean = thrown.iter().sum::<f64>() / n;
        let sd = (thrown.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / n).sqrt();
        // Standard errors are 0.01 and 0.007.
        assert!(mean.abs() < 0.04 && (sd - 1.0).abs() < 0.03, "{mean} {sd}");
        assert_eq!(thrown, throw(7));
        assert_ne!(thrown, throw(8));
    }
}
