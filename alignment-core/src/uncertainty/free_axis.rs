//! How the steering axis of a wheel that is free to roll follows its poses: by way of its spindle and its centre alone.
//!
//! The tips of the spindles n lie in a plane, whose normal is the axis k: least squares of k·(n − n̄) give δk = −S⁻¹·Σ(n − n̄)(k·δn), with the
//! scatter S of the tips. The knuckle at a station has k and the spindle's bearing about it for its axes, and so turns by
//! κ = k × δk + k·β, β = side·(δn − (n·k)·δk)/ρ, where ρ is the part of n square to k and side the direction in which it moves as the
//! knuckle turns. The point that the knuckles leave alone follows κ and the shift of the wheel centre as it does any rigid body.

use crate::compensation::Compensation;
use crate::frame::{Knuckle, Rig, Target, Transform, Vector};
use crate::rigid::{FixedDirection, cross_matrix};
use crate::steering::AxisLine;
use crate::units::DEG_PER_RAD;
use alloc::vec::Vec;
use nalgebra::{Matrix3, Vector3};

/// How the numbers of an axis follow one station: by its spindle, and by its wheel centre. In the order of the numbers: direction, point,
/// residuals in degrees and mm.
pub(super) struct ByStation {
    pub(super) by_spindle: [Vector<Rig>; 8],
    pub(super) by_centre: [Vector<Rig>; 8],
}

struct Seen {
    spindle: Vector3<f64>,
    /// From the fixed point's guess, the wheel centre, to the fixed point.
    arm: Vector3<f64>,
    /// Of the knuckle's turn, by the change of the axis and by that of the spindle.
    by_axis: Matrix3<f64>,
    by_spindle: Matrix3<f64>,
    /// Of the fixed point, by the knuckle's turn and shift.
    by_turn: Matrix3<f64>,
    by_shift: Matrix3<f64>,
    off_cone: f64,
    radial: f64,
    shift: Vector3<f64>,
}

fn column(v: Vector<Rig>) -> Vector3<f64> {
    Vector3::from(v.to_array())
}

fn vector(v: Vector3<f64>) -> Vector<Rig> {
    Vector::new(v.into())
}

/// The derivatives at the stations, in their order. None when the spindles stand alike.
pub(super) fn follow(
    axis: &AxisLine,
    clamp: &Compensation,
    poses: &[Transform<Rig, Target>],
    no_residual: f64,
) -> Option<Vec<ByStation>> {
    let spindle = Vector::<Target>::new(clamp.spindle_in_target);
    let centre = Vector::<Target>::new(clamp.centre_in_target_mm);
    let direction = axis.direction;
    let k = column(direction);
    let spindles: Vec<Vector<Rig>> = poses.iter().map(|pose| pose.direction(spindle)).collect();
    let share = 1.0 / spindles.iter().fold(0.0, |count, _| count + 1.0);
    let mean = spindles.iter().copied().sum::<Vector<Rig>>() * share;
    let scatter = spindles.iter().fold(Matrix3::zeros(), |scatter, &spindle| {
        let d = column(spindle - mean);
        scatter + d * d.transpose()
    });
    let level = Matrix3::identity() - k * k.transpose();
    let inverse = level * (level * scatter * level + k * k.transpose()).try_inverse()? * level;

    let knuckles: Vec<Transform<Rig, Knuckle>> = poses
        .iter()
        .zip(&spindles)
        .map(|(pose, spindle)| {
            let out = spindle.square_to(direction).unit();
            Transform::from_axes([out, direction.cross(out), direction], pose.point(centre))
        })
        .collect();
    let turning = FixedDirection::fit(knuckles.iter());
    let (point, point_in_rig) = turning.fixed_point(knuckles.iter(), Vector::zero());
    let seen: Vec<Seen> = knuckles
        .iter()
        .zip(&spindles)
        .map(|(knuckle, &spindle)| {
            let side = column(knuckle.direction(Vector::new([0.0, 1.0, 0.0])));
            let radial = spindle.square_to(direction).norm();
            let bearing = k * side.transpose() / radial;
            let [_, by_pose] = turning.point_follows(knuckle, point, Vector::zero());
            Seen {
                spindle: column(spindle),
                arm: column(knuckle.direction(point)),
                by_axis: cross_matrix(direction) - bearing * spindle.dot(direction),
                by_spindle: bearing,
                by_turn: by_pose.fixed_columns::<3>(0).into_owned(),
                by_shift: by_pose.fixed_columns::<3>(3).into_owned(),
                off_cone: (spindle - mean).dot(direction) / radial,
                radial,
                shift: column(knuckle.point(point) - point_in_rig),
            }
        })
        .collect();

    let by_axis = seen.iter().fold(Matrix3::zeros(), |sum, one| sum + one.by_turn * one.by_axis);
    // The parts of the residuals, as of a locked wheel; without any residual any direction will do.
    let rms = [axis.residual.rotation_deg / DEG_PER_RAD, axis.residual.translation_mm];
    let off = |one: &Seen| if rms[0] > no_residual { one.off_cone * share / rms[0] } else { share };
    let part = |one: &Seen| {
        if rms[1] > no_residual { one.shift * (share / rms[1]) } else { column(direction.any_square()) * share }
    };
    let turned = |one: &Seen| one.arm.cross(&part(one));
    let residual_by_axis = seen.iter().fold(Vector3::zeros(), |sum, one| sum + one.by_axis.tr_mul(&turned(one)));
    let follow = |one: &Seen| {
        let direction_by_spindle = -inverse * (one.spindle - column(mean)) * k.transpose();
        let point_by_spindle = by_axis * direction_by_spindle + one.by_turn * one.by_spindle;
        let row = |matrix: &Matrix3<f64>, i: usize| vector(matrix.row(i).transpose());
        let mut by = ByStation { by_spindle: [Vector::zero(); 8], by_centre: [Vector::zero(); 8] };
        for i in 0..3 {
            by.by_spindle[i] = row(&direction_by_spindle, i);
            by.by_spindle[3 + i] = row(&point_by_spindle, i);
            by.by_centre[3 + i] = row(&one.by_shift, i);
        }
        by.by_spindle[6] = vector(k * (off(one) * DEG_PER_RAD / one.radial));
        let by_spindle = one.by_spindle.tr_mul(&turned(one)) + direction_by_spindle.tr_mul(&residual_by_axis);
        by.by_spindle[7] = vector(by_spindle);
        by.by_centre[7] = vector(part(one));
        by
    };
    Some(seen.iter().map(follow).collect())
}
