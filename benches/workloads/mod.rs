//! Large molds of closed form for measuring speed: one half, 100 × 100 × 30 mm, with a free-form
//! cavity of drafted walls, up to 17.8 mm deep, smallest concave radius 2.3 mm. All sizes are invented.
//!
//! The cavity is the height field `-floor(x, y) · wall(r)` inside a circle. Rows of the mesh run along
//! circles there and pass over into the block's square outside, so the rim of the mesh lies on the true rim.

use std::io::{self, Write};

/// Side of the block at size 1, mm.
pub const SIDE_MM: f64 = 100.0;
/// Radius of the cavity's rim at size 1, mm.
pub const RIM_MM: f64 = 40.0;
/// Thickness of the half at size 1, mm.
pub const THICKNESS_MM: f64 = 30.0;
/// Distance from the rim within which a wall comes down to 1 / √2 of the floor's depth, mm.
const WALL_MM: f64 = 2.6;

/// Depth of the floor away from the walls, mm: waves of 11 to 37 mm length about 15.5 mm.
fn floor(x: f64, y: f64) -> f64 {
    15.5 + 2.2 * libm::sin(x / 5.9) * libm::cos(y / 5.3)
        + 0.28 * libm::sin((x + 2.0 * y) / 3.9)
        + 0.5 * libm::cos((x - y) / 2.9)
}

/// Share of the floor's depth at a distance `from_rim` inside the rim: 0 there, 1 far inside.
fn wall(from_rim: f64) -> f64 {
    from_rim / libm::hypot(from_rim, WALL_MM)
}

/// Height of the true surface, mm: 0 on the parting face, negative in the cavity.
pub fn height(x: f64, y: f64) -> f64 {
    let from_rim = RIM_MM - libm::hypot(x, y);
    // corners on the rim are on it within arithmetic
    if from_rim <= 1e-9 {
        0.0
    } else {
        -floor(x, y) * wall(from_rim)
    }
}

/// Largest concave curvature of the true surface at `(x, y)`, 1/mm, from the first and second
/// fundamental forms of a height field with central differences; the surface is smooth inside the rim.
pub fn concave_curvature(x: f64, y: f64) -> f64 {
    let d = 1e-4;
    let h = |i: f64, j: f64| height(x + i * d, y + j * d);
    let (p, q) = (
        (h(1.0, 0.0) - h(-1.0, 0.0)) / (2.0 * d),
        (h(0.0, 1.0) - h(0.0, -1.0)) / (2.0 * d),
    );
    let centre = h(0.0, 0.0);
    let r = (h(1.0, 0.0) - 2.0 * centre + h(-1.0, 0.0)) / (d * d);
    let t = (h(0.0, 1.0) - 2.0 * centre + h(0.0, -1.0)) / (d * d);
    let s = (h(1.0, 1.0) - h(1.0, -1.0) - h(-1.0, 1.0) + h(-1.0, -1.0)) / (4.0 * d * d);
    let w2 = 1.0 + p * p + q * q;
    let mean = ((1.0 + q * q) * r - 2.0 * p * q * s + (1.0 + p * p) * t) / (2.0 * w2.powf(1.5));
    let gauss = (r * t - s * s) / (w2 * w2);
    mean + (mean * mean - gauss).max(0.0).sqrt()
}

/// How a workload's mesh is made.
#[derive(Debug, Clone, Copy)]
pub struct Workload {
    /// Cells of the top face along each side; the mesh has `2 n² + 4 n + 6` triangles.
    pub cells: usize,
    /// Noise of the heights, mm, largest either way; 0: corners on the true surface.
    pub noise_mm: f64,
    /// Corners off the grid by up to this share of a cell, away from rim and edges.
    pub jitter: f64,
    /// All lengths but the noise are this many times as large.
    pub size: f64,
}

impl Workload {
    /// W1: a smooth half of 500,004 triangles.
    pub fn w1() -> Workload {
        Workload {
            cells: 499,
            noise_mm: 0.0,
            jitter: 0.0,
            size: 1.0,
        }
    }

    /// W2: a half as a scanner would give it, uneven and with 0.01 mm of noise, of about `triangles` triangles.
    pub fn w2(triangles: usize) -> Workload {
        let cells = ((triangles as f64 / 2.0).sqrt().round() as usize).max(10);
        Workload {
            cells,
            noise_mm: 0.01,
            jitter: 0.3,
            size: 1.0,
        }
    }

    /// W3: a smooth half of 1,002,532 triangles, 300 × 300 mm: with 0.03 mm cells 100 million columns.
    pub fn w3() -> Workload {
        Workload {
            cells: 707,
            size: 3.0,
            ..Workload::w1()
        }
    }

    /// W4: small halves of 20,004 triangles; the `k`-th of `count` is 30 to 100 mm wide.
    pub fn w4(k: usize, count: usize) -> Workload {
        Workload {
            cells: 99,
            size: 0.3 + 0.7 * k as f64 / count as f64,
            ..Workload::w1()
        }
    }

