//! `find` in captured voltage and current: the right channels, enough length and rate, and what comes out.

use super::code;
use super::fitter::Fitter;
use super::names::dimension_name;
use crate::files::power::{DistortionTake, InrushTake, PairOf, PowerFind, PowerTake, PowerText, ResponseTake};
use crate::files::sequence::SignalPart;
use crate::problem::Problem;
use crate::program::{CaptureEvent, Find};
use crate::source::{Formula, Sp, Span};
use pilotage_core::power::{HIGHEST_ORDER, Harmonics, Line, USUAL_MAINS_HZ, ripple_length_s, ripple_rate_hz};
use pilotage_core::{Dimension, Quantity};

/// What comes out: the analysis, its dimension, and the unit to print in.
type Fitted = (Find, Dimension, String);
/// The program's own form.
type PowerSpec = PowerFind<String, Quantity, CaptureEvent>;

/// The line may be slower than stated by this share.
const SLOWER: f64 = 0.98;

/// What an analysis demands of its capture.
struct Demand {
    rate_hz: f64,
    length_s: f64,
    /// In words.
    why: String,
}

impl Fitter<'_> {
    /// `find: {name: {power: …}}` and its kin.
    pub(crate) fn power(&mut self, text: &PowerText, span: &Span) -> Option<Fitted> {
        match text {
            PowerFind::Power { of, take } => {
                let of = self.pair(of)?;
                self.demand(whole_cycles, span)?;
                let (dimension, unit) = unit_of_power(*take);
                Some(fitted(PowerFind::Power { of, take: *take }, dimension, unit))
            }
            PowerFind::Efficiency { output, input } => {
                let (output, input) = (self.pair(output), self.pair(input));
                let (output, input) = (output?, input?);
                self.demand(whole_cycles, span)?;
                Some(fitted(PowerFind::Efficiency { output, input }, Dimension::NONE, "%"))
            }
            PowerFind::Harmonic { .. } | PowerFind::Distortion { .. } | PowerFind::RippleOfLine { .. } => {
                self.harmonics(text, span)
            }
            PowerFind::Ripple { of, bandwidth, take } => {
                let (dimension, unit) = self.channel(of)?;
                let hz = self.above_zero(bandwidth, Dimension::FREQUENCY, "the bandwidth of a ripple")?;
                let demand = |_: f64, rate_hz: f64| {
                    Some(Demand {
                        rate_hz: ripple_rate_hz(hz.si()),
                        length_s: ripple_length_s(hz.si(), rate_hz),
                        why: format!("a ripple within {hz}"),
                    })
                };
                self.demand(demand, span)?;
                let find = PowerFind::Ripple {
                    of: of.value.clone(),
                    bandwidth: hz,
                    take: *take,
                };
                Some(fitted(find, dimension, &unit))
            }
            PowerFind::Inrush { of, take, above } => self.inrush(of, *take, above.as_ref()),
            PowerFind::Response { .. } => self.response(text),
        }
    }

    /// What rests on lines of the spectrum.
    fn harmonics(&mut self, text: &PowerText, span: &Span) -> Option<Fitted> {
        let (PowerFind::Harmonic { of, line, .. }
        | PowerFind::Distortion { of, line, .. }
        | PowerFind::RippleOfLine { of, line, .. }) = text
        else {
            return None;
        };
        let (dimension, unit) = self.channel(of)?;
        self.channel_of(line, Dimension::VOLTAGE)?;
        let (of, line) = (of.value.clone(), line.value.clone());
        let (find, highest, dimension, unit) = match text {
            PowerFind::Harmonic { order, grouping, .. } => {
                let grouping = *grouping;
                let order = self.harmonic_order(order)?;
                let highest = order.si() as usize;
                let find = PowerFind::Harmonic {
                    of,
                    line,
                    order,
                    grouping,
                };
                (find, highest, dimension, unit)
            }
            PowerFind::Distortion { take, grouping, .. } => {
                let (take, grouping) = (*take, *grouping);
                let (dimension, unit) = match take {
                    DistortionTake::Thd => (Dimension::NONE, "%".to_owned()),
                    _ => (dimension, unit),
                };
                let find = PowerFind::Distortion {
                    of,
                    line,
                    take,
                    grouping,
                };
                (find, HIGHEST_ORDER, dimension, unit)
            }
            PowerFind::RippleOfLine { take, .. } => {
                let take = *take;
                (PowerFind::RippleOfLine { of, line, take }, 2, dimension, unit)
            }
            _ => return None,
        };
        let demand = |hz: f64, rate_hz: f64| {
            Some(Demand {
                rate_hz: Harmonics::least_rate_hz(highest, hz).max(Line::least_rate_hz(hz)),
                length_s: Harmonics::least_length_s(hz, rate_hz)?,
                why: format!("order {highest} of {hz} Hz"),
            })
        };
        self.demand(demand, span)?;
        Some(fitted(find, dimension, &unit))
    }

    fn inrush(&mut self, of: &Sp<String>, take: InrushTake, above: Option<&Formula>) -> Option<Fitted> {
        let unit = self.channel_of(of, Dimension::CURRENT)?;
        let above = match above {
            Some(above) => Some(self.above_zero(above, Dimension::CURRENT, "the level of an inrush")?),
            None => None,
        };
        let square_time = Dimension::CURRENT.times(Dimension::CURRENT)?.times(Dimension::TIME)?;
        let (dimension, unit) = match take {
            InrushTake::Peak => (Dimension::CURRENT, unit.as_str()),
            InrushTake::TimeAbove => (Dimension::TIME, "ms"),
            InrushTake::SquareTime => (square_time, "A²s"),
        };
        let find = PowerFind::Inrush {
            of: of.value.clone(),
            take,
            above,
        };
        Some(fitted(find, dimension, unit))
    }

    fn response(&mut self, text: &PowerText) -> Option<Fitted> {
        let PowerFind::Response {
            of,
            part,
            change,
            take,
            band,
        } = text
        else {
            return None;
        };
        let (dimension, unit) = self.channel(of)?;
        if !matches!(part, SignalPart::Samples | SignalPart::Envelope) {
            let problem = no_analysis(
                &of.span,
                format!("a response is not told of `{}{}`", of.value, part.suffix()),
            );
            self.problems.add(problem.mend(format!(
                "write `{0}`, or `{0}.envelope` for an alternating one",
                of.value
            )));
            return None;
        }
        let change = self.event(change)?;
        let band = self.above_zero(band, Dimension::NONE, "the band of a response")?;
        let (dimension, unit) = match take {
            ResponseTake::Time => (Dimension::TIME, "ms"),
            _ => (dimension, unit.as_str()),
        };
        let find = PowerFind::Response {
            of: of.value.clone(),
            part: *part,
            change,
            take: *take,
            band,
        };
        Some(fitted(find, dimension, unit))
    }

    /// Voltage and current of the last capture.
    fn pair(&mut self, pair: &PairOf<Sp<String>>) -> Option<PairOf<String>> {
        let voltage = self.channel_of(&pair.voltage, Dimension::VOLTAGE);
        let current = self.channel_of(&pair.current, Dimension::CURRENT);
        voltage.and(current)?;
        Some(PairOf {
            voltage: pair.voltage.value.clone(),
            current: pair.current.value.clone(),
        })
    }

    /// The unit of a channel that must be of a dimension.
    fn channel_of(&mut self, channel: &Sp<String>, wanted: Dimension) -> Option<String> {
        let (dimension, unit) = self.channel(channel)?;
        if dimension != wanted {
            let message = format!("`{}` cannot stand here", channel.value);
            self.problems.add(
                Problem::new(code::DIMENSION, &channel.span, message)
                    .expected(dimension_name(wanted))
                    .got(dimension_name(dimension))
                    .mend("name a captured voltage where a voltage is wanted, and a captured current where a current is wanted"),
            );
        }
        (dimension == wanted).then_some(unit)
    }

    fn above_zero(&mut self, formula: &Formula, dimension: Dimension, what: &str) -> Option<Quantity> {
        let quantity = self.number(formula, dimension, what)?;
        if quantity.si() <= 0.0 {
            let problem = no_analysis(&formula.span, format!("{what} is not above zero"));
            let problem = problem.got(format!("`{}`", formula.expr.text()));
            self.problems.add(problem.mend("write a value above zero"));
        }
        (quantity.si() > 0.0).then_some(quantity)
    }

    fn harmonic_order(&mut self, formula: &Formula) -> Option<Quantity> {
        let order = self.number(formula, Dimension::NONE, "the order of a harmonic")?;
        let is_order = order.si().fract() == 0.0 && (1.0..=HIGHEST_ORDER as f64).contains(&order.si());
        if !is_order {
            let problem = no_analysis(&formula.span, "there is no such harmonic".to_owned())
                .expected(format!("a whole number from 1 to {HIGHEST_ORDER}"))
                .got(format!("`{}`", formula.expr.text()));
            self.problems
                .add(problem.mend("write the order as a whole number, without a unit"));
        }
        is_order.then_some(order)
    }

    /// Refuses a capture that is too short or too slow. What was not captured at all is another problem.
    fn demand(&mut self, of: impl Fn(f64, f64) -> Option<Demand>, span: &Span) -> Option<()> {
        let Some((length_s, rate_hz)) = self.step.capture.as_ref().and_then(|capture| capture.sampling) else {
            return Some(());
        };
        let hz = self.constant("supply_frequency").map_or(USUAL_MAINS_HZ, Quantity::si);
        let Some(demand) = of(hz, rate_hz) else {
            let problem = no_analysis(span, format!("harmonics are not told of a line of {hz} Hz"));
            self.refuse(problem.mend("harmonics want 50 Hz or 60 Hz mains (42.5 Hz to 69 Hz)"));
            return None;
        };
        let (least_s, enough) = (demand.length_s / SLOWER, 1.0 - 1e-9);
        if length_s >= least_s * enough && rate_hz >= demand.rate_hz * enough {
            return Some(());
        }
        let (least_ms, rate_khz) = ((least_s * 1e3).ceil(), (demand.rate_hz / 100.0).ceil() / 10.0);
        let problem = no_analysis(span, format!("the last capture cannot show {}", demand.why))
            .expected(format!("at least {least_ms} ms at {rate_khz} kHz"))
            .got(format!("{} ms at {} kHz", length_s * 1e3, rate_hz / 1e3));
        self.refuse(problem.mend("capture longer, or at a higher rate"));
        None
    }
}

