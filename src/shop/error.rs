//! What can be wrong with a shop, each told in one sentence.

use crate::units::UnitError;

/// Why a shop could not be had.
#[derive(Debug, thiserror::Error)]
pub enum ShopError {
    /// The file could not be opened or is not text.
    #[error(
        "{file}: the shop file cannot be read ({source}); check its name and that it is a text file"
    )]
    Read {
        /// The file as it was asked for.
        file: String,
        /// What the system says.
        source: std::io::Error,
    },
    /// The file is longer than any shop file.
    #[error(
        "{file}: longer than {} kB, which no shop file is; check that this is not a model", limit / 1024
    )]
    TooLong {
        /// The file as it was asked for.
        file: String,
        /// Longest file that is read, bytes.
        limit: u64,
    },
    /// Something in the file is wrong.
    #[error("{file}, line {line}: {problem}")]
    InFile {
        /// The file's name.
        file: String,
        /// Line, from 1.
        line: usize,
        /// What is wrong there.
        problem: ShopProblem,
    },
    /// Something in a shop made by the program or on the command line is wrong.
    #[error(transparent)]
    Setting(#[from] ShopProblem),
}

/// What is wrong at one place. Lengths are texts with their unit, in the unit that the shop is written in.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ShopProblem {
    /// Not TOML.
    #[error(
        "not readable as TOML ({message}); mind that a value with a unit needs quotes, as in \"6 mm\" or '1/8\"'"
    )]
    Syntax {
        /// What the TOML reader says.
        message: String,
    },
    /// A key that means nothing here.
    #[error("unknown key `{key}` in {table}; {}", hint(nearest.as_deref(), known))]
    UnknownKey {
        /// The key as written.
        key: String,
        /// Where it stands.
        table: &'static str,
        /// The known key that it looks like.
        nearest: Option<&'static str>,
        /// All known keys.
        known: &'static [&'static str],
    },
    /// A value of a wrong type.
    #[error("`{key}` must be {expected}, not {found}")]
    WrongType {
        /// The key.
        key: &'static str,
        /// What is wanted, with an example.
        expected: &'static str,
        /// What was found.
        found: &'static str,
    },
    /// A key that must be there.
    #[error("{table} has no `{key}`; add one, such as {key} = {example}")]
    Missing {
        /// Where it should stand.
        table: &'static str,
        /// The key.
        key: &'static str,
        /// A value for it.
        example: &'static str,
    },
    /// A bare number in a file that states no unit.
    #[error(
        "{key} {number} has no unit; write \"{number} mm\" or \"{number} in\", or put units = \"mm\" at the top"
    )]
    NoUnit {
        /// The key.
        key: &'static str,
        /// The number as written.
        number: String,
    },
    /// A material with its cutting speed in two units.
    #[error("a material has speed_m_per_min or speed_sfm, not both; take one out")]
    TwoSpeeds,
    /// No row for the material that is cut.
    #[error("there is no material `{name}`; {}", hint(nearest.as_deref(), known))]
    UnknownMaterial {
        /// Its name.
        name: String,
        /// The known name that it looks like.
        nearest: Option<String>,
        /// All known names.
        known: Vec<String>,
    },
    /// A text that is not the figure wanted.
    #[error("{key}: {source}")]
    Figure {
        /// The key.
        key: &'static str,
        /// Why not.
        source: UnitError,
    },
    /// A length that must be more than 0.
    #[error("{key} is {value}; it must be more than 0")]
    NotPositive {
        /// The key.
        key: &'static str,
        /// The value.
        value: String,
    },
    /// A limit that cannot be.
    #[error("{key} is {value}; it must be {range}")]
    OutOfRange {
        /// The key.
        key: &'static str,
        /// The value.
        value: String,
        /// What it may be.
        range: &'static str,
    },
    /// Neither ball nor flat.
    #[error(
        "unknown shape `{shape}`; write \"ball\" or \"flat\", or a corner_radius for a bull-nose"
    )]
    UnknownShape {
        /// The shape as written.
        shape: String,
    },
    /// Both `shape` and `corner_radius`.
    #[error("shape and corner_radius both say what the corner is; leave one of them out")]
    ShapeAndCorner,
    /// More corner than cutter.
    #[error(
        "corner_radius {corner} is more than half the diameter {diameter}; use {half} for a ball"
    )]
    CornerTooLarge {
        /// Corner radius.
        corner: String,
        /// Diameter.
        diameter: String,
        /// Half of it.
        half: String,
    },
    /// Flutes that end on the rounded tip.
    #[error(
        "flute_length {flutes} is shorter than the corner radius {corner}; measure it from the tip, {corner} or more"
    )]
    FlutesTooShort {
        /// Flute length.
        flutes: String,
        /// Corner radius.
        corner: String,
    },
    /// A neck that ends before the flutes do.
    #[error(
        "neck length {neck} is shorter than {below} {end}; measure it from the tip, {end} or more"
    )]
    NeckTooShort {
        /// Neck length.
        neck: String,
        /// What it must clear: `flute_length`, or `the corner radius` where none is stated.
        below: &'static str,
        /// Where that ends above the tip.
        end: String,
    },
    /// A thick part above flutes that have no stated end.
    #[error(
        "{part} {thick} is thicker than the cutter {diameter}, so where the flutes end matters; add flute_length"
    )]
    NoFluteLength {
        /// `neck` or `shank`.
        part: &'static str,
        /// Its diameter.
        thick: String,
        /// Cutting diameter.
        diameter: String,
    },
    /// A stickout that draws a relieved or cutting part into the holder.
    #[error(
        "stickout {stickout} would draw the {part} of `{cutter}` into the holder; use {end} or more"
    )]
    InsideHolder {
        /// Name of the cutter.
        cutter: String,
        /// Stickout.
        stickout: String,
        /// `flutes`, `neck` or `corner`.
        part: &'static str,
        /// Where that part ends above the tip.
        end: String,
    },
    /// The same stickout twice.
    #[error("stickout {stickout} of `{cutter}` stands twice; take one out")]
    RepeatedStickout {
        /// Name of the cutter.
        cutter: String,
        /// Stickout.
        stickout: String,
    },
    /// A name that cannot be printed on a line.
    #[error("a name must be some text on one line, such as name = \"long 1/8 ball\"")]
    BadName,
    /// Two things of one name.
    #[error("two {things} are named `{name}`; give one of them another name")]
    DuplicateName {
        /// `cutters` or `holders`.
        things: &'static str,
        /// The name.
        name: String,
    },
    /// A holder that is not in the shop.
    #[error("no holder is named `{name}`; {}", hint(nearest.as_deref(), known))]
    UnknownHolder {
        /// The name as written.
        name: String,
        /// The holder that it looks like.
        nearest: Option<String>,
        /// All holders.
        known: Vec<String>,
    },
    /// A shop without any cutter.
    #[error("the rack is empty; add a cutter")]
    NoCutter,
    /// A shop without any holder.
    #[error("the shop has no holder; add one, or leave holders out for a plain cylinder")]
    NoHolder,
    /// A holder without sections.
    #[error(
        "holder `{holder}` has no sections; add one, such as {{ diameter = \"20 mm\", height = \"30 mm\" }}"
    )]
    NoSections {
        /// Name of the holder.
        holder: String,
    },
    /// A section that is neither cylinder nor cone, or both.
    #[error(
        "a section takes either diameter (a cylinder) or both lower and upper (a cone); write one of the two"
    )]
    SectionShape,
}

