//! What to do about the meshes as they were given.

use super::super::model::{Finding, Half, MeshHealth, Place, RegionKind, Verdict};
use crate::mesh::{Health, Model, Point};

/// Everything worth saying about files, whatever half is in them.
pub(super) fn of_files(models: &[Model], found: &mut Vec<Finding>) {
    for model in models.iter().filter(|m| m.precision_lost()) {
        let message = format!(
            "{}: the model lies so far from the origin that its coordinates are coarser than a micrometre. \
             Move it to the origin and export again.",
            model.name
        );
        found.push(Finding {
            value: Some(model.rounding),
            unit: Some("mm".into()),
            limit: Some(0.001),
            ..Finding::plain("mesh", Verdict::Watch, &message)
        });
    }
    for model in models.iter().filter(|m| m.dropped.flat > 0) {
        let message = format!(
            "{}: triangles that enclose no volume were left out. If they stand for a wall, give it thickness in the design; \
             else the figures stand.",
            model.name
        );
        found.push(Finding {
            value: Some(model.dropped.flat as f64),
            ..Finding::plain("mesh", Verdict::Watch, &message)
        });
    }
    for (model, unused) in models
        .iter()
        .flat_map(|m| m.unused.iter().map(move |u| (m, u)))
    {
        let message = format!("{}: {unused}", model.name);
        found.push(Finding::plain("mesh", Verdict::Pass, &message));
    }
}

/// Everything worth saying about the mesh of one half.
pub(super) fn of_half(half: &Half, health: &Health, found: &mut Vec<Finding>) {
    let m = &half.mesh;
    found.extend(two_readings(m));
    found.extend(undecided(m));
    defects(m, health, found);
    found.extend(sealed_voids(half));
}
fn two_readings(m: &MeshHealth) -> Option<Finding> {
    (m.two_readings_edges > 0).then(|| Finding {
        value: Some(m.two_readings_edges as f64),
        ..Finding::plain(
            "mesh",
            Verdict::Unsure,
            "Too close to call: edges turn near the crease angle, and the mesh may stand for a coarsely faceted curve or for \
             a shape with these edges. Figures hold for both; what differs is unsure. Export with a finer chord tolerance \
             (facets that turn by less than half the crease angle), or set --crease well above their turn for a curve, \
             well below it for edges.",
        )
    })
}

/// What leaves open how a hollow is bounded, the first cause of those there are.
fn undecided(m: &MeshHealth) -> Option<Finding> {
    let at = m.undecided_at_mm?;
    let (count, message) = if m.open_edges > 0 {
        (
            m.open_edges,
            "The mesh is open at a hollow: edges with a triangle on one side only. What bounds the hollow there is not \
             told, so nothing passes; close the gap in the design and export again.",
        )
    } else if m.nonmanifold_edges > 0 {
        (
            m.nonmanifold_edges,
            "At a hollow more triangles meet along an edge than can be paired. What bounds the hollow there is not told, so \
             nothing passes; join or separate the pieces in the design and export again.",
        )
    } else {
        (
            m.crossed_columns,
            "The surface runs through itself and is inside out in a hollow. What bounds the hollow there is not told, so \
             nothing passes; mend the shape in the design and export again.",
        )
    };
    Some(Finding {
        at_mm: Some(at),
        value: Some(count as f64),
        ..Finding::plain("mesh", Verdict::Unsure, message)
    })
}

/// What is wrong with the mesh and leaves its figures standing.
fn defects(m: &MeshHealth, health: &Health, found: &mut Vec<Finding>) {
    let mut say = |count: usize, at: Option<Place>, message: &str| {
        if count > 0 {
            found.push(Finding {
                at_mm: at,
                value: Some(count as f64),
                ..Finding::plain("mesh", Verdict::Watch, message)
            });
        }
    };
    let place = |at: &[Point]| at.first().map(|p| [p.x, p.y, p.z]);
    if m.undecided_at_mm.is_none() {
        say(
            m.open_edges,
            place(&health.open_at),
            "The mesh is open: edges with a triangle on one side only, at no hollow. What lies behind the gap cannot be judged; close it \
             in the design and export again.",
        );
        say(
            m.nonmanifold_edges,
            place(&health.nonmanifold_at),
            "Edges where more triangles meet than can be paired, at no hollow. Join or separate the pieces there and export again.",
        );
        say(
            m.crossed_columns,
            m.crossed_at_mm,
            "The surface runs through itself in this many columns. What lies inside any part of it is taken as solid, and \
             facets inside that can only make a verdict stricter; join the parts in the design and export again.",
        );
    }
    say(
        m.flipped_triangles,
        place(&health.flipped_at),
        "The winding is inconsistent: triangles wound against their neighbours were turned. Check the surface there.",
    );
    say(
        m.duplicated_triangles,
        None,
        "Duplicate triangles were left out. The figures stand; export again to be rid of them.",
    );
    say(
        m.degenerate_triangles,
        None,
        "Triangles without area were left out. The figures stand.",
    );
    say(
        usize::from(m.inside_out),
        None,
        "The half was given inside out and has been turned around. Check that it is the mold, not its cavity.",
    );
}

fn sealed_voids(half: &Half) -> Option<Finding> {
    let regions = half.undercut.regions.iter();
    let sealed: Vec<_> = regions.filter(|r| r.kind == RegionKind::Sealed).collect();
    let void = sealed.first()?;
    Some(Finding {
        at_mm: Some(void.at_mm),
        value: Some(sealed.len() as f64),
        ..Finding::plain(
            "mesh",
            Verdict::Watch,
            "Sealed voids inside the material, open nowhere: no cutter can make them. Fill them in the design.",
        )
    })
}
