//! Checks of the power side that look inside: where every joule goes, over every stretch and from one to the next, for chargers of
//! any make, with any defect, at the hands of anybody.

use super::super::super::api::{Action, Command, ItemSort, Node, Pair, PilotSource, Setup};
use super::super::super::parameters::parameters;
use super::super::OnboardCharger;
use super::MOST_EVENTS;
use super::stretch::{Bulk, Pins, Stretch};
use pilotage_core::RunTime;
use proptest::prelude::*;
use std::collections::BTreeMap;

/// J that may be missing over a stretch or between two: 1 mW·s.
const LEAST_J: f64 = 1e-3;
/// Of the energy that was moved, what may be missing.
const PART: f64 = 1e-3;

/// ∫ over a stretch by Simpson's rule.
fn simpson(span_s: f64, points: u32, of: impl Fn(f64) -> f64) -> f64 {
    let step = span_s / f64::from(points);
    let weight = |k: u32| match k {
        0 => 1.0,
        k if k == points => 1.0,
        k => f64::from(2 + 2 * (k % 2)),
    };
    (0..=points).map(|k| weight(k) * of(f64::from(k) * step)).sum::<f64>() * step / 3.0
}

/// ∫ over a stretch that may begin with something fast.
fn integral(span_s: f64, of: impl Fn(f64) -> f64) -> f64 {
    let mut sum = 0.0;
    let (mut from, mut to) = (0.0, span_s.min(2e-6));
    while from < span_s {
        sum += simpson(to - from, 40, |t| of(from + t));
        (from, to) = (to, (2.0 * to).min(span_s));
    }
    sum
}

impl OnboardCharger {
    /// J in bulk capacitor, input choke, output choke and output capacitance.
    fn stored_j(&self, stretch: &Stretch, t: f64) -> f64 {
        let parts = &self.power.parts;
        let (volts, amps) = (stretch.dc_v.at(t), stretch.stage_a.at(t));
        let bridge_j = match stretch.bulk {
            Bulk::Pulsed(pulse) => {
                let amps = pulse.at(t).1.max(0.0);
                0.5 * pulse.path().henry * amps * amps
            }
            _ => 0.0,
        };
        stretch.bulk_j(parts, t) + bridge_j + 0.5 * (parts.c_out * volts * volts + parts.l_out * amps * amps)
    }

    /// W that the AC pins take by what the network shows, without the pulses of the bridge.
    fn taken_w(&self, stretch: &Stretch) -> f64 {
        if stretch.pins != Pins::Fed {
            return 0.0;
        }
        let switching = &stretch.mains.switching;
        let volts = self.ac_wave(stretch, Node::In(Pair::LN)).rms();
        volts * volts * switching.drawn_s
    }

    /// J that came less J that went or stayed, and J that were moved, over a stretch.
    fn balance_j(&self, stretch: &Stretch, span_s: f64) -> (f64, f64) {
        let parts = &self.power.parts;
        let came_j = self.taken_w(stretch) * span_s
            + match stretch.bulk {
                Bulk::Pulsed(pulse) => integral(span_s, |t| libm::fabs(pulse.source_v(t)) * pulse.at(t).1.max(0.0)),
                _ => 0.0,
            };
        let burnt_j = match stretch.bulk {
            Bulk::Pulsed(pulse) => integral(span_s, |t| pulse.path().ohm * pulse.at(t).1.max(0.0).powi(2)),
            // What discharges it by a resistor is the resistor's.
            Bulk::Free { volts, tau_s } => 0.5 * parts.c_bulk * volts * volts * -libm::expm1(-2.0 * span_s / tau_s),
            Bulk::Held(_) | Bulk::Worked { .. } => {
                integral(span_s, |t| stretch.bulk_v(parts, t).powi(2) / parts.r_bulk)
            }
        };
        let out_j = integral(span_s, |t| stretch.dc_v.at(t) * stretch.dc_a.at(t));
        let leaked_j = integral(span_s, |t| stretch.dc_v.at(t).powi(2) / stretch.r_out);
        let kept_j = self.stored_j(stretch, span_s) - self.stored_j(stretch, 0.0);
        let lost_j = stretch.loss_w * span_s;
        let went_j = burnt_j + out_j + leaked_j + kept_j + lost_j;
        let moved_j = came_j.abs() + burnt_j.abs() + out_j.abs() + leaked_j.abs() + kept_j.abs() + lost_j.abs();
        (came_j - went_j, moved_j)
    }
}

