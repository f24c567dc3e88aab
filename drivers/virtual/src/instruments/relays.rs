//! Relays of the bench's boxes, and how long they take.

use std::time::Duration;

/// Time from a command to the contacts' moving.
const OPERATE: Duration = Duration::from_millis(5);
/// Time in which contacts settle, during which the box is busy.
pub(super) const SETTLE: Duration = Duration::from_millis(15);

/// How long an order takes after which contacts settle for a while, or none move.
pub(super) fn takes(settles: Duration) -> Duration {
    if settles.is_zero() {
        Duration::from_millis(1)
    } else {
        OPERATE
    }
}
