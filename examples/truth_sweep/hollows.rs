//! Shapes that release: pockets, round hollows, caps and slots, grooves, ribs, steps.

use super::balls::Ground;
use super::mesh::{Mesh, Place};
use super::profile::{Piece, Profile};
use super::random::Random;
use super::shapes::Draft;
use super::truth::Truth;
use super::wall::{Facets, Fineness, Wall, rounded};
use std::f64::consts::PI;

pub fn any_draft(random: &mut Random, most: f64) -> f64 {
    match random.below(4) {
        0 => 0.0,
        1 => random.within(0.3, 0.6),
        2 => random.within(1.6, 5.0),
        _ => random.within(5.0, most),
    }
}

/// Where a ball of radius 1 lies in a concave edge between a flat and a wall of that draft: distance from the edge to
/// where it touches.
pub fn touch(draft: f64) -> f64 {
    1.0 / (0.5 * (90.0 + draft)).to_radians().tan()
}

pub fn flat_walls(
    wall: &Wall,
    facets: &Facets,
    holes: &[Vec<Place>],
    random: &mut Random,
    size: f64,
    depth: f64,
) -> (Mesh, Fineness) {
    let mut mesh = Mesh::default();
    let (rim, fine) = wall.mesh(&mut mesh, facets, Some(holes), false);
    block(&mut mesh, &[rim], size, depth, 0.0, random);
    (mesh, fine)
}

/// The block around the rims, the outermost first.
pub fn block(
    mesh: &mut Mesh,
    rims: &[Vec<Place>],
    size: f64,
    depth: f64,
    extra: f64,
    random: &mut Random,
) {
    let far = |k: usize| rims[0].iter().map(|p| p[k].abs()).fold(0.0, f64::max);
    let mut side = || size * random.within(0.1, 0.4) + 1.0;
    let lo = [-far(0) - side(), -far(1) - side()];
    let hi = [far(0) + side(), far(1) + side() + extra];
    let bottom = -depth - side();
    mesh.block(lo, hi, bottom, &rims[..1]);
    for island in &rims[1..] {
        mesh.flat(2, true, island, &[]);
    }
}

pub fn truth_of(wall: &Wall, fine: Fineness, radius: f64, depth: f64) -> Truth {
    let (least, area) = wall.least_draft();
    Truth {
        volume_mm3: wall.volume(),
        surface_mm2: wall.area(),
        depth_mm: depth,
        least_draft_deg: (area > 1.0).then_some(least),
        short_wall_mm: Some(wall.tallest_short(1.0)),
        radius_mm: Some(radius),
        turn_deg: fine.turn,
        chord_mm: fine.chord,
        ..Truth::default()
    }
}

pub fn pocket(size: f64, mitred: bool, facets: &Facets, random: &mut Random) -> Option<Draft> {
    let half = [0.5 * size, 0.5 * size * random.within(0.35, 1.0)];
    let depth = half[1] * random.within(0.3, 1.6);
    let delta = any_draft(random, 20.0);
    let inset = depth * delta.to_radians().tan();
    let rim = if mitred {
        0.9 * half[1]
    } else {
        half[1] * random.within(0.15, 0.85)
    };
    let foot = rim - inset;
    let core = [half[0] - rim, half[1] - rim];
    let fillet = if mitred || random.chance(0.3) {
        0.0
    } else {
        random.within(0.1, 0.95) * (foot / touch(delta)).min(0.9 * depth)
    };
    if foot < 0.1 * rim || (mitred && half[1] - inset < 0.3 * half[1]) {
        return None;
    }
    let corners = vec![(0.0, rim, 0.0), (-depth, foot, fillet), (-depth, 0.0, 0.0)];
    let wall = Wall {
        core,
        mitred,
        profile: rounded(&corners)?,
    };
    let (mesh, fine) = flat_walls(&wall, facets, &[], random, size, depth);
    let truth = truth_of(&wall, fine, fillet, depth);
    let ground = if mitred {
        let most = ((half[1] - inset) / touch(delta)).min(0.5 * depth);
        Ground::Corner {
            draft: delta,
            most,
            depth,
        }
    } else {
        Ground::Swept {
            parts: vec![(wall, corners)],
            most: foot / touch(delta),
        }
    };
    let scale = if fillet > 0.0 {
        fillet
    } else {
        0.15 * foot.min(depth)
    };
    Some(Draft {
        about: format!(
            "{:.3} x {:.3} x {depth:.3}, draft {delta:.3}, corner {rim:.3}, fillet {fillet:.4}",
            2.0 * half[0],
            2.0 * half[1]
        ),
        mesh,
        truth,
        ground,
        scale,
    })
}

