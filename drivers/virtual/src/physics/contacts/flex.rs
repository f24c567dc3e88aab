//! Gaps while somebody flexes or pulls: a broken strand parts once in each movement, at a moment and for a length of its own.

use super::super::api::{Core, ItemSort};
use super::super::random::{Stream, uniform};
use super::super::values::Values;

/// Time of one movement, s.
const MOVEMENT_S: f64 = 0.7;

/// What moves, and since when.
#[derive(Debug, Clone)]
pub(super) struct Flexing {
    seed: u64,
    cp_s: f64,
    pe_s: f64,
    latch_s: f64,
    /// Spans in which the cable was flexed, and pulled; the last may still be open.
    flexed: Vec<(f64, f64)>,
    pulled: Vec<(f64, f64)>,
}

impl Flexing {
    pub(super) fn new(values: &Values, sort: ItemSort, seed: u64) -> Self {
        let of = |name| {
            if sort == ItemSort::CableAssembly {
                values.get(name)
            } else {
                0.0
            }
        };
        Self {
            seed,
            cp_s: of("gap_cp"),
            pe_s: of("gap_pe"),
            latch_s: of("gap_latch"),
            flexed: Vec::new(),
            pulled: Vec::new(),
        }
    }

    pub(super) fn flex(&mut self, now_s: f64, on: bool) {
        moved(&mut self.flexed, now_s, on);
    }

    pub(super) fn pull(&mut self, now_s: f64, on: bool) {
        moved(&mut self.pulled, now_s, on);
    }

    /// Whether a core is parted at a moment.
    pub(super) fn parted(&self, core: Core, at_s: f64) -> bool {
        match core {
            Core::Cp => self.gap(&self.flexed, self.cp_s, core as u64, at_s),
            Core::Pe => self.gap(&self.pulled, self.pe_s, core as u64, at_s),
            _ => false,
        }
    }

    /// Whether the latch's switch is open at a moment though nobody presses it.
    pub(super) fn latch_open(&self, at_s: f64) -> bool {
        self.gap(&self.flexed, self.latch_s, 9, at_s)
    }

    fn gap(&self, spans: &[(f64, f64)], length_s: f64, stream: u64, at_s: f64) -> bool {
        let inside = |(start_s, end_s): &&(f64, f64)| *start_s <= at_s && at_s < *end_s;
        let Some((start_s, _)) = spans.iter().find(inside).filter(|_| length_s > 0.0) else {
            return false;
        };
        let movement = libm::floor((at_s - start_s) / MOVEMENT_S);
        let phase_s = at_s - start_s - movement * MOVEMENT_S;
        let draw = |which| uniform(self.seed, Stream::Gap, stream * 2 + which, movement as u64);
        let long_s = (length_s * (0.5 + draw(1))).min(0.5 * MOVEMENT_S);
        let begins_s = draw(0) * (MOVEMENT_S - long_s);
        begins_s <= phase_s && phase_s < begins_s + long_s
    }
}

fn moved(spans: &mut Vec<(f64, f64)>, now_s: f64, on: bool) {
    if let Some(last) = spans.last_mut().filter(|(_, end_s)| *end_s > now_s) {
        last.1 = now_s;
    }
    if on {
        spans.push((now_s, f64::INFINITY));
    }
}
