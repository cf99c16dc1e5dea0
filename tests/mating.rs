//! How two halves close, on molds made in code whose truth is known: blocks with prismatic pockets and pins, and the samples.

#[allow(dead_code, reason = "the example uses more of it")]
#[path = "../examples/samples/mod.rs"]
mod samples;

#[path = "mating/blocks.rs"]
mod blocks;

use blocks::{Block, Feature, Gate, Plan, model, pin, pocket, rectangle, ring};
use moldvet::mesh::{self, Model, Point, Vector};
use moldvet::report::{Finding, Layout, Mating, OpeningKind, Report, Verdict};
use moldvet::shop::Shop;
use moldvet::units::Unit;
use moldvet::vet::{CheckConfig, check};
use samples::solid::{Place3, Solid};
use std::f64::consts::TAU;

/// Turned over about X and put on the parting plane, `gap` above it: Y and Z are negated.
fn closed(b: &Solid, gap: f64) -> Solid {
    b.mapped(false, |[x, y, z]| [x, -y, gap - z])
}

fn report(models: &[Model]) -> Report {
    report_along(models, None)
}

fn report_along(models: &[Model], axis: Option<Vector>) -> Report {
    let config = CheckConfig { axis, ..config() };
    check(models, &config, &|_| {}).unwrap()
}

fn config() -> CheckConfig {
    let mut shop = Shop::builtin();
    // how cutters fare is another question
    shop.cutters.clear();
    CheckConfig {
        shop,
        axis: None,
        cell: Some(0.1),
        not_cavity: Vec::new(),
        meets: Vec::new(),
        fill_density: Some(0.96),
    }
}

/// Two closed halves in two files.
fn pair(a: &Block, b: &Block, gap: f64) -> Report {
    report(&[
        model("a.stl", &[&a.solid()]),
        model("b.stl", &[&closed(&b.solid(), gap)]),
    ])
}

/// Both halves side by side, open sides up.
fn open(a: &Block, b: &Block) -> Report {
    let beside = b.solid().mapped(false, |[x, y, z]| [x, y + 60.0, z]);
    report(&[model("both.stl", &[&a.solid(), &beside])])
}

fn together(report: &Report) -> &Mating {
    report.mating.as_ref().unwrap()
}

/// Findings about closing that are more than a remark, but for that of a mold without a gate.
fn complaints(report: &Report) -> Vec<&Finding> {
    report
        .findings
        .iter()
        .filter(|f| f.check == "mating" || (f.check == "setup" && f.half.is_none()))
        .filter(|f| f.verdict != Verdict::Pass && !f.message.contains("no opening"))
        .collect()
}

fn near(value: Option<f64>, truth: f64, within: f64) {
    let value = value.unwrap_or(f64::NAN);
    assert!((value - truth).abs() <= within, "{value} should be {truth}");
}

/// An oblong pocket, off the middle so that it closes one way only.
fn oblong(shift: Plan, turn_deg: f64) -> Vec<Plan> {
    let (s, c) = turn_deg.to_radians().sin_cos();
    rectangle([-14.0, -8.0], [10.0, 8.0])
        .into_iter()
        .map(|[x, y]| [c * x - s * y + shift[0], s * x + c * y + shift[1]])
        .collect()
}

/// Turned over about X: mirrored in Y, the other way around.
fn mirrored(edge: &[Plan]) -> Vec<Plan> {
    edge.iter().rev().map(|p| [p[0], -p[1]]).collect()
}

#[test]
fn a_sound_pair_meets() {
    let a = Block::new(vec![pocket(oblong([0.0; 2], 0.0), 6.0)]);
    let b = Block::new(vec![pocket(mirrored(&oblong([0.0; 2], 0.0)), 4.0)]);
    let r = pair(&a, &b, 0.0);
    let m = together(&r);
    assert_eq!(m.layout, Layout::Closed);
    assert_eq!(complaints(&r), Vec::<&Finding>::new());
    near(m.gap_mm, 0.0, 1e-9);
    near(m.overlap_mm, 0.0, 1e-9);
    near(m.outline_mismatch_mm, 0.0, 1e-6);
    // 24 by 16 by 6 + 4; 0.96 g/cm³
    near(m.closed_volume_mm3, 3840.0, 1e-3);
    near(m.fill_weight_g, 3.6864, 1e-6);
    // 60 by 40 less the pocket, counted in cells of 0.1
    near(Some(m.faces.area_mm2), 2400.0 - 384.0, 8.0);
    near(m.faces.contact_share, 1.0, 0.0);
    let [hollow] = &m.hollows[..] else {
        panic!("{:?}", m.hollows)
    };
    assert!(hollow.openings.is_empty());
    // to the side at Y: 20 - 8; to the underside: 14; across: 6 + 4
    near(hollow.thinnest_wall_mm, 12.0, 1e-4);
    near(hollow.thinnest_section_mm, 10.0, 1e-4);
}

