//! `inspect` of sampled voltage and current: power, and harmonic currents as bars against their limits.

use super::{Row, Samples, against};
use crate::args::Inspect;
use crate::failure::Failure;
use crate::verbs::Context;
use pilotage_core::power::{Grouping, HIGHEST_ORDER, Harmonics, Lack, Line, Power, PowerAnalysis};
use pilotage_core::{Dimension, Tolerance};
use pilotage_plan::files::limits::LimitsFile;
use serde_json::{Value as Json, json};

/// The set that is taken where none is named.
pub(super) const LIMITS: &str = "iec_61000_3_2_class_a";
/// Up to this current a phase the limits of that set hold (IEC 61000-3-2, clause 1).
const CLASS_A_UP_TO_A: f64 = 16.0;
/// What counts as a harmonic current (IEC 61000-4-7, 5.5.1).
const GROUPING: Grouping = Grouping::Group;
/// Characters from nothing to the limit, and at most.
const BAR: (usize, usize) = (40, 50);
/// Orders below this share of their limit are not shown one by one.
const SMALL: f64 = 0.01;

/// Everything that is told.
struct Told {
    line: Line,
    power: Power,
    cycles: usize,
    harmonics: Result<Harmonics, Lack>,
    orders: Vec<Order>,
}

/// One harmonic current against its limit.
struct Order {
    number: usize,
    amps: f64,
    limit_a: f64,
    row: Row,
}

/// Shows power, distortion and harmonics. Exit code 1 where a harmonic is outside its limit.
pub(super) fn perform(
    samples: &Samples,
    amps: &[f64],
    limits: &LimitsFile,
    arguments: &Inspect,
    context: &mut Context<'_>,
) -> Result<u8, Failure> {
    let told = told(samples, amps, limits).map_err(|lack| {
        Failure::usage(
            format!("{}: {lack}", arguments.path.display()),
            "give time, volts and amps over whole cycles of the line; for a pilot give time and volts only",
        )
    })?;
    if context.json {
        context.output.json(&json!({
            "file": arguments.path, "power": told.as_json(),
            "judged": told.orders.iter().map(|order| order.row.as_json()).collect::<Vec<_>>(),
        }));
    } else {
        for line in told.words(limits, !arguments.no_drawing) {
            context.output.data(&line);
        }
    }
    Ok(u8::from(told.outside() > 0))
}

fn told(samples: &Samples, amps: &[f64], limits: &LimitsFile) -> Result<Told, Lack> {
    let line = Line::of(&samples.volts, samples.interval_s)?;
    let analysis = PowerAnalysis::of(&samples.volts, amps, &line)?;
    let harmonics = Harmonics::of(amps, &line);
    let power = *analysis.whole();
    let holds = limits.name.value != LIMITS || power.amps.rms <= CLASS_A_UP_TO_A;
    let orders = match &harmonics {
        Ok(harmonics) if holds => judged(harmonics, limits),
        _ => Vec::new(),
    };
    Ok(Told {
        line,
        power,
        cycles: analysis.cycles(),
        harmonics,
        orders,
    })
}

/// Each order that the set limits in A, as far as the rate shows them.
fn judged(harmonics: &Harmonics, limits: &LimitsFile) -> Vec<Order> {
    let one = |order: usize| {
        let ending = format!(".harmonic_{order}");
        let limit = limits.limits.iter().find(|limit| limit.key.value.ends_with(&ending))?;
        let amps = harmonics.order(order, GROUPING).ok()?.value;
        let row = against(limit, amps, None)?;
        let Tolerance::AtMost(bound) = &row.tolerance else {
            return None;
        };
        let limit_a = (bound.dimension() == Dimension::CURRENT).then_some(bound.si())?;
        Some(Order {
            number: order,
            amps,
            limit_a,
            row,
        })
    };
    (2..=HIGHEST_ORDER).filter_map(one).collect()
}

impl Told {
    fn outside(&self) -> usize {
        self.orders.iter().filter(|order| order.row.is_outside()).count()
    }

