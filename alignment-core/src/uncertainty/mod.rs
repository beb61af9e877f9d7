//! What every reading is worth: standard uncertainties and covariances, by the law of propagation through the whole chain.
//!
//! # What is uncertain
//! | input | where it is stated |
//! |---|---|
//! | every pose | `pose_noise`, per axis or as a 6×6 covariance; a `covariance` of its own; or, when neither is stated, how its frames scatter |
//! | clamp standoff, `up`, loaded radius, runway, ride heights | `input_uncertainty` |
//! | where the right cameras stand against the left ones | `input_uncertainty`: one error that all poses of the right wheels share |
//!
//! All but the last are independent of each other. The mean of n frames has 1/n of their covariance.
//!
//! # The law of propagation
//! To first order the readings y follow the inputs x by y = J·x, and so have the covariance U = J·V·Jᵀ. J is the product of what each stage passes on:
//!
//! | stage | derivative |
//! |---|---|
//! | clamps, from the rolling stations | exact: implicit differentiation of the least squares |
//! | steering axes and steer angles, from the steered stations | exact, likewise |
//! | wheels, from clamps and ahead poses | exact |
//! | the tree, from wheels, axes and angles | central differences of the very function that [`measure`](crate::measure) uses: closed forms without noise, good to some 1e-9 |
//!
//! Central differences of a whole stage stand in where a rolling radius had to be given, a body turns while it rolls, wheels are free in
//! the sweep, the body is found again, or the datum is the wheel plane. In a customary session they cost up to fifty times more, and
//! from there on the square of the number of stations.
//!
//! # Degrees of freedom
//! A stated noise is taken as known. Noise that is estimated from n frames has 3(n − 1) degrees of freedom for the rotation and as many
//! for the translation; a reading's effective degrees of freedom follow by the formula of Welch and Satterthwaite.
//!
//! # Where it fails
//! The law is linear. An angle that cannot be negative, a runout near zero, is not: its uncertainty there says how far it may lie from zero,
//! not how it is distributed. `monte_carlo` tells.
//! The uncertainty covers what the inputs say. It knows nothing of a target that slipped or a steering axis that moves: the warnings
//! of the measurement do.

mod clamps;
mod difference;
#[cfg(feature = "simulate")]
mod plan;
mod steered;
#[cfg(feature = "simulate")]
mod trials;

use crate::alignment::{self, Alignment, Measurement, Trace};
use crate::assembly::Geometry;
use crate::datum;
use crate::error::{Error, ErrorCode, Stage};
use crate::frame::{Rig, Target, Transform, Vector};
use crate::layout::{ByAxle, BySide, ByWheel, Wheel};
use crate::paths::{self, COUNT};
use crate::propagation::{self, Expanded};
use crate::session::{Datum, InputUncertainty, Noise, PoseNoise, Session, Sighting, Station, StationSpread};
use crate::units::{DEG_PER_RAD, rad_from_deg, sqrt};
use alloc::vec::Vec;
use clamps::{CLAMPS, ClampsFollow, PER_CLAMP, Row};
use difference::{ABSENT, STEP_MM, STEP_RAD, tilted};
use nalgebra::{Matrix3, SMatrix, SVector};
#[cfg(feature = "simulate")]
pub use plan::{MAX_PLANNED, Plan, ROLL_RANGE_DEG, Reach, SWEEP_RANGE_DEG, plan, reach};
use steered::{AHEAD, LOCKS, OTHER_WHEEL, PER_AXIS, RANGE, STEERED, SteeredFollows};
#[cfg(feature = "simulate")]
pub use trials::{Trials, monte_carlo};

/// The input that is missing when nothing tells how much the poses scatter.
pub(crate) const NOISE: &str = "pose_noise";

/// The independent causes, stage by stage, of what is uncertain in the geometry.
mod cause {
    use super::{AHEAD, CLAMPS, STEERED};

    /// The clamps and, behind them, the yaw of the travel: from the rolling stations.
    pub(super) const CLAMP: usize = 0;
    pub(super) const TRAVEL: usize = CLAMPS;
    /// The turn and shift of each ahead pose.
    pub(super) const AHEAD_POSE: usize = TRAVEL + 1;
    pub(super) const STANDOFF: usize = AHEAD_POSE + AHEAD;
    pub(super) const UP: usize = STANDOFF + 4;
    pub(super) const LOADED_RADIUS: usize = UP + 3;
    pub(super) const RIDE_HEIGHT: usize = LOADED_RADIUS + 2;
    /// What the steered stations give.
    pub(super) const STEER: usize = RIDE_HEIGHT + 4;
    /// The turn and shift of the right cameras.
    pub(super) const CAMERAS: usize = STEER + STEERED;
    pub(super) const COUNT: usize = CAMERAS + 6;
}

/// The numbers of the geometry that the tree is computed from.
mod figure {
    use super::STEERED;

    /// Of each wheel: spindle 3, centre 3, rolling radius, runout.
    pub(super) const PER_WHEEL: usize = 8;
    pub(super) const UP: usize = 4 * PER_WHEEL;
    pub(super) const LOADED_RADIUS: usize = UP + 3;
    pub(super) const RIDE_HEIGHT: usize = LOADED_RADIUS + 2;
    pub(super) const STEER: usize = RIDE_HEIGHT + 4;
    pub(super) const COUNT: usize = STEER + STEERED;
}

/// A row of a matrix by its elements that are not zero.
type Sparse = Vec<(usize, f64)>;

