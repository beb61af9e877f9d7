//! The native half of the Python package `wheel_alignment`: sessions in, results as JSON out, errors as exceptions.

mod adjustment;
mod batch;
mod error;
mod formulas;
mod live;
mod pose;
mod propagation;
mod record;
mod session;
mod stages;
mod stand;
mod tree;
mod uncertainty;

use alignment_core::paths::COUNT;
use alignment_core::{Alignment, Error};
use pyo3::exceptions::{PyRuntimeError, PyValueError};
use pyo3::prelude::*;
use serde::Serialize;
use std::panic::{AssertUnwindSafe, catch_unwind};

/// Does the work while the interpreter is free for other threads.
fn run<T: Send>(py: Python<'_>, job: impl FnOnce() -> Result<T, Error> + Send) -> PyResult<T> {
    py.detach(|| caught(job))?.map_err(|fault| error::from_core(py, &fault))
}

/// Does the work. A panic would be an exception that `except Exception` does not catch.
fn caught<T>(job: impl FnOnce() -> T) -> PyResult<T> {
    catch_unwind(AssertUnwindSafe(job))
        .map_err(|_| PyRuntimeError::new_err("a fault inside the library; please report it with what it was given"))
}

/// Plain data as JSON. What is infinite is null.
fn json(value: &impl Serialize) -> String {
    serde_json::to_string(value).unwrap_or_else(|error| unreachable!("plain data has a JSON form: {error}"))
}

/// The tree of these readings, which stand in the order of `READINGS`.
fn alignment(values: Vec<Option<f64>>) -> PyResult<Alignment> {
    let values: [Option<f64>; COUNT] =
        values.try_into().map_err(|_| PyValueError::new_err("one value for each of READINGS is needed"))?;
    Ok(Alignment::from_values(&values))
}

/// The native half of `wheel_alignment`.
#[pymodule(gil_used = false)]
mod _native {
    use super::propagation::{Watch, run_watched};
    use super::{alignment, error, json, run, tree};
    use alignment_core::conformity::{self, Decision, Limits, Production, Tolerance, Uncertain};
    use alignment_core::diagnosis::{self, NormalTolerances};
    use alignment_core::error::WarningCode;
    use alignment_core::json::specification_to_json;
    use alignment_core::monte_carlo::Settings;
    use alignment_core::paths::READINGS;
    use alignment_core::uncertainty::{Plan, watched_monte_carlo};
    use alignment_core::{ErrorCode, repeatability};
    use pyo3::exceptions::PyValueError;
    use pyo3::prelude::*;
    use pyo3::types::PyTuple;

    #[pymodule_export]
    use super::adjustment::{effects, fewest_moves, foresee, virtual_adjusted};
    #[pymodule_export]
    use super::batch::{ahead_records, cores, measure_records};
    #[pymodule_export]
    use super::formulas::{of_arrays, of_numbers, tyre_size};
    #[pymodule_export]
    use super::live::{Tracker, flags_of};
    #[pymodule_export]
    use super::pose::{direction_from, mean_pose, poses_from, rig_from_target};
    #[pymodule_export]
    use super::propagation::{
        Dual, agree, combine, elementary, expanded_output, input_from_observations, input_of, law_of_propagation,
        trials_of,
    };
    #[pymodule_export]
    use super::record::{
        adjustments_done, attachment_matches, attachment_of, measured_of, record_from_details, record_from_json,
        record_new, record_text, stand_setup,
    };
    #[pymodule_export]
    use super::session::Session;
    #[pymodule_export]
    use super::stages::{
        ahead_readings, from_rolling, from_spinning, plane_through, up_in_rig, virtual_session, virtual_truth,
        virtual_vehicle, wheel_from_rolling, wheel_from_spinning,
    };
    #[pymodule_export]
    use super::stand::{
        ground_line, stand_assess, stand_from_rig, stand_from_target, stand_json, stand_moved, stand_moves,
        stand_moves_text, stand_readings,
    };
    #[pymodule_export]
    use super::uncertainty::Uncertainty;

    /// Number and name of every error code.
    #[pyfunction]
    fn error_codes() -> Vec<(i32, &'static str)> {
        ErrorCode::ALL.iter().map(|code| (code.number(), code.name())).collect()
    }

    /// Number and name of every warning.
    #[pyfunction]
    fn warning_codes() -> Vec<(i32, &'static str)> {
        WarningCode::ALL.iter().map(|code| (code.number(), code.name())).collect()
    }

