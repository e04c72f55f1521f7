//! What is printed, made harmless to whatever prints it.

/// The text with every character that could drive a terminal, or turn the direction of what follows, written as an escape:
/// `\u001b`. Names come from files, and a file may hold anything. In JSON these are the escapes of the format itself, so
/// that what is read back is what was there.
pub fn harmless(text: String) -> String {
    if !text.chars().any(acts) {
        return text;
    }
    let mut harmless = String::with_capacity(text.len() + 16);
    for c in text.chars() {
        if acts(c) {
            harmless.push_str(&format!("\\u{:04x}", u32::from(c)));
        } else {
            harmless.push(c);
        }
    }
    harmless
}

fn acts(c: char) -> bool {
    let turns = matches!(c, '\u{061c}' | '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    c != '\n' && (c.is_control() || turns)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_acts_on_a_terminal_is_written_out_and_nothing_else_changes() {
        assert_eq!(
            harmless("a\u{1b}[31mb\u{9b}c\u{7f}\rd\te\n".into()),
            "a\\u001b[31mb\\u009bc\\u007f\\u000dd\\u0009e\n"
        );
        assert_eq!(harmless("\u{202e}evil".into()), "\\u202eevil");
        assert_eq!(harmless("Γ ≤ 1, − é 日\n".into()), "Γ ≤ 1, − é 日\n");
    }

    #[test]
    fn in_json_it_reads_back_as_it_was() {
        let json = serde_json::to_string("\u{9b}\u{202e}\u{7f}").unwrap();
        assert_eq!(serde_json::from_str::<String>(&harmless(json)).unwrap(), "\u{9b}\u{202e}\u{7f}");
    }
}
