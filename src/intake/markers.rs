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
