//! Planning against closed forms and against a ball that is really moved over a mesh.

use moldvet::field::{Dropper, Profile, Rays};
use moldvet::mesh::{Creases, Mesh, Model, Point, Topology, Vector};
use moldvet::plan::curve::Form;
use moldvet::plan::cusp;
use moldvet::plan::direction::Sheet;
use moldvet::plan::{PlanConfig, plan};
use moldvet::report::plan::Plan;
use moldvet::shop::{Cutter, Shop};
use moldvet::units::Unit;
use moldvet::vet::CheckConfig;
use std::f64::consts::PI;

fn form(mesh: &Mesh) -> Form {
    let topology = Topology::new(mesh);
    Form::read(mesh, &topology, &Creases::read(mesh, &topology, 30.0, 0.0))
}

/// An open sheet over 0..1 × 0..1, its normals along ∂u × ∂v.
fn sheet(n: usize, at: impl Fn(f64, f64) -> Point) -> Mesh {
    let mut mesh = Mesh::default();
    for j in 0..=n {
        for i in 0..=n {
            mesh.vertices
                .push(at(i as f64 / n as f64, j as f64 / n as f64));
        }
    }
    let v = |i: usize, j: usize| (j * (n + 1) + i) as u32;
    for j in 0..n {
        for i in 0..n {
            let [a, b, c, d] = [v(i, j), v(i + 1, j), v(i + 1, j + 1), v(i, j + 1)];
            // diagonals alternate
            if (i + j) % 2 == 0 {
                mesh.triangles.extend([[a, b, c], [a, c, d]]);
            } else {
                mesh.triangles.extend([[a, b, d], [b, c, d]]);
            }
        }
    }
    mesh
}

/// Every height on the sheet against the closed form at the sheet's own normal, within 1 %.
fn all_within_one_percent(
    mesh: &Mesh,
    radius: f64,
    step: f64,
    exact: impl Fn(&Point, &Vector) -> f64,
) {
    let form = form(mesh);
    let sheet = Sheet::of_mesh(&form, mesh, radius, |_| true);
    let faces: Vec<usize> = (0..mesh.triangles.len())
        .filter(|&t| mesh.normal(t).is_some_and(|n| n.z > 0.0))
        .collect();
    let mut compared = 0;
    for direction in [0.0, 25.0, 60.0, 90.0, 135.0] {
        let c = cusp::across(direction);
        let heights = sheet.heights(direction, step);
        assert_eq!(heights.len(), faces.len());
        for (&t, h) in faces.iter().zip(heights) {
            let [p, q, r] = mesh.corners(t);
            let expected = exact(&Point::from((p.coords + q.coords + r.coords) / 3.0), &c);
            if expected.is_finite() {
                assert!(
                    (h - expected).abs() <= 0.01 * expected,
                    "direction {direction}, facet {t}: {h} is not {expected}"
                );
                compared += 1;
            }
        }
    }
    assert!(compared > 100);
}

#[test]
fn planes() {
    for beta in [0.0, 15.0, 30.0, 45.0, 60.0, 75.0_f64] {
        let rise = beta.to_radians().tan();
        let mesh = sheet(6, |u, v| Point::new(10.0 * u, 10.0 * v, 10.0 * u * rise));
        all_within_one_percent(&mesh, 3.0, 0.3, |_, c| {
            // on the plane the passes lie s √((1 + tan²β) / (1 + tan²β cos²φ)) apart, φ from the steepest ascent, X
            let cos_phi = c.y;
            let d = 0.3 * ((1.0 + rise * rise) / (1.0 + (rise * cos_phi).powi(2))).sqrt();
            3.0 - (9.0 - 0.25 * d * d).sqrt()
        });
    }
}

/// Height by circular arcs, for centres `q` apart: convex (sign −1) and concave (+1) with radius ρ.
fn on_arc(radius: f64, rho: f64, sign: f64, q: f64) -> f64 {
    let circle = rho - sign * radius;
    let a = (0.5 * q / circle).asin();
    let ball = (radius * radius - (circle * a.sin()).powi(2)).sqrt();
    if sign > 0.0 {
        rho - circle * a.cos() - ball
    } else {
        circle * a.cos() - ball - rho
    }
}

#[test]
fn cylinders_in_and_out() {
    for sign in [-1.0, 1.0] {
        let rho = 8.0;
        // axis along X, 120° of it
        let mesh = sheet(60, |u, v| {
            let a = (v - 0.5) * 2.0 * PI / 3.0;
            Point::new(10.0 * u, rho * a.sin(), -sign * rho * a.cos())
        });
        all_within_one_percent(&mesh, 3.0, 0.3, |p, c| {
            let n = -sign * Vector::new(0.0, p.y, p.z).normalize();
            let q = 0.3 / (1.0 - n.dot(c).powi(2)).sqrt();
            // Euler: curvature across the passes by the angle from the axis
            let w = (c - n * n.dot(c)).normalize();
            let bent = (1.0 - w.x * w.x) / rho;
            if bent < 1e-9 {
                3.0 - (9.0 - 0.25 * q * q).sqrt()
            } else {
                on_arc(3.0, 1.0 / bent, sign, q)
            }
        });
    }
}

