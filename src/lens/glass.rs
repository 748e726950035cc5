//! Which frames were taken with one lens at one focal length: one rule for all that learns of a lens.

use crate::shot::{Capture, Fact};

/// Largest ratio of the focal lengths of two frames at which the lens was set alike, as a logarithm. Chosen: a zoom
/// draws differently at each focal length, and files round it to a millimetre, 3 % of 16 mm.
const SET_ALIKE: f64 = 0.05;

/// Whether two focal lengths, mm, are one setting of a lens.
pub(crate) fn set_alike(a_mm: f64, b_mm: f64) -> bool {
    (a_mm / b_mm).ln().abs() <= SET_ALIKE
}

/// What the facts say of the lens that a frame was taken with.
#[derive(Clone, Debug, PartialEq)]
pub struct Glass {
    /// The lens's name as the file states it.
    lens: Option<String>,
    /// The body's, which stands for the lens where that has no name: a camera with a fixed lens names none.
    body: Option<String>,
    /// Focal length, mm.
    pub focal_length_mm: Option<f64>,
}

impl Glass {
    /// By the facts of a frame.
    #[must_use]
    pub fn of(capture: &Capture) -> Self {
        let said = |fact: &Option<Fact<String>>| {
            fact.as_ref().map(|f| f.value.trim().to_owned()).filter(|name| !name.is_empty())
        };
        let focal = capture.focal_length_mm.as_ref().map(|f| f.value);
        Self {
            lens: said(&capture.lens),
            body: said(&capture.body),
            focal_length_mm: focal.filter(|f| f.is_finite() && *f > 0.0),
        }
    }

    /// What the lens is called: by its name, else by that of the body.
    #[must_use]
    pub fn name(&self) -> Option<&str> {
        self.lens.as_deref().or(self.body.as_deref())
    }

    /// Whether two frames may have been taken with one lens at one focal length: what one of them doesn't state speaks neither for
    /// nor against it.
    #[must_use]
    pub fn may_be(&self, other: &Self) -> bool {
        let named = |a: &Option<String>, b: &Option<String>| Some(a.as_ref()?.eq_ignore_ascii_case(b.as_ref()?));
        let focals = self.focal_length_mm.zip(other.focal_length_mm);
        named(&self.lens, &other.lens).or(named(&self.body, &other.body)).unwrap_or(true)
            && focals.is_none_or(|(a, b)| set_alike(a, b))
    }

    /// The same, where both state the same facts: frames of which less is stated are others.
    #[must_use]
    pub fn is(&self, other: &Self) -> bool {
        let stated = |g: &Self| (g.lens.is_some(), g.name().is_some(), g.focal_length_mm.is_some());
        stated(self) == stated(other) && self.may_be(other)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shot::Source;

    fn glass(lens: &str, body: &str, focal_mm: f64) -> Glass {
        let fact = |name: &str| (!name.is_empty()).then(|| Fact::new(name.to_owned(), Source::Exif));
        Glass::of(&Capture {
            lens: fact(lens),
            body: fact(body),
            focal_length_mm: Some(Fact::new(focal_mm, Source::Exif)),
            ..Capture::default()
        })
    }

    #[test]
    fn a_zoom_set_alike_is_one_wherever_its_focal_length_falls() {
        // 24.0 and 24.6 mm are 2.5 % apart, 24 and 26 mm 8 %.
        let wide = glass("Zoom", "Body", 24.0);
        assert!(wide.is(&glass(" zoom ", "Body", 24.6)) && wide.is(&glass("Zoom", "Another", 24.0)));
        assert!(!wide.is(&glass("Zoom", "Body", 26.0)) && !wide.is(&glass("Prime", "Body", 24.0)));
    }

    #[test]
    fn lenses_without_a_name_are_told_apart_by_their_bodies() {
        let (one, other) = (glass("", "One", 24.0), glass("", "Other", 24.0));
        assert!(one.is(&one) && !one.is(&other) && one.name() == Some("One"));
        let named = glass("Prime", "One", 24.0);
        assert!(!named.is(&one) && named.may_be(&one) && !named.may_be(&other));
    }
}