/// One pose as a cause.
#[derive(Debug, Clone, PartialEq)]
struct PoseCause {
    stage: Stage,
    station: Option<usize>,
    wheel: Wheel,
    /// How the causes of its stage follow it.
    rows: Vec<Row>,
    /// Of its turn, radians, and shift, mm, in the rig.
    covariance: [[f64; 6]; 6],
    /// Of the turn and of the shift.
    degrees_of_freedom: f64,
}

/// A cause that is no pose.
#[derive(Debug, Clone, PartialEq)]
struct OtherCause {
    source: Source,
    /// Of as many numbers as it has.
    covariance: SMatrix<f64, 6, 6>,
    /// Where they stand, and how many they are.
    at: usize,
    size: usize,
}

/// A measurement, and what each of its readings is worth.
#[derive(Debug, Clone, PartialEq)]
pub struct Uncertainty {
    /// The measurement itself.
    pub measurement: Measurement,
    /// The standard uncertainty of every reading, in the reading's own unit, under the same path.
    pub standard: Alignment,
    /// The effective degrees of freedom of every standard uncertainty, under the same path: infinite where the noise is known.
    pub degrees_of_freedom: Alignment,
    covariance: Vec<f64>,
    /// The readings by the figures, the figures by the causes.
    readings: Vec<Sparse>,
    figures: Vec<Sparse>,
    poses: Vec<PoseCause>,
    /// The variances of the causes that are no poses.
    others: Vec<OtherCause>,
}

/// What makes a reading uncertain.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "json", serde(rename_all = "snake_case"))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum Source {
    /// The noise of the poses of one wheel: at one station of a stage, or at all of them.
    Poses {
        /// In which group of stations.
        stage: Stage,
        /// At which station of the group, counted from 0 as in the session; None for all together.
        station: Option<usize>,
        /// Of which wheel.
        wheel: Wheel,
    },
    /// The standoff of one clamp.
    ClampStandoff(Wheel),
    /// The direction of `up`.
    Up,
    /// The measured points of the runway.
    Runway,
    /// The loaded radius of the front axle.
    FrontLoadedRadius,
    /// The loaded radius of the rear axle.
    RearLoadedRadius,
    /// The ride heights.
    RideHeight,
    /// Where the cameras of the right wheels stand against those of the left.
    RightCameras,
}

/// What one input contributes to the uncertainty of one reading.
#[derive(Debug, Clone, Copy, PartialEq)]
#[cfg_attr(feature = "json", derive(serde::Serialize))]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct Contribution {
    /// The input.
    pub source: Source,
    /// The standard uncertainty that the reading would have from this input alone, in the reading's unit.
    pub standard_uncertainty: f64,
    /// Its share of the reading's variance, 0 to 1.
    pub share: f64,
}

/// Measures a car, and says what each reading is worth (see the [module](self)).
///
/// # Errors
/// Those of [`measure`](crate::measure); [`ErrorCode::MissingInput`] when the noise of the poses is not stated and a wheel was seen in a
/// single frame, [`ErrorCode::NotACovariance`].
///
/// ```
/// use alignment_core::{session::PoseNoise, simulate::VirtualVehicle, uncertainty};
///
/// let noise = PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 };
/// let session = VirtualVehicle { pose_noise: Some(noise), ..VirtualVehicle::default() }.session();
/// let known = uncertainty::propagate(&session)?;
/// let camber = known.expanded("wheels.fl.camber_deg", 0.95)?.unwrap();
/// assert!((0.015..0.020).contains(&camber.expanded_uncertainty));
/// let first = known.budget("wheels.fl.camber_deg")?[0];
/// println!("{:?}: {:.0} %", first.source, 100.0 * first.share);
/// # Ok::<(), alignment_core::Error>(())
/// ```
pub fn propagate(session: &Session) -> Result<Uncertainty, Error> {
    let (measurement, trace) = alignment::trace(session)?;
    let given = session.input_uncertainty.unwrap_or_default();
    let clamps = ClampsFollow::find(session, &trace.rolling, trace.geometry.up, &trace.geometry.compensation)?;
    let steered = SteeredFollows::find(session, &trace)?;
    let mut figures = Figures::of(&trace, &clamps, &steered);
    if session.reference.datum == Datum::WheelPlane {
        figures.up_from_wheels(&trace.geometry)?;
    }
    let poses = pose_causes(session, &measurement.spreads, &trace, clamps, steered)?;
    let cameras = figures.follow_cameras(session, &trace, &poses);
    let others = other_causes(session, &trace, &given, cameras)?;
    let causes = covariance_of_causes(&poses, &others);
    let figures = figures.sparse();
    let of_figures = propagated::<{ cause::COUNT }, { figure::COUNT }>(&figures, &causes);
    let readings = readings_by_figures(&trace.geometry, &of_figures)?;
    let of_readings = propagated::<{ figure::COUNT }, COUNT>(&readings, &of_figures);

    let values = measurement.alignment.values();
    let standard = core::array::from_fn(|i| values[i].map(|_| sqrt(of_readings[i * COUNT + i].max(0.0))));
    let mut known = Uncertainty {
        measurement,
        standard: Alignment::from_values(&standard),
        degrees_of_freedom: Alignment::default(),
        covariance: of_readings,
        readings,
        figures,
        poses,
        others,
    };
    let freedom = core::array::from_fn(|i| values[i].map(|_| known.effective_degrees_of_freedom(i)));
    known.degrees_of_freedom = Alignment::from_values(&freedom);
    Ok(known)
}

/// The geometry's numbers by their causes, as a full matrix while it is put together.
struct Figures(Vec<[f64; cause::COUNT]>);

