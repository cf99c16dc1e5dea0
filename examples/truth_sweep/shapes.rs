//! Random mold halves and what is true of them.

use super::balls::{Ground, ball, flat};
use super::hollows::{cap, groove, pocket, rib, round, step};
use super::mesh::Mesh;
use super::overhangs::{cross_hole, t_slot};
use super::random::Random;
use super::truth::Truth;
use super::wall::Facets;

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
    /// The half, closed.
    pub mesh: Mesh,
    /// What is true of it but for balls.
    pub truth: Truth,
    /// What left heights and volumes follow from.
    pub ground: Ground,
    /// Radius around which the rack is drawn.
    pub scale: f64,
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
    truth.flat = flat(&ground, truth.depth_mm, random);
    Shape {
        kind,
        about,
        mesh,
        truth,
    }
}
