//! Each row of the judge's table, published examples, and one unit in the last place around every bound.
#![allow(clippy::unwrap_used, clippy::float_cmp)]

use super::*;
use pilotage_core::{Contribution, Dimension};
use proptest::prelude::*;
use std::collections::BTreeMap;

const SIMPLE: DecisionRule = DecisionRule::Simple;
const GUARDED: DecisionRule = DecisionRule::GuardBanded;

fn volts(si: f64) -> Quantity {
    Quantity::new(si, Dimension::VOLTAGE).unwrap()
}

fn term(source: &str, standard: f64) -> Contribution {
    Contribution {
        source: source.to_owned(),
        standard,
        degrees_of_freedom: None,
    }
}

/// A reading in volts with standard uncertainty `u`; none where it is unknown.
fn reading(si: f64, u: Option<f64>) -> Measured {
    let uncertainty = match u {
        Some(0.0) => Uncertainty::Known(Vec::new()),
        Some(u) => Uncertainty::Known(vec![term("meter", u)]),
        None => Uncertainty::Unknown("the driver file gives no accuracy".to_owned()),
    };
    Measured {
        value: volts(si),
        uncertainty,
    }
}

fn ruling(si: f64, u: Option<f64>, tolerance: &Tolerance, rule: DecisionRule) -> Ruling {
    judge(Ok(&reading(si, u)), tolerance, rule)
}

fn verdicts(si: f64, u: Option<f64>, tolerance: &Tolerance) -> (Verdict, Verdict) {
    (
        ruling(si, u, tolerance, SIMPLE).verdict,
        ruling(si, u, tolerance, GUARDED).verdict,
    )
}

fn between(low: f64, high: f64) -> Tolerance {
    Tolerance::Between(volts(low), volts(high))
}

use Verdict::{Error, Fail, Inconclusive, Pass};

#[test]
fn row_1_what_the_bench_could_not_do_is_an_error() {
    for reason in [
        NoValue::Bench("link lost".to_owned()),
        NoValue::TimedOut,
        NoValue::NotANumber,
    ] {
        for rule in [SIMPLE, GUARDED] {
            let ruling = judge(Err(&reason), &between(0.0, 1.0), rule);
            assert_eq!((ruling.verdict, ruling.marks), (Error, vec![reason.to_string()]));
        }
    }
}

#[test]
fn row_2_no_number_from_a_bench_that_worked_is_inconclusive() {
    let reasons = [
        NoValue::Missing("the event did not come".to_owned()),
        NoValue::Overload,
        NoValue::Overflow,
        NoValue::DivisionByZero,
    ];
    for reason in reasons {
        for rule in [SIMPLE, GUARDED] {
            let ruling = judge(Err(&reason), &Tolerance::AtLeast(volts(0.0)), rule);
            assert_eq!((ruling.verdict, ruling.marks), (Inconclusive, vec![reason.to_string()]));
        }
    }
}

#[test]
fn row_3_a_limit_that_nothing_can_meet_is_an_error() {
    for tolerance in [Tolerance::AnyOf(Vec::new()), between(2.0, 1.0)] {
        assert_eq!(verdicts(1.5, Some(0.0), &tolerance), (Error, Error));
    }
}

#[test]
fn row_4_another_dimension_is_an_error_that_says_both() {
    let amperes = Quantity::new(1.0, Dimension::CURRENT).unwrap();
    let tolerances = [
        Tolerance::AtLeast(amperes),
        Tolerance::AtMost(amperes),
        Tolerance::Between(volts(0.0), amperes),
        Tolerance::AnyOf(vec![volts(1.0), amperes]),
    ];
    for tolerance in tolerances {
        let ruling = ruling(1.0, Some(0.0), &tolerance, SIMPLE);
        assert_eq!(ruling.verdict, Error);
        assert_eq!(
            ruling.marks,
            ["dimension: the limit is a current (A), the reading is a voltage (V)"]
        );
    }
}

