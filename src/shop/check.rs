//! What cannot be, whether it comes from a file, the command line or a program.

use super::error::nearest;
use super::{Cutter, Holder, Limits, Planning, Section, Shop, ShopError, ShopProblem};
use crate::units::{Unit, format_exact};

/// One step down from the whole shop to the place of a flaw, in the shop file's words.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Step {
    /// Into the value of a key.
    Key(&'static str),
    /// Into an entry of a list, from 0.
    Entry(usize),
}

use Step::{Entry, Key};

/// A problem and where it is.
#[derive(Debug)]
pub(super) struct Flaw {
    /// From the outside in.
    pub(super) path: Vec<Step>,
    /// What is wrong.
    pub(super) problem: ShopProblem,
}

impl Flaw {
    fn new(path: &[Step], problem: ShopProblem) -> Self {
        let path = path.to_vec();
        Flaw { path, problem }
    }

    fn within(mut self, outer: &[Step]) -> Self {
        self.path.splice(0..0, outer.iter().copied());
        self
    }
}

impl Shop {
    /// Whether this can be a shop: lengths and limits in range, names of their own, each cutter's parts in order from the tip, its
    /// holder and the material known. Shops read from a file are already known to be.
    ///
    /// # Errors
    ///
    /// [`ShopError::Setting`] with the first problem.
    pub fn check(&self) -> Result<(), ShopError> {
        check(self).map_err(|flaw| ShopError::Setting(flaw.problem))
    }
}

/// The first flaw of a shop; figures in it are in the unit of the shop.
pub(super) fn check(shop: &Shop) -> Result<(), Flaw> {
    let show = Show(shop.units.unwrap_or(Unit::Mm));
    limits(&shop.limits, show).map_err(|flaw| flaw.within(&[Key("limits")]))?;

    if shop.holders.is_empty() {
        return Err(Flaw::new(&[Key("holder")], ShopProblem::NoHolder));
    }
    if shop.cutters.is_empty() {
        return Err(Flaw::new(&[Key("cutter")], ShopProblem::NoCutter));
    }
    let holders: Vec<&str> = shop.holders.iter().map(|h| h.name.as_str()).collect();
    for (index, it) in shop.holders.iter().enumerate() {
        name(&holders, index, "holders")
            .and_then(|()| holder(it, show))
            .map_err(|flaw| flaw.within(&[Key("holder"), Entry(index)]))?;
    }

    let cutters: Vec<&str> = shop.cutters.iter().map(|c| c.name.as_str()).collect();
    for (index, it) in shop.cutters.iter().enumerate() {
        cutter(it, show)
            .and_then(|()| name(&cutters, index, "cutters"))
            .and_then(|()| known_holder(it, &holders))
            .map_err(|flaw| flaw.within(&[Key("cutter"), Entry(index)]))?;
    }
    planning(&shop.planning, show)
}

fn planning(planning: &Planning, show: Show) -> Result<(), Flaw> {
    let machine = &planning.machine;
    let within = |outer: &'static str| move |flaw: Flaw| flaw.within(&[Key(outer)]);
    number("rpm", machine.rpm, 1.0, 1e6, "from 1 to 1000000").map_err(within("machine"))?;
    show.positive_at("feed", machine.feed)
        .map_err(within("machine"))?;
    show.positive_at("acceleration", machine.acceleration)
        .map_err(within("machine"))?;
    number("tool_change", machine.tool_change, 0.0, 1e5, "0 or more").map_err(within("machine"))?;
    for material in &planning.materials {
        let [slow, fast] = material.speed;
        let speeds = number(
            "speed_m_per_min",
            slow,
            0.01,
            fast,
            "more than 0, the slower first",
        )
        .and_then(|()| {
            number(
                "speed_m_per_min",
                fast,
                slow,
                1e5,
                "more than 0, the slower first",
            )
        });
        speeds
            .and_then(|()| number("chip_share", material.chip_share, 1e-6, 1.0, SHARE))
            .and_then(|()| number("rough_depth", material.rough_depth, 1e-6, 1.0, SHARE))
            .and_then(|()| number("rough_width", material.rough_width, 1e-6, 1.0, SHARE))
            .map_err(within("material"))?;
    }
    if planning.row().is_none() {
        let known: Vec<String> = planning.materials.iter().map(|m| m.name.clone()).collect();
        let name = planning.material.clone();
        let nearest = nearest(&name, known.iter().map(String::as_str)).map(str::to_owned);
        let problem = ShopProblem::UnknownMaterial {
            name,
            nearest,
            known,
        };
        return Err(Flaw::new(&[Key("plan"), Key("material")], problem));
    }
    let wanted = &planning.wanted;
    for (key, length) in [
        ("cusp", wanted.cusp),
        ("semi_cusp", wanted.semi_cusp),
        ("stock", wanted.stock),
        ("bend", wanted.bend),
    ] {
        show.positive_at(key, length).map_err(within("plan"))?;
    }
    number("share", wanted.share, 0.01, 1.0, "from 0.01 to 1").map_err(within("plan"))?;
    number("side_load", wanted.side_load, 0.0, 1e6, "0 or more").map_err(within("plan"))?;
    number("slender", wanted.slender, 0.1, 1e3, "more than 0").map_err(within("plan"))
}

