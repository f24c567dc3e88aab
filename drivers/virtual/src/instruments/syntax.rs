//! The seam to the `scpi` crate: it walks tokens and headers, and each handler only notes an order. Nothing is executed here.

use super::common::Common;
use scpi::error::{Error, ErrorCode, Result};
use scpi::parser::mnemonic_compare;
use scpi::parser::parameters::Parameters;
use scpi::parser::response::ResponseUnit;
use scpi::parser::tokenizer::Token;
use scpi::tree::Node;
use scpi::tree::command::Command;
use scpi::{Context, Device};

/// Bytes that a line may have; more is −363.
pub(crate) const LONGEST_LINE: usize = 4096;

/// One noted command of a line.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Unit<O> {
    /// One that every instrument has.
    Common(Common),
    /// One of this instrument.
    Own(O),
    /// The line is wrong from here on.
    Fault(Error),
    /// Relays move, a filter settles: the instrument is busy.
    Pause(std::time::Duration),
}

/// The device that the crate sees: a list of noted orders.
#[derive(Debug)]
pub(crate) struct Intake<O> {
    pub(crate) units: Vec<Unit<O>>,
}

impl<O> Device for Intake<O> {
    fn handle_error(&mut self, error: Error) {
        self.units.push(Unit::Fault(error));
    }
}

/// Reads the parameters of a command.
pub(crate) type Read<T> = fn(&mut Parameters<'_, '_>) -> Result<T>;

/// A header of one instrument: what it is as a command and as a query.
pub(crate) struct Header<O> {
    pub(crate) set: Option<Read<O>>,
    pub(crate) ask: Option<Read<O>>,
}

impl<O> Command<Intake<O>> for Header<O> {
    fn event(&self, intake: &mut Intake<O>, _: &mut Context, parameters: Parameters) -> Result<()> {
        note(intake, self.set, parameters, Unit::Own)
    }

    fn query(&self, intake: &mut Intake<O>, _: &mut Context, parameters: Parameters, _: ResponseUnit) -> Result<()> {
        note(intake, self.ask, parameters, Unit::Own)
    }
}

/// A header that every instrument has.
pub(crate) struct CommonHeader {
    pub(crate) set: Option<Read<Common>>,
    pub(crate) ask: Option<Read<Common>>,
}

impl<O> Command<Intake<O>> for CommonHeader {
    fn event(&self, intake: &mut Intake<O>, _: &mut Context, parameters: Parameters) -> Result<()> {
        note(intake, self.set, parameters, Unit::Common)
    }

    fn query(&self, intake: &mut Intake<O>, _: &mut Context, parameters: Parameters, _: ResponseUnit) -> Result<()> {
        note(intake, self.ask, parameters, Unit::Common)
    }
}

/// Notes what a command says, unless its form does not exist or it brings more than it may.
///
/// An execution error (−2xx) is noted at its place and the line goes on; a command error (−1xx) ends the line, as the
/// parser no longer knows where it stands (IEEE 488.2 6.1.6.1).
fn note<O, T>(
    intake: &mut Intake<O>,
    read: Option<Read<T>>,
    mut parameters: Parameters,
    wrap: fn(T) -> Unit<O>,
) -> Result<()> {
    let unit = match read.ok_or(ErrorCode::UndefinedHeader)?(&mut parameters) {
        Ok(order) => wrap(order),
        Err(error) if !ends_line(error) => Unit::Fault(error),
        Err(error) => return Err(error),
    };
    if parameters.next_optional_token()?.is_some() {
        return Err(ErrorCode::ParameterNotAllowed.into());
    }
    intake.units.push(unit);
    Ok(())
}

/// Whether this is a command error (SCPI-99 volume 2, 21.8.9).
pub(crate) fn ends_line(error: Error) -> bool {
    (-199..=-100).contains(&error.get_code())
}

