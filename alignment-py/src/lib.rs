//! The native half of the Python package `wheel_alignment`: a session in, the result as JSON out, errors as exceptions.

mod error;
mod tree;

use pyo3::prelude::*;

/// The native half of `wheel_alignment`.
#[pymodule(gil_used = false)]
mod _native {
    use super::error;
    use super::tree;
    use alignment_core::json::{measurement_to_json, session_from_json};
    use alignment_core::{ErrorCode, Session, measure};
    use pyo3::exceptions::PyRuntimeError;
    use pyo3::prelude::*;
    use std::panic::{AssertUnwindSafe, catch_unwind};

    /// Measures the session that a JSON text holds; returns the result as JSON.
    #[pyfunction]
    fn measure_text(py: Python<'_>, text: &str) -> PyResult<String> {
        let session = py.detach(|| session_from_json(text)).map_err(|fault| error::from_json(py, &fault))?;
        measure_session(py, &session)
    }

    /// Measures the session that a tree of Python objects holds; returns the result as JSON.
    #[pyfunction]
    fn measure_tree(session: Bound<'_, PyAny>) -> PyResult<String> {
        let py = session.py();
        let session = tree::read(session)?;
        measure_session(py, &session)
    }

    /// Number and name of every error code.
    #[pyfunction]
    fn error_codes() -> Vec<(i32, &'static str)> {
        ErrorCode::ALL.iter().map(|code| (code.number(), code.name())).collect()
    }

    fn measure_session(py: Python<'_>, session: &Session) -> PyResult<String> {
        let job = || measure(session).map(|result| measurement_to_json(&result));
        // A panic would be an exception that `except Exception` does not catch.
        py.detach(|| catch_unwind(AssertUnwindSafe(job)))
            .map_err(|_| PyRuntimeError::new_err("a fault inside the library; please report it with the session"))?
            .map_err(|fault| error::from_core(py, &fault))
    }

    #[pymodule_init]
    fn init(module: &Bound<'_, PyModule>) -> PyResult<()> {
        module.add("__version__", env!("CARGO_PKG_VERSION"))
    }
}
