//! One test for each refusal: what is written, and the code that answers it.

use crate::build::*;
use pilotage_plan::files::item::NameplateValue;
use pilotage_plan::files::limits::ToleranceText;
use pilotage_plan::files::sequence::*;
use pilotage_plan::fit::code;

/// A step by itself, after the supply was switched on.
pub(crate) fn live(mut acts: Vec<ActText>) -> Vec<StepText> {
    let mut all = switched_on();
    all.append(&mut acts);
    vec![step("WU-00", all)]
}

/// A step by itself, in *isolated*.
pub(crate) fn dead(acts: Vec<ActText>) -> Vec<StepText> {
    vec![step("WU-00", acts)]
}

#[track_caller]
pub(crate) fn refused(files: &Files, code: &str) {
    let problems = files.fit().expect_err("must be refused");
    assert_eq!(
        problems.iter().map(|p| p.code).collect::<Vec<_>>(),
        [code],
        "{problems:#?}"
    );
    for problem in &problems {
        assert!(
            problem.expected.is_some() && problem.got.is_some() && problem.mend.is_some(),
            "{problem:?}"
        );
    }
}

#[track_caller]
pub(crate) fn mend_of(files: &Files, code: &str) -> String {
    refused(files, code);
    files.fit().unwrap_err()[0].mend.clone().unwrap()
}

#[test]
fn another_kind_of_item() {
    let mut files = Files::new(dead(vec![hold("1 s")]));
    files.item.kind.value = pilotage_evidence::ItemKind::PortableCord;
    refused(&files, code::OTHER_ITEM);
    files.sequence.item.value = pilotage_evidence::ItemKind::PortableCord;
    refused(&files, code::NO_POINTS);
}

#[test]
fn unknown_points_and_words_say_what_may_be_meant() {
    let files = Files::new(dead(vec![read(&[("v", "pilot.hihg")])]));
    assert_eq!(mend_of(&files, code::UNKNOWN_POINT), "did you mean `pilot.high`?");
    let files = Files::new(dead(vec![set("pilot_load", "state_c")]));
    assert_eq!(mend_of(&files, code::POINT_WORD), "did you mean `state_C`?");
    refused(&Files::new(dead(vec![set("load.current", "on")])), code::POINT_WORD);
    refused(&Files::new(dead(vec![set_to("load", "1 A")])), code::POINT_WORD);
    refused(&Files::new(dead(vec![set("enclosure", "open")])), code::POINT_USE);
    refused(&Files::new(dead(vec![read(&[("v", "load.current")])])), code::POINT_USE);
    refused(
        &Files::new(dead(vec![capture(&["pilot.high"], "1 s", "1 kHz", vec![])])),
        code::POINT_USE,
    );
}

#[test]
fn unknown_names_say_what_may_be_meant() {
    let files = Files::new(dead(vec![set_to("load.current", "$rated_curent")]));
    assert_eq!(mend_of(&files, code::UNKNOWN_NAME), "did you mean `$rated_current`?");
    let files = Files::new(dead(vec![
        read(&[("v_a", "pilot.high")]),
        judge_keys("v_b", &["pilot.high_A"]),
    ]));
    assert_eq!(mend_of(&files, code::UNKNOWN_NAME), "did you mean `$v_a`?");
}

#[test]
fn a_reading_may_not_be_used_before_it_is_taken() {
    let judge = judge_value("x", "2 * $v", "V", ToleranceText::AtMost(f("1 V")));
    refused(
        &Files::new(dead(vec![judge, read(&[("v", "pilot.high")])])),
        code::UNKNOWN_NAME,
    );
}

#[test]
fn dimensions_must_fit() {
    refused(&Files::new(dead(vec![set_to("load.current", "8 V")])), code::DIMENSION);
    refused(&Files::new(dead(vec![hold("5 V")])), code::DIMENSION);
    refused(&Files::new(dead(vec![hold("1 s + 1 V")])), code::DIMENSION);
    let volts_in_seconds = vec![
        read(&[("v", "pilot.high")]),
        judge_keys("v", &["contactor.close_delay"]),
    ];
    refused(&Files::new(dead(volts_in_seconds)), code::DIMENSION);
    let mut needs = Files::new(dead(vec![read(&[("v", "pilot.high")])]));
    needs.sequence.steps[0].needs = vec![(sp("v"), f("1 s"))];
    refused(&needs, code::DIMENSION);
    let unit = judge_value("x", "1 V", "A", ToleranceText::AtMost(f("1 V")));
    refused(&Files::new(dead(vec![unit])), code::DIMENSION);
}

