//! Setting points: bytes made before, read back after.

use super::{amperes, in_memory, read, set, word};
use crate::interpret::Tables;
use crate::testing::files::{bench, driver};
use crate::testing::{Desk, virtually};
use pilotage_run::permit::Withheld;
use pilotage_run::world::{Bench, Lane};

#[test]
fn sets_and_reads_back() {
    virtually(async {
        let (bench, _) = in_memory(Desk::new());
        let lines = set(&bench, &word("load", "on")).await.unwrap();
        assert_eq!(lines, ["INPut ON;:SYSTem:ERRor? → 0,\"No error\"", "INPut? → ON"]);
        let lines = set(&bench, &amperes("load.current", 0.1 + 0.2)).await.unwrap();
        assert_eq!(lines[0], "CURRent 0.30000000000000004;:SYSTem:ERRor? → 0,\"No error\"");
        let messages = bench.messages(&amperes("load.current", 16.0));
        let of_desk = |text: &str| ("desk".to_owned(), text.to_owned());
        assert_eq!(messages, [of_desk("CURRent 16;:SYSTem:ERRor?"), of_desk("CURRent?")]);
        assert_eq!(read(&bench, "load").await.unwrap().word.as_deref(), Some("on"));
    });
}

#[test]
fn a_setting_that_was_not_taken_is_found() {
    virtually(async {
        let (bench, _) = in_memory(Desk::new());
        let error = set(&bench, &amperes("deaf.current", 16.0)).await.unwrap_err();
        assert_eq!(
            error.trouble.expected,
            "16 A ± 0.01 A (after \"CURRent 16;:SYSTem:ERRor?\")"
        );
        assert_eq!(error.trouble.got, "3");
        assert_eq!(error.exchanges.len(), 2);
        assert!(error.trouble.mend.contains("front panel"));
        set(&bench, &amperes("deaf.current", 3.0099)).await.unwrap();
        set(&bench, &amperes("deaf.current", 3.0101)).await.unwrap_err();
        let (bench, _) = in_memory(Desk::answering("INPut?", b"OFF"));
        let error = set(&bench, &word("load", "on")).await.unwrap_err();
        assert_eq!(
            (error.trouble.command.as_str(), error.trouble.got.as_str()),
            ("INPut?", "OFF")
        );
    });
}

#[test]
fn what_the_instrument_cannot_do_is_refused_before_anything_is_sent() {
    let tables = Tables::compile(&bench(), [&driver()]).unwrap();
    for (wrong, what) in [
        (
            amperes("load.current", 40.1),
            "40.1 A is outside what desk, function `current` (desk.yaml:7) can do (0 A to 40 A)",
        ),
        (
            amperes("load.current", -1.0),
            "-1 A is outside what desk, function `current` (desk.yaml:7) can do (0 A to 40 A)",
        ),
        (
            word("load", "open"),
            "it cannot be set to open: desk serves it by function `input` (desk.yaml:7), which has no such position",
        ),
        (
            amperes("load", 1.0),
            "it cannot be set to 1 A: desk serves it by function `input` (desk.yaml:7), which has no such position",
        ),
        (
            word("pilot", "on"),
            "it cannot be set to on: desk serves it by function `waveform` (desk.yaml:7), which is neither a selector nor a set point of this kind",
        ),
        (word("nowhere", "on"), "no instrument of this bench serves this point"),
    ] {
        let problems = tables.compile_orders([&wrong]).unwrap_err();
        assert_eq!(
            (problems[0].place.as_str(), problems[0].what.as_str()),
            (wrong.point.as_str(), what)
        );
        assert!(!problems[0].mend.is_empty());
    }
}

#[test]
fn an_order_that_was_not_compiled_is_not_sent() {
    virtually(async {
        let (bench, tape) = in_memory(Desk::new());
        let unknown = amperes("load.current", 17.0);
        let error = set(&bench, &unknown).await.unwrap_err();
        assert!(error.trouble.got.contains("not compiled before the run"), "{error}");
        assert!(bench.messages(&unknown).is_empty());
        assert_eq!(tape.sent(), b"");
    });
}

#[test]
fn a_withheld_permit_sends_nothing() {
    virtually(async {
        let (bench, tape) = in_memory(Desk::new());
        let withheld = |_| {
            let why = "something tripped since it was given".to_owned();
            Err(Withheld { act: 3, why })
        };
        let error = bench
            .set(&word("load", "on"), Lane::Work, Some(Box::new(withheld)))
            .await
            .unwrap_err();
        assert!(error.trouble.got.contains("something tripped"), "{error}");
        assert_eq!(tape.sent(), b"", "not even the read-back");
        bench
            .set(&word("load", "on"), Lane::Work, Some(Box::new(|_| Ok(()))))
            .await
            .unwrap();
        assert!(tape.sent().starts_with(b"INPut ON;"));
    });
}
