//! What a shape is made of. The tables themselves are plain data in the modules beside this one.

use super::checked::CheckedMap;
use crate::problem::Problem;
use pilotage_core::Dimension;

/// What may stand at one place of a file.
#[derive(Debug)]
pub enum Shape {
    /// Any text that is not empty.
    Text,
    /// A text of a fixed form.
    Form(&'static Grammar),
    /// One word of a list.
    Word(&'static [Word]),
    /// `true` or `false`.
    Truth,
    /// A whole number in a range.
    Count(u64, u64),
    /// A plain number above zero.
    Factor,
    /// A unit of the table of units.
    Unit,
    /// A quantity or an expression.
    Formula(Want),
    /// A word, or a quantity or expression.
    WordOrAmount,
    /// A message to an instrument, with these placeholders allowed.
    Message(&'static [&'static str]),
    /// A list with at least so many and at most so many entries.
    List(&'static Shape, usize, usize),
    /// A map.
    Map(&'static Record),
    /// Different shapes for a scalar, a list or a map.
    Either(&'static Choice),
    /// Maps that are told apart by their leading key.
    Variants(&'static Variants),
}

/// A word with its meaning.
#[derive(Debug)]
pub struct Word {
    /// The word.
    pub word: &'static str,
    /// What it means.
    pub means: &'static str,
}

/// A text of a fixed form.
#[derive(Debug)]
pub struct Grammar {
    /// With its article: `a name`.
    pub what: &'static str,
    /// The form as a regular expression, for the JSON Schema and for people.
    pub pattern: &'static str,
    /// The form in words.
    pub says: &'static str,
    /// Whether a text has the form.
    pub fits: fn(&str) -> bool,
    /// A good one.
    pub example: &'static str,
    /// Code of the problem where it does not fit.
    pub code: &'static str,
}

/// What an expression must yield.
#[derive(Debug, Clone, Copy)]
pub struct Want {
    /// The dimension, or any, or a condition.
    pub yields: Yields,
    /// Whether it is a difference: temperatures then are in K, not in °C.
    pub difference: bool,
    /// Whether only a number with its unit may stand here.
    pub literal: bool,
}

/// What an expression yields.
#[derive(Debug, Clone, Copy)]
pub enum Yields {
    /// A quantity of any dimension; the place decides later.
    Any,
    /// A condition.
    Truth,
    /// A quantity of this dimension.
    Of(&'static Measure),
}

/// A dimension with its name.
#[derive(Debug)]
pub struct Measure {
    /// With its article: `a time`.
    pub name: &'static str,
    /// The dimension.
    pub dimension: Dimension,
    /// A good literal.
    pub example: &'static str,
}

/// Different shapes for a scalar, a list or a map.
#[derive(Debug)]
pub struct Choice {
    /// What a scalar must be.
    pub scalar: Option<&'static Shape>,
    /// What a list must be.
    pub list: Option<&'static Shape>,
    /// What a map must be.
    pub map: Option<&'static Shape>,
}

/// Maps that are told apart by their leading key.
#[derive(Debug)]
pub struct Variants {
    /// Name within the JSON Schema.
    pub name: &'static str,
    /// What it is.
    pub describes: &'static str,
    /// Leading key and record.
    pub forms: &'static [(&'static str, &'static Record)],
}

/// A map: fixed keys, or free names, or both.
#[derive(Debug)]
pub struct Record {
    /// Name within the JSON Schema.
    pub name: &'static str,
    /// What it is.
    pub describes: &'static str,
    /// Fixed keys, in groups so that groups can be shared.
    pub keys: &'static [&'static [Key]],
    /// Free names.
    pub rest: Option<Rest>,
    /// Rules between keys.
    pub rules: &'static [Rule],
}

/// A fixed key.
#[derive(Debug)]
pub struct Key {
    /// The key.
    pub name: &'static str,
    /// What it says.
    pub describes: &'static str,
    /// Whether it must be there.
    pub required: bool,
    /// Its value.
    pub shape: Shape,
    /// A good value, as it is written.
    pub example: &'static str,
}

/// Free names.
#[derive(Debug)]
pub struct Rest {
    /// Form of the names.
    pub key: &'static Grammar,
    /// What they are.
    pub describes: &'static str,
    /// Their values.
    pub value: Shape,
    /// Fewest.
    pub at_least: usize,
    /// Most.
    pub at_most: usize,
}

/// A rule between the keys of one map.
#[derive(Debug)]
pub enum Rule {
    /// Exactly one key in all.
    OneKey,
    /// Exactly one of these keys.
    OneOf(&'static [&'static str]),
    /// At most one of these keys.
    AtMostOneOf(&'static [&'static str]),
    /// At least one of these keys.
    SomeOf(&'static [&'static str]),
    /// The first key needs the second one.
    Needs(&'static str, &'static str),
    /// A limit is written here where one of these keys is present (always, where there are none), and needs its source.
    Source(SourceRule),
    /// The nameplate has what the item's kind needs, and nothing else.
    ByKind,
    /// A map of this form may not stand here; why, and how to mend it.
    Never(fn(&CheckedMap) -> Problem),
    /// Anything else, with its name.
    Check(&'static str, fn(&CheckedMap, &mut Vec<Problem>)),
}

/// What the source of a limit must say.
#[derive(Debug, Clone, Copy)]
pub struct SourceRule {
    /// Keys of which one makes this a limit; empty: always.
    pub when: &'static [&'static str],
    /// Whether standard and edition may come from the file's head.
    pub inherited: bool,
}

impl SourceRule {
    /// Keys that a status demands.
    pub fn demands(&self, status: &str) -> Vec<&'static str> {
        let mut keys = match status {
            "read" => vec!["standard", "edition", "clause"],
            "restated" => vec!["standard", "edition", "clause", "by"],
            "derived" => vec!["standard", "clause"],
            "from memory" => vec!["standard"],
            _ => Vec::new(),
        };
        if self.inherited {
            keys.retain(|k| !matches!(*k, "standard" | "edition"));
        }
        keys
    }
}

impl Key {
    /// A key that must be there.
    pub const fn need(name: &'static str, shape: Shape, example: &'static str, describes: &'static str) -> Self {
        Self {
            name,
            describes,
            required: true,
            shape,
            example,
        }
    }