pub fn round(size: f64, facets: &Facets, random: &mut Random) -> Option<Draft> {
    let rim = 0.5 * size;
    let depth = rim * random.within(0.3, 2.0);
    let delta = any_draft(random, 45.0);
    let foot = rim - depth * delta.to_radians().tan();
    if foot < 0.1 * rim {
        return None;
    }
    let most = foot / touch(delta);
    let fillet = if random.chance(0.3) {
        0.0
    } else {
        random.within(0.1, 0.95) * most.min(0.9 * depth)
    };
    let corners = vec![(0.0, rim, 0.0), (-depth, foot, fillet), (-depth, 0.0, 0.0)];
    let wall = Wall {
        core: [0.0; 2],
        mitred: false,
        profile: rounded(&corners)?,
    };
    let (mesh, fine) = flat_walls(&wall, facets, &[], random, size, depth);
    Some(Draft {
        about: format!(
            "rim radius {rim:.3}, depth {depth:.3}, draft {delta:.3}, fillet {fillet:.4}"
        ),
        truth: truth_of(&wall, fine, fillet, depth),
        mesh,
        ground: Ground::Swept {
            parts: vec![(wall, corners)],
            most: f64::INFINITY,
        },
        scale: if fillet > 0.0 {
            fillet
        } else {
            0.15 * foot.min(depth)
        },
    })
}

/// An arc of a circle whose centre lies `up` above the rim's level and `out` from the core, from rim to rim or to its
/// lowest place.
pub fn hollow_arc(up: f64, out: f64, radius: f64, whole: bool) -> Profile {
    let start = (-up / radius).acos();
    let sweep = if whole {
        2.0 * (PI - start)
    } else {
        PI - start
    };
    Profile {
        pieces: vec![Piece::Arc {
            centre: [up, out],
            radius,
            start,
            sweep,
        }],
    }
}

pub fn cap(size: f64, slot: bool, facets: &Facets, random: &mut Random) -> Option<Draft> {
    let half = random.chance(0.4);
    let radius = if slot {
        size * random.within(0.1, 0.3)
    } else {
        0.5 * size
    };
    let depth = if half {
        radius
    } else {
        radius * random.within(0.3, 0.98)
    };
    let core = [if slot { 0.5 * size - 0.5 * radius } else { 0.0 }, 0.0];
    let wall = Wall {
        core,
        mitred: false,
        profile: hollow_arc(radius - depth, 0.0, radius, false),
    };
    let (mesh, fine) = flat_walls(&wall, facets, &[], random, size, depth);
    Some(Draft {
        about: format!(
            "radius {radius:.4}, depth {depth:.4}, length between ends {:.3}",
            2.0 * core[0]
        ),
        truth: truth_of(&wall, fine, radius, depth),
        mesh,
        ground: Ground::Swept {
            parts: vec![(wall, Vec::new())],
            most: f64::INFINITY,
        },
        scale: radius,
    })
}

