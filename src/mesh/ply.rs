//! PLY: a header that names elements and their properties, then their values, as text or binary. Read by
//! `ply-rs-bw` into just the coordinates and the corners of faces.

use super::error::{Fault, shortened};
use super::polygon;
use super::read::{Content, Facet, Limits};
use ply_rs_bw::parser::{Parser, Reader};
use ply_rs_bw::ply::{ElementDef, Property, PropertyAccess, PropertyAccessResult};

const KIND: &str = "PLY";

/// Whether the first line is `ply`.
pub(super) fn looks_like(bytes: &[u8]) -> bool {
    bytes.starts_with(b"ply\n") || bytes.starts_with(b"ply\r")
}

#[derive(Default)]
struct Vertex([f32; 3]);

impl PropertyAccess for Vertex {
    fn new() -> Self {
        // a coordinate that the file does not give is not finite, and refused as such
        Vertex([f32::NAN; 3])
    }

    fn set_property(&mut self, name: &str, value: Property) -> PropertyAccessResult {
        let Some(k) = ["x", "y", "z"].iter().position(|n| *n == name) else {
            return PropertyAccessResult::Ignored;
        };
        self.0[k] = match value {
            Property::Float(x) => x,
            Property::Double(x) => x as f32,
            Property::Char(x) => x.into(),
            Property::UChar(x) => x.into(),
            Property::Short(x) => x.into(),
            Property::UShort(x) => x.into(),
            Property::Int(x) => x as f32,
            Property::UInt(x) => x as f32,
            _ => return PropertyAccessResult::UnsupportedType,
        };
        PropertyAccessResult::Set
    }
}

#[derive(Default)]
struct Face(Vec<u32>);

/// Names under which faces list their corners.
const CORNERS: [&str; 2] = ["vertex_indices", "vertex_index"];

impl PropertyAccess for Face {
    fn new() -> Self {
        Face::default()
    }

    fn set_property(&mut self, name: &str, value: Property) -> PropertyAccessResult {
        if !CORNERS.contains(&name) {
            return PropertyAccessResult::Ignored;
        }
        match value.to_u32_list() {
            Some(corners) => {
                self.0 = corners;
                PropertyAccessResult::Set
            }
            None => PropertyAccessResult::UnsupportedType,
        }
    }
}

/// An element that is not used.
struct Other;

impl PropertyAccess for Other {
    fn new() -> Self {
        Other
    }
}

/// The triangles of a PLY file; faces with more corners are cut.
///
/// # Errors
/// If it is damaged, larger than `limits`, or holds strips or curves in place of faces.
pub(super) fn content(bytes: &[u8], limits: &Limits) -> Result<Content, Fault> {
    let mut reader = Reader::new(bytes);
    let header = Parser::<Other>::new()
        .read_header(&mut reader)
        .map_err(damaged)?;
    let (mut vertices, mut faces): (Vec<Vertex>, Vec<Face>) = (Vec::new(), Vec::new());
    let mut content = Content::default();
    for element in header.elements.values() {
        // an element without properties takes no bytes, whatever its count: it would never end
        if element.count > bytes.len() {
            return Err(damaged(format!(
                "{} elements `{}` are declared, more than the file has bytes",
                element.count, element.name
            )));
        }
        match element.name.as_str() {
            "vertex" => {
                vertices = Parser::new()
                    .read_payload_for_element(&mut reader, element, &header)
                    .map_err(damaged)?;
            }
            "face" => {
                limits.check_triangles(element.count as u64)?;
                faces = Parser::new()
                    .read_payload_for_element(&mut reader, element, &header)
                    .map_err(damaged)?;
            }
            "tristrips" => {
                return Err(Fault::NotRead {
                    kind: KIND,
                    what: "strips of triangles".to_owned(),
                    remedy: "have single faces written",
                });
            }
            _ => {
                Parser::<Other>::new()
                    .read_payload_for_element(&mut reader, element, &header)
                    .map_err(damaged)?;
            }
        }
        note(element, &mut content.unused);
    }
    let count = faces.iter().map(|f| (f.0.len() as u64).saturating_sub(2));
    limits.check_triangles(count.sum())?;
    content.facets = facets(&vertices, &faces)?;
    Ok(content)
}

fn facets(vertices: &[Vertex], faces: &[Face]) -> Result<Vec<Facet>, Fault> {
    let mut facets = Vec::new();
    let mut corners = Vec::new();
    for (k, face) in faces.iter().enumerate() {
        corners.clear();
        for &v in &face.0 {
            let vertex = vertices.get(v as usize).ok_or_else(|| {
                damaged(format!(
                    "face {} names corner {v}, and there are {}",
                    k + 1,
                    vertices.len()
                ))
            })?;
            corners.push(vertex.0);
        }
        let cut = polygon::triangles(&corners);
        let facet = |t: &[usize; 3]| -> Facet { t.map(|k| corners[k]) };
        facets.extend(cut.iter().map(facet));
    }
    Ok(facets)
}

/// Says what of `element` is not used.
fn note(element: &ElementDef, unused: &mut Vec<String>) {
    let has = |names: &[&str]| names.iter().any(|n| element.properties.contains_key(*n));
    let mut say = |text: String| {
        if !unused.contains(&text) {
            unused.push(text);
        }
    };
    if has(&["red", "green", "blue", "diffuse_red"]) {
        say("The file has colours; only its shape is used.".to_owned());
    }
    if has(&["s", "t", "u", "v", "texcoord", "texture_u", "texnumber"]) {
        say("The file has textures; only its shape is used.".to_owned());
    }
    if element.count > 0 && !["vertex", "face"].contains(&element.name.as_str()) {
        let name = shortened(&element.name, 24);
        say(format!(
            "The file has elements `{name}`; they are left out."
        ));
    }
}

fn damaged(what: impl ToString) -> Fault {
    Fault::damaged(KIND, what)
}