#[test]
fn a_gap_and_an_overlap_are_measured_along_the_axis() {
    let a = Block::new(vec![pocket(oblong([0.0; 2], 0.0), 6.0)]);
    let b = Block::new(vec![pocket(mirrored(&oblong([0.0; 2], 0.0)), 4.0)]);
    let r = pair(&a, &b, 0.08);
    let m = together(&r);
    near(m.gap_mm, 0.08, 1e-4);
    near(m.overlap_mm, 0.0, 0.0);
    near(m.faces.contact_share, 0.0, 0.0);
    assert_eq!(m.verdict, Verdict::Fail);
    // 3840 and the gap over the opening of 384
    near(m.closed_volume_mm3, 3840.0 + 0.08 * 384.0, 1e-2);
    let r = pair(&a, &b, -0.07);
    let m = together(&r);
    near(m.overlap_mm, 0.07, 1e-4);
    near(m.gap_mm, 0.0, 0.0);
    assert_eq!(complaints(&r).len(), 1);
}

#[test]
fn a_shifted_and_turned_cavity_is_told_with_what_removes_it() {
    let a = Block::new(vec![pocket(oblong([0.0; 2], 0.0), 6.0)]);
    let b = Block::new(vec![pocket(mirrored(&oblong([0.15, 0.0], 0.0)), 4.0)]);
    let r = pair(&a, &b, 0.0);
    let m = together(&r);
    near(m.outline_mismatch_mm, 0.15, 1e-4);
    let fit = m.outline.as_ref().unwrap();
    near(Some(fit.shift_mm[0]), -0.15, 1e-4);
    near(Some(fit.shift_mm[1]), 0.0, 1e-4);
    near(Some(fit.residual_mm), 0.0, 1e-4);
    assert!(fit.mean_offset_mm[0] > 0.0 && fit.mean_offset_mm[1].abs() < 1e-6);
    assert_eq!(m.verdict, Verdict::Fail);

    let b = Block::new(vec![pocket(mirrored(&oblong([0.0; 2], 0.4)), 4.0)]);
    let r = pair(&a, &b, 0.0);
    let m = together(&r);
    let fit = m.outline.as_ref().unwrap();
    near(Some(fit.turn_deg), -0.4, 1e-3);
    near(Some(fit.residual_mm), 0.0, 1e-3);
    // corner (-14, 8) turned by 0.4°: 8 sin 0.4° + 14 (1 - cos 0.4°) off its side in X, 14 sin 0.4° - 8 (1 - cos 0.4°) in Y
    let (s, c) = 0.4_f64.to_radians().sin_cos();
    let off = [8.0 * s + 14.0 * (1.0 - c), 14.0 * s - 8.0 * (1.0 - c)];
    let far = m.outline_mismatch_mm.unwrap();
    assert!(
        far > off[1] - 1e-6 && far < off[0].hypot(off[1]) + 1e-6,
        "{far} {off:?}"
    );
}

