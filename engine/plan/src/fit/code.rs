//! The codes of fitting, one table for messages and documentation.

use crate::problem::Code;

macro_rules! codes {
    ($($name:ident = $id:literal $title:literal;)*) => {
        $(#[doc = $title] pub const $name: &str = $id;)*
        /// Every code that fitting can give, in order.
        pub static FITTING: &[Code] = &[$(Code { id: $id, title: $title }),*];
    };
}

codes! {
    OTHER_ITEM = "F001" "the sequence tests another kind of item";
    NO_POINTS = "F002" "this kind of item cannot be fitted yet";
    UNKNOWN_POINT = "F003" "an unknown point";
    POINT_USE = "F004" "a point that cannot be used in this way";
    POINT_WORD = "F005" "a word that the point does not know";
    UNKNOWN_NAME = "F006" "an unknown name in an expression";
    DIMENSION = "F007" "a value of the wrong dimension";
    LATE_VALUE = "F008" "a value that must be known before the run depends on a reading";
    NO_NUMBER = "F009" "an expression that gives no number";
    UNKNOWN_LIMIT = "F010" "a limit that the chosen set does not have";
    NOT_ACCEPTED = "F011" "an item that the sequence does not accept";
    NAMEPLATE = "F012" "a nameplate that lacks or garbles a value";
    SUPPLY_TOO_HIGH = "F013" "a supply above the nameplate";
    LOAD_TOO_HIGH = "F014" "a load, or a commanded output, far above the nameplate";
    BENCH_NAME = "F015" "a name in the bench file that leads nowhere";
    BENCH_FORM = "F016" "a function of the driver that does not fit the point";
    NOT_SERVED = "F017" "a point that keeps people from harm is not served";
    BARE_MAINS = "F018" "a mains point without a differential or isolated connection";
    NO_CAUTION = "F019" "energising without a caution";
    NO_ENCLOSURE = "F020" "energising without the interlock of the enclosure";
    NO_STOP_PROOF = "F021" "energising without a proven hard-wired stop";
    NO_PROTECTION = "F022" "energising behind an unknown protective device";
    HANDS = "F023" "hands at the item while it is not isolated";
    NOT_ISOLATED = "F024" "a dead measurement while the item is not isolated";
    HOT = "F025" "a long hold under load without a watch on the temperature";
    DEAD_PLACE = "F026" "a proof of death that cannot be given";
    NO_CAPTURE = "F027" "an analysis without its capture or sweep";
    INSIDE_CAPTURE = "F028" "an act that cannot be done while a capture runs";
    TIME_RANGE = "F029" "a time outside its range";
    SPACING = "F030" "values that cannot be spaced in this way";
    BOUNDS_TURNED = "F031" "bounds the wrong way round";
    NOT_CHECKING = "F032" "the bench's own resistor read while the item is on it";
    NAME_TAKEN = "F033" "a name that is taken";
    NOT_A_CONDITION = "F034" "a condition where a quantity is wanted, or the other way round";
    PHASES = "F035" "phases that cannot be fitted yet";
    UNWATCHED = "F036" "a protection that the bench cannot watch";
    SUPPLY_UNSET = "F037" "the supply switched on before its voltage was set";
    WORD_READING = "F038" "a reading in words where a number is wanted";
    NOTHING_LEFT = "F039" "a sequence of which nothing can be tested here";
    STILL_ASKING = "F040" "a proof of death while the pilot load asks for energy";
    NO_WIDTH = "F041" "an uncertainty that is not above zero";
    NO_ANALYSIS = "F042" "an analysis that the capture cannot give";
    NO_PICTURE = "F043" "a picture that the step cannot give";
    OTHER_LINK = "F044" "a link that the driver cannot use";
    NO_REST = "F045" "a point that make safe cannot set to what it wants";
    INSULATION_LIVE = "F046" "an insulation instrument on what was not proven dead";
    SOURCES_MEET = "F047" "sources that must not meet";
    UNKNOWN_FILE = "F048" "a file that is named and not found";
    OTHER_CHAPTER = "F049" "a chapter for another kind of item";
    STEP_TWICE = "F050" "the same chapter, or the same step from two files";
    ABANDONED = "F051" "a bus that is left on when the program hangs";
}