#[test]
fn a_setting_may_not_depend_on_a_reading() {
    let acts = vec![read(&[("i", "ac_output[L].current")]), set_to("load.current", "$i / 2")];
    let mend = mend_of(&Files::new(dead(acts)), code::LATE_VALUE);
    assert!(mend.contains("for_each"), "{mend}");
}

#[test]
fn an_expression_must_give_a_number() {
    refused(
        &Files::new(dead(vec![set_to("load.current", "1 A / ($rated_current / 1 A - 32)")])),
        code::NO_NUMBER,
    );
    let mut files = Files::new(dead(vec![hold("1 s")]));
    files.sequence.steps[0].only_if = Some(f("$rated_current"));
    refused(&files, code::NOT_A_CONDITION);
    refused(&Files::new(dead(vec![hold("1 s > 2 s")])), code::NOT_A_CONDITION);
}

#[test]
fn unknown_limits_say_what_may_be_meant() {
    let files = Files::new(dead(vec![
        read(&[("v", "pilot.high")]),
        judge_keys("v", &["pilot.hihg_A"]),
    ]));
    assert_eq!(mend_of(&files, code::UNKNOWN_LIMIT), "did you mean `pilot.high_A`?");
}

#[test]
fn a_nameplate_outside_accepts() {
    let mut files = Files::new(dead(vec![hold("1 s")]));
    files.item.nameplate[0].1 = NameplateValue::Amount(f("125 A"));
    refused(&files, code::NOT_ACCEPTED);
    files.item.nameplate.remove(0);
    refused(&files, code::NAMEPLATE);
}

#[test]
fn three_phases_are_not_fitted_yet() {
    let mut files = Files::new(dead(vec![hold("1 s")]));
    files.item.nameplate[3].1 = NameplateValue::Word(sp("three"));
    let problems = files.fit().unwrap_err();
    assert!(
        problems.iter().any(|problem| problem.code == code::PHASES),
        "{problems:?}"
    );
}

#[test]
fn the_supply_stays_at_the_nameplate() {
    assert!(
        Files::new(dead(vec![set_to("supply.voltage", "1.1 * $supply_voltage")]))
            .fit()
            .is_ok()
    );
    refused(
        &Files::new(dead(vec![set_to("supply.voltage", "254 V")])),
        code::SUPPLY_TOO_HIGH,
    );
    refused(&Files::new(dead(vec![set("supply", "on")])), code::SUPPLY_UNSET);
}

#[test]
fn the_load_stays_below_an_overload() {
    assert!(
        Files::new(dead(vec![set_to("load.current", "1.6 * $rated_current")]))
            .fit()
            .is_ok()
    );
    refused(
        &Files::new(dead(vec![set_to("load.current", "51.3 A")])),
        code::LOAD_TOO_HIGH,
    );
}

#[test]
fn names_of_the_bench_must_lead_somewhere() {
    let mut files = Files::new(dead(vec![hold("1 s")]));
    files.service("path[L].voltage").by = sp("metre");
    assert_eq!(mend_of(&files, code::BENCH_NAME), "did you mean `meter`?");
    let mut files = Files::new(dead(vec![hold("1 s")]));
    files.service("path[L].voltage").function = sp("ac_volts");
    refused(&files, code::BENCH_NAME);
    let mut files = Files::new(dead(vec![hold("1 s")]));
    files.service("path[L].voltage").function = sp("resistance");
    refused(&files, code::BENCH_FORM);
    let mut files = Files::new(dead(vec![hold("1 s")]));
    files.bench.points.push(service("pilot.hight", "scope", "high", None));
    refused(&files, code::UNKNOWN_POINT);
    let mut files = Files::new(dead(vec![hold("1 s")]));
    files.drivers.remove("thermometer");
    files.sequence.protect.clear();
    refused(&files, code::BENCH_NAME);
}