const SHARE: &str = "more than 0 and at most 1";

fn number(
    key: &'static str,
    value: f64,
    least: f64,
    most: f64,
    range: &'static str,
) -> Result<(), Flaw> {
    if (least..=most).contains(&value) {
        return Ok(());
    }
    let value = value.to_string();
    Err(Flaw::new(
        &[Key(key)],
        ShopProblem::OutOfRange { key, value, range },
    ))
}

fn edges(cutter: &Cutter, show: Show) -> Result<(), Flaw> {
    let edges = &cutter.edges;
    if let Some(teeth) = edges.teeth {
        number(
            "teeth",
            f64::from(teeth),
            1.0,
            99.0,
            "a whole number from 1 to 99",
        )?;
    }
    if let Some(load) = edges.chip_load {
        show.positive_at("chip_load", load)?;
    }
    if let Some(rpm) = edges.rpm {
        number("rpm", rpm, 1.0, 1e6, "from 1 to 1000000")?;
    }
    Ok(())
}

/// Writes lengths in the shop's unit.
#[derive(Clone, Copy)]
struct Show(Unit);

impl Show {
    fn length(self, mm: f64) -> String {
        format_exact(mm, self.0)
    }

    fn positive(self, key: &'static str, mm: f64) -> Result<(), ShopProblem> {
        // Not `mm <= 0`: NaN must fail too.
        if mm > 0.0 && mm.is_finite() {
            return Ok(());
        }
        let value = self.length(mm);
        Err(ShopProblem::NotPositive { key, value })
    }

    fn positive_at(self, key: &'static str, mm: f64) -> Result<(), Flaw> {
        self.positive(key, mm)
            .map_err(|problem| Flaw::new(&[Key(key)], problem))
    }
}

fn limits(limits: &Limits, show: Show) -> Result<(), Flaw> {
    let lengths = [
        ("leave", limits.leave),
        ("wall", limits.wall),
        ("forgive", limits.forgive),
        ("shank_clearance", limits.shank_clearance),
        ("holder_clearance", limits.holder_clearance),
        ("contact", limits.contact),
    ];
    let lengths = lengths.map(|(key, mm)| {
        let sound = mm >= 0.0 && mm.is_finite();
        (key, sound, show.length(mm), "0 or more")
    });
    let (draft, crease, area) = (limits.draft_deg, limits.crease_deg, limits.draft_min_area);
    let others = [
        (
            "draft",
            (0.0..90.0).contains(&draft),
            format!("{draft}°"),
            "from 0° to less than 90°",
        ),
        (
            "crease",
            (0.0..=180.0).contains(&crease),
            format!("{crease}°"),
            "from 0° to 180°",
        ),
        (
            "draft_min_area",
            area >= 0.0 && area.is_finite(),
            format!("{area} mm²"),
            "0 or more",
        ),
    ];
    for (key, sound, value, range) in lengths.into_iter().chain(others) {
        if !sound {
            let problem = ShopProblem::OutOfRange { key, value, range };
            return Err(Flaw::new(&[Key(key)], problem));
        }
    }
    Ok(())
}

/// Whether the name at `index` can be printed and is not taken by one before it.
fn name(names: &[&str], index: usize, things: &'static str) -> Result<(), Flaw> {
    let name = names[index];
    let problem = if name.trim().is_empty() || name.contains(char::is_control) {
        ShopProblem::BadName
    } else if names[..index].contains(&name) {
        let name = name.to_owned();
        ShopProblem::DuplicateName { things, name }
    } else {
        return Ok(());
    };
    Err(Flaw::new(&[Key("name")], problem))
}

fn known_holder(cutter: &Cutter, holders: &[&str]) -> Result<(), Flaw> {
    let Some(name) = &cutter.holder else {
        return Ok(());
    };
    if holders.contains(&name.as_str()) {
        return Ok(());
    }
    let problem = ShopProblem::UnknownHolder {
        name: name.clone(),
        nearest: nearest(name, holders.iter().copied()).map(str::to_owned),
        known: holders.iter().map(|&h| h.to_owned()).collect(),
    };
    Err(Flaw::new(&[Key("holder")], problem))
}

