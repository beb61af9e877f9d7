//! A session, kept in Rust: it is read once, and measured as often as wanted.

use crate::{error, pose, tree};
use alignment_core::json::{session_from_json, session_to_json};
use alignment_core::session::{ByWheel, Sighting, Stage, Station, Wheel};
use alignment_core::{Error, Pose};
use pyo3::exceptions::PyValueError;
use pyo3::prelude::*;
use pyo3::types::PyByteArray;
use std::hash::{DefaultHasher, Hash, Hasher};

/// A session as the core has it.
#[pyclass(frozen, eq, hash, module = "wheel_alignment._native")]
#[derive(PartialEq)]
pub(crate) struct Session(pub(crate) alignment_core::Session);

/// One stage: the poses one after the other, and per station and wheel, in the order fl fr rl rr, how many there are: −1 is one pose
/// that stands alone, 0 none, all else so many frames.
pub(crate) type Stations = (Vec<u8>, Vec<i64>);

#[pymethods]
impl Session {
    /// Reads a JSON text or a tree.
    #[staticmethod]
    fn read(given: Bound<'_, PyAny>) -> PyResult<Self> {
        let (py, none) = (given.py(), given.py().None().into_bound(given.py()));
        Self::checked(py, tree::session(given, none)?)
    }

    /// Takes all but the stations from a tree, and the stations from arrays.
    #[staticmethod]
    #[expect(clippy::needless_pass_by_value, reason = "Python's list is converted to one of Rust")]
    fn from_stations(keys: Bound<'_, PyAny>, stages: Vec<(String, Stations)>) -> PyResult<Self> {
        let (py, none) = (keys.py(), keys.py().None().into_bound(keys.py()));
        let mut session = tree::session(keys, none)?;
        for (stage, given) in &stages {
            let mut stations = stations(given);
            match stage.as_str() {
                "rolling" => session.rolling = stations,
                "sweep" => session.sweep = stations,
                "ahead" => session.ahead = stations.pop().unwrap_or_default(),
                "lock_left" => session.lock_left = stations.pop(),
                "lock_right" => session.lock_right = stations.pop(),
                _ => return Err(PyValueError::new_err(format!("no stage is named {stage:?}"))),
            }
        }
        Self::checked(py, session)
    }

    /// The session as JSON.
    fn json(&self) -> String {
        session_to_json(&self.0)
    }

    /// All but the stations, as JSON.
    fn keys(&self) -> String {
        let (rolling, sweep, ahead) = (Vec::new(), Vec::new(), Station::default());
        let (lock_left, lock_right) = (None, None);
        session_to_json(&alignment_core::Session { rolling, sweep, ahead, lock_left, lock_right, ..self.0.clone() })
    }

    /// The stations of a stage, with the counts as `from_stations` takes them.
    fn stations<'py>(&self, py: Python<'py>, stage: &str) -> PyResult<(Bound<'py, PyByteArray>, Vec<i64>)> {
        let of = |one: &Option<Station>| one.iter().cloned().collect();
        let stations = match stage {
            "rolling" => self.0.rolling.clone(),
            "sweep" => self.0.sweep.clone(),
            "ahead" => vec![self.0.ahead.clone()],
            "lock_left" => of(&self.0.lock_left),
            "lock_right" => of(&self.0.lock_right),
            _ => return Err(PyValueError::new_err(format!("no stage is named {stage:?}"))),
        };
        let sightings = || stations.iter().flat_map(|station| Wheel::ALL.map(|wheel| station.get(wheel)));
        let counts = sightings().map(|sighting| match sighting {
            Sighting::Frames(frames) => i64::try_from(frames.len()).unwrap_or(i64::MAX),
            one => -i64::from(!one.frames().is_empty()),
        });
        Ok((pose::bytes(py, sightings().flat_map(|sighting| sighting.frames().iter().copied())), counts.collect()))
    }
}

