//! Hashes and lines: how one event follows another so that no byte can change unseen.

use serde::Serialize;
use sha2::{Digest, Sha256};

/// What stands before the first line.
pub const START: &str = "0000000000000000000000000000000000000000000000000000000000000000";

/// Number of hexadecimal digits of a hash.
const DIGITS: usize = 64;

/// SHA-256 of some bytes in lower-case hexadecimal.
pub fn sha256(bytes: &[u8]) -> String {
    hexadecimal(&Sha256::digest(bytes))
}

/// The hash of a line: SHA-256 of the previous hash, a space, and the JSON.
pub fn hash(previous: &str, json: &[u8]) -> String {
    let mut digest = Sha256::new();
    digest.update(previous.as_bytes());
    digest.update(b" ");
    digest.update(json);
    hexadecimal(&digest.finalize())
}

/// Adds a whole line with its line feed to `lines`, and gives its hash. Where the event has no JSON form nothing is added.
pub fn line(previous: &str, event: &impl Serialize, lines: &mut Vec<u8>) -> serde_json::Result<String> {
    let start = lines.len();
    // The hash is put in its place when the JSON behind it is known.
    lines.resize(start + DIGITS, b' ');
    lines.push(b' ');
    if let Err(error) = serde_json::to_writer(&mut *lines, event) {
        lines.truncate(start);
        return Err(error);
    }
    let hash = hash(previous, &lines[start + DIGITS + 1..]);
    lines[start..start + DIGITS].copy_from_slice(hash.as_bytes());
    lines.push(b'\n');
    Ok(hash)
}

/// Splits a line without its line feed into hash and JSON, and checks the hash; says what is wrong.
pub fn check<'a>(previous: &str, line: &'a [u8]) -> Result<(String, &'a [u8]), String> {
    let Some((hash_part, json)) = line
        .split_at_checked(DIGITS)
        .filter(|(_, rest)| rest.first() == Some(&b' '))
    else {
        return Err("not a hash of 64 digits, a space and JSON".to_owned());
    };
    let json = &json[1..];
    let wanted = hash(previous, json);
    if wanted.as_bytes() == hash_part {
        Ok((wanted, json))
    } else {
        Err("its hash does not fit: this line or the one before it was altered, removed, added or moved".to_owned())
    }
}

fn hexadecimal(bytes: &[u8]) -> String {
    const DIGIT: &[u8; 16] = b"0123456789abcdef";
    let mut digits = String::with_capacity(2 * bytes.len());
    for byte in bytes {
        digits.push(char::from(DIGIT[usize::from(byte >> 4)]));
        digits.push(char::from(DIGIT[usize::from(byte & 15)]));
    }
    digits
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::{START, check, hash, line, sha256};
    use std::collections::BTreeMap;

    #[test]
    fn sha256_is_that_of_fips_180() {
        // FIPS 180-4 example, one block: "abc".
        assert_eq!(
            sha256(b"abc"),
            "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
        );
    }

    #[test]
    fn a_line_is_the_hash_of_the_text_that_anyone_can_print() {
        assert_eq!(hash(START, b"{}"), sha256(format!("{START} {{}}").as_bytes()));
    }

    #[test]
    fn a_line_checks_against_its_own_previous_hash_only() {
        let mut text = b"before\n".to_vec();
        let first = line(START, &BTreeMap::from([("a", 1)]), &mut text).unwrap();
        assert_eq!(text, format!("before\n{first} {{\"a\":1}}\n").into_bytes());
        assert!(line(START, &BTreeMap::from([(Some([1]), 1)]), &mut text.clone()).is_err());
        let bare = text["before\n".len()..].trim_ascii_end();
        assert_eq!(check(START, bare), Ok((first.clone(), &b"{\"a\":1}"[..])));
        assert!(check(&first, bare).is_err());
        assert!(check(START, &bare[..10]).is_err());
        assert!(check(START, b"").is_err());
    }
}
