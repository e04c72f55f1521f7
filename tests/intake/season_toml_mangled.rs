//! Whatever a `season.toml` holds, the reader answers with a season or an error, and never panics.

use daylight::season::parse::parse;
use daylight::season::template::SEASON;
use proptest::prelude::*;

/// The template with its examples put to work, so that every reader is reached.
fn full_template() -> String {
    let bare = |line: &'static str| match line.strip_prefix('#') {
        Some(prose) if prose.is_empty() || prose.starts_with(' ') => "",
        Some(example) => example,
        None => line,
    };
    SEASON.lines().map(bare).collect::<Vec<_>>().join("\n")
}

/// Reads the text and writes its error out: neither may panic, and a place lies within the text.
fn read_and_render(text: &str) {
    if let Err(error) = parse(text, "season.toml") {
        assert!(!error.problems().is_empty());
        assert!(!error.to_string().is_empty());
        let lines = text.matches('\n').count() + 1;
        let within = |line: usize| (1..=lines).contains(&line);
        assert!(error.problems().iter().all(|p| p.position().is_none_or(|at| within(at.line()) && at.column() >= 1)));
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_text_makes_the_reader_panic(text in any::<String>()) {
        read_and_render(&text);
    }

    #[test]
    fn no_text_of_the_format_s_own_marks_makes_the_reader_panic(
        text in "([a-z_]{1,4}|\\[\\[?|\\]\\]?|=|\\{|\\}|,|\"|'|\n|\r\n|\t|[0-9.]{1,3}|inf|band|source|name|é|日| ){0,40}"
    ) {
        read_and_render(&text);
    }

    #[test]
    fn no_mangled_template_makes_the_reader_panic(
        cuts in prop::collection::vec((any::<prop::sample::Index>(), 0usize..30), 0..6),
        inserts in prop::collection::vec((any::<prop::sample::Index>(), "\\PC{0,6}|\n|\\[\\[|= ?\"|[0-9]{1,20}|-"), 0..6),
    ) {
        let mut text: Vec<char> = full_template().chars().collect();
        for (at, length) in cuts {
            let from = at.index(text.len());
            let to = (from + length).min(text.len());
            text.drain(from..to);
        }
        for (at, insert) in inserts {
            let from = at.index(text.len());
            text.splice(from..from, insert.chars());
        }
        read_and_render(&text.into_iter().collect::<String>());
    }
}
