//! What several of the tests need: the checked-in models, figures held against what is true, binary STL.

mod stl;

use moldvet::mesh::{self, Model};
use moldvet::report::Report;
use moldvet::shop::Shop;
use moldvet::units::Unit;
use moldvet::vet::{CheckConfig, check};
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
pub use stl::*;

/// A checked-in file.
pub fn data(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data")
        .join(name)
}

/// Reads a model that must be readable.
pub fn model(path: &Path, unit: Unit) -> Model {
    mesh::read(path, unit, &mesh::Limits::default()).unwrap_or_else(|e| panic!("{e}"))
}

/// A model of facets that must be sound enough to read.
pub fn model_of(facets: &[Facet], unit: Unit) -> Model {
    mesh::from_bytes(
        &binary_stl(facets),
        "test.stl",
        unit,
        &mesh::Limits::default(),
    )
    .unwrap_or_else(|e| panic!("{e}"))
}

/// A rack of these balls, mm, nothing else known of them, and default limits.
pub fn balls(diameters: &[f64]) -> CheckConfig {
    let mut shop = Shop::builtin();
    shop.with_balls(diameters.to_vec()).unwrap();
    CheckConfig {
        shop,
        axis: None,
        cell: None,
        not_cavity: Vec::new(),
        meets: Vec::new(),
        fill_density: None,
    }
}

/// The report on models that must be checkable.
pub fn report(models: &[Model], config: &CheckConfig) -> Report {
    check(models, config, &|_| {}).unwrap_or_else(|e| panic!("{e}"))
}

/// What a line of the shell does in `folder`; `$0` is the program.
pub fn shell(folder: &Path, line: &str) -> Output {
    Command::new("sh")
        .args(["-c", line, env!("CARGO_BIN_EXE_moldvet")])
        .current_dir(folder)
        .output()
        .unwrap()
}

/// Figures that differ from what is true, so that a failing test names all of them.
#[derive(Default)]
pub struct Differences(Vec<String>);

impl Differences {
    /// A figure within `tolerance` of `truth`.
    pub fn close(&mut self, what: &str, found: impl Into<Option<f64>>, truth: f64, tolerance: f64) {
        let found: Option<f64> = found.into();
        if !found.is_some_and(|v| (v - truth).abs() <= tolerance) {
            let found = found.map_or("none".to_owned(), |v| format!("{v:.6}"));
            self.0.push(format!(
                "{what}: {found}, true is {truth} ± {tolerance:.2e}"
            ));
        }
    }

    /// Something that must hold.
    pub fn holds(&mut self, condition: bool, what: impl FnOnce() -> String) {
        if !condition {
            self.0.push(what());
        }
    }

    /// Fails the test where anything differs.
    pub fn none(self, of: &str) {
        assert!(self.0.is_empty(), "{of}:\n  {}", self.0.join("\n  "));
    }
}
