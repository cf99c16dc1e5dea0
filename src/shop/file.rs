//! The shop file. Its format is described in the documentation of [`crate::shop`].

use super::check::{self, Step};
use super::table::{Fault, Table};
use super::{
    Cutter, Edges, Holder, Limits, Material, Neck, Planning, Section, Shop, ShopError, ShopProblem,
    ToolMaterial, size_name,
};
use crate::units::{Unit, UnitError};
use std::fs::File;
use std::io::Read;
use std::path::Path;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Longest shop file that is read, bytes: a thousand cutters fit, a model given by mistake does not.
const MAX_BYTES: u64 = 1 << 20;

/// A corner radius this near to half the diameter makes a ball, mm: inch sizes are commonly listed in mm with
/// three decimals, and the radius of a cutter is not made to a micron.
const CORNER_ROUNDING: f64 = 0.001;

const FILE_KEYS: &[&str] = &[
    "units", "limits", "cutter", "holder", "machine", "material", "plan",
];
const LIMIT_KEYS: &[&str] = &[
    "leave",
    "draft",
    "wall",
    "forgive",
    "shank_clearance",
    "holder_clearance",
    "crease",
    "contact",
    "draft_min_area",
];
const CUTTER_KEYS: &[&str] = &[
    "name",
    "diameter",
    "corner_radius",
    "shape",
    "flute_length",
    "neck",
    "shank",
    "stickouts",
    "holder",
    "teeth",
    "chip_load",
    "rpm",
    "made_of",
];
const NECK_KEYS: &[&str] = &["diameter", "length"];
const HOLDER_KEYS: &[&str] = &["name", "sections"];
const SECTION_KEYS: &[&str] = &["diameter", "lower", "upper", "height"];
const MACHINE_KEYS: &[&str] = &["rpm", "feed", "acceleration", "tool_change"];
const MATERIAL_KEYS: &[&str] = &[
    "name",
    "speed_m_per_min",
    "speed_sfm",
    "chip_share",
    "rough_depth",
    "rough_width",
];
const PLAN_KEYS: &[&str] = &[
    "material",
    "cusp",
    "semi_cusp",
    "share",
    "stock",
    "side_load",
    "bend",
    "slender",
];
/// Metres in a foot, exact.
const M_PER_FOOT: f64 = 0.3048;

const A_NAME: &str = "a text such as \"collet\"";

impl Shop {
    /// Reads a shop file. Its name alone, without folders, becomes [`Shop::source`].
    ///
    /// # Errors
    ///
    /// [`ShopError::Read`] and [`ShopError::TooLong`] for a file that cannot be read, else as [`Shop::from_toml`].
    pub fn read(path: &Path) -> Result<Self, ShopError> {
        let file = path.display().to_string();
        let unreadable = |source| ShopError::Read {
            file: file.clone(),
            source,
        };
        let mut bytes = Vec::new();
        File::open(path)
            .and_then(|opened| opened.take(MAX_BYTES + 1).read_to_end(&mut bytes))
            .map_err(unreadable)?;
        if bytes.len() as u64 > MAX_BYTES {
            let limit = MAX_BYTES;
            return Err(ShopError::TooLong { file, limit });
        }
        let text = String::from_utf8(bytes)
            .map_err(|error| unreadable(std::io::Error::other(error.utf8_error())))?;
        let mut shop = Shop::from_toml(&text, &file)?;
        if let Some(name) = path.file_name() {
            shop.source = Some(name.to_string_lossy().into_owned());
        }
        Ok(shop)
    }

    /// Reads the text of a shop file; `name` is what messages and [`Shop::source`] call it.
    ///
    /// Limits that are not stated are the defaults. Without a cutter the rack is the built-in one, without a
    /// holder the holder is [`Holder::default`]. A corner radius within 1 µm of half the diameter is taken
    /// for a ball's.
    ///
    /// # Errors
    ///
    /// [`ShopError::InFile`] with the line and the first problem: what is not TOML, unknown keys, wrong types,
    /// and all that [`Shop::check`] refuses.
    pub fn from_toml(text: &str, name: &str) -> Result<Self, ShopError> {
        parse(text, name).map_err(|fault| ShopError::InFile {
            file: name.to_owned(),
            line: line_of(text, fault.at),
            problem: fault.problem,
        })
    }
}