    /// A key that may be left out.
    pub const fn may(name: &'static str, shape: Shape, example: &'static str, describes: &'static str) -> Self {
        Self {
            name,
            describes,
            required: false,
            shape,
            example,
        }
    }
}

impl Record {
    /// All fixed keys.
    pub fn all_keys(&self) -> impl Iterator<Item = &'static Key> + Clone {
        self.keys.iter().flat_map(|group| group.iter())
    }

    /// A fixed key by its name.
    pub fn key(&self, name: &str) -> Option<&'static Key> {
        self.all_keys().find(|k| k.name == name)
    }
}

impl Want {
    /// An expression of this dimension.
    pub const fn of(measure: &'static Measure) -> Self {
        Self {
            yields: Yields::Of(measure),
            difference: false,
            literal: false,
        }
    }

    /// A number with its unit, of this dimension, and no names.
    pub const fn literal(measure: &'static Measure) -> Self {
        Self {
            yields: Yields::Of(measure),
            difference: false,
            literal: true,
        }
    }

    /// A number with its unit, of any dimension, and no names.
    pub const ANY_LITERAL: Self = Self {
        yields: Yields::Any,
        difference: false,
        literal: true,
    };
    /// An expression of any dimension.
    pub const ANY: Self = Self {
        yields: Yields::Any,
        difference: false,
        literal: false,
    };
    /// A difference of any dimension.
    pub const DIFFERENCE: Self = Self {
        yields: Yields::Any,
        difference: true,
        literal: false,
    };
    /// A difference written as a number with its unit.
    pub const LITERAL_DIFFERENCE: Self = Self {
        yields: Yields::Any,
        difference: true,
        literal: true,
    };
    /// A condition.
    pub const TRUTH: Self = Self {
        yields: Yields::Truth,
        difference: false,
        literal: false,
    };
}