    /// The unit of the reading at a path.
    #[pyfunction]
    fn unit(path: &str) -> &'static str {
        alignment_core::paths::unit(path)
    }

    /// A specification as JSON, every path by itself.
    #[pyfunction]
    fn specification_json(specification: Bound<'_, PyAny>) -> PyResult<String> {
        tree::specification(specification).map(|specification| specification_to_json(&specification))
    }

    /// The schema of a kind of JSON. The core's tests hold these files to its types.
    #[pyfunction]
    fn schema(kind: &str) -> PyResult<&'static str> {
        match kind {
            "session" => Ok(include_str!("../../alignment-core/schema/alignment-session-1.json")),
            "specification" => Ok(include_str!("../../alignment-core/schema/alignment-specification-1.json")),
            "record" => Ok(include_str!("../../alignment-core/schema/alignment-record-1.json")),
            "stand_requirements" => Ok(include_str!("../../alignment-core/schema/alignment-stand-1.json")),
            "stand_assessment" => Ok(include_str!("../../alignment-core/schema/stand-assessment.json")),
            "measurement" => Ok(include_str!("../../alignment-core/schema/measurement.json")),
            "assessment" => Ok(include_str!("../../alignment-core/schema/assessment.json")),
            _ => Err(PyValueError::new_err(format!("no schema is named {kind:?}"))),
        }
    }

    /// Where a path stands in `READINGS`.
    #[pyfunction]
    fn position(py: Python<'_>, path: &str) -> PyResult<usize> {
        error::position(py, path)
    }

    /// Measures a session, a JSON text or a tree of Python objects; returns the result as JSON.
    #[pyfunction]
    fn measure(session: Bound<'_, PyAny>, method: Bound<'_, PyAny>) -> PyResult<String> {
        let py = session.py();
        let session = tree::session(session, method)?;
        run(py, || alignment_core::measure(&session).map(|result| json(&result)))
    }

    /// Follows a session through its sweep; returns it station by station as JSON.
    #[pyfunction]
    fn sweep(session: Bound<'_, PyAny>, method: Bound<'_, PyAny>) -> PyResult<String> {
        let py = session.py();
        let session = tree::session(session, method)?;
        run(py, || alignment_core::sweep::follow(&session).map(|sweep| json(&sweep)))
    }

    /// Measures a session and judges it; returns the assessment as JSON.
    #[pyfunction]
    fn assess(
        session: Bound<'_, PyAny>,
        specification: Option<Bound<'_, PyAny>>,
        method: Bound<'_, PyAny>,
    ) -> PyResult<String> {
        let py = session.py();
        let session = tree::session(session, method)?;
        let specification = specification.map(tree::specification).transpose()?;
        run(py, || alignment_core::assess(&session, specification.as_ref()).map(|result| json(&result)))
    }

    /// What each reading of a session is worth.
    #[pyfunction]
    fn propagate(session: Bound<'_, PyAny>, method: Bound<'_, PyAny>) -> PyResult<Uncertainty> {
        let py = session.py();
        let session = tree::session(session, method)?;
        let known = run(py, || alignment_core::uncertainty::propagate(&session))?;
        Ok(Uncertainty { known, session })
    }

    /// Measures a session again and again, its inputs drawn; returns the trials as JSON.
    #[pyfunction]
    #[expect(clippy::needless_pass_by_value, reason = "Python's list is converted to one of Rust")]
    fn monte_carlo(
        session: Bound<'_, PyAny>,
        paths: Vec<String>,
        settings: Bound<'_, PyAny>,
        method: Bound<'_, PyAny>,
        progress: Option<Py<PyAny>>,
    ) -> PyResult<String> {
        let py = session.py();
        let session = tree::session(session, method)?;
        let settings: Settings = tree::arguments(settings)?;
        let paths: Vec<&str> = paths.iter().map(String::as_str).collect();
        for path in &paths {
            error::position(py, path)?;
        }
        let mut watch = Watch::new(progress);
        run_watched(py, || {
            let trials = watched_monte_carlo(&session, &paths, settings, |trials| watch.at(trials))?;
            watch.tell(trials.simulation.trials)?;
            Ok(json(&trials))
        })
    }

    /// The standard uncertainties of a planned measurement as JSON.
    #[pyfunction]
    fn plan(planned: Bound<'_, PyAny>) -> PyResult<String> {
        let py = planned.py();
        let planned: Plan = tree::arguments(planned)?;
        run(py, || alignment_core::uncertainty::plan(&planned).map(|standard| json(&standard)))
    }

    /// How far to roll and to sweep, as JSON.
    #[pyfunction]
    fn reach(planned: Bound<'_, PyAny>, expanded_uncertainty_deg: f64, coverage_factor: f64) -> PyResult<String> {
        let py = planned.py();
        let planned: Plan = tree::arguments(planned)?;
        run(py, || {
            alignment_core::uncertainty::reach(&planned, expanded_uncertainty_deg, coverage_factor)
                .map(|reach| json(&reach))
        })
    }

    /// Judges one value against (min, max); returns the judgement as JSON.
    #[pyfunction]
    fn judge(
        value: f64,
        limits: (Option<f64>, Option<f64>),
        standard_uncertainty: Option<f64>,
        degrees_of_freedom: Option<f64>,
        decision: Bound<'_, PyAny>,
    ) -> PyResult<String> {
        let py = decision.py();
        let decision: Decision = tree::arguments(decision)?;
        let uncertainty =
            standard_uncertainty.map(|standard_uncertainty| Uncertain { standard_uncertainty, degrees_of_freedom });
        run(py, || {
            conformity::judge(value, uncertainty, self::limits(limits), decision).map(|judgement| json(&judgement))
        })
    }

    /// Judges readings, given in the order of `READINGS`; returns the verdicts as JSON.
    #[pyfunction]
    fn judge_all(
        readings: Vec<Option<f64>>,
        standard_uncertainty: Option<Vec<Option<f64>>>,
        degrees_of_freedom: Option<Vec<Option<f64>>>,
        specification: Bound<'_, PyAny>,
    ) -> PyResult<String> {
        let py = specification.py();
        let specification = tree::specification(specification)?;
        let readings = alignment(readings)?;
        let standard_uncertainty = standard_uncertainty.map(alignment).transpose()?;
        let degrees_of_freedom = degrees_of_freedom.map(alignment).transpose()?;
        run(py, || {
            let (uncertainty, freedom) = (standard_uncertainty.as_ref(), degrees_of_freedom.as_ref());
            conformity::judge_all(&readings, uncertainty, freedom, &specification).map(|verdicts| json(&verdicts))
        })
    }

    /// What readings, given in the order of `READINGS`, hint at; returns the hints as JSON.
    #[pyfunction]
    #[expect(clippy::needless_pass_by_value, reason = "Python's list is converted to one of Rust")]
    fn diagnose(
        readings: Vec<Option<f64>>,
        covariance: Option<Vec<f64>>,
        specification: Option<Bound<'_, PyAny>>,
        tolerances: Bound<'_, PyAny>,
    ) -> PyResult<String> {
        let py = tolerances.py();
        let readings = alignment(readings)?;
        let specification = specification.map(tree::specification).transpose()?;
        let tolerances: NormalTolerances = tree::arguments(tolerances)?;
        run(py, || {
            let (covariance, specification) = (covariance.as_deref(), specification.as_ref());
            diagnosis::diagnose(&readings, covariance, specification, &tolerances).map(|hints| json(&hints))
        })
    }

    /// The global risks of the consumer and of the producer.
    #[pyfunction]
    fn global_risks(
        py: Python<'_>,
        mean: f64,
        standard_deviation: f64,
        standard_uncertainty: f64,
        limits: (Option<f64>, Option<f64>),
        acceptance: (Option<f64>, Option<f64>),
    ) -> PyResult<(f64, f64)> {
        let production = Production { mean, standard_deviation };
        let (limits, acceptance) = (self::limits(limits), self::limits(acceptance));
        run(py, || conformity::global_risks(production, standard_uncertainty, limits, acceptance))
            .map(|risks| (risks.consumer, risks.producer))
    }

    /// Least and greatest of a tolerance, in the unit of the reading at a path.
    #[pyfunction]
    fn tolerance_limits(tolerance: Bound<'_, PyAny>, path: &str) -> PyResult<(Option<f64>, Option<f64>)> {
        let py = tolerance.py();
        let tolerance: Tolerance = tree::arguments(tolerance)?;
        let path = READINGS[error::position(py, path)?];
        run(py, || tolerance.limits(path)).map(|limits| (limits.min, limits.max))
    }

    /// Repeats under the same conditions; returns what they show as JSON.
    #[pyfunction]
    fn repeats(values: Bound<'_, PyAny>) -> PyResult<String> {
        let py = values.py();
        let values: Vec<f64> = tree::arguments(values)?;
        run(py, || repeatability::repeatability(&values).map(|found| json(&found)))
    }

    /// Repeats in groups; returns what they show as JSON.
    #[pyfunction]
    fn one_way(groups: Bound<'_, PyAny>) -> PyResult<String> {
        let py = groups.py();
        let groups: Vec<Vec<f64>> = tree::arguments(groups)?;
        run(py, || repeatability::one_way(&groups).map(|found| json(&found)))
    }

    /// A crossed study; returns what it shows as JSON.
    #[pyfunction]
    fn crossed(values: Bound<'_, PyAny>, pool_above_p: f64, tolerance: Option<f64>) -> PyResult<String> {
        let py = values.py();
        let values: Vec<Vec<Vec<f64>>> = tree::arguments(values)?;
        run(py, || repeatability::crossed(&values, pool_above_p, tolerance).map(|found| json(&found)))
    }

    fn limits((min, max): (Option<f64>, Option<f64>)) -> Limits {
        Limits { min, max }
    }

    #[pymodule_init]
    fn init(module: &Bound<'_, PyModule>) -> PyResult<()> {
        module.add("MAX_INPUTS", super::propagation::MAX_INPUTS)?;
        module.add("READINGS", PyTuple::new(module.py(), READINGS)?)?;
        module.add("__version__", env!("CARGO_PKG_VERSION"))
    }
}
