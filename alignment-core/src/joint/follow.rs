//! How what is read off the fit follows the poses and the other inputs, to first order: by implicit differentiation of the least squares.
//!
//! At the least sum of squares Jᵀ·W·r = 0. A pose that changes by z moves the unknowns by δp = H⁻¹·Jᵀ·W·z; an input u that moves what the poses are
//! foretold to be by F·δu acts like z = −F·δu. A number f read off the unknowns, of the gradient g, then follows the pose by W·J·(H⁻¹·g).

use super::Fitted;
use super::model::{Follows, Kind, Model, State, centre_by_tilt, column, rotation, square};
use super::solve::{backward, forward};
use crate::error::Stage;
use crate::frame::Vector;
use crate::layout::{Side, Wheel};
use crate::scatter::Place;
use crate::units::{DEG_PER_RAD, sqrt};
use crate::wheel::TurnedAbout;
use alloc::vec::Vec;
use nalgebra::{DVector, Matrix6, Vector3, Vector6};

/// How a number follows the unknowns and, beside them, the inputs.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Gradient {
    shared: DVector<f64>,
    /// Of stations: the station, its column, the derivative.
    own: Vec<(usize, usize, f64)>,
    /// Poses that the number follows by themselves.
    direct: Vec<(usize, Vector6<f64>)>,
    up: Vector3<f64>,
    standoff: [f64; 4],
    loaded_radius: [f64; 2],
}

impl Gradient {
    /// Adds a multiple of another.
    pub(crate) fn add(&mut self, other: &Self, factor: f64) {
        self.shared.axpy(factor, &other.shared, 1.0);
        self.own.extend(other.own.iter().map(|&(station, column, v)| (station, column, factor * v)));
        self.direct.extend(other.direct.iter().map(|&(pose, v)| (pose, v * factor)));
        self.up += other.up * factor;
        for (to, of) in self.standoff.iter_mut().zip(other.standoff) {
            *to += factor * of;
        }
        for (to, of) in self.loaded_radius.iter_mut().zip(other.loaded_radius) {
            *to += factor * of;
        }
    }
}

/// How a number follows the poses, in the order of the fit, and the inputs.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Followed {
    pub(crate) by_pose: Vec<Vector6<f64>>,
    pub(crate) by_up: [f64; 3],
    pub(crate) by_standoff: [f64; 4],
    pub(crate) by_loaded_radius: [f64; 2],
}

/// How the poses are foretold otherwise when an input changes.
pub(crate) struct ByInputs {
    up: [Vec<Vector6<f64>>; 3],
    standoff: [Vec<Vector6<f64>>; 4],
    loaded_radius: [Vec<Vector6<f64>>; 2],
}

/// What one pose of the sweep says of the axis: how far off it is, tilt and shift, and how that follows its residual.
pub(super) struct AxisPart {
    pub(super) pose: usize,
    pub(super) off: Vector6<f64>,
    by_left_over: Matrix6<f64>,
}

fn cross_matrix(v: Vector3<f64>) -> nalgebra::Matrix3<f64> {
    crate::rigid::cross_matrix(Vector::new(v.into()))
}

impl Fitted {
    /// A number that follows nothing yet.
    pub(crate) fn gradient(&self) -> Gradient {
        Gradient {
            shared: DVector::zeros(self.model.columns.size),
            own: Vec::new(),
            direct: Vec::new(),
            up: Vector3::zeros(),
            standoff: [0.0; 4],
            loaded_radius: [0.0; 2],
        }
    }

    /// The places of the poses, in the order of the fit.
    pub(crate) fn places(&self) -> impl Iterator<Item = Place> {
        self.model.observations.iter().map(|seen| {
            let plan = &self.model.stations[seen.at];
            (plan.stage, plan.index, seen.wheel)
        })
    }

    /// How the spindle in the target follows: three components.
    pub(crate) fn spindle_in_target(&self, wheel: Wheel) -> Option<[Gradient; 3]> {
        let of_wheel = self.state.wheels.get(wheel).as_ref()?;
        let from = (*self.model.columns.wheels.get(wheel))?;
        let mut rows = [self.gradient(), self.gradient(), self.gradient()];
        for (i, along) in square(of_wheel.spindle).into_iter().enumerate() {
            for (row, along) in rows.iter_mut().zip(along.iter()) {
                row.shared[from + 6 + i] = *along;
            }
        }
        Some(rows)
    }

