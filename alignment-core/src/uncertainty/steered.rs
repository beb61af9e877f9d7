//! How the steering axes and the steer angles follow the poses at the steered stations.
//!
//! In a body that stands still they have exact first derivatives, by the same least squares as the axes themselves. Where the body is found
//! again, central differences of the whole stage stand in for them.

use super::clamps::{CLAMPS, PER_CLAMP, Row, place, row};
use super::difference::{self, ABSENT, tilted};
use super::free_axis;
use crate::assembly::Geometry;
use crate::compensation::Compensation;
use crate::error::{Error, Stage};
use crate::frame::{Rig, Target, Transform, Vector};
use crate::layout::{BySide, ByWheel, Side, Wheel};
use crate::rigid::FixedDirection;
use crate::session::{Poses, Session, SweepBody};
use crate::staged::{self, Steered, Trace};
use crate::turns;
use crate::units::DEG_PER_RAD;
use crate::wheel::{self, TurnedAbout, WheelInRig};
use alloc::vec::Vec;

/// Of one axis: direction, point, residual of the direction in degrees and of the position in mm.
pub(super) const PER_AXIS: usize = 8;
/// The other wheel's angle when turning left and right.
pub(super) const OTHER_WHEEL: usize = 2 * PER_AXIS;
/// The range of the sweep.
pub(super) const RANGE: usize = OTHER_WHEEL + 2;
/// The angles at the locks: left lock, then right, each left wheel, then right.
pub(super) const LOCKS: usize = RANGE + 1;
/// How many numbers the steered stations give.
pub(super) const STEERED: usize = LOCKS + 4;
/// How many numbers the ahead poses are.
pub(super) const AHEAD: usize = 24;
/// A residual below this has no direction of its own, radians and mm: rounding.
const NO_RESIDUAL: f64 = 1e-9;

/// The derivatives of what the steered stations give.
pub(super) struct SteeredFollows {
    /// By each pose: its stage, station and wheel.
    pub(super) poses: Vec<(Stage, Option<usize>, Wheel, Vec<Row>)>,
    pub(super) by_clamps: [[f64; CLAMPS]; STEERED],
    pub(super) by_ahead: [[f64; AHEAD]; STEERED],
    pub(super) by_up: [[f64; 3]; STEERED],
}

impl SteeredFollows {
    pub(super) fn find(session: &Session, trace: &Trace) -> Result<Self, Error> {
        let mut follows = Self {
            poses: Vec::new(),
            by_clamps: [[0.0; CLAMPS]; STEERED],
            by_ahead: [[0.0; AHEAD]; STEERED],
            by_up: [[0.0; 3]; STEERED],
        };
        let none = |station: &Poses| *station == Poses::default();
        let Steered { sweep, locks } = &trace.steered;
        if trace.geometry.stand().is_none() || sweep.is_empty() && none(&locks.left) && none(&locks.right) {
            return Ok(follows);
        }
        if session.sweep_body == SweepBody::Still {
            follows.exactly(session, trace);
        } else {
            follows.by_differences(session, trace)?;
        }
        Ok(follows)
    }

