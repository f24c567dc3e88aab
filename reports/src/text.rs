//! Texts made safe for XML 1.0 and for spreadsheets. What an instrument, a file or a person wrote is data.

/// A text without the characters that XML 1.0 forbids (section 2.2): each becomes U+FFFD with its code behind it. The end of
/// a CDATA section is broken up, since the writer puts texts into one.
pub fn for_xml(text: &str) -> String {
    let allowed: String = text
        .chars()
        .map(|c| {
            if is_xml(c) {
                c.to_string()
            } else {
                format!("\u{FFFD}<{:02X}>", u32::from(c))
            }
        })
        .collect();
    allowed.replace("]]>", "]] >")
}

/// Whether XML 1.0 allows a character. U+FFFE and U+FFFF are forbidden; tabs and line ends are allowed.
fn is_xml(c: char) -> bool {
    matches!(c, '\t' | '\n' | '\r' | '\u{20}'..='\u{D7FF}' | '\u{E000}'..='\u{FFFD}' | '\u{10000}'..)
        && !matches!(c, '\u{7F}'..='\u{9F}')
}

/// A cell of a CSV file (RFC 4180) that no spreadsheet takes for a formula: a text that begins with `=`, `+`, `-`, `@` (also
/// behind blanks), a tab or a carriage return gets an apostrophe in front. Line ends become blanks, so that a row stays a line.
pub fn for_cell(text: &str) -> String {
    let line: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    let guarded = if text.starts_with(['\t', '\r']) || line.trim_start().starts_with(['=', '+', '-', '@']) {
        format!("'{line}")
    } else {
        line
    };
    if guarded.contains([',', '"', ';', '\'']) {
        format!("\"{}\"", guarded.replace('"', "\"\""))
    } else {
        guarded
    }
}

/// A cell with a number. It may begin with a minus sign: it is written by this program, from a number.
pub fn for_number(number: Option<f64>) -> String {
    number.map(|number| number.to_string()).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn xml_text_holds_only_allowed_characters(text in any::<String>()) {
            let safe = for_xml(&text);
            prop_assert!(safe.chars().all(is_xml));
            prop_assert!(!safe.contains("]]>"));
        }

        #[test]
        fn no_cell_begins_like_a_formula(text in any::<String>()) {
            let cell = for_cell(&text);
            let inner = cell.strip_prefix('"').unwrap_or(&cell);
            prop_assert!(!inner.starts_with(['=', '+', '-', '@', '\t', '\r']));
            prop_assert!(!cell.contains('\n'));
        }
    }

    #[test]
    fn control_characters_are_named() {
        assert_eq!(for_xml("a\u{1b}b\u{FFFF}"), "a\u{FFFD}<1B>b\u{FFFD}<FFFF>");
        assert_eq!(for_xml("x]]>y"), "x]] >y");
    }

    #[test]
    fn a_formula_becomes_a_text() {
        assert_eq!(for_cell("\n=1+1"), "\"' =1+1\"");
        assert_eq!(for_cell("=HYPERLINK(\"x\")"), "\"'=HYPERLINK(\"\"x\"\")\"");
    }
}
