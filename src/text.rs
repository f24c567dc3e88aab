//! Untrusted text made harmless for a terminal: what an instrument, a file or a person wrote is data, never a command.

/// Replaces control characters (C0, C1, and the marks that turn the direction of writing) by their code in angle brackets.
pub fn harmless(text: &str) -> String {
    text.chars()
        .map(|c| {
            if is_harmful(c) {
                format!("<{:02X}>", u32::from(c))
            } else {
                c.to_string()
            }
        })
        .collect()
}

fn is_harmful(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{200E}' | '\u{200F}' | '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}' | '\u{FEFF}')
}

#[cfg(test)]
mod tests {
    use super::harmless;

    #[test]
    fn an_escape_sequence_cannot_reach_the_terminal() {
        assert_eq!(harmless("a\u{1b}[31mb\u{7}\n"), "a<1B>[31mb<07><0A>");
    }

    #[test]
    fn letters_of_any_script_stay() {
        assert_eq!(harmless("Prüfstand µΩ 充電"), "Prüfstand µΩ 充電");
    }

    #[test]
    fn text_cannot_turn_its_direction() {
        assert_eq!(harmless("pass\u{202e}lliaf"), "pass<202E>lliaf");
    }
}