    /// How the spindle straight ahead follows, in the rig: three components.
    pub(crate) fn spindle(&self, wheel: Wheel) -> Option<[Gradient; 3]> {
        let of_wheel = self.state.wheels.get(wheel).as_ref()?;
        let from = (*self.model.columns.wheels.get(wheel))?;
        let mut rows = [self.gradient(), self.gradient(), self.gradient()];
        let by_turn = -cross_matrix(column(of_wheel.spindle_in_rig()));
        let tilts = square(of_wheel.spindle).map(|along| of_wheel.ahead.rotation * along);
        for (i, row) in rows.iter_mut().enumerate() {
            for j in 0..3 {
                row.shared[from + j] = by_turn[(i, j)];
            }
            row.shared[from + 6] = tilts[0][i];
            row.shared[from + 7] = tilts[1][i];
        }
        Some(rows)
    }

    /// How the wheel centre straight ahead follows, in the rig: three components.
    pub(crate) fn centre(&self, wheel: Wheel) -> Option<[Gradient; 3]> {
        let of_wheel = self.state.wheels.get(wheel).as_ref()?;
        let from = (*self.model.columns.wheels.get(wheel))?;
        let standoff_mm = *self.model.standoff_mm.get(wheel);
        let mut rows = [self.gradient(), self.gradient(), self.gradient()];
        let turn = of_wheel.ahead.rotation;
        let by_turn = -cross_matrix(turn * column(of_wheel.centre_in_target(standoff_mm)));
        let basis = square(of_wheel.spindle);
        let tilts = basis.map(|along| turn * centre_by_tilt(&of_wheel.offset, &of_wheel.spindle, along, standoff_mm));
        let shifts = basis.map(|along| turn * along);
        let spindle = column(of_wheel.spindle_in_rig());
        for (i, row) in rows.iter_mut().enumerate() {
            for j in 0..3 {
                row.shared[from + j] = by_turn[(i, j)];
            }
            row.shared[from + 3 + i] = 1.0;
            for j in 0..2 {
                row.shared[from + 6 + j] = tilts[j][i];
                row.shared[from + 8 + j] = shifts[j][i];
            }
            row.standoff[wheel.index()] = -spindle[i];
        }
        Some(rows)
    }

    /// How the rolling radius follows.
    pub(crate) fn rolling_radius(&self, wheel: Wheel) -> Gradient {
        let mut row = self.gradient();
        match *self.model.columns.radii.get(wheel) {
            Some(column) => row.shared[column] = 1.0,
            None => row.loaded_radius[usize::from(!wheel.is_front())] = 1.0,
        }
        row
    }

    /// How the steering axis follows: three components of its direction, three of its point.
    pub(crate) fn axis(&self, side: Side) -> Option<[Gradient; 6]> {
        let axis = (*self.state.axes.get(side))?;
        let from = (*self.model.columns.axes.get(side))?;
        let mut rows = core::array::from_fn(|_| self.gradient());
        for (i, along) in square(axis.direction).into_iter().enumerate() {
            for j in 0..3 {
                let row: &mut Gradient = &mut rows[j];
                row.shared[from + i] = along[j];
                rows[3 + j].shared[from + 2 + i] = along[j];
            }
        }
        Some(rows)
    }

    /// How a steer angle follows, degrees.
    pub(crate) fn steer_angle(&self, side: Side, stage: Stage, index: Option<usize>) -> Option<Gradient> {
        let wheel = side.front_wheel();
        let of_wheel = self.state.wheels.get(wheel).as_ref()?;
        let by_spindle = self.spindle(wheel)?;
        let at = self.station(stage, index)?;
        let now = self.steered_spindle(side, at)?;
        let TurnedAbout { by_before, by_now, by_line, .. } =
            TurnedAbout::of(self.model.up, of_wheel.spindle_in_rig(), now);
        let (by_before, by_now) = (column(by_before), column(by_now));
        let mut row = self.gradient();
        row.up = column(by_line);
        let add = |row: &mut Gradient, rows: &[Gradient; 3], by: Vector3<f64>| {
            for (of, factor) in rows.iter().zip(by.iter()) {
                row.add(of, *factor);
            }
        };
        // A turn ω takes n to n + ω × n.
        let by_turn = column(now).cross(&by_now);
        let (plan, station) = (&self.model.stations[at], &self.state.stations[at]);
        if let (Some(from), Some(loose)) = (*plan.loose.get(side), station.loose.get(side)) {
            add(&mut row, &by_spindle, by_before);
            add(&mut row, &self.spindle_in_target(wheel)?, loose.rotation.tr_mul(&by_now));
            row.own.extend((0..3).map(|i| (at, from + i, by_turn[i])));
            return Some(row);
        }
        let axis = (*self.state.axes.get(side))?;
        let own = (*plan.steer.get(side))?;
        let direction = column(axis.direction);
        let knuckle = rotation(direction, *station.steer_rad.get(side));
        add(&mut row, &by_spindle, by_before + knuckle.tr_mul(&by_now));
        row.own.push((at, own, by_turn.dot(&direction)));
        if let Some(from) = *self.model.columns.axes.get(side) {
            for (i, along) in square(axis.direction).into_iter().enumerate() {
                let tilt = direction.cross(&along);
                row.shared[from + i] += by_turn.dot(&(tilt - knuckle * tilt));
            }
        }
        Some(row)
    }

