//! The network: what it was fitted to is told by `weights.txt`, how by the example `train_widths`.
//!
//! `build.rs` turns the text into bytes, so that the program need not parse a megabyte at every start.

use std::sync::LazyLock;

use multiversion::multiversion;

use super::features::COUNT;

/// For each block of numbers that `fit.py` writes, how many there are and the numbers, four bytes each with the lowest first.
const WEIGHTS: &[u8] = include_bytes!(concat!(env!("OUT_DIR"), "/weights.bin"));

/// What one patch says: ln of the width (px) and the standard deviation of that.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Saying {
    pub log: f64,
    pub sd: f64,
}

/// How far a number may lie from its mean, in its standard deviations over the training, and the range of ln sd: as trained.
const FARTHEST: f32 = 6.0;
const LOG_SD: (f64, f64) = (-4.0, 1.5);

/// One layer: weights by input (`outputs` of them each) and bias.
struct Layer {
    outputs: usize,
    weights: Vec<f32>,
    bias: Vec<f32>,
}

/// Members of one committee behind a common scaling.
struct Network {
    mean: Vec<f32>,
    spread: Vec<f32>,
    members: Vec<[Layer; 3]>,
}

static NETWORK: LazyLock<Network> = LazyLock::new(|| Network::parse(WEIGHTS));

/// Reads some patches by their numbers.
pub(super) fn read(features: &[[f32; COUNT]]) -> Vec<Saying> {
    NETWORK.read(features)
}

impl Network {
    /// Mean and spread of the numbers, then each member's weights and bias layer by layer.
    fn parse(bytes: &[u8]) -> Self {
        let mut rest = bytes.as_chunks::<4>().0.iter();
        let mut parts: Vec<Vec<f32>> = Vec::new();
        while let Some(&count) = rest.next() {
            let count = u32::from_le_bytes(count) as usize;
            parts.push(rest.by_ref().take(count).map(|&b| f32::from_le_bytes(b)).collect());
        }
        let mut parts = parts.into_iter();
        let mut numbers = || parts.next().unwrap_or_default();
        let (mean, spread) = (numbers(), numbers());
        let mut members = Vec::new();
        loop {
            let layers: [Layer; 3] = std::array::from_fn(|_| {
                let (weights, bias) = (numbers(), numbers());
                Layer::of(&weights, bias)
            });
            if layers[0].bias.is_empty() {
                return Self { mean, spread, members };
            }
            members.push(layers);
        }
    }

    fn read(&self, features: &[[f32; COUNT]]) -> Vec<Saying> {
        let scaled: Vec<Vec<f32>> = features.iter().map(|one| self.scaled(one)).collect();
        // What each member says of each patch.
        let outs: Vec<Vec<Vec<f32>>> = self
            .members
            .iter()
            .map(|[first, second, last]| {
                let mut hidden = first.through(&scaled);
                hidden.iter_mut().flatten().for_each(swish);
                let mut hidden = second.through(&hidden);
                hidden.iter_mut().flatten().for_each(swish);
                last.through(&hidden)
            })
            .collect();
        let of = |patch: usize| outs.iter().map(move |member| &member[patch]);
        (0..features.len()).map(|patch| said(of(patch).map(|out| (f64::from(out[0]), f64::from(out[1]))))).collect()
    }

    fn scaled(&self, features: &[f32; COUNT]) -> Vec<f32> {
        let scales = self.mean.iter().zip(&self.spread);
        let scaled = features.iter().zip(scales).map(|(v, (mean, spread))| (v - mean) / spread);
        scaled.map(|v| v.clamp(-FARTHEST, FARTHEST)).collect()
    }
}

/// What the members say together: each ln of the width and ln of its standard deviation.
fn said(members: impl Iterator<Item = (f64, f64)>) -> Saying {
    let outs: Vec<(f64, f64)> = members.map(|(log, sd)| (log, sd.clamp(LOG_SD.0, LOG_SD.1))).collect();
    let n = outs.len() as f64;
    let log = outs.iter().map(|o| o.0).sum::<f64>() / n;
    // Where the members differ nothing like this patch was in the training.
    let apart = outs.iter().map(|o| (o.0 - log).powi(2)).sum::<f64>() / n;
    let variance = outs.iter().map(|o| (2.0 * o.1).exp()).sum::<f64>() / n;
    Saying { log, sd: (variance + apart).sqrt() }
}