macro_rules! measures {
    ($($name:ident $dimension:ident $text:literal $example:literal;)*) => {
        $(#[doc = $text] pub static $name: Measure = Measure { name: $text, dimension: Dimension::$dimension, example: $example };)*
        /// Every dimension that has a name here.
        pub static MEASURES: &[&Measure] = &[$(&$name),*];
    };
}

measures! {
    RATIO NONE "a ratio or a count" "0.5 %";
    LENGTH LENGTH "a length" "5 m";
    AREA AREA "an area" "6 mm2";
    MASS MASS "a mass" "2 kg";
    TIME TIME "a time" "50 ms";
    CURRENT CURRENT "a current" "6 A";
    TEMPERATURE TEMPERATURE "a temperature" "23 °C";
    FREQUENCY FREQUENCY "a frequency" "1 kHz";
    VOLTAGE VOLTAGE "a voltage" "12 V";
    RESISTANCE RESISTANCE "a resistance" "2740 Ω";
    CAPACITANCE CAPACITANCE "a capacitance" "2.4 nF";
    INDUCTANCE INDUCTANCE "an inductance" "1 mH";
    CHARGE CHARGE "a charge" "1 C";
    POWER POWER "a power" "7 kW";
    ENERGY ENERGY "an energy" "1 kWh";
    FORCE FORCE "a force" "10 N";
}

/// The name of a dimension.
pub fn name_of(dimension: Dimension) -> &'static str {
    MEASURES
        .iter()
        .find(|m| m.dimension == dimension)
        .map_or("a quantity of another kind", |m| m.name)
}

fn segments(text: &str, first: fn(char) -> bool, rest: fn(char) -> bool) -> bool {
    let mut characters = text.chars();
    characters.next().is_some_and(first) && characters.all(rest)
}

fn is_name(text: &str) -> bool {
    segments(
        text,
        |c| c.is_ascii_lowercase(),
        |c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '_',
    )
}

fn is_word(text: &str) -> bool {
    segments(
        text,
        |c| c.is_ascii_lowercase(),
        |c| c.is_ascii_alphanumeric() || c == '_',
    )
}

fn is_key(text: &str) -> bool {
    text.split('.')
        .enumerate()
        .all(|(at, part)| if at == 0 { is_name(part) } else { is_word(part) })
}

/// `root`, `root[conductors]`, and quantities behind dots.
fn is_point(text: &str) -> bool {
    text.split('.')
        .enumerate()
        .all(|(at, part)| match part.split_once('[') {
            None => is_name(part),
            Some((root, inside)) => at == 0 && is_name(root) && inside.strip_suffix(']').is_some_and(is_conductors),
        })
}

fn is_conductors(text: &str) -> bool {
    let is_conductor = |c: &str| {
        matches!(
            c,
            "L" | "N" | "PE" | "L1" | "L2" | "L3" | "CP" | "PP" | "plus" | "minus" | "ac" | "dc"
        )
    };
    let parts: Vec<&str> = text.split('-').collect();
    parts.len() <= 2 && parts.iter().all(|c| is_conductor(c))
}

fn is_step_id(text: &str) -> bool {
    let Some((letters, number)) = text.split_once('-') else {
        return false;
    };
    let digits = number.strip_suffix(|c: char| c.is_ascii_lowercase()).unwrap_or(number);
    (2..=4).contains(&letters.len())
        && letters.chars().all(|c| c.is_ascii_uppercase())
        && (1..=3).contains(&digits.len())
        && digits.chars().all(|c| c.is_ascii_digit())
}

fn is_defect_id(text: &str) -> bool {
    let digits = text.trim_start_matches(|c: char| c.is_ascii_uppercase());
    let letters = text.len() - digits.len();
    let digits = digits.strip_suffix(|c: char| c.is_ascii_lowercase()).unwrap_or(digits);
    (1..=4).contains(&letters) && (1..=3).contains(&digits.len()) && digits.chars().all(|c| c.is_ascii_digit())
}

fn is_date(text: &str) -> bool {
    let parts: Vec<&str> = text.split('-').collect();
    let [year, month, day] = parts[..] else { return false };
    if (year.len(), month.len(), day.len()) != (4, 2, 2) || !text.chars().all(|c| c.is_ascii_digit() || c == '-') {
        return false;
    }
    let number = |part: &str| part.parse::<u32>().unwrap_or(0);
    let leap =
        number(year).is_multiple_of(4) && (!number(year).is_multiple_of(100) || number(year).is_multiple_of(400));
    let last = match number(month) {
        1 | 3 | 5 | 7 | 8 | 10 | 12 => 31,
        4 | 6 | 9 | 11 => 30,
        2 => 28 + u32::from(leap),
        _ => 0,
    };
    (1..=last).contains(&number(day))
}