    fn exactly(&mut self, session: &Session, trace: &Trace) {
        let Trace { ahead, steered, geometry, .. } = trace;
        let Steered { sweep, locks } = steered;
        let mut rows: Vec<ByWheel<Vec<Row>>> = sweep.iter().map(|_| ByWheel::default()).collect();
        for side in Side::ALL {
            if session.sweep_wheels_locked == Some(false) {
                self.follow_free_axis(side, sweep, geometry, &mut rows);
            } else {
                follow_axis(side, sweep, geometry, &mut rows);
            }
        }
        let steer = BySide::from_fn(|side| {
            sweep.iter().map(|station| SteerAngle::of(side, station, ahead, geometry)).collect::<Vec<_>>()
        });
        let angles =
            BySide::from_fn(|side| steer.get(side).iter().map(|angle| Some(angle.as_ref()?.steer_deg)).collect());
        let mut follow = |number: usize, station: usize, side: Side, weight: f64| {
            if let Some(angle) = &steer.get(side)[station] {
                let by_pose = angle.by_pose.map(|v| v * weight);
                rows[station].get_mut(side.front_wheel()).push((number, by_pose));
                self.add(number, side, angle, weight);
            }
        };
        for (inside, number) in [(Side::Left, OTHER_WHEEL), (Side::Right, OTHER_WHEEL + 1)] {
            if geometry.other_wheel_deg.get(inside).is_none() {
                continue;
            }
            let asked = turns::asked_side(session.reference.turn.wheel, inside);
            for (station, by_asked, by_other) in
                interpolation_weights(&angles, asked, inside, session.reference.turn.angle_deg)
            {
                follow(number, station, asked, by_asked * inside.sign());
                follow(number, station, asked.other(), by_other * inside.sign());
            }
        }
        if geometry.sweep_range_deg.is_some() {
            for (station, sign) in extremes(&angles) {
                let seen = Side::ALL.iter().filter(|&&side| steer.get(side)[station].is_some()).count();
                let share = if seen == 2 { 0.5 } else { 1.0 };
                for side in Side::ALL {
                    follow(RANGE, station, side, sign * share);
                }
            }
        }
        for (index, ByWheel { fl, fr, .. }) in rows.into_iter().enumerate() {
            for (wheel, rows) in [(Wheel::Fl, fl), (Wheel::Fr, fr)] {
                if !rows.is_empty() {
                    self.poses.push((Stage::Sweep, Some(index), wheel, rows));
                }
            }
        }
        for (stage, lock, from) in [(Stage::LockLeft, &locks.left, LOCKS), (Stage::LockRight, &locks.right, LOCKS + 2)]
        {
            for (side, number) in [(Side::Left, from), (Side::Right, from + 1)] {
                if let Some(angle) = SteerAngle::of(side, lock, ahead, geometry) {
                    self.poses.push((stage, None, side.front_wheel(), [(number, angle.by_pose)].into()));
                    self.add(number, side, &angle, 1.0);
                }
            }
        }
    }

    /// Adds how the axis of a wheel that is free to roll follows its poses and its clamp.
    fn follow_free_axis(&mut self, side: Side, sweep: &[Poses], geometry: &Geometry, rows: &mut [ByWheel<Vec<Row>>]) {
        let (wheel, from) = (side.front_wheel(), if side == Side::Left { 0 } else { PER_AXIS });
        let (Some(axis), Some(clamp)) = (geometry.axes.get(side), geometry.compensation.get(wheel)) else { return };
        let poses: Vec<_> = sweep.iter().filter_map(|station| *station.get(wheel)).collect();
        let Some(follows) = free_axis::follow(axis, clamp, &poses, NO_RESIDUAL) else { return };
        let spindle = Vector::<Target>::new(clamp.spindle_in_target);
        let centre = Vector::<Target>::new(clamp.centre_in_target_mm);
        let seen = sweep.iter().zip(rows).filter(|(station, _)| station.get(wheel).is_some()).map(|(_, rows)| rows);
        for ((by, pose), rows) in follows.iter().zip(&poses).zip(seen) {
            let (spindle, arm) = (pose.direction(spindle), pose.direction(centre));
            let in_target = |gradient: Vector<Rig>| pose.inverse().direction(gradient).to_array();
            for number in 0..PER_AXIS {
                let (by_spindle, by_centre) = (by.by_spindle[number], by.by_centre[number]);
                // A vector v follows a turn ω by ω × v, and so a gradient g by ω·(v × g).
                let [a, b, c] = (spindle.cross(by_spindle) + arm.cross(by_centre)).to_array();
                let [x, y, z] = by_centre.to_array();
                rows.get_mut(wheel).push((from + number, [a, b, c, x, y, z]));
                let of_clamp = &mut self.by_clamps[from + number][place(wheel)..];
                let of_station = in_target(by_spindle).into_iter().chain(in_target(by_centre));
                for (sum, of_station) in of_clamp.iter_mut().zip(of_station) {
                    *sum += of_station;
                }
            }
        }
    }

