//! Text in columns: display width, clipping and wrapping.

use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

/// A space at which no line is broken; [`plain_spaces`] turns it into an ordinary one.
pub(super) const JOIN: char = '\u{a0}';

/// Columns that `text` takes on a terminal.
pub(super) fn width(text: &str) -> usize {
    text.width()
}

/// `text` with every character that could steer a terminal or turn the reading direction replaced
/// by `?`: file and cutter names come from outside.
pub(super) fn clean(text: &str) -> String {
    let steers = |c: char| {
        c.is_control()
            || matches!(c, '\u{200e}' | '\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
    };
    text.chars()
        .map(|c| if steers(c) && c != '\n' { '?' } else { c })
        .collect()
}

/// `text` if it fits `max` columns, else its beginning and `…`.
pub(super) fn clip(text: &str, max: usize) -> String {
    if width(text) <= max {
        return text.to_string();
    }
    let mut clipped = head(text, max.saturating_sub(1)).to_string();
    if max > 0 {
        clipped.push('…');
    }
    clipped
}

/// A name from outside: [`clean`]ed, and clipped to what a sentence can carry.
pub(super) fn name(text: &str) -> String {
    clip(&clean(text).replace('\n', "?"), 48)
}

/// `text` filled up with spaces to `to` columns, on the left if `right` (text stands right).
pub(super) fn pad(text: &str, to: usize, right: bool) -> String {
    let fill = " ".repeat(to.saturating_sub(width(text)));
    if right {
        fill + text
    } else {
        text.to_string() + &fill
    }
}

/// Breaks `text` between words into lines of at most `max` columns; a word wider than that is cut.
pub(super) fn wrap(text: &str, max: usize) -> Vec<String> {
    let max = max.max(2); // the widest character takes two columns
    let mut lines = Vec::new();
    let mut line = String::new();
    for word in text
        .split([' ', '\n', '\t'])
        .filter(|word| !word.is_empty())
    {
        if !line.is_empty() && width(&line) + 1 + width(word) <= max {
            line.push(' ');
            line.push_str(word);
            continue;
        }
        if !line.is_empty() {
            lines.push(std::mem::take(&mut line));
        }
        let mut rest = word;
        while width(rest) > max {
            let part = head(rest, max);
            lines.push(part.to_string());
            rest = &rest[part.len()..];
        }
        line.push_str(rest);
    }
    if !line.is_empty() {
        lines.push(line);
    }
    lines
}

/// `text` with [`JOIN`] as an ordinary space.
pub(super) fn plain_spaces(text: &str) -> String {
    text.replace(JOIN, " ")
}

/// The first sentence of `text`: up to a full stop before a space and a capital letter.
pub(super) fn first_sentence(text: &str) -> &str {
    let ends = |&(at, _): &(usize, &str)| {
        text[at + 2..]
            .chars()
            .next()
            .is_some_and(|next| next.is_uppercase())
    };
    match text.match_indices(". ").find(ends) {
        Some((at, _)) => &text[..=at],
        None => text,
    }
}

/// The longest beginning of `text` that fits `max` columns.
fn head(text: &str, max: usize) -> &str {
    let mut used = 0;
    for (at, c) in text.char_indices() {
        used += c.width().unwrap_or(0);
        if used > max {
            return &text[..at];
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn clip_keeps_what_fits_and_marks_what_does_not() {
        assert_eq!(clip("holder", 6), "holder");
        assert_eq!(clip("holder", 5), "hold…");
        assert_eq!(clip("holder", 0), "");
        // each of these takes two columns: two of them and the mark make five
        assert_eq!(clip("金型金型", 6), "金型…");
    }

    #[test]
    fn wrap_breaks_between_words_and_not_at_joins() {
        assert_eq!(
            wrap("a wall of 12\u{a0}mm", 11),
            ["a wall of", "12\u{a0}mm"]
        );
        assert_eq!(wrap("abcdefgh ij", 3), ["abc", "def", "gh", "ij"]);
        assert_eq!(wrap("  ", 10), Vec::<String>::new());
    }

    #[test]
    fn a_sentence_does_not_end_inside_a_number_or_a_unit() {
        assert_eq!(
            first_sentence("A hook of 2.5 mm. Fill it."),
            "A hook of 2.5 mm."
        );
        assert_eq!(
            first_sentence("Left 0.5 in. high. Go on."),
            "Left 0.5 in. high."
        );
        assert_eq!(first_sentence("No stop"), "No stop");
    }

    #[test]
    fn clean_disarms_escape_sequences() {
        assert_eq!(clean("a\u{1b}[31mb\u{202e}c"), "a?[31mb?c");
    }

    proptest! {
        #[test]
        fn wrap_and_clip_hold_the_width(text in "\\PC{0,60}", max in 2usize..30) {
            prop_assert!(width(&clip(&text, max)) <= max);
            for line in wrap(&text, max) {
                prop_assert!(width(&line) <= max, "{line:?}");
            }
        }

        #[test]
        fn wrap_loses_no_word(text in "[a-z ]{0,60}", max in 30usize..60) {
            prop_assert_eq!(
                wrap(&text, max).join(" "),
                text.split_whitespace().collect::<Vec<_>>().join(" ")
            );
        }
    }
}
