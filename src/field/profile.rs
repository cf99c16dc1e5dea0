//! The lower side of a body that turns about a vertical axis.

/// The lower boundary of a rotating body, about its axis and relative to its reference point.
///
/// Heights are those of the reference point. Every kind is convex: with plan distance from the axis
/// the boundary rises, and ever more steeply. This is what makes each contact with a
/// segment or a facet a single one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Profile {
    /// A cutter: ball (`corner_radius` = `radius`), flat (0) or bull-nose (between). The
    /// reference point lies on the axis at the height of the corner circle's centre: for a
    /// ball it is the ball's centre, for a flat the middle of its face.
    Cutter {
        /// Largest radius, mm.
        radius: f64,
        /// Corner radius, mm.
        corner_radius: f64,
    },
    /// A conical section of a shank or holder. The reference point is the middle of its lower
    /// face. Where the upper radius is no larger than the lower, only the lower face counts.
    Cone {
        /// Radius of the lower face, mm.
        lower_radius: f64,
        /// Radius of the upper face, mm.
        upper_radius: f64,
        /// Height, mm.
        height: f64,
    },
}

impl Profile {
    /// A ball of `radius` mm; the reference point is its centre.
    pub fn ball(radius: f64) -> Profile {
        Profile::Cutter {
            radius,
            corner_radius: radius,
        }
    }

    /// A flat end, or the lower face of a cylinder, of `radius` mm.
    pub fn flat(radius: f64) -> Profile {
        Profile::Cutter {
            radius,
            corner_radius: 0.0,
        }
    }

    /// Largest plan distance from the axis at which the body is, mm.
    pub fn reach(&self) -> f64 {
        match *self {
            Profile::Cutter { radius, .. } => radius,
            Profile::Cone {
                lower_radius,
                upper_radius,
                ..
            } => lower_radius.max(upper_radius),
        }
    }

    /// How far the lowest point lies below the reference point, mm.
    pub fn tip_below(&self) -> f64 {
        match *self {
            Profile::Cutter { corner_radius, .. } => corner_radius,
            Profile::Cone { .. } => 0.0,
        }
    }

    /// Height of the reference point above a touched point at plan distance `d` from the axis,
    /// mm; `None` beyond [`Profile::reach`].
    ///
    /// For a cutter √(rc² − max(0, d − (R − rc))²); for a cone minus its slope times the
    /// distance beyond the lower face.
    pub fn rise(&self, d: f64) -> Option<f64> {
        if d > self.reach() {
            return None;
        }
        Some(match *self {
            Profile::Cutter {
                radius,
                corner_radius,
            } => {
                let beyond = (d - (radius - corner_radius)).max(0.0);
                ((corner_radius - beyond) * (corner_radius + beyond))
                    .max(0.0)
                    .sqrt()
            }
            Profile::Cone { lower_radius, .. } => -self.cone_slope() * (d - lower_radius).max(0.0),
        })
    }

    /// The body shrunk by `by` mm on all sides, and how much higher its reference point then
    /// lies; `None` when nothing is left of its lower side.
    pub fn inset(&self, by: f64) -> Option<(Profile, f64)> {
        if self.reach() <= by {
            return None;
        }
        Some(match *self {
            Profile::Cutter {
                radius,
                corner_radius,
            } => (
                Profile::Cutter {
                    radius: radius - by,
                    corner_radius: (corner_radius - by).max(0.0),
                },
                (by - corner_radius).max(0.0),
            ),
            Profile::Cone {
                lower_radius,
                upper_radius,
                ..
            } => {
                let slope = self.cone_slope();
                if slope == 0.0 {
                    return Some((Profile::flat(self.reach() - by), by));
                }
                // The slanted line z = slope (d − lower) moves inward by `by`, so it rises by
                // `by` √(1 + slope²); the lower face rises by `by`, until the line passes it.
                let lift = by * slope.hypot(1.0);
                let lower = (lower_radius - (lift - by) / slope).max(0.0);
                let upper = upper_radius - by;
                let line = |d: f64| slope * (d - lower_radius) + lift;
                let raised = by.max(line(0.0));
                if lower >= upper {
                    (Profile::flat(upper), raised)
                } else {
                    let cone = Profile::Cone {
                        lower_radius: lower,
                        upper_radius: upper,
                        height: line(upper) - raised,
                    };
                    (cone, raised)
                }
            }
        })
    }

