//! Whether the tables serve a program: every order, every reading and every capture, found out before the first byte.

use super::tables::{Capture, Serves, Service};
use super::{Problem, Tables};
use pilotage_plan::program::{
    Act, ActKind, CaptureSpec, DeadPlan, Order, Program, ProveDeadSpec, ReadSpec, SafeAct, Wanted,
};
use std::collections::BTreeMap;

impl Tables {
    /// What serves a point.
    pub(crate) fn service(&self, point: &str) -> Result<&Service, Problem> {
        self.services.get(point).ok_or_else(|| no_service(point))
    }
}

/// A point that nothing serves.
pub(crate) fn no_service(point: &str) -> Problem {
    Problem::new(
        point,
        "no instrument of this bench serves this point",
        "add it to `points` of the bench file",
    )
}

impl Capture {
    /// Number of points of a capture.
    pub(crate) fn points(&self, point: &str, capture: &CaptureSpec) -> Result<u64, Problem> {
        if !(capture.rate > 0.0 && capture.rate <= self.highest_rate_hz) {
            return Err(Problem::new(
                point,
                format!(
                    "{} samples a second are asked for, {} is the most",
                    capture.rate, self.highest_rate_hz
                ),
                "lower `rate` of the capture",
            ));
        }
        let points = (capture.length.as_secs_f64() * capture.rate).ceil();
        if points < 1.0 || points > self.most_points as f64 {
            return Err(Problem::new(
                point,
                format!("{points} points are asked for, {} is the most", self.most_points),
                "lower `rate` or `for` of the capture",
            ));
        }
        Ok(points as u64)
    }
}

/// One problem for each place and fault: a repeat of 100 does not make 100 of them.
pub(crate) type Problems = BTreeMap<(String, String), Problem>;

pub(super) fn add(problems: &mut Problems, problem: Problem) {
    problems.insert((problem.place.clone(), problem.what.clone()), problem);
}

/// What a program reads and captures that the bench does not serve, and the orders that it can send.
pub(crate) fn of<'p>(tables: &Tables, program: &'p Program) -> (Problems, Vec<&'p Order>) {
    let mut demands = Demands {
        tables,
        problems: BTreeMap::new(),
        orders: Vec::new(),
    };
    demands.program(program);
    (demands.problems, demands.orders)
}

struct Demands<'t, 'p> {
    tables: &'t Tables,
    problems: Problems,
    orders: Vec<&'p Order>,
}

impl<'p> Demands<'_, 'p> {
    fn note(&mut self, result: Result<(), Problem>) {
        if let Err(problem) = result {
            add(&mut self.problems, problem);
        }
    }

    fn program(&mut self, program: &'p Program) {
        for interlock in &program.interlocks {
            self.word(&interlock.point);
        }
        for protection in &program.protections {
            self.number(&protection.point);
        }
        for line in program.make_safe.normal.iter().chain(&program.make_safe.emergency) {
            self.safe_act(line);
        }
        if program.without_source.is_none() {
            self.dead_plan(&program.dead);
        }
        for act in program
            .steps
            .iter()
            .filter(|step| step.skipped.is_none())
            .flat_map(|step| &step.acts)
        {
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
            ActKind::Capture(capture) => self.capture(capture),
            ActKind::WaitFor(wait) => self.condition(&wait.condition.point, &wait.condition.wanted),
            ActKind::MustNot(event) => self.condition(&event.condition.point, &event.condition.wanted),
            ActKind::Settle(settle) => self.number(&settle.point),
            ActKind::Isolate(isolate) => {
                isolate.off.iter().for_each(|line| self.safe_act(line));
                isolate.prove.iter().for_each(|prove| self.prove(prove));
            }
            ActKind::ProveDead(prove) => self.prove(prove),
            ActKind::Find(_) | ActKind::Hold(_) | ActKind::Ask(_) | ActKind::Judge(_) => {}
        }
    }

    fn order(&mut self, order: &'p Order) {
        self.orders.push(order);
    }

    fn read(&mut self, read: &ReadSpec) {
        if read.unit.is_empty() {
            self.word(&read.point);
        } else {
            self.number(&read.point);
        }
    }

    fn condition(&mut self, point: &str, wanted: &Wanted) {
        match wanted {
            Wanted::Number(_) => self.number(point),
            Wanted::Word(_) => self.word(point),
        }
    }

    fn prove(&mut self, prove: &ProveDeadSpec) {
        for pair in &prove.pairs {
            self.number(&format!("{}[{pair}].voltage", prove.at));
            self.number(&format!("{}[{pair}].dc_voltage", prove.at));
        }
    }

    fn number(&mut self, point: &str) {
        let reads = |service: &Service| matches!(service.serves, Serves::Measure(_) | Serves::Amount(_));
        self.readable(point, reads, "a number");
    }

    fn word(&mut self, point: &str) {
        let reads = |service: &Service| matches!(service.serves, Serves::Word { .. } | Serves::Choose(_));
        self.readable(point, reads, "a word");
    }

    fn readable(&mut self, point: &str, reads: impl Fn(&Service) -> bool, what: &str) {
        let result = self.tables.service(point).and_then(|service| {
            if reads(service) {
                return Ok(());
            }
            Err(Problem::new(
                point,
                format!(
                    "function `{}` of {} does not answer {what}",
                    service.function, service.instrument
                ),
                "serve the point by another function",
            ))
        });
        self.note(result);
    }

    fn capture(&mut self, capture: &'p CaptureSpec) {
        for point in &capture.of {
            let result = self.tables.service(point).and_then(|service| match &service.serves {
                Serves::Capture(table) => table.points(point, capture).map(|_| ()),
                _ => Err(Problem::new(
                    point,
                    "this point cannot be captured",
                    "serve it by a `capture` function",
                )),
            });
            self.note(result);
        }
        capture.during.iter().for_each(|act| self.act(act));
    }
}
