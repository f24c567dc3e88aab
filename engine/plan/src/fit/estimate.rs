//! How long a program takes, without waiting for persons. A rule of thumb that never looks at a clock.

use super::names;
use super::services::Services;
use crate::program::{Act, ActKind, ProveDeadSpec, Step};
use std::time::Duration;

/// An exchange with its read-back.
const ORDER: Duration = Duration::from_millis(50);
/// A proof reads the reference four times: AC and DC, before and after.
const REFERENCE_READS: u32 = 4;
/// A reading whose driver names no aperture.
const READ: Duration = Duration::from_millis(100);
/// Fetching and looking at a capture.
const FETCH: Duration = Duration::from_millis(200);

/// The length of a step.
pub(crate) fn estimate(step: &Step, services: &Services<'_>) -> Duration {
    step.acts.iter().map(|act| length(act, services)).sum()
}

/// The length of an act.
pub(super) fn length(act: &Act, services: &Services<'_>) -> Duration {
    match &act.kind {
        ActKind::Quiet(_) | ActKind::Energise(_) => ORDER,
        // Different instruments read at the same time; the slowest counts.
        ActKind::Read(specs) => specs
            .iter()
            .map(|spec| read(&spec.point, services))
            .max()
            .unwrap_or(READ),
        ActKind::Capture(capture) => capture.length + FETCH,
        ActKind::Find(_) | ActKind::Judge(_) | ActKind::Ask(_) => Duration::ZERO,
        // What is waited for mostly comes early.
        ActKind::WaitFor(wait) => wait.every.max(wait.deadline / 10),
        ActKind::MustNot(must_not) => must_not.length,
        ActKind::Hold(length) => *length,
        ActKind::Settle(settle) => settle.dwell + (settle.deadline.saturating_sub(settle.dwell)) / 4,
        ActKind::Isolate(isolate) => {
            let orders = u32::try_from(isolate.off.len()).unwrap_or(u32::MAX);
            ORDER * orders
                + isolate
                    .prove
                    .iter()
                    .map(|proof| prove(proof, services))
                    .sum::<Duration>()
        }
        ActKind::ProveDead(spec) => prove(spec, services),
    }
}

fn read(point: &str, services: &Services<'_>) -> Duration {
    aperture(point, services).map_or(READ, |aperture| aperture + ORDER)
}

/// How long a measurement of a point looks, where its driver says it.
pub(super) fn aperture(point: &str, services: &Services<'_>) -> Option<Duration> {
    let (_, measure) = services.measure(point)?;
    let length = names::constant(measure.aperture.as_ref()?).ok()?;
    Duration::try_from_secs_f64(length.si()).ok()
}

fn prove(spec: &ProveDeadSpec, services: &Services<'_>) -> Duration {
    let reference = read("reference.voltage", services) * REFERENCE_READS;
    let pairs = spec.pairs.iter().map(|pair| {
        read(&format!("{}[{pair}].voltage", spec.at), services)
            + read(&format!("{}[{pair}].dc_voltage", spec.at), services)
    });
    // Burden and reference are switched on and off.
    reference + pairs.sum::<Duration>() + ORDER * 6
}
