//! Proving dead: every pair of conductors, AC and DC, across a known burden, by a meter proven live before and after.
//!
//! The live proof is made on the bench's own reference with the meter used, not on mains; switched off, the reference must
//! read dead, or a meter that holds its last value would pass. A meter that cannot be proven says nothing, whatever it reads. This part never stops by itself: make safe uses it when everything else has failed.

use crate::options::TOOL_ACT;
use crate::runner::{Named, Runner};
use crate::values::{Known, datum_of};
use crate::wording;
use crate::world::{Bench, Clock, Journal, Lane, People};
use pilotage_core::{Datum, RunTime};
use pilotage_evidence::event::{DeadPair, DeadStatement};
use pilotage_evidence::heading::LimitPlate;
use pilotage_evidence::judge::judge_limit;
use pilotage_evidence::{Event, Verdict};
use pilotage_plan::program::{ProveDeadSpec, QuietOrder, ReadSpec};

/// Time between two rounds over all pairs.
const BETWEEN_ROUNDS: std::time::Duration = std::time::Duration::from_millis(20);

/// What proving dead brought.
#[derive(Debug, Clone)]
pub(crate) struct DeadProof {
    /// Whether every pair was below its limits and the meter was proven before and after.
    pub(crate) dead: bool,
    /// Whether the meter was proven before and after, and the burden was on.
    pub(crate) proven: bool,
    /// The last round.
    pub(crate) pairs: Vec<PairSeen>,
    /// The sentence for people.
    pub(crate) sentence: String,
}

/// One pair in the last round.
#[derive(Debug, Clone)]
pub(crate) struct PairSeen {
    /// E.g. `L-PE`.
    pub(crate) pair: String,
    /// AC.
    pub(crate) ac: LevelSeen,
    /// DC.
    pub(crate) dc: LevelSeen,
}

/// One level of a pair.
#[derive(Debug, Clone)]
pub(crate) struct LevelSeen {
    /// Its reading; `None` where the journal failed.
    pub(crate) known: Option<Known>,
    /// What was read.
    pub(crate) datum: Datum,
    /// In words.
    pub(crate) words: String,
    /// Whether it was below its limit.
    pub(crate) dead: bool,
}

impl LevelSeen {
    fn seq(&self) -> Option<u64> {
        self.known.as_ref().map(|known| known.seq)
    }
}

impl PairSeen {
    pub(crate) fn dead(&self) -> bool {
        self.ac.dead && self.dc.dead
    }

    /// A level that was read and is not dead.
    fn live(&self) -> Option<String> {
        let live = |level: &LevelSeen| !level.dead && level.datum.is_ok();
        let what = match (live(&self.ac), live(&self.dc)) {
            (true, _) => format!("{} AC", self.ac.words),
            (false, true) => format!("{} DC", self.dc.words),
            (false, false) => return None,
        };
        Some(format!("{} reads {what}", self.pair))
    }
}

/// One proof of the meter on the reference.
struct MeterProof {
    proven: bool,
    readings: Vec<Option<u64>>,
    /// AC and DC of the reference switched off: a meter that holds what it read before shows here.
    resting: Vec<Option<u64>>,
}

