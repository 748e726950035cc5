//! Bits one behind the other, the most significant first, for entropy-coded test raws.

/// Collects bits into bytes.
#[derive(Default)]
pub struct Bits {
    out: Vec<u8>,
    held: u64,
    count: u32,
    stuffed: bool,
}

impl Bits {
    /// With a zero byte stuffed behind each byte of ones, as JPEG has it (ITU-T T.81, B.1.1.5).
    pub fn stuffed() -> Self {
        Self { stuffed: true, ..Self::default() }
    }

    /// Appends the lower `n` bits of a number, `n` up to 32.
    pub fn put(&mut self, bits: u32, n: u32) {
        let mask = (1_u64 << n) - 1;
        self.held = self.held << n | u64::from(bits) & mask;
        self.count += n;
        while self.count >= 8 {
            self.count -= 8;
            let byte = (self.held >> self.count) as u8;
            self.out.push(byte);
            if byte == 0xFF && self.stuffed {
                self.out.push(0);
            }
        }
        self.held &= (1 << self.count) - 1;
    }

    /// The bytes, the last one filled with ones (T.81, F.1.2.3).
    pub fn close(mut self) -> Vec<u8> {
        if self.count > 0 {
            self.put(0xFF, 8 - self.count);
        }
        self.out
    }
}