    /// Rise of a cone's slanted side over plan distance; zero where only its lower face counts.
    fn cone_slope(&self) -> f64 {
        match *self {
            Profile::Cone {
                lower_radius,
                upper_radius,
                height,
            } if upper_radius > lower_radius => (height / (upper_radius - lower_radius)).max(0.0),
            _ => 0.0,
        }
    }

    /// Where `side` holds the body up the highest, as plan distance from the foot of the perpendicular, and the rise there; `None`
    /// where it is out of reach or holds it no higher than `floor`.
    pub(super) fn on_side(&self, side: &Side, floor: f64) -> Option<(f64, f64)> {
        let Side {
            aside,
            from,
            to,
            z,
            slope,
        } = *side;
        let reach = self.reach();
        // not a number beyond the reach
        let half_chord = ((reach - aside) * (reach + aside)).sqrt();
        let (lo, hi) = (from.max(-half_chord), to.min(half_chord));
        if !(half_chord >= 0.0 && lo <= hi) {
            return None;
        }
        let rise_at = |along: f64| self.rise((along * along + aside * aside).sqrt().min(reach));
        // no higher than with its highest place in reach as near as its nearest
        let highest = z + slope * (if slope > 0.0 { hi } else { lo } - from);
        if highest + rise_at(0.0_f64.clamp(lo, hi))? <= floor {
            return None;
        }
        let along = self.contact_on_line(aside, slope, [lo, hi]);
        Some((along, rise_at(along)?))
    }

    /// Where the body touches a part of a straight line: signed plan distance from the foot of the perpendicular to the contact,
    /// along the line's plan direction.
    ///
    /// `aside` is the plan distance of the axis from the line, `slope` the line's rise over plan distance, `part` where it begins
    /// and ends: no further away than the reach. Height plus rise is concave along the line, so on a part of it the contact is that
    /// with the endless line moved to the nearest place of the part.
    fn contact_on_line(&self, aside: f64, slope: f64, part: [f64; 2]) -> f64 {
        let [lo, hi] = part;
        let half_chord = |r: f64| half_chord_of(r, aside);
        let uphill = match *self {
            _ if slope == 0.0 => 0.0,
            Profile::Cutter {
                radius,
                corner_radius,
            } if corner_radius >= radius => {
                half_chord(radius) * slope.abs() / (1.0 + slope * slope).sqrt()
            }
            Profile::Cutter {
                radius,
                corner_radius,
            } if corner_radius <= 0.0 => half_chord(radius),
            Profile::Cutter {
                radius,
                corner_radius,
            } => {
                let bull = BullOnLine {
                    flat: radius - corner_radius,
                    corner: corner_radius,
                    aside,
                    slope: slope.abs(),
                };
                match slope > 0.0 {
                    true => bull.contact(lo, hi),
                    false => bull.contact(-hi, -lo),
                }
            }
            Profile::Cone { lower_radius, .. } => {
                let cone = self.cone_slope();
                let rim = half_chord(self.reach());
                if slope.abs() >= cone {
                    rim
                } else {
                    // slope = cone · σ / d, or the edge of the lower face where that lies inside it
                    let share = slope.abs() / cone;
                    let free = aside * share / (1.0 - share * share).sqrt();
                    free.max(half_chord(lower_radius)).min(rim)
                }
            }
        };
        // negative where a bull-nose touches a part that lies all downhill
        let along = if slope < 0.0 { -uphill } else { uphill };
        along.clamp(lo, hi)
    }

