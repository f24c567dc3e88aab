//! Error queues: looked at after every act; an error names instrument, command and text.

use super::{driven_by, in_memory, read, set, specs, word};
use crate::testing::files::driver;
use crate::testing::{Desk, virtually};
use pilotage_plan::program::ReadSpec;
use pilotage_run::world::{Bench, Lane, Queues};

#[test]
fn an_error_belongs_to_its_command() {
    virtually(async {
        let (bench, _) = in_memory(Desk::answering("SYSTem:ERRor?", b"-222,\"Data out of range\""));
        let error = set(&bench, &word("load", "on")).await.unwrap_err();
        assert_eq!(error.trouble.command, "INPut ON;:SYSTem:ERRor?");
        assert_eq!(error.trouble.got, "-222,\"Data out of range\"");
    });
}

#[test]
fn a_command_that_stops_the_message_is_explained() {
    virtually(async {
        let (bench, _) = in_memory(Desk::new());
        bench.identify().await.unwrap();
        let error = set(&bench, &word("broken", "on")).await.unwrap_err();
        assert_eq!(error.trouble.command, "INPutt ON;:SYSTem:ERRor?");
        assert_eq!(error.trouble.got, "-113,\"Undefined header;INPutt ON\"");
        assert!(error.trouble.mend.contains("driver file"));
    });
}

#[test]
fn lost_errors_are_an_error() {
    virtually(async {
        let (bench, _) = in_memory(Desk::answering("SYSTem:ERRor?", b"-350,\"Queue overflow\""));
        assert_eq!(bench.drain(Queues::OfStep).await.unwrap(), []);
        read(&bench, "enclosure").await.unwrap();
        let error = bench.drain(Queues::OfAct).await.unwrap_err();
        assert!(
            error.trouble.got.contains("-350") && error.trouble.got.contains("errors were lost"),
            "{error}"
        );
        assert_eq!(
            (error.trouble.instrument.as_str(), error.trouble.expected.as_str()),
            ("desk", "an empty error queue after \"MEASure:ECHO? 1\"")
        );
        assert_eq!(
            error.exchanges.len(),
            30,
            "a queue that never empties is left after 30 entries"
        );
    });
}

#[test]
fn after_an_act_only_those_are_asked_whose_queue_was_not_looked_at() {
    virtually(async {
        let (bench, tape) = in_memory(Desk::new());
        read(&bench, "enclosure").await.unwrap();
        read(&bench, "enclosure").await.unwrap();
        assert_eq!(bench.drain(Queues::OfAct).await.unwrap().len(), 1);
        assert_eq!(bench.drain(Queues::OfAct).await.unwrap().len(), 0);
        assert_eq!(tape.sent(), b"MEASure:ECHO? 1\nMEASure:ECHO? 1\nSYSTem:ERRor?\n");
        assert_eq!(bench.drain(Queues::OfStep).await.unwrap().len(), 1);
        assert_eq!(bench.drain(Queues::OfStep).await.unwrap().len(), 0);
        set(&bench, &word("load", "on")).await.unwrap();
        assert_eq!(
            bench.drain(Queues::OfAct).await.unwrap().len(),
            0,
            "a setting asks itself"
        );
        let interlock = ReadSpec {
            name: "x".to_owned(),
            point: "enclosure".to_owned(),
            unit: String::new(),
        };
        bench.read(&interlock, Lane::Guard).await.unwrap();
        assert_eq!(
            bench.drain(Queues::OfAct).await.unwrap().len(),
            0,
            "guards ask too often"
        );
        assert_eq!(bench.drain(Queues::OfStep).await.unwrap().len(), 1);
    });
}

#[test]
fn the_last_reading_of_an_act_asks_for_errors_in_its_message() {
    virtually(async {
        let mut driver = driver();
        driver.errors_with_reading = true;
        let (bench, tape) = driven_by(&driver, Desk::new());
        let points = specs(&["ac_output[L-N].voltage", "enclosure"]);
        let answers = bench.read_all(&points).await;
        assert_eq!(answers[0].as_ref().unwrap().datum.as_ref().unwrap().value.si(), 230.0);
        let last = answers[1].as_ref().unwrap();
        assert_eq!(last.word.as_deref(), Some("closed"));
        assert_eq!(last.exchanges[0].received.as_deref(), Some("1;0,\"No error\""));
        assert_eq!(bench.drain(Queues::OfAct).await.unwrap().len(), 0);
        assert_eq!(tape.sent(), b"MEASure:ECHO? 230\nMEASure:ECHO? 1;:SYSTem:ERRor?\n");
    });
}

