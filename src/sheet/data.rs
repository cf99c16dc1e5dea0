//! What the page's three-dimensional view is made of: one JSON value, the meshes packed.

use crate::picture::view::ViewMesh;
use crate::picture::{CIVIDIS_HEX, Layer, Limit, best_cutter, marks};
use crate::report::{Report, from_corner};
use crate::shop::Shop;
use crate::units::Unit;
use crate::vet::{CutterEvidence, Evidence, HalfEvidence, LeftPlace};
use base64::Engine;
use flate2::{Compression, write::ZlibEncoder};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::io::{self, Write};

/// Triangles of one half in the view.
const MOST: usize = 60_000;
/// Nodes along the longer side of the height map that tools are stood on.
const HEIGHTS: usize = 280;
/// Sides where the surface turns by more than this are drawn as lines, degrees.
const CREASE_DEG: f64 = 28.0;

/// All of it.
pub(super) fn data(
    report: &Report,
    evidence: &Evidence,
    shop: &Shop,
    layers: &[Vec<Layer>],
    unit: Unit,
) -> io::Result<Value> {
    let halves = (0..evidence.halves.len())
        .map(|h| half(report, evidence, shop, &layers[h], h))
        .collect::<io::Result<Vec<_>>>()?;
    let pins: Vec<Value> = (0..evidence.halves.len())
        .flat_map(|h| {
            marks(report, evidence, h).into_iter().map(move |m| {
                let finding = &report.findings[m.number - 1];
                json!({ "number": m.number, "half": h, "at": m.at, "check": finding.check,
                        "verdict": finding.verdict, "message": finding.message })
            })
        })
        .collect();
    let b_to_a = evidence.b_to_a.map(|m| {
        let m = m.to_homogeneous();
        m.as_slice().to_vec()
    });
    Ok(json!({
        "unit": match unit { Unit::Mm => "mm", Unit::Inch => "in" },
        "ramp": CIVIDIS_HEX,
        "halves": halves,
        "b_to_a": b_to_a,
        "pins": pins,
        "clearance": { "shank": shop.limits.shank_clearance, "holder": shop.limits.holder_clearance },
        "leave": shop.limits.leave,
    }))
}

fn half(
    report: &Report,
    evidence: &Evidence,
    shop: &Shop,
    layers: &[Layer],
    h: usize,
) -> io::Result<Value> {
    let figures = &report.halves[h];
    let kept = &evidence.halves[h];
    let view = ViewMesh::of(kept, MOST);
    let mut pack = Pack::default();
    let (lo, hi) = bounds(&view);
    let edges = edges(kept, &view);
    for t in &view.triangles {
        t.iter().for_each(|&v| pack.long(v));
    }
    for e in &edges {
        e.iter().for_each(|&v| pack.long(v));
    }
    for v in &view.vertices {
        for k in 0..3 {
            pack.short(code(v[k], lo[k], hi[k], 0));
        }
    }
    let heights = Heights::of(kept);
    for &z in &heights.values {
        pack.short(if z.is_finite() {
            code(z, heights.range[0], heights.range[1], 1)
        } else {
            0
        });
    }
    let mut questions = Vec::new();
    for q in self::questions(report, evidence, layers, h, &view) {
        for &v in &q.values {
            pack.short(if v.is_nan() {
                0
            } else {
                code(v, q.packed[0], q.packed[1], 1)
            });
        }
        questions.push(q.head);
    }
    for &parent in &view.parents {
        pack.byte(match kept.facets[parent as usize] {
            None => 0,
            Some(f) if f.hidden => 2,
            Some(f) if f.hollow == crate::report::HollowKind::Cavity => 1,
            Some(_) => 3,
        });
    }
    // the half's own normals, so that light and cut do not hang on the reduced mesh
    for &parent in &view.parents {
        let n = kept.mesh.normal(parent as usize).unwrap_or_default();
        for c in [n.x, n.y, n.z] {
            pack.byte((c * 127.0).round() as i8 as u8);
        }
    }
    let corner = figures
        .touch_off_mm
        .map(|c| (kept.frame.to_tool * nalgebra::Point3::from(c)).coords);
    let best = best_cutter(figures);
    Ok(json!({
        "name": figures.name,
        "lo": lo, "hi": hi,
        "vertices": view.vertices.len(),
        "triangles": view.triangles.len(),
        "edges": edges.len(),
        "shown_of": kept.mesh.triangles.len(),
        "heights": { "nx": heights.nx, "ny": heights.ny, "origin": heights.origin, "cell": heights.cell,
                     "range": heights.range },
        "corner": corner.map(|c| [c.x, c.y]),
        "questions": questions,
        "cutters": kept.cutters.iter().map(|c| cutter(report, shop, h, c)).collect::<Vec<_>>(),
        "best": kept.cutters.iter().position(|c| Some(c.name.as_str()) == best),
        "blob": pack.finish()?,
        "depth": figures.cavity.depth_mm,
        "zero": from_corner(figures, figures.touch_off_mm.unwrap_or([0.0; 3])).is_some(),
    }))
}

