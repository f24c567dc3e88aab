//! Status registers of IEEE 488.2 chapter 11 and the error queue of SCPI-99 volume 2, 21.8, bounded at 16 entries.

use scpi::error::{ArrayErrorQueue, Error, ErrorQueue};

/// Entries of the error queue; the last becomes −350 where another would come.
pub(crate) const QUEUE_LENGTH: usize = 16;

/// Operation complete (IEEE 488.2 11.5.1.1.2).
pub(crate) const OPC: u8 = 0x01;
/// Power on (IEEE 488.2 11.5.1.1.9).
const PON: u8 = 0x80;
/// Error queue not empty (SCPI-99 volume 1, 9.6: bit 2 of the status byte).
const EAV: u8 = 0x04;
/// Event summary (IEEE 488.2 11.2.1).
const ESB: u8 = 0x20;
/// Message available.
pub(crate) const MAV: u8 = 0x10;
/// Master summary.
const MSS: u8 = 0x40;

/// Status of one instrument.
#[derive(Debug, Default)]
pub(crate) struct Status {
    queue: ArrayErrorQueue<QUEUE_LENGTH>,
    events: u8,
    event_enable: u8,
    service_enable: u8,
}

impl Status {
    /// As after power on.
    pub(crate) fn power_on() -> Self {
        Self {
            events: PON,
            ..Self::default()
        }
    }

    /// Queues an error and notes its class.
    pub(crate) fn fault(&mut self, error: Error) {
        self.events |= error.esr_mask();
        self.queue.push_back_error(error);
    }

    /// Notes an event.
    pub(crate) fn event(&mut self, bits: u8) {
        self.events |= bits;
    }

    /// The oldest error, or no error.
    pub(crate) fn next_error(&mut self) -> Error {
        self.queue.pop_front_error().unwrap_or_default()
    }

    /// `*CLS`
    pub(crate) fn clear(&mut self) {
        self.queue.clear_errors();
        self.events = 0;
    }

    /// `*ESR?`: reading clears.
    pub(crate) fn take_events(&mut self) -> u8 {
        std::mem::take(&mut self.events)
    }

    /// `*ESE`
    pub(crate) fn enable_events(&mut self, mask: u8) {
        self.event_enable = mask;
    }

    /// `*ESE?`
    pub(crate) fn enabled_events(&self) -> u8 {
        self.event_enable
    }

    /// `*SRE`: bit 6 cannot be enabled (IEEE 488.2 11.3.2.3).
    pub(crate) fn enable_service(&mut self, mask: u8) {
        self.service_enable = mask & !MSS;
    }

    /// `*SRE?`
    pub(crate) fn enabled_service(&self) -> u8 {
        self.service_enable
    }

    /// `*STB?`; `available` says whether a reply waits in the output.
    pub(crate) fn byte(&self, available: bool) -> u8 {
        let mut byte = 0;
        if !self.queue.is_empty() {
            byte |= EAV;
        }
        if available {
            byte |= MAV;
        }
        if self.events & self.event_enable != 0 {
            byte |= ESB;
        }
        if byte & self.service_enable != 0 {
            byte |= MSS;
        }
        byte
    }
}
