//! Blocks of eight by eight samples from their coefficients: the inverse transform of JPEG.

/// Constants of the transform below in 4096ths: sums of cosines of multiples of pi / 16.
///
/// Loeffler, Ligtenberg and Moschytz, ICASSP 1989, figure 1, scaled by the square root of eight.
mod by {
    pub(super) const EVEN: i32 = 2217; // 0.541196
    pub(super) const EVEN_2: i32 = 3135; // 0.765367
    pub(super) const EVEN_6: i32 = -7567; // -1.847759
    pub(super) const ODD: i32 = 4816; // 1.175876
    pub(super) const ODD_1: i32 = 6149; // 1.501321
    pub(super) const ODD_3: i32 = 12_586; // 3.072711
    pub(super) const ODD_5: i32 = 8410; // 2.053120
    pub(super) const ODD_7: i32 = 1223; // 0.298631
    pub(super) const ODD_17: i32 = -3685; // -0.899976
    pub(super) const ODD_35: i32 = -10_497; // -2.562915
    pub(super) const ODD_37: i32 = -8034; // -1.961571
    pub(super) const ODD_15: i32 = -1597; // -0.390181
}

/// Transforms eight lines beside each other: coefficient k of line i is at 8 k + i, before and after.
#[inline(always)]
fn pass(v: &mut [i32; 64], round: i32, shift: u32) {
    for i in 0..8 {
        let c: [i32; 8] = [v[i], v[8 + i], v[16 + i], v[24 + i], v[32 + i], v[40 + i], v[48 + i], v[56 + i]];
        let mul = i32::wrapping_mul;
        let add = i32::wrapping_add;
        let both = mul(add(c[2], c[6]), by::EVEN);
        let (outer, inner) = (add(both, mul(c[2], by::EVEN_2)), add(both, mul(c[6], by::EVEN_6)));
        let sum = add(mul(add(c[0], c[4]), 4096), round);
        let difference = add(mul(c[0].wrapping_sub(c[4]), 4096), round);
        let even = [add(sum, outer), add(difference, inner), difference.wrapping_sub(inner), sum.wrapping_sub(outer)];
        let all = mul(add(add(c[1], c[3]), add(c[5], c[7])), by::ODD);
        let (p37, p15) = (add(all, mul(add(c[3], c[7]), by::ODD_37)), add(all, mul(add(c[1], c[5]), by::ODD_15)));
        let (p17, p35) = (mul(add(c[1], c[7]), by::ODD_17), mul(add(c[3], c[5]), by::ODD_35));
        let odd = [
            add(mul(c[1], by::ODD_1), add(p17, p15)),
            add(mul(c[3], by::ODD_3), add(p35, p37)),
            add(mul(c[5], by::ODD_5), add(p35, p15)),
            add(mul(c[7], by::ODD_7), add(p17, p37)),
        ];
        for k in 0..4 {
            v[8 * k + i] = add(even[k], odd[k]) >> shift;
            v[8 * (7 - k) + i] = even[k].wrapping_sub(odd[k]) >> shift;
        }
    }
}

#[inline(always)]
fn transposed(v: &[i32; 64]) -> [i32; 64] {
    let mut out = [0; 64];
    for y in 0..8 {
        for x in 0..8 {
            out[8 * x + y] = v[8 * y + x];
        }
    }
    out
}

/// Samples of a block (T.81, A.3.3, in integers) into eight rows of `out`; the coefficients are zero afterwards.
///
/// `last`: zigzag position of the last coefficient that isn't zero.
#[inline(always)]
pub(super) fn inverse(coefficients: &mut [i32; 64], last: usize, out: &mut [u8], stride: usize) {
    if last == 0 {
        let mean = (coefficients[0].wrapping_add(1028) >> 3).clamp(0, 255) as u8;
        for row in out.chunks_mut(stride).take(8) {
            row[..8].fill(mean);
        }
        coefficients[0] = 0;
        return;
    }
    pass(coefficients, 1 << 9, 10);
    let mut across = transposed(coefficients);
    // Half of the last place, so that it is rounded, and 128 of what is left of it.
    pass(&mut across, (1 << 16) + 512 + (128 << 17), 17);
    let samples = transposed(&across).map(|v| v.clamp(0, 255) as u8);
    for (row, samples) in out.chunks_mut(stride).zip(samples.chunks_exact(8)) {
        row[..8].copy_from_slice(samples);
    }
    coefficients.fill(0);
}
