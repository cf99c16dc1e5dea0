//! Text and figures as HTML.

use crate::report::{Figures, Part, Quantity, Verdict, capital};
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

/// A sentence whose lengths stand in millimetres, in either unit.
pub(super) fn sentence(text: &str) -> String {
    both(|f| {
        let mut words: Vec<String> = Vec::new();
        let mut rest = text.split(' ').peekable();
        while let Some(word) = rest.next() {
            let follows = rest.peek().map(|next| next.trim_start_matches("mm"));
            match (word.parse::<f64>(), follows) {
                (Ok(mm), Some(after))
                    if rest.peek().is_some_and(|n| n.starts_with("mm"))
                        && !after.starts_with(char::is_alphabetic) =>
                {
                    words.push(f.length(mm) + after);
                    rest.next();
                }
                _ => words.push(word.to_owned()),
            }
        }
        words.join(" ")
    })
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

/// What the terminal's report tells in rows and tables, in either unit.
pub(super) fn told(caption: &str, words: impl Fn(Figures) -> Vec<Part>) -> String {
    let [mm, inch] = [Unit::Mm, Unit::Inch].map(|unit| words(Figures { unit }));
    let mut told = Told {
        caption,
        html: String::from("<div class=\"told\">\n"),
        rows: Vec::new(),
        tables: 0,
    };
    for parts in mm.iter().zip(&inch) {
        match parts {
            (Part::Row(label, verdict, a), Part::Row(_, _, b)) => {
                told.row(label, *verdict, &pair(a, b));
            }
            (Part::Table(heads, a), Part::Table(other, b)) => told.table([heads, other], [a, b]),
            (Part::Note(a), Part::Note(b)) => {
                told.flush();
                told.html += &format!("<p class=\"note\">{}</p>\n", pair(a, b));
            }
            _ => {}
        }
    }
    told.flush();
    told.html + "</div>\n"
}

/// The same in mm and in inches.
fn pair(mm: &str, inch: &str) -> String {
    both(|f| match f.unit {
        Unit::Mm => mm.to_owned(),
        Unit::Inch => inch.to_owned(),
    })
}

/// What is told so far.
struct Told<'a> {
    caption: &'a str,
    html: String,
    /// Rows that are not written yet: name and text.
    rows: Vec<[String; 2]>,
    tables: usize,
}

impl Told<'_> {
    /// A row; without a label it goes on with the last one.
    fn row(&mut self, label: &str, verdict: Option<Verdict>, text: &str) {
        match self.rows.last_mut() {
            Some(last) if label.is_empty() => last[1] += &format!("<br>{text}"),
            _ => self.rows.push([
                escape(&capital(label)),
                verdict.map(|v| stamp(v) + " ").unwrap_or_default() + text,
            ]),
        }
    }

    /// Writes the rows as one table.
    fn flush(&mut self) {
        if self.rows.is_empty() {
            return;
        }
        self.html += &format!(
            "<table class=\"rows\"><caption>{}</caption><tbody>",
            escape(self.caption)
        );
        for [label, text] in self.rows.drain(..) {
            self.html += &format!("<tr><th scope=\"row\">{label}</th><td>{text}</td></tr>");
        }
        self.html += "</tbody></table>\n";
    }

    /// A table by its heads and its cells in mm and in inches.
    fn table(&mut self, heads: [&Vec<String>; 2], cells: [&Vec<Vec<String>>; 2]) {
        self.flush();
        let line = |[mm, inch]: [&Vec<String>; 2]| -> Vec<String> {
            mm.iter().zip(inch).map(|(a, b)| pair(a, b)).collect()
        };
        let one_line = heads.map(|h| h.iter().map(|text| text.replace('\n', " ")).collect());
        let heads = line(one_line.each_ref());
        let heads: Vec<&str> = heads.iter().map(String::as_str).collect();
        let cells = cells[0].iter().zip(cells[1]);
        let cells: Vec<Vec<String>> = cells.map(|(a, b)| line([a, b])).collect();
        self.tables += 1;
        self.html += &table(
            &format!("{}, table {}", self.caption, self.tables),
            &heads,
            &cells,
        );
    }
}

/// The word of a verdict.
pub(super) fn word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Pass => "Pass",
        Verdict::Watch => "Watch",
        Verdict::Unsure => "Unsure",
        Verdict::Fail => "Fail",
    }
}

/// The verdict as a stamp: word, sign and colour.
pub(super) fn stamp(verdict: Verdict) -> String {
    let class = word(verdict).to_lowercase();
    format!("<span class=\"stamp {class}\">{}</span>", word(verdict))
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

    #[test]
    fn lengths_in_a_sentence_change_with_the_unit() {
        let told = sentence("At 25.4 mm, not 2 mmm; <3 times.");
        assert!(
            told.contains("class=\"in\">At 1\u{a0}in, not 2 mmm; &lt;3 times."),
            "{told}"
        );
        assert!(told.contains("class=\"mm\">At 25.4\u{a0}mm, not"), "{told}");
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
