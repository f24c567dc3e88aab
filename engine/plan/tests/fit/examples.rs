//! Every form of act, written as YAML, read and fitted.

use crate::build::Files;
use crate::shipped;
use pilotage_plan::files::sequence::{AnswerText, SequenceFile};
use pilotage_plan::program::{ActKind, Step, Wanted};
use pilotage_plan::read;
use std::time::Duration;

const ALL_FORMS: &str = r#"
pilotage: sequence/1
title: Every form of act
item: wall_unit
limits: test_limits
basis:
  - {standard: IEC 61851-1, edition: "2017", part: Annex A}
accepts:
  rated_current: {between: [6 A, 80 A]}
  supply_voltage: {any_of: [120 V, 230 V, 240 V]}
cautions:
  - {signal: danger, text: "The connector carries mains."}
interlocks:
  enclosure: {must_be: closed, every: 50 ms}
  hard_wired_stop: {proven_within: 12 h}
protect:
  terminal.temperature: {at_most: 90 °C, every: 1 s}
steps:
  - step: asked
    id: WU-01
    do:
      - ask: {prompt: "Is the plate readable?", answer: yes_no, as: plate_ok, hands: true, status: common practice}
      - ask: {prompt: "Which seal?", answer: {word: {choices: [whole, torn], passes: [whole]}}, as: seal, status: common practice}
      - ask: {prompt: "Breaker rating?", answer: {quantity: A}, as: breaker}
      - judge: {spare: {value: $breaker - $rated_current, unit: A, at_least: 0 A, status: common practice}}
  - step: switched on
    id: WU-11
    do:
      - set: {pilot_load: state_A, supply.voltage: $supply_voltage, supply: on}
      - prove_dead: {at: ac_output, deadline: 1 s}
      - set: {pilot_load: state_B}
      - wait_for: {pilot.low: {at_most: -10 V}, every: 200 ms, deadline: 30 s, as: t_x2, otherwise: {verdict: inconclusive, side: settings, says: "waits for authorisation"}, status: common practice}
      - must_not: {"ac_output[L-N].voltage": {at_least: 30 V}, for: 3 s, every: 100 ms, means: "closes in state B", standard: IEC 61851-1, edition: "2017", clause: "Annex A", status: restated, by: "two charge-controller manuals"}
  - step: closes
    id: WU-19
    needs: {close_delay: {uncertainty: {at_most: 50 ms}}}
    repeat: {times: 2}
    do:
      - capture: {of: [pilot, "ac_output[L-N]"], for: 4 s, rate: 20 kHz, while: [{set: {pilot_load: state_C}}]}
      - find: {close_delay: {from: {pilot.high: {falls_through: 7 V}}, to: {"ac_output[L-N].envelope": {rises_through: {of: $supply_voltage, by: 35 %}}}}}
      - find: {v_high: {pulse: pilot, take: high}}
      - find: {ripple: {level: pilot, take: span}}
      - find: {bounces: {count: {"ac_output[L-N].envelope": {falls_through: 20 V}}}}
      - judge:
          close_delay: [contactor.close_delay]
          v_high: {within: {of: 6 V, by: 20 %}, status: common practice}
      - set: {pilot_load: state_B}
  - step: loaded
    id: WU-40
    only_if: $rated_current >= 16 A and $cable_is_tethered == 1
    for_each: {i_set: {of: $rated_current, at: [25 %, 50 %, 75 %, 100 %]}}
    do:
      - set: {pilot_load: state_C}
      - set: {load.current: $i_set}
      - set: {load: on}
      - settle: {point: "ac_output[L].current", band: 0.2 A, for: 500 ms, deadline: 5 s}
      - hold: 60 s
      - read: {drop: "path[L].voltage", i_now: "ac_output[L].current"}
      - judge:
          r_path: {value: $drop / $i_now, unit: mΩ, at_most: 29 mΩ, status: common practice, title: "Resistance of one pole", when: "$i_set >= 75 % of $rated_current"}
      - ramp: {set: {load.current: {from: $i_set, to: 0 A}}, over: 5 s, steps: 10}
      - set: {load: off}
  - step: boundaries
    id: WU-26
    do:
      - sweep: {set: {pilot_load.resistance: {from: 30 kΩ, to: 20 Ω}}, points: 6, spacing: logarithmic, and_back: true, as: r_set, dwell: 200 ms, do: [{read: {v: pilot.high, out: "ac_output[L-N].voltage"}}]}
      - find: {v_close: {swept: v, when: {out: {rises_through: 80 V}}, way: there}}
      - find: {r_open: {swept: r_set, when: {out: {falls_through: 80 V}}, way: back}}
  - step: isolated
    id: WU-74
    do:
      - set: {pilot_load: state_A}
      - isolate: {}
      - read: {r_l: "path[L].resistance"}
"#;

fn sequence() -> SequenceFile {
    shipped::sequence(read("all_forms.yaml", ALL_FORMS).unwrap_or_else(|problems| panic!("{problems:#?}")))
}

fn fitted() -> Vec<Step> {
    let files = Files {
        sequence: sequence(),
        ..Files::new(Vec::new())
    };
    let program = files.fit().unwrap_or_else(|problems| panic!("{problems:#?}"));
    assert!(
        program.heading.not_tested.is_empty(),
        "{:?}",
        program.heading.not_tested
    );
    program.steps
}

#[test]
fn every_form_of_act_fits() {
    let lengths: Vec<usize> = fitted().iter().map(|step| step.acts.len()).collect();
    // Asked; set ×3, proof, set, wait, must not; (capture, four finds, judge, set) × 2; (3 sets, settle, hold, read,
    // judge, ramp of 11 sets and 10 holds, set) × 4; (set, hold, read) × 12 and two finds; set, isolate, read.
    assert_eq!(lengths, [4, 7, 14, 4 * 29, 38, 3]);
}

#[test]
fn a_wait_carries_its_demand_as_a_limit() {
    let steps = fitted();
    let ActKind::WaitFor(wait) = &steps[1].acts[5].kind else {
        panic!("wait expected")
    };
    assert_eq!((wait.name.as_str(), wait.deadline), ("t_x2", Duration::from_secs(30)));
    assert_eq!(wait.limit.title, "pilot.low at most -10 V within 30 s");
    assert!(wait.inconclusive && matches!(wait.condition.wanted, Wanted::Number(_)));
    let ActKind::MustNot(must_not) = &steps[1].acts[6].kind else {
        panic!("must not expected")
    };
    assert_eq!(must_not.limit.by.as_deref(), Some("two charge-controller manuals"));
    assert!(
        must_not.limit.title.contains("closes in state B"),
        "{}",
        must_not.limit.title
    );
}

#[test]
fn a_word_answer_passes_by_its_position() {
    let steps = fitted();
    let ActKind::Ask(ask) = &steps[0].acts[1].kind else {
        panic!("ask expected")
    };
    assert!(matches!(ask.answer, AnswerText::Word { .. }));
    let limit = ask.limit.as_ref().unwrap();
    assert_eq!(
        format!("{:?}", limit.tolerance).matches("si: 0.0").count(),
        1,
        "{:?}",
        limit.tolerance
    );
}
