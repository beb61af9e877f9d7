//! Central differences, for what has no derivative written out: (f(x + h) − f(x − h))/2h.

use super::clamps::Row;
use crate::error::Error;
use crate::frame::{Frame, Rig, Target, Transform, Vector};
use alloc::vec::Vec;
use nalgebra::{Rotation3, Vector3};

/// The step of an angle, radians, and of a direction. What is left out grows with its square, 1e-10; rounding makes about as much.
pub(super) const STEP_RAD: f64 = 1e-5;
/// The step of a length, mm.
pub(crate) const STEP_MM: f64 = 1e-2;

/// What stands for a number that is absent. Nothing follows from it, and it follows nothing.
pub(super) const ABSENT: f64 = f64::NAN;

/// The difference of a function of a step. The function is called from two places, and stands in the code once.
///
/// Just within the bounds of what can be measured, one side is refused or lacks a number: then the other side is held against the middle. Where
/// both are refused, since one input takes one wheel across and its opposite another, a finer step stays within what the bounds allow
/// for rounding.
pub(crate) fn central<const N: usize>(
    step: f64,
    function: &mut dyn FnMut(f64) -> Result<[f64; N], Error>,
) -> Result<[f64; N], Error> {
    const FINER: f64 = 1e-3;
    let alike = |one: &[f64; N], other: &[f64; N]| one.iter().zip(other).all(|(a, b)| a.is_nan() == b.is_nan());
    let slope = |to: &[f64; N], from: &[f64; N], step: f64| {
        core::array::from_fn(|i| if to[i].is_nan() { 0.0 } else { (to[i] - from[i]) / step })
    };
    let mut refused = None;
    for step in [step, step * FINER] {
        let (above, below) = (function(step), function(-step));
        if let (Ok(above), Ok(below)) = (&above, &below)
            && alike(above, below)
        {
            return Ok(slope(above, below, 2.0 * step));
        }
        let middle = function(0.0)?;
        match (above, below) {
            (Ok(above), _) if alike(&above, &middle) => return Ok(slope(&above, &middle, step)),
            (_, Ok(below)) if alike(&below, &middle) => return Ok(slope(&middle, &below, step)),
            (above, below) => refused = above.err().or(below.err()),
        }
    }
    refused.map_or(Ok([0.0; N]), Err)
}

/// How a function follows a pose: by its turn about each axis of the rig, then by its shift along each.
pub(crate) fn by_pose<const N: usize>(
    pose: &Transform<Rig, Target>,
    function: &mut dyn FnMut(Transform<Rig, Target>) -> Result<[f64; N], Error>,
) -> Result<[[f64; N]; 6], Error> {
    let mut columns = [[0.0; N]; 6];
    for (axis, column) in columns.iter_mut().enumerate() {
        let step = if axis < 3 { STEP_RAD } else { STEP_MM };
        *column = central(step, &mut |step| function(nudged(pose, axis, step)))?;
    }
    Ok(columns)
}

/// The rows of what follows a pose at all, from the columns of all that may.
pub(super) fn rows<const N: usize>(columns: &[[f64; N]; 6]) -> Vec<Row> {
    let rows = (0..N).map(|row| (row, columns.map(|column| column[row])));
    rows.filter(|(_, row)| row.iter().any(|v| v.abs() > 0.0)).collect()
}

/// How a function follows a unit vector: by its tilt along each axis.
pub(super) fn by_direction<F: Frame, const N: usize>(
    direction: Vector<F>,
    function: &mut dyn FnMut(Vector<F>) -> Result<[f64; N], Error>,
) -> Result<[[f64; N]; 3], Error> {
    let mut columns = [[0.0; N]; 3];
    for (axis, column) in columns.iter_mut().enumerate() {
        *column = central(STEP_RAD, &mut |step| function(tilted(direction, axis, step)))?;
    }
    Ok(columns)
}

/// A pose turned about (axes 0 to 2, radians) or shifted along (3 to 5, mm) an axis of the rig.
fn nudged(pose: &Transform<Rig, Target>, axis: usize, step: f64) -> Transform<Rig, Target> {
    let mut along = [0.0; 3];
    along[axis % 3] = step;
    if axis < 3 {
        let turn = Rotation3::new(Vector3::from(along)).into_inner();
        Transform::from_parts(turn * pose.rotation, pose.origin())
    } else {
        Transform::from_parts(pose.rotation, pose.origin() + Vector::new(along))
    }
}

/// A unit vector tilted along an axis, and still of unit length: of the step only what lies square to the vector counts.
pub(super) fn tilted<F: Frame>(direction: Vector<F>, axis: usize, step: f64) -> Vector<F> {
    let mut along = [0.0; 3];
    along[axis] = step;
    (direction + Vector::new(along).square_to(direction)).unit()
}
