//! The uncertainty of a measurement, kept in Rust: its matrices are too large to cross for one number.

use crate::{error, json, run};
use alignment_core::Session;
use alignment_core::paths::COUNT;
use alignment_core::uncertainty;
use pyo3::prelude::*;

/// A measurement, and what each of its readings is worth.
#[pyclass(frozen)]
pub(crate) struct Uncertainty {
    pub(crate) known: uncertainty::Uncertainty,
    /// Of which all of it follows.
    pub(crate) session: Session,
}

#[pymethods]
impl Uncertainty {
    /// The session as JSON, which reads back to the same bits.
    fn session(&self) -> String {
        json(&self.session)
    }

    /// The measurement as JSON.
    fn measurement(&self) -> String {
        json(&self.known.measurement)
    }

    /// The standard uncertainties as JSON.
    fn standard(&self) -> String {
        json(&self.known.standard)
    }

    /// The degrees of freedom as JSON; infinite ones are null.
    fn degrees_of_freedom(&self) -> String {
        json(&self.known.degrees_of_freedom)
    }

    /// The coverage factor and the expanded uncertainty of a reading.
    fn expanded(&self, py: Python<'_>, path: &str, probability: f64) -> PyResult<Option<(f64, f64)>> {
        error::position(py, path)?;
        let expanded = run(py, || self.known.expanded(path, probability))?;
        Ok(expanded.map(|known| (known.coverage_factor, known.expanded_uncertainty)))
    }

    /// The expanded uncertainties as JSON.
    fn expanded_tree(&self, py: Python<'_>, probability: f64) -> PyResult<String> {
        run(py, || self.known.expanded_tree(probability).map(|tree| json(&tree)))
    }

    /// What each input contributes to a reading, as JSON.
    fn budget(&self, py: Python<'_>, path: &str) -> PyResult<String> {
        error::position(py, path)?;
        run(py, || self.known.budget(path).map(|budget| json(&budget)))
    }

    /// What each input contributes to a reading, pose by pose, as JSON.
    fn budget_by_pose(&self, py: Python<'_>, path: &str) -> PyResult<String> {
        error::position(py, path)?;
        run(py, || self.known.budget_by_pose(path).map(|budget| json(&budget)))
    }

    /// The covariance of two readings.
    fn covariance(&self, py: Python<'_>, path: &str, other: &str) -> PyResult<Option<f64>> {
        error::position(py, path)?;
        error::position(py, other)?;
        self.known.covariance(path, other).map_err(|fault| error::from_core(py, &fault))
    }

    /// The correlation of two readings.
    fn correlation(&self, py: Python<'_>, path: &str, other: &str) -> PyResult<Option<f64>> {
        error::position(py, path)?;
        error::position(py, other)?;
        self.known.correlation(path, other).map_err(|fault| error::from_core(py, &fault))
    }

    /// The covariance of all readings, row by row.
    fn covariance_matrix(&self) -> Vec<Vec<f64>> {
        self.known.covariance_matrix().chunks(COUNT).map(<[f64]>::to_vec).collect()
    }
}
