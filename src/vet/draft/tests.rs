use super::*;
use crate::mesh::Vector;

/// A facet of draft `draft` whose surface has these drafts at its corners.
fn facet(draft: f64, corners_deg: [f64; 3], noise_deg: f64) -> Facet {
    Facet {
        triangle: 0,
        hollow: 0,
        normal: Vector::x(),
        area: 1.0,
        centroid: Point::origin(),
        z: [-1.0, 0.0],
        draft_deg: draft,
        spread_deg: [0.0; 2],
        corners_deg,
        noise_deg,
        chord_error: 0.0,
        chord_near: 0.0,
    }
}

/// Rounding without noise.
const HAIR: f64 = 1e-3;

#[test]
fn the_share_below_a_limit_is_the_corner_that_its_line_cuts_off() {
    // from 0° over 2° to 4°: below 1° a quarter of the triangle up to 2°, which is half of it
    let f = facet(2.0, [0.0, 2.0, 4.0], 0.0);
    let expected = [
        (-1.0, 0.0),
        (1.0, 0.125),
        (2.0, 0.5),
        (3.0, 0.875),
        (5.0, 1.0),
    ];
    for (limit, share) in expected {
        assert!((below(&f, limit) - share).abs() < HAIR, "{limit}");
    }
    // from 0° over 1° to 4°: below 1° a quarter, below 2° all but (2/4) (2/3) of it
    let f = facet(5.0 / 3.0, [0.0, 1.0, 4.0], 0.0);
    assert!((below(&f, 1.0) - 0.25).abs() < HAIR);
    assert!((below(&f, 2.0) - 2.0 / 3.0).abs() < HAIR);
}

#[test]
fn a_draft_within_its_rounding_of_the_limit_has_reached_it() {
    // of half a degree at the most
    for noise in [0.5, 3.0] {
        let f = facet(2.0, [0.0, 2.0, 4.0], noise);
        assert!((below(&f, 1.5) - 0.125).abs() < HAIR, "{noise}");
    }
    let plane = facet(1.0, [1.0; 3], 0.2);
    assert_eq!([1.1, 1.3].map(|limit| below(&plane, limit)), [0.0, 1.0]);
}

#[test]
fn each_band_has_its_share() {
    let f = facet(2.0, [0.0, 2.0, 4.0], 0.0);
    let found = shares(&f, &[-90.0, 1.0, 3.0, 90.0]);
    assert_eq!(found.len(), 3);
    for (share, expected) in found.iter().zip([0.125, 0.75, 0.125]) {
        assert!((share - expected).abs() < HAIR, "{found:?}");
    }
}

#[test]
fn what_is_short_of_draft_ends_where_the_limit_is_reached() {
    // 0° at the foot, 2° at both upper corners: 1° half way up
    let wall = [(0.0, -4.0), (2.0, 0.0), (2.0, -1.0)];
    assert_eq!(short_part(wall, 1.0), Some([-4.0, -2.0]));
    assert_eq!(short_part(wall, 0.5), Some([-4.0, -3.0]));
    assert_eq!(short_part(wall, 3.0), Some([-4.0, 0.0]));
    assert_eq!(short_part(wall, 0.0), None);
    // short above: from where the side to the foot reaches the limit
    let turned = [(2.0, -4.0), (0.0, 0.0), (2.0, -1.0)];
    assert_eq!(short_part(turned, 0.5), Some([-1.0, 0.0]));
}

#[test]
fn corners_are_off_by_twice_what_their_middle_is() {
    // the middle of 0°, 1° and 5° is 2° by their mean, 2.5° by the least and the most
    let off = |draft: f64| Off::own(&facet(draft, [0.0, 1.0, 5.0], 0.0));
    assert!(off(2.0).abs() < 1e-12 && off(2.5).abs() < 1e-12);
    assert!((off(1.9) + 0.2).abs() < 1e-12 && (off(3.0) - 1.0).abs() < 1e-12);
}

#[test]
fn patches_that_are_joined_hold_the_drafts_of_both() {
    let mut facets = [
        facet(1.0, [0.0, 1.0, 2.0], 0.1),
        facet(4.0, [4.0; 3], 0.2),
        facet(2.0, [1.5, 2.0, 2.5], 0.0),
    ];
    facets[1].area = 3.0;
    facets[2].spread_deg = [0.7, 0.9];
    let mut laid = Laid::of(&facets);
    let root = laid.join(2, 0);
    let sum = laid.sums[root as usize];
    assert_eq!((sum.area, sum.draft, sum.least), (2.0, 3.0, 0));
    assert!((sum.range[0] + 0.1).abs() < 1e-12 && (sum.range[1] - 2.9).abs() < 1e-12);
    let root = laid.join(1, root);
    let sum = laid.sums[root as usize];
    assert_eq!((sum.area, sum.draft, sum.least), (5.0, 15.0, 0));
    assert!((sum.range[0] + 0.1).abs() < 1e-12 && (sum.range[1] - 4.2).abs() < 1e-12);
    // a patch is joined to itself without being counted twice
    let again = laid.join(0, 1);
    assert_eq!(laid.sums[again as usize].area, 5.0);
}

#[test]
fn a_lip_that_is_short_does_not_hide_a_wall_that_may_be() {
    let wall = |height: f64, pm: f64| ShortWall {
        height,
        pm,
        at: Point::origin(),
    };
    let tallest = |walls: Vec<ShortWall>| tallest(walls).map(|w| (w.height, w.pm));
    assert_eq!(tallest(vec![]), None);
    assert_eq!(tallest(vec![wall(0.5, 0.1)]), Some((0.5, 0.1)));
    // the wall may be short over all its 20 mm
    assert_eq!(
        tallest(vec![wall(0.0, 20.0), wall(0.5, 0.1)]),
        Some((0.5, 19.5))
    );
    assert_eq!(
        tallest(vec![wall(0.5, 0.1), wall(0.3, 0.25)]),
        Some((0.5, 0.1))
    );
    // of equals the less sure one, whatever their order
    for walls in [[0.1, 0.3], [0.3, 0.1]] {
        let walls = walls.map(|pm| wall(0.0, pm)).into();
        assert_eq!(tallest(walls), Some((0.0, 0.3)));
    }
}
