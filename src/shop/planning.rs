//! What planning goes by: the machine, what is cut, what the cutters' edges bear, what is wanted.
//!
//! Every default here is common practice, no source, unless said otherwise; the shop file overrides each.

/// The machine's limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Machine {
    /// Fastest spindle speed, 1/min.
    pub rpm: f64,
    /// Fastest feed, mm/min.
    pub feed: f64,
    /// Acceleration of the axes, mm/s².
    pub acceleration: f64,
    /// Time to change a tool and set its length, s.
    pub tool_change: f64,
}

impl Default for Machine {
    /// A small mill: 10,000 1/min, 2500 mm/min, 500 mm/s², 60 s. Common practice, no source.
    fn default() -> Self {
        Machine {
            rpm: 10_000.0,
            feed: 2500.0,
            acceleration: 500.0,
            tool_change: 60.0,
        }
    }
}

/// What is cut: cutting speeds for carbide, and what an edge takes.
#[derive(Debug, Clone, PartialEq)]
pub struct Material {
    /// Name, by which [`Planning::material`] chooses it.
    pub name: String,
    /// Slowest and fastest cutting speed for carbide, m/min.
    pub speed: [f64; 2],
    /// Chip load per tooth over cutting diameter, for cutters that state none.
    pub chip_share: f64,
    /// Depth of a roughing cut over cutting diameter.
    pub rough_depth: f64,
    /// Width of a roughing cut over cutting diameter.
    pub rough_width: f64,
    /// Whether the row is the built-in one.
    pub builtin: bool,
}

impl Material {
    /// The built-in rows: aluminium, brass, steel, tooling board. For aluminium public carbide charts give 800–1500 sfm
    /// (244–457 m/min), which the fastest speed goes by, and 0.008 D a tooth; all else is common practice, no source.
    pub fn builtin() -> Vec<Material> {
        let row = |name: &str, speed, chip_share, rough_depth, rough_width| Material {
            name: name.to_owned(),
            speed,
            chip_share,
            rough_depth,
            rough_width,
            builtin: true,
        };
        vec![
            row("aluminium", [150.0, 450.0], 0.008, 0.25, 0.4),
            row("brass", [100.0, 300.0], 0.007, 0.2, 0.35),
            row("steel", [50.0, 150.0], 0.005, 0.1, 0.25),
            row("tooling board", [150.0, 800.0], 0.015, 0.5, 0.5),
        ]
    }
}

/// What a cutter is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ToolMaterial {
    /// Cemented carbide.
    #[default]
    Carbide,
    /// High-speed steel.
    HighSpeedSteel,
}

impl ToolMaterial {
    /// Modulus of elasticity, N/mm²: carbide 600 GPa of 550–650, high-speed steel 210 of 200–230 (public pages give 580
    /// and 200; rest from memory).
    pub fn modulus(self) -> f64 {
        match self {
            ToolMaterial::Carbide => 6e5,
            ToolMaterial::HighSpeedSteel => 2.1e5,
        }
    }

    /// Its cutting speed over carbide's (common practice, no source).
    pub fn speed_share(self) -> f64 {
        match self {
            ToolMaterial::Carbide => 1.0,
            ToolMaterial::HighSpeedSteel => 0.35,
        }
    }
}

/// What a cutter's edges bear.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Edges {
    /// Number of teeth; `None`: [`Edges::TEETH`].
    pub teeth: Option<u32>,
    /// Chip load per tooth, mm; `None`: by the material.
    pub chip_load: Option<f64>,
    /// Fastest spindle speed that its maker allows, 1/min.
    pub rpm: Option<f64>,
    /// What it is made of.
    pub made_of: ToolMaterial,
}

impl Edges {
    /// Teeth of a cutter that states none (common practice, no source).
    pub const TEETH: u32 = 2;
}

/// What is wanted of the finished surface, and what a tool may bear.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wanted {
    /// Cusp height of finishing, mm, square to the surface.
    pub cusp: f64,
    /// Cusp height of semi-finishing, mm.
    pub semi_cusp: f64,
    /// Share of the surface that must be within the cusp height, 0 to 1.
    pub share: f64,
    /// Stock that finishing takes off, mm.
    pub stock: f64,
    /// Force sideways at the tip that deflection is reckoned with, N.
    pub side_load: f64,
    /// Deflection of the tip that may be under `side_load`, mm.
    pub bend: f64,
    /// Stickout over diameter up to which a tool cuts without being called slender.
    pub slender: f64,
}

impl Default for Wanted {
    /// Common practice, no source.
    fn default() -> Self {
        Wanted {
            cusp: 0.01,
            semi_cusp: 0.04,
            share: 0.95,
            stock: 0.2,
            side_load: 10.0,
            bend: 0.02,
            slender: 5.0,
        }
    }
}

/// All that planning goes by besides cutters and holders.
#[derive(Debug, Clone, PartialEq)]
pub struct Planning {
    /// The machine's limits.
    pub machine: Machine,
    /// Rows of materials, each name once: the built-in ones first, a shop file's own in the place of one of its name.
    pub materials: Vec<Material>,
    /// Name of the material that is cut.
    pub material: String,
    /// What is wanted.
    pub wanted: Wanted,
}

impl Planning {
    /// The row of the material that is cut; `None` only in a shop that [`super::Shop::check`] refuses.
    pub fn row(&self) -> Option<&Material> {
        self.materials.iter().find(|m| m.name == self.material)
    }
}

impl Default for Planning {
    /// The built-in rows, aluminium, and the defaults of the rest.
    fn default() -> Self {
        Planning {
            machine: Machine::default(),
            materials: Material::builtin(),
            material: "aluminium".to_owned(),
            wanted: Wanted::default(),
        }
    }
}