    /// Number of triangles.
    pub fn triangles(&self) -> usize {
        2 * self.cells * self.cells + 4 * self.cells + 6
    }

    /// The mesh: corners, and three indices a triangle, counter-clockwise seen from outside.
    pub fn mesh(&self) -> (Vec<[f32; 3]>, Vec<[u32; 3]>) {
        let n = self.cells;
        let mut points = Vec::with_capacity((n + 1) * (n + 1) + 4);
        for j in 0..=n {
            for i in 0..=n {
                points.push(self.corner(i, j));
            }
        }
        let mut triangles = Vec::with_capacity(self.triangles());
        let at = |i: usize, j: usize| (j * (n + 1) + i) as u32;
        for j in 0..n {
            for i in 0..n {
                let [a, b, c, d] = [at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)];
                // diagonals towards the middle: where a row turns its corner the other ones are flat
                if (2 * i + 1 < n) == (2 * j + 1 < n) {
                    triangles.extend([[a, b, c], [a, c, d]]);
                } else {
                    triangles.extend([[a, b, d], [b, c, d]]);
                }
            }
        }
        let h = (0.5 * SIDE_MM * self.size) as f32;
        let low = -(THICKNESS_MM * self.size) as f32;
        let below = points.len() as u32;
        points.extend([[-h, -h], [h, -h], [h, h], [-h, h]].map(|[x, y]| [x, y, low]));
        for side in 0..4 {
            let corner = |k: usize| match side {
                0 => at(k, 0),
                1 => at(n, k),
                2 => at(n - k, n),
                _ => at(0, n - k),
            };
            let (from, to) = (below + side, below + (side + 1) % 4);
            // a fan under each half of the edge, and one triangle between
            let middle = n / 2;
            for k in 0..n {
                let foot = if k < middle { from } else { to };
                triangles.push([foot, corner(k + 1), corner(k)]);
            }
            triangles.push([from, to, corner(middle)]);
        }
        triangles.extend([[below, below + 2, below + 1], [below, below + 3, below + 2]]);
        (points, triangles)
    }

    /// Writes the mesh as binary STL, mm.
    ///
    /// # Errors
    /// If `out` cannot be written.
    pub fn write_stl(&self, title: &str, out: &mut impl Write) -> io::Result<()> {
        let (points, triangles) = self.mesh();
        out.write_all(format!("{title:<80.80}").as_bytes())?;
        out.write_all(&(triangles.len() as u32).to_le_bytes())?;
        for t in triangles {
            // stored normals are left zero: readers take them from the corners
            out.write_all(&[0; 12])?;
            for c in t.iter().flat_map(|&k| points[k as usize]) {
                out.write_all(&c.to_le_bytes())?;
            }
            out.write_all(&[0; 2])?;
        }
        Ok(())
    }

    fn corner(&self, i: usize, j: usize) -> [f32; 3] {
        let n = self.cells;
        let seed = (j * (n + 1) + i) as u64;
        let shift = |of: u64| self.jitter * noise(3 * seed + of);
        // −1 to 1 from side to side; a row is where the larger of the two is the same
        let across = |k: usize| (2.0 * k as f64 - n as f64) / n as f64;
        let row = |s: f64, t: f64| s.abs().max(t.abs());
        let margin = (0.5 * (1.0 - RIM_SHARE) * n as f64).round() as usize;
        let rim = across(n - margin);
        let (mut s, mut t) = (across(i), across(j));
        let fixed = |row: f64| row == 1.0 || (row - rim).abs() < 2.0 / n as f64;
        if !fixed(row(s, t)) {
            (s, t) = (s + 2.0 / n as f64 * shift(0), t + 2.0 / n as f64 * shift(1));
        }
        let [x, y] = placed(s, t, rim);
        let z = height(x, y) + self.noise_mm / self.size * noise(3 * seed + 2);
        [x, y, z].map(|c| (c * self.size) as f32)
    }
}

/// Share of the rows that lie inside the rim: about the root of the rim circle's share of the block.
const RIM_SHARE: f64 = 0.7;

/// Where the corner at `(s, t)` of the square −1..1 goes: the square row `rim` becomes the rim circle,
/// rows inside it circles, and rows outside pass over into the block's outline.
fn placed(s: f64, t: f64, rim: f64) -> [f64; 2] {
    let row = s.abs().max(t.abs());
    if row == 0.0 {
        return [0.0, 0.0];
    }
    let (long, half) = (libm::hypot(s, t), 0.5 * SIDE_MM);
    let scale = if row <= rim {
        RIM_MM * row / rim / long
    } else {
        let out = (row - rim) / (1.0 - rim);
        (1.0 - out) * RIM_MM / long + out * half / row
    };
    [scale * s, scale * t]
}

/// A number in −1..1 that looks random, the same for the same `k`: the mixing steps of splitmix64
/// (Steele, Lea, Flood 2014, doi 10.1145/2660193.2660195).
fn noise(k: u64) -> f64 {
    let mut z = k.wrapping_add(1).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    z ^= z >> 31;
    (z >> 11) as f64 / (1u64 << 52) as f64 - 1.0
}
