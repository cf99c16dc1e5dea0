use super::*;
use crate::mesh::testing::joined;
use nalgebra::{Isometry3, Rotation3, Translation3, Unit, Vector3};
use proptest::prelude::*;

fn grid(origin: [f64; 2], cell: f64, nx: usize, ny: usize) -> Grid {
    Grid {
        origin,
        cell,
        nx,
        ny,
    }
}

/// The surface of the unit cubes for which `solid` holds, within `n`³: closed, all corners on whole numbers.
fn cubes(n: i32, solid: impl Fn(i32, i32, i32) -> bool) -> Mesh {
    let inside = |c: [i32; 3]| c.iter().all(|&v| (0..n).contains(&v)) && solid(c[0], c[1], c[2]);
    let mut mesh = Mesh::default();
    for index in 0..n * n * n {
        let c = [index % n, index / n % n, index / n / n];
        if !inside(c) {
            continue;
        }
        for axis in 0..3 {
            for out in [0, 1] {
                let mut next = c;
                next[axis] += 2 * out - 1;
                if inside(next) {
                    continue;
                }
                let (u, v) = ((axis + 1) % 3, (axis + 2) % 3);
                let first = mesh.vertices.len() as u32;
                for (du, dv) in [(0, 0), (1, 0), (1, 1), (0, 1)] {
                    let mut p = c;
                    p[axis] += out;
                    p[u] += du;
                    p[v] += dv;
                    mesh.vertices.push(Point::from(p.map(f64::from)));
                }
                let [mut a, mut b] = [[0, 1, 2], [0, 2, 3]];
                if out == 0 {
                    a.swap(1, 2);
                    b.swap(1, 2);
                }
                mesh.triangles.push(a.map(|k| first + k));
                mesh.triangles.push(b.map(|k| first + k));
            }
        }
    }
    mesh
}

/// A closed surface about the origin seen whole from there: an octahedron split three times, its corners at distances between 4
/// and 9.
fn star(radius: impl Fn(usize) -> f64) -> Mesh {
    let mut mesh = Mesh {
        vertices: [1.0, -1.0]
            .into_iter()
            .flat_map(|s| (0..3).map(move |k| Point::from(Vector3::ith(k, s))))
            .collect(),
        triangles: vec![
            [0, 1, 2],
            [1, 3, 2],
            [3, 4, 2],
            [4, 0, 2],
            [1, 0, 5],
            [3, 1, 5],
            [4, 3, 5],
            [0, 4, 5],
        ],
    };
    for _ in 0..3 {
        let mut middles = std::collections::HashMap::new();
        let mut split = Vec::new();
        for [a, b, c] in mesh.triangles {
            let [ab, bc, ca] = [(a, b), (b, c), (c, a)].map(|(a, b)| {
                *middles.entry((a.min(b), a.max(b))).or_insert_with(|| {
                    let sum = mesh.vertices[a as usize].coords + mesh.vertices[b as usize].coords;
                    mesh.vertices.push(Point::from(sum.normalize()));
                    mesh.vertices.len() as u32 - 1
                })
            });
            split.extend([[a, ab, ca], [ab, b, bc], [ca, bc, c], [ab, bc, ca]]);
        }
        mesh.triangles = split;
    }
    for (k, p) in mesh.vertices.iter_mut().enumerate() {
        *p *= radius(k);
    }
    mesh
}

/// Every column leaves as often as it enters, and is inside at most one shell, but for crossings closer than `noise`.
fn assert_closed(columns: &Columns, noise: f32) {
    let mut solid = 0;
    for k in 0..columns.grid().len() {
        let column = columns.column(k);
        assert!(
            column.is_sorted_by_key(|c| c.key()),
            "column {k}: {column:?}"
        );
        let mut inside = 0;
        for (at, c) in column.iter().enumerate() {
            inside += if c.up() { -1 } else { 1 };
            let close = column.get(at + 1).is_some_and(|d| d.z - c.z <= noise);
            assert!(close || (0..=1).contains(&inside), "column {k}: {column:?}");
        }
        assert_eq!(inside, 0, "column {k}: {column:?}");
        solid += columns.solids(k).count();
    }
    assert!(solid > 0, "the grid misses the mesh");
}

