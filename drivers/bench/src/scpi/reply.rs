//! A whole reply taken apart: response units by `;`, elements by `,` (IEEE 488.2, 8.4), strings and blocks respected.

use crate::scpi::Refused;
use crate::scpi::number::Number;
use std::borrow::Cow;

/// One element of a reply, not yet interpreted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Element<'a> {
    /// Numbers, words, codes: anything without quotes, blanks around it removed.
    Plain(&'a str),
    /// A string, its doubled quotes made single (IEEE 488.2, 8.7.8).
    Quoted(Cow<'a, str>),
    /// The bytes of a block (IEEE 488.2, 8.7.9).
    Block(&'a [u8]),
}

/// A whole reply.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reply<'a> {
    units: Vec<Vec<Element<'a>>>,
    raw: &'a [u8],
}

impl<'a> Reply<'a> {
    /// Takes a message apart. An LF at its end is allowed, and needed after a block of indefinite length.
    pub fn parse(message: &'a [u8]) -> Result<Self, Refused> {
        let mut cursor = Cursor { bytes: message, at: 0 };
        let mut units = vec![vec![cursor.element()?]];
        while let Some(separator) = cursor.separator()? {
            let element = cursor.element()?;
            if separator == b';' {
                units.push(Vec::new());
            }
            units.last_mut().expect("there is always a unit").push(element);
        }
        Ok(Self { units, raw: message })
    }

    /// The response units, each with its elements.
    pub fn units(&self) -> &[Vec<Element<'a>>] {
        &self.units
    }

    /// The reply without its last response unit.
    pub(crate) fn without_last(&self) -> Self {
        let mut reply = self.clone();
        reply.units.pop();
        reply
    }

    /// Whether any element is a block.
    pub fn has_block(&self) -> bool {
        self.units
            .iter()
            .flatten()
            .any(|element| matches!(element, Element::Block(_)))
    }

    /// The elements of a reply to one query.
    pub fn list(&self) -> Result<&[Element<'a>], Refused> {
        match self.units.as_slice() {
            [unit] => Ok(unit),
            _ => Err(self.refuse(
                "the reply to one query",
                "several replies came: send one query in a message",
            )),
        }
    }

    /// The only element of a reply.
    pub fn single(&self) -> Result<&Element<'a>, Refused> {
        match self.list()? {
            [element] => Ok(element),
            _ => Err(self.refuse(
                "one value",
                "a list came: ask for one value, or a comma is used as decimal mark (set the instrument to a point)",
            )),
        }
    }

    /// A reply that is one number.
    pub fn number(&self) -> Result<Number, Refused> {
        self.single()?.number()
    }

    /// A reply that is a list of exactly so many finite numbers.
    pub fn numbers(&self, count: usize) -> Result<Vec<f64>, Refused> {
        let wanted = format!("{count} finite numbers");
        let list = self.list()?;
        let numbers: Vec<f64> = list
            .iter()
            .map_while(|element| element.number().ok()?.value())
            .collect();
        if list.len() == count && numbers.len() == count {
            return Ok(numbers);
        }
        Err(self.refuse(&wanted, "check the query against the instrument's manual"))
    }

    /// A reply that is one block.
    pub fn block(&self) -> Result<&'a [u8], Refused> {
        match self.single()? {
            Element::Block(bytes) => Ok(bytes),
            _ => Err(self.refuse(
                "a block (#, digits, bytes)",
                "switch the instrument to binary transfer in `arm`",
            )),
        }
    }

    /// A reply that is one word, a code or a string, as text.
    pub fn word(&self) -> Result<&str, Refused> {
        match self.single()? {
            Element::Plain(text) => Ok(text),
            Element::Quoted(text) => Ok(text),
            Element::Block(_) => Err(self.refuse("a word", "a block came: check the query")),
        }
    }

    pub(crate) fn refuse(&self, expected: &str, mend: &str) -> Refused {
        Refused {
            expected: expected.to_owned(),
            got: super::text::shortened(self.raw),
            mend: mend.to_owned(),
        }
    }
}

impl Element<'_> {
    /// The number that it is.
    pub fn number(&self) -> Result<Number, Refused> {
        match self {
            Element::Plain(text) => Number::parse(text),
            Element::Quoted(text) => Err(Refused::new("a number", text, "a string came: check the query")),
            Element::Block(_) => Err(Refused::new("a number", "a block", "check the query")),
        }
    }
}

/// The number that a reply is, as a function that can be passed.
pub(crate) fn one_number(reply: &Reply<'_>) -> Result<Number, Refused> {
    reply.number()
}

struct Cursor<'a> {
    bytes: &'a [u8],
    at: usize,
}

impl<'a> Cursor<'a> {
    fn peek(&self) -> Option<u8> {
        self.bytes.get(self.at).copied()
    }

