//! A fine canvas with colour and, for things that stand before others, coverage.

use super::canvas::{Canvas, Shape, cover};

/// Colour of a surface: its red and its blue over its luminance, in hundredths.
pub(super) type Tint = [u8; 2];

/// Luminance, tint and coverage of one layer of a scene, on a canvas with a margin around the picture.
pub(super) struct Painter {
    /// Luminance; where `alpha` is kept, already multiplied by it.
    pub(super) canvas: Canvas,
    /// Tints, as large as the canvas.
    pub(super) tint: Vec<Tint>,
    /// Coverage, as large as the canvas; `None` for the backdrop, which covers all.
    pub(super) alpha: Option<Vec<f32>>,
    /// Picture coordinates of the canvas's top-left corner, px.
    pub(super) origin: (f64, f64),
    /// Enlargement, and the picture point it leaves in place, of all that is painted: focusing moves the image
    /// away from the lens and so enlarges it, but the scene stays the same scene.
    pub(super) zoom: (f64, (f64, f64)),
}

impl Painter {
    /// An empty layer of `width` x `height` px with its top-left corner at `origin` in the picture.
    pub(super) fn new(width: usize, height: usize, fine: usize, origin: (f64, f64), see_through: bool) -> Self {
        let canvas = Canvas::new(width, height, fine, 0.0);
        let samples = canvas.data.len();
        Self {
            canvas,
            tint: vec![[100, 100]; samples],
            alpha: see_through.then(|| vec![0.0; samples]),
            origin,
            zoom: (1.0, (0.0, 0.0)),
        }
    }

    /// Where the picture point (x, y) was before the enlargement.
    fn before(&self, x: f64, y: f64) -> (f64, f64) {
        let (k, c) = self.zoom;
        (c.0 + (x - c.0) / k, c.1 + (y - c.1) / k)
    }

    /// Left, top, right and bottom of the canvas in picture coordinates before the enlargement.
    pub(super) fn bounds(&self) -> [f64; 4] {
        let (w, h) = self.size();
        let (left, top) = self.before(self.origin.0, self.origin.1);
        let (right, bottom) = self.before(self.origin.0 + w as f64, self.origin.1 + h as f64);
        [left, top, right, bottom]
    }

    /// Size in px.
    pub(super) fn size(&self) -> (usize, usize) {
        (self.canvas.width / self.canvas.fine, self.canvas.height / self.canvas.fine)
    }

    /// Fills a shape given in picture coordinates before the enlargement; so are those that `level` takes.
    pub(super) fn fill(&mut self, shape: &Shape, tint: Tint, level: impl Fn(f64, f64) -> f64) {
        let Canvas { width, height, fine, data } = &mut self.canvas;
        let (width, height, fine) = (*width, *height, *fine);
        let (ox, oy) = self.origin;
        let (k, c) = self.zoom;
        let (tints, alpha) = (&mut self.tint, &mut self.alpha);
        cover(&shape.scaled(k, c).shifted(-ox, -oy), (0, width), height, fine, |i, j, share, x, y| {
            let at = j * width + i;
            let value = level(c.0 + (x + ox - c.0) / k, c.1 + (y + oy - c.1) / k).clamp(0.0, 1.5);
            data[at] += ((value - f64::from(data[at])) * share) as f32;
            if let Some(alpha) = alpha {
                alpha[at] += ((1.0 - f64::from(alpha[at])) * share) as f32;
            }
            if share > 0.5 {
                tints[at] = tint;
            }
        });
    }

    /// Lays haze of luminance `air` and colour `veil` over all that is painted, leaving a share `clear` of its light.
    pub(super) fn haze(&mut self, clear: f64, air: f64, veil: Tint) {
        let (clear, air) = (clear as f32, air as f32);
        for (at, v) in self.canvas.data.iter_mut().enumerate() {
            let covered = self.alpha.as_ref().map_or(1.0, |a| a[at]);
            *v = *v * clear + air * (1.0 - clear) * covered;
        }
        self.tint.iter_mut().for_each(|t| *t = mix(veil, *t, f64::from(clear)));
    }

