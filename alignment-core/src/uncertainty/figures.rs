//! The numbers of the geometry that the tree is computed from, how they follow the causes, and how the tree follows them.

use super::Sparse;
use super::causes::{self, PoseCause};
use super::clamps::{self, CLAMPS, ClampsFollow, PER_CLAMP};
use super::difference::{self, STEP_MM, STEP_RAD, tilted};
use super::fitted::{self, FigureFollows};
use super::steered::{AHEAD, LOCKS, OTHER_WHEEL, PER_AXIS, RANGE, STEERED, SteeredFollows};
use crate::assembly::Geometry;
use crate::error::{Error, ErrorCode};
use crate::frame::{Rig, Target, Transform, Vector};
use crate::layout::{ByAxle, BySide, Wheel};
use crate::scatter::camera_of;
use crate::session::{PoseNoise, Session};
use crate::staged::{self, Trace};
use crate::units::DEG_PER_RAD;
use alloc::vec::Vec;
use nalgebra::Matrix3;

/// Of each wheel: spindle 3, centre 3, rolling radius, runout.
pub(super) const PER_WHEEL: usize = 8;
const UP: usize = 4 * PER_WHEEL;
const LOADED_RADIUS: usize = UP + 3;
const RIDE_HEIGHT: usize = LOADED_RADIUS + 2;
pub(super) const STEER: usize = RIDE_HEIGHT + 4;
pub(super) const COUNT: usize = STEER + STEERED;

/// The geometry's numbers by their causes, as a full matrix while it is put together.
pub(super) struct Figures(Vec<[f64; causes::COUNT]>);

fn zeros(rows: usize) -> Vec<[f64; causes::COUNT]> {
    (0..rows).map(|_| [0.0; causes::COUNT]).collect()
}

/// Adds a multiple of a row.
#[inline(never)] // unrolled in every place it is the largest part of the module
fn add(to: &mut [f64], row: &[f64], factor: f64) {
    for (to, of) in to.iter_mut().zip(row) {
        *to += of * factor;
    }
}

impl Figures {
    pub(super) fn of(trace: &Trace, clamps: &ClampsFollow, steered: &SteeredFollows) -> Self {
        let geometry = &trace.geometry;
        let of_clamps = Self::clamps(clamps);
        let mut rows = Self(zeros(COUNT));
        for wheel in Wheel::ALL {
            let from = PER_WHEEL * wheel.index();
            let of_clamp = &of_clamps[clamps::place(wheel)..][..PER_CLAMP];
            rows.0[from + 6] = of_clamp[6];
            let Some(compensation) = geometry.compensation.get(wheel) else { continue };
            let runout = runout_follows(Vector::new(compensation.spindle_in_target));
            for i in 0..3 {
                add(&mut rows.0[from + 7], &of_clamp[i], runout[i]);
            }
            if let (Some(pose), Some(at)) = (trace.ahead.get(wheel), geometry.wheels.get(wheel)) {
                rows.wheel(from, of_clamp, pose, [at.spindle, at.centre - pose.origin()], wheel);
            }
        }
        rows.inputs();
        for number in 0..STEERED {
            let row = &mut rows.0[STEER + number];
            row[causes::STEER + number] = 1.0;
            row[causes::AHEAD_POSE..][..AHEAD].copy_from_slice(&steered.by_ahead[number]);
            row[causes::UP..][..3].copy_from_slice(&steered.by_up[number]);
            for (of_clamp, &derivative) in of_clamps.iter().zip(&steered.by_clamps[number]) {
                if derivative.abs() > 0.0 {
                    add(row, of_clamp, derivative);
                }
            }
        }
        rows
    }

    /// The figures that are inputs themselves.
    fn inputs(&mut self) {
        for i in 0..3 {
            self.0[UP + i][causes::UP + i] = 1.0;
        }
        for i in 0..2 {
            self.0[LOADED_RADIUS + i][causes::LOADED_RADIUS + i] = 1.0;
        }
        for i in 0..4 {
            self.0[RIDE_HEIGHT + i][causes::RIDE_HEIGHT + i] = 1.0;
        }
    }

