//! The two state levels by histogram (IEEE 181, 5.2.1): the occupied range is split in two halves, each has a mode.
//!
//! The mode of a histogram is off by up to half a bin (47 mV for ±12 V in 256 bins). The refined level is therefore the
//! mean of the samples within one bin width of the mode, and once more around that mean.

use super::blocks::{Block, Blocks};

/// Bins of the histogram.
const BINS: usize = 256;

/// How the levels are found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum LevelMethod {
    /// Mean of the samples within one bin width of the mode.
    #[default]
    Refined,
    /// Centre of the bin with the most samples, as plain histogram methods report it.
    BinCentre,
}

/// The two levels, each with its standard uncertainty from scatter alone.
#[derive(Debug, Clone, Copy)]
pub(super) struct Levels {
    pub(super) low: (f64, f64),
    pub(super) high: (f64, f64),
}

/// Finds the levels. The samples must not all be equal.
pub(super) fn find(blocks: &Blocks<'_>, method: LevelMethod) -> Levels {
    let width = (blocks.highest - blocks.lowest) / BINS as f64;
    let counts = histogram(blocks);
    let (low_half, high_half) = counts.split_at(BINS / 2);
    let centre = |bin: usize| blocks.lowest + (bin as f64 + 0.5) * width;
    let low = centre(fullest(low_half));
    let high = centre(BINS / 2 + fullest(high_half));
    match method {
        LevelMethod::BinCentre => {
            let half_bin = crate::uncertainty::rectangular(0.5 * width);
            Levels {
                low: (low, half_bin),
                high: (high, half_bin),
            }
        }
        LevelMethod::Refined => refined(blocks, low, high, width),
    }
}

fn refined(blocks: &Blocks<'_>, low: f64, high: f64, width: f64) -> Levels {
    let [low, high] = means_around(blocks, [low, high], width);
    let [low, high] = means_around(blocks, [low.0, high.0], width);
    let scatter = |(mean, count): (f64, usize)| {
        (
            mean,
            crate::uncertainty::rectangular(width) / (count.max(1) as f64).sqrt(),
        )
    };
    Levels {
        low: scatter(low),
        high: scatter(high),
    }
}

/// How many samples lie in each bin. A block that lies in one bin is counted at once.
fn histogram(blocks: &Blocks<'_>) -> [u32; BINS] {
    let scale = BINS as f64 / (blocks.highest - blocks.lowest);
    let bin = |value: f64| (((value - blocks.lowest) * scale) as usize).min(BINS - 1);
    // Four tables, so that neighbouring equal samples do not wait for each other's count.
    let mut tables = [[0u32; BINS]; 4];
    for (_, block, samples) in blocks.iter() {
        let (first, last) = (bin(block.lowest), bin(block.highest));
        if first == last {
            tables[0][first] += samples.len() as u32;
            continue;
        }
        for (position, sample) in samples.iter().enumerate() {
            tables[position % 4][bin(*sample)] += 1;
        }
    }
    let [mut counts, others @ ..] = tables;
    for other in others {
        for (count, more) in counts.iter_mut().zip(other) {
            *count += more;
        }
    }
    counts
}

/// The first of the fullest bins.
fn fullest(counts: &[u32]) -> usize {
    let mut best = 0;
    for (bin, count) in counts.iter().enumerate() {
        if *count > counts[best] {
            best = bin;
        }
    }
    best
}

/// Mean and number of the samples within `reach` of each of two centres; the centre where there are none.
fn means_around(blocks: &Blocks<'_>, centres: [f64; 2], reach: f64) -> [(f64, usize); 2] {
    let mut sums = [0.0; 2];
    let mut counts = [0usize; 2];
    for (_, block, samples) in blocks.iter() {
        for side in 0..2 {
            let (from, to) = (centres[side] - reach, centres[side] + reach);
            let (sum, count) = part_within(block, samples, from, to);
            sums[side] += sum;
            counts[side] += count;
        }
    }
    let mean = |side: usize| {
        if counts[side] == 0 {
            centres[side]
        } else {
            sums[side] / counts[side] as f64
        }
    };
    [(mean(0), counts[0]), (mean(1), counts[1])]
}

fn part_within(block: &Block, samples: &[f64], from: f64, to: f64) -> (f64, usize) {
    if block.highest < from || block.lowest > to {
        return (0.0, 0);
    }
    if block.lowest >= from && block.highest <= to {
        return (block.sum, samples.len());
    }
    let mut sum = 0.0;
    let mut count = 0;
    for sample in samples.iter().filter(|sample| (from..=to).contains(*sample)) {
        sum += sample;
        count += 1;
    }
    (sum, count)
}
