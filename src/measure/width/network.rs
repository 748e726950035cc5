//! The network: what it was fitted to is told by `weights.txt`, how by the example `train_widths`.

use std::sync::LazyLock;

use multiversion::multiversion;

use super::features::COUNT;
use crate::stats;

/// Scaling, weights and biases of the networks, as bytes. Derived: the numbers of `weights.txt`, as `build.rs` writes them.
const NUMBERS: &[u8] = include_bytes!(concat!(env!("OUT_DIR"), "/weights.bin"));

/// What one patch says: ln of the width (px) and the standard deviation of that.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Saying {
    pub log: f64,
    pub sd: f64,
}

impl Saying {
    /// Mean and standard deviation of two sayings of which this one holds with a probability of `belief`.
    pub(super) fn mixed(self, other: Self, belief: f64) -> Self {
        let apart = self.log - other.log;
        let variance = belief * self.sd * self.sd + (1.0 - belief) * other.sd * other.sd;
        Self { log: other.log + belief * apart, sd: (variance + belief * (1.0 - belief) * apart * apart).sqrt() }
    }
}

/// How far a number may lie from its mean, in its standard deviations over the training, and the range of ln sd. Derived:
/// as trained.
const FARTHEST: f32 = 6.0;
const LOG_SD: (f64, f64) = (-4.0, 1.5);

/// Outputs and patches that are worked on at once. Chosen: twelve registers of eight numbers hold the sums, or six of sixteen.
const LANES: usize = 16;
const ROWS: usize = 6;

/// Standard deviation, in ln width, that scenes of other kinds add to what the networks say. Set on the rendered landscapes
/// of 760000, a kind of scene that the fit did not see: by the deeper members alone 88 % of their tiles of 2 to 3 px lie
/// within two standard deviations without it, 92 % with it. On the shoots kept from the fit it changes next to nothing.
const FLOOR: f64 = 0.03;

/// One layer: the outputs by whole lanes, made up with zeros; of each lane of them the weights, input by input, and the biases.
struct Layer {
    outputs: usize,
    weights: Vec<Vec<[f32; LANES]>>,
    bias: Vec<[f32; LANES]>,
}

/// Members of one committee behind a common scaling.
struct Network {
    mean: Vec<f32>,
    spread: Vec<f32>,
    members: Vec<Vec<Layer>>,
}

static NETWORK: LazyLock<Network> = LazyLock::new(|| Network::of(NUMBERS));

/// Reads patches by their numbers.
pub(super) fn read(patches: &[[f32; COUNT]]) -> Vec<Saying> {
    NETWORK.read(patches)
}

impl Network {
    fn of(bytes: &[u8]) -> Self {
        let mut numbers = bytes.chunks_exact(4).map(|b| f32::from_le_bytes([b[0], b[1], b[2], b[3]]));
        let mut part = || {
            let size = numbers.next()? as usize * numbers.next()? as usize;
            Some(numbers.by_ref().take(size).collect::<Vec<f32>>())
        };
        let mut network =
            Self { mean: part().unwrap_or_default(), spread: part().unwrap_or_default(), members: Vec::new() };
        let mut member = Vec::new();
        while let (Some(weights), Some(bias)) = (part(), part()) {
            let layer = Layer::of(&weights, &bias);
            // The last layer says the width and its error.
            let last = layer.outputs == 2;
            member.push(layer);
            if last {
                network.members.push(std::mem::take(&mut member));
            }
        }
        network
    }

    fn read(&self, patches: &[[f32; COUNT]]) -> Vec<Saying> {
        let mut scaled = vec![[0.0; ROWS]; patches.len().div_ceil(ROWS) * COUNT];
        for (out, some) in scaled.chunks_exact_mut(COUNT).zip(patches.chunks(ROWS)) {
            for (row, patch) in some.iter().enumerate() {
                for (i, o) in out.iter_mut().enumerate() {
                    o[row] = ((patch[i] - self.mean[i]) / self.spread[i]).clamp(-FARTHEST, FARTHEST);
                }
            }
        }
        let outs: Vec<Vec<[f32; ROWS]>> = self.members.iter().map(|layers| through(layers, scaled.clone())).collect();
        (0..patches.len())
            .map(|i| {
                let (at, row) = (i / ROWS * LANES, i % ROWS);
                together(outs.iter().map(|out| (out[at][row], out[at + 1][row])))
            })
            .collect()
    }
}

/// What members say together, each ln of the width and ln of its standard deviation.
fn together(outs: impl Iterator<Item = (f32, f32)> + Clone) -> Saying {
    let outs = outs.map(|(log, log_sd)| (f64::from(log), f64::from(log_sd).clamp(LOG_SD.0, LOG_SD.1)));
    let n = outs.clone().count() as f64;
    let log = outs.clone().map(|o| o.0).sum::<f64>() / n;
    // Where the members differ nothing like this patch was in the training.
    let apart = outs.clone().map(|o| (o.0 - log).powi(2)).sum::<f64>() / n;
    let variance = outs.map(|o| (2.0 * o.1).exp()).sum::<f64>() / n;
    Saying { log, sd: (variance + apart + FLOOR * FLOOR).sqrt() }
}

/// What the last of some layers says of patches, whole lanes of it. Numbers lie patch beside patch, [`ROWS`] at a time.
fn through(layers: &[Layer], inputs: Vec<[f32; ROWS]>) -> Vec<[f32; ROWS]> {
    let mut values = inputs;
    for (k, layer) in layers.iter().enumerate() {
        if k > 0 {
            swish(values.as_flattened_mut());
        }
        let inputs = layer.weights.first().map_or(1, Vec::len);
        let width = layer.bias.len() * LANES;
        let mut out = vec![[0.0; ROWS]; values.len() / inputs * width];
        for (out, values) in out.chunks_exact_mut(width).zip(values.chunks_exact(inputs)) {
            weighted(layer, values, out);
        }
        values = out;
    }
    values
}

