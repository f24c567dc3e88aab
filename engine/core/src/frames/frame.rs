//! A classic CAN frame: its identifier, the order of arbitration, and its length on the wire with stuffed bits (ISO 11898-1).

use std::fmt;

/// Most bytes of data.
pub const MOST_BYTES: u8 = 8;
/// Behind every frame the bus rests for so many bits.
pub const INTERMISSION_BITS: u32 = 3;

/// An identifier.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Id {
    /// 11 bit.
    Standard(u16),
    /// 29 bit.
    Extended(u32),
}

impl Id {
    /// The highest identifier of 11 bit.
    pub const LAST_STANDARD: u16 = 0x7ff;
    /// The highest identifier of 29 bit.
    pub const LAST_EXTENDED: u32 = 0x1fff_ffff;

    /// The lower, the sooner it wins: bit for bit as it is arbitrated. Of two whose first 11 bits are equal the one of 11 bit wins.
    pub fn rank(self) -> u32 {
        match self {
            Self::Standard(id) => u32::from(id) << 19,
            Self::Extended(id) => (id >> 18) << 19 | 1 << 18 | id & 0x3_ffff,
        }
    }
}

impl fmt::Display for Id {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Standard(id) => write!(f, "0x{id:03X}"),
            Self::Extended(id) => write!(f, "0x{id:08X}"),
        }
    }
}

/// A data frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Frame {
    /// Its identifier.
    pub id: Id,
    length: u8,
    data: [u8; MOST_BYTES as usize],
}

impl Frame {
    /// A frame with these bytes; `None` where there are more than eight.
    pub fn new(id: Id, bytes: &[u8]) -> Option<Self> {
        let mut data = [0; MOST_BYTES as usize];
        data.get_mut(..bytes.len())?.copy_from_slice(bytes);
        Some(Self {
            id,
            length: bytes.len() as u8,
            data,
        })
    }

    /// Its bytes.
    pub fn data(&self) -> &[u8] {
        &self.data[..usize::from(self.length)]
    }

    /// Bits on the wire, stuffed ones and the intermission included.
    pub fn bits(&self) -> u32 {
        let mut stuffed = Stuffed::default();
        stuffed.put(0, 1);
        match self.id {
            // Identifier, then RTR, IDE and r0, all dominant.
            Id::Standard(id) => stuffed.put(u32::from(id) << 3, 14),
            // SRR and IDE recessive between the parts; RTR, r1 and r0 dominant behind them.
            Id::Extended(id) => {
                stuffed.put(id >> 18 << 2 | 0b11, 13);
                stuffed.put((id & 0x3_ffff) << 3, 21);
            }
        }
        stuffed.put(u32::from(self.length), 4);
        for byte in self.data() {
            stuffed.put(u32::from(*byte), 8);
        }
        let crc = u32::from(stuffed.crc);
        stuffed.put(crc, 15);
        // CRC delimiter, acknowledgement and its delimiter, seven bits of end of frame.
        stuffed.count + 10 + INTERMISSION_BITS
    }
}

/// Counts bits with those that are stuffed after five equal ones, and makes the CRC-15 of what is not stuffed.
#[derive(Default)]
struct Stuffed {
    count: u32,
    last: Option<bool>,
    equal: u32,
    crc: u16,
}

impl Stuffed {
    /// So many bits, the highest first.
    fn put(&mut self, bits: u32, count: u32) {
        for k in (0..count).rev() {
            self.bit(bits >> k & 1 == 1);
        }
    }

    fn bit(&mut self, bit: bool) {
        let feeds = bit != (self.crc >> 14 & 1 == 1);
        self.crc = (self.crc << 1) & 0x7fff;
        if feeds {
            self.crc ^= 0x4599;
        }
        self.on_the_wire(bit);
        if self.equal == 5 {
            self.on_the_wire(!bit);
        }
    }

    fn on_the_wire(&mut self, bit: bool) {
        self.count += 1;
        self.equal = if self.last == Some(bit) { self.equal + 1 } else { 1 };
        self.last = Some(bit);
    }
}

#[cfg(test)]
mod tests {
    use super::{Frame, Id, Stuffed};

    /// The check value of CRC-15/CAN for the digits 1 to 9 in the published catalogue of parametrised CRC algorithms: 0x059E.
    #[test]
    fn the_crc_has_its_published_check_value() {
        let mut stuffed = Stuffed::default();
        for byte in b"123456789" {
            stuffed.put(u32::from(*byte), 8);
        }
        assert_eq!(stuffed.crc, 0x059e);
    }

    /// Without stuffing a frame of n bytes has 47 + 8 n bits (11 bit) or 67 + 8 n (29 bit), intermission included; at most one bit
    /// is stuffed for each four of the 34 + 8 n (54 + 8 n) first ones but one: published formula of response-time analyses.
    #[test]
    fn lengths_lie_between_the_published_bounds() {
        for (id, fixed, stuffable) in [(Id::Standard(0x155), 47, 34), (Id::Extended(0x0aaa_5555), 67, 54)] {
            for length in 0..=8_usize {
                for byte in [0x00, 0xff, 0x55, 0x3c, 0xc1] {
                    let bits = Frame::new(id, &[byte; 8][..length])
                        .expect("at most eight bytes")
                        .bits();
                    let least = fixed + 8 * length as u32;
                    let most = least + (stuffable + 8 * length as u32 - 1) / 4;
                    assert!((least..=most).contains(&bits), "{id} {length} {byte:02x}: {bits}");
                }
            }
        }
    }

    /// By hand: identifier 0 without data is 1 + 11 + 3 + 4 = 19 dominant bits, and the CRC of nothing but zeros is 15 more. Behind each
    /// five of these 34 a recessive bit is stuffed: six.
    #[test]
    fn a_frame_of_zeros_by_hand() {
        let frame = Frame::new(Id::Standard(0), &[]).expect("no bytes");
        assert_eq!(frame.bits(), 34 + 6 + 10 + 3);
    }

    #[test]
    fn lower_identifiers_win_and_short_ones_before_long_ones() {
        let order = [
            Id::Standard(0x100),
            Id::Extended(0x100 << 18),
            Id::Extended(0x100 << 18 | 1),
            Id::Standard(0x101),
            Id::Extended(0x101 << 18 | 0x3_ffff),
            Id::Standard(0x7ff),
        ];
        assert!(order.windows(2).all(|pair| pair[0].rank() < pair[1].rank()));
    }

    #[test]
    fn more_than_eight_bytes_are_no_frame() {
        assert_eq!(Frame::new(Id::Standard(1), &[0; 9]), None);
        assert_eq!(
            Frame::new(Id::Standard(1), &[7; 3]).expect("three bytes").data(),
            &[7, 7, 7]
        );
    }
}
