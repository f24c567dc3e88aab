//! The driver of an interface to a bus, made from a file of frames: for each signal, and for what is worked out of the frames, the
//! messages that the interface understands. To everything else it is an instrument like any other.

use crate::files::driver::{AccuracyText, ChoiceText, DriverFile, FunctionForm, FunctionText, MeasureText};
use crate::files::frames::{FramePlaces, FramesFile};
use crate::source::{Formula, Sp, Span};
use pilotage_core::frames::{Layout, Sending, Signal};
use pilotage_core::{Expr, Unit};

/// What an interface answers in field 2 of `*IDN?`.
pub const MODEL: &str = "FRAME-INTERFACE";
/// The word of a signal that holds words where no frame came for ten periods.
pub const MISSING: &str = "missing";

/// How exact something is that is worked out of frames.
#[derive(Clone, Copy)]
enum Exact {
    /// A time: as the time stamps.
    Time,
    /// A time by the period of the map.
    Ratio,
    /// A count.
    Count,
}

/// Functions of what is worked out of frames that come: name, message, and how exact it is.
const WORKED_OUT: [(&str, &str, Exact); 8] = [
    ("period", "PERiod?", Exact::Time),
    ("period_ratio", "PERiod:RATio?", Exact::Ratio),
    ("period_min", "PERiod:MINimum?", Exact::Time),
    ("period_max", "PERiod:MAXimum?", Exact::Time),
    ("jitter", "PERiod:JITTer?", Exact::Time),
    ("lost", "COUNt:LOST?", Exact::Count),
    ("faulty", "COUNt:FAULty?", Exact::Count),
    ("silence", "SILence?", Exact::Time),
];

/// The driver of an interface that speaks these frames.
pub fn driver_of(file: &FramesFile) -> DriverFile {
    let maker = Maker { file };
    let at = &file.name.span;
    DriverFile {
        name: file.name.clone(),
        title: Sp {
            value: format!("Interface to a CAN bus, {}", file.title.value),
            span: file.title.span.clone(),
        },
        model: text(MODEL, at),
        deadline: formula("1 s", at),
        errors: text("SYSTem:ERRor?", at),
        errors_with_reading: true,
        start: vec![text("*RST", at), text("*CLS", at)],
        functions: file
            .map
            .frames
            .iter()
            .zip(&file.places)
            .flat_map(|(layout, places)| maker.frame(layout, places))
            .collect(),
        frames: Some(file.map.clone()),
    }
}

struct Maker<'f> {
    file: &'f FramesFile,
}

impl Maker<'_> {
    fn frame(&self, layout: &Layout, places: &FramePlaces) -> Vec<FunctionText> {
        let signals = layout.signals.iter().zip(&places.signals).map(|(signal, at)| {
            let form = match (layout.to_item, signal.words.is_empty()) {
                (true, false) => choose(layout, signal, at),
                (true, true) => amount(layout, signal, at),
                (false, false) => word(layout, signal, at),
                (false, true) => FunctionForm::Measure(value(layout, signal, at)),
            };
            function(&layout.name, &signal.name, form, at)
        });
        let mut all: Vec<FunctionText> = signals.collect();
        let at = &places.frame;
        if layout.to_item {
            all.push(function(&layout.name, "frames", sending(layout, at), at));
        } else {
            let worked_out = WORKED_OUT.iter().map(|(name, ask, exact)| {
                let form = FunctionForm::Measure(self.worked_out(layout, ask, *exact, at));
                function(&layout.name, name, form, at)
            });
            all.extend(worked_out);
        }
        all
    }

    fn worked_out(&self, layout: &Layout, ask: &str, exact: Exact, at: &Span) -> MeasureText {
        let stamps = self.file.time_stamps.as_ref();
        let fixed = match exact {
            Exact::Time => stamps.cloned(),
            Exact::Ratio => stamps.map(|stamps| {
                let period = layout.period.as_secs_f64();
                formula(&format!("({}) / ({period} s)", stamps.expr.text()), at)
            }),
            Exact::Count => Some(formula("0", at)),
        };
        MeasureText {
            unit: text(if matches!(exact, Exact::Time) { "s" } else { "1" }, at),
            ask: text(&format!("{ask} {}", layout.name), at),
            deadline: None,
            aperture: None,
            accuracy: fixed.map(|fixed| AccuracyText {
                fixed: Some(fixed),
                ..NO_ERROR
            }),
        }
    }
}