fn cutter(report: &Report, shop: &Shop, h: usize, kept: &CutterEvidence) -> Value {
    let name = kept.name.as_str();
    let Some(cutter) = shop.cutters.iter().find(|c| c.name == name) else {
        return Value::Null;
    };
    let stickouts: Vec<f64> = report.halves[h]
        .depth
        .tools
        .iter()
        .filter(|t| t.cutter == name)
        .map(|t| t.stickout_mm)
        .collect();
    let longest = stickouts.iter().copied().fold(0.0, f64::max);
    let figures = report.halves[h]
        .reach
        .cutters
        .iter()
        .find(|c| c.name == name);
    let needed = figures.and_then(|c| c.stickout_needed_mm);
    let stickout = if longest > 0.0 {
        longest
    } else {
        needed.unwrap_or(6.0 * cutter.diameter)
    };
    let tool = shop
        .holder_of(cutter)
        .map(|holder| cutter.tool(stickout, holder));
    let segments: Vec<Value> = tool
        .iter()
        .flat_map(|t| &t.segments)
        .map(|s| {
            json!({ "part": match s.part {
                        crate::shop::Part::Neck => "neck",
                        crate::shop::Part::Shank => "shank",
                        crate::shop::Part::Holder => "holder" },
                    "r0": s.lower_radius, "r1": s.upper_radius, "from": s.from,
                    "to": s.to.is_finite().then_some(s.to) })
        })
        .collect();
    json!({
        "name": name, "radius": cutter.radius(), "corner": cutter.corner_radius, "stickout": stickout,
        "flutes_to": tool.as_ref().map(|t| t.flutes_to), "segments": segments,
        "worst": kept.worst.map(|w| json!({ "at": w.at, "centre": w.centre })),
        "clears": figures.and_then(|c| c.clears),
    })
}

/// A question of the view: its head for the page and its values, one a triangle.
struct Question {
    head: Value,
    values: Vec<f32>,
    packed: [f32; 2],
}

fn questions(
    report: &Report,
    evidence: &Evidence,
    layers: &[Layer],
    h: usize,
    view: &ViewMesh,
) -> Vec<Question> {
    let kept = &evidence.halves[h];
    let name = report.halves[h].name.to_lowercase();
    let mut questions = Vec::new();
    let mut ask = |key: &str, title: String, cutter: Option<usize>, values: Vec<f32>| {
        let own = format!("{name}-{key}");
        let Some(layer) = layers.iter().find(|l| l.key == own) else {
            return;
        };
        let known = || values.iter().copied().filter(|v| !v.is_nan());
        let packed = [
            known().fold(f32::INFINITY, f32::min),
            known().fold(f32::NEG_INFINITY, f32::max),
        ];
        let packed = if packed[0] <= packed[1] {
            packed
        } else {
            [0.0, 1.0]
        };
        let limit = layer
            .limit
            .map(|l: Limit| json!({ "value": l.value, "above": l.above }));
        let quantity = match layer.quantity {
            crate::report::Quantity::Angle => "angle",
            _ => "length",
        };
        questions.push(Question {
            head: json!({ "key": key, "title": title, "cutter": cutter, "quantity": quantity,
                          "range": layer.range, "limit": limit, "packed": packed }),
            values,
            packed,
        });
    };
    let facet = |t: usize| kept.facets[view.parents[t] as usize];
    let cavity = |f: &crate::vet::FacetEvidence| f.hollow == crate::report::HollowKind::Cavity;
    let all = 0..view.triangles.len();
    let depth = |t: usize| facet(t).map_or(f32::NAN, |_| -view.middle(t)[2]);
    ask(
        "depth",
        "Depth below parting".into(),
        None,
        all.clone().map(depth).collect(),
    );
    let draft = |t: usize| facet(t).filter(cavity).map_or(f32::NAN, |f| f.draft_deg);
    ask("draft", "Draft".into(), None, all.map(draft).collect());
    for (k, cutter) in kept.cutters.iter().enumerate() {
        let values = view.values(cutter, |p: &LeftPlace| p.left);
        let title = format!("Left after {}", cutter.name);
        ask(&format!("left-{}", k + 1), title, Some(k), values);
    }
    for (k, cutter) in kept.cutters.iter().enumerate() {
        let values = view.values(cutter, |p: &LeftPlace| p.stickout);
        let title = format!("Stickout needed, {}", cutter.name);
        ask(&format!("stickout-{}", k + 1), title, Some(k), values);
    }
    questions
}

