//! The two state levels by histogram (IEEE 181, 5.2.1): the occupied range is split in two halves, each has a mode.
//!
//! The mode of a histogram is off by up to half a bin (47 mV for ±12 V in 256 bins). The refined level is therefore the
//! mean of the samples within one bin width of the mode, and once more around that mean.

use super::blocks::{BLOCK, Block, Blocks, LANES};

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
    let bin = |value: f64| whole((value - blocks.lowest) * scale - 0.5);
    // Several tables, so that neighbouring equal samples do not wait for each other's count.
    let mut tables = [[0u32; BINS]; LANES];
    let mut bins = [0usize; BLOCK];
    for (_, block, samples) in blocks.iter() {
        let (first, last) = (bin(block.lowest), bin(block.highest));
        if first == last {
            tables[0][first] += samples.len() as u32;
            continue;
        }
        for (bin_of_sample, sample) in bins.iter_mut().zip(samples) {
            *bin_of_sample = bin(*sample);
        }
        for (position, bin) in bins[..samples.len()].iter().enumerate() {
            tables[position % LANES][*bin] += 1;
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

/// The whole number nearest to a position among the bins. Adding 2⁵² leaves it in the low bits of the double: unlike a
/// cast, that is done for several samples at once.
fn whole(position: f64) -> usize {
    const TO_LOW_BITS: f64 = 4_503_599_627_370_496.0;
    let last = (BINS - 1) as f64;
    let below = if position < last { position } else { last };
    let inside = if below > 0.0 { below } else { 0.0 };
    (inside + TO_LOW_BITS).to_bits() as usize % BINS
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
    masked(samples, from, to)
}

/// Sum and number of the samples within bounds. Without a branch for each sample: noise makes branches unpredictable.
fn masked(samples: &[f64], from: f64, to: f64) -> (f64, usize) {
    let mut sums = [0.0; LANES];
    let mut counts = [0.0; LANES];
    let (groups, rest) = samples.as_chunks::<LANES>();
    for group in groups {
        for lane in 0..LANES {
            let inside = if group[lane] >= from && group[lane] <= to {
                1.0
            } else {
                0.0
            };
            sums[lane] += inside * group[lane];
            counts[lane] += inside;
        }
    }
    let (mut sum, mut count) = (sums.iter().sum::<f64>(), counts.iter().sum::<f64>() as usize);
    for sample in rest.iter().filter(|sample| (from..=to).contains(*sample)) {
        sum += sample;
        count += 1;
    }
    (sum, count)
}
