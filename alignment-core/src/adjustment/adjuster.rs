//! Adjusters, what is wanted of a car, and what is to be done: what goes into [`fewest_moves`](super::fewest_moves) and what comes out.

use crate::alignment::Alignment;
use crate::conformity::{Limits, Specification};
use crate::error::{Error, ErrorCode};
use crate::layout::{ByAxle, ByWheel, Wheel};
use crate::pose;
use crate::session::{Centreline, check_range};
use crate::units::sqrt;
use alloc::collections::BTreeMap;
use alloc::string::String;
use alloc::vec::Vec;

/// How far one adjuster may turn its wheels from where they are, degrees.
pub const TURN_RANGE_DEG: [f64; 2] = [-30.0, 30.0];
/// How far one adjuster may shift its wheels from where they are, mm.
pub const SHIFT_RANGE_MM: [f64; 2] = [-300.0, 300.0];
/// So near to its nominal value a reading is at it, by default, degrees; of a length ten times as many mm.
pub const NOMINAL_WITHIN_DEG: f64 = 0.005;

/// No amount, and no change per unit, is greater.
pub(super) const MAX_MAGNITUDE: f64 = 1e6;
/// No step is smaller, but for none.
const LEAST_STEP: f64 = 1e-6;

/// A line in the vehicle frame.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields))]
pub struct Line {
    /// A point of it, mm.
    pub point_mm: [f64; 3],
    /// A unit vector along it.
    pub direction: [f64; 3],
}

/// An adjuster that moves wheels as rigid bodies: about a line, along it, or both, as a screw does.
#[derive(Debug, Clone, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields))]
pub struct Rigid {
    /// The wheels that it carries: one, or both of an axle on a subframe.
    pub wheels: ByWheel<bool>,
    /// The line, which stands still in the body; None for the steering axis of each wheel, wherever other adjusters have brought it.
    #[cfg_attr(feature = "json", serde(default))]
    pub line: Option<Line>,
    /// By how much one unit turns the wheels about the line, degrees, right-handed; about a steering axis, upward, to the left.
    #[cfg_attr(feature = "json", serde(default))]
    pub turn_deg: f64,
    /// By how much one unit shifts them along the line, mm.
    #[cfg_attr(feature = "json", serde(default))]
    pub shift_mm: f64,
    /// Whether the steering axis goes with the wheel, or stays.
    #[cfg_attr(feature = "json", serde(default))]
    pub carries_axis: bool,
}

/// What one unit of an adjuster does.
#[derive(Debug, Clone, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(untagged))]
pub enum Effect {
    /// Measured, or a maker's figure: the change of readings per unit, by their paths, degrees and mm. What is not listed but follows from
    /// what is, does follow: totals, cross values, the thrust angle and with it front toe.
    Measured(BTreeMap<String, f64>),
    /// From geometry: all readings follow exactly.
    Rigid(Rigid),
}

/// What a mechanic can turn, shift or shim.
#[derive(Debug, Clone, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields))]
pub struct Adjuster {
    /// What people call it.
    pub name: String,
    /// What one unit is, for people: turn, mm, degree of a cam.
    pub unit: String,
    /// What one unit does.
    pub effect: Effect,
    /// The least that it can be moved from where it is, units; not above 0.
    pub least: f64,
    /// The most that it can be moved from where it is, units; not below 0.
    pub most: f64,
    /// It moves by whole multiples of this, units: shims, notches; at least 1e-6, or 0 for any amount.
    #[cfg_attr(feature = "json", serde(default))]
    pub step: f64,
}

/// What is wanted of a car.
#[derive(Debug, Clone, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields))]
pub struct Request {
    /// Its limits and nominal values, cross limits among them.
    #[cfg_attr(feature = "json", serde(deserialize_with = "crate::json::keyed"))]
    pub specification: Specification,
    /// So near to its nominal value a reading is at it, degrees, of a length ten times as many mm; None when it is enough that all limits are
    /// met.
    pub nominal_within_deg: Option<f64>,
}

impl Default for Request {
    /// Nothing is wanted yet.
    fn default() -> Self {
        Self { specification: Specification::default(), nominal_within_deg: Some(NOMINAL_WITHIN_DEG) }
    }
}

