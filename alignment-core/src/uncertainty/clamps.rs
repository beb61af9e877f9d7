//! How the compensation of the clamps follows the poses at the rolling stations.
//!
//! Spun wheels, and wheels rolled in a body that goes straight, each at three stations or more, have exact first derivatives, by the same
//! least squares as the compensation itself. Where a radius had to be given, or the body turns, central differences of the
//! compensation stand in for them.

use super::difference::{self, ABSENT, STEP_MM};
use crate::compensation::{self, Compensation, Rolling};
use crate::error::Error;
use crate::frame::{Rig, Target, Transform, Vector};
use crate::layout::{ByAxle, ByWheel, Wheel};
use crate::rigid::{ByPose, cross_matrix};
use crate::session::{CompensationMethod, Poses, RollingBody, Session};
use crate::spindle::{RolledWheel, SpunWheel};
use alloc::vec::Vec;
use nalgebra::{Matrix3, Matrix3x4, Matrix4, RowSVector, Vector3, Vector4};

/// Of one wheel: spindle, wheel centre (both in the target) and rolling radius.
pub(super) const PER_CLAMP: usize = 7;
/// Of all four.
pub(super) const CLAMPS: usize = 4 * PER_CLAMP;
/// Where the yaw of the travel stands, behind them: all wheels share it.
pub(super) const TRAVEL: usize = CLAMPS;

/// How something follows one pose: its place among the numbers of its stage, and its six derivatives.
pub(super) type Row = (usize, [f64; 6]);

/// The derivatives of the clamps.
pub(super) struct ClampsFollow {
    /// By each pose at a rolling station, the travel held.
    pub(super) poses: Vec<(usize, Wheel, Vec<Row>)>,
    /// By the yaw of the travel.
    pub(super) by_travel: [f64; CLAMPS],
    /// By the datum's normal, the yaw of the travel included.
    pub(super) by_up: [[f64; 3]; CLAMPS + 1],
    /// By the standoffs of the clamps.
    pub(super) by_standoff: [[f64; 4]; CLAMPS],
    /// By the loaded radii, front and rear, where they stand in for the rolling radius.
    pub(super) by_loaded_radius: [[f64; 2]; CLAMPS],
}

impl ClampsFollow {
    fn nothing() -> Self {
        Self {
            poses: Vec::new(),
            by_travel: [0.0; CLAMPS],
            by_up: [[0.0; 3]; CLAMPS + 1],
            by_standoff: [[0.0; 4]; CLAMPS],
            by_loaded_radius: [[0.0; 2]; CLAMPS],
        }
    }

    /// The derivatives at these stations.
    pub(super) fn find(
        session: &Session,
        rolling: &[Poses],
        up: Vector<Rig>,
        clamps: &ByWheel<Option<Compensation>>,
    ) -> Result<Self, Error> {
        match (session.compensation, session.rolling_body) {
            (CompensationMethod::Spun, _) => Self::spun(session, rolling, up, clamps),
            (CompensationMethod::Rolled, RollingBody::Translates) => {
                match Self::rolled_straight(session, rolling, up, clamps)? {
                    Some(exact) => Ok(exact),
                    None => Self::by_differences(session, rolling, up),
                }
            }
            (CompensationMethod::Rolled, RollingBody::Turns) => Self::by_differences(session, rolling, up),
        }
    }

    fn spun(
        session: &Session,
        stations: &[Poses],
        up: Vector<Rig>,
        clamps: &ByWheel<Option<Compensation>>,
    ) -> Result<Self, Error> {
        let mut follow = Self::nothing();
        let spins = compensation::observe_all(stations, up, true, &mut Vec::new(), |wheel, lateral| {
            SpunWheel::observe(stations, wheel, lateral)
        })?;
        for wheel in Wheel::ALL {
            let (Some(spin), Some(clamp)) = (spins.get(wheel), clamps.get(wheel)) else { continue };
            follow.add_standoff(wheel, clamp);
            let standoff_mm = *session.clamp_standoff_mm.get(wheel);
            for (index, pose) in spin.poses() {
                let [spindle, _] = spin.direction.follows(pose);
                let [offset, _] = spin.direction.point_follows(pose, spin.offset, Vector::zero());
                let mut rows = Vec::with_capacity(6);
                push(&mut rows, wheel, 0, &spindle);
                push(&mut rows, wheel, 3, &(offset - spindle * standoff_mm));
                follow.poses.push((index, wheel, rows));
            }
        }
        Ok(follow)
    }

