//! The steering axis, from a caster sweep: caster, steering-axis inclination (SAI), included angle, trail and scrub.
//!
//! Steer left and right and each front target turns about its steering axis. Two ways of sweeping:
//!
//! **Wheel locked** to the knuckle by the brake: the target turns rigidly about the axis. The axis is the direction k that
//! the rotations leave alone, and the point that they leave alone, in least squares. Two stations at ± θ carry the pose noise
//! with a gain of about √2/(2·sin θ), for caster and SAI alike.
//!
//! **Wheel free** to roll: only the spindle is known at each station. It stays on a cone about the steering axis, so the tips of
//! the spindles lie in a plane whose normal is k. Caster is as good as before; SAI scatters about ten times more, for it
//! rests on the sagitta 1 − cos θ. The result carries a warning, and a sweep below ± 8° is refused.
//!
//! # What can go wrong
//! **The body moves** on its plates while the wheels are steered: it is found again from the rear targets when the session asks for it.
//! **A locked wheel rolls**: rolling in step with the steering looks like another axis, rigid as ever. Only the spindle tells: it stays on
//! a cone about the true axis. Its height along the fitted axis then varies as 1 − cos θ, and that is what is watched.
//! **The axis itself moves**, as in multi-link suspensions: the axis between neighbouring stations shows how, and the residuals how badly
//! one fixed axis explains the sweep. Nor is it the line through two ball joints: where springs give as the car is steered, one front wheel sinks and
//! the other rises, and the knuckle turns about a line that may lean 0.1° from that, whatever the range. That line is ISO 8855's steering axis, and
//! it is what a sweep of locked wheels shows.
//!
//! # Projected angles
//! With k the unit vector up the axis in the vehicle frame and s = +1 left, −1 right: caster = atan2(−k_x, k_z), the side
//! view; SAI = atan2(−s·k_y, k_z), the front view. They are neither Euler angles nor the true inclination of the axis.

use crate::compensation::{Compensation, Residual};
use crate::error::{Error, ErrorCode};
use crate::frame::{Frame, Knuckle, Rig, Target, Transform, Vector, Vehicle};
use crate::lanes::Real;
use crate::layout::{ByWheel, Side};
use crate::pose;
use crate::rigid::FixedDirection;
use crate::session::LEVER_MM;
use crate::units::{self, atan2_deg, deg_from_rad, rad_from_deg};
use crate::wheel::{self, WheelInRig};
use alloc::vec::Vec;
use nalgebra::{Matrix3, Vector3};

/// The least sweep with the wheels locked, from one end to the other, degrees.
pub const MIN_SWEEP_LOCKED_DEG: f64 = 10.0;
/// The least sweep with the wheels free to roll, from one end to the other, degrees: ± 8°.
pub const MIN_SWEEP_FREE_DEG: f64 = 16.0;
/// The greatest angle between a steering axis and up, degrees. No car's axis comes near it.
const MAX_LEAN_DEG: f64 = 80.0;
/// The least root mean square by which the tips of a free wheel's spindle must leave a straight line, as a share of the spindle.
const LEAST_SAGITTA: f64 = 1e-3;
/// Neighbouring stations nearer to each other than this have no axis of their own, degrees.
const LEAST_STEP_DEG: f64 = 1.0;
/// The cosine of the step beyond which they have none either, a third of a turn: half a turn is the same either way.
const LEAST_STEP_COSINE: f64 = -0.5;
/// By how many times its noise a spindle's height along the axis must vary for its wheel to be suspected of having rolled.
pub(crate) const CONE_SUSPECT: f64 = 1.25;
/// The cosine of [`MAX_LEAN_DEG`].
pub(crate) const LEAST_UPRIGHT: f64 = 0.173_648_177_666_930_33;
/// The sweep below which the result carries a warning, degrees. Common practice: ± 10° to ± 20°.
pub const SHORT_SWEEP_DEG: f64 = 20.0;

/// The readings of one side's steering axis.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct SteeringAxisReadings {
    /// Caster to the datum, in the side view; positive with the top of the axis rearward.
    pub caster_deg: Option<f64>,
    /// Steering-axis inclination to the datum, in the front view; positive with the top inboard.
    pub sai_deg: Option<f64>,
    /// Included angle: SAI plus camber.
    pub included_angle_deg: Option<f64>,
    /// Caster trail along the vehicle's x axis; positive when the axis meets the ground ahead of the contact centre.
    pub caster_trail_mm: Option<f64>,
    /// Scrub radius along the vehicle's y axis; positive when the axis meets the ground inboard of the contact centre.
    pub scrub_radius_mm: Option<f64>,
    /// Caster trail along the wheel's heading; positive when the axis meets the ground ahead of the contact centre.
    pub caster_trail_in_wheel_plane_mm: Option<f64>,
    /// Scrub radius square to the wheel's heading; positive when the axis meets the ground inboard of the contact centre.
    pub scrub_radius_in_wheel_plane_mm: Option<f64>,
    /// Caster to the body, whose pitch and roll come from the ride heights; positive with the top of the axis rearward.
    pub caster_to_body_deg: Option<f64>,
    /// Steering-axis inclination to the body, whose pitch and roll come from the ride heights; positive with the top inboard.
    pub sai_to_body_deg: Option<f64>,
    /// Steering axis, unit vector upward, in the vehicle frame.
    pub axis_direction: Option<[f64; 3]>,
    /// Point of the steering axis nearest to the wheel centre straight ahead, in the vehicle frame.
    pub axis_point_mm: Option<[f64; 3]>,
    /// How far one fixed axis leaves the sweep unexplained, root mean square over the stations: direction.
    pub residual_deg: Option<f64>,
    /// How far one fixed axis leaves the sweep unexplained, root mean square over the stations: position.
    pub residual_mm: Option<f64>,
}

/// The readings of the steering.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct SteeringReadings {
    /// The left steering axis.
    pub left: SteeringAxisReadings,
    /// The right steering axis.
    pub right: SteeringAxisReadings,
    /// How far from straight ahead the front wheels stood at the ahead station: (right toe − left toe)/2 to the thrust line; positive to the left.
    pub ahead_error_deg: Option<f64>,
    /// Caster, left minus right.
    pub cross_caster_deg: Option<f64>,
    /// SAI, left minus right.
    pub cross_sai_deg: Option<f64>,
    /// Range of the sweep: largest minus smallest mean steer angle of the front wheels.
    pub sweep_range_deg: Option<f64>,
}

