//! Models: what a file holds, as bodies fit for use.

use super::bodies::{self, Group};
use super::error::{Fault, ReadError};
use super::mend::{self, Mended, Mends};
use super::shells::{self, Shell};
use super::{Health, Mesh, Point, Topology};
use crate::units::Unit;
use rayon::prelude::*;

/// Largest longest side of a model, mm: 100 m.
const LARGEST: f64 = 1e5;
/// Smallest longest side of a model, mm: 10 µm.
const SMALLEST: f64 = 0.01;
/// A model must be this many times its rounding across.
const RESOLVED: f64 = 100.0;

/// What a file holds, in mm and in its own coordinates: those of the report's places.
#[derive(Debug, Clone)]
pub struct Model {
    /// Name of the file, without its folder.
    pub name: String,
    /// Bodies, largest volume first; at least one.
    pub bodies: Vec<Body>,
    /// The unit in which the file's numbers were taken; for a file that states its own, mm.
    pub unit: Unit,
    /// Millimetres in the unit that the file states; `None` where it states none.
    pub stated_mm: Option<f64>,
    /// What the file holds and was not used, a sentence each.
    pub unused: Vec<String>,
    /// Spacing of the file's 32-bit numbers at its largest coordinate, mm.
    pub rounding: f64,
    /// What was left out.
    pub dropped: Dropped,
}

/// How many triangles of the whole file were left out.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Dropped {
    /// Without area.
    pub degenerate: usize,
    /// Repeated.
    pub duplicated: usize,
    /// Of pieces of surface that bound no volume.
    pub flat: usize,
}

/// A solid.
#[derive(Debug, Clone, Default)]
pub struct Body {
    /// Its surface; every vertex is in use.
    pub mesh: Mesh,
    /// The edges of `mesh`.
    pub topology: Topology,
    /// How sound the mesh is.
    pub health: Health,
    /// Number of outward shells: more than one where pieces overlap, such as a half and its pins.
    pub pieces: usize,
    /// Number of voids.
    pub voids: usize,
    /// Its first triangle among those kept of the whole file: tells the file's own order of bodies.
    pub first_triangle: usize,
}

impl Model {
    /// Finds the bodies of `mesh`, which is welded and given in mm with coordinates rounded to `rounding` mm.
    ///
    /// Drops triangles without area and repeated ones, turns those wound against their neighbours and
    /// bodies given inside out, and closes seams that differ by rounding; the bodies' health tells.
    ///
    /// # Errors
    /// If a coordinate is not finite, there is no triangle, nothing has area or volume, the model is more than 100 m or less than
    /// 10 µm across, or less than 100 times `rounding`.
    ///
    /// # Panics
    /// If a corner is out of range.
    pub fn from_mesh(
        name: &str,
        mesh: Mesh,
        unit: Unit,
        rounding: f64,
    ) -> Result<Model, ReadError> {
        let (bodies, dropped) = bodies_of(mesh, rounding).map_err(|fault| fault.in_file(name))?;
        Ok(Model {
            name: name.to_owned(),
            bodies,
            unit,
            stated_mm: None,
            unused: Vec::new(),
            rounding,
            dropped,
        })
    }

    /// Whether the coordinates are so coarse that a machinist would notice: their spacing is over 1 µm,
    /// as happens far from the origin.
    pub fn precision_lost(&self) -> bool {
        self.rounding > 1e-3
    }
}

fn bodies_of(mesh: Mesh, rounding: f64) -> Result<(Vec<Body>, Dropped), Fault> {
    check_size(&mesh, rounding)?;
    let given = mesh.triangles.len();
    let Mended {
        mut mesh,
        mut topology,
        mends,
    } = mend::mend(mesh, rounding);
    if mesh.triangles.is_empty() {
        return Err(Fault::NoArea { triangles: given });
    }
    let (mut shells, flat): (Vec<Shell>, Vec<Shell>) = shells::shells(&mesh, &topology)
        .into_iter()
        .partition(|shell| shell.has_volume(rounding));
    if shells.is_empty() {
        return Err(Fault::NoVolume);
    }
    let dropped = Dropped {
        degenerate: mends.degenerate.len(),
        duplicated: mends.duplicated.len(),
        flat: flat.iter().map(|shell| shell.triangles.len()).sum(),
    };
    let (groups, turned) = bodies::bodies(&mut mesh, &mut shells);
    if turned {
        topology = Topology::new(&mesh);
    }
    let at = |&v: &u32| (v, mesh.vertices[v as usize]);
    let flipped: Vec<(u32, Point)> = mends.flipped.iter().map(at).collect();
    let (mut bodies, owner) = if groups.len() == 1 && flat.is_empty() && all_used(&mesh) {
        let body = Body {
            mesh,
            topology,
            ..Body::default()
        };
        (vec![body], Vec::new())
    } else {
        separate(&mesh, &shells, &groups)
    };
    bodies
        .par_iter_mut()
        .zip(&groups)
        .for_each(|(body, group)| {
            body.health = Health::of(&body.mesh, &body.topology);
            body.health.inside_out = group.inside_out;
            body.pieces = group.outer.len();
            body.voids = group.voids.len();
        });
    note_mends(&mut bodies, &owner, &mends, &flipped);
    Ok((bodies, dropped))
}

