//! Bytes printed for people. What an instrument sends is data: no byte of it may steer a terminal or a report.

use crate::scpi::framer::BlockHash;
use crate::scpi::reply::{Element, Reply};
use sha2::{Digest, Sha256};
use std::fmt::Write;

/// Longest piece of a reply that an error message repeats, in bytes.
const SHOWN: usize = 200;
/// Longest line that an exchange keeps whole, in bytes.
const KEPT: usize = 4096;

/// Printable ASCII as it is, every other byte (and the backslash itself, so that nothing is ambiguous) as `\xNN`.
pub fn escaped(bytes: &[u8]) -> String {
    let as_it_is = |byte: &u8| (b' '..=b'~').contains(byte) && *byte != b'\\';
    if let (true, Ok(text)) = (bytes.iter().all(as_it_is), str::from_utf8(bytes)) {
        return text.to_owned();
    }
    let mut out = String::with_capacity(bytes.len());
    for &byte in bytes {
        if as_it_is(&byte) {
            out.push(char::from(byte));
        } else {
            let _ = write!(out, "\\x{byte:02X}");
        }
    }
    out
}

/// Escaped, and cut where it is long.
pub fn shortened(bytes: &[u8]) -> String {
    if bytes.len() <= SHOWN {
        return escaped(bytes);
    }
    format!("{} … ({} bytes)", escaped(&bytes[..SHOWN]), bytes.len())
}

/// Bytes in hex and as text, as a time-out reports what did come.
pub fn hex_and_text(bytes: &[u8]) -> String {
    if bytes.is_empty() {
        return "nothing".to_owned();
    }
    let shown = &bytes[..bytes.len().min(SHOWN)];
    let mut hex = String::with_capacity(shown.len() * 3);
    for byte in shown {
        let _ = write!(hex, "{byte:02X} ");
    }
    format!("{} bytes: {}\"{}\"", bytes.len(), hex, escaped(shown))
}

/// A whole reply as an exchange keeps it: blocks as `#block N bytes sha256 …`, everything else escaped. `hashes` are those of
/// its blocks, where they are known.
pub fn recorded(message: &[u8], hashes: &[BlockHash]) -> String {
    if message.first() != Some(&b'#') && message.len() <= KEPT {
        return escaped(message);
    }
    match Reply::parse(message) {
        Ok(reply) if reply.has_block() => {
            let mut hashes = hashes.iter();
            let units: Vec<String> = reply
                .units()
                .iter()
                .map(|unit| recorded_unit(unit, &mut hashes))
                .collect();
            units.join(";")
        }
        _ if message.len() <= KEPT => escaped(message),
        _ => format!(
            "{} … {} bytes sha256 {}",
            escaped(&message[..SHOWN]),
            message.len(),
            hexadecimal(&Sha256::digest(message).into())
        ),
    }
}

fn recorded_unit<'h>(unit: &[Element<'_>], hashes: &mut impl Iterator<Item = &'h BlockHash>) -> String {
    let words: Vec<String> = unit
        .iter()
        .map(|element| match element {
            Element::Block(bytes) => {
                let hash = hashes.next().copied().unwrap_or_else(|| Sha256::digest(bytes).into());
                format!("#block {} bytes sha256 {}", bytes.len(), hexadecimal(&hash))
            }
            Element::Plain(text) => escaped(text.as_bytes()),
            Element::Quoted(text) => format!("\"{}\"", escaped(text.as_bytes()).replace('"', "\"\"")),
        })
        .collect();
    words.join(",")
}

fn hexadecimal(hash: &BlockHash) -> String {
    hash.iter().fold(String::with_capacity(64), |mut out, byte| {
        let _ = write!(out, "{byte:02x}");
        out
    })
}
