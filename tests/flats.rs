//! What flats and bull-noses leave of hollows of the sweep where facets nearly square to the way to what is left hold the cutter
//! aside: only a narrow share of directions leads nearer.

#[allow(dead_code, reason = "shared with other tests")]
mod common;
#[allow(dead_code, reason = "the sweep uses more of it")]
mod sweep;

use common::{Differences, balls, facets_of, model_of};
use moldvet::mesh::Vector;
use sweep::filed::Filed;
use sweep::shapes;

#[test]
fn a_narrow_way_nearer_is_found() {
    let mut found = Differences::default();
    for seed in [906_217, 906_714, 908_850, 909_547] {
        // where a cutter stops short hangs on how the shape lies
        let Filed {
            shape, bytes, unit, ..
        } = Filed::new(seed, shapes::shape(seed, None, false, shapes::CHORDS));
        let flat = shape.truth.flat.expect("a flat or bull-nose is drawn");
        let mut config = balls(&[flat.diameter_mm]);
        config.axis = Some(Vector::from(shape.truth.tool_axis));
        config.shop.cutters[0].corner_radius = flat.corner_mm;
        let report = common::report(&[model_of(&facets_of(&bytes), unit)], &config);
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