#[test]
fn rows_5_to_7_choices() {
    let choices = Tolerance::AnyOf(vec![volts(120.0), volts(230.0)]);
    assert_eq!(verdicts(230.0, Some(0.0), &choices), (Pass, Pass));
    assert_eq!(verdicts(230.0f64.next_up(), Some(0.0), &choices), (Fail, Fail));
    assert_eq!(verdicts(230.0, Some(0.1), &choices), (Pass, Inconclusive));
    assert_eq!(verdicts(231.0, Some(0.1), &choices), (Fail, Inconclusive));
    assert_eq!(verdicts(230.0, None, &choices), (Pass, Inconclusive));
    assert_eq!(verdicts(231.0, None, &choices), (Fail, Inconclusive));
    assert_eq!(ruling(230.0, None, &choices, SIMPLE).marks, [UNCERTAINTY_UNKNOWN]);
}

#[test]
fn row_8_unknown_uncertainty_is_marked_and_never_passes_a_guard_band() {
    let tolerance = between(8.0, 9.0);
    assert_eq!(verdicts(8.5, None, &tolerance), (Pass, Inconclusive));
    assert_eq!(verdicts(9.5, None, &tolerance), (Fail, Inconclusive));
    let ruling = ruling(8.5, None, &tolerance, SIMPLE);
    assert_eq!(ruling.marks, [UNCERTAINTY_UNKNOWN]);
    assert_eq!((ruling.expanded, ruling.risk), (None, None));
    assert_eq!(ruling.margin, Some(0.5));
}

#[test]
fn rows_9_to_12_with_u_of_a_quarter_and_expanded_of_a_half() {
    // All numbers are binary fractions, so that "exactly U inside" can be said.
    let tolerance = between(8.0, 12.0);
    let u = Some(0.25);
    for (y, wanted) in [
        (10.0, (Pass, Pass)),
        (8.5, (Pass, Pass)),
        (11.5, (Pass, Pass)),
        (8.5f64.next_down(), (Pass, Inconclusive)),
        (11.5f64.next_up(), (Pass, Inconclusive)),
        (8.0, (Pass, Inconclusive)),
        (12.0, (Pass, Inconclusive)),
        (8.0f64.next_down(), (Fail, Inconclusive)),
        (12.0f64.next_up(), (Fail, Inconclusive)),
        (7.5, (Fail, Inconclusive)),
        (12.5, (Fail, Inconclusive)),
        (7.5f64.next_down(), (Fail, Fail)),
        (12.5f64.next_up(), (Fail, Fail)),
    ] {
        assert_eq!(verdicts(y, u, &tolerance), wanted, "{y}");
    }
    assert_eq!(ruling(8.25, u, &tolerance, GUARDED).marks, [IN_GUARD_BAND]);
}

#[test]
fn one_sided_limits_have_no_other_side() {
    assert_eq!(
        verdicts(1e300, Some(0.0), &Tolerance::AtLeast(volts(0.0))),
        (Pass, Pass)
    );
    assert_eq!(
        verdicts(-1e300, Some(0.0), &Tolerance::AtMost(volts(0.0))),
        (Pass, Pass)
    );
    assert_eq!(
        verdicts(-f64::MIN_POSITIVE, Some(0.0), &Tolerance::AtLeast(volts(0.0))),
        (Fail, Fail)
    );
}

#[test]
fn an_uncertainty_wider_than_the_limit_is_said() {
    let ruling = ruling(8.5, Some(0.3), &between(8.0, 9.0), GUARDED);
    assert_eq!(ruling.verdict, Inconclusive);
    assert_eq!(ruling.marks, [IN_GUARD_BAND, UNCERTAINTY_TOO_LARGE]);
}