#[test]
fn spheres_in_and_out() {
    for sign in [-1.0, 1.0] {
        let rho = 8.0;
        // a cap of 110°, by a square laid on it: no poles
        let mesh = sheet(64, |u, v| {
            let (x, y) = (1.4 * (u - 0.5), 1.4 * (v - 0.5));
            let p = Vector::new(x, y, 1.0).normalize() * rho;
            Point::new(p.x, p.y, -sign * p.z)
        });
        all_within_one_percent(&mesh, 3.0, 0.3, |p, c| {
            let n = -sign * p.coords.normalize();
            on_arc(3.0, rho, sign, 0.3 / (1.0 - n.dot(c).powi(2)).sqrt())
        });
    }
}

/// Value below which share `q` of the weight lies.
fn percentile(values: &mut [(f64, f64)], q: f64) -> f64 {
    values.sort_by(|a, b| a.0.total_cmp(&b.0));
    let whole: f64 = values.iter().map(|v| v.1).sum();
    let mut sum = 0.0;
    for (value, weight) in values.iter() {
        sum += weight;
        if sum >= q * whole {
            return *value;
        }
    }
    f64::NAN
}

/// Moves a ball of `radius` along passes over `mesh`, each as low as it may, and measures what is left between them,
/// square to the surface: the ridge's height for each station of each gap, with the area it stands for. Within `half` mm
/// of the origin in plan.
fn simulated(mesh: &Mesh, radius: f64, direction: f64, step: f64, half: f64) -> Vec<(f64, f64)> {
    let (d, c) = (cusp::along(direction), cusp::across(direction));
    let dropper = Dropper::new(mesh);
    let rays = Rays::new(mesh);
    let ball = Profile::ball(radius);
    let fine = 0.04;
    let reach = half + radius;
    let stations = (2.0 * reach / fine) as i64;
    // a ball touches aside of its pass by up to its radius
    let count = ((half + radius) / step).ceil() as i64 + 2;
    let at = |u: f64, v: f64| d * u + c * v;
    let passes: Vec<Vec<Point>> = (-count..=count)
        .map(|k| {
            (0..=stations)
                .map(|s| {
                    let p = at(-reach + s as f64 * fine, k as f64 * step);
                    // off the mesh: far above
                    let z = dropper.centre_height(ball, p.x, p.y).map_or(1e3, |c| c.z);
                    Point::new(p.x, p.y, z)
                })
                .collect()
        })
        .collect();
    let surface = |u: f64, v: f64| {
        let p = at(u, v);
        let from = Point::new(p.x, p.y, 100.0);
        let hit = rays.first_hit(&from, &-Vector::z(), 1e3).unwrap();
        (Point::new(p.x, p.y, 100.0 - hit.distance), hit.triangle)
    };
    let left = |p: &Point, u: f64, k: i64| {
        let mut least = f64::INFINITY;
        for pass in k - 2..=k + 3 {
            let Some(line) = passes.get((pass + count) as usize) else {
                continue;
            };
            // a ball touches no farther along than its radius
            let lo = (((u - radius + reach) / fine).floor().max(0.0)) as usize;
            let hi = (((u + radius + reach) / fine).ceil() as usize).min(line.len() - 1);
            for pair in line[lo..=hi].windows(2) {
                let e = pair[1] - pair[0];
                let t = ((p - pair[0]).dot(&e) / e.norm_squared()).clamp(0.0, 1.0);
                least = least.min((pair[0] + e * t - p).norm());
            }
        }
        least - radius
    };
    let mut ridges = Vec::new();
    let along = 0.2;
    let ends = (half / along) as i64;
    let within = (half / step).ceil() as i64;
    for k in -within..within {
        for s in -ends..=ends {
            let u = s as f64 * along;
            let v0 = k as f64 * step;
            let (middle, triangle) = surface(u, v0 + 0.5 * step);
            if middle.x.hypot(middle.y) > half {
                continue;
            }
            let n = mesh.normal(triangle as usize).unwrap();
            let touching = k + (radius * n.dot(&c) / step).round() as i64;
            let value = |x: f64| {
                let (p, _) = surface(u, v0 + x * step);
                left(&p, u, touching)
            };
            // the ridge: coarse, then by thirds
            let best = (0..=16)
                .map(|i| f64::from(i) / 16.0)
                .max_by(|a, b| value(*a).total_cmp(&value(*b)))
                .unwrap();
            let (mut lo, mut hi) = (best - 1.0 / 16.0, best + 1.0 / 16.0);
            for _ in 0..14 {
                let (a, b) = (lo + (hi - lo) / 3.0, hi - (hi - lo) / 3.0);
                if value(a) < value(b) {
                    lo = a;
                } else {
                    hi = b;
                }
            }
            ridges.push((value(0.5 * (lo + hi)), 1.0 / n.z));
        }
    }
    ridges
}

