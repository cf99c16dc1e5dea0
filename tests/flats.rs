//! What flats and bull-noses leave of hollows of the sweep where facets nearly square to the way to what is left hold the cutter
//! aside: only a narrow share of directions leads nearer.

#[allow(dead_code, reason = "shared with other tests")]
mod common;
#[allow(dead_code, reason = "the sweep uses more of it")]
mod sweep;

use common::{Differences, balls, facets_of, model_of};
use moldvet::mesh::Vector;
use moldvet::units::Unit;
use sweep::random::Random;
use sweep::shapes;

/// Chord errors as the sweep draws them, mm.
const CHORDS: [f64; 2] = [0.0005, 0.02];

#[test]
fn a_narrow_way_nearer_is_found() {
    let mut found = Differences::default();
    for seed in [906_217, 906_714, 908_850, 909_547] {
        let shape = shapes::shape(seed, None, false, CHORDS);
        let flat = shape.truth.flat.expect("a flat or bull-nose is drawn");
        // turned as in the sweep, which draws the unit first
        let mut random = Random::new(seed ^ 0x5eed_0000_0000_0000);
        let unit = if random.chance(0.3) {
            Unit::Inch
        } else {
            Unit::Mm
        };
        let axes = random.rotation();
        let offset = [0; 3].map(|_| random.within(-200.0, 200.0));
        let turned = |p: [f64; 3]| {
            [0, 1, 2].map(|k| axes[k].iter().zip(p).map(|(a, b)| a * b).sum::<f64>() + offset[k])
        };
        let stl = shape.mesh.stl(unit.in_mm(), turned);
        let mut config = balls(&[flat.diameter_mm]);
        config.axis = Some(Vector::from([0, 1, 2].map(|k| axes[k][2])));
        config.shop.cutters[0].corner_radius = flat.corner_mm;
        let report = common::report(&[model_of(&facets_of(&stl), unit)], &config);
        let cutter = &report.halves[0].reach.cutters[0];
        let pm = cutter.left_height_mm_pm.unwrap_or(0.0);
        found.close(
            &format!("seed {seed}"),
            cutter.left_height_mm,
            flat.left_mm,
            pm,
        );
    }
    found.none("flats and bull-noses");
}