    /// Where the body can touch an endless plane: plan distance from the axis, in the direction
    /// in which the plane rises, and the rise there. `slope` is the plane's greatest rise over plan distance.
    ///
    /// For a cutter it is the corner's point with the plane's normal. A cone touches a plane
    /// less steep than itself with the rim of its lower face, a steeper one with the upper rim.
    pub(super) fn contact_on_plane(&self, slope: f64) -> (f64, f64) {
        match *self {
            Profile::Cutter {
                radius,
                corner_radius,
            } => {
                let length = (1.0 + slope * slope).sqrt();
                let flat = if slope > 0.0 {
                    radius - corner_radius
                } else {
                    0.0
                };
                (
                    flat + corner_radius * slope / length,
                    corner_radius / length,
                )
            }
            Profile::Cone { lower_radius, .. } => {
                let cone = self.cone_slope();
                if slope == 0.0 {
                    (0.0, 0.0)
                } else if slope <= cone {
                    (lower_radius, 0.0)
                } else {
                    let reach = self.reach();
                    (reach, -cone * (reach - lower_radius))
                }
            }
        }
    }
}

/// A straight side as a body over it sees it: plan distances along it count from the foot of the perpendicular from the axis.
#[derive(Debug, Clone, Copy)]
pub(super) struct Side {
    /// Plan distance of the axis from its line, mm.
    pub(super) aside: f64,
    /// Where it begins, and its height there, mm.
    pub(super) from: f64,
    pub(super) z: f64,
    /// Where it ends, mm.
    pub(super) to: f64,
    /// Its rise over plan distance.
    pub(super) slope: f64,
}

/// Most steps to the contact of a bull-nose with a line; the last ones are rounding.
const MOST_STEPS: usize = 60;

/// A bull-nose over a straight line that rises by `slope` over plan distance, `aside` of its axis.
struct BullOnLine {
    flat: f64,
    corner: f64,
    aside: f64,
    slope: f64,
}

impl BullOnLine {
    /// Where height plus rise is greatest between `lo` and `hi`.
    fn contact(&self, lo: f64, hi: f64) -> f64 {
        // most parts are short beside the cutter, and touched at an end
        let high = self.growth(hi);
        if high > 0.0 {
            return hi;
        }
        let low = self.growth(lo);
        if low <= 0.0 {
            return lo;
        }
        // false position; an end that stays for a second time counts half (the Illinois rule, Dowell and Jarratt 1971)
        let least_step = 1e-9 * (hi - lo);
        let (mut last, mut was_low) = (lo, None);
        let (mut lo, mut hi) = ((lo, low), (hi, high));
        for _ in 0..MOST_STEPS {
            let at = hi.0 - hi.1 * (hi.0 - lo.0) / (hi.1 - lo.1);
            let here = self.growth(at);
            let is_low = here > 0.0;
            let (moved, stays) = match is_low {
                true => (&mut lo, &mut hi),
                false => (&mut hi, &mut lo),
            };
            *moved = (at, here);
            if was_low == Some(is_low) {
                stays.1 *= 0.5;
            }
            let step = (at - last).abs();
            (last, was_low) = (at, Some(is_low));
            if step <= least_step {
                break;
            }
        }
        last
    }

    /// Over 0 where height plus rise still grows at `along` from the foot of the perpendicular.
    ///
    /// There the corner is touched d = √(along² + aside²) off the axis, w beyond the flat part, where the rise √(rc² − w²) falls
    /// by along · w / (d √(rc² − w²)): that is left of the slope, times what makes it no fraction.
    fn growth(&self, along: f64) -> f64 {
        let d = (along * along + self.aside * self.aside).sqrt();
        let w = (d - self.flat).max(0.0);
        self.slope * half_chord_of(self.corner, w) * d - w * along
    }
}

