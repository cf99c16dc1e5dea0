//! One HTML file that holds a whole report: no network, style and script inside, pictures and meshes as data.

mod body;
mod data;
mod half;
mod html;

use crate::picture::{Drawing, best_cutter};
use crate::report::Report;
use crate::shop::Shop;
use crate::units::Unit;
use crate::vet::Evidence;
use base64::Engine;
use html::escape;
use sha2::{Digest, Sha256};
use std::io;

const STYLE: &str = include_str!("assets/page.css");
const THREE: &str = include_str!("assets/three.min.js");
const SCRIPT: &str = include_str!("assets/page.js");
/// Licence of the bundled 3D library, kept with it.
const THREE_LICENSE: &str = include_str!("assets/LICENSE-three.txt");

/// Why there is no page.
#[derive(Debug, thiserror::Error)]
pub enum SheetError {
    /// A picture or a mesh that cannot be packed.
    #[error("a picture of the page cannot be packed ({0}); this is a defect of the program")]
    Pack(#[from] io::Error),
    /// Data that cannot be written.
    #[error("the page's data cannot be written ({0}); this is a defect of the program")]
    Json(#[from] serde_json::Error),
}

/// The page for a report, as HTML; `unit` is the one it opens in, the reader may change to the other. The same report and evidence
/// give the same bytes.
///
/// # Errors
/// Only by a defect of the program.
pub fn page(
    report: &Report,
    evidence: &Evidence,
    shop: &Shop,
    unit: Unit,
) -> Result<String, SheetError> {
    let drawing = &Drawing::new(report, evidence, shop);
    page_of(drawing, unit)
}

/// As [`page`], from a drawing that was made for the maps already.
///
/// # Errors
/// As [`page`].
pub fn page_of(drawing: &Drawing, unit: Unit) -> Result<String, SheetError> {
    let Drawing {
        report,
        evidence,
        shop,
        ..
    } = *drawing;
    let wanted: Vec<String> = report.halves.iter().flat_map(shown_in).collect();
    let alone = |key: &str| key.starts_with("part-") || key.starts_with("pair-");
    let wanted = |key: &str| alone(key) || wanted.iter().any(|w| w == key);
    let (pictures, data) = rayon::join(
        || body::Pictures::pack(drawing, wanted),
        || data::data(report, evidence, shop, drawing, unit),
    );
    let (pictures, data) = (pictures?, data?);
    // no `<` in the data: nothing in it can end the element that holds it
    let data = serde_json::to_string(&data)?.replace('<', "\\u003c");
    let script = format!("/*\n{}\n*/\n{THREE}\n{SCRIPT}", THREE_LICENSE.trim());
    let hash = base64::engine::general_purpose::STANDARD.encode(Sha256::digest(script.as_bytes()));
    let mut page =
        String::from("<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n");
    page += &format!(
        "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; img-src data:; \
         style-src 'unsafe-inline'; script-src 'sha256-{hash}'; base-uri 'none'; form-action 'none'\">\n"
    );
    page += "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n";
    page += &format!("<title>{}</title>\n", escape(&body::title(report)));
    page += &format!("<style>\n{STYLE}</style>\n</head>\n<body>\n");
    body::write(&mut page, report, evidence, &pictures, unit);
    page += &format!("<script type=\"application/json\" id=\"data\">{data}</script>\n");
    page += &format!("<script>{script}</script>\n</body>\n</html>\n");
    Ok(page)
}

/// Keys of the maps that stand on the page for a half.
fn shown_in(half: &crate::report::Half) -> Vec<String> {
    let name = half.name.to_lowercase();
    let mut keys: Vec<String> = ["depth", "draft", "hidden", "radius", "wall", "cusp"]
        .iter()
        .map(|k| format!("{name}-{k}"))
        .collect();
    let best = best_cutter(half);
    if let Some(k) = half
        .reach
        .cutters
        .iter()
        .position(|c| Some(c.name.as_str()) == best)
    {
        keys.push(format!("{name}-left-{}", k + 1));
        keys.push(format!("{name}-stickout-{}", k + 1));
    }
    keys
}
