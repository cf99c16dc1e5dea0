//! The two blocks that a flat-parted mold of the body would be.

use super::BodyError;
use crate::mesh::{Mesh, Point};
use crate::setup::Frame;
use spade::handles::FixedVertexHandle;
use spade::{ConstrainedDelaunayTriangulation, Point2, Triangulation};
use std::collections::btree_map::Entry;
use std::collections::{BTreeMap, HashMap};

/// One virtual half: a block with the body taken out of it.
#[derive(Debug, Clone, PartialEq)]
pub struct VirtualHalf {
    /// `lower`, whose tool axis is the pull direction, or `upper`, whose tool axis is against it.
    pub name: &'static str,
    /// Corners of its triangles, counter-clockwise seen from outside the material, in the coordinates of the enlarged body, mm.
    pub facets: Vec<[[f32; 3]; 3]>,
    /// Whether it has a cavity at all; else it is a plain block.
    pub has_cavity: bool,
}

impl VirtualHalf {
    /// The half as a binary STL file, in millimetres.
    pub fn stl(&self) -> Vec<u8> {
        let mut bytes = vec![b' '; 80];
        bytes.extend((self.facets.len() as u32).to_le_bytes());
        for facet in &self.facets {
            let [a, b, c] = facet.map(|p| Point::from(p.map(f64::from)));
            let normal = (b - a)
                .cross(&(c - a))
                .try_normalize(0.0)
                .unwrap_or_default();
            let numbers = normal.iter().map(|x| *x as f32);
            let numbers = numbers.chain(facet.as_flattened().iter().copied());
            bytes.extend(numbers.flat_map(f32::to_le_bytes));
            bytes.extend([0; 2]);
        }
        bytes
    }
}

/// Cuts the body at the parting level of `frame` and builds the lower and the upper half around it, blocks that are
/// `margin` mm larger than the body on all sides. Corners closer to the level than `tolerance` mm are put on it.
///
/// # Errors
/// If the body's outline at the level crosses itself or does not close.
pub(super) fn build(
    body: &Mesh,
    frame: &Frame,
    margin: f64,
    tolerance: f64,
) -> Result<[VirtualHalf; 2], BodyError> {
    let mut tool = body.transformed(&frame.to_tool);
    for p in &mut tool.vertices {
        if p.z.abs() <= tolerance {
            p.z = 0.0;
        }
    }
    let (lo, hi) = tool.bounds().ok_or(BodyError::NoHalves("it is empty"))?;
    let block = [
        Point::new(lo.x - margin, lo.y - margin, lo.z.min(0.0) - margin),
        Point::new(hi.x + margin, hi.y + margin, hi.z.max(0.0) + margin),
    ];
    Ok([
        half("lower", &tool, frame, &block, -1.0)?,
        half("upper", &tool, frame, &block, 1.0)?,
    ])
}

/// The half on the side of the level that `side` is the sign of.
fn half(
    name: &'static str,
    tool: &Mesh,
    frame: &Frame,
    block: &[Point; 2],
    side: f64,
) -> Result<VirtualHalf, BodyError> {
    let walls = Corners::rounded(&clipped(tool, side), frame);
    let mut corners = walls.corners;
    let mut triangles = walls.triangles;
    let has_cavity = !triangles.is_empty();
    let rim = rim(&triangles);
    // the wall of the cavity faces the other way than the body that it is taken from
    triangles.iter_mut().for_each(|t| t.swap(1, 2));
    let far = if side < 0.0 { block[0].z } else { block[1].z };
    let outline = [(0, 0), (1, 0), (1, 1), (0, 1)].map(|(i, j)| [block[i].x, block[j].y]);
    let mut corner = |[x, y]: [f64; 2], z: f64| {
        corners.push(rounded(
            &frame.to_tool.inverse_transform_point(&Point::new(x, y, z)),
        ));
        corners.len() as u32 - 1
    };
    let near = outline.map(|p| corner(p, 0.0));
    let far = outline.map(|p| corner(p, far));
    let flat = |v: u32| {
        let p = frame.to_tool * Point::from(corners[v as usize].map(f64::from));
        Point2::new(p.x, p.y)
    };
    let mut outside = parting_face(&rim, &near, flat)?;
    for k in 0..4 {
        let next = (k + 1) % 4;
        outside.push([near[k], far[k], far[next]]);
        outside.push([near[k], far[next], near[next]]);
    }
    outside.push([far[0], far[2], far[1]]);
    outside.push([far[0], far[3], far[2]]);
    if side > 0.0 {
        outside.iter_mut().for_each(|t| t.swap(1, 2));
    }
    triangles.extend(outside);
    Ok(VirtualHalf {
        name,
        facets: triangles
            .iter()
            .map(|t| t.map(|v| corners[v as usize]))
            .collect(),
        has_cavity,
    })
}

