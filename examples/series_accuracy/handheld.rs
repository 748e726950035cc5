//! Focus brackets and aperture series as held by hand: flat layers at their depths, each carrying a picture, seen by a
//! camera that moves, turns and breathes from frame to frame.
//!
//! No hand-held series with open terms were at hand, so these are made: each layer is warped by the frame's homography and
//! its own parallax, blurred by its own disc and the lens's diffraction, and laid over those behind it. The pictures are the
//! CC0 textures of `fixtures/`, or the files of a folder named by PICTURES (reduced to a third, which leaves them sharp).

use std::borrow::Cow;
use std::path::PathBuf;

use rustfft::num_complex::Complex;
use rustfft::{Fft, FftPlanner};
use tussock::commands::groups;
use tussock::diagnose::diagnose;
use tussock::intake::{self, Overrides};
use tussock::measure::register::Small;
use tussock::measure::{Settings, TileMap, measure};
use tussock::optics::WAVELENGTH_UM;
use tussock::quantity::{Estimate, Intent, srgb};
use tussock::series::{Answer, Ask, Lone, Pauses, Seen, group, lone, reference};
use tussock::shot::{Capture, Fact, Plane, Source};
use tussock::simulate::sensor::expose;
use tussock::simulate::{Noise, Psf};

use super::{even, export, number};

const PITCH_UM: f64 = 2.4;
/// Gaussian width that the pictures carry themselves at this size, px: what the sharpest frames read beyond pixel and
/// diffraction.
const OWN: f64 = 0.75;
/// Widest blur that counts as sharp, px.
const PERMITTED: f64 = 1.4;
/// Depth layers, far to near.
const LAYERS: usize = 9;

/// Relative luminance, mirrored beyond its rim.
struct Picture {
    width: usize,
    height: usize,
    data: Vec<f32>,
}

impl Picture {
    fn at(&self, x: f64, y: f64) -> f32 {
        let fold = |v: f64, n: usize| {
            let v = v.rem_euclid(2.0 * (n as f64 - 1.0));
            if v < n as f64 - 1.0 { v } else { 2.0 * (n as f64 - 1.0) - v }
        };
        let (x, y) = (fold(x, self.width), fold(y, self.height));
        let (i, j) = ((x as usize).min(self.width - 2), (y as usize).min(self.height - 2));
        let (u, v) = ((x - i as f64) as f32, (y - j as f64) as f32);
        let p = |i: usize, j: usize| self.data[j * self.width + i];
        (1.0 - v) * ((1.0 - u) * p(i, j) + u * p(i + 1, j)) + v * ((1.0 - u) * p(i, j + 1) + u * p(i + 1, j + 1))
    }
}

