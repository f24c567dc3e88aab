//! Where a signal lies among the bits of a frame, in both byte orders.
//!
//! A bit's number is 8 times its byte, from 0, plus its place within the byte, 0 the least: bit 10 is the third lowest of the
//! second byte. A little-endian signal starts at its lowest bit and grows with the numbers. A big-endian one starts at its
//! highest bit and goes down within each byte, then on at bit 7 of the next byte.

/// Most bits of a signal: more have no exact value as a number.
pub const MOST_BITS: u8 = 52;

/// Which byte comes first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum ByteOrder {
    /// The lowest.
    #[default]
    Little,
    /// The highest.
    Big,
}

/// The bits of one signal.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Field {
    /// Number of its lowest bit (little-endian) or of its highest (big-endian).
    pub start: u8,
    /// How many bits.
    pub length: u8,
    /// Byte order.
    pub order: ByteOrder,
    /// Two's complement.
    pub signed: bool,
}

impl Field {
    /// Numbers of its bits, the lowest first.
    pub fn positions(self) -> impl Iterator<Item = u16> + Clone {
        let (start, length) = (u16::from(self.start), u16::from(self.length));
        (0..length).map(move |k| match self.order {
            ByteOrder::Little => start + k,
            ByteOrder::Big => {
                // Counted as the bits are sent, the highest of each byte first.
                let sent = (start / 8) * 8 + 7 - start % 8 + (length - 1 - k);
                (sent / 8) * 8 + 7 - sent % 8
            }
        })
    }

    /// Whether all of its bits lie in a frame of so many bytes.
    pub fn fits(self, bytes: u8) -> bool {
        (1..=MOST_BITS).contains(&self.length) && self.positions().all(|bit| bit < 8 * u16::from(bytes))
    }

    /// Lowest and highest raw number.
    pub fn range(self) -> (i64, i64) {
        let bits = u32::from(self.length.clamp(1, MOST_BITS));
        if self.signed {
            let half = 1_i64 << (bits - 1);
            (-half, half - 1)
        } else {
            (0, (1_i64 << bits) - 1)
        }
    }

    /// Writes a raw number; bits beyond its length are cut off.
    pub fn pack(self, data: &mut [u8], raw: i64) {
        for (k, bit) in self.positions().enumerate() {
            let byte = &mut data[usize::from(bit / 8)];
            let mask = 1_u8 << (bit % 8);
            if raw >> k & 1 == 1 {
                *byte |= mask;
            } else {
                *byte &= !mask;
            }
        }
    }

    /// Reads the raw number.
    pub fn unpack(self, data: &[u8]) -> i64 {
        let mut raw = 0_i64;
        for (k, bit) in self.positions().enumerate() {
            let set = data
                .get(usize::from(bit / 8))
                .is_some_and(|byte| byte >> (bit % 8) & 1 == 1);
            raw |= i64::from(set) << k;
        }
        let (_, highest) = self.range();
        if self.signed && raw > highest {
            raw -= 1 << self.length;
        }
        raw
    }
}
