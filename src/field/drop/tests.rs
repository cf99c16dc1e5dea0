use super::*;
use crate::field::shapes::{T_SLOT, block, noise, rough, swept, turned};
use proptest::prelude::*;

fn cutter(radius: f64, corner_radius: f64) -> Profile {
    Profile::Cutter {
        radius,
        corner_radius,
    }
}

fn profiles() -> [Profile; 6] {
    [
        Profile::ball(1.3),
        Profile::flat(0.9),
        cutter(1.4, 0.5),
        cutter(1.1, 0.05),
        Profile::Cone {
            lower_radius: 0.6,
            upper_radius: 1.8,
            height: 1.5,
        },
        Profile::Cone {
            lower_radius: 0.0,
            upper_radius: 0.9,
            height: 3.0,
        },
    ]
}

/// The contact lies on its triangle and holds the body at the stated height: the height is no more than the definition's.
fn assert_attained(mesh: &Mesh, profile: Profile, at: [f64; 2], contact: &Contact) {
    let [a, b, c] = mesh.corners(contact.triangle as usize);
    let (u, v, w) = (b - a, c - a, contact.point - a);
    let n = u.cross(&v);
    let (s, t) = (
        w.cross(&v).dot(&n) / n.norm_squared(),
        u.cross(&w).dot(&n) / n.norm_squared(),
    );
    assert!(
        s >= -1e-9 && t >= -1e-9 && s + t <= 1.0 + 1e-9,
        "outside: {s} {t}"
    );
    assert!((w.dot(&n) / n.norm()).abs() < 1e-9, "off the plane");
    let d = (contact.point.x - at[0]).hypot(contact.point.y - at[1]);
    let rise = profile.rise(d.min(profile.reach())).unwrap();
    assert!(d <= profile.reach() + 1e-9);
    assert!(
        (contact.point.z + rise - contact.z).abs() < 1e-6,
        "{} vs {}",
        contact.point.z + rise,
        contact.z
    );
}

/// No sampled surface point holds the body higher: the height is no less than the definition's.
fn assert_not_exceeded(mesh: &Mesh, profile: Profile, at: [f64; 2], z: Option<f64>, fine: usize) {
    for t in 0..mesh.triangles.len() {
        let [a, b, c] = mesh.corners(t);
        for i in 0..=fine {
            for j in 0..=fine - i {
                let q = a + (b - a) * (i as f64 / fine as f64) + (c - a) * (j as f64 / fine as f64);
                if let Some(rise) = profile.rise((q.x - at[0]).hypot(q.y - at[1])) {
                    assert!(
                        z.is_some_and(|z| q.z + rise <= z + 1e-9),
                        "{profile:?} at {at:?}: {z:?}, sample {q:?} holds it at {}",
                        q.z + rise
                    );
                }
            }
        }
    }
}

