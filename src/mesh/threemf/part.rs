//! One model part: its unit, its objects and what it builds.

use super::package::{Package, attribute, name_of};
use super::{damaged, not_read};
use crate::mesh::error::{Fault, shortened};
use crate::mesh::read::Limits;
use quick_xml::events::BytesStart;
use std::collections::BTreeMap;

/// Twelve numbers of a transform as 3MF writes them: three rows that x, y and z are multiplied with, then the shift.
pub(super) type Transform = [f64; 12];

/// The transform that moves nothing.
pub(super) const UNMOVED: Transform = [1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0];

/// `p` moved by `t`.
pub(super) fn moved(t: &Transform, p: [f64; 3]) -> [f64; 3] {
    [0, 1, 2].map(|k| p[0] * t[k] + p[1] * t[3 + k] + p[2] * t[6 + k] + t[9 + k])
}

/// First `a`, then `b`.
pub(super) fn then(a: &Transform, b: &Transform) -> Transform {
    let mut both = [0.0; 12];
    for row in 0..4 {
        let p = [a[3 * row], a[3 * row + 1], a[3 * row + 2]];
        let q = moved(b, p);
        for k in 0..3 {
            // rows turn only; the shift moves too
            both[3 * row + k] = q[k] - if row < 3 { b[9 + k] } else { 0.0 };
        }
    }
    both
}

/// Negative for a transform that mirrors.
pub(super) fn determinant(t: &Transform) -> f64 {
    nalgebra::Matrix3::from_row_slice(&t[..9]).determinant()
}

/// An object to be put somewhere.
pub(super) struct Item {
    /// The part that it is in, where that is another one.
    pub(super) path: Option<String>,
    pub(super) object: u32,
    pub(super) transform: Transform,
}

/// What an object is made of.
pub(super) enum Shape {
    Mesh {
        vertices: Vec<[f64; 3]>,
        triangles: Vec<[u32; 3]>,
    },
    Components(Vec<Item>),
}

pub(super) struct Object {
    /// Belongs to the model, rather than to what holds it up while it is printed.
    pub(super) solid: bool,
    pub(super) shape: Shape,
}

/// A model part.
pub(super) struct Part {
    /// Millimetres in its unit.
    pub(super) mm: f64,
    pub(super) objects: BTreeMap<u32, Object>,
    pub(super) build: Vec<Item>,
    pub(super) colours: bool,
    pub(super) textures: bool,
    pub(super) slices: bool,
}

/// Bytes that a vertex, a triangle, an object or a component takes, with room to grow.
const BYTES_PER_ENTITY: u64 = 300;
/// Most extensions that a file may require; there are not as many.
const MOST_REQUIRED: usize = 64;

/// Extensions that a file may require and that are understood, or change no shape.
const KNOWN: [&str; 3] = ["/production/", "/material/", "/trianglesets/"];

impl Part {
    /// Reads the part with the key `name`.
    pub(super) fn read(package: &mut Package, name: &str, limits: &Limits) -> Result<Part, Fault> {
        let mut part = Part {
            mm: 1.0,
            objects: BTreeMap::new(),
            build: Vec::new(),
            colours: false,
            textures: false,
            slices: false,
        };
        let (mut current, mut count) = (None, 0u64);
        package.each_element(name, |element| {
            part.element(element, &mut current, &mut count)?;
            if count.is_multiple_of(1 << 16) {
                limits.check_memory(count * BYTES_PER_ENTITY)?;
            }
            Ok(())
        })?;
        Ok(part)
    }

    /// Keys of the other parts that are named.
    pub(super) fn others(&self) -> impl Iterator<Item = &str> {
        let components = self
            .objects
            .values()
            .flat_map(|object| match &object.shape {
                Shape::Components(items) => items.as_slice(),
                Shape::Mesh { .. } => &[],
            });
        let items = self.build.iter().chain(components);
        items.filter_map(|item| item.path.as_deref())
    }

    /// Takes one element: `current` is the object begun last, `count` that of all entities so far.
    fn element(
        &mut self,
        element: &BytesStart,
        current: &mut Option<u32>,
        count: &mut u64,
    ) -> Result<(), Fault> {
        match name_of(element) {
            "model" => {
                self.mm = unit(attribute(element, "unit")?.as_deref())?;
                required(element)?;
            }
            "object" => {
                *count += 1;
                *current = Some(self.object(element)?);
            }
            "mesh" => {
                *self.shape(*current)? = Shape::Mesh {
                    vertices: Vec::new(),
                    triangles: Vec::new(),
                };
            }
            "vertex" => {
                let place = vertex(element)?;
                if let Shape::Mesh { vertices, .. } = self.shape(*current)? {
                    vertices.push(place);
                    *count += 1;
                }
            }
            "triangle" => {
                let (corners, coloured) = triangle(element)?;
                self.colours |= coloured;
                if let Shape::Mesh { triangles, .. } = self.shape(*current)? {
                    triangles.push(corners);
                    *count += 1;
                }
            }
            "component" => {
                let item = item(element)?;
                *count += 1;
                match self.shape(*current)? {
                    Shape::Components(items) => items.push(item),
                    Shape::Mesh { .. } => return Err(damaged("a mesh with components")),
                }
            }
            "item" => {
                self.build.push(item(element)?);
                *count += 1;
            }
            "basematerials" | "colorgroup" | "compositematerials" => self.colours = true,
            "texture2d" | "texture2dgroup" => self.textures = true,
            "slicestack" => self.slices = true,
            name => return refused(name).map_or(Ok(()), |what| Err(not_read(what))),
        }
        Ok(())
    }