/// Reads one line into orders; whatever is wrong with it becomes a [`Unit::Fault`] at its place.
pub(crate) fn read_line<O>(tree: &Node<'_, Intake<O>>, line: &[u8]) -> Vec<Unit<O>> {
    let line = line.trim_ascii();
    if line.len() > LONGEST_LINE {
        return vec![Unit::Fault(ErrorCode::InputBufferOverrun.into())];
    }
    if line.is_empty() {
        return vec![Unit::Fault(ErrorCode::SyntaxError.into())];
    }
    let mut intake = Intake { units: Vec::new() };
    // The crate reports its error through `handle_error` too, which has noted it.
    let _noted = tree.run(line, &mut intake, &mut Context::new(), &mut Vec::new());
    intake.units
}

/// How an amount is given, and within which bounds.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Amount {
    /// Suffixes and the powers of ten that they stand for (IEEE 488.2 7.7.3: `M` is milli, but mega before `OHM` and `HZ`).
    pub(crate) suffixes: &'static [(&'static str, i32)],
    /// Lowest value, also that of `MINimum`.
    pub(crate) low: f64,
    /// Highest value, also that of `MAXimum`.
    pub(crate) high: f64,
}

/// Suffixes of voltages.
pub(crate) const VOLT: &[(&str, i32)] = &[("V", 0), ("MV", -3), ("KV", 3), ("UV", -6)];
/// Suffixes of currents.
pub(crate) const AMPERE: &[(&str, i32)] = &[("A", 0), ("MA", -3), ("UA", -6)];
/// Suffixes of frequencies and sample rates.
pub(crate) const HERTZ: &[(&str, i32)] = &[("HZ", 0), ("KHZ", 3), ("MHZ", 6), ("MAHZ", 6)];
/// Suffixes of resistances.
pub(crate) const OHM: &[(&str, i32)] = &[("OHM", 0), ("KOHM", 3), ("MOHM", 6), ("MAOHM", 6)];
/// Suffixes of capacitances.
pub(crate) const FARAD: &[(&str, i32)] = &[("F", 0), ("MF", -3), ("UF", -6), ("NF", -9), ("PF", -12)];
/// Suffixes of times.
pub(crate) const SECOND: &[(&str, i32)] = &[("S", 0), ("MS", -3), ("US", -6)];
/// Suffixes of angles.
pub(crate) const DEGREE: &[(&str, i32)] = &[("DEG", 0)];
/// No suffix.
pub(crate) const COUNT: &[(&str, i32)] = &[];

impl Amount {
    /// Reads an amount in f64 from the token itself, within its bounds.
    pub(crate) fn read(&self, parameters: &mut Parameters<'_, '_>) -> Result<f64> {
        self.of_token(parameters.next_token()?)
    }

    fn of_token(&self, token: Token<'_>) -> Result<f64> {
        let value = match token {
            Token::DecimalNumericProgramData(figures) => decimal(figures)?,
            Token::DecimalNumericSuffixProgramData(figures, suffix) => self.scaled(decimal(figures)?, suffix)?,
            Token::CharacterProgramData(word) => self.bound(word)?,
            _ => return Err(ErrorCode::DataTypeError.into()),
        };
        if (self.low..=self.high).contains(&value) {
            Ok(value)
        } else {
            Err(ErrorCode::DataOutOfRange.into())
        }
    }

    fn bound(&self, word: &[u8]) -> Result<f64> {
        if mnemonic_compare(b"MINimum", word) {
            Ok(self.low)
        } else if mnemonic_compare(b"MAXimum", word) {
            Ok(self.high)
        } else {
            Err(ErrorCode::DataTypeError.into())
        }
    }