#[test]
fn pins_are_measured_in_their_sockets() {
    let cavity = || oblong([0.0; 2], 0.0);
    let a = Block::new(vec![
        pocket(cavity(), 6.0),
        pin(ring(64, 4.0, [-22.0, 12.0]), 6.0),
        pin(ring(48, 3.0, [22.0, -12.0]), 6.0),
    ]);
    let b = Block::new(vec![
        pocket(mirrored(&cavity()), 4.0),
        // 0.03 off the middle in X; too shallow for the second
        pocket(mirrored(&ring(64, 4.05, [-21.97, 12.0])), 7.0),
        pocket(mirrored(&ring(48, 3.05, [22.0, -12.0])), 5.5),
    ]);
    let r = pair(&a, &b, 0.0);
    let m = together(&r);
    let mut pins = m.pins.clone();
    pins.sort_by(|p, q| p.at_mm[0].total_cmp(&q.at_mm[0]));
    let [first, second] = &pins[..] else {
        panic!("{:?}", m.pins)
    };
    near(first.pin_diameter_mm, 8.0, 1e-4);
    near(first.socket_diameter_mm, 8.1, 1e-4);
    near(first.radial_clearance_mm, 0.05, 1e-4);
    near(first.offset_mm, 0.03, 1e-4);
    near(first.axial_clearance_mm, 1.0, 1e-4);
    near(first.clearance_mm, 0.02, 1e-3);
    assert_eq!(first.bottoms_out, Some(false));
    near(second.pin_diameter_mm, 6.0, 1e-4);
    near(second.axial_clearance_mm, -0.5, 1e-4);
    assert_eq!(second.bottoms_out, Some(true));
    let told = complaints(&r);
    assert_eq!(told.len(), 1, "{told:?}");
    assert!(told[0].message.contains("floor of its socket"));
}

#[test]
fn facets_alone_do_not_keep_a_pin_out() {
    // 32 facets each, turned by half a facet: the socket's sides come to 4.01 cos(π/32), within the pin's corners at 4
    let half = std::f64::consts::PI / 32.0;
    let turned = |radius: f64| -> Vec<Plan> {
        let (s, c) = half.sin_cos();
        let turn = |[x, y]: Plan| [c * x - s * y - 22.0, s * x + c * y + 12.0];
        ring(32, radius, [0.0; 2]).into_iter().map(turn).collect()
    };
    let cavity = || oblong([0.0; 2], 0.0);
    let of_socket = |radius: f64| {
        let a = Block::new(vec![
            pocket(cavity(), 6.0),
            pin(ring(32, 4.0, [-22.0, 12.0]), 6.0),
        ]);
        let b = Block::new(vec![
            pocket(mirrored(&cavity()), 4.0),
            pocket(mirrored(&turned(radius)), 7.0),
        ]);
        pair(&a, &b, 0.0)
    };
    let r = of_socket(4.01);
    let m = together(&r);
    near(m.pins[0].clearance_mm, 4.01 * half.cos() - 4.0, 1e-4);
    near(m.pins[0].radial_clearance_mm, 0.01, 1e-4);
    assert_eq!(m.verdict, Verdict::Unsure);
    assert!(complaints(&r)[0].message.contains("facets cut off"));
    // beyond what both cut off, 4 (1 − cos(π/32)) = 0.019 each, it is surely too large
    let r = of_socket(3.96);
    assert_eq!(together(&r).verdict, Verdict::Fail);
    assert!(complaints(&r)[0].message.contains("too large"));
}

#[test]
fn a_pin_or_a_socket_alone_is_told() {
    let cavity = || oblong([0.0; 2], 0.0);
    let a = Block::new(vec![
        pocket(cavity(), 6.0),
        pin(ring(48, 3.0, [22.0, -12.0]), 4.0),
    ]);
    let b = Block::new(vec![
        pocket(mirrored(&cavity()), 4.0),
        pocket(mirrored(&ring(48, 2.0, [-22.0, 12.0])), 5.0),
    ]);
    let r = pair(&a, &b, 0.0);
    let m = together(&r);
    assert_eq!(m.pins.len(), 1);
    assert!(!m.pins[0].socket);
    let [hole] = &m.empty_sockets[..] else {
        panic!("{:?}", m.empty_sockets)
    };
    assert_eq!(hole.half, "B");
    near(Some(hole.diameter_mm), 4.0, 1e-4);
    assert!(!hole.faces_hole);
    assert!(
        complaints(&r)
            .iter()
            .any(|f| f.message.contains("no socket"))
    );
    assert!(complaints(&r).iter().any(|f| f.message.contains("no pin")));
}

