//! Why a step is not a pass, without what its judgements say by themselves: a report that prints both repeats nothing.

use crate::judge;

/// Marks that stand beside the verdicts as they are.
const MARKS: [&str; 8] = [
    judge::UNCERTAINTY_UNKNOWN,
    judge::LIMIT_FROM_MEMORY,
    judge::UNCERTAINTY_TOO_LARGE,
    judge::IN_GUARD_BAND,
    judge::DID_NOT_COME,
    judge::CLAIMED_INCONCLUSIVE,
    judge::TYPED_DIGITS,
    judge::CHOICE_NEEDS_EXACT,
];

const BETWEEN: &str = "; ";

/// What is left of `because` when every judgement (by the title of its limit), every mark and the count of what was cut are
/// taken away. A judgement reads `name = value, title: limit`; its value may have a semicolon of its own.
pub fn beside_judgements<'t>(because: &str, titles: impl IntoIterator<Item = &'t str>) -> Option<String> {
    let mut left = because.to_owned();
    for title in titles {
        while let Some(without) = without_judgement(&left, title) {
            left = without;
        }
    }
    let kept: Vec<&str> = left
        .split(BETWEEN)
        .filter(|part| !part.is_empty() && !is_mark(part) && !is_count_of_more(part))
        .collect();
    (!kept.is_empty()).then(|| joined(&kept))
}

/// A sentence that ends by itself needs no semicolon.
fn joined(parts: &[&str]) -> String {
    parts.iter().fold(String::new(), |text, part| match text.as_str() {
        "" => (*part).to_owned(),
        sentence if sentence.ends_with('.') => format!("{sentence} {part}"),
        _ => format!("{text}{BETWEEN}{part}"),
    })
}

fn without_judgement(text: &str, title: &str) -> Option<String> {
    let titled = text.find(&format!(", {title}: "))?;
    let begins = text[..titled]
        .rmatch_indices(BETWEEN)
        .map(|(at, _)| at + BETWEEN.len())
        .chain([0])
        .find(|begins| text[*begins..titled].contains(" = "))?;
    let limit = titled + title.len();
    let ends = text[limit..]
        .find(BETWEEN)
        .map_or(text.len(), |at| limit + at + BETWEEN.len());
    Some(format!("{}{}", &text[..begins], &text[ends..]))
}

fn is_mark(part: &str) -> bool {
    MARKS.contains(&part) || part.starts_with(judge::NOT_DECIDABLE)
}

fn is_count_of_more(part: &str) -> bool {
    let number = part.strip_prefix("and ").and_then(|rest| rest.strip_suffix(" more"));
    number.is_some_and(|number| number.bytes().all(|byte| byte.is_ascii_digit()))
}

#[cfg(test)]
mod tests {
    use super::beside_judgements;

    #[test]
    fn only_what_no_judgement_says_is_left() {
        let because = "t_x2 = no value (did not come within 30.0 s), pilot.low at most -8 V within 30 s: at most 30 s; \
                       inconclusive by the sequence; The unit waits.; delay = no value (the signal never rises through 80.5 V; it \
                       lies between 18.2 V and 19.4 V), Closing: at most 3 s; not decidable on this bench: t_x2; and 2 more";
        let titles = ["pilot.low at most -8 V within 30 s", "Closing"];
        assert_eq!(beside_judgements(because, titles).as_deref(), Some("The unit waits."));
        assert_eq!(
            beside_judgements("stopped: enclosure open", titles).as_deref(),
            Some("stopped: enclosure open")
        );
        assert_eq!(
            beside_judgements("v = 3 V, Closing: at most 2 V; limit from memory", titles),
            None
        );
    }
}
