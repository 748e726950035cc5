//! What all readers of JPEG share: its markers, and the order of its coefficients.

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
