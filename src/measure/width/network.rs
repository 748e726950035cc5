//! The network: what it was fitted to is told by `weights.txt`, how by the example `train_widths`.

use std::sync::LazyLock;

use multiversion::multiversion;

use super::features::COUNT;
use crate::stats;

/// Derived: the numbers of `weights.txt`, as `build.rs` writes them.
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

/// Derived: as trained. How far a number may lie from its mean, in its standard deviations over the training, and the
/// range of ln sd.
const FARTHEST: f32 = 6.0;
const LOG_SD: (f64, f64) = (-4.0, 1.5);

/// Chosen: eight registers of eight numbers hold the sums. Outputs that are worked on at once, and patches.
const LANES: usize = 16;
const ROWS: usize = 4;

/// Set on the rendered landscapes of 760000, a kind of scene that the fit did not see: by the deeper members alone 88 % of
/// their tiles of 2 to 3 px lie within two standard deviations without it, 92 % with it. On the shoots kept from the fit it changes next to nothing. Standard deviation, in
/// ln width, that scenes of other kinds add to what the networks say.
const FLOOR: f64 = 0.03;

/// One layer: weights by input, as many of each as there are outputs and zeros up to whole lanes; bias alike.
struct Layer {
    outputs: usize,
    weights: Vec<f32>,
    bias: Vec<f32>,
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
        let rows = patches.len().next_multiple_of(ROWS);
        let mut scaled = vec![0.0; rows * COUNT];
        for (out, patch) in scaled.chunks_exact_mut(COUNT).zip(patches) {
            for (i, o) in out.iter_mut().enumerate() {
                *o = ((patch[i] - self.mean[i]) / self.spread[i]).clamp(-FARTHEST, FARTHEST);
            }
        }
        let outs: Vec<Vec<f32>> = self.members.iter().map(|layers| through(layers, &scaled, rows)).collect();
        (0..patches.len())
            .map(|row| together(outs.iter().map(|out| (out[row * LANES], out[row * LANES + 1]))))
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

/// What the last of some layers says of each row, whole lanes of it.
fn through(layers: &[Layer], inputs: &[f32], rows: usize) -> Vec<f32> {
    let mut values = inputs.to_vec();
    for (k, layer) in layers.iter().enumerate() {
        if k > 0 {
            swish(&mut values);
        }
        let width = layer.bias.len();
        let mut out = vec![0.0; rows * width];
        let inputs = layer.weights.len() / width;
        for (out, values) in out.chunks_exact_mut(ROWS * width).zip(values.chunks_exact(ROWS * inputs)) {
            weighted(out, &layer.bias, &layer.weights, values);
        }
        values = out;
    }
    values
}

impl Layer {
    /// From weights row by row of outputs.
    fn of(rows: &[f32], bias: &[f32]) -> Self {
        let outputs = bias.len();
        let width = outputs.next_multiple_of(LANES);
        let inputs = rows.len() / outputs.max(1);
        // What was made up to whole lanes in the layer before is zero, as are its weights.
        let mut weights = vec![0.0; inputs.next_multiple_of(if inputs == COUNT { 1 } else { LANES }) * width];
        for (i, row) in rows.chunks_exact(inputs.max(1)).enumerate() {
            for (k, weight) in row.iter().enumerate() {
                weights[k * width + i] = *weight;
            }
        }
        let mut padded = vec![0.0; width];
        padded[..outputs].copy_from_slice(bias);
        Self { outputs, weights, bias: padded }
    }
}

/// Bias and each input's weights times the input, for some rows at once. The sums run in the same order whatever the processor, and
/// are rounded once a product where it multiplies and adds in one step, as nearly all do.
#[multiversion(targets("x86_64+avx512f", "x86_64+avx2+fma"))]
fn weighted(out: &mut [f32], bias: &[f32], weights: &[f32], inputs: &[f32]) {
    let fused = multiversion::target::target_cfg_f!(any(target_feature = "fma", target_arch = "aarch64"));
    let (width, count) = (bias.len(), inputs.len() / ROWS);
    for from in (0..width).step_by(LANES) {
        let mut sums = [[0.0_f32; LANES]; ROWS];
        for sums in &mut sums {
            sums.copy_from_slice(&bias[from..from + LANES]);
        }
        for (i, weights) in weights.chunks_exact(width).enumerate() {
            let weights = &weights[from..from + LANES];
            for (row, sums) in sums.iter_mut().enumerate() {
                let input = inputs[row * count + i];
                for (sum, weight) in sums.iter_mut().zip(weights) {
                    *sum = if fused { weight.mul_add(input, *sum) } else { *sum + weight * input };
                }
            }
        }
        for (row, sums) in sums.iter().enumerate() {
            out[row * width + from..][..LANES].copy_from_slice(sums);
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
                assert_eq!(layer.weights.len(), inputs * layer.bias.len());
                inputs = layer.bias.len();
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
            let width = layer.bias.len();
            values = (0..layer.outputs)
                .map(|o| {
                    let sum = |(i, v): (usize, &f64)| v * f64::from(layer.weights[i * width + o]);
                    f64::from(layer.bias[o]) + values.iter().enumerate().map(sum).sum::<f64>()
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