/// Whether the line through `p`, moved by (ε, ε²), meets the triangle, and whether the triangle faces up there:
/// in whole numbers, each sign by the definition.
fn crosses(corners: [[i128; 2]; 3], p: [i128; 2]) -> Option<bool> {
    let side = |a: [i128; 2], b: [i128; 2]| {
        let [dx, dy] = [b[0] - a[0], b[1] - a[1]];
        let area = dx * (p[1] - a[1]) - dy * (p[0] - a[0]);
        // d(area) = dx ε² - dy ε
        [area, -dy, dx]
            .into_iter()
            .find(|&v| v != 0)
            .map_or(0, i128::signum)
    };
    let [a, b, c] = corners;
    match [side(a, b), side(b, c), side(c, a)] {
        [1, 1, 1] => Some(true),
        [-1, -1, -1] => Some(false),
        _ => None,
    }
}

proptest! {
    /// Triangles with corners on whole numbers, grid lines through corners, along edges and between them: each column has
    /// exactly the crossings that whole-number arithmetic finds. Far from the origin the fast figures decide nothing.
    #[test]
    fn crossings_are_exact(
        corners in prop::collection::vec([0i32..9, 0..9, 0..9], 3..30),
        origin in [-4i32..=4, -4..=4],
        halves in 1i32..=3,
        far in prop::sample::select(vec![0i64, 1000, 1 << 46]),
    ) {
        let n = corners.len() / 3;
        let at = |v: i32| f64::from(v) + far as f64;
        let mesh = Mesh {
            vertices: corners.iter().map(|&[x, y, z]| Point::new(at(x), at(y), f64::from(z))).collect(),
            triangles: (0..n as u32).map(|t| [3 * t, 3 * t + 1, 3 * t + 2]).collect(),
        };
        // in quarters of a mm all is whole: origin on quarters, cells of 0.5, 1 and 1.5
        let grid = grid(origin.map(|o| f64::from(o) / 4.0 + far as f64), f64::from(halves) / 2.0, 19, 23);
        let columns = Columns::cast(&mesh, grid);
        for j in 0..grid.ny {
            for i in 0..grid.nx {
                let centre = |k: usize, i: usize| i128::from(origin[k] + halves * (2 * i as i32 + 1));
                let p = [centre(0, i), centre(1, j)];
                let mut expected: Vec<(u32, bool)> = (0..n as u32)
                    .filter_map(|t| {
                        let of = mesh.triangles[t as usize].map(|v| {
                            let [x, y, _] = corners[v as usize];
                            [i128::from(4 * x), i128::from(4 * y)]
                        });
                        Some((t, crosses(of, p)?))
                    })
                    .collect();
                let mut found: Vec<(u32, bool)> =
                    columns.column(grid.index(i, j)).iter().map(|c| (c.triangle(), c.up())).collect();
                expected.sort_unstable();
                found.sort_unstable();
                prop_assert_eq!(found, expected, "cell {} {}", i, j);
            }
        }
    }

    /// Solid cubes with corners on grid lines: material from the tops and bottoms of the cubes, exactly.
    #[test]
    fn stepped_solids(
        heights in prop::collection::vec(0i32..=5, 36),
        (shift, cell) in prop::sample::select(vec![(0.0, 1.0), (0.5, 1.0), (0.0, 0.5), (0.5, 0.5), (0.25, 0.5)]),
    ) {
        prop_assume!(heights.iter().any(|&h| h > 0));
        let mesh = cubes(6, |x, y, z| z < heights[(y * 6 + x) as usize]);
        let n = (8.0 / cell) as usize;
        let grid = grid([shift - 1.0; 2], cell, n, n);
        let columns = Columns::cast(&mesh, grid);
        for k in 0..grid.len() {
            let [x, y] = grid.centre(k % n, k / n);
            // a line on a boundary is thought moved to higher x and y
            let (i, j) = (x.floor() as i32, y.floor() as i32);
            let within = (0..6).contains(&i) && (0..6).contains(&j);
            let h = if within { heights[(j * 6 + i) as usize] } else { 0 };
            let expected: Vec<[f32; 2]> = if h > 0 { vec![[0.0, h as f32]] } else { vec![] };
            prop_assert_eq!(columns.solids(k).collect::<Vec<_>>(), expected);
            prop_assert_eq!(columns.column(k).len(), if h > 0 { 2 } else { 0 });
            prop_assert_eq!(columns.top().get(k), (h > 0).then_some(h as f32));
        }
    }

    /// Closed meshes stay closed however turned and placed.
    #[test]
    fn closed_meshes_balance(
        filled in prop::collection::vec(any::<bool>(), 64),
        radii in prop::collection::vec(4.0..9.0, 300),
        axis in [-1.0f64..1.0, -1.0..1.0, -1.0..1.0],
        angle in 0.0f64..7.0,
        shift in [-1.0f64..1.0, -1.0..1.0, -1.0..1.0],
        cell in 0.05..0.6,
    ) {
        let axis = Unit::try_new(Vector3::from(axis), 1e-3);
        let turn = axis.map_or(Rotation3::identity(), |a| Rotation3::from_axis_angle(&a, angle));
        let place = Isometry3::from_parts(Translation3::from(shift), turn.into());
        let cubes = cubes(4, |x, y, z| filled[(x + 4 * y + 16 * z) as usize] || z == 0);
        let star = star(|k| radii[k % radii.len()]);
        for mesh in [&cubes, &star] {
            let mesh = mesh.transformed(&place);
            let (lo, hi) = mesh.bounds().unwrap();
            let grid = Grid::covering([lo.x, lo.y], [hi.x, hi.y], 0.3, cell);
            // heights within 10 mm are rounded to 2⁻²¹ mm = 5e-7 mm at most
            assert_closed(&Columns::cast(&mesh, grid), 2e-6);
        }
    }
}