#[test]
fn analyses_want_their_capture_or_sweep() {
    let count = |channel: &str| {
        find(
            "n",
            FindText::Count {
                event: event(channel, SignalPart::Samples, true, "1 V"),
            },
        )
    };
    refused(&Files::new(dead(vec![count("pilot")])), code::NO_CAPTURE);
    let acts = vec![capture(&["pilot"], "1 s", "1 kHz", vec![]), count("ac_output[L-N]")];
    refused(&Files::new(dead(acts)), code::NO_CAPTURE);
    let swept = FindText::Swept {
        of: sp("v"),
        crossing: sp("out"),
        rises: true,
        level: f("80 V"),
        back: false,
    };
    refused(
        &Files::new(dead(vec![
            read(&[("v", "pilot.high"), ("out", "ac_output[L-N].voltage")]),
            find("x", swept),
        ])),
        code::NO_CAPTURE,
    );
}

#[test]
fn some_acts_cannot_be_done_while_a_capture_runs() {
    for inner in [
        isolate(),
        ask_hands(),
        prove_dead("ac_output"),
        capture(&["pilot"], "1 s", "1 kHz", vec![]),
    ] {
        refused(
            &Files::new(dead(vec![capture(&["pilot"], "1 s", "1 kHz", vec![inner])])),
            code::INSIDE_CAPTURE,
        );
    }
}

#[test]
fn times_have_a_range() {
    refused(&Files::new(dead(vec![hold("0 s")])), code::TIME_RANGE);
    refused(&Files::new(dead(vec![hold("-1 s")])), code::TIME_RANGE);
    let mut files = Files::new(dead(vec![hold("1 s")]));
    files.sequence.interlocks[1] = InterlockText::StopProof {
        proven_within: f("13 h"),
        span: span(),
    };
    refused(&files, code::TIME_RANGE);
    let mut files = Files::new(dead(vec![hold("1 s")]));
    files.sequence.interlocks[0] = InterlockText::Word {
        point: sp("enclosure"),
        must_be: sp("closed"),
        every: f("1 h"),
    };
    refused(&files, code::TIME_RANGE);
    let wait = ActForm::WaitFor {
        condition: ConditionText {
            point: sp("pilot.low"),
            wanted: WantedText::Number(ToleranceText::AtMost(f("-8 V"))),
        },
        every: f("2 s"),
        latest: Latest::Deadline(f("1 s"), source()),
        name: None,
        otherwise: Otherwise {
            inconclusive: true,
            side: None,
            says: None,
        },
    };
    refused(&Files::new(dead(vec![act(wait)])), code::TIME_RANGE);
}

#[test]
fn a_logarithm_has_no_zero() {
    let sweep = |from: &str, points: u32| {
        act(ActForm::Sweep {
            point: sp("load.current"),
            from: f(from),
            to: f("32 A"),
            points,
            logarithmic: true,
            and_back: false,
            name: sp("i_set"),
            dwell: f("0 s"),
            acts: Vec::new(),
        })
    };
    refused(&Files::new(dead(vec![sweep("0 A", 5)])), code::SPACING);
    refused(&Files::new(dead(vec![sweep("1 A", 1)])), code::SPACING);
    assert!(Files::new(dead(vec![sweep("1 A", 5)])).fit().is_ok());
}

#[test]
fn bounds_stand_in_order() {
    let turned = judge_value("x", "1 V", "V", ToleranceText::Between(f("2 V"), f("1 V")));
    refused(&Files::new(dead(vec![turned])), code::BOUNDS_TURNED);
}

#[test]
fn names_are_not_taken_twice() {
    refused(
        &Files::new(dead(vec![read(&[("rated_current", "ac_output[L].current")])])),
        code::NAME_TAKEN,
    );
    let mut files = Files::new(dead(vec![hold("1 s")]));
    files.sequence.steps[0].for_each = vec![ForEach {
        name: sp("supply_voltage"),
        values: vec![f("1 V")],
    }];
    refused(&files, code::NAME_TAKEN);
}

