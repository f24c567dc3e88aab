//! What the steps of an acceptance would read of a world, with perfect instruments: true values against the limits of
//! IEC 61851-1 and of the acceptance. A list of the steps whose limit is broken.

use crate::rig::Rig;
use pilotage_virtual::physics::{Action, DeadPath, Node, Pair, PilotState, Pole};
use std::collections::BTreeSet;

type Changes<'a> = &'a [(&'a str, f64)];

/// Whether what a step reads lies within its limits.
type Check = fn(Changes<'_>) -> bool;

/// Each step, and whether what it reads lies within its limits.
const STEPS: [(&str, Check); 18] = [
    ("WU-04", poles_are_open),
    ("WU-05", proximity_is_right),
    ("WU-11", |changes| outlet_is_dead(&mut Rig::booted(changes))),
    ("WU-12", steady_level_is_right),
    ("WU-13", offer_comes),
    ("WU-14", levels_are_right),
    ("WU-15", frequency_is_right),
    ("WU-16", duty_is_right),
    ("WU-17", edges_are_quick),
    ("WU-18", |changes| outlet_is_dead(&mut Rig::offering(changes))),
    ("WU-19", closes_in_time),
    ("WU-20", outlet_is_right),
    ("WU-21", opens_in_time),
    ("WU-23", short_opens),
    ("WU-24", diode_is_checked),
    ("WU-25", ventilation_is_refused),
    ("WU-26", threshold_is_right),
    ("WU-40", path_is_good),
];

/// The steps that would notice something.
pub(crate) fn noticed(changes: Changes<'_>) -> BTreeSet<&'static str> {
    STEPS
        .iter()
        .filter(|(_, is_fine)| !is_fine(changes))
        .map(|(step, _)| *step)
        .collect()
}

/// Whether a step stands in the list.
pub(crate) fn knows(step: &str) -> bool {
    STEPS.iter().any(|(id, _)| *id == step)
}

/// One step would notice something.
pub(crate) fn breaks(step: &str, changes: Changes<'_>) -> bool {
    let (_, is_fine) = STEPS.iter().find(|(id, _)| *id == step).expect("a step of the list");
    !is_fine(changes)
}

fn poles_are_open(changes: Changes<'_>) -> bool {
    let mut rig = Rig::new(changes);
    [Pole::L, Pole::N].iter().all(|&pole| {
        let path = rig.world.resistance(DeadPath::Pole(pole), rig.now);
        path.is_none_or(|ohm| ohm >= 1e6)
    })
}

/// 150 Ω, and 480 Ω with the release pressed, each within 10 %.
fn proximity_is_right(changes: Changes<'_>) -> bool {
    let mut rig = Rig::new(changes);
    let mut reads = |expected: f64| {
        let found = rig.world.resistance(DeadPath::Proximity, rig.now);
        rig.act(Action::Latch { pressed: true });
        found.is_some_and(|ohm| (ohm / expected - 1.0).abs() <= 0.1)
    };
    reads(150.0) && reads(480.0)
}

fn outlet_is_dead(rig: &mut Rig) -> bool {
    rig.act(Action::Burden { on: true });
    rig.wait(0.3);
    [Pair::LN, Pair::LPe, Pair::NPe]
        .iter()
        .all(|&pair| rig.rms(Node::Out(pair)) < 30.0)
}

fn span(values: &[f64]) -> f64 {
    values.iter().copied().fold(f64::MIN, f64::max) - values.iter().copied().fold(f64::MAX, f64::min)
}

fn steady_level_is_right(changes: Changes<'_>) -> bool {
    let mut rig = Rig::booted(changes);
    let level = rig.mean(Node::Pilot);
    (11.40..=12.60).contains(&level) && span(&rig.past(Node::Pilot, 0.1, 2e-5)) <= 0.1
}

fn offer_comes(changes: Changes<'_>) -> bool {
    let mut rig = Rig::offering(changes);
    rig.wait(27.0);
    rig.duty().is_some()
}

/// Times, in values, at which the waveform crosses a level.
fn crossings(values: &[f64], level: f64, rising: bool) -> Vec<f64> {
    let passes = |a: f64, b: f64| {
        if rising {
            a < level && b >= level
        } else {
            a > level && b <= level
        }
    };
    (1..values.len())
        .filter(|&k| passes(values[k - 1], values[k]))
        .map(|k| k as f64 - (values[k] - level) / (values[k] - values[k - 1]))
        .collect()
}

/// Low level and source resistance: `R·(V_A − V_B)/(V_B − V_f)`, the bench's diode known.
fn levels_are_right(changes: Changes<'_>) -> bool {
    let mut rig = Rig::booted(changes);
    let v_a = rig.mean(Node::Pilot);
    rig.load(PilotState::B);
    rig.wait(3.0);
    let (v_b, low) = rig.pilot_levels();
    let r_source = 2740.0 * (v_a - v_b) / (v_b - 0.692);
    rig.duty().is_none() || ((-12.60..=-11.40).contains(&low) && (970.0..=1030.0).contains(&r_source))
}

/// Period, s, and every ratio of high time at 0 V over 200 periods; `None` without an offer.
fn pulses(changes: Changes<'_>) -> Option<(f64, Vec<f64>)> {
    let mut rig = Rig::offering(changes);
    rig.duty()?;
    let interval_s = 5e-7;
    let values = rig.past(Node::Pilot, 0.2, interval_s);
    let (rises, falls) = (crossings(&values, 0.0, true), crossings(&values, 0.0, false));
    let period = (rises[rises.len() - 1] - rises[0]) / (rises.len() - 1) as f64;
    let first_fall = falls.iter().position(|&fall| fall > rises[0])?;
    let widths = rises
        .iter()
        .zip(&falls[first_fall..])
        .map(|(rise, fall)| (fall - rise) / period);
    Some((period * interval_s, widths.collect()))
}

fn frequency_is_right(changes: Changes<'_>) -> bool {
    pulses(changes).is_none_or(|(period_s, _)| (995.0..=1005.0).contains(&(1.0 / period_s)))
}

fn duty_is_right(changes: Changes<'_>) -> bool {
    pulses(changes).is_none_or(|(_, widths)| {
        let count = widths.len() as f64;
        let duty = widths.iter().sum::<f64>() / count;
        let sigma = (widths.iter().map(|w| (w - duty).powi(2)).sum::<f64>() / count).sqrt();
        (duty - 32.0 / 60.0).abs() <= 0.005 && sigma <= 0.0005
    })
}

/// 10 to 90 % times of rise and fall, µs.
fn edges(rig: &mut Rig) -> (f64, f64) {
    let values = rig.past(Node::Pilot, 0.003, 2e-8);
    let lowest = values.iter().copied().fold(f64::MAX, f64::min);
    let height = span(&values);
    let first = |part: f64, rising: bool, after: f64| {
        let all = crossings(&values, lowest + part * height, rising);
        all.into_iter().find(|&at| at > after).expect("an edge in 3 ms")
    };
    let start = first(0.05, true, 0.0) - 1.0;
    let rise = first(0.9, true, start) - first(0.1, true, start);
    let fall_start = first(0.95, false, start);
    (
        rise * 0.02,
        (first(0.1, false, fall_start) - first(0.9, false, fall_start - 1.0)) * 0.02,
    )
}

fn edges_are_quick(changes: Changes<'_>) -> bool {
    let mut rig = Rig::offering(changes);
    if rig.duty().is_none() {
        return true;
    }
    rig.act(Action::PilotCapacitance(2.4e-9));
    rig.wait(0.1);
    let b = edges(&mut rig);
    rig.load(PilotState::C);
    rig.wait(0.5);
    let c = edges(&mut rig);
    // Open: the PWM runs on for some milliseconds after the load has gone.
    rig.act(Action::PilotCapacitance(0.0));
    rig.load(PilotState::Open);
    rig.wait(0.0045);
    let open = edges(&mut rig);
    open.0 <= 2.0 && open.1 <= 2.0 && b.0 <= 10.0 && c.0 <= 7.0 && b.1 <= 13.0 && c.1 <= 13.0
}

fn closes_in_time(changes: Changes<'_>) -> bool {
    let mut rig = Rig::offering(changes);
    (0..60).all(|number| {
        rig.load(PilotState::C);
        let bounces = number == 0 && bounce_s(&mut rig) > 0.02;
        rig.wait(3.0);
        let closes = rig.is_closed() && !bounces;
        rig.load(PilotState::B);
        rig.wait(2.0);
        closes
    })
}

/// From the first moment at which both poles touch to the last at which they begin to, within 400 ms.
fn bounce_s(rig: &mut Rig) -> f64 {
    const STEP_S: f64 = 2e-4;
    let touches: Vec<bool> = (0..2000)
        .map(|_| {
            rig.wait(STEP_S);
            let truth = rig.truth();
            truth.pole_l && truth.pole_n
        })
        .collect();
    let begins = |k: &usize| touches[*k] && (*k == 0 || !touches[*k - 1]);
    let mut all = (0..touches.len()).filter(begins);
    let Some(first) = all.next() else { return 0.0 };
    (all.next_back().unwrap_or(first) - first) as f64 * STEP_S
}

fn outlet_is_right(changes: Changes<'_>) -> bool {
    let mut rig = Rig::closed(changes);
    rig.wait(5.0);
    if !rig.is_closed() {
        return true;
    }
    let input = rig.rms(Node::In(Pair::LN));
    let output = rig.rms(Node::Out(Pair::LN));
    (output / input - 1.0).abs() <= 0.01 && rig.rms(Node::Out(Pair::NPe)) <= 10.0
}

fn opens_in_time(changes: Changes<'_>) -> bool {
    (0..4).all(|phase| {
        let mut rig = Rig::closed(changes);
        rig.wait(3.0 + 0.0025 * f64::from(phase));
        rig.draw(32.0);
        rig.wait(1.0);
        let was_closed = rig.is_closed();
        rig.load(PilotState::B);
        let opens = rig.turns_after(false, 1.5).is_some_and(|delay_s| delay_s <= 0.1);
        let carries = |rig: &mut Rig, pole| rig.rms(Node::Path(pole)) > 30.0;
        !was_closed || (opens && carries(&mut rig, Pole::L))
    })
}

fn short_opens(changes: Changes<'_>) -> bool {
    let mut rig = Rig::closed(changes);
    rig.wait(5.0);
    rig.load(PilotState::E);
    rig.wait(3.0);
    outlet_is_dead(&mut rig)
}

fn diode_is_checked(changes: Changes<'_>) -> bool {
    let mut rig = Rig::booted(changes);
    rig.act(Action::PilotDiode { shorted: true });
    rig.load(PilotState::C);
    rig.wait(30.0);
    outlet_is_dead(&mut rig)
}

fn ventilation_is_refused(changes: Changes<'_>) -> bool {
    let mut rig = Rig::offering(changes);
    rig.load(PilotState::D);
    rig.wait(3.0);
    outlet_is_dead(&mut rig)
}

fn threshold_is_right(changes: Changes<'_>) -> bool {
    let mut rig = Rig::offering(changes);
    let mut ohm = 2740.0;
    while ohm > 300.0 {
        rig.act(Action::PilotResistance(ohm));
        rig.wait(0.3);
        if rig.is_closed() {
            return (7.0..=8.0).contains(&rig.pilot_levels().0);
        }
        ohm *= 0.99;
    }
    // What never closes is WU-19's business.
    true
}

fn path_is_good(changes: Changes<'_>) -> bool {
    let mut rig = Rig::closed(changes);
    rig.wait(5.0);
    rig.draw(32.0);
    rig.wait(60.0);
    let amps = rig.rms(Node::OutCurrent);
    // 17.2·5/6 mΩ · 1.3 + 10 mΩ
    amps < 1.0
        || [Pole::L, Pole::N]
            .iter()
            .all(|&pole| rig.rms(Node::Path(pole)) / amps <= 0.0286)
}
