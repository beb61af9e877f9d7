//! From the core's errors to the exceptions of `wheel_alignment`, which are written in Python.

use alignment_core::json::JsonError;
use alignment_core::{Error, ErrorCode};
use pyo3::prelude::*;
use pyo3::types::PyDict;

/// An error of the measurement, with its fields.
pub(crate) fn from_core(py: Python<'_>, error: &Error) -> PyErr {
    let fields = PyDict::new(py);
    let filled = || -> PyResult<()> {
        fields.set_item("stage", error.stage.map(alignment_core::session::Stage::name))?;
        fields.set_item("station", error.station)?;
        fields.set_item("wheel", error.wheel.map(alignment_core::Wheel::name))?;
        fields.set_item("input", error.input)?;
        fields.set_item("unit", error.unit)?;
        fields.set_item("value", error.value)?;
        fields.set_item("minimum", error.minimum)?;
        fields.set_item("maximum", error.maximum)
    };
    filled().map_or_else(|fault| fault, |()| exception(error.code, &error.to_string(), &fields))
}

/// A text that is not a session.
pub(crate) fn from_json(py: Python<'_>, error: &JsonError) -> PyErr {
    not_a_session(py, &error.to_string(), &error.path, Some((error.line, error.column)))
}

/// Something that is not a session: the path in it, and the line and column when it is a text.
pub(crate) fn not_a_session(py: Python<'_>, message: &str, path: &str, place: Option<(usize, usize)>) -> PyErr {
    let fields = PyDict::new(py);
    let filled = || -> PyResult<()> {
        fields.set_item("path", path)?;
        fields.set_item("line", place.map(|(line, _)| line))?;
        fields.set_item("column", place.map(|(_, column)| column))
    };
    let code = JsonError::code_of(message);
    filled().map_or_else(|fault| fault, |()| exception(code, message, &fields))
}

fn exception(code: ErrorCode, message: &str, fields: &Bound<'_, PyDict>) -> PyErr {
    let make = || -> PyResult<PyErr> {
        let class = fields.py().import("wheel_alignment._errors")?.getattr(class_name(code))?;
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
