//! Frames against published check values, against examples worked by hand, and supervision against made-up arrivals.

use pilotage_core::frames::{
    ByteOrder, Check, Checksum, Counter, Field, Frame, Id, Layout, Life, Map, Node, NodeError, Sending, Signal, Watch,
};
use pilotage_core::{RunTime, Unit};
use proptest::prelude::*;
use std::time::Duration;

/// Check values for the digits 1 to 9 in the published catalogue of parametrised CRC algorithms: CRC-8/SAE-J1850 0x4B, CRC-8/AUTOSAR
/// 0xDF, CRC-8/SMBUS 0xF4. Exclusive or and sum by hand: 0x31 ^ … ^ 0x39 = 0x31, 0x31 + … + 0x39 = 0x1DD.
#[test]
fn checksums_have_their_published_check_values() {
    for (kind, value) in [
        (Checksum::Crc8SaeJ1850, 0x4b),
        (Checksum::Crc8Autosar, 0xdf),
        (Checksum::Crc8Smbus, 0xf4),
        (Checksum::Xor, 0x31),
        (Checksum::Sum, 0xdd),
    ] {
        assert_eq!(kind.of(*b"123456789"), value, "{}", kind.word());
    }
}

fn little(start: u8, length: u8, signed: bool) -> Field {
    Field {
        start,
        length,
        order: ByteOrder::Little,
        signed,
    }
}

fn big(start: u8, length: u8, signed: bool) -> Field {
    Field {
        order: ByteOrder::Big,
        ..little(start, length, signed)
    }
}

/// Worked by hand with pencil and a table of eight rows.
#[test]
fn bits_lie_where_they_lie_by_hand() {
    let cases: [(Field, i64, [u8; 8]); 8] = [
        // One byte is the same in both orders: its lowest bit is 0, its highest 7.
        (little(0, 8, false), 0xa5, [0xa5, 0, 0, 0, 0, 0, 0, 0]),
        (big(7, 8, false), 0xa5, [0xa5, 0, 0, 0, 0, 0, 0, 0]),
        // 0x1234: the lower byte first, or the higher one.
        (little(8, 16, false), 0x1234, [0, 0x34, 0x12, 0, 0, 0, 0, 0]),
        (big(15, 16, false), 0x1234, [0, 0x12, 0x34, 0, 0, 0, 0, 0]),
        // 12 bits from bit 4: 0xABC puts C into the upper half of byte 0, and AB into byte 1.
        (little(4, 12, false), 0xabc, [0xc0, 0xab, 0, 0, 0, 0, 0, 0]),
        // 12 bits down from bit 3: A into the lower half of byte 0, BC into byte 1.
        (big(3, 12, false), 0xabc, [0x0a, 0xbc, 0, 0, 0, 0, 0, 0]),
        // −2 in ten bits is 11 1111 1110.
        (little(6, 10, true), -2, [0x80, 0xff, 0, 0, 0, 0, 0, 0]),
        (big(17, 10, true), -2, [0, 0, 0x03, 0xfe, 0, 0, 0, 0]),
    ];
    for (field, raw, bytes) in cases {
        let mut data = [0; 8];
        field.pack(&mut data, raw);
        assert_eq!(data, bytes, "{field:?}");
        assert_eq!(field.unpack(&bytes), raw, "{field:?}");
        // Neighbours stay as they are.
        let mut full = [0xff; 8];
        field.pack(&mut full, raw);
        let own: u32 = field.positions().count() as u32;
        let raw_ones = (raw & ((1 << field.length) - 1)).count_ones();
        assert_eq!(
            full.iter().map(|byte| byte.count_ones()).sum::<u32>(),
            64 - own + raw_ones
        );
    }
}

#[test]
fn fields_that_leave_their_frame_do_not_fit() {
    assert!(little(56, 8, false).fits(8) && !little(57, 8, false).fits(8));
    assert!(big(7, 64 - 12, false).fits(8) && !big(0, 12, false).fits(1));
    assert!(!little(0, 0, false).fits(8) && !little(0, 53, false).fits(8));
    assert_eq!(little(0, 4, true).range(), (-8, 7));
    assert_eq!(little(0, 4, false).range(), (0, 15));
}

