//! From the core's errors to the exceptions of `wheel_alignment`, which are written in Python.

use alignment_core::json::JsonError;
use alignment_core::paths;
use alignment_core::{Error, ErrorCode};
use pyo3::exceptions::{PyTypeError, PyValueError};
use pyo3::prelude::*;
use pyo3::types::{PyDict, PyTuple};

/// An error of the core, with its fields.
pub(crate) fn from_core(py: Python<'_>, error: &Error) -> PyErr {
    let fields = PyDict::new(py);
    fill(&fields, error).map_or_else(|fault| fault, |()| exception(error.code, &error.to_string(), &fields))
}

/// An error of the core, with its fields and its place in the arrays that were handed over; numbers alone have the place ().
pub(crate) fn at(py: Python<'_>, error: &Error, index: &[usize]) -> PyErr {
    let fields = PyDict::new(py);
    let filled = || -> PyResult<()> {
        fields.set_item("index", PyTuple::new(py, index)?)?;
        fill(&fields, error)
    };
    let place = if index.is_empty() { String::new() } else { format!("{index:?} ") };
    filled().map_or_else(|fault| fault, |()| exception(error.code, &format!("{place}{error}"), &fields))
}

fn fill(fields: &Bound<'_, PyDict>, error: &Error) -> PyResult<()> {
    fields.set_item("stage", error.stage.map(alignment_core::session::Stage::name))?;
    fields.set_item("station", error.station)?;
    fields.set_item("wheel", error.wheel.map(alignment_core::Wheel::name))?;
    fields.set_item("input", error.input)?;
    fields.set_item("unit", error.unit)?;
    fields.set_item("value", error.value)?;
    fields.set_item("minimum", error.minimum)?;
    fields.set_item("maximum", error.maximum)
}

/// An error of the core at one element of many: its `index` says which.
pub(crate) fn from_core_at(py: Python<'_>, error: &Error, index: usize) -> PyErr {
    let exception = from_core(py, error);
    exception.value(py).setattr("index", (index,)).map_or_else(|fault| fault, |()| exception)
}

/// A number at a path in a session that is NaN or infinite.
pub(crate) fn not_finite(py: Python<'_>, path: &str) -> PyErr {
    let place = if path.is_empty() { "session" } else { path };
    let message = format!("{place}: a number is not finite; check where the number comes from");
    from_tree(py, ErrorCode::NotFinite, &message, path)
}

/// A text that is not a session, or not a specification.
pub(crate) fn from_json(py: Python<'_>, error: &JsonError) -> PyErr {
    let fields = PyDict::new(py);
    let filled = || -> PyResult<()> {
        fields.set_item("path", &error.path)?;
        fields.set_item("line", error.line)?;
        fields.set_item("column", error.column)
    };
    filled().map_or_else(|fault| fault, |()| exception(error.code, &error.to_string(), &fields))
}

/// Python objects that are not what `code` says, and the path in them.
pub(crate) fn from_tree(py: Python<'_>, code: ErrorCode, message: &str, path: &str) -> PyErr {
    placed(py, code, message, "path", path)
}

/// Arguments of which one is not what the function takes: as Python's own functions have it, but for a number that lies outside its range.
pub(crate) fn from_argument(py: Python<'_>, reason: &str, message: String, path: &str) -> PyErr {
    if reason.starts_with("invalid value") {
        placed(py, ErrorCode::OutOfRange, &message, "input", path)
    } else if reason.starts_with("unknown variant") {
        PyValueError::new_err(message)
    } else {
        PyTypeError::new_err(message)
    }
}

/// Where a path stands in the list of all readings.
pub(crate) fn position(py: Python<'_>, path: &str) -> PyResult<usize> {
    paths::position(path).map_err(|fault| from_tree(py, fault.code, &format!("{path}: {fault}"), path))
}

fn placed(py: Python<'_>, code: ErrorCode, message: &str, field: &str, place: &str) -> PyErr {
    let fields = PyDict::new(py);
    fields.set_item(field, place).map_or_else(|fault| fault, |()| exception(code, message, &fields))
}

fn exception(code: ErrorCode, message: &str, fields: &Bound<'_, PyDict>) -> PyErr {
    let make = || -> PyResult<PyErr> {
        let class = fields.py().import("wheel_alignment.error")?.getattr(class_name(code))?;
        Ok(PyErr::from_value(class.call((message,), Some(fields))?))
    };
    make().unwrap_or_else(|fault| fault)
}

/// `roll_too_small` → `RollTooSmallError`.
fn class_name(code: ErrorCode) -> String {
    let mut name = String::new();
    for word in code.name().split('_') {
        let (first, rest) = word.split_at(1);
        name.push_str(&first.to_uppercase());
        name.push_str(rest);
    }
    name + "Error"
}
