//! Small meshes for tests.

use super::{Mesh, Point, Vector};
use std::f64::consts::PI;

/// A block with one corner at the origin.
pub(crate) fn block(size: [f64; 3]) -> Mesh {
    let corner = |k: usize| {
        Point::from([0, 1, 2].map(|axis| if k >> axis & 1 == 1 { size[axis] } else { 0.0 }))
    };
    // each face counter-clockwise from outside, corners numbered by bits x, y, z
    let faces = [
        [0, 2, 3, 1],
        [4, 5, 7, 6],
        [0, 1, 5, 4],
        [2, 6, 7, 3],
        [0, 4, 6, 2],
        [1, 3, 7, 5],
    ];
    Mesh {
        vertices: (0..8).map(corner).collect(),
        triangles: faces
            .iter()
            .flat_map(|&[a, b, c, d]| [[a, b, c], [a, c, d]])
            .collect(),
    }
}

/// All parts as one mesh, no corner shared between them.
pub(crate) fn joined(parts: &[Mesh]) -> Mesh {
    let mut all = Mesh::default();
    for part in parts {
        let first = all.vertices.len() as u32;
        all.vertices.extend(&part.vertices);
        let triangles = part.triangles.iter().map(|t| t.map(|v| v + first));
        all.triangles.extend(triangles);
    }
    all
}

/// Triangles of three corners each, none shared.
pub(crate) fn soup(corners: &[[f64; 3]]) -> Mesh {
    Mesh {
        vertices: corners.iter().map(|&p| Point::from(p)).collect(),
        triangles: (0..corners.len() as u32 / 3)
            .map(|t| [3 * t, 3 * t + 1, 3 * t + 2])
            .collect(),
    }
}

/// A ball about the origin: `bands` bands from pole to pole, twice as many sectors.
pub(super) fn ball(radius: f64, bands: u32) -> Mesh {
    let sectors = 2 * bands;
    let mut vertices = vec![Point::new(0.0, 0.0, radius)];
    for i in 1..bands {
        let (sin, cos) = (PI * f64::from(i) / f64::from(bands)).sin_cos();
        for j in 0..sectors {
            let (y, x) = (PI * f64::from(j) / f64::from(bands)).sin_cos();
            vertices.push(Point::new(x * sin, y * sin, cos) * radius);
        }
    }
    vertices.push(Point::new(0.0, 0.0, -radius));
    let last = vertices.len() as u32 - 1;
    let at = |i: u32, j: u32| match i {
        0 => 0,
        i if i == bands => last,
        i => 1 + (i - 1) * sectors + j % sectors,
    };
    let mut triangles = Vec::new();
    for i in 0..bands {
        for j in 0..sectors {
            let [a, b, c, d] = [at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)];
            if i + 1 < bands {
                triangles.push([a, b, c]);
            }
            if i > 0 {
                triangles.push([a, c, d]);
            }
        }
    }
    Mesh {
        vertices,
        triangles,
    }
}

/// The same mesh, shifted.
pub(super) fn moved(mesh: &Mesh, by: [f64; 3]) -> Mesh {
    Mesh {
        vertices: mesh.vertices.iter().map(|p| p + Vector::from(by)).collect(),
        triangles: mesh.triangles.clone(),
    }
}

/// The same mesh, inside out.
pub(super) fn turned(mesh: &Mesh) -> Mesh {
    let mut mesh = mesh.clone();
    mesh.triangles.iter_mut().for_each(|t| t.swap(1, 2));
    mesh
}

/// All meshes in one, corners at equal places welded.
pub(super) fn together(meshes: &[Mesh]) -> Mesh {
    super::weld::exact(&facets(meshes), 1.0)
}

/// The corners of all triangles, as a file holds them.
pub(super) fn facets(meshes: &[Mesh]) -> Vec<super::read::Facet> {
    let corner = |p: Point| [p.x, p.y, p.z].map(|x| x as f32);
    let of = |mesh: &Mesh| {
        (0..mesh.triangles.len())
            .map(|t| mesh.corners(t).map(corner))
            .collect()
    };
    meshes
        .iter()
        .flat_map(|mesh| -> Vec<_> { of(mesh) })
        .collect()
}

