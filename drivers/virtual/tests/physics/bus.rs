//! The bus in memory, against ISO 11898-1 (from memory).

use pilotage_core::RunTime;
use pilotage_core::frames::{Frame, Id};
use pilotage_virtual::physics::bus::{Bus, Confinement, Delivery};
use std::time::Duration;

/// 2 µs a bit.
const RATE: u32 = 500_000;
const BIT_NS: u64 = 2_000;

fn frame(id: u16, byte: u8) -> Frame {
    Frame::new(Id::Standard(id), &[byte; 8]).unwrap()
}

fn listening(parties: usize) -> Bus {
    let mut bus = Bus::new(RATE, parties);
    for party in 0..parties {
        bus.listen(party, true, RunTime::START);
    }
    bus
}

/// Everything that is delivered until then.
fn until(bus: &mut Bus, end: RunTime) -> Vec<Delivery> {
    let mut all = Vec::new();
    while bus.next().is_some_and(|next| next <= end) {
        all.extend(bus.step(end));
    }
    all
}

#[test]
fn of_three_that_begin_together_the_lowest_identifier_goes_first() {
    let mut bus = listening(3);
    bus.request(0, frame(0x300, 0x55), RunTime::START);
    bus.request(1, frame(0x100, 0x55), RunTime::START);
    bus.request(2, frame(0x200, 0x55), RunTime::START);
    let came = until(&mut bus, RunTime(10_000_000));
    assert_eq!(came.iter().map(|delivery| delivery.from).collect::<Vec<_>>(), [1, 2, 0]);
    let mut at = 0;
    for delivery in came {
        at += u64::from(delivery.frame.bits()) * BIT_NS;
        assert_eq!(delivery.at, RunTime(at), "one after the other without a gap");
    }
}

#[test]
fn a_frame_that_is_under_way_is_not_interrupted() {
    let mut bus = listening(2);
    bus.request(0, frame(0x700, 0), RunTime::START);
    until(&mut bus, RunTime(10_000));
    bus.request(1, frame(0x001, 0), RunTime(10_000));
    let came = until(&mut bus, RunTime(10_000_000));
    assert_eq!(came.iter().map(|delivery| delivery.from).collect::<Vec<_>>(), [0, 1]);
}

#[test]
fn a_frame_that_waits_is_replaced_by_the_next_of_its_identifier() {
    let mut bus = listening(2);
    bus.request(1, frame(0x001, 9), RunTime::START);
    until(&mut bus, RunTime(1));
    bus.request(0, frame(0x100, 1), RunTime(1));
    bus.request(0, frame(0x100, 2), RunTime(2));
    let came = until(&mut bus, RunTime(10_000_000));
    assert_eq!(
        came.iter().map(|delivery| delivery.frame.data()[0]).collect::<Vec<_>>(),
        [9, 2]
    );
}

/// Each destroyed frame adds 8: passive above 127 after 16, off above 255 after 32.
#[test]
fn errors_lead_to_passive_and_then_to_bus_off() {
    let mut bus = listening(2);
    bus.hold(true, RunTime::START);
    bus.request(1, frame(0x123, 0), RunTime::START);
    let mut seen = Vec::new();
    for _ in 0..2 * 40 {
        let Some(next) = bus.next() else { break };
        bus.step(next);
        let (transmit, _) = bus.errors(1);
        if seen.last() != Some(&transmit) {
            seen.push(transmit);
            let expected = match transmit {
                0..=127 => Confinement::Active,
                128..=255 => Confinement::Passive,
                _ => Confinement::Off,
            };
            assert_eq!(bus.confinement(1), expected, "{transmit}");
        }
    }
    assert_eq!(seen, (0..=32).map(|k| 8 * k).collect::<Vec<u16>>());
    assert_eq!(bus.next(), None, "an item without restart stays off");
    // The other one has seen 32 errors, one each.
    assert_eq!((bus.errors(0), bus.confinement(0)), ((0, 32), Confinement::Active));
}

/// 128 times 11 recessive bits behind the restart: 1408 bits of 2 µs.
#[test]
fn recovery_takes_128_rests_of_11_bits() {
    let mut bus = listening(2);
    bus.restart(1, Some(Duration::from_millis(1)));
    bus.hold(true, RunTime::START);
    bus.request(1, frame(0x123, 0), RunTime::START);
    let end = RunTime(20_000_000);
    until(&mut bus, end);
    assert_eq!(bus.confinement(1), Confinement::Off);
    bus.hold(false, end);
    let recovers = end.0 + 1408 * BIT_NS;
    assert_eq!(bus.next(), Some(RunTime(recovers)));
    until(&mut bus, RunTime(recovers - 1));
    assert_eq!(bus.confinement(1), Confinement::Off);
    until(&mut bus, RunTime(recovers));
    assert_eq!((bus.confinement(1), bus.errors(1)), (Confinement::Active, (0, 0)));
}

/// With nobody else there nobody acknowledges: 16 errors, and no more once it is passive; the frame goes when somebody comes.
#[test]
fn alone_on_the_bus_a_party_becomes_passive_but_not_off() {
    let mut bus = Bus::new(RATE, 2);
    bus.listen(0, true, RunTime::START);
    bus.request(0, frame(0x123, 0), RunTime::START);
    assert_eq!(until(&mut bus, RunTime(1_000_000_000)), []);
    assert_eq!((bus.errors(0), bus.confinement(0)), ((128, 0), Confinement::Passive));
    bus.listen(1, true, RunTime(1_000_000_000));
    let came = until(&mut bus, RunTime(2_000_000_000));
    assert_eq!(came.len(), 1);
    assert!(came[0].at > RunTime(1_000_000_000));
    assert_eq!(
        (bus.errors(0), bus.confinement(0)),
        ((127, 0), Confinement::Active),
        "one less for the one that arrived"
    );
}