proptest! {
    #[test]
    fn what_was_packed_is_unpacked(start in 0_u8..64, length in 1_u8..=52, is_big: bool, signed: bool, bits: u64, before: [u8; 8]) {
        let order = if is_big { ByteOrder::Big } else { ByteOrder::Little };
        let field = Field { start, length, order, signed };
        prop_assume!(field.fits(8));
        let (low, high) = field.range();
        let raw = low + i64::try_from(bits % (high - low + 1) as u64).expect("at most 52 bits");
        let mut data = before;
        field.pack(&mut data, raw);
        prop_assert_eq!(field.unpack(&data), raw);
        let own: Vec<u16> = field.positions().collect();
        for bit in (0..64).filter(|bit| !own.contains(bit)) {
            let (byte, mask) = (usize::from(bit / 8), 1_u8 << (bit % 8));
            prop_assert_eq!(data[byte] & mask, before[byte] & mask);
        }
    }
}

fn signal(name: &str, field: Field, factor: f64, offset: f64, unit: &str) -> Signal {
    Signal {
        name: name.to_owned(),
        field,
        factor,
        offset,
        unit: Unit::find(unit).expect("a unit of the table"),
        words: Vec::new(),
    }
}

fn layout(name: &str, id: Id, to_item: bool) -> Layout {
    Layout {
        name: name.to_owned(),
        id,
        to_item,
        period: Duration::from_millis(100),
        length: 8,
        signals: vec![
            Signal {
                words: vec![(0, "off".to_owned()), (1, "on".to_owned())],
                ..signal("enable", little(0, 2, false), 1.0, 0.0, "1")
            },
            signal("voltage", little(8, 12, false), 0.25, 0.0, "V"),
            signal("temperature", big(39, 8, false), 1.0, -40.0, "°C"),
        ],
        counter: Some(Counter {
            field: little(52, 4, false),
            modulus: 15,
        }),
        checksum: Some(Check {
            kind: Checksum::Crc8SaeJ1850,
            byte: 7,
            data_id: None,
        }),
        abandoned: None,
    }
}

/// By hand: 400 V is 1600 steps = 0x640; 25 °C is 65 = 0x41; count 9. The checksum over the seven other bytes by the polynomial.
#[test]
fn a_frame_by_hand() {
    let status = layout("status", Id::Standard(0x123), false);
    let raws = [
        1,
        status.signals[1].raw(400.0).expect("fits"),
        status.signals[2].raw(25.0).expect("fits"),
    ];
    assert_eq!(raws, [1, 1600, 65]);
    let frame = status.encode(&raws, 9);
    assert_eq!(&frame.data()[..7], &[0x01, 0x40, 0x06, 0x00, 0x41, 0x00, 0x90]);
    assert_eq!(
        frame.data()[7],
        Checksum::Crc8SaeJ1850.of(frame.data()[..7].iter().copied())
    );
    assert_eq!(status.decode(&frame), raws);
    assert_eq!((status.count(&frame), status.is_sound(&frame)), (Some(9), true));
    assert!(!status.is_sound(&status.spoiled(&frame)));
    for bit in 0..64 {
        let mut data = [0; 8];
        data.copy_from_slice(frame.data());
        data[bit / 8] ^= 1 << (bit % 8);
        assert!(
            !status.is_sound(&Frame::new(frame.id, &data).expect("eight bytes")),
            "bit {bit}"
        );
    }
    let short = Frame::new(frame.id, &frame.data()[..7]).expect("seven bytes");
    assert!(!status.is_sound(&short));
}

