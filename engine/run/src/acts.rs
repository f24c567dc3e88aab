//! Each kind of act. An error of a reading leaves a reading without value and goes on; an error of a setting stops.

use crate::energise::is_supply;
use crate::halt::Halt;
use crate::runner::{Named, Runner};
use crate::wording;
use crate::world::{Bench, Clock, Journal, People, Queues};
use futures_util::FutureExt;
use futures_util::future::LocalBoxFuture;
use pilotage_core::{Measured, Uncertainty};
use pilotage_evidence::EnergyState;
use pilotage_plan::program::{Act, ActKind, Order, QuietOrder, ReadSpec, Setting};

impl<B: Bench, C: Clock, J: Journal, P: People> Runner<'_, B, C, J, P> {
    /// Does one act. Boxed, because a capture holds acts of its own.
    pub(crate) fn act<'s>(&'s mut self, act: &'s Act) -> LocalBoxFuture<'s, Result<(), Halt>> {
        async move {
            self.log.check()?;
            self.pass.clone_from(&act.pass);
            self.values.enter_pass(&act.constants);
            tracing::trace!(number = act.number, place = act.span.place(), "act");
            self.do_act(act).await?;
            self.empty_queues(Queues::OfAct).await
        }
        .boxed_local()
    }

    async fn do_act(&mut self, act: &Act) -> Result<(), Halt> {
        let done = self.do_kind(act).await;
        self.ordered = self.ordered.and_then(|ordered| ordered.after(&act.kind));
        done
    }

    async fn do_kind(&mut self, act: &Act) -> Result<(), Halt> {
        match &act.kind {
            ActKind::Quiet(order) => self.quiet(act, order).await,
            ActKind::Energise(order) => {
                self.energise(act, order).await?;
                self.set_as_reading(order.order())
            }
            ActKind::Read(specs) => self.read_all(specs).await,
            ActKind::Capture(spec) => self.capture(spec).await,
            ActKind::Find(specs) => self.find_all(specs).await,
            ActKind::WaitFor(spec) => self.wait_for(spec).await,
            ActKind::MustNot(spec) => self.must_not(spec).await,
            ActKind::Hold(span) => {
                self.clock.sleep(*span).await;
                Ok(())
            }
            ActKind::Settle(spec) => self.settle(spec).await,
            ActKind::Ask(spec) => self.ask(spec).await,
            ActKind::Isolate(spec) => self.isolate(act.number, spec).await,
            ActKind::ProveDead(spec) => self.prove_dead_act(act, spec).await,
            ActKind::Judge(specs) => self.judge_all(specs),
        }
    }

    async fn quiet(&mut self, act: &Act, order: &QuietOrder) -> Result<(), Halt> {
        self.apply(act.number, order).await?;
        if is_supply(&order.order().point, &order.order().to) == Some(false) {
            self.supply_on = false;
        }
        let after = not_better(self.energy, act.before, act.after);
        self.set_energy(after, &wording::order(order.order()));
        self.set_as_reading(order.order())
    }

    /// A swept setting is a reading too: what was ordered, without a claim about how exactly the bench followed.
    fn set_as_reading(&mut self, order: &Order) -> Result<(), Halt> {
        let (Some(name), Setting::Amount(value, unit)) = (&order.becomes, &order.to) else {
            return self.log.check();
        };
        self.sweep.next_point();
        let datum = Ok(Measured {
            value: *value,
            uncertainty: Uncertainty::Unknown("as ordered, not measured".to_owned()),
        });
        let now = self.clock.now();
        let named = Named {
            name,
            point: &order.point,
            unit,
        };
        let reading = self.computed(&named, datum, (now, now));
        self.put_reading(reading).map(drop)
    }

    /// All at the same time: different instruments do not wait for each other.
    pub(crate) async fn read_all(&mut self, specs: &[ReadSpec]) -> Result<(), Halt> {
        let asked = self.clock.now();
        let outcomes = self.bench.read_all(specs).await;
        let mut failed = false;
        for (spec, outcome) in specs.iter().zip(&outcomes) {
            self.note_answer(spec, outcome, asked).map(drop)?;
            failed |= outcome.is_err();
        }
        if failed { self.recover().await } else { Ok(()) }
    }
}

/// The state after a setting that cannot energise: what the program says, but never better than what was proven.
pub(crate) fn not_better(now: EnergyState, before: EnergyState, after: EnergyState) -> EnergyState {
    let proven = matches!(after, EnergyState::Isolated | EnergyState::OutputDead);
    if proven && now != before { now } else { after }
}

#[cfg(test)]
mod tests {
    use super::not_better;
    use pilotage_evidence::EnergyState::{Isolated, Live, OutputDead, Unknown};

    #[test]
    fn a_setting_never_proves_anything() {
        assert_eq!(not_better(Live, Live, Unknown), Unknown);
        assert_eq!(not_better(OutputDead, OutputDead, OutputDead), OutputDead);
        assert_eq!(not_better(Unknown, OutputDead, OutputDead), Unknown);
        assert_eq!(not_better(OutputDead, Isolated, Isolated), OutputDead);
    }
}
