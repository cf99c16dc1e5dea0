//! What is true of the samples, by closed forms from their sizes alone: the meshes are not asked.

use super::pins::{PIN_HEIGHT_MM, Pin, SOCKET_DEPTH_MM, SOCKET_PLAY_MM};
use super::profile::{Piece, Profile};
use super::{flawed, models, sound, turned};
use serde_json::{Value, json};
use std::f64::consts::{FRAC_PI_2, PI};

/// Ends of the draft bands, degrees.
const BAND_ENDS_DEG: [f64; 7] = [-90.0, -0.05, 0.05, 1.0, 3.0, 15.0, 90.0];
/// Draft below which a wall is short, degrees.
const REQUIRED_DEG: f64 = 1.0;
/// Ball radii for which the height left is stated, mm: 1/8, 3/16 and 1/4 in.
const BALLS: [(&str, f64); 3] = [("1/8in", 1.5875), ("3/16in", 2.38125), ("1/4in", 3.175)];

/// What is true of one half. Places are in the file's coordinates, mm.
pub struct Half {
    /// What would fill the cavity, mm³.
    pub volume: f64,
    /// Area of its surface, hidden parts included, mm².
    pub surface: f64,
    /// Deepest place below the parting level, mm.
    pub depth: f64,
    /// Deepest place.
    pub deepest_at: [f64; 3],
    /// Surface with material straight above it, mm².
    pub hidden_area: f64,
    /// Space with material straight above it, mm³.
    pub hidden_volume: f64,
    /// How far that space reaches under the material, mm.
    pub hook: f64,
    /// Least draft, degrees.
    pub least_draft: f64,
    /// Surface by draft, mm², between the band ends.
    pub bands: [f64; 6],
    /// Height of the tallest wall short of 1° draft, mm.
    pub tallest_short_wall: f64,
    /// Largest ball radius up to which every ball touches all visible surface, mm.
    pub smallest_radius: f64,
    /// Its place.
    pub smallest_radius_at: [f64; 3],
    /// Length of the sharp edge along a flat floor, mm.
    pub sharp_floor_edge: f64,
    /// Height left by each of the three balls, normal to the surface, mm.
    pub left: [f64; 3],
}

/// Half A or B of the sound mold: they are mirror images.
pub fn sound_half(upper: bool) -> Half {
    let profile = sound::generatrix();
    let place = |[x, r]: [f64; 2]| [x, 0.0, if upper { r } else { -r }];
    let widest = profile.widest();
    let lip = profile
        .pieces
        .iter()
        .find(|p| radius(p) == Some(sound::LIP_MM));
    let within = BAND_ENDS_DEG.map(|deg| lying_area_below(&profile, deg));
    Half {
        volume: 0.5 * profile.volume(),
        surface: 0.5 * profile.area(),
        depth: widest[1],
        deepest_at: place(widest),
        hidden_area: 0.0,
        hidden_volume: 0.0,
        hook: 0.0,
        least_draft: 0.0,
        bands: std::array::from_fn(|k| within[k + 1] - within[k]),
        // A place whose normal is N long to the axis and turned by f from the bottom has draft
        // asin(n cos f), n = r / N, and lies r cos f deep: N sin(draft), whatever n.
        tallest_short_wall: profile.longest_normal().0 * libm::sin(REQUIRED_DEG.to_radians()),
        smallest_radius: sound::LIP_MM,
        smallest_radius_at: place(lip.expect("the lip is rounded").at(0.5)),
        sharp_floor_edge: 0.0,
        left: BALLS.map(|(_, ball)| over_groove(ball, sound::WICK_MM)),
    }
}

