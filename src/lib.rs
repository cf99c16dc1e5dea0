//! Vetting of two-half cavity molds before any toolpath is made: can they be milled with ball-nose end mills on a 3-axis mill, and
//! will the casting come out?
//!
//! A model is read ([`mesh`]), its bodies are set up as halves along their tool axes ([`setup`]) and judged by a shop's cutters
//! and limits ([`vet`]); the answer is plain data ([`report`]). Lengths are millimetres and angles degrees; places are in the
//! model's own coordinates. Every figure carries its ± where it has one, and what lies within it of a limit is
//! [`Unsure`](report::Verdict::Unsure).
//!
//! ```
//! use moldvet::mesh::{Limits, read};
//! use moldvet::report::Verdict;
//! use moldvet::shop::Shop;
//! use moldvet::units::{Unit, parse_length};
//! use moldvet::vet::{CheckConfig, check};
//! use std::path::Path;
//!
//! // half of an invented acorn mold, drawn in inches
//! let file = Path::new("sample-models/acorn-half-inch.stl");
//! let model = read(file, Unit::Inch, &Limits::default())?;
//!
//! let mut shop = Shop::builtin();
//! shop.with_balls(vec![parse_length("1/8in", None)?, parse_length("1/4in", None)?])?;
//! shop.with_stickouts(vec![parse_length("1-1/4in", None)?])?;
//! let config = CheckConfig {
//!     shop,
//!     axis: None,
//!     cell: None,
//!     not_cavity: Vec::new(),
//!     meets: Vec::new(),
//!     fill_density: None,
//! };
//! let report = check(&[model], &config, &|_| {})?;
//!
//! let half = &report.halves[0];
//! assert_eq!(half.undercut.verdict, Verdict::Pass);
//! assert_eq!(half.reach.smallest_ball_needed.as_deref(), Some("1/8in ball"));
//! for finding in &report.findings {
//!     println!("{}: {}", finding.check, finding.message);
//! }
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! [`body`] looks at the part instead of the mold, [`plan`] estimates what milling costs, [`report::compare`] tells two reports
//! apart. [`report::terminal`] and [`report::json`], [`picture`] and [`sheet`] are the report's faces;
//! [`vet::check_with_evidence`] keeps what the last two draw. [`field`] holds the grids, rays and offsets that the figures are
//! made from.

pub mod body;
pub mod field;
pub mod mesh;
pub mod picture;
pub mod plan;
pub mod report;
pub mod setup;
pub mod sheet;
pub mod shop;
pub mod units;
pub mod vet;
