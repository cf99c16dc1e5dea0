//! Whole reports against those that were kept: a figure that moves is seen, also where no truth is known for it.
//!
//! What is kept is not truth. Where figures are meant to move, `MOLDVET_KEEP=1 cargo test --test kept` keeps them anew; look at
//! what changed in `tests/data/kept` before it is committed.

#[allow(dead_code, reason = "shared with other tests")]
mod common;
#[allow(dead_code, reason = "the sweep uses more of it")]
mod sweep;

#[allow(dead_code, reason = "the tests of closing use more of it")]
#[path = "mating/blocks.rs"]
mod blocks;

use blocks::{Block, Gate, pin, pocket, rectangle, ring};
use common::{data, facets_of, model, model_of};
use moldvet::mesh::Model;
use moldvet::report::json::to_json;
use moldvet::shop::{Cutter, Holder, Neck, Section, Shop};
use moldvet::units::Unit;
use moldvet::vet::CheckConfig;
use serde_json::Value;
use std::path::PathBuf;
use sweep::{samples, shapes};

/// Figures are alike that differ by no more than this share: what another machine's sines may do to them.
const SHARE: f64 = 1e-6;
/// Figures near 0 are alike that differ by no more than this, in their own unit.
const NEAR_NOTHING: f64 = 1e-7;

/// A cutter of each kind for a hollow of that scale, mm, with necks, thick shanks, short stickouts and a stepped holder.
fn rack(scale: f64) -> Vec<Cutter> {
    let cutter = |name: &str, diameter: f64, corner: f64| Cutter {
        name: name.to_owned(),
        corner_radius: corner * diameter,
        stickouts: vec![4.0 * scale, 9.0 * scale],
        ..Cutter::ball(diameter)
    };
    vec![
        Cutter {
            flute_length: Some(1.2 * scale),
            neck: Some(Neck {
                diameter: 0.72 * scale,
                length: 2.4 * scale,
            }),
            shank: Some(1.1 * scale),
            ..cutter("small ball", 0.8 * scale, 0.5)
        },
        Cutter {
            flute_length: Some(1.5 * scale),
            shank: Some(2.6 * scale),
            ..cutter("ball", 2.1 * scale, 0.5)
        },
        Cutter {
            flute_length: Some(1.4 * scale),
            shank: Some(1.7 * scale),
            ..cutter("flat", 1.5 * scale, 0.0)
        },
        cutter("bull-nose", 1.3 * scale, 0.2),
    ]
}

fn config(scale: f64) -> CheckConfig {
    let mut shop = Shop::builtin();
    shop.cutters = rack(scale);
    let section = |lower: f64, upper: f64, height: f64| Section {
        lower_diameter: lower * scale,
        upper_diameter: upper * scale,
        height: height * scale,
    };
    shop.holders = vec![Holder {
        name: "holder".to_owned(),
        sections: vec![section(3.0, 4.5, 2.0), section(6.0, 6.0, 3.0)],
    }];
    CheckConfig {
        shop,
        axis: None,
        cell: Some(0.08 * scale),
        not_cavity: Vec::new(),
        meets: Vec::new(),
        fill_density: Some(0.96),
    }
}

/// The same with every other cutter from the `first` on: two are enough where they take long.
fn with_two(first: usize, scale: f64) -> CheckConfig {
    let mut config = config(scale);
    let cutters = std::mem::take(&mut config.shop.cutters);
    config.shop.cutters = cutters.into_iter().skip(first).step_by(2).collect();
    config
}

fn kept(name: &str, models: &[Model], config: &CheckConfig) {
    let path = data("kept").join(format!("{name}.json"));
    let found = to_json(&common::report(models, config)).unwrap();
    if std::env::var_os("MOLDVET_KEEP").is_some() {
        std::fs::write(path, found).unwrap();
        return;
    }
    let kept = std::fs::read_to_string(&path).unwrap();
    let [kept, found] = [kept, found].map(|t| serde_json::from_str(&t).unwrap());
    let mut moved = Vec::new();
    compare(name, &kept, &found, &mut moved);
    assert!(moved.is_empty(), "kept and found:\n{}", moved.join("\n"));
}

/// Adds what differs between two values, with the way to it.
fn compare(at: &str, kept: &Value, found: &Value, moved: &mut Vec<String>) {
    match (kept, found) {
        (Value::Object(a), Value::Object(b)) if a.keys().eq(b.keys()) => {
            for (key, value) in a {
                compare(&format!("{at}.{key}"), value, &b[key], moved);
            }
        }
        (Value::Array(a), Value::Array(b)) if a.len() == b.len() => {
            for (k, (a, b)) in a.iter().zip(b).enumerate() {
                compare(&format!("{at}[{k}]"), a, b, moved);
            }
        }
        (Value::Number(a), Value::Number(b)) => {
            let [a, b] = [a, b].map(|n| n.as_f64().unwrap());
            if (a - b).abs() > NEAR_NOTHING + SHARE * a.abs() {
                moved.push(format!("{at}: {a} {b}"));
            }
        }
        _ if kept == found => {}
        _ => moved.push(format!("{at}: {kept} {found}")),
    }
}

