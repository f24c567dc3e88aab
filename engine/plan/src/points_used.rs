//! What a program does with points: sets, reads and captures. Whoever asks whether a bench serves a program, and whoever draws
//! what must be connected for it, takes it from here.

use crate::program::{
    Act, ActKind, CaptureSpec, DeadPlan, Order, Program, ProveDeadSpec, ReadSpec, SafeAct, Wanted, with_inner,
};
use std::borrow::Cow;
use std::collections::BTreeSet;

/// One thing that is done with a point.
#[derive(Debug, Clone)]
pub enum Touch<'p> {
    /// It is set.
    Sets(&'p Order),
    /// A number is read.
    Number(Cow<'p, str>),
    /// A word is read.
    Word(&'p str),
    /// All of its points are captured.
    Captures(&'p CaptureSpec),
}

/// What a program does with points, make safe included, in the order of the program; what proves dead only where this bench can
/// energise.
pub fn touches(program: &Program) -> Vec<Touch<'_>> {
    let mut touches = Touches(Vec::new());
    touches.program(program);
    touches.0
}

/// Every point that a program touches, with the safety chain and what proves dead.
pub fn points_used(program: &Program) -> BTreeSet<String> {
    let mut all = Touches(Vec::new());
    all.program(program);
    all.dead_plan(&program.dead);
    // Proven before the first energising act, by every run.
    let mut used: BTreeSet<String> = ["enclosure", "hard_wired_stop"].map(str::to_owned).into();
    for opens in &program.stop_opens {
        used.insert(opens.contactor.point.to_owned());
        used.extend(opens.shows.iter().map(|read| read.point.clone()));
    }
    for touch in all.0 {
        match touch {
            Touch::Sets(order) => used.extend([order.point.clone()]),
            Touch::Number(point) => used.extend([point.into_owned()]),
            Touch::Word(point) => used.extend([point.to_owned()]),
            Touch::Captures(capture) => used.extend(capture.of.iter().cloned()),
        }
    }
    used
}

struct Touches<'p>(Vec<Touch<'p>>);

impl<'p> Touches<'p> {
    fn program(&mut self, program: &'p Program) {
        for interlock in &program.interlocks {
            self.0.push(Touch::Word(&interlock.point));
        }
        for protection in &program.protections {
            self.number(&protection.point);
        }
        let safe = &program.make_safe;
        for line in safe.normal.iter().chain(&safe.emergency) {
            self.safe_act(line);
        }
        if program.without_source.is_none() {
            self.dead_plan(&program.dead);
        }
        let running = program.steps.iter().filter(|step| step.skipped.is_none());
        for act in running.flat_map(|step| with_inner(&step.acts)) {
            self.act(act);
        }
    }

    fn dead_plan(&mut self, plan: &'p DeadPlan) {
        for order in [
            &plan.burden_on,
            &plan.burden_off,
            &plan.reference_ac,
            &plan.reference_dc,
            &plan.reference_off,
        ] {
            self.order(order.order());
        }
        self.number(&plan.reference_reads.0.point);
        self.number(&plan.reference_reads.1.point);
    }

    fn safe_act(&mut self, line: &'p SafeAct) {
        match line {
            SafeAct::Order(order) => self.order(order.order()),
            SafeAct::Wait(_) | SafeAct::NothingThere(_) => {}
            SafeAct::SupplyOffUnlessDead(order, prove) => {
                self.order(order.order());
                self.prove(prove);
            }
            SafeAct::BleedUntil { read, off, .. } => {
                self.read(read);
                self.order(off.order());
            }
            SafeAct::ProveDead(prove) => self.prove(prove),
        }
    }

    fn act(&mut self, act: &'p Act) {
        match &act.kind {
            ActKind::Quiet(order) => self.order(order.order()),
            ActKind::Energise(order) => self.order(order.order()),
            ActKind::Read(reads) => reads.iter().for_each(|read| self.read(read)),
            ActKind::Capture(capture) => self.0.push(Touch::Captures(capture)),
            ActKind::WaitFor(wait) => self.condition(&wait.condition.point, &wait.condition.wanted),
            ActKind::MustNot(event) => self.condition(&event.condition.point, &event.condition.wanted),
            ActKind::Settle(settle) => {
                self.number(&settle.point);
                let along = settle.along.iter().flat_map(|(reads, _)| reads);
                along.for_each(|read| self.read(read));
            }
            ActKind::Isolate(isolate) => {
                isolate.off.iter().for_each(|line| self.safe_act(line));
                isolate.prove.iter().for_each(|prove| self.prove(prove));
            }
            ActKind::ProveDead(prove) => self.prove(prove),
            ActKind::Find(_) | ActKind::Hold(_) | ActKind::Ask(_) | ActKind::Judge(_) => {}
        }
    }

    fn order(&mut self, order: &'p Order) {
        self.0.push(Touch::Sets(order));
    }

    fn read(&mut self, read: &'p ReadSpec) {
        if read.unit.is_empty() {
            self.0.push(Touch::Word(&read.point));
        } else {
            self.number(&read.point);
        }
    }

    fn condition(&mut self, point: &'p str, wanted: &Wanted) {
        match wanted {
            Wanted::Number(_) => self.number(point),
            Wanted::Word(_) => self.0.push(Touch::Word(point)),
        }
    }

    fn prove(&mut self, prove: &ProveDeadSpec) {
        for pair in &prove.pairs {
            for quantity in ["voltage", "dc_voltage"] {
                let point = format!("{}[{pair}].{quantity}", prove.at);
                self.0.push(Touch::Number(point.into()));
            }
        }
    }

    fn number(&mut self, point: &'p str) {
        self.0.push(Touch::Number(point.into()));
    }
}