/// Something that somebody does, and how long nothing is done after it.
fn deeds() -> impl Strategy<Value = (Action, f64)> {
    let action =
        prop_oneof![
            any::<bool>().prop_map(|on| Action::Supply { on }),
            (60.0..300.0_f64).prop_map(Action::SupplyVoltage),
            (45.0..65.0_f64).prop_map(Action::SupplyFrequency),
            (0.0..6.0_f64).prop_map(Action::SupplyAngle),
            (0.0..1.2_f64, 0.001..0.6_f64, 0.0..6.0_f64).prop_map(|(ratio, for_s, angle_rad)| Action::SupplyDip {
                ratio,
                for_s,
                angle_rad
            }),
            any::<bool>().prop_map(|on| Action::Load { on }),
            (0.0..40.0_f64).prop_map(Action::LoadCurrent),
            prop_oneof![Just(0.0), 150.0..425.0_f64].prop_map(Action::SinkVoltage),
            any::<bool>().prop_map(|on| Action::SinkReversed { on }),
            any::<bool>().prop_map(|on| Action::Coolant { on }),
            (250.0..380.0_f64).prop_map(Action::CoolantTemperature),
            any::<bool>().prop_map(|closed| Action::InterlockLoop { closed }),
            (any::<bool>(), 200.0..420.0_f64, 0.0..18.0_f64)
                .prop_map(|(enabled, volts, amps)| Action::Command(Command { enabled, volts, amps })),
            (0.05..0.97_f64).prop_map(Action::PilotSourceDuty),
            prop_oneof![
                Just(PilotSource::Pwm),
                Just(PilotSource::Steady),
                Just(PilotSource::Fault),
                Just(PilotSource::Off)
            ]
            .prop_map(Action::PilotSource),
            any::<bool>().prop_map(|closed| Action::Enclosure { closed }),
            any::<bool>().prop_map(|locked| Action::Isolator { locked }),
        ];
    (action, prop_oneof![0.0..0.02_f64, 0.02..3.0_f64])
}

/// A charger of any make within its tolerances, and perhaps with a defect.
fn makes() -> impl Strategy<Value = BTreeMap<String, f64>> {
    let places = proptest::collection::vec(0.0..1.0_f64, 100);
    let defect = proptest::option::of(prop::sample::select(vec![
        ("t_bypass", 0.005),
        ("pfc_bandwidth", 0.33),
        ("c_x", 33e-6),
        ("rds_factor", 3.0),
        ("c_bulk", 0.66e-3),
        ("v_sense_gain", 1.018),
        ("ovp_ratio", 1.31),
        ("i_limit", 1.2),
        ("precharge_open", 1.0),
        ("r_precharge", 0.5),
        ("bleeder_open", 1.0),
        ("stages_dead", 1.0),
        ("v_drop_out", 200.0),
        ("latched_after_dip", 1.0),
        ("ramp_down", 0.0),
        ("crack_rise", 40.0),
        ("no_derating", 1.0),
        ("interlock_bridged", 1.0),
        ("z_source", 1.2),
    ]));
    (places, defect).prop_map(|(places, defect)| {
        let toleranced = parameters(ItemSort::OnboardCharger).filter_map(|p| Some((p.name, p.tolerance?)));
        let mut amounts: BTreeMap<String, f64> = toleranced
            .zip(places)
            .map(|((name, (low, high)), place)| (name.to_owned(), low + place * (high - low)))
            .collect();
        if let Some((name, value)) = defect {
            amounts.insert(name.to_owned(), value);
        }
        amounts
    })
}

fn play(amounts: BTreeMap<String, f64>, deeds: &[(Action, f64)]) -> OnboardCharger {
    let setup = Setup {
        item: ItemSort::OnboardCharger,
        amounts,
        seed: 7,
        ..Setup::default()
    };
    let mut charger = OnboardCharger::new(&setup).expect("names and values of the table");
    let begin = [
        (Action::LowVoltage { on: true }, 0.0),
        (Action::Proximity(Some(150.0)), 0.0),
        (Action::SinkVoltage(390.0), 0.0),
        (Action::LoadCurrent(50.0), 0.0),
        (Action::Load { on: true }, 0.0),
        (Action::Supply { on: true }, 0.0),
        (Action::PilotSourceDuty(0.5), 0.0),
        (Action::PilotSource(PilotSource::Pwm), 9.0),
    ];
    let mut at_s = 0.0;
    for (action, wait_s) in begin.iter().chain(deeds) {
        charger.perform(RunTime((at_s * 1e9) as u64), *action);
        at_s += wait_s;
    }
    charger.happen_until(at_s);
    charger
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]

    /// No joule is made or lost: not within a stretch, and not from one to the next.
    #[test]
    fn energy_balances_over_every_event(amounts in makes(), deeds in proptest::collection::vec(deeds(), 0..25)) {
        let charger = play(amounts, &deeds);
        let stretches: Vec<(Stretch, f64)> = charger.power.past.overlapping(0.0, charger.now_s).collect();
        let mut count = 0;
        for (number, (stretch, end_s)) in stretches.iter().enumerate() {
            let span_s = end_s.min(charger.now_s) - stretch.mains.start_s;
            if span_s <= 0.0 {
                continue;
            }
            count += 1;
            let (missing_j, moved_j) = charger.balance_j(stretch, span_s);
            prop_assert!(
                missing_j.abs() <= LEAST_J + PART * moved_j,
                "{missing_j} J of {moved_j} J missing over {span_s} s in {stretch:?}"
            );
            if let Some((next, _)) = stretches.get(number + 1) {
                let (before_j, after_j) = (charger.stored_j(stretch, span_s), charger.stored_j(next, 0.0));
                prop_assert!(
                    (after_j - before_j).abs() <= LEAST_J,
                    "{before_j} J become {after_j} J between {stretch:?} and {next:?}"
                );
            }
        }
        prop_assert!(count > 20);
        prop_assert!(charger.power.busy.1 <= MOST_EVENTS);
    }
}