#[test]
fn contributions_of_one_source_cancel_and_others_add_as_squares() {
    let expanded = |terms: Vec<Contribution>| {
        let measured = Measured {
            value: volts(1.0),
            uncertainty: Uncertainty::Known(terms),
        };
        judge(Ok(&measured), &Tolerance::AtLeast(volts(0.0)), SIMPLE).expanded
    };
    assert_eq!(expanded(vec![term("gain", 3.0), term("gain", -3.0)]), Some(0.0));
    assert_eq!(expanded(vec![term("gain", 3.0), term("offset", 4.0)]), Some(10.0));
    assert_eq!(expanded(vec![]), Some(0.0));
    for broken in [f64::NAN, f64::INFINITY, f64::MAX] {
        assert_eq!(expanded(vec![term("gain", broken)]), None, "{broken}");
    }
}

#[test]
fn a_contribution_that_is_not_a_number_counts_as_unknown() {
    let ruling = ruling(8.5, Some(f64::NAN), &between(8.0, 9.0), GUARDED);
    assert_eq!((ruling.verdict, ruling.risk), (Inconclusive, None));
    assert_eq!(ruling.marks, [UNCERTAINTY_UNKNOWN]);
}

#[test]
fn conformance_examples_of_jcgm_106_clause_7_3() {
    // Breakdown voltage −5.47 V, u = 0.05 V, must lie below −5.40 V: pc = Φ(1.4) = 0.919 24.
    let ruling = ruling(-5.47, Some(0.05), &Tolerance::AtMost(volts(-5.40)), SIMPLE);
    assert!((1.0 - ruling.risk.unwrap() - 0.919_24).abs() < 5e-6);
    // Burst pressure 509.7 kPa, u = 8.6 kPa, at least 490 kPa: pc = 0.989 01.
    let pascal = Dimension::from_exponents([-1, 1, -2, 0, 0, 0, 0]);
    let pressure = Measured {
        value: Quantity::new(509.7e3, pascal).unwrap(),
        uncertainty: Uncertainty::Known(vec![term("gauge", 8.6e3)]),
    };
    let limit = Tolerance::AtLeast(Quantity::new(490e3, pascal).unwrap());
    let ruling = judge(Ok(&pressure), &limit, SIMPLE);
    assert!((1.0 - ruling.risk.unwrap() - 0.989_01).abs() < 5e-6);
}

#[test]
fn risk_at_the_acceptance_limit_is_that_of_ilac_g8_table_1() {
    // With w = U the greatest risk of a pass is 2.275 % (< 2.5 %); with w = 0 it is 50 %.
    let limit = Tolerance::AtMost(volts(10.0));
    let at_guard = ruling(9.0, Some(0.5), &limit, GUARDED);
    assert_eq!(at_guard.verdict, Pass);
    assert!((at_guard.risk.unwrap() - 0.022_75).abs() < 1e-6);
    let at_limit = ruling(10.0, Some(0.5), &limit, SIMPLE);
    assert_eq!((at_limit.verdict, at_limit.risk), (Pass, Some(0.5)));
}

#[test]
fn an_exact_value_has_no_risk_or_full_risk() {
    let limit = Tolerance::AtMost(volts(0.0));
    assert_eq!(ruling(0.0, Some(0.0), &limit, GUARDED).risk, Some(0.0));
    assert_eq!(ruling(1.0, Some(0.0), &limit, GUARDED).risk, Some(1.0));
}

#[test]
fn a_sum_that_rounds_onto_the_reading_is_told_apart() {
    // 1 + 2^-60 rounds to 1, yet 1 is not at least 1 + 2^-60.
    let tiny = 2f64.powi(-60);
    assert!(!at_least_sum(1.0, 1.0, tiny));
    assert!(at_least_sum(1.0, 1.0, -tiny));
    assert!(at_least_sum(1.0, 1.0, 0.0));
    assert!(!at_least_sum(f64::MAX, f64::MAX, f64::MAX));
}

