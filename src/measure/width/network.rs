//! The network: what it was fitted to is told by `weights.txt`, how by the example `train_widths`.

use std::sync::LazyLock;

use multiversion::multiversion;

use super::features::COUNT;

/// Weights as `fit.py` writes them.
const TEXT: &str = include_str!("weights.txt");

/// What one patch says: ln of the width (px) and the standard deviation of that.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Saying {
    pub log: f64,
    pub sd: f64,
}

/// Derived: as trained. How far a number may lie from its mean, in its standard deviations over the training, and the
/// range of ln sd.
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

static NETWORK: LazyLock<Network> = LazyLock::new(|| Network::parse(TEXT));

/// Reads one patch by its numbers.
pub(super) fn read(features: &[f32; COUNT]) -> Saying {
    NETWORK.read(features)
}

impl Network {
    /// Lines starting with `#` are remarks; "name rows columns" is followed by the rows.
    fn parse(text: &str) -> Self {
        let mut lines = text.lines().filter(|l| !l.starts_with('#'));
        let mut parts: Vec<(String, usize, Vec<f32>)> = Vec::new();
        while let Some(head) = lines.next() {
            let mut words = head.split_whitespace();
            let name = words.next().unwrap_or_default().to_owned();
            let mut size = || words.next().and_then(|w| w.parse::<usize>().ok()).unwrap_or(0);
            let (rows, columns) = (size(), size());
            let numbers = lines.by_ref().take(rows).flat_map(str::split_whitespace).filter_map(|w| w.parse().ok());
            parts.push((name, columns, numbers.collect()));
        }
        let mut parts = parts.into_iter();
        let mut numbers = || parts.next().map(|p| p.2).unwrap_or_default();
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

    fn read(&self, features: &[f32; COUNT]) -> Saying {
        let scaled: Vec<f32> = features
            .iter()
            .zip(self.mean.iter().zip(&self.spread))
            .map(|(v, (mean, spread))| ((v - mean) / spread).clamp(-FARTHEST, FARTHEST))
            .collect();
        let outs: Vec<(f64, f64)> = self
            .members
            .iter()
            .map(|[first, second, last]| {
                let mut hidden = first.through(&scaled);
                hidden.iter_mut().for_each(swish);
                let mut hidden = second.through(&hidden);
                hidden.iter_mut().for_each(swish);
                let out = last.through(&hidden);
                (f64::from(out[0]), f64::from(out[1]).clamp(LOG_SD.0, LOG_SD.1))
            })
            .collect();
        let n = outs.len() as f64;
        let log = outs.iter().map(|o| o.0).sum::<f64>() / n;
        // Where the members differ nothing like this patch was in the training.
        let apart = outs.iter().map(|o| (o.0 - log).powi(2)).sum::<f64>() / n;
        let variance = outs.iter().map(|o| (2.0 * o.1).exp()).sum::<f64>() / n;
        Saying { log, sd: (variance + apart).sqrt() }
    }
}

impl Layer {
    /// From weights row by row of outputs.
    fn of(rows: &[f32], bias: Vec<f32>) -> Self {
        let outputs = bias.len();
        let inputs = rows.len() / outputs.max(1);
        let weights = (0..inputs * outputs).map(|i| rows[i % outputs * inputs + i / outputs]).collect();
        Self { outputs, weights, bias }
    }

    fn through(&self, inputs: &[f32]) -> Vec<f32> {
        let mut out = self.bias.clone();
        add_weighted(&mut out, &self.weights, inputs, self.outputs);
        out
    }
}

/// Adds each input's weights, times the input.
#[multiversion(targets("x86_64+avx2"))]
fn add_weighted(out: &mut [f32], weights: &[f32], inputs: &[f32], outputs: usize) {
    for (weights, &input) in weights.chunks_exact(outputs).zip(inputs) {
        for (o, w) in out.iter_mut().zip(weights) {
            *o += w * input;
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
        let saying = alone.read(&[1.0; COUNT]);
        assert!((saying.log - 0.2).abs() < 1e-6 && (saying.sd - 0.1).abs() < 1e-6, "{saying:?}");
        let both = Network { members: vec![member(0.0), member(0.4)], ..alone };
        let saying = both.read(&[1.0; COUNT]);
        assert!((saying.log - 0.2).abs() < 1e-6 && (saying.sd - 0.1_f64.hypot(0.2)).abs() < 1e-6, "{saying:?}");
    }
}