/// The steering axis between two neighbouring stations of a sweep: about which the knuckle turned from one to the other. On a
/// suspension whose axis moves it differs from step to step; each carries the noise √2·u/(2·sin(θ/2)) of its step θ.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct InstantaneousAxis {
    /// The two stations of the sweep, in the order of their steer angles.
    pub stations: [usize; 2],
    /// Steer angle halfway between them, from the wheel's own heading straight ahead; positive to the left.
    pub steer_deg: f64,
    /// Caster to the datum, in the side view; positive with the top of the axis rearward.
    pub caster_deg: f64,
    /// Steering-axis inclination to the datum, in the front view; positive with the top inboard.
    pub sai_deg: f64,
    /// Caster trail along the vehicle's x axis; positive when the axis meets the ground ahead of the contact centre.
    pub caster_trail_mm: Option<f64>,
    /// Scrub radius along the vehicle's y axis; positive when the axis meets the ground inboard of the contact centre.
    pub scrub_radius_mm: Option<f64>,
}

/// Caster in degrees, positive with the top of the axis rearward: atan2(−k_x, k_z), for the axis k upward in the vehicle frame.
///
/// # Errors
/// [`ErrorCode::NotFinite`], [`ErrorCode::NotUnitLength`].
///
/// ```
/// # use alignment_core::steering::caster_deg;
/// let k = [-5.0_f64.to_radians().sin(), 0.0, 5.0_f64.to_radians().cos()];
/// assert!((caster_deg(k)? - 5.0).abs() < 1e-12);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn caster_deg(axis_direction: [f64; 3]) -> Result<f64, Error> {
    checked_axis(axis_direction).map(caster_of)
}

/// Steering-axis inclination in degrees, positive with the top inboard: atan2(−s·k_y, k_z), for the axis k upward in the vehicle frame.
///
/// # Errors
/// [`ErrorCode::NotFinite`], [`ErrorCode::NotUnitLength`].
///
/// ```
/// # use alignment_core::{Side, steering::sai_deg};
/// let k = [0.0, -12.0_f64.to_radians().sin(), 12.0_f64.to_radians().cos()];
/// assert!((sai_deg(Side::Left, k)? - 12.0).abs() < 1e-12);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn sai_deg(side: Side, axis_direction: [f64; 3]) -> Result<f64, Error> {
    checked_axis(axis_direction).map(|axis| sai_of(side, axis))
}

/// The unit vector up the steering axis, in the vehicle frame, from its two projected angles: (−tan caster, −s·tan SAI, 1) made unit.
///
/// # Errors
/// [`ErrorCode::NotFinite`], [`ErrorCode::AngleOutOfRange`] beyond ± 80°.
///
/// ```
/// # use alignment_core::{Side, steering::{axis_direction, caster_deg, sai_deg}};
/// let k = axis_direction(Side::Right, 5.0, 12.0)?;
/// assert!((caster_deg(k)? - 5.0).abs() < 1e-12 && (sai_deg(Side::Right, k)? - 12.0).abs() < 1e-12);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn axis_direction(side: Side, caster_deg: f64, sai_deg: f64) -> Result<[f64; 3], Error> {
    const RANGE_DEG: [f64; 2] = [-80.0, 80.0];
    for (name, angle) in [("caster_deg", caster_deg), ("sai_deg", sai_deg)] {
        crate::session::check_range(ErrorCode::AngleOutOfRange, name, angle, RANGE_DEG)?;
    }
    let tan = |angle_deg| libm::tan(rad_from_deg(angle_deg));
    let axis = Vector::<Vehicle>::new([-tan(caster_deg), -side.sign() * tan(sai_deg), 1.0]);
    Ok(axis.unit().to_array())
}

/// Pitch and roll of the body from its ride heights, degrees: pitch = atan((rear − front)/wheelbase), nose-down positive;
/// roll = atan((left − right)/track), left-up positive; each height the mean of its two wheels.
///
/// # Errors
/// [`ErrorCode::NotFinite`], [`ErrorCode::LengthOutOfRange`].
///
/// ```
/// # use alignment_core::{session::ByWheel, steering::body_attitude_deg};
/// let heights = ByWheel { fl: 15.0, fr: 15.0, rl: 30.0, rr: 30.0 };
/// let (pitch_deg, roll_deg) = body_attitude_deg(&heights, 2730.0, 1500.0)?;
/// assert!((pitch_deg - 0.3148).abs() < 1e-4 && roll_deg == 0.0);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn body_attitude_deg(ride_height_mm: &ByWheel<f64>, wheelbase_mm: f64, track_mm: f64) -> Result<(f64, f64), Error> {
    use crate::session::{RIDE_HEIGHT_RANGE_MM, check_range};
    for wheel in crate::layout::Wheel::ALL {
        let height = *ride_height_mm.get(wheel);
        check_range(ErrorCode::LengthOutOfRange, "ride_height_mm", height, RIDE_HEIGHT_RANGE_MM)
            .map_err(|error| error.wheel(wheel))?;
    }
    check_range(ErrorCode::LengthOutOfRange, "wheelbase_mm", wheelbase_mm, crate::vehicle::WHEELBASE_RANGE_MM)?;
    check_range(ErrorCode::LengthOutOfRange, "track_mm", track_mm, crate::vehicle::TRACK_RANGE_MM)?;
    let ByWheel { fl, fr, rl, rr } = *ride_height_mm;
    let (front, rear, left, right) = ((fl + fr) / 2.0, (rl + rr) / 2.0, (fl + rl) / 2.0, (fr + rr) / 2.0);
    Ok((atan2_deg(rear - front, wheelbase_mm), atan2_deg(left - right, track_mm)))
}

