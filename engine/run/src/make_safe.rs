//! The tool's own order of de-energising, run on every way out and before every start.
//!
//! Every line has a deadline and is read back; after a line that failed the next one follows. What could not be confirmed
//! is said first, with what to do by hand. No line waits for the disk: until the first reading, events are held back.

use crate::dead::place;
use crate::energise::is_supply;
use crate::halt::Halt;
use crate::options::TOOL_ACT;
use crate::runner::Runner;
use crate::wording;
use crate::world::{Bench, Clock, Journal, Lane, People};
use futures_util::FutureExt;
use pilotage_core::Quantity;
use pilotage_evidence::event::{PROVE, SafeLine};
use pilotage_evidence::{EnergyState, Event};
use pilotage_plan::energy::{BenchState, Typed};
use pilotage_plan::program::{ProveDeadSpec, QuietOrder, ReadSpec, SafeAct};
use std::panic::AssertUnwindSafe;
use std::time::Duration;

/// Longest time of one order with its read-back.
pub(crate) const ORDER_DEADLINE: Duration = Duration::from_secs(5);
/// Longest time of proving dead beyond the deadline of its rounds: burden, four proofs and a round of six readings.
pub(crate) const PROOF_DEADLINE: Duration = Duration::from_mins(1);

/// Time between two looks while something bleeds.
const BETWEEN_LOOKS: Duration = Duration::from_millis(100);

/// Why a line was left out.
const LEFT_OUT: &str = "left out: it could energise, because a line before it was not confirmed";

/// What make safe brought.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct MadeSafe {
    /// What could not be confirmed and what to do by hand; `None` where every line was confirmed.
    pub(crate) by_hand: Option<String>,
    /// Whether a pair was read and found live.
    pub(crate) live: bool,
}