pub fn groove(size: f64, facets: &Facets, random: &mut Random) -> Option<Draft> {
    let width = 0.5 * size * random.within(0.08, 0.3);
    let inner = width * random.within(1.0, 3.0);
    let core = match random.below(3) {
        0 => [0.0; 2],
        1 => [0.5 * size * random.within(0.1, 0.5), 0.0],
        _ => [
            0.5 * size * random.within(0.1, 0.5),
            0.5 * size * random.within(0.05, 0.3),
        ],
    };
    let (corners, profile, radius, depth);
    if random.chance(0.6) {
        let r = width * random.within(1.0, 1.5);
        let up = (r * r - width * width).sqrt();
        depth = r - up;
        radius = r;
        profile = hollow_arc(up, inner + width, r, true);
        corners = Vec::new();
    } else {
        depth = width * random.within(0.5, 1.5);
        let delta = any_draft(random, 20.0);
        let inset = depth * delta.to_radians().tan();
        let floor = 2.0 * (width - inset);
        if floor < 0.3 * width {
            return None;
        }
        radius = if random.chance(0.3) {
            0.0
        } else {
            random.within(0.1, 0.45) * (floor / touch(delta)).min(1.8 * depth)
        };
        corners = vec![
            (0.0, inner + 2.0 * width, 0.0),
            (-depth, inner + 2.0 * width - inset, radius),
            (-depth, inner + inset, radius),
            (0.0, inner, 0.0),
        ];
        profile = rounded(&corners)?;
    }
    let wall = Wall {
        core,
        mitred: false,
        profile,
    };
    let mut mesh = Mesh::default();
    let (rim, fine) = wall.mesh(&mut mesh, facets, None, false);
    let steps = rim.len() / 4 - 1;
    let last = wall.profile.pieces[wall.profile.pieces.len() - 1].at(1.0);
    let island = wall.ring(last, steps);
    block(&mut mesh, &[rim, island], size, depth, 0.0, random);
    Some(Draft {
        about: format!(
            "core {core:.3?}, inner rim {inner:.3}, width {:.3}, depth {depth:.3}, radius {radius:.4}",
            2.0 * width
        ),
        truth: truth_of(&wall, fine, radius, depth),
        mesh,
        scale: if radius > 0.0 { radius } else { 0.3 * width },
        ground: Ground::Swept {
            parts: vec![(wall, corners)],
            most: f64::INFINITY,
        },
    })
}

pub fn rib(size: f64, facets: &Facets, random: &mut Random) -> Option<Draft> {
    let half = [0.5 * size, 0.5 * size * random.within(0.5, 1.0)];
    let depth = half[1] * random.within(0.4, 1.0);
    let delta = any_draft(random, 8.0);
    let rim = half[1] * random.within(0.3, 0.8);
    let foot = rim - depth * delta.to_radians().tan();
    let core = [half[0] - rim, half[1] - rim];
    let height = depth * random.within(0.4, 0.9);
    let lean = any_draft(random, 10.0);
    let thin = half[1] * random.within(0.08, 0.2);
    let thick = thin + height * lean.to_radians().tan();
    let rib_core = [core[0] * random.within(0.3, 0.8), 0.0];
    // beside it, and between its end and the wall
    let gap = core[1].min(core[0] - rib_core[0]) + foot - thick;
    let most = (foot / touch(delta))
        .min(0.45 * gap / touch(delta).max(touch(lean)))
        .min(0.45 * height);
    if foot < 0.1 * rim || gap < 0.3 * half[1] {
        return None;
    }
    let fillets = [0, 1].map(|_| {
        if random.chance(0.3) {
            0.0
        } else {
            random.within(0.1, 0.95) * most
        }
    });
    let corners = vec![
        (0.0, rim, 0.0),
        (-depth, foot, fillets[0]),
        (-depth, 0.0, 0.0),
    ];
    let wall = Wall {
        core,
        mitred: false,
        profile: rounded(&corners)?,
    };
    // the floor around the rib up to where the largest ball touches it
    let apron = thick + 1.01 * most * touch(lean);
    let on_floor = vec![
        (-depth, apron, 0.0),
        (-depth, thick, fillets[1]),
        (height - depth, thin, 0.0),
        (height - depth, 0.0, 0.0),
    ];
    let stand = Wall {
        core: rib_core,
        mitred: false,
        profile: rounded(&on_floor)?,
    };
    let mut mesh = Mesh::default();
    let (ring, a) = stand.mesh(&mut mesh, facets, Some(&[]), false);
    let (rim_ring, b) = wall.mesh(&mut mesh, facets, Some(&[ring]), false);
    block(&mut mesh, &[rim_ring], size, depth, 0.0, random);
    let mut truth = truth_of(&wall, a.with(b), fillets[0].min(fillets[1]), depth);
    truth.volume_mm3 += stand.volume();
    truth.surface_mm2 += stand.area() - stand.within(apron);
    let least = stand.least_draft();
    truth.least_draft_deg = (truth.least_draft_deg.is_some() && least.1 > 1.0)
        .then(|| wall.least_draft().0.min(least.0));
    truth.short_wall_mm = truth.short_wall_mm.map(|t| t.max(stand.tallest_short(1.0)));
    let least = fillets[0].min(fillets[1]);
    Some(Draft {
        about: format!(
            "{:.3} x {:.3} x {depth:.3}, draft {delta:.3}, fillet {:.4}; rib {height:.3} high, draft {lean:.3}, fillet {:.4}",
            2.0 * half[0],
            2.0 * half[1],
            fillets[0],
            fillets[1]
        ),
        mesh,
        truth,
        ground: Ground::Swept {
            parts: vec![(wall, corners), (stand, on_floor)],
            most,
        },
        scale: if least > 0.0 { least } else { 0.4 * most },
    })
}