fn bounds(view: &ViewMesh) -> ([f32; 3], [f32; 3]) {
    let mut lo = [f32::INFINITY; 3];
    let mut hi = [f32::NEG_INFINITY; 3];
    for v in &view.vertices {
        for k in 0..3 {
            lo[k] = lo[k].min(v[k]);
            hi[k] = hi[k].max(v[k]);
        }
    }
    (lo, hi)
}

/// `v` as a share of `lo..=hi` in the numbers from `first` to 65535.
fn code(v: f32, lo: f32, hi: f32, first: u16) -> u16 {
    let span = (hi - lo).max(f32::MIN_POSITIVE);
    let steps = f32::from(u16::MAX - first);
    first + (((v - lo) / span).clamp(0.0, 1.0) * steps).round() as u16
}

/// Sides where the surface turns sharply: between triangles of the half whose normals differ.
fn edges(kept: &HalfEvidence, view: &ViewMesh) -> Vec<[u32; 2]> {
    let mut sides: BTreeMap<[u32; 2], Vec<u32>> = BTreeMap::new();
    for (c, parent) in view.triangles.iter().zip(&view.parents) {
        for k in 0..3 {
            let (a, b) = (c[k], c[(k + 1) % 3]);
            sides.entry([a.min(b), a.max(b)]).or_default().push(*parent);
        }
    }
    let least = CREASE_DEG.to_radians().cos();
    let normal = |t: u32| kept.mesh.normal(t as usize);
    sides
        .into_iter()
        .filter(|(_, t)| match t[..] {
            [a, b] if a != b => match (normal(a), normal(b)) {
                (Some(a), Some(b)) => a.dot(&b) < least,
                _ => false,
            },
            _ => false,
        })
        .map(|(side, _)| side)
        .collect()
}

/// The half's top as a coarse map, to stand a tool on.
struct Heights {
    nx: usize,
    ny: usize,
    origin: [f64; 2],
    cell: f64,
    values: Vec<f32>,
    range: [f32; 2],
}

impl Heights {
    fn of(kept: &HalfEvidence) -> Heights {
        let fine = kept.top.grid;
        let factor = fine.nx.max(fine.ny).div_ceil(HEIGHTS).max(1);
        let map = crate::field::max_pool(&kept.top, factor);
        let values = map.values().to_vec();
        let known = || values.iter().copied().filter(|v| v.is_finite());
        let range = [
            known().fold(f32::INFINITY, f32::min),
            known().fold(f32::NEG_INFINITY, f32::max),
        ];
        let range = if range[0] <= range[1] {
            range
        } else {
            [0.0, 0.0]
        };
        Heights {
            nx: map.grid.nx,
            ny: map.grid.ny,
            origin: map.grid.origin,
            cell: map.grid.cell,
            values,
            range,
        }
    }
}

/// Numbers, little end first, packed by zlib and written in base 64.
#[derive(Default)]
struct Pack(Vec<u8>);

impl Pack {
    fn long(&mut self, v: u32) {
        self.0.extend(v.to_le_bytes());
    }

    fn short(&mut self, v: u16) {
        self.0.extend(v.to_le_bytes());
    }

    fn byte(&mut self, v: u8) {
        self.0.push(v);
    }

    fn finish(self) -> io::Result<String> {
        let mut encoder = ZlibEncoder::new(Vec::new(), Compression::new(6));
        encoder.write_all(&self.0)?;
        Ok(base64::engine::general_purpose::STANDARD.encode(encoder.finish()?))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_packed_within_half_a_step() {
        assert_eq!(code(0.0, 0.0, 10.0, 1), 1);
        assert_eq!(code(10.0, 0.0, 10.0, 1), 65535);
        assert_eq!(code(5.0, 5.0, 5.0, 0), 0);
        let back = |c: u16| f64::from(c - 1) / 65534.0 * 10.0;
        for v in [0.02_f32, 3.3, 9.99] {
            assert!((back(code(v, 0.0, 10.0, 1)) - f64::from(v)).abs() < 0.6 * 10.0 / 65534.0);
        }
    }
}
