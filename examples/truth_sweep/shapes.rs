//! Random mold halves and what is true of them.

use crate::mesh::{Mesh, Place};
use crate::profile::{Corner, Piece, Profile};
use crate::random::Random;
use crate::section::Section;
use crate::truth::{Ball, Truth};
use crate::wall::{Facets, Fineness, Wall, rounded};
use std::f64::consts::PI;

/// Kinds of shapes.
pub const KINDS: [&str; 10] = [
    "sharp-pocket",
    "pocket",
    "round",
    "cap",
    "slot",
    "groove",
    "rib",
    "step",
    "t-slot",
    "cross-hole",
];

/// A mold half in its local frame and its truth.
pub struct Shape {
    /// Kind, one of [`KINDS`].
    pub kind: &'static str,
    /// What was drawn, for a reader.
    pub about: String,
    /// The half, closed.
    pub mesh: Mesh,
    /// What is true of it.
    pub truth: Truth,
}

/// What a kind's builder knows before balls are drawn.
pub struct Draft {
    /// What was drawn.
    pub about: String,
    mesh: Mesh,
    truth: Truth,
    /// What left heights and volumes follow from.
    pub ground: Ground,
    /// Radius around which the rack is drawn.
    pub scale: f64,
}

/// What balls meet.
pub enum Ground {
    /// Hollow swept around a core; `most`: the largest ball that its corners take.
    Swept {
        parts: Vec<(Wall, Vec<Corner>)>,
        most: f64,
    },
    /// Three planes meet in the corners of its floor, walls with this draft; balls up to `most`.
    Corner { draft: f64, most: f64, depth: f64 },
}

/// Chord errors of the meshes, mm: up to the leave of 0.02 mm that is judged by.
pub const CHORDS: [f64; 2] = [0.0005, 0.02];

/// The shape of one seed; a kind may be asked for. With `coarse`, facets turn by 24° to 60°; else their chord error is drawn
/// between `chords`, where they need not turn by less than 1.5° for it.
pub fn shape(seed: u64, only: Option<&str>, coarse: bool, chords: [f64; 2]) -> Shape {
    shape_with(seed, only, coarse, chords, None)
}

/// The same with the facets given.
pub fn shape_with(
    seed: u64,
    only: Option<&str>,
    coarse: bool,
    chords: [f64; 2],
    forced: Option<Facets>,
) -> Shape {
    let mut random = Random::new(seed);
    let drawn = KINDS[random.below(KINDS.len())];
    let kind = only
        .and_then(|o| KINDS.into_iter().find(|k| *k == o))
        .unwrap_or(drawn);
    loop {
        let size = random.scaled(5.0, 300.0);
        let turn = if coarse {
            let turn = random.within(24.0, 60.0);
            [turn, turn]
        } else {
            [1.5, 18.0]
        };
        let chord = random.scaled(chords[0], chords[1]);
        let facets = forced.unwrap_or(Facets { chord, turn });
        let fits = |d: &Draft| !d.mesh.crossed;
        if let Some(draft) = draft(kind, size, &facets, &mut random).filter(fits) {
            return finished(kind, draft, &mut random, coarse.then_some(&facets));
        }
    }
}

/// A shape of a kind, `None` where what was drawn does not fit together.
pub fn draft(kind: &str, size: f64, facets: &Facets, random: &mut Random) -> Option<Draft> {
    match kind {
        "sharp-pocket" => pocket(size, true, facets, random),
        "pocket" => pocket(size, false, facets, random),
        "round" => round(size, facets, random),
        "cap" | "slot" => cap(size, kind == "slot", facets, random),
        "groove" => groove(size, facets, random),
        "rib" => rib(size, facets, random),
        "step" => step(size, facets, random),
        "t-slot" => t_slot(size, random),
        _ => cross_hole(size, facets, random),
    }
}

fn any_draft(random: &mut Random, most: f64) -> f64 {
    match random.below(4) {
        0 => 0.0,
        1 => random.within(0.3, 0.6),
        2 => random.within(1.6, 5.0),
        _ => random.within(5.0, most),
    }
}