fn corpus(name: &str, unit: Unit) -> Model {
    let path: PathBuf = data("corpus").join(format!("{name}.stl"));
    model(&path, unit)
}

/// A shape of the sweep, its facets coarser than there.
fn drawn(kind: &str, seed: u64) {
    let shape = shapes::shape(seed, Some(kind), false, [0.01, 0.05]);
    let mesh = model_of(&facets_of(&shape.mesh.stl(1.0, |p| p)), Unit::Mm);
    let radius = shape.truth.radius_mm.filter(|&r| r > 0.0);
    let scale = radius.unwrap_or(0.05 * shape.truth.volume_mm3.cbrt());
    let config = with_two((seed % 2) as usize, 2.0 * scale);
    kept(&format!("{kind}-{seed}"), &[mesh], &config);
}

macro_rules! kept {
    ($($test:ident: $run:expr;)*) => {
        $(#[test]
        fn $test() {
            $run
        })*
    };
}

kept! {
    taper: kept("taper", &[corpus("S04_taper_3deg", Unit::Mm)], &config(4.0));
    t_slot: kept("t-slot", &[corpus("S05_tslot", Unit::Mm)], &config(4.0));
    side_hole: kept("side-hole", &[corpus("S06_side_hole", Unit::Mm)], &config(4.0));
    rib: kept("rib", &[corpus("S09_rib_px", Unit::Mm)], &config(3.0));
    well: kept("well", &[corpus("S10_well_round_blank", Unit::Mm)], &with_two(0, 5.0));
    cone: kept("cone", &[corpus("S12_cone_inch", Unit::Inch)], &config(6.0));
    gap_pair: kept("gap-pair", &["S11_gap_A", "S11_gap_B"].map(|f| corpus(f, Unit::Mm)), &with_two(1, 4.0));
    a_pocket: drawn("pocket", 1);
    another_pocket: drawn("pocket", 2);
    a_sharp_pocket: drawn("sharp-pocket", 3);
    a_round: drawn("round", 4);
    another_round: drawn("round", 5);
    a_cap: drawn("cap", 6);
    a_slot: drawn("slot", 27);
    another_slot: drawn("slot", 17);
    a_groove: drawn("groove", 9);
    a_drawn_rib: drawn("rib", 10);
    a_step: drawn("step", 11);
    a_t_slot: drawn("t-slot", 12);
    a_cross_hole: drawn("cross-hole", 13);
}

/// How two halves close is the question: one cutter is enough.
fn closing() -> CheckConfig {
    let mut config = config(3.0);
    config.shop.cutters.truncate(1);
    config
}

/// Halves with a gate, pins and a cavity that is shifted and turned, `gap` apart.
fn halves(gap: Option<f64>) -> Vec<Model> {
    let gate = |side: f64| Gate {
        half_width: 1.5 + side,
        depth: 1.0 + side,
    };
    let half = |side: f64, features| Block {
        pocket: Some(([[-14.0, -8.0 + 0.1 * side], [10.0, 8.0]], 6.0 - 2.0 * side)),
        gate: Some(gate(0.2 * side)),
        ..Block::new(features)
    };
    let a = half(
        0.0,
        vec![
            pin(ring(64, 3.0, [-22.0, 12.0]), 6.0),
            pin(rectangle([20.0, -16.0], [26.0, -11.0]), 5.0),
            pocket(ring(32, 2.0, [-22.0, -12.0]), 4.0),
        ],
    );
    let b = half(
        1.0,
        vec![
            pocket(ring(64, 3.05, [-21.97, -12.0]), 7.0),
            pocket(rectangle([19.9, 10.9], [26.1, 16.1]), 5.5),
        ],
    );
    let turned = |gap: f64| b.solid().mapped(false, |[x, y, z]| [x + 0.05, -y, gap - z]);
    match gap {
        Some(gap) => vec![
            blocks::model("a.stl", &[&a.solid()]),
            blocks::model("b.stl", &[&turned(gap)]),
        ],
        None => {
            let beside = b.solid().mapped(false, |[x, y, z]| [x, y + 60.0, z]);
            vec![blocks::model("both.stl", &[&a.solid(), &beside])]
        }
    }
}

kept! {
    closed_halves: kept("closed-halves", &halves(Some(0.0)), &closing());
    halves_with_a_gap: kept("halves-with-a-gap", &halves(Some(0.06)), &closing());
    halves_that_overlap: kept("halves-that-overlap", &halves(Some(-0.04)), &closing());
    open_halves: kept("open-halves", &halves(None), &closing());
}