fn hint<S: AsRef<str>>(nearest: Option<&str>, known: &[S]) -> String {
    match nearest {
        Some(nearest) => format!("did you mean `{nearest}`?"),
        None => {
            let known: Vec<_> = known.iter().map(|k| format!("`{}`", k.as_ref())).collect();
            format!("known here: {}", known.join(", "))
        }
    }
}

/// The known word that differs from `word` least, by at most a third of its letters; the first of equals.
pub(super) fn nearest<'a>(word: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let (distance, found) = known
        .into_iter()
        .map(|k| (edit_distance(word, k), k))
        .min_by_key(|&(distance, _)| distance)?;
    (distance * 3 <= word.chars().count().max(3)).then_some(found)
}

/// Letters to insert, remove or replace to turn one word into the other (Levenshtein 1966), case ignored.
fn edit_distance(from: &str, to: &str) -> usize {
    let (from, to) = (from.to_lowercase(), to.to_lowercase());
    let mut row: Vec<usize> = (0..=to.chars().count()).collect();
    for (i, a) in from.chars().enumerate() {
        let mut diagonal = row[0];
        row[0] = i + 1;
        for (j, b) in to.chars().enumerate() {
            let replaced = diagonal + usize::from(a != b);
            diagonal = row[j + 1];
            row[j + 1] = replaced.min(row[j] + 1).min(diagonal + 1);
        }
    }
    row[row.len() - 1]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn edit_distances() {
        // kitten, sitten, sittin, sitting: the textbook's three steps.
        assert_eq!(edit_distance("kitten", "sitting"), 3);
        assert_eq!(edit_distance("", "abc"), 3);
        assert_eq!(edit_distance("abc", ""), 3);
        assert_eq!(edit_distance("Neck", "neck"), 0);
    }

    #[test]
    fn nearest_is_near() {
        let known = ["diameter", "neck", "shank"];
        assert_eq!(nearest("diametre", known), Some("diameter"));
        assert_eq!(nearest("nek", known), Some("neck"));
        assert_eq!(nearest("colour", known), None);
        assert_eq!(nearest("x", known), None);
        assert_eq!(nearest("neck", []), None);
    }
}
