//! ASCII STL.
//!
//! Our own reader, because `stl_io` wants lower-case words and a blank after `solid`, and its errors name no line.

use super::error::{Fault, shortened};
use super::read::Facet;

/// Whether `bytes` are the text of an STL file: `solid` first, no zero byte at the start, a `facet` or
/// `endsolid` somewhere (in any case of letters).
pub(super) fn looks_like(bytes: &[u8]) -> bool {
    let text = without_mark(bytes).trim_ascii_start();
    let starts = text.len() >= 5 && text[..5].eq_ignore_ascii_case(b"solid");
    // a zero byte tells the binary file whose header happens to start with `solid`
    starts && !text.iter().take(1000).any(|&b| b == 0) && {
        let has = |word: &[u8]| {
            text.windows(word.len())
                .any(|w| w.eq_ignore_ascii_case(word))
        };
        has(b"facet") || has(b"endsolid")
    }
}

/// `bytes` without the UTF-8 byte-order mark.
fn without_mark(bytes: &[u8]) -> &[u8] {
    bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes)
}

/// The triangles of an ASCII STL, all its solids together; `allow` is asked before each whether there may be so many.
pub(super) fn facets(
    bytes: &[u8],
    allow: impl Fn(u64) -> Result<(), Fault>,
) -> Result<Vec<Facet>, Fault> {
    let mut words = Words {
        text: without_mark(bytes),
        at: 0,
    };
    let mut facets = Vec::new();
    let mut word = words.next();
    while let Some(solid) = word {
        words.expect(Some(solid), "solid")?;
        words.skip_line();
        loop {
            match words.next() {
                Some(w) if w.eq_ignore_ascii_case(b"endsolid") => break,
                w => words.expect(w, "facet").map_err(|fault| match fault {
                    Fault::EndsEarly { line, .. } => Fault::EndsEarly {
                        line,
                        expected: "endsolid",
                    },
                    other => other,
                })?,
            }
            allow(facets.len() as u64 + 1)?;
            facets.push(words.facet(facets.len())?);
        }
        words.skip_line();
        word = words.next();
    }
    Ok(facets)
}

/// Words of a text, one after another.
struct Words<'a> {
    text: &'a [u8],
    /// Behind the last word.
    at: usize,
}

impl<'a> Words<'a> {
    /// The rest of a facet whose first word is read.
    fn facet(&mut self, index: usize) -> Result<Facet, Fault> {
        self.word("normal")?;
        for _ in 0..3 {
            self.number()?;
        }
        self.word("outer")?;
        self.word("loop")?;
        let mut facet = Facet::default();
        for corner in &mut facet {
            self.word("vertex")?;
            for x in corner {
                *x = self.number()?;
                if !x.is_finite() {
                    return Err(Fault::NotFinite {
                        triangle: index,
                        line: Some(self.line()),
                    });
                }
            }
        }
        self.word("endloop")?;
        self.word("endfacet")?;
        Ok(facet)
    }

    fn next(&mut self) -> Option<&'a [u8]> {
        let text: &'a [u8] = self.text;
        let rest = text[self.at..].trim_ascii_start();
        let start = text.len() - rest.len();
        let long = rest.iter().position(u8::is_ascii_whitespace);
        self.at = start + long.unwrap_or(rest.len());
        (!rest.is_empty()).then_some(&text[start..self.at])
    }

    fn word(&mut self, expected: &'static str) -> Result<(), Fault> {
        let found = self.next();
        self.expect(found, expected)
    }

    fn expect(&self, found: Option<&[u8]>, expected: &'static str) -> Result<(), Fault> {
        match found {
            Some(found) if found.eq_ignore_ascii_case(expected.as_bytes()) => Ok(()),
            Some(found) => Err(Fault::Word {
                line: self.line(),
                found: shown(found),
                expected,
            }),
            None => Err(self.ends_early(expected)),
        }
    }

    /// A number; the stored normals of some writers are `nan`, which only a coordinate must not be.
    fn number(&mut self) -> Result<f32, Fault> {
        let found = self.next().ok_or_else(|| self.ends_early("a number"))?;
        let number = std::str::from_utf8(found).ok().and_then(|s| s.parse().ok());
        number.ok_or_else(|| Fault::Number {
            line: self.line(),
            found: shown(found),
        })
    }

    /// Goes on behind the end of the line: what follows `solid` and `endsolid` is a free name.
    fn skip_line(&mut self) {
        let rest = &self.text[self.at..];
        let end = rest.iter().position(|b| matches!(b, b'\n' | b'\r'));
        self.at += end.unwrap_or(rest.len());
    }

    fn ends_early(&self, expected: &'static str) -> Fault {
        let line = line_of(self.text, self.text.trim_ascii_end().len());
        Fault::EndsEarly { line, expected }
    }

    /// Line of the last word, from 1.
    fn line(&self) -> usize {
        line_of(self.text, self.at)
    }
}