/// A steering axis seen from the body instead of the ground: the axis turned back by the body's pitch (nose-down positive), then by its
/// roll (left-up positive). Pitch adds exactly to caster, and changes SAI as well: the angles cannot simply be added.
///
/// # Errors
/// [`ErrorCode::NotFinite`], [`ErrorCode::NotUnitLength`], [`ErrorCode::AngleOutOfRange`] for a pitch or roll beyond ± 45°.
///
/// ```
/// # use alignment_core::{Side, steering::{axis_direction, axis_to_body, caster_deg}};
/// let to_ground = axis_direction(Side::Left, 10.29, 12.0)?;
/// let to_body = axis_to_body(to_ground, 0.31, 0.0)?;
/// assert!((caster_deg(to_body)? - 10.60).abs() < 1e-12);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn axis_to_body(axis_direction: [f64; 3], pitch_deg: f64, roll_deg: f64) -> Result<[f64; 3], Error> {
    const RANGE_DEG: [f64; 2] = [-45.0, 45.0];
    let [x, y, z] = checked_axis(axis_direction)?.to_array();
    for (name, angle) in [("pitch_deg", pitch_deg), ("roll_deg", roll_deg)] {
        crate::session::check_range(ErrorCode::AngleOutOfRange, name, angle, RANGE_DEG)?;
    }
    let (sin, cos) = libm::sincos(rad_from_deg(pitch_deg));
    let (x, z) = (cos * x - sin * z, sin * x + cos * z);
    let (sin, cos) = libm::sincos(rad_from_deg(roll_deg));
    Ok([x, cos * y + sin * z, cos * z - sin * y])
}

fn checked_axis(axis: [f64; 3]) -> Result<Vector<Vehicle>, Error> {
    let axis = Vector::new(axis);
    pose::check_unit_length(axis.norm()).map_err(|error| error.input("axis_direction"))?;
    Ok(axis.unit())
}

fn caster_of<T: Real>(axis: Vector<Vehicle, T>) -> T {
    (-axis.x()).atan2_deg(axis.z())
}

fn sai_of<T: Real>(side: Side, axis: Vector<Vehicle, T>) -> T {
    (axis.y().like(-side.sign()) * axis.y()).atan2_deg(axis.z())
}

/// A steering axis fitted to a sweep, in the rig.
pub(crate) struct SteeringAxis {
    /// Unit vector upward.
    pub(crate) direction: Vector<Rig>,
    point: Vector<Rig>,
    /// Per station that saw the wheel: its index and how far it lies from the fit.
    pub(crate) residuals: Vec<(usize, Residual)>,
}

/// A steering axis as a line in the rig: all that its readings rest on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct AxisLine {
    /// Unit vector upward.
    pub(crate) direction: Vector<Rig>,
    /// Any point of it.
    pub(crate) point: Vector<Rig>,
    /// How far one fixed axis leaves the sweep unexplained, root mean square over the stations.
    pub(crate) residual: Residual,
}

/// One station of a sweep for one front wheel.
#[derive(Clone, Copy)]
pub(crate) struct SweepStation {
    pub(crate) index: usize,
    pub(crate) rig_from_target: Transform<Rig, Target>,
    /// Spindle in the rig.
    pub(crate) spindle: Vector<Rig>,
    /// Steer angle from the wheel's own heading straight ahead, left positive.
    pub(crate) steer_deg: f64,
}

/// The axis about which a wheel locked to its knuckle turned.
pub(crate) fn fit_locked(
    sweep: &[SweepStation],
    centre: Vector<Target>,
    up: Vector<Rig>,
) -> Result<SteeringAxis, Error> {
    check_count(sweep, 2)?;
    let poses = || sweep.iter().map(|station| &station.rig_from_target);
    let axis = FixedDirection::fit(poses());
    check_turned(&axis)?;
    let axis = axis.pointing_along(up);
    check_lean(axis.in_rig, up)?;
    let (point, point_in_rig) = axis.fixed_point(poses(), centre);
    let residuals = sweep
        .iter()
        .map(|station| {
            let [tilt, shift] = axis.left_over(&station.rig_from_target, (point, point_in_rig));
            (station.index, Residual { rotation_deg: deg_from_rad(tilt), translation_mm: shift })
        })
        .collect();
    Ok(SteeringAxis { direction: axis.in_rig, point: point_in_rig, residuals })
}

/// The axis about which a wheel locked to its knuckle turned from one station to the next; None when it hardly turned, by half a
/// turn or so, or about a line so level that it is no steering axis.
pub(crate) fn between(
    one: &SweepStation,
    next: &SweepStation,
    centre: Vector<Target>,
    up: Vector<Rig>,
) -> Option<AxisLine> {
    let turn = next.rig_from_target.rotation * one.rig_from_target.rotation.transpose();
    // The skew part of a rotation by θ about k is k·sin θ.
    let [x, y, z] = [turn[(2, 1)] - turn[(1, 2)], turn[(0, 2)] - turn[(2, 0)], turn[(1, 0)] - turn[(0, 1)]];
    let skew = Vector::<Rig>::new([x, y, z]) * 0.5;
    let (sin, cos) = (skew.norm(), (turn.trace() - 1.0) / 2.0);
    if cos < LEAST_STEP_COSINE || cos > 0.0 && sin < libm::sin(rad_from_deg(LEAST_STEP_DEG)) {
        return None;
    }
    let sense = if skew.dot(up) < 0.0 { -1.0 } else { 1.0 };
    let axis = skew.unit() * sense;
    if axis.dot(up) < LEAST_UPRIGHT {
        return None;
    }
    let (from, to) = (one.rig_from_target.point(centre), next.rig_from_target.point(centre));
    let chord = (to - from).square_to(axis);
    // From the middle of the chord by half of it over tan(θ/2) = sin θ/(1 + cos θ).
    let point = (from + to) * 0.5 + axis.cross(chord) * (sense * 0.5 * (1.0 + cos) / sin);
    Some(AxisLine { direction: axis, point, residual: Residual::default() })
}

/// Whether the spindle's height along the axis of a locked sweep varies by more than noise makes it: only then can the wheel have rolled.
pub(crate) fn leaves_its_cone(sweep: &[SweepStation], axis: &SteeringAxis, noise_rad: f64) -> bool {
    #[expect(clippy::cast_precision_loss, reason = "the number of stations is far below 2^52")]
    let count = sweep.len() as f64;
    let heights = || sweep.iter().map(|station| station.spindle.dot(axis.direction));
    let mean = heights().sum::<f64>() / count;
    units::root_mean_square(heights().map(|height| height - mean)) > CONE_SUSPECT * noise_rad
}