/// Half A of the flawed mold: cap and stem.
pub fn flawed_a() -> Half {
    use flawed::*;
    let profile = cap();
    let at = |r: f64, depth: f64| [r - APART_MM, 0.0, -depth];
    let under = LIP_MM + HOOK_MM;
    let ledge = PI * (under * under - LIP_MM * LIP_MM);
    // the shoulder's cone goes on under the lip: from `under` to the lip's radius
    let slope = (CROWN_DEPTH_MM - HIDDEN_DEPTH_MM) / (under - CROWN_MM);
    let shaded_floor = ledge * libm::sqrt(1.0 + slope * slope);
    // below the wall's end the space goes on down to the cone, r dr (under − r) slope from lip to `under`
    let wedge = shaded_wedge(LIP_MM, under, slope);
    Half {
        volume: profile.volume().abs(),
        surface: profile.area(),
        depth: WELL_DEPTH_MM,
        deepest_at: at(0.0, WELL_DEPTH_MM),
        hidden_area: ledge + 2.0 * PI * under * (HIDDEN_DEPTH_MM - LIP_DEPTH_MM) + shaded_floor,
        hidden_volume: ledge * (HIDDEN_DEPTH_MM - LIP_DEPTH_MM) + wedge,
        hook: HOOK_MM,
        least_draft: -90.0,
        bands: standing_bands(&profile),
        tallest_short_wall: FLOOR_DEPTH_MM - CROWN_DEPTH_MM,
        smallest_radius: 0.0,
        smallest_radius_at: at(CROWN_MM, FLOOR_DEPTH_MM),
        sharp_floor_edge: 2.0 * PI * CROWN_MM,
        left: BALLS.map(|(_, ball)| {
            // square corner between crown wall and floor; a ball wider than the stem's mouth rests on
            // it, and leaves the stem below
            let mouth = well_mouth();
            if ball < WELL_END_MM {
                (2f64.sqrt() - 1.0) * ball
            } else {
                WELL_DEPTH_MM - FLOOR_DEPTH_MM + libm::sqrt(ball * ball - mouth * mouth) - ball
            }
        }),
    }
}

/// Half B of the flawed mold: the nut, with nothing wrong.
pub fn flawed_b() -> Half {
    use flawed::*;
    let profile = nut();
    let bottom = [APART_MM, 0.0, -NUT_DEPTH_MM];
    let rim = &profile.pieces[0];
    Half {
        volume: profile.volume().abs(),
        surface: profile.area(),
        depth: NUT_DEPTH_MM,
        deepest_at: bottom,
        hidden_area: 0.0,
        hidden_volume: 0.0,
        hook: 0.0,
        least_draft: libm::asin(-rim.tangent(0.0)[1]).to_degrees(),
        bands: standing_bands(&profile),
        tallest_short_wall: 0.0,
        smallest_radius: nut_tip(),
        smallest_radius_at: bottom,
        sharp_floor_edge: 0.0,
        left: [0.0; 3],
    }
}

/// The candle: volume and surface, mm³ and mm², height and largest width, mm.
pub fn candle() -> [f64; 4] {
    let profile = sound::candle_generatrix();
    let ends = [
        profile.pieces[0].at(0.0),
        profile.pieces[profile.pieces.len() - 1].at(1.0),
    ];
    let caps: f64 = ends.iter().map(|e| PI * e[1] * e[1]).sum();
    let height = ends[1][0] - ends[0][0];
    [
        profile.volume(),
        profile.area() + caps,
        height,
        2.0 * profile.widest()[1],
    ]
}

/// How far a ball stays off the bottom of a half-round groove on whose edges it rests; 0 if it fits.
fn over_groove(ball: f64, groove: f64) -> f64 {
    if ball <= groove {
        0.0
    } else {
        groove + libm::sqrt(ball * ball - groove * groove) - ball
    }
}

/// 2π ∫ r (outer − r) slope dr from `inner` to `outer`, mm³.
fn shaded_wedge(inner: f64, outer: f64, slope: f64) -> f64 {
    let power = |k: i32| outer.powi(k) - inner.powi(k);
    2.0 * PI * slope * (0.5 * outer * power(2) - power(3) / 3.0)
}

fn radius(piece: &Piece) -> Option<f64> {
    match *piece {
        Piece::Arc { radius, .. } => Some(radius),
        Piece::Line { .. } => None,
    }
}

/// Area of half a surface of revolution, its axis lying in the parting plane, with less draft than `deg`, mm².
///
/// At an angle f from the bottom the draft is asin(n cos f), n the axial part of the generatrix'
/// unit tangent; so of each half circle 2 asin(sin(deg) / n) of π lies below `deg`. Closed
/// form on lines; Simpson's rule on arcs (a quarter of the step changes no sixth decimal).
fn lying_area_below(profile: &Profile, deg: f64) -> f64 {
    let sine = libm::sin(deg.to_radians());
    if sine <= 0.0 {
        return 0.0;
    }
    let share = |axial: f64| {
        if sine >= axial {
            FRAC_PI_2
        } else {
            libm::asin(sine / axial)
        }
    };
    let below = |piece: &Piece| match piece {
        Piece::Line { .. } => piece.area() / PI * share(piece.tangent(0.0)[0].abs()),
        Piece::Arc { .. } => {
            let steps = 20_000;
            let at = |k: usize| {
                let t = k as f64 / steps as f64;
                2.0 * piece.at(t)[1] * share(piece.tangent(t)[0].abs())
            };
            let sum: f64 = (0..steps / 2)
                .map(|k| at(2 * k) + 4.0 * at(2 * k + 1) + at(2 * k + 2))
                .sum();
            sum * piece.length() / steps as f64 / 3.0
        }
    };
    profile.pieces.iter().map(below).sum()
}

