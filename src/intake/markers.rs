//! What all readers of JPEG share (ITU-T T.81, annex B): its markers and segments, what its headers and tables say, and the order
//! of its coefficients.

/// Zigzag position of each coefficient in row-major order (ITU-T T.81, figure A.6).
pub(super) fn zigzag() -> [usize; 64] {
    let mut order = [0; 64];
    let (mut x, mut y) = (0_usize, 0_usize);
    for position in 0..64 {
        order[y * 8 + x] = position;
        let up = (x + y) % 2 == 0;
        match (up, x, y) {
            (true, 7, _) => y += 1,
            (true, _, 0) => x += 1,
            (true, ..) => (x, y) = (x + 1, y - 1),
            (false, _, 7) => x += 1,
            (false, 0, _) => y += 1,
            (false, ..) => (x, y) = (x - 1, y + 1),
        }
    }
    order
}

/// Row-major place of each zigzag position: the inverse of [`zigzag`].
pub(super) fn places() -> [u8; 64] {
    let mut places = [0; 64];
    for (place, position) in (0..).zip(zigzag()) {
        places[position] = place;
    }
    places
}

/// The next marker at or after `at`, which is moved behind it; entropy-coded data and fill bytes are skipped.
pub(super) fn next_marker(bytes: &[u8], at: &mut usize) -> Option<u8> {
    loop {
        let rest = bytes.get(*at..)?;
        let found = memchr::memchr(0xFF, rest)?;
        let code = *rest.get(found + 1)?;
        // A fill byte may be followed by the marker's own 0xFF; a stuffed zero is data.
        *at += found + if code == 0xFF { 1 } else { 2 };
        if !matches!(code, 0x00 | 0xFF) {
            return Some(code);
        }
    }
}

/// Where the entropy-coded data from a place on end, restart markers among them: at the next marker, or with the bytes.
pub(super) fn data_end(bytes: &[u8], start: usize) -> usize {
    let mut at = start;
    loop {
        match next_marker(bytes, &mut at) {
            Some(0x01 | 0xD0..=0xD7) => {}
            Some(_) => return at - 2,
            None => return bytes.len(),
        }
    }
}

/// Zero bytes in a row at the end of coded data from which they may have been filled in. Chosen: coded data hardly end
/// in so many, but data of which a copy or a card filled in the rest do.
const FILLED: usize = 64;

/// How many zero bytes at the end of coded data may have been filled in.
pub(super) fn filled(data: &[u8]) -> usize {
    let zeros = data.iter().rev().take_while(|b| **b == 0).count();
    // The first may be the stuffing behind a byte of ones.
    let stuffed = zeros < data.len() && data[data.len() - zeros - 1] == 0xFF;
    if zeros < FILLED { 0 } else { zeros - usize::from(stuffed) }
}

/// Bytes of the smallest hole in a file, and what a hole's beginning and end are multiples of. Derived: files are kept
/// in whole sectors, none of which is smaller.
const SECTOR: usize = 512;

/// Where in a file data that lie in `data` stop being sound: at the first hole, whole sectors of zeros that a card or a copy left,
/// with more data behind them. Flat ground may be coded in nothing but zeros, too, but not from one sector's beginning to another's.
pub(super) fn hole(bytes: &[u8], data: std::ops::Range<usize>) -> Option<usize> {
    let data = data.start..data.end.min(bytes.len());
    let mut at = data.start.next_multiple_of(SECTOR);
    while at + SECTOR <= data.end {
        if bytes[at..at + SECTOR].iter().any(|b| *b != 0) {
            at += SECTOR;
            continue;
        }
        let zeros = |list: &mut dyn Iterator<Item = &u8>| list.take_while(|b| **b == 0).count();
        let before = zeros(&mut bytes[data.start..at].iter().rev());
        let end = at + zeros(&mut bytes[at..data.end].iter());
        // A byte or two of the data beside it may be zero as well.
        if before <= 2 && end % SECTOR <= 2 && end < data.end {
            return Some(at);
        }
        at = end.next_multiple_of(SECTOR);
    }
    None
}

/// A number of two bytes at the beginning of some.
pub(super) fn word(bytes: &[u8]) -> Option<usize> {
    bytes.first_chunk().map(|b| usize::from(u16::from_be_bytes(*b)))
}

/// A segment: its marker, what is in it, and where it ends.
pub(super) struct Segment<'a> {
    pub(super) marker: u8,
    pub(super) body: &'a [u8],
    pub(super) end: usize,
}

