//! The author's steps, one after the other, and how each ends.

use crate::consequence::{Consequence, Noticed, of};
use crate::halt::Halt;
use crate::ready::OWN_STEPS;
use crate::runner::{Progress, Runner};
use crate::world::{Bench, Clock, Journal, Lane, People};
use pilotage_evidence::event::StopCause;
use pilotage_evidence::outcome::STOPPED_BEFORE;
use pilotage_evidence::{EnergyState, Event, Side, Verdict};
use pilotage_plan::program::{Act, ActKind, ProveDeadSpec, Step, with_inner};
use tracing::Instrument;

impl<B: Bench, C: Clock, J: Journal, P: People> Runner<'_, B, C, J, P> {
    /// All steps in order.
    pub(crate) async fn steps(&mut self) -> Result<(), Halt> {
        for (place, step) in self.program.steps.iter().enumerate() {
            let index = OWN_STEPS + u32::try_from(place).unwrap_or(u32::MAX - OWN_STEPS);
            let span = tracing::debug_span!("step", id = step.head.id, index);
            self.one_step(index, step).instrument(span).await?;
        }
        Ok(())
    }

    async fn one_step(&mut self, index: u32, step: &Step) -> Result<(), Halt> {
        if let (Some(failed), true) = (&self.permits_withheld, energises(&step.acts)) {
            return Err(Halt::PermitsWithheld(failed.clone()));
        }
        self.last_step = index;
        self.log.put(Event::StepStarted { step: index })?;
        if let Some(why) = &step.skipped {
            return self.put_ended(index, Verdict::NotRun, Some(format!("does not apply: {why}")), None);
        }
        self.step = Some(Progress::new(index, step.fail_side));
        self.needs.clone_from(&step.needs);
        self.sweep.clear();
        for act in &step.acts {
            self.act(act).await?;
        }
        self.end_step_with_errors_drained().await?;
        let verdict = self.ended.last().copied().unwrap_or(Verdict::NotRun);
        let isolated = step.isolated;
        if of(Noticed::StepEnded { isolated, verdict }) == Consequence::WithholdPermits {
            let why = format!(
                "{} {} failed in isolation, so nothing may be energised",
                step.head.id, step.head.title
            );
            self.permits_withheld.get_or_insert(why);
        }
        let looks_at_bench = verdict == Verdict::Error && step.fail_side == Some(Side::Bench);
        if looks_at_bench
            && self.program.without_source.is_some()
            && of(Noticed::BenchUnfit) == Consequence::Stop(StopCause::Bench)
        {
            return Err(Halt::bench(format!(
                "{} {}: the bench is not fit to judge the item",
                step.head.id, step.head.title
            )));
        }
        Ok(())
    }

    /// Errors that instruments kept to themselves belong to the step that caused them.
    async fn end_step_with_errors_drained(&mut self) -> Result<(), Halt> {
        self.recover().await?;
        self.end_step()
    }

    /// Ends the step that runs now with the verdict of all that was noted.
    pub(crate) fn end_step(&mut self) -> Result<(), Halt> {
        for summary in self.watch.summaries() {
            self.log.put(summary)?;
        }
        match self.step.take() {
            None => Ok(()),
            Some(step) => {
                let (verdict, because, side) = step.conclude();
                self.put_ended(step.index, verdict, because, side)
            }
        }
    }

    pub(crate) fn put_ended(
        &mut self,
        step: u32,
        verdict: Verdict,
        because: Option<String>,
        side: Option<Side>,
    ) -> Result<(), Halt> {
        self.ended.push(verdict);
        let because = match self.voided_by(step, verdict) {
            Some(void) => Some(because.map_or_else(|| void.clone(), |because| format!("{because}; {void}"))),
            None => because,
        };
        self.log
            .put(Event::StepEnded {
                step,
                verdict,
                because,
                side,
            })
            .map(drop)
    }

    /// What it means that a look at the bench is not met any more.
    fn voided_by(&self, step: u32, verdict: Verdict) -> Option<String> {
        let closings = &self.program.heading.closings;
        let closing = closings.iter().find(|closing| closing.step + OWN_STEPS == step)?;
        let since = self.program.heading.steps.get(closing.since as usize)?;
        (verdict == Verdict::Error).then(|| format!("no verdict since {} {} counts", since.id, since.title))
    }

    /// After a stop: the step that ran takes what stopped it as one more verdict, the others were not run.
    pub(crate) fn end_all_steps(&mut self, halt: &Halt) {
        let why = halt.why();
        let verdict = pilotage_evidence::rollup::verdict_of_stop(halt.cause());
        let stop_side = (verdict == Verdict::Error).then_some(Side::Bench);
        let total = OWN_STEPS + u32::try_from(self.program.steps.len()).unwrap_or(u32::MAX - OWN_STEPS);
        let begun = u32::try_from(self.ended.len()).unwrap_or(u32::MAX);
        for step in begun..total {
            let (verdict, because, side) = match self.step.take() {
                Some(mut progress) => {
                    progress.note(verdict, Some(format!("stopped: {why}")), stop_side);
                    progress.conclude()
                }
                None => (Verdict::NotRun, Some(format!("{STOPPED_BEFORE}{why}")), None),
            };
            self.ended.push(verdict);
            let ended = Event::StepEnded {
                step,
                verdict,
                because,
                side,
            };
            self.log.hold_back(self.clock.now(), ended);
        }
    }

    /// A step's own proof: each level is judged where the meter was proven; anything but dead stops the run.
    pub(crate) async fn must_be_dead(&mut self, spec: &ProveDeadSpec) -> Result<(), Halt> {
        let proof = self.prove_dead(spec, Lane::Work).await;
        self.log.check()?;
        if !proof.proven {
            self.note(Verdict::Error, proof.sentence.clone(), Some(Side::Bench));
            return Err(Halt::Bench {
                why: proof.sentence,
                emergency: true,
            });
        }
        let program = self.program;
        for pair in &proof.pairs {
            for (level, limit) in [(&pair.ac, &program.dead.limits.0), (&pair.dc, &program.dead.limits.1)] {
                if let Some(known) = &level.known {
                    // What is dead is said whatever a person did or did not do.
                    self.judge_with_doubt(known, limit, None)?;
                }
            }
        }
        if proof.dead {
            return Ok(());
        }
        if proof.live().is_empty() {
            self.note(Verdict::Error, proof.sentence.clone(), Some(Side::Bench));
            return Err(Halt::Bench {
                why: proof.sentence,
                emergency: true,
            });
        }
        if spec.stops {
            Err(Halt::NotDead(proof.sentence))
        } else {
            Ok(())
        }
    }

    /// `prove_dead`: afterwards as the program says, *output dead* unless the pilot load still asks for energy.
    pub(crate) async fn prove_dead_act(&mut self, act: &Act, spec: &ProveDeadSpec) -> Result<(), Halt> {
        self.must_be_dead(spec).await?;
        if self.energy != EnergyState::Isolated && act.after != EnergyState::Isolated {
            self.set_energy(act.after, &format!("{} measured dead", crate::dead::place(&spec.at)));
        }
        self.log.check()
    }
}

/// Whether any of these acts, or of the acts within them, can energise.
fn energises(acts: &[Act]) -> bool {
    let mut all = with_inner(acts).into_iter();
    all.any(|act| matches!(act.kind, ActKind::Energise(_)))
}