impl Session {
    /// A session that its own JSON can hold: every number is finite.
    pub(crate) fn checked(py: Python<'_>, mut session: alignment_core::Session) -> PyResult<Self> {
        check_finite(py, &mut session).map(|()| Self(session))
    }
}

impl Hash for Session {
    /// Of the poses, with which sessions differ if they differ at all. Zeros of both signs are equal, and have one hash.
    fn hash<H: Hasher>(&self, state: &mut H) {
        let mut hasher = DefaultHasher::new();
        for (_, _, _, sighting) in sightings(&self.0) {
            for v in sighting.frames().iter().flat_map(pose::matrix) {
                (v + 0.0).to_bits().hash(&mut hasher);
            }
        }
        state.write_u64(hasher.finish());
    }
}

/// The stations that Python hands over; what is missing at the end was not seen.
pub(crate) fn stations((matrices, counts): &Stations) -> Vec<Station> {
    let mut poses = pose::poses(matrices).into_iter();
    let mut sighting = |count: i64| match usize::try_from(count) {
        Ok(0) => Sighting::NotSeen,
        Ok(count) => Sighting::Frames(poses.by_ref().take(count).collect()),
        Err(_) => poses.next().map_or(Sighting::NotSeen, Sighting::Pose),
    };
    counts
        .as_chunks::<4>()
        .0
        .iter()
        .map(|&[fl, fr, rl, rr]| ByWheel { fl: sighting(fl), fr: sighting(fr), rl: sighting(rl), rr: sighting(rr) })
        .collect()
}

/// All that was seen, and where.
fn sightings(session: &alignment_core::Session) -> impl Iterator<Item = (Stage, Option<usize>, Wheel, &Sighting)> {
    let rolling = session.rolling.iter().enumerate().map(|(index, station)| (Stage::Rolling, Some(index), station));
    let sweep = session.sweep.iter().enumerate().map(|(index, station)| (Stage::Sweep, Some(index), station));
    rolling
        .chain([(Stage::Ahead, None, &session.ahead)])
        .chain(sweep)
        .chain(session.lock_left.iter().map(|station| (Stage::LockLeft, None, station)))
        .chain(session.lock_right.iter().map(|station| (Stage::LockRight, None, station)))
        .flat_map(|(stage, index, station)| Wheel::ALL.map(move |wheel| (stage, index, wheel, station.get(wheel))))
}

/// Refuses a session that its own JSON could not hold: a number that is not finite.
fn check_finite(py: Python<'_>, session: &mut alignment_core::Session) -> PyResult<()> {
    for (stage, station, wheel, sighting) in sightings(session) {
        let finite = |pose: &Pose| pose::matrix(pose).iter().all(|v| v.is_finite());
        if let Some(pose) = sighting.frames().iter().find(|pose| !finite(pose)) {
            let located = |error: Error| {
                let mut error = error;
                (error.stage, error.station, error.wheel) = (Some(stage), station, Some(wheel));
                error::from_core(py, &error)
            };
            pose.rig_from_target().map_err(located)?;
        }
        if let Sighting::PoseWithCovariance(both) = sighting
            && !both.1.covariance.iter().flatten().all(|v| v.is_finite())
        {
            let station = station.map(|index| format!("[{index}]")).unwrap_or_default();
            return Err(error::not_finite(py, &format!("{}{station}.{wheel}.covariance", stage.name())));
        }
    }
    // All else is small: whether it can be read back tells, and where it cannot the path does.
    let (rolling, sweep) = (std::mem::take(&mut session.rolling), std::mem::take(&mut session.sweep));
    let read_back = session_from_json(&session_to_json(session));
    let same = read_back.as_ref().is_ok_and(|read| read == session);
    (session.rolling, session.sweep) = (rolling, sweep);
    if same {
        return Ok(());
    }
    let path = read_back.err().map(|fault| fault.path).unwrap_or_default();
    Err(error::not_finite(py, &path))
}