    fn as_json(&self) -> Json {
        let power = &self.power;
        let distortion = |grouping| {
            let found = self.harmonics.as_ref().ok()?.distortion(grouping).ok()?;
            Some(found.value)
        };
        let orders: Vec<Json> = self
            .each_order()
            .map(|(order, amps)| json!({"order": order, "amps": amps}))
            .collect();
        json!({
            "frequency": self.line.frequency_hz(), "cycles": self.cycles,
            "voltage": power.volts.rms, "current": power.amps.rms, "crest": power.amps.crest(),
            "active": power.active_w, "apparent": power.apparent_va(), "non_active": power.non_active_var(),
            "factor": power.factor(), "displacement": power.displacement(), "thd": distortion(Grouping::Line),
            "thds": distortion(Grouping::Subgroup), "thdg": distortion(Grouping::Group), "harmonics": orders,
        })
    }

    /// Every order that the rate shows, with its amps.
    fn each_order(&self) -> impl Iterator<Item = (usize, f64)> + '_ {
        let found = |order| Some((order, self.harmonics.as_ref().ok()?.order(order, GROUPING).ok()?.value));
        (1..=HIGHEST_ORDER).filter_map(found)
    }

    fn words(&self, limits: &LimitsFile, drawing: bool) -> Vec<String> {
        let power = &self.power;
        let row =
            |label: &str, value: f64, unit: &str| format!("  {label:<16} {value:.4} {unit}").trim_end().to_owned();
        let mut lines = vec![
            format!(
                "  {:<16} {:.4} Hz, {} whole cycles",
                "line",
                self.line.frequency_hz(),
                self.cycles
            ),
            row("voltage", power.volts.rms, "V"),
            row("current", power.amps.rms, "A"),
            row("crest factor", power.amps.crest(), "of the current"),
            row("active", power.active_w, "W"),
            row("apparent", power.apparent_va(), "VA"),
            row("non-active", power.non_active_var(), "var"),
            row("power factor", power.factor(), ""),
            row("displacement", power.displacement(), ""),
        ];
        let distortion = |grouping| self.harmonics.as_ref().map_err(Clone::clone)?.distortion(grouping);
        for (label, grouping) in [
            ("THD", Grouping::Line),
            ("THDS", Grouping::Subgroup),
            ("THDG", Grouping::Group),
        ] {
            lines.push(match distortion(grouping) {
                Ok(found) => row(label, found.value * 100.0, "%"),
                Err(lack) => format!("  {label:<16} no value: {lack}"),
            });
        }
        lines.extend(self.bars(limits, drawing));
        lines
    }

    fn bars(&self, limits: &LimitsFile, drawing: bool) -> Vec<String> {
        let title = crate::text::harmless(&limits.title.value);
        if self.orders.is_empty() {
            let why = if limits.name.value == LIMITS && self.power.amps.rms > CLASS_A_UP_TO_A {
                "its limits hold up to 16 A"
            } else if self.harmonics.is_ok() {
                "it limits no harmonic in A that this rate shows"
            } else {
                "no harmonics"
            };
            return vec![String::new(), format!("  {title}: nothing judged, {why}")];
        }
        let shown = |order: &&Order| order.amps >= SMALL * order.limit_a;
        let small = self.orders.len() - self.orders.iter().filter(shown).count();
        let outside = match self.outside() {
            0 => format!("{} orders inside", self.orders.len()),
            count => format!("{count} of {} orders OUTSIDE", self.orders.len()),
        };
        let mut lines = vec![
            String::new(),
            format!("  {title}: {outside} (harmonic groups, IEC 61000-4-7)"),
        ];
        lines.extend(self.orders.iter().filter(shown).map(|order| order.line(drawing)));
        if small > 0 {
            lines.push(format!("  {small} orders are below 1 % of their limits"));
        }
        lines
    }
}

impl Order {
    fn line(&self, drawing: bool) -> String {
        let word = if self.row.is_outside() { "OUTSIDE" } else { "inside" };
        let bar = if drawing {
            bar(self.amps / self.limit_a)
        } else {
            String::new()
        };
        format!(
            "  {word:<8} {:>2}  {:>8.4} A of {:>6.4} A  {bar}",
            self.number, self.amps, self.limit_a
        )
        .trim_end()
        .to_owned()
    }
}

/// The share of the limit, with a stroke at the limit itself.
fn bar(share: f64) -> String {
    let (limit, most) = BAR;
    let long = ((share * limit as f64).round() as usize).min(most);
    let at = |column: usize| match (column < long, column == limit) {
        (_, true) => '│',
        (true, false) => '█',
        (false, false) => ' ',
    };
    (0..=long.max(limit)).map(at).collect()
}
