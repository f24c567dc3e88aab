//! How replies are written.

/// A number in the form of IEEE 488.2 8.7.4 (NR3): `+2.30125000E+02`.
pub(crate) fn nr3(value: f64, digits: usize) -> String {
    let plain = format!("{value:+.digits$E}");
    let (mantissa, exponent) = plain.split_once('E').unwrap_or((&plain, "0"));
    let (sign, figures) = match exponent.strip_prefix('-') {
        Some(figures) => ('-', figures),
        None => ('+', exponent),
    };
    format!("{mantissa}E{sign}{figures:0>2}")
}

/// What an executed order has to say.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Answer {
    /// Nothing: it was not a query.
    Nothing,
    /// ASCII text, as it is sent.
    Text(String),
    /// Bytes, sent as a block of definite length (IEEE 488.2 8.7.9).
    Block(Vec<u8>),
}

impl Answer {
    /// A number.
    pub(crate) fn number(value: f64) -> Self {
        Self::Text(nr3(value, 8))
    }

    /// A set point, with every digit that is needed to read the same number back.
    pub(crate) fn set_point(value: f64) -> Self {
        Self::Text(nr3(value, 15))
    }

    /// `1` or `0`.
    pub(crate) fn flag(on: bool) -> Self {
        Self::Text(u8::from(on).to_string())
    }

    /// A word.
    pub(crate) fn word(word: &str) -> Self {
        Self::Text(word.to_owned())
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn exponents_have_a_sign_and_two_figures() {
        assert_eq!(nr3(230.125, 8), "+2.30125000E+02");
        assert_eq!(nr3(-0.0025, 4), "-2.5000E-03");
        assert_eq!(nr3(9.9e37, 8), "+9.90000000E+37");
        assert_eq!(nr3(0.0, 3), "+0.000E+00");
        assert_eq!(nr3(1.5e-123, 1), "+1.5E-123");
    }

    proptest! {
        #[test]
        fn a_set_point_reads_back_the_same_to_its_last_figures(value in -1e9f64..1e9) {
            let Answer::Text(text) = Answer::set_point(value) else { unreachable!() };
            let back: f64 = text.parse().unwrap();
            prop_assert!((back - value).abs() <= value.abs() * 1e-15);
        }
    }
}
