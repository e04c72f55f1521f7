//! Whether words fit: their width in the font of the plots, and names folded to a width.

use unicode_width::UnicodeWidthChar;

use super::glyphs::advance;

/// A place held between two ends, whatever they are: the upper one wins where they have crossed.
pub fn held(x: f64, low: f64, high: f64) -> f64 {
    x.max(low).min(high)
}

/// About how wide a text is, in pixels, in a sans-serif font of that size: as in the font that comes along, which is one
/// of the wide ones; of letters it lacks, a guess on the wide side.
pub fn width(text: &str, size: u32) -> f64 {
    let guess = |c: char| match c.width().unwrap_or(0) {
        0 => 0.0,
        1 => 0.75,
        _ => 1.05,
    };
    // a bitmap's letters are larger by this than the size that is asked for: 1.24 over the font's own height of 1.164
    1.065 * f64::from(size) * text.chars().map(|c| advance(c).unwrap_or_else(|| guess(c))).sum::<f64>()
}

/// A name in at most so many lines of that width: broken at blanks where there are any, and cut with a mark where the
/// last line is too short for the rest.
pub fn fold(text: &str, size: u32, most: f64, lines: usize) -> Vec<String> {
    // what could drive a terminal or break a file is shown as a mark
    let text: String = text.chars().map(|c| if c.is_control() { '\u{fffd}' } else { c }).collect();
    let mut out = vec![];
    let mut rest = text.trim();
    while !rest.is_empty() && out.len() < lines {
        if width(rest, size) <= most {
            out.push(rest.to_string());
            return out;
        }
        let last = out.len() + 1 == lines;
        let room = if last { most - width("…", size) } else { most };
        let mut fits = 0;
        for (at, c) in rest.char_indices() {
            if width(&rest[..at + c.len_utf8()], size) > room {
                break;
            }
            fits = at + c.len_utf8();
        }
        // at least one character a line, however narrow it is
        let fits = fits.max(rest.chars().next().map_or(0, char::len_utf8));
        if last {
            out.push(format!("{}…", rest[..fits].trim_end()));
            return out;
        }
        let cut = rest[..fits].rfind(' ').filter(|at| *at > 0).unwrap_or(fits);
        out.push(rest[..cut].trim_end().to_string());
        rest = rest[cut..].trim_start();
    }
    if out.is_empty() { vec![String::new()] } else { out }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_folded_at_blanks_and_what_does_not_fit_is_marked() {
        let name = "a whip of 48 centimetres with a foldable counterpoise wire";
        let lines = fold(name, 12, 150.0, 2);
        assert_eq!(lines.len(), 2);
        assert!(lines.iter().all(|l| width(l, 12) <= 150.0), "{lines:?}");
        assert!(lines[0].starts_with("a whip of") && !lines[0].ends_with(' '));
        assert!(lines[1].ends_with('…'));
        assert_eq!(fold("heron", 12, 200.0, 2), ["heron"]);
        assert_eq!(fold("", 12, 200.0, 2), [""]);
        let wide = fold(&"山".repeat(60), 12, 200.0, 3);
        assert_eq!(wide.len(), 3);
        assert!(wide.iter().all(|l| width(l, 12) <= 200.0), "{wide:?}");
        assert_eq!(fold("a\u{1b}b", 12, 200.0, 1), ["a\u{fffd}b"]);
    }
}