/// Grid lines exactly on slanted edges whose place in a row is not exact in floating point.
#[test]
fn lines_on_slanted_edges_fall_on_one_side() {
    let grid = grid([-0.5; 2], 1.0, 150, 150);
    for p in 1..50 {
        for q in 1..50 {
            // the diagonal of a rectangle, met by grid lines at each third
            let ends = [[0, 0], [3 * p, 0], [3 * p, 3 * q], [0, 3 * q]];
            let mesh = Mesh {
                vertices: ends
                    .iter()
                    .map(|&[x, y]| Point::new(f64::from(x), f64::from(y), 1.0))
                    .collect(),
                triangles: vec![[0, 1, 2], [0, 2, 3]],
            };
            let columns = Columns::cast(&mesh, grid);
            assert_eq!(columns.crossing_count(), (9 * p * q) as usize, "{p} {q}");
            for k in 0..3 {
                // moved to the right, they are in the lower triangle
                let on = columns.column(grid.index((k * p) as usize, (k * q) as usize));
                assert_eq!(on.iter().map(|c| c.triangle()).collect::<Vec<_>>(), [0]);
            }
        }
    }
}

#[test]
fn an_edge_too_level_for_a_slope() {
    // dx / dy of the first edge overflows; it meets the row at y = 0 in its lower end, where the triangle has no width
    let corners = [[2.5, 0.0], [1e5, 1e-310], [0.0, 5.0]];
    let mesh = Mesh {
        vertices: corners.map(|[x, y]| Point::new(x, y, 0.0)).to_vec(),
        triangles: vec![[0, 1, 2]],
    };
    let columns = Columns::cast(&mesh, grid([-0.5; 2], 1.0, 10, 2));
    assert!((0..10).all(|k| columns.column(k).is_empty()));
    // one row up it spans from x = 2 on
    let met = (10..20).map(|k| columns.column(k).len());
    assert_eq!(met.collect::<Vec<_>>(), [0, 0, 1, 1, 1, 1, 1, 1, 1, 1]);
}

#[test]
fn a_line_through_a_corner_of_many_triangles_counts_once() {
    // the octahedron's poles, and its edges in the planes x = 0 and y = 0, lie on grid lines
    let mesh = star(|_| 8.0);
    let grid = grid([-10.5; 2], 1.0, 21, 21);
    let columns = Columns::cast(&mesh, grid);
    assert_closed(&columns, 0.0);
    let k = grid.index(10, 10);
    let heights: Vec<f32> = columns.column(k).iter().map(|c| c.z).collect();
    assert_eq!(heights, [-8.0, 8.0]);
    let top = columns.top_triangle(k).unwrap();
    assert!(mesh.normal(top as usize).unwrap().z > 0.9);
}