    /// The figures of one fit: each stands for itself, beside what it owes to the inputs.
    pub(super) fn fitted(follows: &[FigureFollows]) -> Self {
        let mut rows = Self(zeros(COUNT));
        rows.inputs();
        for (figure, follows) in follows {
            let row = &mut rows.0[*figure];
            row[fitted::slot(*figure)] = 1.0;
            row[causes::UP..][..3].copy_from_slice(&follows.by_up);
            row[causes::STANDOFF..][..4].copy_from_slice(&follows.by_standoff);
            row[causes::LOADED_RADIUS..][..2].copy_from_slice(&follows.by_loaded_radius);
        }
        rows
    }

    /// The clamps by their causes.
    fn clamps(clamps: &ClampsFollow) -> Vec<[f64; causes::COUNT]> {
        let mut rows: Vec<[f64; causes::COUNT]> = zeros(CLAMPS);
        for (number, row) in rows.iter_mut().enumerate() {
            let by_travel = clamps.by_travel[number];
            row[number] = 1.0;
            row[causes::TRAVEL] = by_travel;
            for i in 0..3 {
                row[causes::UP + i] = clamps.by_up[number][i] + by_travel * clamps.by_up[clamps::TRAVEL][i];
            }
            row[causes::STANDOFF..][..4].copy_from_slice(&clamps.by_standoff[number]);
            row[causes::LOADED_RADIUS..][..2].copy_from_slice(&clamps.by_loaded_radius[number]);
        }
        rows
    }

    /// A wheel straight ahead: its spindle is R·a and its centre R·c + p.
    fn wheel(
        &mut self,
        from: usize,
        of_clamp: &[[f64; causes::COUNT]],
        pose: &Transform<Rig, Target>,
        [spindle, arm]: [Vector<Rig>; 2],
        wheel: Wheel,
    ) {
        let own = causes::AHEAD_POSE + 6 * wheel.index();
        let by_turn = [spindle, arm].map(|v| -crate::rigid::cross_matrix(v));
        for i in 0..3 {
            for j in 0..3 {
                add(&mut self.0[from + i], &of_clamp[j], pose.rotation[(i, j)]);
                add(&mut self.0[from + 3 + i], &of_clamp[3 + j], pose.rotation[(i, j)]);
                self.0[from + i][own + j] += by_turn[0][(i, j)];
                self.0[from + 3 + i][own + j] += by_turn[1][(i, j)];
            }
            self.0[from + 3 + i][own + 3 + i] += 1.0;
        }
    }

    /// The datum's normal follows the wheels on which the plane is put, and they follow it. So far the rows hold up as if it were an input.
    pub(super) fn up_from_wheels(&mut self, geometry: &Geometry) -> Result<(), Error> {
        let plane = |nudged: &Geometry| staged::wheel_plane_normal(nudged).map(Vector::to_array);
        let mut normal = [[0.0; causes::COUNT]; 3];
        let mut by_up = Matrix3::zeros();
        for index in (0..STEER).filter(|index| index % PER_WHEEL != 7 || *index >= UP) {
            let column = nudge(geometry, index, plane)?;
            for (i, derivative) in column.into_iter().enumerate() {
                if (UP..UP + 3).contains(&index) {
                    by_up[(i, index - UP)] += derivative;
                } else {
                    add(&mut normal[i], &self.0[index], derivative);
                    for j in 0..3 {
                        by_up[(i, j)] += derivative * self.0[index][causes::UP + j];
                    }
                }
            }
        }
        for row in &mut normal {
            row[causes::UP..][..3].fill(0.0);
        }
        let inverse = (Matrix3::identity() - by_up).try_inverse();
        let inverse = inverse.ok_or(Error::new(ErrorCode::SpindleNotLateral).input("reference.datum"))?;
        let mut up = [[0.0; causes::COUNT]; 3];
        for i in 0..3 {
            for j in 0..3 {
                add(&mut up[i], &normal[j], inverse[(i, j)]);
            }
        }
        for row in &mut self.0 {
            let by_up: [f64; 3] = core::array::from_fn(|i| core::mem::take(&mut row[causes::UP + i]));
            for (of_up, by_up) in up.iter().zip(by_up) {
                add(row, of_up, by_up);
            }
        }
        Ok(())
    }

