//! What is uncertain, and by how much: every pose with its covariance, and the inputs beside the poses.

use super::clamps::{CLAMPS, ClampsFollow, Row};
use super::difference::{self, STEP_MM};
use super::steered::{AHEAD, STEERED, SteeredFollows};
use super::{NOISE, Source};
use crate::datum;
use crate::error::{Error, ErrorCode, Stage};
use crate::frame::{Camera, Rig, Target, Transform, Vector};
use crate::layout::{ByWheel, Wheel};
use crate::session::{Datum, InputUncertainty, Noise, PoseNoise, Session, Sighting, Station, StationSpread};
use crate::staged::Trace;
use crate::units::rad_from_deg;
use alloc::vec::Vec;
use nalgebra::{Matrix3, SMatrix};

/// Where each cause stands: the clamps and, behind them, the yaw of the travel, from the rolling stations.
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

/// One pose as a cause.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct PoseCause {
    pub(super) stage: Stage,
    pub(super) station: Option<usize>,
    pub(super) wheel: Wheel,
    /// How the causes of its stage follow it.
    pub(super) rows: Vec<Row>,
    /// Of its turn, radians, and shift, mm, in the rig.
    pub(super) covariance: [[f64; 6]; 6],
    /// Of the turn and of the shift.
    pub(super) degrees_of_freedom: f64,
}

/// A cause that is no pose.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct OtherCause {
    pub(super) source: Source,
    /// Of as many numbers as it has.
    pub(super) covariance: SMatrix<f64, 6, 6>,
    /// Where they stand, and how many they are.
    pub(super) at: usize,
    pub(super) size: usize,
}

impl Trace {
    /// The pose of a wheel at one station, as the cameras saw it.
    pub(super) fn pose(&self, stage: Stage, station: Option<usize>, wheel: Wheel) -> Option<Transform<Rig, Target>> {
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
pub(super) fn pose_causes(
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
        let from = AHEAD_POSE + 6 * wheel.index();
        let unit = |i: usize| core::array::from_fn(|j| if i == j { 1.0 } else { 0.0 });
        causes.push(scatter.cause((Stage::Ahead, None, wheel), (0..6).map(|i| (from + i, unit(i))).collect())?);
    }
    for (stage, station, wheel, mut rows) in steered.poses.into_iter().filter(|(.., rows)| !rows.is_empty()) {
        for (number, _) in &mut rows {
            *number += STEER;
        }
        causes.push(scatter.cause((stage, station, wheel), rows)?);
    }
    Ok(causes)
}

/// The camera that sees a wheel, if one of the session's does.
pub(super) fn camera_of(session: &Session, wheel: Wheel) -> Option<Transform<Rig, Camera>> {
    let camera = session.cameras.values().find(|camera| camera.wheels.contains(&wheel))?;
    camera.rig_from_camera.transform().ok()
}

/// What says how much poses scatter.
struct Scatter<'a> {
    session: &'a Session,
    spreads: &'a [StationSpread],
    cameras: ByWheel<Option<Transform<Rig, Camera>>>,
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
pub(super) fn other_causes(
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
        add(Source::ClampStandoff(wheel), STANDOFF + wheel.index(), 1, alike(given.clamp_standoff_mm));
    }
    let mut of_up = SMatrix::<f64, 6, 6>::zeros();
    match session.reference.datum {
        Datum::Up => {
            let up = nalgebra::Vector3::from(trace.geometry.up.to_array());
            let level = Matrix3::identity() - up * up.transpose();
            let deviation = rad_from_deg(given.up_deg);
            of_up.fixed_view_mut::<3, 3>(0, 0).copy_from(&(level * (deviation * deviation)));
            add(Source::Up, UP, 3, of_up);
        }
        Datum::Runway => {
            if let Some(runway_mm) = session.runway_mm {
                of_up
                    .fixed_view_mut::<3, 3>(0, 0)
                    .copy_from(&(runway_tilt(&runway_mm)? * (given.runway_mm * given.runway_mm)));
                add(Source::Runway, UP, 3, of_up);
            }
        }
        Datum::WheelPlane => {}
    }
    let loaded = trace.geometry.loaded_radius_mm;
    for (axle, (radius, source)) in
        [(loaded.front, Source::FrontLoadedRadius), (loaded.rear, Source::RearLoadedRadius)].into_iter().enumerate()
    {
        let deviation = radius.map_or(0.0, |_| given.loaded_radius_mm);
        add(source, LOADED_RADIUS + axle, 1, alike(deviation));
    }
    let heights = session.ride_height_mm.map_or(0.0, |_| given.ride_height_mm);
    add(Source::RideHeight, RIDE_HEIGHT, 4, alike(heights));
    if cameras {
        let covariance = per_axis(given.right_cameras, 1.0);
        add(Source::RightCameras, CAMERAS, 6, SMatrix::from_fn(|i, j| covariance[i][j]));
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
pub(super) fn covariance_of_causes(poses: &[PoseCause], others: &[OtherCause]) -> Vec<f64> {
    let mut covariance = Vec::new();
    covariance.resize(COUNT * COUNT, 0.0);
    for PoseCause { rows, covariance: of_pose, .. } in poses {
        for (i, (number, row)) in rows.iter().enumerate() {
            let weighted: [f64; 6] = core::array::from_fn(|k| (0..6).map(|l| row[l] * of_pose[l][k]).sum());
            for (other, column) in &rows[..=i] {
                let sum: f64 = (0..6).map(|k| weighted[k] * column[k]).sum();
                covariance[number * COUNT + other] += sum;
                if number != other {
                    covariance[other * COUNT + number] += sum;
                }
            }
        }
    }
    for OtherCause { covariance: of_cause, at, size, .. } in others {
        for i in 0..*size {
            for j in 0..*size {
                covariance[(at + i) * COUNT + at + j] += of_cause[(i, j)];
            }
        }
    }
    covariance
}

impl PoseCause {
    /// What a part of the pose, its turn or its shift or both, adds to the variance of a reading.
    pub(super) fn variance(&self, by_causes: &[f64; COUNT], part: core::ops::Range<usize>) -> f64 {
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
