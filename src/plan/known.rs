//! What is known of one cutter on one half: speeds, what it leaves, stickouts, minutes.

use super::curve::Form;
use super::direction::{Rules, Sheet, Way};
use super::places::{Place, Reaching, reaching, stickouts};
use super::speed;
use super::stickout::{Bears, Needs, bears, needs};
use super::time::removal;
use crate::field::{HeightMap, Profile};
use crate::report::plan::SetBy;
use crate::shop::{Cutter, CutterKind, Edges, Shop, Wanted};
use crate::vet::reach::Ground;

/// Share of a flat cutter's diameter by which its passes over a floor lie apart; common practice, no source.
const FLAT_STEP: f64 = 0.5;

/// Spindle speed and feed of one cutter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pace {
    /// Number of teeth.
    pub teeth: u32,
    /// Chip load per tooth, mm.
    pub chip_load: f64,
    /// Spindle speed, 1/min, and what sets it.
    pub rpm: (f64, SetBy),
    /// Feed, mm/min, and what sets it.
    pub feed: (f64, SetBy),
    /// Removal rate in roughing, mm³/min.
    pub removal: f64,
    /// Slowest cutting speed of the material with this cutter, m/min.
    pub slowest: f64,
}

/// Spindle speed: the material's fastest cutting speed at the full diameter, within what machine and cutter allow.
/// Feed: speed × teeth × chip load, within the machine's.
pub fn pace(cutter: &Cutter, shop: &Shop) -> Option<Pace> {
    let row = shop.planning.row()?;
    let machine = &shop.planning.machine;
    let share = cutter.edges.made_of.speed_share();
    let by_material = speed::spindle_speed(cutter.diameter, row.speed[1] * share);
    let mut rpm = (machine.rpm, SetBy::Machine);
    if let Some(limit) = cutter.edges.rpm
        && limit < rpm.0
    {
        rpm = (limit, SetBy::Cutter);
    }
    if by_material < rpm.0 {
        rpm = (by_material, SetBy::Material);
    }
    let teeth = cutter.edges.teeth.unwrap_or(Edges::TEETH);
    let chip_load = cutter
        .edges
        .chip_load
        .unwrap_or(row.chip_share * cutter.diameter);
    let by_chip = speed::feed(rpm.0, teeth, chip_load);
    let feed = if by_chip > machine.feed {
        (machine.feed, SetBy::Machine)
    } else {
        (by_chip, SetBy::ChipLoad)
    };
    Some(Pace {
        teeth,
        chip_load,
        rpm,
        feed,
        removal: removal(
            row.rough_depth * cutter.diameter,
            row.rough_width * cutter.diameter,
            feed.0,
        ),
        slowest: row.speed[0] * share,
    })
}

/// One cutter at one stickout.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct At {
    /// Tip to holder face, mm.
    pub stickout: f64,
    /// Whether the rack states it.
    pub in_rack: bool,
    /// What the cutter bears there.
    pub bears: Bears,
    /// Share, by area, of what the cutter does that it reaches, 0 to 1.
    pub share: f64,
}

/// All that is known of one cutter on one half.
pub struct Known {
    /// Its number in the rack.
    pub index: usize,
    /// Speeds and feeds.
    pub pace: Pace,
    /// What it leaves.
    pub reaching: Reaching,
    /// Stickout that each place asks for, mm, whatever is left there.
    pub needed: Vec<f64>,
    /// Stickouts of what it does within the leave.
    pub needs: Needs,
    /// The cutter at each stickout, shortest first.
    pub at: Vec<At>,
    /// Minutes of finishing at each place, bending not considered; infinite where it cannot finish.
    pub minutes: Vec<f64>,
    /// Passes in one direction, crossed, and for semi-finishing; balls only.
    pub ways: Option<[Way; 3]>,
}

/// What the rack's cutters are tried on.
pub struct Trial<'a> {
    /// The half.
    pub ground: &'a Ground<'a>,
    /// The shop.
    pub shop: &'a Shop,
    /// The form of its surface.
    pub form: &'a Form,
    /// Places of the cavity.
    pub places: &'a [Place],
    /// Where holders and shanks may be, drawn so far.
    pub maps: Vec<(Profile, HeightMap)>,
}