#[test]
fn words_are_no_numbers() {
    let acts = vec![
        read(&[("guard", "enclosure")]),
        judge_value("x", "2 * $guard", "1", ToleranceText::AtMost(f("1"))),
    ];
    refused(&Files::new(dead(acts)), code::WORD_READING);
}

/// A step by itself, and another that can be done.
fn and_more(acts: Vec<ActText>) -> Vec<StepText> {
    vec![step("WU-99", vec![hold("1 s")]), step("WU-00", acts)]
}

#[test]
fn a_program_that_does_nothing_is_none() {
    let files = Files::new(dead(vec![set("pilot_load", "state_E")]));
    refused(&files, code::NOTHING_LEFT);
    assert!(
        files.fit().unwrap_err()[0]
            .got
            .as_ref()
            .unwrap()
            .contains("cannot set `pilot_load` to `state_E`")
    );
    let mut files = Files::new(dead(vec![hold("1 s")]));
    files.sequence.steps[0].only_if = Some(f("$rated_current > 400 A"));
    refused(&files, code::NOTHING_LEFT);
    refused(&Files::new(Vec::new()), code::NOTHING_LEFT);
}

#[test]
fn what_the_bench_cannot_do_is_no_error() {
    let left_out = |files: &Files| {
        files
            .fit()
            .unwrap()
            .heading
            .not_tested
            .iter()
            .map(|n| n.why.clone())
            .collect::<Vec<_>>()
    };
    let why = left_out(&Files::new(and_more(vec![set("pilot_load", "state_E")])));
    assert_eq!(why, ["this bench cannot set `pilot_load` to `state_E`"]);
    let why = left_out(&Files::new(and_more(vec![capture(
        &["pilot"],
        "1 s",
        "50 MHz",
        vec![],
    )])));
    assert_eq!(
        why,
        ["this bench captures at most 20000000 samples a second, not 50000000"]
    );
    let why = left_out(&Files::new(and_more(vec![capture(
        &["pilot"],
        "1 s",
        "10 MHz",
        vec![],
    )])));
    assert_eq!(
        why,
        ["this bench captures at most 4000000 points a channel, not 10000000"]
    );
    let why = left_out(&Files::new(and_more(vec![read(&[("v", "ac_output[L1-L2].voltage")])])));
    assert_eq!(why, ["`ac_output[L1-L2].voltage`: this item has no L1-L2"]);
}

#[test]
fn a_step_that_does_not_apply_is_still_read() {
    let mut files = Files::new(dead(vec![
        set_to("load.current", "500 A"),
        read(&[("v", "pilot.hihg")]),
    ]));
    files.sequence.steps[0].only_if = Some(f("$rated_current > 400 A"));
    refused(&files, code::UNKNOWN_POINT);
}

#[test]
fn a_problem_met_in_every_pass_is_told_once() {
    let mut files = Files::new(dead(vec![set_to("load.current", "8 V")]));
    files.sequence.steps[0].repeat = Some(Repeat { times: 50 });
    assert_eq!(files.codes(), [code::DIMENSION]);
}

#[test]
fn every_code_has_a_title_and_stands_once() {
    let mut ids: Vec<&str> = code::FITTING.iter().map(|code| code.id).collect();
    assert!(ids.is_sorted());
    ids.dedup();
    assert_eq!(ids.len(), code::FITTING.len());
    assert_eq!(
        pilotage_plan::render::title(code::HANDS),
        Some("hands at the item while it is not isolated")
    );
}

#[test]
fn what_a_step_closes_must_stand_before_it() {
    let mut steps = dead(vec![hold("1 s")]);
    steps.push(step("BC-05", vec![hold("1 s")]));
    steps[0].closes = Some(sp("BC-05"));
    assert!(mend_of(&Files::new(steps.clone()), code::UNKNOWN_NAME).contains("first look"));
    steps[0].closes = None;
    steps[1].closes = Some(sp("WU-01"));
    assert_eq!(
        mend_of(&Files::new(steps.clone()), code::UNKNOWN_NAME),
        "write one of: WU-00"
    );
    steps[1].closes = Some(sp("WU-00"));
    let closing = pilotage_evidence::heading::Closing { step: 1, since: 0 };
    assert_eq!(Files::new(steps).fit().unwrap().heading.closings, [closing]);
}