const NO_ERROR: AccuracyText = AccuracyText {
    of_reading: None,
    of_range: None,
    range: None,
    fixed: None,
    resolution: None,
    coverage: None,
};

/// What the function that moves a signal is called.
pub(crate) fn signal_function(layout: &Layout, signal: &Signal) -> String {
    function_name(&layout.name, &signal.name)
}

fn function_name(frame: &str, name: &str) -> String {
    format!("{frame}_{name}")
}

fn function(frame: &str, name: &str, form: FunctionForm, at: &Span) -> FunctionText {
    FunctionText {
        name: text(&function_name(frame, name), at),
        form,
        span: at.clone(),
    }
}

fn ask(layout: &Layout, signal: &Signal, at: &Span) -> Sp<String> {
    text(&format!("SIGNal? {},{}", layout.name, signal.name), at)
}

fn send(layout: &Layout, signal: &Signal, value: &str, at: &Span) -> Vec<Sp<String>> {
    vec![text(&format!("SIGNal {},{},{value}", layout.name, signal.name), at)]
}

fn choose(layout: &Layout, signal: &Signal, at: &Span) -> FunctionForm {
    let choice = |(_, word): &(i64, String)| {
        let choice = ChoiceText {
            send: send(layout, signal, word, at),
            ask: ask(layout, signal, at),
            answer: text(word, at),
        };
        (text(word, at), choice)
    };
    FunctionForm::Choose(signal.words.iter().map(choice).collect())
}

fn sending(layout: &Layout, at: &Span) -> FunctionForm {
    let choice = |sending: Sending| {
        let choice = ChoiceText {
            send: vec![text(&format!("FRAMes {},{}", layout.name, sending.word()), at)],
            ask: text(&format!("FRAMes? {}", layout.name), at),
            answer: text(sending.word(), at),
        };
        (text(sending.word(), at), choice)
    };
    FunctionForm::Choose(Sending::ALL.into_iter().map(choice).collect())
}

fn amount(layout: &Layout, signal: &Signal, at: &Span) -> FunctionForm {
    let (low, high) = signal.bounds();
    FunctionForm::Amount {
        unit: text(signal.unit.symbol, at),
        between: (quantity(low, signal.unit, at), quantity(high, signal.unit, at)),
        send: send(layout, signal, "{value}", at),
        ask: ask(layout, signal, at),
        confirm_within: difference(signal.factor / 2.0, signal.unit, at),
    }
}

fn word(layout: &Layout, signal: &Signal, at: &Span) -> FunctionForm {
    let words = signal.words.iter().map(|(_, word)| word.as_str()).chain([MISSING]);
    FunctionForm::Word {
        ask: ask(layout, signal, at),
        answers: words.map(|word| (text(word, at), text(word, at))).collect(),
    }
}

/// What the item says is known to one step of its raw number; how true it is, is not the interface's to say.
fn value(layout: &Layout, signal: &Signal, at: &Span) -> MeasureText {
    MeasureText {
        unit: text(signal.unit.symbol, at),
        ask: ask(layout, signal, at),
        deadline: None,
        aperture: None,
        accuracy: Some(AccuracyText {
            resolution: Some(difference(signal.factor, signal.unit, at)),
            ..NO_ERROR
        }),
    }
}

fn text(value: &str, at: &Span) -> Sp<String> {
    Sp {
        value: value.to_owned(),
        span: at.clone(),
    }
}

fn quantity(value: f64, unit: Unit, at: &Span) -> Formula {
    formula(&written(value, unit.symbol), at)
}

/// Differences of temperatures are in K.
fn difference(value: f64, unit: Unit, at: &Span) -> Formula {
    let symbol = if unit.is_affine() { "K" } else { unit.symbol };
    formula(&written(value, symbol), at)
}

fn written(value: f64, symbol: &str) -> String {
    if symbol == Unit::ONE.symbol {
        value.to_string()
    } else {
        format!("{value} {symbol}")
    }
}

fn formula(written: &str, at: &Span) -> Formula {
    Formula {
        expr: Expr::parse(written).expect("a number with a unit of the table can be read"),
        span: at.clone(),
    }
}
