//! Finds the one edge of a region and fits its course: position across as a polynomial of position along.

use thiserror::Error;

use crate::quantity::Region;
use crate::shot::Plane;
use crate::stats::{MAD_SD, upper_median};

/// Least step, in units of the noise of a sample, that gives a line worth having. Chosen: below, the place of the edge
/// in a row is not known to a pixel.
pub(super) const LEAST_SNR: f64 = 10.0;

/// Why an edge could not be measured.
#[derive(Clone, Copy, Debug, PartialEq, Error)]
pub enum EdgeError {
    /// The region lies outside the picture, or partly so.
    #[error("the region reaches outside the picture")]
    Outside,
    /// Fewer than 20 rows along the edge or 16 px across it.
    #[error("the region is too small: an edge needs 20 px along it and 16 px across it")]
    TooSmall,
    /// No step stands out, or there is more than one.
    #[error(
        "no single straight edge that crosses the region was found; frame one edge, about five degrees off the rows or columns"
    )]
    NoEdge,
    /// One side is at the sensor's limit.
    #[error("{:.1} % of the region is clipped; expose lower", share * 100.0)]
    Clipped {
        /// Share of clipped samples.
        share: f64,
    },
    /// The edge meets the pixels at too few places: along the rows or columns, or at a simple slope such as one in two.
    #[error(
        "the edge meets the pixels at too few places between them; turn it about five degrees off the rows or columns"
    )]
    NotSlanted,
    /// The step is lost in noise.
    #[error("the step is only {snr:.1} times the noise; {LEAST_SNR} is the least that can be used")]
    Noisy {
        /// Step over noise.
        snr: f64,
    },
    /// The blurred edge does not fit into the region.
    #[error("the edge is blurred over more than the region holds; take a wider region")]
    TooWide,
}

/// The measured samples of a region, arranged so that `across` runs over the edge and `row` along it.
pub(super) struct Samples {
    /// Whether the edge is nearer to the vertical (rows of the picture run across it).
    pub(super) vertical: bool,
    /// For each row, its samples: (across px, luminance); positions are pixel centres.
    rows: Vec<Vec<(f64, f64)>>,
    /// Length across, px.
    pub(super) width: f64,
}

impl Samples {
    pub(super) fn new(plane: &Plane, region: Region) -> Result<Self, EdgeError> {
        let (x0, y0, w, h) = (region.x as usize, region.y as usize, region.width as usize, region.height as usize);
        if x0.checked_add(w).is_none_or(|r| r > plane.width) || y0.checked_add(h).is_none_or(|b| b > plane.height) {
            return Err(EdgeError::Outside);
        }
        if w.min(h) < 16 || w.max(h) < 20 {
            return Err(EdgeError::TooSmall);
        }
        let inside = || (y0..y0 + h).flat_map(move |y| (x0..x0 + w).map(move |x| (x, y)));
        let clipped = inside().filter(|&(x, y)| plane.data[y * plane.width + x] >= plane.saturation).count();
        let share = clipped as f64 / (w * h) as f64;
        if share > 0.005 {
            return Err(EdgeError::Clipped { share });
        }
        let vertical = is_vertical(plane, x0, y0, w, h);
        let (along, across) = if vertical { (h, w) } else { (w, h) };
        if along < 20 || across < 16 {
            return Err(EdgeError::TooSmall);
        }
        let rows = (0..along)
            .map(|v| {
                (0..across)
                    .filter_map(|u| {
                        let (x, y) = if vertical { (x0 + u, y0 + v) } else { (x0 + v, y0 + u) };
                        plane.mosaic.measured(x, y).then(|| (u as f64 + 0.5, f64::from(plane.luminance(x, y))))
                    })
                    .collect()
            })
            .collect();
        Ok(Self { vertical, rows, width: across as f64 })
    }

    pub(super) fn rows(&self) -> usize {
        self.rows.len()
    }

    /// All samples: (row index, along, across, luminance); `along` is measured from the middle of the region.
    pub(super) fn iter(&self) -> impl Iterator<Item = (usize, f64, f64, f64)> {
        self.rows.iter().enumerate().flat_map(move |(i, row)| {
            let along = self.along(i);
            row.iter().map(move |&(u, value)| (i, along, u, value))
        })
    }

    fn along(&self, row: usize) -> f64 {
        row as f64 + 0.5 - self.rows.len() as f64 / 2.0
    }
}

/// Whether steps between columns outweigh steps between rows. Steps are taken over half the region, so that
/// noise and a mosaic's two greens don't decide.
fn is_vertical(plane: &Plane, x0: usize, y0: usize, w: usize, h: usize) -> bool {
    let mean = |x0: usize, y0: usize, w: usize, h: usize| {
        let sum: f64 = (y0..y0 + h).map(|y| plane.row(y)[x0..x0 + w].iter().map(|&v| f64::from(v)).sum::<f64>()).sum();
        sum / (w * h) as f64
    };
    let over_columns = mean(x0 + w - w / 4, y0, w / 4, h) - mean(x0, y0, w / 4, h);
    let over_rows = mean(x0, y0 + h - h / 4, w, h / 4) - mean(x0, y0, w, h / 4);
    over_columns.abs() >= over_rows.abs()
}

