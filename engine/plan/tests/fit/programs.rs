//! What comes out where everything fits.

use crate::build::*;
use pilotage_core::{Quantity, Tolerance};
use pilotage_evidence::EnergyState;
use pilotage_plan::files::limits::ToleranceText;
use pilotage_plan::files::sequence::*;
use pilotage_plan::program::{Act, ActKind, Find, SafeAct, Setting, Step};
use proptest::prelude::*;
use std::time::Duration;

fn close_step() -> StepText {
    let mut close = step(
        "WU-19",
        vec![
            set("pilot_load", "state_B"),
            capture(
                &["pilot", "ac_output[L-N]"],
                "4 s",
                "20 kHz",
                vec![set("pilot_load", "state_C")],
            ),
            find(
                "close_delay",
                FindText::Between {
                    from: event("pilot", SignalPart::High, false, "7 V"),
                    to: event("ac_output[L-N]", SignalPart::Envelope, true, "35 % of $supply_voltage"),
                },
            ),
            judge_keys("close_delay", &["contactor.close_delay"]),
        ],
    );
    close.needs = vec![(sp("close_delay"), f("50 ms"))];
    close.repeat = Some(Repeat { times: 3 });
    close
}

fn load_step() -> StepText {
    let mut load = step(
        "WU-40",
        vec![
            set_to("load.current", "$i_set"),
            set("load", "on"),
            hold("60 s"),
            read(&[("drop", "path[L].voltage"), ("i_now", "ac_output[L].current")]),
            judge_value("r_path", "$drop / $i_now", "mΩ", ToleranceText::AtMost(f("29 mΩ"))),
            set_to("load.current", "0 A"),
            set("load", "off"),
        ],
    );
    let values = ["25 %", "50 %", "75 %", "100 %"].map(|share| f(&format!("{share} of $rated_current")));
    load.for_each = vec![ForEach {
        name: sp("i_set"),
        values: values.into(),
    }];
    load
}

/// Six steps: looked at, dead, levels, closing, load, isolated again.
pub(crate) fn six_steps() -> Vec<StepText> {
    let mut dead = switched_on();
    dead.insert(0, set("pilot_load", "state_A"));
    dead.push(prove_dead("ac_output"));
    vec![
        step("WU-01", vec![ask_hands(), read(&[("r_l", "path[L].resistance")])]),
        step("WU-11", dead),
        step(
            "WU-12",
            vec![read(&[("v_a", "pilot.high")]), judge_keys("v_a", &["pilot.high_A"])],
        ),
        close_step(),
        load_step(),
        step(
            "WU-74",
            vec![
                set("pilot_load", "state_A"),
                prove_dead("ac_output"),
                isolate(),
                ask_hands(),
            ],
        ),
    ]
}

fn states(step: &Step) -> Vec<(EnergyState, EnergyState)> {
    step.acts.iter().map(|act| (act.before, act.after)).collect()
}

#[test]
fn a_six_step_sequence_becomes_a_program() {
    let program = Files::new(six_steps()).fit().unwrap();
    assert_eq!(program.steps.len(), 6);
    assert_eq!(program.heading.steps.len(), 6);
    assert!(program.heading.not_tested.is_empty());
    let isolated: Vec<bool> = program.steps.iter().map(|step| step.isolated).collect();
    assert_eq!(isolated, [true, false, false, false, false, false]);
    let (i, u, d) = (EnergyState::Isolated, EnergyState::Unknown, EnergyState::OutputDead);
    assert_eq!(states(&program.steps[1]), [(i, i), (i, i), (i, u), (u, d)]);
    assert_eq!(program.stop_proven_within, Duration::from_hours(12));
    assert!(program.estimate > Duration::from_mins(4), "{:?}", program.estimate);
}

