//! Samples as bytes: little-endian `i16`, one channel after the other, as a `Captured` event describes them.

use crate::event::{Capture, CapturedChannel};

/// One channel of a capture, read back.
#[derive(Debug, Clone, PartialEq)]
pub struct Samples {
    /// Point, unit, times, scaling.
    pub channel: CapturedChannel,
    /// The samples as they came.
    pub raw: Vec<i16>,
}

impl Samples {
    /// The value of a sample in the channel's unit.
    pub fn value(&self, raw: i16) -> f64 {
        self.channel.offset + self.channel.scale * f64::from(raw)
    }

    /// All values in the channel's unit.
    pub fn values(&self) -> impl Iterator<Item = f64> + '_ {
        self.raw.iter().map(|raw| self.value(*raw))
    }
}

/// The bytes of a capture's file.
pub fn encode(channels: &[Vec<i16>]) -> Vec<u8> {
    let samples = channels.iter().map(Vec::len).sum::<usize>();
    let mut bytes = vec![0; 2 * samples];
    for (pair, sample) in bytes.as_chunks_mut::<2>().0.iter_mut().zip(channels.iter().flatten()) {
        *pair = sample.to_le_bytes();
    }
    bytes
}

/// The channels of a capture's file; says what is wrong where the length does not fit the event.
pub fn decode(capture: &Capture, bytes: &[u8]) -> Result<Vec<Samples>, String> {
    let counts: Option<u64> = capture
        .channels
        .iter()
        .try_fold(0u64, |sum, channel| sum.checked_add(channel.samples));
    let wanted = counts.and_then(|samples| samples.checked_mul(2));
    if wanted != u64::try_from(bytes.len()).ok() {
        let wanted = wanted.map_or_else(|| "more than can be".to_owned(), |bytes| bytes.to_string());
        return Err(format!("{wanted} bytes are described, {} are there", bytes.len()));
    }
    let mut samples = bytes.as_chunks::<2>().0.iter().map(|pair| i16::from_le_bytes(*pair));
    let take = |channel: &CapturedChannel| Samples {
        channel: channel.clone(),
        raw: samples.by_ref().take(channel.samples as usize).collect(),
    };
    Ok(capture.channels.iter().map(take).collect())
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::{decode, encode};
    use crate::event::{Capture, CapturedChannel};
    use pilotage_core::RunTime;
    use proptest::prelude::*;

    fn capture(counts: &[usize]) -> Capture {
        let channel = |samples: &usize| CapturedChannel {
            point: "pilot".to_owned(),
            unit: "V".to_owned(),
            first_sample: RunTime::START,
            interval_s: 1e-5,
            samples: *samples as u64,
            offset: 1.0,
            scale: 0.5,
            gain_standard: None,
            offset_standard: None,
            time_standard: None,
            delay_standard_s: None,
        };
        Capture {
            name: "c".to_owned(),
            step: 0,
            pass: None,
            file: "c.i16".to_owned(),
            sha256: String::new(),
            channels: counts.iter().map(channel).collect(),
            exchanges: Vec::new(),
        }
    }

    proptest! {
        #[test]
        fn written_and_read_back_is_the_same(channels in prop::collection::vec(prop::collection::vec(any::<i16>(), 0..50), 0..4)) {
            let counts: Vec<usize> = channels.iter().map(Vec::len).collect();
            let back = decode(&capture(&counts), &encode(&channels)).unwrap();
            let raw: Vec<Vec<i16>> = back.into_iter().map(|samples| samples.raw).collect();
            prop_assert_eq!(raw, channels);
        }
    }

    #[test]
    fn a_wrong_length_is_said_and_a_value_is_offset_plus_scale_times_sample() {
        assert_eq!(
            decode(&capture(&[3]), &[0; 5]),
            Err("6 bytes are described, 5 are there".to_owned())
        );
        let samples = &decode(&capture(&[1]), &[4, 0]).unwrap()[0];
        assert_eq!(samples.values().collect::<Vec<_>>(), [3.0]);
    }
}