#[test]
fn a_hexagonal_pin_has_a_clearance_but_no_diameter() {
    let cavity = || oblong([0.0; 2], 0.0);
    let hexagon = |r: f64| ring(6, r, [22.0, 10.0]);
    let a = Block::new(vec![pocket(cavity(), 6.0), pin(hexagon(3.0), 4.0)]);
    let b = Block::new(vec![
        pocket(mirrored(&cavity()), 4.0),
        pocket(mirrored(&hexagon(3.2)), 5.0),
    ]);
    let r = pair(&a, &b, 0.0);
    let m = together(&r);
    assert_eq!(m.pins.len(), 1);
    assert_eq!(m.pins[0].pin_diameter_mm, None);
    // sides of hexagons 0.2 apart over corners are 0.2 cos 30° apart
    near(m.pins[0].clearance_mm, 0.2 * 30f64.to_radians().cos(), 1e-4);
    // from a corner of the pin the nearest wall is square to a side, as from all along it
    near(
        m.pins[0].clearance_most_mm,
        0.2 * 30f64.to_radians().cos(),
        1e-4,
    );
    assert_eq!(m.pins[0].radial_clearance_mm, None);
    assert_eq!(complaints(&r), Vec::<&Finding>::new());
}

#[test]
fn a_square_pin_off_centre_has_its_least_and_largest_clearance_by_place() {
    let cavity = || oblong([0.0; 2], 0.0);
    // 4 x 8 about (22, 8) in 4.4 x 8.2 about (22.05, 8)
    let key = rectangle([20.0, 4.0], [24.0, 12.0]);
    let hole = rectangle([19.85, 3.9], [24.25, 12.1]);
    let a = Block::new(vec![pocket(cavity(), 6.0), pin(key, 4.0)]);
    let b = Block::new(vec![
        pocket(mirrored(&cavity()), 4.0),
        pocket(mirrored(&hole), 5.0),
    ]);
    let r = pair(&a, &b, 0.0);
    let found = &together(&r).pins[0];
    // 0.1 to the walls across Y; 0.15 and 0.25 to those across X, the larger on the pin's right
    near(found.clearance_mm, 0.1, 1e-4);
    near(found.clearance_most_mm, 0.25, 1e-4);
    let at = found.clearance_most_at_mm.unwrap();
    assert!(
        (at[0] - 24.0).abs() < 1e-4 && (at[1] - 8.0).abs() < 3.9,
        "{at:?}"
    );
    let at = found.clearance_at_mm.unwrap();
    assert!(((at[1] - 8.0).abs() - 4.0).abs() < 0.11, "{at:?}");
    assert_eq!((found.offset_mm, found.pin_diameter_mm), (None, None));
    assert_eq!(complaints(&r), Vec::<&Finding>::new());
}

#[test]
fn places_that_meet_settle_how_laid_open_halves_close() {
    // two ways round that give different castings: see below
    let left = || rectangle([-20.0, -8.0], [-4.0, 8.0]);
    let right = || rectangle([4.0, -8.0], [20.0, 8.0]);
    let a = Block::new(vec![pocket(left(), 6.0), pocket(right(), 3.0)]);
    let b = Block::new(vec![
        pocket(mirrored(&left()), 6.0),
        pocket(mirrored(&right()), 3.0),
    ]);
    let beside = b.solid().mapped(false, |[x, y, z]| [x, y + 60.0, z]);
    let both = || [model("both.stl", &[&a.solid(), &beside])];
    let closed_by = |meets: Vec<[Point; 2]>| {
        let mut config = config();
        config.cell = Some(0.4);
        config.meets = meets;
        check(&both(), &config, &|_| {})
    };
    let p = |x: f64, y: f64| Point::new(x, y, 0.0);
    // turned over about X: y goes to 60 - y
    for turned in [false, true] {
        let of_b = |x: f64, y: f64| {
            if turned {
                p(-x, 60.0 + y)
            } else {
                p(x, 60.0 - y)
            }
        };
        let r = closed_by(vec![
            [p(-20.0, -8.0), of_b(-20.0, -8.0)],
            [p(20.0, 8.0), of_b(20.0, 8.0)],
        ])
        .unwrap();
        let m = together(&r);
        assert_eq!(complaints(&r), Vec::<&Finding>::new());
        assert!(m.closed_by.contains("as given"), "{}", m.closed_by);
        let row = m.b_to_closed[0];
        let x = if turned { -1.0 } else { 1.0 };
        assert!((row[0] - x).abs() < 1e-9 && row[3].abs() < 1e-5, "{row:?}");
        near(m.outline_mismatch_mm, 0.0, 1e-4);
    }
    // one place sets the shift: 0.3 mm aside of where the outlines meet
    let r = closed_by(vec![[p(-20.0, -8.0), p(-19.7, 68.0)]]).unwrap();
    let m = together(&r);
    near(m.outline_mismatch_mm, 0.3, 1e-4);
    assert!(m.closed_by.contains("place on place as given"));
    // places farther apart on one half than on the other
    let r = closed_by(vec![
        [p(-20.0, -8.0), p(-20.0, 68.0)],
        [p(20.0, -8.0), p(21.0, 68.0)],
    ])
    .unwrap();
    let told = complaints(&r);
    assert!(told.iter().any(|f| f.message.contains("cannot both meet")));
    for wrong in [
        vec![[p(0.0, 0.0); 2]; 3],
        vec![[p(1.0, 1.0), p(2.0, 2.0)], [p(1.0, 1.0), p(3.0, 3.0)]],
    ] {
        assert!(closed_by(wrong).is_err());
    }
    // halves that stand closed need none, and are told so
    let mut config = config();
    config.cell = Some(0.4);
    config.meets = vec![[p(0.0, 0.0); 2]];
    let stand = [
        model("a.stl", &[&a.solid()]),
        model("b.stl", &[&closed(&b.solid(), 0.0)]),
    ];
    let r = check(&stand, &config, &|_| {}).unwrap();
    assert!(
        r.findings
            .iter()
            .any(|f| f.message.contains("stand closed"))
    );
}

