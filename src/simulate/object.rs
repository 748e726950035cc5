//! Paints things that stand up from the ground, each on a layer of its own.

use super::canvas::{Shape, facet};
use super::noise::Dice;
use super::painter::{Painter, Tint};
use super::scene::{Kind, SceneSpec};
use super::texture::clockwise;

const WOOD: [Tint; 3] = [[108, 80], [112, 70], [100, 92]];
const ROCK: [Tint; 3] = [[102, 96], [107, 86], [97, 106]];
const BARK: [Tint; 3] = [[110, 76], [100, 84], [120, 66]];

/// Paints an object onto a see-through layer; `None` if it lies wholly outside the picture.
pub(super) fn paint(spec: &SceneSpec, index: usize, fine: usize, margin: f64) -> Option<Painter> {
    let object = spec.objects.get(index)?;
    let camera = &spec.camera;
    let inverse = 1.0 / object.ahead_m;
    let scale = camera.px_per_m(inverse);
    let foot = camera.seen(object.across_m, 0.0, inverse);
    let high = object.height_m * scale;
    let half = match object.kind {
        Kind::Post => 0.14 * high,
        Kind::Rock => 0.9 * high,
        Kind::Branch => 0.75 * high,
    };
    let (w, h) = (camera.width as f64, camera.height as f64);
    let left = (foot.0 - half).max(0.0) - margin;
    let right = (foot.0 + half).min(w) + margin;
    let top = (foot.1 - 1.15 * high).max(0.0) - margin;
    let bottom = (foot.1 + 0.25 * high).min(h) + margin;
    if right - left < 2.0 * margin + 1.0 || bottom - top < 2.0 * margin + 1.0 {
        return None;
    }
    let origin = (left.floor(), top.floor());
    let mut painter =
        Painter::new((right - origin.0).ceil() as usize, (bottom - origin.1).ceil() as usize, fine, origin, true);
    let mut dice = Dice::new(spec.seed.wrapping_mul(31).wrapping_add(index as u64));
    match object.kind {
        Kind::Post => post(&mut painter, &mut dice, foot, high),
        Kind::Rock => rock(&mut painter, &mut dice, foot, high),
        Kind::Branch => branch(&mut painter, &mut dice, foot, high),
    }
    Some(painter)
}

fn pick(tints: &[Tint; 3], dice: &mut Dice) -> Tint {
    tints[((dice.even() * 3.0) as usize).min(2)]
}

fn post(painter: &mut Painter, dice: &mut Dice, foot: (f64, f64), high: f64) {
    let half = 0.055 * high;
    let lean = 0.04 * dice.normal();
    let place = |u: f64, v: f64| (foot.0 + u * half + lean * v * high, foot.1 + 0.02 * high - v * high);
    let body = [place(-1.0, 1.0), place(1.0, 1.02), place(1.05, 0.0), place(-1.05, 0.0)];
    painter.fill(&Shape::polygon(&body), WOOD[0], |x, _| 0.26 - 0.12 * (x - foot.0) / half);
    // Grain and cracks along it.
    for _ in 0..90 {
        let (u, v) = (dice.between(-0.95, 0.95), dice.between(0.02, 0.95));
        let (long, wide) = (dice.between(0.05, 0.3), dice.between(0.015, 0.09));
        let level = dice.between(0.06, 0.42) * (1.0 - 0.35 * u);
        let tint = pick(&WOOD, dice);
        let corners = [place(u - wide, v), place(u, (v + long).min(0.99)), place((u + wide).min(1.0), v)];
        painter.fill(&Shape::polygon(&clockwise(corners.to_vec())), tint, |_, _| level);
    }
}

fn rock(painter: &mut Painter, dice: &mut Dice, foot: (f64, f64), high: f64) {
    let middle = (foot.0, foot.1 - 0.42 * high);
    let outline: Vec<_> = (0..8)
        .map(|i| {
            let t = std::f64::consts::TAU * (f64::from(i) + 0.4 * dice.even()) / 8.0;
            (middle.0 + 0.78 * high * t.cos(), middle.1 + 0.5 * high * t.sin())
        })
        .collect();
    painter.fill(&Shape::polygon(&outline), ROCK[0], |_, y| 0.24 - 0.16 * (y - middle.1) / high);
    // Large faces first, smaller breaks and grains on them.
    for k in 0..420 {
        let t = dice.between(0.0, std::f64::consts::TAU);
        let reach = dice.even().sqrt();
        let at = (middle.0 + 0.6 * high * reach * t.cos(), middle.1 + 0.36 * high * reach * t.sin());
        let (low, big) = if k < 60 { (0.1, 0.24) } else { (0.015, 0.09) };
        let r = (dice.between(low, big) * high).max(1.0);
        let level = (0.07 + 0.3 * dice.even()) * (1.0 - 0.7 * (at.1 - middle.1) / high);
        let tint = pick(&ROCK, dice);
        let corners: Vec<_> =
            facet(dice, (0.0, 0.0), r).into_iter().map(|(dx, dy)| (at.0 + dx, at.1 + 0.7 * dy)).collect();
        painter.fill(&Shape::polygon(&clockwise(corners)), tint, |_, y| level * (1.0 - 0.2 * (y - at.1) / r));
    }
}

fn branch(painter: &mut Painter, dice: &mut Dice, foot: (f64, f64), high: f64) {
    let tint = pick(&BARK, dice);
    let mut limbs = vec![((foot.0, foot.1), 1.45 + 0.15 * dice.normal(), 0.035 * high, 5)];
    while let Some((start, direction, half, left)) = limbs.pop() {
        let length = high * dice.between(0.16, 0.28) * (0.5 + 0.1 * f64::from(left));
        let end = (start.0 + length * direction.cos(), start.1 - length * direction.sin());
        let thin = (0.72 * half).max(0.5);
        let (nx, ny) = (direction.sin(), direction.cos());
        let corners = [
            (start.0 - nx * half, start.1 - ny * half),
            (end.0 - nx * thin, end.1 - ny * thin),
            (end.0 + nx * thin, end.1 + ny * thin),
            (start.0 + nx * half, start.1 + ny * half),
        ];
        let level = dice.between(0.05, 0.1);
        let lit = dice.between(0.22, 0.32);
        painter.fill(&Shape::polygon(&clockwise(corners.to_vec())), tint, |x, y| {
            let across = ((x - start.0) * nx + (y - start.1) * ny) / half;
            if across < -0.35 { lit } else { level }
        });
        if left > 0 {
            for turn in [dice.between(-0.15, 0.5), dice.between(-0.75, -0.2)] {
                if dice.even() < 0.9 {
                    limbs.push((end, direction + turn, thin, left - 1));
                }
            }
        }
    }
}
