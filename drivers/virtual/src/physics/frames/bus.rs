//! A bus of several parties, moved on from event to event. Of all that want to send when it is free the lowest identifier wins; a
//! frame takes as long as its bits, stuffed ones included; each party counts its errors (ISO 11898-1, fault confinement, from memory).

use pilotage_core::RunTime;
use pilotage_core::frames::Frame;
use std::collections::BTreeMap;
use std::time::Duration;

/// Above this a party is error passive.
const PASSIVE_ABOVE: u16 = 127;
/// Above this it is bus-off.
const OFF_ABOVE: u16 = 255;
/// What an error adds to the transmitter's counter.
const TRANSMIT_ERROR: u16 = 8;
/// Eleven recessive bits so many times end bus-off.
const RESTS_TO_RECOVER: u32 = 128;
/// Bits of one such rest.
const REST_BITS: u64 = 11;
/// A frame that is destroyed at its first bit: that bit, error flag and its echo, delimiter, intermission.
const DESTROYED_BITS: u64 = 1 + 12 + 8 + 3;
/// A transmitter that is error passive waits for so many bits more.
const SUSPENDED_BITS: u64 = 8;

/// What a party may do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Confinement {
    /// Everything.
    Active,
    /// Its errors destroy nothing any more.
    Passive,
    /// Nothing.
    Off,
}

/// A frame that everyone but its sender has received.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Delivery {
    /// When its last bit was there.
    pub at: RunTime,
    /// Who sent it.
    pub from: usize,
    /// The frame.
    pub frame: Frame,
}

#[derive(Debug, Clone, Default)]
struct Party {
    listens: bool,
    transmit_errors: u16,
    receive_errors: u16,
    off: bool,
    /// When its controller is started again after bus-off.
    restart_at: Option<RunTime>,
    /// Rests seen since then.
    rests: u32,
    /// How long after bus-off it is started again; never where there is none.
    restart_after: Option<Duration>,
    /// Frames that wait, by their rank.
    waiting: BTreeMap<u32, Frame>,
}

impl Party {
    fn present(&self) -> bool {
        self.listens && !self.off
    }

    fn receives_well(&mut self) {
        // A passive receiver becomes active at once.
        self.receive_errors = self.receive_errors.saturating_sub(1).min(PASSIVE_ABOVE);
    }

    fn confinement(&self) -> Confinement {
        if self.off {
            Confinement::Off
        } else if self.transmit_errors > PASSIVE_ABOVE || self.receive_errors > PASSIVE_ABOVE {
            Confinement::Passive
        } else {
            Confinement::Active
        }
    }
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Fate {
    Delivered,
    Destroyed,
    NobodyThere,
}

#[derive(Debug, Clone, Copy)]
struct Flight {
    ends: RunTime,
    from: usize,
    frame: Frame,
    fate: Fate,
}

/// The bus.
#[derive(Debug, Clone)]
pub struct Bus {
    bit: Duration,
    now: RunTime,
    /// Somebody holds it dominant.
    held: bool,
    /// From when on it has been at rest.
    rests_from: RunTime,
    flying: Option<Flight>,
    parties: Vec<Party>,
}

impl Bus {
    /// With so many parties, of whom nobody listens yet.
    pub fn new(bit_rate: u32, parties: usize) -> Self {
        Self {
            bit: Duration::from_nanos(1_000_000_000 / u64::from(bit_rate.max(1))),
            now: RunTime::START,
            held: false,
            rests_from: RunTime::START,
            flying: None,
            parties: vec![Party::default(); parties],
        }
    }

    fn bits(&self, count: u64) -> Duration {
        self.bit * count as u32
    }

    fn come_to(&mut self, at: RunTime) {
        self.now = self.now.max(at);
    }

    /// Whether a party listens, and so acknowledges. One that begins anew has no errors.
    pub fn listen(&mut self, party: usize, listens: bool, at: RunTime) {
        self.come_to(at);
        let restart_after = self.parties[party].restart_after;
        if self.parties[party].listens != listens {
            self.parties[party] = Party {
                listens,
                restart_after,
                ..Party::default()
            };
        }
    }

    /// How long after bus-off a party is started again.
    pub fn restart(&mut self, party: usize, after: Option<Duration>) {
        self.parties[party].restart_after = after;
    }

    /// A party wants to send; a frame of the same identifier that still waits is replaced. One that is off or absent does not.
    pub fn request(&mut self, party: usize, frame: Frame, at: RunTime) {
        self.come_to(at);
        let party = &mut self.parties[party];
        if party.present() {
            party.waiting.insert(frame.id.rank(), frame);
        }
    }

    /// Somebody holds it dominant, or lets it go.
    pub fn hold(&mut self, held: bool, at: RunTime) {
        self.come_to(at);
        if self.held != held {
            self.held = held;
            self.rests_from = self.now;
            for party in &mut self.parties {
                party.rests = 0;
            }
        }
    }

    /// What a party may do.
    pub fn confinement(&self, party: usize) -> Confinement {
        self.parties[party].confinement()
    }

