//! The tool frame: tool axis along +Z, parting level at Z = 0.

use crate::mesh::{Point, Vector};
use nalgebra::{Isometry3, Matrix3, Rotation3, Translation3, UnitQuaternion};

/// How a half lies under the spindle.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Frame {
    /// Unit vector from the cavity to the spindle, in the model's coordinates.
    pub axis: Vector,
    /// Distance of the parting level from the model's origin along `axis`, mm; negative below it.
    pub level: f64,
    /// Takes model coordinates to the tool frame, mm.
    pub to_tool: Isometry3<f64>,
}

impl Frame {
    /// The frame for tool axis `axis` (unit) with the parting level at distance `level` along it.
    ///
    /// The tool frame's X is the model's X as far as the axis allows (else the model's Y), so that an
    /// upright half keeps its plan and a half lying upside down is turned about X.
    pub fn new(axis: Vector, level: f64) -> Frame {
        let near = if axis.x.abs() < 0.9 {
            Vector::x()
        } else {
            Vector::y()
        };
        let x = (near - axis * axis.dot(&near)).normalize();
        let y = axis.cross(&x);
        let rows = Matrix3::from_rows(&[x.transpose(), y.transpose(), axis.transpose()]);
        let turn = UnitQuaternion::from_rotation_matrix(&Rotation3::from_matrix_unchecked(rows));
        Frame {
            axis,
            level,
            to_tool: Isometry3::from_parts(Translation3::new(0.0, 0.0, -level), turn),
        }
    }

    /// The model's coordinates of a place `p` in the tool frame, mm.
    pub fn place(&self, p: &Point) -> [f64; 3] {
        self.to_tool.inverse_transform_point(p).coords.into()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_half_upside_down_is_turned_about_x() {
        let f = Frame::new(-Vector::z(), 5.0);
        let p = f.to_tool * Point::new(1.0, 2.0, -7.0);
        assert!((p - Point::new(1.0, -2.0, 2.0)).norm() < 1e-12, "{p}");
    }

    #[test]
    fn places_come_back() {
        let f = Frame::new(Vector::new(2.0, -1.0, 0.5).normalize(), -3.0);
        let p = Point::new(4.0, 5.0, 6.0);
        let back = Point::from(nalgebra::Vector3::from(f.place(&(f.to_tool * p))));
        assert!((back - p).norm() < 1e-12);
    }

    #[test]
    fn the_axis_becomes_z_and_x_stays_x_where_it_can() {
        let f = Frame::new(Vector::x(), 0.0);
        assert!((f.to_tool * Vector::x() - Vector::z()).norm() < 1e-12);
        assert!((f.to_tool * Vector::y() - Vector::x()).norm() < 1e-12);
    }
}
