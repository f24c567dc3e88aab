//! Which points a program reads, sets and captures: what must be connected for it.

use crate::program::{Act, ActKind, Order, Program, ProveDeadSpec, SafeAct, with_inner};
use std::collections::BTreeSet;

/// Every point that a program touches, make safe and what proves dead included.
pub fn points_used(program: &Program) -> BTreeSet<String> {
    let mut used = Used::default();
    used.program(program);
    used.0
}

#[derive(Default)]
struct Used(BTreeSet<String>);

impl Used {
    fn program(&mut self, program: &Program) {
        for one in &program.interlocks {
            self.point(&one.point);
        }
        for one in &program.protections {
            self.point(&one.point);
        }
        // Proven before the first energising act, by every run.
        for one in ["enclosure", "hard_wired_stop", "supply_contactor"] {
            self.point(one);
        }
        let safe = &program.make_safe;
        for line in safe.normal.iter().chain(&safe.emergency) {
            self.safe_act(line);
        }
        let dead = &program.dead;
        self.order(dead.burden_on.order());
        self.order(dead.reference_ac.order());
        self.point(&dead.reference_reads.0.point);
        self.point(&dead.reference_reads.1.point);
        let running = program.steps.iter().filter(|step| step.skipped.is_none());
        for act in running.flat_map(|step| with_inner(&step.acts)) {
            self.act(act);
        }
    }

    fn point(&mut self, point: &str) {
        self.0.insert(point.to_owned());
    }

    fn order(&mut self, order: &Order) {
        self.point(&order.point);
    }

    fn safe_act(&mut self, line: &SafeAct) {
        match line {
            SafeAct::Order(order) => self.order(order.order()),
            SafeAct::Wait(_) | SafeAct::NothingThere(_) => {}
            SafeAct::SupplyOffUnlessDead(order, spec) => {
                self.order(order.order());
                self.prove(spec);
            }
            SafeAct::BleedUntil { read, off, .. } => {
                self.point(&read.point);
                self.order(off.order());
            }
            SafeAct::ProveDead(spec) => self.prove(spec),
        }
    }

    fn prove(&mut self, spec: &ProveDeadSpec) {
        for pair in &spec.pairs {
            self.point(&format!("{}[{pair}].voltage", spec.at));
            self.point(&format!("{}[{pair}].dc_voltage", spec.at));
        }
    }

    fn act(&mut self, act: &Act) {
        match &act.kind {
            ActKind::Quiet(order) => self.order(order.order()),
            ActKind::Energise(order) => self.order(order.order()),
            ActKind::Read(specs) => specs.iter().for_each(|spec| self.point(&spec.point)),
            ActKind::Capture(capture) => capture.of.iter().for_each(|point| self.point(point)),
            ActKind::WaitFor(wait) => self.point(&wait.condition.point),
            ActKind::MustNot(must_not) => self.point(&must_not.condition.point),
            ActKind::Settle(settle) => self.point(&settle.point),
            ActKind::Isolate(isolate) => {
                isolate.off.iter().for_each(|line| self.safe_act(line));
                isolate.prove.iter().for_each(|spec| self.prove(spec));
            }
            ActKind::ProveDead(spec) => self.prove(spec),
            ActKind::Find(_) | ActKind::Hold(_) | ActKind::Ask(_) | ActKind::Judge(_) => {}
        }
    }
}