    /// Its counters of errors: transmitting, receiving.
    pub fn errors(&self, party: usize) -> (u16, u16) {
        let party = &self.parties[party];
        (party.transmit_errors, party.receive_errors)
    }

    /// Whether a party wins what it may try now.
    fn winner(&self) -> Option<(usize, Frame)> {
        let tries = |(number, party): (usize, &Party)| {
            let frame = party.waiting.first_key_value().map(|(_, frame)| *frame)?;
            // A passive party that nobody acknowledges counts no further: it goes on trying, and nothing comes of it.
            let vain = !self.held && !self.acknowledged(number) && party.transmit_errors > PASSIVE_ABOVE;
            (party.present() && !vain).then_some((number, frame))
        };
        let all = self.parties.iter().enumerate().filter_map(tries);
        all.min_by_key(|(_, frame)| frame.id.rank())
    }

    fn acknowledged(&self, from: usize) -> bool {
        let others = self.parties.iter().enumerate().filter(|(number, _)| *number != from);
        others.into_iter().any(|(_, party)| party.present())
    }

    /// When the first party that is off has seen enough rest.
    fn recovery(&self) -> Option<(RunTime, usize)> {
        if self.held || self.flying.is_some() {
            return None;
        }
        let of = |(number, party): (usize, &Party)| {
            let from = self.rests_from.max(party.restart_at?);
            let left = RESTS_TO_RECOVER.saturating_sub(party.rests);
            Some((from.plus(self.bits(u64::from(left) * REST_BITS)), number))
        };
        self.parties.iter().enumerate().filter_map(of).min()
    }

    /// When something happens next.
    pub fn next(&self) -> Option<RunTime> {
        if let Some(flight) = &self.flying {
            return Some(flight.ends);
        }
        let begins = self.winner().map(|_| self.now.max(self.rests_from));
        let recovers = self.recovery().map(|(at, _)| at);
        [begins, recovers].into_iter().flatten().min()
    }

    /// What happens next, if it is due by then.
    pub fn step(&mut self, until: RunTime) -> Option<Delivery> {
        let at = self.next().filter(|at| *at <= until)?;
        self.come_to(at);
        if let Some(flight) = self.flying.take() {
            return self.land(&flight);
        }
        if let Some((_, number)) = self.recovery().filter(|(recovers, _)| *recovers <= at) {
            let party = &mut self.parties[number];
            *party = Party {
                listens: party.listens,
                restart_after: party.restart_after,
                ..Party::default()
            };
            return None;
        }
        self.take_off();
        None
    }

    fn take_off(&mut self) {
        let Some((from, frame)) = self.winner() else { return };
        let fate = if self.held {
            Fate::Destroyed
        } else if self.acknowledged(from) {
            Fate::Delivered
        } else {
            Fate::NobodyThere
        };
        let mut bits = match fate {
            Fate::Destroyed => DESTROYED_BITS,
            _ => u64::from(frame.bits()),
        };
        if fate != Fate::Delivered && self.parties[from].transmit_errors > PASSIVE_ABOVE {
            bits += SUSPENDED_BITS;
        }
        self.note_rest();
        self.flying = Some(Flight {
            ends: self.now.plus(self.bits(bits)),
            from,
            frame,
            fate,
        });
    }

    /// Rests until now count for those that are off.
    fn note_rest(&mut self) {
        let (bit, now, from) = (self.bit.as_nanos().max(1) as u64, self.now, self.rests_from);
        for party in &mut self.parties {
            if let Some(restart_at) = party.restart_at {
                let rest = now.since(from.max(restart_at)).as_nanos() as u64;
                party.rests += (rest / bit / REST_BITS) as u32;
            }
        }
    }

    fn land(&mut self, flight: &Flight) -> Option<Delivery> {
        self.rests_from = self.now;
        let from = flight.from;
        for (number, party) in self.parties.iter_mut().enumerate() {
            match flight.fate {
                // End of frame and intermission are a rest as well.
                Fate::Delivered if party.restart_at.is_some() => party.rests += 1,
                Fate::Delivered if number != from && party.present() => party.receives_well(),
                Fate::Destroyed if number != from && party.present() => party.receive_errors += 1,
                _ => {}
            }
        }
        let (now, sender) = (self.now, &mut self.parties[from]);
        match flight.fate {
            Fate::Delivered => {
                sender.transmit_errors = sender.transmit_errors.saturating_sub(1);
                if sender.waiting.get(&flight.frame.id.rank()) == Some(&flight.frame) {
                    sender.waiting.remove(&flight.frame.id.rank());
                }
                return Some(Delivery {
                    at: now,
                    from,
                    frame: flight.frame,
                });
            }
            Fate::NobodyThere if sender.transmit_errors > PASSIVE_ABOVE => {}
            Fate::NobodyThere | Fate::Destroyed => sender.transmit_errors += TRANSMIT_ERROR,
        }
        if sender.transmit_errors > OFF_ABOVE {
            sender.off = true;
            sender.waiting.clear();
            sender.restart_at = sender.restart_after.map(|after| now.plus(after));
        }
        None
    }
}
