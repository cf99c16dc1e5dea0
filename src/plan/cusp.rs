//! Cusps: the ridges that parallel passes of a ball leave between them.
//!
//! Neighbouring passes stand a step apart in plan. Where the surface leans across the passes, the ball's centres lie
//! farther apart than that; where it curves, the cusp is the crossing of two balls whose centres lie on the offset
//! surface. Both are taken in exactly for a surface that is a circular arc across the passes, and to second order for
//! any other, skew passes included: with shape operator K (concave positive), centres half a spacing a apart leave
//! h = a² / 2R (1 − R wᵀKw), whatever K does along the passes (Schur complement of the distance's second derivatives).
//!
//! Lengths mm, angles degrees, curvatures 1/mm and positive where the surface is concave.

use crate::mesh::Vector;

/// Unit vector along passes that run at `direction_deg` from X, counter-clockwise seen from the spindle; tool frame, in plan.
pub fn along(direction_deg: f64) -> Vector {
    let (sin, cos) = direction_deg.to_radians().sin_cos();
    Vector::new(cos, sin, 0.0)
}

/// Unit vector across such passes, in plan.
pub fn across(direction_deg: f64) -> Vector {
    let d = along(direction_deg);
    Vector::new(-d.y, d.x, 0.0)
}

/// Step in plan over spacing of the ball's centres on a surface with unit normal `n`: √(1 − (n·c)²) with `c` across the
/// passes. The same as 1 / √((1 + tan²β) / (1 + tan²β cos²φ)) for slope β and angle φ between passes and steepest ascent.
pub fn foreshortening(n: &Vector, c: &Vector) -> f64 {
    (1.0 - n.dot(c).powi(2)).max(0.0).sqrt()
}

/// Unit vector in the surface across the passes; `None` where the surface stands upright along them.
pub fn across_on(n: &Vector, c: &Vector) -> Option<Vector> {
    (c - n * n.dot(c)).try_normalize(1e-9)
}

/// Height of the cusp between two balls of `radius` whose centres are `spacing` apart, normal to a surface of
/// `curvature` across the passes; infinite where they do not meet, 0 where the ball does not fit.
pub fn height(radius: f64, spacing: f64, curvature: f64) -> f64 {
    let half = 0.5 * spacing;
    if half >= radius {
        return f64::INFINITY;
    }
    // sagitta of a chord on the ball, and on the circle of its centres (radius 1/κ − R)
    let sagitta = |r: f64, a: f64| a * a / (r + (r * r - a * a).sqrt());
    let Some(bend) = bend(radius, curvature) else {
        return 0.0;
    };
    if bend.abs() * half < 1e-12 {
        return sagitta(radius, half);
    }
    let circle = 1.0 / bend;
    // centres on a small circle cannot be farther apart than across it
    let half = half.min(circle.abs());
    sagitta(radius, half) + circle.signum() * sagitta(circle.abs(), half)
}

/// Curvature of the surface of the ball's centres; `None` where the ball does not fit.
fn bend(radius: f64, curvature: f64) -> Option<f64> {
    let room = 1.0 - radius * curvature;
    (room > 1e-9).then(|| curvature / room)
}

/// Largest spacing of the ball's centres that leaves cusps no higher than `height`; at most the ball's diameter.
///
/// The triangle of the two balls' crossing has sides |1/κ − R|, |1/κ − h| and R; half the spacing is its height on the
/// second, by Heron's formula: √(h (2R − h) (2 − κh) (2 − 2κR − κh)) / 2(1 − κh).
pub fn spacing_for(radius: f64, height: f64, curvature: f64) -> f64 {
    let (r, h, k) = (radius, height, curvature);
    if h >= r {
        return 2.0 * r;
    }
    let Some(bend) = bend(r, k) else {
        return 2.0 * r;
    };
    if bend > 0.0 {
        // a valley not much wider than the ball: no step leaves more than this
        let circle = 1.0 / bend;
        if circle < r && h >= circle + r - (r * r - circle * circle).sqrt() {
            return 2.0 * r;
        }
    }
    let product = h * (2.0 * r - h) * (2.0 - k * h) * (2.0 - 2.0 * k * r - k * h);
    (product.max(0.0).sqrt() / (1.0 - k * h)).min(2.0 * r)
}