fn check(mesh: &Mesh, at: [f64; 2], fine: usize) {
    let dropper = Dropper::new(mesh);
    for profile in profiles() {
        let contact = dropper.centre_height(profile, at[0], at[1]);
        if let Some(contact) = &contact {
            assert_attained(mesh, profile, at, contact);
            let z = contact.z;
            assert!(dropper.clear_at(profile, at[0], at[1], z, 1e-6));
            let between = |floor: f64, ceiling: f64| dropper.highest(profile, at, floor, ceiling);
            // to rounding: two triangles may hold it at a shared side
            assert!(between(z - 0.3, z + 0.1).is_some_and(|c| (c.z - z).abs() < 1e-12));
            assert_eq!(between(z + 1e-12, z + 0.1), None);
            // beyond the ceiling any contact will do
            assert!(
                between(f64::NEG_INFINITY, z - 0.5)
                    .is_some_and(|c| c.z > z - 0.5 && c.z < z + 1e-12)
            );
            // lowered it cuts, unless it touched with its rim alone
            let d = (contact.point.x - at[0]).hypot(contact.point.y - at[1]);
            if d < profile.reach() - 0.01 {
                assert!(!dropper.clear_at(profile, at[0], at[1], z - 0.2, 1e-3));
            }
        }
        assert_not_exceeded(mesh, profile, at, contact.map(|c| c.z), fine);
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn agrees_with_dense_samples_on_rough_ground(seed in any::<u64>(), x in -2.0..12.0f64, y in -2.0..12.0f64, height in 0.0..1.5f64) {
        check(&rough(14, seed, height), [x, y], 24);
    }

    #[test]
    fn agrees_with_dense_samples_on_any_triangles(seed in any::<u64>(), x in -3.0..3.0f64, y in -3.0..3.0f64) {
        let number = |k: u64| 2.5 * noise(seed.wrapping_add(k));
        let mesh = Mesh {
            vertices: (0..15).map(|k| Point::new(number(3 * k), number(3 * k + 1), number(3 * k + 2))).collect(),
            triangles: (0..5).map(|k| [3 * k, 3 * k + 1, 3 * k + 2]).collect(),
        };
        check(&mesh, [x, y], 80);
    }

    #[test]
    fn agrees_with_dense_samples_on_a_turned_t_slot(x in -8.0..8.0f64, y in -8.0..8.0f64, angle in 0.0..360.0f64) {
        check(&turned(&swept(&T_SLOT, 6.0), angle), [x, y], 100);
    }
}

/// A place whose plane rises at `slope_deg` to the horizontal, 20 mm about the origin.
fn plane(slope_deg: f64) -> Mesh {
    let rise = slope_deg.to_radians().tan();
    block([-20.0; 2], [20.0; 2], 2, -80.0, move |x, _| rise * x)
}

#[test]
fn tip_on_a_slope() {
    // Trade facts row 55: tip lift of a ball above a plane of slope β is R (1 / cos β − 1), R = 3;
    // derived: the centre is R away from the plane, R / cos β above it.
    for (slope, lift) in [(45.0, 1.2426407), (60.0, 3.0)] {
        let mesh = plane(slope);
        let ball = Profile::ball(3.0);
        let contact = Dropper::new(&mesh).centre_height(ball, 0.3, 0.1).unwrap();
        let ground = 0.3 * f64::tan(f64::to_radians(slope));
        assert!((contact.z - ball.tip_below() - ground - lift).abs() < 5e-8);
    }
}

/// An upright spike with its point at (x, 0, 0).
fn spike(x: f64) -> Mesh {
    let v = |dx: f64, dy: f64, z: f64| Point::new(x + dx, dy, z);
    Mesh {
        vertices: vec![
            v(0.0, 0.0, 0.0),
            v(0.01, 0.0, -20.0),
            v(-0.01, 0.01, -20.0),
            v(-0.01, -0.01, -20.0),
        ],
        triangles: vec![[0, 1, 2], [0, 2, 3], [0, 3, 1], [1, 3, 2]],
    }
}

#[test]
fn ball_beside_a_vertex() {
    // Row 56: vertex at plan distance 2, height 0, R = 3: tip at √(R² − d²) − R; derived.
    let mesh = spike(2.0);
    let contact = Dropper::new(&mesh)
        .centre_height(Profile::ball(3.0), 0.0, 0.0)
        .unwrap();
    assert!((contact.z - 3.0 - (-0.7639320)).abs() < 5e-8);
}

#[test]
fn ball_between_two_points_and_in_a_slot() {
    // Row 54: two points 4 apart, R = 3: midway the tip lies R − √(R² − (w/2)²) below them.
    // Row 50: a slot of width 4 stops the same ball at the same depth. Derived.
    let mut two = spike(2.0);
    let other = spike(-2.0);
    two.triangles
        .extend(other.triangles.iter().map(|t| t.map(|v| v + 4)));
    two.vertices.extend(other.vertices);
    let slot = swept(&T_SLOT, 30.0);
    for (mesh, y) in [(&two, 0.0), (&slot, 15.0)] {
        let contact = Dropper::new(mesh)
            .centre_height(Profile::ball(3.0), 0.0, y)
            .unwrap();
        assert!((3.0 - contact.z - 0.7639320).abs() < 5e-8);
    }
}

#[test]
fn ball_over_a_hole() {
    // Row 51: a hole of diameter 4 stops a ball of R = 3 after 0.7639320, derived. The hole's rim is a
    // 720-gon with its corners on the circle: its sides' middles are nearer by 2 (1 − cos(π/720)) = 1.9e-5,
    // which at slope d / √(R² − d²) = 0.9 lifts the ball by 1.7e-5.
    let n = 720u32;
    let mut mesh = Mesh::default();
    for k in 0..n {
        let (s, c) = (std::f64::consts::TAU * f64::from(k) / f64::from(n)).sin_cos();
        mesh.vertices.extend([
            Point::new(2.0 * c, 2.0 * s, 0.0),
            Point::new(9.0 * c, 9.0 * s, 0.0),
        ]);
        let next = (k + 1) % n;
        mesh.triangles.extend([
            [2 * k, 2 * k + 1, 2 * next + 1],
            [2 * k, 2 * next + 1, 2 * next],
        ]);
    }
    let contact = Dropper::new(&mesh)
        .centre_height(Profile::ball(3.0), 0.0, 0.0)
        .unwrap();
    let sunk = 3.0 - contact.z;
    assert!((0.7639320 - 1.8e-5..=0.7639321).contains(&sunk), "{sunk}");
}

#[test]
fn touching_a_wall_is_clear() {
    let mesh = turned(
        &swept(
            &[
                [-9.0, 0.0],
                [-4.0, 0.0],
                [-4.0, -6.0],
                [4.0, -6.0],
                [4.0, 0.0],
                [9.0, 0.0],
            ],
            40.0,
        ),
        37.0,
    );
    let dropper = Dropper::new(&mesh);
    let (s, c) = 37f64.to_radians().sin_cos();
    // 1.5 mm from the right wall, half way along, and a hair nearer
    for (x, clear) in [(2.5, true), (2.5 + 1e-3, false)] {
        let at = [x * c - 20.0 * s, x * s + 20.0 * c];
        assert_eq!(
            dropper.clear_at(Profile::ball(1.5), at[0], at[1], -4.5, 1e-4),
            clear
        );
        assert_eq!(
            dropper.clear_at(Profile::flat(1.5), at[0], at[1], -6.0, 1e-4),
            clear
        );
    }
}

#[test]
fn nothing_in_reach_or_no_mesh() {
    let mesh = spike(2.0);
    let dropper = Dropper::new(&mesh);
    assert_eq!(dropper.centre_height(Profile::ball(1.0), 0.0, 0.0), None);
    assert!(dropper.clear_at(Profile::ball(1.0), 0.0, 0.0, -50.0, 0.0));
    let empty = Mesh::default();
    assert_eq!(
        Dropper::new(&empty).centre_height(Profile::ball(1.0), 0.0, 0.0),
        None
    );
}
