//! What the messages must and must not accept. Outside values: IEEE 488.2 clause 8.7, SCPI-99 volume 1 7.2.1 and volume 2 21.8.

#![allow(clippy::unwrap_used)]

use super::framer::{FrameError, Framer, LONGEST_LINE, Sink};
use super::{Element, Entry, Names, Number, Reply, text};
use proptest::prelude::*;

fn number(text: &str) -> Number {
    Reply::parse(text.as_bytes()).unwrap().number().unwrap()
}

fn frame(bytes: &[u8]) -> Vec<Result<Vec<u8>, FrameError>> {
    let mut framer = Framer::default();
    (&mut framer as &mut dyn Sink).put(bytes);
    std::iter::from_fn(|| framer.message().transpose()).take(8).collect()
}

#[test]
fn numbers_in_every_legal_form() {
    for (text, value) in [
        ("12", 12.0),
        ("+12", 12.0),
        ("-12", -12.0),
        ("12.5", 12.5),
        (".5", 0.5),
        ("-.5", -0.5),
        ("5.", 5.0),
        ("+1.2E+01", 12.0),
        ("1.2e1", 12.0),
        ("5.E-3", 0.005),
        ("  12.0 ", 12.0),
        ("#HFF", 255.0),
        ("#hff", 255.0),
        ("#Q17", 15.0),
        ("#B1011", 11.0),
        ("-0", 0.0),
    ] {
        assert_eq!(number(text), Number::Value(value), "{text}");
    }
}

#[test]
fn figures_that_stand_for_no_number() {
    for text in [
        "9.9E37",
        "+9.90000000E+37",
        "99e36",
        "INF",
        "infinity",
        "1E38",
        "9.90000023E+37",
    ] {
        assert_eq!(number(text), Number::Overload { negative: false }, "{text}");
    }
    for text in ["-9.9E37", "NINF", "NINFINITY"] {
        assert_eq!(number(text), Number::Overload { negative: true }, "{text}");
    }
    for text in ["9.91E37", "9.910000E+37", "NAN", "nan", "-9.91E37", "9.91000032E+37"] {
        assert_eq!(number(text), Number::NotANumber, "{text}");
    }
    assert_eq!(number("9.8E37"), Number::Value(9.8e37));
}

#[test]
fn nothing_else_is_a_number() {
    for text in [
        "12,0",
        "12.0V",
        "12.0 V",
        "+-1",
        "1..2",
        ".",
        "+",
        "E5",
        "1E",
        "1E+",
        "1 E3",
        "0x10",
        "inf.",
        "#H",
        "#HG",
        "#Q8",
        "#B2",
        "#H+1",
        "1_000",
        "12;13",
        "\"12\"",
        "#15hello",
        "1e999",
        "١٢",
        "1\x002",
        "--",
        "-inf",
        "12 13",
        "1,",
        "#HFFFFFFFFFFFFFFFF",
    ] {
        let refused = Reply::parse(text.as_bytes()).and_then(|reply| reply.number());
        assert!(refused.is_err(), "{text} gave {refused:?}");
    }
}

#[test]
fn a_comma_and_a_suffix_come_with_a_mend() {
    let list = Reply::parse(b"12,0").unwrap().number().unwrap_err();
    assert_eq!((list.expected.as_str(), list.got.as_str()), ("one value", "12,0"));
    assert!(list.mend.contains("decimal mark"), "{}", list.mend);
    let suffix = Reply::parse(b"12.0V").unwrap().number().unwrap_err();
    assert!(suffix.mend.contains("suffix"), "{}", suffix.mend);
    assert_eq!(Reply::parse(b"12,0").unwrap().numbers(2).unwrap(), [12.0, 0.0]);
    assert!(Reply::parse(b"12,0").unwrap().numbers(3).is_err());
    assert!(Reply::parse(b"12,9.9E37").unwrap().numbers(2).is_err());
}