/// Mean roughness Ra of ideal cusps of this height, mm: 4h / 9√3 for a parabola's profile (Qu & Shih, Machining Science
/// and Technology 7(2) 281–294, 2003, give the arcs' closed form; it differs by under 1.5 %).
pub fn mean_roughness(height: f64) -> f64 {
    4.0 * height / (9.0 * 3f64.sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn close(a: f64, b: f64, digits: f64) {
        assert!((a - b).abs() <= digits, "{a} is not {b}");
    }

    /// Cusp on a plane of slope `beta` with passes at `phi` from the steepest ascent, both degrees.
    fn on_plane(radius: f64, step: f64, beta: f64, phi: f64) -> f64 {
        let (sin, cos) = beta.to_radians().sin_cos();
        // rises along +X
        let n = Vector::new(-sin, 0.0, cos);
        height(radius, step / foreshortening(&n, &across(phi)), 0.0)
    }

    #[test]
    fn flat() {
        // h = R − √(R² − s²/4): R 3, s 0.5 and 1 (public machining pages print 0.0104)
        close(height(3.0, 0.5, 0.0), 0.010_434_814_2, 5e-11);
        close(height(3.0, 1.0, 0.0), 0.041_960_108_5, 5e-11);
        // R 0.125 in, s 0.020 in: 0.000400642056 in
        let inch = 25.4;
        close(
            height(0.125 * inch, 0.02 * inch, 0.0) / inch,
            0.000_400_642_056,
            5e-13,
        );
        // inverse: s = 2√(h(2R − h)); a public page prints 0.346 for R 3, h 0.005
        close(spacing_for(3.0, 0.005, 0.0), 0.346_265_8, 5e-8);
        close(spacing_for(3.0, 0.01, 0.0), 0.489_489_5, 5e-8);
        close(spacing_for(1.5, 0.002, 0.0), 0.154_867_7, 5e-8);
    }

    #[test]
    fn an_eighth_inch_ball_at_four_thousandths() {
        // s²/8R = 0.004² / 0.5 = 32 µin (common practice, no source); the exact form differs by s²/16R² of that
        let microinch = height(1.0 / 16.0, 0.004, 0.0) * 1e6;
        close(microinch, 32.0, 0.05);
    }

    #[test]
    fn slopes_across_along_and_skew() {
        // distance on the plane: s √((1 + tan²β) / (1 + tan²β cos²φ)), then the flat formula
        close(on_plane(3.0, 0.5, 45.0, 90.0), 0.020_906_178_0, 5e-11);
        close(on_plane(3.0, 0.5, 60.0, 90.0), 0.041_960_108_5, 5e-11);
        close(on_plane(3.0, 0.5, 45.0, 0.0), 0.010_434_814_2, 5e-11);
        close(on_plane(3.0, 0.5, 45.0, 45.0), 0.013_921_188_8, 5e-11);
        close(on_plane(3.0, 0.5, 30.0, 60.0), 0.012_848_024_8, 5e-11);
        for beta in [0.0, 15.0, 30.0, 45.0, 60.0, 75.0_f64] {
            for phi in [0.0, 20.0, 45.0, 70.0, 90.0_f64] {
                let (t, c) = (beta.to_radians().tan(), phi.to_radians().cos());
                let d = 0.3 * ((1.0 + t * t) / (1.0 + t * t * c * c)).sqrt();
                let h = 3.0 - (9.0 - 0.25 * d * d).sqrt();
                close(on_plane(3.0, 0.3, beta, phi), h, 1e-12);
            }
        }
        // for a height of 0.01 at 60°, stepping across: 0.4894895 cos 60°
        close(
            spacing_for(3.0, 0.01, 0.0) * 60f64.to_radians().cos(),
            0.244_744_8,
            5e-8,
        );
    }

    /// Spacing of the centres for an arc length `s` on a surface of signed radius 1/κ.
    fn centres(radius: f64, arc: f64, curvature: f64) -> f64 {
        let rho = 1.0 / curvature.abs();
        let circle = if curvature > 0.0 {
            rho - radius
        } else {
            rho + radius
        };
        2.0 * circle * (arc / (2.0 * rho)).sin()
    }

    #[test]
    fn ridges_and_valleys() {
        // (ρ+R) cos a − √(R² − (ρ+R)² sin² a) − ρ and ρ − (ρ−R) cos a − √(R² − (ρ−R)² sin² a), a = s/2ρ
        let h = |rho: f64, sign: f64| height(3.0, centres(3.0, 0.5, sign / rho), sign / rho);
        close(h(10.0, -1.0), 0.013_590_145_8, 5e-11);
        close(h(10.0, 1.0), 0.007_294_837_1, 5e-11);
        close(h(3.5, 1.0), 0.001_487_199_2, 5e-11);
        // inverse: cos(s/2ρ) = ((ρ±R)² + (ρ±h)² − R²) / 2(ρ±R)(ρ±h)
        let arc = |rho: f64, sign: f64| {
            let circle = rho - sign * 3.0;
            2.0 * rho * (0.5 * spacing_for(3.0, 0.01, sign / rho) / circle).asin()
        };
        close(arc(10.0, -1.0), 0.429_104_5, 5e-8);
        close(arc(10.0, 1.0), 0.585_365_5, 5e-8);
        // a valley as wide as the ball is filled whatever the step
        assert!(height(3.0, 0.5, 1.0 / 3.0) < 1e-6);
    }

    #[test]
    fn passes_too_far_apart_do_not_meet() {
        assert_eq!(height(3.0, 6.0, 0.0), f64::INFINITY);
        assert_eq!(spacing_for(3.0, 5.0, 0.0), 6.0);
    }

    #[test]
    fn roughness() {
        // R 3, s 0.5: Ra 2.67757 µm by the parabola of height 0.0104348 (model of Qu & Shih 2003)
        close(mean_roughness(height(3.0, 0.5, 0.0)) * 1e3, 2.677_57, 5e-6);
    }

    proptest! {
        #[test]
        fn the_inverse_inverts(r in 0.3..6.0f64, h in 1e-4..0.05f64, bent in -0.9..0.9f64) {
            let k = bent / r;
            let q = spacing_for(r, h, k);
            if q < 2.0 * r {
                prop_assert!((height(r, q, k) - h).abs() < 1e-9 + 1e-7 * h, "{q} {}", height(r, q, k));
            }
        }

        #[test]
        fn higher_with_step_and_lower_in_valleys(r in 0.5..5.0f64, q in 0.01..0.4f64, k in 0.001..0.15f64) {
            let flat = height(r, q, 0.0);
            prop_assert!(height(r, 1.1 * q, 0.0) > flat);
            prop_assert!(height(r, q, -k) < flat, "centres this far apart on a ridge are nearer on the surface");
        }
    }
}
