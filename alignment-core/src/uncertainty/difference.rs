//! Central differences, for what has no derivative written out: (f(x + h) − f(x − h))/2h.

use crate::error::Error;
use crate::frame::{Frame, Rig, Target, Transform, Vector};
use nalgebra::{Rotation3, Vector3};

/// The step of an angle, radians, and of a direction. What is left out grows with its square, 1e-10; rounding makes about as much.
pub(super) const STEP_RAD: f64 = 1e-5;
/// The step of a length, mm.
pub(super) const STEP_MM: f64 = 1e-2;

/// The difference of a function of a step.
pub(super) fn central<const N: usize>(
    step: f64,
    mut function: impl FnMut(f64) -> Result<[f64; N], Error>,
) -> Result<[f64; N], Error> {
    let (above, below) = (function(step)?, function(-step)?);
    Ok(core::array::from_fn(|i| (above[i] - below[i]) / (2.0 * step)))
}

/// How a function follows a pose: by its turn about each axis of the rig, then by its shift along each.
pub(super) fn by_pose<const N: usize>(
    pose: &Transform<Rig, Target>,
    mut function: impl FnMut(Transform<Rig, Target>) -> Result<[f64; N], Error>,
) -> Result<[[f64; N]; 6], Error> {
    let mut columns = [[0.0; N]; 6];
    for (axis, column) in columns.iter_mut().enumerate() {
        let step = if axis < 3 { STEP_RAD } else { STEP_MM };
        *column = central(step, |step| function(nudged(pose, axis, step)))?;
    }
    Ok(columns)
}

/// How a function follows a unit vector: by its tilt along each axis.
pub(super) fn by_direction<F: Frame, const N: usize>(
    direction: Vector<F>,
    mut function: impl FnMut(Vector<F>) -> Result<[f64; N], Error>,
) -> Result<[[f64; N]; 3], Error> {
    let mut columns = [[0.0; N]; 3];
    for (axis, column) in columns.iter_mut().enumerate() {
        *column = central(STEP_RAD, |step| function(tilted(direction, axis, step)))?;
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