/// The segments of the picture that begins with `bytes`, the marker of its end among them; up to where they stop making sense
/// or another picture begins.
pub(super) fn segments(bytes: &[u8]) -> impl Iterator<Item = Segment<'_>> {
    let mut at = 2;
    let next = move || loop {
        let marker = next_marker(bytes, &mut at)?;
        match marker {
            0x01 | 0xD0..=0xD7 => continue,
            0xD8 => return None,
            0xD9 => return Some(Segment { marker, body: &[], end: at }),
            _ => {}
        }
        let length = word(bytes.get(at..)?)?;
        let body = bytes.get(at + 2..at + length)?;
        at += length;
        return Some(Segment { marker, body, end: at });
    };
    std::iter::from_fn(next)
}

/// A component of a frame: its name, its blocks a unit across and down, and the number of its steps.
#[derive(Clone, Copy, Debug)]
pub(super) struct Component {
    pub(super) id: u8,
    pub(super) h: usize,
    pub(super) v: usize,
    pub(super) steps: usize,
}

/// What a frame's header says (B.2.2).
pub(super) struct FrameHeader {
    pub(super) precision: u8,
    pub(super) width: usize,
    pub(super) height: usize,
    pub(super) components: Vec<Component>,
}

impl FrameHeader {
    /// From a segment of the frame; `None` where that is too short.
    pub(super) fn of(body: &[u8]) -> Option<Self> {
        let (&precision, rest) = body.split_first()?;
        let list = rest.get(5..5 + 3 * usize::from(*rest.get(4)?))?;
        let component = |c: &[u8]| Component {
            id: c[0],
            h: usize::from(c[1] >> 4),
            v: usize::from(c[1] & 15),
            steps: usize::from(c[2] & 3),
        };
        let components = list.chunks_exact(3).map(component).collect();
        Some(Self { precision, height: word(rest)?, width: word(&rest[2..])?, components })
    }
}

/// A component in a scan: its name, and the numbers of its code tables.
pub(super) struct Pick {
    pub(super) id: u8,
    pub(super) dc: usize,
    pub(super) ac: usize,
}

/// What a scan's header says (B.2.3): the components in it and the three bytes behind them; `None` where it is too short.
pub(super) fn scan_header(body: &[u8]) -> Option<(Vec<Pick>, [u8; 3])> {
    let (&count, rest) = body.split_first()?;
    let (picks, rest) = rest.split_at_checked(2 * usize::from(count))?;
    let pick = |p: &[u8]| Pick { id: p[0], dc: usize::from(p[1] >> 4 & 3), ac: usize::from(p[1] & 3) };
    Some((picks.chunks_exact(2).map(pick).collect(), *rest.first_chunk()?))
}

/// The tables of steps in a segment (B.2.4.1): their numbers and steps in zigzag order; the last is `None` where it is cut off.
pub(super) fn step_tables(mut body: &[u8]) -> impl Iterator<Item = Option<(usize, [u16; 64])>> {
    std::iter::from_fn(move || {
        let (&first, rest) = body.split_first()?;
        let wide = usize::from(first >> 4);
        let values = rest.split_at_checked(64 << wide.min(1)).filter(|_| wide <= 1);
        body = values.map_or(&[], |v| v.1);
        let step = |v: &[u8], i: usize| match wide {
            0 => u16::from(v[i]),
            _ => u16::from_be_bytes([v[2 * i], v[2 * i + 1]]),
        };
        Some(values.map(|(v, _)| (usize::from(first & 15), std::array::from_fn(|i| step(v, i)))))
    })
}

/// A code table: its class (0 for means), its number, how many codes of each length there are, and what they stand for.
pub(super) struct CodeTable<'a> {
    pub(super) class: usize,
    pub(super) number: usize,
    pub(super) counts: &'a [u8; 16],
    pub(super) symbols: &'a [u8],
}

/// The code tables in a segment (B.2.4.2); the last is `None` where it is cut off.
pub(super) fn code_tables(mut body: &[u8]) -> impl Iterator<Item = Option<CodeTable<'_>>> {
    fn table(body: &[u8]) -> Option<(CodeTable<'_>, &[u8])> {
        let (&first, rest) = body.split_first()?;
        let (counts, rest) = rest.split_first_chunk::<16>()?;
        let (symbols, rest) = rest.split_at_checked(counts.iter().map(|&c| usize::from(c)).sum())?;
        let (class, number) = (usize::from(first >> 4), usize::from(first & 15));
        Some((CodeTable { class, number, counts, symbols }, rest))
    }
    std::iter::from_fn(move || {
        // What is shorter than the counts of a table is filling.
        (body.len() > 16).then_some(())?;
        let found = table(body);
        body = found.as_ref().map_or(&[], |f| f.1);
        Some(found.map(|f| f.0))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn zigzag_runs_as_in_the_standard() {
        // ITU-T T.81 figure A.6, first and last rows.
        let order = zigzag();
        assert_eq!(order[..8], [0, 1, 5, 6, 14, 15, 27, 28]);
        assert_eq!(order[56..], [35, 36, 48, 49, 57, 58, 62, 63]);
    }
}