    fn scaled(&self, value: f64, suffix: &[u8]) -> Result<f64> {
        if self.suffixes.is_empty() {
            return Err(ErrorCode::SuffixNotAllowed.into());
        }
        let (_, power) = self
            .suffixes
            .iter()
            .find(|(name, _)| name.as_bytes().eq_ignore_ascii_case(suffix))
            .ok_or(ErrorCode::InvalidSuffix)?;
        // Dividing by an exact power of ten rounds once: 2.4 NF is the double that is nearest to 2.4e-9.
        let factor = (0..power.abs()).fold(1.0, |factor, _| factor * 10.0);
        Ok(if *power < 0 { value / factor } else { value * factor })
    }
}

/// Decimal figures in f64.
fn decimal(figures: &[u8]) -> Result<f64> {
    std::str::from_utf8(figures)
        .ok()
        .and_then(|text| text.parse::<f64>().ok())
        .ok_or_else(|| ErrorCode::NumericDataError.into())
}

/// A whole number between two others.
pub(crate) fn whole(parameters: &mut Parameters<'_, '_>, low: u32, high: u32) -> Result<u32> {
    let bounds = Amount {
        suffixes: COUNT,
        low: f64::from(low),
        high: f64::from(high),
    };
    // Numbers that are not whole are rounded (IEEE 488.2 7.7.2.4).
    bounds.read(parameters).map(|value| libm::round(value) as u32)
}

/// `ON`, `OFF`, or a number that is rounded to 0 or not.
pub(crate) fn switch(parameters: &mut Parameters<'_, '_>) -> Result<bool> {
    match parameters.next_token()? {
        Token::CharacterProgramData(word) if word.eq_ignore_ascii_case(b"ON") => Ok(true),
        Token::CharacterProgramData(word) if word.eq_ignore_ascii_case(b"OFF") => Ok(false),
        Token::CharacterProgramData(_) => Err(ErrorCode::IllegalParameterValue.into()),
        Token::DecimalNumericProgramData(figures) => Ok(decimal(figures)?.abs() >= 0.5),
        _ => Err(ErrorCode::DataTypeError.into()),
    }
}

/// One of several words, short or long.
pub(crate) fn word<T: Copy>(parameters: &mut Parameters<'_, '_>, words: &[(&[u8], T)]) -> Result<T> {
    let Token::CharacterProgramData(given) = parameters.next_token()? else {
        return Err(ErrorCode::DataTypeError.into());
    };
    words
        .iter()
        .find(|(name, _)| mnemonic_compare(name, given))
        .map(|(_, value)| *value)
        .ok_or_else(|| ErrorCode::IllegalParameterValue.into())
}

/// A channel list of exactly one channel: `(@101)`.
pub(crate) fn channel(parameters: &mut Parameters<'_, '_>) -> Result<u16> {
    channel_of(parameters.next_token()?)
}

/// The channel of a token. Read here and not by the crate's list reader, which indexes without looking.
pub(crate) fn channel_of(token: Token<'_>) -> Result<u16> {
    let Token::ExpressionProgramData(expression) = token else {
        return Err(ErrorCode::DataTypeError.into());
    };
    let list = expression
        .trim_ascii()
        .strip_prefix(b"@")
        .ok_or(ErrorCode::InvalidExpression)?
        .trim_ascii();
    if list.contains(&b',') || list.contains(&b':') {
        return Err(ErrorCode::TooMuchData.extended(b"one channel at a time"));
    }
    if list.is_empty() || !list.iter().all(u8::is_ascii_digit) {
        return Err(ErrorCode::InvalidExpression.into());
    }
    std::str::from_utf8(list)
        .ok()
        .and_then(|text| text.parse().ok())
        .ok_or_else(|| ErrorCode::DataOutOfRange.into())
}

/// What a scanner's channel leads to, counted from 1.
pub(crate) fn scanned<T: Copy>(channels: &[T], number: u16) -> Result<T> {
    usize::from(number)
        .checked_sub(1)
        .and_then(|index| channels.get(index))
        .copied()
        .ok_or_else(|| ErrorCode::DataOutOfRange.extended(b"no such channel"))
}