/// By how much a wheel that was to be locked rolled about its spindle during the sweep, and how much could be noise, degrees; None when it is
/// no more than that, or the stations cannot tell.
///
/// A wheel that rolls in step with the steering turns about k + c·a instead of k, nearly as rigidly: only spindle and wheel centre, which
/// rolling leaves alone, show the true axis. Seen along that one, the target turns about its spindle. An error of the axis across the car
/// passes for such a roll, and so does an axis whose caster changes with the steering: these limit the test. `stated` is the noise of a rotation and what a fixed axis may leave over in position:
/// where it leaves more the axis itself moves, and nothing is said. When it is not stated, both are taken from what the fit leaves over.
pub(crate) fn rolled_about_spindle(
    sweep: &[SweepStation],
    compensation: &Compensation,
    up: Vector<Rig>,
    stated: Option<(f64, f64)>,
) -> Option<(f64, f64)> {
    /// So many standard deviations are no chance.
    const SURE: f64 = 5.0;
    /// By how much the two may disagree.
    const DISAGREE: f64 = 4.0;
    /// What is left to an axis that moves: its caster may change by 0.3° while the wheel turns by 20°. Common practice, no source.
    const DRIFT: f64 = 0.3 / 20.0;
    #[expect(clippy::cast_precision_loss, reason = "the number of stations is far below 2^52")]
    let count = sweep.len() as f64;
    let free = fit_free(sweep, Vector::new(compensation.centre_in_target_mm), up).ok()?;
    let rms = free.rms();
    let of_cone = rad_from_deg(rms.rotation_deg) * units::sqrt(count / (count - 3.0).max(1.0));
    let of_position = rms.translation_mm / (units::sqrt(3.0) * LEVER_MM);
    let (noise, moves) = match stated {
        Some((noise, misfit_mm)) => (noise.max(of_cone), rms.translation_mm > misfit_mm),
        // Few stations fit any cone.
        None if count < 5.0 => return None,
        None => {
            let least = rad_from_deg(1e-4);
            (of_cone.max(of_position).max(least), of_position > DISAGREE * of_cone.max(least))
        }
    };
    if moves {
        return None;
    }

    let k = free.direction;
    let radial = sweep.iter().map(|station| station.spindle.square_to(k)).sum::<Vector<Rig>>().unit();
    let sideways = k.cross(radial);
    let bearing = |station: &SweepStation| libm::atan2(station.spindle.dot(sideways), station.spindle.dot(radial));
    let mark = Vector::<Target>::new(compensation.spindle_in_target).any_square();
    let roll = |station: &SweepStation| {
        let upward = k.square_to(station.spindle).unit();
        let seen = station.rig_from_target.direction(mark);
        libm::atan2(seen.dot(station.spindle.cross(upward)), seen.dot(upward))
    };
    let turn = 2.0 * core::f64::consts::PI;
    let first = roll(sweep.first()?);
    let (mut normal, mut rolled, mut turned) = (Matrix3::zeros(), (0.0, 0.0), (f64::INFINITY, f64::NEG_INFINITY));
    for station in sweep {
        let (angle, bearing) = (roll(station) - first, bearing(station));
        let angle = angle - turn * libm::round(angle / turn);
        rolled = (angle.min(rolled.0), angle.max(rolled.1));
        turned = (bearing.min(turned.0), bearing.max(turned.1));
        let (sin, cos) = libm::sincos(bearing);
        let row = Vector3::new(1.0, sin, 1.0 - cos);
        normal += row * row.transpose();
    }
    // The axis leans across the car by what the height of the spindle's tip along it says, which varies as 1 − cos.
    let of_axis = noise * units::sqrt(normal.try_inverse()?[(2, 2)].max(0.0)) * (turned.1 - turned.0);
    let bound = SURE * (of_axis + units::sqrt(2.0) * noise) + DRIFT * (turned.1 - turned.0);
    let range = rolled.1 - rolled.0;
    (range > bound).then(|| (deg_from_rad(range), deg_from_rad(bound)))
}

/// The axis about which the spindle of a free wheel swung.
pub(crate) fn fit_free(sweep: &[SweepStation], centre: Vector<Target>, up: Vector<Rig>) -> Result<SteeringAxis, Error> {
    check_count(sweep, 3)?;
    #[expect(clippy::cast_precision_loss, reason = "the number of stations is far below 2^52")]
    let share = 1.0 / sweep.len() as f64;
    // The tips of the spindles lie in a plane; its normal is the direction in which they scatter least.
    let mean = sweep.iter().map(|station| station.spindle).sum::<Vector<Rig>>() * share;
    let scatter = sweep.iter().fold(Matrix3::zeros(), |scatter, station| {
        let d = nalgebra::Vector3::from((station.spindle - mean).to_array());
        scatter + d * d.transpose()
    });
    let eigen = scatter.symmetric_eigen();
    let smallest = eigen.eigenvalues.imin();
    let middle = (0..3).filter(|&i| i != smallest).fold(f64::INFINITY, |least, i| least.min(eigen.eigenvalues[i]));
    if middle * share < LEAST_SAGITTA * LEAST_SAGITTA {
        // However many stations there are, the spindle stood in two places, and two points span no plane.
        return Err(Error::new(ErrorCode::TooFewStations).value(2.0).at_least(3.0));
    }
    let normal = Vector::wrap(eigen.eigenvectors.column(smallest).into()).unit();
    let axis = if normal.dot(up) < 0.0 { -normal } else { normal };

    // The knuckle turns with the spindle's bearing about the axis; its origin is the wheel centre, which rolling leaves alone.
    let knuckles: Vec<Transform<Rig, Knuckle>> = sweep
        .iter()
        .map(|station| {
            let out = station.spindle.square_to(axis).unit();
            Transform::from_axes([out, axis.cross(out), axis], station.rig_from_target.point(centre))
        })
        .collect();
    let turning = FixedDirection::fit(knuckles.iter());
    check_turned(&turning)?;
    check_lean(axis, up)?;
    let (point, point_in_rig) = turning.fixed_point(knuckles.iter(), Vector::zero());
    let height = mean.dot(axis);
    let residuals = sweep
        .iter()
        .zip(&knuckles)
        .map(|(station, knuckle)| {
            let off_cone = (station.spindle.dot(axis) - height) / station.spindle.square_to(axis).norm();
            let shift = (knuckle.point(point) - point_in_rig).norm();
            (station.index, Residual { rotation_deg: deg_from_rad(off_cone.abs()), translation_mm: shift })
        })
        .collect();
    Ok(SteeringAxis { direction: axis, point: point_in_rig, residuals })
}