fn zeros(rows: usize) -> Vec<[f64; cause::COUNT]> {
    (0..rows).map(|_| [0.0; cause::COUNT]).collect()
}

/// Adds a multiple of a row.
fn add(to: &mut [f64; cause::COUNT], row: &[f64; cause::COUNT], factor: f64) {
    for (to, of) in to.iter_mut().zip(row) {
        *to += of * factor;
    }
}

impl Figures {
    fn of(trace: &Trace, clamps: &ClampsFollow, steered: &SteeredFollows) -> Self {
        let geometry = &trace.geometry;
        let of_clamps = Self::clamps(clamps);
        let mut rows = Self(zeros(figure::COUNT));
        for wheel in Wheel::ALL {
            let from = figure::PER_WHEEL * wheel.index();
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
        for i in 0..3 {
            rows.0[figure::UP + i][cause::UP + i] = 1.0;
        }
        for i in 0..2 {
            rows.0[figure::LOADED_RADIUS + i][cause::LOADED_RADIUS + i] = 1.0;
        }
        for i in 0..4 {
            rows.0[figure::RIDE_HEIGHT + i][cause::RIDE_HEIGHT + i] = 1.0;
        }
        for number in 0..STEERED {
            let row = &mut rows.0[figure::STEER + number];
            row[cause::STEER + number] = 1.0;
            row[cause::AHEAD_POSE..][..AHEAD].copy_from_slice(&steered.by_ahead[number]);
            row[cause::UP..][..3].copy_from_slice(&steered.by_up[number]);
            for (of_clamp, &derivative) in of_clamps.iter().zip(&steered.by_clamps[number]) {
                if derivative.abs() > 0.0 {
                    add(row, of_clamp, derivative);
                }
            }
        }
        rows
    }

    /// The clamps by their causes.
    fn clamps(clamps: &ClampsFollow) -> Vec<[f64; cause::COUNT]> {
        let mut rows: Vec<[f64; cause::COUNT]> = zeros(CLAMPS);
        for (number, row) in rows.iter_mut().enumerate() {
            let by_travel = clamps.by_travel[number];
            row[cause::CLAMP + number] = 1.0;
            row[cause::TRAVEL] = by_travel;
            for i in 0..3 {
                row[cause::UP + i] = clamps.by_up[number][i] + by_travel * clamps.by_up[clamps::TRAVEL][i];
            }
            row[cause::STANDOFF..][..4].copy_from_slice(&clamps.by_standoff[number]);
            row[cause::LOADED_RADIUS..][..2].copy_from_slice(&clamps.by_loaded_radius[number]);
        }
        rows
    }

    /// A wheel straight ahead: its spindle is R·a and its centre R·c + p.
    fn wheel(
        &mut self,
        from: usize,
        of_clamp: &[[f64; cause::COUNT]],
        pose: &Transform<Rig, Target>,
        [spindle, arm]: [Vector<Rig>; 2],
        wheel: Wheel,
    ) {
        let own = cause::AHEAD_POSE + 6 * wheel.index();
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
    fn up_from_wheels(&mut self, geometry: &Geometry) -> Result<(), Error> {
        let plane = |nudged: &Geometry| alignment::wheel_plane_normal(nudged).map(Vector::to_array);
        let mut normal = [[0.0; cause::COUNT]; 3];
        let mut by_up = Matrix3::zeros();
        for index in (0..figure::STEER).filter(|index| index % figure::PER_WHEEL != 7 || *index >= figure::UP) {
            let column = nudge(geometry, index, plane)?;
            for (i, derivative) in column.into_iter().enumerate() {
                if (figure::UP..figure::UP + 3).contains(&index) {
                    by_up[(i, index - figure::UP)] += derivative;
                } else {
                    add(&mut normal[i], &self.0[index], derivative);
                    for j in 0..3 {
                        by_up[(i, j)] += derivative * self.0[index][cause::UP + j];
                    }
                }
            }
        }
        for row in &mut normal {
            row[cause::UP..][..3].fill(0.0);
        }
        let inverse = (Matrix3::identity() - by_up).try_inverse();
        let inverse = inverse.ok_or(Error::new(ErrorCode::SpindleNotLateral).input("reference.datum"))?;
        let mut up = [[0.0; cause::COUNT]; 3];
        for i in 0..3 {
            for j in 0..3 {
                add(&mut up[i], &normal[j], inverse[(i, j)]);
            }
        }
        for row in &mut self.0 {
            let by_up: [f64; 3] = core::array::from_fn(|i| core::mem::take(&mut row[cause::UP + i]));
            for (of_up, by_up) in up.iter().zip(by_up) {
                add(row, of_up, by_up);
            }
        }
        Ok(())
    }

    /// How everything follows one common error of the right cameras, as six more causes. The poses about which point: see
    /// [`InputUncertainty`].
    fn follow_cameras(&mut self, session: &Session, trace: &Trace, poses: &[PoseCause]) -> bool {
        let noise = session.input_uncertainty.unwrap_or_default().right_cameras;
        if noise == PoseNoise::default() {
            return false;
        }
        let about = camera_of(session, Wheel::Fr).map_or(Vector::zero(), |camera| camera.origin());
        let mut causes = [[0.0; 6]; cause::COUNT];
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
                row[cause::CAMERAS + j] = (0..cause::CAMERAS).map(|number| row[number] * causes[number][j]).sum();
            }
        }
        true
    }