    /// None when a wheel's own stations do not give its radius.
    ///
    /// The path p = c₀ + r·θ·d − R·o leaves over, when a pose turns by ω and shifts by τ, f = τ + ω × R·o − r·s·(ω·m)·d with the spindle m: the
    /// roll angle is counted about it. The same normal equations that gave (r, o) give what f makes of them.
    fn rolled_straight(
        session: &Session,
        stations: &[Poses],
        up: Vector<Rig>,
        clamps: &ByWheel<Option<Compensation>>,
    ) -> Result<Option<Self>, Error> {
        let rolls = compensation::observe_all(stations, up, false, &mut Vec::new(), |wheel, lateral| {
            RolledWheel::observe(stations, stations, wheel, lateral, up)
        })?;
        let free = ByWheel::from_fn(|wheel| rolls.get(wheel).as_ref().and_then(|roll| roll.free_travel(up)));
        if Wheel::ALL.iter().any(|&wheel| rolls.get(wheel).is_some() && free.get(wheel).is_none()) {
            return Ok(None);
        }
        let sum: Vector<Rig> = Wheel::ALL.into_iter().filter_map(|wheel| *free.get(wheel)).sum();
        let (travel, all_travel_mm) = (sum.unit(), sum.norm());
        let mut follow = Self::nothing();
        for wheel in Wheel::ALL {
            let (Some(roll), Some(clamp), Some(own)) = (rolls.get(wheel), clamps.get(wheel), *free.get(wheel)) else {
                continue;
            };
            follow.add_standoff(wheel, clamp);
            let Some(fit) = StraightFit::of(roll, travel, up) else { return Ok(None) };
            let standoff_mm = *session.clamp_standoff_mm.get(wheel);
            fit.follow(&mut follow, &Clamp { wheel, clamp, standoff_mm }, own, all_travel_mm);
        }
        Ok(Some(follow))
    }

    /// The wheel centre lies by the standoff inward from where the spindle passes the target's origin.
    fn add_standoff(&mut self, wheel: Wheel, clamp: &Compensation) {
        for i in 0..3 {
            self.by_standoff[place(wheel) + 3 + i][wheel.index()] = -clamp.spindle_in_target[i];
        }
    }

    fn by_differences(session: &Session, rolling: &[Poses], up: Vector<Rig>) -> Result<Self, Error> {
        let mut follow = Self::nothing();
        let (loaded, standoffs) = (session.loaded_radius_mm.unwrap_or_default(), session.clamp_standoff_mm);
        let clamps = |stations: &[Poses], up, standoffs: &ByWheel<f64>, loaded_radius_mm: &ByAxle<Option<f64>>| {
            let rolling = Rolling {
                stations,
                up,
                clamp_standoff_mm: standoffs,
                loaded_radius_mm,
                body: session.rolling_body,
                noise: session.noise_per_axis(),
            };
            rolling.compensate().map(|clamps| numbers(&clamps.wheels))
        };
        let mut stations = rolling.to_vec();
        for index in 0..stations.len() {
            for wheel in Wheel::ALL {
                let Some(pose) = *rolling[index].get(wheel) else { continue };
                let columns = difference::by_pose(&pose, &mut |pose| {
                    *stations[index].get_mut(wheel) = Some(pose);
                    clamps(&stations, up, &standoffs, &loaded)
                })?;
                *stations[index].get_mut(wheel) = Some(pose);
                follow.poses.push((index, wheel, difference::rows(&columns)));
            }
        }
        let by_up = difference::by_direction(up, &mut |up| clamps(rolling, up, &standoffs, &loaded))?;
        for (row, by_up_of_row) in follow.by_up.iter_mut().take(CLAMPS).enumerate() {
            *by_up_of_row = by_up.map(|column| column[row]);
        }
        for wheel in Wheel::ALL {
            let column = difference::central(STEP_MM, &mut |step| {
                let mut nudged = standoffs;
                *nudged.get_mut(wheel) += step;
                clamps(rolling, up, &nudged, &loaded)
            })?;
            for (row, derivative) in column.into_iter().enumerate() {
                follow.by_standoff[row][wheel.index()] = derivative;
            }
        }
        for axle in 0..2 {
            let radius = if axle == 0 { loaded.front } else { loaded.rear };
            let Some(radius) = radius else { continue };
            let column = difference::central(STEP_MM, &mut |step| {
                let mut nudged = loaded;
                *(if axle == 0 { &mut nudged.front } else { &mut nudged.rear }) = Some(radius + step);
                clamps(rolling, up, &standoffs, &nudged)
            })?;
            for (row, derivative) in column.into_iter().enumerate() {
                follow.by_loaded_radius[row][axle] = derivative;
            }
        }
        Ok(follow)
    }
}