/// Refuses a wheel that hardly turned, whatever the other one did.
fn check_turned<From: Frame>(axis: &FixedDirection<From>) -> Result<(), Error> {
    let turned_deg = axis.equivalent_angle_deg();
    if turned_deg < MIN_SWEEP_LOCKED_DEG * 0.5 {
        return Err(Error::new(ErrorCode::SweepTooSmall).value(turned_deg).at_least(MIN_SWEEP_LOCKED_DEG * 0.5));
    }
    Ok(())
}

/// Refuses an axis so level that it is none of a steering, and does not meet the ground.
fn check_lean(axis: Vector<Rig>, up: Vector<Rig>) -> Result<(), Error> {
    let lean_deg = atan2_deg(axis.cross(up).norm(), axis.dot(up));
    if lean_deg > MAX_LEAN_DEG {
        let error = Error::new(ErrorCode::AngleOutOfRange).input("steering axis to up");
        return Err(error.value(lean_deg).at_most(MAX_LEAN_DEG));
    }
    Ok(())
}

#[expect(clippy::cast_precision_loss, reason = "the number of stations is far below 2^52")]
fn check_count(sweep: &[SweepStation], least: usize) -> Result<(), Error> {
    if sweep.len() < least {
        return Err(Error::new(ErrorCode::TooFewStations).value(sweep.len() as f64).at_least(least as f64));
    }
    Ok(())
}

/// A front wheel straight ahead, in the vehicle frame: what the readings of its steering axis refer to.
pub(crate) struct FrontWheel<T = f64> {
    pub(crate) side: Side,
    pub(crate) spindle: Vector<Vehicle, T>,
    pub(crate) centre: Vector<Vehicle, T>,
    /// None when no radius is known.
    pub(crate) contact: Option<Vector<Vehicle, T>>,
}

/// What the axis of a front wheel shows, as the fields of [`SteeringAxisReadings`].
pub(crate) struct AxisFigures<T> {
    pub(crate) caster_deg: T,
    pub(crate) sai_deg: T,
    pub(crate) included_angle_deg: T,
    pub(crate) caster_trail_mm: Option<T>,
    pub(crate) scrub_radius_mm: Option<T>,
    pub(crate) caster_trail_in_wheel_plane_mm: Option<T>,
    pub(crate) scrub_radius_in_wheel_plane_mm: Option<T>,
    /// The point of the axis nearest to the wheel centre.
    pub(crate) point: Vector<Vehicle, T>,
}

impl<T: Real> FrontWheel<T> {
    /// Where an axis meets the ground of this wheel: the plane through its contact centre, square to the datum's normal.
    fn ground_point(&self, direction: Vector<Vehicle, T>, point: Vector<Vehicle, T>) -> Option<Vector<Vehicle, T>> {
        Some(point + direction * ((self.contact?.z() - point.z()) / direction.z()))
    }

    /// The figures of the axis that has this direction, upward, and goes through this point.
    pub(crate) fn axis_figures(&self, direction: Vector<Vehicle, T>, point: Vector<Vehicle, T>) -> AxisFigures<T> {
        let side = self.side;
        let ground = self.ground_point(direction, point);
        let from_contact = ground.zip(self.contact).map(|(ground, contact)| ground - contact);
        let heading = wheel::heading_of(side, self.spindle);
        let sign = point.x().like(side.sign());
        let outward = wheel::up_like(sign).cross(heading) * sign;
        AxisFigures {
            caster_deg: caster_of(direction),
            sai_deg: sai_of(side, direction),
            included_angle_deg: sai_of(side, direction) + wheel::camber_of(self.spindle),
            caster_trail_mm: from_contact.map(Vector::x),
            scrub_radius_mm: from_contact.map(|from| -sign * from.y()),
            caster_trail_in_wheel_plane_mm: from_contact.map(|from| from.dot(heading)),
            scrub_radius_in_wheel_plane_mm: from_contact.map(|from| -from.dot(outward)),
            point: point + direction * (self.centre - point).dot(direction),
        }
    }
}

impl SteeringAxis {
    /// Where a wheel is about the axis, whatever its steer angle: how far its spindle leans up the axis, radians; how far its centre lies along
    /// the axis and off it, mm.
    pub(crate) fn coordinates(&self, wheel: &WheelInRig) -> [f64; 3] {
        let from_point = wheel.centre - self.point;
        let k = self.direction;
        [wheel.spindle.dot(k), from_point.dot(k), from_point.square_to(k).norm()]
    }

    /// How far one fixed axis leaves the sweep unexplained, root mean square over the stations.
    pub(crate) fn rms(&self) -> Residual {
        let of = |pick: fn(&Residual) -> f64| units::root_mean_square(self.residuals.iter().map(|(_, r)| pick(r)));
        Residual { rotation_deg: of(|r| r.rotation_deg), translation_mm: of(|r| r.translation_mm) }
    }

    pub(crate) fn line(&self) -> AxisLine {
        AxisLine { direction: self.direction, point: self.point, residual: self.rms() }
    }
}

impl AxisLine {
    /// Where the axis meets the ground of this wheel: the plane through its contact centre, square to the datum's normal.
    pub(crate) fn ground_point(
        &self,
        vehicle_from_rig: &Transform<Vehicle, Rig>,
        wheel: &FrontWheel,
    ) -> Option<Vector<Vehicle>> {
        wheel.ground_point(vehicle_from_rig.direction(self.direction), vehicle_from_rig.point(self.point))
    }