/// Line of byte `at`, from 1, whether lines end in LF, CR LF or CR.
fn line_of(text: &[u8], at: usize) -> usize {
    let before = &text[..at];
    let feeds = before.iter().filter(|&&b| b == b'\n').count();
    let returns = before.iter().filter(|&&b| b == b'\r').count();
    1 + feeds.max(returns)
}

/// At most 24 characters of a word, fit to be printed.
fn shown(word: &[u8]) -> String {
    shortened(&String::from_utf8_lossy(&word[..word.len().min(100)]), 24)
}

#[cfg(test)]
mod tests {
    use super::*;

    const FACET: &str = "facet normal nan nan nan\nouter loop\nvertex 0 0 0\nvertex 1 0 0\nvertex 0 1.5 0\nendloop\nendfacet\n";

    fn parse(text: &str) -> Result<Vec<Facet>, Fault> {
        facets(text.as_bytes(), |count| match count {
            ..=10 => Ok(()),
            _ => Err(Fault::TooManyTriangles { count, limit: 10 }),
        })
    }

    #[test]
    fn names_are_free_and_solids_may_follow_one_another() {
        let text = format!(
            "\u{feff}  SOLID facet of ünknown\n{FACET}endsolid facet\nsolid\n{FACET}EndSolid\n\n"
        );
        assert!(looks_like(text.as_bytes()));
        let all = parse(&text).unwrap();
        assert_eq!(
            all,
            [[[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 1.5, 0.0]]; 2]
        );
    }

    #[test]
    fn faults_name_the_line() {
        // solid is line 1; the facet runs from line 2 to line 8; its corners stand on lines 4 to 6
        let good = format!("solid\n{FACET}endsolid\n");
        let bad = |from: &str, to: &str| parse(&good.replace(from, to)).unwrap_err();
        assert!(matches!(bad("1.5", "1,5"), Fault::Number { line: 6, found } if found == "1,5"));
        assert!(matches!(
            bad("vertex 1 0 0", "vertex 1 0"),
            Fault::Number { line: 6, .. }
        ));
        assert!(matches!(
            bad("endloop", "vertex"),
            Fault::Word { line: 7, .. }
        ));
        assert!(matches!(
            bad("1.5", "inf"),
            Fault::NotFinite {
                triangle: 0,
                line: Some(6)
            }
        ));
        // 1e39 is beyond 32-bit numbers
        assert!(matches!(
            bad("1.5", "1e39"),
            Fault::NotFinite {
                triangle: 0,
                line: Some(6)
            }
        ));
        let crlf = good.replace('\n', "\r\n").replace("1.5", "x");
        assert!(matches!(parse(&crlf), Err(Fault::Number { line: 6, .. })));
    }

    #[test]
    fn a_text_cut_anywhere_is_refused() {
        let good = format!("solid\n{FACET}{FACET}endsolid");
        for cut in 1..good.len() {
            let short = parse(&good[..cut]);
            assert!(short.is_err(), "cut at {cut}: {short:?}");
        }
        assert!(matches!(
            parse(&format!("solid\n{FACET}\n\n")),
            Err(Fault::EndsEarly {
                line: 8,
                expected: "endsolid"
            })
        ));
    }

    #[test]
    fn the_limit_holds() {
        let text = format!("solid\n{}endsolid\n", FACET.repeat(11));
        assert!(matches!(
            parse(&text),
            Err(Fault::TooManyTriangles {
                count: 11,
                limit: 10
            })
        ));
    }
}