    fn refuse(&self, expected: &str, mend: &str) -> Refused {
        Refused {
            expected: expected.to_owned(),
            got: format!("{} (from byte {})", super::text::shortened(self.bytes), self.at),
            mend: mend.to_owned(),
        }
    }

    fn skip_blanks(&mut self) {
        while matches!(self.peek(), Some(b' ' | b'\t')) {
            self.at += 1;
        }
    }

    /// `,` or `;`, or `None` at the end of the message.
    fn separator(&mut self) -> Result<Option<u8>, Refused> {
        self.skip_blanks();
        match &self.bytes[self.at..] {
            [] | [b'\n'] | [b'\r', b'\n'] => Ok(None),
            [separator @ (b',' | b';'), ..] => {
                self.at += 1;
                Ok(Some(*separator))
            }
            _ => Err(self.refuse(
                "a separator (`,` or `;`) or the end of the reply",
                "the reply is malformed",
            )),
        }
    }

    fn element(&mut self) -> Result<Element<'a>, Refused> {
        self.skip_blanks();
        match (self.peek(), self.bytes.get(self.at + 1)) {
            (Some(quote @ (b'"' | b'\'')), _) => self.quoted(quote),
            (Some(b'#'), Some(b'0')) => self.indefinite(),
            (Some(b'#'), Some(b'1'..=b'9')) => self.definite(),
            _ => self.plain(),
        }
    }

    fn plain(&mut self) -> Result<Element<'a>, Refused> {
        let rest = &self.bytes[self.at..];
        let length = rest
            .iter()
            .position(|byte| b",;\r\n\"'".contains(byte))
            .unwrap_or(rest.len());
        let text = str::from_utf8(&rest[..length])
            .unwrap_or_default()
            .trim_end_matches([' ', '\t']);
        if text.is_empty() || !text.bytes().all(|byte| (b' '..=b'~').contains(&byte)) {
            return Err(self.refuse(
                "a value in printable ASCII",
                "the reply is empty or damaged: check cable and link",
            ));
        }
        self.at += length;
        Ok(Element::Plain(text))
    }

    fn quoted(&mut self, quote: u8) -> Result<Element<'a>, Refused> {
        let start = self.at + 1;
        let mut end = start;
        let mut doubled = false;
        loop {
            match (self.bytes.get(end), self.bytes.get(end + 1)) {
                (None, _) => return Err(self.refuse("a closing quote", "the string is cut: check the link")),
                (Some(byte), Some(next)) if *byte == quote && *next == quote => {
                    doubled = true;
                    end += 2;
                }
                (Some(byte), _) if *byte == quote => break,
                _ => end += 1,
            }
        }
        let Ok(inner) = str::from_utf8(&self.bytes[start..end]) else {
            return Err(self.refuse("a string in ASCII", "the reply is damaged: check cable and link"));
        };
        self.at = end + 1;
        Ok(Element::Quoted(if doubled {
            Cow::Owned(undouble(inner, quote))
        } else {
            Cow::Borrowed(inner)
        }))
    }

    fn definite(&mut self) -> Result<Element<'a>, Refused> {
        let header = self.at + 2;
        let start = header + usize::from(self.bytes[self.at + 1] - b'0');
        let length = self.bytes.get(header..start).and_then(block_length);
        let end = length.and_then(|length| start.checked_add(length));
        match end.and_then(|end| Some((end, self.bytes.get(start..end)?))) {
            Some((end, block)) => {
                self.at = end;
                Ok(Element::Block(block))
            }
            None => Err(self.refuse(
                "a block as long as its header says",
                "the block is cut or its header is wrong",
            )),
        }
    }

    fn indefinite(&mut self) -> Result<Element<'a>, Refused> {
        let start = self.at + 2;
        match self.bytes[start..].strip_suffix(b"\n") {
            Some(block) => {
                self.at = self.bytes.len() - 1;
                Ok(Element::Block(block))
            }
            None => Err(self.refuse(
                "a block of indefinite length with its terminator",
                super::framer::INDEFINITE_MEND,
            )),
        }
    }
}

/// The length that the digits of a block's header state; `None` where they are not all digits.
pub(crate) fn block_length(digits: &[u8]) -> Option<usize> {
    let plain = !digits.is_empty() && digits.iter().all(u8::is_ascii_digit);
    plain.then(|| str::from_utf8(digits).ok()?.parse().ok()).flatten()
}

fn undouble(inner: &str, quote: u8) -> String {
    let one = char::from(quote).to_string();
    inner.replace(&one.repeat(2), &one)
}

/// The samples of a block: 16 bits each, the low byte first.
pub fn samples(block: &[u8]) -> Vec<i16> {
    block
        .as_chunks()
        .0
        .iter()
        .map(|pair| i16::from_le_bytes(*pair))
        .collect()
}
