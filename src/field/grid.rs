//! The grid and maps on it.

/// A regular grid of square cells in the tool plane (X, Y of the tool frame).
///
/// Cell `(i, j)` has its centre at `origin + cell * (i + 0.5, j + 0.5)`; `i` counts along X,
/// `j` along Y; a map stores it at `j * nx + i`. Grid lines (columns) run along Z through the centres.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Grid {
    /// Corner with the smallest X and Y, mm.
    pub origin: [f64; 2],
    /// Side of a cell, mm.
    pub cell: f64,
    /// Cells along X.
    pub nx: usize,
    /// Cells along Y.
    pub ny: usize,
}

impl Grid {
    /// The grid of `cell` mm, more than zero, that covers the rectangle `lo..hi` grown by `margin`, at least one cell each way.
    pub fn covering(lo: [f64; 2], hi: [f64; 2], margin: f64, cell: f64) -> Grid {
        let n = |k: usize| (((hi[k] - lo[k] + 2.0 * margin) / cell).ceil() as usize).max(1);
        let (nx, ny) = (n(0), n(1));
        // centred, so that mirrored models give mirrored grids
        let o = |k: usize, n: usize| 0.5 * (lo[k] + hi[k]) - 0.5 * cell * n as f64;
        Grid {
            origin: [o(0, nx), o(1, ny)],
            cell,
            nx,
            ny,
        }
    }

    /// Number of cells.
    pub fn len(&self) -> usize {
        self.nx * self.ny
    }

    /// Whether it has no cell.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// X of the centres of cells `(i, _)`, mm; never falls as `i` grows.
    #[inline]
    pub fn x(&self, i: usize) -> f64 {
        self.origin[0] + self.cell * (i as f64 + 0.5)
    }

    /// Y of the centres of cells `(_, j)`, mm; never falls as `j` grows.
    #[inline]
    pub fn y(&self, j: usize) -> f64 {
        self.origin[1] + self.cell * (j as f64 + 0.5)
    }

    /// Centre of cell `(i, j)`, mm.
    pub fn centre(&self, i: usize, j: usize) -> [f64; 2] {
        [self.x(i), self.y(j)]
    }

    /// Plan place of the centre of the cell with this [`Grid::index`], mm.
    #[inline]
    pub fn centre_of(&self, index: usize) -> [f64; 2] {
        self.centre(index % self.nx, index / self.nx)
    }

    /// The cell that holds `(x, y)`; `None` outside the grid.
    pub fn cell_at(&self, x: f64, y: f64) -> Option<(usize, usize)> {
        let i = ((x - self.origin[0]) / self.cell).floor();
        let j = ((y - self.origin[1]) / self.cell).floor();
        (i >= 0.0 && j >= 0.0 && i < self.nx as f64 && j < self.ny as f64)
            .then_some((i as usize, j as usize))
    }

    /// Index of cell `(i, j)` in a map.
    pub fn index(&self, i: usize, j: usize) -> usize {
        j * self.nx + i
    }
}

/// A height (or other scalar) for each cell of a grid, taken at the cell's centre; a miss is `None`.
#[derive(Debug, Clone, PartialEq)]
pub struct HeightMap {
    /// The grid.
    pub grid: Grid,
    /// One value a cell, row by row; a cell without a value holds `f32::NEG_INFINITY` (read it with [`HeightMap::get`]).
    values: Vec<f32>,
}

impl HeightMap {
    /// A map without any value.
    pub fn empty(grid: Grid) -> HeightMap {
        HeightMap {
            grid,
            values: vec![f32::NEG_INFINITY; grid.len()],
        }
    }

    /// Wraps `values`, one a cell, `f32::NEG_INFINITY` for none.
    ///
    /// # Panics
    /// If the number of values is not the number of cells.
    pub fn from_values(grid: Grid, values: Vec<f32>) -> HeightMap {
        assert_eq!(values.len(), grid.len(), "one value a cell");
        HeightMap { grid, values }
    }

    /// Value of cell `k` (see [`Grid::index`]).
    ///
    /// # Panics
    /// If the grid has no such cell.
    pub fn get(&self, k: usize) -> Option<f32> {
        let v = self.values[k];
        (v > f32::NEG_INFINITY).then_some(v)
    }

    /// All values, `f32::NEG_INFINITY` for none: for kernels that take maxima over them.
    pub fn values(&self) -> &[f32] {
        &self.values
    }

    /// All values, to be written.
    pub fn values_mut(&mut self) -> &mut [f32] {
        &mut self.values
    }
}
