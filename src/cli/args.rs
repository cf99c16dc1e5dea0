//! The arguments as they are typed. Nothing is judged here but their form: see [`super::config`].

use clap::builder::{NonEmptyStringValueParser, RangedU64ValueParser};
use clap::error::ErrorKind;
use clap::{ColorChoice, Parser, Subcommand};
use moldvet::mesh::MOST_TRIANGLES;
use std::path::PathBuf;

/// Tells, before any toolpath is made, whether a two-half cavity mold can be milled with ball-nose end
/// mills on a 3-axis mill, and whether the casting will come out.
#[derive(Debug, Parser)]
#[command(name = "moldvet", version, color = ColorChoice::Never, max_term_width = 80)]
pub struct Args {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// What to do.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Check one or both halves of a mold
    ///
    /// Tells what the tool axis cannot see, where draft is missing, which cutter clears and what the
    /// others leave, how deep each tool length gets, and whether two halves close.
    Check(Box<CheckArgs>),
    /// Look at the model of the part to be molded, not of the mold
    ///
    /// Finds the direction to pull it in and the parting line, makes the two halves that a flat-parted mold would have, and
    /// checks them like a real mold.
    Body(Box<BodyArgs>),
    /// Estimate what milling a mold will cost: cutter set, time, passes, stickouts
    ///
    /// Planning before toolpaths: which cutters in which order and how far out, at which step and direction, how
    /// long, and what surface. Estimates only; no toolpaths are made.
    Plan(Box<PlanArgs>),
    /// Compare a mold before and after a change: what got better, worse, or moved
    ///
    /// Takes two reports written with --json, or two models, which it checks. A figure counts as changed only
    /// when it differs by more than the uncertainty of both.
    Compare(Box<CompareArgs>),
}

const COMPARE_HELP: &str = "\
Two models are both checked by the same rules, which the options above set; reports hold theirs already.

Example: what a customer's new drawing of one half does to the findings
  moldvet compare --units mm --ball 6mm --stickout 40mm base-1.stl base-2.stl

Exit status: 0 no verdict got worse and nothing fails in the new one, 1 one did or something fails, 2 wrong use or a file that cannot be read.";

/// Arguments of `moldvet compare`, as typed.
#[derive(Debug, clap::Args)]
#[command(override_usage = "moldvet compare [OPTIONS] OLD NEW", after_help = COMPARE_HELP)]
pub struct CompareArgs {
    /// The mold as it was: a report (JSON) or a model
    #[arg(value_name = "OLD")]
    pub old: PathBuf,
    /// The mold as it is now: a report (JSON) or a model
    #[arg(value_name = "NEW")]
    pub new: PathBuf,
    /// Print nothing but errors: the exit status tells
    #[arg(long, help_heading = OUTPUT)]
    pub quiet: bool,

    /// What models are judged by.
    #[command(flatten)]
    pub judge: JudgeArgs,
}

const AFTER_HELP: &str = "\
Lengths may be written 1/8in, 0.125\", 3.175mm or 3.175; a bare number is in the unit of --units.

Example: one half drawn in inches, two balls that both stick out 2 inches
  moldvet check --units inch --ball 1/8in --ball 1/4in --stickout 2in base.stl

Exit status: 0 nothing failed, 1 something failed, 2 wrong use or a file that cannot be read.";

const BODY_AFTER_HELP: &str = "\
Lengths may be written 1/8in, 0.125\", 3.175mm or 3.175; a bare number is in the unit of --units.

Example: a bought model in mm, enlarged for a wax that shrinks, its halves written beside it
  moldvet body --units mm --shrink 1.2% --write-halves candle candle.stl

Exit status: 0 nothing failed, 1 something failed, 2 wrong use or a file that cannot be read.";

/// Arguments of `moldvet check`, as typed.
#[derive(Debug, clap::Args)]
#[command(override_usage = "moldvet check [OPTIONS] MODEL [MODEL]", after_help = AFTER_HELP)]
pub struct CheckArgs {
    /// The mold.
    #[command(flatten)]
    pub mold: MoldArgs,
    /// Estimate as well what it will cost, as `moldvet plan` does
    #[arg(long, help_heading = OUTPUT)]
    pub plan: bool,