/// What the readings do not say of how they were taken, and is needed to foresee others.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "json", serde(deny_unknown_fields, default))]
pub struct Stance {
    /// Radii under load, mm; the rolling radius stands in.
    pub loaded_radius_mm: ByAxle<Option<f64>>,
    /// The centreline to which the readings refer.
    pub centreline: Centreline,
}

/// One thing to do.
#[derive(Debug, Clone, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
pub struct Move {
    /// Which adjuster: its place in the list.
    pub adjuster: usize,
    /// By how much, in its units.
    pub amount: f64,
    /// The readings once this and all earlier moves are done.
    pub foreseen: Alignment,
}

/// A limit that cannot be met.
#[derive(Debug, Clone, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
pub struct Unmet {
    /// The path of the reading.
    pub path: &'static str,
    /// Its limits, in its own unit.
    pub limits: Limits,
    /// What it comes to.
    pub nearest: f64,
    /// How far that is from the limit.
    pub short_by: f64,
    /// The adjusters that would bring it nearer, were they not at the end of their range: their places in the list. Empty when no adjuster
    /// moves it, when its steps are too coarse, or when other limits stand against it.
    pub at_end: Vec<usize>,
}

/// What to do, and what comes of it.
#[derive(Debug, Clone, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
pub struct Adjustment {
    /// The moves, in the order in which they are done.
    pub moves: Vec<Move>,
    /// The readings once all are done. Those of turning, to the body, and of the sweep itself are absent: nobody foresees them.
    pub foreseen: Alignment,
    /// The limits that cannot be met, in the order of the tree.
    pub unmet: Vec<Unmet>,
    /// The paths with limits of which nothing could be foreseen, for the reading is absent.
    pub unforeseen: Vec<&'static str>,
}

impl Adjuster {
    pub(super) fn check(&self) -> Result<(), Error> {
        check_range(ErrorCode::OutOfRange, "least", self.least, [-MAX_MAGNITUDE, 0.0])?;
        check_range(ErrorCode::OutOfRange, "most", self.most, [0.0, MAX_MAGNITUDE])?;
        let finest = if self.step == 0.0 { 0.0 } else { LEAST_STEP };
        check_range(ErrorCode::OutOfRange, "step", self.step, [finest, MAX_MAGNITUDE])?;
        match &self.effect {
            Effect::Measured(changes) => {
                for &change in changes.values() {
                    check_range(ErrorCode::OutOfRange, "effect", change, [-MAX_MAGNITUDE, MAX_MAGNITUDE])?;
                }
            }
            Effect::Rigid(rigid) => {
                if !Wheel::ALL.iter().any(|&wheel| *rigid.wheels.get(wheel)) {
                    return Err(Error::new(ErrorCode::MissingInput).input("wheels"));
                }
                for end in [1.0, self.least, self.most] {
                    let (turn, shift) = (rigid.turn_deg * end, rigid.shift_mm * end);
                    check_range(ErrorCode::AngleOutOfRange, "turn_deg", turn, TURN_RANGE_DEG)?;
                    check_range(ErrorCode::LengthOutOfRange, "shift_mm", shift, SHIFT_RANGE_MM)?;
                }
                if let Some(line) = &rigid.line {
                    for coordinate in line.point_mm {
                        check_range(ErrorCode::LengthOutOfRange, "point_mm", coordinate, [-20_000.0, 20_000.0])?;
                    }
                    let [x, y, z] = line.direction;
                    let norm = sqrt(x * x + y * y + z * z);
                    pose::check_unit_length(norm).map_err(|error| error.input("direction"))?;
                }
            }
        }
        Ok(())
    }

    /// The ends of the range, at whole steps.
    pub(super) fn ends(&self) -> [f64; 2] {
        if self.step == 0.0 {
            return [self.least, self.most];
        }
        let (fewest, most) = (libm::ceil(self.least / self.step - 1e-9), libm::floor(self.most / self.step + 1e-9));
        // A product that is rounded up is not to lie beyond the end.
        [(fewest * self.step).max(self.least), (most * self.step).min(self.most)]
    }
}
