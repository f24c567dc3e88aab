//! What a comparator makes of the pilot's pulse: slow edges shift its crossings, so that a vehicle reads another duty than was sent.

use super::walker::{Drive, Hum, Pwm, Segment, Walker};

/// Periods after which nothing is left of what came before a segment.
const SETTLED: f64 = 8.0;

/// How long a comparator at `level_v` sees each settled pulse of a segment high, without its jitter, s. `None` where the pilot
/// does not cross the level both ways.
pub(in super::super) fn high_time_s(segment: &Segment, level_v: f64) -> Option<f64> {
    let Drive::Pwm(pwm) = segment.drive else { return None };
    let steady = Segment {
        drive: Drive::Pwm(Pwm { jitter_s: 0.0, ..pwm }),
        hum: Hum {
            peak_v: 0.0,
            ..segment.hum
        },
        ..*segment
    };
    let settled_s = segment.start_s.max(pwm.epoch_s) + SETTLED * pwm.period_s;
    let mut walker = Walker::seek(&steady, settled_s);
    let mut rise_s = None;
    loop {
        let piece = walker.next_piece();
        if piece.start_s > settled_s + 2.0 * pwm.period_s {
            return None;
        }
        let (before_v, after_v) = (piece.at(piece.start_s, &steady.hum), piece.at(piece.end_s, &steady.hum));
        match rise_s {
            None if before_v < level_v && after_v >= level_v => rise_s = Some(piece.crossing_s(level_v)),
            Some(rise_s) if before_v >= level_v && after_v < level_v => {
                return Some(piece.crossing_s(level_v) - rise_s);
            }
            _ => {}
        }
    }
}
