//! The same body in all formats.

use super::read::Facet;
use super::testing::{ascii, ball, binary, block, facets, moved, obj, ply, turned};
use super::*;
use crate::units::Unit;

fn parse(bytes: &[u8]) -> Result<Model, ReadError> {
    from_bytes(bytes, "body", Unit::Mm, &Limits::default())
}

fn refusal(bytes: &[u8]) -> String {
    parse(bytes).unwrap_err().to_string()
}

/// A block with a void: two shells, corners that are no round numbers.
fn hollow() -> Vec<Facet> {
    let void = moved(&turned(&ball(4.0, 8)), [10.1, 9.7, 5.3]);
    facets(&[block([20.0, 20.0, 10.0]), void])
}

#[test]
fn a_body_is_the_same_in_every_format() {
    let facets = hollow();
    let reference = parse(&binary(&facets)).unwrap();
    let mesh = super::testing::threemf_mesh(&facets);
    let model = format!(
        "<?xml version=\"1.0\"?><model unit=\"millimeter\"><resources><object id=\"7\">{mesh}</object></resources>\
         <build><item objectid=\"7\"/></build></model>"
    );
    for (kind, bytes) in [
        ("STL text", ascii(&facets).into_bytes()),
        ("OBJ", obj(&facets).into_bytes()),
        (
            "OBJ, other line ends",
            obj(&facets).replace('\n', "\r\n").into_bytes(),
        ),
        ("PLY text", ply(&facets, "ascii")),
        ("PLY", ply(&facets, "binary_little_endian")),
        ("PLY, large end first", ply(&facets, "binary_big_endian")),
        (
            "3MF",
            super::testing::threemf(&[("3D/3dmodel.model", &model)]),
        ),
    ] {
        let read = parse(&bytes).unwrap_or_else(|error| panic!("{kind}: {error}"));
        assert_eq!(read.bodies.len(), 1, "{kind}");
        assert_eq!(read.bodies[0].mesh, reference.bodies[0].mesh, "{kind}");
        assert_eq!(read.bodies[0].voids, 1, "{kind}");
        assert_eq!(read.rounding, reference.rounding, "{kind}");
        assert!(read.unused.is_empty(), "{kind}: {:?}", read.unused);
    }
}

#[test]
fn faces_with_more_corners_are_cut() {
    // a prism over an L of area 5, height 2
    let l = [[1, 1], [1, 3], [0, 3], [0, 0], [3, 0], [3, 1]];
    let mut text = String::from("g\nmtllib ../../secret.mtl\nusemtl red\n");
    for z in [0, 2] {
        for [x, y] in l {
            text += &format!("v {x} {y} {z} 0.5 0.5 0.5\n");
        }
    }
    text += "vt 0 0\nvn 0 0 1\nl 1 2\nf 6/1/1 5/1/1 4/1/1 \\\n 3/1/1 2/1/1 1/1/1\nf -6 -5 -4 -3 -2 -1\n";
    for k in 0..6 {
        let next = (k + 1) % 6;
        text += &format!("f {} {} {} {}\n", k + 1, next + 1, next + 7, k + 7);
    }
    let model = parse(text.as_bytes()).unwrap();
    assert!(model.bodies[0].health.closed);
    assert!((model.bodies[0].mesh.signed_volume() - 10.0).abs() < 1e-12);
    let told = model.unused.join(" ");
    for word in ["colours", "materials", "loose lines"] {
        assert!(told.contains(word), "{told}");
    }
}

#[test]
fn ply_files_may_hold_more_than_a_shape() {
    let plain = String::from_utf8(ply(&facets(&[block([1.0, 2.0, 3.0])]), "ascii")).unwrap();
    let more = plain
        .replace(
            "property float z\n",
            "property double z\nproperty uchar red\n",
        )
        .replace(
            "vertex_indices\n",
            "vertex_index\nelement edge 1\nproperty int vertex1\n",
        );
    let (head, body) = more.split_once("end_header\n").unwrap();
    let lines: Vec<String> = body
        .lines()
        .enumerate()
        .map(|(k, line)| {
            if k < 8 {
                format!("{line} 255")
            } else {
                line.to_owned()
            }
        })
        .collect();
    let text = format!("{head}end_header\n{}\n0\n", lines.join("\n"));
    let model = parse(text.as_bytes()).unwrap();
    assert_eq!(model.bodies[0].mesh.signed_volume(), 6.0);
    let told = model.unused.join(" ");
    assert!(
        told.contains("colours") && told.contains("`edge`"),
        "{told}"
    );
}

#[test]
fn damaged_files_are_refused_with_a_reason() {
    let cube = facets(&[block([1.0, 2.0, 3.0])]);
    let text = String::from_utf8(ply(&cube, "ascii")).unwrap();
    assert!(
        refusal(text.replace("\n3 0", "\n3 9").as_bytes())
            .contains("names corner 9, and there are 8")
    );
    assert!(refusal(&text.as_bytes()[..text.len() - 9]).contains("PLY file is damaged"));
    let many = text.replace("element face 12", "element face 4000000000");
    assert!(refusal(many.as_bytes()).contains("more than the file has bytes"));
    let short = ply(&cube, "binary_little_endian");
    assert!(refusal(&short[..short.len() - 1]).contains("PLY file is damaged"));
    let text = text.replace("face 12", "tristrips 12");
    assert!(refusal(text.as_bytes()).contains("strips of triangles"));
    let text = obj(&cube);
    assert!(refusal(text.replace("f 1 ", "f 0 ").as_bytes()).contains("OBJ file is damaged"));
    assert!(refusal(text.replace("f 1 ", "f 99 ").as_bytes()).contains("OBJ file is damaged"));
    assert!(refusal(text.replace("v 1 ", "v x ").as_bytes()).contains("OBJ file is damaged"));
    assert!(refusal(text.replace("v 1 ", "v inf ").as_bytes()).contains("not a finite number"));
    assert!(refusal((text + "surf 0 1 0 1 1 2 3\n").as_bytes()).contains("curved surfaces"));
    assert!(refusal(b"v 1 2 3\nv 1 2 4\n").contains("no triangles"));
    assert!(refusal(b"very much like prose\n").contains("some other text"));
}

#[test]
fn limits_hold_for_every_format() {
    let cube = facets(&[block([1.0, 2.0, 3.0])]);
    let few = Limits {
        triangles: 11,
        ..Limits::default()
    };
    let mesh = super::testing::threemf_mesh(&cube);
    let model = format!(
        "<model><resources><object id=\"1\">{mesh}</object></resources><build><item objectid=\"1\"/></build></model>"
    );
    for bytes in [
        obj(&cube).into_bytes(),
        ply(&cube, "ascii"),
        super::testing::threemf(&[("m", &model)]),
    ] {
        let error = from_bytes(&bytes, "body", Unit::Mm, &few).unwrap_err();
        assert!(
            matches!(
                error.fault,
                Fault::TooManyTriangles {
                    count: 12,
                    limit: 11
                }
            ),
            "{error}"
        );
    }
}
