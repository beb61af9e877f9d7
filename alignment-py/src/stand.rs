//! Where a stand stands, and the moves that put it right. Results cross as JSON.

use crate::{json, pose, run, tree};
use alignment_core::Pose;
use alignment_core::datum::Plane;
use alignment_core::json::stand_requirements_to_json;
use alignment_core::session::{ByAxle, ByWheel, Noise};
use alignment_core::stand::{self, GroundLine, Line, PlacedStand, ReferencePoint, StandMoves, StandReadings};
use alignment_core::vehicle::AheadReadings;
use alignment_core::wheel::WheelReadings;
use pyo3::exceptions::PyValueError;
use pyo3::prelude::*;
use pyo3::types::PyByteArray;

/// A noise, in one of its two forms, or none.
#[derive(serde::Deserialize)]
struct Given {
    noise: Option<Noise>,
}

/// One wheel, as far as the ground and the line need it.
#[derive(serde::Deserialize)]
struct Seen {
    centre_mm: Option<[f64; 3]>,
    spindle: Option<[f64; 3]>,
    rolling_radius_mm: Option<f64>,
}

/// The arguments of `GroundLine.from_ahead` and `from_live`.
#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct Car {
    wheels: ByWheel<Seen>,
    rig_from_vehicle: Pose,
    loaded_radius_mm: Option<ByAxle<Option<f64>>>,
    floor: Option<Floor>,
    line: Line,
    reference: ReferencePoint,
}

#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct Floor {
    normal: [f64; 3],
    point_mm: [f64; 3],
    residual_mm: f64,
}

fn one(matrix: &[u8]) -> PyResult<Pose> {
    let [pose] = pose::poses(matrix).try_into().map_err(|_| PyValueError::new_err("one pose is needed"))?;
    Ok(pose)
}

#[pyfunction]
pub(crate) fn stand_from_target(target: &[u8], in_stand: &[u8], noise: Bound<'_, PyAny>) -> PyResult<String> {
    let py = noise.py();
    let (target, in_stand, Given { noise }) = (one(target)?, one(in_stand)?, tree::arguments(noise)?);
    run(py, || PlacedStand::from_target(&target, &in_stand, noise.as_ref()).map(|stand| json(&stand)))
}

#[pyfunction]
pub(crate) fn stand_from_rig(stand_from_rig: &[u8], noise: Bound<'_, PyAny>) -> PyResult<String> {
    let py = noise.py();
    let (stand_from_rig, Given { noise }) = (one(stand_from_rig)?, tree::arguments(noise)?);
    run(py, || PlacedStand::from_rig(&stand_from_rig, noise.as_ref()).map(|stand| json(&stand)))
}

/// The line that a car shows.
#[pyfunction]
pub(crate) fn ground_line(car: Bound<'_, PyAny>) -> PyResult<String> {
    let py = car.py();
    let Car { wheels, rig_from_vehicle, loaded_radius_mm, floor, line, reference } = tree::arguments(car)?;
    let wheels = ByWheel::from_fn(|wheel| {
        let Seen { centre_mm, spindle, rolling_radius_mm } = *wheels.get(wheel);
        WheelReadings { centre_mm, spindle, rolling_radius_mm, ..WheelReadings::default() }
    });
    let now = AheadReadings { wheels, axles: ByAxle::default(), chassis: <_>::default(), rig_from_vehicle };
    let floor = floor.map(|Floor { normal, point_mm, residual_mm }| Plane { normal, point_mm, residual_mm });
    let loaded = loaded_radius_mm.unwrap_or_default();
    run(py, || GroundLine::from_ahead(&now, &loaded, floor.as_ref(), line, reference).map(|line| json(&line)))
}

#[pyfunction]
pub(crate) fn stand_readings(line: Bound<'_, PyAny>, rig_from_stand: &[u8]) -> PyResult<String> {
    let py = line.py();
    let (line, stand): (GroundLine, _) = (tree::arguments(line)?, one(rig_from_stand)?);
    run(py, || line.readings(&stand).map(|readings| json(&readings)))
}

#[pyfunction]
pub(crate) fn stand_moves(
    readings: Bound<'_, PyAny>,
    requirements: Bound<'_, PyAny>,
    pivot_mm: [f64; 3],
) -> PyResult<String> {
    let py = readings.py();
    let readings: StandReadings = tree::arguments(readings)?;
    let requirements = tree::stand_requirements(requirements)?;
    run(py, || stand::moves(&readings, &requirements, pivot_mm).map(|moves| json(&moves)))
}

/// The moves as a person says them.
#[pyfunction]
pub(crate) fn stand_moves_text(moves: Bound<'_, PyAny>) -> PyResult<String> {
    tree::arguments(moves).map(|moves: StandMoves| moves.to_string())
}

#[pyfunction]
pub(crate) fn stand_moved<'py>(
    rig_from_stand: &[u8],
    moves: Bound<'py, PyAny>,
    pivot_mm: [f64; 3],
) -> PyResult<Bound<'py, PyByteArray>> {
    let py = moves.py();
    let (here, moves): (_, StandMoves) = (one(rig_from_stand)?, tree::arguments(moves)?);
    run(py, || stand::moved(&here, &moves, pivot_mm)).map(|there| pose::bytes(py, [there]))
}

/// Measures a car and the stand before it.
#[pyfunction]
pub(crate) fn stand_assess(
    session: Bound<'_, PyAny>,
    stand: Bound<'_, PyAny>,
    ground_mm: &[u8],
    requirements: Bound<'_, PyAny>,
    method: Bound<'_, PyAny>,
) -> PyResult<String> {
    let py = session.py();
    let session = tree::session(session, method)?;
    let stand: PlacedStand = tree::arguments(stand)?;
    let requirements = tree::stand_requirements(requirements)?;
    let ground_mm = pose::groups::<3>(ground_mm);
    run(py, || stand::assess(&session, &stand, &ground_mm, &requirements).map(|found| json(&found)))
}

/// What is required of a stand as JSON.
#[pyfunction]
pub(crate) fn stand_json(requirements: Bound<'_, PyAny>) -> PyResult<String> {
    tree::stand_requirements(requirements).map(|requirements| stand_requirements_to_json(&requirements))
}