#[test]
fn a_gate_in_one_half_is_an_opening_and_no_mismatch() {
    let rect = [[-14.0, -8.0], [10.0, 8.0]];
    let mut a = Block::new(Vec::new());
    a.pocket = Some((rect, 6.0));
    a.gate = Some(Gate {
        half_width: 2.0,
        depth: 1.5,
    });
    let mut b = Block::new(Vec::new());
    b.pocket = Some((rect, 4.0));
    let r = pair(&a, &b, 0.0);
    let m = together(&r);
    near(m.outline_mismatch_mm, 0.0, 0.03);
    let fit = m.outline.as_ref().unwrap();
    // both sides of the gate, 20 long
    let of_a: f64 = fit
        .one_sided
        .iter()
        .filter(|s| s.half == "A")
        .map(|s| s.length_mm)
        .sum();
    near(Some(of_a), 40.0, 1.5);
    let [hollow] = &m.hollows[..] else {
        panic!("{:?}", m.hollows)
    };
    let [gate] = &hollow.openings[..] else {
        panic!("{:?}", hollow.openings)
    };
    assert_eq!(gate.kind, OpeningKind::Side);
    // 4 wide and 1.5 deep under B's flat face
    near(gate.size_mm, 1.5, 1e-3);
    near(hollow.thinnest_section_mm, 10.0, 1e-3);
    near(hollow.thinnest_wall_mm, 12.0, 1e-3);
    assert_eq!(complaints(&r), Vec::<&Finding>::new());
}

#[test]
fn a_sprue_through_one_half_is_an_opening_to_its_underside() {
    // the sprue in B opens over A's pocket, where B is flat
    let a = Block::new(vec![pocket(oblong([0.0; 2], 0.0), 6.0)]);
    let b = Block::new(vec![Feature {
        edge: mirrored(&ring(48, 2.5, [-2.0, 1.0])),
        z: None,
    }]);
    let r = pair(&a, &b, 0.0);
    let m = together(&r);
    let [hollow] = &m.hollows[..] else {
        panic!("{:?}", m.hollows)
    };
    let [sprue] = &hollow.openings[..] else {
        panic!("{:?}", hollow.openings)
    };
    assert_eq!(sprue.kind, OpeningKind::Through);
    // the ball in a prism of 48 sides touches the sides' middles
    near(sprue.size_mm, 5.0 * (TAU / 96.0).cos(), 1e-3);
}

#[test]
fn a_bent_hole_is_measured_where_it_is_open() {
    // two legs of 3 mm; the middle of the whole lies in the material between them
    let bent = [
        [0.0, 0.0],
        [12.0, 0.0],
        [12.0, 3.0],
        [3.0, 3.0],
        [3.0, 12.0],
        [0.0, 12.0],
    ];
    let a = Block::new(vec![pocket(oblong([0.0; 2], 0.0), 6.0)]);
    let b = Block::new(vec![Feature {
        edge: mirrored(&bent.map(|[x, y]| [x - 6.0, y - 5.0])),
        z: None,
    }]);
    let r = pair(&a, &b, 0.0);
    let opening = &together(&r).hollows[0].openings[0];
    assert_eq!(opening.kind, OpeningKind::Through);
    // in the bend, against both outer walls and the inner corner: (3 − r) √2 = r
    let radius = 3.0 * 2.0_f64.sqrt() / (1.0 + 2.0_f64.sqrt());
    near(opening.size_mm, 2.0 * radius, 2e-3);
}