    /// Adds what an angle owes to the clamp, the ahead pose and the datum.
    fn add(&mut self, number: usize, side: Side, angle: &SteerAngle, weight: f64) {
        let wheel = side.front_wheel();
        for i in 0..3 {
            self.by_clamps[number][place(wheel) + i] += weight * angle.by_spindle[i];
            self.by_ahead[number][6 * wheel.index() + i] += weight * angle.by_ahead_turn[i];
            self.by_up[number][i] += weight * angle.by_up[i];
        }
    }

    fn by_differences(&mut self, session: &Session, trace: &Trace) -> Result<(), Error> {
        let Trace { ahead, geometry, .. } = trace;
        let steered = |steered: Steered| staged::steer(session, geometry, ahead, steered).map(|g| numbers(&g));
        let stations = trace.steered.sweep.len();
        for (index, (stage, station)) in places(stations).enumerate() {
            for wheel in Wheel::ALL {
                let Some(pose) = *at(&mut trace.steered.clone(), index).get(wheel) else { continue };
                let columns = difference::by_pose(&pose, &mut |pose| {
                    let mut nudged = trace.steered.clone();
                    *at(&mut nudged, index).get_mut(wheel) = Some(pose);
                    steered(nudged)
                })?;
                self.poses.push((stage, station, wheel, difference::rows(&columns)));
            }
        }
        for wheel in Wheel::ALL {
            let (Some(clamp), Some(pose)) = (*geometry.compensation.get(wheel), *ahead.get(wheel)) else { continue };
            // Runout and radius play no part in steering.
            for number in 0..PER_CLAMP - 1 {
                let step = if number < 3 { difference::STEP_RAD } else { difference::STEP_MM };
                let column = difference::central(step, &mut |step| {
                    let nudged = with_clamp(geometry, ahead, wheel, nudged_clamp(&clamp, number, step));
                    staged::steer(session, &nudged, ahead, trace.steered.clone()).map(|g| numbers(&g))
                })?;
                for (by_clamps, derivative) in self.by_clamps.iter_mut().zip(column) {
                    by_clamps[place(wheel) + number] = derivative;
                }
            }
            let columns = difference::by_pose(&pose, &mut |pose| {
                let mut nudged_ahead = *ahead;
                *nudged_ahead.get_mut(wheel) = Some(pose);
                let nudged = with_clamp(geometry, &nudged_ahead, wheel, clamp);
                staged::steer(session, &nudged, &nudged_ahead, trace.steered.clone()).map(|g| numbers(&g))
            })?;
            for (axis, column) in columns.into_iter().enumerate() {
                for (by_ahead, derivative) in self.by_ahead.iter_mut().zip(column) {
                    by_ahead[6 * wheel.index() + axis] = derivative;
                }
            }
        }
        let by_up = difference::by_direction(geometry.up, &mut |up| {
            let nudged = Geometry { up, ..geometry.clone() };
            staged::steer(session, &nudged, ahead, trace.steered.clone()).map(|g| numbers(&g))
        })?;
        for (row, by_up_of_row) in self.by_up.iter_mut().enumerate() {
            *by_up_of_row = by_up.map(|column| column[row]);
        }
        Ok(())
    }
}

/// The stage and station of each steered station: the sweep, then both locks.
fn places(sweep: usize) -> impl Iterator<Item = (Stage, Option<usize>)> {
    (0..sweep).map(|index| (Stage::Sweep, Some(index))).chain([(Stage::LockLeft, None), (Stage::LockRight, None)])
}

/// The station at such a place.
fn at(steered: &mut Steered, index: usize) -> &mut Poses {
    let sweep = steered.sweep.len();
    match index {
        index if index < sweep => &mut steered.sweep[index],
        index if index == sweep => &mut steered.locks.left,
        _ => &mut steered.locks.right,
    }
}