    /// The readings of an axis between two stations.
    pub(crate) fn instantaneous(
        &self,
        vehicle_from_rig: &Transform<Vehicle, Rig>,
        wheel: &FrontWheel,
        stations: [usize; 2],
        steer_deg: f64,
    ) -> InstantaneousAxis {
        let k = vehicle_from_rig.direction(self.direction);
        let ground = self.ground_point(vehicle_from_rig, wheel);
        let from_contact = ground.zip(wheel.contact).map(|(ground, contact)| ground - contact);
        InstantaneousAxis {
            stations,
            steer_deg,
            caster_deg: caster_of(k),
            sai_deg: sai_of(wheel.side, k),
            caster_trail_mm: from_contact.map(Vector::x),
            scrub_radius_mm: from_contact.map(|from| -wheel.side.sign() * from.y()),
        }
    }

    /// Every reading of the axis. `attitude_deg` is the body's pitch and roll, when the ride heights are known.
    pub(crate) fn readings(
        &self,
        vehicle_from_rig: &Transform<Vehicle, Rig>,
        wheel: &FrontWheel,
        attitude_deg: Option<(f64, f64)>,
    ) -> Result<SteeringAxisReadings, Error> {
        let side = wheel.side;
        let k = vehicle_from_rig.direction(self.direction);
        let figures = wheel.axis_figures(k, vehicle_from_rig.point(self.point));
        let to_body = attitude_deg
            .map(|(pitch, roll)| axis_to_body(k.to_array(), pitch, roll))
            .transpose()
            .map_err(|error| error.input("ride_height_mm"))?;
        let to_body = to_body.map(Vector::new);
        Ok(SteeringAxisReadings {
            caster_deg: Some(figures.caster_deg),
            sai_deg: Some(figures.sai_deg),
            included_angle_deg: Some(figures.included_angle_deg),
            caster_trail_mm: figures.caster_trail_mm,
            scrub_radius_mm: figures.scrub_radius_mm,
            caster_trail_in_wheel_plane_mm: figures.caster_trail_in_wheel_plane_mm,
            scrub_radius_in_wheel_plane_mm: figures.scrub_radius_in_wheel_plane_mm,
            caster_to_body_deg: to_body.map(caster_of),
            sai_to_body_deg: to_body.map(|k| sai_of(side, k)),
            axis_direction: Some(k.to_array()),
            axis_point_mm: Some(figures.point.to_array()),
            residual_deg: Some(self.residual.rotation_deg),
            residual_mm: Some(self.residual.translation_mm),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn projected_angles_by_hand() {
        // Top rearward and inboard on the right: k = (−0.1, +0.2, 1) made unit; inboard on the right is +y.
        let k = Vector::<Vehicle>::new([-0.1, 0.2, 1.0]).unit().to_array();
        assert!((caster_deg(k).unwrap() - 0.1_f64.atan().to_degrees()).abs() < 1e-12);
        assert!((sai_deg(Side::Right, k).unwrap() - 0.2_f64.atan().to_degrees()).abs() < 1e-12);
        assert!((sai_deg(Side::Left, k).unwrap() + 0.2_f64.atan().to_degrees()).abs() < 1e-12);
    }

    #[test]
    fn a_step_of_half_a_turn_has_no_axis() {
        let up = Vector::<Rig>::new([0.0, 0.0, 1.0]);
        let station = |index, turn_deg: f64| {
            let (sin, cos) = libm::sincos(rad_from_deg(turn_deg));
            let (x, y) = (Vector::new([cos, sin, 0.0]), Vector::new([-sin, cos, 0.0]));
            let rig_from_target = Transform::from_axes([x, y, up], Vector::new([0.0, 700.0, 300.0]));
            SweepStation { index, rig_from_target, spindle: y, steer_deg: turn_deg }
        };
        let straight = station(0, 0.0);
        assert!(between(&straight, &station(1, 5.0), Vector::zero(), up).is_some());
        assert!(between(&straight, &station(1, 180.0), Vector::zero(), up).is_none());
        // To the last bit, so that no skew part is left.
        let mut half = station(1, 0.0);
        half.rig_from_target = Transform::from_axes(
            [[-1.0, 0.0, 0.0], [0.0, -1.0, 0.0], [0.0, 0.0, 1.0]].map(Vector::new),
            Vector::zero(),
        );
        assert!(between(&straight, &half, Vector::zero(), up).is_none());
    }

    #[test]
    fn the_body_sees_pitch_in_caster_exactly_and_left_up_roll_in_sai() {
        let k = axis_direction(Side::Left, 5.0, 12.0).unwrap();
        let pitched = axis_to_body(k, 1.5, 0.0).unwrap();
        assert!((caster_deg(pitched).unwrap() - 6.5).abs() < 1e-12);
        // The body's left is up: its own vertical leans to the right, inboard on the left, so less SAI is seen.
        let k = axis_direction(Side::Left, 0.0, 12.0).unwrap();
        let rolled = axis_to_body(k, 0.0, 1.0).unwrap();
        assert!((sai_deg(Side::Left, rolled).unwrap() - 11.0).abs() < 1e-12);
        let k = axis_direction(Side::Right, 0.0, 12.0).unwrap();
        let rolled = axis_to_body(k, 0.0, 1.0).unwrap();
        assert!((sai_deg(Side::Right, rolled).unwrap() - 13.0).abs() < 1e-12);
    }

    #[test]
    fn the_axis_of_a_step_is_found_whichever_way_it_turned() {
        let up = Vector::<Rig>::new([0.0, 0.0, 1.0]);
        let axis = Vector::<Rig>::new([-0.1, 0.2, 1.0]).unit();
        let through = Vector::<Rig>::new([10.0, 700.0, 0.0]);
        let station = |turn_deg: f64| {
            let turn = nalgebra::Rotation3::new(Vector3::from(axis.to_array()) * rad_from_deg(turn_deg)).into_inner();
            let about_origin = Transform::<Rig, Target>::from_parts(turn, Vector::zero());
            let origin = through - about_origin.direction(Vector::new(through.to_array()));
            let rig_from_target = Transform::from_parts(turn, origin);
            SweepStation { index: 0, rig_from_target, spindle: up, steer_deg: turn_deg }
        };
        let centre = Vector::new([30.0, 780.0, 300.0]);
        for turn_deg in [-119.0, -60.0, -20.0, -1.1, 1.1, 20.0, 60.0, 119.0] {
            let line = between(&station(7.0), &station(7.0 + turn_deg), centre, up).unwrap();
            assert!((line.direction - axis).norm() < 1e-12, "{turn_deg}");
            assert!((line.point - through).square_to(axis).norm() < 1e-9, "{turn_deg}");
        }
        for turn_deg in [-121.0, -0.9, 0.0, 0.9, 121.0] {
            assert!(between(&station(7.0), &station(7.0 + turn_deg), centre, up).is_none(), "{turn_deg}");
        }
    }

    const STEERED: [f64; 3] = [-0.09, 0.3, 1.0];

    /// A wheel that is steered about an axis through the origin to these bearings, degrees, rolled about its spindle, its spindle tipped up the axis and
    /// its centre shifted along it: as `of` says of each station.
    fn steered(bearings_deg: &[f64], of: impl Fn(usize) -> [f64; 3]) -> (Vec<SweepStation>, Compensation) {
        let turn = |axis: Vector<Rig>, angle: f64| {
            let rotation = nalgebra::Rotation3::new(Vector3::from(axis.to_array()) * angle).into_inner();
            Transform::<Rig, Rig>::from_parts(rotation, Vector::zero())
        };
        let k = Vector::<Rig>::new(STEERED).unit();
        let (ahead, centre) = (Vector::<Rig>::new([0.0, 0.8, 0.6]), Vector::<Rig>::new([15.0, 90.0, 320.0]));
        let stations = bearings_deg.iter().enumerate().map(|(index, &steer_deg)| {
            let [roll_rad, tip_rad, shift_mm] = of(index);
            let steer = turn(k, rad_from_deg(steer_deg));
            let across = steer.direction(ahead).square_to(k).unit().cross(k);
            let tip = turn(across, tip_rad);
            let rotation = tip.rotation * steer.rotation * turn(ahead, roll_rad).rotation;
            let about_origin = Transform::<Rig, Target>::from_parts(rotation, Vector::zero());
            let centre_now = steer.direction(centre) + k * shift_mm;
            let origin = centre_now - about_origin.direction(Vector::new(centre.to_array()));
            let spindle = tip.direction(steer.direction(ahead));
            SweepStation { index, rig_from_target: Transform::from_parts(rotation, origin), spindle, steer_deg }
        });
        let compensation = Compensation {
            spindle_in_target: ahead.to_array(),
            centre_in_target_mm: centre.to_array(),
            runout_deg: 0.0,
            rolling_radius_mm: None,
            roll_range_deg: 30.0,
        };
        (stations.collect(), compensation)
    }

    fn rolled(swept: &(Vec<SweepStation>, Compensation), stated: Option<(f64, f64)>) -> Option<(f64, f64)> {
        rolled_about_spindle(&swept.0, &swept.1, Vector::new(STEERED).unit(), stated)
    }

    /// The bound is five deviations of the roll, with what the axis may lean across the car, and 0.3° in 20° of steering beside.
    fn bound_rad(noise: f64, of_lean: f64, range_rad: f64) -> f64 {
        5.0 * (noise * of_lean * range_rad + noise * units::sqrt(2.0)) + 0.015 * range_rad
    }

    /// Three stations at −θ, 0 and θ tell the lean by the middle height less the mean of the others, over 1 − cos θ.
    #[test]
    fn a_locked_wheel_that_rolled_is_named_from_its_bound_on() {
        let noise = 1e-4;
        let range_rad = rad_from_deg(40.0);
        let bound = bound_rad(noise, units::sqrt(1.5) / (1.0 - libm::cos(range_rad / 2.0)), range_rad);
        for (share, expected) in [(0.999, false), (1.001, true)] {
            for places in [[0.0, 0.5, 1.0], [0.4, 1.0, 0.0], [1.0, 0.0, 0.2]] {
                let swept = steered(&[-20.0, 0.0, 20.0], |i| [places[i] * share * bound, 0.0, 0.0]);
                let found = rolled(&swept, Some((noise, 0.1)));
                assert_eq!(found.is_some(), expected, "{share} {places:?}: {found:?}");
                if let Some(found) = found {
                    assert!((found.0 - deg_from_rad(share * bound)).abs() < 1e-9, "{found:?}");
                    assert!((found.1 - deg_from_rad(bound)).abs() < 1e-9, "{found:?}");
                }
            }
        }
        // However the target stands on the wheel: nowhere does a roll go round.
        for start in 0..8 {
            let swept = steered(&[-20.0, 0.0, 20.0], |i| [f64::from(start) + [0.0, 0.7, 1.4][i], 0.0, 0.0]);
            let (found, _) = rolled(&swept, Some((noise, 0.1))).unwrap();
            assert!((found - deg_from_rad(1.4)).abs() < 1e-9, "{start}: {found}");
        }
        // An axis that itself moves is not asked, nor are few stations of which no noise is stated.
        for (misfit_mm, expected) in [(0.999, false), (1.001, true)] {
            let swept =
                steered(&[-20.0, -7.0, 7.0, 20.0], |i| [f64::from([0, 1, 2, 3][i]), 0.0, [1.0, -1.0, -1.0, 1.0][i]]);
            assert_eq!(rolled(&swept, Some((noise, misfit_mm))).is_some(), expected, "{misfit_mm}");
            assert_eq!(rolled(&swept, None), None);
        }
    }

    /// What is not stated is taken from what the cone and the fixed point leave over: of six stations three are free.
    #[test]
    fn noise_that_is_not_stated_is_what_the_fit_leaves_over() {
        let bearings_deg = [-22.0, -14.0, -6.0, 6.0, 14.0, 22.0];
        let heights = bearings_deg.map(|bearing_deg| 1.0 - libm::cos(rad_from_deg(bearing_deg)));
        let mean = heights.iter().sum::<f64>() / 6.0;
        let of_lean = 1.0 / units::sqrt(heights.iter().map(|height| (height - mean) * (height - mean)).sum());
        // A pattern that no lean of the axis, nor another cone, explains.
        let pattern = Vector3::new(1.0, 1.0, 1.0).cross(&Vector3::new(heights[0], heights[1], heights[2])).normalize();
        let tip = |i: usize| 1e-4 * units::sqrt(3.0) * pattern[i.min(5 - i)];
        let of_cone = 1e-4 * units::sqrt(2.0);
        let range_rad = rad_from_deg(44.0);
        // More than four times what the cone leaves over, and the axis moves.
        let shares = [(0.5, Some(of_cone)), (2.0, Some(2.0 * of_cone)), (3.98, Some(3.98 * of_cone)), (4.02, None)];
        for (share, noise) in shares {
            let shift_mm = share * of_cone * LEVER_MM * units::sqrt(3.0);
            let shifted = |i: usize| shift_mm * [1.0, -1.0, -1.0, 1.0, 1.0, -1.0][i];
            let swept = steered(&bearings_deg, |i| [0.3 * f64::from([0, 1, 2, 2, 1, 0][i]), tip(i), shifted(i)]);
            let found = rolled(&swept, None).map(|(_, bound)| bound);
            let expected = noise.map(|noise| deg_from_rad(bound_rad(noise, of_lean, range_rad)));
            assert_eq!(found.is_some(), expected.is_some(), "{share}");
            let off = found.zip(expected).map_or(0.0, |(found, expected)| found / expected - 1.0);
            assert!(off.abs() < 2e-3, "{share}: {found:?} is not {expected:?}");
        }
        // Without any noise a ten-thousandth of a degree counts.
        let swept = steered(&bearings_deg, |i| [0.3 * f64::from([0, 1, 2, 2, 1, 0][i]), 0.0, 0.0]);
        let (_, bound) = rolled(&swept, None).unwrap();
        assert!((bound / deg_from_rad(bound_rad(rad_from_deg(1e-4), of_lean, range_rad)) - 1.0).abs() < 1e-6);
    }

    #[test]
    fn a_spindle_leaves_its_cone_by_the_scatter_of_its_height() {
        let (sweep, compensation) = steered(&[-20.0, -7.0, 7.0, 20.0], |_| [0.0; 3]);
        let up = Vector::new(STEERED).unit();
        let axis = fit_locked(&sweep, Vector::new(compensation.centre_in_target_mm), up).unwrap();
        assert!(!leaves_its_cone(&sweep, &axis, 1e-9));
        let moved: Vec<SweepStation> = sweep
            .iter()
            .zip([1e-3, -1e-3, -1e-3, 1e-3])
            .map(|(station, by)| SweepStation { spindle: station.spindle + axis.direction * by, ..*station })
            .collect();
        for (noise, expected) in [(0.999e-3 / CONE_SUSPECT, true), (1.001e-3 / CONE_SUSPECT, false)] {
            assert_eq!(leaves_its_cone(&moved, &axis, noise), expected);
        }
    }

    /// The tips of a spindle at −θ, 0 and θ leave a line by a root mean square of √2/3 of their sagitta.
    #[test]
    fn a_spindle_that_stood_in_two_places_has_no_cone() {
        let up = Vector::new(STEERED).unit();
        let radius = Vector::<Rig>::new([0.0, 0.8, 0.6]).square_to(up).norm();
        let least_deg = deg_from_rad(libm::acos(1.0 - LEAST_SAGITTA * 3.0 / units::sqrt(2.0) / radius));
        for (share, expected) in [(0.999, Some(ErrorCode::TooFewStations)), (1.001, None)] {
            let at = share * least_deg;
            // However often it stood there.
            for bearings_deg in [&[-at, 0.0, at][..], &[-at, 0.0, at, at, 0.0, -at]] {
                let (sweep, compensation) = steered(bearings_deg, |_| [0.0; 3]);
                let found = fit_free(&sweep, Vector::new(compensation.centre_in_target_mm), up);
                assert_eq!(found.err().map(|error| error.code), expected, "{share}");
            }
        }
    }

    #[test]
    fn what_hardly_turned_or_was_hardly_seen_is_refused_with_its_bound() {
        let up = Vector::new(STEERED).unit();
        let refused = |bearings_deg: &[f64], free: bool| {
            let (sweep, compensation) = steered(bearings_deg, |_| [0.0; 3]);
            let centre = Vector::new(compensation.centre_in_target_mm);
            let error = if free { fit_free(&sweep, centre, up) } else { fit_locked(&sweep, centre, up) }.err().unwrap();
            (error.code, error.value.unwrap(), error.minimum.unwrap())
        };
        assert_eq!(refused(&[0.0], false), (ErrorCode::TooFewStations, 1.0, 2.0));
        assert_eq!(refused(&[0.0, 20.0], true), (ErrorCode::TooFewStations, 2.0, 3.0));
        let (code, value, minimum) = refused(&[0.0, 4.9], false);
        assert_eq!((code, minimum), (ErrorCode::SweepTooSmall, 5.0));
        assert!((value - 4.9).abs() < 1e-9);
    }

    /// A line is the same whichever point of it is named, and the one that is told lies nearest to the wheel centre.
    #[test]
    fn any_point_of_the_axis_will_do() {
        let direction = Vector::<Vehicle>::new([-0.1, -0.2, 1.0]).unit();
        let centre = Vector::new([2600.0, 750.0, 310.0]);
        let contact = Some(Vector::new([2600.0, 755.0, 0.0]));
        let wheel = FrontWheel { side: Side::Left, spindle: Vector::new([0.0, 0.8, -0.6]), centre, contact };
        let point = Vector::new([2590.0, 690.0, 300.0]);
        let [one, other] = [0.0, 400.0].map(|along| wheel.axis_figures(direction, point + direction * along));
        assert!((centre - other.point).dot(direction).abs() < 1e-9 && (one.point - other.point).norm() < 1e-9);
        let lengths = |of: &AxisFigures<f64>| (of.caster_trail_mm.unwrap(), of.scrub_radius_mm.unwrap());
        let ((trail, scrub), (other_trail, other_scrub)) = (lengths(&one), lengths(&other));
        assert!((trail - other_trail).abs() < 1e-9 && (scrub - other_scrub).abs() < 1e-9);
    }
}