    fn sparse(self) -> Vec<Sparse> {
        let sparse = |row: &[f64; cause::COUNT]| -> Sparse {
            row.iter().copied().enumerate().filter(|(_, v)| v.abs() > 0.0).collect()
        };
        self.0.iter().map(sparse).collect()
    }
}

/// The gradient of the runout by the spindle in the target, degrees: away from the nearest axis. Of a clamp that sits true any
/// direction across will do.
fn runout_follows(spindle: Vector<Target>) -> [f64; 3] {
    let components = spindle.to_array();
    let nearest = (0..3).max_by(|&a, &b| components[a].abs().total_cmp(&components[b].abs())).unwrap_or(0);
    let mut axis = [0.0; 3];
    axis[nearest] = f64::copysign(1.0, components[nearest]);
    let axis = Vector::new(axis);
    let across = spindle.square_to(axis);
    let away = if across.norm() > 0.0 { (-axis).square_to(spindle).unit() } else { axis.any_square() };
    (away * DEG_PER_RAD).to_array()
}

impl Trace {
    /// The pose of a wheel at one station, as the cameras saw it.
    fn pose(&self, stage: Stage, station: Option<usize>, wheel: Wheel) -> Option<Transform<Rig, Target>> {
        let poses = match (stage, station) {
            (Stage::Rolling, Some(index)) => self.rolling.get(index),
            (Stage::Sweep, Some(index)) => self.steered.sweep.get(index),
            (Stage::Ahead, None) => Some(&self.ahead),
            (Stage::LockLeft, None) => Some(&self.steered.locks.left),
            (Stage::LockRight, None) => Some(&self.steered.locks.right),
            _ => None,
        };
        *poses?.get(wheel)
    }
}

/// Every pose that a reading can follow, with its covariance. Of a pose that nothing follows the noise need not be known.
fn pose_causes(
    session: &Session,
    spreads: &[StationSpread],
    trace: &Trace,
    clamps: ClampsFollow,
    steered: SteeredFollows,
) -> Result<Vec<PoseCause>, Error> {
    let scatter = Scatter { session, spreads, cameras: ByWheel::from_fn(|wheel| camera_of(session, wheel)) };
    let mut causes = Vec::with_capacity(clamps.poses.len() + steered.poses.len() + 4);
    for (station, wheel, rows) in clamps.poses.into_iter().filter(|(.., rows)| !rows.is_empty()) {
        causes.push(scatter.cause((Stage::Rolling, Some(station), wheel), rows)?);
    }
    for wheel in Wheel::ALL.into_iter().filter(|&wheel| trace.geometry.wheels.get(wheel).is_some()) {
        let from = cause::AHEAD_POSE + 6 * wheel.index();
        let unit = |i: usize| core::array::from_fn(|j| if i == j { 1.0 } else { 0.0 });
        causes.push(scatter.cause((Stage::Ahead, None, wheel), (0..6).map(|i| (from + i, unit(i))).collect())?);
    }
    for (stage, station, wheel, mut rows) in steered.poses.into_iter().filter(|(.., rows)| !rows.is_empty()) {
        for (number, _) in &mut rows {
            *number += cause::STEER;
        }
        causes.push(scatter.cause((stage, station, wheel), rows)?);
    }
    Ok(causes)
}

/// The camera that sees a wheel, if one of the session's does.
fn camera_of(session: &Session, wheel: Wheel) -> Option<Transform<Rig, crate::frame::Camera>> {
    let camera = session.cameras.values().find(|camera| camera.wheels.contains(&wheel))?;
    camera.rig_from_camera.transform().ok()
}

/// What says how much poses scatter.
struct Scatter<'a> {
    session: &'a Session,
    spreads: &'a [StationSpread],
    cameras: ByWheel<Option<Transform<Rig, crate::frame::Camera>>>,
}

impl Scatter<'_> {
    fn cause(&self, at: (Stage, Option<usize>, Wheel), rows: Vec<Row>) -> Result<PoseCause, Error> {
        let (stage, station, wheel) = at;
        let sighting = self.station(stage, station).map(|station| station.get(wheel));
        let frames = sighting.map_or(1, |sighting| sighting.frames().len());
        #[expect(clippy::cast_precision_loss, reason = "the number of frames is far below 2^52")]
        let share = 1.0 / frames as f64;
        let (covariance, degrees_of_freedom) = match (sighting, &self.session.pose_noise) {
            (Some(Sighting::PoseWithCovariance(both)), _) => {
                (self.in_rig(&both.1.covariance, wheel, 1.0), f64::INFINITY)
            }
            (_, Some(Noise::Covariance(noise))) => (self.in_rig(&noise.covariance, wheel, share), f64::INFINITY),
            (_, Some(Noise::PerAxis(noise))) => (per_axis(*noise, share), f64::INFINITY),
            (_, None) => {
                let spread = self.spreads.iter().find(|s| (s.stage, s.station, s.wheel) == at);
                let missing = Error::new(ErrorCode::MissingInput).input(NOISE).stage(stage).wheel(wheel);
                let missing = station.map_or(missing, |station| missing.station(station));
                let spread = spread.ok_or(missing)?;
                let StationSpread { rotation_deg, translation_mm, .. } = *spread;
                (per_axis(PoseNoise { rotation_deg, translation_mm }, share), 3.0 / share - 3.0)
            }
        };
        Ok(PoseCause { stage, station, wheel, rows, covariance, degrees_of_freedom })
    }

    fn station(&self, stage: Stage, station: Option<usize>) -> Option<&Station> {
        let session = self.session;
        match (stage, station) {
            (Stage::Rolling, Some(index)) => session.rolling.get(index),
            (Stage::Sweep, Some(index)) => session.sweep.get(index),
            (Stage::LockLeft, _) => session.lock_left.as_ref(),
            (Stage::LockRight, _) => session.lock_right.as_ref(),
            _ => Some(&session.ahead),
        }
    }

    /// A covariance in degrees and mm, in the frame of the wheel's camera if it has one, in radians and mm in the rig.
    fn in_rig(&self, covariance: &[[f64; 6]; 6], wheel: Wheel, share: f64) -> [[f64; 6]; 6] {
        let unit = |i: usize| if i < 3 { rad_from_deg(1.0) } else { 1.0 };
        let scaled = SMatrix::<f64, 6, 6>::from_fn(|i, j| covariance[i][j] * unit(i) * unit(j) * share);
        let Some(camera) = self.cameras.get(wheel) else { return rows_of(&scaled) };
        let mut turn = SMatrix::<f64, 6, 6>::zeros();
        turn.fixed_view_mut::<3, 3>(0, 0).copy_from(&camera.rotation);
        turn.fixed_view_mut::<3, 3>(3, 3).copy_from(&camera.rotation);
        rows_of(&(turn * scaled * turn.transpose()))
    }
}

