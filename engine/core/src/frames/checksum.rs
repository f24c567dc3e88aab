//! The checksums of one byte that frames end with.

/// How a checksum of one byte is made.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Checksum {
    /// CRC-8 of SAE J1850: polynomial 0x1D, begins at 0xFF, inverted at the end.
    Crc8SaeJ1850,
    /// CRC-8 with the polynomial 0x2F, begins at 0xFF, inverted at the end.
    Crc8Autosar,
    /// CRC-8 with the polynomial 0x07, begins at 0.
    Crc8Smbus,
    /// All bytes combined by exclusive or.
    Xor,
    /// The lowest byte of their sum.
    Sum,
}

impl Checksum {
    /// All of them.
    pub const ALL: [Self; 5] = [
        Self::Crc8SaeJ1850,
        Self::Crc8Autosar,
        Self::Crc8Smbus,
        Self::Xor,
        Self::Sum,
    ];

    /// The word in files.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Crc8SaeJ1850 => "crc8_sae_j1850",
            Self::Crc8Autosar => "crc8_autosar",
            Self::Crc8Smbus => "crc8_smbus",
            Self::Xor => "xor",
            Self::Sum => "sum",
        }
    }

    /// The checksum of bytes.
    pub fn of(self, bytes: impl IntoIterator<Item = u8>) -> u8 {
        let bytes = bytes.into_iter();
        match self {
            Self::Crc8SaeJ1850 => crc8(bytes, 0x1d, 0xff) ^ 0xff,
            Self::Crc8Autosar => crc8(bytes, 0x2f, 0xff) ^ 0xff,
            Self::Crc8Smbus => crc8(bytes, 0x07, 0x00),
            Self::Xor => bytes.fold(0, |sum, byte| sum ^ byte),
            Self::Sum => bytes.fold(0, u8::wrapping_add),
        }
    }
}

/// The highest bit first, nothing reflected.
fn crc8(bytes: impl Iterator<Item = u8>, polynomial: u8, first: u8) -> u8 {
    bytes.fold(first, |crc, byte| {
        (0..8).fold(crc ^ byte, |crc, _| {
            let shifted = crc << 1;
            if crc & 0x80 == 0 { shifted } else { shifted ^ polynomial }
        })
    })
}