fn pictures() -> Vec<Picture> {
    let folder = std::env::var_os("PICTURES").map(PathBuf::from);
    let reduce = if folder.is_some() { 3 } else { 1 };
    let folder = folder.unwrap_or_else(|| PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/textures")));
    let mut files: Vec<PathBuf> = std::fs::read_dir(folder).into_iter().flatten().flatten().map(|e| e.path()).collect();
    files.sort();
    let shots = files.iter().filter_map(|f| intake::read(f, &Overrides::default()).ok());
    shots
        .map(|shot| {
            let (width, height) = (shot.plane.width / reduce, shot.plane.height / reduce);
            let mean = |i: usize| {
                let (x, y) = (i % width * reduce, i / width * reduce);
                let cell = (0..reduce * reduce).map(|k| shot.plane.luminance(x + k % reduce, y + k / reduce));
                cell.sum::<f32>() / (reduce * reduce) as f32
            };
            Picture { width, height, data: (0..width * height).map(mean).collect() }
        })
        .filter(|p| p.width > 200 && p.height > 200)
        .collect()
}

/// One layer of the scene: its inverse distance, 0 (far) to 1 (near), and where it is.
struct Layer {
    depth: f64,
    picture: usize,
    from: (f64, f64),
    /// Upper edge as a share of the height, and its waves; or a thing standing in the picture: middle and size.
    top: f64,
    waves: [(f64, f64, f64); 4],
    thing: Option<(f64, f64, f64)>,
}

impl Layer {
    /// Whether the layer covers a place, in shares of the picture.
    fn covers(&self, u: f64, v: f64) -> bool {
        let wave: f64 = self.waves.iter().map(|(a, f, p)| a * (f * u + p).sin()).sum();
        match self.thing {
            Some((x, y, r)) => {
                let angle = (v - y).atan2(u - x);
                let edge: f64 =
                    self.waves.iter().map(|(a, f, p)| 4.0 * a * ((f / 4.0).round() * angle + p).sin()).sum();
                (u - x).hypot(v - y) < r * (1.0 + edge)
            }
            None => v > self.top + wave,
        }
    }
}

/// How one frame was taken.
struct Pose {
    focus: f64,
    f_number: f64,
    shift: (f64, f64),
    turn: f64,
    scale: f64,
    tilt: (f64, f64),
    parallax: (f64, f64),
    exposure: f32,
    seed: u64,
}

/// The scene, and how wide the disc of a unit of inverse distance is at f/2.8, px.
struct Scene {
    width: usize,
    height: usize,
    layers: Vec<Layer>,
    pictures: Vec<Picture>,
    span: f64,
}

fn scene(width: usize, span: f64, dice: &mut u64) -> Scene {
    let pictures = pictures();
    let mut layer = |depth: f64, top: f64, thing: Option<(f64, f64, f64)>| {
        let mut waves = [(0.0, 0.0, 0.0); 4];
        waves.iter_mut().enumerate().for_each(|(i, w)| {
            *w = (0.02 / (1.0 + i as f64) * even(dice), 6.0 * (1.0 + 2.0 * i as f64), 6.0 * even(dice));
        });
        let picture = (even(dice) * pictures.len() as f64) as usize % pictures.len().max(1);
        Layer { depth, picture, from: (2000.0 * even(dice), 2000.0 * even(dice)), top, waves, thing }
    };
    let mut layers: Vec<Layer> = (0..LAYERS)
        .map(|i| {
            let share = i as f64 / (LAYERS - 1) as f64;
            layer(share, if i == 0 { -1.0 } else { 0.25 + 0.7 * share }, None)
        })
        .collect();
    layers.push(layer(0.45, 0.0, Some((0.3, 0.45, 0.13))));
    layers.push(layer(0.8, 0.0, Some((0.68, 0.6, 0.15))));
    layers.sort_by(|a, b| a.depth.total_cmp(&b.depth));
    Scene { width, height: width * 3 / 4, layers, pictures, span }
}

impl Scene {
    /// Where a place of the frame, px, lies in the scene as a layer has it.
    fn back(&self, pose: &Pose, layer: &Layer, x: f64, y: f64) -> (f64, f64) {
        let (w, h) = (self.width as f64, self.height as f64);
        let (cx, cy) = (x - w / 2.0 - pose.shift.0, y - h / 2.0 - pose.shift.1);
        let (c, s) = (pose.turn.cos() / pose.scale, pose.turn.sin() / pose.scale);
        let (rx, ry) = (c * cx + s * cy, -s * cx + c * cy);
        let z = 1.0 + pose.tilt.0 * rx / w + pose.tilt.1 * ry / w;
        (rx / z + w / 2.0 - pose.parallax.0 * layer.depth, ry / z + h / 2.0 - pose.parallax.1 * layer.depth)
    }

    fn psf(&self, pose: &Pose, layer: &Layer) -> Psf {
        let disc_px = self.span * (layer.depth - pose.focus).abs() * 2.8 / pose.f_number;
        Psf::lens(pose.f_number, PITCH_UM, disc_px * PITCH_UM).softened(0.25, 0.25, 0.0)
    }

    /// Width that a layer has in a frame, px.
    fn truth(&self, pose: &Pose, layer: &Layer) -> f64 {
        self.psf(pose, layer).softened(OWN, OWN, 0.0).truth().sigma
    }

    fn render(&self, pose: &Pose) -> Plane {
        let (w, h) = (self.width, self.height);
        let margin = 64;
        let (fw, fh) = (w + 2 * margin, h + 2 * margin);
        let (pad_w, pad_h) = (fw.next_power_of_two().max(fw), fh.next_power_of_two().max(fh));
        let mut planner = FftPlanner::new();
        let forward = [planner.plan_fft_forward(pad_w), planner.plan_fft_forward(pad_h)];
        let inverse = [planner.plan_fft_inverse(pad_w), planner.plan_fft_inverse(pad_h)];
        let mut sum = vec![0.0f32; w * h];
        for layer in &self.layers {
            let mut field = vec![Complex::new(0.0f32, 0.0); pad_w * pad_h];
            let picture = &self.pictures[layer.picture];
            for y in 0..pad_h {
                for x in 0..pad_w {
                    let at = (x.min(fw - 1) as f64 - margin as f64, y.min(fh - 1) as f64 - margin as f64);
                    let (u, v) = self.back(pose, layer, at.0, at.1);
                    if layer.covers(u / w as f64, v / h as f64) {
                        let level = picture.at(u + layer.from.0, v + layer.from.1);
                        field[y * pad_w + x] = Complex::new(0.05 + 0.8 * level, 1.0);
                    }
                }
            }
            blur(&mut field, (pad_w, pad_h), &self.psf(pose, layer), &forward, &inverse);
            for y in 0..h {
                for x in 0..w {
                    let c = field[(y + margin) * pad_w + x + margin];
                    let alpha = c.im.clamp(0.0, 1.0);
                    let at = &mut sum[y * w + x];
                    *at = *at * (1.0 - alpha) + c.re.max(0.0);
                }
            }
        }
        sum.iter_mut().for_each(|v| *v *= pose.exposure);
        expose(&sum, w, h, Noise::at_snr(60.0, 0.3), pose.seed)
    }

    /// The layer that a place of a frame shows.
    fn shown(&self, pose: &Pose, x: f64, y: f64) -> &Layer {
        let covers = |l: &&Layer| {
            let (u, v) = self.back(pose, l, x, y);
            l.covers(u / self.width as f64, v / self.height as f64)
        };
        self.layers.iter().rev().find(covers).unwrap_or(&self.layers[0])
    }
}

/// Blurs by a transfer function that is the same in all directions.
fn blur(
    field: &mut Vec<Complex<f32>>,
    (w, h): (usize, usize),
    psf: &Psf,
    forward: &[std::sync::Arc<dyn Fft<f32>>; 2],
    inverse: &[std::sync::Arc<dyn Fft<f32>>; 2],
) {
    let transfer = psf.transfer();
    let fine = 2000;
    let table: Vec<f32> = (0..=fine).map(|i| transfer.at(0.75 * f64::from(i) / f64::from(fine), 0.0) as f32).collect();
    let both = |field: &mut Vec<Complex<f32>>, fft: &[std::sync::Arc<dyn Fft<f32>>; 2]| {
        field.chunks_exact_mut(w).for_each(|row| fft[0].process(row));
        let mut turned: Vec<Complex<f32>> = (0..w * h).map(|i| field[i % h * w + i / h]).collect();
        turned.chunks_exact_mut(h).for_each(|column| fft[1].process(column));
        *field = (0..w * h).map(|i| turned[i % w * h + i / w]).collect();
    };
    both(field, forward);
    let signed = |i: usize, n: usize| if i > n / 2 { i as f64 / n as f64 - 1.0 } else { i as f64 / n as f64 };
    let scale = 1.0 / (w * h) as f32;
    for (i, v) in field.iter_mut().enumerate() {
        let f = signed(i % w, w).hypot(signed(i / w, h));
        *v *= table[((f / 0.75 * f64::from(fine)) as usize).min(fine as usize)] * scale;
    }
    both(field, inverse);
}

/// BREATHING is by how many thousandths the lens enlarges as it is focused near, STOPS how far apart exposures are at most.
fn pose(scene: &Scene, focus: f64, f_number: f64, dice: &mut u64) -> Pose {
    let (breathing, stops) = (number("BREATHING", 40) as f64 / 1000.0, number("STOPS", 1) as f64);
    let mut swing = |by: f64| by * (2.0 * even(dice) - 1.0);
    let w = scene.width as f64;
    Pose {
        focus,
        f_number,
        shift: (swing(0.02 * w), swing(0.02 * w)),
        turn: swing(0.006),
        scale: 1.0 + breathing * focus + swing(0.004),
        tilt: (swing(0.01), swing(0.01)),
        parallax: (swing(0.012 * w), swing(0.012 * w)),
        exposure: 0.5f32.powf((3.0 * stops * even(dice)).floor() as f32 / 3.0),
        seed: (even(dice) * 1e9) as u64,
    }
}

/// Which hand-held frames are found to show one scene: COUNT brackets of FRAMES frames, LONG px wide, each followed by one of
/// another place of the same pictures, laid out the same. One frame in the middle of each is made smaller, another is a
/// quarter turned without saying so.
pub fn joined(seed: u64) {
    let (count, long, frames) = (number("COUNT", 4), number("LONG", 880), number("FRAMES", 8));
    let mut planes = Vec::new();
    let mut of = Vec::new();
    for i in 0..count {
        let mut dice = seed.wrapping_mul(49_979_687).wrapping_add(7919 * i as u64);
        let mut scene = scene(long, 20.0 + 20.0 * even(&mut dice), &mut dice);
        for place in 0..2 {
            for k in 0..frames {
                let plane = scene.render(&pose(&scene, 1.0 - k as f64 / (frames - 1) as f64, 2.8, &mut dice));
                planes.push(match k {
                    2 if place == 0 => export::by(&plane, 3, 2),
                    4 if place == 1 => turned(&plane),
                    _ => plane,
                });
                of.push((2 * i + place, k == 4 && place == 1));
            }
            // The next: other parts of the same pictures, an hour's walk away or the next stretch of the same meadow.
            scene.layers.iter_mut().for_each(|l| l.from = (2000.0 * even(&mut dice), 2000.0 * even(&mut dice)));
        }
    }
    let capture = Capture::default();
    let seen: Vec<(Small, TileMap)> =
        planes.iter().map(|p| (Small::new(p), measure(p, &Settings::default()))).collect();
    let members: Vec<Seen> = seen
        .iter()
        .map(|(small, map)| Seen {
            file: "",
            size: (map.width, map.height),
            capture: &capture,
            small: small.into(),
            map: Some(map.into()),
        })
        .collect();
    let found = group(&members, Pauses::Part);
    let main = |m: &[usize]| (0..2 * count).max_by_key(|s| m.iter().filter(|k| of[**k].0 == *s).count()).unwrap_or(0);
    let strangers: usize =
        found.iter().map(|g| g.members.iter().filter(|k| of[**k].0 != main(&g.members)).count()).sum();
    let mut whole = 0;
    for scene in 0..2 * count {
        let own: Vec<usize> = (0..of.len()).filter(|&k| of[k] == (scene, false)).collect();
        let best = found.iter().map(|g| g.members.iter().filter(|m| own.contains(m)).count()).max().unwrap_or(0);
        whole += usize::from(best == own.len());
        println!("scene {scene}: {best} of {} in one group", own.len());
    }
    let alone = lone(&members, &found);
    let told = (0..of.len()).filter(|&k| of[k].1 && alone.iter().any(|a| a.0 == k && matches!(a.1, Lone::Turned(_))));
    println!(
        "{whole} of {} grouped whole; {strangers} frames in a group of another scene; turned frames told as such: {} of {count}",
        2 * count,
        told.count()
    );
}

/// The frame a quarter turn further, as a camera held upright leaves it without a tag.
fn turned(plane: &Plane) -> Plane {
    let (w, h) = (plane.width, plane.height);
    let data = (0..w * h).map(|i| plane.data[(h - 1 - i % h) * w + i / h]).collect();
    Plane { width: h, height: w, data, ..plane.clone() }
}

/// Frames taken of a scene, and what the program makes of them.
struct Told {
    groups: Vec<Vec<usize>>,
    alone: usize,
    /// Answer of the largest group, with its members.
    answer: Option<(Vec<usize>, Answer)>,
}

fn tell(planes: &[Plane], captures: &[Capture], intent: &Intent) -> Told {
    let lambda = |k: usize| captures[k].lambda_n_px(WAVELENGTH_UM);
    let maps: Vec<TileMap> =
        planes.iter().enumerate().map(|(k, p)| measure(p, &Settings::default().under(lambda(k)))).collect();
    let smalls: Vec<Small> = planes.iter().map(Small::new).collect();
    let seen: Vec<Seen> = (0..planes.len())
        .map(|k| Seen {
            file: "frame",
            size: (maps[k].width, maps[k].height),
            capture: &captures[k],
            small: (&smalls[k]).into(),
            map: Some((&maps[k]).into()),
        })
        .collect();
    let found = group(&seen, Pauses::Part);
    let alone = lone(&seen, &found).len();
    let answer = found.iter().max_by_key(|g| g.members.len()).map(|g| {
        let of: Vec<Seen> = g.members.iter().map(|&m| seen[m]).collect();
        let first = reference(&of);
        let m = g.members[first];
        let zones = groups::zones(&of[first], &diagnose(&maps[m], &captures[m], None, intent));
        let ask = Ask { varied: g.varied, permitted_px: PERMITTED, limits_px: &[], subject: None, shaken: &[] };
        let answer = tussock::series::compare(&of, &zones, &ask, &|k| Some(Cow::Borrowed(&planes[g.members[k]])));
        (g.members.clone(), answer)
    });
    Told { groups: found.into_iter().map(|g| g.members).collect(), alone, answer }
}

fn keep(planes: &[Plane], name: &str) {
    let Some(folder) = std::env::var_os("OUT").map(PathBuf::from) else { return };
    let _ = std::fs::create_dir_all(&folder);
    for (k, p) in planes.iter().enumerate() {
        let level = |i: usize| srgb::f32::byte(p.luminance(i % p.width, i / p.width));
        let grey: Vec<u8> = (0..p.data.len()).map(level).collect();
        let file = folder.join(format!("{name}-{k:02}.png"));
        if let Err(e) = image::save_buffer(file, &grey, p.width as u32, p.height as u32, image::ColorType::L8) {
            eprintln!("{e}");
        }
    }
}

/// Hand-held brackets: COUNT scenes of FRAMES frames, LONG px wide.
pub fn brackets(seed: u64) {
    let (count, long, frames) = (number("COUNT", 4), number("LONG", 880), number("FRAMES", 12));
    let beyond = number("BEYOND", 0) as f64 / 100.0;
    let (mut whole, mut near_best, mut small, mut total) = (0, 0, 0, 0);
    for i in number("FROM", 0)..count {
        let mut dice = seed.wrapping_mul(15_485_867).wrapping_add(7919 * i as u64);
        let scene = scene(long, 20.0 + 20.0 * even(&mut dice), &mut dice);
        // From the nearest layer to the farthest, and beyond either by a share of their distance.
        let focus = |k: usize| 1.0 + beyond - (1.0 + 2.0 * beyond) * k as f64 / (frames - 1) as f64;
        let poses: Vec<Pose> = (0..frames).map(|k| pose(&scene, focus(k), 2.8, &mut dice)).collect();
        let planes: Vec<Plane> = poses.iter().map(|p| scene.render(p)).collect();
        keep(&planes, &format!("bracket-{seed}-{i}"));
        let captures = vec![Capture::default(); frames];
        let started = std::time::Instant::now();
        let told = tell(&planes, &captures, &Intent::default());
        let seconds = started.elapsed().as_secs_f64();
        let sizes: Vec<usize> = told.groups.iter().map(Vec::len).collect();
        total += 1;
        let Some((members, answer)) = told.answer else {
            println!("{i}: no group; {} alone", told.alone);
            continue;
        };
        whole += usize::from(members.len() + 1 >= frames);
        let anchor = answer.laid.iter().position(|l| l.is_some_and(|l| l.shift == (0.0, 0.0) && l.scale == 1.0));
        let ground = &poses[members[anchor.unwrap_or(0)]];
        // Truth by tile of the reference: which layer it shows, and its width in every frame.
        let truth: Vec<Vec<f64>> = members
            .iter()
            .map(|&m| {
                let width = |t: &tussock::quantity::Region| {
                    let layer = scene.shown(ground, t.middle().0, t.middle().1);
                    scene.truth(&poses[m], layer)
                };
                answer.tiles.iter().map(width).collect()
            })
            .collect();
        let best_truth =
            (0..members.len()).min_by(|&a, &b| worst(&truth[a]).total_cmp(&worst(&truth[b]))).map(|k| members[k]);
        let errors = width_errors(&answer, &truth);
        if std::env::var_os("VERBOSE").is_some() {
            for t in (0..answer.tiles.len()).step_by(31) {
                let layer = scene.shown(ground, answer.tiles[t].middle().0, answer.tiles[t].middle().1);
                let line = (0..members.len())
                    .map(|k| {
                        let read = answer.blurs.sigma[k][t].map_or_else(|| "-".into(), |e| format!("{:.2}", e.value));
                        format!("{read}/{:.2} ", truth[k][t])
                    })
                    .collect::<String>();
                println!("   tile {t} at depth {:.2}: {line}", layer.depth);
            }
        }
        let Some(b) = answer.bracket.as_ref() else {
            println!("{i}: groups {sizes:?}, {} alone; taken for {:?}", told.alone, answer.varied);
            continue;
        };
        let best = b.best_single.map(|k| members[k]);
        near_best += usize::from(best.zip(best_truth).is_some_and(|(a, b)| a.abs_diff(b) <= 1));
        small += usize::from(2 * b.covering_set.len() <= frames);
        let shown = |k: usize, t: usize| truth[k][t] <= PERMITTED * 1.05;
        let shown_somewhere = b.uncovered.iter().filter(|&&t| (0..members.len()).any(|k| shown(k, t))).count();
        println!(
            "{i}: groups {sizes:?}, {} alone; best {best:?} for {best_truth:?} (as good {:?}); set of {} ({:?}) for {}; uncovered \
             {} of {}, {shown_somewhere} of them wrongly; registered {}; widths median |error| {:.1} %; {seconds:.1} s",
            told.alone,
            b.as_good,
            b.covering_set.len(),
            b.covering_set,
            least_set(&truth, &answer),
            b.uncovered.len(),
            answer.tiles.len(),
            answer.laid.iter().flatten().count(),
            100.0 * errors,
        );
    }
    println!(
        "{whole} of {total} grouped but for one frame at most; best within one frame in {near_best}; sets of half the frames at most in {small}"
    );
}

/// The width that an eighth of the tiles exceed.
fn worst(widths: &[f64]) -> f64 {
    let mut sorted = widths.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted[sorted.len() * 7 / 8]
}

/// Median error of the ratio of each tile's widths to that in the truly sharpest frame.
fn width_errors(answer: &Answer, truth: &[Vec<f64>]) -> f64 {
    let mut errors = Vec::new();
    for t in 0..answer.tiles.len() {
        let known = |k: &usize| answer.blurs.sigma[*k][t].is_some();
        let Some(best) = (0..truth.len()).filter(known).min_by(|&a, &b| truth[a][t].total_cmp(&truth[b][t])) else {
            continue;
        };
        let width = |k: usize| answer.blurs.sigma[k][t].map(|e: Estimate| e.value);
        for k in (0..truth.len()).filter(|&k| k != best) {
            if let Some((a, b)) = width(k).zip(width(best)) {
                errors.push(((a / b) / (truth[k][t] / truth[best][t])).ln());
            }
        }
    }
    super::median_abs(&errors)
}

/// Size of a set that shows every tile that is compared and can be shown, chosen greedily on the truth.
fn least_set(truth: &[Vec<f64>], answer: &Answer) -> usize {
    let shown = |k: usize, t: usize| truth[k][t] <= PERMITTED * 1.02;
    let compared = |t: &usize| answer.blurs.sigma.iter().any(|f| f[*t].is_some());
    let mut open: Vec<usize> =
        (0..answer.tiles.len()).filter(compared).filter(|&t| (0..truth.len()).any(|k| shown(k, t))).collect();
    let mut count = 0;
    while !open.is_empty() {
        let gain = |k: usize| open.iter().filter(|&&t| shown(k, t)).count();
        let Some(k) = (0..truth.len()).max_by_key(|&k| gain(k)) else { break };
        open.retain(|&t| !shown(k, t));
        count += 1;
    }
    count
}

/// Hand-held aperture series of a near subject, f/1.8 to f/16, focused on the middle of the depths.
pub fn apertures(seed: u64) {
    const STOPS: [f64; 4] = [16.0, 8.0, 2.8, 1.8];
    let (count, long) = (number("COUNT", 6), number("LONG", 880));
    let (mut used, mut signs, mut close, mut spots) = (0, 0, 0, 0);
    for i in 0..count {
        let mut dice = seed.wrapping_mul(32_452_867).wrapping_add(7919 * i as u64);
        let by = export::reduced();
        let wide = (long as f64 * by).round() as usize;
        let scene = scene(wide, by * (15.0 + 10.0 * even(&mut dice)), &mut dice);
        let poses: Vec<Pose> = STOPS.iter().map(|&n| pose(&scene, 0.45, n, &mut dice)).collect();
        let planes: Vec<Plane> = poses.iter().map(|p| export::export(&scene.render(p), "close")).collect();
        keep(&planes, &format!("apertures-{seed}-{i}"));
        let capture = |n: f64| Capture { f_number: Some(Fact::new(n, Source::Given)), ..Capture::default() };
        let told = tell(&planes, &STOPS.map(capture), &Intent::default());
        let Some((members, answer)) = told.answer else {
            println!("{i}: no group");
            continue;
        };
        used += usize::from(members.len() == 4 && answer.laid.iter().all(Option::is_some));
        let anchor = answer.laid.iter().position(|l| l.is_some_and(|l| l.shift == (0.0, 0.0) && l.scale == 1.0));
        let ground = &poses[members[anchor.unwrap_or(0)]];
        // Depth of a tile of the reference.
        let shown = |t: usize| {
            let (x, y) = answer.tiles[t].middle();
            scene.shown(ground, by * x, by * y).depth
        };
        // The difference of squared widths between f/16 and f/8 on the subject, which is in focus, and at its background.
        for (name, depth) in [("subject", 0.45), ("background", 0.0)] {
            let of: Vec<usize> = (0..answer.tiles.len()).filter(|&t| (shown(t) - depth).abs() < 0.01).collect();
            let square = |k: usize, t: usize| answer.blurs.sigma[k][t].map(|e| e.value.powi(2));
            let mut read: Vec<f64> = of.iter().filter_map(|&t| Some(square(0, t)? - square(1, t)?)).collect();
            read.sort_by(f64::total_cmp);
            let layer = scene.layers.iter().find(|l| (l.depth - depth).abs() < 0.01);
            let truth = layer.map_or(0.0, |l| {
                // What reducing and sharpening do is the same in both frames.
                let s = |k: usize| (scene.truth(&poses[members[k]], l) / by).powi(2);
                s(0) - s(1)
            });
            let middle = read.get(read.len() / 2).copied().unwrap_or(f64::NAN);
            spots += 1;
            signs += usize::from(middle * truth > 0.0);
            close += usize::from((middle - truth).abs() < 0.1);
            println!("{i} {name}: {} tiles, f/16 less f/8 {middle:+.2} px^2 for {truth:+.2}", read.len());
        }
        println!(
            "{i}: {} of 4 used; {:?}",
            members.len(),
            answer.apertures.as_ref().map(|a| (a.whole, &a.whole_within, &a.left_out))
        );
        for z in &answer.zones {
            let points: Vec<String> = z.points.iter().map(|p| format!("{:.2}", p.blur.value)).collect();
            let depths = answer
                .parts
                .iter()
                .find(|p| p.name == z.name)
                .map_or_else(Vec::new, |p| p.tiles.iter().map(|&t| shown(t)).collect());
            let (least, most) = depths.iter().fold((1.0, 0.0), |m: (f64, f64), &d| (m.0.min(d), m.1.max(d)));
            println!("   {:?}: {} at depths {least:.2} to {most:.2}", z.name, points.join(" "));
        }
    }
    println!("all four used in {used} of {count}; sign right at {signs} of {spots}, within 0.1 px^2 at {close}");
}
