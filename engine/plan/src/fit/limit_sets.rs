//! Several limit sets for one sequence.

use super::code;
use crate::files::limits::{LimitText, LimitsFile};
use crate::problem::Problem;
use crate::source::Sp;

/// Takes the limits of a further set in, each with its own standard and edition. No key may stand in both: which one was meant
/// could not be told.
pub fn take_in(set: &mut LimitsFile, further: LimitsFile) -> Result<(), Vec<Problem>> {
    let clash = |limit: &LimitText| {
        let known = set.limits.iter().find(|known| known.key.value == limit.key.value)?;
        Some(stands_twice(&limit.key, known))
    };
    let clashes: Vec<Problem> = further.limits.iter().filter_map(clash).collect();
    if !clashes.is_empty() {
        return Err(clashes);
    }
    let (standard, edition) = (further.standard.value, further.edition.value);
    set.limits.extend(further.limits.into_iter().map(|limit| LimitText {
        standard: limit.standard.or_else(|| Some(standard.clone())),
        edition: limit.edition.or_else(|| Some(edition.clone())),
        ..limit
    }));
    set.name.value = format!("{}, {}", set.name.value, further.name.value);
    set.title.value = format!("{}; {}", set.title.value, further.title.value);
    Ok(())
}

fn stands_twice(key: &Sp<String>, known: &LimitText) -> Problem {
    let message = format!("`{}` stands in two of the limit sets", key.value);
    Problem::new(code::NAME_TAKEN, &key.span, message)
        .expected("keys that stand in one set only")
        .got(format!("the same key at {}", known.span.place()))
        .mend("take one of the two sets away, or give the limit another key")
}
