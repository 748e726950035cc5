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
}

impl Painter {
    /// An empty layer of `width` x `height` px with its top-left corner at `origin` in the picture.
    pub(super) fn new(width: usize, height: usize, fine: usize, origin: (f64, f64), see_through: bool) -> Self {
        let canvas = Canvas::new(width, height, fine, 0.0);
        let samples = canvas.data.len();
        Self { canvas, tint: vec![[100, 100]; samples], alpha: see_through.then(|| vec![0.0; samples]), origin }
    }

    /// Size in px.
    pub(super) fn size(&self) -> (usize, usize) {
        (self.canvas.width / self.canvas.fine, self.canvas.height / self.canvas.fine)
    }

    /// Fills a shape given in picture coordinates; `level(x, y)` takes picture coordinates.
    pub(super) fn fill(&mut self, shape: &Shape, tint: Tint, level: impl Fn(f64, f64) -> f64) {
        let Canvas { width, height, fine, data } = &mut self.canvas;
        let (width, height, fine) = (*width, *height, *fine);
        let (ox, oy) = self.origin;
        let (tints, alpha) = (&mut self.tint, &mut self.alpha);
        cover(&shape.shifted(-ox, -oy), (0, width), height, fine, |i, j, share, x, y| {
            let at = j * width + i;
            let value = level(x + ox, y + oy).clamp(0.0, 1.5);
            data[at] += ((value - f64::from(data[at])) * share) as f32;
            if let Some(alpha) = alpha {
                alpha[at] += ((1.0 - f64::from(alpha[at])) * share) as f32;
            }
            if share > 0.5 {
                tints[at] = tint;
            }
        });
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
        let line = |k: i64| -> Vec<f32> {
            let y = oy + k as f64 * step;
            (0..count).map(|i| value(ox + i as f64 * step, y) as f32).collect()
        };
        let mut lines: Option<(i64, Vec<f32>, Vec<f32>)> = None;
        for (j, row) in data.chunks_exact_mut(width).enumerate() {
            let local = (j as f64 + 0.5) / scale;
            let Some((left, right)) = span(local + oy) else { continue };
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
            for i in clip(left)..clip(right) {
                let x = (i as f64 + 0.5) / scale;
                let at = x / step;
                let (p, u) = (at as usize, at.fract() as f32);
                let mix = |l: &[f32]| l[p] + (l[p + 1] - l[p]) * u;
                row[i] = mix(above) * (1.0 - v) + mix(below) * v;
                self.tint[j * width + i] = tint(x + ox, local + oy);
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