/// Binary STL.
pub(super) fn binary(facets: &[super::read::Facet]) -> Vec<u8> {
    let mut bytes = vec![b' '; 80];
    bytes.extend((facets.len() as u32).to_le_bytes());
    for facet in facets {
        bytes.extend([0; 12]);
        bytes.extend(facet.as_flattened().iter().flat_map(|x| x.to_le_bytes()));
        bytes.extend([0; 2]);
    }
    bytes
}

/// ASCII STL, numbers in full.
pub(super) fn ascii(facets: &[super::read::Facet]) -> String {
    let mut text = String::from("solid half\n");
    for facet in facets {
        text += "facet normal 0 0 0\n outer loop\n";
        for [x, y, z] in facet {
            text += &format!("  vertex {x:e} {y:e} {z:e}\n");
        }
        text += " endloop\nendfacet\n";
    }
    text + "endsolid half\n"
}

/// The corners of all facets, each once, and three numbers of corners a facet.
fn indexed(facets: &[super::read::Facet]) -> (Vec<[f32; 3]>, Vec<[u32; 3]>) {
    let mesh = super::weld::exact(facets, 1.0);
    let corner = |p: &Point| [p.x, p.y, p.z].map(|x| x as f32);
    (mesh.vertices.iter().map(corner).collect(), mesh.triangles)
}

/// OBJ.
pub(super) fn obj(facets: &[super::read::Facet]) -> String {
    let (corners, faces) = indexed(facets);
    let mut text = String::from("# invented\no half\n");
    for [x, y, z] in corners {
        text += &format!("v {x} {y} {z}\n");
    }
    for [a, b, c] in faces {
        text += &format!("f {} {} {}\n", a + 1, b + 1, c + 1);
    }
    text
}

/// PLY: text, or binary with the large or the small end first.
pub(super) fn ply(facets: &[super::read::Facet], form: &str) -> Vec<u8> {
    let (corners, faces) = indexed(facets);
    let mut bytes = format!(
        "ply\nformat {form} 1.0\ncomment invented\nelement vertex {}\nproperty float x\nproperty float y\n\
         property float z\nelement face {}\nproperty list uchar int vertex_indices\nend_header\n",
        corners.len(),
        faces.len()
    )
    .into_bytes();
    for corner in corners {
        match form {
            "ascii" => bytes.extend(format!("{} {} {}\n", corner[0], corner[1], corner[2]).bytes()),
            "binary_big_endian" => bytes.extend(corner.iter().flat_map(|x| x.to_be_bytes())),
            _ => bytes.extend(corner.iter().flat_map(|x| x.to_le_bytes())),
        }
    }
    for face in faces {
        match form {
            "ascii" => bytes.extend(format!("3 {} {} {}\n", face[0], face[1], face[2]).bytes()),
            "binary_big_endian" => {
                bytes.push(3);
                bytes.extend(face.iter().flat_map(|v| v.to_be_bytes()));
            }
            _ => {
                bytes.push(3);
                bytes.extend(face.iter().flat_map(|v| v.to_le_bytes()));
            }
        }
    }
    bytes
}

/// The `mesh` element of a 3MF object.
pub(super) fn threemf_mesh(facets: &[super::read::Facet]) -> String {
    let (corners, faces) = indexed(facets);
    let mut text = String::from("<mesh><vertices>");
    for [x, y, z] in corners {
        text += &format!("<vertex x=\"{x}\" y=\"{y}\" z=\"{z}\"/>");
    }
    text += "</vertices><triangles>";
    for [a, b, c] in faces {
        text += &format!("<triangle v1=\"{a}\" v2=\"{b}\" v3=\"{c}\"/>");
    }
    text + "</triangles></mesh>"
}

/// A 3MF archive with these parts, the first of which is the model.
pub(super) fn threemf(parts: &[(&str, &str)]) -> Vec<u8> {
    use std::io::Write;
    let mut archive = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    let relations = format!(
        "<Relationships><Relationship Target=\"/{}\" Id=\"r\" Type=\"http://example.org/3dmodel\"/></Relationships>",
        parts[0].0
    );
    for (name, text) in [("_rels/.rels", relations.as_str())].iter().chain(parts) {
        let options = zip::write::SimpleFileOptions::default();
        archive.start_file(*name, options).unwrap();
        archive.write_all(text.as_bytes()).unwrap();
    }
    archive.finish().unwrap().into_inner()
}
