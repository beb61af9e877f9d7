//! How much each pose of a session scatters: as stated, for all or for itself alone, or as its frames show.

use crate::error::{Error, ErrorCode, Stage};
use crate::frame::{Camera, Rig, Transform};
use crate::layout::{ByWheel, Wheel};
use crate::session::{Noise, PoseNoise, Session, Sighting, Station, StationSpread};
use crate::units::rad_from_deg;
use nalgebra::SMatrix;

/// The input that is missing when nothing tells how much the poses scatter.
pub(crate) const NOISE: &str = "pose_noise";

/// A pose by its stage, its station and its wheel.
pub(crate) type Place = (Stage, Option<usize>, Wheel);

/// The covariance of a small turn, radians, and a small shift, mm, in the rig.
pub(crate) type PoseScatter = [[f64; 6]; 6];

/// The camera that sees a wheel, if one of the session's does.
pub(crate) fn camera_of(session: &Session, wheel: Wheel) -> Option<Transform<Rig, Camera>> {
    let camera = session.cameras.values().find(|camera| camera.wheels.contains(&wheel))?;
    camera.rig_from_camera.transform().ok()
}

/// What says how much poses scatter.
pub(crate) struct Scatter<'a> {
    session: &'a Session,
    spreads: &'a [StationSpread],
    cameras: ByWheel<Option<Transform<Rig, Camera>>>,
}

impl<'a> Scatter<'a> {
    pub(crate) fn of(session: &'a Session, spreads: &'a [StationSpread]) -> Self {
        Self { session, spreads, cameras: ByWheel::from_fn(|wheel| camera_of(session, wheel)) }
    }

    /// The covariance of the mean of a pose's frames, when it is stated.
    pub(crate) fn stated(&self, (stage, station, wheel): Place) -> Option<PoseScatter> {
        let sighting = self.station(stage, station).map(|station| station.get(wheel));
        let share = 1.0 / frames(sighting);
        match (sighting, &self.session.pose_noise) {
            (Some(Sighting::PoseWithCovariance(both)), _) => Some(self.in_rig(&both.1.covariance, wheel, 1.0)),
            (_, Some(Noise::Covariance(noise))) => Some(self.in_rig(&noise.covariance, wheel, share)),
            (_, Some(Noise::PerAxis(noise))) => Some(per_axis(*noise, share)),
            (_, None) => None,
        }
    }

    /// Whether every pose that was seen says itself how it scatters.
    pub(crate) fn all_stated(&self) -> bool {
        let Session { rolling, ahead, sweep, lock_left, lock_right, .. } = self.session;
        let mut stations = rolling.iter().chain([ahead]).chain(sweep).chain(lock_left).chain(lock_right);
        stations.all(|station| {
            let sightings = Wheel::ALL.iter().map(|&wheel| station.get(wheel));
            sightings.into_iter().all(|sighting| match sighting {
                Sighting::PoseWithCovariance(_) => true,
                other => other.frames().is_empty(),
            })
        })
    }

    /// How the frames of a pose scatter.
    pub(crate) fn spread(&self, at: Place) -> Option<&'a StationSpread> {
        // They stand in the order in which the stations are looked through.
        let order = |(stage, station, wheel): Place| (stage.order(), station, wheel.index());
        let found = self.spreads.binary_search_by_key(&order(at), |of| order((of.stage, of.station, of.wheel)));
        self.spreads.get(found.ok()?)
    }

    /// The covariance of the mean of a pose's frames, and its degrees of freedom, of the turn and of the shift: infinite when it is stated.
    pub(crate) fn of_pose(&self, at: Place) -> Result<(PoseScatter, f64), Error> {
        if let Some(stated) = self.stated(at) {
            return Ok((stated, f64::INFINITY));
        }
        let (stage, station, wheel) = at;
        let missing = Error::new(ErrorCode::MissingInput).input(NOISE).stage(stage).wheel(wheel);
        let missing = station.map_or(missing, |station| missing.station(station));
        let StationSpread { rotation_deg, translation_mm, .. } = *self.spread(at).ok_or(missing)?;
        let share = 1.0 / frames(self.station(stage, station).map(|station| station.get(wheel)));
        Ok((per_axis(PoseNoise { rotation_deg, translation_mm }, share), 3.0 / share - 3.0))
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
    fn in_rig(&self, covariance: &[[f64; 6]; 6], wheel: Wheel, share: f64) -> PoseScatter {
        let scaled = in_radians(covariance, share);
        let Some(camera) = self.cameras.get(wheel) else { return rows_of(&scaled) };
        let mut turn = SMatrix::<f64, 6, 6>::zeros();
        turn.fixed_view_mut::<3, 3>(0, 0).copy_from(&camera.rotation);
        turn.fixed_view_mut::<3, 3>(3, 3).copy_from(&camera.rotation);
        rows_of(&(turn * scaled * turn.transpose()))
    }
}

#[expect(clippy::cast_precision_loss, reason = "the number of frames is far below 2^52")]
fn frames(sighting: Option<&Sighting>) -> f64 {
    sighting.map_or(1.0, |sighting| sighting.frames().len() as f64)
}

/// The covariance of a pose whose noise is stated in its own frame, in radians and mm.
pub(crate) fn of_noise(noise: &Noise) -> PoseScatter {
    match noise {
        Noise::PerAxis(noise) => per_axis(*noise, 1.0),
        Noise::Covariance(noise) => rows_of(&in_radians(&noise.covariance, 1.0)),
    }
}

fn in_radians(covariance: &[[f64; 6]; 6], share: f64) -> SMatrix<f64, 6, 6> {
    let unit = |i: usize| if i < 3 { rad_from_deg(1.0) } else { 1.0 };
    SMatrix::from_fn(|i, j| covariance[i][j] * unit(i) * unit(j) * share)
}

fn rows_of(matrix: &SMatrix<f64, 6, 6>) -> PoseScatter {
    core::array::from_fn(|i| core::array::from_fn(|j| matrix[(i, j)]))
}

/// The covariance of a noise alike along all axes, in radians and mm.
pub(crate) fn per_axis(noise: PoseNoise, share: f64) -> PoseScatter {
    let (turn, shift) = (rad_from_deg(noise.rotation_deg), noise.translation_mm);
    let variance = |i: usize| if i < 3 { turn * turn * share } else { shift * shift * share };
    core::array::from_fn(|i| core::array::from_fn(|j| if i == j { variance(i) } else { 0.0 }))
}