fn parse(text: &str, name: &str) -> Result<Shop, Fault> {
    let root = DeTable::parse(text).map_err(|error| Fault {
        at: error.span().map_or(0, |span| span.start),
        problem: ShopProblem::Syntax {
            message: error.message().to_owned(),
        },
    })?;
    let root = root.get_ref();
    let mut file = Table::new("the shop file", root, 0, None, FILE_KEYS)?;
    file.unit = units(file)?;

    let mut shop = Shop::builtin();
    shop.source = Some(name.to_owned());
    shop.units = file.unit;
    if let Some(table) = file.table("limits", "[limits]", "a section [limits]", LIMIT_KEYS)? {
        limits(table, &mut shop.limits)?;
    }
    let expected = "a section [[holder]] for each holder, in two brackets";
    if let Some(tables) = file.tables("holder", "[[holder]]", expected, HOLDER_KEYS)? {
        shop.holders = tables.into_iter().map(holder).collect::<Result<_, _>>()?;
    }
    let expected = "a section [[cutter]] for each cutter, in two brackets";
    if let Some(tables) = file.tables("cutter", "[[cutter]]", expected, CUTTER_KEYS)? {
        shop.cutters = tables.into_iter().map(cutter).collect::<Result<_, _>>()?;
    }
    planning(file, &mut shop.planning)?;

    check::check(&shop).map_err(|flaw| Fault {
        at: locate(root, &flaw.path),
        problem: flaw.problem,
    })?;
    Ok(shop)
}

fn units(file: Table<'_>) -> Result<Option<Unit>, Fault> {
    file.text("units", "\"mm\" or \"inch\"")?
        .map(str::parse)
        .transpose()
        .map_err(|source: UnitError| Fault {
            at: file.at("units"),
            problem: ShopProblem::Figure {
                key: "units",
                source,
            },
        })
}

fn limits(table: Table<'_>, limits: &mut Limits) -> Result<(), Fault> {
    for (key, limit) in [
        ("leave", &mut limits.leave),
        ("wall", &mut limits.wall),
        ("forgive", &mut limits.forgive),
        ("shank_clearance", &mut limits.shank_clearance),
        ("holder_clearance", &mut limits.holder_clearance),
        ("contact", &mut limits.contact),
    ] {
        *limit = table.length(key)?.unwrap_or(*limit);
    }
    limits.draft_deg = table.angle("draft")?.unwrap_or(limits.draft_deg);
    limits.crease_deg = table.angle("crease")?.unwrap_or(limits.crease_deg);
    limits.draft_min_area = table
        .area("draft_min_area")?
        .unwrap_or(limits.draft_min_area);
    Ok(())
}

fn cutter(table: Table<'_>) -> Result<Cutter, Fault> {
    let diameter = table.need("diameter", table.length("diameter")?, "\"6 mm\"")?;
    let corner_radius = corner_radius(table, diameter)?;
    let name = table.text("name", A_NAME)?.map(str::to_owned);
    let expected = "a table such as { diameter = \"3 mm\", length = \"20 mm\" }";
    let neck = table
        .table("neck", "neck", expected, NECK_KEYS)?
        .map(|neck| {
            Ok(Neck {
                diameter: neck.need("diameter", neck.length("diameter")?, "\"3 mm\"")?,
                length: neck.need("length", neck.length("length")?, "\"20 mm\"")?,
            })
        })
        .transpose()?;
    Ok(Cutter {
        name: name.unwrap_or_else(|| size_name(diameter, corner_radius)),
        diameter,
        corner_radius,
        flute_length: table.length("flute_length")?,
        neck,
        shank: table.length("shank")?,
        stickouts: table.lengths("stickouts")?.unwrap_or_default(),
        holder: table.text("holder", A_NAME)?.map(str::to_owned),
        edges: Edges {
            teeth: teeth(table)?,
            chip_load: table.length("chip_load")?,
            rpm: table.number("rpm", RPM)?,
            made_of: made_of(table)?,
        },
    })
}