    /// What each pose of the sweep says of the axis of one side: how far it tilted and shifted where the wheel was locked to its knuckle; free to
    /// roll, how far the spindle left its cone and the wheel centre its circle.
    pub(super) fn axis_parts(&self, side: Side) -> Vec<AxisPart> {
        let wheel = side.front_wheel();
        let (Some(axis), Some(of_wheel)) = (*self.state.axes.get(side), self.state.wheels.get(wheel)) else {
            return Vec::new();
        };
        // Where the axis is nearest to the wheel centre: elsewhere along it a tilt is worth another shift.
        let centre = of_wheel.ahead.point(of_wheel.centre_in_target(*self.model.standoff_mm.get(wheel)));
        let nearest = column(axis.point + axis.direction * (centre - axis.point).dot(axis.direction));
        let mut parts = Vec::new();
        for (pose, seen) in self.model.observations.iter().enumerate() {
            let (plan, station) = (&self.model.stations[seen.at], &self.state.stations[seen.at]);
            if seen.wheel != wheel || plan.stage != Stage::Sweep {
                continue;
            }
            let Some(foretold) = self.model.foretell(&self.state, seen.at, wheel, None) else { continue };
            let left_over = Model::left_over(&seen.pose, &foretold);
            let pivot = column(self.model.pivot);
            let point = pivot + station.turn * (nearest - pivot) + station.shift;
            let direction = station.turn * column(axis.direction);
            let origin = column(foretold.origin());
            let mut by = Matrix6::zeros();
            let about = if plan.spin.get(wheel).is_some() {
                let spindle = column(foretold.direction(of_wheel.spindle));
                let off_cone = spindle.cross(&direction);
                let sin = off_cone.norm();
                by.fixed_view_mut::<1, 3>(0, 0).copy_from(&(off_cone / sin).transpose());
                column(foretold.point(of_wheel.centre_in_target(*self.model.standoff_mm.get(wheel))))
            } else {
                by.fixed_view_mut::<3, 3>(0, 0).copy_from(&-cross_matrix(direction));
                point
            };
            by.fixed_view_mut::<3, 3>(3, 0).copy_from(&-cross_matrix(about - origin));
            by.fixed_view_mut::<3, 3>(3, 3).fill_with_identity();
            parts.push(AxisPart { pose, off: by * left_over, by_left_over: by });
        }
        parts
    }

    /// How the residuals of an axis follow: degrees, then mm. The root mean square follows each part by that part over n times itself.
    pub(crate) fn axis_residuals_follow(&self, side: Side) -> [Gradient; 2] {
        /// A residual below this has no direction of its own, radians and mm: rounding.
        const NONE: f64 = 1e-9;
        let parts = self.axis_parts(side);
        let residual = self.axis_residual(side);
        #[expect(clippy::cast_precision_loss, reason = "the number of stations is far below 2^52")]
        let share = 1.0 / parts.len().max(1) as f64;
        [(0, residual.rotation_deg / DEG_PER_RAD, DEG_PER_RAD), (3, residual.translation_mm, 1.0)].map(
            |(from, rms, unit)| {
                let mut row = self.gradient();
                for part in &parts {
                    let mut weight = Vector6::zeros();
                    for i in from..from + 3 {
                        // Where nothing is left over any direction will do.
                        weight[i] = unit * share * if rms > NONE { part.off[i] / rms } else { f64::from(i == from) };
                    }
                    let by_left_over = part.by_left_over.tr_mul(&weight);
                    row.direct.push((part.pose, by_left_over));
                    // And by what the fit makes of the pose.
                    let seen = &self.model.observations[part.pose];
                    let mut follows = Follows::default();
                    self.model.foretell(&self.state, seen.at, seen.wheel, Some(&mut follows));
                    for (column, by) in &follows.shared {
                        row.shared[*column] -= by.dot(&by_left_over);
                    }
                    for (column, by) in &follows.own {
                        row.own.push((seen.at, *column, -by.dot(&by_left_over)));
                    }
                }
                row
            },
        )
    }