/// The course of the edge: across = polynomial of (along / scale), lowest power first.
#[derive(Clone, Debug)]
pub(super) struct Line {
    coefficients: Vec<f64>,
    scale: f64,
    /// +1 where luminance rises with `across`, else -1.
    pub(super) sign: f64,
}

impl Line {
    pub(super) fn at(&self, along: f64) -> f64 {
        let t = along / self.scale;
        self.coefficients.iter().rev().fold(0.0, |sum, c| sum * t + c)
    }

    /// d(across)/d(along).
    pub(super) fn slope(&self, along: f64) -> f64 {
        let t = along / self.scale;
        let terms = self.coefficients.iter().enumerate().skip(1).rev();
        terms.fold(0.0, |sum, (k, c)| sum * t + k as f64 * c) / self.scale
    }

    pub(super) fn slope_middle(&self) -> f64 {
        self.slope(0.0)
    }

    pub(super) fn degree(&self) -> usize {
        self.coefficients.len() - 1
    }

    /// Distance of a sample from the edge along the edge's normal, px, positive on the bright side.
    pub(super) fn distance(&self, along: f64, across: f64) -> f64 {
        self.sign * (across - self.at(along)) / self.slope(along).hypot(1.0)
    }
}

/// Fits the edge's course: coarse peak of the derivative in each row, then centroids near the line, robustly.
pub(super) fn fit(samples: &Samples, degree: Option<usize>) -> Result<Line, EdgeError> {
    let sign = rising(samples)?;
    let coarse: Vec<(f64, f64)> =
        samples.rows.iter().enumerate().filter_map(|(i, row)| Some((samples.along(i), peak(row, sign)?))).collect();
    let mut line = polynomial(&coarse, 1, samples.rows() as f64 / 2.0, sign)?;
    let mut half = 0.35 * samples.width;
    let mut points = Vec::new();
    for _ in 0..6 {
        points = centroids(samples, &line, half);
        if points.len() < 12 {
            return Err(EdgeError::NoEdge);
        }
        line = polynomial(&points, 1, line.scale, sign)?;
        // Narrow the window to the line spread: noise far from the edge moves a centroid more than anything else.
        half = (0.6 * half).max(4.0).max(3.0 * width(samples, &line, half));
    }
    let most = degree.unwrap_or(3).clamp(1, 3);
    let least = degree.unwrap_or(1).clamp(1, 3);
    let mut best = polynomial(&points, least, line.scale, sign)?;
    for d in least + 1..=most {
        // The window follows the better line, so that its centroids are not pulled to the straight one.
        let near = centroids(samples, &best, half);
        let (low, high) =
            (polynomial(&near, best.degree(), line.scale, sign)?, polynomial(&near, d, line.scale, sign)?);
        let (a, b) = (scatter(&near, &low), scatter(&near, &high));
        // F with (d - degree, n) degrees of freedom; 12 is beyond chance at any length of edge.
        if (a - b) / b.max(1e-9) * near.len() as f64 > 12.0 * (d - low.degree()) as f64 {
            best = high;
        }
    }
    for _ in 0..2 {
        best = polynomial(&centroids(samples, &best, half), best.degree(), line.scale, sign)?;
    }
    let ends = samples.rows() as f64 / 2.0;
    let margin = 4.0;
    let inside = |v: f64| (margin..samples.width - margin).contains(&best.at(v));
    if inside(0.0) && (inside(-ends) || inside(ends)) { Ok(best) } else { Err(EdgeError::NoEdge) }
}

/// Sign of the step across the region, from its outer quarters.
fn rising(samples: &Samples) -> Result<f64, EdgeError> {
    let (mut left, mut right) = ((0.0, 0), (0.0, 0));
    for (_, _, u, value) in samples.iter() {
        if u < samples.width / 4.0 {
            left = (left.0 + value, left.1 + 1);
        } else if u > samples.width * 0.75 {
            right = (right.0 + value, right.1 + 1);
        }
    }
    let step = right.0 / f64::from(right.1.max(1)) - left.0 / f64::from(left.1.max(1));
    if step.abs() < 1e-4 {
        return Err(EdgeError::NoEdge);
    }
    // The median second difference sees noise only, since the edge takes a few samples of each row.
    let second = samples.rows.iter().flat_map(|r| r.windows(3).map(|w| (w[0].1 - 2.0 * w[1].1 + w[2].1).abs()));
    let noise = MAD_SD * middle(second.collect()) / 6f64.sqrt();
    let snr = step.abs() / noise.max(1e-9);
    if snr < LEAST_SNR { Err(EdgeError::Noisy { snr }) } else { Ok(step.signum()) }
}