    /// What the mold is judged by.
    #[command(flatten)]
    pub judge: JudgeArgs,

    /// Where the report goes.
    #[command(flatten)]
    pub report: ReportArgs,
    /// What is drawn.
    #[command(flatten)]
    pub pictures: PictureArgs,
}

/// Arguments of `moldvet body`, as typed.
#[derive(Debug, clap::Args)]
#[command(override_usage = "moldvet body [OPTIONS] MODEL", after_help = BODY_AFTER_HELP)]
pub struct BodyArgs {
    /// STL, 3MF, OBJ or PLY file with the part
    #[arg(value_name = "MODEL")]
    pub model: PathBuf,

    /// Direction to pull along and against, such as +z, -y or 0,0.6,0.8 [default: the best is found]
    #[arg(long, value_name = "DIRECTION", allow_hyphen_values = true, help_heading = BODY)]
    pub pull: Option<String>,
    /// Flat parting level, along the pull from the model's origin [default: the best is found]
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true, help_heading = BODY)]
    pub level: Option<String>,
    /// Enlarge the part by this factor
    #[arg(long, value_name = "FACTOR", allow_negative_numbers = true, help_heading = BODY)]
    pub scale: Option<String>,
    /// Enlarge the part by what the casting shrinks, such as 1.2%; the cavity is the part times 1 + shrink
    #[arg(long, value_name = "PERCENT", allow_negative_numbers = true, help_heading = BODY)]
    pub shrink: Option<String>,
    /// Block around the part on all sides [default: 10 mm]
    #[arg(long, value_name = "LENGTH", allow_negative_numbers = true, help_heading = BODY)]
    pub margin: Option<String>,
    /// Write the two halves as STL files, in mm, into this folder, or with this before `-lower.stl` and `-upper.stl`
    #[arg(long, value_name = "FOLDER|PREFIX", value_parser = NonEmptyStringValueParser::new(), help_heading = BODY)]
    pub write_halves: Option<String>,

    /// What the halves are judged by.
    #[command(flatten)]
    pub judge: JudgeArgs,

    /// Where the report goes.
    #[command(flatten)]
    pub report: ReportArgs,
    /// What is drawn.
    #[command(flatten)]
    pub pictures: PictureArgs,
}

/// Where the report goes.
#[derive(Debug, Default, clap::Args)]
pub struct ReportArgs {
    /// Write the report as JSON to this file, or to standard output in place of the text for `-`
    #[arg(long, value_name = "FILE|-", value_parser = NonEmptyStringValueParser::new(), help_heading = OUTPUT)]
    pub json: Option<String>,
    /// Print nothing but errors: the exit status tells
    #[arg(long, help_heading = OUTPUT)]
    pub quiet: bool,
}

/// What is drawn.
#[derive(Debug, clap::Args)]
pub struct PictureArgs {
    /// Write one HTML file to look at, print and send: figures, maps, and the halves to turn around; needs no network
    #[arg(long, value_name = "FILE", value_parser = NonEmptyStringValueParser::new(), help_heading = OUTPUT)]
    pub html: Option<String>,
    /// Write maps of the plan and sections as PNG into this folder, which is made if it is not there
    #[arg(long, value_name = "DIR", value_parser = NonEmptyStringValueParser::new(), help_heading = OUTPUT)]
    pub maps: Option<String>,
}

/// The mold that is given.
#[derive(Debug, clap::Args)]
pub struct MoldArgs {
    /// STL, 3MF, OBJ or PLY file with a mold half, or with both; two files for a half each
    #[arg(value_name = "MODEL", required = true, num_args = 1..=2)]
    pub models: Vec<PathBuf>,

