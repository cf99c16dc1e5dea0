//! Clearance in plan between a pin's outline and its socket's walls.

use crate::field::{Lines, Plan, Polyline, farthest};
use crate::mesh::Point;

/// A distance and the place on the pin where it is found, tool frame.
#[derive(Clone, Copy)]
pub(super) struct Far {
    pub(super) distance: f64,
    pub(super) at: Point,
}

/// Plan distances between a pin's outline and a socket's walls.
#[derive(Clone, Copy)]
pub(super) struct Clear {
    /// The least; negative where they cross or the pin is outside.
    pub(super) least: Far,
    /// The largest from a place of the pin to its nearest wall.
    pub(super) most: Far,
}

/// Measures a pin's outline at height `z` against a socket's walls, whatever their shapes.
pub(super) fn clear(pin: &Polyline, walls: &[Polyline], z: f64) -> Option<Clear> {
    let lines = Lines::new(walls.iter().flat_map(Polyline::sides).collect());
    let own = Lines::new(pin.sides().collect());
    let corners = || walls.iter().flat_map(|w| w.points.iter());
    let to_pin = |p: &Plan| own.nearest(*p).map(|n| (n.distance, n.at));
    let to_wall = |p: &Plan| lines.nearest(*p).map(|n| (n.distance, *p));
    let less = |a: (f64, Plan), b: (f64, Plan)| if b.0 < a.0 { b } else { a };
    let more = |a: (f64, Plan), b: (f64, Plan)| if b.0 > a.0 { b } else { a };
    // two polylines that do not cross are nearest at a corner of one of them
    let near = pin.points.iter().filter_map(to_wall);
    let near = near.chain(corners().filter_map(to_pin)).reduce(less)?;
    // how far walls reach into the pin, or the pin out of a closed socket
    let into = corners().filter(|p| pin.surrounds(**p)).filter_map(to_pin);
    let closed = walls.iter().filter(|w| w.closed && walls.len() == 1);
    let out = closed.flat_map(|w| pin.points.iter().filter(|p| !w.surrounds(**p)));
    let deepest = into.chain(out.filter_map(to_wall)).reduce(more);
    let (least, least_at) = deepest.map_or(near, |(d, at)| (-d, at));
    let most = farthest(&own.segments, &lines)?;
    let far = |distance: f64, at: Plan| Far {
        distance,
        at: Point::new(at[0], at[1], z),
    };
    Some(Clear {
        least: far(least, least_at),
        most: far(most.distance, most.at),
    })
}
