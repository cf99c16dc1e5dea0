//! A file's text with all its chosen mutants in it, each behind a switch of its own.

use crate::sites::{Kind, Site};

/// Puts the mutants, each with its number, into the text. No line is added: the compiler's messages still fit the file.
pub fn with_switches(text: &str, sites: &[(usize, &Site)]) -> String {
    // at one place: first what ends, the innermost first; then what begins, the outermost first
    let mut pieces: Vec<(usize, u8, isize, usize, String)> = Vec::new();
    for (order, (id, site)) in sites.iter().enumerate() {
        let (start, end) = (site.bytes.start, site.bytes.end);
        let length = (end - start) as isize;
        let instead = &site.instead;
        if site.kind == Kind::Body {
            let piece = format!(" if crate::mutant({id}) {{ return {instead}; }} ");
            pieces.push((start, 1, 0, order, piece));
            continue;
        }
        let (open, close) = if site.comparable {
            let told =
                format!("if crate::recording() && was != ({instead}) {{ crate::told({id}) }}");
            ("let was = ", format!("; {told} was }})"))
        } else {
            ("", " })".to_owned())
        };
        let piece = format!("(if crate::mutant({id}) {{ {instead} }} else {{ {open}");
        pieces.push((start, 2, -length, order, piece));
        // of several on the same bytes the last begun ends first
        pieces.push((end, 0, length, usize::MAX - order, close));
    }
    pieces.sort_by_key(|piece| (piece.0, piece.1, piece.2, piece.3));
    let mut out = String::new();
    let mut done = 0;
    for (at, _, _, _, piece) in pieces {
        out.push_str(&text[done..at]);
        out.push_str(&piece);
        done = at;
    }
    out + &text[done..]
}

/// The mutants whose text the bytes of a mutated file touch: those whose own block holds them, else all on the line.
pub fn at(text: &str, bytes: (usize, usize)) -> Vec<usize> {
    let line_start = text[..bytes.0].rfind('\n').map_or(0, |k| k + 1);
    let line_end = text[bytes.1..]
        .find('\n')
        .map_or(text.len(), |k| bytes.1 + k);
    let mut on_line = Vec::new();
    for (start, mark) in text[line_start..line_end].match_indices("crate::mutant(") {
        let behind = line_start + start + mark.len();
        let Some((id, block)) = text[behind..line_end].split_once(") {") else {
            continue;
        };
        let Ok(id) = id.parse() else { continue };
        on_line.push(id);
        let block_start = line_end - block.len();
        let block_end = block_start + closing(block);
        if block_start <= bytes.0 && bytes.1 <= block_end {
            return vec![id];
        }
    }
    on_line
}

/// Where the brace that was opened before `block` is closed.
fn closing(block: &str) -> usize {
    let mut depth = 1;
    for (k, c) in block.char_indices() {
        match c {
            '{' => depth += 1,
            '}' => depth -= 1,
            _ => {}
        }
        if depth == 0 {
            return k;
        }
    }
    block.len()
}