/// Half the chord of a circle of radius `r` at `aside` from its centre; 0 outside.
fn half_chord_of(r: f64, aside: f64) -> f64 {
    ((r - aside) * (r + aside)).max(0.0).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn any_profile() -> impl Strategy<Value = Profile> {
        prop_oneof![
            (0.5..5.0f64).prop_map(Profile::ball),
            (0.5..5.0f64).prop_map(Profile::flat),
            (0.5..5.0f64, 0.05..0.95f64).prop_map(|(radius, share)| Profile::Cutter {
                radius,
                corner_radius: radius * share
            }),
            (0.0..3.0f64, 0.1..3.0f64, 0.1..5.0f64).prop_map(|(lower, more, height)| {
                Profile::Cone {
                    lower_radius: lower,
                    upper_radius: lower + more,
                    height,
                }
            }),
        ]
    }

    /// Ends of a part as shares of the half chord; often the whole.
    fn parts() -> impl Strategy<Value = [f64; 2]> {
        prop_oneof![Just([-1.0, 1.0]), [-1.0..1.0f64, -1.0..1.0f64]]
    }

    proptest! {
        #[test]
        fn contact_on_a_line_is_the_highest(profile in any_profile(), aside in 0.0..1.0f64, slope in -4.0..4.0f64, ends in parts()) {
            let aside = aside * profile.reach();
            let half = (profile.reach().powi(2) - aside * aside).sqrt();
            let height = |s: f64| profile.rise(s.hypot(aside).min(profile.reach())).map(|r| r + slope * s);
            let part = ends.map(|share| share * half);
            let part = [part[0].min(part[1]), part[0].max(part[1])];
            let found = profile.contact_on_line(aside, slope, part);
            prop_assert!(part[0] <= found && found <= part[1]);
            let best = height(found).unwrap();
            for k in 0..=2000 {
                let s = part[0] + (part[1] - part[0]) * (k as f64 / 2000.0);
                prop_assert!(height(s).unwrap() <= best + 1e-9, "higher at {s} than at {found}");
            }
        }

        #[test]
        fn contact_on_a_plane_is_the_highest(profile in any_profile(), slope in 0.0..4.0f64) {
            let (d, rise) = profile.contact_on_plane(slope);
            prop_assert!((rise - profile.rise(d.min(profile.reach())).unwrap()).abs() < 1e-7);
            for k in 0..=1000 {
                let s = profile.reach() * (k as f64 / 1000.0);
                prop_assert!(profile.rise(s).unwrap() + slope * s <= rise + slope * d + 1e-9);
            }
        }

        /// A body's inset by t is where a ball of radius t fits inside: its boundary is t away from the body's.
        #[test]
        fn inset_lies_its_depth_inside(profile in any_profile(), t in 0.01..0.3f64) {
            let Some((inner, raised)) = profile.inset(t) else { return Ok(()) };
            let outline: Vec<[f64; 2]> = (0..=20000).map(|k| {
                let d = profile.reach() * (k as f64 / 20000.0);
                [d, -profile.rise(d).unwrap()]
            }).collect();
            for k in 0..=20 {
                let d = inner.reach() * (k as f64 / 20.0);
                let z = raised - inner.rise(d).unwrap();
                let near = outline.iter().map(|q| (q[0] - d).hypot(q[1] - z)).fold(f64::INFINITY, f64::min);
                prop_assert!(near >= t - 1e-9, "{inner:?} at {d} is {near} deep, not {t}");
                // the upper rim of a cone may be further in from the slanted side than from the cylinder above
                if k < 20 { prop_assert!(near <= t + 0.02, "{inner:?} at {d} is {near} deep, not {t}"); }
            }
        }
    }

    #[test]
    fn a_cone_that_narrows_upward_is_its_lower_face() {
        let cone = Profile::Cone {
            lower_radius: 4.0,
            upper_radius: 2.0,
            height: 3.0,
        };
        assert_eq!(cone.reach(), 4.0);
        assert_eq!(cone.rise(3.9), Some(0.0));
        assert_eq!(cone.rise(4.1), None);
    }

    #[test]
    fn a_cone_shrunk_by_more_than_its_height_is_flat() {
        let cone = Profile::Cone {
            lower_radius: 2.0,
            upper_radius: 2.1,
            height: 0.1,
        };
        // 45°: the slanted side has moved in by more than the rim, so only the raised lower face is left
        let (inner, raised) = cone.inset(0.25).unwrap();
        assert!((inner.reach() - 1.85).abs() < 1e-12 && (raised - 0.25).abs() < 1e-12);
        assert_eq!(inner.rise(1.8), Some(0.0));
    }
}
