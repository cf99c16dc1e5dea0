//! OBJ: text with a keyword a line. Corners (`v`) and faces (`f`) are read, by `tobj`; the rest is left out
//! before it gets there, so that no library of materials is ever opened and no name can be wrong.

use super::error::Fault;
use super::polygon;
use super::read::{Content, Facet, Limits};
use std::borrow::Cow;

const KIND: &str = "OBJ";

/// Keywords that open a line (Wavefront Advanced Visualizer manual, appendix B1, object files).
const KEYWORDS: [&str; 14] = [
    "v", "vt", "vn", "vp", "f", "l", "p", "o", "g", "s", "mtllib", "usemtl", "cstype", "mg",
];
/// Lines without a keyword, comments aside, that may come first.
const LINES_LOOKED_AT: usize = 64;

/// Whether the first line that is no comment opens with a keyword and something behind it.
pub(super) fn looks_like(bytes: &[u8]) -> bool {
    let mut lines = bytes.split(|b| *b == b'\n').take(LINES_LOOKED_AT);
    let first = lines
        .by_ref()
        .map(<[u8]>::trim_ascii)
        .find(|line| !line.is_empty() && !line.starts_with(b"#"));
    let Some(first) = first else { return false };
    let mut words = first
        .split(u8::is_ascii_whitespace)
        .filter(|w| !w.is_empty());
    let keyword = words.next().unwrap_or_default();
    let known = KEYWORDS.iter().any(|k| k.as_bytes() == keyword);
    match keyword {
        b"v" | b"vn" | b"vt" => words
            .next()
            .and_then(|word| std::str::from_utf8(word).ok())
            .is_some_and(|word| word.parse::<f64>().is_ok()),
        _ => known && !first.contains(&0),
    }
}

/// What of the file is not used.
#[derive(Default)]
struct Unused {
    colours: bool,
    materials: bool,
    lines: bool,
}

impl Unused {
    fn told(&self) -> Vec<String> {
        let mut told = Vec::new();
        let mut say = |is: bool, text: &str| {
            if is {
                told.push(text.to_owned());
            }
        };
        say(
            self.colours,
            "The file has colours; only its shape is used.",
        );
        say(
            self.materials,
            "The file has materials or textures; only its shape is used.",
        );
        say(
            self.lines,
            "The file has loose lines or points; they are left out.",
        );
        told
    }
}

/// The triangles of an OBJ file; faces with more corners are cut.
///
/// # Errors
/// If it is damaged, larger than `limits`, or holds curved surfaces.
pub(super) fn content(bytes: &[u8], limits: &Limits) -> Result<Content, Fault> {
    let mut unused = Unused::default();
    let kept = kept(bytes, limits, &mut unused)?;
    let options = tobj::LoadOptions {
        triangulate: false,
        ignore_points: true,
        ignore_lines: true,
        ..tobj::LoadOptions::default()
    };
    let no_library = |_: &std::path::Path| Ok((Vec::new(), Default::default()));
    let (models, _) =
        tobj::load_obj_buf(&mut kept.as_slice(), &options, no_library).map_err(damaged)?;
    drop(kept);
    let mut facets: Vec<Facet> = Vec::new();
    for tobj::Model { mesh, .. } in models {
        facets.extend(triangles(&mesh)?);
    }
    Ok(Content {
        facets,
        unused: unused.told(),
        ..Content::default()
    })
}

/// The triangles of one mesh.
fn triangles(mesh: &tobj::Mesh) -> Result<Vec<Facet>, Fault> {
    let corner = |i: &u32| -> Option<[f32; 3]> {
        let from = 3 * *i as usize;
        Some([
            *mesh.positions.get(from)?,
            *mesh.positions.get(from + 1)?,
            *mesh.positions.get(from + 2)?,
        ])
    };
    let corners: Option<Vec<[f32; 3]>> = mesh.indices.iter().map(corner).collect();
    let corners = corners.ok_or_else(|| damaged("a face names a corner that is not there"))?;
    let all_triangles = vec![
        3;
        if mesh.face_arities.is_empty() {
            corners.len() / 3
        } else {
            0
        }
    ];
    let mut facets = Vec::new();
    let mut from = 0;
    for &arity in mesh.face_arities.iter().chain(&all_triangles) {
        let face = corners.get(from..from + arity as usize).unwrap_or_default();
        from += arity as usize;
        facets.extend(polygon::triangles(face).iter().map(|t| t.map(|k| face[k])));
    }
    Ok(facets)
}

/// The lines with corners and faces, without what faces say of textures and normals.
fn kept(bytes: &[u8], limits: &Limits, unused: &mut Unused) -> Result<Vec<u8>, Fault> {
    limits.check_memory(2 * bytes.len() as u64)?;
    let mut kept = Vec::with_capacity(bytes.len());
    let mut triangles = 0u64;
    let mut lines = bytes.split(|b| *b == b'\n');
    while let Some(line) = lines.next() {
        let line = joined(line, &mut lines);
        let mut words = line
            .split(u8::is_ascii_whitespace)
            .filter(|w| !w.is_empty());
        match words.next().unwrap_or_default() {
            b"v" => {
                kept.push(b'v');
                // behind the three coordinates: a weight that only curves use, or a colour
                for word in words.by_ref().take(3) {
                    kept.push(b' ');
                    kept.extend_from_slice(word);
                }
                kept.push(b'\n');
                unused.colours |= words.nth(2).is_some();
            }
            b"f" => {
                kept.push(b'f');
                let mut corners = 0;
                for word in words {
                    kept.push(b' ');
                    let end = word.iter().position(|b| *b == b'/').unwrap_or(word.len());
                    kept.extend_from_slice(&word[..end]);
                    corners += 1;
                }
                kept.push(b'\n');
                triangles += u64::saturating_sub(corners, 2);
            }
            b"surf" | b"curv" | b"curv2" => {
                return Err(Fault::NotRead {
                    kind: KIND,
                    what: "curved surfaces".to_owned(),
                    remedy: "turn them into a mesh",
                });
            }
            b"usemtl" | b"mtllib" => unused.materials = true,
            b"l" | b"p" => unused.lines = true,
            _ => {}
        }
    }
    limits.check_triangles(triangles)?;
    Ok(kept)
}

/// A line with those that it says it goes on in.
fn joined<'b>(first: &'b [u8], rest: &mut impl Iterator<Item = &'b [u8]>) -> Cow<'b, [u8]> {
    let mut line = Cow::Borrowed(first.trim_ascii());
    while let Some(part) = line.strip_suffix(b"\\") {
        let mut part = part.to_vec();
        part.push(b' ');
        let Some(next) = rest.next() else {
            return part.into();
        };
        part.extend_from_slice(next.trim_ascii());
        line = part.into();
    }
    line
}

fn damaged(what: impl ToString) -> Fault {
    Fault::damaged(KIND, what)
}