    /// How everything follows one common error of the right cameras, as six more causes; false when there is none. It turns their poses about
    /// the camera that sees fr, else about the rig's origin.
    pub(super) fn follow_cameras(&mut self, session: &Session, trace: &Trace, poses: &[PoseCause]) -> bool {
        let noise = session.input_uncertainty.unwrap_or_default().right_cameras;
        if noise == PoseNoise::default() {
            return false;
        }
        let about = camera_of(session, Wheel::Fr).map_or(Vector::zero(), |camera| camera.origin());
        let mut causes = [[0.0; 6]; causes::COUNT];
        for pose in poses.iter().filter(|pose| matches!(pose.wheel, Wheel::Fr | Wheel::Rr)) {
            let Some(at) = trace.pose(pose.stage, pose.station, pose.wheel) else { continue };
            let by_turn = -crate::rigid::cross_matrix(at.origin() - about);
            for (number, row) in &pose.rows {
                for j in 0..3 {
                    causes[*number][j] += row[j] + (0..3).map(|i| row[3 + i] * by_turn[(i, j)]).sum::<f64>();
                    causes[*number][3 + j] += row[3 + j];
                }
            }
        }
        for row in &mut self.0 {
            for j in 0..6 {
                row[causes::CAMERAS + j] = (0..causes::CAMERAS).map(|number| row[number] * causes[number][j]).sum();
            }
        }
        true
    }

    pub(super) fn sparse(self) -> Vec<Sparse> {
        let sparse = |row: &[f64; causes::COUNT]| -> Sparse {
            row.iter().copied().enumerate().filter(|(_, v)| v.abs() > 0.0).collect()
        };
        self.0.iter().map(sparse).collect()
    }
}

/// The gradient of the runout by the spindle in the target, degrees: away from the nearest axis. Of a clamp that sits true any
/// direction across will do.
pub(super) fn runout_follows(spindle: Vector<Target>) -> [f64; 3] {
    let components = spindle.to_array();
    let nearest = (0..3).max_by(|&a, &b| components[a].abs().total_cmp(&components[b].abs())).unwrap_or(0);
    let mut axis = [0.0; 3];
    axis[nearest] = f64::copysign(1.0, components[nearest]);
    let axis = Vector::new(axis);
    let across = spindle.square_to(axis);
    let away = if across.norm() > 0.0 { (-axis).square_to(spindle).unit() } else { axis.any_square() };
    (away * DEG_PER_RAD).to_array()
}

/// How a function of the geometry follows the figures that are uncertain, number by number.
pub(super) fn by_figures<const N: usize>(
    geometry: &Geometry,
    of_figures: &[f64],
    function: impl Fn(&Geometry) -> Result<[f64; N], Error>,
) -> Result<Vec<Sparse>, Error> {
    let mut rows: Vec<Sparse> = (0..N).map(|_| Vec::with_capacity(24)).collect();
    for index in (0..COUNT).filter(|index| of_figures[index * (COUNT + 1)] > 0.0) {
        for (row, derivative) in rows.iter_mut().zip(nudge(geometry, index, &function)?) {
            if derivative.abs() > 0.0 {
                row.push((index, derivative));
            }
        }
    }
    Ok(rows)
}