impl Layer {
    /// From weights row by row of outputs.
    fn of(rows: &[f32], bias: &[f32]) -> Self {
        let outputs = bias.len();
        let inputs = rows.len() / outputs.max(1);
        // What was made up to whole lanes in the layer before is zero, as are its weights.
        let padded = inputs.next_multiple_of(if inputs == COUNT { 1 } else { LANES });
        let mut weights = vec![vec![[0.0; LANES]; padded]; outputs.div_ceil(LANES)];
        for (i, row) in rows.chunks_exact(inputs.max(1)).enumerate() {
            for (lanes, weight) in weights[i / LANES].iter_mut().zip(row) {
                lanes[i % LANES] = *weight;
            }
        }
        let lane = |some: &[f32]| std::array::from_fn(|i| some.get(i).copied().unwrap_or(0.0));
        Self { outputs, weights, bias: bias.chunks(LANES).map(lane).collect() }
    }
}

/// Bias and each input's weights times the input, for some patches at once. The sums run in the same order whatever the processor, and
/// are rounded once a product where it multiplies and adds in one step, as nearly all do.
#[multiversion(targets("x86_64+avx512f", "x86_64+avx2+fma"))]
fn weighted(layer: &Layer, inputs: &[[f32; ROWS]], out: &mut [[f32; ROWS]]) {
    let fused = multiversion::target::target_cfg_f!(any(target_feature = "fma", target_arch = "aarch64"));
    for ((weights, bias), out) in layer.weights.iter().zip(&layer.bias).zip(out.chunks_exact_mut(LANES)) {
        let mut sums = [*bias; ROWS];
        for (weights, inputs) in weights.iter().zip(inputs) {
            for (sums, input) in sums.iter_mut().zip(inputs) {
                for (sum, weight) in sums.iter_mut().zip(weights) {
                    *sum = if fused { weight.mul_add(*input, *sum) } else { *sum + weight * input };
                }
            }
        }
        for (i, out) in out.iter_mut().enumerate() {
            *out = sums.map(|sums| sums[i]);
        }
    }
}

/// x / (1 + exp(-x)) of each number.
#[multiversion(targets("x86_64+avx2"))]
fn swish(values: &mut [f32]) {
    for v in values {
        let x = f64::from(*v);
        *v = (x / (1.0 + stats::exp(-x))) as f32;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_weights_in_the_repository_are_whole() {
        let network = &*NETWORK;
        assert_eq!((network.mean.len(), network.spread.len()), (COUNT, COUNT));
        assert!(!network.members.is_empty());
        for layers in &network.members {
            let mut inputs = COUNT;
            for layer in layers {
                assert!(layer.weights.len() == layer.bias.len() && layer.weights.iter().all(|w| w.len() == inputs));
                inputs = layer.bias.len() * LANES;
            }
            assert_eq!(layers.last().map(|l| l.outputs), Some(2));
        }
        assert!(network.spread.iter().all(|s| *s > 0.0));
    }

    /// Layer by layer as the definition has it, one number after the other.
    fn plainly(layers: &[Layer], patch: &[f32; COUNT]) -> Vec<f64> {
        let mut values: Vec<f64> = patch.iter().map(|v| f64::from(*v)).collect();
        for (k, layer) in layers.iter().enumerate() {
            if k > 0 {
                values.iter_mut().for_each(|v| *v /= 1.0 + (-*v).exp());
            }
            values = (0..layer.outputs)
                .map(|o| {
                    let (lanes, lane) = (o / LANES, o % LANES);
                    let sum = |(v, weights): (&f64, &[f32; LANES])| v * f64::from(weights[lane]);
                    f64::from(layer.bias[lanes][lane]) + values.iter().zip(&layer.weights[lanes]).map(sum).sum::<f64>()
                })
                .collect();
        }
        values
    }

    #[test]
    fn patches_read_together_say_what_each_says_alone() {
        let mut dice = fastrand::Rng::with_seed(5);
        let network = &*NETWORK;
        let patches: Vec<[f32; COUNT]> = (0..5)
            .map(|_| std::array::from_fn(|i| network.mean[i] + network.spread[i] * (3.0 * dice.f32() - 1.5)))
            .collect();
        let all = read(&patches);
        assert!(read(&[]).is_empty());
        for (patch, saying) in patches.iter().zip(&all) {
            assert_eq!(read(std::slice::from_ref(patch)), [*saying]);
            let scaled = std::array::from_fn(|i| (patch[i] - network.mean[i]) / network.spread[i]);
            let logs: Vec<f64> = network.members.iter().map(|layers| plainly(layers, &scaled)[0]).collect();
            let mean = logs.iter().sum::<f64>() / logs.len() as f64;
            assert!((saying.log - mean).abs() < 1e-4, "{} for {mean}", saying.log);
        }
    }

    #[test]
    fn members_that_differ_widen_the_error() {
        let saying = together([(0.2, 0.1_f32.ln())].into_iter());
        assert!((saying.log - 0.2).abs() < 1e-6 && (saying.sd - 0.1_f64.hypot(FLOOR)).abs() < 1e-6, "{saying:?}");
        let saying = together([(0.0, 0.1_f32.ln()), (0.4, 0.1_f32.ln())].into_iter());
        assert!(
            (saying.log - 0.2).abs() < 1e-6 && (saying.sd - 0.1_f64.hypot(0.2).hypot(FLOOR)).abs() < 1e-6,
            "{saying:?}"
        );
    }
}
