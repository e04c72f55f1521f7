//! Did you mean: the known word nearest to an unknown one.

/// The most letters that may differ.
const MOST: usize = 3;

/// The known word that `word` is most likely a slip for, if one is near enough to name.
///
/// Case, spaces and hyphens don't count. A third of the letters may differ, or one word may begin
/// the other (`frequency` for `frequency_mhz`); digits must agree, since `2 m` is no slip for `6 m`.
pub(crate) fn nearest<'k>(word: &str, known: impl IntoIterator<Item = &'k str>) -> Option<&'k str> {
    let word = plain(word);
    known
        .into_iter()
        .filter_map(|candidate| {
            let other = plain(candidate);
            let (long, short) = (word.chars().count(), other.chars().count());
            // what differs in length differs at least by that; and a key of a megabyte is not worth the time
            let gap = long.abs_diff(short);
            let distance = if gap > MOST { gap } else { strsim::damerau_levenshtein(&word, &other) };
            let begins = long.min(short) >= 3 && (word.starts_with(&other) || other.starts_with(&word));
            let near = begins || distance <= long.div_ceil(3).min(MOST);
            (near && digits(&word) == digits(&other)).then_some((distance, candidate))
        })
        .min_by_key(|&(distance, _)| distance)
        .map(|(_, candidate)| candidate)
}

fn plain(word: &str) -> String {
    word.chars().filter(|c| !matches!(c, ' ' | '_' | '-')).flat_map(char::to_lowercase).collect()
}

fn digits(word: &str) -> String {
    word.chars().filter(char::is_ascii_digit).collect()
}

/// The words in backticks, set apart by commas and a last `or`.
pub(crate) fn list<'k>(words: impl IntoIterator<Item = &'k str>) -> String {
    let words: Vec<String> = words.into_iter().map(|word| format!("`{word}`")).collect();
    match words.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} or {last}", rest.join(", ")),
        _ => words.concat(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slips_are_near_and_other_words_are_not() {
        let keys = ["name", "frequency_mhz", "channel"];
        assert_eq!(nearest("frequencymhz", keys), Some("frequency_mhz"));
        assert_eq!(nearest("Frequency", keys), Some("frequency_mhz"));
        assert_eq!(nearest("nmae", keys), Some("name"));
        assert_eq!(nearest("power", keys), None);
        assert_eq!(nearest("70cm", ["2 m", "70 cm"]), Some("70 cm"));
        assert_eq!(nearest("6 m", ["2 m", "70 cm"]), None);
        assert_eq!(nearest("", keys), None);
    }

    #[test]
    fn a_list_ends_in_or() {
        assert_eq!(list(["a"]), "`a`");
        assert_eq!(list(["a", "b", "c"]), "`a`, `b` or `c`");
    }
}