impl Layer {
    /// From weights row by row of outputs.
    fn of(rows: &[f32], bias: Vec<f32>) -> Self {
        let outputs = bias.len();
        let inputs = rows.len() / outputs.max(1);
        let weights = (0..inputs * outputs).map(|i| rows[i % outputs * inputs + i / outputs]).collect();
        Self { outputs, weights, bias }
    }

    /// Its outputs for some patches, as many at once as a tile has, so that the weights are fetched once for all of them.
    fn through(&self, inputs: &[Vec<f32>]) -> Vec<Vec<f32>> {
        let mut out = vec![self.bias.clone(); inputs.len()];
        let mut some = inputs.chunks_exact(TOGETHER);
        let mut outs = out.chunks_exact_mut(TOGETHER);
        for (inputs, out) in some.by_ref().zip(outs.by_ref()) {
            let inputs: [&[f32]; TOGETHER] = std::array::from_fn(|k| inputs[k].as_slice());
            add_weighted(out, &self.weights, inputs, self.outputs);
        }
        for (inputs, out) in some.remainder().iter().zip(outs.into_remainder().chunks_mut(1)) {
            add_weighted(out, &self.weights, [inputs.as_slice()], self.outputs);
        }
        out
    }
}

/// Patches that are read at once, and outputs: as many sums as processors have registers for.
const TOGETHER: usize = 4;
const OUTPUTS: usize = 16;

/// Adds each input's weights, times the input, to each patch's outputs.
#[multiversion(targets("x86_64+avx2"))]
fn add_weighted<const PATCHES: usize>(
    out: &mut [Vec<f32>],
    weights: &[f32],
    inputs: [&[f32]; PATCHES],
    outputs: usize,
) {
    let whole = outputs / OUTPUTS * OUTPUTS;
    for from in (0..whole).step_by(OUTPUTS) {
        let mut sums = [[0.0_f32; OUTPUTS]; PATCHES];
        for (sums, out) in sums.iter_mut().zip(out.iter()) {
            sums.copy_from_slice(&out[from..from + OUTPUTS]);
        }
        for (i, weights) in weights.chunks_exact(outputs).enumerate() {
            let weights = &weights[from..from + OUTPUTS];
            for (sums, inputs) in sums.iter_mut().zip(inputs) {
                let input = inputs[i];
                for k in 0..OUTPUTS {
                    sums[k] += weights[k] * input;
                }
            }
        }
        for (sums, out) in sums.iter().zip(out.iter_mut()) {
            out[from..from + OUTPUTS].copy_from_slice(sums);
        }
    }
    for (out, inputs) in out.iter_mut().zip(inputs) {
        for (weights, &input) in weights.chunks_exact(outputs).zip(inputs) {
            for k in whole..outputs {
                out[k] += weights[k] * input;
            }
        }
    }
}

/// x / (1 + exp(-x)).
fn swish(v: &mut f32) {
    *v /= 1.0 + (-*v).exp();
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_weights_in_the_repository_are_whole() {
        let network = &*NETWORK;
        assert_eq!((network.mean.len(), network.spread.len()), (COUNT, COUNT));
        assert!(!network.members.is_empty());
        for [first, second, last] in &network.members {
            assert_eq!(first.weights.len(), COUNT * first.outputs);
            assert_eq!(second.weights.len(), first.outputs * second.outputs);
            assert_eq!(last.weights.len(), second.outputs * last.outputs);
            assert_eq!(last.outputs, 2);
        }
        assert!(network.spread.iter().all(|s| *s > 0.0));
    }

    #[test]
    fn members_that_differ_widen_the_error() {
        let member = |bias: f32| {
            let zero = |outputs: usize, inputs: usize| Layer::of(&vec![0.0; outputs * inputs], vec![0.0; outputs]);
            [zero(2, COUNT), zero(2, 2), Layer::of(&[0.0; 4], vec![bias, (0.1_f32).ln()])]
        };
        let alone = Network { mean: vec![0.0; COUNT], spread: vec![1.0; COUNT], members: vec![member(0.2)] };
        let saying = alone.read(&[[1.0; COUNT]])[0];
        assert!((saying.log - 0.2).abs() < 1e-6 && (saying.sd - 0.1).abs() < 1e-6, "{saying:?}");
        let both = Network { members: vec![member(0.0), member(0.4)], ..alone };
        let saying = both.read(&[[1.0; COUNT]])[0];
        assert!((saying.log - 0.2).abs() < 1e-6 && (saying.sd - 0.1_f64.hypot(0.2)).abs() < 1e-6, "{saying:?}");
    }
}
