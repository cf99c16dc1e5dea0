//! Whether two bodies fill the same space, as copies and overlapping shells do and the halves of a mold do not.

use crate::field::{Columns, Grid};
use crate::mesh::Mesh;

/// Columns along the longer side.
const COARSE: f64 = 160.0;

/// The space that both fill, as a share of the smaller solid; by columns along Z.
pub(super) fn shared(a: &Mesh, b: &Mesh) -> f64 {
    let (Some(of_a), Some(of_b)) = (a.bounds(), b.bounds()) else {
        return 0.0;
    };
    let (lo, hi) = (of_a.0.sup(&of_b.0), of_a.1.inf(&of_b.1));
    if (0..3).any(|k| lo[k] >= hi[k]) {
        return 0.0;
    }
    let cell = (hi.x - lo.x).max(hi.y - lo.y) / COARSE;
    let grid = Grid::covering([lo.x, lo.y], [hi.x, hi.y], 0.0, cell);
    let columns = [a, b].map(|mesh| Columns::cast(mesh, grid));
    let in_both = |k: usize| -> f64 {
        let others: Vec<[f32; 2]> = columns[1].solids(k).collect();
        let common = |[from, to]: [f32; 2], [u, v]: &[f32; 2]| f64::from(to.min(*v) - from.max(*u));
        let lengths = columns[0].solids(k).flat_map(|solid| {
            let common = others.iter().map(move |other| common(solid, other));
            common.map(|length| length.max(0.0))
        });
        lengths.sum()
    };
    let volume = (0..grid.len()).map(in_both).sum::<f64>() * cell * cell;
    let smaller = a.signed_volume().min(b.signed_volume());
    if smaller > 0.0 { volume / smaller } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mesh::Vector;
    use crate::mesh::testing::block;
    use nalgebra::Isometry3;

    #[test]
    fn shifted_copies_share_what_they_share() {
        let a = block([10.0, 8.0, 6.0]);
        let moved = |by: [f64; 3]| a.transformed(&Isometry3::from(Vector::from(by)));
        assert!((shared(&a, &a) - 1.0).abs() < 1e-6);
        // half of it along X, three quarters along Z
        let both = shared(&a, &moved([5.0, 0.0, 1.5]));
        assert!((both - 0.375).abs() < 0.01, "{both}");
        // one upon the other
        assert_eq!(shared(&a, &moved([0.0, 0.0, 6.0])), 0.0);
        assert_eq!(shared(&a, &moved([40.0, 0.0, 0.0])), 0.0);
    }
}
