//! Reading and capturing points.

use super::{in_memory, read};
use crate::testing::{Desk, virtually};
use pilotage_core::{NoValue, RunTime};
use pilotage_plan::program::CaptureSpec;
use pilotage_run::world::{Bench, Clock};
use std::time::Duration;

#[test]
fn reads_numbers_and_words() {
    virtually(async {
        let mut desk = Desk::new();
        desk.slow.insert("MEASure".to_owned(), Duration::from_millis(50));
        let (bench, _) = in_memory(desk);
        tokio::time::sleep(Duration::from_secs(1)).await;
        let answer = read(&bench, "ac_output[L-N].voltage").await.unwrap();
        assert_eq!(answer.datum.unwrap().value.si(), 230.0);
        assert_eq!(
            answer.taken,
            (RunTime(850_000_000), RunTime(1_050_000_000)),
            "200 ms aperture before the reply"
        );
        assert_eq!(answer.exchanges[0].received.as_deref(), Some("230"));
        assert_eq!(
            read(&bench, "over.voltage").await.unwrap().datum,
            Err(NoValue::Overload)
        );
        assert_eq!(read(&bench, "enclosure").await.unwrap().word.as_deref(), Some("closed"));
        let error = read(&bench, "list.voltage").await.unwrap_err();
        assert_eq!(
            (
                error.trouble.expected.starts_with("a number"),
                error.trouble.got.as_str()
            ),
            (true, "230:5")
        );
    });
}

#[test]
fn a_word_that_no_answer_names_is_refused() {
    virtually(async {
        let (bench, _) = in_memory(Desk::answering("MEASure:ECHO? 1", b"2"));
        let error = read(&bench, "enclosure").await.unwrap_err();
        assert_eq!(
            (error.trouble.expected.as_str(), error.trouble.got.as_str()),
            ("one of 1, 0", "2")
        );
    });
}

#[test]
fn captures_on_a_paused_clock() {
    virtually(async {
        let (bench, tape) = in_memory(Desk::new());
        let capture = CaptureSpec {
            name: "WU-19".to_owned(),
            of: vec!["ac_output[L-N]".to_owned(), "pilot".to_owned()],
            length: Duration::from_secs(4),
            rate: 250.0,
            during: Vec::new(),
        };
        let began = bench.clock.now();
        bench.arm(&capture).await.unwrap();
        let captured = bench.fetch(&capture).await.unwrap();
        assert!(
            tape.sent()
                .starts_with(b"ACQuire:SRATe 250;:ACQuire:POINts 1000;:INITiate;:SYSTem:ERRor?\nSTATus")
        );
        let channel = &captured.channels[0];
        assert_eq!(
            (channel.point.as_str(), channel.unit.as_str(), channel.samples),
            ("ac_output[L-N]", "V", 1000)
        );
        assert_eq!((channel.offset, channel.scale, channel.interval_s), (1.5, 0.25, 0.004));
        assert_eq!(channel.first_sample, began);
        assert!((channel.gain_standard.unwrap() - 0.005 / 3f64.sqrt()).abs() < 1e-15);
        assert_eq!(captured.channels[1].point, "pilot");
        assert_eq!(captured.samples[0][..4], [0, 10, 20, 30]);
        assert_eq!(captured.samples[1].len(), 1000);
        assert!(bench.clock.now().since(began) >= capture.length);
        let error = bench.fetch(&capture).await.unwrap_err();
        assert!(error.trouble.got.contains("was not armed"), "{error}");
    });
}

#[test]
fn a_block_of_the_wrong_length_is_refused() {
    virtually(async {
        let (bench, _) = in_memory(Desk::answering("TRACe:DATA? (@1)", b"#14abcd"));
        let capture = CaptureSpec {
            name: "x".to_owned(),
            of: vec!["pilot".to_owned()],
            length: Duration::from_secs(1),
            rate: 100.0,
            during: Vec::new(),
        };
        bench.arm(&capture).await.unwrap();
        let error = bench.fetch(&capture).await.unwrap_err();
        assert_eq!(error.trouble.got, "a block of 4 bytes");
        assert!(error.trouble.expected.contains("200 bytes"), "{error}");
    });
}
