//! The core's stages by themselves: clamps, datum, four wheels straight ahead, and the virtual vehicle. Results cross as JSON.

use crate::session::{Session, Stations, stations};
use crate::{json, pose, run, tree};
use alignment_core::compensation::{self, Compensation};
use alignment_core::session::{ByAxle, ByWheel, Centreline, RollingBody, Side};
use alignment_core::simulate::VirtualVehicle;
use alignment_core::{datum, session, vehicle};
use pyo3::prelude::*;

/// The arguments of `from_rolling` and `from_spinning` beside the stations.
#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct Turned {
    up: [f64; 3],
    clamp_standoff_mm: ByWheel<f64>,
    #[serde(default)]
    loaded_radius_mm: Option<ByAxle<Option<f64>>>,
    #[serde(default)]
    body: RollingBody,
}

/// The arguments of `wheel_from_rolling` and `wheel_from_spinning` beside the poses.
#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct TurnedWheel {
    side: Side,
    forward: [f64; 3],
    up: [f64; 3],
    clamp_standoff_mm: f64,
    #[serde(default)]
    loaded_radius_mm: Option<f64>,
}

/// The arguments of `ahead_readings` beside the poses.
#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct Stood {
    compensation: ByWheel<Compensation>,
    up: [f64; 3],
    loaded_radius_mm: Option<ByAxle<Option<f64>>>,
    centreline: Centreline,
}

#[pyfunction]
#[expect(clippy::needless_pass_by_value, reason = "Python's list is converted to one of Rust")]
pub(crate) fn from_rolling(rolling: Stations, arguments: Bound<'_, PyAny>) -> PyResult<String> {
    let py = arguments.py();
    let Turned { up, clamp_standoff_mm, loaded_radius_mm, body } = tree::arguments(arguments)?;
    run(py, || {
        let loaded = loaded_radius_mm.unwrap_or_default();
        compensation::from_rolling(&stations(&rolling), up, &clamp_standoff_mm, &loaded, body).map(|found| json(&found))
    })
}

#[pyfunction]
#[expect(clippy::needless_pass_by_value, reason = "Python's list is converted to one of Rust")]
pub(crate) fn from_spinning(spinning: Stations, arguments: Bound<'_, PyAny>) -> PyResult<String> {
    let py = arguments.py();
    let Turned { up, clamp_standoff_mm, .. } = tree::arguments(arguments)?;
    run(py, || compensation::from_spinning(&stations(&spinning), up, &clamp_standoff_mm).map(|found| json(&found)))
}

#[pyfunction]
pub(crate) fn wheel_from_rolling(poses: &[u8], arguments: Bound<'_, PyAny>) -> PyResult<String> {
    let py = arguments.py();
    let TurnedWheel { side, forward, up, clamp_standoff_mm, loaded_radius_mm } = tree::arguments(arguments)?;
    let poses = pose::poses(poses);
    run(py, || {
        compensation::wheel_from_rolling(&poses, side, forward, up, clamp_standoff_mm, loaded_radius_mm)
            .map(|found| json(&found))
    })
}

#[pyfunction]
pub(crate) fn wheel_from_spinning(poses: &[u8], arguments: Bound<'_, PyAny>) -> PyResult<String> {
    let py = arguments.py();
    let TurnedWheel { side, forward, up, clamp_standoff_mm, .. } = tree::arguments(arguments)?;
    let poses = pose::poses(poses);
    run(py, || {
        compensation::wheel_from_spinning(&poses, side, forward, up, clamp_standoff_mm).map(|found| json(&found))
    })
}

#[pyfunction]
pub(crate) fn ahead_readings(py: Python<'_>, poses: &[u8], arguments: Bound<'_, PyAny>) -> PyResult<String> {
    let Stood { compensation, up, loaded_radius_mm, centreline } = tree::arguments(arguments)?;
    let [fl, fr, rl, rr] = pose::poses(poses)
        .try_into()
        .map_err(|_| pyo3::exceptions::PyValueError::new_err("four poses are needed, of fl, fr, rl and rr"))?;
    run(py, || {
        let loaded = loaded_radius_mm.unwrap_or_default();
        let poses = ByWheel { fl, fr, rl, rr };
        vehicle::ahead_readings(&compensation, &poses, up, &loaded, centreline).map(|readings| json(&readings))
    })
}

#[pyfunction]
pub(crate) fn plane_through(py: Python<'_>, points_mm: &[u8]) -> PyResult<String> {
    let points = pose::groups::<3>(points_mm);
    run(py, || datum::plane_through(&points).map(|plane| json(&plane)))
}

#[pyfunction]
pub(crate) fn up_in_rig(py: Python<'_>, up: [f64; 3]) -> PyResult<(f64, f64, f64)> {
    run(py, || session::up_in_rig(up).map(|up| up.to_array().into()))
}

/// The virtual vehicle that a seed draws, or the default one.
#[pyfunction]
pub(crate) fn virtual_vehicle(seed: Option<u64>) -> String {
    json(&seed.map_or_else(VirtualVehicle::default, VirtualVehicle::random))
}

/// What a rig would hand over about a virtual vehicle.
#[pyfunction]
pub(crate) fn virtual_session(vehicle: Bound<'_, PyAny>) -> PyResult<Session> {
    let py = vehicle.py();
    let vehicle: VirtualVehicle = tree::arguments(vehicle)?;
    Session::checked(py, run(py, || Ok(vehicle.session()))?)
}

/// The readings that a virtual vehicle has.
#[pyfunction]
pub(crate) fn virtual_truth(vehicle: Bound<'_, PyAny>) -> PyResult<String> {
    let py = vehicle.py();
    let vehicle: VirtualVehicle = tree::arguments(vehicle)?;
    run(py, || Ok(json(&vehicle.truth())))
}