const RPM: &str = "a number such as 24000";

fn teeth(table: Table<'_>) -> Result<Option<u32>, Fault> {
    let Some(teeth) = table.number("teeth", "a number such as 2")? else {
        return Ok(None);
    };
    if teeth.fract() == 0.0 && (1.0..=99.0).contains(&teeth) {
        return Ok(Some(teeth as u32));
    }
    Err(Fault {
        at: table.at("teeth"),
        problem: ShopProblem::OutOfRange {
            key: "teeth",
            value: teeth.to_string(),
            range: "a whole number from 1 to 99",
        },
    })
}

fn made_of(table: Table<'_>) -> Result<ToolMaterial, Fault> {
    match table.text("made_of", "\"carbide\" or \"hss\"")? {
        None | Some("carbide") => Ok(ToolMaterial::Carbide),
        Some("hss") => Ok(ToolMaterial::HighSpeedSteel),
        Some(other) => Err(Fault {
            at: table.at("made_of"),
            problem: ShopProblem::OutOfRange {
                key: "made_of",
                value: format!("\"{other}\""),
                range: "\"carbide\" or \"hss\"",
            },
        }),
    }
}

/// Sections `[machine]`, `[[material]]` and `[plan]`.
fn planning(file: Table<'_>, planning: &mut Planning) -> Result<(), Fault> {
    const NUMBER: &str = "a number";
    let section = file.table("machine", "[machine]", "a section [machine]", MACHINE_KEYS)?;
    if let Some(table) = section {
        let machine = &mut planning.machine;
        machine.rpm = table.number("rpm", RPM)?.unwrap_or(machine.rpm);
        machine.feed = table.length("feed")?.unwrap_or(machine.feed);
        machine.acceleration = table
            .length("acceleration")?
            .unwrap_or(machine.acceleration);
        machine.tool_change = table
            .number("tool_change", "a number of seconds")?
            .unwrap_or(machine.tool_change);
    }
    let expected = "a section [[material]] for each material, in two brackets";
    let rows = file.tables("material", "[[material]]", expected, MATERIAL_KEYS)?;
    for table in rows.into_iter().flatten() {
        let row = material(table)?;
        match planning.materials.iter_mut().find(|m| m.name == row.name) {
            Some(known) => *known = row,
            None => planning.materials.push(row),
        }
    }
    if let Some(table) = file.table("plan", "[plan]", "a section [plan]", PLAN_KEYS)? {
        if let Some(name) = table.text("material", A_NAME)? {
            planning.material = name.to_owned();
        }
        let wanted = &mut planning.wanted;
        for (key, length) in [
            ("cusp", &mut wanted.cusp),
            ("semi_cusp", &mut wanted.semi_cusp),
            ("stock", &mut wanted.stock),
            ("bend", &mut wanted.bend),
        ] {
            *length = table.length(key)?.unwrap_or(*length);
        }
        for (key, number) in [
            ("share", &mut wanted.share),
            ("side_load", &mut wanted.side_load),
            ("slender", &mut wanted.slender),
        ] {
            *number = table.number(key, NUMBER)?.unwrap_or(*number);
        }
    }
    Ok(())
}