fn no_analysis(span: &Span, message: String) -> Problem {
    Problem::new(code::NO_ANALYSIS, span, message)
}

fn fitted(find: PowerSpec, dimension: Dimension, unit: &str) -> Fitted {
    (Find::Power(find), dimension, unit.to_owned())
}

#[allow(clippy::unnecessary_wraps, reason = "other demands may have none")]
fn whole_cycles(hz: f64, rate_hz: f64) -> Option<Demand> {
    Some(Demand {
        rate_hz: Line::least_rate_hz(hz),
        length_s: Line::least_length_s(hz, rate_hz),
        why: format!("two whole cycles of {hz} Hz"),
    })
}

fn unit_of_power(take: PowerTake) -> (Dimension, &'static str) {
    match take {
        PowerTake::Active => (Dimension::POWER, "W"),
        PowerTake::Apparent => (Dimension::POWER, "VA"),
        PowerTake::NonActive => (Dimension::POWER, "var"),
        PowerTake::Factor | PowerTake::Displacement | PowerTake::Crest => (Dimension::NONE, ""),
        PowerTake::Angle => (Dimension::NONE, "°"),
        PowerTake::Frequency => (Dimension::FREQUENCY, "Hz"),
        PowerTake::Voltage => (Dimension::VOLTAGE, "V"),
        PowerTake::Current => (Dimension::CURRENT, "A"),
    }
}