/// Where a row's luminance, averaged over a few samples each side, steps most.
fn peak(row: &[(f64, f64)], sign: f64) -> Option<f64> {
    let reach = (row.len() / 8).max(2);
    let step = |i: usize| {
        let mean = |part: &[(f64, f64)]| part.iter().map(|s| s.1).sum::<f64>();
        sign * (mean(&row[i..i + reach]) - mean(&row[i - reach..i]))
    };
    let last = row.len().checked_sub(reach).filter(|&l| l >= reach)?;
    let best = (reach..=last).max_by(|&a, &b| step(a).total_cmp(&step(b)))?;
    Some((row[best - 1].0 + row.get(best).unwrap_or(&row[best - 1]).0) / 2.0)
}

/// Centroid of each row's derivative within `half` px of the line: (along, across).
fn centroids(samples: &Samples, line: &Line, half: f64) -> Vec<(f64, f64)> {
    let mut points = Vec::with_capacity(samples.rows());
    for (i, row) in samples.rows.iter().enumerate() {
        let along = samples.along(i);
        let centre = line.at(along);
        let (mut sum, mut moment, mut all) = (0.0, 0.0, 0.0);
        for pair in row.windows(2) {
            let u = (pair[0].0 + pair[1].0) / 2.0;
            let t = (u - centre) / half;
            if t.abs() < 1.0 {
                // Hamming's window, as the standard has it for locating the edge.
                let weight = 0.54 + 0.46 * (std::f64::consts::PI * t).cos();
                let step = weight * line.sign * (pair[1].1 - pair[0].1);
                sum += step;
                moment += step * (u - centre);
                all += step.abs();
            }
        }
        if sum > 0.2 * all && sum > 0.0 {
            points.push((along, centre + (moment / sum).clamp(-half, half)));
        }
    }
    points
}

/// Rough sigma of the line spread, px: half the distance over which the mean profile rises from 16 % to 84 %.
fn width(samples: &Samples, line: &Line, half: f64) -> f64 {
    let bins = (4.0 * half).ceil() as i64;
    let mut sums = vec![(0.0, 0.0); (2 * bins) as usize];
    for (_, along, u, value) in samples.iter() {
        let bin = (line.distance(along, u) * 2.0).floor() as i64 + bins;
        if let Some(s) = usize::try_from(bin).ok().and_then(|b| sums.get_mut(b)) {
            *s = (s.0 + value, s.1 + 1.0);
        }
    }
    let means: Vec<f64> = sums.iter().filter(|s| s.1 > 0.0).map(|s| s.0 / s.1).collect();
    let quarter = (means.len() / 8).max(1);
    let mean = |part: &[f64]| part.iter().sum::<f64>() / part.len().max(1) as f64;
    let (low, high) = (mean(&means[..quarter]), mean(&means[means.len() - quarter..]));
    let share = |v: f64| (v - low) / (high - low);
    means.iter().filter(|&&v| (0.159..0.841).contains(&share(v))).count() as f64 / 4.0
}

/// Least squares with Tukey's biweight (c = 4.685 robust sd), five rounds.
fn polynomial(points: &[(f64, f64)], degree: usize, scale: f64, sign: f64) -> Result<Line, EdgeError> {
    let terms = degree + 1;
    if points.len() < 3 * terms {
        return Err(EdgeError::NoEdge);
    }
    let median = middle(points.iter().map(|p| p.1).collect());
    let mut line = Line { coefficients: vec![median], scale, sign };
    for round in 0..6 {
        let residuals: Vec<f64> = points.iter().map(|p| (p.1 - line.at(p.0)).abs()).collect();
        let spread = (MAD_SD * middle(residuals.clone())).max(1e-6);
        let mut normal = nalgebra::DMatrix::<f64>::zeros(terms, terms);
        let mut right = nalgebra::DVector::<f64>::zeros(terms);
        for (point, residual) in points.iter().zip(&residuals) {
            let t = residual / (4.685 * spread);
            let weight = if round == 0 { 1.0 } else { (1.0 - t * t).max(0.0).powi(2) };
            let mut powers = vec![1.0; terms];
            for k in 1..terms {
                powers[k] = powers[k - 1] * point.0 / scale;
            }
            for a in 0..terms {
                right[a] += weight * powers[a] * point.1;
                for b in 0..terms {
                    normal[(a, b)] += weight * powers[a] * powers[b];
                }
            }
        }
        let solved = normal.cholesky().ok_or(EdgeError::NoEdge)?.solve(&right);
        line.coefficients = solved.iter().copied().collect();
    }
    Ok(line)
}

/// Mean squared distance of points from a line, outliers (beyond 4 robust sd) left out.
fn scatter(points: &[(f64, f64)], line: &Line) -> f64 {
    let residuals: Vec<f64> = points.iter().map(|p| (p.1 - line.at(p.0)).abs()).collect();
    let limit = 4.0 * MAD_SD * middle(residuals.clone());
    let kept: Vec<f64> = residuals.iter().filter(|&&r| r <= limit).map(|r| r * r).collect();
    kept.iter().sum::<f64>() / kept.len().max(1) as f64
}

fn middle(values: Vec<f64>) -> f64 {
    upper_median(values).unwrap_or(0.0)
}
