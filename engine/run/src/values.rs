//! Readings by name, as formulas and judgements look them up.

use pilotage_core::{Contribution, Datum, Dimension, Expr, Measured, NoValue, Quantity, Uncertainty};
use pilotage_evidence::event::Reading;
use std::collections::BTreeMap;

/// A reading that is in the journal, as formulas and judgements see it: without its exchanges.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Known {
    /// Sequence number of its event.
    pub(crate) seq: u64,
    /// The reading.
    pub(crate) reading: Reading,
}

impl Known {
    /// The value, or why there is none.
    pub(crate) fn datum(&self) -> Datum {
        datum_of(&self.reading)
    }
}

/// The value of a reading, or why there is none.
pub(crate) fn datum_of(reading: &Reading) -> Datum {
    match (&reading.value, &reading.no_value) {
        (Some(measured), None) => Ok(measured.clone()),
        (_, Some(reason)) => Err(reason.clone()),
        (None, None) => Err(missing("the point answers in words")),
    }
}

/// All readings and constants that may be named now.
#[derive(Debug, Clone, Default)]
pub(crate) struct Values {
    readings: BTreeMap<String, Known>,
    pass: BTreeMap<String, Quantity>,
    constants: BTreeMap<String, Quantity>,
}

impl Values {
    pub(crate) fn new(constants: &BTreeMap<String, Quantity>) -> Self {
        Self {
            constants: constants.clone(),
            ..Self::default()
        }
    }

    /// The values of `for_each` and sweep names in this pass.
    pub(crate) fn enter_pass(&mut self, constants: &BTreeMap<String, Quantity>) {
        self.pass.clone_from(constants);
    }

    /// The values of `for_each` and sweep names now.
    pub(crate) fn pass(&self) -> &BTreeMap<String, Quantity> {
        &self.pass
    }

    /// A new reading replaces the older one of its name, also where it has no value.
    pub(crate) fn insert(&mut self, known: Known) {
        self.readings.insert(known.reading.name.clone(), known);
    }

    /// The reading of a name.
    pub(crate) fn reading(&self, name: &str) -> Option<&Known> {
        self.readings.get(name)
    }

    /// A constant of this pass, a reading, or a constant of the program, in this order.
    pub(crate) fn datum(&self, name: &str) -> Option<Datum> {
        let constant = |of: &BTreeMap<String, Quantity>| of.get(name).map(|value| Ok(Measured::exact(*value)));
        constant(&self.pass)
            .or_else(|| self.readings.get(name).map(Known::datum))
            .or_else(|| constant(&self.constants))
    }

    /// Which readings go into an expression: name and sequence number.
    pub(crate) fn from(&self, expr: &Expr) -> BTreeMap<String, u64> {
        let names = expr.names();
        let is_reading = |name: &str| !self.pass.contains_key(name);
        names
            .into_iter()
            .filter(|name| is_reading(name))
            .filter_map(|name| Some((name.to_owned(), self.readings.get(name)?.seq)))
            .collect()
    }

    /// Which constants go into an expression.
    pub(crate) fn constants(&self, expr: &Expr) -> BTreeMap<String, Quantity> {
        let names = expr.names();
        let constant = |name: &str| match (self.pass.get(name), self.readings.contains_key(name)) {
            (Some(value), _) => Some(*value),
            (None, true) => None,
            (None, false) => self.constants.get(name).copied(),
        };
        names
            .into_iter()
            .filter_map(|name| Some((name.to_owned(), constant(name)?)))
            .collect()
    }
}

/// √3: a rectangular distribution of half width a has the standard uncertainty a/√3 (JCGM 100, 4.3.7).
const SQRT_3: f64 = 1.732_050_807_568_877_2;

/// A quantity that lies somewhere between two values: the middle, with a rectangular contribution.
pub(crate) fn interval(low_si: f64, high_si: f64, dimension: Dimension, source: &str) -> Datum {
    let half_width = (high_si - low_si) / 2.0;
    Ok(Measured {
        value: Quantity::new(low_si + half_width, dimension)?,
        uncertainty: Uncertainty::Known(vec![Contribution {
            source: source.to_owned(),
            standard: half_width.abs() / SQRT_3,
            degrees_of_freedom: None,
        }]),
    })
}

/// The reason of a reading that was never taken.
pub(crate) fn missing(why: impl Into<String>) -> NoValue {
    NoValue::Missing(why.into())
}

#[cfg(test)]
mod tests {
    use super::{Known, Values, interval};
    use pilotage_core::{Datum, Dimension, Measured, NoValue, Quantity, RunTime, Uncertainty};
    use pilotage_evidence::event::Reading;
    use std::collections::BTreeMap;

    #[test]
    fn a_polled_time_is_the_middle_of_its_interval() {
        let time = interval(0.2, 0.3, Dimension::TIME, "looks").expect("finite");
        assert!((time.value.si() - 0.25).abs() < 1e-12);
        let Uncertainty::Known(terms) = time.uncertainty else {
            panic!("an interval has a known uncertainty");
        };
        // JCGM 100, 4.3.7: u = a/√3 with a = 50 ms.
        assert!((terms[0].standard - 0.028_867_513).abs() < 1e-8);
    }

    #[test]
    fn an_endless_interval_has_no_value() {
        assert_eq!(
            interval(0.0, f64::INFINITY, Dimension::TIME, "looks"),
            Err(NoValue::Overflow)
        );
        assert_eq!(
            interval(f64::NAN, 1.0, Dimension::TIME, "looks"),
            Err(NoValue::NotANumber)
        );
    }

    #[test]
    fn a_reading_without_value_hides_the_older_one() {
        let mut values = Values::new(&BTreeMap::new());
        values.insert(known(3, Quantity::new(1.0, Dimension::VOLTAGE).map(Measured::exact)));
        values.insert(known(9, Err(NoValue::Overload)));
        assert_eq!(values.datum("v"), Some(Err(NoValue::Overload)));
        assert_eq!(values.reading("v").map(|known| known.seq), Some(9));
    }

    fn known(seq: u64, datum: Datum) -> Known {
        let reading = Reading {
            name: "v".to_owned(),
            step: 0,
            pass: None,
            point: String::new(),
            value: datum.clone().ok(),
            no_value: datum.err(),
            word: None,
            unit: "V".to_owned(),
            taken: (RunTime::START, RunTime::START),
            exchanges: Vec::new(),
            formula: None,
            from: BTreeMap::new(),
            constants: BTreeMap::new(),
            variables: BTreeMap::new(),
            moments: Vec::new(),
        };
        Known { seq, reading }
    }
}