/// The two bytes of a data identifier come first, the lower one before the higher.
#[test]
fn a_data_identifier_is_taken_before_the_bytes() {
    let check = Check {
        kind: Checksum::Crc8SaeJ1850,
        byte: 7,
        data_id: Some(0x3231),
    };
    let status = Layout {
        checksum: Some(check),
        signals: vec![signal("all", little(0, 52, false), 1.0, 0.0, "1")],
        counter: None,
        ..layout("status", Id::Standard(1), false)
    };
    let frame = status.encode(&[0x0009_3837_3635_3433], 0);
    // 0x31 0x32 | 0x33 … 0x38, 0x09, and byte 7 is the checksum: the digits 1 to 8 and a 9 that is not ASCII.
    let expected = Checksum::Crc8SaeJ1850.of([0x31, 0x32, 0x33, 0x34, 0x35, 0x36, 0x37, 0x38, 0x09]);
    assert_eq!(frame.data()[7], expected);
}

#[test]
fn values_out_of_range_are_refused_with_their_range() {
    let status = layout("status", Id::Standard(1), false);
    let refused = status.signals[1]
        .raw(1024.0)
        .expect_err("4095 · 0.25 V = 1023.75 V is the highest");
    assert_eq!(
        refused.to_string(),
        "1024 V lies outside of 0 V to 1023.75 V, which `voltage` can hold"
    );
    assert_eq!(status.signals[1].raw(1023.75), Ok(4095));
    assert_eq!(status.signals[2].raw(-40.0), Ok(0));
    assert!(status.signals[1].raw(f64::NAN).is_err());
    assert_eq!(status.signals[1].raw_within(5000.0), 4095);
}

fn at_ms(ms: u64) -> RunTime {
    RunTime(ms * 1_000_000)
}

/// Arrivals at 0, 100, 210, 290 and 400 ms: periods 100, 110, 80, 110; mean 100, sample standard deviation √(600 / 3) = 14.14 ms.
#[test]
fn periods_and_losses_of_known_arrivals() {
    let status = layout("status", Id::Standard(1), false);
    let mut watch = Watch::new(&status, Duration::from_secs(5));
    for (ms, count) in [(0, 13), (100, 14), (210, 0), (290, 3), (400, 3)] {
        watch.note(&status, &status.encode(&[0, 0, 0], count), at_ms(ms));
    }
    let figures = watch.figures(at_ms(450)).expect("five frames");
    assert!((figures.mean_s - 0.1).abs() < 1e-12);
    assert!((figures.jitter_s - 0.014_142_135_623_73).abs() < 1e-12);
    assert!((figures.min_s - 0.08).abs() < 1e-12 && (figures.max_s - 0.11).abs() < 1e-12);
    // From 0 to 3 two are missing; the second 3 stands.
    assert_eq!(
        (figures.frames, figures.lost, figures.repeated, figures.unsound),
        (5, 2, 1, 0)
    );
    assert_eq!(watch.figures(at_ms(1401)), None, "ten periods without a frame");
    assert!(watch.figures(at_ms(1400)).is_some());
}

#[test]
fn an_unsound_frame_is_counted_and_its_count_not_believed() {
    let status = layout("status", Id::Standard(1), false);
    let mut watch = Watch::new(&status, Duration::from_secs(5));
    let frame = |count| status.encode(&[1, 800, 60], count);
    assert!(watch.note(&status, &frame(1), at_ms(0)).counts());
    assert!(!watch.note(&status, &status.spoiled(&frame(7)), at_ms(100)).counts());
    let next = watch.note(&status, &frame(2), at_ms(200));
    assert_eq!((next.step, next.counts()), (Some(1), true));
    assert!(
        !watch.note(&status, &frame(2), at_ms(300)).counts(),
        "the counter stands"
    );
    let figures = watch.figures(at_ms(300)).expect("four frames");
    assert_eq!((figures.unsound, figures.repeated, figures.lost), (1, 1, 0));
    assert_eq!(watch.raws(at_ms(1200)), Some(&[1, 800, 60][..]));
    assert_eq!(
        watch.raws(at_ms(1201)),
        None,
        "the last frame that counts is older than ten periods"
    );
}

