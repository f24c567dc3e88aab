//! How a duty cycle says a current, and the drop of the vehicle's diode.
//!
//! IEC 61851-1:2017 Table A.7 (what a wall unit may send) and Table A.8 (how a vehicle reads it), as restated in several
//! charge-controller manuals. At 85 % the two branches disagree (51 A and 52.5 A); the lower current is taken, so currents
//! between them are sent as 85 %.

use crate::measured::NoValue;

/// A value on a curve, and the slope of the curve there, in coherent SI units.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OnCurve {
    /// The value.
    pub value: f64,
    /// The slope; zero on a flat part.
    pub slope: f64,
}

/// Room for the last digits of arithmetic before a bound.
const LAST_DIGITS: f64 = 1e-9;

/// Amperes for each unit of duty on the lower branch.
const LOW_SLOPE_A: f64 = 60.0;
/// Amperes for each unit of duty on the upper branch.
const HIGH_SLOPE_A: f64 = 250.0;
/// Where the upper branch would reach zero current.
const HIGH_START: f64 = 0.64;

/// The duty (a ratio) that offers a current in ampere. Below 6 A there is none; above 80 A it stays at 96 %.
pub fn duty_for(current_a: f64) -> Result<OnCurve, NoValue> {
    if current_a.is_nan() {
        return Err(NoValue::NotANumber);
    }
    if below(current_a, 6.0) {
        return Err(NoValue::Missing(
            "no duty offers less than 6 A (IEC 61851-1 Table A.7)".to_owned(),
        ));
    }
    Ok(if !below(51.0, current_a) {
        OnCurve {
            value: current_a / LOW_SLOPE_A,
            slope: 1.0 / LOW_SLOPE_A,
        }
    } else if below(current_a, 52.5) {
        OnCurve {
            value: 0.85,
            slope: 0.0,
        }
    } else if current_a < 80.0 {
        OnCurve {
            value: (current_a / 2.5 + 64.0) / 100.0,
            slope: 1.0 / HIGH_SLOPE_A,
        }
    } else {
        OnCurve {
            value: 0.96,
            slope: 0.0,
        }
    })
}

/// The current in ampere that a duty (a ratio) offers, as a vehicle reads it. 3 to 7 % asks for digital communication;
/// the bands around it, below 8 % and above 97 %, offer nothing.
pub fn current_for(duty: f64) -> Result<OnCurve, NoValue> {
    if duty.is_nan() {
        return Err(NoValue::NotANumber);
    }
    if below(duty, 0.08) {
        return Err(NoValue::Missing(no_offer(duty).to_owned()));
    }
    if below(0.97, duty) {
        return Err(NoValue::Missing(
            "a duty above 97 % offers no current (IEC 61851-1 Table A.8)".to_owned(),
        ));
    }
    Ok(if duty < 0.1 {
        OnCurve { value: 6.0, slope: 0.0 }
    } else if !below(0.85, duty) {
        OnCurve {
            value: duty * LOW_SLOPE_A,
            slope: LOW_SLOPE_A,
        }
    } else if duty < 0.96 {
        OnCurve {
            value: (duty - HIGH_START) * HIGH_SLOPE_A,
            slope: HIGH_SLOPE_A,
        }
    } else {
        OnCurve {
            value: 80.0,
            slope: 0.0,
        }
    })
}

/// How far a diode of a pilot may lie from the law at any current, in volt: 0.55 to 0.85 V at 5 mA, as engineering notes
/// restate the parts of IEC 61851-1 Annex A. One diode keeps its distance, so it cancels in a difference of two drops.
pub const DIODE_SPREAD_V: f64 = 0.15;

/// The forward drop in volt of the diode in the vehicle at a current in ampere: 0.70 V at 5 mA, 26 mV for each factor e.
pub fn diode_drop(current_a: f64) -> Result<OnCurve, NoValue> {
    if current_a.is_nan() || current_a <= 0.0 {
        return Err(NoValue::NotANumber);
    }
    Ok(OnCurve {
        value: 0.70 + 0.026 * libm::log(current_a / 0.005),
        slope: 0.026 / current_a,
    })
}

fn no_offer(duty: f64) -> &'static str {
    if below(duty, 0.03) {
        "a duty below 3 % allows no charging (IEC 61851-1 Table A.8)"
    } else if duty <= 0.07 {
        "a duty from 3 to 7 % asks for digital communication (IEC 61851-1 Table A.8)"
    } else {
        "a duty between 7 and 8 % is not allowed (IEC 61851-1 Table A.8)"
    }
}

fn below(value: f64, bound: f64) -> bool {
    value < bound - LAST_DIGITS * bound.abs()
}