/// Area of a surface of revolution about the tool axis by draft, mm². The generatrix runs from
/// the rim down to the axis, so the draft's sine is the inward part of its unit tangent.
fn standing_bands(profile: &Profile) -> [f64; 6] {
    let mut bands = [0.0; 6];
    for piece in &profile.pieces {
        let mut cuts = vec![0.0, 1.0];
        if let Piece::Arc { start, sweep, .. } = *piece {
            // sin(draft) = −cos(angle) · sign(sweep)
            for deg in BAND_ENDS_DEG {
                let angle = libm::acos(-sweep.signum() * libm::sin(deg.to_radians()));
                let turns = [-2.0 * PI, 0.0, 2.0 * PI];
                let angles = turns.iter().flat_map(|t| [angle + t, t - angle]);
                cuts.extend(
                    angles
                        .map(|a| (a - start) / sweep)
                        .filter(|t| *t > 0.0 && *t < 1.0),
                );
            }
            cuts.sort_by(f64::total_cmp);
        }
        for pair in cuts.windows(2) {
            let middle = piece.tangent(0.5 * (pair[0] + pair[1]));
            let draft = libm::asin((-middle[1]).clamp(-1.0, 1.0)).to_degrees();
            let band = (0..5).find(|&k| draft < BAND_ENDS_DEG[k + 1]).unwrap_or(5);
            bands[band] += piece.part(pair[0], pair[1]).area();
        }
    }
    bands
}

/// Six decimals, as written to `truth.json`.
fn six(x: f64) -> f64 {
    (x * 1e6).round() / 1e6 + 0.0
}

fn half_json(half: &Half, name: &str, axis: [f64; 3], triangles: usize) -> Value {
    let bands: Vec<Value> = (0..6)
        .map(|k| {
            json!({ "from_deg": BAND_ENDS_DEG[k], "to_deg": BAND_ENDS_DEG[k + 1], "area_mm2": six(half.bands[k]) })
        })
        .collect();
    let left: Vec<Value> = BALLS
        .iter()
        .zip(half.left)
        .map(|((ball, r), left)| {
            json!({ "ball": ball, "diameter_mm": 2.0 * r, "left_height_mm": six(left) })
        })
        .collect();
    json!({
        "name": name,
        "tool_axis": axis,
        "parting_level_mm": 0.0,
        "triangles": triangles,
        "cavity": { "volume_mm3": six(half.volume), "surface_mm2": six(half.surface),
            "depth_mm": six(half.depth), "deepest_at_mm": half.deepest_at.map(six) },
        "undercut": { "hidden_area_mm2": six(half.hidden_area),
            "hidden_volume_mm3": six(half.hidden_volume), "hook_mm": six(half.hook) },
        "draft": { "required_deg": REQUIRED_DEG, "least_deg": six(half.least_draft),
            "tallest_short_wall_mm": six(half.tallest_short_wall), "bands": bands },
        "reach": { "smallest_concave_radius_mm": six(half.smallest_radius),
            "at_mm": half.smallest_radius_at.map(six),
            "sharp_floor_edge_mm": six(half.sharp_floor_edge), "balls": left },
    })
}

fn pins_json(pins: &[Pin], shift: f64) -> Vec<Value> {
    pins.iter()
        .map(|pin| {
            json!({ "at_mm": [pin.at[0] + shift, pin.at[1], 0.0],
                "pin_diameter_mm": pin.diameter, "socket_diameter_mm": pin.diameter + SOCKET_PLAY_MM,
                "radial_clearance_mm": 0.5 * SOCKET_PLAY_MM, "offset_mm": 0.0,
                "pin_height_mm": PIN_HEIGHT_MM, "socket_depth_mm": SOCKET_DEPTH_MM })
        })
        .collect()
}