#[test]
fn laid_open_halves_close_the_right_way_round() {
    let a = Block::new(vec![pocket(oblong([0.0; 2], 0.0), 6.0)]);
    let b = Block::new(vec![pocket(mirrored(&oblong([0.15, 0.0], 0.0)), 4.0)]);
    let r = open(&a, &b);
    let m = together(&r);
    assert_eq!(m.layout, Layout::Open);
    near(m.outline_mismatch_mm, 0.15, 1e-4);
    near(m.gap_mm, 0.0, 1e-6);
    assert!(
        complaints(&r).iter().all(|f| f.check == "mating"),
        "{:?}",
        complaints(&r)
    );
    // x stays, y and z turn over
    let row = m.b_to_closed[1];
    assert!(
        (row[1] + 1.0).abs() < 1e-9 && (row[3] - 60.0).abs() < 1e-5,
        "{row:?}"
    );
}

/// Half B turned and moved at will, in a file of its own: the motion told brings it onto half A.
#[test]
fn the_motion_told_closes_a_half_that_lies_at_any_turn() {
    let a = Block::new(vec![pocket(oblong([0.0; 2], 0.0), 6.0)]);
    let b = Block::new(vec![pocket(mirrored(&oblong([0.0; 2], 0.0)), 4.0)]);
    let turn = nalgebra::Rotation3::from_euler_angles(0.3, -1.1, 2.2);
    let moved = |p: Place3| -> Place3 {
        (turn * nalgebra::Point3::from(p) + nalgebra::Vector3::new(12.0, -70.0, 33.0)).into()
    };
    let turned = b.solid().mapped(false, moved);
    let r = report(&[model("a.stl", &[&a.solid()]), model("b.stl", &[&turned])]);
    let m = together(&r);
    near(m.gap_mm, 0.0, 1e-4);
    near(m.outline_mismatch_mm, 0.0, 1e-3);
    let closed = |p: Place3| {
        let p = moved(p);
        (m.b_to_closed).map(|row| row[0] * p[0] + row[1] * p[1] + row[2] * p[2] + row[3])
    };
    // corners of B's parting face lie on those of A's, and its underside above
    for (x, y) in [(-30.0, -20.0), (30.0, -20.0), (30.0, 20.0), (-30.0, 20.0)] {
        let [u, v, w] = closed([x, y, 0.0]);
        assert!(
            (u.abs() - 30.0).abs() < 1e-3 && (v.abs() - 20.0).abs() < 1e-3,
            "{u} {v}"
        );
        assert!(w.abs() < 1e-3, "{w}");
        assert!((closed([x, y, -20.0])[2] - 20.0).abs() < 1e-3);
    }
}

#[test]
fn two_ways_of_closing_are_told_only_where_the_castings_differ() {
    // symmetric cavities: either way round is the same
    let even = || rectangle([-12.0, -8.0], [12.0, 8.0]);
    let a = Block::new(vec![pocket(even(), 6.0)]);
    let b = Block::new(vec![pocket(mirrored(&even()), 4.0)]);
    let same = open(&a, &b);
    assert_eq!(complaints(&same), Vec::<&Finding>::new());
    // both outlines the same turned about, but each half has one deep and one shallow cavity
    let left = || rectangle([-20.0, -8.0], [-4.0, 8.0]);
    let right = || rectangle([4.0, -8.0], [20.0, 8.0]);
    let a = Block::new(vec![pocket(left(), 6.0), pocket(right(), 3.0)]);
    let b = Block::new(vec![
        pocket(mirrored(&left()), 6.0),
        pocket(mirrored(&right()), 3.0),
    ]);
    let either = open(&a, &b);
    let told = complaints(&either);
    assert!(
        told.iter().any(|f| f.message.contains("other way round")),
        "{told:?}"
    );
}

