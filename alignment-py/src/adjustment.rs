//! What to turn, and by how much. Results cross as JSON.

use crate::{alignment, json, run, tree};
use alignment_core::Alignment;
use alignment_core::adjustment::{self, Adjuster, Request, Stance};
use alignment_core::simulate::VirtualVehicle;
use pyo3::prelude::*;

/// Readings in the order of `READINGS`, None where absent.
type Values = Vec<Option<f64>>;

fn given(
    readings: Values,
    adjusters: Bound<'_, PyAny>,
    stance: Bound<'_, PyAny>,
) -> PyResult<(Alignment, Vec<Adjuster>, Stance)> {
    Ok((alignment(readings)?, tree::arguments(adjusters)?, tree::arguments(stance)?))
}

/// What one unit of each adjuster changes of every reading.
#[pyfunction]
pub(crate) fn effects(readings: Values, adjusters: Bound<'_, PyAny>, stance: Bound<'_, PyAny>) -> PyResult<String> {
    let py = adjusters.py();
    let (readings, adjusters, stance) = given(readings, adjusters, stance)?;
    run(py, || adjustment::effects(&readings, &adjusters, &stance).map(|found| json(&found)))
}

/// The readings once adjusters have been moved.
#[pyfunction]
#[expect(clippy::needless_pass_by_value, reason = "Python's list is converted to one of Rust")]
pub(crate) fn foresee(
    readings: Values,
    adjusters: Bound<'_, PyAny>,
    amounts: Vec<f64>,
    stance: Bound<'_, PyAny>,
) -> PyResult<String> {
    let py = adjusters.py();
    let (readings, adjusters, stance) = given(readings, adjusters, stance)?;
    run(py, || adjustment::foresee(&readings, &adjusters, &amounts, &stance).map(|found| json(&found)))
}

/// The fewest moves to what is wanted.
#[pyfunction]
pub(crate) fn fewest_moves(
    readings: Values,
    adjusters: Bound<'_, PyAny>,
    specification: Bound<'_, PyAny>,
    nominal_within_deg: Option<f64>,
    stance: Bound<'_, PyAny>,
) -> PyResult<String> {
    let py = adjusters.py();
    let (readings, adjusters, stance) = given(readings, adjusters, stance)?;
    let request = Request { specification: tree::specification(specification)?, nominal_within_deg };
    run(py, || adjustment::fewest_moves(&readings, &adjusters, &request, &stance).map(|found| json(&found)))
}

/// A virtual vehicle once adjusters have been turned.
#[pyfunction]
#[expect(clippy::needless_pass_by_value, reason = "Python's list is converted to one of Rust")]
pub(crate) fn virtual_adjusted(
    vehicle: Bound<'_, PyAny>,
    adjusters: Bound<'_, PyAny>,
    amounts: Vec<f64>,
) -> PyResult<String> {
    let py = vehicle.py();
    let (vehicle, adjusters): (VirtualVehicle, Vec<Adjuster>) =
        (tree::arguments(vehicle)?, tree::arguments(adjusters)?);
    run(py, || vehicle.adjusted(&adjusters, &amounts).map(|after| json(&after)))
}