fn plate(tolerance: Tolerance, status: SourceStatus) -> LimitPlate {
    LimitPlate {
        key: "pilot.close_delay".to_owned(),
        title: "Delay".to_owned(),
        place: "limits/a.yaml:1".to_owned(),
        standard: "IEC 61851-1".to_owned(),
        edition: "2017".to_owned(),
        clause: "Annex A".to_owned(),
        status,
        by: None,
        tolerance,
        bounds: Vec::new(),
        unit: "s".to_owned(),
    }
}

fn seconds(si: f64) -> Quantity {
    Quantity::new(si, Dimension::TIME).unwrap()
}

/// A reading without a value for which `waited_s` was waited.
fn absent(waited_s: Option<f64>) -> Reading {
    Reading {
        name: "close_delay".to_owned(),
        step: 0,
        pass: None,
        point: String::new(),
        value: None,
        no_value: Some(NoValue::Missing("ac_output[L-N] never rose through 80 V".to_owned())),
        word: None,
        unit: "s".to_owned(),
        taken: (pilotage_core::RunTime::START, pilotage_core::RunTime::START),
        exchanges: Vec::new(),
        formula: None,
        from: BTreeMap::new(),
        constants: waited_s.map(|s| (WAITED.to_owned(), seconds(s))).into_iter().collect(),
        variables: std::collections::BTreeMap::new(),
        moments: Vec::new(),
    }
}

#[test]
fn an_event_that_did_not_come_is_longer_than_what_was_waited() {
    let at_most = plate(Tolerance::AtMost(seconds(3.0)), SourceStatus::Restated);
    let at_least = plate(Tolerance::AtLeast(seconds(3.0)), SourceStatus::Restated);
    let volt = plate(Tolerance::AtMost(volts(3.0)), SourceStatus::Restated);
    for (limit, waited_s, wanted) in [
        (&at_most, Some(4.0), Fail),
        (&at_most, Some(3.0), Fail),
        (&at_most, Some(2.0), Inconclusive),
        (&at_most, None, Inconclusive),
        (&at_least, Some(4.0), Inconclusive),
        (&volt, Some(4.0), Error),
    ] {
        for rule in [SIMPLE, GUARDED] {
            let ruling = judge_reading(&absent(waited_s), limit, rule);
            assert_eq!(ruling.verdict, wanted, "{waited_s:?} {:?}", limit.tolerance);
            assert_eq!(ruling.marks.contains(&DID_NOT_COME.to_owned()), waited_s.is_some());
        }
    }
}

#[test]
fn a_claim_turns_a_fail_into_inconclusive_and_nothing_else() {
    let limit = plate(Tolerance::AtMost(seconds(3.0)), SourceStatus::CommonPractice);
    let claimed = judge_reading(&absent(Some(4.0)), &limit, SIMPLE).claimed_inconclusive();
    assert_eq!(claimed.verdict, Inconclusive);
    assert!(claimed.marks.contains(&CLAIMED_INCONCLUSIVE.to_owned()));
    let undecided = judge(Ok(&reading(1.0, Some(0.0))), &between(0.0, 2.0), SIMPLE).not_decidable("U is 60 ms");
    assert_eq!(undecided.verdict, Inconclusive);
    assert_eq!(undecided.marks, ["not decidable on this bench: U is 60 ms"]);
    let error = judge(Err(&NoValue::TimedOut), &limit.tolerance, SIMPLE);
    assert_eq!(error.clone().claimed_inconclusive(), error);
}

#[test]
fn a_demand_on_the_bench_that_is_not_met_is_no_fail_of_the_item() {
    let mut limit = plate(Tolerance::AtMost(seconds(3.0)), SourceStatus::CommonPractice);
    assert!(!limit.is_of_the_bench());
    "bench.skew".clone_into(&mut limit.key);
    assert!(limit.is_of_the_bench());
    let mut overloaded = absent(None);
    overloaded.no_value = Some(NoValue::Overload);
    for reading in [absent(Some(4.0)), overloaded] {
        let missed = judge_reading(&reading, &limit, SIMPLE).of_the_bench(&reading);
        assert_eq!(missed.verdict, Error);
        assert!(missed.marks.contains(&OF_THE_BENCH.to_owned()));
    }
    let unknown = absent(Some(2.0));
    let open = judge_reading(&unknown, &limit, SIMPLE);
    assert_eq!(open.clone().of_the_bench(&unknown), open, "neither met nor missed");
}

