//! What is uncertain, and by how much: every pose with its covariance, and the inputs beside the poses.

use super::Source;
use super::clamps::{CLAMPS, ClampsFollow, Row};
use super::difference::{self, STEP_MM};
use super::steered::{AHEAD, STEERED, SteeredFollows};
use crate::datum;
use crate::error::{Error, Stage};
use crate::frame::{Rig, Target, Transform, Vector};
use crate::layout::{ByWheel, Wheel};
use crate::scatter::{self, Scatter};
use crate::session::{Datum, InputUncertainty, Session, StationSpread};
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
    let scatter = Scatter::of(session, spreads);
    let cause = |at: (Stage, Option<usize>, Wheel), rows: Vec<Row>| {
        let (stage, station, wheel) = at;
        let (covariance, degrees_of_freedom) = scatter.of_pose(at)?;
        Ok::<_, Error>(PoseCause { stage, station, wheel, rows, covariance, degrees_of_freedom })
    };
    let mut causes = Vec::with_capacity(clamps.poses.len() + steered.poses.len() + 4);
    for (station, wheel, rows) in clamps.poses.into_iter().filter(|(.., rows)| !rows.is_empty()) {
        causes.push(cause((Stage::Rolling, Some(station), wheel), rows)?);
    }
    for wheel in Wheel::ALL.into_iter().filter(|&wheel| trace.geometry.wheels.get(wheel).is_some()) {
        let from = AHEAD_POSE + 6 * wheel.index();
        let unit = |i: usize| core::array::from_fn(|j| if i == j { 1.0 } else { 0.0 });
        causes.push(cause((Stage::Ahead, None, wheel), (0..6).map(|i| (from + i, unit(i))).collect())?);
    }
    for (stage, station, wheel, mut rows) in steered.poses.into_iter().filter(|(.., rows)| !rows.is_empty()) {
        for (number, _) in &mut rows {
            *number += STEER;
        }
        causes.push(cause((stage, station, wheel), rows)?);
    }
    Ok(causes)
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
        let covariance = scatter::per_axis(given.right_cameras, 1.0);
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
            let column = difference::central(STEP_MM, &mut |step| {
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