#[test]
fn without_leave_errors_are_asked_for_after_the_act() {
    virtually(async {
        let (bench, tape) = in_memory(Desk::new());
        bench.read_all(&specs(&["ac_output[L-N].voltage", "enclosure"])).await;
        assert_eq!(bench.drain(Queues::OfAct).await.unwrap().len(), 1);
        assert_eq!(tape.sent(), b"MEASure:ECHO? 230\nMEASure:ECHO? 1\nSYSTem:ERRor?\n");
    });
}

#[test]
fn a_reading_with_an_error_behind_it_is_none() {
    virtually(async {
        let mut driver = driver();
        driver.errors_with_reading = true;
        let (bench, _) = driven_by(
            &driver,
            Desk::answering("SYSTem:ERRor?", b"-230,\"Data corrupt or stale\""),
        );
        let answers = bench.read_all(&specs(&["ac_output[L-N].voltage"])).await;
        let error = answers[0].as_ref().unwrap_err();
        assert_eq!(error.trouble.instrument, "desk");
        assert_eq!(error.trouble.command, "MEASure:ECHO? 230;:SYSTem:ERRor?");
        assert_eq!(error.trouble.got, "-230,\"Data corrupt or stale\"");
        let (bench, _) = driven_by(&driver, Desk::answering("SYSTem:ERRor?", b"0"));
        let answers = bench.read_all(&specs(&["ac_output[L-N].voltage"])).await;
        assert!(answers[0].as_ref().unwrap_err().trouble.mend.contains("`errors` query"));
    });
}

#[test]
fn an_error_behind_several_queries_is_charged_to_all_of_them_and_not_to_the_last() {
    virtually(async {
        let mut driver = driver();
        driver.errors_with_reading = true;
        let (bench, _) = driven_by(&driver, Desk::answering("SYSTem:ERRor?", b"-221,\"Settings conflict\""));
        let answers = bench.read_all(&specs(&["ac_output[L-N].voltage", "enclosure"])).await;
        for answer in &answers {
            let error = answer.as_ref().unwrap_err();
            assert_eq!(
                error.trouble.expected,
                "an empty error queue after \"MEASure:ECHO? 230\", \"MEASure:ECHO? 1;:SYSTem:ERRor?\""
            );
            assert!(!error.exchanges.is_empty(), "what was answered is kept");
        }
        // The next act is not charged with it.
        let answers = bench.read_all(&specs(&["enclosure"])).await;
        let error = answers[0].as_ref().unwrap_err();
        assert_eq!(error.trouble.expected, "an empty error queue");
    });
}

#[test]
fn what_a_guard_asked_stands_beside_a_setting_and_at_the_steps_end() {
    virtually(async {
        let guarded = ReadSpec {
            name: "x".to_owned(),
            point: "enclosure".to_owned(),
            unit: String::new(),
        };
        let (bench, _) = in_memory(Desk::answering("SYSTem:ERRor?", b"-310,\"System error\""));
        bench.read(&guarded, Lane::Guard).await.unwrap();
        let error = set(&bench, &word("load", "on")).await.unwrap_err();
        assert_eq!(
            (error.trouble.command.as_str(), error.trouble.expected.as_str()),
            (
                "INPut ON;:SYSTem:ERRor?",
                "an empty error queue after \"MEASure:ECHO? 1\", \"INPut ON;:SYSTem:ERRor?\""
            )
        );
        bench.read(&guarded, Lane::Guard).await.unwrap();
        let error = bench.drain(Queues::OfStep).await.unwrap_err();
        assert_eq!(error.trouble.expected, "an empty error queue after \"MEASure:ECHO? 1\"");
    });
}