fn rows_of(matrix: &SMatrix<f64, 6, 6>) -> [[f64; 6]; 6] {
    core::array::from_fn(|i| core::array::from_fn(|j| matrix[(i, j)]))
}

/// The covariance of a noise alike along all axes, in radians and mm.
fn per_axis(noise: PoseNoise, share: f64) -> [[f64; 6]; 6] {
    let (turn, shift) = (rad_from_deg(noise.rotation_deg), noise.translation_mm);
    let variance = |i: usize| if i < 3 { turn * turn * share } else { shift * shift * share };
    core::array::from_fn(|i| core::array::from_fn(|j| if i == j { variance(i) } else { 0.0 }))
}

/// The causes that are no poses: each with its covariance, where it stands and how many numbers it is.
fn other_causes(
    session: &Session,
    trace: &Trace,
    given: &InputUncertainty,
    cameras: bool,
) -> Result<Vec<OtherCause>, Error> {
    let mut causes = Vec::new();
    let mut add = |source: Source, at: usize, size: usize, covariance: SMatrix<f64, 6, 6>| {
        if covariance.norm_squared() > 0.0 {
            causes.push(OtherCause { source, covariance, at, size });
        }
    };
    let alike = |deviation: f64| SMatrix::<f64, 6, 6>::from_diagonal_element(deviation * deviation);
    for wheel in Wheel::ALL {
        add(Source::ClampStandoff(wheel), cause::STANDOFF + wheel.index(), 1, alike(given.clamp_standoff_mm));
    }
    let mut of_up = SMatrix::<f64, 6, 6>::zeros();
    match session.reference.datum {
        Datum::Up => {
            let up = nalgebra::Vector3::from(trace.geometry.up.to_array());
            let level = Matrix3::identity() - up * up.transpose();
            let deviation = rad_from_deg(given.up_deg);
            of_up.fixed_view_mut::<3, 3>(0, 0).copy_from(&(level * (deviation * deviation)));
            add(Source::Up, cause::UP, 3, of_up);
        }
        Datum::Runway => {
            if let Some(runway_mm) = session.runway_mm {
                of_up
                    .fixed_view_mut::<3, 3>(0, 0)
                    .copy_from(&(runway_tilt(&runway_mm)? * (given.runway_mm * given.runway_mm)));
                add(Source::Runway, cause::UP, 3, of_up);
            }
        }
        Datum::WheelPlane => {}
    }
    let loaded = trace.geometry.loaded_radius_mm;
    for (axle, (radius, source)) in
        [(loaded.front, Source::FrontLoadedRadius), (loaded.rear, Source::RearLoadedRadius)].into_iter().enumerate()
    {
        let deviation = radius.map_or(0.0, |_| given.loaded_radius_mm);
        add(source, cause::LOADED_RADIUS + axle, 1, alike(deviation));
    }
    let heights = session.ride_height_mm.map_or(0.0, |_| given.ride_height_mm);
    add(Source::RideHeight, cause::RIDE_HEIGHT, 4, alike(heights));
    if cameras {
        let covariance = per_axis(given.right_cameras, 1.0);
        add(Source::RightCameras, cause::CAMERAS, 6, SMatrix::from_fn(|i, j| covariance[i][j]));
    }
    Ok(causes)
}

/// The covariance of the runway's normal when each coordinate of its points has the variance 1.
fn runway_tilt(runway_mm: &ByWheel<[f64; 3]>) -> Result<Matrix3<f64>, Error> {
    let plane = |points: &[[f64; 3]; 4]| datum::plane_through(points).map(|plane| Vector::<Rig>::new(plane.normal));
    let ByWheel { fl, fr, rl, rr } = *runway_mm;
    let points = [fl, fr, rl, rr];
    let normal = plane(&points)?;
    let mut covariance = Matrix3::zeros();
    for point in 0..4 {
        for axis in 0..3 {
            let column = difference::central(STEP_MM, |step| {
                let mut nudged = points;
                nudged[point][axis] += step;
                let found = plane(&nudged)?;
                Ok((if found.dot(normal) < 0.0 { -found } else { found }).to_array())
            })?;
            let column = nalgebra::Vector3::from(column);
            covariance += column * column.transpose();
        }
    }
    Ok(covariance)
}