#[test]
fn strings_lists_units_and_blocks() {
    let reply = Reply::parse(b"1, \"a \"\"b\"\", c;d\" ,'it''s';#15a,;\nb,X").unwrap();
    let first = [
        Element::Plain("1"),
        Element::Quoted("a \"b\", c;d".into()),
        Element::Quoted("it's".into()),
    ];
    assert_eq!(reply.units()[0], first);
    assert_eq!(reply.units()[1], [Element::Block(b"a,;\nb"), Element::Plain("X")]);
    assert_eq!(Reply::parse(b"#15hello").unwrap().block().unwrap(), b"hello");
    assert_eq!(Reply::parse(b"#10").unwrap().block().unwrap(), b"");
    assert_eq!(Reply::parse(b"#9000000005hello\n").unwrap().block().unwrap(), b"hello");
}

#[test]
fn malformed_replies_are_refused() {
    for text in [
        &b""[..],
        b"\n",
        b" ",
        b",",
        b"1,,2",
        b"1;",
        b"\"open",
        b"\"a\"b",
        b"#15hell",
        b"#1xhello",
        b"#2",
        b"#15helloX",
        b"a\"b\"",
        b"1\n2",
        b"\xff",
        b"\x1b[2J",
        b"#0hello",
    ] {
        assert!(Reply::parse(text).is_err(), "{} was taken", text::escaped(text));
    }
}

#[test]
fn an_indefinite_block_needs_its_end() {
    assert_eq!(Reply::parse(b"#0hello\n").unwrap().block().unwrap(), b"hello");
    let refused = Reply::parse(b"#0hello").unwrap_err();
    assert!(refused.mend.contains("definite-length"), "{}", refused.mend);
    assert_eq!(frame(b"#0hello\n")[0], Err(FrameError::Indefinite));
}

#[test]
fn error_queue_entries() {
    let entry = Entry::parse(b"-113,\"Undefined header;CURRENTT \"\"16\"\"\"").unwrap();
    assert_eq!(
        (entry.code, entry.message.as_str()),
        (-113, "Undefined header;CURRENTT \"16\"")
    );
    assert!(entry.mend().contains("driver file"));
    assert!(Entry::parse(b"+0,\"No error\"").unwrap().is_none());
    assert!(Entry::parse(b"-350,\"Queue overflow\"").unwrap().errors_lost());
    for text in [
        &b"0"[..],
        b"No error",
        b"0,No error",
        b"0.5,\"x\"",
        b"\"0\",\"x\"",
        b"0,\"a\",1",
        b"0,\"a\";1",
    ] {
        assert!(Entry::parse(text).is_err(), "{} was taken", text::escaped(text));
    }
}

#[test]
fn identities_have_four_fields() {
    let names = Names::parse(b"A MAKER,SCAN-DMM,M-0001,1.0,patch 2").unwrap();
    assert_eq!((names.model.as_str(), names.serial.as_str()), ("SCAN-DMM", "M-0001"));
    assert_eq!(names.firmware, "1.0,patch 2");
    for text in [&b"A,B,C"[..], b"", b"12.5", b"A,,C,D", b"A,B\x1b,C,D", b"\xff,B,C,D"] {
        assert!(Names::parse(text).is_err(), "{} was taken", text::escaped(text));
    }
}

#[test]
fn frames_end_at_line_feed_but_not_inside_a_block() {
    let framed = frame(b"1\r\n2\n#15a\n\n\r\n;\"#15x\",#H1\n#13\r\n\r\n");
    let wanted: [&[u8]; 3] = [b"1", b"2", b"#15a\n\n\r\n;\"#15x\",#H1"];
    for (got, wanted) in framed.iter().zip(wanted) {
        assert_eq!(got.as_deref(), Ok(wanted));
    }
    assert_eq!(frame(b"#13a\r\r\r\n")[0].as_deref(), Ok(&b"#13a\r\r"[..]));
    assert_eq!(
        frame(b"#13a\r\r\n")[0].as_deref(),
        Ok(&b"#13a\r\r"[..]),
        "the last CR is data"
    );
    assert_eq!(frame(b"#10\n")[0].as_deref(), Ok(&b"#10"[..]));
    assert_eq!(
        frame(b"a#15b\n")[0].as_deref(),
        Ok(&b"a#15b"[..]),
        "no block within a word"
    );
    assert!(frame(b"1,2").is_empty());
}

