//! Shapes that do not release: T-slots and pockets with a hole across them.

use super::balls::Ground;
use super::hollows::{block, truth_of};
use super::mesh::{Mesh, Place};
use super::random::Random;
use super::shapes::Draft;
use super::truth::Truth;
use super::wall::{Facets, Fineness, Wall, rounded};
use std::f64::consts::PI;

pub fn t_slot(size: f64, random: &mut Random) -> Option<Draft> {
    let length = 0.5 * size;
    let neck = 0.5 * size * random.within(0.1, 0.35);
    let head = neck * random.within(1.2, 2.2);
    let (upper, lower) = (
        neck * random.within(0.5, 2.0),
        neck * random.within(0.5, 2.0),
    );
    let depth = upper + lower;
    let mut mesh = Mesh::default();
    let at = |x: f64, y: f64, z: f64| [x, y, z];
    let rim: Vec<Place> = vec![
        at(-length, -neck, 0.0),
        at(length, -neck, 0.0),
        at(length, neck, 0.0),
        at(-length, neck, 0.0),
    ];
    for x in [-length, length] {
        let t = [
            at(x, -neck, 0.0),
            at(x, neck, 0.0),
            at(x, neck, -upper),
            at(x, head, -upper),
            at(x, head, -depth),
            at(x, -head, -depth),
            at(x, -head, -upper),
            at(x, -neck, -upper),
        ];
        mesh.flat(0, x < 0.0, &t, &[]);
    }
    for s in [-1.0, 1.0] {
        let wall = |y: f64, from: f64, to: f64| {
            [
                at(-length, y, from),
                at(length, y, from),
                at(length, y, to),
                at(-length, y, to),
            ]
        };
        mesh.flat(1, s < 0.0, &wall(s * neck, 0.0, -upper), &[]);
        mesh.flat(1, s < 0.0, &wall(s * head, -upper, -depth), &[]);
        let lip = [
            at(-length, s * neck, -upper),
            at(length, s * neck, -upper),
            at(length, s * head, -upper),
            at(-length, s * head, -upper),
        ];
        mesh.flat(2, false, &lip, &[]);
    }
    let floor = [
        at(-length, -head, -depth),
        at(length, -head, -depth),
        at(length, head, -depth),
        at(-length, head, -depth),
    ];
    mesh.flat(2, true, &floor, &[]);
    block(
        &mut mesh,
        &[rim],
        // the block's side lies a tenth of this off the neck at the least
        size.max(12.0 * (head - neck)),
        depth,
        0.0,
        random,
    );
    // lips, floor under them, outer walls, ends under the lips
    let lips = 2.0 * (head - neck) * 2.0 * length;
    let hidden = 2.0 * lips + 2.0 * lower * 2.0 * length + 4.0 * (head - neck) * lower;
    let seen = 2.0 * neck * 2.0 * length + 2.0 * upper * 2.0 * length + 4.0 * neck * depth;
    Some(Draft {
        about: format!(
            "{:.3} long, neck {:.3} x {upper:.3}, head {:.3} x {lower:.3}",
            2.0 * length,
            2.0 * neck,
            2.0 * head
        ),
        truth: Truth {
            volume_mm3: 4.0 * length * (neck * upper + head * lower),
            surface_mm2: hidden + seen,
            depth_mm: depth,
            hidden_area_mm2: hidden,
            hidden_volume_mm3: 4.0 * length * (head - neck) * lower,
            hook_mm: head - neck,
            least_draft_deg: (0.5 * lips > 1.0).then_some(-90.0),
            short_wall_mm: Some(depth),
            radius_mm: Some(0.0),
            ..Truth::default()
        },
        mesh,
        ground: Ground::Corner {
            draft: 0.0,
            most: (0.98 * neck).min(0.5 * depth),
            depth,
        },
        scale: 0.25 * neck.min(depth),
    })
}

pub fn cross_hole(size: f64, facets: &Facets, random: &mut Random) -> Option<Draft> {
    let half = [0.5 * size, 0.5 * size * random.within(0.35, 1.0)];
    let depth = half[1] * random.within(0.6, 1.6);
    let rim = half[1] * random.within(0.15, 0.6);
    let fillet = if random.chance(0.3) {
        0.0
    } else {
        random.within(0.1, 0.9) * rim.min(0.5 * depth)
    };
    let core = [half[0] - rim, half[1] - rim];
    let room = core[0].min(0.5 * (depth - fillet));
    let hole = room * random.within(0.2, 0.9);
    if hole < 0.3 {
        return None;
    }
    let length = hole * random.within(0.5, 4.0);
    let (x, z) = (
        (core[0] - hole) * random.within(-0.9, 0.9),
        -0.5 * (depth - fillet) + (0.5 * (depth - fillet) - hole) * random.within(-0.9, 0.9),
    );
    let corners = vec![(0.0, rim, 0.0), (-depth, rim, fillet), (-depth, 0.0, 0.0)];
    let wall = Wall {
        core,
        mitred: false,
        profile: rounded(&corners)?,
    };
    let mut mesh = Mesh::default();
    let (ring, fine) = wall.mesh(&mut mesh, facets, Some(&[]), true);
    let y = core[1] + rim;
    let bottom = wall.profile.pieces[0].at(1.0)[0];
    let sides = 4 * facets.steps(hole, 0.5 * PI);
    let mut tube = Fineness::default();
    tube.add(hole, 2.0 * PI / sides as f64);
    let circle = |y: f64| -> Vec<Place> {
        (0..sides)
            .map(|k| 2.0 * PI * k as f64 / sides as f64)
            .map(|a| [x + hole * a.cos(), y, z + hole * a.sin()])
            .collect()
    };
    let face = [
        [-core[0], y, 0.0],
        [core[0], y, 0.0],
        [core[0], y, bottom],
        [-core[0], y, bottom],
    ];
    mesh.flat(1, false, &face, &[circle(y)]);
    mesh.between(&circle(y), &circle(y + length), None);
    mesh.flat(1, false, &circle(y + length), &[]);
    block(&mut mesh, &[ring], size, depth, 1.2 * length, random);
    let mut truth = truth_of(&wall, fine.with(tube), fillet, depth);
    let (disc, side) = (PI * hole * hole, 2.0 * PI * hole * length);
    truth.volume_mm3 += disc * length;
    truth.surface_mm2 += side;
    truth.hidden_volume_mm3 = disc * length;
    truth.hidden_area_mm2 = side + disc;
    truth.hook_mm = length;
    truth.least_draft_deg = None;
    Some(Draft {
        about: format!(
            "{:.3} x {:.3} x {depth:.3}, corner {rim:.3}, fillet {fillet:.4}; hole radius {hole:.4} x {length:.4}",
            2.0 * half[0],
            2.0 * half[1]
        ),
        mesh,
        truth,
        ground: Ground::Swept {
            parts: vec![(wall, corners)],
            most: rim,
        },
        scale: if fillet > 0.0 {
            fillet
        } else {
            0.15 * rim.min(depth)
        },
    })
}