/// A row; what it leaves out is as in the built-in row of its name, or of aluminium.
fn material(table: Table<'_>) -> Result<Material, Fault> {
    let name = table.need("name", table.text("name", A_NAME)?, "\"steel\"")?;
    let pair = "two numbers such as [50, 150]";
    let metric = table.numbers("speed_m_per_min", pair)?;
    let imperial = table.numbers("speed_sfm", pair)?;
    let speed = match (metric, imperial) {
        (Some(speed), None) => Some(speed),
        (None, Some(speed)) => Some(speed.into_iter().map(|v| v * M_PER_FOOT).collect()),
        (None, None) => None,
        (Some(_), Some(_)) => {
            return Err(Fault {
                at: table.at("speed_sfm"),
                problem: ShopProblem::TwoSpeeds,
            });
        }
    };
    let known = Material::builtin();
    let like = known.iter().find(|m| m.name == name).unwrap_or(&known[0]);
    let speed = match speed.as_deref() {
        None if like.name == name => like.speed,
        Some(&[slow, fast]) => [slow, fast],
        _ => {
            return Err(table.fault(ShopProblem::Missing {
                table: "[[material]]",
                key: "speed_m_per_min",
                example: "[50, 150]",
            }));
        }
    };
    let number = |key, usual| Ok(table.number(key, "a number such as 0.1")?.unwrap_or(usual));
    Ok(Material {
        name: name.to_owned(),
        speed,
        chip_share: number("chip_share", like.chip_share)?,
        rough_depth: number("rough_depth", like.rough_depth)?,
        rough_width: number("rough_width", like.rough_width)?,
        builtin: false,
    })
}

fn corner_radius(table: Table<'_>, diameter: f64) -> Result<f64, Fault> {
    let half = 0.5 * diameter;
    let shape = table.text("shape", "\"ball\" or \"flat\"")?;
    let corner = table.length("corner_radius")?;
    let problem = match (shape, corner) {
        (None, None) | (Some("ball"), None) => return Ok(half),
        (Some("flat"), None) => return Ok(0.0),
        (None, Some(corner)) if (corner - half).abs() <= CORNER_ROUNDING => return Ok(half),
        (None, Some(corner)) => return Ok(corner),
        (Some(_), Some(_)) => ShopProblem::ShapeAndCorner,
        (Some(shape), None) => ShopProblem::UnknownShape {
            shape: shape.to_owned(),
        },
    };
    let at = table.at("shape");
    Err(Fault { at, problem })
}

fn holder(table: Table<'_>) -> Result<Holder, Fault> {
    let name = table.need("name", table.text("name", A_NAME)?, "\"collet\"")?;
    let example = "[ { diameter = \"20 mm\", height = \"30 mm\" } ]";
    let expected = "a list such as [ { diameter = \"20 mm\", height = \"30 mm\" } ]";
    let sections = table.tables("sections", "a section", expected, SECTION_KEYS)?;
    Ok(Holder {
        name: name.to_owned(),
        sections: table
            .need("sections", sections, example)?
            .into_iter()
            .map(section)
            .collect::<Result<_, _>>()?,
    })
}

fn section(table: Table<'_>) -> Result<Section, Fault> {
    let diameter = table.length("diameter")?;
    let ends = (table.length("lower")?, table.length("upper")?);
    let (lower_diameter, upper_diameter) = match (diameter, ends) {
        (Some(diameter), (None, None)) => (diameter, diameter),
        (None, (Some(lower), Some(upper))) => (lower, upper),
        _ => {
            return Err(table.fault(ShopProblem::SectionShape));
        }
    };
    Ok(Section {
        lower_diameter,
        upper_diameter,
        height: table.need("height", table.length("height")?, "\"30 mm\"")?,
    })
}

/// Where the value at the end of a path begins, bytes, or the innermost one on the way to it that the file has.
fn locate(root: &DeTable<'_>, path: &[Step]) -> usize {
    fn inner<'a, 'b>(
        value: &'a Spanned<DeValue<'b>>,
        step: &Step,
    ) -> Option<&'a Spanned<DeValue<'b>>> {
        match *step {
            Step::Key(key) => value.get_ref().get(key),
            Step::Entry(index) => value.get_ref().get(index),
        }
    }
    let Some((Step::Key(first), rest)) = path.split_first() else {
        return 0;
    };
    let Some(mut value) = root.get(*first) else {
        return 0;
    };
    for step in rest {
        match inner(value, step) {
            Some(next) => value = next,
            None => break,
        }
    }
    value.span().start
}

/// Line, from 1, of a byte of the text.
fn line_of(text: &str, at: usize) -> usize {
    let before = &text.as_bytes()[..at.min(text.len())];
    1 + before.iter().filter(|&&byte| byte == b'\n').count()
}
