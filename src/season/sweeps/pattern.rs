//! A season's pattern of sweep files' names: `{session}/{antenna}-{mounting}.s1p`.

/// What a hole in a pattern stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Hole {
    /// The session's name.
    Session,
    /// An antenna's or check load's name.
    Antenna,
    /// A meter's name.
    Meter,
    /// The mounting's number.
    Mounting,
    /// Place in the session's running order.
    Order,
    /// Anything: it is not used.
    Any,
}

/// The words for holes.
pub const HOLES: [(&str, Hole); 6] = [
    ("session", Hole::Session),
    ("antenna", Hole::Antenna),
    ("meter", Hole::Meter),
    ("mounting", Hole::Mounting),
    ("order", Hole::Order),
    ("any", Hole::Any),
];

#[derive(Debug, Clone, PartialEq, Eq)]
enum Part {
    Literal(String),
    Hole(Hole),
}

/// A pattern, read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pattern {
    parts: Vec<Part>,
}

/// What a name says by a pattern: each hole with its text, in the pattern's order.
pub type Capture<'a> = Vec<(Hole, &'a str)>;

/// The most ways of reading one name that are tried, and steps taken on the way.
const MOST: (usize, usize) = (64, 20_000);

impl Pattern {
    /// Reads a pattern.
    ///
    /// # Errors
    /// What is wrong with it, in a few words.
    pub fn new(text: &str) -> Result<Pattern, String> {
        let mut parts: Vec<Part> = vec![];
        let mut rest = text;
        while !rest.is_empty() {
            let (before, after) = rest.split_once('{').unwrap_or((rest, ""));
            if before.contains('}') {
                return Err("a `}` stands here without its `{`".into());
            }
            let has_hole = before.len() < rest.len();
            if !before.is_empty() {
                parts.push(Part::Literal(before.to_string()));
            }
            if !has_hole {
                break;
            }
            let (word, more) = after.split_once('}').ok_or("a `{` is not closed")?;
            let known = || HOLES.iter().map(|(w, _)| format!("`{{{w}}}`")).collect::<Vec<_>>().join(", ");
            let hole = HOLES.iter().find(|(w, _)| *w == word);
            let (_, hole) = *hole.ok_or_else(|| format!("`{{{word}}}` is not one of {}", known()))?;
            if let Some(Part::Hole(_)) = parts.last() {
                return Err("two names follow each other with nothing between: where one ends can't be told".into());
            }
            if hole != Hole::Any && parts.contains(&Part::Hole(hole)) {
                return Err(format!("`{{{word}}}` stands here twice"));
            }
            parts.push(Part::Hole(hole));
            rest = more;
        }
        for (hole, word) in [(Hole::Session, "session"), (Hole::Antenna, "antenna")] {
            if !parts.contains(&Part::Hole(hole)) {
                return Err(format!("there is no `{{{word}}}` in it"));
            }
        }
        Ok(Pattern { parts })
    }

    /// Every way a path (its folders separated by `/`) can be read by the pattern; letter case is free outside holes.
    pub fn captures<'a>(&self, path: &'a str) -> Vec<Capture<'a>> {
        let (mut found, mut steps) = (vec![], MOST.1);
        walk(&self.parts, path, &mut vec![], &mut found, &mut steps);
        found
    }
}

fn walk<'a>(parts: &[Part], rest: &'a str, so_far: &mut Capture<'a>, found: &mut Vec<Capture<'a>>, steps: &mut usize) {
    if found.len() >= MOST.0 || *steps == 0 {
        return;
    }
    *steps -= 1;
    match parts {
        [] if rest.is_empty() => found.push(so_far.clone()),
        [] => {}
        [Part::Literal(literal), more @ ..] => {
            if let Some((head, tail)) = rest.split_at_checked(literal.len())
                && head.eq_ignore_ascii_case(literal)
            {
                walk(more, tail, so_far, found, steps);
            }
        }
        [Part::Hole(hole), more @ ..] => {
            let end = rest.find('/').unwrap_or(rest.len());
            for (at, c) in rest[..end].char_indices() {
                let (text, tail) = rest.split_at(at + c.len_utf8());
                if matches!(hole, Hole::Mounting | Hole::Order) && !c.is_ascii_digit() {
                    break;
                }
                so_far.push((*hole, text));
                walk(more, tail, so_far, found, steps);
                so_far.pop();
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(pattern: &str, path: &str) -> Vec<Vec<String>> {
        let texts = |c: Capture<'_>| c.into_iter().map(|(_, text)| text.to_string()).collect();
        Pattern::new(pattern).unwrap().captures(path).into_iter().map(texts).collect()
    }

    #[test]
    fn a_name_is_read_by_its_pattern_folders_too() {
        assert_eq!(
            read("{session}/{antenna} {mounting}.s1p", "2026-05-02/heron 2.S1P"),
            [["2026-05-02", "heron", "2"]]
        );
        assert_eq!(read("{session}_{antenna}.s1p", "a/b_c.s1p").len(), 0);
        assert_eq!(read("{any}_{session}_{antenna}.s1p", "SWP_1_heron.s1p"), [["SWP", "1", "heron"]]);
    }

    #[test]
    fn a_name_that_reads_in_several_ways_is_read_in_all() {
        let ways = read("{session}-{antenna}.s1p", "2026-05-02-heron.s1p");
        assert_eq!(ways, [["2026", "05-02-heron"], ["2026-05", "02-heron"], ["2026-05-02", "heron"]]);
    }

    #[test]
    fn a_name_of_nothing_but_marks_ends_in_bounded_time() {
        let name = "-".repeat(255);
        assert!(read("{any}-{session}-{any}-{antenna}-{any}-{meter}-{any}", &name).len() <= MOST.0);
    }

    #[test]
    fn a_pattern_that_can_t_be_told_apart_is_refused() {
        for pattern in
            ["{antenna}", "{session}{antenna}", "{session}-{antena}", "{session}-{antenna", "}{session}-{antenna}"]
        {
            assert!(Pattern::new(pattern).is_err(), "{pattern}");
        }
        assert!(Pattern::new("{session}-{antenna}-{antenna}").is_err());
    }
}