fn holder(holder: &Holder, show: Show) -> Result<(), Flaw> {
    if holder.sections.is_empty() {
        let holder = holder.name.clone();
        return Err(Flaw::new(
            &[Key("sections")],
            ShopProblem::NoSections { holder },
        ));
    }
    for (index, it) in holder.sections.iter().enumerate() {
        section(it, show).map_err(|flaw| flaw.within(&[Key("sections"), Entry(index)]))?;
    }
    Ok(())
}

fn section(section: &Section, show: Show) -> Result<(), Flaw> {
    let (lower, upper) = (section.lower_diameter, section.upper_diameter);
    if lower == upper {
        show.positive_at("diameter", lower)?;
    } else {
        show.positive_at("lower", lower)?;
        show.positive_at("upper", upper)?;
    }
    show.positive_at("height", section.height)
}

fn cutter(cutter: &Cutter, show: Show) -> Result<(), Flaw> {
    let (diameter, corner) = (cutter.diameter, cutter.corner_radius);
    show.positive_at("diameter", diameter)?;
    if !(corner >= 0.0 && corner.is_finite()) {
        let (key, value) = ("corner_radius", show.length(corner));
        let range = "0 or more";
        let problem = ShopProblem::OutOfRange { key, value, range };
        return Err(Flaw::new(&[Key(key)], problem));
    }
    if corner > cutter.radius() {
        let problem = ShopProblem::CornerTooLarge {
            corner: show.length(corner),
            diameter: show.length(diameter),
            half: show.length(cutter.radius()),
        };
        return Err(Flaw::new(&[Key("corner_radius")], problem));
    }
    above_the_corner(cutter, show)?;
    edges(cutter, show)?;
    stickouts(cutter, show)
}

/// Flutes, neck and shank.
fn above_the_corner(cutter: &Cutter, show: Show) -> Result<(), Flaw> {
    if let Some(flutes) = cutter.flute_length {
        show.positive_at("flute_length", flutes)?;
        if flutes < cutter.corner_radius {
            let problem = ShopProblem::FlutesTooShort {
                flutes: show.length(flutes),
                corner: show.length(cutter.corner_radius),
            };
            return Err(Flaw::new(&[Key("flute_length")], problem));
        }
    }
    if let Some(neck) = cutter.neck {
        for (step, key, mm) in [
            ("diameter", "neck diameter", neck.diameter),
            ("length", "neck length", neck.length),
        ] {
            show.positive(key, mm)
                .map_err(|problem| Flaw::new(&[Key("neck"), Key(step)], problem))?;
        }
        let (below, end) = match cutter.flute_length {
            Some(flutes) => ("flute_length", flutes),
            None => ("the corner radius", cutter.corner_radius),
        };
        if neck.length < end {
            let problem = ShopProblem::NeckTooShort {
                neck: show.length(neck.length),
                below,
                end: show.length(end),
            };
            return Err(Flaw::new(&[Key("neck"), Key("length")], problem));
        }
    }
    if let Some(shank) = cutter.shank {
        show.positive_at("shank", shank)?;
    }
    // Without a flute length the flutes end where the neck does, or at the holder; a thicker part that this
    // hides would be taken to pass where it rubs.
    let hidden = match (cutter.neck, cutter.shank) {
        (Some(neck), _) => Some(("neck", neck.diameter)),
        (None, Some(shank)) => Some(("shank", shank)),
        (None, None) => None,
    };
    if let (None, Some((part, thick))) = (cutter.flute_length, hidden)
        && thick > cutter.diameter
    {
        let problem = ShopProblem::NoFluteLength {
            part,
            thick: show.length(thick),
            diameter: show.length(cutter.diameter),
        };
        return Err(Flaw::new(&[Key(part)], problem));
    }
    Ok(())
}

fn stickouts(cutter: &Cutter, show: Show) -> Result<(), Flaw> {
    let (part, end) = match (cutter.neck, cutter.flute_length) {
        (Some(neck), _) => ("neck", neck.length),
        (None, Some(flutes)) => ("flutes", flutes),
        (None, None) => ("corner", cutter.corner_radius),
    };
    for (index, &stickout) in cutter.stickouts.iter().enumerate() {
        let at = |problem| Flaw::new(&[Key("stickouts"), Entry(index)], problem);
        show.positive("stickout", stickout).map_err(at)?;
        if stickout < end {
            return Err(at(ShopProblem::InsideHolder {
                cutter: cutter.name.clone(),
                stickout: show.length(stickout),
                part,
                end: show.length(end),
            }));
        }
        if cutter.stickouts[..index].contains(&stickout) {
            return Err(at(ShopProblem::RepeatedStickout {
                cutter: cutter.name.clone(),
                stickout: show.length(stickout),
            }));
        }
    }
    Ok(())
}
