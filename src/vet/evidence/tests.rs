use super::*;
use crate::shop::Section;

/// A level half at height 0 with a step up to 30 from x = 20 on, and a holder of 10 mm for 20 mm, then a cone from 12 to 20 mm.
fn clear(clearance: f64) -> Clear {
    let grid = Grid {
        origin: [-40.0, -30.0],
        cell: 0.5,
        nx: 160,
        ny: 120,
    };
    let height = |k: usize| {
        if grid.x(k % grid.nx) > 20.0 {
            30.0
        } else {
            0.0
        }
    };
    let top = HeightMap::from_values(grid, (0..grid.len()).map(height).collect());
    let section = |lower_diameter, upper_diameter, height| Section {
        lower_diameter,
        upper_diameter,
        height,
    };
    let holder = Holder {
        name: "stepped".to_owned(),
        sections: vec![section(10.0, 10.0, 20.0), section(12.0, 20.0, 15.0)],
    };
    Clear::of(&top, &holder, clearance)
}

#[test]
fn the_stickout_keeps_each_section_of_the_holder_clear() {
    let clear = clear(1.0);
    let needed = |x: f64, tip: f64| clear.stickout(x, 0.25, tip);
    // far from the step the face stays 1 above the half
    assert_eq!([needed(-10.25, -5.0), needed(-10.25, -2.0)], [6.0, 3.0]);
    assert_eq!(needed(-10.25, 4.0), 0.0);
    // the cone, taken as wide as its upper end, is 10 wide to the side: over the step at 31, 20 above the face
    assert_eq!(needed(12.25, -5.0), 16.0);
    // and the face itself
    assert_eq!(needed(16.25, -5.0), 36.0);
    // 5 mm and the clearance beside the step the face passes it
    assert_eq!(needed(13.75, -5.0), 16.0);
    // nothing is known beyond the half by more than the holder reaches
    assert_eq!(clear.stickout(500.0, 0.0, -5.0), 0.0);
}

#[test]
fn without_clearance_the_face_goes_down_onto_the_half() {
    assert_eq!(clear(0.0).stickout(-10.25, 0.25, -5.0), 5.0);
}

#[test]
fn a_widened_map_holds_the_same_values_at_the_same_places() {
    let grid = Grid {
        origin: [1.0, -2.0],
        cell: 0.5,
        nx: 3,
        ny: 2,
    };
    let map = HeightMap::from_values(grid, vec![1.0, 2.0, 3.0, 4.0, 5.0, 6.0]);
    let wide = widened(&map, 2);
    assert_eq!([wide.grid.nx, wide.grid.ny], [7, 6]);
    for k in 0..wide.grid.len() {
        let [x, y] = wide.grid.centre(k % 7, k / 7);
        let old = grid
            .cell_at(x, y)
            .and_then(|(i, j)| map.get(grid.index(i, j)));
        assert_eq!(wide.get(k), old, "{x} {y}");
    }
}
