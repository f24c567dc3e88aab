//! Packs and unpacks signals line by line, for comparison with other programs: `pack BYTES START LENGTH little|big signed|unsigned RAW`
//! gives the bytes in hexadecimal, `unpack HEX START LENGTH little|big signed|unsigned` the raw number, `checksum WORD HEX` one byte.

#![allow(clippy::print_stdout, reason = "an example that writes data")]

use pilotage_core::frames::{ByteOrder, Checksum, Field};
use std::io::BufRead;

fn main() {
    for line in std::io::stdin().lock().lines() {
        let line = line.expect("a line of the standard input");
        println!("{}", answer(&line).unwrap_or_else(|| "cannot".to_owned()));
    }
}

fn answer(line: &str) -> Option<String> {
    let words: Vec<&str> = line.split_whitespace().collect();
    match words.as_slice() {
        ["pack", bytes, start, length, order, sign, raw] => {
            let (field, bytes) = (field(start, length, order, sign)?, bytes.parse::<u8>().ok()?);
            let mut data = vec![0; usize::from(bytes)];
            let raw = raw.parse().ok()?;
            field.fits(bytes).then(|| field.pack(&mut data, raw))?;
            Some(
                data.iter()
                    .fold(String::new(), |hex, byte| hex + &format!("{byte:02x}")),
            )
        }
        ["unpack", hex, start, length, order, sign] => {
            let (field, data) = (field(start, length, order, sign)?, bytes_of(hex)?);
            field.fits(data.len() as u8).then(|| field.unpack(&data).to_string())
        }
        ["checksum", word, hex] => {
            let kind = Checksum::ALL.into_iter().find(|kind| kind.word() == *word)?;
            Some(format!("{:02x}", kind.of(bytes_of(hex)?)))
        }
        _ => None,
    }
}

fn field(start: &str, length: &str, order: &str, sign: &str) -> Option<Field> {
    Some(Field {
        start: start.parse().ok()?,
        length: length.parse().ok()?,
        order: if order == "big" {
            ByteOrder::Big
        } else {
            ByteOrder::Little
        },
        signed: sign == "signed",
    })
}

fn bytes_of(hex: &str) -> Option<Vec<u8>> {
    let byte = |k: usize| u8::from_str_radix(hex.get(k..k + 2)?, 16).ok();
    (0..hex.len()).step_by(2).map(byte).collect()
}
