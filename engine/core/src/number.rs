//! Decimal numbers as people write them, and powers of ten that lose nothing.

/// The powers of ten that a double holds exactly.
const EXACT: [f64; 23] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20,
    1e21, 1e22,
];

/// `number` times a power of ten, rounded once where the power is at most 10²².
#[inline]
pub(crate) fn shift(number: f64, exponent: i32) -> f64 {
    let power = EXACT[(exponent.unsigned_abs() as usize).min(EXACT.len() - 1)];
    if exponent >= 0 { number * power } else { number / power }
}

/// How many bytes at the start of `text` are a number: digits, perhaps a point with digits, perhaps an exponent. There is
/// no sign and no digit is left out before the point. `None` where no digit stands at the start.
pub(crate) fn scan(text: &str) -> Option<usize> {
    let bytes = text.as_bytes();
    let mut end = digits(bytes, 0);
    if end == 0 {
        return None;
    }
    if bytes.get(end) == Some(&b'.') && digits(bytes, end + 1) > end + 1 {
        end = digits(bytes, end + 1);
    }
    Some(exponent_end(bytes, end))
}

/// The double nearest to a scanned number times a power of ten.
pub(crate) fn value(written: &str, exponent: i32) -> f64 {
    let (mantissa, own) = match written.split_once(['e', 'E']) {
        Some((mantissa, own)) => (mantissa, own.parse().unwrap_or(far(own))),
        None => (written, 0_i32),
    };
    let exponent = own.saturating_add(exponent);
    format!("{mantissa}e{exponent}").parse().unwrap_or(f64::NAN)
}

/// An exponent of more digits than an `i32` holds is beyond every double anyway.
fn far(written: &str) -> i32 {
    if written.starts_with('-') { -100_000 } else { 100_000 }
}

fn digits(bytes: &[u8], from: usize) -> usize {
    let rest = bytes.get(from..).unwrap_or(&[]);
    from + rest.iter().take_while(|byte| byte.is_ascii_digit()).count()
}

fn exponent_end(bytes: &[u8], end: usize) -> usize {
    if !matches!(bytes.get(end), Some(b'e' | b'E')) {
        return end;
    }
    let sign = usize::from(matches!(bytes.get(end + 1), Some(b'+' | b'-')));
    let first = end + 1 + sign;
    let last = digits(bytes, first);
    if last > first { last } else { end }
}