#[test]
fn a_limit_from_memory_judges_and_says_so() {
    let limit = plate(between(8.0, 9.0), SourceStatus::FromMemory);
    let ruling = judge_limit(Ok(&reading(8.5, Some(0.0))), &limit, SIMPLE);
    assert_eq!(
        (ruling.verdict, ruling.marks),
        (Pass, vec![LIMIT_FROM_MEMORY.to_owned()])
    );
}

#[test]
fn a_word_is_not_judged_as_a_number() {
    let mut word = absent(None);
    word.no_value = None;
    word.word = Some("closed".to_owned());
    let limit = plate(between(8.0, 9.0), SourceStatus::Restated);
    assert_eq!(judge_reading(&word, &limit, SIMPLE).verdict, Error);
}

/// A value as a whole number of steps of 2^-70.
fn whole(value: f64) -> i128 {
    // The values of the property below are multiples of 2^-70 below 2^40: exact in 128 bits.
    (value * 2f64.powi(70)) as i128
}

proptest! {
    #[test]
    fn exact_comparison_agrees_with_whole_numbers(bound in -1000i64..1000, steps in -3i32..=3, small in 0i64..1024) {
        let bound = bound as f64;
        let inset = small as f64 * 2f64.powi(-60);
        let mut y = bound + inset;
        for _ in 0..steps.abs() {
            y = if steps > 0 { y.next_up() } else { y.next_down() };
        }
        prop_assume!(y == 0.0 || y.abs() > 1e-9);
        prop_assert_eq!(at_least_sum(y, bound, inset), whole(y) >= whole(bound) + whole(inset));
    }

    #[test]
    fn guard_banded_is_never_more_lenient_than_simple(y in -20.0..20.0f64, u in 0.0..3.0f64, low in -10.0..0.0f64, high in 0.0..10.0f64) {
        let (simple, guarded) = verdicts(y, Some(u), &between(low, high));
        prop_assert!(guarded == simple || guarded == Inconclusive);
        let ruling = ruling(y, Some(u), &between(low, high), GUARDED);
        if guarded == Pass {
            // The two-sided worst case: both bounds exactly U away.
            prop_assert!(ruling.risk.unwrap() <= 2.0 * 0.022_751);
        }
        prop_assert!((0.0..=1.0).contains(&ruling.risk.unwrap()));
        prop_assert_eq!(ruling.margin.unwrap() >= 0.0, simple == Pass);
    }
}

/// A small generator of its own (xorshift64*), so that the cases are the same everywhere.
struct Random(u64);

impl Random {
    fn below(&mut self, bound: u64) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 16) % bound
    }
}

/// What the table says, in whole numbers of 2^-70: no rounding anywhere.
fn oracle(y: i128, low: i128, high: i128, expanded: i128, rule: DecisionRule) -> Verdict {
    let inside = |inset: i128| y - low >= inset && high - y >= inset;
    let guard = if rule == SIMPLE { 0 } else { expanded };
    match (inside(guard), inside(-guard)) {
        (true, _) => Pass,
        (false, true) => Inconclusive,
        (false, false) => Fail,
    }
}

