//! Random draws that are the same on every platform, and work spread over all cores with results in order.

use std::collections::BTreeMap;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

/// splitmix64 (public domain constants).
pub(crate) struct Draw(u64);

impl Draw {
    /// Draws keyed by a purpose and a number.
    pub(crate) fn new(purpose: &str, number: u64) -> Self {
        let key = purpose
            .bytes()
            .fold(number, |key, byte| key.wrapping_mul(0x0100_0000_01b3) ^ u64::from(byte));
        let mut draw = Self(key);
        draw.bits();
        draw
    }

    fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        mixed ^ (mixed >> 31)
    }

    /// A whole number below `below`.
    pub(crate) fn below(&mut self, below: u64) -> u64 {
        self.bits() % below.max(1)
    }

    /// True once in `one_in`.
    pub(crate) fn once_in(&mut self, one_in: u64) -> bool {
        self.below(one_in) == 0
    }

    /// A number between two others.
    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * (self.bits() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// One of several.
    pub(crate) fn of<'a, T: ?Sized>(&mut self, choices: &[&'a T]) -> &'a T {
        choices[self.below(choices.len() as u64) as usize]
    }
}

/// Does `work` for every number below `count` on all cores; results come in the order of the numbers.
pub(crate) fn on_all_cores<T: Send>(count: usize, work: impl Fn(usize) -> T + Sync) -> Vec<T> {
    let next = AtomicUsize::new(0);
    let results = Mutex::new(BTreeMap::new());
    let jobs = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        for _ in 0..jobs {
            scope.spawn(|| {
                loop {
                    let index = next.fetch_add(1, Ordering::Relaxed);
                    if index >= count {
                        return;
                    }
                    let result = work(index);
                    results.lock().unwrap().insert(index, result);
                }
            });
        }
    });
    results.into_inner().unwrap().into_values().collect()
}
