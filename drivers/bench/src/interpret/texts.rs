//! Placeholders, joined messages, numbers as text.

use pilotage_core::Unit;

/// Joins commands to one program message (IEEE 488.2, 7.3.2; SCPI-99 volume 1, 6.2.4): after `;` a leading `:` goes back to
/// the root of the command tree, which common commands need not.
pub fn joined<'a>(commands: impl IntoIterator<Item = &'a str>) -> String {
    let mut out = String::new();
    for command in commands {
        if !out.is_empty() {
            out.push(';');
            if !command.starts_with([':', '*']) {
                out.push(':');
            }
        }
        out.push_str(command);
    }
    out
}

/// Whether a text may be sent: printable ASCII only, so that no line end makes two messages of it.
pub fn sendable(text: &str) -> bool {
    !text.trim().is_empty() && text.bytes().all(|byte| (b' '..=b'~').contains(&byte))
}

/// Whether a channel may stand in a message: nothing that ends an argument or a command.
pub fn channel_sendable(channel: &str) -> bool {
    let allowed = |c: char| c.is_ascii_alphanumeric() || "_.:-!".contains(c);
    !channel.is_empty() && channel.chars().all(allowed)
}

/// The first `{…}` of a text that is not among `known`.
pub fn unknown_placeholder<'a>(text: &'a str, known: &[&str]) -> Option<&'a str> {
    let mut rest = text;
    while let Some(start) = rest.find('{') {
        let end = rest[start..].find('}').map_or(rest.len(), |end| start + end + 1);
        let placeholder = &rest[start..end];
        if !known.contains(&placeholder) {
            return Some(placeholder);
        }
        rest = &rest[end..];
    }
    None
}

/// The shortest decimal of a coherent SI value in a unit that is read back as the same value.
#[allow(clippy::float_cmp)] // The very same binary number is what is looked for.
pub fn decimal(si: f64, unit: Unit) -> String {
    let number = unit.from_si(si);
    let same = |short: &f64| unit.to_si(*short) == si || *short == number;
    let short = (0..=16)
        .filter_map(|digits| format!("{number:.digits$e}").parse::<f64>().ok())
        .find(same);
    plain(short.unwrap_or(number))
}

/// A number as NR1, NR2 or, where it is very large or small, NR3.
pub fn plain(number: f64) -> String {
    if number == 0.0 {
        "0".to_owned()
    } else if (1e-4..1e9).contains(&number.abs()) {
        format!("{number}")
    } else {
        format!("{number:E}")
    }
}

/// Whether a query is SCPI's own for the operation condition register, in any of its forms.
pub fn asks_operation_condition(query: &str) -> bool {
    let upper = query.trim_start_matches(':').to_ascii_uppercase();
    let nodes: Vec<&str> = upper.split(':').collect();
    let is = |node: &str, short: &str, long: &str| node == short || node == long;
    matches!(nodes.as_slice(), [a, b, c]
        if is(a, "STAT", "STATUS") && is(b, "OPER", "OPERATION") && is(c, "COND?", "CONDITION?"))
}
