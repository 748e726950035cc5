//! A file for what need not stay in memory: bytes put away, and had again by their place.

use std::fs::File;
use std::io::{self, Read as _, Seek as _, SeekFrom, Write as _};
use std::sync::{Mutex, PoisonError};

/// A scratch file.
pub struct Scratch {
    /// The file, and its length.
    file: Mutex<(File, u64)>,
}

/// Where bytes lie in a scratch file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Place {
    at: u64,
    length: usize,
}

impl Scratch {
    /// Uses an empty file.
    #[must_use]
    pub const fn new(file: File) -> Self {
        Self { file: Mutex::new((file, 0)) }
    }

    /// Puts bytes away.
    ///
    /// # Errors
    /// Where they can't be written.
    pub(crate) fn put(&self, bytes: &[u8]) -> io::Result<Place> {
        let mut place = self.file.lock().unwrap_or_else(PoisonError::into_inner);
        let (file, end) = &mut *place;
        let at = *end;
        file.seek(SeekFrom::Start(at))?;
        file.write_all(bytes)?;
        *end = at + bytes.len() as u64;
        Ok(Place { at, length: bytes.len() })
    }

    /// The bytes at a place; `None` where they can't be read.
    pub(crate) fn get(&self, place: Place) -> Option<Vec<u8>> {
        let mut bytes = vec![0; place.length];
        let mut file = self.file.lock().unwrap_or_else(PoisonError::into_inner);
        file.0.seek(SeekFrom::Start(place.at)).ok()?;
        file.0.read_exact(&mut bytes).ok()?;
        Some(bytes)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_put_away_is_had_again() {
        let scratch = Scratch::new(tempfile::tempfile().unwrap());
        let places: Vec<Place> = (0..50u8).map(|k| scratch.put(&vec![k; usize::from(k) * 31]).unwrap()).collect();
        for (k, place) in places.iter().enumerate().rev() {
            assert_eq!(scratch.get(*place), Some(vec![k as u8; k * 31]));
        }
    }
}
