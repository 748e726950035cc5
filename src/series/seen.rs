//! A frame as a series sees it, with what is large about it at hand or elsewhere until it is needed.

use std::borrow::Cow;
use std::fmt;

use crate::measure::TileMap;
use crate::measure::register::Small;
use crate::shot::Capture;

/// A frame as a series sees it: what is kept of it once its pixels are gone.
#[derive(Clone, Copy, Debug)]
pub struct Seen<'a> {
    /// The file as named.
    pub file: &'a str,
    /// Size of the upright picture, px.
    pub size: (u32, u32),
    /// Capture facts.
    pub capture: &'a Capture,
    /// Small picture.
    pub small: Held<'a, Small>,
    /// What was measured, where it was.
    pub map: Option<Held<'a, TileMap>>,
}

impl<'a> Seen<'a> {
    /// What was measured, where it was and can be had.
    #[must_use]
    pub fn map(&self) -> Option<Cow<'a, TileMap>> {
        self.map?.get()
    }
}

/// Something at hand, or kept elsewhere: of a folder of thousands not everything is in memory at once.
pub enum Held<'a, T> {
    /// At hand.
    Here(&'a T),
    /// To be had again under a number.
    Elsewhere(&'a (dyn Recall<T> + 'a), usize),
}

/// Where things are kept until they are needed.
pub trait Recall<T>: Sync {
    /// The thing under a number; `None` where it is gone.
    fn recall(&self, number: usize) -> Option<T>;
}

impl<'a, T: Clone> Held<'a, T> {
    /// The thing itself; `None` where it was elsewhere and is gone.
    #[must_use]
    pub fn get(self) -> Option<Cow<'a, T>> {
        match self {
            Self::Here(thing) => Some(Cow::Borrowed(thing)),
            Self::Elsewhere(place, number) => place.recall(number).map(Cow::Owned),
        }
    }
}

impl<T> Clone for Held<'_, T> {
    fn clone(&self) -> Self {
        *self
    }
}

impl<T> Copy for Held<'_, T> {}

impl<T> fmt::Debug for Held<'_, T> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Here(_) => "Here",
            Self::Elsewhere(..) => "Elsewhere",
        })
    }
}

impl<'a, T> From<&'a T> for Held<'a, T> {
    fn from(thing: &'a T) -> Self {
        Self::Here(thing)
    }
}
