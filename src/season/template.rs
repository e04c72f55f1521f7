//! What `daylight start` writes: a `season.toml` that teaches its own format, and an empty log.

/// A new season's `season.toml`.
///
/// Prose stands after `# `; an example line stands right after its `#`, so that taking the `#` away
/// puts it to work. It parses as it stands, and with every example put to work.
pub const SEASON: &str = include_str!("template/season.toml");

/// A new season's `readings.csv`: the header line alone.
pub const READINGS: &str = "session,antenna,band,meter,quantity,value,unit,mounting,order,when,note,mark\n";

/// The template with every example put to work.
#[cfg(test)]
pub(crate) fn with_examples() -> String {
    let bare = |line: &str| match line.strip_prefix('#') {
        Some(rest) if !rest.is_empty() && !rest.starts_with(' ') => rest.to_string(),
        _ => line.to_string(),
    };
    SEASON.lines().map(bare).collect::<Vec<_>>().join("\n")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::season::config::{Config, Repeats, Shape};
    use crate::season::parse::parse;

    #[test]
    fn the_template_as_it_stands_is_a_season_of_defaults() {
        let config = parse(SEASON, "season.toml").unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(config, Config { title: "A season of hand-held antennas".into(), ..Config::default() });
    }

    #[test]
    fn the_template_with_every_example_uncommented_is_a_season_too() {
        let config = parse(&with_examples(), "season.toml").unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(config.reference.as_deref(), Some("heron"));
        assert_eq!(config.repeats, Repeats::LeftOn);
        let names: Vec<_> = config.bands.iter().map(|b| b.name.as_str()).collect();
        assert_eq!(names, ["2 m", "70 cm"]);
        assert_eq!((config.meters.len(), config.antennas.len(), config.loads.len()), (4, 3, 2));
        assert_eq!(config.quantities.len(), 1);
        assert!(config.sources.iter().any(|s| matches!(s.shape, Shape::Vector { .. })));
        assert!(config.matters.len() >= 3 && config.weights.len() >= 2 && config.leave_out.len() == 2);
        assert!(config.sweeps.len() == 1 && config.sweep_pattern.is_some());
    }

    #[test]
    fn each_example_entry_works_by_itself() {
        let with_examples = with_examples();
        let entries: Vec<&str> = with_examples.split("\n\n").filter(|block| block.starts_with('[')).collect();
        assert_eq!(entries.len(), 24);
        for entry in entries {
            parse(entry, "season.toml").unwrap_or_else(|e| panic!("{e}"));
        }
    }

    #[test]
    fn the_template_shows_every_key() {
        let with_examples = with_examples();
        for key in [
            "title reference confidence repeats looks [[band]] frequency_mhz channel [[meter]] kind resolution",
            "directivity_db line_loss_db [[antenna]] price length_mm gain_dbi claims at_most at_least",
            "bands [[load]] resistance_ohm tolerance_percent [[quantity]] unit scale better [[source]] quantity",
            "meter band shape half_width standard top shared_by [matters] [weights] [[leave_out]] session",
            "antenna mounting reason name [effort] session_minutes mounting_minutes reading_minutes check_minutes",
            "[[layout]] file sheet header_line rows all columns column ignore decimal encoding",
            "sweep_pattern [[sweep]] when order",
        ]
        .iter()
        .flat_map(|keys| keys.split(' '))
        {
            let shown = with_examples.lines().filter(|line| !line.starts_with('#'));
            let mut words = shown.flat_map(|line| line.split([' ', '{', ',', '}']));
            assert!(words.any(|word| word == key), "{key}");
        }
    }

    #[test]
    fn no_template_line_is_wider_than_a_terminal() {
        assert!(SEASON.lines().all(|line| line.chars().count() <= 100));
    }

    #[test]
    fn the_log_starts_with_the_needed_columns_and_nothing_else() {
        assert_eq!(READINGS.lines().count(), 1);
        assert!(READINGS.starts_with("session,antenna,band,meter,quantity,value,"));
    }
}
