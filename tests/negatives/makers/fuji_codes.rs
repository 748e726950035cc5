//! Fujifilm's lossless codes: upright strips of 768 columns, in which six rows at a time become three lines of red, six of
//! green and three of blue; each sample is foretold from its neighbours of the same colour, and what that misses is coded by
//! a rule that follows the codes before it in like places. After the public readers of these files.

use super::super::bits::Bits;

/// Columns of a strip, and rows that are coded together.
const STRIP: usize = 768;
const ROWS: usize = 6;

/// Lines of the three colours, each behind the last two of the six rows above.
const RED: usize = 2;
const GREEN: usize = 7;
const BLUE: usize = 15;
const LINES: usize = 18;

/// Levels of 14 bits, and how many zeros say that a code stands whole.
const RANGE: i32 = 1 << 14;
const WHOLE: u32 = 41;
/// Codes after which the memory of a place counts half.
const HALVED: i32 = 0x40;

/// The pattern that the six rows must have, for the lines to be as full as the code takes them to be.
pub(super) const X_TRANS: [&str; 6] = ["GGRGGB", "GGBGGR", "BRGRBG", "GGBGGR", "GGRGGB", "RBGBRG"];
/// Its like for sensors with a Bayer mosaic.
const BAYER: [&str; 2] = ["RG", "GB"];

/// What was missed in like places, together, and in how many.
type Memory = (i32, i32);

struct Coder<'a> {
    samples: &'a [u16],
    size: (usize, usize),
    x_trans: bool,
    /// Lines with a place more at either end.
    lines: Vec<Vec<i32>>,
    /// Of the even and odd places of three kinds of lines, by how the neighbours lie.
    memory: [[[Memory; 41]; 2]; 3],
    bits: Bits,
}

/// The data: a head, the lengths of the strips, and the strips.
pub(super) fn code(samples: &[u16], size: (usize, usize), x_trans: bool) -> Vec<u8> {
    let (width, height) = size;
    let strips = width.div_ceil(STRIP);
    let mut out = vec![0x49, 0x53, 1, if x_trans { 16 } else { 0 }, 14];
    for number in [height, strips * STRIP, width, STRIP] {
        out.extend((number as u16).to_be_bytes());
    }
    out.push(strips as u8);
    out.extend(((height / ROWS) as u16).to_be_bytes());
    let coded: Vec<Vec<u8>> = (0..strips).map(|strip| Coder::new(samples, size, x_trans).strip(strip)).collect();
    coded.iter().for_each(|strip| out.extend((strip.len() as u32).to_be_bytes()));
    out.resize(out.len().next_multiple_of(16), 0);
    coded.iter().for_each(|strip| out.extend(strip));
    out
}

impl<'a> Coder<'a> {
    fn new(samples: &'a [u16], size: (usize, usize), x_trans: bool) -> Self {
        let across = if x_trans { STRIP * 2 / 3 } else { STRIP / 2 };
        let first = (RANGE + 32) >> 6;
        Self {
            samples,
            size,
            x_trans,
            lines: vec![vec![0; across + 2]; LINES],
            memory: [[[(first, 1); 41]; 2]; 3],
            bits: Bits::default(),
        }
    }

    const fn across(&self) -> usize {
        if self.x_trans { STRIP * 2 / 3 } else { STRIP / 2 }
    }

    fn strip(mut self, strip: usize) -> Vec<u8> {
        for top in (0..self.size.1).step_by(ROWS) {
            let wanted = self.wanted(strip * STRIP, top);
            // Lines of red, green and blue that are coded by turns, and the kind of each pair.
            let pairs = [
                (RED, GREEN, 0),
                (GREEN + 1, BLUE, 1),
                (RED + 1, GREEN + 2, 2),
                (GREEN + 3, BLUE + 1, 0),
                (RED + 2, GREEN + 4, 1),
                (GREEN + 5, BLUE + 2, 2),
            ];
            for (first, second, kind) in pairs {
                self.pair([first, second], kind, &wanted);
                [(RED, 3), (GREEN, 6), (BLUE, 3)].iter().for_each(|(from, count)| {
                    if (*from..from + count).contains(&first) || (*from..from + count).contains(&second) {
                        self.extend(*from..from + count);
                    }
                });
            }
            for (from, count) in [(RED, 3), (GREEN, 6), (BLUE, 3)] {
                for above in [2, 1] {
                    self.lines[from - above] = self.lines[from + count - above].clone();
                }
                self.lines[from..from + count].iter_mut().for_each(|line| line.fill(0));
                self.extend(from..from + 1);
            }
        }
        let mut out = self.bits.close();
        out.resize(out.len().next_multiple_of(4), 0);
        out
    }

    /// Places beyond both ends of lines are those at the ends of the lines above.
    fn extend(&mut self, lines: std::ops::Range<usize>) {
        let last = self.across();
        for i in lines {
            self.lines[i][0] = self.lines[i - 1][1];
            self.lines[i][last + 1] = self.lines[i - 1][last];
        }
    }

