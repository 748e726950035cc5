//! Redirected: a TIFF file as if another of its directories were the first, for a decoder that knows no other.

use std::io::{self, BufRead, Read, Seek, SeekFrom};

/// Length of the longest TIFF header: that of BigTIFF, whose last eight bytes say where the first directory is. A plain one is half
/// as long, and its last four bytes say it (TIFF 6.0, section 2).
const HEADER: usize = 16;

/// A file with another header. Offsets in a TIFF count from its beginning, so that nothing else need be changed.
pub(super) struct Redirected<R> {
    /// Stands at `at`, or behind the header while that is read.
    inner: R,
    header: Vec<u8>,
    at: u64,
}

impl<R: BufRead + Seek> Redirected<R> {
    /// Stands at the beginning; without a directory the header is the file's own.
    pub(super) fn new(mut inner: R, directory: Option<u32>) -> io::Result<Self> {
        let mut header = vec![0; HEADER / 2];
        inner.seek(SeekFrom::Start(0))?;
        inner.read_exact(&mut header)?;
        let little = header.starts_with(b"II");
        let big = matches!(header[2..4], [43, 0] | [0, 43]);
        if big {
            header.resize(HEADER, 0);
            inner.read_exact(&mut header[HEADER / 2..])?;
        }
        if let Some(offset) = directory {
            let at = header.len() / 2;
            let bytes = u64::from(offset).to_le_bytes();
            let order = |i: usize| if little { i } else { at - 1 - i };
            (0..at).for_each(|i| header[at + i] = bytes[order(i)]);
        }
        Ok(Self { inner, header, at: 0 })
    }
}

impl<R: BufRead + Seek> BufRead for Redirected<R> {
    fn fill_buf(&mut self) -> io::Result<&[u8]> {
        match self.header.get(self.at as usize..) {
            Some(rest) if !rest.is_empty() => Ok(rest),
            _ => self.inner.fill_buf(),
        }
    }

    fn consume(&mut self, count: usize) {
        if self.at >= self.header.len() as u64 {
            self.inner.consume(count);
        }
        self.at += count as u64;
    }
}

impl<R: BufRead + Seek> Read for Redirected<R> {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        if self.at >= self.header.len() as u64 {
            let count = self.inner.read(out)?;
            self.at += count as u64;
            return Ok(count);
        }
        let count = self.fill_buf()?.read(out)?;
        self.consume(count);
        Ok(count)
    }
}

impl<R: BufRead + Seek> Seek for Redirected<R> {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        let to = match to {
            SeekFrom::Current(by) => {
                SeekFrom::Start(self.at.checked_add_signed(by).ok_or(io::ErrorKind::InvalidInput)?)
            }
            other => other,
        };
        self.at = self.inner.seek(to)?;
        let header = self.header.len() as u64;
        if self.at < header {
            self.inner.seek(SeekFrom::Start(header))?;
        }
        Ok(self.at)
    }
}

#[cfg(test)]
mod tests {
    use std::io::{BufReader, Cursor};

    use super::*;

    #[test]
    fn only_the_way_to_the_first_directory_is_changed() {
        let bytes: Vec<u8> = b"MM\0*\0\0\0\x08".iter().copied().chain(100..200).collect();
        let mut expected = bytes.clone();
        expected[4..8].copy_from_slice(&[0, 0, 0, 77]);
        let mut file = Redirected::new(BufReader::with_capacity(5, Cursor::new(&bytes)), Some(77)).unwrap();
        let mut read = Vec::new();
        file.read_to_end(&mut read).unwrap();
        assert_eq!(read, expected);
        for (to, at) in [(SeekFrom::Start(3), 3), (SeekFrom::Current(2), 6), (SeekFrom::End(-105), 3)] {
            assert_eq!(file.seek(to).unwrap(), at);
            let mut byte = [0];
            file.read_exact(&mut byte).unwrap();
            assert_eq!(byte[0], expected[at as usize]);
        }
        file.seek(SeekFrom::Current(-4)).unwrap();
        assert_eq!(file.lines().count(), 1);
        assert!(Redirected::new(Cursor::new(b"II*"), None).is_err());
    }

    #[test]
    fn bigtiff_has_a_longer_way_there() {
        for (head, offset) in
            [(b"MM\0+\0\x08\0\0", [0, 0, 0, 0, 0, 0, 0, 77]), (b"II+\0\x08\0\0\0", [77, 0, 0, 0, 0, 0, 0, 0])]
        {
            let bytes: Vec<u8> = head.iter().copied().chain(100..200).collect();
            let mut expected = bytes.clone();
            expected[8..16].copy_from_slice(&offset);
            let mut read = Vec::new();
            Redirected::new(Cursor::new(&bytes), Some(77)).unwrap().read_to_end(&mut read).unwrap();
            assert_eq!(read, expected);
        }
        assert!(Redirected::new(Cursor::new(b"II+\0\x08\0\0\0"), None).is_err());
    }
}
