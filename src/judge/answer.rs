//! The answer to "is it sharp?" for one place, in one vocabulary.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::limit::beyond_px;
use super::optical::above;
use crate::quantity::Estimate;

/// Whether a place is sharp enough.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Judgement {
    /// The blur is within the permitted.
    Within,
    /// It can't be told from the permitted, or is wider by less than the permitted disc's own definition leaves open or
    /// than sampling by a colour sensor takes.
    AtLimit,
    /// The blur is beyond the permitted.
    Beyond,
    /// Nothing there can be judged.
    #[default]
    Unknown,
}

impl Judgement {
    /// The word in sentences, tables and on the page.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Within => "within",
            Self::AtLimit => "at limit",
            Self::Beyond => "beyond",
            Self::Unknown => "unknown",
        }
    }

    /// Whether the place passes for sharp.
    #[must_use]
    pub const fn passes(self) -> bool {
        matches!(self, Self::Within | Self::AtLimit)
    }
}

/// Why a place can't be judged.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Reason {
    /// Nothing there could be measured.
    NoDetail,
    /// Water, whose blur says nothing of focus.
    Water,
    /// What is measured there disagrees among itself as moving or soft content does.
    Scatters,
    /// Haze or fog hides it.
    Hidden,
    /// It lies in the sky or outside the picture.
    NotInPicture,
    /// Which end of the picture is which can't be told.
    Turned,
}

impl Reason {
    /// The reason in a few words, to stand after "unknown".
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::NoDetail => "nothing to measure",
            Self::Water => "water",
            Self::Scatters => "content that moves or is soft of itself",
            Self::Hidden => "hidden by haze",
            Self::NotInPicture => "not in the picture",
            Self::Turned => "the picture may lie on its side",
        }
    }
}

/// The answer for one place.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Answer {
    /// The judgement.
    pub judgement: Judgement,
    /// Why it is unknown, where it is.
    pub reason: Option<Reason>,
}

impl Answer {
    /// A place that can't be judged.
    #[must_use]
    pub const fn unknown(reason: Reason) -> Self {
        Self { judgement: Judgement::Unknown, reason: Some(reason) }
    }

    /// By the probabilities that the optical blur is above the permitted, and above [`super::beyond_px`].
    #[must_use]
    pub fn of(soft: f64, clearly: f64) -> Self {
        Self { judgement: word_of(soft, clearly), reason: None }
    }

    /// By an optical blur against the permitted and what the pixels show at best.
    #[must_use]
    pub fn by(optical: Estimate, permitted: f64, finest: f64) -> Self {
        Self::of(above(optical, permitted), above(optical, beyond_px(permitted, finest)))
    }
}

/// Probability of being above the permitted blur up to which a place is within it. Chosen: a place that is as likely
/// within as beyond is at the limit, and beyond is said where it is the likelier even by the most generous convention.
pub const WITHIN: f64 = 0.2;
/// Probability of being above the permitted blur by more than the room, above which a place is beyond it. Chosen: see [`WITHIN`].
pub const BEYOND: f64 = 0.5;

/// The judgement for the two probabilities of [`Answer::of`].
fn word_of(soft: f64, clearly: f64) -> Judgement {
    if clearly > BEYOND {
        Judgement::Beyond
    } else if soft < WITHIN {
        Judgement::Within
    } else {
        Judgement::AtLimit
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_width_has_one_word() {
        let word = |value: f64| Answer::by(Estimate::new(value, 0.05, 9), 1.0, 0.0).judgement;
        assert_eq!(word(0.7), Judgement::Within);
        assert_eq!(word(1.0), Judgement::AtLimit);
        assert_eq!(word(1.15), Judgement::AtLimit);
        assert_eq!(word(1.31), Judgement::Beyond);
        // What is hardly known is at the limit, neither within nor beyond.
        assert_eq!(Answer::by(Estimate::new(0.9, 0.5, 3), 1.0, 0.0).judgement, Judgement::AtLimit);
    }
}