/// The covariance of all causes, row by row.
fn covariance_of_causes(poses: &[PoseCause], others: &[OtherCause]) -> Vec<f64> {
    let mut covariance = Vec::new();
    covariance.resize(cause::COUNT * cause::COUNT, 0.0);
    for PoseCause { rows, covariance: of_pose, .. } in poses {
        for (i, (number, row)) in rows.iter().enumerate() {
            let weighted: [f64; 6] = core::array::from_fn(|k| (0..6).map(|l| row[l] * of_pose[l][k]).sum());
            for (other, column) in &rows[..=i] {
                let sum: f64 = (0..6).map(|k| weighted[k] * column[k]).sum();
                covariance[number * cause::COUNT + other] += sum;
                if number != other {
                    covariance[other * cause::COUNT + number] += sum;
                }
            }
        }
    }
    for OtherCause { covariance: of_cause, at, size, .. } in others {
        for i in 0..*size {
            for j in 0..*size {
                covariance[(at + i) * cause::COUNT + at + j] += of_cause[(i, j)];
            }
        }
    }
    covariance
}

/// The covariance J·V·Jᵀ of `N` results whose rows follow `M` numbers of covariance V.
fn propagated<const M: usize, const N: usize>(rows: &[Sparse], covariance: &[f64]) -> Vec<f64> {
    let mut result = Vec::new();
    result.resize(N * N, 0.0);
    for (i, row) in rows.iter().enumerate() {
        let mut weighted = [0.0; M];
        for &(number, derivative) in row {
            for (sum, element) in weighted.iter_mut().zip(&covariance[number * M..][..M]) {
                *sum += derivative * element;
            }
        }
        for (j, other) in rows[..=i].iter().enumerate() {
            let sum: f64 = other.iter().map(|&(number, derivative)| derivative * weighted[number]).sum();
            result[i * N + j] = sum;
            result[j * N + i] = sum;
        }
    }
    result
}