impl<B: Bench, C: Clock, J: Journal, P: People> Runner<'_, B, C, J, P> {
    /// Runs the plan to its end, whatever fails. A line that would energise unless one before it was confirmed is left out where it
    /// was not: a sink that may still hold a voltage is not switched on.
    pub(crate) async fn make_safe(&mut self, emergency: bool) -> MadeSafe {
        let plan = &self.program.make_safe;
        let acts = if emergency { &plan.emergency } else { &plan.normal };
        let mut lines = Vec::new();
        let mut proven: Option<bool> = None;
        let mut live = Vec::new();
        let (mut known, mut left_out) = (plan.from, Vec::new());
        for act in acts {
            let line = match act {
                SafeAct::Order(order) => self.line_of_order(act, order, &mut known, &mut live).await,
                // What may still hold a voltage does not bleed but feeds.
                SafeAct::BleedUntil { off, .. } if left_out.contains(&off.order().point.as_str()) => {
                    self.line(&SafeAct::Order(off.clone()), &mut live).await
                }
                _ => self.line(act, &mut live).await,
            };
            if let (SafeAct::Order(order), LEFT_OUT) = (act, line.seen.as_str()) {
                left_out.push(order.order().point.as_str());
            }
            if matches!(act, SafeAct::ProveDead(_)) {
                proven = Some(proven.unwrap_or(true) && line.confirmed);
            }
            lines.push(line);
        }
        self.log.let_out();
        // A plan that proves nothing has proven nothing; but what cannot energise need not prove.
        let proven = proven.unwrap_or(self.program.without_source.is_some() && lines.iter().all(|line| line.confirmed));
        let made = MadeSafe {
            by_hand: self.by_hand(&lines, proven, &live),
            live: !live.is_empty(),
        };
        self.settle_energy(proven);
        self.log.say(Event::MadeSafe {
            confirmed: made.by_hand.is_none(),
            emergency,
            lines,
            by_hand: made.by_hand.clone(),
        });
        self.log.flush();
        made
    }

    /// Before a run: whatever the bench was left in, it is de-energised and proven dead.
    pub(crate) async fn start_from_dead(&mut self) -> Result<(), Halt> {
        let made = self.make_safe(false).await;
        self.log.check()?;
        match made.by_hand {
            None => Ok(()),
            Some(why) if made.live => Err(Halt::NotDead(why)),
            Some(why) => Err(Halt::bench(why)),
        }
    }

    /// One order; what is known of the bench changes only where it was confirmed.
    async fn line_of_order(
        &mut self,
        act: &SafeAct,
        order: &QuietOrder,
        known: &mut BenchState,
        live: &mut Vec<String>,
    ) -> SafeLine {
        let kind = self.program.heading.item.kind;
        let (typed, after) = known.order(kind, order.order().clone());
        if matches!(typed, Typed::Energising(_)) {
            return SafeLine {
                what: described(act).0,
                confirmed: false,
                seen: LEFT_OUT.to_owned(),
            };
        }
        let line = self.line(act, live).await;
        if line.confirmed {
            *known = after;
        }
        line
    }

    /// One line: a deadline around it, and a panic inside it is a line that failed.
    async fn line(&mut self, act: &SafeAct, live: &mut Vec<String>) -> SafeLine {
        let (what, deadline) = described(act);
        let clock = self.clock;
        let done = AssertUnwindSafe(self.do_line(act, live)).catch_unwind();
        let seen = tokio::select! {
            biased;
            seen = done => seen.unwrap_or_else(|_| Err("the program itself failed here".to_owned())),
            () = clock.sleep(deadline) => Err(format!("not confirmed within {}", wording::span(deadline))),
        };
        SafeLine {
            what,
            confirmed: seen.is_ok(),
            seen: seen.unwrap_or_else(|why| why),
        }
    }

    async fn do_line(&mut self, act: &SafeAct, live: &mut Vec<String>) -> Result<String, String> {
        match act {
            SafeAct::Order(order) => self.order_off(order).await,
            SafeAct::Wait(_) | SafeAct::BleedUntil { .. } => self.quiet_line(act).await,
            SafeAct::SupplyOffUnlessDead(order, spec) => self.off_unless_dead(order, spec).await,
            SafeAct::NothingThere(points) => Ok(format!(
                "no instrument of this bench serves {points}, so it cannot energise the item"
            )),
            SafeAct::ProveDead(spec) => {
                let proof = self.prove_dead(spec, Lane::Guard).await;
                live.extend(proof.live());
                if proof.dead {
                    Ok(proof.sentence)
                } else {
                    Err(proof.sentence)
                }
            }
        }
    }

    /// A line that stands in `isolate` as well.
    pub(crate) async fn quiet_line(&mut self, act: &SafeAct) -> Result<String, String> {
        match act {
            SafeAct::Wait(span) => {
                self.clock.sleep(*span).await;
                Ok(format!("waited {}", wording::span(*span)))
            }
            SafeAct::BleedUntil {
                read,
                below,
                deadline,
                off,
            } => self.bleed(read, *below, (*deadline, off)).await,
            _ => Err("no line of switching off".to_owned()),
        }
    }

    /// What bleeds goes off only once the point reads below; a reading that fails is not below.
    async fn bleed(
        &mut self,
        read: &ReadSpec,
        below: Quantity,
        (deadline, off): (Duration, &QuietOrder),
    ) -> Result<String, String> {
        let began = self.clock.now();
        loop {
            let (_, datum) = self.try_read(read, Lane::Guard).await;
            let words = wording::datum(&datum, &read.unit);
            if datum.is_ok_and(|measured| measured.value.si().abs() < below.si()) {
                self.order_off(off).await?;
                return Ok(format!("{words}, below {below}: {} off", off.order().point));
            }
            if self.clock.now().since(began) >= deadline {
                return Err(format!(
                    "{words} after {}; {} stays on",
                    wording::span(deadline),
                    off.order().point
                ));
            }
            self.clock.sleep(BETWEEN_LOOKS).await;
        }
    }

    async fn order_off(&mut self, order: &QuietOrder) -> Result<String, String> {
        let outcome = self.bench.apply(order, Lane::Guard).await;
        let now = self.clock.now();
        match outcome {
            Ok(exchanges) => {
                if is_supply(&order.order().point, &order.order().to) == Some(false) {
                    self.supply_on = false;
                }
                let order = wording::order(order.order());
                let act = TOOL_ACT;
                self.log.hold_back(now, Event::Applied { act, order, exchanges });
                Ok("read back as ordered".to_owned())
            }
            Err(error) => {
                let words = wording::trouble(&error.trouble);
                self.log.hold_back(now, Event::Trouble(*error.trouble));
                Err(words)
            }
        }
    }

    async fn off_unless_dead(&mut self, order: &QuietOrder, spec: &ProveDeadSpec) -> Result<String, String> {
        if self.looks_dead(spec, Lane::Guard).await {
            return Ok(format!(
                "{} below its limits: the item opened by itself",
                place(&spec.at)
            ));
        }
        let seen = self.order_off(order).await?;
        Ok(format!(
            "{} not dead in time: supply switched off, {seen}",
            place(&spec.at)
        ))
    }

    /// What could not be confirmed, then what to do by hand.
    fn by_hand(&self, lines: &[SafeLine], proven: bool, live: &[String]) -> Option<String> {
        let failed: Vec<String> = lines
            .iter()
            .filter(|line| !line.confirmed)
            .map(|line| format!("{} ({})", line.what, line.seen))
            .collect();
        if failed.is_empty() && proven {
            return None;
        }
        let first = if self.program.without_source.is_some() {
            "NOT CONFIRMED OFF.".to_owned()
        } else if live.is_empty() {
            "NOT CONFIRMED DEAD.".to_owned()
        } else {
            format!("LIVE: {}. Do not touch.", wording::listed(live))
        };
        let failed = if failed.is_empty() {
            "nothing proved the output dead".to_owned()
        } else {
            failed.join("; ")
        };
        Some(format!(
            "{first} {} Not confirmed: {failed}.",
            self.program.make_safe.by_hand
        ))
    }

    fn settle_energy(&mut self, proven: bool) {
        match (proven, self.energy) {
            (true, EnergyState::Isolated) => {}
            // Only a person can say then that nothing else energises it.
            (true, _) if self.program.without_source.is_some() => {}
            (true, _) => self.set_energy(EnergyState::OutputDead, "make safe proved it"),
            (false, _) => self.set_energy(EnergyState::Unknown, "make safe could not prove it dead"),
        }
    }
}

fn described(act: &SafeAct) -> (String, Duration) {
    match act {
        SafeAct::Order(order) => (wording::order(order.order()), ORDER_DEADLINE),
        SafeAct::NothingThere(_) => ("nothing to prove dead".to_owned(), ORDER_DEADLINE),
        SafeAct::Wait(span) => (format!("wait {}", wording::span(*span)), *span + ORDER_DEADLINE),
        SafeAct::SupplyOffUnlessDead(_, spec) => (
            format!("supply off unless {} is dead", place(&spec.at)),
            spec.deadline + ORDER_DEADLINE + PROOF_DEADLINE,
        ),
        SafeAct::BleedUntil {
            read, below, deadline, ..
        } => (
            format!("bleed until {} is below {below}", read.point),
            *deadline + ORDER_DEADLINE,
        ),
        SafeAct::ProveDead(spec) => (
            format!("{PROVE} {} dead", place(&spec.at)),
            spec.deadline + PROOF_DEADLINE,
        ),
    }
}