#[test]
fn acts_are_numbered_without_a_gap_and_states_join() {
    fn check(acts: &[Act], next: &mut u32, mut state: EnergyState) -> EnergyState {
        for act in acts {
            assert_eq!(act.number, *next);
            assert_eq!(act.before, state);
            *next += 1;
            if let ActKind::Capture(capture) = &act.kind {
                let inner = check(&capture.during, next, act.before);
                assert_eq!(inner, act.after);
            }
            state = act.after;
        }
        state
    }
    let program = Files::new(six_steps()).fit().unwrap();
    let (mut next, mut state) = (0, EnergyState::Isolated);
    for step in &program.steps {
        state = check(&step.acts, &mut next, state);
    }
    assert_eq!(state, EnergyState::Isolated);
}

#[test]
fn repeats_and_values_are_unrolled_with_labels() {
    let program = Files::new(six_steps()).fit().unwrap();
    let closing = &program.steps[3].acts;
    assert_eq!(closing.len(), 3 * 4);
    assert_eq!(closing[0].pass.as_deref(), Some("1 of 3"));
    assert_eq!(closing[11].pass.as_deref(), Some("3 of 3"));
    let loading = &program.steps[4].acts;
    assert_eq!(loading.len(), 4 * 7);
    assert_eq!(loading[0].pass.as_deref(), Some("i_set = 8 A"));
    assert_eq!(loading[27].pass.as_deref(), Some("i_set = 32 A"));
    assert!((loading[7].constants["i_set"].si() - 16.0).abs() < 1e-12);
}

#[test]
fn an_event_level_and_a_pass_value_are_numbers() {
    let program = Files::new(six_steps()).fit().unwrap();
    let ActKind::Find(finds) = &program.steps[3].acts[2].kind else {
        panic!("find expected")
    };
    let Find::Between(_, to) = &finds[0].find else {
        panic!("between expected")
    };
    assert!((to.level.si() - 80.5).abs() < 1e-9);
    let ActKind::Energise(order) = &program.steps[4].acts[0].kind else {
        panic!("energising expected")
    };
    assert!(
        matches!(&order.order().to, Setting::Amount(value, unit) if (value.si() - 8.0).abs() < 1e-12 && unit == "A")
    );
}

#[test]
fn a_sweep_goes_there_and_back() {
    let mut acts = switched_on();
    acts.push(act(ActForm::Sweep {
        point: sp("pilot_load.resistance"),
        from: f("30 kΩ"),
        to: f("20 Ω"),
        points: 60,
        logarithmic: true,
        and_back: true,
        name: sp("r_set"),
        dwell: f("200 ms"),
        acts: vec![read(&[("v", "pilot.high"), ("out", "ac_output[L-N].voltage")])],
    }));
    let swept = FindText::Swept {
        of: sp("v"),
        crossing: sp("out"),
        rises: true,
        level: f("80 V"),
        back: false,
    };
    acts.push(find("v_close", swept));
    let program = Files::new(vec![step("WU-26", acts)]).fit().unwrap();
    let acts = &program.steps[0].acts;
    assert_eq!(acts.len(), 2 + 2 * 60 * 3 + 1);
    assert_eq!(acts[2].pass.as_deref(), Some("r_set = 30 kΩ"));
    assert_eq!(acts[2 + 59 * 3].pass.as_deref(), Some("r_set = 20 Ω"));
    assert_eq!(acts[2 + 60 * 3].pass.as_deref(), Some("r_set = 20 Ω, back"));
    assert_eq!(acts[2 + 119 * 3].pass.as_deref(), Some("r_set = 30 kΩ, back"));
    // Below the edge between states B and C every order takes a permit.
    for act in acts {
        if let ActKind::Quiet(order) = &act.kind
            && let Setting::Amount(value, _) = &order.order().to
            && order.order().point == "pilot_load.resistance"
        {
            assert!(value.si() > 1900.0, "{value} is quiet");
        }
    }
}

#[test]
fn a_ramp_ends_exactly_where_it_should() {
    let ramp = act(ActForm::Ramp {
        point: sp("load.current"),
        from: f("0 A"),
        to: f("32 A"),
        over: f("5 s"),
        steps: 10,
    });
    let program = Files::new(vec![step("WU-43", vec![ramp])]).fit().unwrap();
    let acts = &program.steps[0].acts;
    assert_eq!(acts.len(), 11 + 10);
    assert!(
        acts.iter()
            .filter(|act| act.kind == ActKind::Hold(Duration::from_millis(500)))
            .count()
            == 10
    );
    let ActKind::Quiet(last) = &acts[20].kind else {
        panic!("isolated: quiet expected")
    };
    assert!(matches!(&last.order().to, Setting::Amount(value, _) if (value.si() - 32.0).abs() < 1e-12));
}

