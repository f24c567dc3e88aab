//! A driver: how one kind of instrument serves points in SCPI, with its accuracy.

use crate::source::{Formula, Sp, Span};
use pilotage_core::frames::Map;

/// `pilotage: driver/1`
#[derive(Debug, Clone, PartialEq)]
pub struct DriverFile {
    /// `name`, by which benches refer to it.
    pub name: Sp<String>,
    /// `title`
    pub title: Sp<String>,
    /// `identity.model`: what field 2 of `*IDN?` must contain.
    pub model: Sp<String>,
    /// `deadline` for an ordinary exchange.
    pub deadline: Formula,
    /// `errors`: the query that empties the error queue, e.g. `SYSTem:ERRor?`.
    pub errors: Sp<String>,
    /// `errors_with_reading`: whether that query may stand in the message of a reading.
    pub errors_with_reading: bool,
    /// `start`: messages sent once after `*IDN?` and `*CLS`.
    pub start: Vec<Sp<String>>,
    /// `functions`, in order.
    pub functions: Vec<FunctionText>,
    /// The frames that it was made from, where it is the driver of an interface to a bus.
    pub frames: Option<Map>,
}

/// One function of an instrument.
#[derive(Debug, Clone, PartialEq)]
pub struct FunctionText {
    /// Its name.
    pub name: Sp<String>,
    /// What it does.
    pub form: FunctionForm,
    /// Where it stands.
    pub span: Span,
}

/// What a function does. Texts may contain `{channel}`, and where said `{value}`.
#[derive(Debug, Clone, PartialEq)]
pub enum FunctionForm {
    /// `choose: {word: {send: […], confirm: {ask, answer}}}`: a selector.
    Choose(Vec<(Sp<String>, ChoiceText)>),
    /// `amount: {unit, between: [low, high], send: […], confirm: {ask, within}}`: a set point.
    Amount {
        /// Unit of `{value}`.
        unit: Sp<String>,
        /// Lowest and highest value.
        between: (Formula, Formula),
        /// What is sent.
        send: Vec<Sp<String>>,
        /// Query that reads the set point back.
        ask: Sp<String>,
        /// Largest difference between set and read back.
        confirm_within: Formula,
    },
    /// `measure: {unit, ask, accuracy, …}`: a number.
    Measure(MeasureText),
    /// `word: {ask, answers: {reply: word}}`: a word.
    Word {
        /// The query.
        ask: Sp<String>,
        /// Replies and the words they stand for.
        answers: Vec<(Sp<String>, Sp<String>)>,
    },
    /// `capture: {…}`: samples.
    Capture(CaptureText),
}

/// One position of a selector.
#[derive(Debug, Clone, PartialEq)]
pub struct ChoiceText {
    /// What is sent.
    pub send: Vec<Sp<String>>,
    /// Query that reads it back.
    pub ask: Sp<String>,
    /// The reply that confirms it.
    pub answer: Sp<String>,
}

/// A number that can be asked for.
#[derive(Debug, Clone, PartialEq)]
pub struct MeasureText {
    /// Unit of the reply.
    pub unit: Sp<String>,
    /// The query.
    pub ask: Sp<String>,
    /// Deadline where it differs from the driver's.
    pub deadline: Option<Formula>,
    /// Time over which the instrument averages, before the reply.
    pub aperture: Option<Formula>,
    /// `accuracy`, or why it is unknown.
    pub accuracy: Option<AccuracyText>,
}

/// Accuracy as makers print it: limits of error, taken as rectangular (a / √3) unless a coverage factor is given.
#[derive(Debug, Clone, PartialEq)]
pub struct AccuracyText {
    /// `of_reading`: a ratio.
    pub of_reading: Option<Formula>,
    /// `of_range`: a ratio.
    pub of_range: Option<Formula>,
    /// `range`: full scale.
    pub range: Option<Formula>,
    /// `fixed`: a value.
    pub fixed: Option<Formula>,
    /// `resolution`: a value; its half is a rectangular limit.
    pub resolution: Option<Formula>,
    /// `coverage`: factor k of the printed figures, where they are expanded uncertainties.
    pub coverage: Option<f64>,
}

/// A waveform capture: definite-length blocks of 16-bit samples.
#[derive(Debug, Clone, PartialEq)]
pub struct CaptureText {
    /// Unit of the samples after scaling.
    pub unit: Sp<String>,
    /// `arm`: messages that set rate `{rate}` and points `{points}` and arm it at once.
    pub arm: Vec<Sp<String>>,
    /// `finished`: query that answers `1` when the capture is complete.
    pub finished: Sp<String>,
    /// `scaling`: query for channel `{channel}` that answers `offset,scale`.
    pub scaling: Sp<String>,
    /// `fetch`: query for channel `{channel}` that answers a block of little-endian `i16`.
    pub fetch: Sp<String>,
    /// Highest rate, samples a second.
    pub highest_rate: Formula,
    /// Most points a channel.
    pub most_points: u64,
    /// Gain accuracy, relative limit of error.
    pub gain: Formula,
    /// Offset accuracy, limit of error.
    pub offset: Formula,
    /// Time base, relative limit of error.
    pub time_base: Formula,
    /// How much later or earlier than the common moment of sampling a channel may show what happened, limit of error.
    pub delay: Formula,
}
