//! What the page's three-dimensional view is made of: one JSON value, the meshes packed.

use crate::picture::view::ViewMesh;
use crate::picture::{
    self, CIVIDIS_HEX, Drawing, Layer, Limit, Mark, best_cutter, marks, pair_marks, part_marks,
    parting_line,
};
use crate::report::Report;
use crate::shop::Shop;
use crate::units::Unit;
use crate::vet::{CutterEvidence, Evidence, FacetEvidence, HalfEvidence, Valued};
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
    drawing: &Drawing,
    unit: Unit,
) -> io::Result<Value> {
    let mut shapes = (0..evidence.halves.len())
        .map(|h| half(report, evidence, shop, &drawing.layers[h], h))
        .collect::<io::Result<Vec<_>>>()?;
    let mut marked: Vec<(usize, Vec<Mark>)> = (0..evidence.halves.len())
        .map(|h| (h, marks(report, evidence, h)))
        .collect();
    marked.push((0, pair_marks(report, evidence)));
    if let Some(kept) = &evidence.part {
        marked.push((shapes.len(), part_marks(report, evidence)));
        shapes.push(part(report, kept, &drawing.part)?);
    }
    if let (Some(first), Some(rim)) = (shapes.first_mut(), mismatch(evidence, drawing)) {
        first["ribbon"] = rim;
    }
    let pins: Vec<Value> = marked
        .into_iter()
        .flat_map(|(h, marks)| {
            marks.into_iter().map(move |m| {
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
        "halves": shapes,
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
    let mut asked = Asked {
        layers,
        view: &view,
        name: figures.name.to_lowercase(),
        questions: Vec::new(),
    };
    asked.of_half(kept);
    let mut shape = packed(kept, &view, asked.questions)?;
    let corner = figures
        .touch_off_mm
        .map(|c| (kept.frame.to_tool * nalgebra::Point3::from(c)).coords);
    let best = best_cutter(figures);
    shape["title"] = json!(format!("Half {}", figures.name));
    shape["corner"] = json!(corner.map(|c| [c.x, c.y]));
    shape["cutters"] = kept
        .cutters
        .iter()
        .map(|c| cutter(report, shop, h, c))
        .collect();
    shape["best"] = json!(
        kept.cutters
            .iter()
            .position(|c| Some(c.name.as_str()) == best)
    );
    shape["depth"] = json!(figures.cavity.depth_mm);
    Ok(shape)
}

/// The part that the halves were made from, with its parting line.
fn part(report: &Report, kept: &HalfEvidence, layers: &[Layer]) -> io::Result<Value> {
    let view = ViewMesh::of(kept, MOST);
    let mut asked = Asked {
        layers,
        view: &view,
        name: "part".to_owned(),
        questions: Vec::new(),
    };
    asked.ask_draft(kept);
    let mut shape = packed(kept, &view, asked.questions)?;
    shape["title"] = json!("Part");
    shape["cutters"] = json!([]);
    shape["parting"] = json!(parting_line(report, kept));
    Ok(shape)
}

/// The rims of a pair beside each other, as pieces with a value each; A's tool frame.
fn mismatch(evidence: &Evidence, drawing: &Drawing) -> Option<Value> {
    let pair = evidence.pair.as_ref()?;
    let layer = drawing.pair.iter().find(|l| l.key == "pair-mismatch")?;
    let height = |p: [f64; 2]| {
        let top = &evidence.halves[0].top;
        let cell = top.grid.cell_at(p[0], p[1]);
        cell.and_then(|(i, j)| top.get(top.grid.index(i, j)))
            .unwrap_or(0.0)
            .max(0.0)
    };
    let pieces: Vec<Value> = pair
        .rim
        .iter()
        .map(|s| {
            let z = height(s.a[0]).min(height(s.a[1]));
            json!([
                s.a[0][0] as f32,
                s.a[0][1] as f32,
                s.a[1][0] as f32,
                s.a[1][1] as f32,
                z,
                s.mismatch as f32
            ])
        })
        .collect();
    Some(json!({ "pieces": pieces, "range": layer.range,
                 "limit": layer.limits.first().map(limit), "title": "Mismatch of the rims" }))
}

fn limit(limit: &Limit) -> Value {
    json!({ "value": limit.value, "above": limit.above })
}

/// A shape of the view: its mesh and its values, packed.
fn packed(kept: &HalfEvidence, view: &ViewMesh, questions: Vec<Question>) -> io::Result<Value> {
    let mut pack = Pack::default();
    let (lo, hi) = bounds(view);
    let edges = edges(kept, view);
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
    let mut heads = Vec::new();
    for q in questions {
        for &v in &q.values {
            pack.short(if v.is_nan() {
                0
            } else {
                code(v, q.packed[0], q.packed[1], 1)
            });
        }
        heads.push(q.head);
    }
    pack_parents(&mut pack, kept, view);
    let to_file = kept.frame.to_tool.inverse().to_homogeneous();
    Ok(json!({
        "lo": lo, "hi": hi,
        "vertices": view.vertices.len(),
        "triangles": view.triangles.len(),
        "edges": edges.len(),
        "heights": { "nx": heights.nx, "ny": heights.ny, "origin": heights.origin, "cell": heights.cell,
                     "range": heights.range },
        "questions": heads,
        "to_file": to_file.as_slice(),
        "blob": pack.finish()?,
    }))
}

/// What each triangle is part of, and its normal in the half's own mesh, so that light and cut do not hang on the reduced one.
fn pack_parents(pack: &mut Pack, kept: &HalfEvidence, view: &ViewMesh) {
    for &parent in &view.parents {
        pack.byte(match kept.facets[parent as usize] {
            None => 0,
            Some(f) if f.hidden => 2,
            Some(f) if f.hollow == crate::report::HollowKind::Cavity => 1,
            Some(_) => 3,
        });
    }
    for &parent in &view.parents {
        let n = kept.mesh.normal(parent as usize).unwrap_or_default();
        for c in [n.x, n.y, n.z] {
            pack.byte((c * 127.0).round() as i8 as u8);
        }
    }
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

/// Questions that were asked of one shape.
struct Asked<'a> {
    layers: &'a [Layer],
    view: &'a ViewMesh,
    /// What the keys of its layers begin with.
    name: String,
    questions: Vec<Question>,
}

impl Asked<'_> {
    /// Keeps `values` as the question `key`, if there is a map of it.
    fn ask(&mut self, key: &str, title: String, cutter: Option<usize>, values: Vec<f32>) {
        let own = format!("{}-{key}", self.name);
        let Some(layer) = self.layers.iter().find(|l| l.key == own) else {
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
        let quantity = match layer.quantity {
            crate::report::Quantity::Angle => "angle",
            _ => "length",
        };
        self.questions.push(Question {
            head: json!({ "key": key, "title": title, "cutter": cutter, "quantity": quantity,
                          "range": layer.range, "limit": layer.limits.first().map(limit), "packed": packed }),
            values,
            packed,
        });
    }

    fn ask_draft(&mut self, kept: &HalfEvidence) {
        let cavity = |f: &FacetEvidence| f.hollow == crate::report::HollowKind::Cavity;
        let draft = |t: usize| {
            let facet = kept.facets[self.view.parents[t] as usize].filter(cavity);
            facet.map_or(f32::NAN, |f| f.draft_deg)
        };
        let values = (0..self.view.triangles.len()).map(draft).collect();
        self.ask("draft", "Draft".into(), None, values);
    }

    fn of_half(&mut self, kept: &HalfEvidence) {
        let view = self.view;
        let depth = |t: usize| {
            let facet = kept.facets[view.parents[t] as usize];
            facet.map_or(f32::NAN, |_| -view.middle(t)[2])
        };
        let values = (0..view.triangles.len()).map(depth).collect();
        self.ask("depth", "Depth below parting".into(), None, values);
        self.ask_draft(kept);
        let left: Vec<Vec<f32>> = kept
            .cutters
            .iter()
            .map(|c| view.values(&picture::left(c)))
            .collect();
        let least = |places: &[Valued]| -> Vec<f32> {
            let turned = view.values(&picture::turned(places));
            turned.iter().map(|v| -v).collect()
        };
        let values = least(&kept.radii);
        self.ask(
            "radius",
            "Largest ball radius that touches".into(),
            None,
            values,
        );
        self.ask("wall", "Wall behind".into(), None, least(&kept.walls));
        if !kept.cusps.is_empty() {
            self.ask("cusp", "Cusp height".into(), None, view.values(&kept.cusps));
        }
        for (k, (cutter, values)) in kept.cutters.iter().zip(left).enumerate() {
            let title = format!("Left after {}", cutter.name);
            self.ask(&format!("left-{}", k + 1), title, Some(k), values);
        }
        for (k, cutter) in kept.cutters.iter().enumerate() {
            let values = view.values(&picture::stickouts(cutter));
            let title = format!("Stickout needed, {}", cutter.name);
            self.ask(&format!("stickout-{}", k + 1), title, Some(k), values);
        }
    }
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
