//! Lowest, highest and sum of each block of samples, so that later passes touch only the blocks that hold something.

use super::lack::Lack;

/// Samples in a block: small beside a pulse period, large beside the cost of looking at a block.
pub(super) const BLOCK: usize = 64;
/// Independent running results, so that the processor need not wait for the last one.
pub(super) const LANES: usize = 8;

/// What a block holds.
#[derive(Debug, Clone, Copy)]
pub(super) struct Block {
    pub(super) lowest: f64,
    pub(super) highest: f64,
    pub(super) sum: f64,
}

/// Samples with their blocks.
#[derive(Debug)]
pub(super) struct Blocks<'a> {
    pub(super) samples: &'a [f64],
    pub(super) summaries: Vec<Block>,
    pub(super) lowest: f64,
    pub(super) highest: f64,
    pub(super) mean: f64,
    /// Mean distance between neighbours, a measure of noise.
    pub(super) roughness: f64,
}

impl<'a> Blocks<'a> {
    /// Looks at every sample once.
    pub(super) fn of(samples: &'a [f64]) -> Result<Self, Lack> {
        if samples.len() < 3 {
            return Err(Lack::TooFewSamples {
                have: samples.len(),
                need: 3,
            });
        }
        let blocks: Vec<Block> = samples.chunks(BLOCK).map(summary).collect();
        let sum: f64 = blocks.iter().map(|block| block.sum).sum();
        if !sum.is_finite() {
            return Err(Lack::NotANumber);
        }
        Ok(Self {
            samples,
            lowest: blocks
                .iter()
                .fold(f64::INFINITY, |lowest, block| lowest.min(block.lowest)),
            highest: blocks
                .iter()
                .fold(f64::NEG_INFINITY, |highest, block| highest.max(block.highest)),
            mean: sum / samples.len() as f64,
            roughness: roughness(samples),
            summaries: blocks,
        })
    }

    /// Each block with the index of its first sample and its samples.
    pub(super) fn iter(&self) -> impl Iterator<Item = (usize, &Block, &'a [f64])> {
        let parts = self.samples.chunks(BLOCK).enumerate();
        parts
            .zip(&self.summaries)
            .map(|((number, samples), block)| (number * BLOCK, block, samples))
    }
}

fn summary(samples: &[f64]) -> Block {
    let mut low = [f64::INFINITY; LANES];
    let mut high = [f64::NEG_INFINITY; LANES];
    let mut sum = [0.0; LANES];
    let (groups, rest) = samples.as_chunks::<LANES>();
    for group in groups {
        for lane in 0..LANES {
            low[lane] = if group[lane] < low[lane] {
                group[lane]
            } else {
                low[lane]
            };
            high[lane] = if group[lane] > high[lane] {
                group[lane]
            } else {
                high[lane]
            };
            sum[lane] += group[lane];
        }
    }
    let mut block = Block {
        lowest: low.into_iter().fold(f64::INFINITY, f64::min),
        highest: high.into_iter().fold(f64::NEG_INFINITY, f64::max),
        sum: sum.iter().sum(),
    };
    for sample in rest {
        block.lowest = block.lowest.min(*sample);
        block.highest = block.highest.max(*sample);
        block.sum += sample;
    }
    block
}

/// Mean of |x₁ − x₀| over pairs of neighbours: every pair of a short capture, every eighth block of a long one.
fn roughness(samples: &[f64]) -> f64 {
    let every = if samples.len() > 1 << 16 { 8 } else { 1 };
    let mut sum = 0.0;
    let mut count = 0usize;
    for part in samples.chunks(BLOCK + 1).step_by(every) {
        sum += part.windows(2).map(|pair| (pair[1] - pair[0]).abs()).sum::<f64>();
        count += part.len() - 1;
    }
    sum / count.max(1) as f64
}