/// A clamp with one of its numbers changed by a step.
fn nudged_clamp(clamp: &Compensation, number: usize, step: f64) -> Compensation {
    let mut nudged = *clamp;
    if number < 3 {
        let spindle = Vector::<Target>::new(clamp.spindle_in_target);
        nudged.spindle_in_target = tilted(spindle, number, step).to_array();
    } else {
        nudged.centre_in_target_mm[number - 3] += step;
    }
    nudged
}

/// The geometry with another clamp or pose of one wheel.
fn with_clamp(geometry: &Geometry, ahead: &Poses, wheel: Wheel, clamp: Compensation) -> Geometry {
    let mut nudged = geometry.clone();
    *nudged.compensation.get_mut(wheel) = Some(clamp);
    *nudged.wheels.get_mut(wheel) = ahead.get(wheel).map(|pose| wheel::locate(&clamp, &pose));
    nudged
}

/// What the steered stations give, as plain numbers.
fn numbers(geometry: &Geometry) -> [f64; STEERED] {
    let mut numbers = [ABSENT; STEERED];
    for (axis, of_axis) in
        [&geometry.axes.left, &geometry.axes.right].into_iter().zip(numbers.chunks_exact_mut(PER_AXIS))
    {
        if let Some(axis) = axis {
            of_axis[..3].copy_from_slice(&axis.direction.to_array());
            of_axis[3..6].copy_from_slice(&axis.point.to_array());
            of_axis[6] = axis.residual.rotation_deg;
            of_axis[7] = axis.residual.translation_mm;
        }
    }
    let Geometry { other_wheel_deg, sweep_range_deg, lock_left, lock_right, .. } = geometry;
    let rest = [
        other_wheel_deg.left,
        other_wheel_deg.right,
        *sweep_range_deg,
        lock_left.left_deg,
        lock_left.right_deg,
        lock_right.left_deg,
        lock_right.right_deg,
    ];
    for (number, value) in numbers[OTHER_WHEEL..].iter_mut().zip(rest) {
        *number = value.unwrap_or(ABSENT);
    }
    numbers
}

/// Adds how one locked wheel's axis follows its poses.
fn follow_axis(side: Side, sweep: &[Poses], geometry: &Geometry, rows: &mut [ByWheel<Vec<Row>>]) {
    let (wheel, from) = (side.front_wheel(), if side == Side::Left { 0 } else { PER_AXIS });
    let (Some(axis), Some(clamp)) = (geometry.axes.get(side), geometry.compensation.get(wheel)) else { return };
    let poses = || sweep.iter().filter_map(|station| station.get(wheel).as_ref());
    let fit = FixedDirection::fit(poses()).pointing_along(geometry.up);
    let guess = Vector::new(clamp.centre_in_target_mm);
    let (point, point_in_rig) = fit.fixed_point(poses(), guess);
    let share = 1.0 / poses().fold(0.0, |count, _| count + 1.0);
    let residual = [axis.residual.rotation_deg / DEG_PER_RAD, axis.residual.translation_mm];
    let numbered = sweep.iter().zip(rows).filter_map(|(station, rows)| Some((station.get(wheel).as_ref()?, rows)));
    for (pose, rows) in numbered {
        let rows = rows.get_mut(wheel);
        let [_, direction] = fit.follows(pose);
        let [_, at] = fit.point_follows(pose, point, guess);
        for i in 0..3 {
            rows.push((from + i, row(direction.row(i).into_owned())));
            rows.push((from + 3 + i, row(at.row(i).into_owned())));
        }
        // The root mean square of what is left over follows each part of it by that part over n times itself; the fit's own
        // change drops out, being square to all that is left over.
        let tilt = pose.direction(fit.in_moving) - fit.in_rig;
        let shift = pose.point(point) - point_in_rig;
        let any = fit.in_rig.any_square();
        let part = |left_over: Vector<Rig>, rms: f64| {
            if rms > NO_RESIDUAL { left_over * (share / rms) } else { any * share }
        };
        let (tilt, shift) = (part(tilt, residual[0]), part(shift, residual[1]));
        let by_turn = |part: Vector<Rig>, arm: Vector<Rig>| arm.cross(part).to_array();
        let [x, y, z] = by_turn(tilt, fit.in_rig).map(|v| v * DEG_PER_RAD);
        rows.push((from + 6, [x, y, z, 0.0, 0.0, 0.0]));
        let [x, y, z] = by_turn(shift, pose.direction(point));
        let [i, j, k] = shift.to_array();
        rows.push((from + 7, [x, y, z, i, j, k]));
    }
}