fn only_tolerance(files: &Files, at: usize) -> (Tolerance, bool) {
    let program = files.fit().unwrap();
    let ActKind::Judge(specs) = &program.steps[0].acts[at].kind else {
        panic!("judge expected")
    };
    (
        specs[0].limits[0].tolerance.clone(),
        specs[0].late_bounds.contains_key(&0),
    )
}

fn bounds(tolerance: &Tolerance) -> (f64, f64) {
    match tolerance {
        Tolerance::Between(low, high) => (low.si(), high.si()),
        other => panic!("between expected, got {other:?}"),
    }
}

#[test]
fn within_a_share_is_relative_unless_both_are_ratios() {
    let volts = step(
        "A",
        vec![
            read(&[("u", "ac_output[L-N].voltage")]),
            judge_keys("u", &["output.voltage"]),
        ],
    );
    let (low, high) = bounds(&only_tolerance(&Files::new(vec![volts]), 1).0);
    assert!(
        (low - 207.0).abs() < 1e-9 && (high - 253.0).abs() < 1e-9,
        "{low} {high}"
    );
    // 32 A is a duty of 53.33 % (IEC 61851-1 Table A.7: I = D · 0.6 A); 0.5 % of a point to either side.
    let duty = step(
        "B",
        vec![
            capture(&["pilot"], "200 ms", "1 MHz", Vec::new()),
            find(
                "duty",
                FindText::Pulse {
                    channel: sp("pilot"),
                    take: PulseTake::DutyAtZero,
                },
            ),
            judge_keys("duty", &["pilot.duty_of_setting"]),
        ],
    );
    let (low, high) = bounds(&only_tolerance(&Files::new(vec![duty]), 2).0);
    assert!(
        (low - (32.0 / 60.0 - 0.005)).abs() < 1e-9 && (high - (32.0 / 60.0 + 0.005)).abs() < 1e-9,
        "{low} {high}"
    );
}

#[test]
fn bounds_that_depend_on_readings_come_late_and_pass_nothing_before() {
    let acts = vec![
        read(&[("u_in", "ac_input[L-N].voltage"), ("u", "ac_output[L-N].voltage")]),
        judge_keys("u", &["output.follows_input"]),
    ];
    let (tolerance, late) = only_tolerance(&Files::new(vec![step("A", acts)]), 1);
    assert!(late);
    assert_eq!(tolerance, Tolerance::AnyOf(Vec::new()));
}

#[test]
fn what_the_bench_does_not_serve_is_not_tested_and_says_why() {
    let files = Files::new(six_steps()).without_point("path[L].resistance");
    let program = files.fit().unwrap();
    assert_eq!(program.steps.len(), 5);
    let left_out = &program.heading.not_tested[0];
    assert_eq!(
        (left_out.what.as_str(), left_out.why.as_str()),
        ("WU-01", "this bench cannot read `path[L].resistance`")
    );
    assert_eq!(program.steps[0].head.number, 0);
    assert_eq!(program.steps[0].acts[0].number, 0);
}

#[test]
fn a_reading_of_a_step_left_out_leaves_out_the_step_that_needs_it() {
    let steps = vec![
        step("C", vec![hold("1 s")]),
        step("A", vec![read(&[("r_l", "path[L].resistance")])]),
        step(
            "B",
            vec![judge_value("twice", "2 * $r_l", "Ω", ToleranceText::AtMost(f("1 Ω")))],
        ),
    ];
    let program = Files::new(steps).without_point("path[L].resistance").fit().unwrap();
    assert_eq!(program.steps.len(), 1);
    assert!(
        program.heading.not_tested[1].why.contains("needs `$r_l` of A"),
        "{:?}",
        program.heading.not_tested
    );
}