/// All truths, as `truth.json` holds them.
pub fn json() -> String {
    let (up, down) = ([0.0, 0.0, 1.0], [0.0, 0.0, -1.0]);
    let (sound_a, sound_b) = (sound_half(false), sound_half(true));
    let (flawed_a, flawed_b) = (flawed_a(), flawed_b());
    let counts: Vec<Vec<usize>> = models()
        .iter()
        .map(|m| m.solids.iter().map(|s| s.triangles.len()).collect())
        .collect();
    let [volume, surface, height, width] = candle();
    let value = json!({
        "note": "Invented demo data. Closed forms of the true shapes; the meshes lie within chord_error_mm of them. Lengths in mm, places in the file's coordinates in mm whatever its unit.",
        "chord_error_mm": turned::CHORD_MM,
        "files": {
            "acorn-sound.stl": { "unit": "mm", "layout": "closed",
                "halves": [half_json(&sound_a, "A", up, counts[0][0]), half_json(&sound_b, "B", down, counts[0][1])],
                "mating": { "closed_volume_mm3": six(sound_a.volume + sound_b.volume),
                    "outline_mismatch_mm": 0.0, "gap_mm": 0.0, "overlap_mm": 0.0,
                    "pins": pins_json(&sound::PINS, 0.0) } },
            "acorn-flawed.stl": { "unit": "mm", "layout": "open",
                "halves": [half_json(&flawed_a, "A", up, counts[1][0]), half_json(&flawed_b, "B", up, counts[1][1])],
                "well": { "depth_mm": flawed::WELL_DEPTH_MM, "mouth_diameter_mm": six(2.0 * flawed::well_mouth()),
                    "mouth_depth_mm": flawed::FLOOR_DEPTH_MM, "end_radius_mm": flawed::WELL_END_MM },
                "mating": { "closed_volume_mm3": six(flawed_a.volume + flawed_b.volume),
                    "outline_mismatch_mm": 0.0, "gap_mm": 0.0, "overlap_mm": 0.0,
                    "pins": pins_json(&flawed::PINS, -flawed::APART_MM) } },
            "acorn-candle.stl": { "unit": "mm", "triangles": counts[2][0], "volume_mm3": six(volume),
                "surface_mm2": six(surface), "height_mm": six(height), "width_mm": six(width) },
            "acorn-half-inch.stl": { "unit": "inch",
                "halves": [half_json(&sound_a, "A", up, counts[3][0])] },
        },
    });
    serde_json::to_string_pretty(&value).expect("finite numbers and string keys") + "\n"
}

/// The table of the README.
pub fn table() -> String {
    let halves = [sound_half(false), flawed_a(), flawed_b()];
    let mut text = String::from(
        "| figure | sound mold, half A (B alike) | flawed mold, half A | flawed mold, half B |\n|---|---:|---:|---:|\n",
    );
    let mut row = |name: &str, digits: usize, of: &dyn Fn(&Half) -> f64| {
        let [a, b, c] = [0, 1, 2].map(|k: usize| format!("{:.digits$}", six(of(&halves[k]))));
        text += &format!("| {name} | {a} | {b} | {c} |\n");
    };
    row("cavity volume, mm³", 3, &|h| h.volume);
    row("cavity surface, mm²", 3, &|h| h.surface);
    row("cavity depth, mm", 4, &|h| h.depth);
    row("hidden surface, mm²", 3, &|h| h.hidden_area);
    row("hidden volume, mm³", 3, &|h| h.hidden_volume);
    row("hook, mm", 3, &|h| h.hook);
    row("least draft, degrees", 3, &|h| h.least_draft);
    row("surface with less than 1° draft, mm²", 3, &|h| {
        h.bands[..3].iter().sum()
    });
    row("tallest wall with less than 1° draft, mm", 4, &|h| {
        h.tallest_short_wall
    });
    row("smallest concave radius, mm", 4, &|h| h.smallest_radius);
    row("sharp edge along a flat floor, mm", 3, &|h| {
        h.sharp_floor_edge
    });
    for (k, (ball, _)) in BALLS.iter().enumerate() {
        row(&format!("left by a {ball} ball, height, mm"), 4, &|h| {
            h.left[k]
        });
    }
    let [sound, flawed] = [2.0 * halves[0].volume, halves[1].volume + halves[2].volume];
    let [volume, surface, height, width] = candle();
    text += &format!(
        "\n| whole | volume, mm³ | surface, mm² | height, mm | largest width, mm |\n|---|---:|---:|---:|---:|\n\
         | sound mold, closed | {sound:.3} | | | |\n| flawed mold, closed | {flawed:.3} | | | |\n\
         | candle | {volume:.3} | {surface:.3} | {height:.3} | {width:.4} |\n"
    );
    text
}