#[test]
fn shells_merge_and_voids_part() {
    let cube = |lo: [f64; 3], hi: [f64; 3]| {
        let mut mesh = cubes(1, |_, _, _| true);
        for p in &mut mesh.vertices {
            for k in 0..3 {
                p[k] = if p[k] > 0.0 { hi[k] } else { lo[k] };
            }
        }
        mesh
    };
    let column = |mesh: &Mesh| {
        let columns = Columns::cast(mesh, grid([0.0; 2], 1.0, 1, 1));
        (
            columns.solids(0).collect::<Vec<_>>(),
            columns.gaps(0).collect::<Vec<_>>(),
            columns.crossing_count(),
        )
    };
    let slab = |z0, z1| cube([-1.0, -1.0, z0], [2.0, 2.0, z1]);
    // overlapping, touching, apart
    let (solids, gaps, n) = column(&joined(&[slab(0.0, 2.0), slab(1.0, 3.0)]));
    assert_eq!((solids, gaps, n), (vec![[0.0, 3.0]], vec![], 4));
    let (solids, gaps, _) = column(&joined(&[slab(2.0, 3.0), slab(0.0, 2.0)]));
    assert_eq!((solids, gaps), (vec![[0.0, 3.0]], vec![]));
    let (solids, gaps, _) = column(&joined(&[slab(0.0, 1.0), slab(4.0, 5.0), slab(-3.0, -2.0)]));
    assert_eq!(solids, [[-3.0, -2.0], [0.0, 1.0], [4.0, 5.0]]);
    assert_eq!(gaps, [[-2.0, 0.0], [1.0, 4.0]]);
    // a void: a shell turned inward
    let mut void = slab(1.0, 2.0);
    for t in &mut void.triangles {
        t.swap(0, 1);
    }
    let (solids, gaps, _) = column(&joined(&[slab(0.0, 3.0), void]));
    assert_eq!(
        (solids, gaps),
        (vec![[0.0, 1.0], [2.0, 3.0]], vec![[1.0, 2.0]])
    );
    // a plate thinner than f32 can tell keeps its interval
    let (solids, _, _) = column(&slab(100.0, 100.0 + 1e-9));
    assert_eq!(solids, [[100.0, 100.0]]);
    // an open mesh: no end, no interval
    let mut open = slab(0.0, 1.0);
    open.triangles
        .retain(|t| t.iter().any(|&v| open.vertices[v as usize].z < 0.5));
    let (solids, _, n) = column(&open);
    assert_eq!((solids, n), (vec![], 1));
}

#[test]
fn heights_follow_the_plane() {
    // z = 3 + x / 2 - y / 4
    let z = |x: f64, y: f64| 3.0 + x / 2.0 - y / 4.0;
    let corner = |x: f64, y: f64| Point::new(x, y, z(x, y));
    let mesh = Mesh {
        vertices: vec![
            corner(-50.0, -40.0),
            corner(70.0, -30.0),
            corner(10.0, 90.0),
        ],
        triangles: vec![[0, 1, 2]],
    };
    let grid = grid([-3.0, -2.0], 0.7, 12, 9);
    let columns = Columns::cast(&mesh, grid);
    for k in 0..grid.len() {
        let [x, y] = grid.centre_of(k);
        let [crossing] = columns.column(k) else {
            panic!("one crossing in cell {k}")
        };
        assert!(crossing.up());
        assert!((f64::from(crossing.z) - z(x, y)).abs() < 1e-6);
    }
}

#[test]
fn keys_order_heights() {
    let key = |z: f32, tag: u32| Crossing { z, tag }.key();
    let ordered = [-1e9, -2.0, -1.5, -1e-30, 0.0, 1e-30, 0.5, 1.0, 3e8];
    assert!(ordered.map(|z| key(z, UP)).is_sorted());
    assert!(key(1.0, 7) < key(1.0, 2 | UP), "entries first");
    assert!(
        key(1.0, 7 | UP) < key(1.0001, 7),
        "but by height before that"
    );
    assert_eq!(std::mem::size_of::<Crossing>(), 8);
}

#[test]
fn nothing_to_cast() {
    let empty = Columns::cast(&Mesh::default(), grid([0.0; 2], 1.0, 3, 2));
    assert_eq!(empty.crossing_count(), 0);
    assert_eq!(empty.top(), HeightMap::empty(empty.grid()));
    let none = Columns::cast(&cubes(1, |_, _, _| true), grid([0.0; 2], 1.0, 0, 5));
    assert_eq!(none.crossing_count(), 0);
    let beside = Columns::cast(&cubes(1, |_, _, _| true), grid([7.0, 0.0], 0.1, 9, 9));
    assert_eq!(beside.crossing_count(), 0);
}

#[test]
fn same_columns_on_one_thread_and_on_five() {
    let mesh = star(|k| 5.0 + (k % 7) as f64 / 2.0);
    let grid = grid([-10.0; 2], 0.05, 400, 400);
    let on = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build();
        pool.unwrap().install(|| Columns::cast(&mesh, grid))
    };
    assert_eq!(on(1), on(5));
}

#[test]
fn a_window_sees_what_the_whole_grid_sees() {
    let mesh = star(|k| 5.0 + (k % 5) as f64 / 2.0);
    let whole = grid([-8.0; 2], 0.125, 128, 128);
    let part = grid([-8.0 + 0.125 * 37.0, -8.0 + 0.125 * 50.0], 0.125, 20, 33);
    let (all, some) = (Columns::cast(&mesh, whole), Columns::cast(&mesh, part));
    for k in 0..part.len() {
        let same = whole.index(k % part.nx + 37, k / part.nx + 50);
        assert_eq!(some.column(k), all.column(same));
    }
}