    /// Direction from the cavity to the spindle, such as +z, -y or 0,0.6,0.8 [default: found from the model]
    #[arg(long, value_name = "DIRECTION", allow_hyphen_values = true, help_heading = MODEL)]
    pub axis: Option<String>,
    /// Take out the hollow at this place, seen from above, in the model's own X and Y (repeatable)
    #[arg(long, value_name = "X,Y", allow_hyphen_values = true, help_heading = MODEL)]
    pub not_cavity: Vec<String>,
    /// A place of half A and the place of half B that comes on it when the mold closes, as the report tells places;
    /// twice to give the way round as well [default: as the halves stand, or found]
    #[arg(long, value_name = "X,Y,Z=X,Y,Z", allow_hyphen_values = true, help_heading = MODEL)]
    pub meet: Vec<String>,
}

/// What a mold is judged by, whether given or made from a body.
#[derive(Debug, clap::Args)]
pub struct JudgeArgs {
    /// What every command on models goes by.
    #[command(flatten)]
    pub common: CommonArgs,

    /// Density of what is filled in, such as 0.96g/cm3, for its weight
    #[arg(long, value_name = "DENSITY", allow_negative_numbers = true, help_heading = MODEL)]
    pub fill_density: Option<String>,

    /// Draft that every wall shall have, in degrees [default: 1]
    #[arg(long, value_name = "ANGLE", allow_negative_numbers = true, help_heading = LIMITS)]
    pub draft: Option<String>,
    /// Tallest wall with less draft than that which you let pass [default: 1 mm]
    #[arg(long, value_name = "LENGTH", allow_negative_numbers = true, help_heading = LIMITS)]
    pub wall: Option<String>,
    /// Undercut that the casting bends around, as a soft one does [default: 0 mm]
    #[arg(long, value_name = "LENGTH", allow_negative_numbers = true, help_heading = LIMITS)]
    pub forgive: Option<String>,

    /// Closed halves touch at the parting line where they are no further apart than this [default: 0.05 mm]
    #[arg(long, value_name = "LENGTH", allow_negative_numbers = true, help_heading = FINE)]
    pub contact: Option<String>,
    /// Patches of wall smaller than this do not set the least draft; a bare number is mm² [default: 0.5 mm²]
    #[arg(long, value_name = "AREA", allow_negative_numbers = true, help_heading = FINE)]
    pub draft_min_area: Option<String>,
}

/// What every command on models goes by.
#[derive(Debug, clap::Args)]
pub struct CommonArgs {
    /// Unit in which the models are drawn: mm or inch (only 3MF files say; a shop file may)
    #[arg(long, value_name = "mm|inch", help_heading = MODEL)]
    pub units: Option<String>,

    /// Shop file with your cutters, holders, machine, materials and limits [default: a built-in rack of balls]
    #[arg(long, value_name = "FILE", help_heading = TOOLS)]
    pub shop: Option<PathBuf>,
    /// Ball-nose cutter of this diameter; takes the place of the whole rack (repeatable)
    #[arg(long, value_name = "SIZE", allow_negative_numbers = true, help_heading = TOOLS)]
    pub ball: Vec<String>,
    /// Stickout from tip to holder face, tried with every cutter (repeatable)
    #[arg(long, value_name = "LENGTH", allow_negative_numbers = true, help_heading = TOOLS)]
    pub stickout: Vec<String>,
    /// Distance that shank and holder keep from the walls [default: shank 0.2 mm, holder 1 mm]
    #[arg(long, value_name = "LENGTH", allow_negative_numbers = true, help_heading = TOOLS)]
    pub clearance: Option<String>,

    /// Height of material that a cutter may leave, square to the surface [default: 0.02 mm]
    #[arg(long, value_name = "LENGTH", allow_negative_numbers = true, help_heading = LIMITS)]
    pub leave: Option<String>,