/// How a function of the geometry follows one of its figures.
fn nudge<const N: usize>(
    geometry: &Geometry,
    index: usize,
    function: impl Fn(&Geometry) -> Result<[f64; N], Error>,
) -> Result<[f64; N], Error> {
    /// Degrees enter nothing but sums.
    const STEP_DEG: f64 = 1e-3;
    let (wheel, number) = (Wheel::ALL.get(index / PER_WHEEL).copied(), index % PER_WHEEL);
    let is_axis = (STEER..STEER + 2 * PER_AXIS).contains(&index);
    let of_axis = index.wrapping_sub(STEER) % PER_AXIS;
    let step = match (wheel, index) {
        (Some(_), _) if number < 3 => STEP_RAD,
        (Some(_), _) if number < 7 => STEP_MM,
        (None, index) if index < LOADED_RADIUS => STEP_RAD,
        (None, index) if index < STEER => STEP_MM,
        _ if is_axis && of_axis < 3 => STEP_RAD,
        _ if is_axis && of_axis < 6 => STEP_MM,
        _ => STEP_DEG,
    };
    difference::central(step, &mut |step| function(&nudged(geometry, index, step)))
}

/// The geometry with one figure moved by a step. Not inlined: copying the geometry takes some six thousand bytes of code.
#[inline(never)]
fn nudged(geometry: &Geometry, index: usize, step: f64) -> Geometry {
    let mut nudged = geometry.clone();
    move_figure(&mut nudged, index, step);
    nudged
}

/// Moves one figure by a step.
fn move_figure(geometry: &mut Geometry, index: usize, step: f64) {
    let shifted = |at: Vector<Rig>, axis: usize| {
        let mut by = [0.0; 3];
        by[axis] = step;
        at + Vector::new(by)
    };
    let raised = |value: &mut Option<f64>| *value = value.map(|value| value + step);
    if let Some(&wheel) = Wheel::ALL.get(index / PER_WHEEL) {
        let number = index % PER_WHEEL;
        if let (Some(at), 0..6) = (geometry.wheels.get_mut(wheel), number) {
            match number {
                0..3 => at.spindle = tilted(at.spindle, number, step),
                _ => at.centre = shifted(at.centre, number - 3),
            }
        }
        if let (Some(clamp), 6..) = (geometry.compensation.get_mut(wheel), number) {
            if number == 6 { raised(&mut clamp.rolling_radius_mm) } else { clamp.runout_deg += step }
        }
    } else if index < LOADED_RADIUS {
        geometry.up = tilted(geometry.up, index - UP, step);
    } else if index < RIDE_HEIGHT {
        let ByAxle { front, rear } = &mut geometry.loaded_radius_mm;
        raised(if index == LOADED_RADIUS { front } else { rear });
    } else if index < STEER {
        if let (Some(heights), Some(&wheel)) = (&mut geometry.ride_height_mm, Wheel::ALL.get(index - RIDE_HEIGHT)) {
            *heights.get_mut(wheel) += step;
        }
    } else {
        let number = index - STEER;
        let BySide { left, right } = &mut geometry.axes;
        let axis = if number < PER_AXIS { left } else { right };
        match (number, number % PER_AXIS) {
            (0..OTHER_WHEEL, of_axis) => {
                let Some(axis) = axis else { return };
                match of_axis {
                    0..3 => axis.direction = tilted(axis.direction, of_axis, step),
                    3..6 => axis.point = shifted(axis.point, of_axis - 3),
                    6 => axis.residual.rotation_deg += step,
                    _ => axis.residual.translation_mm += step,
                }
            }
            (OTHER_WHEEL, _) => raised(&mut geometry.other_wheel_deg.left),
            (OTHER_WHEEL..RANGE, _) => raised(&mut geometry.other_wheel_deg.right),
            (RANGE, _) => raised(&mut geometry.sweep_range_deg),
            (LOCKS, _) => raised(&mut geometry.lock_left.left_deg),
            (number, _) if number == LOCKS + 1 => raised(&mut geometry.lock_left.right_deg),
            (number, _) if number == LOCKS + 2 => raised(&mut geometry.lock_right.left_deg),
            _ => raised(&mut geometry.lock_right.right_deg),
        }
    }
}