    /// Begins an object; its number.
    fn object(&mut self, element: &BytesStart) -> Result<u32, Fault> {
        let id = number(element, "id")?;
        let kind = attribute(element, "type")?;
        let object = Object {
            solid: matches!(kind.as_deref(), None | Some("model" | "solidsupport")),
            shape: Shape::Components(Vec::new()),
        };
        if self.objects.insert(id, object).is_some() {
            return Err(damaged(format!("there are two objects {id}")));
        }
        Ok(id)
    }

    fn shape(&mut self, current: Option<u32>) -> Result<&mut Shape, Fault> {
        current
            .and_then(|id| self.objects.get_mut(&id))
            .map(|object| &mut object.shape)
            .ok_or_else(|| damaged("a mesh outside any object"))
    }
}

/// What an element stands for that makes a shape which is not read.
fn refused(name: &str) -> Option<&'static str> {
    match name {
        "beamlattice" => Some("a beam lattice"),
        "displacementmesh" => Some("a mesh with displacement"),
        "booleanshape" => Some("a shape cut by others"),
        "levelset" | "volumetricdata" | "implicitfunction" => Some("a shape given as a function"),
        _ => None,
    }
}

/// Millimetres in a unit of the format.
fn unit(name: Option<&str>) -> Result<f64, Fault> {
    Ok(match name {
        None | Some("millimeter") => 1.0,
        Some("micron") => 1e-3,
        Some("centimeter") => 10.0,
        Some("inch") => 25.4,
        Some("foot") => 304.8,
        Some("meter") => 1000.0,
        Some(other) => {
            let other = shortened(other, 24);
            return Err(damaged(format!("`{other}` is no unit of the format")));
        }
    })
}

/// Refuses a file that requires an extension which changes shapes in a way that is not read.
fn required(model: &BytesStart) -> Result<(), Fault> {
    let required = attribute(model, "requiredextensions")?.unwrap_or_default();
    if required.split_whitespace().count() > MOST_REQUIRED {
        return Err(damaged("more extensions are required than there are"));
    }
    for prefix in required.split_whitespace() {
        let mut space = String::new();
        for attribute in model.attributes().with_checks(false) {
            let attribute = attribute.map_err(damaged)?;
            if attribute.key.as_ref().strip_prefix("xmlns:") == Some(prefix) {
                space = attribute.value.to_ascii_lowercase();
            }
        }
        if !KNOWN.iter().any(|known| space.contains(known)) {
            // the part of the address that names the extension
            let mut steps = space.rsplit('/').filter(|s| s.parse::<u32>().is_err());
            let name = shortened(steps.next().unwrap_or(prefix), 32);
            return Err(not_read(format!("the extension `{name}`")));
        }
    }
    Ok(())
}

fn vertex(element: &BytesStart) -> Result<[f64; 3], Fault> {
    let [mut x, mut y, mut z] = [None; 3];
    each_attribute(element, |name, value| {
        match name {
            "x" => x = real(value),
            "y" => y = real(value),
            "z" => z = real(value),
            _ => {}
        }
        Ok(())
    })?;
    match (x, y, z) {
        (Some(x), Some(y), Some(z)) => Ok([x, y, z]),
        _ => Err(damaged(format!(
            "a vertex without place: {}",
            shown(element)
        ))),
    }
}

/// A triangle's corners, and whether it has a property of its own, as a colour.
fn triangle(element: &BytesStart) -> Result<([u32; 3], bool), Fault> {
    let mut corners = [None; 3];
    let mut coloured = false;
    each_attribute(element, |name, value| {
        match name {
            "v1" => corners[0] = value.trim().parse().ok(),
            "v2" => corners[1] = value.trim().parse().ok(),
            "v3" => corners[2] = value.trim().parse().ok(),
            "pid" => coloured = true,
            _ => {}
        }
        Ok(())
    })?;
    match corners {
        [Some(a), Some(b), Some(c)] => Ok(([a, b, c], coloured)),
        _ => Err(damaged(format!(
            "a triangle without corners: {}",
            shown(element)
        ))),
    }
}

fn item(element: &BytesStart) -> Result<Item, Fault> {
    let transform = match attribute(element, "transform")? {
        None => UNMOVED,
        Some(text) => {
            let numbers: Option<Vec<f64>> = text.split_whitespace().map(real).collect();
            numbers
                .and_then(|numbers| numbers.try_into().ok())
                .ok_or_else(|| damaged("a transform is not twelve numbers"))?
        }
    };
    Ok(Item {
        path: attribute(element, "path")?,
        object: number(element, "objectid")?,
        transform,
    })
}

fn number(element: &BytesStart, name: &str) -> Result<u32, Fault> {
    attribute(element, name)?
        .and_then(|text| text.trim().parse().ok())
        .ok_or_else(|| damaged(format!("no {name}: {}", shown(element))))
}

fn real(text: &str) -> Option<f64> {
    text.trim().parse().ok()
}

/// Shows `each` the attributes without prefix, as they are written: numbers need no entities.
fn each_attribute(
    element: &BytesStart,
    mut each: impl FnMut(&str, &str) -> Result<(), Fault>,
) -> Result<(), Fault> {
    for attribute in element.attributes().with_checks(false) {
        let attribute = attribute.map_err(damaged)?;
        each(attribute.key.as_ref(), &attribute.value)?;
    }
    Ok(())
}

/// The start of an element, for a message.
fn shown(element: &BytesStart) -> String {
    shortened(element, 48)
}
