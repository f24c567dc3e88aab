//! The one way to energise: everything is checked, the intent is on disk, then the permit is given and spent.

use crate::halt::Halt;
use crate::permit::Permit;
use crate::runner::Runner;
use crate::wording;
use crate::world::{Bench, Clock, Journal, Lane, People, Purpose};
use pilotage_evidence::{EnergyState, Event};
use pilotage_plan::program::{Act, EnergisingOrder, ReadSpec, Setting};

impl<B: Bench, C: Clock, J: Journal, P: People> Runner<'_, B, C, J, P> {
    /// Sets a point that can energise.
    pub(crate) async fn energise(&mut self, act: &Act, order: &EnergisingOrder) -> Result<(), Halt> {
        if self.energy == EnergyState::Isolated {
            self.leave_isolated().await?;
        }
        self.may_energise()?;
        self.watch.all_fresh().await.map_err(Halt::Trip)?;
        self.watch.arm();
        let before = self.energy;
        if before != EnergyState::Live {
            // Whatever comes of it, from the first byte on nothing is known to be dead.
            self.set_energy(
                EnergyState::Unknown,
                &format!("about to {}", wording::order(order.order())),
            );
        }
        let permit = self.permit(act, order, before)?;
        self.send(act, order, permit).await
    }

    /// Everything that withholds permits, in words that say how to mend it.
    fn may_energise(&self) -> Result<(), Halt> {
        self.log.check()?;
        if self.watch.gate().is_shut() {
            return Err(Halt::bench(
                "something tripped: nothing may be energised any more in this run",
            ));
        }
        if !self.cautioned {
            return Err(Halt::bench(
                "the cautions were not acknowledged, so nothing may be energised",
            ));
        }
        if self.stop_proven_until.is_none_or(|until| self.clock.now() > until) {
            return Err(Halt::bench(
                "the hard-wired stop is not proven, or its proof is too old (BC-11): start a new run to prove it",
            ));
        }
        match &self.permits_withheld {
            Some(step) => Err(Halt::PermitsWithheld(step.clone())),
            None => Ok(()),
        }
    }

    /// The intent goes to disk first; only then there is a permit.
    fn permit(&mut self, act: &Act, order: &EnergisingOrder, before: EnergyState) -> Result<Permit, Halt> {
        self.log.put(Event::Intent {
            act: act.number,
            order: wording::order(order.order()),
            before,
            after: act.after,
            messages: self.bench.messages(order.order()),
        })?;
        self.log.sync()?;
        Ok(Permit::new(act.number, self.clock.now(), self.watch.gate().clone()))
    }

    async fn send(&mut self, act: &Act, order: &EnergisingOrder, permit: Permit) -> Result<(), Halt> {
        let words = wording::order(order.order());
        if is_supply(&order.order().point, &order.order().to) == Some(true) {
            self.supply_on = true;
        }
        self.order_sent();
        match self.bench.energise(order, permit).await {
            Ok(exchanges) => {
                self.order_confirmed();
                self.put_applied(act.number, words.clone(), exchanges)?;
                self.set_energy(act.after, &words);
                self.log.check()
            }
            Err(error) => Err(self.set_failed(&error)?),
        }
    }

    /// The person unlocks the isolator and steps back; the enclosure must then be read closed.
    async fn leave_isolated(&mut self) -> Result<(), Halt> {
        let prompt =
            "Close the enclosure, step back and unlock the isolator. Is it unlocked, and is nobody at the item?";
        self.confirmed_by_person(prompt, Purpose::UnlockIsolator).await?;
        // What was ordered before does not go on while a person takes their time.
        self.ordered = None;
        let spec = ReadSpec::of("enclosure", "");
        let word = self.read_point(&spec, Lane::Guard).await?.reading.word;
        if word.as_deref() != Some("closed") {
            let seen = word.unwrap_or_else(|| "nothing".to_owned());
            return Err(Halt::Person(format!(
                "the enclosure reads {seen} after the isolator was unlocked: close it and start again"
            )));
        }
        self.set_energy(
            EnergyState::OutputDead,
            "the isolator was unlocked; nothing has energised the output since",
        );
        self.log.check()
    }
}

/// Whether an order switches the supply: on or off.
pub(crate) fn is_supply(point: &str, to: &Setting) -> Option<bool> {
    match (point, to) {
        ("supply", Setting::Word(word)) => Some(word == "on"),
        _ => None,
    }
}