/// The number of an identifier such as `0x1a0`.
pub(crate) fn identifier_of(text: &str) -> Option<u32> {
    let digits = text.strip_prefix("0x")?;
    let good = (1..=8).contains(&digits.len()) && digits.chars().all(|c| c.is_ascii_hexdigit());
    good.then(|| u32::from_str_radix(digits, 16).ok()).flatten()
}

/// Host and port of `host:port`; an IPv6 host stands in brackets.
pub(crate) fn host_and_port(text: &str) -> Option<(&str, u16)> {
    let (host, port) = text.rsplit_once(':')?;
    let port: u16 = port.parse().ok().filter(|p| *p != 0)?;
    let bracketed = host.strip_prefix('[').and_then(|h| h.strip_suffix(']'));
    let good = match bracketed {
        Some(inside) => inside.parse::<std::net::Ipv6Addr>().is_ok(),
        None => {
            !host.is_empty()
                && host
                    .chars()
                    .all(|c| c.is_ascii_alphanumeric() || matches!(c, '.' | '-' | '_'))
        }
    };
    good.then_some((bracketed.unwrap_or(host), port))
}

macro_rules! grammars {
    ($($name:ident $code:ident $what:literal $pattern:literal $says:literal $fits:expr, $example:literal;)*) => {
        $(#[doc = $what] pub static $name: Grammar = Grammar {
            what: $what, pattern: $pattern, says: $says, fits: $fits, example: $example, code: crate::problem::code::$code,
        };)*
    };
}

grammars! {
    NAME BAD_NAME "a name" "^[a-z][a-z0-9_]*$"
        "small letters, digits and _, a letter first" is_name, "close_delay";
    WORD BAD_NAME "a word" "^[a-z][A-Za-z0-9_]*$"
        "letters, digits and _, a small letter first" is_word, "state_C";
    LIMIT_KEY BAD_NAME "a key of a limit" r"^[a-z][a-z0-9_]*(\.[a-z][A-Za-z0-9_]*)*$"
        "names with dots between them" is_key, "pilot.close_delay";
    POINT BAD_NAME "a point" r"^[a-z][a-z0-9_]*(\[(L|N|PE|L1|L2|L3|CP|PP|plus|minus|ac|dc)(-(L|N|PE|L1|L2|L3|CP|PP|plus|minus|ac|dc))?\])?(\.[a-z][a-z0-9_]*)*$"
        "a name, a conductor or a pair in brackets (L, N, PE, L1, L2, L3, CP, PP, plus, minus, ac, dc), a quantity behind a dot" is_point,
        "ac_output[L-N].voltage";
    STEP_ID BAD_NAME "the id of a step" "^[A-Z]{2,4}-[0-9]{1,3}[a-z]?$"
        "two to four capitals, a hyphen, a number" is_step_id, "WU-19";
    DEFECT_ID BAD_NAME "the id of a defect" "^[A-Z]{1,4}[0-9]{1,3}[a-z]?$"
        "capitals and a number" is_defect_id, "W03";
    ANY_TEXT EMPTY_TEXT "a text" "^.*\\S.*$"
        "anything that is not empty" |t| !t.trim().is_empty(), "1";
    IDENTIFIER BAD_IDENTIFIER "an identifier" "^0x[0-9A-Fa-f]{1,8}$"
        "0x and hexadecimal digits" |t| identifier_of(t).is_some(), "0x1a0";
    WHOLE BAD_NAME "a whole number" "^(0|[1-9][0-9]{0,15})$"
        "digits without a leading zero" |t| t.parse::<i64>().is_ok_and(|n| n >= 0 && n.to_string() == t), "1";
    DATE BAD_DATE "a date" "^[0-9]{4}-[0-9]{2}-[0-9]{2}$"
        "year, month and day of a day that exists" is_date, "2027-06-30";
    ADDRESS BAD_ADDRESS "an address" r"^(\[[0-9A-Fa-f:.]+\]|[A-Za-z0-9._-]+):[0-9]{1,5}$"
        "host, colon, port; an IPv6 host in brackets" |t| host_and_port(t).is_some(), "127.0.0.1:5025";
}