#[test]
fn a_step_that_does_not_apply_is_skipped_with_its_reason() {
    let mut only = step("WU-25", vec![set("pilot_load", "state_D")]);
    only.only_if = Some(f("$ventilation_is_present == 1"));
    let program = Files::new(vec![only, step("WU-00", vec![hold("1 s")])]).fit().unwrap();
    assert!(program.steps[0].acts.is_empty());
    assert!(
        program.steps[0]
            .skipped
            .as_deref()
            .unwrap()
            .contains("$ventilation_is_present == 1")
    );
}

#[test]
fn make_safe_switches_the_supply_off_first_in_an_emergency() {
    let plan = Files::new(six_steps()).fit().unwrap().make_safe;
    let orders = |acts: &[SafeAct]| -> Vec<String> {
        let point = |act: &SafeAct| match act {
            SafeAct::Order(order) => Some(order.order().point.clone()),
            SafeAct::SupplyOffUnlessDead(order, _) => Some(format!("{} unless dead", order.order().point)),
            SafeAct::Wait(time) => Some(format!("{time:?}")),
            SafeAct::BleedUntil { .. } | SafeAct::NothingThere(_) => None,
            SafeAct::ProveDead(proof) => Some(format!("{} {}", proof.at, proof.pairs.join(" "))),
        };
        acts.iter().filter_map(point).collect()
    };
    let proofs = ["ac_output L-N L-PE N-PE", "ac_input L-N L-PE N-PE"];
    let normal = [
        "load.current",
        "load",
        "pilot_load",
        "200ms",
        "supply unless dead",
        "supply",
        "pilot_load.diode",
    ];
    assert_eq!(orders(&plan.normal), [&normal[..], &proofs].concat());
    let emergency = ["supply", "load.current", "load", "pilot_load", "200ms"];
    assert_eq!(orders(&plan.emergency), [&emergency[..], &proofs].concat());
    assert!(plan.by_hand.contains("the red button S1") && plan.by_hand.contains("Q1"));
    assert!(!plan.by_hand.contains("safe"));
}

#[test]
fn dead_means_below_30_v_ac_and_60_v_dc_of_either_sign() {
    let dead = Files::new(six_steps()).fit().unwrap().dead;
    let volts = |si: f64| Quantity::new(si, pilotage_core::Dimension::VOLTAGE).unwrap();
    assert_eq!(dead.limits.0.tolerance, Tolerance::AtMost(volts(30.0)));
    assert_eq!(dead.limits.1.tolerance, Tolerance::Between(volts(-60.0), volts(60.0)));
    assert_eq!(dead.burden, "100 kΩ across each pair");
}

#[test]
fn fitting_twice_gives_the_same_program() {
    let files = Files::new(six_steps());
    assert_eq!(files.fit().unwrap(), files.fit().unwrap());
}

proptest! {
    #[test]
    fn sweeps_have_exact_ends_and_go_one_way(from in 100.0..15_000.0f64, ratio in 1.5..50.0f64, points in 2u32..80, logarithmic: bool, down: bool) {
        let (low, high) = (format!("{from:.1} Ω"), format!("{:.1} Ω", from * ratio / 10.0 + from));
        let (from, to) = if down { (high, low) } else { (low, high) };
        let sweep = act(ActForm::Sweep {
            point: sp("pilot_load.resistance"),
            from: f(&from),
            to: f(&to),
            points,
            logarithmic,
            and_back: false,
            name: sp("r_set"),
            dwell: f("0 s"),
            acts: Vec::new(),
        });
        let files = Files::new(vec![step("A", vec![sweep])]);
        let values: Vec<f64> = files.fit().unwrap().steps[0].acts.iter().map(|act| act.constants["r_set"].si()).collect();
        prop_assert_eq!(values.len(), points as usize);
        prop_assert_eq!(values[0].to_bits(), Quantity::parse(&from).unwrap().si().to_bits());
        prop_assert_eq!(values[values.len() - 1].to_bits(), Quantity::parse(&to).unwrap().si().to_bits());
        prop_assert!(values.windows(2).all(|pair| if down { pair[0] >= pair[1] } else { pair[0] <= pair[1] }), "{:?}", values);
    }
}
