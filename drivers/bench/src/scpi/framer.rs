//! Bytes in, whole messages out. A message ends with LF; a block of declared length may contain LF.
//!
//! Bounded: a line of at most 1 MiB, a block of at most 64 MiB. The space for a block is made once, as large as its header
//! says, and the link reads straight into it. Blocks are hashed while they come, in the time that the link takes anyway.

use crate::scpi::reply::block_length;
use sha2::{Digest, Sha256};

/// Longest text of a message without its blocks, in bytes.
pub const LONGEST_LINE: usize = 1 << 20;
/// Longest block, in bytes.
pub const LONGEST_BLOCK: usize = 64 << 20;
/// Room offered to a link where no block is expected, in bytes.
const ROOM: usize = 4096;
/// Largest buffer that is kept for the next block, in bytes.
const KEPT: usize = 16 << 20;

/// SHA-256 of a block.
pub type BlockHash = [u8; 32];

pub(crate) const INDEFINITE_MEND: &str =
    "a block of indefinite length (#0) has no end on this link: set the instrument to definite-length blocks";

/// Where a link puts the bytes that it receives.
pub trait Sink: Send {
    /// Room for at least one byte.
    fn room(&mut self) -> &mut [u8];
    /// So many bytes were put at the start of the room.
    fn filled(&mut self, count: usize);
}

impl dyn Sink + '_ {
    /// Copies bytes in.
    pub fn put(&mut self, mut bytes: &[u8]) {
        while !bytes.is_empty() {
            let room = self.room();
            let count = room.len().min(bytes.len());
            room[..count].copy_from_slice(&bytes[..count]);
            self.filled(count);
            bytes = &bytes[count..];
        }
    }
}

/// Why the bytes cannot become a message. The framer stays so until it is reset.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum FrameError {
    /// More text than a line may have.
    #[error("a line longer than 1 MiB")]
    LineTooLong,
    /// A header that declares more than a block may have.
    #[error("a block longer than 64 MiB")]
    BlockTooLong,
    /// A header whose length is not in digits.
    #[error("a block whose header has no length")]
    BadHeader,
    /// `#0`, whose end only links with an end mark of their own can tell.
    #[error("a block of indefinite length (#0)")]
    Indefinite,
}

impl FrameError {
    /// How to mend it.
    pub fn mend(self) -> &'static str {
        match self {
            Self::LineTooLong => "the instrument never ends its line: check its terminator (LF) and the query",
            Self::BlockTooLong => "ask for fewer points",
            Self::BadHeader => "the reply is damaged: check cable and link",
            Self::Indefinite => INDEFINITE_MEND,
        }
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum State {
    /// At the start of an element.
    Start,
    /// Inside an element.
    Inside,
    /// Inside a string that this quote ends.
    Quoted(u8),
    /// After `#`.
    Hash,
    /// So many digits of a block's length still to come.
    Header(u8, usize),
    /// So many bytes of a block still to come.
    Block(usize),
}

/// Collects bytes until a message is whole.
#[derive(Debug)]
pub struct Framer {
    buffer: Vec<u8>,
    filled: usize,
    scanned: usize,
    line: usize,
    /// Whether the last byte of text was a CR. The last byte of a block is data, whatever it is: before it stands a digit of
    /// the header, so this is false.
    after_cr: bool,
    state: State,
    failed: Option<FrameError>,
    /// Hash of the block that is coming.
    hashing: Sha256,
    /// Hashes of the blocks of this message, in order.
    hashes: Vec<BlockHash>,
    /// Hashes of the blocks of the message that was taken last.
    taken: Vec<BlockHash>,
    /// A buffer for the next block: fresh memory costs more than the transfer.
    spare: Vec<u8>,
}

impl Default for Framer {
    fn default() -> Self {
        Self {
            buffer: Vec::new(),
            filled: 0,
            scanned: 0,
            line: 0,
            after_cr: false,
            state: State::Start,
            failed: None,
            hashing: Sha256::new(),
            hashes: Vec::new(),
            taken: Vec::new(),
            spare: Vec::new(),
        }
    }
}

impl Framer {
    /// Forgets everything.
    pub fn reset(&mut self) {
        *self = Self {
            spare: std::mem::take(&mut self.spare),
            ..Self::default()
        };
    }

    /// Takes back the buffer of a message that is not needed any more, for the next block.
    pub fn recycle(&mut self, buffer: Vec<u8>) {
        if (self.spare.capacity() + 1..=KEPT).contains(&buffer.capacity()) {
            self.spare = buffer;
        }
    }

    /// Hashes of the blocks of the message that was taken last, in order.
    pub fn block_hashes(&self) -> &[BlockHash] {
        &self.taken
    }

    /// What has come and is not yet a message.
    pub fn partial(&self) -> &[u8] {
        &self.buffer[..self.filled]
    }

