//! The functions that an expression may call.

/// A function.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Function {
    /// `abs(x)`
    Abs,
    /// `sqrt(x)`
    Sqrt,
    /// `min(a, b)`
    Min,
    /// `max(a, b)`
    Max,
    /// `ln(x)` of a pure number
    Ln,
    /// `exp(x)` of a pure number
    Exp,
    /// `duty_for(current)`: IEC 61851-1 Table A.7
    DutyFor,
    /// `current_for(duty)`: IEC 61851-1 Table A.8
    CurrentFor,
    /// `diode_drop(current)`: 0.70 V + 26 mV · ln(I / 5 mA), ±0.15 V for all currents alike
    DiodeDrop,
}

/// Name, function, number of arguments.
const TABLE: &[(&str, Function, usize)] = &[
    ("abs", Function::Abs, 1),
    ("sqrt", Function::Sqrt, 1),
    ("min", Function::Min, 2),
    ("max", Function::Max, 2),
    ("ln", Function::Ln, 1),
    ("exp", Function::Exp, 1),
    ("duty_for", Function::DutyFor, 1),
    ("current_for", Function::CurrentFor, 1),
    ("diode_drop", Function::DiodeDrop, 1),
];

/// The names of all functions, for help texts and suggestions.
pub fn function_names() -> impl Iterator<Item = &'static str> {
    TABLE.iter().map(|(name, _, _)| *name)
}

impl Function {
    pub(super) fn find(name: &str) -> Option<Self> {
        TABLE
            .iter()
            .find(|(known, _, _)| *known == name)
            .map(|(_, function, _)| *function)
    }

    pub(super) fn name(self) -> &'static str {
        self.row().0
    }

    pub(super) fn arguments(self) -> usize {
        self.row().2
    }

    /// The known name that is nearest to an unknown one, where one is near at all.
    pub(super) fn near(name: &str) -> Option<&'static str> {
        let lower = name.to_lowercase();
        let mut near: Vec<(usize, &str)> = function_names()
            .map(|known| (strsim::osa_distance(known, &lower), known))
            .filter(|(distance, known)| *distance <= known.len() / 3)
            .collect();
        near.sort_unstable();
        near.first().map(|(_, known)| *known)
    }

    fn row(self) -> &'static (&'static str, Function, usize) {
        let mut rows = TABLE.iter();
        rows.find(|(_, function, _)| *function == self)
            .expect("the table has a row for every function")
    }
}