pub fn step(size: f64, facets: &Facets, random: &mut Random) -> Option<Draft> {
    let half = [0.5 * size, 0.5 * size * random.within(0.5, 1.0)];
    let rim = half[1] * random.within(0.5, 0.9);
    let core = match random.below(3) {
        0 => [0.0; 2],
        1 => [half[0] - rim, 0.0],
        _ => [half[0] - rim, half[1] - rim],
    };
    let (upper, lower) = (rim * random.within(0.2, 0.6), rim * random.within(0.2, 0.6));
    let drafts = [0, 1].map(|_| any_draft(random, 12.0));
    let slope = drafts.map(|d| d.to_radians().tan());
    let ledge = rim - upper * slope[0];
    let edge = ledge - rim * random.within(0.15, 0.35);
    let foot = edge - lower * slope[1];
    if foot < 0.15 * rim {
        return None;
    }
    let room = [(ledge - edge).min(upper), foot.min(lower)];
    let most = (foot / touch(drafts[1])).min(ledge / touch(drafts[0]));
    let fillets = [0, 1].map(|k| {
        if random.chance(0.3) {
            0.0
        } else {
            random.within(0.1, 0.9) * room[k] / touch(drafts[k]).max(1.0)
        }
    });
    let depth = upper + lower;
    let corners = vec![
        (0.0, rim, 0.0),
        (-upper, ledge, fillets[0]),
        (-upper, edge, 0.0),
        (-depth, foot, fillets[1]),
        (-depth, 0.0, 0.0),
    ];
    let wall = Wall {
        core,
        mitred: false,
        profile: rounded(&corners)?,
    };
    let (mesh, fine) = flat_walls(&wall, facets, &[], random, size, depth);
    let least = fillets[0].min(fillets[1]);
    Some(Draft {
        about: format!(
            "core {core:.3?}, rim {rim:.3}, {upper:.3} deep to the ledge at {ledge:.3} to {edge:.3}, {lower:.3} more, drafts {drafts:.3?}, fillets {fillets:.4?}"
        ),
        truth: truth_of(&wall, fine, least, depth),
        mesh,
        ground: Ground::Swept {
            parts: vec![(wall, corners)],
            most: if core[1] > 0.0 { most } else { f64::INFINITY },
        },
        scale: if least > 0.0 {
            least
        } else {
            0.1 * foot.min(lower)
        },
    })
}