    /// How many bytes of a block are still to come, where one has begun.
    pub fn block_missing(&self) -> Option<usize> {
        match self.state {
            State::Block(missing) => Some(missing),
            _ => None,
        }
    }

    /// The next whole message, without its terminator; `None` where more bytes are needed.
    pub fn message(&mut self) -> Result<Option<Vec<u8>>, FrameError> {
        if let Some(error) = self.failed {
            return Err(error);
        }
        match self.scan() {
            Ok(true) => Ok(Some(self.take())),
            Ok(false) => Ok(None),
            Err(error) => {
                self.failed = Some(error);
                Err(error)
            }
        }
    }

    fn scan(&mut self) -> Result<bool, FrameError> {
        while self.scanned < self.filled {
            if let State::Block(missing) = self.state {
                self.skip_block(missing);
                continue;
            }
            let byte = self.buffer[self.scanned];
            self.scanned += 1;
            self.line += 1;
            if byte == b'\n' {
                return Ok(true);
            }
            if self.line > LONGEST_LINE {
                return Err(FrameError::LineTooLong);
            }
            self.after_cr = byte == b'\r';
            let before = self.state;
            self.state = self.next(byte)?;
            match (before, self.state) {
                (_, State::Block(missing)) => self.make_room(missing),
                (State::Header(1, _), State::Inside) => self.hashes.push(Sha256::digest(b"").into()),
                _ => {}
            }
        }
        Ok(false)
    }

    fn skip_block(&mut self, missing: usize) {
        let count = missing.min(self.filled - self.scanned);
        self.hashing.update(&self.buffer[self.scanned..self.scanned + count]);
        self.scanned += count;
        self.state = if count == missing {
            self.hashes.push(self.hashing.finalize_reset().into());
            State::Inside
        } else {
            State::Block(missing - count)
        };
    }

    fn next(&self, byte: u8) -> Result<State, FrameError> {
        Ok(match (self.state, byte) {
            (State::Start, b'#') => State::Hash,
            (State::Start | State::Inside, b'"' | b'\'') => State::Quoted(byte),
            (State::Start, b' ' | b'\t') | (State::Start | State::Inside | State::Hash, b',' | b';') => State::Start,
            (State::Quoted(quote), _) if byte == quote => State::Inside,
            (State::Quoted(quote), _) => State::Quoted(quote),
            (State::Hash, b'0') => return Err(FrameError::Indefinite),
            (State::Hash, b'1'..=b'9') => State::Header(byte - b'0', usize::from(byte - b'0')),
            (State::Header(left, digits), b'0'..=b'9') if left > 1 => State::Header(left - 1, digits),
            (State::Header(_, digits), b'0'..=b'9') => self.header_ends(digits)?,
            (State::Header(..), _) => return Err(FrameError::BadHeader),
            _ => State::Inside,
        })
    }

    fn header_ends(&self, digits: usize) -> Result<State, FrameError> {
        let text = &self.buffer[self.scanned - digits..self.scanned];
        match block_length(text) {
            Some(0) => Ok(State::Inside),
            Some(length) if length <= LONGEST_BLOCK => Ok(State::Block(length)),
            Some(_) => Err(FrameError::BlockTooLong),
            None => Err(FrameError::BadHeader),
        }
    }

    /// Makes one buffer that holds the whole block.
    fn make_room(&mut self, block: usize) {
        let whole = self.scanned + block + ROOM;
        if self.buffer.len() < whole {
            let mut larger = if self.spare.capacity() < whole {
                // Zeroed memory straight from the system.
                vec![0; whole]
            } else {
                std::mem::take(&mut self.spare)
            };
            larger.resize(whole, 0);
            larger[..self.filled].copy_from_slice(&self.buffer[..self.filled]);
            self.buffer = larger;
        }
    }

    /// A small message is copied out and the buffer kept; a message with a large block takes the buffer along.
    fn take(&mut self) -> Vec<u8> {
        let end = self.scanned;
        let text_end = end - 1 - usize::from(self.after_cr);
        let rest = self.filled - end;
        let (message, buffer) = if end <= ROOM {
            let message = self.buffer[..text_end].to_vec();
            self.buffer.copy_within(end..self.filled, 0);
            (message, std::mem::take(&mut self.buffer))
        } else {
            let rest = self.buffer[end..self.filled].to_vec();
            let mut message = std::mem::replace(&mut self.buffer, rest);
            message.truncate(text_end);
            (message, std::mem::take(&mut self.buffer))
        };
        *self = Self {
            buffer,
            filled: rest,
            taken: std::mem::take(&mut self.hashes),
            spare: std::mem::take(&mut self.spare),
            ..Self::default()
        };
        message
    }
}

impl Sink for Framer {
    fn room(&mut self) -> &mut [u8] {
        if self.buffer.len() == self.filled {
            self.buffer.resize(self.filled + ROOM, 0);
        }
        &mut self.buffer[self.filled..]
    }

    fn filled(&mut self, count: usize) {
        self.filled += count;
    }
}