    /// Facets that meet at less than this angle are one curved surface, not an edge, in degrees [default: 30]
    #[arg(long, value_name = "ANGLE", allow_negative_numbers = true, help_heading = FINE)]
    pub crease: Option<String>,
    /// Distance between the lines along which the model is looked at; finer is surer and slower
    /// [default: found from the model]
    #[arg(long, value_name = "LENGTH", allow_negative_numbers = true, help_heading = FINE)]
    pub cell: Option<String>,
    /// Processor threads to use; no figure depends on it [default: all]
    #[arg(long, value_name = "N", value_parser = RangedU64ValueParser::<usize>::new().range(1..=1024), help_heading = FINE)]
    pub threads: Option<usize>,
    /// Refuse a model of more triangles than this [default: 50000000]
    #[arg(long, value_name = "N", value_parser = RangedU64ValueParser::<u64>::new().range(1..=MOST_TRIANGLES), help_heading = FINE)]
    pub max_triangles: Option<u64>,
    /// Refuse work that would take more memory than this, such as 4GiB [default: half of what is free]
    #[arg(long, value_name = "SIZE", allow_negative_numbers = true, help_heading = FINE)]
    pub memory: Option<String>,
    /// Give up, with nothing written, when the work is not done in this time, such as 90s, 10min or 1h [default: none]
    #[arg(long, value_name = "TIME", allow_negative_numbers = true, help_heading = FINE)]
    pub time_limit: Option<String>,
}

const AFTER_PLAN: &str = "\
Lengths may be written 1/8in, 0.125\", 3.175mm or 3.175; a bare number is in the unit of --units.
The machine, materials, chip loads and side load stand in the shop file; what it leaves out is common practice.

Example: passes of the rack's balls for a cusp of 5 µm in steel
  moldvet plan --units mm --shop shop.toml --cusp 5um --material steel mold.stl

Exit status: 0 planned, 2 wrong use or a file that cannot be read.";

/// Arguments of `moldvet plan`, as typed.
#[derive(Debug, clap::Args)]
#[command(override_usage = "moldvet plan [OPTIONS] MODEL [MODEL]", after_help = AFTER_PLAN)]
pub struct PlanArgs {
    /// The mold.
    #[command(flatten)]
    pub mold: MoldArgs,

    /// Height of cusps that finishing may leave [default: 0.01 mm]
    #[arg(long, value_name = "LENGTH", allow_negative_numbers = true, help_heading = PASSES)]
    pub cusp: Option<String>,
    /// Judge passes in this direction, in degrees from X, seen from the spindle [default: the best]
    #[arg(long, value_name = "ANGLE", allow_negative_numbers = true, help_heading = PASSES)]
    pub direction: Option<String>,
    /// Judge passes this far apart, seen from above [default: by the cusp height]
    #[arg(long, value_name = "LENGTH", allow_negative_numbers = true, help_heading = PASSES)]
    pub step: Option<String>,
    /// What is cut: a row of the shop file, or aluminium, brass, steel, tooling board [default: aluminium]
    #[arg(long, value_name = "NAME", help_heading = PASSES)]
    pub material: Option<String>,

    /// What every command on models goes by.
    #[command(flatten)]
    pub common: CommonArgs,

    /// Where the report goes.
    #[command(flatten)]
    pub report: ReportArgs,
}

impl JudgeArgs {
    /// The first option typed that a report has settled already.
    pub fn judges(&self) -> Option<&'static str> {
        let common = &self.common;
        let typed = [
            ("--fill-density", self.fill_density.is_some()),
            ("--shop", common.shop.is_some()),
            ("--ball", !common.ball.is_empty()),
            ("--stickout", !common.stickout.is_empty()),
            ("--clearance", common.clearance.is_some()),
            ("--leave", common.leave.is_some()),
            ("--draft", self.draft.is_some()),
            ("--wall", self.wall.is_some()),
            ("--forgive", self.forgive.is_some()),
            ("--crease", common.crease.is_some()),
            ("--contact", self.contact.is_some()),
            ("--draft-min-area", self.draft_min_area.is_some()),
            ("--cell", common.cell.is_some()),
        ];
        let mut typed = typed.iter().filter(|(_, typed)| *typed);
        typed.next().map(|(name, _)| *name)
    }
}

