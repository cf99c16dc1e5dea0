//! The same half in four formats: the same report.

use serde_json::Value;
use std::collections::BTreeMap;
use std::fs;
use std::io::{Cursor, Write};
use std::path::Path;
use std::process::{Command, Stdio};

/// An indexed mesh of a block of 30 x 24 x 12 with a square pocket in its top, walls leaning out.
fn pocket() -> (Vec<[f32; 3]>, Vec<[usize; 3]>) {
    let square = |x: f32, y: f32, z: f32| [[-x, -y, z], [x, -y, z], [x, y, z], [-x, y, z]];
    let rings = [
        square(15.0, 12.0, -12.0),
        square(15.0, 12.0, 0.0),
        square(8.1, 6.1, 0.0),
        square(7.3, 5.3, -5.1),
    ];
    let mut faces = Vec::new();
    let mut quad = |[a, b, c, d]: [usize; 4]| faces.extend([[a, b, c], [a, c, d]]);
    for ring in 0..3 {
        for k in 0..4 {
            let next = (k + 1) % 4;
            quad([
                4 * ring + k,
                4 * ring + next,
                4 * ring + 4 + next,
                4 * ring + 4 + k,
            ]);
        }
    }
    quad([3, 2, 1, 0]);
    quad([12, 13, 14, 15]);
    (rings.concat(), faces)
}

fn written(folder: &Path) -> [&'static str; 4] {
    let (places, faces) = pocket();
    let mut stl = vec![b' '; 80];
    stl.extend((faces.len() as u32).to_le_bytes());
    let mut obj = String::new();
    let mut ply = format!(
        "ply\nformat ascii 1.0\nelement vertex {}\nproperty float x\nproperty float y\nproperty float z\n\
         element face {}\nproperty list uchar uint vertex_indices\nend_header\n",
        places.len(),
        faces.len()
    );
    let mut mesh = String::from("<mesh><vertices>");
    for [x, y, z] in &places {
        obj += &format!("v {x} {y} {z}\n");
        ply += &format!("{x} {y} {z}\n");
        mesh += &format!("<vertex x=\"{x}\" y=\"{y}\" z=\"{z}\"/>");
    }
    mesh += "</vertices><triangles>";
    for face in &faces {
        let [a, b, c] = *face;
        stl.extend([0; 12]);
        let corners = face.iter().flat_map(|&v| places[v]);
        stl.extend(corners.flat_map(f32::to_le_bytes));
        stl.extend([0; 2]);
        obj += &format!("f {} {} {}\n", a + 1, b + 1, c + 1);
        ply += &format!("3 {a} {b} {c}\n");
        mesh += &format!("<triangle v1=\"{a}\" v2=\"{b}\" v3=\"{c}\"/>");
    }
    let model = format!(
        "<model unit=\"inch\"><resources><object id=\"1\">{mesh}</triangles></mesh></object></resources>\
         <build><item objectid=\"1\"/></build></model>"
    );
    let relations = "<Relationships><Relationship Id=\"r\" Target=\"/3D/3dmodel.model\" \
                     Type=\"http://example.org/3dmodel\"/></Relationships>";
    let mut archive = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (name, text) in [("_rels/.rels", relations), ("3D/3dmodel.model", &model)] {
        archive
            .start_file(name, zip::write::SimpleFileOptions::default())
            .unwrap();
        archive.write_all(text.as_bytes()).unwrap();
    }
    // names that say nothing: the content tells
    fs::write(folder.join("a"), stl).unwrap();
    fs::write(folder.join("b"), obj).unwrap();
    fs::write(folder.join("c"), ply).unwrap();
    fs::write(folder.join("d"), archive.finish().unwrap().into_inner()).unwrap();
    ["a", "b", "c", "d"]
}

fn check(folder: &Path, name: &str, units: &[&str]) -> (Option<i32>, String, String) {
    let output = Command::new(env!("CARGO_BIN_EXE_moldvet"))
        .args([
            "check",
            "--ball",
            "6mm",
            "--stickout",
            "40mm",
            "--cell",
            "2mm",
            "--json",
            "-",
            name,
        ])
        .args(units)
        .current_dir(folder)
        .stdin(Stdio::null())
        .output()
        .unwrap();
    let text = |bytes| String::from_utf8(bytes).unwrap();
    (
        output.status.code(),
        text(output.stdout),
        text(output.stderr),
    )
}

#[test]
fn a_half_gives_the_same_figures_in_every_format() {
    let folder = tempfile::tempdir().unwrap();
    let mut reports = BTreeMap::new();
    for name in written(folder.path()) {
        // the 3MF file states inches itself
        let (status, report, told) = check(folder.path(), name, &["--units", "inch"]);
        assert!(status == Some(0) || status == Some(1), "{name}: {told}");
        let mut report: Value = serde_json::from_str(&report).unwrap();
        assert_eq!(report["halves"][0]["file"], name);
        report["halves"][0]["file"] = "".into();
        reports.insert(name, report);
    }
    // a frustum of 16.2 x 12.2 above and 14.6 x 10.6 below, 5.1 deep: 5.1 / 6 (above + below + 4 times the middle)
    let inches = 5.1 / 6.0 * (16.2 * 12.2 + 14.6 * 10.6 + 4.0 * 15.4 * 11.4);
    let volume = reports["a"]["halves"][0]["cavity"]["volume_mm3"]
        .as_f64()
        .unwrap();
    assert!(
        (volume / (inches * 25.4f64.powi(3)) - 1.0).abs() < 1e-5,
        "{volume}"
    );
    for name in ["b", "c", "d"] {
        assert_eq!(reports[name], reports["a"], "{name}");
    }
}

#[test]
fn only_a_file_that_states_its_unit_needs_none() {
    let folder = tempfile::tempdir().unwrap();
    for name in written(folder.path()) {
        let (status, _, told) = check(folder.path(), name, &[]);
        if name == "d" {
            assert_ne!(status, Some(2), "{told}");
        } else {
            assert_eq!(status, Some(2), "{name}");
            assert!(told.contains("does not say in which unit"), "{told}");
        }
    }
}

#[test]
fn another_unit_than_the_file_states_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    written(folder.path());
    let (status, _, told) = check(folder.path(), "d", &["--units", "mm"]);
    assert_eq!(status, Some(2), "{told}");
    assert!(
        told.contains("d says itself that its unit is 25.4 mm long")
            && told.contains("leave --units out")
            && told.trim_end().lines().count() == 1,
        "{told}"
    );
}