impl<B: Bench, C: Clock, J: Journal, P: People> Runner<'_, B, C, J, P> {
    /// Proves an output or input dead.
    pub(crate) async fn prove_dead(&mut self, spec: &ProveDeadSpec, lane: Lane) -> DeadProof {
        let plan = &self.program.dead;
        let burdened = self.try_apply(&plan.burden_on, lane).await;
        let before = self.prove_meter("before", lane).await;
        let (pairs, seen_at) = self.rounds(spec, lane).await;
        let after = self.prove_meter("after", lane).await;
        // A burden that stays on bleeds and harms nothing: it is a trouble in the journal, not a doubt about dead.
        self.try_apply(&plan.burden_off, lane).await;
        let proven = burdened && before.proven && after.proven;
        let all_below = !pairs.is_empty() && pairs.iter().all(PairSeen::dead);
        let mut proof = DeadProof {
            dead: proven && all_below,
            proven,
            sentence: String::new(),
            pairs,
        };
        proof.sentence = self.sentence(spec, &proof, seen_at);
        self.state_dead(spec, &proof, &before, &after);
        proof
    }

    /// A look at all pairs across the burden (open conductors show ghost voltages without it), but without the proof of the
    /// meter: enough to decide whether to switch off at once, never enough to say dead.
    pub(crate) async fn looks_dead(&mut self, spec: &ProveDeadSpec, lane: Lane) -> bool {
        self.try_apply(&self.program.dead.burden_on, lane).await;
        let (pairs, _) = self.rounds(spec, lane).await;
        !pairs.is_empty() && pairs.iter().all(PairSeen::dead)
    }

    /// Rounds over all pairs until all are below their limits or the deadline has passed; at least one.
    async fn rounds(&mut self, spec: &ProveDeadSpec, lane: Lane) -> (Vec<PairSeen>, RunTime) {
        let began = self.clock.now();
        loop {
            let round_began = self.clock.now();
            let mut pairs = Vec::new();
            for pair in &spec.pairs {
                pairs.push(self.look_at_pair(&spec.at, pair, lane).await);
            }
            let all_dead = pairs.iter().all(PairSeen::dead);
            if all_dead || self.clock.now().since(began) >= spec.deadline {
                return (pairs, round_began);
            }
            self.clock.sleep(BETWEEN_ROUNDS).await;
        }
    }

    async fn look_at_pair(&mut self, at: &str, pair: &str, lane: Lane) -> PairSeen {
        let program = self.program;
        let (ac_limit, dc_limit) = (&program.dead.limits.0, &program.dead.limits.1);
        let ac = format!("{at}[{pair}].voltage");
        let dc = format!("{at}[{pair}].dc_voltage");
        PairSeen {
            pair: pair.to_owned(),
            ac: self.look_at_level(&ac, ac_limit, lane).await,
            dc: self.look_at_level(&dc, dc_limit, lane).await,
        }
    }

    async fn look_at_level(&mut self, point: &str, limit: &LimitPlate, lane: Lane) -> LevelSeen {
        let spec = ReadSpec::of(point, &limit.unit);
        let (known, datum) = self.try_read(&spec, lane).await;
        LevelSeen {
            known,
            words: wording::datum(&datum, &limit.unit),
            dead: self.within(&datum, limit),
            datum,
        }
    }

    async fn prove_meter(&mut self, when: &str, lane: Lane) -> MeterProof {
        let plan = &self.program.dead;
        let (ac, dc) = (&plan.reference_reads.0, &plan.reference_reads.1);
        let mut proof = MeterProof {
            proven: true,
            readings: Vec::new(),
            resting: Vec::new(),
        };
        for (order, read, limit) in [
            (&plan.reference_ac, ac, &plan.reference_limits.0),
            (&plan.reference_dc, dc, &plan.reference_limits.1),
        ] {
            let set = self.try_apply(order, lane).await;
            let named = ReadSpec {
                name: format!("{} {when}", read.name),
                ..read.clone()
            };
            let (known, datum) = self.try_read(&named, lane).await;
            proof.proven &= set && self.within(&datum, limit);
            proof.readings.push(known.map(|known| known.seq));
        }
        // The reference is a source of its own: it must not stay on while a person relies on dead.
        proof.proven &= self.try_apply(&plan.reference_off, lane).await;
        for (read, limit) in [(ac, &plan.limits.0), (dc, &plan.limits.1)] {
            let named = ReadSpec {
                name: format!("{} off {when}", read.name),
                ..read.clone()
            };
            let (known, datum) = self.try_read(&named, lane).await;
            proof.proven &= self.within(&datum, limit);
            proof.resting.push(known.map(|known| known.seq));
        }
        proof
    }

    /// Whether a reading passes: no value never does.
    fn within(&self, datum: &Datum, limit: &LimitPlate) -> bool {
        judge_limit(datum.as_ref(), limit, self.program.heading.decision_rule).verdict == Verdict::Pass
    }

    async fn try_apply(&mut self, order: &QuietOrder, lane: Lane) -> bool {
        let words = wording::order(order.order());
        match self.bench.apply(order, lane).await {
            Ok(exchanges) => {
                self.log.say(Event::Applied {
                    act: TOOL_ACT,
                    order: words,
                    exchanges,
                });
                true
            }
            Err(error) => {
                self.log.say(Event::Trouble(*error.trouble));
                false
            }
        }
    }

    pub(crate) async fn try_read(&mut self, spec: &ReadSpec, lane: Lane) -> (Option<Known>, Datum) {
        let asked = self.clock.now();
        let outcome = self.bench.read(spec, lane).await;
        let reading = self.reading(&Named::from(spec), &outcome, asked);
        let datum = datum_of(&reading);
        let known = self.say_reading(reading);
        if let Err(error) = outcome {
            self.log.say(Event::Trouble(*error.trouble));
        }
        (known, datum)
    }

    fn sentence(&self, spec: &ProveDeadSpec, proof: &DeadProof, at: RunTime) -> String {
        let place = place(&spec.at);
        let time = wording::time_of_day(&self.options.started, at);
        let pairs = wording::listed(&spec.pairs);
        let live: Vec<String> = proof.pairs.iter().filter_map(PairSeen::live).collect();
        if proof.dead {
            format!("{place} measured dead at {time}, {pairs}, AC and DC, meter proven before and after")
        } else if !live.is_empty() {
            format!("{place} NOT dead at {time}: {}", wording::listed(&live))
        } else if proof.proven {
            format!("{place} not proven dead at {time}: not every pair could be read")
        } else {
            format!("{place} not proven dead at {time}: the meter could not be proven live before and after")
        }
    }

    /// The statement names its readings, so it needs every one of them in the journal.
    fn state_dead(&mut self, spec: &ProveDeadSpec, proof: &DeadProof, before: &MeterProof, after: &MeterProof) {
        let proofs: Option<Vec<u64>> = before.readings.iter().chain(&after.readings).copied().collect();
        let resting: Option<Vec<u64>> = before.resting.iter().chain(&after.resting).copied().collect();
        let pair = |seen: &PairSeen| {
            Some(DeadPair {
                pair: seen.pair.clone(),
                ac: seen.ac.seq()?,
                dc: seen.dc.seq()?,
                dead: seen.dead(),
            })
        };
        let pairs: Option<Vec<DeadPair>> = proof.pairs.iter().map(pair).collect();
        let (Some(proofs), Some(resting), Some(pairs)) = (proofs, resting, pairs) else {
            return;
        };
        let plan = &self.program.dead;
        let limits = [
            &plan.limits.0,
            &plan.limits.1,
            &plan.reference_limits.0,
            &plan.reference_limits.1,
        ];
        self.log.say(Event::Dead(DeadStatement {
            at: spec.at.clone(),
            dead: proof.dead,
            pairs,
            burden: self.program.dead.burden.clone(),
            proofs,
            resting,
            sentence: proof.sentence.clone(),
            limits: limits.map(Clone::clone).to_vec(),
        }));
    }
}

/// `output` for `ac_output`.
pub(crate) fn place(at: &str) -> &str {
    match at {
        "ac_output" => "output",
        "ac_input" => "input",
        "dc_output" => "DC output",
        other => other,
    }
}

impl DeadProof {
    /// Pairs that were read and are not dead, in words for a person: `L-PE reads 231 V AC`.
    pub(crate) fn live(&self) -> Vec<String> {
        self.pairs.iter().filter_map(PairSeen::live).collect()
    }
}
