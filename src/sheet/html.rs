//! Text and figures as HTML.

use crate::report::{Figures, Quantity};
use crate::units::Unit;

/// `text` with every character that means something to HTML written as a reference; for text and quoted attributes.
pub(super) fn escape(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            '\'' => safe.push_str("&#39;"),
            // no control characters, nor any that turn the direction of reading
            '\u{0}'..='\u{1f}' | '\u{7f}'..='\u{9f}' | '\u{200e}' | '\u{200f}' => safe.push('?'),
            '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' => safe.push('?'),
            c => safe.push(c),
        }
    }
    safe
}

/// The same words in millimetres and in inches: the page shows the one that the reader chose.
pub(super) fn both(words: impl Fn(Figures) -> String) -> String {
    let [mm, inch] = [Unit::Mm, Unit::Inch].map(|unit| escape(&words(Figures { unit })));
    if mm == inch {
        return mm;
    }
    format!("<span class=\"mm\">{mm}</span><span class=\"in\">{inch}</span>")
}

/// A figure with its unit and ±.
pub(super) fn figure(quantity: Quantity, value: Option<f64>, pm: Option<f64>) -> String {
    both(|f| f.text(quantity, value, pm))
}

/// A table: heads, then rows; cells are HTML already. The first column names the row.
pub(super) fn table(caption: &str, heads: &[&str], rows: &[Vec<String>]) -> String {
    let mut html = format!(
        "<div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"{0}\"><table><caption>{0}</caption><thead><tr>",
        escape(caption)
    );
    for head in heads {
        html += &format!("<th scope=\"col\">{head}</th>");
    }
    html += "</tr></thead><tbody>";
    for row in rows {
        html += "<tr>";
        for (k, cell) in row.iter().enumerate() {
            if k == 0 {
                html += &format!("<th scope=\"row\">{cell}</th>");
            } else {
                html += &format!("<td>{cell}</td>");
            }
        }
        html += "</tr>";
    }
    html + "</tbody></table></div>\n"
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn both_units_are_there_and_equal_words_only_once() {
        assert_eq!(
            figure(Quantity::Length, Some(25.4), None),
            "<span class=\"mm\">25.4\u{a0}mm</span><span class=\"in\">1\u{a0}in</span>"
        );
        assert_eq!(figure(Quantity::Angle, Some(2.0), None), "2°");
    }

    proptest! {
        #[test]
        fn nothing_escapes(text in any::<String>()) {
            let safe = escape(&text);
            let has = |c: char| safe.contains(c);
            prop_assert!(!has('<') && !has('>') && !has('"') && !has('\''));
        }
    }
}