    /// The samples of six rows in their lines; `None` where a mosaic has no sample.
    fn wanted(&self, left: usize, top: usize) -> Vec<Vec<Option<i32>>> {
        let mut out = vec![vec![None; self.across()]; LINES];
        for (y, x) in (0..ROWS).flat_map(|y| (0..STRIP).map(move |x| (y, x))) {
            let row = if self.x_trans { X_TRANS[y] } else { BAYER[y % 2] };
            let line = match row.as_bytes()[x % row.len()] {
                b'R' => RED + y / 2,
                b'G' => GREEN + y,
                _ => BLUE + y / 2,
            };
            let place = if self.x_trans { x / 3 * 2 + usize::from(x % 3 > 0) } else { x / 2 };
            // The last strip goes on beyond the picture.
            let x = (left + x).min(self.size.0 - 1);
            out[line][place] = Some(i32::from(self.samples[(top + y) * self.size.0 + x]));
        }
        out
    }

    /// Two lines by turns, the odd places some way behind the even ones.
    fn pair(&mut self, lines: [usize; 2], kind: usize, wanted: &[Vec<Option<i32>>]) {
        let (mut even, mut odd) = (0, 1);
        while even < self.across() || odd < self.across() {
            if even < self.across() {
                lines.iter().for_each(|line| self.even(*line, even, kind, wanted[*line][even]));
                even += 2;
            }
            if even > 8 {
                lines.iter().for_each(|line| self.odd(*line, odd, kind, wanted[*line][odd]));
                odd += 2;
            }
        }
    }

    fn even(&mut self, line: usize, place: usize, kind: usize, wanted: Option<i32>) {
        let at = place + 1;
        let above = &self.lines[line - 1];
        let (up, left, right, higher) = (above[at], above[at - 1], above[at + 1], self.lines[line - 2][at]);
        let [from_left, from_higher, from_right] = [left, higher, right].map(|v| (v - up).abs());
        let others = if from_left > from_higher && from_left > from_right {
            higher + right
        } else if from_right > from_left && from_right > from_higher {
            higher + left
        } else {
            right + left
        };
        let foretold = (others + 2 * up) >> 2;
        // Where the mosaic has no sample of this colour, readers put what is foretold.
        self.lines[line][at] = wanted.unwrap_or(foretold);
        if let Some(wanted) = wanted {
            self.missed(kind, 0, 9 * rank(up - higher) + rank(left - up), wanted - foretold);
        }
    }

    fn odd(&mut self, line: usize, place: usize, kind: usize, wanted: Option<i32>) {
        let at = place + 1;
        let (above, here) = (&self.lines[line - 1], &self.lines[line]);
        let (up, upper_left, upper_right) = (above[at], above[at - 1], above[at + 1]);
        let (left, right) = (here[at - 1], here[at + 1]);
        let apart = up > upper_left.max(upper_right) || up < upper_left.min(upper_right);
        let foretold = if apart { (right + left + 2 * up) >> 2 } else { (left + right) >> 1 };
        let wanted = wanted.expect("a sample at every odd place");
        self.lines[line][at] = wanted;
        self.missed(kind, 1, 9 * rank(up - upper_left) + rank(upper_left - left), wanted - foretold);
    }

    /// Codes what was missed: its upper part by a number of zeros, its lower one in as many bits as those before make likely.
    fn missed(&mut self, kind: usize, side: usize, neighbours: i32, missed: i32) {
        let memory = &mut self.memory[kind][side][neighbours.unsigned_abs() as usize];
        let missed = if neighbours < 0 { -missed } else { missed };
        // Levels go round.
        let missed = (missed + RANGE / 2).rem_euclid(RANGE) - RANGE / 2;
        let code = if missed < 0 { -2 * missed - 1 } else { 2 * missed }.cast_unsigned();
        let lower = (0..15).find(|bits| memory.1 << bits >= memory.0).unwrap_or(15);
        let zeros = code >> lower;
        if zeros < WHOLE {
            self.bits.put(0, zeros / 2);
            self.bits.put(1, zeros - zeros / 2 + 1);
            self.bits.put(code, lower);
        } else {
            self.bits.put(0, WHOLE - 1);
            self.bits.put(1, 2);
            self.bits.put(code - 1, 14);
        }
        memory.0 += missed.abs();
        if memory.1 == HALVED {
            *memory = (memory.0 >> 1, memory.1 >> 1);
        }
        memory.1 += 1;
    }
}

/// How far apart two levels are, on a scale of nine steps.
fn rank(apart: i32) -> i32 {
    let size = [1, 0x12, 0x43, 0x114].iter().filter(|step| apart.abs() >= **step).count() as i32;
    if apart < 0 { -size } else { size }
}