/// Where a ball of radius 1 lies in a concave edge between a flat and a wall of that draft: distance from the edge to
/// where it touches.
fn touch(draft: f64) -> f64 {
    1.0 / (0.5 * (90.0 + draft)).to_radians().tan()
}

fn flat_walls(
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
fn block(
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

fn truth_of(wall: &Wall, fine: Fineness, radius: f64, depth: f64) -> Truth {
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

fn pocket(size: f64, mitred: bool, facets: &Facets, random: &mut Random) -> Option<Draft> {
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

fn round(size: f64, facets: &Facets, random: &mut Random) -> Option<Draft> {
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

fn cap(size: f64, slot: bool, facets: &Facets, random: &mut Random) -> Option<Draft> {
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

fn groove(size: f64, facets: &Facets, random: &mut Random) -> Option<Draft> {
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

fn rib(size: f64, facets: &Facets, random: &mut Random) -> Option<Draft> {
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

fn step(size: f64, facets: &Facets, random: &mut Random) -> Option<Draft> {
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

fn t_slot(size: f64, random: &mut Random) -> Option<Draft> {
    let length = 0.5 * size;
    let neck = 0.5 * size * random.within(0.1, 0.35);
    let head = neck * random.within(1.2, 2.2);
    let (upper, lower) = (
        neck * random.within(0.5, 2.0),
        neck * random.within(0.5, 2.0),
    );
    let depth = upper + lower;
    let mut mesh = Mesh::default();
    let at = |x: f64, y: f64, z: f64| [x, y, z];
    let rim: Vec<Place> = vec![
        at(-length, -neck, 0.0),
        at(length, -neck, 0.0),
        at(length, neck, 0.0),
        at(-length, neck, 0.0),
    ];
    for x in [-length, length] {
        let t = [
            at(x, -neck, 0.0),
            at(x, neck, 0.0),
            at(x, neck, -upper),
            at(x, head, -upper),
            at(x, head, -depth),
            at(x, -head, -depth),
            at(x, -head, -upper),
            at(x, -neck, -upper),
        ];
        mesh.flat(0, x < 0.0, &t, &[]);
    }
    for s in [-1.0, 1.0] {
        let wall = |y: f64, from: f64, to: f64| {
            [
                at(-length, y, from),
                at(length, y, from),
                at(length, y, to),
                at(-length, y, to),
            ]
        };
        mesh.flat(1, s < 0.0, &wall(s * neck, 0.0, -upper), &[]);
        mesh.flat(1, s < 0.0, &wall(s * head, -upper, -depth), &[]);
        let lip = [
            at(-length, s * neck, -upper),
            at(length, s * neck, -upper),
            at(length, s * head, -upper),
            at(-length, s * head, -upper),
        ];
        mesh.flat(2, false, &lip, &[]);
    }
    let floor = [
        at(-length, -head, -depth),
        at(length, -head, -depth),
        at(length, head, -depth),
        at(-length, head, -depth),
    ];
    mesh.flat(2, true, &floor, &[]);
    block(
        &mut mesh,
        &[rim],
        // the block's side lies a tenth of this off the neck at the least
        size.max(12.0 * (head - neck)),
        depth,
        0.0,
        random,
    );
    // lips, floor under them, outer walls, ends under the lips
    let lips = 2.0 * (head - neck) * 2.0 * length;
    let hidden = 2.0 * lips + 2.0 * lower * 2.0 * length + 4.0 * (head - neck) * lower;
    let seen = 2.0 * neck * 2.0 * length + 2.0 * upper * 2.0 * length + 4.0 * neck * depth;
    Some(Draft {
        about: format!(
            "{:.3} long, neck {:.3} x {upper:.3}, head {:.3} x {lower:.3}",
            2.0 * length,
            2.0 * neck,
            2.0 * head
        ),
        truth: Truth {
            volume_mm3: 4.0 * length * (neck * upper + head * lower),
            surface_mm2: hidden + seen,
            depth_mm: depth,
            hidden_area_mm2: hidden,
            hidden_volume_mm3: 4.0 * length * (head - neck) * lower,
            hook_mm: head - neck,
            least_draft_deg: (0.5 * lips > 1.0).then_some(-90.0),
            short_wall_mm: Some(depth),
            radius_mm: Some(0.0),
            ..Truth::default()
        },
        mesh,
        ground: Ground::Corner {
            draft: 0.0,
            most: (0.98 * neck).min(0.5 * depth),
            depth,
        },
        scale: 0.25 * neck.min(depth),
    })
}

fn cross_hole(size: f64, facets: &Facets, random: &mut Random) -> Option<Draft> {
    let half = [0.5 * size, 0.5 * size * random.within(0.35, 1.0)];
    let depth = half[1] * random.within(0.6, 1.6);
    let rim = half[1] * random.within(0.15, 0.6);
    let fillet = if random.chance(0.3) {
        0.0
    } else {
        random.within(0.1, 0.9) * rim.min(0.5 * depth)
    };
    let core = [half[0] - rim, half[1] - rim];
    let room = core[0].min(0.5 * (depth - fillet));
    let hole = room * random.within(0.2, 0.9);
    if hole < 0.3 {
        return None;
    }
    let length = hole * random.within(0.5, 4.0);
    let (x, z) = (
        (core[0] - hole) * random.within(-0.9, 0.9),
        -0.5 * (depth - fillet) + (0.5 * (depth - fillet) - hole) * random.within(-0.9, 0.9),
    );
    let corners = vec![(0.0, rim, 0.0), (-depth, rim, fillet), (-depth, 0.0, 0.0)];
    let wall = Wall {
        core,
        mitred: false,
        profile: rounded(&corners)?,
    };
    let mut mesh = Mesh::default();
    let (ring, fine) = wall.mesh(&mut mesh, facets, Some(&[]), true);
    let y = core[1] + rim;
    let bottom = wall.profile.pieces[0].at(1.0)[0];
    let sides = 4 * facets.steps(hole, 0.5 * PI);
    let mut tube = Fineness::default();
    tube.add(hole, 2.0 * PI / sides as f64);
    let circle = |y: f64| -> Vec<Place> {
        (0..sides)
            .map(|k| 2.0 * PI * k as f64 / sides as f64)
            .map(|a| [x + hole * a.cos(), y, z + hole * a.sin()])
            .collect()
    };
    let face = [
        [-core[0], y, 0.0],
        [core[0], y, 0.0],
        [core[0], y, bottom],
        [-core[0], y, bottom],
    ];
    mesh.flat(1, false, &face, &[circle(y)]);
    mesh.between(&circle(y), &circle(y + length), None);
    mesh.flat(1, false, &circle(y + length), &[]);
    block(&mut mesh, &[ring], size, depth, 1.2 * length, random);
    let mut truth = truth_of(&wall, fine.with(tube), fillet, depth);
    let (disc, side) = (PI * hole * hole, 2.0 * PI * hole * length);
    truth.volume_mm3 += disc * length;
    truth.surface_mm2 += side;
    truth.hidden_volume_mm3 = disc * length;
    truth.hidden_area_mm2 = side + disc;
    truth.hook_mm = length;
    truth.least_draft_deg = None;
    Some(Draft {
        about: format!(
            "{:.3} x {:.3} x {depth:.3}, corner {rim:.3}, fillet {fillet:.4}; hole radius {hole:.4} x {length:.4}",
            2.0 * half[0],
            2.0 * half[1]
        ),
        mesh,
        truth,
        ground: Ground::Swept {
            parts: vec![(wall, corners)],
            most: rim,
        },
        scale: if fillet > 0.0 {
            fillet
        } else {
            0.15 * rim.min(depth)
        },
    })
}

fn finished(
    kind: &'static str,
    draft: Draft,
    random: &mut Random,
    coarse: Option<&Facets>,
) -> Shape {
    let Draft {
        about,
        mesh,
        mut truth,
        ground,
        scale,
    } = draft;
    let mut factors = vec![random.scaled(0.3, 3.0)];
    if random.chance(0.5) {
        factors.push(1.0 + random.within(-0.02, 0.02));
    }
    let mut diameters: Vec<f64> = (factors.iter())
        .map(|f| (2e3 * f * scale).round() / 1e3)
        .filter(|d| *d >= 0.1)
        .collect();
    diameters.sort_by(f64::total_cmp);
    diameters.dedup();
    truth.balls = diameters
        .into_iter()
        .map(|d| ball(d, &ground, &truth, coarse))
        .collect();
    Shape {
        kind,
        about,
        mesh,
        truth,
    }
}

fn ball(diameter: f64, ground: &Ground, truth: &Truth, coarse: Option<&Facets>) -> Ball {
    let r = 0.5 * diameter;
    let mut ball = Ball {
        diameter_mm: diameter,
        ..Ball::default()
    };
    match ground {
        Ground::Corner { draft, most, depth } => {
            if r <= *most {
                // the centre touches floor and both walls: its distance to each wall along the floor is r·cot(θ/2)
                let along = r / (0.5 * (90.0 + draft)).to_radians().tan();
                ball.left_mm = Some((2.0 * along * along + r * r).sqrt() - r);
                ball.deepest_mm = Some(*depth);
            }
        }
        Ground::Swept { parts, most } => {
            if r > *most {
                return ball;
            }
            let sections = parts.iter().map(|(wall, _)| Section::of(&wall.profile));
            ball.left_mm = match truth.radius_mm {
                // by that radius' definition
                Some(least) if r <= least => Some(0.0),
                _ => sections.map(|s| s.left(r).0).reduce(f64::max),
            };
            ball.left_faceted_mm = coarse.map(|facets| faceted(parts, facets, r));
            ball.deepest_mm = Some(if parts.len() == 1 {
                Section::of(&parts[0].0.profile).deepest(r)
            } else {
                truth.depth_mm
            });
            ball.left_volume_mm3 = parts
                .iter()
                .map(|(wall, corners)| left_volume(wall, corners, r))
                .sum();
        }
    }
    ball
}

/// What a ball leaves where each facet is taken for a face of its own: in the folds along the generatrix, and in the
/// upright ones, of interior angle π − τ: R(1/cos(τ/2) − 1), for balls that fit between the facets there.
fn faceted(parts: &[(Wall, Vec<Corner>)], facets: &Facets, r: f64) -> f64 {
    let each = parts.iter().map(|(wall, _)| {
        let (profile, turn) = wall.faceted(facets);
        let along = Section::of(&profile).left(r).0;
        let first = wall.profile.pieces[0].at(0.0);
        let next = wall.profile.pieces[0].at(1.0);
        // a wall that is round in plan and taller than the ball
        let upright = first[0] - next[0] > r && r < next[1] * (0.5 * turn).cos();
        if upright {
            along.max(r / (0.5 * turn).cos() - r)
        } else {
            along
        }
    });
    each.fold(0.0, f64::max)
}

/// What a ball leaves in concave edges: the volume between the chain and the chain whose concave roundings are at least
/// the ball's, where those find room.
fn left_volume(wall: &Wall, corners: &[Corner], r: f64) -> Option<f64> {
    if let ([Piece::Arc { radius, .. }], true) = (&wall.profile.pieces[..], corners.is_empty()) {
        return (r <= *radius).then_some(0.0);
    }
    let mut filled = corners.to_vec();
    for k in 1..corners.len() - 1 {
        let (a, b, c) = (corners[k - 1], corners[k], corners[k + 1]);
        let concave = (b.0 - a.0) * (c.1 - b.1) - (b.1 - a.1) * (c.0 - b.0) > 0.0;
        if concave {
            filled[k].2 = b.2.max(r);
        }
    }
    let filled = Wall {
        profile: rounded(&filled)?,
        ..wall.clone()
    };
    (wall.volume() - filled.volume()).into()
}