    /// How the poses are foretold otherwise when an input changes.
    pub(crate) fn by_inputs(&self) -> ByInputs {
        const STEP_RAD: f64 = 1e-5;
        const STEP_MM: f64 = 1e-2;
        let by = |step: f64, nudge: &dyn Fn(&mut Model, &mut State, f64)| -> Vec<Vector6<f64>> {
            let nudged = |step: f64| {
                let (mut model, mut state) = (self.model.clone(), self.state.clone());
                nudge(&mut model, &mut state, step);
                (model, state)
            };
            let (above, below) = (nudged(step), nudged(-step));
            let foretell = |of: &(Model, State), at: usize, wheel: Wheel| of.0.foretell(&of.1, at, wheel, None);
            let rolled = |at: usize| self.model.stations[at].kind == Kind::Rolled;
            self.model
                .observations
                .iter()
                .map(|seen| {
                    let both = if rolled(seen.at) {
                        foretell(&above, seen.at, seen.wheel).zip(foretell(&below, seen.at, seen.wheel))
                    } else {
                        None
                    };
                    both.map_or(Vector6::zeros(), |(above, below)| Model::left_over(&above, &below) / (2.0 * step))
                })
                .collect()
        };
        let up = core::array::from_fn(|axis| {
            by(STEP_RAD, &|model: &mut Model, state: &mut State, step: f64| {
                let mut along = [0.0; 3];
                along[axis] = step;
                model.up = (model.up + Vector::new(along).square_to(model.up)).unit();
                model.level(state);
            })
        });
        let standoff = core::array::from_fn(|i| {
            by(STEP_MM, &|model: &mut Model, _: &mut State, step: f64| {
                *model.standoff_mm.get_mut(Wheel::ALL[i]) += step;
            })
        });
        let loaded_radius = core::array::from_fn(|axle| {
            by(STEP_MM, &|model: &mut Model, state: &mut State, step: f64| {
                for wheel in Wheel::ALL.into_iter().filter(|&wheel| usize::from(!wheel.is_front()) == axle) {
                    if let (Some(of_wheel), None) = (state.wheels.get_mut(wheel), model.columns.radii.get(wheel)) {
                        of_wheel.radius_mm += step;
                    }
                }
            })
        });
        ByInputs { up, standoff, loaded_radius }
    }

    /// How a number follows the poses and the inputs.
    pub(crate) fn follow(&self, gradient: &Gradient, inputs: &ByInputs) -> Followed {
        let normal = &self.normal;
        let mut own: Vec<DVector<f64>> = self.model.stations.iter().map(|plan| DVector::zeros(plan.size)).collect();
        for &(station, column, derivative) in &gradient.own {
            own[station][column] += derivative;
        }
        let mut shared = gradient.shared.clone();
        for (station, own) in normal.stations.iter().zip(&mut own) {
            if own.iter().any(|v| v.abs() > 0.0) {
                forward(&station.factor, own);
                shared.gemv_tr(-1.0, &station.coupling, own, 1.0);
            }
        }
        forward(&normal.factor, &mut shared);
        backward(&normal.factor, &mut shared);
        for (station, own) in normal.stations.iter().zip(&mut own) {
            if !own.is_empty() {
                own.gemv(-1.0, &station.coupling, &shared, 1.0);
                backward(&station.factor, own);
            }
        }
        let mut by_pose: Vec<Vector6<f64>> = normal
            .rows
            .iter()
            .zip(&self.model.observations)
            .map(|(row, seen)| {
                let mut sum = Vector6::zeros();
                for (column, by) in &row.follows.shared {
                    sum += by * shared[*column];
                }
                for (column, by) in &row.follows.own {
                    sum += by * own[seen.at][*column];
                }
                seen.whitener.tr_mul(&sum) * sqrt(seen.share)
            })
            .collect();
        for (pose, direct) in &gradient.direct {
            by_pose[*pose] += direct;
        }
        let acts = |by: &[Vector6<f64>]| by_pose.iter().zip(by).map(|(follows, by)| follows.dot(by)).sum::<f64>();
        Followed {
            by_up: core::array::from_fn(|i| gradient.up[i] - acts(&inputs.up[i])),
            by_standoff: core::array::from_fn(|i| gradient.standoff[i] - acts(&inputs.standoff[i])),
            by_loaded_radius: core::array::from_fn(|i| gradient.loaded_radius[i] - acts(&inputs.loaded_radius[i])),
            by_pose,
        }
    }
}
