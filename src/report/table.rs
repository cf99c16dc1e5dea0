//! Tables whose first column gives way when the line is too short.

use super::page::{Paint, Tone};
use super::text::{clip, pad, plain_spaces, width};

/// The first column is not made narrower than this, nor any other column at all.
const LEAST_NAME: usize = 12;
/// Spaces between columns.
const GAP: usize = 2;

/// One cell.
#[derive(Debug, Clone)]
pub(super) struct Cell {
    /// Its text.
    pub(super) text: String,
    /// How it is shown.
    pub(super) tone: Tone,
}

impl From<String> for Cell {
    fn from(text: String) -> Cell {
        let tone = Tone::Plain;
        Cell { text, tone }
    }
}

impl From<&str> for Cell {
    fn from(text: &str) -> Cell {
        text.to_string().into()
    }
}

/// Rows under heads. The first column, names, stands left; figures stand right.
#[derive(Debug, Clone)]
pub(super) struct Table {
    /// Heads, each of one or more lines.
    pub(super) heads: Vec<String>,
    /// Rows with one cell a head.
    pub(super) rows: Vec<Vec<Cell>>,
    /// Columns from this one on stand left as well.
    pub(super) left_from: usize,
}

impl Table {
    /// Width of column `k` by its content.
    fn column(&self, k: usize) -> usize {
        let heads = self.heads[k].split('\n').map(width);
        let cells = self.rows.iter().map(|row| width(&row[k].text));
        heads.chain(cells).max().unwrap_or(0)
    }

    /// Whether the table can stand in `max` columns with nothing but names cut.
    pub(super) fn fits(&self, max: usize) -> bool {
        let others: usize = (1..self.heads.len()).map(|k| GAP + self.column(k)).sum();
        others + self.column(0).min(LEAST_NAME) <= max
    }

    /// The table's lines, each of at most `max` columns.
    pub(super) fn lines(&self, max: usize, paint: Paint) -> Vec<String> {
        let mut widths: Vec<usize> = (0..self.heads.len()).map(|k| self.column(k)).collect();
        let others: usize = widths.iter().skip(1).map(|w| GAP + w).sum();
        widths[0] = widths[0].min(max.saturating_sub(others).max(LEAST_NAME));
        let line = |cells: &[Cell]| {
            let mut line = String::new();
            let mut used = 0;
            let last = cells.iter().rposition(|cell| !cell.text.is_empty());
            for (k, cell) in cells.iter().take(last.map_or(0, |k| k + 1)).enumerate() {
                let gap = if k == 0 { 0 } else { GAP };
                if used + gap >= max {
                    break;
                }
                used += gap;
                let text = clip(&plain_spaces(&cell.text), widths[k].min(max - used));
                let right = (1..self.left_from).contains(&k);
                let space = if right {
                    widths[k].min(max - used)
                } else {
                    width(&text)
                };
                // the fill behind a left column is put before the next cell, so no line ends in spaces
                line.push_str(&" ".repeat(gap));
                line.push_str(&paint.text(cell.tone, &pad(&text, space, right)));
                used += space;
                if !right && Some(k) < last {
                    let fill = widths[k].min(max - used + space) - space;
                    line.push_str(&" ".repeat(fill));
                    used += fill;
                }
            }
            line
        };
        let head_lines = self.heads.iter().map(|h| h.split('\n').count()).max();
        let heads = (0..head_lines.unwrap_or(0)).map(|row| {
            let cell = |head: &String| Cell {
                text: head.split('\n').nth(row).unwrap_or("").to_string(),
                tone: Tone::Faint,
            };
            line(&self.heads.iter().map(cell).collect::<Vec<_>>())
        });
        heads.chain(self.rows.iter().map(|row| line(row))).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table(name: &str) -> Table {
        Table {
            heads: vec!["cutter".into(), "left\nmm".into(), "clears".into()],
            rows: vec![
                vec![name.into(), "0.5".into(), "no".into()],
                vec!["b".into(), "12".into(), "".into()],
            ],
            left_from: 3,
        }
    }

    #[test]
    fn columns_stand_under_their_heads() {
        let lines = table("1/8in ball").lines(40, Paint { colour: false });
        assert_eq!(
            lines,
            [
                "cutter      left  clears",
                "              mm",
                "1/8in ball   0.5      no",
                "b             12",
            ]
        );
    }

    #[test]
    fn only_the_name_gives_way() {
        let table = table("a cutter with a very long name");
        assert!(table.fits(26) && !table.fits(25));
        let lines = table.lines(26, Paint { colour: false });
        assert_eq!(lines[2], "a cutter wi…   0.5      no");
        for max in 0..60 {
            for line in table.lines(max, Paint { colour: false }) {
                assert!(width(&line) <= max, "{max}: {line:?}");
            }
        }
    }
}
