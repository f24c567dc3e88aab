//! Decimal digits of a double, shifted and rounded as text, so that nothing like 28.999999999999996 is ever shown.

// A double has at most 17 significant and 767 written digits: their counts fit every integer.
#![allow(clippy::cast_possible_wrap)]

/// A number as decimal digits: `0.d₁d₂d₃… × 10^point`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Decimal {
    negative: bool,
    /// Without leading or trailing zeros; empty for zero.
    digits: Vec<u8>,
    point: i32,
}

impl Decimal {
    /// The shortest digits that read back as this number. The number must be finite.
    pub(crate) fn of(number: f64) -> Self {
        let text = format!("{number:e}");
        let (mantissa, exponent) = text.split_once('e').unwrap_or((&text, "0"));
        let digits: Vec<u8> = mantissa
            .bytes()
            .filter(u8::is_ascii_digit)
            .map(|byte| byte - b'0')
            .collect();
        let mut decimal = Self {
            negative: number < 0.0,
            digits,
            point: exponent.parse::<i32>().unwrap_or(0) + 1,
        };
        decimal.tidy();
        decimal
    }

    /// Times a power of ten.
    pub(crate) fn shifted(mut self, exponent: i32) -> Self {
        self.point += exponent;
        self
    }

    /// Whether it is zero.
    pub(crate) fn is_zero(&self) -> bool {
        self.digits.is_empty()
    }

    /// The power of ten of the first digit.
    pub(crate) fn magnitude(&self) -> i32 {
        self.point - 1
    }

    /// Rounded to so many digits behind the decimal point (before it where negative); a half goes away from zero.
    pub(crate) fn rounded_to_places(mut self, places: i32) -> Self {
        let kept = self.point + places;
        if kept < 0 {
            self.digits.clear();
        } else if (kept as usize) < self.digits.len() {
            let up = self.digits[kept as usize] >= 5;
            self.digits.truncate(kept as usize);
            if up {
                self.increment();
            }
        }
        self.tidy();
        self
    }

    /// Rounded to so many significant digits.
    pub(crate) fn rounded(self, significant: i32) -> Self {
        let places = significant - self.point;
        self.rounded_to_places(places)
    }

    /// Plain digits, with at least so many places behind the point.
    pub(crate) fn plain(&self, least_places: usize) -> String {
        let mut whole = String::new();
        let mut behind = String::new();
        for position in 0..self.point.max(1) {
            whole.push(self.digit(position - (1 - self.point).max(0)));
        }
        let last = self.digits.len() as i32 - self.point;
        for place in 0..last.max(least_places as i32) {
            behind.push(self.digit(self.point + place));
        }
        let sign = if self.negative { "-" } else { "" };
        if behind.is_empty() {
            format!("{sign}{whole}")
        } else {
            format!("{sign}{whole}.{behind}")
        }
    }

    /// With a power of ten: `1.5e-9`.
    pub(crate) fn scientific(&self) -> String {
        let mantissa = Self {
            point: 1,
            ..self.clone()
        };
        format!("{}e{}", mantissa.plain(0), self.magnitude())
    }

    fn digit(&self, index: i32) -> char {
        let digit = usize::try_from(index).ok().and_then(|index| self.digits.get(index));
        char::from(b'0' + digit.copied().unwrap_or(0))
    }

    fn increment(&mut self) {
        for digit in self.digits.iter_mut().rev() {
            if *digit < 9 {
                *digit += 1;
                return;
            }
            *digit = 0;
        }
        self.digits.insert(0, 1);
        self.point += 1;
    }

    fn tidy(&mut self) {
        while self.digits.last() == Some(&0) {
            self.digits.pop();
        }
        let leading = self.digits.iter().take_while(|digit| **digit == 0).count();
        self.digits.drain(..leading);
        self.point -= leading as i32;
        if self.digits.is_empty() {
            self.negative = false;
            self.point = 1;
        }
    }
}