#[test]
fn a_million_judgements_around_their_bounds_agree_with_whole_numbers() {
    let mut random = Random(2017);
    let mut judged = 0;
    while judged < 1_000_000 {
        let low = random.below(20_000) as f64 / 64.0 - 100.0;
        let high = low + random.below(2_000) as f64 / 64.0;
        let u = random.below(3).min(1) as f64 * random.below(1 << 20) as f64 * 2f64.powi(-22);
        // Either bound, moved by nothing or by U, and up to two units in the last place beside it.
        let bound = [low, high][random.below(2) as usize];
        let mut y = bound + [0.0, 2.0 * u, -2.0 * u][random.below(3) as usize];
        for _ in 0..random.below(3) {
            y = if random.below(2) == 0 {
                y.next_up()
            } else {
                y.next_down()
            };
        }
        if y.abs() < 1e-5 {
            continue;
        }
        for rule in [SIMPLE, GUARDED] {
            let wanted = oracle(whole(y), whole(low), whole(high), whole(2.0 * u), rule);
            let got = ruling(y, Some(u), &between(low, high), rule).verdict;
            assert_eq!(got, wanted, "{y:e} in {low} … {high}, u {u:e}, {rule}");
            judged += 1;
        }
    }
}

/// A bound that is itself a reading is as uncertain as that: JCGM 100, 5.1.2 and 5.2.2, for the difference of the two.
#[test]
fn the_uncertainty_of_a_bound_counts() {
    let limit =
        |bound: Measured| plate(Tolerance::AtMost(volts(0.0)), SourceStatus::Restated).worked_out(None, Some(bound));
    let measured = |si: f64, terms: Vec<Contribution>| Measured {
        value: volts(si),
        uncertainty: Uncertainty::Known(terms),
    };
    let judged = |reading: &Measured, limit: &LimitPlate| judge_limit(Ok(reading), limit, GUARDED);
    let reading = measured(230.0, vec![term("meter", 0.3)]);
    // U of the reading alone is 0.6 V; with 0.4 V of another meter behind the bound it is 1 V.
    let other = limit(measured(230.8, vec![term("other meter", 0.4)]));
    let ruling = judged(&reading, &other);
    assert!((ruling.expanded.unwrap() - 1.0).abs() < 1e-12, "{ruling:?}");
    assert_eq!(ruling.verdict, Inconclusive);
    assert_eq!(
        judged(&reading, &limit(measured(231.1, vec![term("other meter", 0.4)]))).verdict,
        Pass
    );
    // One meter for both: it is trusted no better than for one.
    let same = judged(&reading, &limit(measured(230.1, vec![term("meter", 0.3)])));
    assert_eq!((same.verdict, same.expanded), (Inconclusive, Some(0.6)));
    // Unknown stays unknown; what is exact adds nothing.
    let unknown = Measured {
        value: volts(240.0),
        uncertainty: Uncertainty::Unknown("nobody says".to_owned()),
    };
    assert_eq!(judged(&reading, &limit(unknown)).verdict, Inconclusive);
    let exact = limit(Measured::exact(volts(230.7)));
    assert_eq!((exact.bounds.clone(), judged(&reading, &exact).verdict), (vec![], Pass));
    // Of two bounds the one that leaves the reading the least certain counts, and a record keeps both.
    let low = measured(229.0, vec![term("other meter", 0.4)]);
    let high = measured(231.0, vec![term("other meter", 0.1)]);
    let both = plate(between(0.0, 0.0), SourceStatus::Restated).worked_out(Some(low), Some(high));
    assert_eq!(both.tolerance, between(229.0, 231.0));
    assert!((judged(&reading, &both).expanded.unwrap() - 1.0).abs() < 1e-12);
    let kept: LimitPlate = serde_json::from_str(&serde_json::to_string(&both).unwrap()).unwrap();
    assert_eq!(kept, both);
    // 0.5 V of the reading's own meter add nothing to it, 0.4 V of another do, though they are fewer.
    let low = measured(229.0, vec![term("meter", 0.5)]);
    let high = measured(230.9, vec![term("other meter", 0.4)]);
    let both = plate(between(0.0, 0.0), SourceStatus::Restated).worked_out(Some(low), Some(high));
    let ruling = judged(&reading, &both);
    assert!((ruling.expanded.unwrap() - 1.0).abs() < 1e-12, "{ruling:?}");
    assert_eq!(ruling.verdict, Inconclusive);
}