#[test]
fn frames_are_bounded() {
    assert_eq!(frame(b"#867108865")[0], Err(FrameError::BlockTooLong));
    assert_eq!(frame(b"#1x")[0], Err(FrameError::BadHeader));
    let endless = vec![b'x'; LONGEST_LINE + 1];
    assert_eq!(frame(&endless)[0], Err(FrameError::LineTooLong));
    let mut longest = vec![b'x'; LONGEST_LINE - 1];
    longest.push(b'\n');
    assert_eq!(frame(&longest)[0].as_ref().unwrap().len(), LONGEST_LINE - 1);
}

#[test]
fn a_block_is_read_into_one_buffer_of_its_size() {
    let mut framer = Framer::default();
    (&mut framer as &mut dyn Sink).put(b"#78000000");
    assert_eq!(framer.message(), Ok(None));
    assert_eq!(framer.block_missing(), Some(8_000_000));
    assert!(framer.room().len() > 8_000_000);
    let before = framer.room().as_ptr();
    let room = framer.room().len();
    framer.room()[8_000_000] = b'\n';
    framer.filled(8_000_001);
    let message = framer.message().unwrap().unwrap();
    assert_eq!(message.len(), 9 + 8_000_000);
    assert_eq!(message[9..].as_ptr(), before, "the bytes were not moved");
    assert!(room < 8_000_000 + 10_000);
}

#[test]
fn blocks_are_hashed_while_they_come_and_their_buffer_is_used_again() {
    let message = b"#15hello;#10,#3300".iter().copied().chain([7; 300]);
    let message: Vec<u8> = message.chain(*b"\n").collect();
    let mut framer = Framer::default();
    for byte in &message {
        (&mut framer as &mut dyn Sink).put(&[*byte]);
        if byte != &b'\n' {
            assert_eq!(framer.message(), Ok(None));
        }
    }
    let framed = framer.message().unwrap().unwrap();
    assert_eq!(framer.block_hashes().len(), 3);
    assert_eq!(
        text::recorded(&framed, framer.block_hashes()),
        text::recorded(&framed, &[]),
        "the same as hashed at the end"
    );
    framer.recycle(framed.clone());
    framer.recycle(vec![0; 100_000]);
    (&mut framer as &mut dyn Sink).put(b"#520000");
    assert_eq!(framer.message(), Ok(None));
    (&mut framer as &mut dyn Sink).put(&vec![9; 20_000]);
    (&mut framer as &mut dyn Sink).put(b"\n");
    let again = framer.message().unwrap().unwrap();
    assert_eq!((again.len(), again.capacity(), again[7]), (20_007, 100_000, 9));
}

#[test]
fn bytes_for_people_steer_nothing() {
    assert_eq!(text::escaped(b"a\x1b[2J\\n\xff\n"), "a\\x1B[2J\\x5Cn\\xFF\\x0A");
    assert_eq!(text::hex_and_text(b"12."), "3 bytes: 31 32 2E \"12.\"");
    assert_eq!(text::hex_and_text(b""), "nothing");
    let recorded = text::recorded(b"#15hello;0,\"No error\"", &[]);
    // SHA-256 of "hello" as any sha256sum prints it.
    let sha = "2cf24dba5fb0a30e26e83b2ac5b9e29e1b161e5c1fa7425e73043362938b9824";
    assert_eq!(recorded, format!("#block 5 bytes sha256 {sha};0,\"No error\""));
}

