//! A cutter at a stickout in a holder, as the stack of cones and cylinders that must not touch the mold.

use super::{Cutter, Holder};
use crate::units::format_size;

/// Which part of a tool a segment belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Part {
    /// Relieved part behind the flutes.
    Neck,
    /// Shank, up to the holder face.
    Shank,
    /// Holder, from its face up.
    Holder,
}

/// A cone or cylinder about the tool axis. Heights are above the tip.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Segment {
    /// What it is part of.
    pub part: Part,
    /// Radius where it begins, mm.
    pub lower_radius: f64,
    /// Radius where it ends, mm.
    pub upper_radius: f64,
    /// Height at which it begins, mm.
    pub from: f64,
    /// Height at which it ends, mm; infinite for the last one, which is a cylinder.
    pub to: f64,
}

/// A cutter at a stickout in a holder, as solids of revolution about the tool axis; heights are above the tip.
#[derive(Debug, Clone, PartialEq)]
pub struct Tool {
    /// Name shown in reports, such as `1/8in ball, stickout 3/4in`.
    pub name: String,
    /// Name of the cutter.
    pub cutter: String,
    /// Name of the holder.
    pub holder: String,
    /// Tip to holder face, mm.
    pub stickout: f64,
    /// Height above the tip up to which the flutes reach, mm: only below it may the tool touch the mold.
    pub flutes_to: f64,
    /// What follows above the flutes, upward without gaps and without end. Parts thinner than the cutter are
    /// included: whether they can touch is for the check to say.
    pub segments: Vec<Segment>,
}

impl Cutter {
    /// The tool that this cutter makes at `stickout` mm in `holder`; flutes and neck end at the holder face at the latest.
    ///
    /// Where no flute length is stated, the flutes reach to the end of the neck, or to the holder face where
    /// there is no neck either.
    pub fn tool(&self, stickout: f64, holder: &Holder) -> Tool {
        let neck_to = self.neck.map(|neck| neck.length.min(stickout));
        let flutes_to = match self.flute_length {
            Some(length) => length.min(stickout),
            None => neck_to.unwrap_or(stickout),
        };

        let mut stack = Stack {
            height: flutes_to,
            segments: Vec::new(),
        };
        if let (Some(neck), Some(to)) = (self.neck, neck_to) {
            stack.grow_to(to, Part::Neck, neck.diameter, neck.diameter);
        }
        let shank = self.shank.unwrap_or(self.diameter);
        stack.grow_to(stickout, Part::Shank, shank, shank);
        for (index, section) in holder.sections.iter().enumerate() {
            let (lower, upper) = (section.lower_diameter, section.upper_diameter);
            let is_last = index + 1 == holder.sections.len();
            if !(is_last && lower == upper) {
                let to = stack.height + section.height;
                stack.grow_to(to, Part::Holder, lower, upper);
            }
            if is_last {
                stack.grow_to(f64::INFINITY, Part::Holder, upper, upper);
            }
        }

        Tool {
            name: format!("{}, stickout {}", self.name, format_size(stickout)),
            cutter: self.name.clone(),
            holder: holder.name.clone(),
            stickout,
            flutes_to,
            segments: stack.segments,
        }
    }
}

/// Segments from the flutes up to `height`.
struct Stack {
    height: f64,
    segments: Vec<Segment>,
}

impl Stack {
    /// Adds a segment from the present height to `to`, unless that is no higher.
    fn grow_to(&mut self, to: f64, part: Part, lower_diameter: f64, upper_diameter: f64) {
        if to > self.height {
            self.segments.push(Segment {
                part,
                lower_radius: 0.5 * lower_diameter,
                upper_radius: 0.5 * upper_diameter,
                from: self.height,
                to,
            });
            self.height = to;
        }
    }
}
