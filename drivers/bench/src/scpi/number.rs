//! Numbers as instruments answer them (IEEE 488.2 clause 8.7; SCPI-99 volume 1, 7.2.1 and 7.2.4).

use crate::scpi::Refused;

/// SCPI-99 volume 1, 7.2.1.4: infinity is answered as 9.9E37.
const INFINITY: f64 = 9.9e37;
/// SCPI-99 volume 1, 7.2.1.5: not-a-number is answered as 9.91E37.
const NOT_A_NUMBER: f64 = 9.91e37;
/// Instruments that compute in single precision print both figures with an error in the eighth digit.
const SINGLE_PRECISION: f64 = 1e-6;
/// The largest integer up to which every integer is an `f64`.
const EXACT: u64 = 1 << 53;
/// IEEE 488.2, 7.7.2.4.1: a mantissa has at most 255 characters.
const LONGEST: usize = 300;

const WANTED: &str = "a number (NR1, NR2, NR3, #H, #Q or #B)";

/// A number, or one of the two figures that stand for none.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Number {
    /// A finite number.
    Value(f64),
    /// ±9.9E37: the instrument reported overload.
    Overload {
        /// Whether it was -9.9E37.
        negative: bool,
    },
    /// 9.91E37: the instrument reported not-a-number.
    NotANumber,
}

impl Number {
    /// Reads one element. Blanks around it are ignored; anything but a number is refused.
    pub fn parse(text: &str) -> Result<Self, Refused> {
        let text = text.trim_matches([' ', '\t']);
        if let Some(word) = Self::from_word(text) {
            return Ok(word);
        }
        if let Some(code) = text.strip_prefix('#') {
            return non_decimal(text, code);
        }
        decimal(text).map(Self::from_value)
    }

    /// The number where it is one.
    pub fn value(self) -> Option<f64> {
        match self {
            Self::Value(value) => Some(value),
            Self::Overload { .. } | Self::NotANumber => None,
        }
    }

    fn from_word(text: &str) -> Option<Self> {
        let is = |words: &[&str]| words.iter().any(|word| text.eq_ignore_ascii_case(word));
        if is(&["NAN"]) {
            Some(Self::NotANumber)
        } else if is(&["INF", "INFINITY"]) {
            Some(Self::Overload { negative: false })
        } else if is(&["NINF", "NINFINITY"]) {
            Some(Self::Overload { negative: true })
        } else {
            None
        }
    }

    fn from_value(value: f64) -> Self {
        if (value.abs() / NOT_A_NUMBER - 1.0).abs() < SINGLE_PRECISION {
            Self::NotANumber
        } else if value.abs() >= INFINITY * (1.0 - SINGLE_PRECISION) {
            Self::Overload { negative: value < 0.0 }
        } else {
            Self::Value(value)
        }
    }
}

/// An integer (NR1 or a code).
pub fn integer(text: &str) -> Result<i64, Refused> {
    let refused = || Refused::new("an integer", text, "check the query against the instrument's manual");
    match Number::parse(text)? {
        Number::Value(value) if value.fract() == 0.0 && value.abs() <= EXACT as f64 => Ok(value as i64),
        _ => Err(refused()),
    }
}

fn non_decimal(text: &str, code: &str) -> Result<Number, Refused> {
    let radix = match code.as_bytes().first() {
        Some(b'H' | b'h') => 16,
        Some(b'Q' | b'q') => 8,
        Some(b'B' | b'b') => 2,
        _ => {
            return Err(Refused::new(
                WANTED,
                text,
                "a block is not a number: use a query that answers a number",
            ));
        }
    };
    let digits = &code[1..];
    let plain = !digits.is_empty() && digits.bytes().all(|byte| char::from(byte).is_digit(radix));
    match u64::from_str_radix(digits, radix) {
        Ok(value) if plain && value <= EXACT => Ok(Number::Value(value as f64)),
        _ => Err(Refused::new(
            WANTED,
            text,
            "digits of the stated base, at most 2^53, are read",
        )),
    }
}

fn decimal(text: &str) -> Result<f64, Refused> {
    let length = decimal_length(text);
    if length == 0 || length < text.len() {
        return Err(Refused::new(WANTED, text, decimal_mend(text, length)));
    }
    match text.parse::<f64>() {
        Ok(value) if value.is_finite() => Ok(value),
        _ => Err(Refused::new(
            "a number below 1.8E308",
            text,
            "check the query against the instrument's manual",
        )),
    }
}

fn decimal_mend(text: &str, length: usize) -> &'static str {
    let rest = text[length..].trim_start();
    if length > 0 && rest.starts_with(',') {
        "a list came: ask for one value, or a comma is used as decimal mark (set the instrument to a point)"
    } else if length > 0 && rest.starts_with(|c: char| c.is_alphabetic() || c == '%') {
        "a unit or suffix came with the number: switch suffixes and headers off in the driver's `start` messages"
    } else {
        "check the query against the instrument's manual"
    }
}

/// Length of the decimal number that `text` begins with; 0 where it begins with none.
fn decimal_length(text: &str) -> usize {
    let bytes = text.as_bytes();
    if bytes.len() > LONGEST {
        return 0;
    }
    let digits = |from: usize| bytes[from..].iter().take_while(|byte| byte.is_ascii_digit()).count();
    let sign = |at: usize| usize::from(matches!(bytes.get(at), Some(b'+' | b'-')));
    let mut end = sign(0);
    let whole = digits(end);
    end += whole;
    let mut fraction = 0;
    if bytes.get(end) == Some(&b'.') {
        fraction = digits(end + 1);
        end += 1 + fraction;
    }
    if whole + fraction == 0 {
        return 0;
    }
    if matches!(bytes.get(end), Some(b'E' | b'e')) {
        let start = end + 1 + sign(end + 1);
        match digits(start) {
            0 => {}
            count => end = start + count,
        }
    }
    end
}