fn check_size(mesh: &Mesh, rounding: f64) -> Result<(), Fault> {
    let finite = |p: &Point| p.iter().all(|x| x.is_finite());
    if !mesh.vertices.iter().all(finite) {
        let whole = |t: &[u32; 3]| t.iter().all(|&v| finite(&mesh.vertices[v as usize]));
        // a vertex that no triangle uses does no harm
        if let Some(triangle) = mesh.triangles.iter().position(|t| !whole(t)) {
            return Err(Fault::NotFinite {
                triangle,
                line: None,
            });
        }
    }
    let (lo, hi) = mesh.bounds().ok_or(Fault::NoTriangles)?;
    let size = (hi - lo).amax();
    if size > LARGEST {
        Err(Fault::TooLarge {
            size,
            limit: LARGEST,
        })
    } else if size < SMALLEST {
        Err(Fault::TooSmall {
            size,
            limit: SMALLEST,
        })
    } else if rounding * RESOLVED > size {
        Err(Fault::PrecisionLost { rounding, size })
    } else {
        Ok(())
    }
}

fn all_used(mesh: &Mesh) -> bool {
    let mut used = vec![false; mesh.vertices.len()];
    for &v in mesh.triangles.as_flattened() {
        used[v as usize] = true;
    }
    !used.contains(&false)
}

/// Gives each group a mesh of its own, and says for each vertex which body it went to first.
fn separate(mesh: &Mesh, shells: &[Shell], groups: &[Group]) -> (Vec<Body>, Vec<u32>) {
    const NONE: u32 = u32::MAX;
    let mut owner = vec![NONE; mesh.vertices.len()];
    let mut number = vec![NONE; mesh.vertices.len()];
    let mut bodies = Vec::with_capacity(groups.len());
    for (b, group) in groups.iter().enumerate() {
        let members = group.outer.iter().chain(&group.voids);
        let mut triangles: Vec<u32> = members
            .flat_map(|&s| &shells[s].triangles)
            .copied()
            .collect();
        triangles.sort_unstable();
        let first_triangle = triangles.first().map_or(0, |&t| t as usize);
        let mut part = Mesh::default();
        let mut vertices = Vec::new();
        for t in triangles {
            part.triangles.push(mesh.triangles[t as usize].map(|v| {
                let number = &mut number[v as usize];
                if *number == NONE {
                    *number = vertices.len() as u32;
                    vertices.push(v);
                }
                *number
            }));
        }
        for &v in &vertices {
            part.vertices.push(mesh.vertices[v as usize]);
            number[v as usize] = NONE;
            if owner[v as usize] == NONE {
                owner[v as usize] = b as u32;
            }
        }
        bodies.push(Body {
            mesh: part,
            first_triangle,
            ..Body::default()
        });
    }
    bodies
        .par_iter_mut()
        .for_each(|body| body.topology = Topology::new(&body.mesh));
    (bodies, owner)
}

/// Tells each body what of it was mended; what belongs to none goes to the largest.
fn note_mends(bodies: &mut [Body], owner: &[u32], mends: &Mends, flipped: &[(u32, Point)]) {
    let body = |v: u32| {
        let owner = owner.get(v as usize).map_or(0, |&b| b as usize);
        if owner < bodies.len() { owner } else { 0 }
    };
    let count = |vertices: &[u32]| {
        let mut counts = vec![0; bodies.len()];
        vertices.iter().for_each(|&v| counts[body(v)] += 1);
        counts
    };
    let (degenerate, duplicated) = (count(&mends.degenerate), count(&mends.duplicated));
    let flipped: Vec<(usize, Point)> = flipped.iter().map(|&(v, p)| (body(v), p)).collect();
    for (b, body) in bodies.iter_mut().enumerate() {
        body.health.degenerate = degenerate[b];
        body.health.duplicated = duplicated[b];
    }
    for (b, place) in flipped {
        bodies[b].health.note_flipped(place);
    }
}
