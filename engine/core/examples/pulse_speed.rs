//! Prints how many milliseconds the pulse parameters of one million samples take (median of 21, one thread).
#![allow(clippy::print_stdout)]

use std::time::Instant;

fn main() {
    for noise in [0.5, 0.15, 0.05] {
        let samples = pilot(1_000_000, noise);
        let times = times(&samples);
        let (fastest, median) = (times[0], times[times.len() / 2]);
        println!("1000000 samples, {noise} V of noise: {median:.3} ms (fastest {fastest:.3} ms)");
    }
    let samples = pilot(1_000_000, 0.05);
    match pilotage_core::pulse::analyse(&samples, 1e-6) {
        Ok(found) => println!("{found:#?}"),
        Err(lack) => println!("{lack}"),
    }
}

/// In rising order.
fn times(samples: &[f64]) -> Vec<f64> {
    let mut times: Vec<f64> = (0..21).map(|_| once(samples)).collect();
    times.sort_by(f64::total_cmp);
    times
}

fn once(samples: &[f64]) -> f64 {
    let start = Instant::now();
    let found = pilotage_core::pulse::analyse(std::hint::black_box(samples), 1e-6);
    std::hint::black_box(found.is_ok());
    start.elapsed().as_secs_f64() * 1e3
}

/// 1 kHz at 1 MS/s, ±12 V, 30 % duty, 5 µs edges, rectangular noise from a fixed seed.
fn pilot(count: usize, peak_to_peak: f64) -> Vec<f64> {
    let mut state = 1u64;
    let sample = |index: usize| {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        let noise = peak_to_peak * ((state >> 11) as f64 / (1u64 << 53) as f64 - 0.5);
        let phase = (index % 1000) as f64;
        let level = if phase < 5.0 {
            phase / 5.0
        } else if phase < 300.0 {
            1.0
        } else if phase < 305.0 {
            1.0 - (phase - 300.0) / 5.0
        } else {
            0.0
        };
        -12.0 + 24.0 * level + noise
    };
    (0..count).map(sample).collect()
}