#[test]
fn old_arrivals_leave_the_window() {
    let status = layout("status", Id::Standard(1), false);
    let mut watch = Watch::new(&status, Duration::from_secs(1));
    for k in 0..50 {
        watch.note(&status, &status.encode(&[0, 0, 0], k), at_ms(100 * u64::from(k)));
    }
    assert_eq!(watch.figures(at_ms(4900)).expect("enough").frames, 11);
    assert_eq!(watch.figures(at_ms(4950)).expect("enough").frames, 10);
}

fn node() -> Node {
    Node::new(Map {
        bit_rate: 500_000,
        window: Duration::from_secs(5),
        frames: vec![
            layout("command", Id::Standard(0x100), true),
            layout("status", Id::Standard(0x200), false),
        ],
    })
}

/// Everything due until a time.
fn sent(node: &mut Node, until_ms: u64) -> Vec<(u64, Frame)> {
    let mut all = Vec::new();
    while let Some(due) = node.due().filter(|due| *due <= at_ms(until_ms)) {
        all.extend(node.transmit(due).into_iter().map(|frame| (due.0 / 1_000_000, frame)));
    }
    all
}

#[test]
fn a_node_sends_periodically_what_it_was_told() {
    let mut node = node();
    assert_eq!(node.due(), None);
    node.set("command", "voltage", 400.0).expect("an amount that fits");
    node.set_word("command", "enable", "on").expect("a word of the signal");
    node.send("command", Sending::On, at_ms(30)).expect("it is sent");
    let frames = sent(&mut node, 330);
    assert_eq!(
        frames.iter().map(|(ms, _)| *ms).collect::<Vec<_>>(),
        [30, 130, 230, 330]
    );
    let command = layout("command", Id::Standard(0x100), true);
    let counts: Vec<_> = frames.iter().map(|(_, frame)| command.count(frame)).collect();
    assert_eq!(counts, [Some(1), Some(2), Some(3), Some(4)]);
    assert!(frames.iter().all(|(_, frame)| command.decode(frame)[..2] == [1, 1600]));
    assert_eq!(node.value("command", "voltage", at_ms(0)), Ok(Some(400.0)));
    assert_eq!(node.word("command", "enable", at_ms(0)), Ok(Some("on".to_owned())));
}

#[test]
fn each_fault_of_sending_is_what_it_says() {
    let command = layout("command", Id::Standard(0x100), true);
    for (sending, counts, sound) in [
        (Sending::On, vec![1, 2, 3, 4], true),
        (Sending::Stopped, vec![], true),
        (Sending::BadCounter, vec![0, 0, 0, 0], true),
        (Sending::BadChecksum, vec![1, 2, 3, 4], false),
        (Sending::Lost, vec![1, 3], true),
        (Sending::BusOff, vec![], true),
    ] {
        let mut node = node();
        node.send("command", sending, at_ms(0)).expect("it is sent");
        let frames = sent(&mut node, 300);
        let came: Vec<u32> = frames.iter().filter_map(|(_, frame)| command.count(frame)).collect();
        assert_eq!(came, counts, "{sending:?}");
        assert!(
            frames.iter().all(|(_, frame)| command.is_sound(frame) == sound),
            "{sending:?}"
        );
        assert_eq!(node.holds_the_bus(), sending == Sending::BusOff);
        assert_eq!(node.sending("command"), Ok(sending));
        assert_eq!(Sending::find(sending.word()), Some(sending));
    }
}

#[test]
fn what_a_node_cannot_do_is_refused() {
    let mut node = node();
    assert_eq!(
        node.set("comand", "voltage", 1.0),
        Err(NodeError::NoFrame("comand".to_owned()))
    );
    assert_eq!(
        node.set("command", "volts", 1.0),
        Err(NodeError::NoSignal("volts".to_owned()))
    );
    assert_eq!(
        node.set("status", "voltage", 1.0),
        Err(NodeError::NotSent("status".to_owned()))
    );
    assert!(matches!(
        node.set("command", "voltage", -1.0),
        Err(NodeError::OutOfRange(_))
    ));
    assert_eq!(
        node.set_word("command", "enable", "maybe"),
        Err(NodeError::NoWord("maybe".to_owned()))
    );
    assert_eq!(
        node.figures("command", at_ms(0)),
        Err(NodeError::NotWatched("command".to_owned()))
    );
    assert_eq!(node.value("status", "voltage", at_ms(0)), Ok(None), "nothing came");
    node.reset(at_ms(500));
    assert_eq!(node.silence_s("status", at_ms(2000)), Ok(1.5), "it watches since then");
}