const MODEL: &str = "The model";
const BODY: &str = "The part and its mold";
const TOOLS: &str = "Cutters and tool lengths";
const LIMITS: &str = "What shall hold";
const PASSES: &str = "What is wanted";
const FINE: &str = "Fine points";
const OUTPUT: &str = "Output";

/// Whether `error` is no error but a page of help, be it for want of any argument.
pub fn is_help(error: &clap::Error) -> bool {
    error.kind() == ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand
}

/// A usage error as one sentence.
pub fn sentence(error: &clap::Error) -> String {
    let text = error.to_string();
    let told_of = |command: &&str| text.contains(&format!("Usage: moldvet {command}"));
    let command = ["body", "compare", "plan"]
        .into_iter()
        .find(told_of)
        .unwrap_or("check");
    let told = text.split("Usage:").next().unwrap_or(&text);
    let told = told.split("For more information").next().unwrap_or(told);
    let told = told.trim().trim_start_matches("error:").trim();
    let parts: Vec<String> = told
        .split("\n\n")
        .map(|part| part.split_whitespace().collect::<Vec<_>>().join(" "))
        .filter(|part| !part.is_empty())
        .collect();
    format!("{}; see `moldvet {command} --help`", parts.join("; "))
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;
    use moldvet::shop::Limits;

    #[test]
    fn the_arguments_are_consistent() {
        Args::command().debug_assert();
    }

    #[test]
    fn help_states_the_limits_in_force() {
        let limits = Limits::default();
        let command = Args::command();
        let check = command.find_subcommand("check").unwrap();
        let stated = [
            ("leave", format!("[default: {} mm]", limits.leave)),
            ("draft", format!("[default: {}]", limits.draft_deg)),
            ("wall", format!("[default: {} mm]", limits.wall)),
            ("forgive", format!("[default: {} mm]", limits.forgive)),
            ("crease", format!("[default: {}]", limits.crease_deg)),
            ("contact", format!("[default: {} mm]", limits.contact)),
            (
                "draft_min_area",
                format!("[default: {} mm²]", limits.draft_min_area),
            ),
            (
                "clearance",
                format!(
                    "[default: shank {} mm, holder {} mm]",
                    limits.shank_clearance, limits.holder_clearance
                ),
            ),
        ];
        let triangles = moldvet::mesh::Limits::default().triangles;
        let most = ("max_triangles", format!("[default: {triangles}]"));
        for (id, default) in stated.into_iter().chain([most]) {
            let option = check
                .get_arguments()
                .find(|arg| arg.get_id() == id)
                .unwrap();
            let help = option.get_help().unwrap().to_string();
            assert!(help.contains(&default), "{id}: {help}");
        }
    }

    #[test]
    fn a_usage_error_is_one_sentence() {
        let told = |line: &[&str]| sentence(&Args::try_parse_from(line).unwrap_err());
        let unknown = told(&["moldvet", "check", "--forgve", "1", "a.stl"]);
        assert!(
            unknown.starts_with("unexpected argument '--forgve' found; tip: "),
            "{unknown}"
        );
        assert!(unknown.ends_with("; see `moldvet check --help`") && !unknown.contains('\n'));
        let none = told(&["moldvet", "check", "--quiet"]);
        assert!(
            none.starts_with("the following required arguments were not provided: <MODEL>"),
            "{none}"
        );
    }

    #[test]
    fn directions_and_places_may_begin_with_a_minus() {
        let line = [
            "moldvet",
            "check",
            "--axis",
            "-z",
            "--not-cavity",
            "-3,1/2in",
            "a.stl",
        ];
        let Command::Check(args) = Args::try_parse_from(line).unwrap().command else {
            panic!("another command");
        };
        assert_eq!(args.mold.axis.as_deref(), Some("-z"));
        assert_eq!(args.mold.not_cavity, ["-3,1/2in"]);
        assert_eq!(args.mold.models.len(), 1);
    }
}
