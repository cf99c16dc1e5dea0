//! Bending: a tool as a stepped cantilever, loaded sideways at its tip.
//!
//! The holder is taken as rigid. Real ones give too, so the figures are least ones.

/// A rod held at one end.
#[derive(Debug, Clone, PartialEq)]
pub struct Cantilever {
    /// Modulus of elasticity, N/mm².
    pub modulus: f64,
    /// Where each piece ends, mm from the free end, and its diameter, mm.
    pub pieces: Vec<(f64, f64)>,
}

/// Diameter of a solid rod as stiff as fluted length of diameter 1: usually 0.8 (Kops & Vo, CIRP Annals 39(1), 1990,
/// cited from memory; tool makers' training pages give 0.7–0.8).
pub const FLUTED: f64 = 0.8;

/// Second moment of area of a round rod, π d⁴ / 64, mm⁴.
pub fn round(diameter: f64) -> f64 {
    std::f64::consts::PI * diameter.powi(4) / 64.0
}

/// Sideways deflection at the tip, mm, under `force` N: F / 3E Σ (L₂³ − L₁³) / I over the rod's pieces, L from the tip.
pub fn deflection(rod: &Cantilever, force: f64) -> f64 {
    let mut from = 0.0_f64;
    let mut sum = 0.0;
    for &(to, diameter) in &rod.pieces {
        sum += (to.powi(3) - from.powi(3)) / round(diameter);
        from = to;
    }
    force / (3.0 * rod.modulus) * sum
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rod(modulus: f64, pieces: &[(f64, f64)]) -> Cantilever {
        Cantilever {
            modulus,
            pieces: pieces.to_vec(),
        }
    }

    fn near(a: f64, b: f64, off: f64) {
        assert!((a - b).abs() < off, "{a} is not {b}");
    }

    #[test]
    fn handbook_cantilevers() {
        // δ = F L³ / 3 E I, I = π d⁴ / 64 (machinery handbooks' cantilever with end load): 20 N, 30 mm, 6 mm fluted at
        // 0.8 D: carbide 600 GPa and high-speed steel 210 GPa
        let d = 0.8 * 6.0;
        near(
            deflection(&rod(6e5, &[(30.0, d)]), 20.0),
            0.011_512_944,
            5e-10,
        );
        near(
            deflection(&rod(2.1e5, &[(30.0, d)]), 20.0),
            0.032_894_127,
            5e-10,
        );
        // flutes 15 mm at 4.8, shank 6 to 45
        let stepped = rod(6e5, &[(15.0, 4.8), (45.0, 6.0)]);
        near(deflection(&stepped, 20.0), 0.016_765_150, 5e-10);
    }

    #[test]
    fn length_cubed_diameter_to_the_fourth() {
        let of = |l: f64, d: f64| deflection(&rod(6e5, &[(l, d)]), 1.0);
        near(of(60.0, 6.0) / of(30.0, 6.0), 8.0, 1e-9);
        near(of(30.0, 6.0) / of(30.0, 12.0), 16.0, 1e-9);
    }
}