fn any_element() -> impl Strategy<Value = (Vec<u8>, Vec<u8>)> {
    let plain = "[A-Za-z0-9+.:-]{1,12}".prop_map(|text| (text.clone().into_bytes(), text.into_bytes()));
    let quoted = "[ -~]{0,12}".prop_map(|text| {
        let sent = format!("\"{}\"", text.replace('"', "\"\""));
        (sent.into_bytes(), text.into_bytes())
    });
    let block = prop::collection::vec(any::<u8>(), 0..300).prop_map(|bytes| {
        let length = bytes.len().to_string();
        let mut sent = format!("#{}{length}", length.len()).into_bytes();
        sent.extend(&bytes);
        (sent, bytes)
    });
    prop_oneof![plain, quoted, block]
}

proptest! {
    #[test]
    fn every_finite_number_survives(value in prop::num::f64::NORMAL | prop::num::f64::ZERO) {
        prop_assume!(value.abs() < 9.8e37);
        for text in [format!("{value}"), format!("{value:e}"), format!("{value:+E}")] {
            prop_assume!(text.len() < 300);
            prop_assert_eq!(Number::parse(&text).unwrap(), Number::Value(value));
        }
    }

    #[test]
    fn a_suffix_is_never_ignored(value in -1e6..1e6f64, suffix in "[A-DF-Za-df-z%, ;]{1,3}") {
        prop_assume!(!suffix.trim_matches(' ').is_empty());
        let text = format!("{value}{suffix}");
        let got = Reply::parse(text.as_bytes()).and_then(|reply| reply.number());
        prop_assert!(got.is_err(), "{} gave {:?}", text, got);
    }

    #[test]
    fn messages_survive_any_cut_into_segments(
        elements in prop::collection::vec((any_element(), any::<bool>()), 1..6),
        cuts in prop::collection::vec(1usize..50, 1..40),
        carriage_return in any::<bool>(),
    ) {
        let mut sent = Vec::new();
        for (index, ((bytes, _), unit)) in elements.iter().enumerate() {
            if index > 0 {
                sent.push(if *unit { b';' } else { b',' });
            }
            sent.extend(bytes);
        }
        let mut wire = sent.clone();
        wire.extend(if carriage_return { &b"\r\n"[..] } else { b"\n" });
        wire.extend(b"next\n");
        let mut framer = Framer::default();
        let mut messages = Vec::new();
        let mut rest = wire.as_slice();
        let mut cuts = cuts.iter().cycle();
        while !rest.is_empty() {
            let (piece, tail) = rest.split_at(rest.len().min(*cuts.next().unwrap()));
            (&mut framer as &mut dyn Sink).put(piece);
            rest = tail;
            while let Some(message) = framer.message().unwrap() {
                messages.push(message);
            }
        }
        prop_assert_eq!(&messages, &vec![sent.clone(), b"next".to_vec()]);
        let reply = Reply::parse(&messages[0]).unwrap();
        let values: Vec<Vec<u8>> = reply.units().iter().flatten().map(|element| match element {
            Element::Plain(text) => text.as_bytes().to_vec(),
            Element::Quoted(text) => text.as_bytes().to_vec(),
            Element::Block(bytes) => bytes.to_vec(),
        }).collect();
        let wanted: Vec<Vec<u8>> = elements.iter().map(|((_, value), _)| value.clone()).collect();
        prop_assert_eq!(values, wanted);
    }

    #[test]
    fn no_bytes_make_anything_panic(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        let _ = Reply::parse(&bytes).map(|reply| reply.number());
        let _ = Entry::parse(&bytes);
        let _ = Names::parse(&bytes);
        let _ = frame(&bytes);
        prop_assert!(text::recorded(&bytes, &[]).bytes().all(|byte| (b' '..=b'~').contains(&byte)));
    }
}
