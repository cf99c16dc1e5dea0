//! 3MF (ISO/IEC 25422): a ZIP archive whose model part tells, in XML, a unit, objects and where each is built.
//!
//! Parts are read as streams by `zip` and `quick-xml`; nothing is unpacked to disk, a name only ever finds
//! another part of the same archive, and no entity is expanded.

mod package;
mod part;
#[cfg(test)]
mod tests;

use super::error::Fault;
use super::read::{Content, Facet, Limits};
use package::Package;
use part::{Item, Object, Part, Shape, Transform};
use std::collections::BTreeMap;

const KIND: &str = "3MF";
/// Objects within objects; none that a person made goes as deep.
const DEEPEST: usize = 64;

/// Whether the file starts like a ZIP archive.
pub(super) fn looks_like(bytes: &[u8]) -> bool {
    bytes.starts_with(b"PK\x03\x04")
}

/// The triangles of all that the file builds, in the file's unit.
///
/// # Errors
/// If it is damaged, larger than `limits`, or holds shapes that are no mesh.
pub(super) fn content(bytes: &[u8], limits: &Limits) -> Result<Content, Fault> {
    let mut package = Package::open(bytes, limits)?;
    let root = package.model_part()?;
    let mut parts = BTreeMap::new();
    parts.insert(root.clone(), Part::read(&mut package, &root, limits)?);
    // other parts are named in the root part only (3MF production extension)
    let mut names: Vec<String> = parts[&root].others().map(package::key).collect();
    names.sort_unstable();
    names.dedup();
    names.retain(|name| *name != root);
    for name in names {
        let part = Part::read(&mut package, &name, limits)?;
        parts.insert(name, part);
    }
    let mut assembly = Assembly {
        parts: &parts,
        root: &root,
        unbuilt: false,
        counts: BTreeMap::new(),
        content: Content {
            mm: Some(parts[&root].mm),
            ..Content::default()
        },
    };
    let build = &parts[&root].build;
    let mut count = 0u64;
    for item in build {
        count = count.saturating_add(assembly.count(&root, item, 0)?.triangles);
    }
    limits.check_triangles(count)?;
    assembly.content.facets.reserve_exact(count as usize);
    for item in build {
        assembly.place(&root, item, &part::UNMOVED)?;
    }
    let (unbuilt, mut content) = (assembly.unbuilt, assembly.content);
    let any = |of: fn(&Part) -> bool| parts.values().any(of);
    let mut say = |is: bool, text: &str| {
        if is {
            content.unused.push(text.to_owned());
        }
    };
    say(
        any(|p| p.colours),
        "The file has colours or materials; only its shape is used.",
    );
    say(
        any(|p| p.textures),
        "The file has textures; only its shape is used.",
    );
    say(
        any(|p| p.slices),
        "The file has slices for printing; only its meshes are used.",
    );
    say(
        unbuilt,
        "The file has supports or loose surfaces; they are left out.",
    );
    Ok(content)
}

/// What is put together from the parts.
struct Assembly<'p> {
    parts: &'p BTreeMap<String, Part>,
    root: &'p str,
    content: Content,
    /// Something that is built is no part of the model.
    unbuilt: bool,
    /// What an object is with all its components, by part and number.
    counts: BTreeMap<(String, u32), Count>,
}

/// What an object is with all its components.
#[derive(Clone, Copy)]
struct Count {
    triangles: u64,
    /// Objects within objects, itself included.
    deep: usize,
}

impl<'p> Assembly<'p> {
    /// The object that `item`, met in part `from`, names, and its part.
    fn find(&self, from: &str, item: &Item) -> Result<(&'p str, &'p Object), Fault> {
        let name = item
            .path
            .as_deref()
            .map_or_else(|| from.to_owned(), package::key);
        if item.path.is_some() && from != self.root {
            return Err(damaged(format!("{from} names an object of another part")));
        }
        self.parts
            .get_key_value(&name)
            .and_then(|(name, part)| Some((name.as_str(), part.objects.get(&item.object)?)))
            .ok_or_else(|| damaged(format!("object {} is not there", item.object)))
    }

    /// What `item` builds, `outer` objects deep; components are counted once each, however often they are used.
    fn count(&mut self, from: &str, item: &Item, outer: usize) -> Result<Count, Fault> {
        let (part, object) = self.find(from, item)?;
        let key = (part.to_owned(), item.object);
        let too_deep = || {
            damaged(format!(
                "object {} is made of itself, or nested deeper than {DEEPEST}",
                item.object
            ))
        };
        if outer > DEEPEST {
            return Err(too_deep());
        }
        if let Some(&count) = self.counts.get(&key) {
            // counted from within, it may yet stand too deep here
            return match outer + count.deep > DEEPEST + 1 {
                true => Err(too_deep()),
                false => Ok(count),
            };
        }
        let mut count = Count {
            triangles: 0,
            deep: 1,
        };
        match &object.shape {
            Shape::Mesh { triangles, .. } => count.triangles = triangles.len() as u64,
            Shape::Components(components) => {
                for component in components {
                    let inner = self.count(part, component, outer + 1)?;
                    count.triangles = count.triangles.saturating_add(inner.triangles);
                    count.deep = count.deep.max(inner.deep + 1);
                }
            }
        }
        self.counts.insert(key, count);
        Ok(count)
    }

    /// Adds the triangles that `item` builds, moved by its own transform and then by `outer`.
    fn place(&mut self, from: &str, item: &Item, outer: &Transform) -> Result<(), Fault> {
        let (part, object) = self.find(from, item)?;
        if !object.solid {
            self.unbuilt = true;
            return Ok(());
        }
        // many times nothing would take as long as many times something
        let count = self.counts.get(&(part.to_owned(), item.object));
        if count.is_some_and(|count| count.triangles == 0) {
            return Ok(());
        }
        let moved = part::then(&item.transform, outer);
        match &object.shape {
            Shape::Components(components) => {
                for component in components {
                    self.place(part, component, &moved)?;
                }
            }
            Shape::Mesh {
                vertices,
                triangles,
            } => {
                let scale = self.parts[part].mm / self.parts[self.root].mm;
                let corner = |v: &u32| -> Option<[f32; 3]> {
                    let p = vertices.get(*v as usize)?.map(|x| x * scale);
                    Some(part::moved(&moved, p).map(|x| x as f32))
                };
                let mirrored = part::determinant(&moved) < 0.0;
                for t in triangles {
                    let [Some(a), Some(b), Some(c)] = [&t[0], &t[1], &t[2]].map(corner) else {
                        return Err(damaged(format!(
                            "a triangle of object {} names a corner that is not there",
                            item.object
                        )));
                    };
                    let facet: Facet = if mirrored { [a, c, b] } else { [a, b, c] };
                    self.content.facets.push(facet);
                }
            }
        }
        Ok(())
    }
}

fn damaged(what: impl ToString) -> Fault {
    Fault::damaged(KIND, what)
}

fn not_read(what: impl ToString) -> Fault {
    Fault::NotRead {
        kind: KIND,
        what: what.to_string(),
        remedy: "turn it into a plain mesh",
    }
}