/// The part of the mesh on one side of Z = 0, without what lies in it.
fn clipped(mesh: &Mesh, side: f64) -> Mesh {
    let mut clipped = Mesh {
        vertices: mesh.vertices.clone(),
        triangles: Vec::new(),
    };
    let mut cuts: HashMap<[u32; 2], u32> = HashMap::new();
    for &t in &mesh.triangles {
        let z = t.map(|v| side * mesh.vertices[v as usize].z);
        if z.iter().all(|z| *z <= 0.0) {
            continue;
        }
        if z.iter().all(|z| *z >= 0.0) {
            clipped.triangles.push(t);
            continue;
        }
        let mut kept = Vec::with_capacity(4);
        for k in 0..3 {
            let next = (k + 1) % 3;
            if z[k] >= 0.0 {
                kept.push(t[k]);
            }
            if z[k] * z[next] < 0.0 {
                // from the lower number to the higher, so that both triangles and both halves get the same place
                let ends = [t[k].min(t[next]), t[k].max(t[next])];
                let vertices = &mut clipped.vertices;
                kept.push(*cuts.entry(ends).or_insert_with(|| {
                    let [a, b] = ends.map(|v| mesh.vertices[v as usize]);
                    let mut p = a + (b - a) * (a.z / (a.z - b.z));
                    p.z = 0.0;
                    vertices.push(p);
                    vertices.len() as u32 - 1
                }));
            }
        }
        for k in 2..kept.len() {
            clipped.triangles.push([kept[0], kept[k - 1], kept[k]]);
        }
    }
    clipped
}

/// Triangles over corners as a file holds them, each place once.
struct Corners {
    corners: Vec<[f32; 3]>,
    triangles: Vec<[u32; 3]>,
}

impl Corners {
    /// The corners of `mesh` in the body's coordinates, rounded to 32 bits; triangles that lose a corner are left out.
    fn rounded(mesh: &Mesh, frame: &Frame) -> Corners {
        let mut found = Corners {
            corners: Vec::new(),
            triangles: Vec::new(),
        };
        let mut numbers: HashMap<[u32; 3], u32> = HashMap::new();
        for t in &mesh.triangles {
            let t = t.map(|v| {
                let p = rounded(
                    &frame
                        .to_tool
                        .inverse_transform_point(&mesh.vertices[v as usize]),
                );
                *numbers.entry(p.map(f32::to_bits)).or_insert_with(|| {
                    found.corners.push(p);
                    found.corners.len() as u32 - 1
                })
            });
            if t[0] != t[1] && t[1] != t[2] && t[2] != t[0] {
                found.triangles.push(t);
            }
        }
        found
    }
}

fn rounded(p: &Point) -> [f32; 3] {
    // adding 0 turns −0 into 0, so that both are one place
    [p.x, p.y, p.z].map(|c| c as f32 + 0.0)
}

/// Sides of triangles that no other triangle runs along in the opposite direction.
fn rim(triangles: &[[u32; 3]]) -> Vec<[u32; 2]> {
    let mut sides: BTreeMap<[u32; 2], i32> = BTreeMap::new();
    for t in triangles {
        for k in 0..3 {
            let [a, b] = [t[k], t[(k + 1) % 3]];
            *sides.entry([a.min(b), a.max(b)]).or_default() += if a < b { 1 } else { -1 };
        }
    }
    let directed = |([a, b], n): ([u32; 2], i32)| if n > 0 { [a, b] } else { [b, a] };
    sides
        .into_iter()
        .filter(|(_, n)| *n != 0)
        .map(directed)
        .collect()
}

/// The triangles of the face between the block's outline and the rim of the cavity, facing up.
fn parting_face(
    rim: &[[u32; 2]],
    outline: &[u32; 4],
    flat: impl Fn(u32) -> Point2<f64>,
) -> Result<Vec<[u32; 3]>, BodyError> {
    let crossing = BodyError::NoHalves(
        "its outline at the parting level crosses itself; join its overlapping pieces into one solid, or take another level",
    );
    let mut plan = ConstrainedDelaunayTriangulation::<Point2<f64>>::new();
    let mut handles: BTreeMap<u32, FixedVertexHandle> = BTreeMap::new();
    let mut numbers: HashMap<FixedVertexHandle, u32> = HashMap::new();
    for &v in outline.iter().chain(rim.as_flattened()) {
        if let Entry::Vacant(free) = handles.entry(v) {
            let handle = plan.insert(flat(v)).map_err(|_| crossing.clone())?;
            free.insert(handle);
            numbers.entry(handle).or_insert(v);
        }
    }
    for [a, b] in rim {
        let (a, b) = (handles[a], handles[b]);
        if a == b {
            continue;
        }
        if !plan.can_add_constraint(a, b) {
            return Err(crossing);
        }
        plan.add_constraint(a, b);
    }
    // from the outline inwards; what lies behind the rim is the cavity's mouth
    let mut inside: BTreeMap<_, bool> = BTreeMap::new();
    let mut ahead = Vec::new();
    for face in plan.inner_faces() {
        for edge in face.adjacent_edges() {
            if edge.rev().face().is_outer() && !inside.contains_key(&face.fix()) {
                inside.insert(face.fix(), false);
                ahead.push(face.fix());
            }
        }
    }
    while let Some(face) = ahead.pop() {
        let within = inside[&face];
        for edge in plan.face(face).adjacent_edges() {
            let Some(next) = edge.rev().face().as_inner() else {
                continue;
            };
            let next_within = within != edge.is_constraint_edge();
            match inside.insert(next.fix(), next_within) {
                None => ahead.push(next.fix()),
                Some(before) if before != next_within => return Err(crossing),
                Some(_) => {}
            }
        }
    }
    let face = plan
        .inner_faces()
        .filter(|face| inside.get(&face.fix()) == Some(&false));
    Ok(face
        .map(|face| face.vertices().map(|v| numbers[&v.fix()]))
        .collect())
}