/// The clamps as plain numbers.
fn numbers(clamps: &ByWheel<Option<Compensation>>) -> [f64; CLAMPS] {
    let mut numbers = [ABSENT; CLAMPS];
    for (of_wheel, wheel) in numbers.chunks_exact_mut(PER_CLAMP).zip(Wheel::ALL) {
        let Some(clamp) = clamps.get(wheel) else { continue };
        of_wheel[..3].copy_from_slice(&clamp.spindle_in_target);
        of_wheel[3..6].copy_from_slice(&clamp.centre_in_target_mm);
        of_wheel[6] = clamp.rolling_radius_mm.unwrap_or(ABSENT);
    }
    numbers
}

/// One wheel's clamp, and what is known of it beside the poses.
struct Clamp<'a> {
    wheel: Wheel,
    clamp: &'a Compensation,
    standoff_mm: f64,
}

/// The least squares that gave a wheel's radius and offset, and its own travel.
struct StraightFit<'a> {
    roll: &'a RolledWheel<'a>,
    travel: Vector<Rig>,
    up: Vector<Rig>,
    /// Of (r, −o).
    of_radius: Matrix3<f64>,
    /// Of (r·d along the heading, r·d to the left, −o).
    of_travel: Matrix4<f64>,
}

impl<'a> StraightFit<'a> {
    fn of(roll: &'a RolledWheel<'a>, travel: Vector<Rig>, up: Vector<Rig>) -> Option<Self> {
        let mut fit = Self { roll, travel, up, of_radius: Matrix3::zeros(), of_travel: Matrix4::zeros() };
        let (mut of_radius, mut of_travel) = (Matrix3::zeros(), Matrix4::zeros());
        for station in &roll.stations {
            let (columns, free) = fit.columns(station.roll_rad, station.square);
            of_radius += columns.tr_mul(&columns);
            of_travel += free.tr_mul(&free);
        }
        fit.of_radius = of_radius.try_inverse()?;
        fit.of_travel = of_travel.try_inverse()?;
        Some(fit)
    }

    /// The columns of both fits at one station.
    fn columns(&self, roll_rad: f64, [b, c]: [Vector<Rig>; 2]) -> (Matrix3<f64>, Matrix3x4<f64>) {
        let column = |v: Vector<Rig>| Vector3::from(v.to_array());
        let (b, c) = (column(b), column(c));
        let along = |direction: Vector<Rig>| column(direction) * roll_rad;
        let left = self.up.cross(self.roll.heading);
        (
            Matrix3::from_columns(&[along(self.travel), b, c]),
            Matrix3x4::from_columns(&[along(self.roll.heading), along(left), b, c]),
        )
    }

