//! Small mold halves from a few bytes, valid or sick.

type Facet = [[f32; 3]; 3];

/// Bytes taken one after another; zero when there are none left.
pub struct Bytes<'b>(pub &'b [u8]);

impl Bytes<'_> {
    /// The next byte.
    pub fn byte(&mut self) -> u8 {
        let (first, rest) = self.0.split_first().unwrap_or((&0, &[]));
        self.0 = rest;
        *first
    }

    /// From `lo` to `hi`.
    pub fn within(&mut self, lo: f32, hi: f32) -> f32 {
        lo + (hi - lo) * f32::from(self.byte()) / 255.0
    }

    /// Below `n`, which is more than 0.
    pub fn below(&mut self, n: usize) -> usize {
        (usize::from(self.byte()) << 8 | usize::from(self.byte())) % n
    }
}

/// A block 40 × 30 × 20 with a pocket of 3 to 12 sides whose walls lean as the bytes say, hooks included; closed and
/// outward wherever its rings do not cross.
pub fn half(bytes: &mut Bytes) -> Vec<Facet> {
    let n = 3 + usize::from(bytes.byte()) % 10;
    let levels = 2 + usize::from(bytes.byte()) % 3;
    let deep = bytes.within(1.0, 18.0);
    let oval = bytes.within(0.3, 1.0);
    let ring = |radius: f32, z: f32, turned: f32| -> Vec<[f32; 3]> {
        let corner = |k: usize| {
            let a = turned + std::f32::consts::TAU * k as f32 / n as f32;
            [radius * a.cos(), oval * radius * a.sin(), z]
        };
        (0..n).map(corner).collect()
    };
    let turned = bytes.within(0.0, 1.0);
    let rings: Vec<_> = (0..levels)
        .map(|k| {
            let z = -deep * k as f32 / (levels - 1) as f32;
            ring(bytes.within(1.0, 13.0), z, turned)
        })
        .collect();
    let box_ring = |z: f32| {
        [
            [-20.0, -15.0, z],
            [20.0, -15.0, z],
            [20.0, 15.0, z],
            [-20.0, 15.0, z],
        ]
    };
    let (top, bottom) = (box_ring(0.0), box_ring(-20.0));
    let mut facets = Vec::new();
    for k in 0..4 {
        let next = (k + 1) % 4;
        facets.push([bottom[k], bottom[next], top[next]]);
        facets.push([bottom[k], top[next], top[k]]);
    }
    facets.push([bottom[0], bottom[3], bottom[2]]);
    facets.push([bottom[0], bottom[2], bottom[1]]);
    frame(&top, &rings[0], &mut facets);
    for pair in rings.windows(2) {
        for k in 0..n {
            let next = (k + 1) % n;
            facets.push([pair[0][k], pair[0][next], pair[1][next]]);
            facets.push([pair[0][k], pair[1][next], pair[1][k]]);
        }
    }
    if let Some(floor) = rings.last() {
        facets.extend((2..n).map(|k| [floor[0], floor[k - 1], floor[k]]));
    }
    facets
}

/// The flat face between the block's corners and the rim: each corner of the rim is joined to the block's corner in its
/// quarter, and each quarter crossed on the way adds a triangle to the block's next side.
fn frame(top: &[[f32; 3]; 4], rim: &[[f32; 3]], facets: &mut Vec<Facet>) {
    let quarter = |p: &[f32; 3]| match (p[0] < 0.0, p[1] < 0.0) {
        (true, true) => 0,
        (false, true) => 1,
        (false, false) => 2,
        (true, false) => 3,
    };
    for k in 0..rim.len() {
        let (here, next) = (rim[k], rim[(k + 1) % rim.len()]);
        let (mut at, to) = (quarter(&here), quarter(&next));
        while at != to {
            facets.push([top[at], top[(at + 1) % 4], here]);
            at = (at + 1) % 4;
        }
        facets.push([here, top[at], next]);
    }
}

/// Breaks some of the facets as the bytes say, until a byte is 0.
pub fn sicken(facets: &mut Vec<Facet>, bytes: &mut Bytes) {
    for _ in 0..16 {
        let way = bytes.byte();
        if way == 0 || facets.len() < 5 {
            return;
        }
        let k = bytes.below(facets.len());
        match way % 6 {
            0 => {
                facets.swap_remove(k);
            }
            1 => facets[k].reverse(),
            2 => facets.push(facets[k]),
            3 => {
                let at = facets[k][0];
                let by = [0; 3].map(|_| bytes.within(-2.0, 2.0));
                let corners = facets.as_flattened_mut().iter_mut();
                for c in corners.filter(|c| **c == at) {
                    *c = [0, 1, 2].map(|i| c[i] + by[i]);
                }
            }
            4 => {
                let at = [0; 3].map(|_| bytes.within(-19.0, 19.0));
                let size = bytes.within(0.0, 4.0);
                let corner = |i: usize| {
                    let mut c = at;
                    c[i] += size;
                    c
                };
                let (x, y, z) = (corner(0), corner(1), corner(2));
                facets.extend([[at, y, x], [at, x, z], [at, z, y], [x, y, z]]);
            }
            _ => {
                let [a, b, c] = facets[k];
                let share = bytes.within(0.0, 1.0);
                let m = [0, 1, 2].map(|i| a[i] + share * (b[i] - a[i]));
                facets[k] = [a, m, c];
                facets.push([m, b, c]);
            }
        }
    }
}