/// Model and simulation agree within 5 % at the 50th and 95th percentile and the largest.
fn agrees(mesh: &Mesh, radius: f64, step: f64, half: f64) {
    let form = form(mesh);
    let inside = |p: &Point| p.x.hypot(p.y) <= half;
    let sheet = Sheet::of_mesh(&form, mesh, radius, inside);
    for direction in [0.0, 55.0] {
        let model = sheet.cusps(direction, step, false, 0.01);
        let mut ridges = simulated(mesh, radius, direction, step, half);
        assert!(ridges.len() > 150, "{}", ridges.len());
        let largest = ridges.iter().map(|r| r.0).fold(0.0, f64::max);
        let pairs = [
            (model.median, percentile(&mut ridges, 0.5)),
            (model.most, percentile(&mut ridges, 0.95)),
            (model.largest, largest),
        ];
        println!("direction {direction}: (model, simulated) {pairs:?}");
        for (name, (model, real)) in ["50th", "95th", "largest"].iter().zip(pairs) {
            assert!(
                (model - real).abs() <= 0.05 * real,
                "{name} at {direction}°: {model} is not {real}"
            );
        }
    }
}

#[test]
fn a_ball_moved_over_a_wavy_slope() {
    let mesh = sheet(150, |u, v| {
        let (x, y) = (18.0 * (u - 0.5), 18.0 * (v - 0.5));
        let z = 0.2 * (2.0 * PI * x / 9.0).sin() * (2.0 * PI * y / 7.0).cos() + 0.5 * x + 0.2 * y;
        Point::new(x, y, z)
    });
    agrees(&mesh, 3.0, 0.4, 3.5);
}

#[test]
fn a_ball_moved_over_a_skew_bowl_of_irregular_facets() {
    // corners moved about by a fixed rule, so that no two facets are alike
    let mesh = sheet(150, |u, v| {
        let jitter = |a: f64| ((a * 12.9898).sin() * 43_758.547).fract() * 0.02;
        let inner = |w: f64| if w > 0.001 && w < 0.999 { 1.0 } else { 0.0 };
        let x = 14.0 * (u - 0.5) + inner(u) * jitter(u * 311.0 + v * 77.0);
        let y = 14.0 * (v - 0.5) + inner(v) * jitter(u * 97.0 - v * 209.0);
        let bowl = 9.0 - (81.0 - 0.5 * x * x - 0.3 * y * y).sqrt();
        let ridge = 0.12 * (2.0 * PI * (x + 0.4 * y) / 8.0).cos();
        Point::new(x, y, bowl + ridge + 0.3 * y)
    });
    agrees(&mesh, 2.0, 0.3, 3.0);
}

/// A prism over a polygon with a pocket of the same shape, `share` as large about the origin, straight down to −`depth`.
fn pocket(outline: &[[f64; 2]], share: f64, height: f64, depth: f64) -> Model {
    let n = outline.len() as u32;
    let mut mesh = Mesh::default();
    let f32s = |x: f64| f64::from(x as f32);
    let rings = [(1.0, -height), (1.0, 0.0), (share, 0.0), (share, -depth)];
    for (scale, z) in rings {
        for [x, y] in outline {
            mesh.vertices
                .push(Point::new(f32s(x * scale), f32s(y * scale), f32s(z)));
        }
    }
    // underside and floor as fans from the middle
    mesh.vertices.push(Point::new(0.0, 0.0, f32s(-height)));
    mesh.vertices.push(Point::new(0.0, 0.0, f32s(-depth)));
    for k in 0..n {
        let next = (k + 1) % n;
        for ring in 0..3 {
            let [a, b, c, d] = [
                ring * n + k,
                ring * n + next,
                (ring + 1) * n + next,
                (ring + 1) * n + k,
            ];
            mesh.triangles.extend([[a, b, c], [a, c, d]]);
        }
        mesh.triangles.push([4 * n, next, k]);
        mesh.triangles.push([4 * n + 1, 3 * n + k, 3 * n + next]);
    }
    Model::from_mesh("pocket.stl", mesh, Unit::Mm, 4e-6).unwrap()
}

