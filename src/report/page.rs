//! A page of text: headings, rows with a hanging indent, tables, and the colours of verdicts.

use super::Verdict;
use super::figures::Figures;
use super::table::Table;
use super::text::{clip, pad, plain_spaces, width, wrap};
use anstyle::{Ansi256Color, Style};

/// How a piece of text is shown. Every tone also has its word: nothing is told by colour alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Tone {
    /// As it is.
    Plain,
    /// A heading.
    Strong,
    /// Aside.
    Faint,
    /// In the colour of a verdict.
    Verdict(Verdict),
}

/// Paints text, or leaves it plain.
#[derive(Debug, Clone, Copy)]
pub(super) struct Paint {
    /// Whether to paint at all.
    pub(super) colour: bool,
}

impl Paint {
    /// `text` in `tone`.
    pub(super) fn text(self, tone: Tone, text: &str) -> String {
        if !self.colour || tone == Tone::Plain || text.trim().is_empty() {
            return text.to_string();
        }
        // The nearest of the 256 terminal colours to bluish green, orange, sky blue and vermillion of
        // the set for colour-blind eyes by Okabe & Ito (2008, Color Universal Design); numbers from memory
        let of = |index| Style::new().fg_color(Some(Ansi256Color(index).into()));
        let style = match tone {
            Tone::Plain => Style::new(),
            Tone::Strong => Style::new().bold(),
            Tone::Faint => Style::new().dimmed(),
            Tone::Verdict(Verdict::Pass) => of(36),
            Tone::Verdict(Verdict::Watch) => of(178),
            Tone::Verdict(Verdict::Unsure) => of(74),
            Tone::Verdict(Verdict::Fail) => of(166).bold(),
        };
        format!("{style}{text}{style:#}")
    }
}

/// The word of a verdict.
pub(super) fn word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Pass => "PASS",
        Verdict::Watch => "WATCH",
        Verdict::Unsure => "UNSURE",
        Verdict::Fail => "FAIL",
    }
}

/// A piece of a page, for another face than the terminal's.
#[derive(Debug, Clone)]
pub(crate) enum Part {
    /// What it is about (nothing: as the one before), a verdict, and the text.
    Row(String, Option<Verdict>, String),
    /// Heads, and rows of cells.
    Table(Vec<String>, Vec<Vec<String>>),
    /// A remark.
    Note(String),
}

/// A page under construction. No line is wider than the page.
pub(super) struct Page {
    /// Writes its figures.
    pub(super) figures: Figures,
    text: String,
    width: usize,
    paint: Paint,
    /// The last thing was a table: a row that follows keeps its distance.
    after_table: bool,
    parts: Vec<Part>,
}

/// Columns of the label and of the verdict that lead a row.
const LABEL: usize = 10;
const WORD: usize = 8;
/// Wider than any page that is printed.
const WIDEST: usize = 1 << 20;
/// Indent of what belongs to a section.
const INDENT: usize = 2;

impl Page {
    /// An empty page.
    pub(super) fn new(figures: Figures, width: usize, paint: Paint) -> Page {
        Page {
            figures,
            text: String::new(),
            width,
            paint,
            after_table: false,
            parts: Vec::new(),
        }
    }

    /// An empty page of which only the parts are wanted.
    pub(super) fn of_parts(figures: Figures) -> Page {
        Page::new(figures, WIDEST + 1, Paint { colour: false })
    }

    /// Rows, tables and notes in their order.
    pub(super) fn parts(self) -> Vec<Part> {
        self.parts
    }

    /// The page's text.
    pub(super) fn finish(self) -> String {
        self.text
    }

    /// An empty line.
    pub(super) fn blank(&mut self) {
        self.text.push('\n');
    }

    /// An empty line, and a heading with a rule behind it.
    pub(super) fn heading(&mut self, title: &str) {
        if self.width > WIDEST {
            return;
        }
        let title = clip(title, self.width);
        let rule = self.width.saturating_sub(width(&title) + 1);
        self.after_table = false;
        self.blank();
        self.text += &self.paint.text(Tone::Strong, &title);
        if rule > 0 {
            self.text.push(' ');
            self.text += &self.paint.text(Tone::Faint, &"─".repeat(rule));
        }
        self.blank();
    }

    /// `body`, its lines hanging behind `lead`, which is one or more pieces of text.
    pub(super) fn hanging(&mut self, lead: &[(&str, Tone)], body: &str) {
        let hang = lead.iter().map(|(piece, _)| width(piece)).sum();
        let paint = |&(piece, tone): &(&str, Tone)| self.paint.text(tone, piece);
        let mut lead: String = lead.iter().map(paint).collect();
        for line in wrap(body, self.width.saturating_sub(hang)) {
            self.text += &lead;
            self.text += &plain_spaces(&line);
            self.text.push('\n');
            lead = " ".repeat(hang);
        }
    }

    /// `body` over the whole width.
    pub(super) fn paragraph(&mut self, body: &str) {
        self.hanging(&[], body);
    }

    /// A row of a section: what it is about, and the text.
    pub(super) fn row(&mut self, label: &str, body: &str) {
        self.keep_distance();
        self.parts
            .push(Part::Row(label.to_owned(), None, body.to_owned()));
        let lead = " ".repeat(INDENT) + &pad(label, LABEL + WORD, false);
        self.hanging(&[(&lead, Tone::Plain)], body);
    }

    /// A row of a section that has a verdict.
    pub(super) fn verdict_row(&mut self, label: &str, verdict: Verdict, body: &str) {
        self.keep_distance();
        self.parts
            .push(Part::Row(label.to_owned(), Some(verdict), body.to_owned()));
        let label = " ".repeat(INDENT) + &pad(label, LABEL, false);
        let word = pad(word(verdict), WORD, false);
        let lead = [(&*label, Tone::Plain), (&*word, Tone::Verdict(verdict))];
        self.hanging(&lead, body);
    }

    /// A table, indented a little.
    pub(super) fn table(&mut self, table: &Table) {
        let rows = table.rows.iter();
        self.parts.push(Part::Table(
            table.heads.clone(),
            rows.map(|row| row.iter().map(|c| c.text.clone()).collect())
                .collect(),
        ));
        let indent = 2 * INDENT;
        for line in table.lines(self.width.saturating_sub(indent), self.paint) {
            self.text += &" ".repeat(indent);
            self.text += &line;
            self.text.push('\n');
        }
        self.after_table = true;
    }

    /// A line of a drawing, as it is.
    pub(super) fn drawn(&mut self, line: &str) {
        let line = clip(line, self.width.saturating_sub(2 * INDENT));
        self.text += &" ".repeat(2 * INDENT);
        self.text += line.trim_end();
        self.text.push('\n');
    }

    /// A remark under a table.
    pub(super) fn note(&mut self, text: &str) {
        self.parts.push(Part::Note(text.to_owned()));
        self.hanging(&[(&" ".repeat(2 * INDENT), Tone::Plain)], text);
    }

    fn keep_distance(&mut self) {
        if std::mem::take(&mut self.after_table) {
            self.blank();
        }
    }

    /// Whether `table` can stand on the page with nothing but names cut.
    pub(super) fn fits(&self, table: &Table) -> bool {
        table.fits(self.width.saturating_sub(2 * INDENT))
    }
}
