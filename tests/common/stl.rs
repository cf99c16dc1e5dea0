//! Facets, binary STL, and solids of flat faces.

/// A triangle as a file holds it.
pub type Facet = [[f32; 3]; 3];

/// Binary STL of the facets, stored normals zero.
pub fn binary_stl(facets: &[Facet]) -> Vec<u8> {
    let mut bytes = vec![b' '; 80];
    bytes.extend((facets.len() as u32).to_le_bytes());
    for facet in facets {
        bytes.extend([0; 12]);
        bytes.extend(facet.as_flattened().iter().flat_map(|c| c.to_le_bytes()));
        bytes.extend([0; 2]);
    }
    bytes
}

/// The facets of a binary STL.
pub fn facets_of(bytes: &[u8]) -> Vec<Facet> {
    let number = |b: &[u8], k: usize| f32::from_le_bytes(b[4 * k..4 * k + 4].try_into().unwrap());
    let records = bytes.get(84..).unwrap_or(&[]).chunks_exact(50);
    records
        .map(|b| [0, 1, 2].map(|c| [0, 1, 2].map(|k| number(b, 3 + 3 * c + k))))
        .collect()
}

/// The corners of a rectangle 2x × 2y about the Z axis at height z, counter-clockwise from above.
pub fn ring(x: f32, y: f32, z: f32) -> [[f32; 3]; 4] {
    [[-x, -y, z], [x, -y, z], [x, y, z], [-x, y, z]]
}

/// Rings of four corners joined from the first to the last, closed at both ends; outside if they go up counter-clockwise.
pub fn tower(rings: &[[[f32; 3]; 4]]) -> Vec<Facet> {
    let mut facets = Vec::new();
    let mut quad = |[a, b, c, d]: [[f32; 3]; 4]| facets.extend([[a, b, c], [a, c, d]]);
    for (low, high) in rings.iter().zip(&rings[1..]) {
        for k in 0..4 {
            let next = (k + 1) % 4;
            quad([low[k], low[next], high[next], high[k]]);
        }
    }
    let (first, last) = (rings[0], rings[rings.len() - 1]);
    quad([first[0], first[3], first[2], first[1]]);
    quad(last);
    facets
}

/// A block 100 × 80 × 30 with a pocket 60 × 40, 20 deep, open to +Z, times `scale`.
pub fn pocket(scale: f32) -> Vec<Facet> {
    let ring = |x: f32, y: f32, z: f32| ring(scale * x, scale * y, scale * z);
    tower(&[
        ring(50.0, 40.0, 0.0),
        ring(50.0, 40.0, 30.0),
        ring(30.0, 20.0, 30.0),
        ring(30.0, 20.0, 10.0),
    ])
}
