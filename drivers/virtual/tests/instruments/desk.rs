//! A bench on a desk: sends lines, lets time pass as the instruments say, and gives back what they reply.

use pilotage_core::RunTime;
use pilotage_virtual::instruments::{Outcome, Responder, bench_with};
use pilotage_virtual::physics::{Action, ItemSort, Setup, SharedWorld, World};
use std::sync::{Arc, Mutex};
use std::time::Duration;

pub(crate) struct Desk {
    pub(crate) world: SharedWorld,
    pub(crate) now: RunTime,
    instruments: Vec<(String, Box<dyn Responder + Send>)>,
}

impl Desk {
    pub(crate) fn new(seed: u64) -> Self {
        Self::with(seed, &[])
    }

    /// A bench with flaws.
    pub(crate) fn with(seed: u64, flaws: &[(&str, f64)]) -> Self {
        Self::of(seed, flaws, &[])
    }

    /// The bench of inlets and cables, at one of them.
    pub(crate) fn contacts(seed: u64, item: ItemSort, amounts: &[(&str, f64)]) -> Self {
        Self::at(item, amounts, seed, &[])
    }

    /// A bench with flaws, at an item or in a room with other parameters than the healthy ones.
    pub(crate) fn of(seed: u64, flaws: &[(&str, f64)], amounts: &[(&str, f64)]) -> Self {
        Self::at(ItemSort::WallUnit, amounts, seed, flaws)
    }

    /// The bench at a charger without high voltage.
    pub(crate) fn at_a_charger(seed: u64) -> Self {
        Self::at_a_charger_with(seed, &[])
    }

    /// A charger that differs from a healthy one.
    pub(crate) fn at_a_charger_with(seed: u64, amounts: &[(&str, f64)]) -> Self {
        Self::at(ItemSort::OnboardCharger, amounts, seed, &[])
    }

    fn at(item: ItemSort, amounts: &[(&str, f64)], seed: u64, flaws: &[(&str, f64)]) -> Self {
        let named = |values: &[(&str, f64)]| {
            values
                .iter()
                .map(|(name, value)| ((*name).to_owned(), *value))
                .collect()
        };
        let setup = Setup {
            item,
            amounts: named(amounts),
            seed: 1,
            ..Setup::default()
        };
        let world = Arc::new(Mutex::new(World::new(&setup).unwrap()));
        Self {
            instruments: bench_with(&world, seed, &named(flaws)).unwrap(),
            world,
            now: RunTime(5_000_000_000),
        }
    }

    pub(crate) fn names(&self) -> Vec<String> {
        self.instruments.iter().map(|(name, _)| name.clone()).collect()
    }

    pub(crate) fn instrument(&mut self, name: &str) -> &mut (dyn Responder + Send) {
        &mut *self.instruments.iter_mut().find(|(known, _)| known == name).unwrap().1
    }

    /// Sends a line and waits for its end; gives the bytes of the reply, terminator included.
    pub(crate) fn bytes(&mut self, name: &str, line: &[u8]) -> Vec<u8> {
        let mut now = self.now;
        let mut pending = self.instrument(name).respond(line, now);
        let reply = loop {
            now = now.max(pending.ready);
            match self.instrument(name).finish(now) {
                Outcome::Pending(next) => pending = next,
                Outcome::Done(bytes) => break bytes,
            }
        };
        self.now = now;
        reply
    }

    /// The reply to a query, without its LF.
    pub(crate) fn ask(&mut self, name: &str, line: &str) -> String {
        let reply = String::from_utf8(self.bytes(name, line.as_bytes())).unwrap();
        let text = reply
            .strip_suffix('\n')
            .unwrap_or_else(|| panic!("{name}: {line} got no line: {reply:?}"));
        assert!(!text.contains('\n'), "{name}: {line} got more than one line: {reply:?}");
        text.to_owned()
    }

    /// A number.
    pub(crate) fn number(&mut self, name: &str, line: &str) -> f64 {
        let reply = self.ask(name, line);
        reply.parse().unwrap_or_else(|_| panic!("{name}: {line} got {reply}"))
    }

    /// A command, which must be silent and right.
    pub(crate) fn tell(&mut self, name: &str, line: &str) {
        self.wrong(name, line.as_bytes(), 0);
    }

    /// A line that must be silent and queue this error.
    pub(crate) fn wrong(&mut self, name: &str, line: &[u8], code: i32) {
        let shown = String::from_utf8_lossy(line).into_owned();
        assert_eq!(self.bytes(name, line), b"", "{name}: {shown} must be silent");
        assert_eq!(self.error(name), code, "{name}: {shown}");
        assert_eq!(self.error(name), 0, "{name}: {shown} queues one error");
    }

    /// Number of the oldest error.
    pub(crate) fn error(&mut self, name: &str) -> i32 {
        let text = self.ask(name, "SYSTem:ERRor?");
        text.split(',').next().unwrap().parse().unwrap()
    }

    /// What a person or another part of the bench does now.
    pub(crate) fn act(&mut self, action: Action) {
        self.world.lock().unwrap().act(self.now, action);
    }

    pub(crate) fn wait(&mut self, span: Duration) {
        self.now = self.now.plus(span);
    }
}
