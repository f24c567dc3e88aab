//! Whether the tables serve a program: every order, every reading and every capture, found out before the first byte.

use super::tables::{Capture, Serves, Service};
use super::{Problem, Tables};
use pilotage_plan::program::{CaptureSpec, Order, Program};
use pilotage_plan::{Touch, touches};
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
    for touch in touches(program) {
        demands.touch(touch);
    }
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

    fn touch(&mut self, touch: Touch<'p>) {
        match touch {
            Touch::Sets(order) => self.orders.push(order),
            Touch::Number(point) => self.number(&point),
            Touch::Word(point) => self.word(point),
            Touch::Captures(capture) => self.capture(capture),
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

    fn capture(&mut self, capture: &CaptureSpec) {
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
    }
}