/// A steer angle and what it follows, degrees per radian.
struct SteerAngle {
    steer_deg: f64,
    by_pose: [f64; 6],
    by_ahead_turn: [f64; 3],
    by_spindle: [f64; 3],
    by_up: [f64; 3],
}

impl SteerAngle {
    /// The angle about up from the spindle straight ahead to the spindle at a station.
    fn of(side: Side, station: &Poses, ahead: &Poses, geometry: &Geometry) -> Option<Self> {
        let wheel = side.front_wheel();
        let (pose, straight) = ((*station.get(wheel))?, (*ahead.get(wheel))?);
        let clamp = (*geometry.compensation.get(wheel))?;
        let [before, now] =
            [&straight, &pose].map(|pose| wheel::locate(&clamp, pose)).map(|WheelInRig { spindle, .. }| spindle);
        let TurnedAbout { angle_deg, by_before, by_now, by_line } = TurnedAbout::of(geometry.up, before, now);
        // A spindle n follows a turn ω by ω × n, and so a gradient g by ω·(n × g).
        let [x, y, z] = now.cross(by_now).to_array();
        let in_target = |pose: &Transform<Rig, Target>, gradient: Vector<Rig>| pose.inverse().direction(gradient);
        Some(Self {
            steer_deg: angle_deg,
            by_pose: [x, y, z, 0.0, 0.0, 0.0],
            by_ahead_turn: before.cross(by_before).to_array(),
            by_spindle: (in_target(&pose, by_now) + in_target(&straight, by_before)).to_array(),
            by_up: by_line.to_array(),
        })
    }
}

/// How the other wheel's angle follows the angles at each station: of the wheel that is asked for, and of the other.
pub(super) fn interpolation_weights(
    steer: &BySide<Vec<Option<f64>>>,
    asked: Side,
    inside: Side,
    at_deg: f64,
) -> Vec<(usize, f64, f64)> {
    let follows = turns::interpolation_follows(&turns::pairs(steer, asked, inside), at_deg);
    let both = steer.left.iter().zip(&steer.right).enumerate();
    let stations = both.filter(|(_, (left, right))| left.is_some() && right.is_some()).map(|(station, _)| station);
    // The first pair is the ahead station, from which all angles are counted.
    let weights = stations.zip(&follows[1..]).map(|(station, &(by_asked, by_other))| (station, by_asked, by_other));
    weights.filter(|(_, by_asked, by_other)| by_asked.abs() + by_other.abs() > 0.0).collect()
}

/// The stations at which the mean steer angle is largest (+1) and smallest (−1).
pub(super) fn extremes(steer: &BySide<Vec<Option<f64>>>) -> impl Iterator<Item = (usize, f64)> {
    let mean = |station: usize| {
        let angles = Side::ALL.iter().filter_map(|&side| steer.get(side)[station]);
        let (sum, count) = angles.fold((0.0, 0.0), |(sum, count), angle| (sum + angle, count + 1.0));
        (count > 0.0).then(|| sum / count)
    };
    let means = || (0..steer.left.len()).filter_map(|station| Some((station, mean(station)?)));
    let most = means().max_by(|a, b| a.1.total_cmp(&b.1));
    let least = means().min_by(|a, b| a.1.total_cmp(&b.1));
    most.map(|(station, _)| (station, 1.0)).into_iter().chain(least.map(|(station, _)| (station, -1.0)))
}