    /// Sets whole rows from `span(y)` (left and right end in picture px, or `None`) with soft content: `value(x, y)`
    /// is worked out every `step` px and joined by straight lines, so it must vary over several steps only.
    pub(super) fn soft(
        &mut self,
        step: f64,
        span: impl Fn(f64) -> Option<(f64, f64)>,
        tint: impl Fn(f64, f64) -> Tint,
        value: impl Fn(f64, f64) -> f64,
    ) {
        let Canvas { width, fine, data, .. } = &mut self.canvas;
        let (width, scale) = (*width, *fine as f64);
        let count = (width as f64 / scale / step) as usize + 3;
        let (ox, oy) = self.origin;
        let (zoom, c) = self.zoom;
        let before = |x: f64, y: f64| (c.0 + (x - c.0) / zoom, c.1 + (y - c.1) / zoom);
        let line = |k: i64| -> Vec<f32> {
            let at = |i: usize| before(ox + i as f64 * step, oy + k as f64 * step);
            (0..count).map(|i| value(at(i).0, at(i).1) as f32).collect()
        };
        let mut lines: Option<(i64, Vec<f32>, Vec<f32>)> = None;
        for (j, row) in data.chunks_exact_mut(width).enumerate() {
            let local = (j as f64 + 0.5) / scale;
            let row_before = before(0.0, local + oy).1;
            let Some((left, right)) = span(row_before) else { continue };
            let after = |x: f64| c.0 + (x - c.0) * zoom;
            let k = (local / step).floor() as i64;
            if lines.as_ref().is_none_or(|l| l.0 != k) {
                let first = match lines.take() {
                    Some((old, _, second)) if old + 1 == k => second,
                    _ => line(k),
                };
                lines = Some((k, first, line(k + 1)));
            }
            let Some((_, above, below)) = &lines else { continue };
            let v = (local / step - k as f64) as f32;
            let clip = |x: f64| (((x - ox) * scale).max(0.0) as usize).min(width);
            let (left, right) = (clip(after(left)), clip(after(right)));
            for (i, sample) in row.iter_mut().enumerate().take(right).skip(left) {
                let x = (i as f64 + 0.5) / scale;
                let at = x / step;
                let (p, u) = (at as usize, at.fract() as f32);
                let mix = |l: &[f32]| l[p] + (l[p + 1] - l[p]) * u;
                *sample = mix(above) * (1.0 - v) + mix(below) * v;
                self.tint[j * width + i] = tint(before(x + ox, 0.0).0, row_before);
            }
        }
    }

    /// Red less luminance and blue less luminance, averaged over each pixel, times coverage.
    pub(super) fn chroma(&self) -> [Vec<f32>; 2] {
        let (w, h) = self.size();
        let fine = self.canvas.fine;
        let mut planes = [vec![0.0f32; w * h], vec![0.0f32; w * h]];
        for (j, (row, tints)) in
            self.canvas.data.chunks_exact(self.canvas.width).zip(self.tint.chunks_exact(self.canvas.width)).enumerate()
        {
            for (i, (&v, tint)) in row.iter().zip(tints).enumerate() {
                let at = j / fine * w + i / fine;
                planes[0][at] += v * (f32::from(tint[0]) / 100.0 - 1.0);
                planes[1][at] += v * (f32::from(tint[1]) / 100.0 - 1.0);
            }
        }
        let share = 1.0 / (fine * fine) as f32;
        planes.iter_mut().flatten().for_each(|v| *v *= share);
        planes
    }

    /// Whether the layer covers the picture point (x, y).
    pub(super) fn covers(&self, x: f64, y: f64) -> bool {
        let fine = self.canvas.fine as f64;
        let (i, j) = ((x - self.origin.0) * fine, (y - self.origin.1) * fine);
        if i < 0.0 || j < 0.0 || i as usize >= self.canvas.width || j as usize >= self.canvas.height {
            return false;
        }
        self.alpha.as_ref().is_none_or(|a| a[j as usize * self.canvas.width + i as usize] > 0.5)
    }
}

/// The colour a share `t` of the way from `a` to `b`.
pub(super) fn mix(a: Tint, b: Tint, t: f64) -> Tint {
    let one = |a: u8, b: u8| (f64::from(a) + (f64::from(b) - f64::from(a)) * t.clamp(0.0, 1.0)).round() as u8;
    [one(a[0], b[0]), one(a[1], b[1])]
}