impl Trial<'_> {
    /// Tries the rack's cutter `index`; `None` without a material, or where nothing is to be cut.
    pub fn know(&mut self, index: usize) -> Option<Known> {
        let (shop, places) = (self.shop, self.places);
        let cutter = &shop.cutters[index];
        let pace = pace(cutter, shop)?;
        let leave = shop.limits.leave;
        let reaching = reaching(self.ground, cutter, places, leave)?;
        let needed = stickouts(
            self.ground,
            shop,
            cutter,
            &reaching,
            f64::INFINITY,
            &mut self.maps,
        );
        let done: Vec<f64> = needed
            .iter()
            .zip(&reaching.left)
            .map(|(n, left)| if *left <= leave { *n } else { f64::INFINITY })
            .collect();
        let needs = needs(&self.ground.half.mesh, places, &done);
        let at = at_stickouts(cutter, &needs, &shop.planning.wanted, places, &done);
        let (minutes, ways) = if cutter.kind() == CutterKind::Ball {
            let (minutes, ways) = self.ball_minutes(cutter, &pace, &reaching);
            (minutes, Some(ways))
        } else {
            (self.floor_minutes(cutter, &pace), None)
        };
        Some(Known {
            index,
            pace,
            reaching,
            needed,
            needs,
            at,
            minutes,
            ways,
        })
    }

    /// Minutes of a ball at each place, its passes the quicker way, and its ways of passing.
    fn ball_minutes(
        &self,
        cutter: &Cutter,
        pace: &Pace,
        reaching: &Reaching,
    ) -> (Vec<f64>, [Way; 3]) {
        let (shop, leave) = (self.shop, self.shop.limits.leave);
        let (left, feed) = (&reaching.left, pace.feed.0);
        let wanted = &shop.planning.wanted;
        let sheet = Sheet::of(self.form, cutter.radius(), self.places, left, leave);
        let fine = rules(shop, feed, wanted.cusp);
        let [one, crossed] = [sheet.best(false, &fine), sheet.best(true, &fine)];
        let cross = !quicker(&one, &crossed);
        let quick = if cross { &crossed } else { &one };
        let coarse = rules(shop, feed, wanted.semi_cusp);
        let semi = sheet.way(quick.direction_deg, cross, &coarse);
        let mut by_patch = sheet.minutes_by_patch(quick, &fine).into_iter();
        let minutes = (self.places.iter().zip(left))
            .map(|(p, left)| {
                if p.area > 0.0 && *left <= leave {
                    by_patch.next().unwrap_or(0.0)
                } else if p.area == 0.0 {
                    0.0
                } else {
                    // not done within the leave: over its area, as if it were level
                    p.area / quick.step.max(1e-6) / feed
                }
            })
            .collect();
        (minutes, [one, crossed, semi])
    }

    /// Minutes of a flat or bull cutter at each place: level floors only.
    fn floor_minutes(&self, cutter: &Cutter, pace: &Pace) -> Vec<f64> {
        let level = |p: &Place| p.normal.z > 0.999_96;
        let step = FLAT_STEP * cutter.diameter;
        let minutes = |p: &Place| match p.area {
            0.0 => 0.0,
            area if level(p) => area / step / pace.feed.0,
            _ => f64::INFINITY,
        };
        self.places.iter().map(minutes).collect()
    }
}

/// Whether one direction alone is no slower and does no less.
fn quicker(one: &Way, crossed: &Way) -> bool {
    one.minutes <= crossed.minutes && one.share >= crossed.share - 1e-6
}

/// The cutter at its stickouts, shortest first, and at the one that does all if none of them does.
fn at_stickouts(
    cutter: &Cutter,
    needs: &Needs,
    wanted: &Wanted,
    places: &[Place],
    done: &[f64],
) -> Vec<At> {
    let area = |most: f64| -> f64 {
        let reached = places.iter().zip(done).filter(|(_, n)| **n <= most);
        reached.map(|(p, _)| p.area).sum()
    };
    let whole = area(f64::MAX);
    let at = |stickout: f64, in_rack: bool| At {
        stickout,
        in_rack,
        bears: bears(cutter, stickout, wanted),
        share: if whole > 0.0 {
            area(stickout + 1e-6) / whole
        } else {
            0.0
        },
    };
    let mut all: Vec<At> = cutter.stickouts.iter().map(|&s| at(s, true)).collect();
    all.sort_by(|a, b| a.stickout.total_cmp(&b.stickout));
    if let Some(need) = needs.all
        && all.last().is_none_or(|a| a.stickout < need)
    {
        all.push(at(need, false));
    }
    all
}

/// Rules for passes that leave cusps of this height.
pub(super) fn rules(shop: &Shop, feed: f64, height: f64) -> Rules {
    Rules {
        height,
        share: shop.planning.wanted.share,
        feed,
        acceleration: shop.planning.machine.acceleration,
    }
}