#[test]
fn a_node_that_was_held_up_does_not_catch_up() {
    let mut node = node();
    node.send("command", Sending::On, at_ms(0)).expect("it is sent");
    assert_eq!(node.transmit(at_ms(950)).len(), 1);
    assert_eq!(node.due(), Some(at_ms(1050)));
}

/// Commands of a program that shows life every half second until 3 s and never again.
fn hung(abandoned: Option<Vec<(usize, i64)>>) -> (Node, Vec<(u64, Frame)>) {
    let mut map = node().map().clone();
    map.frames[0].abandoned = abandoned;
    let (mut node, life) = (Node::new(map), Life::default());
    node.owned_by(life.clone());
    node.set("command", "voltage", 400.0).expect("an amount that fits");
    node.set_word("command", "enable", "on").expect("a word of the signal");
    node.send("command", Sending::Lost, at_ms(0)).expect("it is sent");
    let mut frames = Vec::new();
    for shown_ms in (0..=3000).step_by(500) {
        frames.extend(sent(&mut node, shown_ms));
        life.show(at_ms(shown_ms));
    }
    assert_eq!(node.was_abandoned(), None, "it lives");
    frames.extend(sent(&mut node, 10_000));
    (node, frames)
}

/// Alive up to 2 s after the last sign, 5.0 s; the frame at 5.1 s is the first one of an abandoned party.
#[test]
fn a_program_that_hangs_no_longer_enables_anything() {
    let command = layout("command", Id::Standard(0x100), true);
    let (mut told, frames) = hung(Some(vec![(0, 0)]));
    for (ms, frame) in &frames {
        let enable = i64::from(*ms <= 5000);
        assert_eq!(command.decode(frame)[..2], [enable, 1600], "{ms} ms");
    }
    let late: Vec<u64> = frames.iter().map(|(ms, _)| *ms).filter(|ms| *ms > 5000).collect();
    assert_eq!(late.len(), 50, "every one from then on: {late:?}");
    assert_eq!(
        told.word("command", "enable", at_ms(10_000)),
        Ok(Some("off".to_owned()))
    );
    assert_eq!(told.was_abandoned(), Some(at_ms(5100)));
    assert_eq!(told.was_abandoned(), None, "said once");

    let (mut silent, frames) = hung(None);
    assert!(frames.iter().all(|(ms, _)| *ms <= 5000), "nothing is sent any more");
    assert_eq!(silent.sending("command"), Ok(Sending::Stopped));
    assert_eq!(silent.due(), None);
    assert_eq!(silent.was_abandoned(), Some(at_ms(5100)));
    silent.reset(at_ms(11_000));
    assert_eq!(silent.was_abandoned(), None);
}

/// A party that nobody owns goes on; one that has nothing to take back has nothing to say.
#[test]
fn what_was_told_to_stop_or_belongs_to_nobody_is_not_abandoned() {
    let mut free = node();
    free.set_word("command", "enable", "on").expect("a word of the signal");
    free.send("command", Sending::On, at_ms(0)).expect("it is sent");
    assert_eq!(sent(&mut free, 60_000).len(), 601);
    assert_eq!(free.word("command", "enable", at_ms(60_000)), Ok(Some("on".to_owned())));

    let mut map = node().map().clone();
    map.frames[0].abandoned = Some(vec![(0, 0)]);
    let mut off = Node::new(map);
    off.owned_by(Life::default());
    assert_eq!(sent(&mut off, 60_000), []);
    off.send("command", Sending::On, at_ms(60_000)).expect("it is sent");
    assert_eq!(sent(&mut off, 70_000).len(), 101);
    assert_eq!(off.was_abandoned(), None, "it says off already");
}