    fn follow(&self, follow: &mut ClampsFollow, of: &Clamp<'_>, own: Vector<Rig>, all_travel_mm: f64) {
        let &Clamp { wheel, clamp, standoff_mm } = of;
        let roll = self.roll;
        let column = |v: Vector<Rig>| Vector3::from(v.to_array());
        let spindle_in_target = Vector::<Target>::new(clamp.spindle_in_target);
        let offset = Vector::<Target>::new(clamp.centre_in_target_mm) + spindle_in_target * standoff_mm;
        let radius_mm = clamp.rolling_radius_mm.unwrap_or(0.0);
        let (travel, up) = (self.travel, column(self.up));
        let left_of_travel = self.up.cross(travel);
        let turned = roll.direction.in_rig * wheel.side().sign();
        // What is left over when the pose turns and shifts, for a wheel that travels by `step` per radian.
        let left_over = |pose: &Transform<Rig, Target>, step: Vector<Rig>| {
            let mut by_pose = ByPose::zeros();
            let by_turn = -cross_matrix(pose.direction(offset)) - column(step) * column(turned).transpose();
            by_pose.fixed_columns_mut::<3>(0).copy_from(&by_turn);
            by_pose.fixed_columns_mut::<3>(3).copy_from(&Matrix3::identity());
            by_pose
        };
        let square = roll.direction.square.map(|axis| Vector3::from(axis.to_array()));
        let along_spindle = Vector3::from(spindle_in_target.to_array()) * Vector3::from(offset.to_array()).transpose();
        // The yaw of the common travel, from a change of this wheel's own.
        let left = self.up.cross(roll.heading);
        let yaw = [roll.heading, left].map(|axis| axis.dot(left_of_travel) / all_travel_mm);

        let (mut sum, mut free_sum) = (Vector3::zeros(), Vector4::zeros());
        let mut by_travel = Vector3::zeros();
        for station in &roll.stations {
            let (columns, free) = self.columns(station.roll_rad, station.square);
            let fitted = self.of_radius * columns.tr_mul(&left_over(station.straight, travel * radius_mm));
            let own_fitted = self.of_travel * free.tr_mul(&left_over(station.straight, own));
            let [spindle, _] = roll.direction.follows(station.straight);
            let offset = -(square[0] * fitted.row(1) + square[1] * fitted.row(2)) - along_spindle * spindle;
            let mut rows = Vec::with_capacity(PER_CLAMP + 1);
            push(&mut rows, wheel, 0, &spindle);
            push(&mut rows, wheel, 3, &(offset - spindle * standoff_mm));
            rows.push((place(wheel) + 6, row(fitted.row(0).into_owned())));
            rows.push((TRAVEL, row(own_fitted.row(0) * yaw[0] + own_fitted.row(1) * yaw[1])));
            follow.poses.push((station.index, wheel, rows));

            // The travel stays level: when up tilts by δ it tips by −(d·δ) along up.
            sum += columns.tr_mul(&up) * (station.roll_rad * radius_mm);
            free_sum += free.tr_mul(&up) * station.roll_rad;
            by_travel -= columns.tr_mul(&column(left_of_travel)) * (station.roll_rad * radius_mm);
        }
        let (by_tip, by_yaw) = (self.of_radius * sum, self.of_radius * by_travel);
        let own_by_tip = self.of_travel * free_sum;
        let numbers = |of: Vector3<f64>| {
            let offset = -(square[0] * of[1] + square[1] * of[2]);
            [offset[0], offset[1], offset[2], of[0]]
        };
        for (i, (by_tip, by_yaw)) in numbers(by_tip).into_iter().zip(numbers(by_yaw)).enumerate() {
            follow.by_up[place(wheel) + 3 + i] = (travel * by_tip).to_array();
            follow.by_travel[place(wheel) + 3 + i] = by_yaw;
        }
        let own_yaw = own * (own_by_tip[0] * yaw[0] + own_by_tip[1] * yaw[1]);
        let of_travel = &mut follow.by_up[TRAVEL];
        *of_travel = (Vector::<Rig>::new(*of_travel) + own_yaw).to_array();
    }
}

/// Where the numbers of a wheel's clamp stand.
pub(super) const fn place(wheel: Wheel) -> usize {
    wheel.index() * PER_CLAMP
}

/// Adds the three rows of a vector.
fn push(rows: &mut Vec<Row>, wheel: Wheel, from: usize, by_pose: &ByPose) {
    rows.extend((0..3).map(|i| (place(wheel) + from + i, row(by_pose.row(i).into_owned()))));
}

pub(super) fn row(row: RowSVector<f64, 6>) -> [f64; 6] {
    core::array::from_fn(|i| row[i])
}