/// How the tree follows the figures that are uncertain, reading by reading.
fn readings_by_figures(geometry: &Geometry, of_figures: &[f64]) -> Result<Vec<Sparse>, Error> {
    let mut rows: Vec<Sparse> = (0..COUNT).map(|_| Vec::with_capacity(24)).collect();
    let tree = |nudged: &Geometry| nudged.alignment().map(|tree| tree.values().map(|value| value.unwrap_or(ABSENT)));
    for index in (0..figure::COUNT).filter(|index| of_figures[index * (figure::COUNT + 1)] > 0.0) {
        for (row, derivative) in rows.iter_mut().zip(nudge(geometry, index, tree)?) {
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
    let (wheel, number) = (Wheel::ALL.get(index / figure::PER_WHEEL).copied(), index % figure::PER_WHEEL);
    let is_axis = (figure::STEER..figure::STEER + 2 * PER_AXIS).contains(&index);
    let of_axis = index.wrapping_sub(figure::STEER) % PER_AXIS;
    let step = match (wheel, index) {
        (Some(_), _) if number < 3 => STEP_RAD,
        (Some(_), _) if number < 7 => STEP_MM,
        (None, index) if index < figure::LOADED_RADIUS => STEP_RAD,
        (None, index) if index < figure::STEER => STEP_MM,
        _ if is_axis && of_axis < 3 => STEP_RAD,
        _ if is_axis && of_axis < 6 => STEP_MM,
        _ => STEP_DEG,
    };
    let mut nudged = geometry.clone();
    difference::central(step, |step| {
        nudged.clone_from(geometry);
        move_figure(&mut nudged, index, step);
        function(&nudged)
    })
}

/// Moves one figure by a step.
fn move_figure(geometry: &mut Geometry, index: usize, step: f64) {
    let shifted = |at: Vector<Rig>, axis: usize| {
        let mut by = [0.0; 3];
        by[axis] = step;
        at + Vector::new(by)
    };
    let raised = |value: &mut Option<f64>| *value = value.map(|value| value + step);
    if let Some(&wheel) = Wheel::ALL.get(index / figure::PER_WHEEL) {
        let number = index % figure::PER_WHEEL;
        if let (Some(at), 0..6) = (geometry.wheels.get_mut(wheel), number) {
            match number {
                0..3 => at.spindle = tilted(at.spindle, number, step),
                _ => at.centre = shifted(at.centre, number - 3),
            }
        }
        if let (Some(clamp), 6..) = (geometry.compensation.get_mut(wheel), number) {
            if number == 6 { raised(&mut clamp.rolling_radius_mm) } else { clamp.runout_deg += step }
        }
    } else if index < figure::LOADED_RADIUS {
        geometry.up = tilted(geometry.up, index - figure::UP, step);
    } else if index < figure::RIDE_HEIGHT {
        let ByAxle { front, rear } = &mut geometry.loaded_radius_mm;
        raised(if index == figure::LOADED_RADIUS { front } else { rear });
    } else if index < figure::STEER {
        if let (Some(heights), Some(&wheel)) =
            (&mut geometry.ride_height_mm, Wheel::ALL.get(index - figure::RIDE_HEIGHT))
        {
            *heights.get_mut(wheel) += step;
        }
    } else {
        let number = index - figure::STEER;
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

impl Uncertainty {
    /// The covariance of two readings, in the product of their units; None when one is absent.
    ///
    /// # Errors
    /// [`ErrorCode::UnknownReading`].
    ///
    /// ```
    /// # use alignment_core::{session::PoseNoise, simulate::VirtualVehicle, uncertainty};
    /// # let noise = PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 };
    /// # let session = VirtualVehicle { pose_noise: Some(noise), ..VirtualVehicle::default() }.session();
    /// let known = uncertainty::propagate(&session)?;
    /// // Camber and included angle share what is uncertain in the spindle.
    /// assert!(known.covariance("wheels.fl.camber_deg", "steering.left.included_angle_deg")?.unwrap() > 0.0);
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn covariance(&self, path: &str, other: &str) -> Result<Option<f64>, Error> {
        let (i, j) = (paths::position(path)?, paths::position(other)?);
        let present = self.standard.get(path)?.and(self.standard.get(other)?);
        Ok(present.map(|_| self.covariance[i * COUNT + j]))
    }

    /// The correlation of two readings, −1 to 1; None when one is absent or exact.
    ///
    /// # Errors
    /// [`ErrorCode::UnknownReading`].
    ///
    /// ```
    /// # use alignment_core::{session::PoseNoise, simulate::VirtualVehicle, uncertainty};
    /// # let noise = PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 };
    /// # let session = VirtualVehicle { pose_noise: Some(noise), ..VirtualVehicle::default() }.session();
    /// let known = uncertainty::propagate(&session)?;
    /// let both = known.correlation("wheels.rl.toe_deg", "chassis.thrust_angle_deg")?.unwrap();
    /// assert!((0.3..1.0).contains(&both));
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn correlation(&self, path: &str, other: &str) -> Result<Option<f64>, Error> {
        let deviations = self.standard.get(path)?.zip(self.standard.get(other)?).map(|(a, b)| a * b);
        let covariance = self.covariance(path, other)?;
        Ok(covariance
            .zip(deviations)
            .filter(|(_, product)| *product > 0.0)
            .map(|(v, product)| (v / product).clamp(-1.0, 1.0)))
    }

    /// The full covariance of all readings in the order of [`READINGS`](paths::READINGS), row by row, in the products of their units. Zero
    /// where a reading is absent.
    ///
    /// ```
    /// # use alignment_core::{paths::COUNT, session::PoseNoise, simulate::VirtualVehicle, uncertainty};
    /// # let noise = PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 };
    /// # let session = VirtualVehicle { pose_noise: Some(noise), ..VirtualVehicle::default() }.session();
    /// let known = uncertainty::propagate(&session)?;
    /// assert_eq!(known.covariance_matrix().len(), COUNT * COUNT);
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    #[must_use]
    pub fn covariance_matrix(&self) -> &[f64] {
        &self.covariance
    }

    /// The expanded uncertainty of a reading for a coverage probability, as 0.95; None when the reading is absent.
    ///
    /// k is the quantile of Student's t at (1 + probability)/2 for the effective degrees of freedom, rounded down to a whole number as is
    /// the cautious custom: 1.96 at 95 % when the noise is known.
    ///
    /// # Errors
    /// [`ErrorCode::UnknownReading`]; [`ErrorCode::NotFinite`]; [`ErrorCode::OutOfRange`] for a probability outside 0 to 1 − 1e-9.
    ///
    /// ```
    /// # use alignment_core::{session::PoseNoise, simulate::VirtualVehicle, uncertainty};
    /// # let noise = PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 };
    /// # let session = VirtualVehicle { pose_noise: Some(noise), ..VirtualVehicle::default() }.session();
    /// let known = uncertainty::propagate(&session)?;
    /// let caster = known.expanded("steering.left.caster_deg", 0.95)?.unwrap();
    /// assert!((caster.coverage_factor - 1.96).abs() < 1e-3);
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn expanded(&self, path: &str, probability: f64) -> Result<Option<Expanded>, Error> {
        let both = self.standard.get(path)?.zip(self.degrees_of_freedom.get(path)?);
        both.map(|(standard, freedom)| {
            let coverage_factor = propagation::coverage_factor(probability, whole(freedom))?;
            Ok(Expanded { coverage_factor, expanded_uncertainty: coverage_factor * standard })
        })
        .transpose()
    }

    /// The expanded uncertainty of every reading, under the same path.
    ///
    /// # Errors
    /// [`ErrorCode::NotFinite`]; [`ErrorCode::OutOfRange`] for a probability outside 0 to 1 − 1e-9.
    ///
    /// ```
    /// # use alignment_core::{session::PoseNoise, simulate::VirtualVehicle, uncertainty};
    /// # let noise = PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 };
    /// # let session = VirtualVehicle { pose_noise: Some(noise), ..VirtualVehicle::default() }.session();
    /// let known = uncertainty::propagate(&session)?;
    /// assert!(known.expanded_tree(0.95)?.wheels.fl.camber_deg.unwrap() < 0.02);
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn expanded_tree(&self, probability: f64) -> Result<Alignment, Error> {
        let (standard, freedom) = (self.standard.values(), self.degrees_of_freedom.values().map(|v| v.map(whole)));
        // A quantile costs more than all else, and most readings share their degrees of freedom.
        let mut factors: Vec<(f64, f64)> = Vec::new();
        let mut expanded = [None; COUNT];
        for (i, both) in standard.into_iter().zip(freedom).enumerate() {
            let Some((standard, freedom)) = both.0.zip(both.1) else { continue };
            let known = factors.iter().find(|(of, _)| of.to_bits() == freedom.to_bits());
            let factor = if let Some((_, factor)) = known {
                *factor
            } else {
                let factor = propagation::coverage_factor(probability, freedom)?;
                factors.push((freedom, factor));
                factor
            };
            expanded[i] = Some(standard * factor);
        }
        Ok(Alignment::from_values(&expanded))
    }

    /// The budget of a reading: what each input contributes, the largest first; the poses of one wheel and stage together. Empty when
    /// the reading is absent or exact. The shares add up to 1.
    ///
    /// # Errors
    /// [`ErrorCode::UnknownReading`].
    ///
    /// ```
    /// # use alignment_core::{session::PoseNoise, simulate::VirtualVehicle, uncertainty};
    /// # let noise = PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 };
    /// # let session = VirtualVehicle { pose_noise: Some(noise), ..VirtualVehicle::default() }.session();
    /// let known = uncertainty::propagate(&session)?;
    /// let budget = known.budget("steering.left.caster_deg")?;
    /// assert!(budget[0].share > 0.5, "the sweep of the wheel itself");
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn budget(&self, path: &str) -> Result<Vec<Contribution>, Error> {
        let mut together: Vec<(Source, f64)> = Vec::new();
        for (source, variance) in self.variances(paths::position(path)?) {
            let source = match source {
                Source::Poses { stage, wheel, .. } => Source::Poses { stage, station: None, wheel },
                other => other,
            };
            match together.iter_mut().find(|(known, _)| *known == source) {
                Some((_, sum)) => *sum += variance,
                None => together.push((source, variance)),
            }
        }
        Ok(contributions(together))
    }

    /// The budget of a reading pose by pose, the largest first: which station to take with more care.
    ///
    /// # Errors
    /// [`ErrorCode::UnknownReading`].
    ///
    /// ```
    /// # use alignment_core::{session::PoseNoise, simulate::VirtualVehicle, uncertainty};
    /// # let noise = PoseNoise { rotation_deg: 0.005, translation_mm: 0.05 };
    /// # let session = VirtualVehicle { pose_noise: Some(noise), ..VirtualVehicle::default() }.session();
    /// let known = uncertainty::propagate(&session)?;
    /// let budget = known.budget_by_pose("wheels.rr.camber_deg")?;
    /// assert!((budget.iter().map(|part| part.share).sum::<f64>() - 1.0).abs() < 1e-12);
    /// # Ok::<(), alignment_core::Error>(())
    /// ```
    pub fn budget_by_pose(&self, path: &str) -> Result<Vec<Contribution>, Error> {
        Ok(contributions(self.variances(paths::position(path)?)))
    }

    /// How a reading follows the causes.
    fn by_causes(&self, reading: usize) -> [f64; cause::COUNT] {
        let mut by_causes = [0.0; cause::COUNT];
        for &(figure, derivative) in &self.readings[reading] {
            for &(number, of_figure) in &self.figures[figure] {
                by_causes[number] += derivative * of_figure;
            }
        }
        by_causes
    }

    /// What each input adds to the variance of a reading.
    fn variances(&self, reading: usize) -> Vec<(Source, f64)> {
        let by_causes = self.by_causes(reading);
        let of_pose = |pose: &PoseCause| {
            let PoseCause { stage, station, wheel, .. } = *pose;
            (Source::Poses { stage, station, wheel }, pose.variance(&by_causes, 0..6))
        };
        let of_other = |OtherCause { source, covariance, at, size }: &OtherCause| {
            let follows = SVector::<f64, 6>::from_fn(|i, _| if i < *size { by_causes[at + i] } else { 0.0 });
            (*source, follows.dot(&(covariance * follows)))
        };
        self.poses.iter().map(of_pose).chain(self.others.iter().map(of_other)).collect()
    }

    /// Welch and Satterthwaite: ν = u⁴/Σ(uᵢ⁴/νᵢ) over what is estimated, turn and shift of each pose apart.
    fn effective_degrees_of_freedom(&self, reading: usize) -> f64 {
        let estimated = || self.poses.iter().filter(|pose| pose.degrees_of_freedom.is_finite());
        if estimated().next().is_none() {
            return f64::INFINITY;
        }
        let by_causes = self.by_causes(reading);
        let variance = self.covariance[reading * COUNT + reading];
        let sum: f64 = estimated()
            .flat_map(|pose| [0..3, 3..6].map(|part| (pose.variance(&by_causes, part), pose.degrees_of_freedom)))
            .map(|(part, freedom)| part * part / freedom)
            .sum();
        if sum > 0.0 { variance * variance / sum } else { f64::INFINITY }
    }
}

impl PoseCause {
    /// What a part of the pose, its turn or its shift or both, adds to the variance of a reading.
    fn variance(&self, by_causes: &[f64; cause::COUNT], part: core::ops::Range<usize>) -> f64 {
        let mut follows = [0.0; 6];
        for (number, row) in &self.rows {
            for (follows, of_row) in follows.iter_mut().zip(row) {
                *follows += by_causes[*number] * of_row;
            }
        }
        let product = |i: usize| part.clone().map(move |j| (i, j));
        part.clone().flat_map(product).map(|(i, j)| follows[i] * self.covariance[i][j] * follows[j]).sum()
    }
}

/// Sorts, and adds the shares.
fn contributions(mut variances: Vec<(Source, f64)>) -> Vec<Contribution> {
    let sum: f64 = variances.iter().map(|(_, variance)| variance).sum();
    variances.retain(|(_, variance)| *variance > 0.0);
    variances.sort_by(|a, b| b.1.total_cmp(&a.1));
    let contribution = |(source, variance): (Source, f64)| Contribution {
        source,
        standard_uncertainty: sqrt(variance),
        share: variance / sum,
    };
    variances.into_iter().map(contribution).collect()
}

/// Degrees of freedom as the coverage factor takes them.
fn whole(degrees_of_freedom: f64) -> f64 {
    libm::floor(degrees_of_freedom).max(1.0)
}