/// A quadrangle about the origin, seen from above, with one edge at 127.356° from X: from (30, −20) up to the left.
fn outline() -> Vec<[f64; 2]> {
    let (sin, cos) = 127.356_f64.to_radians().sin_cos();
    vec![
        [-30.0, -20.0],
        [30.0, -20.0],
        [30.0 + 45.0 * cos, -20.0 + 45.0 * sin],
        [-30.0, 20.0],
    ]
}

fn planned(model: Model, balls: &[f64], stickouts: Vec<f64>) -> Plan {
    let mut shop = Shop::builtin();
    shop.cutters = balls.iter().map(|d| Cutter::ball(*d)).collect();
    shop.with_stickouts(stickouts).unwrap();
    let config = PlanConfig {
        check: CheckConfig {
            shop,
            axis: Some(Vector::z()),
            cell: Some(0.2),
            not_cavity: Vec::new(),
            meets: Vec::new(),
            fill_density: None,
        },
        direction_deg: None,
        step: None,
    };
    plan(&[model], &config, &|_| {}).unwrap()
}

#[test]
fn edges_of_a_polygon_to_a_hundredth_of_a_degree() {
    let outline = outline();
    let plan = planned(pocket(&outline, 0.6, 15.0, 6.0), &[6.0], vec![30.0]);
    let half = &plan.halves[0];
    let mut known: Vec<f64> = (0..4)
        .map(|k| {
            let ([x, y], [p, q]) = (outline[k], outline[(k + 1) % 4]);
            (q - y).atan2(p - x).to_degrees().rem_euclid(180.0)
        })
        .collect();
    known.sort_by(f64::total_cmp);
    for of_outline in [true, false] {
        let mut found: Vec<f64> = half
            .edges
            .iter()
            .filter(|e| e.outline == of_outline)
            .map(|e| e.direction_deg)
            .collect();
        found.sort_by(f64::total_cmp);
        assert_eq!(found.len(), 4, "{found:?}");
        for (f, k) in found.iter().zip(&known) {
            assert!((f - k).abs() < 0.01, "{f} is not {k}");
        }
        assert!(found.iter().any(|f| (f - 127.356).abs() < 0.01));
    }
    let steep = half
        .edges
        .iter()
        .find(|e| e.outline && (e.direction_deg - 127.356).abs() < 0.01);
    assert!((steep.unwrap().length_mm - 45.0).abs() < 1e-4);
    // passes along any edge take no less than the best
    assert!(half.edges.iter().all(|e| e.extra_min.unwrap() > -1e-6));
}

#[test]
fn a_straight_pocket_asks_for_its_depth_and_the_clearance() {
    let plan = planned(
        pocket(&outline(), 0.5, 20.0, 10.0),
        &[6.0, 3.0],
        vec![30.0, 8.0],
    );
    for ball in &plan.halves[0].balls {
        // the holder, 25 mm thick, stays 1 mm over the parting face everywhere: 10 + 1
        let needed = ball.stickout_needed_mm.unwrap();
        assert!(
            (needed - 11.0).abs() < 0.01,
            "{}: {needed}, {:?}",
            ball.name,
            ball.stickout_regions
        );
        let [short, long] = &ball.tools[..] else {
            panic!("two stickouts")
        };
        assert!(short.reached_share < 0.5 && long.reached_share > 0.9999);
        // 6 mm out 30: 5 diameters
        assert!((long.slenderness - 30.0 / ball.diameter_mm).abs() < 1e-9);
    }
}

#[test]
fn sharp_corners_name_what_they_cost() {
    let plan = planned(
        pocket(&outline(), 0.5, 20.0, 6.0),
        &[8.0, 4.0, 2.0],
        vec![25.0],
    );
    let half = &plan.halves[0];
    let best = &half.sets[0];
    assert!(half.sets_exact);
    // the corners are sharp: nothing does them within the leave, the smallest ball leaves least there
    assert_eq!(best.tools.last().unwrap().cutter, "2mm ball");
    assert!(half.sets.windows(2).all(|s| s[0].time_min <= s[1].time_min));
    let total: f64 = best.tools.iter().map(|t| t.area_mm2).sum();
    assert!((total - half.surface_mm2).abs() < 1e-6 * total);
    let small = half
        .cutters
        .iter()
        .find(|c| c.cutter == "2mm ball")
        .unwrap();
    assert!(small.only_area_mm2 > 0.0 && small.saves_min.is_none_or(|m| m > 0.0));
    // every figure is one that JSON can hold
    let text = moldvet::report::json::plan_to_json(&plan).unwrap();
    assert_eq!(serde_json::from_str::<Plan>(&text).unwrap(), plan);
}

#[test]
fn the_plan_does_not_depend_on_threads() {
    let on = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build();
        pool.unwrap()
            .install(|| planned(pocket(&outline(), 0.5, 20.0, 6.0), &[6.0, 3.0], vec![25.0]))
    };
    assert_eq!(on(1), on(3));
}