/// Every triangle in four, `levels` times over, then each place moved along Z.
fn bent(solid: &Solid, levels: usize, rise: impl Fn(Place3) -> f64) -> Solid {
    let mut fine = solid.clone();
    for _ in 0..levels {
        let mut next = Solid::default();
        for t in &fine.triangles {
            let [a, b, c] = t.map(|k| fine.points[k as usize].map(f64::from));
            let middle = |p: Place3, q: Place3| [0, 1, 2].map(|k| 0.5 * (p[k] + q[k]));
            let (ab, bc, ca) = (middle(a, b), middle(b, c), middle(c, a));
            for t in [[a, ab, ca], [ab, b, bc], [ca, bc, c], [ab, bc, ca]] {
                next.triangle(t);
            }
        }
        fine = next;
    }
    fine.mapped(false, |[x, y, z]| [x, y, z + rise([x, y, z])])
}

#[test]
fn a_parting_face_that_is_not_flat_is_judged_by_the_other_half() {
    // a wave along X, 2 mm high, that dies out towards both undersides
    let wave = |[x, _, z]: Place3| 2.0 * (x / 10.0).sin() * (1.0 - z.abs() / 20.0);
    let a = Block::new(vec![pocket(oblong([0.0; 2], 0.0), 6.0)]);
    let b = Block::new(vec![pocket(mirrored(&oblong([0.15, 0.0], 0.0)), 4.0)]);
    let a = model("a.stl", &[&bent(&a.solid(), 5, wave)]);
    let b = bent(&closed(&b.solid(), 0.0), 5, wave);
    for gap in [0.0, 0.3] {
        let lifted = b.mapped(false, |[x, y, z]| [x, y, z + gap]);
        let r = report_along(&[a.clone(), model("b.stl", &[&lifted])], Some(Vector::z()));
        let m = together(&r);
        assert_eq!(m.layout, Layout::Closed);
        assert!(!r.halves[0].parting_flat && !r.halves[1].parting_flat);
        // facets of 2 mm over a radius of 10² / 2 = 50: 2² / (8 · 50) = 0.01 on either side
        near(m.gap_mm, gap, 0.02);
        near(m.overlap_mm, 0.0, 0.02);
        near(m.outline_mismatch_mm, 0.15, 0.01);
    }
}

#[test]
fn the_sound_sample_closes_without_complaint() {
    let path =
        std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-models/acorn-sound.stl");
    let model = mesh::read(&path, Unit::Mm, &mesh::Limits::default()).unwrap();
    let r = report(&[model]);
    let m = together(&r);
    assert_eq!(m.layout, Layout::Closed);
    assert_eq!(complaints(&r), Vec::<&Finding>::new());
    near(m.outline_mismatch_mm, 0.0, 1e-4);
    let mut sizes: Vec<f64> = m.hollows[0]
        .openings
        .iter()
        .filter_map(|o| o.size_mm)
        .collect();
    sizes.sort_by(f64::total_cmp);
    // the wick channel, and the gate's neck where the generatrix is nearest to the axis, facets 0.005 inside
    let profile = samples::sound::generatrix();
    let neck = profile
        .sampled(1e-4)
        .into_iter()
        .filter(|p| p[0] > 22.0)
        .map(|p| p[1])
        .fold(f64::INFINITY, f64::min);
    near(Some(sizes[0]), 2.0 * samples::sound::WICK_MM, 0.011);
    near(Some(sizes[1]), 2.0 * neck, 0.011);
    // the widest place of the body to the block's side
    let widest = profile.widest()[1];
    near(
        m.hollows[0].thinnest_wall_mm,
        samples::sound::BLOCK_MM[1] - widest,
        0.006,
    );
    for (pin, truth) in m.pins.iter().zip([5.0, 6.0]) {
        near(pin.pin_diameter_mm, truth, 1e-3);
        near(pin.socket_diameter_mm, truth + 0.1, 1e-3);
        near(pin.axial_clearance_mm, 1.0, 1e-4);
    }
    assert_eq!(m.pins.len(), 2);
}

#[test]
fn the_flawed_sample_is_trapped_by_its_lip() {
    let path =
        std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-models/acorn-flawed.stl");
    let model = mesh::read(&path, Unit::Mm, &mesh::Limits::default()).unwrap();
    let r = report(&[model]);
    let m = together(&r);
    assert_eq!(m.layout, Layout::Open);
    assert_eq!(complaints(&r), Vec::<&Finding>::new());
    assert_eq!(m.trapped_by, ["A"]);
    assert_eq!(m.pins.len(), 2);
    assert!(m.closed_by.contains("pins"), "{}", m.closed_by);
}
